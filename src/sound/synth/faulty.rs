//! Putting faults into a performance.

use crate::sound::synth::fault::{Fault, FaultError, Spot};
use crate::sound::synth::performance::{Performance, PlayedNote, Role};
use crate::units::{Cents, Decibels};

/// Beats count as equal within this much: a beat is typed with few decimals (3.33 for a triplet).
const SAME_BEAT: f64 = 0.02;

/// A join counts as held when the release lies this close to the next onset, in seconds: the
/// touch of the finger before it, or the damping after it.
const HELD_S: f64 = 0.03;

/// How long a note that was not damped rings on, in seconds, if its string stays free.
const RINGS_ON_S: f64 = 1.5;

/// The shortest a note can become, in seconds.
const SHORTEST_S: f64 = 0.02;

/// Time constant of the damping where a gap is wanted: a quick, firm finger, so that the gap is a
/// gap and not a decay.
const FIRM_TAU_S: f64 = 0.008;

impl Performance {
    /// The performance with these faults, put in one after the other. A note before a late or an
    /// early one lasts or ends with it, so that one fault stays one fault.
    ///
    /// # Errors
    /// When a spot has no note, or an open string cannot sound there.
    pub fn with_faults(mut self, faults: &[Fault]) -> Result<Self, FaultError> {
        for fault in faults {
            self.put(fault)?;
        }
        self.notes.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
        Ok(self)
    }

    fn put(&mut self, fault: &Fault) -> Result<(), FaultError> {
        match *fault {
            Fault::Wrong { at, semitones } => {
                let note = self.find(at)?;
                transpose(&mut self.notes[note], semitones);
            }
            Fault::Missed { at } => {
                let note = self.find(at)?;
                self.notes.remove(note);
            }
            Fault::Extra { at, semitones } => self.put_extra(at, semitones)?,
            Fault::Early { at, ms } => self.displace(at, -ms)?,
            Fault::Late { at, ms } => self.displace(at, ms)?,
            Fault::Gap { at, ms } => {
                let note = self.find(at)?;
                let end_s = self.next_onset(note).unwrap_or(self.notes[note].release_s);
                self.end(note, end_s - ms / 1_000.0);
            }
            Fault::Clipped { at, ms } => {
                let note = self.find(at)?;
                self.end(note, self.notes[note].release_s - ms / 1_000.0);
            }
            Fault::Dead { at } => {
                let note = self.find(at)?;
                self.notes[note].dead = true;
            }
            Fault::Sharp { at, cents } => {
                let note = self.find(at)?;
                self.notes[note].cents = Cents(cents);
            }
            Fault::Flat { at, cents } => {
                let note = self.find(at)?;
                self.notes[note].cents = Cents(-cents);
            }
            Fault::LeftRinging { at, db } => {
                let which = self.find(at)?;
                let next_s = self.next_on_string(which).unwrap_or(f64::INFINITY);
                let note = &mut self.notes[which];
                if next_s <= note.release_s + HELD_S {
                    return Err(FaultError::StringInUse {
                        string: note.string,
                        spot: at,
                    });
                }
                note.left_ringing = Decibels(db);
                note.stopped_s = note.release_s + RINGS_ON_S;
            }
            Fault::OpenString { at, string, db } => self.put_open(at, string, db)?,
            Fault::Drift { percent } => self.drift(percent),
        }
        Ok(())
    }

    /// The first written note at the spot.
    fn find(&self, spot: Spot) -> Result<usize, FaultError> {
        let written = |note: &&PlayedNote| note.role == Role::Written;
        self.notes
            .iter()
            .position(|note| {
                note.role == Role::Written
                    && match spot {
                        Spot::Beat { bar, beat } => {
                            note.bar == bar && (note.beat - beat).abs() < SAME_BEAT
                        }
                        Spot::Note(number) => note.index == number.checked_sub(1),
                    }
            })
            .ok_or_else(|| FaultError::Nowhere {
                spot,
                notes: self.notes.iter().filter(written).count(),
                last_bar: self.notes.iter().map(|note| note.bar).max().unwrap_or(0),
            })
    }

    /// The onset of the next written note that does not sound together with this one.
    fn next_onset(&self, note: usize) -> Option<f64> {
        let this = &self.notes[note];
        self.notes
            .iter()
            .filter(|n| n.role == Role::Written && n.onset_s > this.onset_s + HELD_S)
            .map(|n| n.onset_s)
            .min_by(f64::total_cmp)
    }

    /// Ends a note early, with a firm finger.
    fn end(&mut self, note: usize, release_s: f64) {
        let note = &mut self.notes[note];
        note.release_s = release_s.min(note.release_s).max(note.onset_s + SHORTEST_S);
        note.stopped_s = note.release_s;
        note.damp_tau_s = FIRM_TAU_S;
    }

