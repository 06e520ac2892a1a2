#!/usr/bin/env python3
"""What a live session said, held against other reports of the same sound.

    live_check.py same A.json B.json      every note, extra and ring alike, to the digit
    live_check.py verdicts A.json B.json  verdicts and flags alike; times may lie elsewhere
    live_check.py passes A.json B.json    the same of every pass, with what nobody wrote and what rang
    live_check.py flawless A.json A.txt N N passes, and not a word of a fault in the report or in the
                                          plain lines, nor of one that was taken back
    live_check.py fed A.wav TAKE.wav [S]  the kept take holds what was fed into the card, to the bit, or
                                          the first S seconds of it
    live_check.py lost A.json N           so many frames were lost
    live_check.py began A.json N          verdicts of the first notes: N at least are right
    live_check.py cost A.json             what listening cost, and how soon notes were known
    live_check.py sounded A.wav S         S seconds at least have come since the first sound
    live_check.py ahead A.wav             how far the take's length is ahead of the clock, in ms
"""
import array
import json
import os
import re
import statistics
import sys
import time
import wave


def read(path):
    with open(path, encoding="utf-8") as file:
        return json.load(file)


def said(report):
    return [(n["index"], n["verdict"], tuple(n["flags"])) for n in report["notes"]]


# What the plain lines say of a fault; what stands behind the last of them is the report.
FAULTS = re.compile(
    r"wrong|missed|not reached|extra|late\b|early|out of time|gap|cut short|rings|dead|cents|"
    r"unclear|corrected|to work on|lost|clipped"
)


def said_of_passes(report):
    """Of each judged pass its bars, what is said of each note, and how much else sounded."""
    return [
        (p["bars"], said(p), len(p["extras"]), len(p["bleed"] or []))
        for p in report["passes"]
        if p["judged"]
    ]


def flawless(report, lines, wanted):
    """What is said that should not be, each thing in a line."""
    faults = []
    if len(report["passes"]) != wanted:
        faults.append(f"{len(report['passes'])} passes in the report, not {wanted}")
    for number, one in enumerate(report["passes"], 1):
        if not (one["complete"] and one["judged"]) or one["stumbles"]:
            faults.append(f"pass {number} is not whole")
        for note in one["notes"]:
            if note["verdict"] != "right" or note["flags"]:
                what = [note["verdict"], *note["flags"]]
                faults.append(f"pass {number} bar {note['bar']} beat {note['beat']}: {what}")
        faults += [f"pass {number}: extra {e}" for e in one["extras"]]
        faults += [f"pass {number}: ring {b}" for b in one["bleed"] or []]
    told = 0
    for line in lines:
        if line.startswith("over:"):
            break
        if FAULTS.search(line):
            faults.append(f"told: {line}")
        figures = re.match(r"Pass \d+.*: (\d+) of (\d+) right", line)
        if figures:
            told += 1
            if figures[1] != figures[2] or int(figures[2]) != report["line"]["notes"]:
                faults.append(f"told: {line}")
    if told != wanted:
        faults.append(f"the end of {told} passes was told, not of {wanted}")
    return faults


def floats(path, from_byte):
    with open(path, "rb") as file:
        file.seek(from_byte)
        return array.array("f", file.read())


def fed(kept, take, seconds=None):
    """Whether the kept take (58 bytes, then mono floats at 48 kHz) holds the take, a WAV file of 16 bits
    or bare floats, with silence around it: so many seconds of it where they are given."""
    with open(take, "rb") as file:
        is_wav = file.read(4) == b"RIFF"
    if is_wav:
        with wave.open(take, "rb") as file:
            whole = array.array("h", file.readframes(file.getnframes()))
        given = array.array("f", (value / 32768 for value in whole))
    else:
        given = floats(take, 0)
    heard = floats(kept, 58)
    first, began = (next((at for at, x in enumerate(all) if x), len(all)) for all in (given, heard))
    wanted, got = given[first:], heard[began:]
    if seconds is not None:
        wanted = wanted[: round(48000 * float(seconds))]
    # A session ends before a take's silent end.
    same = next((at for at, pair in enumerate(zip(wanted, got)) if pair[0] != pair[1]), None)
    if same is not None:
        return f"{os.path.basename(kept)}: what was fed was held up at {(began + same) / 48000:.3f} s"
    return None


def sounded(kept, seconds):
    """Whether a take that is being kept (58 bytes, then mono floats at 48 kHz) is so long from its first
    sound on."""
    heard = floats(kept, 58)
    first = next((at for at, x in enumerate(heard) if x), len(heard))
    come = (len(heard) - first) / 48000
    return None if come >= float(seconds) else f"{come:.1f} s"


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
    if what == "fed":
        return fed(*args)
    if what == "sounded":
        return sounded(*args)
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
    elif what == "passes":
        b = read(args[1])
        one, other = said_of_passes(a), said_of_passes(b)
        if one != other:
            differ = [pair for pair in zip(one, other) if pair[0] != pair[1]]
            return f"{len(one)} and {len(other)} passes, {len(differ)} differ: {differ}"
    elif what == "flawless":
        with open(args[1], encoding="utf-8") as file:
            faults = flawless(a, file.read().splitlines(), int(args[2]))
        spread = [p["timing"]["spread_ms"] for p in a["passes"] if p["timing"]["spread_ms"]]
        mean = [p["timing"]["mean_ms"] for p in a["passes"] if p["timing"]["mean_ms"] is not None]
        print(
            "{}: {} passes of {} notes, {} accusations; spread {:.1f} to {:.1f} ms, mean {:.1f} to {:.1f} ms".format(
                os.path.basename(args[0])[: -len(".json")],
                len(a["passes"]),
                a["line"]["notes"],
                len(faults),
                min(spread, default=0.0),
                max(spread, default=0.0),
                min(mean, default=0.0),
                max(mean, default=0.0),
            )
        )
        if faults:
            return "\n".join(faults[:40])
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
