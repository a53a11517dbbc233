//! Errors of one number, and counts of a yes or no.

use peakorder_protocol::estimate::Z95;

/// Everything of one kind of number.
#[derive(Debug, Default, Clone)]
pub(crate) struct Errors {
    /// Measured minus true.
    sizes: Vec<f64>,
    /// Stated standard uncertainties, and whether their 95 % bands hold the truth.
    pub(super) stated: Vec<f64>,
    pub(super) held: Share,
    /// Without a stated uncertainty.
    unstated: usize,
}

impl Errors {
    pub(super) fn push(&mut self, e: f64, sd: Option<f64>) {
        self.sizes.push(e);
        match sd {
            Some(sd) => {
                self.stated.push(sd);
                self.held.push(e.abs() <= Z95 * sd);
            }
            None => self.unstated += 1,
        }
    }
    /// The same with a band of another form than 1.96 standard uncertainties to each side.
    pub(super) fn push_band(&mut self, e: f64, sd: f64, held: bool) {
        self.sizes.push(e);
        self.stated.push(sd);
        self.held.push(held);
    }
    pub(super) fn add(&mut self, other: Self) {
        self.sizes.extend(other.sizes);
        self.stated.extend(other.stated);
        self.held.add(other.held);
        self.unstated += other.unstated;
    }
    pub(super) fn mean(&self) -> f64 {
        mean(&self.sizes)
    }
    pub(super) fn sd(&self) -> f64 {
        let m = self.mean();
        (self.sizes.iter().map(|e| (e - m).powi(2)).sum::<f64>() / self.sizes.len() as f64).sqrt()
    }
    pub(super) fn rms(&self) -> f64 {
        (self.sizes.iter().map(|e| e * e).sum::<f64>() / self.sizes.len() as f64).sqrt()
    }
    pub(super) fn p95(&self) -> f64 {
        let mut a: Vec<f64> = self.sizes.iter().map(|e| e.abs()).collect();
        a.sort_by(f64::total_cmp);
        a.get((a.len() * 95 / 100).min(a.len().saturating_sub(1))).copied().unwrap_or(f64::NAN)
    }
    pub(super) fn row(&self, name: &str, unit: &str) -> String {
        if self.sizes.is_empty() {
            return String::new();
        }
        let stated = match (self.stated.is_empty(), self.unstated) {
            (true, _) => "– | –".into(),
            (false, 0) => format!("{:.2} | {}", mean(&self.stated), self.held.text()),
            (false, n) => format!("{:.2} | {}; {n} without", mean(&self.stated), self.held.text()),
        };
        format!(
            "| {name}, {unit} | {} | {:+.2} | {:.2} | {:.2} | {:.2} | {stated} |\n",
            self.sizes.len(),
            self.mean(),
            self.sd(),
            self.rms(),
            self.p95()
        )
    }
}

pub(super) fn mean(numbers: &[f64]) -> f64 {
    numbers.iter().sum::<f64>() / numbers.len() as f64
}

/// Counts of a yes/no.
#[derive(Debug, Default, Clone, Copy)]
pub(crate) struct Share {
    pub(super) yes: usize,
    pub(super) all: usize,
}

impl Share {
    pub(super) fn push(&mut self, yes: bool) {
        self.all += 1;
        self.yes += usize::from(yes);
    }
    pub(super) fn add(&mut self, o: Self) {
        self.all += o.all;
        self.yes += o.yes;
    }
    pub(super) fn share(self) -> f64 {
        self.yes as f64 / self.all as f64
    }
    pub(super) fn text(self) -> String {
        if self.all == 0 {
            return "–".into();
        }
        format!("{:.2} % ({} of {})", 100.0 * self.share(), self.yes, self.all)
    }
}
