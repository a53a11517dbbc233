"""Writes scipy.json: Student's, Wilson's and line values for tests/stats.rs.

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
lines = []
for n, b, s in ((3, 0.1, 1), (5, -0.03, 2), (12, 0.0, 4)):
    x = sorted(round(float(v), 2) for v in rng.uniform(0, 200, n))
    y = [round(-40 + b * v + float(e), 3) for v, e in zip(x, rng.normal(0, s, n))]
    r = stats.linregress(x, y)
    lines.append({"x": x, "y": y, "slope": float(r.slope), "intercept": float(r.intercept),
                  "se": float(r.stderr), "p": float(r.pvalue),
                  "half": float(stats.t.ppf(0.975, n - 2) * r.stderr)})
wilson = []
for k, n in ((0, 5), (1, 12), (7, 12), (11, 11), (50, 200)):
    ci = stats.binomtest(k, n).proportion_ci(0.95, method="wilson")
    wilson.append({"count": k, "n": n, "low": float(ci.low), "high": float(ci.high)})

json.dump(
    {
        "made_by": {"script": "make_vectors.py", "python": sys.version.split()[0],
                    "numpy": np.__version__, "scipy": scipy.__version__},
        "quantiles": quantiles, "tails": tails, "means": means, "wilson": wilson,
        "lines": lines,
    },
    sys.stdout, indent=1,
)
print()
