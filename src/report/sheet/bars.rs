//! What stands in each bar on paper, and how wide it wants to be.

use std::collections::HashMap;
use std::ops::Range;

use super::SheetOptions;
use super::rhythm::{Entry, beams, tuplets, value};
use super::shapes::word_width;
use crate::music::fingering::{Step, Way};
use crate::music::instrument::Instrument;
use crate::music::line::{
    Bar, Event, EventKind, Lacks, Length, Line, Meter, Note, Signs, Start, Tempo,
};
use crate::music::theory::Key;

/// Millimetres from a bar line to the first note. Common practice, no source; less lets numbers
/// touch the bar line.
const BEFORE_FIRST: f64 = 4.0;
/// Millimetres more where a meter is printed.
pub(super) const METER_WIDTH: f64 = 6.0;
/// Millimetres more where a repeat begins.
pub(super) const REPEAT_WIDTH: f64 = 2.5;
/// Millimetres a grace note takes before its note.
pub(super) const GRACE_WIDTH: f64 = 2.8;
/// Millimetres every note takes, whatever its length: two digits and a gap.
const NOTE_WIDTH: f64 = 3.2;
/// Millimetres a quarter takes beyond that.
const QUARTER_WIDTH: f64 = 7.5;
/// How width grows with length: below 1, so that long notes take less than their share. Common
/// practice of engraving, no source; 1 would be width by time.
const WIDTH_POWER: f64 = 0.6;
/// Size of chord symbols in millimetres.
pub(super) const CHORD_SIZE: f64 = 3.6;
/// Millimetres between two chord symbols at least.
const CHORD_GAP: f64 = 2.0;

/// A number on a string.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Mark {
    pub string: u8,
    /// `None` for a note without a place.
    pub fret: Option<u8>,
    pub finger: Option<u8>,
    /// A muted string, printed as a cross.
    pub ghost: bool,
}

/// How a note is reached from the one before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reached {
    Plucked,
    Slurred,
    Hammered,
    Pulled,
    Slid,
    /// Tied: it sounds on.
    Held,
}

/// One thing in a bar.
#[derive(Clone, Debug)]
pub(super) struct Item {
    pub entry: Entry,
    /// Empty for a rest.
    pub marks: Vec<Mark>,
    pub reached: Reached,
    pub staccato: bool,
    pub breath: bool,
    pub accent: bool,
    /// Grace notes before it, in order.
    pub graces: Vec<Mark>,
    /// The fret of finger 1 where it is printed, and whether the hand went up (1), down (-1) or
    /// begins here (0).
    pub hand: Option<(u8, i8)>,
    /// A word beneath it.
    pub beneath: Option<String>,
    /// Millimetres from the bar line, before the bar is stretched.
    pub x: f64,
}

/// One bar on paper.
#[derive(Clone, Debug)]
pub(super) struct SheetBar {
    pub number: u32,
    /// Printed where it is the first or another one.
    pub meter: Option<Meter>,
    /// Words above its start: a new key.
    pub words: Vec<String>,
    /// Repeats, endings and jumps.
    pub signs: Signs,
    pub chords: Vec<(f64, String)>,
    pub tempos: Vec<(f64, Tempo)>,
    pub items: Vec<Item>,
    pub beams: Vec<Range<usize>>,
    pub tuplets: Vec<(Range<usize>, u8)>,
    /// Millimetres up to the first note, which do not stretch.
    pub lead: f64,
    /// Millimetres from bar line to bar line, before it is stretched.
    pub width: f64,
}

impl SheetBar {
    /// Where a place of the bar lies once its notes are spread by `factor`.
    pub fn spread(&self, x: f64, factor: f64) -> f64 {
        self.lead + (x - self.lead) * factor
    }
}

