use super::*;
use crate::body::GRAVITY;
use crate::{Family, Population, SwingTruth};
use peakorder_protocol::log::{Disconnection, Record, StrapEventKind};
use peakorder_protocol::packet::{FLAG_DROPPED, FLAG_RESTARTED, FLAG_SATURATED};
use peakorder_protocol::profile::{Decoded, Decoder, PacketHead, Profile};
use peakorder_protocol::swing::Outcome;
use std::time::Duration;

fn quick() -> PracticeOptions {
    PracticeOptions { calibration: false, pause_s: (0.5, 1.0), ..PracticeOptions::default() }
}

fn one_swing(seed: u64, player: PlayerParams) -> SwingTruth {
    Script::practice(seed, player, 1, &quick()).session().truth().remove(0)
}

fn arrivals(session: &Session, role: Role) -> Vec<(f64, Vec<u8>)> {
    session
        .records()
        .filter_map(|r| match r {
            Record::Arrival(a) if a.role == role => Some((a.t_ns as f64 * 1e-9, a.bytes)),
            _ => None,
        })
        .collect()
}

fn sequence(bytes: &[u8]) -> u16 {
    u16::from_le_bytes([bytes[2], bytes[3]])
}

/// Cheetham et al. (2008), Science and Golf V, 30–36 (second-hand): mean professional and
/// amateur. Tolerances: leaning of the trunk adds a little to the planned spin.
#[test]
fn mean_players_have_the_published_speeds_times_and_order() {
    use Role::{LeadArm, Pelvis, Thorax};
    for family in [Family::RaisedCosine, Family::Bell] {
        for (population, order, published) in [
            (
                Population::Professional,
                [Pelvis, Thorax, LeadArm],
                [(477.0, 87.0), (727.0, 68.0), (980.0, 65.0)],
            ),
            (Population::Amateur, [Pelvis, LeadArm, Thorax], [(395.0, 78.0), (583.0, 59.0), (763.0, 64.0)]),
        ] {
            let truth = one_swing(1, PlayerParams { family, ..PlayerParams::mean_of(population) });
            assert_eq!(truth.order, order);
            for (role, (dps, before_ms)) in Role::ALL.into_iter().zip(published) {
                let s = &truth.segments[&role];
                assert!((s.peak_dps / dps - 1.0).abs() < 0.01, "{role}: {} deg/s", s.peak_dps);
                assert!((s.peak_before_ms - before_ms).abs() < 1.0, "{role}: {} ms", s.peak_before_ms);
                assert_eq!(s.outcome, Outcome::Peak);
                assert!(s.resultant_peak_dps >= s.peak_dps - 1e-6);
            }
        }
    }
}

/// Speed gains and ratios of the same source (gains of the professionals 250 and 253 deg/s,
/// ratios 1.524 and 1.348 computed from its means).
#[test]
fn mean_professional_has_the_published_gains() {
    let truth = one_swing(1, PlayerParams::mean_of(Population::Professional));
    let [pelvis, thorax, arm] = Role::ALL.map(|r| truth.segments[&r].peak_dps);
    assert!((thorax - pelvis - 250.0).abs() < 8.0, "{}", thorax - pelvis);
    assert!((arm - thorax - 253.0).abs() < 12.0, "{}", arm - thorax);
    assert!((thorax / pelvis - 1.524).abs() < 0.015 && (arm / thorax - 1.348).abs() < 0.015);
}