    /// Moves the onset of one note. Notes that were held up to it are held up to where it is now.
    fn displace(&mut self, at: Spot, ms: f64) -> Result<(), FaultError> {
        let which = self.find(at)?;
        let old_s = self.notes[which].onset_s;
        let before_s = self
            .notes
            .iter()
            .filter(|n| n.onset_s < old_s)
            .map(|n| n.onset_s)
            .fold(0.0, f64::max);
        let new_s = (old_s + ms / 1_000.0).max(before_s + SHORTEST_S);
        for note in &mut self.notes {
            let held = note.onset_s < old_s && (note.release_s - old_s).abs() <= HELD_S;
            if held {
                let moved_s = (note.release_s + new_s - old_s).max(note.onset_s + SHORTEST_S);
                note.stopped_s += moved_s - note.release_s;
                note.release_s = moved_s;
            }
        }
        let note = &mut self.notes[which];
        note.onset_s = new_s;
        note.release_s = note.release_s.max(new_s + SHORTEST_S);
        note.stopped_s = note.stopped_s.max(note.release_s);
        Ok(())
    }

    fn put_extra(&mut self, at: Spot, semitones: i32) -> Result<(), FaultError> {
        let which = self.find(at)?;
        let end_s = self
            .next_onset(which)
            .unwrap_or(self.notes[which].release_s);
        let note = &mut self.notes[which];
        let mut extra = note.clone();
        extra.index = None;
        extra.role = Role::Extra;
        extra.onset_s = (note.onset_s + end_s) / 2.0;
        extra.release_s = note.release_s.max(extra.onset_s + SHORTEST_S);
        extra.stopped_s = extra.release_s;
        extra.slurred = false;
        transpose(&mut extra, semitones);
        let touched_s = extra.onset_s - note.touch_s;
        note.release_s = note.release_s.min(touched_s).max(note.onset_s + SHORTEST_S);
        note.stopped_s = note.release_s;
        self.notes.insert(which + 1, extra);
        Ok(())
    }

    /// An open string set off with a note. It sounds until its string is played, or dies away.
    fn put_open(&mut self, at: Spot, string: u8, db: f64) -> Result<(), FaultError> {
        let which = self.find(at)?;
        let note = &self.notes[which];
        if note.string == string {
            return Err(FaultError::StringInUse { string, spot: at });
        }
        let open = open_pitch(string, &self.notes).unwrap_or(note.midi);
        let end_s = note.onset_s + RINGS_ON_S;
        let bleed = PlayedNote {
            index: None,
            role: Role::Bleed,
            midi: open,
            cents: Cents(0.0),
            string,
            fret: 0,
            level: Decibels(note.level.0 + db),
            release_s: end_s,
            stopped_s: end_s,
            left_ringing: Decibels(f64::NEG_INFINITY),
            dead: false,
            slurred: false,
            touch_s: 0.0,
            ..note.clone()
        };
        self.notes.insert(which + 1, bleed);
        Ok(())
    }

    /// Stretches time so that the tempo at the last onset is lower by `percent` than at the first.
    fn drift(&mut self, percent: f64) {
        let onsets = || self.notes.iter().map(|n| n.onset_s);
        let first_s = onsets().fold(f64::INFINITY, f64::min);
        let length_s = onsets().fold(0.0, f64::max) - first_s;
        if length_s.is_nan() || length_s <= 0.0 {
            return;
        }
        // A beat lasts 1 / (1 - p x) of its time when the part x of the line has gone by.
        let p = percent / 100.0;
        let map = |at_s: f64| {
            let x = ((at_s - first_s) / length_s).max(0.0);
            if x <= 0.0 || p == 0.0 {
                at_s
            } else {
                first_s - length_s * (1.0 - p * x).ln() / p
            }
        };
        for note in &mut self.notes {
            let held_s = note.release_s - note.onset_s;
            let after_s = note.stopped_s - note.release_s;
            let (onset_s, release_s) = (map(note.onset_s), map(note.release_s));
            note.onset_s = onset_s;
            note.release_s = if release_s.is_finite() {
                release_s
            } else {
                onset_s + held_s
            };
            note.stopped_s = note.release_s + after_s;
        }
    }
}

/// Semitones between neighbouring strings of a bass: fourths.
const FOURTH: u8 = 5;

/// Plays a note some semitones off: on the same string, or below its nut on the next ones down.
fn transpose(note: &mut PlayedNote, semitones: i32) {
    note.midi += f64::from(semitones);
    let mut fret = i32::from(note.fret) + semitones;
    while fret < 0 {
        fret += i32::from(FOURTH);
        note.string = note.string.saturating_add(1);
    }
    note.fret = u8::try_from(fret).unwrap_or(u8::MAX);
}

/// The open pitch of a string: told by the nearest string that is played, in fourths from there.
fn open_pitch(string: u8, notes: &[PlayedNote]) -> Option<f64> {
    let near = notes
        .iter()
        .min_by_key(|note| note.string.abs_diff(string))?;
    let strings_up = f64::from(near.string) - f64::from(string);
    Some(near.open().0 + f64::from(FOURTH) * strings_up)
}
