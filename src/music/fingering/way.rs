//! A way to finger a line, what it costs, and the same in words.

use super::costs::Prices;
use super::grips::Grip;
use super::kinds::{HandWay, hand_ways, joins};
use super::reach::reach_mm;
use super::wanted::{Begun, Group};
use crate::music::expected::{JoinKind, Place};
use crate::music::instrument::Instrument;
use crate::words;

/// Where a note or chord stands in its line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Position {
    /// The number printed for its bar.
    pub bar: u32,
    /// The beat, from 1.
    pub beat: f64,
    /// The bar as played and the event within it, both from 0.
    pub event: (usize, usize),
}

/// One note as it is fingered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fingered {
    /// The pitch, a MIDI note number.
    pub midi: u8,
    /// String and fret.
    pub place: Place,
    /// The finger, 1 to 4; `None` on an open string.
    pub finger: Option<u8>,
}

/// One note or chord of a way.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Where it stands.
    pub position: Position,
    /// When it begins, in seconds at the written tempo.
    pub onset_s: f64,
    /// Its notes from the lowest up; empty where the instrument does not have it.
    pub notes: Vec<Fingered>,
    /// The fret where finger 1 lies; `None` before anything is fretted, or where it cannot be
    /// played. Over an open string the hand is where it was.
    pub hand: Option<u8>,
    /// The join to the next step; `None` for the last, and beside what cannot be played.
    pub join: Option<JoinKind>,
}

/// The hand goes to another place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shift {
    /// The step it goes to, from 0.
    pub to: usize,
    /// The step before, from 0.
    pub from: usize,
    /// Frets up the neck, negative down.
    pub frets: i16,
    /// Millimetres.
    pub mm: f64,
    /// Milliseconds from the onset before to the onset it goes to.
    pub ms: f64,
    /// True when it is heard through a slur, without a slide of one finger.
    pub under_slur: bool,
    /// True when an open string sounds meanwhile.
    pub over_open: bool,
}

/// What a way costs.
#[derive(Clone, Debug, PartialEq)]
pub struct WayCosts {
    /// All efforts together; 1 is one change to the next string in good time.
    pub efforts: f64,
    /// Every movement of the hand to another place, in order.
    pub shifts: Vec<Shift>,
    /// How often finger 1 or 4 leaves the hand's frame.
    pub stretches: usize,
    /// Changes of string, and of these the ones over a string between.
    pub crossings: (usize, usize),
    /// How often one finger is laid over two strings.
    pub rolls: usize,
    /// Notes on open strings.
    pub open: usize,
    /// Lowest and highest fret that is stopped; `None` when all strings are open.
    pub frets: Option<(u8, u8)>,
}

/// A way to finger a line.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    /// What it costs.
    pub costs: WayCosts,
    /// One for each note or chord to be played, in order.
    pub steps: Vec<Step>,
}

impl Way {
    /// A way from what was found; `cost` in thousandths of an effort.
    pub(super) fn new(
        groups: &[Group],
        positions: &[Position],
        grips: &[Option<Grip>],
        cost: i64,
        prices: &Prices<'_>,
    ) -> Self {
        let kinds = joins(grips);
        let steps: Vec<Step> = groups
            .iter()
            .zip(positions)
            .zip(grips)
            .enumerate()
            .map(|(at, ((group, &position), grip))| Step {
                position,
                onset_s: group.onset_s,
                notes: grip
                    .as_ref()
                    .map_or_else(Vec::new, |grip| notes(group, grip)),
                hand: grip.as_ref().map(|grip| grip.hand).filter(|&hand| hand > 0),
                join: kinds.get(at).copied().flatten(),
            })
            .collect();
        let costs = WayCosts::new(groups, grips, &steps, cost, prices.instrument());
        Self { costs, steps }
    }

    /// What there is to know of it, a sentence each, the shifts first.
    ///
    /// ```
    /// use seamline::music::fingering::{Hand, plan};
    /// use seamline::music::line::read_text;
    ///
    /// let line = read_text("tempo: 120\n3:3 3:5 2:2 2:3\n1:12 1:10 1:9 1:7\n").unwrap();
    /// let way = &plan(&line, line.instrument(), &Hand::default())[0];
    /// let told = way.explain();
    /// assert!(told[0].starts_with("1 shift: "), "{told:?}");
    /// assert!(told[0].contains("between bar 1 beat 4 and bar 2, in 500 ms"), "{told:?}");
    /// ```
    pub fn explain(&self) -> Vec<String> {
        let costs = &self.costs;
        let mut told = vec![self.shifts_told()];
        let quickest = costs.shifts.iter().min_by(|a, b| a.ms.total_cmp(&b.ms));
        if let (Some(quickest), Some(largest)) = (quickest, self.largest())
            && quickest.to != largest.to
        {
            told.push(format!("the quickest shift: {}", self.shift_told(quickest)));
        }
        let slurred = costs.shifts.iter().filter(|shift| shift.under_slur).count();
        if slurred > 0 {
            let count = words::count(slurred, "shift");
            told.push(format!("{count} under a slur, where the sound will break"));
        }
        if costs.stretches > 0 {
            let (one, many) = words::STRETCH;
            let word = words::plural(costs.stretches, one, many);
            told.push(format!("{} {word}", costs.stretches));
        }
        let (all, over) = costs.crossings;
        if all > 0 {
            let (one, many) = words::CROSSING;
            let word = words::plural(all, one, many);
            let over = if over > 0 {
                format!(", {over} of them over a string between")
            } else {
                String::new()
            };
            told.push(format!("{all} {word}{over}"));
        }
        if costs.rolls > 0 {
            let (one, many) = words::ROLL;
            told.push(format!(
                "{} {}",
                costs.rolls,
                words::plural(costs.rolls, one, many)
            ));
        }
        told.push(self.frets_told());
        told.push(format!("{:.1} efforts in all", costs.efforts));
        told
    }

