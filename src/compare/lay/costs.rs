//! What each explanation costs, in nats. Every number the alignment depends on stands here.
//!
//! A cost of c nats means: as unlikely as e^-c. The figures start from an edit distance over note
//! events (Large 1993, Behavior Research Methods 25, 238-241, from memory). Pitch, missed notes
//! and timing were first set on recorded bass strings with another ear, the rest on a simulated
//! player. Raising one makes the alignment use that explanation less.

use crate::compare::lay::slots::Slot;
use crate::hearing::choked;
use crate::hearing::events::{HeardChord, HeardNote};

/// A written note that was not played.
pub(crate) const MISSED: f64 = 2.6;
/// Dropping out and coming in again in time: from here on each further missed note is little news.
const DROP_OUT: f64 = 7.5;
/// Another octave of the written pitch: more often the ear's error than the player's.
const OCTAVE: f64 = 1.4;
/// Up to two and a half semitones off: the neighbouring fret or the wrong finger.
const NEAR: f64 = 2.0;
/// Any other pitch.
const OTHER: f64 = 2.4;
/// Only some members of a chord.
const PART_OF_CHORD: f64 = 0.6;
/// No stable pitch: nothing speaks for or against.
const UNKNOWN: f64 = 1.2;
/// Two neighbouring notes played in each other's place, both together.
pub(crate) const SWAP: f64 = 2.0;
/// Standard deviation of a fretted note about its semitone, in semitones, and most that it can cost
/// to be between two of them: a bass may be tuned off as a whole.
const BETWEEN_SEMITONES: f64 = 0.2;
const BETWEEN_MAX: f64 = 1.5;
/// Largest distance from the written pitch that still costs nothing, in semitones: half of one.
const SAME_PITCH_SEMITONES: f64 = 0.5;
/// A rival reading of the pitch may only break a tie when it is this little worse, in nats.
pub(crate) const RIVAL_TIE: f64 = 1.0;
/// A pitch less certain than this says as little as none, in cents.
const VAGUE_CENTS: f64 = 60.0;

/// An event that surely was a plucked note and that nobody wrote.
const SKIP_NOTE: f64 = 4.0;
/// An event that surely was not a note: touches and ripples are part of playing.
const SKIP_NOISE: f64 = 0.1;
/// Share of the skipping cost before the first and after the last note of the line, where people
/// talk, tune and count in.
pub(crate) const OUTSIDE_SHARE: f64 = 0.3;
/// The same for events that nothing was matched before or after, but that lie where the grid has
/// notes of the line: a take may begin or break off in the middle of it.
pub(crate) const OUTSIDE_SHARE_WITHIN: f64 = 0.7;
/// What hearing the written pitch, when it differs from the pitch before, adds to the evidence of
/// an event: about one chance in twenty that a ripple would show just that pitch.
const PITCH_IS_EVIDENCE: f64 = 3.0;
/// What it adds that the line has a note at this place: a weak event there is a note more often
/// than one anywhere else, unless it only repeats what rings already.
const PLACE_IS_EVIDENCE: f64 = 1.0;
/// What it adds that a note struck again is due here and the same pitch is heard anew: a ripple
/// falls on the very place about once in twenty notes, a player leaves a repeat out less often.
const REPEAT_IS_EVIDENCE: f64 = 1.2;
/// Most that a match can cost for want of evidence.
const WEAK_MAX: f64 = 4.0;

