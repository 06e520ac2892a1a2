#!/usr/bin/env python3
"""How well the stated doubt of a gap holds, on takes whose truth is known.

    gap_uncertainty.py --program PROGRAM --maker MAKE_TAKES --work FOLDER [--count N]

Has takes of the kind `gaps` made from two seeds (6161 to choose by, 7272 to check), scores them and prints by
instrument how often the true gap lies within 1.645 stated standard deviations, which is to be 87 to 93 %:

  stated   with the doubt as the program states it
  left out with the doubt times one factor, chosen on the seed to choose by without this instrument so that 90 %
           lie within: what a new instrument would see, had the constants been chosen without it

The constants behind the doubt (`END_DOUBT_SHARE` and `END_DOUBT_LEAST_S` in `hearing/listener/settling.rs`) are right
while every factor is near 1. Joins are those whose gap the truth scores and whose release was found before the next
onset; those that met by the report (a gap of 0) are counted apart. The row `electric` leaves the upright out. What is
made and scored once is kept in FOLDER; another program needs another folder. Needs what the maker needs.
"""
import argparse
import json
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

CHOOSE, CHECK = 6161, 7272
SPREADS = 1.645  # standard deviations on either side that hold 90 % of a normal distribution
SHARE = 0.90
UPRIGHTS = {"meat"}


def make(a, seed):
    """The folder of the takes of a seed, made if it is not there."""
    folder = Path(a.work) / f"takes-{seed}-{a.count}"
    if not (folder / "truth").is_dir():
        subprocess.run([sys.executable, a.maker, "--out", folder, "--seed", str(seed), "--count", str(a.count),
                        "--kinds", "gaps", "--jobs", "1"], check=True)
    return folder


def score(a, folder, truth):
    """The report on one take."""
    report = Path(a.work) / "reports" / folder.name / f"{truth['take']}.json"
    if not report.exists():
        report.parent.mkdir(parents=True, exist_ok=True)
        line = folder / "lines" / f"{truth['line']}.line"
        done = subprocess.run([a.program, "score", folder / "audio" / truth["file"], "--line", line, "--json", report],
                              capture_output=True, text=True)
        if not report.exists():
            sys.exit(f"{truth['take']}: {done.stderr}")
    return json.loads(report.read_text())


def joins(truth, report):
    """(instrument, error over stated standard deviation, error in ms, stated, whether it met) of each join."""
    notes = {n["index"]: n for n in report["notes"]}
    for n in truth["notes"]:
        q, r = n["played"], notes.get(n["id"])
        if not q or not r or r["verdict"] != "right" or q["kind"] != "normal" or not q["gap_scored"]:
            continue
        if q["gap_ms"] is None or r["gap_ms"] is None or r["gap_uncertainty_ms"] is None:
            continue
        error = r["gap_ms"] - q["gap_ms"]
        yield truth["instrument"], error / r["gap_uncertainty_ms"], error, r["gap_uncertainty_ms"], r["gap_ms"] == 0


def measure(a, seed):
    folder = make(a, seed)
    truths = [json.loads(p.read_text()) for p in sorted((folder / "truth").glob("*.json"))]
    with ThreadPoolExecutor(a.jobs) as pool:
        reports = list(pool.map(lambda t: score(a, folder, t), truths))
    return [j for t, r in zip(truths, reports) for j in joins(t, r)]


def within(js, factor=1.0):
    return sum(abs(j[1]) <= SPREADS * factor for j in js) / max(1, len(js))


def factor(js):
    """By what the stated doubt must be multiplied for 90 % to lie within."""
    sizes = sorted(abs(j[1]) for j in js)
    return sizes[min(len(sizes) - 1, int(SHARE * len(sizes)))] / SPREADS


def middle(values):
    values = sorted(values)
    return values[len(values) // 2] if values else float("nan")


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--program", required=True)
    ap.add_argument("--maker", required=True, help="make_takes.py")
    ap.add_argument("--work", required=True)
    ap.add_argument("--count", type=int, default=120)
    ap.add_argument("--jobs", type=int, default=1)
    a = ap.parse_args()
    chosen, checked = [j for j in measure(a, CHOOSE) if not j[4]], measure(a, CHECK)
    print("| instrument | joins | error, median, ms | stated, median, ms | stated | factor without it | left out | met |")
    print("|---|---|---|---|---|---|---|---|")
    for name in [*sorted({j[0] for j in checked}), "electric", "all"]:
        mine = {"all": lambda _: True, "electric": lambda i: i not in UPRIGHTS}.get(name, lambda i: i == name)
        met = [j for j in checked if mine(j[0]) and j[4]]
        own = [j for j in checked if mine(j[0]) and not j[4]]
        by = factor([j for j in chosen if not mine(j[0])] or chosen)
        print(f"| {name} | {len(own)} | {middle(abs(j[2]) for j in own):.1f} | {middle(j[3] for j in own):.1f} "
              f"| {within(own):.3f} | {by:.2f} | {within(own, by):.3f} | {within(met):.3f} of {len(met)} |")


if __name__ == "__main__":
    main()
