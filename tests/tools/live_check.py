#!/usr/bin/env python3
"""What a live session said, held against other reports of the same sound.

    live_check.py same A.json B.json      every note, extra and ring alike, to the digit
    live_check.py verdicts A.json B.json  verdicts and flags alike; times may lie elsewhere
    live_check.py lost A.json N           so many frames were lost
    live_check.py began A.json N          verdicts of the first notes: N at least are right
    live_check.py cost A.json             what listening cost, and how soon notes were known
    live_check.py ahead A.wav             how far the take's length is ahead of the clock, in ms
"""
import json
import os
import statistics
import sys
import time


def read(path):
    with open(path, encoding="utf-8") as file:
        return json.load(file)


def said(report):
    return [(n["index"], n["verdict"], tuple(n["flags"])) for n in report["notes"]]


def ahead(path):
    """The most of a second: a take that is being kept (58 bytes, then mono floats at 48 kHz) grows
    block by block, and never sooner than its sound comes."""
    end = time.monotonic() + 1.0
    most = float("-inf")
    while time.monotonic() < end:
        now = time.monotonic()
        most = max(most, (os.path.getsize(path) - 58) / 4 / 48000 - now)
        time.sleep(0.003)
    return round(1000 * most)


def main(what, *args):
    if what == "ahead":
        print(ahead(args[0]))
        return None
    a = read(args[0])
    if what == "same":
        b = read(args[1])
        for field in ("notes", "extras", "bleed", "summary"):
            if a[field] != b[field]:
                return f"{field} differ between {args[0]} and {args[1]}"
    elif what == "verdicts":
        b = read(args[1])
        differ = [pair for pair in zip(said(a), said(b)) if pair[0] != pair[1]]
        if differ or len(a["notes"]) != len(b["notes"]):
            return f"verdicts differ: {differ}"
    elif what == "lost":
        lost = a["take"]["dropped_frames"]
        if lost != int(args[1]):
            return f"{lost} frames were lost"
    elif what == "began":
        right = 0
        for note in a["notes"]:
            if note["verdict"] != "right":
                break
            right += 1
        if right < int(args[1]):
            return f"only the first {right} notes are right"
    elif what == "cost":
        live = a["live"]
        delays = {"heard": [], "named": []}
        for note in a["notes"]:
            if note["onset_s"] is None:
                continue
            for name, field in (("heard", "heard_at_s"), ("named", "named_at_s")):
                if note[field] is not None:
                    delays[name].append(1000 * (note[field] - note["onset_s"]))
        print(
            "listening {:.1f} % of one core, worst block {:.1f} ms; known after (median): "
            "heard {:.1f} ms, named {:.1f} ms".format(
                100 * live["listening_share"],
                live["worst_block_ms"],
                statistics.median(delays["heard"]),
                statistics.median(delays["named"]),
            )
        )
    else:
        return __doc__
    return None


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
