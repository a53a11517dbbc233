//! Player files.

use super::{ConsentEntry, Library, LibraryError};
use crate::serve::{random, toml_file};
use peakorder_analysis::library::{FileStamp, now_ns};
use peakorder_protocol::Handedness;
use peakorder_protocol::session::{HIP_BREADTHS_CM, Player};
use peakorder_protocol::text::{clean, is_visible};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::fs;
use std::sync::{Mutex, PoisonError};

/// Longest name, characters.
pub(in crate::serve) const NAME_LIMIT: usize = 80;
/// Longest goal or limits, characters.
const TEXT_LIMIT: usize = 2000;

/// Why a player cannot be stored as typed.
#[derive(Debug, thiserror::Error)]
pub enum PlayerError {
    /// The name is empty, or nobody can see it.
    #[error("a player needs a name that can be seen; type one")]
    NoName,
    /// The name is too long or not one line.
    #[error("the name must be one line of at most {NAME_LIMIT} characters")]
    BadName,
    /// A text is too long.
    #[error("{0}: at most {TEXT_LIMIT} characters; shorten it")]
    TooLong(&'static str),
    /// No person's hips are so broad.
    #[error("the hip breadth must be {} to {} cm; measure across the hips with a caliper or leave it empty", HIP_BREADTHS_CM.start(), HIP_BREADTHS_CM.end())]
    HipBreadth,
    /// Another player has the name.
    #[error("there is a player named {0} already; add something that tells them apart")]
    NameTaken(String),
}

/// What the coach types about a player.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct NewPlayer {
    /// Name: one line.
    #[cfg_attr(feature = "openapi", schema(schema_with = crate::serve::api::description::name_schema))]
    pub name: String,
    /// Side the player swings from.
    pub handedness: Handedness,
    /// What the player works on.
    #[serde(default)]
    #[cfg_attr(feature = "openapi", schema(max_length = 2000))]
    pub goal: String,
    /// Limits of the body in the coach's words (not a diagnosis).
    #[serde(default)]
    #[cfg_attr(feature = "openapi", schema(max_length = 2000))]
    pub limits: String,
    /// Breadth across the hips, standing, centimetres, if it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[cfg_attr(feature = "openapi", schema(minimum = 20, maximum = 60))]
    pub hip_breadth_cm: Option<f64>,
    /// The player has agreed to be recorded; without this no lesson starts.
    #[serde(default)]
    pub consent: bool,
}

/// A player of the library.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
pub struct PlayerCard {
    /// Id, as in its file's name.
    #[serde(default)]
    pub id: String,
    /// What the coach typed.
    #[serde(flatten)]
    pub about: NewPlayer,
    /// When the consent in force was given, RFC 3339 UTC.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub consent_utc: Option<String>,
    /// Every answer that the player gave, in order; the last one counts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub consents: Vec<ConsentEntry>,
}

impl NewPlayer {
    fn checked(mut self) -> Result<Self, PlayerError> {
        self.name = self.name.trim().to_owned();
        if !is_visible(&self.name) {
            return Err(PlayerError::NoName);
        }
        if self.name.chars().count() > NAME_LIMIT || clean(&self.name) != self.name {
            return Err(PlayerError::BadName);
        }
        for (what, text) in [("goal", &self.goal), ("limits", &self.limits)] {
            if text.chars().count() > TEXT_LIMIT {
                return Err(PlayerError::TooLong(what));
            }
        }
        if self.hip_breadth_cm.is_some_and(|cm| !HIP_BREADTHS_CM.contains(&cm)) {
            return Err(PlayerError::HipBreadth);
        }
        Ok(self)
    }
}

impl PlayerCard {
    /// The player as a session file has it.
    pub fn player(&self) -> Player {
        Player {
            id: Some(self.id.clone()),
            name: self.about.name.clone(),
            handedness: self.about.handedness,
            goal: self.about.goal.clone(),
            limits: self.about.limits.clone(),
            hip_breadth_cm: self.about.hip_breadth_cm,
            consent_utc: self.consent_utc.clone(),
        }
    }
}

