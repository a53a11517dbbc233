"""Writes blocks.json for tests/blocks.rs: tables of orders, curves of two blocks, outlying swings.

    python3 -m venv V && V/bin/pip install numpy scipy spm1d statsmodels
    V/bin/python make_block_vectors.py > blocks.json

- tables: p of the exact test. Up to 10 swings scipy's fisher_exact deals out all n! orders (PermutationMethod), two
  kinds are scipy's own exact 2 x 2 test; the others are summed over every table with scipy's random_table.pmf, and
  fisher_exact with 200 000 random tables stands beside the sum. `large` is one with a million random tables.
- curves: spm1d's two-sample t with equal variances, its smoothness, its two-sided random-field thresholds without
  Bonferroni, and the largest |t| of its permutation test with every deal looked at.
- gls: t of the difference by statsmodels' GLS with the working covariance of src/stats/rotation.rs.
- outliers: externally Studentised residuals and their Bonferroni p by statsmodels' outlier_test.
"""

import itertools
import json
import sys
import warnings

import numpy as np
import scipy
import spm1d
import statsmodels
import statsmodels.api as sm
from scipy import stats
from scipy.ndimage import gaussian_filter1d

warnings.filterwarnings("ignore")
rng = np.random.default_rng(20260302)


def summed(table):
    """Every table with these sums, by scipy's probabilities."""
    first, second = (np.array(r) for r in table)
    columns, row = first + second, first.sum()
    dist = stats.random_table(np.array([row, second.sum()]), columns)
    limit = dist.pmf(np.array(table)) * (1 + 1e-7)
    p = 0.0
    for counts in itertools.product(*(range(c + 1) for c in columns)):
        if sum(counts) == row:
            q = dist.pmf(np.array([counts, columns - counts]))
            p += q if q <= limit else 0.0
    return float(p)


tables = []
for table in ([[4, 1, 1, 1, 1, 0, 0], [0, 2, 0, 0, 0, 5, 1]], [[7, 5], [11, 0]], [[3, 1, 4], [1, 5, 2]],
              [[2, 2], [2, 2]], [[3, 0, 1], [0, 3, 1]], [[12, 6, 2], [9, 9, 2]], [[5, 3, 2, 2], [1, 1, 4, 6]],
              [[20, 0, 0], [14, 5, 1]], [[1, 0, 2, 1], [0, 3, 0, 1]]):
    entry = {"first": table[0], "second": table[1]}
    n = int(np.sum(table))
    if len(table[0]) == 2:
        entry["p"], entry["by"] = float(stats.fisher_exact(table).pvalue), "fisher_exact 2 x 2"
    elif n <= 8:
        r = stats.fisher_exact(table, method=stats.PermutationMethod(n_resamples=np.inf))
        entry["p"], entry["by"] = float(r.pvalue), "fisher_exact, all permutations"
    else:
        entry["p"], entry["by"] = summed(table), "sum of random_table.pmf"
        r = stats.fisher_exact(table, method=stats.MonteCarloMethod(n_resamples=200_000, rng=rng))
        entry["p_monte_carlo"] = float(r.pvalue)
    tables.append(entry)
large = [[40, 30, 20, 20, 10, 12, 9, 9, 8, 7], [25, 35, 32, 14, 22, 6, 13, 5, 12, 14]]
r = stats.fisher_exact(large, method=stats.MonteCarloMethod(n_resamples=1_000_000, rng=rng))
large = {"first": large[0], "second": large[1], "p_monte_carlo": float(r.pvalue)}


def smooth(n, points, width):
    return np.array([gaussian_filter1d(rng.standard_normal(points + 40), width)[20:-20] for _ in range(n)])


curves = []
for na, nb, points, effect in ((5, 5, 51, 0.9), (4, 6, 41, 0.0), (3, 7, 61, 1.4)):
    a, b = smooth(na, points, 5), smooth(nb, points, 5)
    b[:, points // 2: points // 2 + 12] += effect
    a, b = np.round(a, 4), np.round(b, 4)
    # spm1d's t is first minus second.
    spm = spm1d.stats.ttest2(b, a, equal_var=True)
    thresholds = {str(alpha): float(spm._isf(alpha / 2, False)) for alpha in (0.05, 0.01)}
    dealt = spm1d.stats.nonparam.ttest2(b, a)
    # Two-tailed it looks at the first half of the deals, which is the whole only where both sides are as many; one-tailed
    # at all.
    dealt.mgr.permute(niter=-1, two_tailed=False)
    largest = np.abs(np.array(dealt.mgr.ZZ)).max(axis=1)
    curves.append({
        "before": a.tolist(), "after": b.tolist(),
        "t": spm.z.tolist(), "df": float(spm.df[1]), "fwhm": float(spm.fwhm), "resels": float(spm.resels[1]),
        "thresholds": thresholds,
        "deals": int(dealt.nPermUnique),
        "largest": sorted(float(v) for v in largest),
        "percentile_95": float(np.percentile(largest, 95)),
    })

gls = []
for sides, places in (("AAAAABBBBB", range(10)), ("AAABBBAAA", (1, 2, 3, 5, 6, 9, 11, 12, 13))):
    n = len(sides)
    y = np.round(smooth(n, 9, 3), 4)
    at = np.array(list(places), dtype=float)
    drift = (at - at[0]) / (at[-1] - at[0]) - 0.5
    v = 0.6 ** np.abs(at[:, None] - at[None, :]) + np.outer(drift, drift)
    x = np.column_stack([np.ones(n), [s == "B" for s in sides]])
    gls.append({"sides": sides, "places": at.tolist(), "curves": y.tolist(),
                "t": [float(sm.GLS(y[:, i], x, sigma=v).fit().tvalues[1]) for i in range(y.shape[1])]})

outliers = []
for n in (5, 8, 13, 40):
    x = np.round(rng.normal(-45, 2, n), 2)
    x[1] += 30
    # Externally Studentised: the value against the others.
    test = sm.OLS(x, np.ones(n)).fit().outlier_test(method="bonferroni")
    outliers.append({"x": x.tolist(), "t": [float(v) for v in np.abs(test[:, 0])],
                     "bonferroni_p": [float(v) for v in test[:, 2]]})

json.dump({"made_by": {"script": "make_block_vectors.py", "python": sys.version.split()[0], "numpy": np.__version__,
                       "scipy": scipy.__version__, "spm1d": spm1d.__version__, "statsmodels": statsmodels.__version__},
           "tables": tables, "large": large, "curves": curves, "gls": gls, "outliers": outliers}, sys.stdout, indent=None)
print()
