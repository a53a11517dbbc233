//! Did the order of the peaks change? The exact test of the order table, and of every pair of segments.

use crate::arranged::{Arranged, Layout};
use crate::compare::ALPHA;
use crate::order::Order;
use crate::stats::{Deals, holm_known, independence, rotated_max_t};
use crate::words::{capital, chance};
use peakorder_protocol::Role::{self, LeadArm, Pelvis, Thorax};
use peakorder_protocol::swing::Swing;

/// How the orders of two sides differ.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderChange {
    /// Swings with each order, before and after, the most frequent before first.
    pub rows: Vec<(Order, usize, usize)>,
    /// p of the whole table; `None` where there is nothing to test.
    pub p: Option<f64>,
    /// The same with drift and dependence allowed for, of all pairs together; `None` where it cannot be told, where whole runs
    /// were dealt out, or of two sessions.
    pub p_dependent: Option<f64>,
    /// What p counts over.
    pub method: Method,
    /// How the blocks lie in the lesson.
    pub layout: Layout,
    /// The same for each pair of segments that has swings on both sides.
    pub pairs: Vec<PairChange>,
    /// Whether the order was what was looked for; otherwise all of this is exploratory.
    pub meant: bool,
    /// What can be said.
    pub verdict: OrderVerdict,
}

/// What a p counts over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Every table with the same sums.
    Tables,
    /// Tables with the same sums, drawn at random.
    DrawnTables,
    /// Every way to deal the runs out whole.
    Runs,
    /// Ways to deal the runs out whole, drawn at random.
    DrawnRuns,
}

impl Method {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Tables => "exact-tables",
            Self::DrawnTables => "drawn-tables",
            Self::Runs => "exact-runs",
            Self::DrawnRuns => "drawn-runs",
        }
    }
}

/// What can be said of a difference in orders.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrderVerdict {
    /// More than chance would.
    Differ,
    /// Only if swings neither depend on each other nor drift.
    UnlessDependent,
    /// Chance could do it.
    NotShown,
    /// Nothing to judge by: one order only, too few swings, or swings on both sides.
    CannotJudge,
}

impl OrderVerdict {
    /// Stable name for programs.
    pub const fn key(self) -> &'static str {
        match self {
            Self::Differ => "differ",
            Self::UnlessDependent => "cannot-tell-dependence",
            Self::NotShown => "no-difference-shown",
            Self::CannotJudge => "cannot-judge",
        }
    }

    /// By p and, where the design leaves dependence to be allowed for, by the p that does.
    fn of(p: Option<f64>, dependent: Dependent) -> Self {
        match p {
            Some(p) if p < ALPHA => match dependent {
                Dependent::NoMatter => Self::Differ,
                Dependent::P(Some(p)) if p < ALPHA => Self::Differ,
                Dependent::P(_) => Self::UnlessDependent,
            },
            Some(_) => Self::NotShown,
            None => Self::CannotJudge,
        }
    }
}

/// Whether dependence is to be allowed for.
#[derive(Clone, Copy)]
enum Dependent {
    /// Whole runs were dealt out, or the sides are two sessions.
    NoMatter,
    /// It is, with this p, if there is one.
    P(Option<f64>),
}

impl Dependent {
    const fn p(self) -> Option<f64> {
        match self {
            Self::NoMatter => None,
            Self::P(p) => p,
        }
    }
}

/// One pair of segments on both sides.
#[derive(Debug, Clone, PartialEq)]
pub struct PairChange {
    /// The proximal one.
    pub first: Role,
    /// The distal one.
    pub second: Role,
    /// Before.
    pub before: PairCounts,
    /// After.
    pub after: PairCounts,
    /// p of first, tied and second by side.
    pub p: Option<f64>,
    /// The same after Holm over the pairs.
    pub p_holm: Option<f64>,
    /// p of who was first with drift and dependence allowed for, over all pairs together; `None` as for the table.
    pub p_dependent: Option<f64>,
    /// What can be said, by `p_holm` and `p_dependent`.
    pub verdict: OrderVerdict,
}

