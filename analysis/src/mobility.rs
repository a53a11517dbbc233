//! Mobility checks of a session, and of two sessions set against each other.
//!
//! The yardstick for a change of the seated turn is published day-to-day reliability
//! ([`SEATED_SOURCE`]) joined with the uncertainty of the two measurements at hand: minimal
//! detectable change = 1.96 · √2 · SEM (Weir JP 2005). For the standing turn no published figure
//! is known to us; there the repetitions' own spread has to do, and that is said. No turn is
//! judged good or bad, and none is compared with other people's.

use crate::stats::mdc95;
use crate::words::mobility::MobilityWords;
use peakorder_protocol::mobility::{Balance, Mobility, MobilityCheck, Posture, Side, TurnStatistics};
use peakorder_protocol::session::{Session, SessionDir, SessionError};
use std::fmt;
use std::path::{Path, PathBuf};

/// Standard error of measurement of the seated turn between days, least and largest of the
/// published values, degrees. The larger is used.
pub const SEATED_SEM_DEG: (f64, f64) = (1.4, 2.0);

/// Where [`SEATED_SEM_DEG`] is from.
pub const SEATED_SOURCE: &str = "Johnson KD, Kim KM, Yu BK, Saliba SA, Grindstaff TL 2012, J Athl Train \
47(1):52–60: trunk rotation of 46 adults, between days SEM 1.4–2.0°, minimal detectable change 3.9–5.6°; \
found with other instruments";

/// Said of the standing turn.
pub const STANDING_YARDSTICK: &str = "no published day-to-day reliability of the standing turn is known to \
us; the yardstick is the spread of the repetitions and the measuring uncertainty of both days, which does \
not contain ordinary variation from day to day";

/// What the uncertainties leave out.
pub const SOFT_TISSUE: &str = "Skin and cloth sliding under a strap are not in the uncertainties; in fast \
movements of football they made 3.8–9.1° (Kamstra H, Wilmes E, van der Helm FCT 2022, Sensors 22:9765). Wear \
the straps alike each time.";

/// A session's mobility checks.
#[derive(Debug, Clone, PartialEq)]
pub struct Checks {
    /// As the user named the session.
    pub name: String,
    /// Its `session.toml`.
    pub session: Session,
    /// Its `mobility.json`.
    pub mobility: Mobility,
}

/// Why there is nothing to show. The message says what to do.
#[derive(Debug)]
pub enum MobilityError {
    /// No folder of that name.
    NoFolder(String),
    /// The folder is not a session, or a file in it could not be read.
    Session(SessionError),
    /// The session has no mobility check.
    None(PathBuf),
}

impl fmt::Display for MobilityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoFolder(given) => write!(
                f,
                "{given}: no such folder; name a session folder that peakorderd wrote (a mobility check belongs to a whole session, not to a block)"
            ),
            Self::Session(e) => e.fmt(f),
            Self::None(path) => write!(
                f,
                "{}: no mobility check in this session; record one between the marks turn-start (seated or standing) and turn-end",
                path.display()
            ),
        }
    }
}

impl std::error::Error for MobilityError {}

impl From<SessionError> for MobilityError {
    fn from(e: SessionError) -> Self {
        Self::Session(e)
    }
}

/// Loads the checks of the session in `folder`.
pub fn load(folder: &str) -> Result<Checks, MobilityError> {
    let path = Path::new(folder);
    if !path.is_dir() {
        return Err(MobilityError::NoFolder(folder.to_owned()));
    }
    let (dir, session) = SessionDir::open(path)?;
    let mobility = dir
        .read_mobility()?
        .filter(|m| !m.checks.is_empty())
        .ok_or_else(|| MobilityError::None(path.to_owned()))?;
    Ok(Checks { name: folder.to_owned(), session, mobility })
}

/// The check of `posture` that stands for the session: the last that was done as asked, or
/// else the last.
pub fn last_of(checks: &[MobilityCheck], posture: Posture) -> Option<&MobilityCheck> {
    let of_it = || checks.iter().rev().filter(|c| c.posture == Some(posture));
    of_it().find(|c| c.ok).or_else(|| of_it().next())
}