#[test]
fn drawn_professionals_reproduce_the_published_distribution() {
    let n = 240;
    let swings: Vec<SwingTruth> = (0..n)
        .map(|seed| one_swing(seed, PlayerParams::drawn_from(Population::Professional, seed)))
        .collect();
    let population = Population::Professional;
    for (i, role) in Role::ALL.into_iter().enumerate() {
        for (values, (mean, sd)) in [
            (swings.iter().map(|s| s.segments[&role].peak_dps).collect::<Vec<_>>(), population.peak_dps()[i]),
            (
                swings.iter().map(|s| s.segments[&role].peak_before_ms).collect(),
                population.peak_before_ms()[i],
            ),
        ] {
            let m = values.iter().sum::<f64>() / n as f64;
            let s = (values.iter().map(|v| (v - m).powi(2)).sum::<f64>() / (n - 1) as f64).sqrt();
            // Three standard errors, 1 % for the trunk's leaning; spread within players and
            // the cut at 2.5 SD change the SD a little.
            assert!((m - mean).abs() < 3.0 * sd / (n as f64).sqrt() + 0.01 * mean, "{role} mean {m} {mean}");
            assert!((0.8..1.25).contains(&(s / sd)), "{role} SD {s} {sd}");
        }
    }
    // Independent normals with these means and SDs are in strict order in 0.397 of cases
    // (own Monte Carlo, 2·10⁶ draws); binomial SE 0.032, and spread within players adds.
    let ordered = swings.iter().filter(|s| s.order == Role::ALL).count() as f64 / n as f64;
    assert!((ordered - 0.397).abs() < 0.1, "{ordered}");
    let left = swings.iter().filter(|s| s.handedness == peakorder_protocol::Handedness::Left).count();
    assert!((8..48).contains(&left), "{left} left-handers");
}

/// Zhou et al. (2022), 10.3389/fspor.2022.986281; Steele et al. (2018): in professionals the
/// thorax' largest speed lies after impact.
#[test]
fn thorax_of_a_professional_is_fastest_after_impact_and_truth_does_not_take_that() {
    let session = Script::practice(1, PlayerParams::mean_of(Population::Professional), 1, &quick()).session();
    let truth = &session.truth()[0];
    let thorax = &truth.segments[&Role::Thorax];
    let speed = |t| session.sample_truth(Role::Thorax, t).omega_body.y.to_degrees();
    let after = (0..300).map(|i| speed(truth.impact_s + f64::from(i) * 0.001)).fold(0.0, f64::max);
    assert!(after > 1.1 * thorax.peak_dps, "{after} against {}", thorax.peak_dps);
    assert!(thorax.peak_before_ms > 60.0);
}

#[test]
fn truth_is_stationary_at_peaks_zero_at_reversals_and_extreme_at_max_away() {
    let player = PlayerParams::drawn_from(Population::Amateur, 21);
    let session = Script::practice(21, player, 6, &PracticeOptions::varied()).session();
    for swing in session.truth() {
        let side = swing.handedness.sign();
        for role in [Role::Pelvis, Role::Thorax] {
            let s = &swing.segments[&role];
            let speed = |t| side * session.sample_truth(role, t).omega_body.y.to_degrees();
            assert!(speed(s.reversal_s).abs() < 0.01, "{role} {}", speed(s.reversal_s));
            assert!(speed(s.reversal_s - 0.02) < 0.0 && speed(s.reversal_s + 0.02) > 0.0);
            assert!((speed(s.peak_s) - s.peak_dps).abs() < 1e-6);
            if s.outcome == Outcome::Peak {
                assert!(speed(s.peak_s - 0.003) < s.peak_dps && speed(s.peak_s + 0.003) < s.peak_dps);
            }
            assert!(s.turn_deg.max_away <= s.turn_deg.top + 1e-6, "{role} {:?}", s.turn_deg);
        }
        assert!(swing.takeaway_s < swing.moving_s && swing.moving_s < swing.top_s);
        assert!(swing.top_s < swing.impact_s && swing.impact_s < swing.finish_s);
        assert!(swing.separation.unwrap().stretch_deg >= -1e-6);
    }
}

