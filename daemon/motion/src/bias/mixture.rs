//! A sum of Gaussians over bias and heading: what is known, with every reading of the evidence that has
//! not been ruled out (Alspach & Sorenson 1972, IEEE Trans Autom Control AC-17:439–448, from memory).
//!
//! Evidence that may mean two things (a body stood still, or it turned slowly) is taken both ways. What
//! comes later decides by its likelihood, so that what was believed first can be disbelieved.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

/// Gyroscope bias, rad/s, three axes of the strap; heading of the last address from the target, rad; rate at which
/// the body is turning slowly, rad/s.
pub type State = SVector<f64, 5>;
type Covariance = SMatrix<f64, 5, 5>;

/// Number of the bias's axes, index of the heading, and of the slow turn.
const AXES: usize = 3;
const HEADING: usize = 3;
const TURN: usize = 4;
/// Kept at most.
const MOST: usize = 12;
/// Less likely than the likeliest by this much, in natural logarithm, is out of the question.
const NEGLIGIBLE: f64 = 16.0;
/// Hypotheses this close to each other become one: squared distance in standard uncertainties, and
/// logarithm of a ratio of variances.
const SAME_PLACE: f64 = 0.25;
const SAME_WIDTH: f64 = 0.3;
/// From this many standard uncertainties on, an outlier pulls no harder (Huber 1964, Ann Math Stat
/// 35:73–101; the figure is own judgement).
const HUBER: f64 = 2.5;

/// One row of evidence: `along` · state = `value`, give or take √`variance`.
#[derive(Debug, Clone, Copy)]
pub struct Row {
    /// What of the state it sees.
    pub along: State,
    /// What it reads.
    pub value: f64,
    /// Variance of the reading.
    pub variance: f64,
}

impl Row {
    /// A row that sees the bias alone.
    pub fn of_bias(along: &Vector3<f64>, value: f64, variance: f64) -> Self {
        Self::of_standing(along, 0.0, value, variance)
    }

    /// A row of a body that stood for `seconds`, or turned slowly.
    pub fn of_standing(along: &Vector3<f64>, seconds: f64, value: f64, variance: f64) -> Self {
        Self { along: State::new(along.x, along.y, along.z, 0.0, seconds), value, variance }
    }

    /// A row that reads the heading of the last address as the target's.
    pub fn on_target(variance: f64) -> Self {
        Self { along: State::new(0.0, 0.0, 0.0, 1.0, 0.0), value: 0.0, variance }
    }
}

/// What is supposed to have happened before a row.
#[derive(Debug, Clone, Copy)]
pub enum Before {
    /// Nothing new.
    Nothing,
    /// The body stands.
    Stands,
    /// It has begun to turn slowly, at a rate of this variance.
    BeganToTurn(f64),
    /// It goes on turning, at a rate that has changed by this variance.
    TurnsOn(f64),
    /// The bias has jumped by this variance on each axis. The body stands.
    BiasJumped(f64),
    /// The target has moved by this variance.
    TargetMoved(f64),
}

#[derive(Debug, Clone, Copy)]
struct Hypothesis {
    mean: State,
    covariance: Covariance,
    /// Logarithm of its probability.
    log_weight: f64,
    /// It has the body turning slowly just now.
    turning: bool,
}

impl Hypothesis {
    fn suppose(&mut self, before: Before) {
        match before {
            Before::Nothing => {}
            Before::Stands => self.set_turn(None),
            Before::BeganToTurn(variance) => self.set_turn(Some(variance)),
            Before::TurnsOn(variance) => self.covariance[(TURN, TURN)] += variance,
            Before::BiasJumped(variance) => {
                self.set_turn(None);
                (0..AXES).for_each(|i| self.covariance[(i, i)] += variance);
            }
            Before::TargetMoved(variance) => self.covariance[(HEADING, HEADING)] += variance,
        }
    }

    fn set_turn(&mut self, variance: Option<f64>) {
        self.turning = variance.is_some();
        self.forget(TURN, variance.unwrap_or(0.0));
    }

    fn forget(&mut self, i: usize, variance: f64) {
        self.mean[i] = 0.0;
        self.covariance.column_mut(i).fill(0.0);
        self.covariance.row_mut(i).fill(0.0);
        self.covariance[(i, i)] = variance;
    }

    /// Takes the row with `variance`; the weight is left as it is. Gives the logarithm of the row's likelihood.
    fn take(&mut self, row: &Row, variance: f64) -> f64 {
        let seen = self.covariance * row.along;
        let expected = seen.dot(&row.along) + variance;
        let off = row.value - self.mean.dot(&row.along);
        let gain = seen / expected;
        self.mean += gain * off;
        self.covariance -= gain * seen.transpose();
        -0.5 * (off * off / expected + expected.ln())
    }

