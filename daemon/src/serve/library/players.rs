//! Player files.

use super::{Library, LibraryError, read_toml};
use crate::serve::random;
use peakorder_protocol::Handedness;
use peakorder_protocol::files::{self, Lasting};
use peakorder_protocol::session::Player;
use serde::{Deserialize, Serialize};
use std::fs;
use utoipa::ToSchema;

/// Longest name, characters.
const NAME_LIMIT: usize = 80;
/// Longest goal or limits, characters.
const TEXT_LIMIT: usize = 2000;

/// What the coach says of a player.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct NewPlayer {
    /// Name.
    pub name: String,
    /// Side the player swings from.
    pub handedness: Handedness,
    /// What the player works on.
    #[serde(default)]
    pub goal: String,
    /// Limits of the body in the coach's words (not a diagnosis).
    #[serde(default)]
    pub limits: String,
    /// The player has agreed to be recorded; without this no lesson starts.
    #[serde(default)]
    pub consent: bool,
}

/// A player of the library.
#[derive(Debug, Clone, Serialize, Deserialize, ToSchema)]
pub struct PlayerCard {
    /// Id, as in its file's name.
    #[serde(default)]
    pub id: String,
    /// What the coach said.
    #[serde(flatten)]
    pub about: NewPlayer,
    /// When the consent was given, RFC 3339 UTC.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub consent_utc: Option<String>,
}

impl NewPlayer {
    fn checked(mut self) -> Result<Self, LibraryError> {
        let refuse = |why: String| Err(LibraryError::Refused(why));
        self.name = self.name.trim().to_owned();
        if self.name.is_empty() {
            return refuse("a player needs a name; type one".into());
        }
        if self.name.chars().count() > NAME_LIMIT || self.name.chars().any(char::is_control) {
            return refuse(format!("the name must be one line of at most {NAME_LIMIT} characters"));
        }
        for (what, text) in [("goal", &self.goal), ("limits", &self.limits)] {
            if text.chars().count() > TEXT_LIMIT {
                return refuse(format!("{what}: at most {TEXT_LIMIT} characters; shorten it"));
            }
        }
        Ok(self)
    }
}

impl PlayerCard {
    /// As it is written into a session.
    pub fn player(&self) -> Player {
        Player {
            id: Some(self.id.clone()),
            name: self.about.name.clone(),
            handedness: self.about.handedness,
            goal: self.about.goal.clone(),
            limits: self.about.limits.clone(),
        }
    }
}

fn now_utc() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

fn failed(what: &std::path::Path, e: &dyn std::fmt::Display) -> LibraryError {
    LibraryError::Failed(format!("{}: {e}", what.display()))
}

impl Library {
    /// All players, by name. Files that are none are left out with a warning.
    pub fn players(&self) -> Result<Vec<PlayerCard>, LibraryError> {
        let entries = fs::read_dir(&self.players).map_err(|e| failed(&self.players, &e))?;
        let mut players = Vec::new();
        for path in entries.filter_map(|e| Some(e.ok()?.path())) {
            if path.extension().is_none_or(|e| e != "toml") {
                continue;
            }
            let Some(id) = path.file_stem().and_then(|s| s.to_str()) else { continue };
            match read_toml::<PlayerCard>(&path) {
                Ok(card) => players.push(PlayerCard { id: id.to_owned(), ..card }),
                Err(why) => tracing::warn!("{}: {why}; the player is left out", path.display()),
            }
        }
        players.sort_by(|a, b| a.about.name.cmp(&b.about.name).then_with(|| a.id.cmp(&b.id)));
        Ok(players)
    }

    /// The player of that id.
    pub fn player(&self, id: &str) -> Result<PlayerCard, LibraryError> {
        self.players()?
            .into_iter()
            .find(|p| p.id == id)
            .ok_or_else(|| LibraryError::Unknown("there is no such player; list them anew".into()))
    }

    /// Who of `players` was recorded as `recorded`: by the id that the session has, or by name
    /// if it has none (it was recorded elsewhere, or before ids were kept).
    pub fn recorded_player<'a>(players: &'a [PlayerCard], recorded: &Player) -> Option<&'a PlayerCard> {
        match &recorded.id {
            Some(id) => players.iter().find(|p| p.id == *id),
            None => players.iter().find(|p| recorded.named(&p.about.name)),
        }
    }

    /// Adds a player.
    pub fn add_player(&self, player: NewPlayer) -> Result<PlayerCard, LibraryError> {
        let about = player.checked()?;
        let _writing = self.lock();
        self.refuse_same_name(&about.name, None)?;
        let consent_utc = about.consent.then(now_utc);
        let card = PlayerCard { id: random::hex(8), about, consent_utc };
        self.write(&card)?;
        Ok(card)
    }

    /// Replaces what is known of a player.
    pub fn change_player(&self, id: &str, player: NewPlayer) -> Result<PlayerCard, LibraryError> {
        let about = player.checked()?;
        let _writing = self.lock();
        let known = self.player(id)?;
        self.refuse_same_name(&about.name, Some(id))?;
        let consent_utc = if about.consent { known.consent_utc.or_else(|| Some(now_utc())) } else { None };
        let card = PlayerCard { id: known.id, about, consent_utc };
        self.write(&card)?;
        Ok(card)
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, ()> {
        self.writing.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    fn refuse_same_name(&self, name: &str, except: Option<&str>) -> Result<(), LibraryError> {
        let taken = self
            .players()?
            .iter()
            .any(|p| Some(p.id.as_str()) != except && p.about.name.to_lowercase() == name.to_lowercase());
        if taken {
            return Err(LibraryError::Refused(format!(
                "there is a player named {name} already; add something that tells them apart"
            )));
        }
        Ok(())
    }

    /// `card.id` is one this program made or found, never one of a request.
    fn write(&self, card: &PlayerCard) -> Result<(), LibraryError> {
        let path = self.players.join(format!("{}.toml", card.id));
        let text = toml::to_string_pretty(card).map_err(|e| failed(&path, &e))?;
        files::replace(&path, text.as_bytes(), Lasting::Synced).map_err(|e| failed(&path, &e))
    }
}
