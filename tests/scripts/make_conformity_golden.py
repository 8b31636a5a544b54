"""Prints the golden values of src/compare/limits/tests.rs: probabilities of conformity and acceptance limits by scipy.

Run with a Python that has scipy; the output is pasted into the tests.
"""
from scipy.optimize import brentq
from scipy.stats import linregress, norm, t

# value, u, df (None: normal), low, high (None: open)
CASES = [
    (66.5, 0.25, None, 66.3, 67.0),
    (66.1, 0.25, None, 66.3, 67.0),
    (20.4, 0.5, 3, 20.0, None),
    (-34.0, 0.8, 9, -35.5, -33.0),
    (0.03, 0.02, None, -0.05, 0.05),
    (103.0, 4.0, 2, None, 105.0),
]


def probability(y, u, df, low, high):
    dist = norm if df is None else t(df)
    upper = 1.0 if high is None else dist.cdf((high - y) / u)
    lower = 0.0 if low is None else dist.cdf((low - y) / u)
    return upper - lower


for case in CASES:
    print(case, f"{probability(*case):.9f}")

# Acceptance limits at a probability of conformity of 95 %: 171 to 179, u 1; one-sided 20, u 0.3.
two = brentq(lambda y: probability(y, 1.0, None, 171, 179) - 0.95, 170, 175)
one = brentq(lambda y: probability(y, 0.3, None, 20, None) - 0.95, 19, 25)
print("acceptance", f"{two:.9f}", f"{one:.9f}")

line = linregress(range(6), [53.0, 52.9, 53.1, 52.8, 52.7, 52.6])
half = t(4).ppf(0.975) * line.stderr
print("slope", f"{line.slope:.9f}", f"{line.stderr:.9f}", f"{line.slope - half:.9f}", f"{line.slope + half:.9f}")
