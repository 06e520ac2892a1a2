//! What was measured of a note in a pass, each figure with its doubt, and the limits it was held against.

use crate::compare::judgement::{Bleed, Flag, HeardPart, JudgedNote, PassJudgement, Verdict};
use crate::compare::marks::Marks;
use crate::music::theory::{Key, pitch_class_in, pitch_in};
use crate::report::phrases::one_decimal;
use crate::session::result::TakeResult;
use crate::words;

/// What is told of a note, in the order of [`figures`] and [`limits`].
pub(in crate::report) const MATTERS: [&str; 8] = [
    "verdict", "onset", "pitch", "grid", "length", "silence", "level", "under it",
];

/// What stands for a figure that is not known, with the reason where there is one.
const UNKNOWN: &str = "not known";

/// A note of a pass that is being explained.
#[derive(Clone, Copy)]
pub(in crate::report) struct Seen<'a> {
    pub pass: &'a PassJudgement,
    pub note: &'a JudgedNote,
    /// The first later note of the pass, chord members passed over.
    pub next: Option<&'a JudgedNote>,
    pub key: Option<Key>,
    /// The tempo of the line, in quarters per minute.
    pub line_bpm: f64,
}

/// What became of the note `index` in each pass that reached it, the oldest first.
pub(in crate::report) fn seen(result: &TakeResult, index: usize) -> Vec<Seen<'_>> {
    let judged = result.judgement.passes.iter().filter(|pass| pass.judged);
    judged
        .filter_map(|pass| {
            let at = pass.notes.iter().position(|n| n.expected.index == index)?;
            let note = &pass.notes[at];
            let later = |n: &&JudgedNote| !n.expected.with_previous;
            (note.verdict != Verdict::Unreached).then(|| Seen {
                pass,
                note,
                next: pass.notes[at + 1..].iter().find(later),
                key: result.line.key_at(note.expected.bar),
                line_bpm: result.line.tempo_bpm,
            })
        })
        .collect()
}

/// The verdict with its flags: "right, gap", "wrong: F2 for E2", "missed".
pub(in crate::report) fn verdict(note: &JudgedNote, key: Option<Key>) -> String {
    let written = pitch_in(f64::from(note.expected.midi), key);
    let mut text = match (note.verdict, note.heard.as_ref().and_then(|h| h.midi)) {
        (Verdict::Wrong, Some(midi)) => format!("wrong: {} for {written}", pitch_in(midi, key)),
        (Verdict::Wrong, None) => format!("wrong: no clear pitch for {written}"),
        (verdict, _) => verdict.word().unwrap_or("not reached").to_owned(),
    };
    for flag in &note.flags {
        text.push_str(", ");
        text.push_str(flag.word());
    }
    text
}

/// "12.3 ms late", "on it".
fn side(ms: f64) -> String {
    match ms {
        ms if ms.abs() < 0.05 => "on it".to_owned(),
        ms if ms < 0.0 => format!("{:.1} ms early", -ms),
        ms => format!("{ms:.1} ms late"),
    }
}

/// " ± 1.1", nothing where the doubt is not known.
fn doubt(sd: Option<f64>) -> String {
    sd.filter(|sd| sd.is_finite())
        .map_or_else(String::new, |sd| format!(" ± {sd:.1}"))
}

/// What was measured, in the order of [`MATTERS`]; after a ± stands one standard deviation.
pub(in crate::report) fn figures(seen: &Seen) -> [String; 8] {
    let verdict = verdict(seen.note, seen.key);
    let under = under(seen);
    let Some(heard) = &seen.note.heard else {
        let none = || "nothing heard".to_owned();
        return [
            verdict,
            none(),
            none(),
            none(),
            none(),
            none(),
            none(),
            under,
        ];
    };
    let pitch = heard.midi.map_or("no clear pitch".to_owned(), |midi| {
        let name = pitch_in(midi, seen.key);
        heard.cents.map_or(name.clone(), |cents| {
            format!("{name} {cents:+.1}{} cents", doubt(heard.cents_uncertainty))
        })
    });
    let grid = heard.timing_ms.map_or(UNKNOWN.to_owned(), |ms| {
        format!("{}{}", side(ms), doubt(heard.timing_uncertainty_ms))
    });
    let level = heard.level_db.map_or_else(
        || format!("{:.1} dBFS, beside the others not known", heard.level_dbfs),
        |db| format!("{db:+.1}{} dB", doubt(heard.level_uncertainty_db)),
    );
    [
        verdict,
        format!("{:.3} s", heard.onset_s),
        pitch,
        grid,
        length(seen, heard),
        silence(seen, heard),
        level,
        under,
    ]
}

/// How long it lasted, and how long the grid gives it where that is known.
fn length(seen: &Seen, heard: &HeardPart) -> String {
    let lasted = format!("{:.0} ms", 1000.0 * (heard.release_s - heard.onset_s));
    match written_s(seen) {
        Some(s) => format!("{lasted} of {:.0}", 1000.0 * s),
        None => lasted,
    }
}