/// A number of a check.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Mean thorax turn to a side.
    Thorax(Side),
    /// Mean thorax turn minus pelvis turn, to a side.
    ThoraxOnPelvis(Side),
    /// Mean pelvis turn to a side.
    Pelvis(Side),
    /// Thorax, left plus right.
    Range,
    /// Thorax, left minus right.
    Asymmetry,
}

impl Quantity {
    /// Everything that is compared. A seated pelvis is meant to stay, so its turn is not.
    pub fn of(posture: Posture) -> Vec<Self> {
        let mut all = Vec::new();
        all.extend(Side::ALL.map(Self::Thorax));
        all.extend(Side::ALL.map(Self::ThoraxOnPelvis));
        if posture == Posture::Standing {
            all.extend(Side::ALL.map(Self::Pelvis));
        }
        all.extend([Self::Range, Self::Asymmetry]);
        all
    }

    /// Stable name for programs, ending in the unit.
    pub fn key(self) -> String {
        match self {
            Self::Thorax(side) => format!("thorax_{side}_deg"),
            Self::ThoraxOnPelvis(side) => format!("thorax_on_pelvis_{side}_deg"),
            Self::Pelvis(side) => format!("pelvis_{side}_deg"),
            Self::Range => "thorax_range_deg".into(),
            Self::Asymmetry => "thorax_left_minus_right_deg".into(),
        }
    }

    /// Value with the variances it is judged by; `None` where it was not measured.
    fn measured(self, check: &MobilityCheck) -> Option<Measured> {
        match self {
            Self::Thorax(side) => Measured::of(&check.side(side)?.thorax),
            Self::ThoraxOnPelvis(side) => Measured::of(check.side(side)?.thorax_on_pelvis.as_ref()?),
            Self::Pelvis(side) => Measured::of(check.side(side)?.pelvis.as_ref()?),
            Self::Range => Measured::both(check, |b| (b.range_deg, b.range_sd_deg)),
            Self::Asymmetry => Measured::both(check, |b| (b.left_minus_right_deg, b.left_minus_right_sd_deg)),
        }
    }

    /// Two sides, taken as independent, double the variance.
    const fn sides(self) -> f64 {
        match self {
            Self::Range | Self::Asymmetry => 2.0,
            Self::Thorax(_) | Self::ThoraxOnPelvis(_) | Self::Pelvis(_) => 1.0,
        }
    }
}

/// A value as one check has it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Measured {
    deg: f64,
    sd_deg: f64,
    /// Variance of a single repetition: spread and measuring, deg².
    repetition_var: f64,
}

impl Measured {
    fn of(s: &TurnStatistics) -> Option<Self> {
        Some(Self {
            deg: s.mean_deg,
            sd_deg: s.mean_sd_deg,
            repetition_var: s.spread_deg?.powi(2) + s.measuring_sd_deg.powi(2),
        })
    }

    fn both(check: &MobilityCheck, pick: impl Fn(&Balance) -> (f64, f64)) -> Option<Self> {
        let (deg, sd_deg) = pick(check.thorax_balance.as_ref()?);
        let side = |s| Self::of(&check.side(s)?.thorax);
        Some(Self {
            deg,
            sd_deg,
            repetition_var: side(Side::Left)?.repetition_var + side(Side::Right)?.repetition_var,
        })
    }
}

/// What can be said of a difference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Larger than the minimal detectable change.
    Changed,
    /// Within it.
    CantTell,
}

impl Verdict {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::CantTell => "cannot-tell",
        }
    }

    /// Words in a table.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Changed => "changed",
            Self::CantTell => "can't tell",
        }
    }
}

/// One number, last time and now, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Which.
    pub quantity: Quantity,
    /// Last time, and its standard uncertainty.
    pub before: (f64, f64),
    /// Now, and its standard uncertainty.
    pub after: (f64, f64),
    /// After minus before.
    pub difference: f64,
    /// Standard error of measurement it is judged by.
    pub sem: f64,
    /// Minimal detectable change at 95 %.
    pub mdc95: f64,
    /// What can be said.
    pub verdict: Verdict,
}

/// One posture, last time and now.
#[derive(Debug, Clone, PartialEq)]
pub struct PostureComparison {
    /// Seated or standing.
    pub posture: Posture,
    /// Number of the check last time.
    pub before: u32,
    /// Number of the check now.
    pub after: u32,
    /// The numbers.
    pub rows: Vec<Row>,
}

