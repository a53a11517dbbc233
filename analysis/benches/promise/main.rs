//! Does the verdict keep its promise? False alarms, coverage of intervals and power, against a truth that is known.
//!
//! `cargo bench -p peakorder-analysis --bench promise [-- --quick] [--only PART]` writes `PROMISE.md` beside this file. The first parts
//! draw series of numbers; the last play virtual players through the whole chain. The parts are `within`, `between`,
//! `beyond` and `players`.

mod between;
mod beyond;
mod numbers;
mod players;
mod within;

use std::fmt::Write as _;
use std::time::Instant;

/// How much is drawn.
#[derive(Debug, Clone, Copy)]
struct Extent {
    /// Lessons in a cell of drawn numbers.
    lessons: usize,
    /// Pairs of sessions of virtual players.
    pairs: usize,
}

/// A part of the bench, as text.
type Part = fn(Extent) -> String;

fn main() {
    let quick = std::env::args().any(|a| a == "--quick");
    let only: Option<String> = std::env::args().skip_while(|a| a != "--only").nth(1);
    let extent =
        if quick { Extent { lessons: 300, pairs: 20 } } else { Extent { lessons: 3000, pairs: 500 } };
    let parts: [(&str, Part); 4] = [
        ("within", within::section),
        ("between", between::section),
        ("beyond", beyond::section),
        ("players", players::section),
    ];
    let mut report = String::new();
    for (name, part) in parts {
        if only.as_deref().is_some_and(|o| o != name) {
            continue;
        }
        let start = Instant::now();
        let text = part(extent);
        println!("{text}");
        println!("({name}: {:.0} s)\n", start.elapsed().as_secs_f64());
        let _ = writeln!(report, "{text}");
    }
    if only.is_none() && !quick {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/promise/PROMISE.md");
        let head = "# Does the verdict keep its promise?\n\nWritten by `cargo bench -p peakorder-analysis --bench promise`. \
            Nominal everywhere: 5 % false alarms over all measures that get a verdict, intervals of 95 %. \
            In brackets: 95 % interval of the figure (Wilson).\n\n";
        std::fs::write(&path, format!("{head}{report}")).expect("the report can be written");
        println!("wrote {}", path.display());
    }
}