#[test]
fn a_segment_that_peaks_after_impact_is_still_rising() {
    let mut player = PlayerParams::mean_of(Population::Amateur);
    player.segments[1].peak_before_ms = -15.0;
    let truth = one_swing(1, player);
    assert_eq!(truth.segments[&Role::Thorax].outcome, Outcome::Rising);
    assert!(truth.segments[&Role::Thorax].peak_before_ms.abs() < 0.01);
    assert_eq!(truth.order, [Role::Pelvis, Role::LeadArm]);
}

#[test]
fn same_seed_same_bytes_and_the_link_does_not_reshuffle_the_body() {
    let script = || Script::practice(4, PlayerParams::drawn_from(Population::Amateur, 4), 1, &quick());
    let (a, b) = (script().session(), script().session());
    assert!(a.records().eq(b.records()));
    assert_eq!(a.truth(), b.truth());
    let other = Script::practice(5, PlayerParams::drawn_from(Population::Amateur, 4), 1, &quick()).session();
    assert!(!a.records().eq(other.records()));
    let harsh =
        script().with_straps(StrapOptions { link: LinkModel::harsh(), ..StrapOptions::default() }).session();
    let good: std::collections::BTreeMap<u16, Vec<u8>> =
        arrivals(&a, Role::Thorax).into_iter().map(|(_, b)| (sequence(&b), b)).collect();
    let mut compared = 0;
    for (_, bytes) in arrivals(&harsh, Role::Thorax) {
        if let Some(same) = good.get(&sequence(&bytes)) {
            assert_eq!(same[12..], bytes[12..]);
            compared += 1;
        }
    }
    assert!(compared > 100);
}

#[test]
fn records_come_in_order_of_time_and_losses_are_those_of_the_model() {
    for (link, low, high) in [(LinkModel::normal(), 0.0005, 0.008), (LinkModel::harsh(), 0.015, 0.06)] {
        let straps = StrapOptions { link, ..StrapOptions::default() };
        let session = Script::not_swings(8, 240.0).with_straps(straps).session();
        let mut last = 0;
        for record in session.records() {
            assert!(record.t_ns() >= last);
            last = record.t_ns();
        }
        for role in Role::ALL {
            let got = arrivals(&session, role);
            let packets = f64::from(sequence(&got.last().unwrap().1)) + 1.0;
            let loss = 1.0 - got.len() as f64 / packets;
            assert!((low..high).contains(&loss), "{role}: {loss}");
            let rate = packets * 4.0 / session.duration_s();
            assert!((rate / 208.0 - 1.0).abs() < 0.0112, "{role}: {rate} Hz");
            assert!(got.windows(2).all(|w| w[1].0 > w[0].0));
        }
    }
}

#[test]
fn without_link_and_errors_a_strap_reads_the_truth_in_its_own_axes() {
    let session =
        Script::practice(2, PlayerParams::drawn_from(Population::Amateur, 2), 1, &quick()).session();
    let impact = session.truth()[0].impact_s;
    for role in Role::ALL {
        let to_strap = session.mounting_rotation(role).transpose();
        let mut shock: f64 = 0.0;
        for s in session.ideal_samples(role, 1000.0, SensorModel::ideal()) {
            let truth = session.sample_truth(role, s.t_s);
            let gyro = nalgebra::Vector3::from(s.gyro_rad_s) - to_strap * truth.omega_body;
            let accel = nalgebra::Vector3::from(s.accel_m_s2) - to_strap * truth.specific_force_body;
            if (0.0..0.12).contains(&(s.t_s - impact)) {
                shock = shock.max(accel.norm() / GRAVITY);
            } else {
                assert!(gyro.norm() < 1e-12 && accel.norm() < 1e-9, "{role} at {}", s.t_s);
            }
        }
        let expected = if role == Role::LeadArm { 2.5..15.0 } else { 0.1..2.0 };
        assert!(expected.contains(&shock), "{role}: {shock} g");
    }
}

