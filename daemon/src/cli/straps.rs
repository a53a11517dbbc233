//! `peakorderd straps`: which strap is worn where.

use super::bluetooth::{ConfigFile, harmless, table};
use super::{console, scan};
use crate::ble::radio::Radio;
use crate::ble::setup::Setup;
use crate::ble::straps::{IncomingKind, SessionClock, StrapTarget, Straps};
use crate::ble::turning::{Turned, Turning};
use crate::config::same_id;
use anyhow::{Context as _, bail};
use peakorder_analysis::words;
use peakorder_motion::stream::StrapStream;
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

/// Arguments of `peakorderd straps`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    #[command(subcommand)]
    command: Option<Command>,
    /// Print JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    config: ConfigFile,
}

#[derive(Debug, clap::Subcommand)]
enum Command {
    /// Say by address which strap is worn where: `straps set pelvis C0:FF:EE:00:00:01`.
    Set {
        /// pelvis, thorax or lead-arm.
        role: Role,
        /// The strap's address, as `peakorderd scan` shows it.
        id: String,
        /// What it sends; without this it is looked for on the air and recognised.
        #[arg(long, value_name = "ID")]
        profile: Option<String>,
    },
    /// Find out by twisting which strap is worn where.
    Identify {
        /// Segments to ask for; all three without this.
        roles: Vec<Role>,
        /// How long to wait for each twist.
        #[arg(long, default_value_t = 40.0, value_name = "N", value_parser = scan::seconds)]
        seconds: f64,
    },
    /// Forget the strap of a segment.
    Forget {
        /// pelvis, thorax or lead-arm.
        role: Role,
    },
}

/// Looking for straps takes this long.
const LOOK: Duration = Duration::from_secs(5);
/// Twisting is judged over this long.
const WINDOW: Duration = Duration::from_secs(4);

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    match arguments.command {
        None => list(&arguments.config.load()?, arguments.json),
        Some(Command::Set { role, id, profile }) => set(arguments.config.load()?, role, &id, profile).await,
        Some(Command::Identify { roles, seconds }) => {
            let roles = if roles.is_empty() { Role::ALL.to_vec() } else { roles };
            identify(arguments.config.load()?, &roles, Duration::from_secs_f64(seconds)).await
        }
        Some(Command::Forget { role }) => {
            let mut setup = arguments.config.load()?;
            match setup.config.straps.remove(&role) {
                None => bail!("no strap is assigned to the {role}"),
                Some(strap) => {
                    setup.config.save(&setup.path)?;
                    console::print_line(&format!("{role}: {} forgotten", strap.id));
                    Ok(ExitCode::SUCCESS)
                }
            }
        }
    }
}

fn list(setup: &Setup, json: bool) -> anyhow::Result<ExitCode> {
    if json {
        console::print_line(&serde_json::to_string(&setup.config.straps)?);
        return Ok(ExitCode::SUCCESS);
    }
    if setup.config.straps.is_empty() {
        console::print_line(
            "no strap is assigned; find yours with: peakorderd scan, then: peakorderd straps identify",
        );
        return Ok(ExitCode::SUCCESS);
    }
    let valid = setup.config.alignments();
    let heading = ["worn on", "address", "name", "profile", "aligned"];
    let mut rows = vec![heading.map(String::from).to_vec()];
    for (role, strap) in &setup.config.straps {
        let aligned = match (&strap.alignment, valid.get(role)) {
            (_, Some(a)) => format!("{:+.2} ± {:.2} ms, {}", a.latency_ms, Z95 * a.sd_ms, a.at_utc),
            (Some(_), None) => "not with the others: peakorderd align".into(),
            (None, None) => "never: peakorderd align".into(),
        };
        rows.push(vec![
            role.to_string(),
            strap.id.clone(),
            harmless(&strap.name),
            strap.profile.clone(),
            aligned,
        ]);
    }
    console::print_line(table(&rows).trim_end());
    Ok(ExitCode::SUCCESS)
}

async fn set(mut setup: Setup, role: Role, id: &str, profile: Option<String>) -> anyhow::Result<ExitCode> {
    let (name, profile) = if let Some(profile) = profile {
        if setup.profiles.get(&profile).is_none() {
            bail!("there is no profile '{profile}'; peakorderd profile list shows the ids");
        }
        (String::new(), profile)
    } else {
        let radio = setup.radio().await?;
        let all = scan::listen(&radio, &setup, LOOK, |_, _| {}).await?;
        let heard = all.values().map(|(h, _)| h).find(|h| same_id(&h.id, id)).with_context(|| {
            format!("{id} is not heard: switch it on, or name its profile with --profile (peakorderd profile list)")
        })?;
        let profile = heard.profile.clone().with_context(|| {
            let name = harmless(&heard.name);
            format!("{id} ({name}) fits no profile; name one with --profile (peakorderd profile list)")
        })?;
        (heard.name.clone(), profile)
    };
    setup.config.assign(role, id, &name, &profile);
    setup.config.save(&setup.path)?;
    console::print_line(&format!("{role}: {id} {} (profile {profile})", harmless(&name)));
    Ok(ExitCode::SUCCESS)
}

/// A strap that may be the one.
struct Candidate {
    id: String,
    name: String,
    wanted: StrapTarget,
}

