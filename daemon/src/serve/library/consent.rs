//! What a player has agreed to, and when.

use super::PlayerCard;
use serde::{Deserialize, Serialize};

/// What was asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum ConsentTo {
    /// To be recorded, and that the recording is kept in this library.
    Recording,
}

/// One answer. Answers are added and never changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct ConsentEntry {
    /// What was asked.
    pub what: ConsentTo,
    /// Yes, or no: not given or withdrawn.
    pub agreed: bool,
    /// When the coach noted it, RFC 3339 UTC; absent where an older version kept no time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at_utc: Option<String>,
}

impl PlayerCard {
    /// Makes the three ways in which a file can say it agree. The list counts; a file of an older
    /// version has none.
    pub(super) fn settle_consent(mut self) -> Self {
        if self.consents.is_empty() && self.about.consent {
            let at_utc = self.consent_utc.take();
            self.consents.push(ConsentEntry { what: ConsentTo::Recording, agreed: true, at_utc });
        }
        let last = self.consents.iter().rev().find(|c| c.what == ConsentTo::Recording);
        self.about.consent = last.is_some_and(|c| c.agreed);
        self.consent_utc = last.filter(|c| c.agreed).and_then(|c| c.at_utc.clone());
        self
    }

    /// Adds the answer `agreed` of this moment if it differs from the last one.
    pub(super) fn note_consent(&mut self, agreed: bool, now_utc: String) {
        let last = self.consents.iter().rev().find(|c| c.what == ConsentTo::Recording);
        if last.is_some_and(|c| c.agreed) != agreed {
            self.consents.push(ConsentEntry { what: ConsentTo::Recording, agreed, at_utc: Some(now_utc) });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn card(text: &str) -> PlayerCard {
        toml::from_str::<PlayerCard>(text).expect("a player file").settle_consent()
    }

    #[test]
    fn a_file_of_an_older_version_keeps_its_answer() {
        let dated = "name = 'X'\nhandedness = 'left'\nconsent = true\nconsent_utc = '2026-03-01T10:00:00Z'\n";
        let old = card(dated);
        assert_eq!(old.consents.len(), 1);
        assert_eq!(old.consents[0].at_utc.as_deref(), Some("2026-03-01T10:00:00Z"));
        assert_eq!((old.about.consent, old.consent_utc), (true, Some("2026-03-01T10:00:00Z".into())));
        let undated = card("name = 'X'\nhandedness = 'left'\nconsent = true\n");
        assert!(undated.about.consent && undated.consents[0].at_utc.is_none());
        let none = card("name = 'X'\nhandedness = 'left'\n");
        assert!(!none.about.consent && none.consents.is_empty());
    }

    #[test]
    fn answers_are_added_and_the_last_one_counts() {
        let mut card = card("name = 'X'\nhandedness = 'left'\nconsent = true\n");
        card.note_consent(true, "2026-04-01T10:00:00Z".into());
        assert_eq!(card.consents.len(), 1, "the same answer again is no news");
        card.note_consent(false, "2026-05-01T10:00:00Z".into());
        let withdrawn = card.settle_consent();
        assert_eq!((withdrawn.about.consent, &withdrawn.consent_utc), (false, &None));
        let again: PlayerCard = toml::from_str(&toml::to_string_pretty(&withdrawn).unwrap()).unwrap();
        assert_eq!(again.consents, withdrawn.consents);
        assert_eq!(again.consents.iter().map(|c| c.agreed).collect::<Vec<_>>(), [true, false]);
    }
}