#[test]
fn a_rehearsal_has_no_shock() {
    let options = PracticeOptions { styles: vec![(SwingStyle::Rehearsal, 1.0)], ..quick() };
    let session =
        Script::practice(2, PlayerParams::drawn_from(Population::Amateur, 2), 1, &options).session();
    let truth = &session.truth()[0];
    assert!(!truth.strike);
    let to_strap = session.mounting_rotation(Role::LeadArm).transpose();
    for s in session.ideal_samples(Role::LeadArm, 500.0, SensorModel::ideal()) {
        let state = session.sample_truth(Role::LeadArm, s.t_s);
        let accel = nalgebra::Vector3::from(s.accel_m_s2) - to_strap * state.specific_force_body;
        assert!(accel.norm() < 1e-9);
    }
}

#[test]
fn soft_tissue_rings_by_tens_of_degrees_per_second_and_only_when_moved() {
    let ringing = Some(Ringing { hz: 10.0, damping: 0.1, coupling: 1.0 });
    let straps = StrapOptions { ringing, ..StrapOptions::default() };
    let session = Script::practice(2, PlayerParams::mean_of(Population::Professional), 1, &quick())
        .with_straps(straps)
        .session();
    let truth = &session.truth()[0];
    let to_strap = session.mounting_rotation(Role::Thorax).transpose();
    let (mut swinging, mut still): (f64, f64) = (0.0, 0.0);
    for s in session.ideal_samples(Role::Thorax, 208.0, SensorModel::ideal()) {
        let omega = to_strap * session.sample_truth(Role::Thorax, s.t_s).omega_body;
        let extra = (nalgebra::Vector3::from(s.gyro_rad_s) - omega).norm().to_degrees();
        if (truth.top_s..truth.impact_s).contains(&s.t_s) {
            swinging = swinging.max(extra);
        } else if (truth.takeaway_s - 0.3..truth.takeaway_s).contains(&s.t_s) {
            still = still.max(extra);
        }
    }
    assert!((10.0..150.0).contains(&swinging), "{swinging} deg/s");
    assert!(still < 1.5, "{still} deg/s");
}

/// After a slow turn the strap is where its share says; still straps show nothing.
#[test]
fn skin_slides_by_its_share_of_the_turn_and_not_at_rest() {
    let sliding = Some(Sliding { at_full_turn_deg: 6.0, wearing_sd_deg: 0.0, lag_s: 0.08 });
    let straps = StrapOptions { sliding, ..StrapOptions::default() };
    let session = Script::practice(2, PlayerParams::mean_of(Population::Professional), 1, &quick())
        .with_straps(straps)
        .session();
    let truth = &session.truth()[0];
    let to_segment = session.mounting_rotation(Role::Thorax);
    let (mut slid, mut still) = (nalgebra::Vector3::zeros(), 0.0_f64);
    for s in session.ideal_samples(Role::Thorax, 500.0, SensorModel::ideal()) {
        let extra = to_segment * nalgebra::Vector3::from(s.gyro_rad_s)
            - session.sample_truth(Role::Thorax, s.t_s).omega_body;
        if (truth.takeaway_s - 0.1..truth.top_s).contains(&s.t_s) {
            slid += extra.map(f64::to_degrees) / 500.0;
        } else if (truth.takeaway_s - 0.3..truth.takeaway_s - 0.1).contains(&s.t_s) {
            still = still.max(extra.norm().to_degrees());
        }
    }
    let turned = truth.segments[&Role::Thorax].turn_deg.top;
    // The skin lags behind, and slides about an axis up to 30 deg from the long one.
    let share = -slid.norm() / turned / (6.0 / 90.0);
    assert!((0.8..1.2).contains(&share), "{slid} of {turned} deg");
    assert!(slid.y > 0.8 * slid.norm(), "against the turn away: {slid}");
    assert!(still < 0.5, "{still} deg/s");
}

