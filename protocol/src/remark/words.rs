//! A remark in one short line.

use super::What;

impl What {
    /// In one short line, e.g. to name what "undo" takes back.
    pub fn words(&self) -> String {
        match self {
            Self::Outcome { swing, labels } if labels.is_empty() => {
                format!("swing {swing}: ball outcome removed")
            }
            Self::Outcome { swing, labels } => format!("swing {swing}: ball {}", labels.join(", ")),
            Self::Note { swing: Some(swing), text } if text.is_empty() => {
                format!("swing {swing}: note removed")
            }
            Self::Note { swing: Some(swing), text } => format!("swing {swing}: note \"{}\"", shortened(text)),
            Self::Note { swing: None, text } => format!("note \"{}\"", shortened(text)),
            Self::Practise { text } if text.is_empty() => "to practise: removed".into(),
            Self::Practise { text } => format!("to practise: \"{}\"", shortened(text)),
            Self::Exclude { swing, excluded: true, reason } if reason.is_empty() => {
                format!("swing {swing} left out of the summaries")
            }
            Self::Exclude { swing, excluded: true, reason } => {
                format!("swing {swing} left out of the summaries: {}", shortened(reason))
            }
            Self::Exclude { swing, excluded: false, .. } => {
                format!("swing {swing} taken into the summaries again")
            }
            Self::Balls { block, every_swing, without_ball } => {
                let of = if block.is_empty() {
                    "before the first block".to_owned()
                } else {
                    format!("in block {}", shortened(block))
                };
                match (every_swing, without_ball) {
                    (true, _) => format!("every swing {of} hits a ball"),
                    (false, true) => format!("swings {of} are without a ball"),
                    (false, false) => format!("not every swing {of} hits a ball"),
                }
            }
            Self::Rename { block, name } => {
                format!("block {} is now {}", shortened(block), shortened(name))
            }
            Self::Ball { swing, struck: Some(true) } => format!("swing {swing}: hit a ball"),
            Self::Ball { swing, struck: Some(false) } => format!("swing {swing}: without a ball"),
            Self::Ball { swing, struck: None } => format!("swing {swing}: ball or not is as the straps say"),
            Self::Target { target: Some(target) } => format!("target: {}", shortened(&target.words)),
            Self::Target { target: None } => "target ended".into(),
            Self::Chosen { measures } if measures.is_empty() => {
                "the lesson is about no number in particular".into()
            }
            Self::Chosen { measures } => {
                let keys: Vec<&str> = measures.iter().map(|m| m.measure.as_str()).collect();
                format!("the lesson is about {}", shortened(&keys.join(", ")))
            }
            Self::Undo { id } => format!("remark {id} taken back"),
        }
    }
}

/// The first words of a text, for a line that names it.
fn shortened(text: &str) -> String {
    const ROOM: usize = 40;
    let line = text.lines().next().unwrap_or("");
    if line.chars().count() <= ROOM && line.len() == text.len() {
        return line.to_owned();
    }
    let cut: String = line.chars().take(ROOM).collect();
    format!("{}…", cut.trim_end())
}