/// How often which segment of a pair peaked first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct PairCounts {
    /// The proximal one, by more than its 95 % band.
    pub first: usize,
    /// Too close to tell.
    pub tied: usize,
    /// The distal one.
    pub second: usize,
    /// One of them has no peak: not measured, or still rising at impact.
    pub untold: usize,
}

impl PairCounts {
    /// Swings of which it can be told.
    pub const fn told(&self) -> usize {
        self.first + self.tied + self.second
    }

    const fn table(&self) -> [usize; 3] {
        [self.first, self.tied, self.second]
    }
}

const PAIRS: [(Role, Role); 3] = [(Pelvis, Thorax), (Thorax, LeadArm), (Pelvis, LeadArm)];

impl OrderChange {
    /// Of the swings that count on both sides. `meant`: the order is what the lesson is about.
    pub fn of(before: &[&Swing], after: &[&Swing], same_session: bool, meant: bool) -> Self {
        let numbers = |swings: &[&Swing]| swings.iter().map(|s| s.number).collect::<Vec<u32>>();
        let arranged = Arranged::of(&numbers(before), &numbers(after), same_session);
        let orders: Vec<(Option<Order>, bool)> = arranged
            .swings
            .iter()
            .map(|(number, second)| {
                let side = if *second { after } else { before };
                let swing = side.iter().find(|s| s.number == *number);
                (swing.and_then(|s| Order::of_peaks(&s.sequence)), *second)
            })
            .collect();
        let rows = rows(&orders);
        let kinds: Vec<(Option<usize>, bool)> = orders
            .iter()
            .map(|(order, second)| {
                (order.as_ref().and_then(|o| rows.iter().position(|row| row.0 == *o)), *second)
            })
            .collect();
        let (p, method) = tested(&kinds, rows.len(), &arranged);
        let mut pairs: Vec<PairChange> =
            PAIRS.into_iter().filter_map(|pair| PairChange::of(pair, &orders, &arranged)).collect();
        let adjusted = holm_known(&pairs.iter().map(|pair| pair.p).collect::<Vec<_>>());
        let (whole, of_pairs) = dependent(&pairs, &orders, &arranged);
        for ((pair, p_holm), dependent) in pairs.iter_mut().zip(adjusted).zip(of_pairs) {
            pair.p_holm = p_holm;
            pair.p_dependent = dependent.p();
            pair.verdict = OrderVerdict::of(p_holm, dependent);
        }
        let verdict = OrderVerdict::of(p, whole);
        Self { rows, p, p_dependent: whole.p(), method, layout: arranged.layout, pairs, meant, verdict }
    }

    /// The finding in a sentence.
    pub fn sentence(&self) -> String {
        let p = self.p.map_or(String::new(), chance::p);
        let dependent = self
            .p_dependent
            .map_or(String::new(), |p| format!("; with drift and dependence allowed for, {}", chance::p(p)));
        let exploratory =
            if self.meant { "" } else { "; exploratory, for the order was not what was looked for" };
        match self.verdict {
            OrderVerdict::Differ => {
                format!("The orders differ more than chance would make them ({p}{dependent}{exploratory}).")
            }
            OrderVerdict::UnlessDependent => format!(
                "The orders differ more than chance would make them if swings do not depend on each other ({p}){dependent}: \
                 can't tell."
            ),
            OrderVerdict::NotShown => format!("No difference in orders can be shown ({p})."),
            OrderVerdict::CannotJudge if self.layout == Layout::Overlapping => {
                "Orders not compared: some swings are on both sides.".into()
            }
            OrderVerdict::CannotJudge if self.rows.len() == 1 => {
                "One and the same order in every swing of both sides.".into()
            }
            OrderVerdict::CannotJudge => "Orders not compared: a side has none that was measured.".into(),
        }
    }

    /// The pairs that differ, or may, each in a sentence.
    pub fn pair_sentences(&self) -> Vec<String> {
        self.pairs
            .iter()
            .filter(|pair| matches!(pair.verdict, OrderVerdict::Differ | OrderVerdict::UnlessDependent))
            .map(PairChange::sentence)
            .collect()
    }

