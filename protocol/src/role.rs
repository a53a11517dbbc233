//! Which body segment a strap is worn on, and which way the player swings.

use crate::unknown_word::UnknownWord;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// The segment a strap is worn on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Strap over the sacrum.
    Pelvis,
    /// Strap on the upper back.
    Thorax,
    /// Strap on the upper lead arm (left arm of a right-handed player).
    LeadArm,
}

impl Role {
    /// All roles, proximal to distal.
    pub const ALL: [Self; 3] = [Self::Pelvis, Self::Thorax, Self::LeadArm];

    /// Position in [`Role::ALL`].
    pub const fn index(self) -> usize {
        match self {
            Self::Pelvis => 0,
            Self::Thorax => 1,
            Self::LeadArm => 2,
        }
    }

    /// The key used in files (`lead_arm`).
    pub const fn key(self) -> &'static str {
        match self {
            Self::Pelvis => "pelvis",
            Self::Thorax => "thorax",
            Self::LeadArm => "lead_arm",
        }
    }

    /// The words used on screen (`lead arm`).
    pub const fn label(self) -> &'static str {
        match self {
            Self::Pelvis => "pelvis",
            Self::Thorax => "thorax",
            Self::LeadArm => "lead arm",
        }
    }
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.label())
    }
}

impl FromStr for Role {
    type Err = UnknownWord;

    fn from_str(s: &str) -> Result<Self, Self::Err> {
        Self::ALL
            .into_iter()
            .find(|r| r.key() == s || r.label() == s || r.key().replace('_', "-") == s)
            .ok_or_else(|| UnknownWord::new(s, "a strap position", "pelvis, thorax or lead-arm"))
    }
}

/// The side a player swings from. Turns are mirrored by it so that positive always
/// means towards the target.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub enum Handedness {
    /// Target on the player's left at address.
    #[default]
    Right,
    /// Target on the player's right at address.
    Left,
}

impl Handedness {
    /// +1 for right-handed, −1 for left-handed: the factor from a right-hand-rule angle
    /// about a cranial or anterior axis to one that is positive towards the target.
    pub const fn sign(self) -> f64 {
        match self {
            Self::Right => 1.0,
            Self::Left => -1.0,
        }
    }

    /// `right` or `left`.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
        }
    }
}

impl fmt::Display for Handedness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.key())
    }
}

impl FromStr for Handedness {
    type Err = UnknownWord;

    fn from_str(s: &str) -> Result<Self, Self::Err> {
        match s {
            "right" => Ok(Self::Right),
            "left" => Ok(Self::Left),
            _ => Err(UnknownWord::new(s, "a handedness", "right or left")),
        }
    }
}
