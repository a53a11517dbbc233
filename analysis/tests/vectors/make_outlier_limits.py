"""Writes src/outliers/limits.rs: how far out the furthest of n normal values lies, in modified z.

    python3 -m venv V && V/bin/pip install numpy scipy
    V/bin/python make_outlier_limits.py > ../../src/outliers/limits.rs

For every n, 1 000 000 blocks of n independent normal values are drawn (numpy's PCG64, seed 20260301 + n). A block's
number is its largest |x - median| / (normal-consistent median absolute deviation), the deviation by scipy's
median_abs_deviation for the first blocks to show that both are one. The limit for m measures is the quantile
1 - 0.05/m of these numbers: by Bonferroni at most 5 % of clean blocks then have a flag in any of m measures.
With a million blocks the tail beyond the limit for 50 measures has 1000 of them, so its rate is known to 3 %.
"""

import sys

import numpy as np
import scipy
from scipy.stats import median_abs_deviation

BLOCKS, CHUNK = 1_000_000, 50_000
MEASURES = (1, 2, 3, 5, 8, 12, 20, 30, 40, 50)
FEWEST, MOST = 5, 60
SIGMA = 1.482602218505602  # 1 / quantile 0.75 of the standard normal distribution


def furthest(n):
    rng = np.random.default_rng(20260301 + n)
    out = np.empty(BLOCKS)
    for start in range(0, BLOCKS, CHUNK):
        x = rng.standard_normal((CHUNK, n))
        d = np.abs(x - np.median(x, axis=1, keepdims=True))
        scale = SIGMA * np.median(d, axis=1)
        if start == 0:
            by_scipy = median_abs_deviation(x[:100], axis=1, scale="normal")
            assert np.allclose(scale[:100], by_scipy, rtol=1e-12)
        out[start:start + CHUNK] = d.max(axis=1) / scale
    return out


print(f"""//! Limits of the modified z, written by `tests/vectors/make_outlier_limits.py`, which says how.
//!
//! Python {sys.version.split()[0]}, numpy {np.__version__}, scipy {scipy.__version__}; {BLOCKS} blocks for each number of swings.

/// Fewest swings that limits are known for; row 0 of [`LIMITS`].
pub(super) const FEWEST: usize = {FEWEST};

/// Numbers of measures looked at together; the columns of [`LIMITS`].
pub(super) const MEASURES: [usize; {len(MEASURES)}] = {list(MEASURES)};

/// Modified z that the furthest of n clean values exceeds with a chance of 0.05 / measures.
#[rustfmt::skip]
pub(super) const LIMITS: [[f64; {len(MEASURES)}]; {MOST - FEWEST + 1}] = [""")
for n in range(FEWEST, MOST + 1):
    row = np.quantile(furthest(n), [1 - 0.05 / m for m in MEASURES])
    # Rounded up, so that rounding adds no flags.
    print("    [" + ", ".join(f"{np.ceil(v * 100) / 100:.2f}" for v in row) + f"], // {n}", flush=True)
    print(n, file=sys.stderr, flush=True)
print("];")
