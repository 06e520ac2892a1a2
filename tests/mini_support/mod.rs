//! What the small takes of `mini_gate` are made of: the truth of a performance, and what a judgement
//! has otherwise.

use std::collections::{BTreeMap, BTreeSet};

use super::metrics::{TimedNote, Tolerance, match_notes};
use super::source_support::Samples;
use seamline::compare::judgement::{Agreement, Bleed, ExtraNote, Flag, Judgement, Verdict};
use seamline::music::expected::ExpectedNote;
use seamline::music::line::read_text;
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::sound::synth::{
    Fault, Performance, PlayedNote, Player, Role, Spot, Voice, parse_faults, render,
};
use seamline::units::{MidiNote, STANDARD_A4, SampleRate};

/// How far an onset may be off, in milliseconds: within what the design asks of 95 of 100 onsets.
const ONSET_MS: f64 = 5.0;
/// How far a pitch may be off, in cents: within what the design asks of 95 of 100 pitches, and two
/// more, for a hard pluck starts sharp.
const PITCH_CENTS: f64 = 6.0;
/// How far a deviation from the grid may be off, in milliseconds: an onset's, and a little for the
/// grid, which is fitted to a player who is not on it.
const TIMING_MS: f64 = 8.0;
/// How far the length of a gap may be off, in milliseconds: the design's median at the lowest notes.
const GAP_MS: f64 = 10.0;
/// The same after notes up to [`LOW_MIDI`]: a period of the open E string (41.2 Hz), over which its
/// level is taken.
const LOW_GAP_MS: f64 = 24.3;
/// The highest of the low notes: F sharp 1.
const LOW_MIDI: f64 = 30.0;
/// How far the pitch of an extra may be off, in cents: it is to be named, its tuning is not judged.
const NAMED_CENTS: f64 = 50.0;
/// How far the start of a ring may be off, in milliseconds: as the design asks of 95 of 100.
const RING_START_MS: f64 = 80.0;
/// How long a ring must sound under a note to be told there, in seconds: `Marks::bleed_ms`.
const RING_UNDER_S: f64 = 0.15;

/// A take: what is played, by whom, and what goes wrong.
#[derive(Clone, Copy)]
pub struct Take {
    pub line: &'static str,
    pub voice: &'static str,
    pub seed: u64,
    /// Frames per second.
    pub rate: u32,
    /// Spelled as the synth spells them.
    pub faults: &'static str,
    /// Notes whose onset the ear puts where the finger touches the string, up to 18 ms before the
    /// pluck. They may lie anywhere between the two.
    pub at_touch: &'static [usize],
}

/// A string that sounds while it should not.
struct TrueRing {
    midi: f64,
    string: u8,
    from_s: f64,
    /// Indices of the notes it sounds under.
    under: BTreeSet<usize>,
}

/// What was played.
pub struct Truth {
    expected: Vec<ExpectedNote>,
    performance: Performance,
    faults: Vec<Fault>,
    at_touch: &'static [usize],
}

impl Truth {
    /// Plays a take: its truth, and how it sounds.
    pub fn of(take: &Take) -> (Self, Vec<f32>) {
        let line = read_text(take.line).expect("a line");
        let expected = line.expected(line.instrument());
        let faults = parse_faults(take.faults).expect("faults");
        let performance = Performance::of_line(&expected, &Player::steady(take.seed))
            .with_faults(&faults)
            .expect("spots in the line");
        let voice = Voice::named(take.voice).expect("a voice");
        let sound = render(&performance, &voice, SampleRate(take.rate));
        let truth = Self {
            expected,
            performance,
            faults,
            at_touch: take.at_touch,
        };
        (truth, sound)
    }

    /// The note as it was played; `None` when it was not.
    fn played(&self, index: usize) -> Option<&PlayedNote> {
        let notes = &self.performance.notes;
        notes.iter().find(|note| note.index == Some(index))
    }

    fn verdict(&self, note: &ExpectedNote) -> Verdict {
        match self.played(note.index) {
            None => Verdict::Missed,
            Some(played) if played.midi != f64::from(note.midi) => Verdict::Wrong,
            Some(_) => Verdict::Right,
        }
    }

    /// The index of the note at a spot.
    fn at(&self, spot: Spot) -> usize {
        let there = |note: &&ExpectedNote| match spot {
            Spot::Beat { bar, beat } => note.bar == bar && (note.beat - beat).abs() < 0.01,
            Spot::Note(number) => note.index + 1 == number,
        };
        self.expected.iter().find(there).expect("a note").index
    }

