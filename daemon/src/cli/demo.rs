//! `peakorderd demo`: an invented lesson through the whole chain.

use super::console;
use super::programs::Programs;
use crate::engine::{BATCHES, Engine};
use crate::source::pace::{Speed, play};
use anyhow::Context as _;
use peakorder_analysis::chosen::Family;
use peakorder_analysis::compare::compare;
use peakorder_analysis::load::load;
use peakorder_analysis::measure::Measure;
use peakorder_analysis::render::{self, Extent, Style, wrap};
use peakorder_analysis::{terminal, words};
use peakorder_protocol::Role::{Pelvis, Thorax};
use peakorder_protocol::event::LiveEvent;
use peakorder_protocol::remark::{ChosenMeasure, RemarkFile, What};
use peakorder_protocol::session::{Player, SessionDir};
use peakorder_virtual_straps::Script;
use peakorder_virtual_straps::virtual_session;
use std::io::{self, IsTerminal as _};
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;
use tokio::sync::mpsc;

/// What the invented lesson is about, after its player's goal: turn the pelvis more, let it start the downswing.
const ABOUT: [Measure; 3] =
    [Measure::TurnAtTop(Pelvis), Measure::TurnAtTop(Thorax), Measure::Gap(Pelvis, Thorax)];

/// Columns of the short account; longer lines are for [`Arguments::full`].
const WIDEST: usize = 80;

/// Arguments of `peakorderd demo`.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Session folder to make; an earlier demo in it is replaced.
    #[arg(long, value_name = "DIR", default_value = "demo-session")]
    out: PathBuf,
    /// Everything is drawn from this number; the same number gives the same lesson.
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// How fast: max, or times real time.
    #[arg(long, default_value = "max", value_name = "max|N")]
    speed: Speed,
    /// Print every swing and every number.
    #[arg(long)]
    full: bool,
}

pub(super) async fn run(arguments: Arguments) -> anyhow::Result<ExitCode> {
    let script = Script::lesson(arguments.seed);
    let p = script.player();
    let player = Player {
        name: p.name.clone(),
        handedness: p.handedness,
        goal: p.goal.clone(),
        limits: p.limits.clone(),
        ..Player::default()
    };
    let seconds = script.duration_s();
    let watched = io::stdout().is_terminal();
    let columns = terminal::width().unwrap_or(WIDEST);
    let columns = if arguments.full { columns } else { columns.min(WIDEST) };
    let style = Style::new(columns, terminal::colours(watched));
    let mut said = String::new();
    wrap(
        &mut said,
        style,
        "",
        &format!(
            "An invented lesson: {}, {}-handed, \"{}\". {} of baseline swings, a drill and swings after it, by three \
             virtual straps.",
            player.name,
            player.handedness,
            player.limits,
            console::duration(seconds)
        ),
    );
    console::print_line(&said);
    // Only a session of the demo itself is replaced without being asked.
    let replace = SessionDir::open(&arguments.out).is_ok_and(|(_, s)| s.invented);
    let session =
        virtual_session(&script, &format!("demo-{}", arguments.seed), player, "2026-01-01T00:00:00Z");
    let engine = Engine::new(SessionDir::create(&arguments.out, replace)?, session, arguments.speed.into())?;
    let (to, batches) = mpsc::channel(BATCHES);
    let bar = console::progress(seconds as u64, "lesson {bar:40} {pos}/{len} s {msg}");
    let speed = arguments.speed;
    let start = Instant::now();
    let moving = bar.clone();
    let source = tokio::task::spawn_blocking(move || {
        play(script.session().records(), speed, &to, |t_s| moving.set_position(t_s as u64));
    });
    let counting = bar.clone();
    let counter = tokio::spawn(console::follow(engine.watch(), move |event| {
        if let LiveEvent::Swing { swing } = event {
            counting.set_message(format!("{} swings", swing.number));
        }
        counting.suspend(|| console::print_trouble(event));
    }));
    let (dir, summary) = engine.run(batches, console::stop_signal()).await?;
    source.await.context("the virtual straps stopped")?;
    counter.await.context("counting stopped")?;
    bar.finish_and_clear();
    let took = start.elapsed().as_secs_f64();

    let name = dir.path().display().to_string();
    // What the invented coach said at the start that the lesson is about.
    let about = ABOUT.map(|m| ChosenMeasure { measure: m.key(), matters: None }).to_vec();
    RemarkFile::of(dir.path()).append(0.0, What::Chosen { measures: about })?;
    let (before, after) = (load(&format!("{name}:baseline"))?, load(&format!("{name}:after"))?);
    let compared = compare(&before, &after, &Family::of_remarks(&after.remarks))?;
    let shown = compared.after.summary.used.first().copied().context("no swing of the block after counts")?;
    let hint = if arguments.full {
        console::print_line(&render::session(&load(&name)?, style));
        console::print_line(&render::comparison(&compared, Extent::Short, style));
        console::print_line(&format!("{}\n", console::summary_line(dir.path(), &summary)));
        ""
    } else {
        let curves = after.curves(shown)?;
        console::print_line(&render::first_look(after.swing(shown)?, &curves, &compared, style));
        " (--full: every number)"
    };
    let mut said = String::new();
    wrap(
        &mut said,
        style,
        "",
        &format!(
            "{}, played in {took:.1} s, are in {name}{hint}. Go on:",
            words::plural(summary.swings as usize, "swing")
        ),
    );
    said += &go_on(&Programs::of_this_process(), &name, shown);
    wrap(&mut said, style, "", "Warm up before you swing, stop on pain. peakorder gives no medical advice.");
    console::print_line(said.trim_end());
    Ok(ExitCode::SUCCESS)
}

/// Commands to go on with, not wrapped, so that they can be copied.
fn go_on(programs: &Programs, name: &str, swing: u32) -> String {
    let (look, serve) = (programs.peakorder(), programs.peakorderd());
    let of = |block: &str| terminal::word(&format!("{name}{block}"));
    format!(
        "  {look} show {} {swing}\n  {look} compare {} {}\n  {look} report {} --out lesson.html\n  \
         {serve} serve --virtual   # the coach's page\n",
        of(""),
        of(":baseline"),
        of(":after"),
        of("")
    )
}
