//! The writer of Standard MIDI Files.
//!
//! # Source
//! Standard MIDI Files 1.0 (1988): format 0, tempo, time and key signatures as meta events.

use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};

use crate::music::line::length::{Length, UNITS_PER_QUARTER};
use crate::music::line::meter::{Meter, meter_of};
use crate::music::line::model::{Bar, EventKind};
use crate::music::line::tempo::Tempo;
use crate::music::line::whole::Line;
use crate::music::theory::Mode;

/// Fewest ticks to a quarter: what most programs write, no source.
const TICKS_MIN: i64 = 480;

/// Most ticks to a quarter that the file can say, in 15 bits.
const TICKS_MAX: i64 = 0x7fff;

/// How hard notes are struck, plain and accented, of 127. Common practice, no source.
const VELOCITIES: [u8; 2] = [80, 112];

/// The program of an electric bass, fingered, counted from 0 (General MIDI 1: 34 counted from 1).
const FINGERED_BASS: u8 = 33;

/// Writes a line as a MIDI file, its repeats played out; `by` stands in it as a text, so that the
/// file says who wrote it.
///
/// Reading it gives the same notes at the same places, unless they need a finer resolution than a
/// file can have; what a MIDI file cannot hold is not in it (see `unheld`).
pub fn write_midi(line: &Line, by: &str) -> Vec<u8> {
    let per_quarter = resolution(line);
    let mut events: Vec<(i64, u8, TrackEventKind<'_>)> = Vec::new();
    let mut start = Length::ZERO;
    push_text(&mut events, MetaMessage::TrackName(line.title().as_bytes()));
    push_text(&mut events, MetaMessage::Text(by.as_bytes()));
    let tick = |at: Length| ticks(at, per_quarter);
    let tempo = |tempo: Tempo| {
        let microseconds = (60e6 / tempo.quarters_per_minute()).round() as u32;
        TrackEventKind::Meta(MetaMessage::Tempo(u24::new(microseconds.min(0xff_ffff))))
    };
    events.push((0, 1, tempo(line.tempo())));
    let program = u7::new(FINGERED_BASS);
    let message = MidiMessage::ProgramChange { program };
    events.push((0, 1, of_channel(message)));
    let mut written: Option<(Meter, (i8, bool))> = None;
    for bar in line.bars() {
        let meter = meter_of(bar.length(), bar.meter.unit()).unwrap_or(bar.meter);
        let key = (bar.key.fifths(), bar.key.mode() == Mode::Minor);
        if written.is_none_or(|(before, _)| before != meter) {
            events.push((tick(start), 1, time_signature(meter)));
        }
        if written.is_none_or(|(_, before)| before != key) {
            let signature = MetaMessage::KeySignature(key.0, key.1);
            events.push((tick(start), 1, TrackEventKind::Meta(signature)));
        }
        written = Some((meter, key));
        for mark in &bar.tempos {
            events.push((tick(start + mark.at), 1, tempo(mark.tempo)));
        }
        start += bar.length();
    }
    events.extend(notes(line.bars(), per_quarter));
    // At one tick notes end before anything else, and begin after everything else.
    events.sort_by_key(|&(at, rank, _)| (at, rank));
    let end = tick(start).max(events.last().map_or(0, |last| last.0));
    events.push((end, 3, TrackEventKind::Meta(MetaMessage::EndOfTrack)));
    let mut before = 0;
    let track: Vec<TrackEvent<'_>> = events
        .into_iter()
        .map(|(at, _, kind)| {
            let delta = u28::new((at - before).clamp(0, 0xfff_ffff) as u32);
            before = at;
            TrackEvent { delta, kind }
        })
        .collect();
    let timing = Timing::Metrical(u15::new(per_quarter as u16));
    let mut song = Smf::new(Header::new(Format::SingleTrack, timing));
    song.tracks.push(track);
    let mut bytes = Vec::new();
    // Writing to memory does not fail.
    song.write_std(&mut bytes).ok();
    bytes
}

fn push_text<'a>(events: &mut Vec<(i64, u8, TrackEventKind<'a>)>, message: MetaMessage<'a>) {
    events.push((0, 1, TrackEventKind::Meta(message)));
}

fn of_channel(message: MidiMessage) -> TrackEventKind<'static> {
    TrackEventKind::Midi {
        channel: u4::new(0),
        message,
    }
}

fn time_signature(meter: Meter) -> TrackEventKind<'static> {
    let power = meter.unit().trailing_zeros() as u8;
    // 24 clocks and 8 thirty-seconds to a quarter, as the specification has them.
    let clocks = (96 / meter.unit()).max(1);
    TrackEventKind::Meta(MetaMessage::TimeSignature(meter.beats(), power, clocks, 8))
}

/// The notes, ties added up.
fn notes(bars: &[Bar], per_quarter: i64) -> Vec<(i64, u8, TrackEventKind<'static>)> {
    let mut events = Vec::new();
    let mut start = Length::ZERO;
    // Where the notes that sound stand, and what they are.
    let mut sounding: Vec<(u7, Length)> = Vec::new();
    let end = |sounding: &mut Vec<(u7, Length)>, events: &mut Vec<_>| {
        for (key, at) in sounding.drain(..) {
            let vel = u7::new(0);
            let message = MidiMessage::NoteOff { key, vel };
            events.push((ticks(at, per_quarter), 0, of_channel(message)));
        }
    };
    for bar in bars {
        let mut at = start;
        for event in &bar.events {
            let until = at + event.length;
            match &event.kind {
                EventKind::Rest => end(&mut sounding, &mut events),
                EventKind::Hold => sounding.iter_mut().for_each(|note| note.1 = until),
                EventKind::Notes { notes, .. } => {
                    end(&mut sounding, &mut events);
                    for note in notes {
                        let key = u7::new(note.midi.min(127));
                        let vel = u7::new(VELOCITIES[usize::from(event.accent)]);
                        let message = MidiMessage::NoteOn { key, vel };
                        events.push((ticks(at, per_quarter), 2, of_channel(message)));
                        sounding.push((key, until));
                    }
                }
            }
            at = until;
        }
        start = at;
    }
    end(&mut sounding, &mut events);
    events
}

fn ticks(at: Length, per_quarter: i64) -> i64 {
    let units = i128::from(at.units()) * i128::from(per_quarter);
    let half = i128::from(UNITS_PER_QUARTER / 2);
    i64::try_from((units + half) / i128::from(UNITS_PER_QUARTER)).unwrap_or(i64::MAX)
}

/// Ticks to a quarter that every place is a whole number of, if a file can have as many.
fn resolution(line: &Line) -> i64 {
    let needed = needed_resolution(line);
    if needed > TICKS_MAX {
        // Places of halves, thirds and fifths are kept, others moved by less than a millisecond.
        return 15_360;
    }
    let times = (TICKS_MIN + needed - 1) / needed;
    needed * times
}

fn needed_resolution(line: &Line) -> i64 {
    let mut common = UNITS_PER_QUARTER;
    for bar in line.bars() {
        for event in &bar.events {
            common = gcd(common, event.length.units());
        }
        for mark in &bar.tempos {
            common = gcd(common, mark.at.units());
        }
    }
    UNITS_PER_QUARTER / common.max(1)
}

/// True when a MIDI file has no resolution fine enough for the line.
pub(in crate::music::line) fn is_too_fine(line: &Line) -> bool {
    needed_resolution(line) > TICKS_MAX
}

fn gcd(a: i64, b: i64) -> i64 {
    if b == 0 { a.abs() } else { gcd(b, a % b) }
}
