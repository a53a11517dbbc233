//! Making one file of a month's many: engines open files one by one, and thousands of small ones take seconds.

use super::files::{copy, is_of_one_session, is_parquet, joined, names, open, whose};
use super::{Dataset, DatasetError, Monthly};
use peakorder_tables::{Format, Schema, Writer};
use std::collections::{HashMap, HashSet};
use std::fs;
use std::path::{Path, PathBuf};

/// What compacting a month came to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Compacted {
    /// The month.
    pub month: String,
    /// Files before, over all tables.
    pub before: usize,
    /// Files after.
    pub after: usize,
    /// Sessions that stood there twice.
    pub doubled: usize,
    /// Rows of forgotten players that were removed.
    pub forgotten: usize,
}

/// Where a session's rows are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Claim {
    OwnFile,
    Compacted,
}

/// A file to be copied, with the place of its first row in the order. It is not kept open: there may be more than a program can have.
struct Source {
    path: PathBuf,
    schema: Schema,
    first: (String, i64, String),
}

impl Dataset {
    /// Makes one file of every month's and table's, and removes what forgotten players have left. Programs that read meanwhile see
    /// the old files or the new one, never both.
    pub fn compact(&self) -> Result<Vec<Compacted>, DatasetError> {
        let _writing = self.writing()?;
        let mut months: Vec<String> = Vec::new();
        for table in Monthly::ALL {
            self.clear_left_over(table)?;
            months.extend(self.months(table)?);
        }
        months.sort_unstable();
        months.dedup();
        let mut done = Vec::new();
        for month in months {
            let mut found = Compacted { month: month.clone(), before: 0, after: 0, doubled: 0, forgotten: 0 };
            let claims = self.claims(&month)?;
            for table in Monthly::ALL {
                self.compact_month(table, &month, &claims, &mut found)?;
            }
            done.push(found);
        }
        Ok(done)
    }

    /// What a compacting that was broken off left behind holds nothing that is not elsewhere.
    fn clear_left_over(&self, table: Monthly) -> Result<(), DatasetError> {
        let folder = self.folder.join(table.key());
        for name in names(&folder)? {
            if let Some(month) = name.strip_prefix(".compacting-") {
                let left = folder.join(&name);
                // The kill may have come after the swap: then files that came meanwhile are in here alone.
                self.bring_back(&left, &folder.join(format!("month={month}")), &HashSet::new(), true)?;
                fs::remove_dir_all(&left).map_err(DatasetError::at(&left))?;
            }
        }
        Ok(())
    }

    /// Which of a month's sessions are told by their own files. The row in `sessions` is written last and decides for all tables: a
    /// session that was added again after it had been compacted stands twice until the old rows are taken out.
    fn claims(&self, month: &str) -> Result<HashMap<String, Claim>, DatasetError> {
        let mut claims = HashMap::new();
        for path in self.files(Monthly::Sessions, month)? {
            let own = is_of_one_session(&path);
            for (session, _) in whose(&path, Monthly::Sessions)? {
                if own {
                    claims.insert(session, Claim::OwnFile);
                } else {
                    claims.entry(session).or_insert(Claim::Compacted);
                }
            }
        }
        Ok(claims)
    }

