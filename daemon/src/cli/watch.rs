//! `peakorderd watch`: the lesson in a terminal.

use crate::watch::client::{ServerAddress, Update, follow};
use crate::watch::draw::lines;
use crate::watch::screen::Screen;
use crate::watch::terminal::Terminal;
use anyhow::{Context as _, bail};
use crossterm::event::{Event, KeyCode, KeyModifiers};
use std::io::IsTerminal as _;
use std::process::ExitCode;
use std::time::Duration;
use tokio::sync::mpsc;

/// Arguments of `peakorderd watch`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Address of peakorderd serve, or a pairing link that it printed.
    #[arg(default_value = "http://127.0.0.1:7311/", value_name = "ADDRESS")]
    server: ServerAddress,
}

/// How often the keyboard is looked at when nothing is typed.
const KEYS_EVERY: Duration = Duration::from_millis(250);

/// What makes the screen change.
enum Change {
    Update(Update),
    Redraw,
    Quit,
}

/// Reads keys on a thread of its own, for a read from a terminal cannot be called off.
fn keys(to: &mpsc::Sender<Change>) {
    while !to.is_closed() {
        match crossterm::event::poll(KEYS_EVERY) {
            Ok(false) => continue,
            Ok(true) => {}
            Err(_) => return,
        }
        let change = match crossterm::event::read() {
            Ok(Event::Key(key)) => match key.code {
                KeyCode::Char('q') | KeyCode::Esc => Change::Quit,
                KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => Change::Quit,
                _ => continue,
            },
            Ok(Event::Resize(..)) => Change::Redraw,
            Ok(_) => continue,
            Err(_) => return,
        };
        if to.blocking_send(change).is_err() {
            return;
        }
    }
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    if !std::io::stdout().is_terminal() {
        bail!("peakorderd watch draws on a terminal; programs read the events at /api/v1/events");
    }
    let (to, mut changes) = mpsc::channel(64);
    let (updates_to, mut updates) = mpsc::channel(64);
    tokio::spawn(follow(arguments.server, updates_to));
    let forward = to.clone();
    tokio::spawn(async move {
        while let Some(update) = updates.recv().await {
            if forward.send(Change::Update(update)).await.is_err() {
                return;
            }
        }
    });
    std::thread::spawn(move || keys(&to));
    let mut terminal = Terminal::take_over().context("the terminal cannot be drawn on")?;
    let mut screen = Screen::default();
    let mut painted = terminal.paint(&lines(&screen));
    while painted.is_ok() {
        match changes.recv().await {
            Some(Change::Update(update)) => screen.apply(update),
            Some(Change::Redraw) => {}
            Some(Change::Quit) | None => break,
        }
        painted = terminal.paint(&lines(&screen));
    }
    drop(terminal);
    painted.context("the terminal cannot be drawn on")?;
    Ok(ExitCode::SUCCESS)
}