/// Group delay of a first-order low-pass at low frequencies is 1/(2π·corner).
#[test]
fn a_low_pass_delays_the_gyro_by_its_group_delay() {
    // The smooth family: where curvature jumps at the peak the delay is another.
    let player = PlayerParams { family: Family::Bell, ..PlayerParams::mean_of(Population::Professional) };
    let session = Script::practice(2, player, 1, &quick()).session();
    let truth = &session.truth()[0];
    let filtered = SensorModel { low_pass_hz: Some(60.0), ..SensorModel::ideal() };
    let peak = |model| {
        session
            .ideal_samples(Role::Pelvis, 2000.0, model)
            .filter(|s| (truth.top_s..truth.impact_s).contains(&s.t_s))
            .max_by(|a, b| {
                let size = |s: &crate::Sample| nalgebra::Vector3::from(s.gyro_rad_s).norm();
                size(a).total_cmp(&size(b))
            })
            .unwrap()
            .t_s
    };
    let delay_ms = 1000.0 * (peak(filtered) - peak(SensorModel::ideal()));
    assert!((delay_ms - 2.65).abs() < 0.6, "{delay_ms} ms");
}

#[test]
fn saturation_is_flagged() {
    let sensor = SensorModel { gyro_range_dps: 500.0, ..SensorModel::consumer() };
    let straps = StrapOptions { sensor, ..StrapOptions::default() };
    let session = Script::practice(2, PlayerParams::mean_of(Population::Professional), 1, &quick())
        .with_straps(straps)
        .session();
    let impact = session.truth()[0].impact_s;
    let flagged: Vec<f64> = arrivals(&session, Role::Thorax)
        .into_iter()
        .filter(|(_, b)| b[1] & FLAG_SATURATED != 0)
        .map(|a| a.0)
        .collect();
    assert!(flagged.len() > 5);
    assert!(flagged.iter().all(|t| (impact - 0.5..impact + 1.0).contains(t)));
}

#[test]
fn an_outage_is_told_and_what_follows_is_flagged() {
    let outage = Outage { start_s: 4.0, duration_s: 3.0, clock_restarts: true };
    let straps = StrapOptions { outages: vec![(Role::Pelvis, outage)], ..StrapOptions::default() };
    let session = Script::not_swings(3, 30.0).with_straps(straps).session();
    let events: Vec<(StrapEventKind, u64)> = session
        .records()
        .filter_map(|r| match r {
            Record::Strap(s) if s.role == Role::Pelvis => Some((s.what, s.t_ns / 1_000_000_000)),
            _ => None,
        })
        .collect();
    let interval = || StrapEventKind::Interval { interval: Duration::from_millis(15) };
    let lost = StrapEventKind::Disconnected { reason: Disconnection::NotKnown };
    let up = StrapEventKind::CONNECTED;
    assert_eq!(events, [(up.clone(), 0), (interval(), 0), (lost, 4), (up, 7), (interval(), 7)]);
    let got = arrivals(&session, Role::Pelvis);
    assert!(!got.iter().any(|(t, _)| (4.05..7.0).contains(t)));
    let first = &got.iter().find(|(t, _)| *t > 7.0).unwrap().1;
    assert_eq!(first[1] & (FLAG_DROPPED | FLAG_RESTARTED), FLAG_DROPPED | FLAG_RESTARTED);
    assert!(sequence(first) < 3);
    let stamp = u32::from_le_bytes([first[4], first[5], first[6], first[7]]);
    assert!(stamp < 1_000_000, "{stamp}");
}

