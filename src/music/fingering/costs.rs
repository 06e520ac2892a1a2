//! What the planner pays for what the hand does: every price, and the rules that use them.
//!
//! The unit is the effort of one change to the next string in good time; all else is held against
//! that. Which things cost is taken from the literature; how much is chosen here, so that the
//! fingerings of the trade come out (the tests of this room), since no published prices exist for
//! the bass. Those of shifts, of open strings and rests on the way, of height and of the low places
//! were moved once towards the places that another planner gave 118 generated lines (from 92 to 95
//! in 100 notes the same), so that agreement with those lines proves nothing of them. Prices are added up in whole thousandths, so that a sum never hangs on its order.
//!
//! # Source
//! Terms: Sayegh 1989, *Computer Music Journal* 13(3), 76 (cheapest path); Heijink & Meulenbroek
//! 2002, *J. Motor Behav.* 34, 339 (grip, place along the neck, moving); Radicioni, Anselma &
//! Lombardo 2004 (along the neck and across the strings). Millimetres rather than frets: Rau 2016.

use super::grips::{Grip, Held};
use super::hand::{Hand, OpenStrings};
use super::reach::{FRAME_FRETS, reach_mm};
use super::wanted::{Begun, Group};
use crate::music::instrument::Instrument;

/// Efforts for moving the hand at all. Chosen: a shift is worth five crossings and more. Raising it
/// gives fewer shifts.
const SHIFT: f64 = 5.0;
/// Efforts for the root of each millimetre the hand moves: 100 mm, three frets at the nut, cost
/// 5 more. Chosen; the root, because a long shift is one movement as a short one is. Raising it
/// gives shorter shifts.
const SHIFT_PER_ROOT_MM: f64 = 0.5;
/// Seconds: in this time from onset to onset a shift costs twice what it does in good time, in
/// half of it three times. About the quickest aimed movement over a hand's breadth; common
/// practice, no source. Raising it moves shifts to long notes.
const HASTE_S: f64 = 0.12;
/// Seconds: no time between two onsets counts as shorter, so that a misprint costs no infinity.
const SHORTEST_S: f64 = 0.03;
/// Share of a shift's price where the sound may stop before it (rest, breath, dot): nobody hears
/// the hand move. Chosen; raising it to 1 makes rests worth nothing beyond their time.
const EXPOSED_AFTER_REST: f64 = 0.7;
/// Share where an open string sounds while the hand moves: the tone goes on, but the string must be
/// damped from the new place. Chosen, nearer to 1 than after a rest.
const EXPOSED_OVER_OPEN: f64 = 0.8;
/// Share over a bar line, where a phrase is likelier to break. Chosen; it only settles what is
/// nearly even.
const EXPOSED_OVER_BAR: f64 = 0.95;
/// Times a shift's price into a note that is hammered, pulled or slid with another finger: it can
/// hardly be done. Chosen; raising it only matters against [`LEAVES_STRING`].
const SHIFT_UNDER_SLUR: f64 = 4.0;
/// Efforts for a slide by one finger along its string: the hand moves, but the sound bridges it.
/// Chosen.
const SLIDE: f64 = 1.0;
/// Efforts for leaving the string under a slur or slide, which cannot be done: it only happens
/// where no place avoids it.
const LEAVES_STRING: f64 = 1000.0;
/// Efforts for each string passed: next string 1, the one after it 2. This is the unit.
const CROSSING: f64 = 1.0;
/// Efforts less for a rake to the next thicker string, where the player rakes. Chosen, below one
/// crossing.
const RAKE: f64 = 0.4;
/// Efforts for one finger laid over two neighbouring strings, beside the crossing: the first note
/// must be damped by the same finger. Chosen. Raising it sends such pairs to other places.
const ROLL: f64 = 0.7;
/// Efforts for one finger that leaves a string and is wanted at once at another fret with the hand
/// still, or at the same fret two strings away. Chosen. Raising it gives each note its own finger.
const JUMP: f64 = 1.5;
/// Efforts for a shift that takes the same finger along on one string to another fret: a guide on
/// the string, but the note before ends early. Chosen, well below [`JUMP`].
const GUIDED: f64 = 0.3;
/// Efforts for finger 1 or 4 one fret outside of its frame, beside the millimetres. Chosen: below a
/// shift there and back. Raising it gives shifts for stretches.
const EXTENSION: f64 = 4.0;
/// Efforts for each millimetre of reach beyond the hand's span. Chosen: frets 1 to 4 at 34 inch
/// (130 mm) cost a hand of 110 mm 1.2 efforts. Raising it keeps small hands together.
const PER_MM_BEYOND_SPAN: f64 = 0.06;
/// Efforts for a fourth fret where the hand is fingered 1-2-4: the hand turns on the thumb. Chosen,
/// below a shift.
const FOURTH_FRET_LOW: f64 = 0.5;
/// Efforts for finger 3 where the hand is fingered 1-2-4. Chosen above a roll, so that finger 4 lies
/// over two strings rather than 3 beside 4; below a jump of finger 4.
const THIRD_FINGER_LOW: f64 = 1.2;
/// Efforts for each finger, 1 to 4: the third and the little one are weaker. Common practice, no
/// source; small, so that they settle what is nearly even.
const WEAK: [f64; 4] = [0.0, 0.05, 0.1, 0.2];
/// Efforts for a finger that is to be spared. Chosen: more than a shift, less than what cannot be
/// done.
const SPARED: f64 = 15.0;
/// Efforts for each fret of a finger that the line puts where the hand cannot have it. Only given
/// fingers pay it; it places the hand nearest to them.
const TWISTED_PER_FRET: f64 = 6.0;
/// Efforts for each 100 mm between nut and hand: low places win what is even. Chosen: the twelfth
/// fret costs two crossings a note. Raising it takes high passages back down between their notes.
const HEIGHT_PER_100_MM: f64 = 0.5;
/// Efforts for an open string: its tone differs and it must be damped. Chosen.
const OPEN: f64 = 0.5;
/// Efforts for an open string that is to be avoided. Chosen: more than two shifts.
const OPEN_AVOIDED: f64 = 25.0;
/// Efforts for a fretted note that an open string has too, where open strings are wanted. Chosen:
/// more than two shifts.
const OPEN_LEFT: f64 = 25.0;
/// Efforts for a second shift in the same direction right after one, in good time. Chosen: one
/// long shift is easier than two. Raising it parts shifts.
const CHAIN: f64 = 1.5;
/// Efforts for a shift back right after a shift, in good time. Chosen, dearer than [`CHAIN`]:
/// the arm turns round.
const TURN: f64 = 2.5;
/// Efforts saved where the hand goes one fret out and back at once: the thumb stays and the hand
/// turns on it (a pivot). Chosen: below one shift, so that it is never free.
const PIVOT: f64 = 4.0;

