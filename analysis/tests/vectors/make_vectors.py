"""Writes scipy.json: Student, Welch and Wilson values for tests/stats.rs.

    python3 -m venv V && V/bin/pip install numpy scipy
    V/bin/python make_vectors.py > scipy.json
"""

import json
import sys

import numpy as np
import scipy
from scipy import stats

rng = np.random.default_rng(20260101)


def values(n, mean, sd):
    return [round(float(v), 3) for v in rng.normal(mean, sd, n)]


quantiles = [
    {"p": p, "df": df, "t": float(stats.t.ppf(p, df))}
    for p in (0.6, 0.95, 0.975, 0.995, 0.9995)
    for df in (1, 1.7, 2, 5, 11, 19.46, 30, 200, 5000)
]
tails = [
    {"t": t, "df": df, "p": float(2 * stats.t.sf(abs(t), df))}
    for t in (0.0, 0.3, -1.5, 2.2, 4.2, -9.0, 25.0)
    for df in (1, 3.3, 10, 20.5, 60)
]
means = []
for n, m, s in ((2, 5, 1), (5, 18, 5), (12, -45, 3), (40, 980, 45)):
    x = values(n, m, s)
    low, high = stats.t.interval(0.95, n - 1, loc=np.mean(x), scale=stats.sem(x))
    means.append({"x": x, "mean": float(np.mean(x)), "sd": float(np.std(x, ddof=1)),
                  "low": float(low), "high": float(high)})
welch = []
for a, b in (((12, 18, 5), (11, 26, 5)), ((2, 3, 1), (9, 3, 4)), ((7, -45, 3), (30, -44, 9)),
             ((15, 480, 20), (15, 480, 20))):
    x, y = values(*a), values(*b)
    r = stats.ttest_ind(y, x, equal_var=False)
    ci = r.confidence_interval(0.95)
    welch.append({"before": x, "after": y, "t": float(r.statistic), "df": float(r.df),
                  "p": float(r.pvalue), "low": float(ci.low), "high": float(ci.high)})
# The t distribution of one further value: scale SD * sqrt(1 + 1/n) (Hahn 1969).
further = []
for n, m, s in ((2, 5, 1), (5, 18, 5), (8, -35, 2), (12, -45, 3), (40, 980, 45)):
    x = values(n, m, s)
    low, high = stats.t.interval(0.95, n - 1, loc=np.mean(x), scale=np.std(x, ddof=1) * np.sqrt(1 + 1 / n))
    further.append({"x": x, "low": float(low), "high": float(high)})
wilson = []
for k, n in ((0, 5), (1, 12), (7, 12), (11, 11), (50, 200)):
    ci = stats.binomtest(k, n).proportion_ci(0.95, method="wilson")
    wilson.append({"count": k, "n": n, "low": float(ci.low), "high": float(ci.high)})

json.dump(
    {
        "made_by": {"script": "make_vectors.py", "python": sys.version.split()[0],
                    "numpy": np.__version__, "scipy": scipy.__version__},
        "quantiles": quantiles, "tails": tails, "means": means, "welch": welch, "wilson": wilson, "further": further,
    },
    sys.stdout, indent=1,
)
print()
