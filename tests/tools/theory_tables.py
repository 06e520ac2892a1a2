#!/usr/bin/env python3
"""Writes fixtures/theory: chord tones, scales and intervals as the library music21 spells them.

    pip install music21==10.5.1
    python3 tests/tools/theory_tables.py

Each chord is given to the library by its kind as MusicXML 4.0 names it, with the degrees that are
added, altered or taken away, never by our own reading of the symbol. What the library cannot say, or
says against the standard, is no row of the table: it stands in fixtures/theory/README.md.
"""

import pathlib

import music21
from music21 import harmony, interval, pitch, scale

FOLDER = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "theory"

# Our symbol behind the root, the kind, and what is done to it.
CHORDS = [
    ("", "major", []),
    ("maj", "major", []),
    ("m", "minor", []),
    ("-", "minor", []),
    ("mi", "minor", []),
    ("+", "augmented", []),
    ("aug", "augmented", []),
    ("°", "diminished", []),
    ("dim", "diminished", []),
    ("5", "power", []),
    ("6", "major-sixth", []),
    ("m6", "minor-sixth", []),
    ("6/9", "major-sixth", [("add", 9, 0)]),
    ("m6/9", "minor-sixth", [("add", 9, 0)]),
    ("7", "dominant-seventh", []),
    ("maj7", "major-seventh", []),
    ("M7", "major-seventh", []),
    ("Δ", "major-seventh", []),
    ("m7", "minor-seventh", []),
    ("-7", "minor-seventh", []),
    ("mi7", "minor-seventh", []),
    ("m(maj7)", "minor-major-seventh", []),
    ("mMaj7", "minor-major-seventh", []),
    ("°7", "diminished-seventh", []),
    ("dim7", "diminished-seventh", []),
    ("ø7", "half-diminished-seventh", []),
    ("ø", "half-diminished-seventh", []),
    ("m7b5", "minor-seventh", [("alter", 5, -1)]),
    ("+7", "augmented-seventh", []),
    ("7#5", "dominant-seventh", [("alter", 5, 1)]),
    ("7b5", "dominant-seventh", [("alter", 5, -1)]),
    ("maj7#5", "augmented-major-seventh", []),
    ("maj7b5", "major-seventh", [("alter", 5, -1)]),
    ("sus4", "suspended-fourth", []),
    ("sus2", "suspended-second", []),
    ("7sus4", "suspended-fourth", [("add", 7, -1)]),
    ("7sus2", "suspended-second", [("add", 7, -1)]),
    ("9sus4", "suspended-fourth", [("add", 7, -1), ("add", 9, 0)]),
    ("add9", "major", [("add", 9, 0)]),
    ("madd9", "minor", [("add", 9, 0)]),
    ("add11", "major", [("add", 11, 0)]),
    ("9", "dominant-ninth", []),
    ("maj9", "major-ninth", []),
    ("m9", "minor-ninth", []),
    ("m(maj9)", "minor-major-ninth", []),
    ("11", "dominant-11th", []),
    ("maj11", "major-11th", []),
    ("m11", "minor-11th", []),
    ("13", "dominant-13th", []),
    ("maj13", "major-13th", []),
    ("m13", "minor-13th", []),
    ("7b9", "dominant-seventh", [("add", 9, -1)]),
    ("7#9", "dominant-seventh", [("add", 9, 1)]),
    ("7(b9,#9)", "dominant-seventh", [("add", 9, -1), ("add", 9, 1)]),
    ("7b9#5", "dominant-seventh", [("add", 9, -1), ("alter", 5, 1)]),
    ("7#11", "dominant-seventh", [("add", 11, 1)]),
    ("7b13", "dominant-seventh", [("add", 13, -1)]),
    ("9#11", "dominant-ninth", [("add", 11, 1)]),
    ("maj7#11", "major-seventh", [("add", 11, 1)]),
    ("maj9#11", "major-ninth", [("add", 11, 1)]),
    ("9b5", "dominant-ninth", [("alter", 5, -1)]),
    ("13#11", "dominant-13th", [("alter", 11, 1)]),
    ("m7b13", "minor-seventh", [("add", 13, -1)]),
    ("7omit5", "dominant-seventh", [("subtract", 5, 0)]),
    ("(no3)", "major", [("subtract", 3, 0)]),
]

# With the spellings that go wrong most easily: flats, sharps, double accidentals.
ROOTS = ["C", "Gb", "F#", "Bb", "E", "Ab"]

SCALES = [
    ("major", scale.MajorScale),
    ("dorian", scale.DorianScale),
    ("phrygian", scale.PhrygianScale),
    ("lydian", scale.LydianScale),
    ("mixolydian", scale.MixolydianScale),
    ("natural minor", scale.MinorScale),
    ("locrian", scale.LocrianScale),
    ("harmonic minor", scale.HarmonicMinorScale),
    ("melodic minor", scale.MelodicMinorScale),
]


def of_library(name):
    return name.replace("b", "-")


def ours(name):
    return name.replace("-", "b")


def chord_rows():
    for root in ROOTS:
        for symbol, kind, steps in CHORDS:
            chord = harmony.ChordSymbol(root=of_library(root), kind=kind)
            for what, degree, alter in steps:
                chord.addChordStepModification(
                    harmony.ChordStepModification(what, degree, alter), updatePitches=True
                )
            names = sorted({ours(tone.name) for tone in chord.pitches})
            yield f"{root}{symbol}\t{' '.join(names)}"


def scale_rows():
    for tonic in ROOTS:
        for name, kind in SCALES:
            one = kind(of_library(tonic))
            low = pitch.Pitch(of_library(tonic) + "2")
            for way in ("up", "down"):
                high = low.transpose("P8")
                direction = (
                    scale.Direction.ASCENDING if way == "up" else scale.Direction.DESCENDING
                )
                tones = one.getPitches(low, high, direction=direction)
                tones = sorted(tones, key=lambda tone: tone.ps)[:-1]
                yield f"{tonic} {name}\t{way}\t{' '.join(ours(tone.name) for tone in tones)}"


def interval_rows():
    for number in range(1, 16):
        for quality in ("dd", "d", "m", "P", "M", "A", "AA"):
            try:
                one = interval.Interval(f"{quality}{number}")
            except (interval.IntervalException, ValueError):
                continue
            if one.semitones < 0 or (number == 1 and quality.startswith("d")):
                continue
            words = one.niceName.lower().replace("-", " ")
            yield f"{words}\t{one.semitones}"


def write(name, head, rows):
    rows = list(rows)
    text = f"# {head} music21 {music21.__version__}.\n" + "\n".join(rows) + "\n"
    (FOLDER / name).write_text(text, encoding="utf-8")
    print(name, len(rows))


FOLDER.mkdir(parents=True, exist_ok=True)
write("chords.tsv", "Symbol, tones in order of letters.", chord_rows())
write("scales.tsv", "Scale, direction, tones from the tonic up.", scale_rows())
write("intervals.tsv", "Interval, semitones.", interval_rows())
