//! `peakorderd straps`: which strap is worn where.

use super::bluetooth::{ConfigFile, harmless, table};
use super::{console, scan};
use crate::ble::finding::listen;
use crate::ble::identifying::{self, LOOK, NotIdentified, Placed, Step};
use crate::ble::setup::Setup;
use crate::config::same_id;
use anyhow::{Context as _, bail};
use peakorder_protocol::Role;
use peakorder_protocol::estimate::Z95;
use std::process::ExitCode;
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
                    setup.config.save_straps(&setup.path)?;
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
        let all = listen(&radio, &setup, LOOK, console::stop_signal(), |_, _| {}).await?;
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
    setup.config.save_straps(&setup.path)?;
    console::print_line(&format!("{role}: {id} {} (profile {profile})", harmless(&name)));
    Ok(ExitCode::SUCCESS)
}

async fn identify(mut setup: Setup, roles: &[Role], limit: Duration) -> anyhow::Result<ExitCode> {
    let radio = setup.radio().await?;
    console::print_line("looking for straps …");
    let heard = listen(&radio, &setup, LOOK, console::stop_signal(), |_, _| {}).await?;
    let stop = Box::pin(console::stop_signal());
    let placed = match identifying::identify(&radio, &setup, heard, roles, limit, stop, &mut say).await {
        Ok(placed) => placed,
        Err(why @ NotIdentified::TooFew { .. }) => bail!("{why} (peakorderd scan --all shows what is heard)"),
        Err(why @ NotIdentified::NotTwisted(_)) => bail!("{why}. Try again, or use: peakorderd straps set"),
        Err(why) => bail!("{why}"),
    };
    for Placed { role, id, name, profile } in placed {
        setup.config.assign(role, &id, &name, &profile);
    }
    setup.config.save_straps(&setup.path)?;
    Ok(ExitCode::SUCCESS)
}

fn say(step: Step) {
    match step {
        Step::Silent(ids) => console::print_error(&format!(
            "nothing comes in from {}; it cannot be identified",
            ids.join(", ")
        )),
        Step::Twist(role) => console::print_line(&format!(
            "twist the strap you wear on the {role} now, to and fro, and keep the others still"
        )),
        Step::Unclear { role, straps: [(a, a_deg), (b, b_deg)] } => console::print_line(&format!(
            "unclear: {a} and {b} both turned ({a_deg:.0}° and {b_deg:.0}°); twist only the one on the {role}"
        )),
        Step::Found(Placed { role, id, name, .. }) => {
            console::print_line(&format!("{role}: {id} {}", harmless(&name)));
        }
        Step::Strap { id, text } => console::print_error(&format!("{id}: {text}")),
    }
}
