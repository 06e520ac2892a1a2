//! Whether the last note of a take is a chord: every second pitch that a hand could hold is asked for,
//! then every third beside the two.
//!
//! A chord of two notes whose partials all coincide (an octave) cannot be told from its lower note, and
//! is none here.

use super::kept::NoteSound;
use crate::hearing::events::{Event, HeardChord, HeardNote};
use crate::hearing::listener::{Listener, ListenerConfig};
use crate::units::{Hertz, MidiNote};

/// A member sounds from this evidence on, in nats. Raised, faint members are not written.
const MEMBER_NATS: f64 = 2.0;
/// A member is no more than this far below all that sounds, in decibels: what lies lower rings along.
const MEMBER_DB: f64 = -14.0;
/// A member's own pitch lies within this of the note, in semitones: partials of something else lie
/// anywhere.
const MEMBER_SEMITONES: f64 = 0.35;
/// Most semitones between two members: two octaves, about what a hand holds with an open string below.
const WIDEST: i16 = 24;
/// Most members of a chord that are written.
const MEMBERS_MAX: usize = 3;
/// A note shorter than this is not looked at, in seconds: there is too little to tell partials by.
const SHORTEST_S: f64 = 0.25;
/// Two hearings of one onset lie within this, in seconds.
const SAME_ONSET_S: f64 = 0.040;
/// A note that is let go this shortly before the chord rang up to it, in seconds.
const RINGS_UP_S: f64 = 0.1;

/// The pitches of the last note's chord from the lowest up; `None` where it is a single note, or nothing
/// can be told.
///
/// Input: `config`, that of the ear; `range`, the lowest and highest pitch of the instrument;
/// `played`, what was played before.
pub(super) fn find(
    last: &NoteSound,
    config: &ListenerConfig,
    (lowest, highest): (u8, u8),
    played: &[HeardNote],
) -> Option<Vec<u8>> {
    let note = &last.note;
    if note.release_s - note.onset_s < SHORTEST_S {
        return None;
    }
    let heard = crate::words::nearest(note.pitch?.midi)?;
    let mut members = vec![heard];
    // What rang up to the chord may ring on, and is no member.
    let rings_on = |midi: u8| {
        played.iter().any(|other| {
            let same = other.pitch.and_then(|p| crate::words::nearest(p.midi)) == Some(midi);
            let earlier = other.onset_s < note.onset_s - SAME_ONSET_S;
            same && earlier && other.release_s > note.onset_s - RINGS_UP_S
        })
    };
    while members.len() < MEMBERS_MAX {
        let near = |midi: u8| {
            members
                .iter()
                .all(|m| (i16::from(*m) - i16::from(midi)).abs() <= WIDEST)
        };
        let more: Vec<u8> = (lowest..=highest)
            .filter(|midi| !members.contains(midi) && near(*midi) && !rings_on(*midi))
            .collect();
        let Some(best) = best_of(last, config, &members, &more) else {
            break;
        };
        members.push(best);
    }
    members.sort_unstable();
    (members.len() > 1).then_some(members)
}

/// The pitch that most surely sounds beside the members, if one does.
fn best_of(last: &NoteSound, config: &ListenerConfig, members: &[u8], more: &[u8]) -> Option<u8> {
    let hz = |midi: &u8| MidiNote(f64::from(*midi)).to_hertz(config.a4);
    let chords = more.iter().map(|midi| {
        let mut chord = [members, &[*midi]].concat();
        chord.sort_unstable();
        chord.iter().map(hz).collect::<Vec<Hertz>>()
    });
    let ear = super::listener(&ListenerConfig {
        chords: chords.collect(),
        ..config.clone()
    });
    let heard = chords_of(last, ear.ok()?)?;
    let sure = heard.iter().zip(more).filter_map(|(chord, &midi)| {
        let member = chord.member(f64::from(midi))?;
        let own = member.midi?;
        let sounds = member.evidence >= MEMBER_NATS
            && member.level_db >= MEMBER_DB
            && (own - f64::from(midi)).abs() < MEMBER_SEMITONES
            && members.iter().all(|m| still(chord, *m));
        sounds.then_some((member.evidence, midi))
    });
    let best = sure.max_by(|a, b| a.0.total_cmp(&b.0));
    best.map(|(_, midi)| midi)
}

/// Whether a member that was found stays one beside another.
fn still(chord: &HeardChord, midi: u8) -> bool {
    chord
        .member(f64::from(midi))
        .is_some_and(|member| member.evidence > 0.0)
}

/// What is heard of the chords asked for at the last onset.
fn chords_of(last: &NoteSound, mut ear: Listener) -> Option<Vec<HeardChord>> {
    let onset_s = last.note.onset_s - last.from_s;
    let mut found: Option<HeardNote> = None;
    let mut say = |event: Event| {
        if let Event::Settled(note) = event
            && (note.onset_s - onset_s).abs() < SAME_ONSET_S
        {
            found = Some(note);
        }
    };
    ear.push(&last.samples, &mut say);
    ear.finish(&mut say);
    found.map(|note| note.chords)
}