/// The candidates' streams, and how far each strap has turned.
struct Watched {
    streams: Vec<StrapStream>,
    turning: Turning,
}

async fn identify(mut setup: Setup, roles: &[Role], limit: Duration) -> anyhow::Result<ExitCode> {
    let radio = setup.radio().await?;
    console::print_line("looking for straps …");
    let all = scan::listen(&radio, &setup, LOOK, |_, _| {}).await?;
    let candidates: Vec<Candidate> = all
        .into_values()
        .filter_map(|(heard, _)| {
            let known = setup.profiles.get(heard.profile.as_deref()?)?;
            let wanted = StrapTarget { id: heard.id.clone(), profile: Arc::clone(&known.profile) };
            Some(Candidate { id: heard.id, name: heard.name, wanted })
        })
        .collect();
    if candidates.len() < roles.len() {
        bail!(
            "{} strap(s) heard, {} needed: switch all straps on, charge them, close phone apps that hold them \
             (peakorderd scan --all shows what is heard)",
            candidates.len(),
            roles.len()
        );
    }
    let mut straps = start(&radio, &candidates);
    let mut watched = Watched::new(&candidates);
    let outcome = ask(&mut setup, roles, limit, &candidates, &mut straps, &mut watched).await;
    straps.close().await;
    outcome?;
    setup.config.save(&setup.path)?;
    Ok(ExitCode::SUCCESS)
}

fn start(radio: &Radio, candidates: &[Candidate]) -> Straps {
    Straps::start(radio, candidates.iter().map(|c| c.wanted.clone()).collect(), SessionClock::start())
}

impl Watched {
    fn new(candidates: &[Candidate]) -> Self {
        Self {
            streams: candidates.iter().map(|c| StrapStream::unaligned(&c.wanted.profile)).collect(),
            turning: Turning::new(candidates.len()),
        }
    }

    fn streaming(&self, strap: usize) -> bool {
        self.streams[strap].counts().samples > 0
    }

    fn all_streaming(&self) -> bool {
        (0..self.streams.len()).all(|i| self.streaming(i))
    }
}

async fn ask(
    setup: &mut Setup,
    roles: &[Role],
    limit: Duration,
    candidates: &[Candidate],
    straps: &mut Straps,
    watched: &mut Watched,
) -> anyhow::Result<()> {
    let mut left: Vec<usize> = (0..candidates.len()).collect();
    gather(straps, watched, candidates, Duration::from_secs(30), Watched::all_streaming).await?;
    let silent: Vec<&str> =
        (0..candidates.len()).filter(|i| !watched.streaming(*i)).map(|i| candidates[i].id.as_str()).collect();
    if !silent.is_empty() {
        console::print_error(&format!(
            "nothing comes in from {}; it cannot be identified",
            silent.join(", ")
        ));
    }
    for role in roles {
        console::print_line(&format!(
            "twist the strap you wear on the {role} now, to and fro, and keep the others still"
        ));
        let deadline = tokio::time::Instant::now() + limit;
        let found = loop {
            watched.turning.clear();
            gather(straps, watched, candidates, WINDOW, |_| false).await?;
            match watched.turning.judge(|i| left.contains(&i)) {
                Turned::One(i) => break i,
                Turned::None => {}
                Turned::Unclear(a, b) => console::print_line(&format!(
                    "unclear: {} and {} both turned ({:.0}° and {:.0}°); twist only the one on the {role}",
                    candidates[a].id,
                    candidates[b].id,
                    watched.turning.path_deg(a),
                    watched.turning.path_deg(b)
                )),
            }
            if tokio::time::Instant::now() >= deadline {
                bail!(
                    "no strap was clearly twisted for the {role}; nothing was changed. Try again, or use: peakorderd straps set"
                );
            }
        };
        left.retain(|i| *i != found);
        let strap = &candidates[found];
        setup.config.assign(*role, &strap.id, &strap.name, strap.wanted.profile.id());
        console::print_line(&format!("{role}: {} {}", strap.id, harmless(&strap.name)));
    }
    Ok(())
}

/// Takes in what comes for `length`, or until `enough`.
async fn gather(
    straps: &mut Straps,
    watched: &mut Watched,
    candidates: &[Candidate],
    length: Duration,
    enough: impl Fn(&Watched) -> bool,
) -> anyhow::Result<()> {
    let end = tokio::time::sleep(length);
    let stop = console::stop_signal();
    tokio::pin!(end, stop);
    let mut items = Vec::new();
    while !enough(watched) {
        tokio::select! {
            () = &mut end => return Ok(()),
            () = &mut stop => bail!("stopped; nothing was changed"),
            more = straps.receive(&mut items) => if !more { bail!("no strap is left; nothing was changed") },
        }
        for item in items.drain(..) {
            let stream = &mut watched.streams[item.strap];
            if item.pass_to(stream) {
                watched.turning.look(item.strap, stream.received().samples);
            }
            match item.kind {
                IncomingKind::Status(what) => {
                    let text = words::strap::event(&what);
                    console::print_error(&format!("{}: {text}", candidates[item.strap].id));
                }
                IncomingKind::GivenUp(text) => {
                    console::print_error(&format!("{}: {text}", candidates[item.strap].id));
                }
                IncomingKind::Packet { .. } | IncomingKind::Event(_) => {}
            }
        }
    }
    Ok(())
}
