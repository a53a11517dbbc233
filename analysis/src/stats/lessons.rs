//! A lesson against earlier ones: what straps put on anew shift in all swings of a session alike, more swings do not
//! average away, and one session cannot show.
//!
//! A stated standard deviation of that part comes with the measurement. How far it holds for this player only sessions can
//! tell: the means of earlier lessons, and of checks in which the straps were taken off and put on again. The
//! stated figure counts as much as [`STATED_DF`] of such sessions, and what several measures of the same straps say of
//! it is put together.
//!
//! Source: a scaled inverse χ² prior whose scale is estimated over many variables, as in Smyth GK 2004, *Statistical
//! Applications in Genetics and Molecular Biology* 3:3 (from memory). Weight, floor and pooling were chosen by
//! simulation; the bench `promise` measures them again.

use super::Mixture;

/// The stated figure counts as so many degrees of freedom.
pub const STATED_DF: f64 = 4.0;

/// With nothing but the stated figure, so much more is allowed for: then unchanged players of whom it should have been
/// one and a half times as large are called changed in 5 to 6 %.
const ALONE: f64 = 1.05;

/// Taking the swings' least part away from the scatter leaves the variance a little too large; by so much the standard error is
/// brought down.
const BROUGHT_DOWN: f64 = 0.95;

/// The least share of the stated variance that sessions which agree well may bring it down to.
const LEAST: f64 = 0.25;

/// How alike the measures of one set of straps are: correlation of what their scatter says.
const ALIKE: f64 = 0.09;

/// Mean of a session's block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SessionMean {
    /// The mean, in the measure's unit.
    pub mean: f64,
    /// Variance that its swings leave in it, dependence allowed for.
    pub variance: f64,
    /// The least that it can be: of swings that do not depend on one another.
    pub least_variance: f64,
}

/// How far means of sessions that should be alike lie apart.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Scatter {
    /// Sum of squares about the means of those that belong together.
    pub squares: f64,
    /// Degrees of freedom.
    pub df: f64,
    /// Mean variance that swings leave in such a mean at the least. What is taken away from the scatter is not to be too much.
    pub within: f64,
}

impl Scatter {
    /// Of `groups`: earlier lessons are one, each re-wear check one. A group of one says nothing.
    pub fn of(groups: &[&[SessionMean]]) -> Self {
        let mut scatter = Self::default();
        let mut variances = Vec::new();
        for group in groups.iter().filter(|g| g.len() > 1) {
            let n = group.len() as f64;
            let mean = group.iter().map(|s| s.mean).sum::<f64>() / n;
            scatter.squares += group.iter().map(|s| (s.mean - mean).powi(2)).sum::<f64>();
            scatter.df += n - 1.0;
            variances.extend(group.iter().map(|s| s.least_variance));
        }
        scatter.within = super::mean(&variances).unwrap_or(0.0);
        scatter
    }

    /// Variance beyond what swings leave, a degree of freedom; may be negative.
    fn beyond(&self) -> f64 {
        self.squares / self.df - self.within
    }
}

/// By how much the stated variances of what a session shares are to be multiplied, from `measures`: the scatter of each and its
/// stated standard deviation. `None` where no session says anything of it.
pub fn stated_factor(measures: &[(Scatter, f64)]) -> Option<f64> {
    let told: Vec<&(Scatter, f64)> = measures.iter().filter(|(s, sd)| s.df > 0.0 && *sd > 0.0).collect();
    let n = told.len() as f64;
    if told.is_empty() {
        return None;
    }
    let df = told.iter().map(|(s, _)| s.df).sum::<f64>() / n;
    let counted = df * n / (1.0 + ALIKE * (n - 1.0));
    let seen = told.iter().map(|(s, sd)| s.beyond() / sd.powi(2)).sum::<f64>() / n;
    Some(((STATED_DF + counted * seen.max(0.0)) / (STATED_DF + counted)).max(LEAST))
}

/// What a session shares, for one measure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// Stated standard deviation, in the measure's unit.
    pub stated_sd: f64,
    /// Of [`stated_factor`].
    pub factor: Option<f64>,
    /// What sessions say of this measure.
    pub scatter: Scatter,
}

impl Shared {
    /// Variance of what a session shares, and its degrees of freedom.
    pub fn variance(&self) -> (f64, f64) {
        let stated = self.stated_sd.powi(2);
        match self.factor {
            Some(factor) if self.scatter.df > 0.0 => {
                let seen = self.scatter.df * self.scatter.beyond().max(0.0);
                (
                    (STATED_DF * factor * stated + seen) / (STATED_DF + self.scatter.df),
                    STATED_DF + self.scatter.df,
                )
            }
            // Other measures of the same straps may tell what this one's sessions do not.
            Some(factor) => (factor * stated, STATED_DF),
            None => (ALONE.powi(2) * stated, STATED_DF),
        }
    }
}

/// `new` less the mean of the `earlier` sessions' means. `None` without any, or where nothing varies.
pub fn against(new: SessionMean, earlier: &[SessionMean], shared: &Shared) -> Option<Mixture> {
    let k = earlier.len() as f64;
    let mean = super::mean(&earlier.iter().map(|s| s.mean).collect::<Vec<_>>())?;
    let (variance, df) = shared.variance();
    let within = new.variance + earlier.iter().map(|s| s.variance).sum::<f64>() / k.powi(2);
    let scale = if shared.factor.is_some() { BROUGHT_DOWN } else { 1.0 };
    Mixture::student(new.mean - mean, scale * (variance * (1.0 + 1.0 / k) + within).sqrt(), df)
}