/// Most that a match can cost for being out of time: beyond it, time says no more.
const TIMING_MAX: f64 = 4.0;
/// Standard deviation of a played onset about the grid, in seconds: the part that is the same for every
/// note. Raised, notes far from their place are still taken for them.
const TIMING_SD_S: f64 = 0.015;
/// The part of it that grows with the shorter neighbouring interval, as a share: slow notes are placed
/// less exactly.
const TIMING_SD_SHARE: f64 = 0.12;
/// A note is looked for within this many seconds of its place, also among short notes. Raised, late
/// notes are found and more is taken for them.
const REACH_S: f64 = 0.13;
/// A note is looked for within this share of the shorter neighbouring interval where that is more.
const REACH_SHARE: f64 = 0.6;
/// A note of another pitch has nothing but its time to say which note it stands for, so that it
/// is looked for only within this share of the shorter neighbouring interval: a wrong note
/// further off is one note missed and another nobody wrote.
const OTHER_REACH_SHARE: f64 = 0.4;
/// Pitch costs from here on are another pitch.
pub(crate) const OTHER_FROM: f64 = 1.0;
/// What a note of another pitch costs besides on the way through a take: it may be no note of the
/// line at all. Raising it makes passes with wrong notes fall apart.
pub(crate) const WRONG_ON_THE_WAY: f64 = 1.5;

/// Leaving the line behind the last note of a bar.
pub(crate) const LEAVE_AT_BAR: f64 = 1.0;
/// Leaving it anywhere else. Raising it makes what follows wrong notes instead of something else.
pub(crate) const LEAVE: f64 = 3.0;
/// Beginning a pass at the first bar of the line.
pub(crate) const ENTER_FIRST: f64 = 3.0;
/// Beginning one at another bar. Raising it finds fewer short passes, lowering it finds passes in
/// what was played beside the line.
pub(crate) const ENTER: f64 = 4.0;
/// Beginning one within a bar.
pub(crate) const ENTER_ANYWHERE: f64 = 9.5;
/// Beginning a bar anew in time.
pub(crate) const LOOP: f64 = 3.0;
/// Doing so at the end of the line: who plays it over and over comes round there.
pub(crate) const LOOP_ROUND: f64 = 2.0;
/// Stopping and going on where the line was left: cheaper than to leave it and enter the next bar,
/// because it is the same pass.
pub(crate) const STOP: f64 = 3.2;
/// Stopping and beginning the bar anew, or the one before: cheaper than to leave the line and enter
/// it anywhere, because that is where players go back to. Raising it makes a bar begun anew look like
/// a stumble.
pub(crate) const BACK: f64 = 4.0;
/// A note this late, in seconds, may come after a stop; a late note is 35 to 120 ms late.
pub(crate) const STOP_FROM_S: f64 = 0.2;
/// After a longer silence than this, in seconds, what follows is another pass.
pub(crate) const STOP_TO_S: f64 = 4.0;
/// Each slot missed in a row beyond [`DROP_OUT`].
const LEFT_OUT: f64 = 0.3;

/// An event outside of the line that surely was a plucked note: about as unlikely as its pitch is
/// among twenty.
const OUTSIDE_NOTE: f64 = 3.0;

/// A heard note as the alignment looks at it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Sound<'a> {
    /// What the ear said.
    pub heard: &'a HeardNote,
    /// True when its pitch is neither that of the clear note before it nor one of that note's
    /// harmonics, so that it is news and not the note before ringing on.
    pub fresh: bool,
    /// What it costs to leave it without a written note within a pass, in nats.
    pub skip: f64,
    /// What it costs to leave it outside of all passes, in nats.
    pub outside: f64,
}

/// Harmonics in which a ringing note likes to be heard, in semitones above it.
pub(crate) const HARMONICS: [f64; 4] = [0.0, 12.0, 19.0, 24.0];

/// Looks at heard notes in order of onset.
pub(crate) fn listen<'a>(events: &[&'a HeardNote]) -> Vec<Sound<'a>> {
    let mut ringing: Option<f64> = None;
    let mut sounds = Vec::with_capacity(events.len());
    for &heard in events {
        let midi = heard.pitch.as_ref().map(|pitch| pitch.midi);
        let fresh = midi.zip(ringing).is_none_or(|(midi, before)| {
            HARMONICS
                .iter()
                .all(|h| (midi - before - h).abs() > SAME_PITCH_SEMITONES)
        });
        if heard.evidence >= 0.0 && midi.is_some() {
            ringing = midi;
        }
        sounds.push(Sound {
            heard,
            fresh,
            skip: mixture(heard, SKIP_NOTE),
            outside: mixture(heard, OUTSIDE_NOTE),
        });
    }
    sounds
}