    fn same_as(&self, other: &Self) -> bool {
        self.turning == other.turning
            && (0..AXES).all(|i| (self.covariance[(i, i)] / other.covariance[(i, i)]).ln().abs() < SAME_WIDTH)
            && (0..AXES)
                .map(|i| {
                    (self.mean[i] - other.mean[i]).powi(2)
                        / self.covariance[(i, i)].min(other.covariance[(i, i)])
                })
                .sum::<f64>()
                < SAME_PLACE
    }

    /// Joins a less likely one to it, mean and covariance kept.
    fn join(&mut self, other: &Self) {
        let (a, b) = (self.log_weight.exp(), other.log_weight.exp());
        let share = a / (a + b);
        let mean = self.mean * share + other.mean * (1.0 - share);
        let spread = |h: &Self| h.covariance + (h.mean - mean) * (h.mean - mean).transpose();
        self.covariance = spread(self) * share + spread(other) * (1.0 - share);
        self.mean = mean;
        self.log_weight = (a + b).ln();
    }
}

/// The hypotheses.
#[derive(Debug, Clone)]
pub struct Mixture {
    all: Vec<Hypothesis>,
}

impl Mixture {
    /// Nothing known but the standard uncertainty of a bias, rad/s.
    pub fn new(bias_sd: f64) -> Self {
        let v = bias_sd * bias_sd;
        let covariance = Covariance::from_diagonal(&State::new(v, v, v, 0.0, 0.0));
        Self { all: vec![Hypothesis { mean: State::zeros(), covariance, log_weight: 0.0, turning: false }] }
    }

    /// Time goes by: the bias may have moved by `variance` on each axis, but nobody is ever less certain than
    /// `most` (variances, (rad/s)²).
    pub fn wander(&mut self, variance: f64, most: f64) {
        for h in &mut self.all {
            for i in 0..AXES {
                let v = h.covariance[(i, i)];
                h.covariance[(i, i)] = v.max((v + variance).min(most));
            }
        }
    }

    /// Takes a row that now and then is grossly wrong.
    pub fn take_robustly(&mut self, row: &Row) {
        for h in &mut self.all {
            let seen = (h.covariance * row.along).dot(&row.along);
            let square = (row.value - h.mean.dot(&row.along)).powi(2);
            let plain = seen + row.variance;
            let beyond = square / plain / (HUBER * HUBER);
            if beyond > 1.0 {
                let variance = (square / (HUBER * HUBER) - seen).max(row.variance);
                let mut moved = *h;
                moved.take(row, variance);
                moved.log_weight -= 0.5 * (plain.ln() + HUBER * HUBER + 2.0 * beyond.ln());
                *h = moved;
            } else {
                h.log_weight += h.take(row, row.variance);
            }
        }
        self.normalise();
    }

    /// Takes a row before which one of several things may have happened: for a hypothesis in which the body is
    /// turning slowly or not, each with its probability.
    pub fn branch<const N: usize>(&mut self, row: &Row, before: impl Fn(bool) -> [(f64, Before); N]) {
        let mut branches = Vec::with_capacity(N * self.all.len());
        for h in &self.all {
            for (probability, before) in before(h.turning) {
                let mut branch = *h;
                branch.suppose(before);
                branch.log_weight += probability.ln() + branch.take(row, row.variance);
                branches.push(branch);
            }
        }
        self.all = branches;
        self.normalise();
        self.prune();
    }

    /// A new address: its heading is that of the last one and `turned` minus `along` · bias, give or take
    /// √`variance`.
    pub fn turn(&mut self, turned: f64, along: &Vector3<f64>, variance: f64) {
        let mut step = Covariance::identity();
        step.fixed_view_mut::<1, AXES>(HEADING, 0).copy_from(&-along.transpose());
        for h in &mut self.all {
            h.mean = step * h.mean;
            h.mean[HEADING] += turned;
            h.covariance = step * h.covariance * step.transpose();
            h.covariance[(HEADING, HEADING)] += variance;
        }
    }

    /// The heading of the last address is forgotten; the next one's is the target's, give or take √`variance`.
    pub fn forget_heading(&mut self, variance: f64) {
        for h in &mut self.all {
            h.forget(HEADING, variance);
        }
    }

    /// Mean over all hypotheses, and covariance with what they differ by.
    pub fn moments(&self) -> (State, Covariance) {
        let weights = self.all.iter().map(|h| h.log_weight.exp());
        let mean: State = self.all.iter().zip(weights.clone()).map(|(h, w)| h.mean * w).sum();
        let covariance = self
            .all
            .iter()
            .zip(weights)
            .map(|(h, w)| (h.covariance + (h.mean - mean) * (h.mean - mean).transpose()) * w)
            .sum();
        (mean, covariance)
    }

    fn normalise(&mut self) {
        let most = self.all.iter().map(|h| h.log_weight).fold(f64::NEG_INFINITY, f64::max);
        let sum = self.all.iter().map(|h| (h.log_weight - most).exp()).sum::<f64>();
        let total = most + sum.ln();
        self.all.iter_mut().for_each(|h| h.log_weight -= total);
    }

