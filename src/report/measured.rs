//! What is known of a take, how well, and by which marks: the end of a page that tells everything.

use super::phrases::{beside_the_click, one_decimal};
use super::text::Page;
use crate::compare::judgement::{Agreement, HeardPart, TimingMode};
use crate::session::result::TakeResult;
use crate::words;

impl Page {
    pub(super) fn measured(&mut self, result: &TakeResult) {
        self.heading("Measured");
        for (kind, sentence) in measured(result) {
            self.entry(kind, &sentence);
        }
    }

    pub(super) fn marks(&mut self, result: &TakeResult) {
        self.heading("Marks used");
        for (kind, sentence) in marks(result) {
            self.entry(kind, &sentence);
        }
    }
}

/// How a take was measured: a word for what, and a sentence.
pub(super) fn measured(result: &TakeResult) -> Vec<(&'static str, String)> {
    let mut told = Vec::new();
    let mut say = |kind: &'static str, sentence: String| told.push((kind, sentence));
    let take = &result.take;
    let title = result.line.title.as_deref().unwrap_or("without a title");
    say(
        "line",
        format!("{title}, {} notes", result.judgement.notes.len()),
    );
    let loudest = take
        .loudest_dbfs
        .map_or("digital silence".to_owned(), |level| {
            format!("loudest {level:.1} dBFS")
        });
    say(
        "take",
        format!(
            "{}, {:.1} s at {} Hz, {loudest}",
            take.file, take.duration_s, take.sample_rate
        ),
    );
    if result.judgement.agreement == Agreement::Recognised {
        say("timing", grid(result));
        say("known", uncertainty(result));
    }
    if result.judgement.bleed.is_some() {
        say(words::BLEED, undecided(result));
    }
    if result.judgement.bleed.is_none() {
        say(
            "bleed",
            "strings ringing underneath were not listened for".into(),
        );
    }
    told
}

/// The marks that were used: a word for what, and a sentence.
pub(super) fn marks(result: &TakeResult) -> Vec<(&'static str, String)> {
    let marks = &result.judgement.marks;
    let mut told = Vec::new();
    let mut say = |kind: &'static str, sentence: String| told.push((kind, sentence));
    say(
        "gap",
        format!(
            "from {} ms of silence, {} dB deep, or {} ms beyond your own habit at that kind \
                 of join, then from {} ms; clear from {} ms",
            marks.gap_ms,
            marks.gap_depth_db,
            marks.gap_over_baseline_ms,
            marks.gap_floor_ms,
            marks.gap_clear_ms
        ),
    );
    say(
        "wrong",
        format!(
            "from {} cents off the written pitch, unless it is in doubt by more than {}",
            marks.wrong_cents, marks.unclear_cents
        ),
    );
    if result.judgement.bleed.is_some() {
        say(
            "bleed",
            format!(
                "another string for {} ms, down to {} dB below the note over it; slight from \
                     {} dB below",
                marks.bleed_ms, marks.bleed_below_db, marks.bleed_slight_below_db
            ),
        );
    }
    say(
        "dead",
        format!(
            "falls {} dB faster than its neighbours and {} dB at least, from {} ms of length on",
            marks.dead_fall_db, marks.dead_floor_db, marks.dead_from_ms
        ),
    );
    say(
        "clipped",
        format!(
            "shorter than {} % of its length, by {} ms at least",
            (marks.clipped_share * 1e4).round() / 1e2,
            marks.clipped_short_ms
        ),
    );
    say(
        "timing",
        format!("early or late beyond {} ms", marks.timing_ms),
    );
    let beyond = |mark: Option<f64>| mark.map(|db| format!("{db} dB"));
    let level = match (beyond(marks.loud_db), beyond(marks.soft_db)) {
        (None, None) => "no note is called loud or soft (--mark loud_db=6 or soft_db=6)".into(),
        (Some(db), None) => format!("loud from {db} above the usual note"),
        (None, Some(db)) => format!("soft from {db} below the usual note"),
        (Some(loud), Some(soft)) => {
            format!("loud from {loud} above the usual note, soft from {soft} below it")
        }
    };
    say(words::LEVEL, level);
    let buzz = marks.buzz_nats.map_or("not looked for".to_owned(), |nats| {
        format!("from {nats} nats of evidence that the string sounds against a fret")
    });
    say(words::BUZZES, buzz);
    say(
        "tuning",
        format!("sharp or flat from {} cents", marks.out_of_tune_cents),
    );
    told
}

/// Against what lateness was measured.
fn grid(result: &TakeResult) -> String {
    let timing = &result.judgement.timing;
    if timing.offset_s.is_none() {
        return "no pulse could be fitted, so nothing is called early or late".to_owned();
    }
    match (timing.mode, timing.tempo_from_to_bpm) {
        (TimingMode::Click, _) => match beside_the_click(timing) {
            Some(lies) => format!("against the click; you were {lies}"),
            None => "against the click".to_owned(),
        },
        (TimingMode::Free, Some((from, to))) => format!(
            "against your own pulse, which moved from {} to {}: a drift is not late notes",
            one_decimal(from),
            one_decimal(to)
        ),
        (TimingMode::Free, None) => "against your own pulse, which held steady".to_owned(),
    }
}

/// Places that are named, at most.
const PLACES_NAMED: usize = 4;

/// Of which strings nothing can be told.
fn undecided(result: &TakeResult) -> String {
    let undecided = &result.judgement.undecided;
    if undecided.is_empty() {
        return "a string an octave, a twelfth or two octaves above the note over it cannot be \
                told from that note; it is only heard where nothing else sounds"
            .into();
    }
    let place = |index: usize| {
        let note = result.judgement.notes.get(index).map(|note| &note.expected);
        note.map_or_else(String::new, |note| note.place_words())
    };
    let mut places: Vec<String> = undecided
        .iter()
        .take(PLACES_NAMED)
        .map(|u| format!("{} of {}", words::pitch_class(u.midi), place(u.after)))
        .collect();
    if undecided.len() > PLACES_NAMED {
        places.push(format!("and {} more", undecided.len() - PLACES_NAMED));
    }
    format!(
        "cannot be told, since all its partials are those of the note after it: whether it rings \
         on, {}",
        places.join("; ")
    )
}

/// How well place and pitch of the middle note are known.
fn uncertainty(result: &TakeResult) -> String {
    let place = middle(result, |heard| heard.timing_uncertainty_ms);
    let pitch = middle(result, |heard| heard.cents_uncertainty);
    let told = |value: Option<f64>, unit: &str| match value {
        Some(value) => format!("{value:.1} {unit}"),
        None => "an unknown measure".to_owned(),
    };
    format!(
        "a usual note's place within {}, its pitch within {} (one standard deviation)",
        told(place, "ms"),
        told(pitch, "cents")
    )
}

/// The median of a figure over the notes it is known for; `None` when it is known for none.
fn middle(result: &TakeResult, of: fn(&HeardPart) -> Option<f64>) -> Option<f64> {
    let mut known: Vec<f64> = result
        .judgement
        .notes
        .iter()
        .filter_map(|note| note.heard.as_ref().and_then(of))
        .filter(|value| value.is_finite())
        .collect();
    known.sort_by(f64::total_cmp);
    known.get(known.len() / 2).copied()
}
