#!/usr/bin/env python3
"""Writes down what music21 reads of the MusicXML scores that come with it, for tests/line_corpus.rs.

    music21_parts.py OUT.json [PARTS]

music21 (BSD licence, PyPI) is an independent library for notation; its corpus holds real scores. Of
each score taken, every part of one voice whose notes lie on a bass or a guitar is written with its
notes as they sound: onset and length in quarter notes, repeats played out, ties added up, grace notes
left out. Scores are taken from all folders of the corpus in turn, until there are PARTS parts (300).
Without music21 it says so and ends with code 3.
"""
import json
import sys
from fractions import Fraction
from pathlib import Path

try:
    from music21 import bar, converter, corpus, repeat, stream
except ImportError:
    print("music21 is not installed (pip install music21)", file=sys.stderr)
    sys.exit(3)

# Sounding range of a six-string bass and of a guitar with 24 frets, as MIDI note numbers.
RANGES = [(23, 72), (40, 88)]
# Scores of more measures are left out: music21 takes minutes for them.
MEASURES_MAX = 250
# Parts of one folder, so that no composer fills the list.
FOLDER_PARTS_MAX = 60


def set_starts(part):
    """Writes the start of a repeat where only its end is drawn: after the section before (common practice).

    music21 goes back to the start of the piece for every end without a start.
    """
    measures = list(part.getElementsByClass(stream.Measure))
    brackets = [[measure.id for measure in bracket.getSpannedElements()]
                for bracket in part.recurse().getElementsByClass("RepeatBracket")]
    started, open_at = True, None
    for at, measure in enumerate(measures):
        if open_at is None and at == 0:
            open_at = 0
        left, right = measure.leftBarline, measure.rightBarline
        if isinstance(left, bar.Repeat) and left.direction == "start":
            started, open_at = True, at
        if isinstance(right, bar.Repeat) and right.direction == "end":
            in_bracket = any(measure.id in bracket for bracket in brackets)
            follows = at + 1 < len(measures) and any(measures[at + 1].id in bracket for bracket in brackets)
            if not started:
                measures[open_at].leftBarline = bar.Repeat(direction="start")
            if in_bracket and follows:
                # The section ends with its last ending.
                last = at + 1
                while last + 1 < len(measures) and any(
                        measures[last].id in bracket and measures[last + 1].id in bracket for bracket in brackets):
                    last += 1
                started, open_at = False, last + 1
            else:
                started, open_at = False, at + 1


def takes_endings(part, expanded):
    """Whether music21 played every first ending once; where it did not, nothing can be compared."""
    played = {}
    for measure in expanded.getElementsByClass(stream.Measure):
        played[measure.number] = played.get(measure.number, 0) + 1
    first = [measure.number for bracket in part.recurse().getElementsByClass("RepeatBracket")
             if str(bracket.number) == "1" for measure in bracket.getSpannedElements()]
    return all(played.get(number, 0) == 1 for number in first)


def notes_of(part):
    """Notes as they sound, or None for a part that is no single voice."""
    sounding = part.toSoundingPitch()
    set_starts(sounding)
    try:
        if sounding.recurse().getElementsByClass(stream.Voice):
            return None
        expanded = sounding.expandRepeats()
        if not takes_endings(sounding, expanded):
            print("left out: music21 does not take its endings apart", file=sys.stderr)
            return None
    except repeat.ExpanderException:
        return None
    flat = expanded.flatten().stripTies()
    notes = []
    for note in flat.notes:
        if note.duration.isGrace or note.isChord and len(note.pitches) > 3:
            if note.isChord:
                return None
            continue
        if not hasattr(note, "pitches") or type(note).__name__ not in ("Note", "Chord"):
            continue
        onset = Fraction(note.offset).limit_denominator(10000)
        length = Fraction(note.quarterLength).limit_denominator(10000)
        for pitch in sorted(note.pitches, key=lambda pitch: pitch.ps):
            if pitch.ps != int(pitch.ps):
                return None
            notes.append((onset, length, int(pitch.ps)))
    notes.sort()
    starts = {}
    for onset, length, _ in notes:
        starts.setdefault(onset, set()).add(length)
    if any(len(lengths) > 1 for lengths in starts.values()):
        return None
    end = Fraction(0)
    for onset in sorted(starts):
        if onset < end:
            return None
        end = onset + next(iter(starts[onset]))
    return notes


def has_repeats(part):
    return any(type(mark).__name__ == "Repeat" or isinstance(mark, repeat.RepeatMark)
               for mark in part.recurse()) or bool(list(part.spannerBundle.getByClass("RepeatBracket")))


def parts_of(path):
    score = converter.parse(path, forceSource=True)
    if not isinstance(score, stream.Score):
        return []
    parts = list(score.parts)
    if not parts or any(type(part).__name__ == "PartStaff" for part in parts):
        return []
    if max(len(part.getElementsByClass(stream.Measure)) for part in parts) > MEASURES_MAX:
        return []
    found = []
    for number, part in enumerate(parts, 1):
        notes = notes_of(part)
        if not notes:
            continue
        low, high = min(n[2] for n in notes), max(n[2] for n in notes)
        if any(bottom <= low and high <= top for bottom, top in RANGES):
            found.append((number, has_repeats(part), notes))
    return found


def main():
    out, wanted = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 300
    folders = {}
    for path in sorted(Path(path) for path in corpus.getCorePaths()):
        if path.suffix in (".mxl", ".xml", ".musicxml"):
            folders.setdefault(path.parent, []).append(path)
    queues = [iter(paths) for _, paths in sorted(folders.items())]
    counts = [0] * len(queues)
    entries, total = [], 0
    while total < wanted and any(queue is not None for queue in queues):
        for at, queue in enumerate(queues):
            path = next(queue, None) if queue is not None and counts[at] < FOLDER_PARTS_MAX else None
            if path is None:
                queues[at] = None
                continue
            if total >= wanted:
                break
            try:
                found = parts_of(path)
            except Exception as error:  # What music21 itself cannot read tells nothing.
                print(f"{path}: left out ({type(error).__name__})", file=sys.stderr)
                continue
            for number, repeats, notes in found:
                entries.append({
                    "file": str(path), "part": number, "repeats": repeats,
                    "notes": [[onset.numerator, onset.denominator, length.numerator, length.denominator, midi]
                              for onset, length, midi in notes]})
                counts[at] += 1
                total += 1
    with open(out, "w", encoding="utf-8") as file:
        json.dump(entries, file)
    repeats = sum(entry["repeats"] for entry in entries)
    print(f"{total} parts of {len({entry['file'] for entry in entries})} scores, {repeats} with repeats")


main()
