#!/usr/bin/env python3
"""How many notes are told to buzz that don't, and how many of those that do.

  buzz_score.py --truth DIR/truth --reports DIR [--mark 3]

Reads made takes (of `buzz_string.py`, or without any buzz) and reports of `seamline score --json`.  First the false
alarms: plucked notes without a buzz that are told to buzz, per 100 of them, by instrument and kind; then, of notes on
which a buzz was laid, the share found by its level beside the note's, of all and of those of which the report says
anything; and the share of notes of which nothing is said.
"""
import argparse
import json
from collections import defaultdict
from pathlib import Path

BANDS = [(-90, -30), (-30, -25), (-25, -20), (-20, -15), (-15, 90)]


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("--truth", type=Path, required=True)
    ap.add_argument("--reports", type=Path, required=True)
    ap.add_argument("--mark", type=float, default=3)
    a = ap.parse_args()
    clean, found = defaultdict(lambda: [0, 0, 0]), defaultdict(lambda: [0, 0, 0])
    for file in sorted(a.truth.glob("*.json")):
        report = a.reports / file.name
        if not report.exists():
            continue
        truth, report = json.loads(file.read_text()), json.loads(report.read_text())
        told = {n["index"]: n for n in report["notes"]}
        for note in truth["notes"]:
            played, own = note.get("played"), told.get(note["id"])
            if not played or not own or played["kind"] == "dead" or own["onset_s"] is None:
                continue
            nats = own["buzz_nats"]
            flagged = nats is not None and nats >= a.mark
            if played.get("buzz"):
                level = played["buzz"]["level_db"]
                band = next(b for b in BANDS if b[0] <= level < b[1])
                keys, into = (band, (truth["group"], band[0] >= -20)), found
            else:
                keys, into = (truth["instrument"], truth["group"], "all"), clean
            for k in keys:
                into[k][0] += 1
                into[k][1] += flagged
                into[k][2] += nats is not None
    print("without a buzz: told to buzz, per 100 of those plucked (of which something is said)")
    for k in sorted(clean, key=lambda k: (k == "all", k)):
        n, f, s = clean[k]
        print(f"  {k:12} {100 * f / n:6.2f}   {f:3} of {n:5} ({100 * s / n:3.0f} %)")
    if found:
        print("with a buzz, by its level beside the note's: found of all, of those of which something is said")
    for band in BANDS:
        n, f, s = found[band]
        if n:
            print(f"  {band[0]:4} to {band[1]:4} dB   {f / n:.2f} of {n:4}   {f / max(1, s):.2f} of {s:4}")
    for k in sorted(k for k in found if isinstance(k[0], str) and k[1]):
        n, f, s = found[k]
        print(f"  {k[0]:12} from -20 dB   {f / n:.2f} of {n:4}   {f / max(1, s):.2f} of {s:4}")


if __name__ == "__main__":
    main()
