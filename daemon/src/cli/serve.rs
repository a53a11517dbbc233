//! `peakorderd serve`: the coach's page.

use super::bluetooth::ConfigFile;
use super::console;
use crate::serve::lesson::{LessonSource, WhenEnded};
use crate::serve::tls::Encryption;
use crate::serve::{Options, Server, greeting, library};
use crate::source::pace::Speed;
use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;

/// Arguments of `peakorderd serve`.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Only browsers on this computer reach the default address. With --listen 0.0.0.0:7311 \
    (or another address of this computer) other devices do too; each must then be paired, with a link \
    that is printed here or with a passcode, and is then known for 90 days. The connection is not encrypted, so use it in a network you trust, or add --tls, or --tls-cert and --tls-key."
)]
pub(super) struct Arguments {
    /// Address and port to listen on.
    #[arg(long, default_value = "127.0.0.1:7311", value_name = "ADDRESS:PORT")]
    listen: SocketAddr,
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
    /// Lessons use virtual straps: an invented lesson for any player.
    #[arg(long = "virtual")]
    virtual_straps: bool,
    /// The invented lesson is drawn from this number.
    #[arg(long, default_value_t = 1, requires = "virtual_straps")]
    seed: u64,
    /// How fast the invented lesson goes: max, or times real time.
    #[arg(long, default_value = "1", value_name = "max|N", requires = "virtual_straps")]
    speed: Speed,
    #[command(flatten)]
    config: ConfigFile,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let source = if arguments.virtual_straps {
        LessonSource::Virtual { seed: arguments.seed, speed: arguments.speed }
    } else {
        LessonSource::Straps(arguments.config.path()?)
    };
    let library = match arguments.library {
        Some(folder) => folder,
        None => library::default_folder()?,
    };
    let server = Server::open(Options {
        listen: arguments.listen,
        library,
        source,
        allowed_hosts: arguments.allow_hosts,
        passcode_file: arguments.passcode_file,
        encryption: match (arguments.tls_cert, arguments.tls_key) {
            (Some(certificate), Some(key)) => Encryption::Files { certificate, key },
            _ if arguments.tls => Encryption::Own,
            _ => Encryption::Off,
        },
        forget_devices: arguments.forget_devices,
        when_ended: WhenEnded::run(arguments.when_ended),
    })
    .await?;
    let stop = console::stop_signal();
    console::print_line(&greeting(&server));
    server.run(stop).await;
    Ok(ExitCode::SUCCESS)
}