/// Through the built-in profile's decoder: what arrives is the motion of `group_delay_ms`
/// before the stamped instant, on a device clock that the event stamps tie to the radio.
#[test]
fn packets_decode_to_the_motion_at_their_stamps() {
    let link = LinkModel { host_ppm: 0.0, stamp_noise_s: 0.0, ..LinkModel::normal() };
    let straps = StrapOptions {
        sensor: SensorModel::ideal(),
        clock: ClockModel { crystal_ppm: 0.0, ..ClockModel::crystal_paced() },
        link,
        ..StrapOptions::default()
    };
    let player = PlayerParams::drawn_from(Population::Amateur, 2);
    let session = Script::practice(2, player, 1, &quick()).with_straps(straps).session();
    let impact = session.truth()[0].impact_s;
    let profile = Profile::from_toml(Profile::builtin("ref-strap-v1").unwrap()).unwrap();
    for role in Role::ALL {
        let (mut decoder, mut out) = (Decoder::new(&profile), Decoded::default());
        let to_strap = session.mounting_rotation(role).transpose();
        // Crystals are exact but for a wander below 10 ppm here, so device time is host time
        // and a constant; the earliest arrivals bound it, the event grid then finds it.
        let mut heads = Vec::new();
        for (t, bytes) in arrivals(&session, role) {
            decoder.decode(0, &bytes, &mut out).unwrap();
            heads.push((t, out.packets[0], out.samples.clone()));
        }
        let device = |head: &PacketHead| head.t_raw.unwrap() as f64 * 1e-6;
        let span = 3.0 / 208.0;
        let lead = heads.iter().map(|(t, h, _)| t - device(h) - span).fold(f64::INFINITY, f64::min);
        // Ready after 0.4–0.7 ms, then 2 ms base and 0.4 ms for the first place in its event.
        let offset = lead - 0.0029;
        let (mut compared, mut stamped): (u32, u32) = (0, 0);
        for (_, head, samples) in &heads {
            if let Some(event) = head.event {
                assert_eq!(event.back, 1);
                assert!((0.0003..0.0158).contains(&event.age_s), "{event:?}");
                stamped += 1;
            }
            for (i, s) in samples.iter().enumerate() {
                let t = device(head) + offset + i as f64 / 208.0 - 0.0024;
                let truth = session.sample_truth(role, t.max(0.0));
                if (impact - 0.01..impact + 0.13).contains(&t) || t < 0.0 {
                    continue;
                }
                // The constant is known to about half a millisecond.
                let error = (nalgebra::Vector3::from(s.gyro) - to_strap * truth.omega_body).norm();
                let bound = 0.003 + 0.0007 * truth.alpha_global.norm() + 0.001 * truth.omega_body.norm();
                assert!(error < bound, "{role} at {t}: {error} {bound}");
                compared += 1;
            }
        }
        assert!(compared > 1500 && f64::from(stamped) > 0.75 * heads.len() as f64, "{compared} {stamped}");
    }
}

#[test]
fn short_packets_are_twenty_bytes() {
    let straps = StrapOptions { samples_per_packet: 1, short_form: true, ..StrapOptions::default() };
    let session = Script::not_swings(3, 20.0).with_straps(straps).session();
    let got = arrivals(&session, Role::Thorax);
    assert!(got.len() > 3000 && got.iter().all(|(_, b)| b.len() == 20 && b[0] == 0x12));
}

#[test]
fn a_slip_changes_how_a_strap_sits() {
    let slip = Slip { at_s: 5.0, by_deg: 12.0 };
    let base = Script::not_swings(3, 20.0);
    let slipped = base
        .clone()
        .with_straps(StrapOptions { slips: vec![(Role::Thorax, slip)], ..StrapOptions::default() })
        .session();
    let angle = |t: f64| {
        let at = |s: &Session| {
            let mut samples = s.ideal_samples(Role::Thorax, 100.0, SensorModel::ideal());
            nalgebra::Vector3::from(samples.find(|x| x.t_s >= t).unwrap().accel_m_s2)
        };
        at(&base.clone().session()).angle(&at(&slipped)).to_degrees()
    };
    assert!(angle(4.0) < 1e-4);
    assert!((0.5..12.001).contains(&angle(6.0)), "{}", angle(6.0));
}

