"""Makes tests/data/budget_golden.json: specific rotations with their uncertainty, by a general uncertainty library.

Value, standard uncertainty and the contribution of each input come from the package uncertainties (first-order propagation with
automatic derivatives); degrees of freedom and Student's t from the formulae of JCGM 100:2008, annex G, with scipy's quantile; the
simulated intervals of the small samples from numpy with 4 million draws. The equation is written out here a second time. All
inputs are invented.

Run, with uncertainties, numpy and scipy installed: python make_budget_golden.py > ../data/budget_golden.json
"""
import json
import sys

import numpy as np
import uncertainties
from scipy import stats
from uncertainties import correlated_values, ufloat

rng = np.random.default_rng(20)


def mean_of(rows):
    """Mean, standard uncertainty, degrees of freedom of [angle, preparation, filling] rows: the highest repeated level."""
    prepared = {}
    for angle, preparation, filling in rows:
        prepared.setdefault(preparation, {}).setdefault(filling, []).append(angle)
    fillings = [[np.mean(v) for v in p.values()] for p in prepared.values()]
    tops = [np.mean(f) for f in fillings]
    if len(tops) > 1:
        values = tops
    elif len(fillings[0]) > 1:
        values = fillings[0]
    else:
        values = [row[0] for row in rows]
    u = np.std(values, ddof=1) / len(values) ** 0.5 if len(values) > 1 else None
    return float(np.mean(values)), u, len(values) - 1


def equation(case, x):
    get = lambda name, missing: x.get(name, missing)
    alpha = (x["sample"] - get("blank", 0) + get("resolution", 0) + get("instrument", 0) + get("strain", 0)) / (1 + get("scale", 0))
    kind = case["amount"]["kind"]
    c = {"concentration": lambda: x["first"], "molar": lambda: x["first"] * case["amount"]["molar_mass"] / 10,
         "mass": lambda: 100 * x["first"] / x["second"], "fraction": lambda: x["first"] * x["second"],
         "neat": lambda: 100 * x["first"]}[kind]()
    c = c * x["purity"] * (1 - get("residual", 0)) * (1 - get("loss", 0)) * case.get("basis_factor", 1)
    if "filled" in x:
        c = c / (1 + x["expansion"] * (x["temperature"] - x["filled"]))
    result = 100 * alpha / (x["length"] * c)
    if "temperature" in x:
        at = case["temperature"][0]
        if "coefficient" in case:
            at = case.get("stated", at)
            result = result / (1 + get("coefficient", case["coefficient"][0]) * (x["temperature"] - at))
        else:
            result = result / (1 + 0.003 * (x["temperature"] - at))
    return result


def solve(case):
    inputs, freedom = {}, {}
    if "angle" in case:
        inputs["sample"] = case["angle"]
    else:
        m, u, nu = mean_of(case["readings"])
        inputs["sample"], freedom["sample"] = [m, u or 0.0], nu if u is not None else np.inf
    if "blanks" in case:
        m, u, nu = mean_of([[a, "", ""] for a in case["blanks"]])
        inputs["blank"], freedom["blank"] = [m, u or 0.0], nu if u is not None else np.inf
    step = case.get("step", 0) / 12 ** 0.5
    if step and not (freedom.get("sample", np.inf) < np.inf and inputs["sample"][1] >= step):
        inputs["resolution"] = [0, step]
    for name in ["instrument", "scale", "strain"]:
        if name in case:
            inputs[name] = [0, case[name]]
    inputs["length"] = case["length"]
    inputs["first"] = case["amount"]["first"]
    if "second" in case["amount"]:
        inputs["second"] = case["amount"]["second"]
    for name in ["purity", "residual", "loss", "temperature", "filled", "expansion"]:
        if name in case:
            inputs[name] = case[name]
    if "coefficient" in case and case["coefficient"][1] > 0:
        inputs["coefficient"] = case["coefficient"]
    names = list(inputs)
    values = [inputs[n][0] for n in names]
    us = [inputs[n][1] for n in names]
    if "correlation" in case:
        a, b, r = case["correlation"]
        cov = np.diag(np.square(us)).astype(float)
        i, j = names.index(a), names.index(b)
        cov[i, j] = cov[j, i] = r * us[i] * us[j]
        x = dict(zip(names, correlated_values(values, cov)))
        result = equation(case, x)
        parts = None
    else:
        x = {n: ufloat(v, u) for n, v, u in zip(names, values, us)}
        result = equation(case, x)
        found = result.error_components()
        parts = {n: float(found.get(x[n], 0.0)) for n in names}
    # Degrees of freedom from the contributions by central differences are the same: contributions are c_i u_i.
    plain = {n: ufloat(v, u) for n, v, u in zip(names, values, us)}
    single = equation(case, plain).error_components()
    below = sum(single.get(plain[n], 0.0) ** 4 / freedom.get(n, np.inf) for n in names)
    nu = result.s ** 4 / below if below > 0 else np.inf
    k = stats.t.ppf(0.975, nu) if np.isfinite(nu) else stats.norm.ppf(0.975)
    case["expected"] = {"value": float(result.n), "standard_uncertainty": float(result.s), "parts": parts,
                        "degrees_of_freedom": float(nu) if np.isfinite(nu) else None, "expanded95": float(k * result.s)}
    if case.get("simulate"):
        n = 4_000_000
        draw = {}
        for name, v, u in zip(names, values, us):
            nu_i = freedom.get(name, np.inf)
            if name == "resolution":
                draw[name] = v + u * 12 ** 0.5 * (rng.random(n) - 0.5)
            elif np.isfinite(nu_i):
                draw[name] = v + u * rng.standard_t(nu_i, n)
            else:
                draw[name] = v + u * rng.standard_normal(n)
        got = equation(case, draw)
        low, high = np.quantile(got, [0.025, 0.975])
        case["expected"]["simulated95"] = [float(low), float(high)]
        case["expected"]["simulated_over_law"] = float((high - low) / (2 * k * result.s))
    return case