    /// Joins what has become alike, and drops what is out of the question.
    fn prune(&mut self) {
        self.all.sort_by(|a, b| b.log_weight.total_cmp(&a.log_weight));
        let mut kept: Vec<Hypothesis> = Vec::with_capacity(MOST);
        for h in &self.all {
            if let Some(like) = kept.iter_mut().find(|k| k.same_as(h)) {
                like.join(h);
            } else if kept.len() < MOST && h.log_weight > -NEGLIGIBLE {
                kept.push(*h);
            }
        }
        self.all = kept;
        self.normalise();
    }
}

/// Bias of a state.
pub fn bias_of(state: &State) -> Vector3<f64> {
    state.fixed_rows::<AXES>(0).into()
}

/// Covariance of the bias in a state's.
pub fn bias_covariance(covariance: &Covariance) -> Matrix3<f64> {
    covariance.fixed_view::<AXES, AXES>(0, 0).into()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn says(value: f64, variance: f64) -> Row {
        Row::of_bias(&Vector3::y(), value, variance)
    }

    /// One Gaussian and one row: weights of the inverse variances (by hand: 4 and 1 give 0.8 and 0.8).
    #[test]
    fn one_row_is_weighed_by_inverse_variances() {
        let mut m = Mixture::new(2.0);
        m.take_robustly(&says(1.0, 1.0));
        let (mean, covariance) = m.moments();
        assert!((mean[1] - 0.8).abs() < 1e-12 && (covariance[(1, 1)] - 0.8).abs() < 1e-12, "{mean}");
        assert_eq!((mean[0], covariance[(0, 0)]), (0.0, 4.0));
    }

    /// By hand: a body that stood for 1 s reads 4 ± 0.1 of a bias 0 ± 1, or it turned at 0 ± 10. Densities
    /// N(4; 0, 1.01) and N(4; 0, 101.01): exp(−7.921) / 1.005 and exp(−0.0792) / 10.05, so that with even odds
    /// "stands" has 3.61e-4 / (3.61e-4 + 0.0919) = 0.4 %.
    #[test]
    fn what_fits_neither_well_is_believed_by_likelihood() {
        let mut m = Mixture::new(1.0);
        let row = Row::of_standing(&Vector3::y(), 1.0, 4.0, 0.01);
        m.branch(&row, |_| [(0.5, Before::Stands), (0.5, Before::BeganToTurn(100.0))]);
        let stands = m.all.iter().find(|h| !h.turning).unwrap().log_weight.exp();
        assert!((stands - 0.0039).abs() < 0.0002, "{stands}");
    }

    /// A rate that stays may be the bias or a turn, and no number of rows tells which.
    #[test]
    fn a_steady_turn_is_not_ruled_out_by_lasting() {
        let mut m = Mixture::new(1.0);
        for i in 0..5 {
            let row = Row::of_standing(&Vector3::y(), 1.0, 2.0, 0.01);
            m.branch(&row, |turning| {
                let on = if turning { Before::TurnsOn(0.0) } else { Before::BeganToTurn(1.0) };
                let turns = if turning {
                    0.999
                } else if i == 0 {
                    0.5
                } else {
                    1e-9
                };
                [(1.0 - turns, Before::Stands), (turns, on)]
            });
        }
        let (mean, covariance) = m.moments();
        assert!((0.5..2.0).contains(&mean[1]) && covariance[(1, 1)].sqrt() > 0.4, "{mean} {covariance}");
    }

    #[test]
    fn a_gross_error_pulls_no_harder_than_a_large_one() {
        let after = |value: f64| {
            let mut m = Mixture::new(0.1);
            m.take_robustly(&says(value, 0.01));
            m.moments().0[1]
        };
        let (small, large, gross) = (after(0.1), after(1.0), after(100.0));
        assert!(small > 0.0 && gross > 0.0 && gross < large && large < 0.3, "{small} {large} {gross}");
    }

    /// A heading that stays while the gyroscope says it turned shows the bias that made it.
    #[test]
    fn a_shared_target_shows_the_bias() {
        let mut m = Mixture::new(1.0);
        m.forget_heading(1e-6);
        let (seconds, bias) = (10.0, 0.3);
        m.turn(seconds * bias, &(Vector3::y() * seconds), 0.0);
        m.take_robustly(&Row::on_target(1e-6));
        let (mean, covariance) = m.moments();
        assert!((mean[1] - bias).abs() < 1e-4, "{mean}");
        assert!(covariance[(1, 1)].sqrt() < 1e-3);
    }

    #[test]
    fn there_are_never_more_than_a_dozen() {
        let mut m = Mixture::new(1.0);
        for i in 0..40 {
            let row = Row::of_standing(&Vector3::y(), 1.0, f64::from(i % 7), 0.5);
            m.branch(&row, |_| [(0.5, Before::Stands), (0.5, Before::BeganToTurn(30.0))]);
            assert!(m.all.len() <= MOST && !m.all.is_empty());
            let sum: f64 = m.all.iter().map(|h| h.log_weight.exp()).sum();
            assert!((sum - 1.0).abs() < 1e-9);
        }
    }
}
