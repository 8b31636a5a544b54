"""Makes tests/data/meta_golden.json: estimates of the spread between sources, by a general statistics library.

DerSimonian-Laird and Paule-Mandel come from statsmodels.stats.meta_analysis.combine_effects. statsmodels lets the former go
below zero; here it is cut at zero and the fixed-effect mean and standard error of the same call are taken. Restricted
maximum likelihood has no function there: every root of the score equation is found by scipy.optimize.brentq between the
points of a dense scan, and the one of the highest restricted likelihood is taken (zero counts too).

Run, with statsmodels and scipy installed: python make_estimator_golden.py > ../data/meta_golden.json
"""
import json
import sys

import numpy as np
import scipy
import statsmodels
from scipy.optimize import brentq
from statsmodels.stats.meta_analysis import combine_effects, effectsize_2proportions

# Colditz et al., JAMA 271 (1994) 698: thirteen trials of the BCG vaccine, as printed in van Houwelingen, Arends and Stijnen,
# Statist. Med. 21 (2002) 589, table I: vaccinated with and without tuberculosis, not vaccinated with and without.
BCG = np.array([
    [4, 119, 11, 128], [6, 300, 29, 274], [3, 228, 11, 209], [62, 13536, 248, 12619], [33, 5036, 47, 5761],
    [180, 1361, 372, 1079], [8, 2537, 10, 619], [505, 87886, 499, 87892], [29, 7470, 45, 7232], [17, 1699, 65, 1600],
    [186, 50448, 141, 27197], [5, 2493, 3, 2338], [27, 16886, 29, 17825]])


def restricted(y, v, tau2):
    w = 1 / (v + tau2)
    mu = (w * y).sum() / w.sum()
    return -0.5 * (np.log(v + tau2).sum() + np.log(w.sum()) + (w * (y - mu) ** 2).sum())


def score(y, v, tau2):
    w = 1 / (v + tau2)
    mu = (w * y).sum() / w.sum()
    return -0.5 * (w.sum() - (w ** 2).sum() / w.sum() - (w ** 2 * (y - mu) ** 2).sum())


def at(y, v, tau2):
    w = 1 / (v + tau2)
    return {"tau2": float(tau2), "mean": float((w * y).sum() / w.sum()), "se": float(w.sum() ** -0.5)}


def reml(y, v):
    top = 10 * (((y - y.mean()) ** 2).sum() + v.sum())
    grid = np.concatenate([[0.0], np.geomspace(1e-12 * top, top, 4000)])
    slopes = [score(y, v, t) for t in grid]
    candidates = [0.0]
    for low, high, a, b in zip(grid, grid[1:], slopes, slopes[1:]):
        if a > 0 >= b:
            candidates.append(brentq(lambda t: score(y, v, t), low, high, xtol=1e-15 * top, rtol=1e-14))
    best = max(candidates, key=lambda t: restricted(y, v, t))
    return at(y, v, best) | {"maxima": len([t for t in candidates if t > 0])}


def estimates(y, v):
    dl = combine_effects(y, v, method_re="dl")
    if dl.tau2 > 0:
        first = {"tau2": float(dl.tau2), "mean": float(dl.mean_effect_re), "se": float(dl.sd_eff_w_re)}
    else:
        first = {"tau2": 0.0, "mean": float(dl.mean_effect_fe), "se": float(dl.sd_eff_w_fe)}
    pm = combine_effects(y, v, method_re="pm", atol=1e-11, maxiter=10000)
    second = {"tau2": float(pm.tau2), "mean": float(pm.mean_effect_re), "se": float(pm.sd_eff_w_re)}
    return {"dersimonian-laird": first, "paule-mandel": second, "restricted-maximum-likelihood": reml(y, v)}


def main():
    yi, vi = effectsize_2proportions(BCG[:, 0], BCG[:, 0] + BCG[:, 1], BCG[:, 2], BCG[:, 2] + BCG[:, 3],
                                     statistic="risk-ratio")
    made_up = "made up for this test"
    sets = [
        ("bcg log risk ratios", "Colditz et al., JAMA 271 (1994) 698", yi, vi),
        ("kacker", "R. N. Kacker, Metrologia 41 (2004) 132, as in the tests of statsmodels",
         [61.0, 61.4, 62.21, 62.3, 62.34, 62.6, 62.7, 62.84, 65.9],
         [0.2025, 1.21, 0.09, 0.2025, 0.3844, 0.5625, 0.0676, 0.0225, 1.8225]),
        ("no spread", made_up + ": Q is far below k - 1", [-49.1, -49.0, -49.2, -49.1], [1.0, 1.0, 2.0, 0.5]),
        ("barely no spread", made_up + ": Q is just below k - 1", [10.0, 11.0, 12.0, 13.0], [1.7, 1.7, 1.7, 1.7]),
        ("two far apart", made_up, [50.0, 54.0], [0.25, 1.0]),
        ("two alike", made_up, [50.0, 50.1], [0.25, 1.0]),
        ("wildly different variances", made_up, [20.0, 21.5, 19.0, 35.0, -12.0], [1e-6, 1e-2, 1.0, 1e2, 1e4]),
        ("one sharp among blunt", made_up, [100.0, 104.0, 97.0, 110.0, 95.0, 101.0], [1e-4, 25.0, 30.0, 40.0, 50.0, 9.0]),
        ("two maxima of the restricted likelihood", made_up + ": two sharp values close together, others far off",
         [0.0, 0.2, 6.0, -6.0, 7.0], [0.001, 0.001, 4.0, 4.0, 4.0]),
    ]
    out = {
        "made_by": "tests/scripts/make_estimator_golden.py",
        "versions": {"statsmodels": statsmodels.__version__, "scipy": scipy.__version__, "numpy": np.__version__},
        "sets": [],
    }
    for name, source, y, v in sets:
        y, v = np.asarray(y, float), np.asarray(v, float)
        out["sets"].append({"name": name, "source": source, "values": y.tolist(), "variances": v.tolist(),
                            "estimates": estimates(y, v)})
    json.dump(out, sys.stdout, indent=1)
    print()


main()