def rows(centre, sd, n, preparation="", filling=""):
    return [[round(float(v), 4), preparation, filling] for v in centre + sd * rng.standard_normal(n)]


cases = []
L1, L05, L2 = [1.0, 0.0005], [0.5, 0.0005], [2.0, 0.001]
P = [1.0, 0.002]
conc = lambda c, u: {"kind": "concentration", "first": [c, u]}
mass = lambda m, um, v, uv: {"kind": "mass", "first": [m, um], "second": [v, uv]}
add = lambda **case: cases.append(case)

# One angle with each kind of amount, both signs, several cells.
add(name="stated c", angle=[-0.482, 0.003], length=L1, amount=conc(1.0, 0.005), purity=P)
add(name="stated c, long cell", angle=[12.345, 0.005], length=L2, amount=conc(4.02, 0.01), purity=P)
add(name="dense solution", angle=[34.62, 0.002], length=L2, amount=conc(26.0, 0.01), purity=[1.0, 0.0001])
add(name="mass in flask", angle=[-0.482, 0.003], length=L1, amount=mass(0.102, 0.0001, 10.0, 0.02), purity=P)
add(name="small mass", angle=[0.0213, 0.0015], length=L05, amount=mass(0.00212, 0.00002, 1.0, 0.005), purity=[0.97, 0.01])
add(name="mol/L", angle=[1.204, 0.003], length=L1, amount={"kind": "molar", "first": [0.1, 0.0004], "molar_mass": 342.297}, purity=P)
add(name="mol/L, short cell", angle=[-0.3, 0.004], length=[0.1, 0.0002],
    amount={"kind": "molar", "first": [0.81, 0.004], "molar_mass": 74.12}, purity=P)
add(name="per cent by mass", angle=[6.65, 0.003], length=L1,
    amount={"kind": "fraction", "first": [9.8, 0.02], "second": [1.0381, 0.0004]}, purity=P)
add(name="neat", angle=[58.4, 0.01], length=L1, amount={"kind": "neat", "first": [0.9608, 0.0005]}, purity=[0.985, 0.004])
add(name="neat, short", angle=[-10.93, 0.003], length=[0.1, 0.0001], amount={"kind": "neat", "first": [0.81, 0.001]}, purity=P)
# Corrections of the substance.
add(name="loss on drying", angle=[-0.9, 0.003], length=L1, amount=mass(0.25, 0.0002, 25.0, 0.02), purity=P, loss=[0.052, 0.001])
add(name="residual solvent", angle=[-0.9, 0.003], length=L1, amount=mass(0.25, 0.0002, 25.0, 0.02), purity=P, residual=[0.031, 0.002])
add(name="both losses", angle=[-0.9, 0.003], length=L1, amount=mass(0.25, 0.0002, 25.0, 0.02), purity=[0.99, 0.003],
    residual=[0.01, 0.001], loss=[0.02, 0.001])
add(name="hydrate to anhydrous", angle=[2.44, 0.003], length=L1, amount=mass(0.5, 0.0002, 10.0, 0.02), purity=P,
    basis_factor=180.156 / 198.171)
add(name="salt to base", angle=[-1.2, 0.003], length=L1, amount=mass(0.2, 0.0002, 10.0, 0.02), purity=[0.995, 0.002],
    basis_factor=2 * 285.343 / 668.76, loss=[0.11, 0.002])
# Temperature and expansion.
add(name="temperature alone", angle=[-2.4, 0.003], length=L1, amount=conc(5.0, 0.02), purity=P, temperature=[20.0, 0.3])
add(name="brought to 20", angle=[-2.4, 0.003], length=L1, amount=conc(5.0, 0.02), purity=P, temperature=[23.4, 0.2], stated=20.0,
    coefficient=[-0.0036, 0.0005])
