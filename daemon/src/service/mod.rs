//! What a service manager is told of a running daemon, and what it can restart it for.

mod journal;
mod manager;

pub use journal::is_journal;
pub use manager::ServiceManager;

/// Environment variables by which the service manager speaks to this program alone. Programs that it starts must not have
/// them: they would answer in its name.
pub const ENVIRONMENT: [&str; 5] =
    ["NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID", "JOURNAL_STREAM", "INVOCATION_ID"];
