//! `peakorderd doctor`: would a session work on this computer?

use super::bluetooth::ConfigFile;
use super::console;
use crate::ble::profiles::Profiles;
use crate::ble::radio::Radio;
use crate::config::{Config, PAGE_PORT, profiles_dir};
use serde::Serialize;
use std::io::ErrorKind;
use std::net::{Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Arguments of `peakorderd doctor`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Folder that sessions will be recorded in.
    #[arg(long, default_value = ".", value_name = "DIR")]
    out: PathBuf,
    /// Port of the live page.
    #[arg(long, default_value_t = PAGE_PORT, value_name = "N")]
    port: u16,
    /// Print JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    config: ConfigFile,
}

/// An hour of three straps takes about 40 MB; a day of lessons must fit.
const ROOM_MB: u64 = 500;

#[derive(Debug, Serialize)]
struct Line {
    what: &'static str,
    /// `false` would stop a session; `null` only deserves attention or could not be looked at.
    ok: Option<bool>,
    text: String,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let mut lines = Vec::new();
    let mut add_line = |what, ok, text: String| lines.push(Line { what, ok, text });

    let path = arguments.config.path()?;
    let config = match Config::load(&path) {
        Ok(config) if config.straps.is_empty() => {
            add_line(
                "straps",
                None,
                format!("none assigned in {}; run: peakorderd straps identify", path.display()),
            );
            config
        }
        Ok(config) => {
            let worn: Vec<String> = config.straps.iter().map(|(r, s)| format!("{r} {}", s.id)).collect();
            add_line("configuration", Some(true), format!("{}: {}", path.display(), worn.join(", ")));
            config
        }
        Err(error) => {
            add_line("configuration", Some(false), error.to_string());
            Config::default()
        }
    };
    let profiles = Profiles::load(&profiles_dir(&path));
    for problem in profiles.problems() {
        add_line("profile", Some(false), problem.to_string());
    }
    for (role, strap) in &config.straps {
        if profiles.get(&strap.profile).is_none() {
            let text = format!(
                "the {role} strap has profile '{}', which there is not; peakorderd profile list shows the ids",
                strap.profile
            );
            add_line("profile", Some(false), text);
        }
    }
    match Radio::open_now(config.adapter.as_deref()).await {
        Err(error) => add_line("bluetooth", Some(false), error.to_string()),
        Ok(radio) => {
            let name = radio.name().await;
            match radio.powered().await {
                Some(true) => add_line("bluetooth", Some(true), format!("{name} is on")),
                Some(false) => add_line(
                    "bluetooth",
                    Some(false),
                    format!("{name} is off; run: rfkill unblock bluetooth; bluetoothctl power on"),
                ),
                None => {
                    add_line("bluetooth", None, format!("{name}; the system does not say whether it is on"));
                }
            }
        }
    }
    check_disk(&arguments.out, &mut add_line);
    check_port(arguments.port, &mut add_line);

    let stops = lines.iter().any(|l| l.ok == Some(false));
    if arguments.json {
        console::print_line(&serde_json::to_string(&lines)?);
    } else {
        for line in &lines {
            let mark = match line.ok {
                Some(true) => "ok     ",
                Some(false) => "PROBLEM",
                None => "note   ",
            };
            console::print_line(&format!("{mark} {}: {}", line.what, line.text));
        }
        console::print_line(if stops {
            "a session would not work yet"
        } else {
            "nothing stands in the way of a session"
        });
    }
    Ok(if stops { ExitCode::FAILURE } else { ExitCode::SUCCESS })
}

fn check_disk(out: &Path, add_line: &mut impl FnMut(&'static str, Option<bool>, String)) {
    // The folder itself need not exist yet.
    let existing = out.ancestors().find(|d| d.is_dir()).unwrap_or(Path::new("."));
    let shown = existing.display();
    let probe = existing.join(format!(".peakorder-doctor-{}", std::process::id()));
    match std::fs::File::create_new(&probe) {
        Ok(_) => {
            let _ = std::fs::remove_file(&probe);
        }
        Err(error) => {
            add_line(
                "disk",
                Some(false),
                format!("{shown}: nothing can be written here ({error}); use another folder"),
            );
            return;
        }
    }
    match fs4::available_space(existing).map(|bytes| bytes / 1_000_000) {
        Ok(free) if free < ROOM_MB => {
            add_line("disk", Some(false), format!("{shown}: {free} MB free; make room for {ROOM_MB} MB"));
        }
        Ok(free) => add_line("disk", Some(true), format!("{shown}: {free} MB free")),
        Err(error) => {
            add_line(
                "disk",
                None,
                format!("{shown}: can be written; how much is free is not known ({error})"),
            );
        }
    }
}

/// Could the live page be served on this computer's port `port`?
fn check_port(port: u16, add_line: &mut impl FnMut(&'static str, Option<bool>, String)) {
    match TcpListener::bind((Ipv4Addr::LOCALHOST, port)) {
        Ok(_) => add_line("port", Some(true), format!("{port} is free for the live page")),
        Err(error) if error.kind() == ErrorKind::AddrInUse => {
            add_line(
                "port",
                None,
                format!("{port} is taken by another program, perhaps another peakorderd; end that"),
            );
        }
        Err(error) => add_line("port", None, format!("{port} cannot be used: {error}")),
    }
}