add(name="coefficient exact", angle=[34.5, 0.002], length=L2, amount=conc(26.0, 0.01), purity=P, temperature=[22.0, 0.1], stated=20.0,
    coefficient=[-0.000184, 0.0])
add(name="flask at 20, read at 27", angle=[-2.4, 0.003], length=L1, amount=mass(0.5, 0.0001, 10.0, 0.01), purity=P,
    temperature=[27.0, 0.3], filled=[20.0, 0.5], expansion=[0.0012, 0.0001])
add(name="warm water, coefficient", angle=[13.2, 0.003], length=L2, amount=mass(2.5, 0.0002, 25.0, 0.015), purity=[0.998, 0.001],
    temperature=[30.0, 0.2], filled=[20.0, 0.3], expansion=[0.00021, 0.00002], stated=20.0, coefficient=[-0.0004, 0.0001])
# Repeated readings.
for n in [2, 3, 5, 6, 10, 30]:
    add(name=f"{n} readings", readings=rows(-0.482, 0.002, n), length=L1, amount=conc(1.0, 0.005), purity=P)
add(name="readings and blank", readings=rows(-0.47, 0.002, 6), blanks=[r[0] for r in rows(0.012, 0.001, 6)], length=L1,
    amount=mass(0.102, 0.0001, 10.0, 0.02), purity=P)
add(name="instrument, scale, strain", readings=rows(12.5, 0.003, 5), blanks=[r[0] for r in rows(-0.004, 0.002, 3)], length=L1,
    amount=conc(10.0, 0.03), purity=P, instrument=0.002, scale=0.0003, strain=0.0015)
add(name="coarse display", readings=[[0.55, "", ""]] * 5, length=L1, amount=conc(1.0, 0.005), purity=P, step=0.05, instrument=0.01)
add(name="fine display", readings=rows(0.55, 0.02, 5), length=L1, amount=conc(1.0, 0.005), purity=P, step=0.001)
add(name="one reading", readings=[[0.553, "", ""]], length=L1, amount=conc(1.0, 0.005), purity=P, step=0.001, instrument=0.003)
add(name="fillings", readings=rows(-3.1, 0.001, 5, "", "a") + rows(-3.104, 0.001, 5, "", "b") + rows(-3.097, 0.001, 5, "", "c"),
    length=L1, amount=conc(5.0, 0.02), purity=P)
add(name="preparations", readings=rows(-3.1, 0.001, 4, "1", "a") + rows(-3.11, 0.001, 4, "1", "b") + rows(-3.12, 0.001, 4, "2", "a")
    + rows(-3.08, 0.001, 2, "3", "a"), blanks=[r[0] for r in rows(0.001, 0.0005, 8)], length=L1, amount=mass(0.5, 0.0002, 10.0, 0.01),
    purity=P, instrument=0.002, scale=0.0002)
add(name="everything", readings=rows(-5.2, 0.002, 8), blanks=[r[0] for r in rows(0.006, 0.001, 8)], length=L2,
    amount={"kind": "fraction", "first": [5.1, 0.01], "second": [1.012, 0.0008]}, purity=[0.991, 0.003], residual=[0.004, 0.001],
    loss=[0.012, 0.0005], basis_factor=0.91, instrument=0.002, scale=0.0003, strain=0.001, step=0.001, temperature=[24.6, 0.2],
    stated=20.0, coefficient=[-0.002, 0.0004], filled=[21.0, 0.5], expansion=[0.0011, 0.0001])
# Correlated inputs.
add(name="mass and volume together", angle=[-0.482, 0.003], length=L1, amount=mass(0.102, 0.0004, 10.0, 0.05), purity=P,
    correlation=["first", "second", 0.6])
add(name="length and concentration against", angle=[4.82, 0.003], length=[1.0, 0.004], amount=conc(10.0, 0.05), purity=P,
    correlation=["length", "first", -0.8])
# Small samples that carry the uncertainty alone, or nearly: equal intervals, or the difference printed here.
exact = {"length": [1.0, 0.0], "amount": conc(1.0, 0.0), "purity": [1.0, 0.0]}
for n in [3, 4, 6, 10]:
    add(name=f"{n} readings alone", readings=rows(-0.482, 0.004, n), simulate=True, **exact)
for n, u in [(3, 0.002), (4, 0.004), (6, 0.003)]:
    add(name=f"{n} readings, blank, concentration", readings=rows(-0.482, 0.004, n), blanks=[r[0] for r in rows(0.0, 0.003, n)],
        length=[1.0, 0.001], amount=conc(1.0, u), purity=[1.0, 0.002], simulate=True)
add(name="normal inputs", angle=[-0.482, 0.003], length=L1, amount=mass(0.102, 0.0004, 10.0, 0.05), purity=P, simulate=True)

json.dump({"made_by": f"uncertainties {uncertainties.__version__}, numpy {np.__version__}", "cases": [solve(c) for c in cases]},
          sys.stdout, indent=1)
print()
