//! Codes in place of names, for what is handed on.
//!
//! A code is the first 12 hexadecimal digits of HMAC-SHA-256 (RFC 2104) under a key of 32 random bytes.
//! What it is computed over is described in `docs/privacy.md`. With the key kept in a file a player has
//! one code in all sessions and on all days; without it codes are good for one run. Nobody can find a
//! code from a guessed name without the key.
//!
//! Besides names, everything goes that somebody typed: goal, limits, notes, reasons, ball outcomes other
//! than the page's own, and labels of blocks, which become codes. Folders and ids become codes too.
//! Dates and numbers stay.

use crate::BASELINE;
use crate::hex::in_hex;
use crate::load::Loaded;
use crate::mobility::Checks;
use crate::report::Choice;
use hmac::{Hmac, KeyInit as _, Mac as _};
use peakorder_protocol::files::{private_file, read};
use peakorder_protocol::remark::{Bound, Remark, Remarks, Target, What};
use peakorder_protocol::session::{Player, Session};
use peakorder_protocol::trouble::Trouble;
use sha2::Sha256;
use std::fs::OpenOptions;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

/// Hexadecimal digits of a code: among 10 000 players two share one with a chance of 2 in 10 million.
const DIGITS: usize = 12;
const KEY_BYTES: usize = 32;
/// A key file has 65.
const KEY_FILE_LIMIT_BYTES: u64 = 256;
/// Ball outcomes that the page offers. They say nothing of who it was; other words were typed.
pub const OUTCOMES: [&str; 5] = ["solid", "thin", "fat", "left", "right"];

/// Why a key file cannot be used. The message says what to do.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    /// The file system refuses.
    #[error("{}: {why}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: io::Error,
    },
    /// It holds something else.
    #[error("{}: not a key for codes (64 hexadecimal digits in one line); name a file that is not there, and it is made", .0.display())]
    NotAKey(PathBuf),
    /// Others can read it.
    #[error("{name}: others can read the key; run: chmod 600 {name}", name = .0.display())]
    Readable(PathBuf),
    /// The operating system gives no random bytes.
    #[error("the operating system gives no random bytes: {0}")]
    NoRandom(getrandom::Error),
}

/// Makes codes.
pub struct Codes {
    key: [u8; KEY_BYTES],
}

fn random_key() -> Result<[u8; KEY_BYTES], KeyError> {
    let mut key = [0; KEY_BYTES];
    getrandom::fill(&mut key).map_err(KeyError::NoRandom)?;
    Ok(key)
}

fn read_key(path: &Path) -> Result<Option<[u8; KEY_BYTES]>, KeyError> {
    let io = |why| KeyError::Io { path: path.to_owned(), why };
    let meta = match std::fs::metadata(path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(None),
        meta => meta.map_err(io)?,
    };
    let not_a_key = || KeyError::NotAKey(path.to_owned());
    if !meta.is_file() {
        return Err(not_a_key());
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        if meta.permissions().mode() & 0o077 != 0 {
            return Err(KeyError::Readable(path.to_owned()));
        }
    }
    let bytes = match read(path, KEY_FILE_LIMIT_BYTES) {
        Err(e) if e.kind() == io::ErrorKind::InvalidInput => return Err(not_a_key()),
        bytes => bytes.map_err(io)?,
    };
    let text = std::str::from_utf8(&bytes).map_err(|_| not_a_key())?.trim();
    if text.len() != 2 * KEY_BYTES || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Err(not_a_key());
    }
    let mut key = [0; KEY_BYTES];
    for (i, byte) in key.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&text[2 * i..2 * i + 2], 16).map_err(|_| not_a_key())?;
    }
    Ok(Some(key))
}

impl Codes {
    /// Codes that nobody can make again.
    pub fn fresh() -> Result<Self, KeyError> {
        Ok(Self { key: random_key()? })
    }

    /// Codes by the key in a file. It is made, its owner's only, if it is not there.
    pub fn from_file(path: &Path) -> Result<Self, KeyError> {
        if let Some(key) = read_key(path)? {
            return Ok(Self { key });
        }
        let key = random_key()?;
        let io = |why| KeyError::Io { path: path.to_owned(), why };
        let mut file = private_file(path, OpenOptions::new().write(true).create_new(true)).map_err(io)?;
        file.write_all(format!("{}\n", in_hex(&key)).as_bytes())
            .and_then(|()| file.sync_all())
            .map_err(io)?;
        Ok(Self { key })
    }

