#!/usr/bin/env python3
"""Golden values of the control chart of individuals, made with numpy; writes tests/data/control_golden.json.

Limits: ISO 7870-2:2013, individuals and moving range: centre and mean moving range of the first 20 points, sigma = MR / 1.128.
Rules: Western Electric, Statistical Quality Control Handbook (1956), as told in Montgomery and Runger, Applied Statistics and
Probability for Engineers, 16-5: beyond three sigma; two of three beyond two and four of five beyond one sigma on one side,
the newest among them; eight in a row on one side; each told at the point that completes it. Below 20 points only the first.
"""
import json
import pathlib

import numpy as np

D2 = 1.128


def alarms(x, centre, sigma):
    z = (x - centre) / sigma
    found = []
    for i in range(len(x)):
        if abs(z[i]) > 3:
            found.append([i, "beyond-limits"])
        if len(x) < 20:
            continue
        for name, needed, window, bound in [("two-of-three", 2, 3, 2), ("four-of-five", 4, 5, 1), ("one-side", 8, 8, 0)]:
            last = z[max(0, i - window + 1) : i + 1]
            for sign in (1, -1):
                if sign * z[i] > bound and (sign * last > bound).sum() >= needed:
                    found.append([i, name])
    return found


rng = np.random.default_rng(1815)
series = []
for name, length, change in [
    ("calm", 40, lambda i: 0.0),
    ("few points", 8, lambda i: 0.0),
    ("shift of 2 sigma", 40, lambda i: 0.004 * (i >= 25)),
    ("shift of 4 sigma down", 30, lambda i: -0.008 * (i >= 24)),
    ("drift", 45, lambda i: 0.0008 * max(0, i - 20)),
    ("one slip", 30, lambda i: 0.02 * (i == 27)),
    ("steep drift", 28, lambda i: 0.004 * max(0, i - 20)),
]:
    x = np.array([round(rng.normal(0.001, 0.002) + change(i), 5) for i in range(length)])
    base = x[:20]
    centre = float(base.mean())
    sigma = float(np.abs(np.diff(base)).mean() / D2)
    series.append({
        "name": name, "differences": x.tolist(), "centre": centre, "sigma": sigma,
        "alarms": alarms(x, centre, sigma),
    })
out = pathlib.Path(__file__).parent.parent / "data" / "control_golden.json"
out.write_text(json.dumps(series, indent=1) + "\n")
print(out, [(s["name"], len(s["alarms"])) for s in series])
