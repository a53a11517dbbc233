//! What goes wrong while a session is recorded, in words.

use peakorder_protocol::trouble::Trouble;

/// A sentence: what is wrong, what goes on meanwhile, and what to do.
pub fn sentence(trouble: &Trouble) -> String {
    match trouble {
        Trouble::NotRecording { why } => format!(
            "NOT RECORDING: the disk refuses writes ({why}). Samples wait in memory; make room or end the lesson"
        ),
        Trouble::NoRoomToWait => {
            "NOT RECORDING: the disk is too slow, and what waits for it fills the memory. End the lesson, or free the disk"
                .into()
        }
        Trouble::RecordingAgain { dropped: 0, .. } => "recording again; nothing was lost".into(),
        Trouble::RecordingAgain { missing_ms, .. } => format!(
            "recording again; {:.1} s of samples did not fit into memory and are lost",
            *missing_ms as f64 * 1e-3
        ),
        Trouble::FileNotWritten { file, why } => format!(
            "{file} cannot be written ({why}). The recording goes on; the file is tried again, and peakorderd replay makes it later"
        ),
        Trouble::NotComputing => {
            "the computation failed and is off until the lesson ends. The recording goes on; \
             peakorderd replay computes its swings later"
                .into()
        }
        Trouble::PartLost { missing_ms } => format!(
            "{:.2} s of the recording are lost from here on; what was left was saved",
            *missing_ms as f64 * 1e-3
        ),
        Trouble::Interrupted { missing_ms } => format!(
            "the recording was interrupted for {} and goes on from here; what came meanwhile is missing",
            span(*missing_ms)
        ),
        // A kind that is added later.
        _ => "something is wrong; see the log of peakorderd".into(),
    }
}

/// A time in seconds, or in minutes where it is long.
fn span(ms: u64) -> String {
    let seconds = (ms + 500) / 1000;
    if seconds < 120 { format!("{seconds} s") } else { format!("{} min", (seconds + 30) / 60) }
}
