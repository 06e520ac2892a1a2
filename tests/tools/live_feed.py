#!/usr/bin/env python3
"""Makes what a player plays in several passes out of takes of one pass, and plays it to a click.

    live_feed.py join OUT.wav PAUSE,PAUSE.. TAKE.wav..
        one take of many passes; from the end of each take's last note to the next one's bar 1 pass
        so many seconds, the pauses over and over
    live_feed.py to-click --opening S --bars N [--pickup S] [--ahead S] --sent FILE SOURCE SINK TAKE.wav..
        listens to the click in SOURCE of the sound server and plays the takes into SINK, one to each
        pass: bar 1 comes --opening seconds after a pass's first click, the line's opening --pickup
        seconds before that; with its count-in a pass has --bars accents; the takes come --ahead
        seconds sooner, to make up for the way they go; what was played is written as mono floats
    live_feed.py gain DB TAKE.wav..
        by how much the click must be turned down or up so that its loudest sample lies DB beneath the
        takes' loudest, in decibels

Takes are those of `seamline hear LINE --seed N`, whole notes from the start of bar 1 on: 16 bits,
mono, a second of silence before the line's opening and one after its last note.
"""
import argparse
import array
import math
import subprocess
import sys
import wave

# Silence that `hear` leaves before the line's opening and after its last note, in seconds.
LEAD_S = 1.0
TAIL_S = 1.0
# Takes are faded in and out over this, in seconds, so that their hiss does not begin with a click.
FADE_S = 0.01
# Of a take's silence this is played before its opening, in seconds; the rest is cut off.
KEPT_S = 0.25
# Peak of the program's click on the first beat of a bar, against full scale: -18 dB.
ACCENT_PEAK = 10 ** (-18 / 20)
# Above this a sample of the source is a click, and above that one on the first beat: the other beats'
# peak lies at -24 dB.
CLICK = 0.01
ACCENT = 0.09
# From one click to the next at least, in seconds: a click lasts 30 ms.
APART_S = 0.06
# The peak of a click lies within so much of its start, in seconds.
PEAK_S = 0.01
RATE = 48000
BLOCK = 480
# A click that comes so much beside its time was held up on its way, in seconds: the sound server's
# clock is exact to a frame. Raised, takes that do not lie on their click are played on.
HELD_UP_S = 0.003
# The exit code where that happened: what came of it says nothing of the program.
HELD_UP = 75


def samples(path):
    """The samples of a take from its opening, a little silence before it."""
    with wave.open(path, "rb") as file:
        if (file.getnchannels(), file.getsampwidth()) != (1, 2):
            sys.exit(f"{path} is not mono of 16 bits")
        rate = file.getframerate()
        whole = array.array("h", file.readframes(file.getnframes()))
    whole = whole[round((LEAD_S - KEPT_S) * rate):]
    fade = round(FADE_S * rate)
    for at in range(fade):
        whole[at] = whole[at] * at // fade
        whole[-1 - at] = whole[-1 - at] * at // fade
    return whole, rate


def join(out, pauses, paths):
    pauses = [float(pause) for pause in pauses.split(",")]
    mixed, opening, rate = array.array("i"), 0, None
    for number, path in enumerate(paths):
        take, its_rate = samples(path)
        rate = rate or its_rate
        if rate != its_rate:
            sys.exit(f"{path} has another rate")
        kept = round(KEPT_S * rate)
        opening = opening or round(LEAD_S * rate)
        start = opening - kept
        mixed.extend([0] * (start + len(take) - len(mixed)))
        for at, value in enumerate(take, start):
            mixed[at] += value
        played = len(take) - kept - round(TAIL_S * rate)
        opening += played + round(pauses[number % len(pauses)] * rate)
    clipped = array.array("h", (max(-32768, min(32767, value)) for value in mixed))
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(clipped.tobytes())


def gain(level_db, paths):
    loudest = max(max(map(abs, samples(path)[0])) for path in paths) / 32768
    print(round(20 * math.log10(loudest / ACCENT_PEAK) + float(level_db), 2))


