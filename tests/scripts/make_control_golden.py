#!/usr/bin/env python3
"""Golden values of the control chart of individuals, made with numpy; writes tests/data/control_golden.json.

Limits: ISO 7870-2:2013, individuals and moving range: centre and mean moving range of the first 20 points, sigma = MR / 1.128.
Rules: ISO 8258:1991, figure 3, tests 1 (beyond three sigma), 2 (nine on one side), 3 (six rising or falling) and 5 (two of
three beyond two sigma on one side, the newest among them), each told at the point that completes it.
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
        if i >= 8 and abs(np.sign(z[i - 8 : i + 1]).sum()) == 9:
            found.append([i, "one-side"])
        if i >= 5 and abs(np.sign(np.diff(x[i - 5 : i + 1])).sum()) == 5:
            found.append([i, "trend"])
        if i >= 2:
            for sign in (1, -1):
                if sign * z[i] > 2 and (sign * z[i - 2 : i + 1] > 2).sum() >= 2:
                    found.append([i, "two-of-three"])
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