/// What it costs to leave out this number of slots in a row and go on in time.
pub(crate) fn missed(slots: f64) -> f64 {
    (MISSED * slots).min(DROP_OUT + LEFT_OUT * slots)
}

/// What the ear heard of a slot's chord; `None` for a single note and where nobody listened for it.
pub(crate) fn chord<'a>(slot: &Slot, heard: &'a HeardNote) -> Option<&'a HeardChord> {
    if slot.midi.len() < 2 {
        return None;
    }
    heard.chords.iter().find(|chord| {
        let wanted = || chord.wanted_midi.iter().flatten();
        wanted().count() == slot.midi.len()
            && slot
                .midi
                .iter()
                .all(|&m| wanted().any(|w| (w - f64::from(m)).abs() < SAME_PITCH_SEMITONES))
    })
}

/// How many members of a chord sound, and of how many that can be told.
fn sounding(chord: &HeardChord) -> (usize, usize) {
    let known = chord.members.iter().flatten();
    (
        known.clone().filter(|m| m.evidence > 0.0).count(),
        known.count(),
    )
}

/// What it costs to take this event for one of the slot's notes, by pitch alone.
pub(crate) fn pitch(slot: &Slot, event: &Sound) -> f64 {
    if let Some((there, known)) = chord(slot, event.heard).map(sounding)
        && there > 0
    {
        return if there == known { 0.0 } else { PART_OF_CHORD };
    }
    // A muted string has no pitch, and what is read in its thump is none.
    let unknown = if slot.ghost { 0.0 } else { UNKNOWN };
    let Some(heard) = &event.heard.pitch else {
        return unknown;
    };
    if !heard.midi.is_finite() || (slot.ghost && choked::dies(event.heard)) {
        return unknown;
    }
    let mut cost = if slot.ghost { UNKNOWN } else { f64::INFINITY };
    for &midi in &slot.midi {
        let mut one = interval(heard.midi - f64::from(midi));
        if heard.uncertainty_cents > VAGUE_CENTS {
            one = one.min(UNKNOWN);
        }
        for (rival, nats) in heard.rivals.into_iter().flatten() {
            if nats <= RIVAL_TIE && (rival - f64::from(midi)).abs() <= SAME_PITCH_SEMITONES {
                one = one.min(nats.max(0.0));
            }
        }
        cost = cost.min(one);
    }
    cost
}

/// What it costs on the way that a pitch lies between the semitones: frets do not, voices do.
pub(crate) fn off_semitone(midi: f64) -> f64 {
    let off = (midi - midi.round()) / BETWEEN_SEMITONES;
    (0.5 * off * off).min(BETWEEN_MAX)
}

/// Cost of a distance from the written pitch, in semitones.
fn interval(semitones: f64) -> f64 {
    let distance = semitones.abs();
    if distance <= SAME_PITCH_SEMITONES {
        0.0
    } else if distance <= 2.0 * SAME_PITCH_SEMITONES {
        NEAR * (distance / SAME_PITCH_SEMITONES - 1.0)
    } else if [12.0, 24.0]
        .iter()
        .any(|octave| (distance - octave).abs() <= SAME_PITCH_SEMITONES)
    {
        OCTAVE
    } else if distance <= 2.5 {
        NEAR
    } else {
        OTHER
    }
}

/// True when the event has one of the slot's pitches, to half a semitone, or all of its chord.
pub(crate) fn same_pitch(slot: &Slot, event: &Sound) -> bool {
    if let Some((there, known)) = chord(slot, event.heard).map(sounding)
        && there == known
        && there > 0
    {
        return true;
    }
    event.heard.pitch.as_ref().is_some_and(|heard| {
        slot.midi
            .iter()
            .any(|&midi| (heard.midi - f64::from(midi)).abs() <= SAME_PITCH_SEMITONES)
    })
}