    fn compact_month(
        &self,
        table: Monthly,
        month: &str,
        claims: &HashMap<String, Claim>,
        found: &mut Compacted,
    ) -> Result<(), DatasetError> {
        let paths = self.files(table, month)?;
        found.before += paths.len();
        let mut sources = Vec::new();
        let mut forgotten: HashMap<String, bool> = HashMap::new();
        // The file whose rows of a session are taken.
        let mut owners: HashMap<String, PathBuf> = HashMap::new();
        let (mut doubled, mut gone) = (HashSet::new(), 0);
        for path in paths {
            let file = open(&path, table)?;
            let mut first: Option<(String, i64, String)> = None;
            let mut last = String::new();
            let own = is_of_one_session(&path);
            let columns = ["player_id", "started_utc", "session_id"];
            file.read(&columns, |row| {
                let started = match row[1] {
                    peakorder_tables::Cell::Instant(us) => us,
                    _ => 0,
                };
                let (player, session) =
                    (row[0].text().unwrap_or_default(), row[2].text().unwrap_or_default());
                if first.is_none() {
                    first = Some((player.to_owned(), started, session.to_owned()));
                }
                if !forgotten.contains_key(player) {
                    forgotten.insert(player.to_owned(), self.mark(player).exists());
                }
                gone += usize::from(forgotten[player]);
                if last != session {
                    session.clone_into(&mut last);
                    let claimed = match claims.get(session) {
                        Some(Claim::OwnFile) => own,
                        Some(Claim::Compacted) => !own,
                        // Adding it was broken off; `check` says so, and nothing is lost here.
                        None => true,
                    };
                    match owners.get(session) {
                        None if claimed => {
                            owners.insert(session.to_owned(), path.clone());
                        }
                        Some(owner) if *owner == path => {}
                        _ => {
                            doubled.insert(session.to_owned());
                        }
                    }
                }
            })?;
            if let Some(first) = first {
                sources.push(Source { schema: file.schema().clone(), path, first });
            }
        }
        if table == Monthly::Sessions {
            found.doubled += doubled.len();
        }
        found.forgotten += gone;
        if sources.len() < 2 && gone == 0 && doubled.is_empty() {
            found.after += sources.len();
            return Ok(());
        }
        sources.sort_by(|a, b| a.first.cmp(&b.first));
        let folder = self.month_folder(table, month);
        let aside = self.folder.join(table.key()).join(format!(".compacting-{month}"));
        fs::create_dir_all(&aside).map_err(DatasetError::at(&aside))?;
        let name = format!("compacted-{}.parquet", name_of(&owners));
        let merged: HashSet<PathBuf> = sources.iter().map(|s| s.path.clone()).collect();
        let schema = joined(table, &sources.iter().map(|s| &s.schema).collect::<Vec<_>>());
        let mut writer = Writer::create(&aside.join(&name), &schema, Format::Parquet)?;
        let mut rows = 0;
        for source in &sources {
            rows += copy(&open(&source.path, table)?, &schema, &mut writer, |session, player| {
                owners.get(session) == Some(&source.path) && !forgotten.get(player).copied().unwrap_or(false)
            })?;
        }
        if rows > 0 {
            writer.finish()?;
            found.after += 1;
        }
        swap(&aside, &folder)?;
        // What came while the file was made is not in it.
        self.bring_back(&aside, &folder, &merged, false)?;
        fs::remove_dir_all(&aside).map_err(DatasetError::at(&aside))?;
        Ok(())
    }

    /// Moves files that were not merged from `aside` to `folder`.
    fn bring_back(
        &self,
        aside: &Path,
        folder: &Path,
        merged: &HashSet<PathBuf>,
        broken_off: bool,
    ) -> Result<(), DatasetError> {
        debug_assert!(aside.starts_with(&self.folder));
        for name in names(aside)? {
            // Of a compacting that was broken off it is not known what is merged: a file of one session can stand twice, and the next
            // compacting puts that right; a compacted one may be half of the month.
            let of_a_table = is_parquet(&name) && !name.starts_with('.');
            let merged =
                merged.contains(&folder.join(&name)) || (broken_off && name.starts_with("compacted-"));
            if of_a_table && !merged && !folder.join(&name).exists() {
                fs::create_dir_all(folder).map_err(DatasetError::at(folder))?;
                let from = aside.join(&name);
                fs::rename(&from, folder.join(&name)).map_err(DatasetError::at(&from))?;
            }
        }
        Ok(())
    }
}

/// The same sessions give the same name.
fn name_of(owners: &HashMap<String, PathBuf>) -> String {
    let mut sessions: Vec<&str> = owners.keys().map(String::as_str).collect();
    sessions.sort_unstable();
    super::files::hash(&sessions.join("\n"), 16)
}

/// Puts one folder in the other's place, in one step where the system can.
#[cfg(target_os = "linux")]
fn swap(aside: &Path, folder: &Path) -> Result<(), DatasetError> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    match renameat_with(CWD, aside, CWD, folder, RenameFlags::EXCHANGE) {
        Ok(()) => Ok(()),
        // Some file systems cannot.
        Err(rustix::io::Errno::INVAL | rustix::io::Errno::NOSYS) => swap_in_steps(aside, folder),
        Err(e) => Err(DatasetError::at(folder)(e.into())),
    }
}

#[cfg(not(target_os = "linux"))]
fn swap(aside: &Path, folder: &Path) -> Result<(), DatasetError> {
    swap_in_steps(aside, folder)
}

/// For a moment the month is not there: a reader gets an error, not half of it.
fn swap_in_steps(aside: &Path, folder: &Path) -> Result<(), DatasetError> {
    let old = aside.with_extension("old");
    fs::rename(folder, &old)
        .and_then(|()| fs::rename(aside, folder))
        .and_then(|()| fs::rename(&old, aside))
        .map_err(DatasetError::at(folder))
}