    fn code(&self, what: &str, of: &str) -> String {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.key).expect("HMAC takes a key of any length");
        mac.update(what.as_bytes());
        mac.update(&[0]);
        mac.update(of.as_bytes());
        let mut code = in_hex(&mac.finalize().into_bytes());
        code.truncate(DIGITS);
        code
    }

    /// A player: by the library's id or, without one, by the name without regard to case.
    pub fn player(&self, player: &Player) -> String {
        let code = match &player.id {
            Some(id) => self.code("player id", id),
            None => self.code("player name", &player.name.trim().to_lowercase()),
        };
        format!("player-{code}")
    }

    /// A session.
    pub fn session(&self, id: &str) -> String {
        format!("session-{}", self.code("session", id))
    }

    /// A block's label; the baseline and no label stay as they are.
    pub fn block(&self, label: &str) -> String {
        if label.is_empty() || label == BASELINE {
            return label.to_owned();
        }
        format!("block-{}", self.code("block", label))
    }

    /// The blocks that a report is to compare.
    pub fn choice(&self, choice: &Choice) -> Choice {
        let block = |label: &Option<String>| label.as_deref().map(|l| self.block(l));
        Choice { before: block(&choice.before), after: block(&choice.after), appendix: choice.appendix }
    }

    fn hide_session(&self, session: &mut Session, player: &str) {
        session.id = self.session(&session.id);
        let old = std::mem::take(&mut session.player);
        session.player = Player {
            id: Some(player.to_owned()),
            name: player.to_owned(),
            handedness: old.handedness,
            ..Player::default()
        };
        for strap in session.straps.values_mut() {
            strap.name = "strap".into();
        }
        // What the system says of a file names folders.
        session
            .troubles
            .retain(|t| !matches!(t.what, Trouble::NotRecording { .. } | Trouble::FileNotWritten { .. }));
    }

    fn hide_loaded(&self, loaded: &mut Loaded, player: &str) {
        self.hide_session(&mut loaded.session, player);
        let session = loaded.session.id.clone();
        for swing in &mut loaded.swings {
            swing.session.clone_from(&session);
            swing.block = self.block(&swing.block);
        }
        for repetition in &mut loaded.repetitions {
            repetition.session.clone_from(&session);
            repetition.block = self.block(&repetition.block);
        }
        for label in loaded.blocks.iter_mut().chain(&mut loaded.block) {
            *label = self.block(label);
        }
        for problem in &mut loaded.problems {
            problem.text = "this swing file cannot be read".into();
        }
        for notice in &mut loaded.notices {
            *notice = "A part of the coach's remarks or of the mobility checks cannot be read.".into();
        }
        self.hide_remarks(&mut loaded.remarks);
        loaded.coded_as = Some(session);
    }

    fn hide_remarks(&self, remarks: &mut Remarks) {
        remarks.notes.clear();
        remarks.practise = None;
        remarks.last = None;
        // The labels in force have codes; what stood in their place was typed.
        remarks.renamed.clear();
        for blocks in [&mut remarks.balls, &mut remarks.without_ball] {
            *blocks = blocks.iter().map(|label| self.block(label)).collect();
        }
        for swing in remarks.swings.values_mut() {
            swing.note.clear();
            swing.reason.clear();
            swing.labels.retain(|label| OUTCOMES.contains(&label.as_str()));
        }
        for target in remarks.targets.iter_mut().filter_map(|t| t.target.as_mut()).chain(&mut remarks.target)
        {
            target.block = self.block(&target.block);
            target.words = words(target);
        }
    }

    /// A line of the coach's remarks.
    pub fn hide_remark(&self, remark: &mut Remark) {
        match &mut remark.what {
            What::Outcome { labels, .. } => labels.retain(|label| OUTCOMES.contains(&label.as_str())),
            What::Note { text, .. } | What::Practise { text } => text.clear(),
            What::Exclude { reason, .. } => reason.clear(),
            What::Balls { block, .. } => *block = self.block(block),
            What::Rename { block, name } => {
                *block = self.block(block);
                *name = self.block(name);
            }
            What::Target { target: Some(target) } => {
                target.block = self.block(&target.block);
                target.words = words(target);
            }
            What::Ball { .. } | What::Target { target: None } | What::Chosen { .. } | What::Undo { .. } => {}
        }
    }

    /// A session, or a block of one.
    pub fn hide(&self, loaded: &mut Loaded) {
        let player = self.player(&loaded.session.player);
        self.hide_loaded(loaded, &player);
    }

    /// Two sides of a comparison; one player on both has one code.
    pub fn hide_both(&self, before: &mut Loaded, after: &mut Loaded) {
        let (b, a) = self.players_of(&before.session.player, &after.session.player);
        self.hide_loaded(before, &b);
        self.hide_loaded(after, &a);
    }

    /// What is said of a session that could not be read.
    pub(crate) const LEFT_OUT: &'static str = "a session folder that cannot be read";

    /// One of a player's sessions: all have one code for the player.
    pub(crate) fn hide_of(&self, loaded: &mut Loaded, player: &str) {
        self.hide_loaded(loaded, player);
    }

    /// A session's mobility checks.
    pub fn hide_checks(&self, checks: &mut Checks) {
        let player = self.player(&checks.session.player);
        self.hide_checks_of(checks, &player);
    }

    /// Mobility checks of two sessions; one player on both has one code.
    pub fn hide_both_checks(&self, before: &mut Checks, after: &mut Checks) {
        let (b, a) = self.players_of(&before.session.player, &after.session.player);
        self.hide_checks_of(before, &b);
        self.hide_checks_of(after, &a);
    }

    fn hide_checks_of(&self, checks: &mut Checks, player: &str) {
        self.hide_session(&mut checks.session, player);
        checks.name.clone_from(&checks.session.id);
        checks.mobility.session.clone_from(&checks.session.id);
    }

    fn players_of(&self, before: &Player, after: &Player) -> (String, String) {
        if before.same_as(after) {
            let code = self.player(if before.id.is_some() { before } else { after });
            return (code.clone(), code);
        }
        (self.player(before), self.player(after))
    }
}

