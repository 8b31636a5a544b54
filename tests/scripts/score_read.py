#!/usr/bin/env python3
"""Scores a reader of rotation statements against labelled strings.

    score_read.py [-v] LABELS.jsonl COMMAND [ARGUMENT...]

COMMAND reads one text a line on its standard input and prints one JSON object a line:
{"line": n, "statements": [{...}, ...]}. Line ends within a text are given to it as blanks.

A statement is right when value (or low and high), sign, temperature, wavelength and solvent all are as labelled.
Statements are aligned in order so that most values agree.
"""

import json
import subprocess
import sys

VALUE = ("value", "low", "high")
SIGN = ("sign_stated", "sign_ambiguous")
TEMPERATURE = ("temperature_c", "temperature_low", "temperature_high", "temperature_note")
LIGHT = ("wavelength_nm", "line")
OTHER = ("kind", "plus_minus", "approx", "conc", "conc_low", "conc_high", "conc_unit", "path_mm", "basis", "stage",
         "ee_percent", "role", "form", "enantiomer_note", "time_note")
GROUPS = {"value": VALUE, "sign": SIGN, "temperature": TEMPERATURE, "light": LIGHT, "solvent": ("solvent",)}


def same(a, b):
    if isinstance(a, bool) or isinstance(b, bool):
        return a == b
    if isinstance(a, (int, float)) and isinstance(b, (int, float)):
        return abs(a - b) <= 1e-6 * max(1.0, abs(a))
    return a == b


def agrees(label, read, keys):
    return all(same(label.get(key), read.get(key)) for key in keys)


def field_agrees(label, read, key):
    if key == "conc_unit" and (label.get("conc_unit_printed") is False or read.get("conc_unit_printed") is False):
        return ("conc_unit" in label) == ("conc_unit" in read)
    if key in ("form", "enantiomer_note", "time_note"):
        a, b = (str(x.get(key) or "").lower().replace(" ", "") for x in (label, read))
        return a == b or (a != "" and b != "" and (a in b or b in a))
    return same(label.get(key), read.get(key))


def align(labels, reads):
    """Pairs (label or None, read or None) in order, most agreeing values first, then fewest leftovers."""
    n, m = len(labels), len(reads)
    best = [[None] * (m + 1) for _ in range(n + 1)]
    best[n][m] = (0, [])
    for i in range(n, -1, -1):
        for j in range(m, -1, -1):
            options = []
            if i < n and j < m:
                gain = sum(agrees(labels[i], reads[j], keys) for keys in GROUPS.values()) + 10 * agrees(
                    labels[i], reads[j], VALUE) + 0.5
                options.append((best[i + 1][j + 1][0] + gain, [(labels[i], reads[j])] + best[i + 1][j + 1][1]))
            if i < n:
                options.append((best[i + 1][j][0], [(labels[i], None)] + best[i + 1][j][1]))
            if j < m:
                options.append((best[i][j + 1][0], [(None, reads[j])] + best[i][j + 1][1]))
            if options:
                best[i][j] = max(options, key=lambda option: option[0])
    return best[0][0][1]


def main():
    arguments = sys.argv[1:]
    verbose = "-v" in arguments
    arguments = [a for a in arguments if a != "-v"]
    items = [json.loads(line) for line in open(arguments[0], encoding="utf-8")]
    lines = "".join(" ".join(item["text"].splitlines()) + "\n" for item in items)
    run = subprocess.run(arguments[1:], input=lines.encode(), stdout=subprocess.PIPE, check=True)
    answers = [json.loads(line) for line in run.stdout.decode().splitlines()]
    assert len(answers) == len(items), f"{len(items)} lines in, {len(answers)} out"
    total = right = missed = extra = silent = distractor_hits = distractors = 0
    clean = clean_doubted = suspects = suspects_doubted = 0
    fields = {name: 0 for name in list(GROUPS) + list(OTHER)}
    paired = 0
    for n, (item, answer) in enumerate(zip(items, answers)):
        assert answer["line"] == n + 1
        reads = answer["statements"]
        problems = []
        if item.get("distractor"):
            distractors += 1
            if reads:
                distractor_hits += 1
                problems.append(("DISTRACTOR", None, reads))
        for label, read in align(item["rotations"], reads):
            if label is None:
                extra += 1
                if not read["doubts"] and not item.get("distractor"):
                    silent += 1
                problems.append(("EXTRA" + ("" if read["doubts"] else " SILENT"), None, read))
                continue
            total += 1
            if "suspect" in label:
                suspects += 1
                suspects_doubted += bool(read and read["doubts"])
            if read is None:
                missed += 1
                problems.append(("MISSED", label, None))
                continue
            paired += 1
            wrong = [name for name, keys in GROUPS.items() if not agrees(label, read, keys)]
            for name, keys in GROUPS.items():
                fields[name] += name not in wrong
            loose = [key for key in OTHER if not field_agrees(label, read, key)]
            for key in OTHER:
                fields[key] += key not in loose
            if wrong:
                if ("value" in wrong or "sign" in wrong) and not read["doubts"]:
                    silent += 1
                    problems.append(("WRONG SILENT " + ",".join(wrong), label, read))
                else:
                    problems.append(("WRONG " + ",".join(wrong), label, read))
            else:
                right += 1
                if "suspect" not in label:
                    clean += 1
                    if read["doubts"]:
                        clean_doubted += 1
                        problems.append(("DOUBT", None, read["doubts"]))
                if "suspect" in label and not read["doubts"]:
                    problems.append(("SUSPECT NOT DOUBTED", label["suspect"], None))
                if loose and verbose:
                    problems.append(("(" + ",".join(loose) + ")", {k: label.get(k) for k in loose}, {k: read.get(k) for k in loose}))
        if problems:
            print(item["id"], item["text"][:300].replace("\n", " "))
            for name, label, read in problems:
                print("    ", name)
                if label is not None:
                    print("         label", json.dumps(label, ensure_ascii=False))
                if read is not None:
                    print("         read ", json.dumps(read, ensure_ascii=False))
    print(f"statements {total}: right {right} ({100 * right / max(total, 1):.2f} %), missed {missed}, extra {extra}")
    print(f"wrong in value or sign, or extra, without a doubt: {silent}")
    print(f"distractors {distractors}: with a statement {distractor_hits}")
    print(f"right and unsuspicious {clean}: doubted {clean_doubted} ({100 * clean_doubted / max(clean, 1):.1f} %)")
    print(f"suspect labels {suspects}: doubted {suspects_doubted}")
    print("fields of paired statements:", ", ".join(
        f"{name} {100 * count / max(paired, 1):.1f} %" for name, count in fields.items()))


main()
