"""Writes dependent.json: changes, means and predictions of swings that depend on one another, for tests/dependent.rs.

    python3 -m venv V && V/bin/pip install numpy scipy statsmodels
    V/bin/python make_dependent_vectors.py > dependent.json

The model is written out with full matrices (analysis/src/stats/dependent.rs has none) and scipy's t. Where one correlation
is given and there is no drift, statsmodels' generalised least squares is asked as well, and where that correlation is 0
scipy's t test of two samples. Adjusted p values are by statsmodels' multipletests.
"""

import json
import sys

import numpy as np
import scipy
import statsmodels
import statsmodels.api as sm
from scipy import optimize, stats
from statsmodels.stats.multitest import multipletests

rng = np.random.default_rng(20261130)
GRID = [0.075 * i for i in range(13)]


def correlated(places, r):
    lag = np.abs(np.subtract.outer(places, places))
    return np.where(lag == 0, 1.0, float(r) ** lag)


def model(y, places, columns, grid, drift):
    """For each correlation: log weight, coefficients, their unscaled covariance, variance of a swing, V, x."""
    y, places = np.asarray(y, float), np.asarray(places, float)
    x = (places - places[0]) / (places[-1] - places[0]) - 0.5
    out = []
    for r in grid:
        v = correlated(places, r) + drift**2 * np.outer(x, x)
        inverse = np.linalg.inv(v)
        gram = columns.T @ inverse @ columns
        beta = np.linalg.solve(gram, columns.T @ inverse @ y)
        left = y - columns @ beta
        df = len(y) - columns.shape[1]
        squares = left @ inverse @ left
        log = -0.5 * np.linalg.slogdet(v)[1] - 0.5 * np.linalg.slogdet(gram)[1] - df / 2 * np.log(squares)
        projection = inverse - inverse @ columns @ np.linalg.inv(gram) @ columns.T @ inverse
        slope = drift**2 * x @ projection @ y
        slope_var = squares / df * (drift**2 - drift**4 * x @ projection @ x)
        out.append((log, beta, np.linalg.inv(gram), squares / df, df, slope, slope_var))
    log = np.array([o[0] for o in out])
    weight = np.exp(log - log.max())
    return weight / weight.sum(), out


def mixture(weight, centre, scale, df):
    cdf = lambda at: float((weight * stats.t.cdf((at - centre) / scale, df)).sum())
    wide = 200 * scale.max()
    quantile = lambda p: optimize.brentq(lambda at: cdf(at) - p, centre.min() - wide, centre.max() + wide, xtol=1e-12)
    return cdf, quantile


def change(y, places, after, grid, drift, widen):
    columns = np.c_[np.ones(len(y)), np.asarray(after, float)]
    weight, out = model(y, places, columns, grid, drift)
    centre = np.array([o[1][1] for o in out])
    scale = np.array([widen * np.sqrt(o[3] * o[2][1, 1]) for o in out])
    cdf, quantile = mixture(weight, centre, scale, out[0][4])
    slopes, slope_vars = np.array([o[5] for o in out]), np.array([o[6] for o in out])
    slope = (weight * slopes).sum()
    return {
        "y": y, "places": places, "after": after, "grid": grid, "drift": drift, "widen": widen,
        "median": quantile(0.5), "low": quantile(0.025), "high": quantile(0.975),
        "p": 2 * min(cdf(0.0), 1 - cdf(0.0)),
        "correlation": float((weight * np.array(grid)).sum()),
        "slope": float(slope),
        "slope_sd": float(np.sqrt((weight * (slope_vars + (slopes - slope) ** 2)).sum())),
    }