    /// What the p presumes, and what the design allows to conclude.
    pub fn presumes(&self) -> &'static str {
        match (self.method, &self.layout) {
            (_, Layout::TwoSessions) => {
                "The test presumes swings that do not depend on each other, and takes each session as one draw of the \
                 player's days: how orders vary from day to day is not in p."
            }
            (Method::Runs | Method::DrawnRuns, _) => {
                "The blocks alternate: whole runs were dealt out, so that swings of a run may depend on each other."
            }
            (_, Layout::Returning { .. }) => {
                "p of the table presumes swings that do not depend on each other; what is said to differ holds with that \
                 allowed for. The blocks return, which a steady drift does not imitate; for a test of whole runs \
                 there are too few."
            }
            _ => {
                "p of the table presumes swings that do not depend on each other and a player who does not drift; what is said \
                 to differ holds with both allowed for. One block after the other cannot tell a drill from a settling in \
                 that is quicker than a steady drift."
            }
        }
    }
}

fn rows(orders: &[(Option<Order>, bool)]) -> Vec<(Order, usize, usize)> {
    let mut rows: Vec<(Order, usize, usize)> = Vec::new();
    for (order, second) in orders {
        let Some(order) = order else { continue };
        let at = rows.iter().position(|row| row.0 == *order).unwrap_or_else(|| {
            rows.push((order.clone(), 0, 0));
            rows.len() - 1
        });
        if *second { rows[at].2 += 1 } else { rows[at].1 += 1 }
    }
    rows.sort_by(|a, b| (b.1, b.2).cmp(&(a.1, a.2)).then_with(|| a.0.cmp(&b.0)));
    rows
}

/// Which of a pair was first: 0 the first, 1 a tie, 2 the second; `None` where one has no peak.
fn kind(order: &Order, first: Role, second: Role) -> Option<usize> {
    let pairs = [(first, second), (second, first)];
    let resolved = order.of.resolved();
    if resolved.contains(&pairs[0]) {
        Some(0)
    } else if pairs.iter().any(|pair| order.of.tied().contains(pair)) {
        Some(1)
    } else {
        resolved.contains(&pairs[1]).then_some(2)
    }
}

/// Drift and dependence allowed for: of all pairs together, and of each. A pair counts 1, 0 or −1 for the first, a tie, the
/// second; the largest of their t is held against rotations of swings that take after each other. Such counts are not normal;
/// by count the false alarms are at most 5 % up to a correlation of 0.4, and 7 % at 0.6 with drift (`benches/BLOCKS.md`). No p is
/// smaller than that of dealing alone.
fn dependent(
    pairs: &[PairChange],
    orders: &[(Option<Order>, bool)],
    arranged: &Arranged,
) -> (Dependent, Vec<Dependent>) {
    if arranged.by_runs() || matches!(arranged.layout, Layout::TwoSessions | Layout::Overlapping) {
        return (Dependent::NoMatter, vec![Dependent::NoMatter; pairs.len()]);
    }
    // Swings of which every pair is told.
    let mut rows = Vec::new();
    let mut sides = Vec::new();
    let mut places = Vec::new();
    for ((order, second), (number, _)) in orders.iter().zip(&arranged.swings) {
        let Some(order) = order else { continue };
        let scores: Option<Vec<f64>> =
            pairs.iter().map(|p| Some(1.0 - kind(order, p.first, p.second)? as f64)).collect();
        if let Some(scores) = scores {
            rows.push(scores);
            sides.push(*second);
            places.push(f64::from(*number));
        }
    }
    let Some(test) = rotated_max_t(&rows, &sides, &places) else {
        return (Dependent::P(None), vec![Dependent::P(None); pairs.len()]);
    };
    let at_least = |p: f64, dealt: Option<f64>| Dependent::P(Some(p.max(dealt.unwrap_or(0.0))));
    let smallest = pairs.iter().filter_map(|p| p.p).reduce(f64::min);
    let of_pairs = pairs.iter().zip(&test.t).map(|(pair, t)| at_least(test.p(*t), pair.p)).collect();
    (at_least(test.largest_p(), smallest), of_pairs)
}

