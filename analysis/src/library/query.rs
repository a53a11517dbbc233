//! Looking for sessions: by words, player, block, goal and day. Letters are compared without regard to case.

use super::row::Head;
use jiff::civil::Date;
use std::fmt::Write as _;

/// What sessions are looked for. All that is named must hold.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Query {
    /// Each word is found in the player's name, the goal, a block's label or the day (`2026-11-25`, `25 November 2026`).
    pub words: Vec<String>,
    /// The player's id or whole name.
    pub player: Option<String>,
    /// A block's whole label.
    pub block: Option<String>,
    /// Found in the goal.
    pub goal: Option<String>,
    /// First day, where it was recorded.
    pub from: Option<Date>,
    /// Last day.
    pub to: Option<Date>,
}

impl Query {
    /// The words of what was typed.
    pub fn words_of(text: &str) -> Vec<String> {
        text.split_whitespace().map(str::to_lowercase).collect()
    }

    /// Whether the session is one of those, of a player who is called `name` and has the id `id` now.
    pub fn finds(&self, head: &Head, id: Option<&str>, name: &str) -> bool {
        let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
        self.player.as_deref().is_none_or(|p| id == Some(p) || same(name, p))
            && self.block.as_deref().is_none_or(|b| head.blocks.iter().any(|known| same(&known.label, b)))
            && self
                .goal
                .as_deref()
                .is_none_or(|g| head.player.goal.to_lowercase().contains(&g.trim().to_lowercase()))
            && self.is_between(head)
            && self.has_words(head, name)
    }

    fn is_between(&self, head: &Head) -> bool {
        if self.from.is_none() && self.to.is_none() {
            return true;
        }
        // Of a session whose time cannot be read nobody knows.
        let Ok(day) = head.day.parse::<Date>() else { return false };
        self.from.is_none_or(|from| day >= from) && self.to.is_none_or(|to| day <= to)
    }

    fn has_words(&self, head: &Head, name: &str) -> bool {
        if self.words.is_empty() {
            return true;
        }
        let mut text = format!("{name}\n{}\n{}\n", head.player.goal, head.day);
        if let Ok(day) = head.day.parse::<Date>() {
            let _ = writeln!(text, "{}", day.strftime("%-d %B %Y"));
        }
        for block in &head.blocks {
            text.push_str(&block.label);
            text.push('\n');
        }
        let text = text.to_lowercase();
        self.words.iter().all(|word| text.contains(word))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::library::row::Block;
    use peakorder_protocol::session::Player;

    fn head() -> Head {
        Head {
            id: "s".into(),
            started_utc: "2026-11-24T23:30:00Z".into(),
            zone: "Europe/Berlin".into(),
            source: peakorder_protocol::session::SourceKind::Virtual,
            day: "2026-11-25".into(),
            player: Player { name: "Ann".into(), goal: "Less Sway".into(), ..Player::default() },
            invented: true,
            blocks: vec![Block { label: "baseline".into(), numbers: vec![(1, 3)] }],
            swings: 3,
            problems: Vec::new(),
            loads: true,
        }
    }

    #[test]
    fn all_that_is_named_must_hold() {
        let finds = |query: Query| query.finds(&head(), Some("a1"), "Ann Later");
        let words = |text: &str| finds(Query { words: Query::words_of(text), ..Query::default() });
        assert!(words("") && words("ann SWAY") && words("base 2026-11") && words("november later"));
        assert!(!words("ann bob") && !words("2026-12"));
        let player = |p: &str| finds(Query { player: Some(p.into()), ..Query::default() });
        assert!(player("a1") && player("ann later") && !player("Ann") && !player("a"));
        let block = |b: &str| finds(Query { block: Some(b.into()), ..Query::default() });
        assert!(block("Baseline") && !block("base"));
        let goal = |g: &str| finds(Query { goal: Some(g.into()), ..Query::default() });
        assert!(goal("sway") && !goal("drive"));
        let between = |from: &str, to: &str| {
            finds(Query { from: from.parse().ok(), to: to.parse().ok(), ..Query::default() })
        };
        assert!(
            between("2026-11-25", "2026-11-25") && between("", "2026-11-25") && between("2026-01-01", "")
        );
        assert!(!between("2026-11-26", "") && !between("", "2026-11-24"));
    }

    #[test]
    fn a_session_without_a_day_is_in_no_span() {
        let undated = Head { day: String::new(), ..head() };
        assert!(Query::default().finds(&undated, None, "Ann"));
        assert!(!Query { from: "2000-01-01".parse().ok(), ..Query::default() }.finds(&undated, None, "Ann"));
    }
}