    /// The flags that were put in, by note.
    fn flags(&self) -> BTreeMap<usize, BTreeSet<Flag>> {
        let mut flags = BTreeMap::<usize, BTreeSet<Flag>>::new();
        for fault in &self.faults {
            let (at, flag) = match *fault {
                Fault::Early { at, .. } => (at, Flag::Early),
                Fault::Late { at, .. } => (at, Flag::Late),
                Fault::Gap { at, .. } => (at, Flag::Gap),
                Fault::Clipped { at, .. } => (at, Flag::Clipped),
                Fault::Dead { at } => (at, Flag::Dead),
                Fault::Sharp { at, .. } => (at, Flag::Sharp),
                Fault::Flat { at, .. } => (at, Flag::Flat),
                _ => continue,
            };
            flags.entry(self.at(at)).or_default().insert(flag);
        }
        for index in self.rings().iter().flat_map(|ring| &ring.under) {
            flags.entry(*index).or_default().insert(Flag::Bleed);
        }
        flags
    }

    /// Strings that were set off, and notes that were let ring on, until their string is plucked
    /// again or they are stopped.
    fn rings(&self) -> Vec<TrueRing> {
        let notes = &self.performance.notes;
        let ring = |at: usize| {
            let note = &notes[at];
            let from_s = match note.role {
                Role::Bleed => note.onset_s,
                _ if note.rings_on() => note.release_s,
                _ => return None,
            };
            let next_s = self.performance.next_on_string(at).unwrap_or(f64::INFINITY);
            let to_s = note.stopped_s.min(next_s);
            let over = |other: &&PlayedNote| {
                let shared_s = other.release_s.min(to_s) - other.onset_s.max(from_s);
                other.string != note.string && shared_s >= RING_UNDER_S
            };
            Some(TrueRing {
                midi: note.midi,
                string: note.string,
                from_s,
                under: notes.iter().filter(over).filter_map(|n| n.index).collect(),
            })
        };
        (0..notes.len()).filter_map(ring).collect()
    }

    /// Silence between a note and the next one of the line, in milliseconds.
    fn gap_ms(&self, index: usize) -> f64 {
        let note = self.played(index).expect("a note with a gap");
        let next = self.played(index + 1).expect("a note after the gap");
        1_000.0 * (next.onset_s - note.release_s)
    }

    /// How far the notes were from the grid of the line, in milliseconds; the middle one at 0.
    fn deviations_ms(&self) -> BTreeMap<usize, f64> {
        let off = |note: &ExpectedNote| {
            let played = self.played(note.index)?;
            let due_s = self.performance.bar1_s + note.onset_s;
            Some((note.index, 1_000.0 * (played.onset_s - due_s)))
        };
        let all: BTreeMap<usize, f64> = self.expected.iter().filter_map(off).collect();
        let mut sorted: Vec<f64> = all.values().copied().collect();
        sorted.sort_by(f64::total_cmp);
        let middle = sorted[sorted.len() / 2];
        all.into_iter().map(|(i, ms)| (i, ms - middle)).collect()
    }
}

/// What the program says of a sound.
pub fn judged(take: &Take, sound: Vec<f32>) -> Judgement {
    let line = read_text(take.line).expect("a line");
    let mut source = Samples::new(SampleRate(take.rate), vec![Ok(sound)]);
    let result = score_take("take", &mut source, &line, &ScoreSettings::default());
    result.expect("a result").judgement
}

/// Every decision that is not what was played.
pub fn differences(truth: &Truth, judgement: &Judgement) -> Vec<String> {
    assert_eq!(judgement.agreement, Agreement::Recognised);
    let mut wrong = Vec::new();
    check_notes(truth, judgement, &mut wrong);
    check_extras(truth, judgement, &mut wrong);
    check_rings(truth, judgement, &mut wrong);
    check_transcription(truth, judgement, &mut wrong);
    wrong
}

