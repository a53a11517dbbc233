//! `peakorderd serve`: the coach's page.

use super::bluetooth::ConfigFile;
use super::console;
use crate::ble::setup::Setup;
use crate::config::{Config, ConfigError, PAGE_PORT, ServeTable};
use crate::serve::lesson::{LessonSource, WhenEnded};
use crate::serve::tls::Encryption;
use crate::serve::{Options, Server, greeting, library, passcode};
use crate::service::is_journal;
use crate::source::pace::Speed;
use anyhow::{Context as _, bail};
use std::net::{Ipv4Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

/// Arguments of `peakorderd serve`.
#[expect(clippy::struct_excessive_bools, reason = "each is an option of its own")]
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Only browsers on this computer reach the default address. With --listen 0.0.0.0:7311 \
    (or another address of this computer) other devices do too; each must then be paired, with a link \
    that is printed here or with a passcode, and is then known for 90 days. The connection is not encrypted, so use it in a network you trust, or add --tls, or --tls-cert and --tls-key. \
    The configuration file's table [serve] can hold the same (listen = \"0.0.0.0:7311\"); what is given here wins."
)]
pub(super) struct Arguments {
    /// Address and port to listen on; 127.0.0.1:7311 otherwise.
    #[arg(long, value_name = "ADDRESS:PORT")]
    listen: Option<SocketAddr>,
    /// Folder of players and sessions; the platform's data folder otherwise.
    #[arg(long, value_name = "DIR")]
    library: Option<PathBuf>,
    /// A name besides this computer's addresses that browsers may use, e.g. bay.local.
    #[arg(long = "allow-host", value_name = "NAME")]
    allow_hosts: Vec<String>,
    /// File with a passcode (8 characters or more) for the coach's device.
    #[arg(long, value_name = "FILE")]
    passcode_file: Option<PathBuf>,
    /// Encrypt connections with a certificate that peakorderd makes and keeps in the library; its
    /// fingerprint is printed here.
    #[arg(long, conflicts_with_all = ["tls_cert", "tls_key"])]
    tls: bool,
    /// Encrypt connections with this certificate (PEM).
    #[arg(long, value_name = "FILE", requires = "tls_key")]
    tls_cert: Option<PathBuf>,
    /// The certificate's private key (PEM), readable by its owner only.
    #[arg(long, value_name = "FILE", requires = "tls_cert")]
    tls_key: Option<PathBuf>,
    /// Forget every device that was paired before; each has to pair again.
    #[arg(long)]
    forget_devices: bool,
    /// Program to run after every lesson, with the session's folder as its argument: to add it to a dataset, or send it elsewhere.
    #[arg(long, value_name = "PROGRAM")]
    when_ended: Option<PathBuf>,
    /// Do not announce the page in the network (by the system's Avahi, where there is one and other devices reach the page).
    #[arg(long)]
    no_announce: bool,
    /// Lessons use virtual straps: an invented lesson for any player.
    #[arg(long = "virtual")]
    virtual_straps: bool,
    /// The invented lesson is drawn from this number.
    #[arg(long, default_value_t = 1, requires = "virtual_straps")]
    seed: u64,
    /// How fast the invented lesson goes: max, or times real time.
    #[arg(long, default_value = "1", value_name = "max|N", requires = "virtual_straps")]
    speed: Speed,
    /// Look whether configuration, profiles and passcode can be used, say what would be served, and end.
    #[arg(long)]
    check_config: bool,
    #[command(flatten)]
    config: ConfigFile,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let path = arguments.config.path()?;
    if arguments.config.is_named() && !path.exists() {
        // `straps` makes what is missing, so that it may be missing; who checks wants to know.
        if arguments.check_config {
            return Err(ConfigError::Absent(path).into());
        }
        tracing::warn!(config = %path.display(), "There is no such configuration file; everything is as usual.");
    }
    let config = Config::load(&path)?;
    let check = arguments.check_config;
    let options = options(arguments, &config, &path)?;
    if check {
        return check_config(&options, &config, &path);
    }
    tracing::info!(version = crate::VERSION, config = %path.display(), "Starting.");
    let server = Server::open(options).await?;
    let stop = console::stop_signal();
    console::print_line(&greeting(&server, !is_journal()));
    server.run(stop).await;
    Ok(ExitCode::SUCCESS)
}

/// What the command line says, then the configuration, then what is usual.
fn options(arguments: Arguments, config: &Config, path: &Path) -> anyhow::Result<Options> {
    let table = config.serve.clone();
    let on_command_line = arguments.tls || arguments.tls_cert.is_some();
    let encryption = if on_command_line {
        encryption(arguments.tls, arguments.tls_cert, arguments.tls_key)
    } else {
        let ServeTable { tls, tls_cert, tls_key, .. } = table;
        if tls_cert.is_some() != tls_key.is_some() || (tls && tls_cert.is_some()) {
            bail!(
                "{}: [serve] has either tls = true, or tls_cert and tls_key together, or none of them",
                path.display()
            );
        }
        encryption(tls, tls_cert, tls_key)
    };
    Ok(Options {
        listen: arguments.listen.or(table.listen).unwrap_or((Ipv4Addr::LOCALHOST, PAGE_PORT).into()),
        library: match arguments.library {
            Some(folder) => folder,
            None => library::default_folder(config)?,
        },
        source: if arguments.virtual_straps {
            LessonSource::Virtual { seed: arguments.seed, speed: arguments.speed }
        } else {
            LessonSource::Straps(path.to_owned())
        },
        allowed_hosts: if arguments.allow_hosts.is_empty() {
            table.allow_hosts
        } else {
            arguments.allow_hosts
        },
        passcode_file: arguments.passcode_file.or(table.passcode_file),
        encryption,
        forget_devices: arguments.forget_devices,
        when_ended: WhenEnded::run(arguments.when_ended.or(table.when_ended)),
        announce: !arguments.no_announce && table.announce != Some(false),
    })
}

fn encryption(own: bool, certificate: Option<PathBuf>, key: Option<PathBuf>) -> Encryption {
    match certificate.zip(key) {
        Some((certificate, key)) => Encryption::Files { certificate, key },
        None if own => Encryption::Own,
        None => Encryption::Off,
    }
}

/// What would be served; fails where `serve` would for what is configured.
fn check_config(options: &Options, config: &Config, path: &Path) -> anyhow::Result<ExitCode> {
    options.passcode_file.as_deref().map(passcode).transpose()?;
    let setup = Setup::load(path)?;
    if let Some(problem) = setup.profiles.problems().first() {
        bail!("{problem}");
    }
    if !setup.config.straps.is_empty() {
        setup.assigned().context("the straps that are assigned cannot be used")?;
    }
    let there = if path.exists() { "" } else { " (not there: everything as usual)" };
    console::print_line(&format!("configuration  {}{there}", path.display()));
    console::print_line(&format!("straps         {}", config.straps_path(path).display()));
    console::print_line(&format!("library        {}", options.library.display()));
    console::print_line(&format!("listen         {}", options.listen));
    Ok(ExitCode::SUCCESS)
}