/// Cards that were read earlier, by id: each is as it was while its file is.
#[derive(Default)]
pub(super) struct CardCache(Mutex<HashMap<String, (FileStamp, PlayerCard)>>);

impl CardCache {
    /// Leaves nothing of the player.
    pub(super) fn forget(&self, id: &str) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).remove(id);
    }
}

fn now_utc() -> String {
    jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

impl Library {
    /// All players, by name. A file that cannot be read is left out with a warning.
    pub fn players(&self) -> Result<Vec<PlayerCard>, LibraryError> {
        let entries = fs::read_dir(&self.players).map_err(LibraryError::at(&self.players))?;
        let mut players = Vec::new();
        let mut known = self.cards.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mut still = HashMap::new();
        for path in entries.filter_map(|e| Some(e.ok()?.path())) {
            if path.extension().is_none_or(|e| e != "toml") {
                continue;
            }
            let Some(id) = path.file_stem().and_then(|s| s.to_str()) else { continue };
            let stamp = FileStamp::of(&path);
            let read_ns = now_ns();
            let card = match known.get(id) {
                Some((of, card)) if Some(*of) == stamp => card.clone(),
                _ => match toml_file::read::<PlayerCard>(&path) {
                    Ok(card) => PlayerCard { id: id.to_owned(), ..card }.settle_consent(),
                    Err(why) => {
                        tracing::warn!("{}: {why}; the player is left out", path.display());
                        continue;
                    }
                },
            };
            if let Some(stamp) = stamp.filter(|s| !s.is_young(read_ns)) {
                still.insert(id.to_owned(), (stamp, card.clone()));
            }
            players.push(card);
        }
        *known = still;
        drop(known);
        players.sort_by(|a, b| a.about.name.cmp(&b.about.name).then_with(|| a.id.cmp(&b.id)));
        Ok(players)
    }

    /// The player of that id.
    pub fn player(&self, id: &str) -> Result<PlayerCard, LibraryError> {
        self.players()?.into_iter().find(|p| p.id == id).ok_or(LibraryError::NoPlayer)
    }

    /// The one of `players` who was recorded as `recorded`: the one with the session's id or, if
    /// the session has no id (recorded elsewhere, or before ids were kept), the one of that name.
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
        let agreed = about.consent;
        let mut card = PlayerCard { id: random::hex(8), about, consent_utc: None, consents: Vec::new() };
        card.note_consent(agreed, now_utc());
        let card = card.settle_consent();
        self.write(&card)?;
        Ok(card)
    }

    /// Changes a player.
    pub fn change_player(&self, id: &str, player: NewPlayer) -> Result<PlayerCard, LibraryError> {
        let about = player.checked()?;
        let _writing = self.lock();
        let known = self.player(id)?;
        self.refuse_same_name(&about.name, Some(id))?;
        let agreed = about.consent;
        let mut card = PlayerCard { about, ..known };
        card.note_consent(agreed, now_utc());
        let card = card.settle_consent();
        self.write(&card)?;
        Ok(card)
    }

    pub(super) fn lock(&self) -> std::sync::MutexGuard<'_, ()> {
        self.writing.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    fn refuse_same_name(&self, name: &str, except: Option<&str>) -> Result<(), LibraryError> {
        let taken = self
            .players()?
            .iter()
            .any(|p| Some(p.id.as_str()) != except && p.about.name.to_lowercase() == name.to_lowercase());
        if taken { Err(PlayerError::NameTaken(name.to_owned()).into()) } else { Ok(()) }
    }

    /// `card.id` is an id that this program made or found, never one from a request.
    fn write(&self, card: &PlayerCard) -> Result<(), LibraryError> {
        let path = self.players.join(format!("{}.toml", card.id));
        toml_file::write(&path, card).map_err(LibraryError::at(&path))
    }
}