/// A target without what was typed.
fn words(target: &Target) -> String {
    let bound = match target.bound {
        Bound::AtLeast => "at least",
        Bound::AtMost => "at most",
    };
    format!("{} {bound} {}", target.measure, target.value)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The values were computed with Python 3.11's `hmac` and `hashlib`.
    #[test]
    fn a_code_is_what_another_program_computes() {
        let codes = Codes { key: std::array::from_fn(|i| i as u8) };
        let with_id = Player { id: Some("0123456789abcdef".into()), name: "Ann".into(), ..Player::default() };
        let named = Player { name: " ÄNN Sample".into(), ..Player::default() };
        assert_eq!(codes.player(&with_id), "player-24b37ca543c4");
        assert_eq!(codes.player(&named), "player-ee36ab337f77");
        assert_eq!(codes.session("20261125T100512Z-1f3a"), "session-99785df0a1a3");
        assert_eq!(codes.block("pivot drill"), "block-4222fee13c76");
        assert_eq!(codes.block(BASELINE), BASELINE);
        assert_eq!(
            codes.player(&Player { name: "änn sample".into(), ..Player::default() }),
            codes.player(&named)
        );
    }

    /// What is said of a block goes on holding of it, under its code.
    #[test]
    fn labels_of_blocks_in_remarks_are_coded_as_in_swings() {
        let codes = Codes { key: std::array::from_fn(|i| i as u8) };
        let set = |label: &str| std::iter::once(label.to_owned()).collect();
        let mut remarks =
            Remarks { balls: set("Ann's irons"), without_ball: set("pivot drill"), ..Remarks::default() };
        codes.hide_remarks(&mut remarks);
        assert!(remarks.without_ball(&codes.block("pivot drill")));
        assert_eq!(remarks.balls, set(&codes.block("Ann's irons")));
    }

    #[test]
    fn a_key_is_made_once_and_nothing_else_is_taken_for_one() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("key");
        let made = Codes::from_file(&path).unwrap();
        assert_eq!(Codes::from_file(&path).unwrap().key, made.key);
        assert_ne!(Codes::fresh().unwrap().key, made.key);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
            assert!(matches!(Codes::from_file(&path), Err(KeyError::Readable(_))));
            std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
        }
        for bad in ["", "name = 'x'\n", &"g".repeat(64), &"a".repeat(63), &"ä".repeat(32)] {
            std::fs::write(&path, bad).unwrap();
            assert!(matches!(Codes::from_file(&path), Err(KeyError::NotAKey(_))), "{bad}");
        }
        assert!(matches!(Codes::from_file(folder.path()), Err(KeyError::NotAKey(_) | KeyError::Readable(_))));
    }
}
