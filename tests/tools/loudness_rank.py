#!/usr/bin/env python3
"""How well the level that is told of each note agrees with how hard it was played.

  loudness_rank.py --truth DIR/truth --reports DIR [--loud 6] [--soft 6] [--db-per-velocity 11]

Reads made takes whose truth holds the `velocity` of each plucked note and reports of `seamline score --json`. Notes
are paired by index and onset (40 ms). Told:
 rank      Spearman's rank correlation of `level_db` with velocity within each take; median and worst by instrument
           and by kind, over takes of 8 pairs and more; and the same of `loudness_db`, before string and register
           are taken off
 false     notes that would be called loud or soft at these marks (the doubt taken off) whose velocity lies less than
           half the mark from the take's middle, per 100 notes; and of notes that lie a mark and more off, the share found
 within    share of the differences between told and true level (velocity times what a unit of it is worth) within
           1.645 stated standard deviations; to be 0.87 to 0.93
 passes    of takes of several passes: rank correlation of the told spread of a pass with that of its velocities
Slurred, dead and missed notes have no pluck and are left out.
"""
import argparse
import json
import math
from collections import defaultdict
from pathlib import Path
from statistics import median


def ranks(values):
    order = sorted(range(len(values)), key=lambda i: values[i])
    out = [0.0] * len(values)
    i = 0
    while i < len(order):
        j = i
        while j + 1 < len(order) and values[order[j + 1]] == values[order[i]]:
            j += 1
        for k in range(i, j + 1):
            out[order[k]] = (i + j) / 2
        i = j + 1
    return out


def spearman(a, b):
    x, y = ranks(a), ranks(b)
    mx, my = sum(x) / len(x), sum(y) / len(y)
    xy = sum((p - mx) * (q - my) for p, q in zip(x, y))
    xx, yy = sum((p - mx) ** 2 for p in x), sum((q - my) ** 2 for q in y)
    return xy / math.sqrt(xx * yy) if xx > 0 and yy > 0 else 0.0


def spread(values):
    m = median(values)
    return 1.4826 * median(abs(v - m) for v in values)


def plucks(truth):
    """(index, onset, velocity, pass) of every plucked note"""
    passes = truth.get("passes") or [truth]
    for number, one in enumerate(passes):
        for note in one["notes"]:
            played = note.get("played")
            if played and played.get("kind") != "dead" and not played.get("slur"):
                yield note.get("id", note.get("note_id")), played["onset_s"], played["velocity"], number


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--truth", type=Path, required=True)
    ap.add_argument("--reports", type=Path, required=True)
    ap.add_argument("--loud", type=float, default=6)
    ap.add_argument("--soft", type=float, default=6)
    ap.add_argument("--db-per-velocity", type=float, default=11)
    a = ap.parse_args()
    by = defaultdict(list)
    false, within, passes, withheld, notes_by = defaultdict(lambda: [0, 0]), [], [], defaultdict(int), defaultdict(int)
    found = [0, 0]
    for file in sorted(a.truth.glob("*.json")):
        truth = json.loads(file.read_text())
        report = a.reports / file.name
        if not report.exists():
            continue
        report = json.loads(report.read_text())
        kind = truth.get("group", "practice").split()[0] if "passes" in truth else truth["group"]
        keys = (truth["instrument"], kind, "all")
        if report["loudness"]["withheld"]:
            for k in keys:
                withheld[k] += 1
            continue
        told = [n for p in report["passes"] for n in p["notes"] if n["level_db"] is not None]
        pairs = []
        for index, onset, velocity, number in plucks(truth):
            near = [n for n in told if n["index"] == index and abs(n["onset_s"] - onset) < 0.04]
            if near:
                pairs.append((near[0], velocity, number))
        if len(pairs) < 8:
            continue
        level, raw, true = [p[0]["level_db"] for p in pairs], [p[0]["loudness_db"] for p in pairs], [p[1] for p in pairs]
        r, r_raw = spearman(level, true), spearman(raw, true)
        usual, middle = median(true), median(level)
        for k in keys:
            by[k].append((r, r_raw, file.stem))
            notes_by[k] += len(pairs)
        for note, velocity, _ in pairs:
            db = a.db_per_velocity * (velocity - usual)
            off, sd = note["level_db"], note["level_uncertainty_db"]
            mark = a.loud if off > 0 else a.soft
            flagged = abs(off) - sd > mark
            far = abs(db) >= mark and db * off > 0
            for k in keys:
                false[k][1] += 1
                false[k][0] += flagged and (abs(db) < mark / 2 or db * off < 0)
            if abs(db) >= mark:
                found[1] += 1
                found[0] += flagged and far
            within.append(abs(off - middle - db) <= 1.645 * sd)
        if "passes" in truth:
            for number in {p[2] for p in pairs}:
                own = [(p[0]["level_db"], p[1]) for p in pairs if p[2] == number]
                if len(own) >= 8:
                    passes.append((spread([o[0] for o in own]), spread([o[1] for o in own])))
    print(f"{'':14} takes notes  rank: median worst   before: median worst   false per 100   withheld")
    for k in sorted(by, key=lambda k: (k == "all", k)):
        r, raw = [v[0] for v in by[k]], [v[1] for v in by[k]]
        f = 100 * false[k][0] / max(1, false[k][1])
        print(f"{k:14} {len(r):5} {notes_by[k]:5}  {median(r):12.2f} {min(r):5.2f}   {median(raw):14.2f} {min(raw):5.2f}   {f:13.2f}   {withheld[k]:8}")
    print(f"within 90 % intervals: {sum(within) / max(1, len(within)):.3f} of {len(within)}; a mark and more off, found: {found[0]} of {found[1]}")
    if len(passes) >= 8:
        print(f"passes: rank correlation of told with true spread {spearman([p[0] for p in passes], [p[1] for p in passes]):.2f} of {len(passes)}")


if __name__ == "__main__":
    main()
