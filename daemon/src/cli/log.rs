//! Diagnostics on standard error, for a terminal, a file or the system's journal.
//!
//! The journal keeps time, program and level of every line itself: it gets the level as `sd-daemon(3)` has it, `<4>` for a
//! warning, and neither time nor colour. Everywhere a message is one line and holds nothing that controls a terminal: what straps
//! and files are called is not ours, and must not pass for a message of its own.

use crate::service::is_journal;
use peakorder_analysis::terminal::colours;
use peakorder_protocol::text::clean;
use std::fmt;
use std::io::IsTerminal as _;
use tracing::{Event, Level, Subscriber};
use tracing_subscriber::field::MakeExt as _;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::fmt::format::{FormatEvent, FormatFields, Writer, debug_fn};
use tracing_subscriber::fmt::{FmtContext, layer};
use tracing_subscriber::layer::{Layer as _, SubscriberExt as _};
use tracing_subscriber::registry::LookupSpan;
use tracing_subscriber::util::SubscriberInitExt as _;

/// Starts the log: warnings on a terminal, what a service does in the journal, or what `PEAKORDER_LOG` names (`debug`, or
/// `warn,peakorder_daemon=debug`).
pub(super) fn start() {
    let journal = is_journal();
    let default = Targets::new().with_default(if journal { Level::INFO } else { Level::WARN });
    let wanted = std::env::var("PEAKORDER_LOG").unwrap_or_default();
    let (targets, misread) = match wanted.parse::<Targets>() {
        Ok(targets) if !wanted.is_empty() => (targets, None),
        Ok(_) => (default, None),
        Err(error) => (default, Some(error)),
    };
    let fields = debug_fn(|writer, field, value| {
        let value = clean(&format!("{value:?}"));
        if field.name() == "message" { write!(writer, "{value}") } else { write!(writer, "{field}={value}") }
    })
    .delimited(" ");
    let lines = layer().fmt_fields(fields).with_writer(std::io::stderr);
    let lines = if journal {
        lines.event_format(ForJournal).boxed()
    } else {
        lines.with_ansi(colours(std::io::stderr().is_terminal())).boxed()
    };
    tracing_subscriber::registry().with(lines).with(targets).init();
    if let Some(error) = misread {
        tracing::warn!(%error, "PEAKORDER_LOG is not understood; use a level such as debug.");
    }
}

/// What a line of the journal begins with (`sd-daemon(3)`, `SD_WARNING` and so on).
pub(super) const fn priority(level: Level) -> &'static str {
    match level {
        Level::ERROR => "<3>",
        Level::WARN => "<4>",
        Level::INFO => "<6>",
        Level::DEBUG | Level::TRACE => "<7>",
    }
}

struct ForJournal;

impl<S, N> FormatEvent<S, N> for ForJournal
where
    S: Subscriber + for<'a> LookupSpan<'a>,
    N: for<'a> FormatFields<'a> + 'static,
{
    fn format_event(
        &self,
        context: &FmtContext<'_, S, N>,
        mut writer: Writer<'_>,
        event: &Event<'_>,
    ) -> fmt::Result {
        let level = *event.metadata().level();
        write!(writer, "{}", priority(level))?;
        if level > Level::INFO {
            write!(writer, "{}: ", event.metadata().target())?;
        }
        context.field_format().format_fields(writer.by_ref(), event)?;
        writeln!(writer)
    }
}