/// Its written length at the tempo of the pass, in seconds.
pub(in crate::report) fn written_s(seen: &Seen) -> Option<f64> {
    let bpm = seen.pass.timing.tempo_bpm?;
    let s = seen.note.expected.length_s * seen.line_bpm / bpm;
    (s.is_finite() && s > 0.0).then_some(s)
}

fn silence(seen: &Seen, heard: &HeardPart) -> String {
    let expected = &seen.note.expected;
    let to = seen.next.map_or_else(String::new, |next| {
        let midi = f64::from(next.expected.midi);
        format!(" to {}", pitch_in(midi, seen.key))
    });
    let Some(join) = expected.join.filter(|_| expected.legato_next) else {
        return "no legato join after it".to_owned();
    };
    let Some(ms) = heard.gap_ms else {
        return format!("{UNKNOWN} ({}{to})", join.word());
    };
    let sd = doubt(heard.gap_uncertainty_ms);
    let ms = match ms {
        ms if ms < 0.0 => format!("{:.1}{sd} ms of overlap", -ms),
        ms => format!("{ms:.1}{sd} ms"),
    };
    let depth = heard
        .gap_depth_db
        .map_or_else(String::new, |db| format!(", {db:.1} dB deep"));
    format!("{ms}{depth} ({}{to})", join.word())
}

/// What rang under it, what nobody wrote behind it, and of which strings nothing can be told.
fn under(seen: &Seen) -> String {
    let index = seen.note.expected.index;
    let ring = |ring: &Bleed| {
        let string = ring
            .string
            .map_or_else(String::new, |n| format!(" on string {n}"));
        format!(
            "{}{string}, {}, {:.1} dB, {:.3} to {:.3} s",
            pitch_in(ring.midi, seen.key),
            ring.kind.word(),
            ring.level_db,
            ring.from_s,
            ring.to_s
        )
    };
    let rings = seen.pass.bleed.iter().flatten();
    let mut parts: Vec<String> = rings
        .filter(|ring| ring.during.contains(&index))
        .map(ring)
        .collect();
    for unknown in seen
        .pass
        .undecided
        .iter()
        .filter(|u| u.during.contains(&index))
    {
        parts.push(format!(
            "{} on string {} cannot be told",
            pitch_class_in(unknown.midi, seen.key),
            unknown.string
        ));
    }
    for extra in seen
        .pass
        .extras
        .iter()
        .filter(|e| e.after_index == Some(index))
    {
        let name = extra
            .midi
            .map_or("no clear pitch".into(), |m| pitch_in(m, seen.key));
        parts.push(format!("extra: {name} at {:.3} s", extra.onset_s));
    }
    if let Some(nats) = seen.note.heard.as_ref().and_then(|h| h.buzz_nats)
        && seen.note.flags.contains(&Flag::Buzzes)
    {
        parts.push(format!("buzz: {nats:.1} nats"));
    }
    match (parts.is_empty(), &seen.pass.bleed) {
        (false, _) => parts.join("; "),
        (true, Some(_)) => "nothing".to_owned(),
        (true, None) => "not listened for".to_owned(),
    }
}

/// The limits that a verdict was made by, in the order of [`MATTERS`]; empty where there is none.
pub(in crate::report) fn limits(note: &JudgedNote, result: &TakeResult) -> [String; 8] {
    let marks: &Marks = &result.judgement.marks;
    let kinds = &result.judgement.join_kinds;
    let kind = note
        .expected
        .join
        .and_then(|join| kinds.iter().find(|k| k.join == join));
    let habit = kind.and_then(|kind| {
        let usual_ms = kind.usual_gap_ms?;
        Some(format!(
            "; your usual {} leaves {usual_ms:.0} ms",
            kind.join.word()
        ))
    });
    let level = match (marks.loud_db, marks.soft_db) {
        (None, None) => "no note is called loud or soft".to_owned(),
        (loud, soft) => {
            let told = |db: Option<f64>, word| db.map(|db| format!("{word} from {db} dB"));
            let both = [told(loud, words::LOUD), told(soft, words::SOFT)];
            both.into_iter().flatten().collect::<Vec<_>>().join(", ")
        }
    };
    [
        String::new(),
        format!(
            "dead: falls {} dB more than its neighbours and {} dB at least",
            marks.dead_fall_db, marks.dead_floor_db
        ),
        format!(
            "wrong from {} cents, sharp or flat from {}; in doubt from {}",
            marks.wrong_cents, marks.out_of_tune_cents, marks.unclear_cents
        ),
        format!("early or late beyond {} ms", marks.timing_ms),
        format!(
            "clipped below {} % and by {} ms, where no legato join follows",
            one_decimal(100.0 * marks.clipped_share),
            marks.clipped_short_ms
        ),
        format!(
            "gap from {} ms, {} dB deep, or {} ms over your usual, then from {} ms{}",
            marks.gap_ms,
            marks.gap_depth_db,
            marks.gap_over_baseline_ms,
            marks.gap_floor_ms,
            habit.unwrap_or_default()
        ),
        level,
        format!(
            "a ring: {} ms, down to {} dB below the note",
            marks.bleed_ms, marks.bleed_below_db
        ),
    ]
}
