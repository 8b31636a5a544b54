"""Golden values of least-squares fits, made with scipy.optimize.curve_fit. Writes tests/data/fit_golden.json.

Needs numpy and scipy. All data are made up from a seed, except the laws named beside them. Run from the root of the
project: python tests/scripts/make_fit_golden.py
"""

import json

import numpy as np
import scipy
from scipy.optimize import curve_fit

RNG = np.random.default_rng(20240611)


def course(t, end, change, log_rate):
    return end + change * np.exp(-np.exp(log_rate) * t)


def one(x, a, s):
    return a / (x - s)


def two(x, a, s, b, r):
    return a / (x - s) + b / (x - r)


def cubic(e, a, b):
    return a * e + b * e**3


def fitted(law, x, y, u, start):
    p, cov = curve_fit(
        law, x, y, p0=start, sigma=u, absolute_sigma=u is not None, xtol=1e-14, ftol=1e-14, gtol=1e-14, maxfev=100000
    )
    return p, cov


def timecourses():
    out = []
    for n, span, rate, u, stated in [(20, 9000, 2.5e-4, 0.003, False), (40, 20000, 2.5e-4, 0.002, True), (12, 600, 6e-3, 0.01, True)]:
        t = np.sort(RNG.uniform(0, span, n)).round(1)
        y = (course(t, 5.26, 5.96, np.log(rate)) + RNG.normal(0, u, n)).round(4)
        sigma = np.full(n, u) if stated else None
        p, cov = fitted(course, t, y, sigma, [5.0, 6.0, np.log(rate)])
        out.append({
            "time_s": t.tolist(), "angle": y.tolist(), "u": u if stated else None,
            "equilibrium": p[0], "u_equilibrium": cov[0, 0] ** 0.5,
            "initial": p[0] + p[1], "u_initial": (cov[0, 0] + cov[1, 1] + 2 * cov[0, 1]) ** 0.5,
            "rate": float(np.exp(p[2])), "u_relative_rate": cov[2, 2] ** 0.5,
        })
    return out


LINES = [365.01, 404.66, 435.83, 486.13, 546.07, 578.0, 589.3, 632.8, 670.8, 780.0]


def drude():
    """Vacuum wavelengths; the amounts of noise are those of a bench polarimeter at c 1 to 10."""
    out = []
    for law, truth, lines, u, stated in [
        (one, [21.65, 0.0213], LINES, 0.05, True),
        (one, [-9.3, 0.047], LINES[:5], 0.08, True),
        (one, [21.65, 0.0213], LINES, 0.05, False),
        (two, [30.0, 0.06, -12.0, 0.012], LINES, 0.02, True),
        (two, [9.5639, 0.0127493, -2.3113, 0.000974], LINES, 0.002, False),
    ]:
        nm = np.array(lines)
        x = (nm * 1e-3) ** 2
        y = (law(x, *truth) + RNG.normal(0, u, len(x))).round(5)
        sigma = np.full(len(x), u) if stated else None
        p, cov = fitted(law, x, y, sigma, truth)
        chi = float(np.sum(((y - law(x, *p)) / (sigma if stated else 1)) ** 2))
        at = 0.6 ** 2
        def value(q):
            return law(at, *q)
        def ratio(q):
            return law(0.5461 ** 2, *q) / law(0.5893 ** 2, *q)
        def spread(f):
            g = np.array([(f(p + h) - f(p - h)) / (2 * s) for s, h in
                          ((1e-6 * abs(p[i]), np.eye(len(p))[i] * 1e-6 * abs(p[i])) for i in range(len(p)))])
            return float(g @ cov @ g) ** 0.5
        out.append({
            "vacuum_nm": nm.tolist(), "value": y.tolist(), "u": u if stated else None, "terms": len(p) // 2,
            "parameters": p.tolist(), "standard_uncertainties": np.sqrt(np.diag(cov)).tolist(), "chi_square": chi,
            "at_600": float(value(p)), "u_at_600": spread(value),
            "ratio_546_by_589": float(ratio(p)), "u_ratio": spread(ratio),
        })
    return out


def calibration():
    e = np.array([0.0, 0.2, 0.4, 0.5, 0.6, 0.8, 0.9, 1.0])
    out = []
    for a, b, u in [(20.0, -6.0, 0.05), (-35.0, 5.0, 0.1)]:
        y = (cubic(e, a, b) + RNG.normal(0, u, len(e))).round(3)
        p, cov = fitted(cubic, e, y, np.full(len(e), u), [a, b])
        out.append({"ee": e.tolist(), "rotation": y.tolist(), "u": u, "linear": p[0], "cubic": p[1],
                    "u_linear": cov[0, 0] ** 0.5, "u_cubic": cov[1, 1] ** 0.5})
    return out


with open("tests/data/fit_golden.json", "w") as file:
    json.dump({"made_with": f"scipy {scipy.__version__}, numpy {np.__version__}", "timecourses": timecourses(),
               "drude": drude(), "calibration": calibration()}, file, indent=1)
    file.write("\n")
