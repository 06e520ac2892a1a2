//! What a line has that a format cannot hold.

use super::Format;
use super::midi;
use super::model::{Bar, Event, EventKind, Lacks, Note, Start};
use super::whole::Line;
use crate::music::instrument::{DEFAULT_FRETS, DEFAULT_SCALE_MM, Tuning};

/// Each thing `line` has that `format` cannot hold, as words that complete *cannot hold:*; empty when
/// reading the written file gives the same line.
pub fn unheld(line: &Line, format: Format) -> Vec<String> {
    let has = Has { line };
    let played_out = (has.signs(), "repeats and jumps (they are played out)");
    let starts_elsewhere = !line.has_pickup() && line.first_bar() != 1;
    let numbered = (
        line.is_numbered_apart() || starts_elsewhere,
        "the printed numbers of bars",
    );
    let found: Vec<(bool, &str)> = match format {
        Format::Line => Vec::new(),
        Format::Midi => vec![
            played_out,
            numbered,
            (has.note(|note| note.place.is_some()), "strings and frets"),
            (has.note(|note| note.finger.is_some()), "fingers"),
            (has.note(|note| note.ghost), "that ghost notes are muted"),
            (has.event(|event| !event.graces.is_empty()), "grace notes"),
            (
                has.start(|start| start != Start::Plucked),
                "slurs, hammer-ons, pull-offs and slides",
            ),
            (has.event(is_staccato), "staccato dots"),
            (
                has.event(|event| event.accent),
                "accents (they are struck harder)",
            ),
            (has.event(|event| event.breath_after), "breaths"),
            (has.bar(|bar| !bar.chords.is_empty()), "chord symbols"),
            (line.swing().is_some(), "the swing"),
            (has.other_beats(), "the beat of tempos"),
            (has.tuning(), "the tuning"),
            (
                has.frets(),
                "the number of frets and the length of the strings",
            ),
            (
                has.short_bars(),
                "that bars are short (they have meters of their own)",
            ),
            (
                has.short_start(),
                "a first bar of a shorter meter (it is read as a pick-up)",
            ),
            (
                has.unwritten_places(),
                "places of rare tuplets (they are read as played by hand)",
            ),
            (
                has.short_rests(),
                "rests shorter than a 32nd note or a tenth of the way to the next note",
            ),
            (
                midi::is_too_fine(line),
                "places finer than 1/15360 of a quarter",
            ),
        ],
        Format::Csv => vec![
            played_out,
            numbered,
            (has.event(|event| !event.graces.is_empty()), "grace notes"),
            (has.bar(|bar| !bar.chords.is_empty()), "chord symbols"),
            (has.bar(|bar| !bar.tempos.is_empty()), "changes of tempo"),
            (has.bar(|bar| bar.key != line.key()), "changes of key"),
            (
                has.frets(),
                "the number of frets and the length of the strings",
            ),
            (has.short_bars(), "that bars are short"),
            (
                has.silent_meters(),
                "meters of bars in which no note begins",
            ),
        ],
        Format::MusicXml | Format::Mxl => vec![
            (
                line.printed_bar(line.first_bar()) != line.first_bar(),
                "how many bars were played before the first",
            ),
            (
                has.frets(),
                "the number of frets and the length of the strings",
            ),
            (
                has.undrawn_beats(),
                "the beat of tempos that no note value has",
            ),
        ],
    };
    let found = found.into_iter().filter(|(there, _)| *there);
    found.map(|(_, what)| what.to_owned()).collect()
}

struct Has<'a> {
    line: &'a Line,
}

fn is_staccato(event: &Event) -> bool {
    matches!(event.kind, EventKind::Notes { staccato: true, .. })
}

fn notes(event: &Event) -> &[Note] {
    match &event.kind {
        EventKind::Notes { notes, .. } => notes,
        EventKind::Rest | EventKind::Hold => &[],
    }
}

impl Has<'_> {
    fn bar(&self, is: impl Fn(&Bar) -> bool) -> bool {
        self.line.written_bars().iter().any(is)
    }

    fn event(&self, is: impl Fn(&Event) -> bool) -> bool {
        self.bar(|bar| bar.events.iter().any(&is))
    }

    fn note(&self, is: impl Fn(&Note) -> bool) -> bool {
        self.event(|event| notes(event).iter().any(&is))
    }

    fn start(&self, is: impl Fn(Start) -> bool) -> bool {
        self.event(|event| match event.kind {
            EventKind::Notes { start, .. } => is(start),
            EventKind::Rest | EventKind::Hold => false,
        })
    }

    fn signs(&self) -> bool {
        self.bar(|bar| !bar.signs.is_empty())
    }

    fn short_bars(&self) -> bool {
        self.bar(|bar| bar.lacks != Lacks::Nothing)
    }

    /// True when a reader of MIDI files takes the first bar for a pick-up.
    fn short_start(&self) -> bool {
        let first = self.line.bars().iter().take(2).map(Bar::length);
        !self.line.has_pickup() && first.is_sorted_by(|a, b| a < b) && self.line.bars().len() > 1
    }

    fn frets(&self) -> bool {
        let instrument = self.line.instrument();
        instrument.frets() != DEFAULT_FRETS || instrument.scale_mm() != DEFAULT_SCALE_MM
    }

    /// True when reading would give another tuning.
    fn tuning(&self) -> bool {
        let events = self.line.bars().iter().flat_map(|bar| &bar.events);
        let groups: Vec<Vec<u8>> = events
            .map(|event| notes(event).iter().map(|note| note.midi).collect())
            .collect();
        let tuning = self.line.instrument().tuning();
        let chosen = super::part::instrument_for(&groups).0;
        chosen.tuning() != tuning || *tuning != Tuning::bass4()
    }

    fn tempos(&self) -> impl Iterator<Item = super::Tempo> {
        let marks = self.line.written_bars().iter().flat_map(|bar| &bar.tempos);
        marks.map(|mark| mark.tempo).chain([self.line.tempo()])
    }

    fn other_beats(&self) -> bool {
        self.tempos()
            .any(|tempo| tempo.beat() != super::Length::QUARTER)
    }

    fn undrawn_beats(&self) -> bool {
        self.tempos()
            .any(|tempo| super::musicxml::has_no_note_value(tempo.beat()))
    }

    /// True when a reader of MIDI files takes the line for one that was played by hand.
    fn unwritten_places(&self) -> bool {
        self.line.bars().iter().any(|bar| {
            let mut at = super::Length::ZERO;
            bar.events.iter().any(|event| {
                at += event.length;
                !midi::is_written_place(at)
            })
        })
    }

    /// Rests that the reader of MIDI files takes for legato.
    fn short_rests(&self) -> bool {
        let bars = self.line.bars();
        let events: Vec<&Event> = bars.iter().flat_map(|bar| &bar.events).collect();
        let mut sounding = super::Length::ZERO;
        events.iter().any(|event| {
            let length = event.length;
            match event.kind {
                EventKind::Notes { .. } => sounding = length,
                EventKind::Hold => sounding += length,
                EventKind::Rest => {
                    let share = length.quarters() / (sounding + length).quarters();
                    return sounding.is_positive() && (length.quarters() < 0.125 || share <= 0.1);
                }
            }
            false
        })
    }

    fn silent_meters(&self) -> bool {
        let mut before = super::Meter::default();
        self.line.bars().iter().any(|bar| {
            let begins = bar.events.iter().any(|event| !notes(event).is_empty());
            let changes = bar.meter != before;
            before = bar.meter;
            changes && !begins
        })
    }
}