class Clicks:
    """Finds the clicks in a stream, and which are accents."""

    def __init__(self):
        self.at = 0
        self.began = None
        self.peak = 0.0

    def add(self, block):
        """The next block; gives the clicks known now, as first frame and whether it is an accent."""
        found = []
        if self.began is None and max(block) < CLICK and min(block) > -CLICK:
            self.at += len(block)
            return found
        for frame, value in enumerate(block, self.at):
            value = abs(value)
            if self.began is None:
                if value < CLICK:
                    continue
                self.began, self.peak = frame, value
            self.peak = max(self.peak, value)
            if frame - self.began == round(PEAK_S * RATE):
                found.append((self.began, self.peak > ACCENT))
            if frame - self.began > APART_S * RATE:
                self.began = None
        self.at += len(block)
        return found


def pipe(tool, device, latency_ms, way):
    """A tool of the sound server with raw floats on its standard input or output."""
    command = [tool, "--raw", f"--device={device}", "--format=float32le", f"--rate={RATE}",
               "--channels=1", f"--latency-msec={latency_ms}"]
    return subprocess.Popen(command, **{way: subprocess.PIPE}, stderr=subprocess.DEVNULL)


def to_click(options):
    takes = []
    for path in options.takes:
        take, rate = samples(path)
        if rate != RATE:
            sys.exit(f"{path} does not have {RATE} frames per second")
        takes.append(array.array("f", (value / 32768 for value in take)))
    source = pipe("parec", options.source, 20, "stdout")
    sink = pipe("pacat", options.sink, 200, "stdin")
    clicks, accents, due, playing, told, opened = Clicks(), 0, [], [], 0, []
    before, sent = KEPT_S + options.pickup, bytearray()
    while told < len(takes) or due or playing:
        data = source.stdout.read(4 * BLOCK)
        if len(data) < 4 * BLOCK:
            break
        block = array.array("f", data)
        from_frame = clicks.at
        for frame, accent in clicks.add(block):
            if accent and accents % options.bars == 0 and told < len(takes):
                start = frame + round((options.opening - options.ahead - before) * RATE)
                if start < clicks.at:
                    sys.exit("the count-in is too short for the way the take goes")
                due.append((start, takes[told]))
                told += 1
            if accent and accents % options.bars == 0:
                opened.append(frame)
            accents += accent
        mixed = [0.0] * BLOCK
        playing += [entry for entry in due if entry[0] < clicks.at]
        due = [entry for entry in due if entry[0] >= clicks.at]
        for start, take in playing:
            first = max(0, start - from_frame)
            part = take[from_frame + first - start:clicks.at - start]
            for at, value in enumerate(part, first):
                mixed[at] += value
        playing = [(start, take) for start, take in playing if start + len(take) > clicks.at]
        try:
            made = array.array("f", mixed).tobytes()
            sink.stdin.write(made)
            sink.stdin.flush()
            sent.extend(made)
        except BrokenPipeError:
            break
    source.terminate()
    sink.stdin.close()
    sink.wait()
    with open(options.sent, "wb") as file:
        file.write(sent)
    apart = [b - a for a, b in zip(opened, opened[1:])]
    held_up_s = (max(apart) - min(apart)) / RATE if apart else 0.0
    if told < len(takes) or held_up_s > HELD_UP_S:
        print(f"held up: {told} passes were clicked, {1000 * held_up_s:.0f} ms off their time")
        sys.exit(HELD_UP)


def main():
    what, *rest = sys.argv[1:] or [""]
    if what == "join":
        join(rest[0], rest[1], rest[2:])
    elif what == "gain":
        gain(rest[0], rest[1:])
    elif what == "to-click":
        parser = argparse.ArgumentParser()
        parser.add_argument("--opening", type=float, required=True)
        parser.add_argument("--pickup", type=float, default=0.0)
        parser.add_argument("--bars", type=int, required=True)
        parser.add_argument("--ahead", type=float, default=0.0)
        parser.add_argument("--sent", required=True)
        parser.add_argument("source")
        parser.add_argument("sink")
        parser.add_argument("takes", nargs="+")
        to_click(parser.parse_args(rest))
    else:
        sys.exit(__doc__)


if __name__ == "__main__":
    main()