impl PostureComparison {
    /// What differences are judged by, in words.
    pub fn yardstick(&self) -> String {
        match self.posture {
            Posture::Seated => format!(
                "day-to-day SEM {:.1}°, the largest published ({SEATED_SOURCE}), joined with the uncertainty of both measurements; sides taken as independent for range and left − right",
                SEATED_SEM_DEG.1
            ),
            Posture::Standing => STANDING_YARDSTICK.to_owned(),
        }
    }

    /// What `changed` means, in words.
    pub const fn changed_means(&self) -> &'static str {
        match self.posture {
            Posture::Seated => "changed by more than day-to-day variation",
            Posture::Standing => "changed by more than the repetitions vary",
        }
    }
}

/// Two sessions.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// Last time.
    pub before: Checks,
    /// Now.
    pub after: Checks,
    /// Postures both have.
    pub postures: Vec<PostureComparison>,
    /// Postures that were not compared, and why.
    pub not_compared: Vec<(Posture, String)>,
    /// Things to know before reading.
    pub notes: Vec<String>,
}

/// Sets `after` against `before`, posture by posture: the last check of each that was done as asked.
pub fn compare(before: Checks, after: Checks) -> Comparison {
    let mut notes = Vec::new();
    if !before.session.player.same_as(&after.session.player) {
        notes.push(format!(
            "Different players ('{}' and '{}'): this is a difference between people, not a change.",
            before.session.player.name, after.session.player.name
        ));
    }
    if before.session.id == after.session.id {
        notes.push("Both are the same session.".into());
    } else if before.session.started_utc > after.session.started_utc {
        notes.push("The session named first is the later one; differences are second minus first.".into());
    }
    let mut postures = Vec::new();
    let mut not_compared = Vec::new();
    for posture in Posture::ALL {
        match (pick(&before, posture), pick(&after, posture)) {
            (Ok(b), Ok(a)) => postures.push(PostureComparison {
                posture,
                before: b.number,
                after: a.number,
                rows: Quantity::of(posture).into_iter().filter_map(|q| row(q, posture, b, a)).collect(),
            }),
            (Err(Missing::NotMade), Err(Missing::NotMade)) => {}
            (b, a) => {
                let whys: Vec<String> = [(b, &before.name), (a, &after.name)]
                    .into_iter()
                    .filter_map(|(side, name)| Some(format!("{name}: {}", side.err()?)))
                    .collect();
                not_compared.push((posture, whys.join("; ")));
            }
        }
    }
    Comparison { before, after, postures, not_compared, notes }
}

/// Why a session has no check to compare.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Missing {
    NotMade,
    NotAsAsked(String),
}

impl fmt::Display for Missing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotMade => f.write_str("not made"),
            Self::NotAsAsked(why) => write!(f, "not done as asked ({why})"),
        }
    }
}

fn pick(checks: &Checks, posture: Posture) -> Result<&MobilityCheck, Missing> {
    let check = last_of(&checks.mobility.checks, posture).ok_or(Missing::NotMade)?;
    if check.ok { Ok(check) } else { Err(Missing::NotAsAsked(MobilityWords::from(check).repeat.join("; "))) }
}

fn row(quantity: Quantity, posture: Posture, before: &MobilityCheck, after: &MobilityCheck) -> Option<Row> {
    let (b, a) = (quantity.measured(before)?, quantity.measured(after)?);
    let variance = match posture {
        // Published reliability already holds the repetitions of its own players; adding these
        // player's own is on the safe side.
        Posture::Seated => {
            quantity.sides() * SEATED_SEM_DEG.1.powi(2) + f64::midpoint(b.sd_deg.powi(2), a.sd_deg.powi(2))
        }
        Posture::Standing => f64::midpoint(b.repetition_var, a.repetition_var),
    };
    let sem = variance.sqrt();
    let limit = mdc95(sem);
    let difference = a.deg - b.deg;
    Some(Row {
        quantity,
        before: (b.deg, b.sd_deg),
        after: (a.deg, a.sd_deg),
        difference,
        sem,
        mdc95: limit,
        verdict: if difference.abs() > limit { Verdict::Changed } else { Verdict::CantTell },
    })
}