/// All bars of the line, with the places of `way`.
pub(super) fn bars(line: &Line, way: &Way, options: &SheetOptions) -> Vec<SheetBar> {
    let mut source = Source::new(line, way, options);
    let mut before: Option<(Meter, Key)> = None;
    let mut list = Vec::with_capacity(line.bars().len());
    let numbers = line.written_numbers();
    for (index, bar) in line.written_bars().iter().enumerate() {
        let meter = (before.map(|before| before.0) != Some(bar.meter)).then_some(bar.meter);
        let words = match before {
            Some((_, key)) if key != bar.key => vec![bar.key.to_string()],
            _ => Vec::new(),
        };
        before = Some((bar.meter, bar.key));
        // A bar that is short at the start of the line is counted as the end of a full one.
        let starts_late = index == 0 && line.has_pickup() || bar.lacks == Lacks::Beginning;
        let offset = if starts_late {
            bar.meter.bar_length() - bar.length()
        } else {
            Length::ZERO
        };
        let mut lead = BEFORE_FIRST;
        if meter.is_some() {
            lead += METER_WIDTH;
        }
        if bar.signs.repeat_start {
            lead += REPEAT_WIDTH;
        }
        let (items, width) = source.items(index, bar, offset, lead);
        let entries: Vec<Entry> = items.iter().map(|item| item.entry).collect();
        let mut sheet = SheetBar {
            number: numbers.get(index).copied().unwrap_or(0),
            meter,
            words,
            signs: bar.signs.clone(),
            chords: Vec::new(),
            tempos: Vec::new(),
            beams: beams(&entries, bar.meter),
            tuplets: tuplets(&entries),
            items,
            lead,
            width,
        };
        let place = |at: Length| x_at(&sheet, at + offset);
        let chords: Vec<(f64, String)> = bar
            .chords
            .iter()
            .map(|chord| (place(chord.at), chord.symbol.text().to_owned()))
            .collect();
        let tempos = bar.tempos.iter().map(|mark| (place(mark.at), mark.tempo));
        sheet.tempos = tempos.collect();
        sheet.chords = chords;
        make_room(&mut sheet);
        list.push(sheet);
    }
    list
}

/// Where the items of a bar come from: the way's steps by bar and event, and what sounds.
struct Source<'a> {
    instrument: &'a Instrument,
    steps: HashMap<(usize, usize), (&'a Step, Option<&'a String>)>,
    hands: HashMap<(usize, usize), (u8, i8)>,
    fingers: bool,
    held: Vec<Mark>,
}

impl<'a> Source<'a> {
    fn new(line: &'a Line, way: &'a Way, options: &'a SheetOptions) -> Self {
        let order = line.order();
        let mut steps = HashMap::new();
        for (at, step) in way.steps.iter().enumerate() {
            let word = options.beneath.get(at).and_then(Option::as_ref);
            steps.entry(written(&order, step)).or_insert((step, word));
        }
        Self {
            instrument: line.instrument(),
            steps,
            hands: if options.fingers {
                hands(way, &order)
            } else {
                HashMap::new()
            },
            fingers: options.fingers,
            held: Vec::new(),
        }
    }

    /// What stands in a bar, from `lead` on, and how wide the bar is with it.
    fn items(&mut self, index: usize, bar: &Bar, offset: Length, lead: f64) -> (Vec<Item>, f64) {
        let mut at = offset;
        let mut x = lead;
        let mut items = Vec::with_capacity(bar.events.len());
        for (place, event) in bar.events.iter().enumerate() {
            let (step, beneath) = self.steps.get(&(index, place)).copied().unzip();
            let (marks, reached, staccato) = self.sounding(&event.kind, step);
            let graces = self.graces(event, &marks);
            x += GRACE_WIDTH * graces.len() as f64;
            items.push(Item {
                entry: Entry {
                    at,
                    length: event.length,
                    value: value(event.length),
                    is_rest: matches!(event.kind, EventKind::Rest),
                },
                marks,
                reached,
                staccato,
                breath: event.breath_after,
                accent: event.accent,
                graces,
                hand: self.hands.get(&(index, place)).copied(),
                beneath: beneath.flatten().cloned(),
                x,
            });
            at += event.length;
            x += NOTE_WIDTH + QUARTER_WIDTH * event.length.quarters().powf(WIDTH_POWER);
        }
        (items, x)
    }

    /// The grace notes before an event, without a place near the note they lead to.
    fn graces(&self, event: &Event, marks: &[Mark]) -> Vec<Mark> {
        let near = marks.first().map_or(0, |mark| mark.fret.unwrap_or(0));
        event
            .graces
            .iter()
            .flat_map(|grace| &grace.notes)
            .map(|note| {
                let places = self.instrument.places(note.midi);
                let nearest = places
                    .into_iter()
                    .min_by_key(|place| place.fret.abs_diff(near));
                let place = note.place.or(nearest);
                Mark {
                    string: place.map_or(1, |place| place.string),
                    fret: place.map(|place| place.fret),
                    finger: None,
                    ghost: note.ghost,
                }
            })
            .collect()
    }