/// p of kinds by side. Swings without a kind are left out.
fn tested(kinds: &[(Option<usize>, bool)], n: usize, arranged: &Arranged) -> (Option<f64>, Method) {
    if arranged.layout == Layout::Overlapping {
        return (None, Method::Tables);
    }
    let table = |sides: &[bool]| {
        let mut table = (vec![0; n], vec![0; n]);
        for ((kind, _), second) in kinds.iter().zip(sides) {
            if let Some(kind) = kind {
                if *second { table.1[*kind] += 1 } else { table.0[*kind] += 1 }
            }
        }
        table
    };
    let (first, second) = table(&arranged.sides());
    let Some(exact) = independence(&first, &second) else { return (None, Method::Tables) };
    if !arranged.by_runs() {
        return (Some(exact.p), if exact.all { Method::Tables } else { Method::DrawnTables });
    }
    // The less probable a table, the larger its number.
    let deals = arranged.deals();
    let unlike: Vec<f64> = deals.sides.iter().map(|sides| unlike(&table(sides))).collect();
    (Some(Deals::p(&unlike)), if deals.all { Method::Runs } else { Method::DrawnRuns })
}

/// Chi-square of a table: how far the sides' shares are apart. Runs differ in length, so that tables of different
/// sums must be ranked, which probabilities given the sums cannot.
fn unlike((first, second): &(Vec<usize>, Vec<usize>)) -> f64 {
    let (a, b) = (first.iter().sum::<usize>() as f64, second.iter().sum::<usize>() as f64);
    let cell = |count: usize, column: f64, row: f64| {
        let expected = column * row / (a + b);
        if expected > 0.0 { (count as f64 - expected).powi(2) / expected } else { 0.0 }
    };
    first.iter().zip(second).map(|(x, y)| cell(*x, (x + y) as f64, a) + cell(*y, (x + y) as f64, b)).sum()
}

impl PairChange {
    fn of(
        (first, second): (Role, Role),
        orders: &[(Option<Order>, bool)],
        arranged: &Arranged,
    ) -> Option<Self> {
        let kind = |order: &Order| kind(order, first, second);
        let kinds: Vec<(Option<usize>, bool)> =
            orders.iter().map(|(order, side)| (order.as_ref().and_then(kind), *side)).collect();
        let counts = |side: bool| {
            let mut counts = PairCounts::default();
            for (kind, _) in kinds.iter().filter(|k| k.1 == side) {
                match kind {
                    Some(0) => counts.first += 1,
                    Some(1) => counts.tied += 1,
                    Some(_) => counts.second += 1,
                    None => counts.untold += 1,
                }
            }
            counts
        };
        let (before, after) = (counts(false), counts(true));
        if before.told() == 0 || after.told() == 0 {
            return None;
        }
        let (p, _) = tested(&kinds, before.table().len(), arranged);
        let verdict = OrderVerdict::CannotJudge;
        Some(Self { first, second, before, after, p, p_holm: None, p_dependent: None, verdict })
    }

    /// `Pelvis peaked before thorax in 2 of 8 swings before and in 7 of 8 after (tied: 3 and 1; p = 0.03)`, with the
    /// segment as subject that was first more often.
    pub fn sentence(&self) -> String {
        let Self { before, after, .. } = self;
        let turned = before.second + after.second > before.first + after.first;
        let (first, second) = if turned { (self.second, self.first) } else { (self.first, self.second) };
        let counts = |c: &PairCounts| if turned { (c.second, c.first) } else { (c.first, c.second) };
        let ((was, other_was), (is, other_is)) = (counts(before), counts(after));
        let mut rest = Vec::new();
        for (name, was, is) in
            [("tied".to_owned(), before.tied, after.tied), (format!("{second} first"), other_was, other_is)]
        {
            if was + is > 0 {
                rest.push(format!("{name}: {was} and {is}"));
            }
        }
        rest.extend(self.p_holm.map(chance::p));
        rest.extend(
            self.p_dependent.map(|p| format!("with drift and dependence allowed for, {}", chance::p(p))),
        );
        let cannot = if self.verdict == OrderVerdict::UnlessDependent { ": can't tell" } else { "" };
        format!(
            "{} peaked before {second} in {was} of {} swings before and in {is} of {} after ({}{cannot}).",
            capital(first.label()),
            before.told(),
            after.told(),
            rest.join("; ")
        )
    }
}
