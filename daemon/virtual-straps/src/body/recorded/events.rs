//! When a recorded swing began, turned round and met the ball: what a planned swing knows from its plan.
//!
//! * takeaway: the thorax has 5 % of its fastest speed away, smoothed to 4 Hz, because at address it is never
//!   still.
//! * address: 0.3 to 0.05 s before takeaway.
//! * impact: the hands are nearest to where they were at address. Uncertain by 10–20 ms as an instant of
//!   contact, but it is what the strike's shock is put at, so straps and truth agree about it.

use super::TrialSpan;
use super::spline::Spline;
use crate::body::Body;
use crate::body::swing::{SwingPlan, SwingStyle};
use crate::truth::search::largest;
use nalgebra::Vector3;
use peakorder_protocol::Role;

/// Step of the search, s.
const STEP_S: f64 = 0.002;
/// −3 dB of the smoothed thorax speed, Hz.
const SLOW_HZ: f64 = 4.0;
/// Address, s before takeaway.
const ADDRESS_S: (f64, f64) = (0.3, 0.05);
/// Impact is looked for from so long after the thorax has turned round to so long after it is fastest, s.
const IMPACT_S: (f64, f64) = (0.1, 0.35);

/// Smoothed by a Gaussian of −3 dB at `hz`.
fn smoothed(values: &[f64], hz: f64) -> Vec<f64> {
    let sigma = 2f64.ln().sqrt() / (std::f64::consts::TAU * hz) / STEP_S;
    let reach = (4.0 * sigma).ceil() as usize;
    let kernel: Vec<f64> = (0..=reach).map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp()).collect();
    (0..values.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(reach), (i + reach).min(values.len() - 1));
            let weighed = (from..=to).map(|j| (kernel[j.abs_diff(i)], values[j]));
            let (weight, sum) = weighed.fold((0.0, 0.0), |a, (k, v)| (a.0 + k, a.1 + k * v));
            sum / weight
        })
        .collect()
}

fn index_of_largest(values: &[f64]) -> usize {
    (0..values.len()).max_by(|&a, &b| values[a].total_cmp(&values[b])).unwrap_or(0)
}

/// Last index before `from` at which `is` holds.
fn back(from: usize, is: impl Fn(usize) -> bool) -> Option<usize> {
    (0..from).rev().find(|&i| is(i))
}

/// The swing in a trial, unless there is none in it.
pub(crate) fn swing_of(body: &Body, trial: &TrialSpan, number: u32) -> Option<SwingPlan> {
    let (start_s, end_s) = trial.span_s;
    let time = |i: usize| start_s + i as f64 * STEP_S;
    let n = ((end_s - start_s) / STEP_S) as usize;
    let side = body.handedness().sign();
    let axial = |role: Role, t: f64| {
        let frame = body.frame(role, t);
        side * frame.omega.dot(&frame.rotation.column(1))
    };
    let forward: Vec<f64> = (0..n).map(|i| axial(Role::Thorax, time(i))).collect();
    let slow = smoothed(&forward, SLOW_HZ);
    let fastest = index_of_largest(&slow);
    let round = back(fastest, |i| slow[i] < 0.0)?;
    let away: Vec<f64> = forward[..round].iter().map(|v| (-v).max(0.0)).collect();
    let fastest_away = index_of_largest(&smoothed(&away, SLOW_HZ));
    let takeaway = back(fastest_away, |i| slow[i] > 0.05 * slow[fastest_away])?;
    let takeaway_s = time(takeaway);
    let address_s = ((takeaway_s - ADDRESS_S.0).max(start_s), (takeaway_s - ADDRESS_S.1).max(start_s));

    let rows: Vec<[f64; 3]> = trial.hands.iter().map(|h| (*h).into()).collect();
    let hands = Spline::through(&rows, trial.hz);
    let at = |t: f64| Vector3::from(hands.at(t - start_s)[0]);
    let of_address = ((address_s.1 - address_s.0) / STEP_S).max(1.0) as usize;
    let home = (0..of_address).map(|i| at(address_s.0 + i as f64 * STEP_S)).sum::<Vector3<f64>>();
    let home = home / of_address as f64;
    let (from, to) = (time(round) + IMPACT_S.0, (time(fastest) + IMPACT_S.1).min(end_s));
    let impact_s = largest(|t| -(at(t) - home).norm(), from, to);

    let across = |t: f64| {
        let frame = body.frame(Role::LeadArm, t);
        (frame.omega - frame.rotation.column(1) * frame.omega.dot(&frame.rotation.column(1))).norm()
    };
    let turn_round_s = Role::ALL.map(|role| {
        let speed = |t: f64| if role == Role::LeadArm { across(t) } else { axial(role, t) };
        // Truth looks back from 0.1 s after the end of this span.
        let peak_s = largest(speed, from.min(impact_s - 0.01), impact_s);
        (start_s + 0.1, peak_s - 0.1)
    });
    Some(SwingPlan {
        number,
        block: String::new(),
        style: SwingStyle::Full,
        takeaway_s,
        address_s,
        onset_s: Some(takeaway_s),
        impact_s,
        finish_s: trial.over_s,
        turn_round_s,
    })
}