#[test]
fn not_swings_have_none_and_never_move_like_one() {
    let session = Script::not_swings(12, 300.0).session();
    assert!(session.truth().is_empty());
    assert!(session.duration_s() >= 300.0);
    for s in session.ideal_samples(Role::Thorax, 100.0, SensorModel::ideal()) {
        let speed = nalgebra::Vector3::from(s.gyro_rad_s).norm().to_degrees();
        assert!(speed < 250.0, "{speed} deg/s at {}", s.t_s);
    }
}

#[test]
fn the_lesson_changes_what_it_says_it_changes() {
    for seed in [1, 2] {
        let session = Script::lesson(seed).session();
        assert!((450.0..660.0).contains(&session.duration_s()), "{} s", session.duration_s());
        let truth = session.truth();
        let block = |label: &str, style| -> Vec<&SwingTruth> {
            truth.iter().filter(|s| s.block == label && s.style == style).collect()
        };
        let before = block("baseline", SwingStyle::Full);
        let after = block("after", SwingStyle::Full);
        assert_eq!((before.len(), after.len()), (8, 8));
        assert_eq!(block("pivot drill", SwingStyle::Half).len(), 8);
        assert_eq!(truth.iter().filter(|s| !s.strike).count(), 2);
        let mean = |swings: &[&SwingTruth], f: fn(&SwingTruth) -> f64| {
            swings.iter().map(|s| f(s)).sum::<f64>() / swings.len() as f64
        };
        let change = |f| mean(&after, f) - mean(&before, f);
        let turn = -change(|s| s.segments[&Role::Pelvis].turn_deg.top);
        assert!((turn - 8.0).abs() < 2.5, "pelvis turns {turn} further at the top");
        assert!(change(|s| s.segments[&Role::Pelvis].peak_before_ms) > 10.0);
        assert!(change(|s| s.segments[&Role::Pelvis].peak_dps) > 25.0);
        let kinds: Vec<MarkKind> = session.marks().iter().map(|m| m.kind).collect();
        // The lesson has no shake test, one wearing and no drill without a ball; a practice that asks for these has them.
        let asked_for = [MarkKind::ShakeStart, MarkKind::ShakeEnd, MarkKind::ReWear, MarkKind::Drill];
        for kind in MarkKind::ALL.into_iter().filter(|kind| !asked_for.contains(kind)) {
            assert!(kinds.contains(&kind), "{kind} is missing");
        }
        assert!(session.marks().is_sorted_by_key(|m| m.t_ns));
    }
}

#[test]
fn a_shake_test_is_marked_where_it_is_asked_for() {
    let player = PlayerParams::mean_of(Population::Professional);
    for shake in [false, true] {
        let options = PracticeOptions { shake, ..PracticeOptions::default() };
        let session = Script::practice(1, player.clone(), 1, &options).session();
        for kind in [MarkKind::ShakeStart, MarkKind::ShakeEnd] {
            assert_eq!(
                session.marks().iter().filter(|m| m.kind == kind).count(),
                usize::from(shake),
                "{kind}"
            );
        }
    }
}

/// By hand: the slide is all that differs, and it comes back.
#[test]
fn a_slide_moves_the_hips_by_itself() {
    let of = |slide_m: f64| {
        let player = PlayerParams { slide_m, ..PlayerParams::mean_of(Population::Amateur) };
        one_swing(4, player)
    };
    let (none, far) = (of(0.0), of(0.2));
    assert_eq!(none.segments, far.segments);
    let apart = none.hip_shift.mid_top_cm - far.hip_shift.mid_top_cm;
    // The slide ends 0.05 s after the arm turns round, and the way back has begun by then.
    assert!((18.0..=20.0).contains(&apart), "{apart}");
    let trail = none.hip_shift.trail_top_cm - far.hip_shift.trail_top_cm;
    assert!((trail - apart).abs() < 1e-9);
    assert!(far.hip_shift.mid_impact_cm < none.hip_shift.mid_impact_cm);
}
