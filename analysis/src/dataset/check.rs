//! Saying what of a dataset is whole.

use super::files::{is_parquet, names, open, unreadable, whose};
use super::{Dataset, DatasetError, Monthly};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

/// From so many files of a month and table on compacting is worth it: each costs an engine some milliseconds.
const MANY_FILES: usize = 100;

/// Something to be put right, or to know.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[serde(tag = "what", rename_all = "kebab-case")]
pub enum Finding {
    /// A file that is no table of this dataset, or not whole.
    File {
        /// Why, with the path.
        why: String,
        /// The file.
        path: PathBuf,
    },
    /// A name that has no place in it.
    Stray {
        /// Where it is.
        path: PathBuf,
    },
    /// A write that was broken off.
    HalfWritten {
        /// The file.
        path: PathBuf,
    },
    /// A session stands in several files of one table.
    Doubled {
        /// Its id.
        session: String,
        /// The table.
        table: &'static str,
    },
    /// A session has swings but no row of its own, or the other way round: adding it was broken off.
    InPart {
        /// Its id.
        session: String,
    },
    /// A player who was forgotten has rows: a copy came back.
    Forgotten {
        /// The file.
        path: PathBuf,
    },
    /// Many small files.
    ManyFiles {
        /// Month.
        month: String,
        /// The most files of one table.
        files: usize,
    },
    /// A month in which no swing counts.
    NothingCounted {
        /// The month.
        month: String,
    },
}

impl Finding {
    /// Whether the dataset gives wrong answers, or none, until it is put right.
    pub const fn is_damage(&self) -> bool {
        !matches!(self, Self::ManyFiles { .. } | Self::NothingCounted { .. } | Self::HalfWritten { .. })
    }
}

/// What a dataset holds, and what of it is amiss.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Report {
    /// Players.
    pub players: usize,
    /// Sessions.
    pub sessions: usize,
    /// Swings.
    pub swings: usize,
    /// Of these, swings that count.
    pub counted: usize,
    /// Files.
    pub files: usize,
    /// Their bytes.
    pub bytes: u64,
    /// What was found.
    pub findings: Vec<Finding>,
}

impl Dataset {
    /// Reads every file.
    pub fn check(&self) -> Result<Report, DatasetError> {
        let mut report = Report::default();
        let mut players = BTreeSet::new();
        let mut in_table: BTreeMap<Monthly, BTreeSet<String>> = BTreeMap::new();
        let mut counted: BTreeMap<String, usize> = BTreeMap::new();
        let mut most_files: BTreeMap<String, usize> = BTreeMap::new();
        for table in Monthly::ALL {
            self.look_for_strays(table, &mut report)?;
            for month in self.months(table)? {
                let files = self.files(table, &month)?;
                let most = most_files.entry(month.clone()).or_default();
                *most = files.len().max(*most);
                for path in files {
                    report.files += 1;
                    report.bytes += path.metadata().map_or(0, |m| m.len());
                    let rows = whose(&path, table).and_then(|rows| Ok((rows, self.swings_of(&path, table)?)));
                    let (rows, (all, counting)) = match rows {
                        Ok(rows) => rows,
                        Err(e) if unreadable(&e).is_some() => {
                            report.findings.push(Finding::File { why: e.to_string(), path });
                            continue;
                        }
                        Err(e) => return Err(e),
                    };
                    report.swings += all;
                    report.counted += counting;
                    *counted.entry(month.clone()).or_default() += counting;
                    let here: BTreeSet<&(String, String)> = rows.iter().collect();
                    if here.iter().any(|w| self.mark(&w.1).exists()) {
                        report.findings.push(Finding::Forgotten { path });
                    }
                    for (session, player) in here {
                        players.insert(player.clone());
                        if !in_table.entry(table).or_default().insert(session.clone()) {
                            let finding = Finding::Doubled { session: session.clone(), table: table.key() };
                            report.findings.push(finding);
                        }
                    }
                }
            }
        }
        let of = |table: Monthly| in_table.get(&table).cloned().unwrap_or_default();
        let sessions = of(Monthly::Sessions);
        for table in Monthly::ALL {
            report
                .findings
                .extend(of(table).difference(&sessions).map(|s| Finding::InPart { session: s.clone() }));
        }
        report.findings.extend(
            most_files
                .into_iter()
                .filter(|m| m.1 > MANY_FILES)
                .map(|(month, files)| Finding::ManyFiles { month, files }),
        );
        report.findings.extend(
            counted.into_iter().filter(|c| c.1 == 0).map(|(month, _)| Finding::NothingCounted { month }),
        );
        report.findings.dedup();
        report.players = players.len();
        report.sessions = sessions.len();
        Ok(report)
    }

    /// Swings in a file, and how many of them count; reads all columns, for a page of any may be damaged.
    fn swings_of(&self, path: &std::path::Path, table: Monthly) -> Result<(usize, usize), DatasetError> {
        debug_assert!(path.starts_with(&self.folder));
        let file = open(path, table)?;
        let place = file.schema().place("counted").filter(|_| table == Monthly::Swings);
        let (mut all, mut counting) = (0, 0);
        file.read_all(|row| {
            if let Some(place) = place {
                all += 1;
                counting += usize::from(row[place] == peakorder_tables::Cell::Flag(true));
            }
        })?;
        Ok((all, counting))
    }

    fn look_for_strays(&self, table: Monthly, report: &mut Report) -> Result<(), DatasetError> {
        let folder = self.folder.join(table.key());
        for name in names(&folder)? {
            let path = folder.join(&name);
            let Some(month) = name.strip_prefix("month=") else {
                let finding = if name.starts_with('.') {
                    Finding::HalfWritten { path }
                } else {
                    Finding::Stray { path }
                };
                report.findings.push(finding);
                continue;
            };
            let a_month = month.len() == 7
                && month
                    .bytes()
                    .enumerate()
                    .all(|(i, b)| if i == 4 { b == b'-' } else { b.is_ascii_digit() });
            if !a_month {
                report.findings.push(Finding::Stray { path: path.clone() });
            }
            for name in names(&path)? {
                if name.starts_with('.') {
                    report.findings.push(Finding::HalfWritten { path: path.join(name) });
                } else if !is_parquet(&name) {
                    report.findings.push(Finding::Stray { path: path.join(name) });
                }
            }
        }
        Ok(())
    }
}
