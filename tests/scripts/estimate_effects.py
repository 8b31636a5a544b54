#!/usr/bin/env python3
"""Estimate how much a difference in one condition moves a specific rotation, from pairs of starter entries.

usage: estimate_effects.py data/starter/starter_entries.csv data/starter/multi_source_values.csv data/starter/compounds.csv data/solvents.csv [tests/data/effects_golden.json]

With a fifth argument the entries taken and the figures found are written there too; tests/it/selfcheck.rs holds the
program's own estimates against them.

A pair is two entries of one compound that differ in one aspect only (a condition missing on both sides counts as equal,
missing on one side as the aspect `unknown`). Relative difference: (a - b) / sqrt(|a b|). One vote a compound: the median of
its pairs. Robust standard deviation of a single value's shift: 1.4826 * median(|difference|). Entries marked suspect, or
of unclear identity, are left out; so are pairs more than a factor of five apart or of opposite sign, which are gross
errors or changes of sign and are counted apart. Printed with the number of compounds and pairs.
"""
import csv
import itertools
import json
import math
import re
import statistics
import sys

# Solutions of an acid, a base or a buffer, and neat organic acids: an ionisable solute is another species there.
ACID_OR_BASE = re.compile(r"HCl|H2SO4|NaOH|KOH|NH3|AcOH|TFA|formic|pH|acidic")

starter, multi, compounds, solvents = ([r for r in csv.DictReader(open(p, encoding="utf8"))] for p in sys.argv[1:5])
key_of = {c["compound"]: c["inchikey"] or c["compound"] for c in compounds}
class_of = {s["id"]: s.get("class") or s.get("kin_class") or "" for s in solvents}


def entry(r, key, source):
    if r["kind"] != "specific" or not r["value"] or r.get("suspect") or r["identity"] == "unclear":
        return None
    if r.get("stage") == "initial" or r.get("ee_percent"):
        return None
    number = lambda t: float(t) if t else None
    return {
        "key": key,
        "value": float(r["value"]),
        "temperature": number(r["temperature_c"]),
        "line": number(r["wavelength_nm"]),
        "solvent": r["solvent"] or None,
        "concentration": number(r["conc"]) if r.get("conc_unit") in ("g/100mL", "%") else None,
        "source": source,
    }


entries = [entry(r, key_of[r["compound"]], "compilation") for r in starter]
entries += [entry(r, r["inchikey"] or r["name"], r["citation"]) for r in multi]
entries = [e for e in entries if e]
by_key = {}
for e in entries:
    by_key.setdefault(e["key"], []).append(e)

found = {}
gross = {}
for key, group in by_key.items():
    for a, b in itertools.combinations(group, 2):
        differing = []
        if a["line"] != b["line"]:
            differing.append("line unknown" if None in (a["line"], b["line"]) else "line")
        if a["temperature"] != b["temperature"]:
            differing.append("temperature unknown" if None in (a["temperature"], b["temperature"]) else "temperature")
        if a["concentration"] != b["concentration"]:
            differing.append(
                "concentration unknown" if None in (a["concentration"], b["concentration"]) else "concentration"
            )
        if a["solvent"] != b["solvent"]:
            if None in (a["solvent"], b["solvent"]):
                acid = any(e["solvent"] and ACID_OR_BASE.search(e["solvent"]) for e in (a, b))
                differing.append("solvent ionising, one missing" if acid else "solvent unknown")
            else:
                x, y = class_of.get(a["solvent"]), class_of.get(b["solvent"])
                aqueous = [bool(ACID_OR_BASE.search(e["solvent"])) for e in (a, b)]
                if any(aqueous):
                    differing.append("solvent ionising")
                else:
                    differing.append("solvent kindred" if x and x == y else "solvent other")
        if a["source"] != b["source"] and not differing:
            differing.append("source")
        # A second aspect may differ a little: within 5 K or a factor of three it does not count against the first.
        small = {"temperature", "concentration", "temperature unknown", "concentration unknown"}
        main = [d for d in differing if d not in small] or differing
        if len(main) != 1 or a["value"] * b["value"] == 0 or (a["value"] == b["value"] and a["source"] != b["source"]):
            continue
        case = main[0]
        if case in small and len(differing) > 1:
            continue
        size = math.sqrt(abs(a["value"] * b["value"]))
        difference = (a["value"] - b["value"]) / size
        per = 1.0
        if case == "temperature":
            per = abs(a["temperature"] - b["temperature"])
        if case == "concentration":
            per = abs(math.log(a["concentration"] / b["concentration"]))
        if a["value"] * b["value"] < 0 or abs(math.log(abs(a["value"] / b["value"]))) > math.log(5):
            gross.setdefault(case, []).append(key)
            continue
        found.setdefault(case, {}).setdefault(key, []).append(abs(difference) / per)

for case in sorted(found):
    votes = [statistics.median(v) for v in found[case].values()]
    pairs = sum(len(v) for v in found[case].values())
    print(
        f"{case:30s} compounds {len(votes):3d} pairs {pairs:4d} robust sd {1.4826 * statistics.median(votes):.4f} "
        f"90 % point {sorted(votes)[int(0.9 * (len(votes) - 1))]:.4f} left out (sign or x5) {len(gross.get(case, []))}"
    )

if len(sys.argv) > 5:
    # The program has one row for solvents of which one is an acid, a base or a buffer, printed or not on the other side.
    rows = {}
    for case in set(found) | set(gross):
        row = "solvent ionising" if case == "solvent ionising, one missing" else case
        votes = rows.setdefault(row, {"pairs": 0, "left_out": 0, "by_compound": {}})
        votes["left_out"] += len(gross.get(case, []))
        for key, differences in found.get(case, {}).items():
            votes["pairs"] += len(differences)
            votes["by_compound"].setdefault(key, []).extend(differences)
    golden = {}
    for row, votes in sorted(rows.items()):
        medians = [statistics.median(v) for v in votes["by_compound"].values()]
        golden[row] = {
            "compounds": len(medians),
            "pairs": votes["pairs"],
            "left_out": votes["left_out"],
            "robust_sd": statistics.NormalDist().inv_cdf(0.75) ** -1 * statistics.median(medians) if medians else None,
        }
    with open(sys.argv[5], "w", encoding="utf8") as out:
        out.write('{"entries": [\n')
        out.write(",\n".join(json.dumps(e, ensure_ascii=False) for e in entries))
        out.write('\n],\n"effects": ' + json.dumps(golden, indent=1) + "}\n")