fn check_notes(truth: &Truth, judgement: &Judgement, wrong: &mut Vec<String>) {
    let (flags, deviations) = (truth.flags(), truth.deviations_ms());
    let drifts = |fault: &Fault| matches!(fault, Fault::Drift { .. });
    let steady = !truth.faults.iter().any(drifts);
    assert_eq!(judgement.notes.len(), truth.expected.len());
    for (note, expected) in judgement.notes.iter().zip(&truth.expected) {
        let index = expected.index;
        let verdict = truth.verdict(expected);
        if note.verdict != verdict {
            wrong.push(format!("note {index}: {:?}, not {verdict:?}", note.verdict));
        }
        let wanted = flags.get(&index).cloned().unwrap_or_default();
        let said: BTreeSet<Flag> = note.flags.iter().copied().collect();
        if said != wanted {
            wrong.push(format!("note {index}: flags {said:?}, not {wanted:?}"));
        }
        let (Some(heard), Some(played)) = (&note.heard, truth.played(index)) else {
            continue;
        };
        // How much sooner an onset may be said to be.
        let sooner_ms = if truth.at_touch.contains(&index) {
            1_000.0 * played.touch_s
        } else {
            0.0
        };
        let mut hold = |what: &str, off: Option<f64>, range: [f64; 2]| {
            if off.is_none_or(|off| off < range[0] || off > range[1]) {
                wrong.push(format!("note {index}: {what} off by {off:?}"));
            }
        };
        let onset_ms = 1_000.0 * (heard.onset_s - played.onset_s);
        hold(
            "onset, ms",
            Some(onset_ms),
            [-ONSET_MS - sooner_ms, ONSET_MS],
        );
        if !played.dead {
            let off = heard.midi.map(|midi| 100.0 * (midi - played.pitch().0));
            hold("pitch, cents", off, [-PITCH_CENTS, PITCH_CENTS]);
        }
        if steady {
            let off = heard.timing_ms.map(|ms| ms - deviations[&index]);
            hold("timing, ms", off, [-TIMING_MS - sooner_ms, TIMING_MS]);
        }
        if wanted.contains(&Flag::Gap) {
            let off = heard.gap_ms.map(|ms| ms - truth.gap_ms(index));
            let low = played.midi <= LOW_MIDI;
            let limit = if low { LOW_GAP_MS } else { GAP_MS };
            hold("gap, ms", off, [-limit, limit]);
        }
    }
}

/// The extras are those that were plucked, in their order, and no others.
fn check_extras(truth: &Truth, judgement: &Judgement, wrong: &mut Vec<String>) {
    let notes = &truth.performance.notes;
    let plucked: Vec<&PlayedNote> = notes.iter().filter(|n| n.role == Role::Extra).collect();
    let near = |(heard, played): (&ExtraNote, &&PlayedNote)| {
        let cents = heard.midi.map(|midi| 100.0 * (midi - played.pitch().0));
        1_000.0 * (heard.onset_s - played.onset_s).abs() <= ONSET_MS
            && cents.is_some_and(|cents| cents.abs() <= NAMED_CENTS)
    };
    let extras = &judgement.extras;
    if extras.len() != plucked.len() || !extras.iter().zip(&plucked).all(near) {
        wrong.push(format!("extras {extras:?}, not {plucked:?}"));
    }
}

/// The rings are those that were set off, on their strings, and no others.
fn check_rings(truth: &Truth, judgement: &Judgement, wrong: &mut Vec<String>) {
    let mut rings = truth.rings();
    rings.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let mut told = judgement.bleed.clone().expect("rings were listened for");
    told.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    let same = |(ring, told): (&TrueRing, &Bleed)| {
        told.midi.round() == ring.midi
            && told.string == Some(ring.string)
            && 1_000.0 * (told.from_s - ring.from_s).abs() <= RING_START_MS
            && told.during.iter().copied().collect::<BTreeSet<_>>() == ring.under
    };
    if told.len() != rings.len() || !rings.iter().zip(&told).all(same) {
        let rings: Vec<_> = rings.iter().map(|r| (r.midi, r.from_s, &r.under)).collect();
        wrong.push(format!("rings {told:?}, not {rings:?}"));
    }
}

/// By the definitions of mir_eval (Raffel et al. 2014) with its own tolerances, ends included:
/// every note that was plucked and not choked is among what was heard, and nothing else is.
fn check_transcription(truth: &Truth, judgement: &Judgement, wrong: &mut Vec<String>) {
    let timed = |onset_s: f64, offset_s: f64, midi: f64| TimedNote {
        onset_s,
        offset_s,
        hertz: MidiNote(midi).to_hertz(STANDARD_A4).0,
    };
    let notes = &truth.performance.notes;
    let plucked = notes.iter().filter(|n| n.role != Role::Bleed && !n.dead);
    let played: Vec<TimedNote> = plucked
        .map(|n| timed(n.onset_s, n.release_s, n.pitch().0))
        .collect();
    let choked = |index: usize| truth.played(index).is_some_and(|note| note.dead);
    let judged = judgement.notes.iter();
    let heard = judged
        .filter(|note| !choked(note.expected.index))
        .filter_map(|note| note.heard.as_ref())
        .filter_map(|heard| Some(timed(heard.onset_s, heard.release_s, heard.midi?)));
    let extras = judgement.extras.iter();
    let extras = extras.filter_map(|e| Some(timed(e.onset_s, e.release_s, e.midi?)));
    let heard: Vec<TimedNote> = heard.chain(extras).collect();
    let matched = match_notes(&played, &heard, &Tolerance::default()).len();
    if (matched, matched) != (played.len(), heard.len()) {
        let (played, heard) = (played.len(), heard.len());
        wrong.push(format!(
            "{matched} notes match of {played} played and {heard} heard"
        ));
    }
}
