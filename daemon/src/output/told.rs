//! Live events as they leave the program: each with its words beside it.

use peakorder_analysis::order::heading;
use peakorder_analysis::words;
use peakorder_protocol::event::LiveEvent;
use serde::Serialize;

/// A live event and what it means in words, one JSON object.
#[derive(Debug, Clone, Serialize)]
pub struct Told<'a> {
    /// The event.
    #[serde(flatten)]
    pub event: &'a LiveEvent,
    /// The sentence for it, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// The order of a swing's peaks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub order_words: Option<String>,
}

impl<'a> From<&'a LiveEvent> for Told<'a> {
    fn from(event: &'a LiveEvent) -> Self {
        let order_words = match event {
            LiveEvent::Swing { swing } => Some(heading(&swing.sequence)),
            _ => None,
        };
        Self { event, text: text_of(event), order_words }
    }
}

/// What a strap event or a trouble is in words; `None` for what is shown and not said.
pub fn text_of(event: &LiveEvent) -> Option<String> {
    match event {
        LiveEvent::Strap { what, .. } => Some(words::strap::event(what)),
        LiveEvent::Trouble { what, .. } => Some(words::trouble::sentence(what)),
        _ => None,
    }
}
