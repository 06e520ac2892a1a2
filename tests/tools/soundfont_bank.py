#!/usr/bin/env python3
"""Adds basses of General MIDI soundfonts to a copy of the program that makes takes.

    soundfont_bank.py GROUND FONT=NAME…

GROUND is a copy of the folder with `make_takes.py` and `banks/`; FONT is a soundfont that `fluidsynth`
can read, and NAME two letters that its instruments are called by. Of each font the programs 33 to 38
of General MIDI (acoustic, fingered, picked, fretless, slapped twice) are rendered note by note, every
second semitone from E1 to C4, at two velocities, without reverb and chorus, and entered in
`banks/index.json` and in the instruments of `bassgen/bank.py`, e.g. as `xx_fingered`. An instrument
whose samples are those of one that is there already is left out.

The pitch of a note is measured by its period; its attack is where its level over one millisecond first comes within 26 dB of the loudest of the first 80 ms.
Needs numpy, scipy, soundfile, mido and fluidsynth.
"""
import json
import subprocess
import sys
import tempfile
from pathlib import Path

import mido
import numpy as np
import soundfile as sf

RATE = 44100
PROGRAMS = {32: "acoustic", 33: "fingered", 34: "picked", 35: "fretless", 36: "slap", 37: "slapped"}
PITCHES = range(28, 61, 2)
VELOCITIES = (72, 116)
HELD_S, APART_S = 2.6, 3.5


def rendered(font, program):
    """All notes of one program, each APART_S after the one before, from APART_S on."""
    with tempfile.TemporaryDirectory() as folder:
        song = mido.MidiFile(ticks_per_beat=1000)
        track = mido.MidiTrack()
        song.tracks.append(track)
        track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
        track.append(mido.Message("program_change", program=program))
        wait = APART_S
        for velocity in VELOCITIES:
            for pitch in PITCHES:
                track.append(mido.Message("note_on", note=pitch, velocity=velocity, time=round(1000 * wait)))
                track.append(mido.Message("note_off", note=pitch, time=round(1000 * HELD_S)))
                wait = APART_S - HELD_S
        song.save(f"{folder}/notes.mid")
        subprocess.run(
            ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-g", "0.6", "-r", str(RATE), "-T", "wav",
             "-O", "float", "-F", f"{folder}/notes.wav", font, f"{folder}/notes.mid"],
            check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        sound, _ = sf.read(f"{folder}/notes.wav")
    return sound.mean(axis=1)


def midi_of(x, nominal):
    """Pitch as a fractional MIDI number and how periodic the note is, from 0.2 to 1 s: the lag at which it is
    most like itself, first of one period, within a semitone, then of twice as many periods and twice again."""
    part = x[int(0.2 * RATE):int(1.0 * RATE)]
    period = RATE / (440 * 2 ** ((nominal - 69) / 12))
    reach, times = period * (2 ** (1 / 12) - 1), 1
    while True:
        lags = np.arange(int(times * period - reach) - 1, int(times * period + reach) + 3)
        size = len(part) - lags[-1] - 1
        head = part[:size]
        alike = np.array([
            2 * np.dot(head, part[lag:lag + size])
            / (np.dot(head, head) + np.dot(part[lag:lag + size], part[lag:lag + size]) + 1e-12)
            for lag in lags])
        k = int(np.clip(np.argmax(alike), 1, len(lags) - 2))
        a, b, c = alike[k - 1:k + 2]
        period = (lags[k] + 0.5 * (a - c) / (a - 2 * b + c - 1e-12)) / times
        if times * period > 0.1 * RATE:
            return 69 + 12 * np.log2(RATE / period / 440), float(alike[k])
        times, reach = 2 * times, 2.0


def db(x):
    return 10 * np.log10(np.mean(x ** 2) + 1e-12)


def notes_of(font, program):
    sound = rendered(font, program)
    at = APART_S
    for layer, _ in enumerate(VELOCITIES):
        for pitch in PITCHES:
            from_ = int((at - 0.02) * RATE)
            note = sound[from_:int((at + HELD_S) * RATE)].copy()
            at += APART_S
            fade = int(0.05 * RATE)
            note[-fade:] *= np.linspace(1, 0, fade)
            if db(note[:int(0.6 * RATE)]) < -70:
                continue
            step = int(0.001 * RATE)
            level = np.array([db(note[i:i + step]) for i in range(0, int(0.12 * RATE), step)])
            attack = int(np.argmax(level > level.max() - 26)) * step
            midi, periodic = midi_of(note[attack:], pitch)
            if periodic < 0.9 or abs(midi - pitch) > 0.9:
                continue
            yield note, {
                "kind": "sustain", "layer": layer, "rr": 1, "attack_s": round(attack / RATE, 6),
                "dur_s": HELD_S, "rms_db": round(db(note[attack:attack + int(0.5 * RATE)]), 2),
                "nominal_midi": pitch, "midi": round(float(midi), 4), "periodicity": round(periodic, 4)}


def main(ground, *fonts):
    ground = Path(ground)
    index_path = ground / "banks" / "index.json"
    index = json.loads(index_path.read_text())
    seen = {}
    added = {}
    for entry in fonts:
        font, name = entry.split("=")
        for program, what in PROGRAMS.items():
            bass = f"{name}_{what}"
            notes = list(notes_of(font, program))
            if len(notes) < len(PITCHES):
                print(f"{bass}: only {len(notes)} notes can be used, left out")
                continue
            half = int(0.5 * RATE)
            print_ = notes[len(notes) // 4][0][:half]
            print_ = print_ / (np.abs(print_).max() + 1e-12)
            twin = next((other for other, p in seen.items()
                         if np.abs(np.fft.irfft(np.fft.rfft(p, 2 * half) * np.conj(np.fft.rfft(print_, 2 * half)))).max()
                         > 0.98 * np.sqrt(np.dot(p, p) * np.dot(print_, print_))), None)
            if twin:
                print(f"{bass}: the samples of {twin}, left out")
                continue
            seen[bass] = print_
            (ground / "banks" / bass).mkdir(exist_ok=True)
            for note, facts in notes:
                file = f"{bass}/{facts['nominal_midi']}_{facts['layer']}.flac"
                peak = np.abs(note).max()
                sf.write(ground / "banks" / file, note / max(1.0, peak / 0.99), RATE, subtype="PCM_24")
                facts["rms_db"] = round(facts["rms_db"] - 20 * np.log10(max(1.0, peak / 0.99)), 2)
                index.append({"set": bass, **facts, "file": file})
            added[bass] = (28, max(facts["nominal_midi"] for _, facts in notes))
            print(f"{bass}: {len(notes)} notes, to {added[bass][1]}")
    index_path.write_text(json.dumps(index))
    bank = ground / "bassgen" / "bank.py"
    text = bank.read_text()
    known = "".join(f'\nINSTRUMENTS["{bass}"] = {limits}' for bass, limits in added.items())
    bank.write_text(text.replace("\n\n\nclass Bank", known + "\n\n\nclass Bank", 1))


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    main(*sys.argv[1:])