    /// Its largest shift; the first of equal ones.
    pub fn largest(&self) -> Option<&Shift> {
        let mut largest: Option<&Shift> = None;
        for shift in &self.costs.shifts {
            if largest.is_none_or(|other| shift.frets.abs() > other.frets.abs()) {
                largest = Some(shift);
            }
        }
        largest
    }

    fn shifts_told(&self) -> String {
        let count = self.costs.shifts.len();
        let Some(largest) = self.largest() else {
            return match self.steps.iter().find_map(|step| step.hand) {
                Some(hand) => format!("no shift: the hand stays at fret {hand}"),
                None => "no shift: open strings only".to_owned(),
            };
        };
        let (one, many) = words::SHIFT;
        let word = words::plural(count, one, many);
        let which = if count == 1 { ": " } else { ", the largest " };
        format!("{count} {word}{which}{}", self.shift_told(largest))
    }

    /// "4 frets up between bar 2 beat 4 and bar 3, in 260 ms".
    fn shift_told(&self, shift: &Shift) -> String {
        let (from, to) = (
            self.steps[shift.from].position,
            self.steps[shift.to].position,
        );
        let side = if shift.frets > 0 { "up" } else { "down" };
        let until = if to.bar != from.bar && to.beat == 1.0 {
            words::bars((to.bar, to.bar))
        } else if to.bar != from.bar {
            words::place(to.bar, to.beat)
        } else {
            format!("beat {}", words::beat(to.beat))
        };
        let open = if shift.over_open {
            " over an open string"
        } else {
            ""
        };
        format!(
            "{} {side} between {} and {until}{open}, in {:.0} ms",
            words::count(usize::from(shift.frets.unsigned_abs()), "fret"),
            words::place(from.bar, from.beat),
            shift.ms
        )
    }

    fn frets_told(&self) -> String {
        let frets = match self.costs.frets {
            Some((low, high)) if low == high => format!("fret {low}"),
            Some((low, high)) => format!("frets {low} to {high}"),
            None => "no fret".to_owned(),
        };
        match self.costs.open {
            0 => format!("{frets}, no open string"),
            open => format!("{frets}, {} on open strings", words::count(open, "note")),
        }
    }
}

fn notes(group: &Group, grip: &Grip) -> Vec<Fingered> {
    group
        .notes
        .iter()
        .zip(&grip.held)
        .map(|(note, held)| Fingered {
            midi: note.midi,
            place: held.place,
            finger: (held.finger > 0).then_some(held.finger),
        })
        .collect()
}

impl WayCosts {
    fn new(
        groups: &[Group],
        grips: &[Option<Grip>],
        steps: &[Step],
        cost: i64,
        instrument: &Instrument,
    ) -> Self {
        let ways = hand_ways(grips);
        let mut costs = Self {
            efforts: cost as f64 / 1000.0,
            shifts: Vec::new(),
            stretches: 0,
            crossings: (0, 0),
            rolls: steps
                .iter()
                .filter(|step| step.join == Some(JoinKind::Roll))
                .count(),
            open: 0,
            frets: None,
        };
        let mut last: Option<(usize, &Grip)> = None;
        for (at, grip) in grips.iter().enumerate() {
            let Some(grip) = grip else { continue };
            costs.open += grip.held.iter().filter(|held| held.finger == 0).count();
            for held in grip.held.iter().filter(|held| held.finger > 0) {
                let fret = held.place.fret;
                let (low, high) = costs.frets.unwrap_or((fret, fret));
                costs.frets = Some((low.min(fret), high.max(fret)));
            }
            costs.stretches += usize::from(ways[at] == HandWay::Out);
            if let Some((from, before)) = last {
                let (a, b) = (before.lead(), grip.lead());
                let passed = a.place.string.abs_diff(b.place.string);
                costs.crossings.0 += usize::from(passed > 0);
                costs.crossings.1 += usize::from(passed > 1);
                if ways[at] == HandWay::Shifts {
                    let slides = groups[at].begun == Begun::Slid && a.finger == b.finger;
                    costs.shifts.push(Shift {
                        to: at,
                        from,
                        frets: i16::from(grip.hand) - i16::from(before.hand),
                        mm: reach_mm(instrument, before.hand, grip.hand),
                        ms: (groups[at].onset_s - groups[from].onset_s) * 1000.0,
                        under_slur: groups[at].begun != Begun::Plucked && !slides,
                        over_open: before.has_open(),
                    });
                }
            }
            last = Some((at, grip));
        }
        costs
    }
}