/// Whole thousandths of an effort.
fn milli(efforts: f64) -> i64 {
    (efforts * 1000.0).round() as i64
}

/// How the hand came to a group.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Move {
    /// It stayed.
    Still,
    /// One fret up the neck.
    UpOne,
    /// One fret down.
    DownOne,
    /// Further up.
    Up,
    /// Further down.
    Down,
}

impl Move {
    /// How many there are.
    pub const COUNT: usize = 5;

    /// All of them, in order.
    pub const ALL: [Self; Self::COUNT] = [
        Self::Still,
        Self::UpOne,
        Self::DownOne,
        Self::Up,
        Self::Down,
    ];

    /// The way between two places of the hand; a hand that is nowhere yet (0) does not move.
    pub fn between(from: u8, to: u8) -> Self {
        if from == 0 || to == 0 {
            return Self::Still;
        }
        match i16::from(to) - i16::from(from) {
            0 => Self::Still,
            1 => Self::UpOne,
            -1 => Self::DownOne,
            up if up > 0 => Self::Up,
            _ => Self::Down,
        }
    }

    fn is_up(self) -> bool {
        matches!(self, Self::UpOne | Self::Up)
    }
}

/// What lies between two groups, the same for every way to hold them.
#[derive(Clone, Copy, Debug)]
pub(super) struct Between {
    begun: Begun,
    /// Thousandths: what a shift costs here against one in good time.
    shift_share: i64,
    /// Thousandths: haste alone.
    haste: i64,
}

impl Between {
    pub fn new(from: &Group, to: &Group) -> Self {
        let seconds = (to.onset_s - from.onset_s).max(SHORTEST_S);
        let haste = 1.0 + HASTE_S / seconds;
        let mut share = haste;
        if from.let_go {
            share *= EXPOSED_AFTER_REST;
        }
        if to.first_of_bar {
            share *= EXPOSED_OVER_BAR;
        }
        if to.begun != Begun::Plucked {
            share *= SHIFT_UNDER_SLUR;
        }
        Self {
            begun: to.begun,
            shift_share: milli(share),
            haste: milli(haste),
        }
    }
}

/// The prices for one instrument and hand.
pub(super) struct Prices<'a> {
    instrument: &'a Instrument,
    hand: &'a Hand,
    /// Of a shift between two frets in good time.
    shifts: Vec<Vec<i64>>,
}

impl<'a> Prices<'a> {
    pub fn new(instrument: &'a Instrument, hand: &'a Hand) -> Self {
        let frets = instrument.frets();
        let price = |from: u8, to: u8| {
            if from == to || from == 0 || to == 0 {
                return 0;
            }
            milli(SHIFT + SHIFT_PER_ROOT_MM * reach_mm(instrument, from, to).sqrt())
        };
        Self {
            instrument,
            hand,
            shifts: (0..=frets)
                .map(|from| (0..=frets).map(|to| price(from, to)).collect())
                .collect(),
        }
    }

    pub fn instrument(&self) -> &Instrument {
        self.instrument
    }

    pub fn hand(&self) -> &Hand {
        self.hand
    }