    fn sounding(&mut self, kind: &EventKind, step: Option<&Step>) -> (Vec<Mark>, Reached, bool) {
        match kind {
            EventKind::Rest => (Vec::new(), Reached::Plucked, false),
            EventKind::Hold => {
                let tied = self.held.iter().map(|mark| Mark {
                    finger: None,
                    ..*mark
                });
                (tied.collect(), Reached::Held, false)
            }
            EventKind::Notes {
                notes,
                start,
                staccato,
                ..
            } => {
                self.held = marks(notes, step, self.fingers);
                let reached = match start {
                    Start::Plucked => Reached::Plucked,
                    Start::Slid => Reached::Slid,
                    Start::Hammered => Reached::Hammered,
                    Start::Pulled => Reached::Pulled,
                    Start::Slurred => Reached::Slurred,
                };
                (self.held.clone(), reached, *staccato)
            }
        }
    }
}

/// Where a time lies between the notes around it.
fn x_at(bar: &SheetBar, at: Length) -> f64 {
    let after = bar.items.partition_point(|item| item.entry.at <= at);
    let Some(item) = after.checked_sub(1).and_then(|index| bar.items.get(index)) else {
        return bar.lead;
    };
    let until = bar.items.get(after).map_or(bar.width, |next| next.x);
    let part = (at - item.entry.at).quarters() / item.entry.length.quarters();
    item.x + (until - item.x) * part.clamp(0.0, 1.0)
}

/// Widens a bar whose chord symbols would run into each other.
fn make_room(bar: &mut SheetBar) {
    let mut factor: f64 = 1.0;
    let ends = bar.chords.iter().skip(1).map(|chord| chord.0);
    for ((x, text), until) in bar.chords.iter().zip(ends.chain([bar.width])) {
        let wanted = word_width(text, CHORD_SIZE) + CHORD_GAP;
        if until > *x {
            factor = factor.max(wanted / (until - x));
        }
    }
    // No symbol is so long that a bar grows without bound.
    let factor = factor.min(6.0);
    if factor > 1.0 {
        let spread = |x: f64, lead: f64| lead + (x - lead) * factor;
        for item in &mut bar.items {
            item.x = spread(item.x, bar.lead);
        }
        for chord in &mut bar.chords {
            chord.0 = spread(chord.0, bar.lead);
        }
        for tempo in &mut bar.tempos {
            tempo.0 = spread(tempo.0, bar.lead);
        }
        bar.width = spread(bar.width, bar.lead);
    }
}

fn marks(notes: &[Note], step: Option<&Step>, fingers: bool) -> Vec<Mark> {
    notes
        .iter()
        .enumerate()
        .map(|(at, note)| {
            let fingered = step.and_then(|step| step.notes.get(at));
            let place = fingered.map(|fingered| fingered.place).or(note.place);
            let planned = fingered.and_then(|fingered| fingered.finger);
            Mark {
                string: place.map_or(1, |place| place.string),
                fret: place.map(|place| place.fret),
                finger: if fingers { planned } else { note.finger },
                ghost: note.ghost,
            }
        })
        .collect()
}

/// The written bar and the event of a step: a way goes through the bars as they are played.
fn written(order: &[usize], step: &Step) -> (usize, usize) {
    let (bar, event) = step.position.event;
    (order.get(bar).copied().unwrap_or(bar), event)
}

/// The events where the fret of finger 1 is printed: the first that is stopped, and each shift.
fn hands(way: &Way, order: &[usize]) -> HashMap<(usize, usize), (u8, i8)> {
    let mut hands = HashMap::new();
    let fretted = |step: &&Step| step.notes.iter().any(|note| note.finger.is_some());
    if let Some(step) = way.steps.iter().find(fretted)
        && let Some(hand) = step.hand
    {
        hands.insert(written(order, step), (hand, 0));
    }
    for shift in &way.costs.shifts {
        if let Some(step) = way.steps.get(shift.to)
            && let Some(hand) = step.hand
        {
            let side = shift.frets.signum() as i8;
            hands.entry(written(order, step)).or_insert((hand, side));
        }
    }
    hands
}