/// What it costs to take the event for a note at all, given its evidence and whether it has the
/// written pitch.
pub(crate) fn weakness(slot: &Slot, event: &Sound) -> f64 {
    let bonus = match (event.fresh, same_pitch(slot, event)) {
        (true, true) => PLACE_IS_EVIDENCE + PITCH_IS_EVIDENCE,
        (true, false) => PLACE_IS_EVIDENCE,
        (false, true) if !slot.new_pitch => REPEAT_IS_EVIDENCE,
        (false, _) => 0.0,
    };
    softplus(-(evidence(event.heard) + bonus)).min(WEAK_MAX)
}

/// What it costs to leave the event without a written note: the mixture of a note nobody wrote,
/// which costs `note_nats`, and of a noise, weighted by the evidence.
fn mixture(event: &HeardNote, note_nats: f64) -> f64 {
    let note = 1.0 / (1.0 + (-evidence(event)).exp());
    -(note * (-note_nats).exp() + (1.0 - note) * (-SKIP_NOISE).exp()).ln()
}

/// The evidence, with figures that are no numbers read as none at all.
fn evidence(event: &HeardNote) -> f64 {
    if event.evidence.is_nan() {
        -50.0
    } else {
        event.evidence.clamp(-50.0, 50.0)
    }
}

fn softplus(x: f64) -> f64 {
    if x > 30.0 { x } else { x.exp().ln_1p() }
}

/// Standard deviation of the onset of a slot about the grid, in seconds, at a tempo `stretch`
/// times slower than written.
pub(crate) fn timing_sd_s(slot: &Slot, stretch: f64) -> f64 {
    TIMING_SD_S + TIMING_SD_SHARE * slot.interval_s * stretch
}

/// How far from its place a slot's onset is looked for, in seconds.
pub(crate) fn reach_s(slot: &Slot, stretch: f64) -> f64 {
    REACH_S.max(REACH_SHARE * slot.interval_s * stretch)
}

/// How far from its place a slot's onset may be for a match of that pitch cost, in seconds.
pub(crate) fn reach_at_pitch_s(slot: &Slot, stretch: f64, pitch_cost: f64) -> f64 {
    let whole = reach_s(slot, stretch);
    if pitch_cost < OTHER_FROM {
        whole
    } else {
        whole.min(OTHER_REACH_SHARE * slot.interval_s * stretch)
    }
}

/// Cost of being `off_s` away from the place, where that has the standard deviation `sd_s`.
pub(crate) fn timing(off_s: f64, sd_s: f64) -> f64 {
    (0.5 * (off_s / sd_s).powi(2)).min(TIMING_MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Closed form: the ends of the two mixtures.
    #[test]
    fn evidence_moves_the_cost_of_skipping_between_its_two_ends() {
        for (evidence, cost) in [
            (40.0, SKIP_NOTE),
            (-40.0, SKIP_NOISE),
            (f64::NAN, SKIP_NOISE),
        ] {
            let mut heard = crate::compare::test_support::heard(1.0, 40.0);
            heard.evidence = evidence;
            assert!((listen(&[&heard])[0].skip - cost).abs() < 1e-6);
        }
    }

    /// Closed form: the table at the head of the file, and no jump where the bands meet.
    #[test]
    fn pitch_costs_follow_the_table() {
        for (semitones, cost) in [
            (0.0, 0.0),
            (0.5, 0.0),
            (1.0, NEAR),
            (-2.0, NEAR),
            (5.0, OTHER),
            (12.0, OCTAVE),
            (-24.0, OCTAVE),
        ] {
            assert_eq!(interval(semitones), cost, "{semitones} semitones");
        }
        assert!(interval(0.501) < 0.01);
    }
}