    /// What a grip costs in itself.
    pub fn own(&self, grip: &Grip) -> i64 {
        let mut efforts = 0.0;
        for held in &grip.held {
            efforts += self.note(*held, grip.hand);
        }
        if grip.needs_hand {
            efforts += HEIGHT_PER_100_MM * self.instrument.fret_mm(grip.hand) / 100.0;
            let frets = grip.held.iter().map(|held| held.place.fret);
            let highest = frets.clone().max().unwrap_or(0);
            let lowest = frets.filter(|&fret| fret > 0).min().unwrap_or(highest);
            // Fingers 1 and 4 count too where they are not used: they stay where they lie.
            let from = lowest.min(grip.hand);
            let stretched = grip.held.iter().any(|held| held.stretched);
            let frame = (grip.hand + FRAME_FRETS - 1).min(self.instrument.frets());
            let to = if stretched {
                highest.max(frame)
            } else {
                highest
            };
            let reach = reach_mm(self.instrument, from, to);
            efforts += PER_MM_BEYOND_SPAN * (reach - self.hand.span_mm()).max(0.0);
        }
        for pair in grip.held.windows(2) {
            efforts += CROSSING * f64::from(pair[0].place.string.abs_diff(pair[1].place.string));
            if pair[0].finger == pair[1].finger && pair[0].finger != 0 {
                efforts += ROLL;
            }
        }
        milli(efforts)
    }

    fn note(&self, held: Held, hand: u8) -> f64 {
        if held.place.fret == 0 {
            return match self.hand.open {
                OpenStrings::Wanted => 0.0,
                OpenStrings::Avoided => OPEN_AVOIDED,
                OpenStrings::Free => OPEN,
            };
        }
        let mut efforts = 0.0;
        if self.hand.open == OpenStrings::Wanted {
            let midi = self.instrument.midi_at(held.place);
            let open = self.instrument.tuning().open_strings();
            if midi.is_some_and(|midi| open.contains(&midi)) {
                efforts += OPEN_LEFT;
            }
        }
        efforts += WEAK[usize::from(held.finger.clamp(1, 4)) - 1];
        if self.hand.spares(held.finger) {
            efforts += SPARED;
        }
        if held.stretched {
            return efforts + EXTENSION;
        }
        let low = self.hand.is_low(hand);
        let frame = i16::from(hand) + i16::from(held.finger) - 1;
        let off = (i16::from(held.place.fret) - frame).abs();
        match (held.finger, off) {
            (4, 1) if low && i16::from(held.place.fret) < frame => {}
            (4, 0) if low => efforts += FOURTH_FRET_LOW,
            (3, 0) if low => efforts += THIRD_FINGER_LOW,
            (_, off) => {
                let beyond = i16::from(held.place.fret) - i16::from(hand);
                // A chord that no hand frames pays by its millimetres instead.
                if !(held.finger == 4 && beyond > i16::from(FRAME_FRETS)) {
                    efforts += TWISTED_PER_FRET * f64::from(off);
                }
            }
        }
        efforts
    }

    /// What the way from one grip to the next costs; `None` when the hand would have to move for
    /// an open string, which never needs it.
    pub fn join(&self, from: &Grip, to: &Grip, between: Between) -> Option<i64> {
        if !to.needs_hand && from.hand != to.hand {
            return None;
        }
        let (a, b) = (from.lead(), to.lead());
        let passed = a.place.string.abs_diff(b.place.string);
        let mut cost = milli(CROSSING) * i64::from(passed);
        if self.hand.rakes
            && b.place.string == a.place.string + 1
            && between.begun == Begun::Plucked
        {
            cost -= milli(RAKE);
        }
        if passed > 0 && between.begun != Begun::Plucked {
            cost += milli(LEAVES_STRING);
        }
        let same_finger = a.finger == b.finger && a.finger != 0;
        if between.begun == Begun::Slid && same_finger && passed == 0 {
            return Some(cost + milli(SLIDE));
        }
        let moved = Move::between(from.hand, to.hand) != Move::Still;
        if moved {
            let price = self.shifts[usize::from(from.hand)][usize::from(to.hand)];
            let mut share = between.shift_share;
            if from.has_open() {
                share = share * milli(EXPOSED_OVER_OPEN) / 1000;
            }
            cost += price * share / 1000;
        }
        if same_finger && a.place != b.place {
            let efforts = match (moved, a.place.fret == b.place.fret, passed) {
                (false, true, 1) => ROLL,
                (true, _, 0) => GUIDED,
                (true, _, _) => 0.0,
                (false, _, _) => JUMP,
            };
            cost += milli(efforts) * between.haste / 1000;
        }
        Some(cost)
    }

    /// What two movements in a row cost beyond each for itself: `second` right after `first`.
    /// Below zero for a pivot.
    pub fn in_a_row(&self, first: Move, second: Move, between: Between) -> i64 {
        if first == Move::Still || second == Move::Still {
            return 0;
        }
        let pivots = matches!(
            (first, second),
            (Move::UpOne, Move::DownOne) | (Move::DownOne, Move::UpOne)
        );
        if pivots {
            return -milli(PIVOT);
        }
        let efforts = if first.is_up() == second.is_up() {
            CHAIN
        } else {
            TURN
        };
        milli(efforts) * between.haste / 1000
    }
}