def level(y, places, at):
    columns = np.ones((len(y), 1))
    weight, out = model(y, places, columns, GRID, 0.75)
    # Of the next swing strong correlations are thought less likely.
    likely = weight * np.exp(-0.5 * (np.array(GRID) / 0.35) ** 2)
    likely /= likely.sum()
    n = len(y)

    def contrast(c, where):
        where = np.asarray(where, float)
        x = (where - where[0]) / (where[-1] - where[0]) - 0.5
        return np.array([
            1.12 * np.sqrt(o[3] * (c @ correlated(where, r) @ c + (0.75 * (c @ x)) ** 2)) for r, o in zip(GRID, out)
        ])

    centre = np.full(len(GRID), np.mean(y))
    mean = mixture(weight, centre, contrast(np.full(n, 1 / n), places), n - 1)[1]
    even = np.full(n, 1 / n)
    at_places = np.asarray(places, float)
    along = even @ ((at_places - at_places[0]) / (at_places[-1] - at_places[0]) - 0.5)
    variance = sum(
        w * o[3] * (even @ correlated(at_places, r) @ even + (0.75 * along) ** 2) for w, o, r in zip(likely, out, GRID)
    )
    later = mixture(likely, centre, contrast(np.r_[np.full(n, -1 / n), 1.0], list(places) + [at]), n - 1)[1]
    return {
        "y": y, "places": places, "at": at, "mean_high": mean(0.975), "next_high": later(0.975),
        "likely_variance": float(variance),
        "correlation": float((weight * np.array(GRID)).sum()),
    }


def series(n, r, size, places=None):
    places = list(range(1, n + 1)) if places is None else places
    y = np.linalg.cholesky(correlated(np.array(places, float), r)) @ rng.standard_normal(n)
    return [round(float(v), 3) for v in 40 + size * y], [float(p) for p in places]


changes = []
for n, sides in [(16, [0] * 8 + [1] * 8), (20, [0] * 6 + [1] * 8 + [0] * 6), (20, ([0] * 4 + [1] * 4) * 2 + [0] * 4), (5, [0, 0, 0, 1, 1])]:
    for r in (0.0, 0.5):
        y, places = series(n, r, 2.5)
        y = [round(v + 4 * s, 3) for v, s in zip(y, sides)]
        changes.append(change(y, places, sides, GRID, 0.75, 1.12))
y, places = series(14, 0.3, 1.0, [1, 2, 3, 5, 6, 7, 8, 25, 26, 28, 29, 30, 31, 32])
changes.append(change(y, places, [0] * 7 + [1] * 7, GRID, 0.75, 1.12))

fixed = []
for r in (0.0, 0.4, 0.8):
    y, places = series(16, r, 2.0)
    after = [0] * 8 + [1] * 8
    got = change(y, places, after, [r], 0.0, 1.0)
    columns = np.c_[np.ones(16), after]
    fit = sm.GLS(np.array(y), columns, sigma=correlated(np.array(places), r)).fit()
    low, high = fit.conf_int(0.05)[1]
    assert np.allclose([got["median"], got["low"], got["high"], got["p"]], [fit.params[1], low, high, fit.pvalues[1]], rtol=1e-6)
    got.update(median=float(fit.params[1]), low=float(low), high=float(high), p=float(fit.pvalues[1]))
    if r == 0:
        assert np.isclose(got["p"], stats.ttest_ind(y[:8], y[8:]).pvalue, rtol=1e-10)
    fixed.append(got)

levels = []
for n, r in [(8, 0.0), (20, 0.6), (2, 0.0)]:
    y, places = series(n, r, 3.0)
    levels.append(level(y, places, places[-1] + 7))

adjusted = []
for m in (1, 5, 12):
    p = [round(float(v), 6) for v in rng.uniform(0, 0.2, m)]
    adjusted.append({
        "p": p,
        "holm": multipletests(p, method="holm")[1].tolist(),
        "false_discovery": multipletests(p, method="fdr_bh")[1].tolist(),
    })

json.dump(
    {
        "made_by": {
            "script": "make_dependent_vectors.py", "python": sys.version.split()[0], "numpy": np.__version__,
            "scipy": scipy.__version__, "statsmodels": statsmodels.__version__,
        },
        "changes": changes, "fixed": fixed, "levels": levels, "adjusted": adjusted,
    },
    sys.stdout, indent=1,
)
print()
