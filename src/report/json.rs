//! The report that other programs read.
//!
//! The types here are those of the file, apart from the core's, so that the core can change
//! without the file's doing so. Every field is always present; what is unknown is `null`; nothing
//! is ever infinite or not a number. The same result gives the same bytes.

use serde::Serialize;

use super::json_live::LiveOut;
use super::json_loudness::LoudnessOut;
use super::json_pass::{
    BleedOut, Extra, JoinKindOut, JoinOut, Note, PassOut, Summary, TimingOut, UndecidedOut,
};
use super::layout;
use crate::compare::judgement::{Agreement, Finding, Judgement};
use crate::compare::marks::Marks;
use crate::session::line_info::LineInfo;
use crate::session::result::{LiveInfo, TakeInfo, TakeResult};

/// The number of this format; a field that changes its meaning or goes raises it.
pub const SCHEMA: u32 = 1;

/// What the report of a recorded take says it was written by.
pub const BY_SCORE: &str = "seamline score";
/// What the report of a take that was played live says it was written by.
pub const BY_PLAY: &str = "seamline play";

/// Decimals kept of a time in seconds (a microsecond; a frame at 192 kHz lasts five).
pub(super) const DECIMALS_S: i32 = 6;
/// Decimals kept of a time in milliseconds.
pub(super) const DECIMALS_MS: i32 = 2;
/// Decimals kept of cents.
pub(super) const DECIMALS_CENTS: i32 = 2;
/// Decimals kept of decibels.
pub(super) const DECIMALS_DB: i32 = 1;
/// Decimals kept of a fractional MIDI note: as fine as [`DECIMALS_CENTS`].
pub(super) const DECIMALS_MIDI: i32 = 4;
/// Decimals kept of a tempo in beats per minute.
pub(super) const DECIMALS_BPM: i32 = 3;
/// Decimals kept of a share between 0 and 1.
pub(super) const DECIMALS_SHARE: i32 = 4;

/// One take as a JSON object, one line for each note, ending with a line feed.
///
/// Fields and units: see the README's *Reading the report*. Never fails: a value that JSON cannot
/// hold becomes `null`.
pub fn object(result: &TakeResult) -> String {
    let mut text = render(result, None);
    text.push('\n');
    text
}

/// The same for a take that was played live, with its passes in `live`.
pub fn live_object(result: &TakeResult, live: &LiveInfo) -> String {
    let mut text = render(result, Some(live));
    text.push('\n');
    text
}

/// Several takes as a JSON array of such objects, ending with a line feed.
pub fn array(results: &[TakeResult]) -> String {
    let objects: Vec<String> = results.iter().map(|result| render(result, None)).collect();
    format!("[\n{}\n]\n", objects.join(",\n"))
}

fn render(result: &TakeResult, live: Option<&LiveInfo>) -> String {
    let report = Report {
        written_by: if live.is_some() { BY_PLAY } else { BY_SCORE },
        live: live.map(LiveOut::from),
        ..Report::from(result)
    };
    layout::text(&report)
}

/// `value` rounded to `decimals`; `None` when it is infinite or not a number. Never minus zero.
pub(super) fn round(value: f64, decimals: i32) -> Option<f64> {
    let scale = 10f64.powi(decimals);
    let rounded = (value * scale).round() / scale;
    rounded.is_finite().then_some(rounded + 0.0)
}

pub(super) fn round_known(value: Option<f64>, decimals: i32) -> Option<f64> {
    value.and_then(|v| round(v, decimals))
}

#[derive(Serialize)]
struct Report<'a> {
    schema: u32,
    /// The command: a file that says so may be written again by it.
    written_by: &'static str,
    line: Line<'a>,
    take: Take<'a>,
    agreement: AgreementOut,
    timing: TimingOut,
    notes: Vec<Note>,
    extras: Vec<Extra>,
    /// Strings that sounded while they should not.
    bleed: Vec<BleedOut>,
    /// Strings of which it cannot be told whether they sounded.
    bleed_undecided: Vec<UndecidedOut>,
    /// How loud the notes are, and how even.
    loudness: LoudnessOut,
    summary: Summary,
    passes: Vec<PassOut>,
    joins: Vec<JoinOut>,
    join_kinds: Vec<JoinKindOut>,
    findings: Vec<FindingOut<'a>>,
    marks: MarksOut,
    /// Only in the report of a take that was played live.
    #[serde(skip_serializing_if = "Option::is_none")]
    live: Option<LiveOut>,
}

#[derive(Serialize)]
struct Line<'a> {
    title: Option<&'a str>,
    tempo_bpm: Option<f64>,
    notes: usize,
}

#[derive(Serialize)]
struct Take<'a> {
    file: &'a str,
    sample_rate: u32,
    duration_s: Option<f64>,
    dropped_frames: u64,
    loudest_dbfs: Option<f64>,
    sound_notes: &'a [String],
}

#[derive(Serialize)]
struct AgreementOut {
    kind: &'static str,
    right_share: Option<f64>,
    loudest_dbfs: Option<f64>,
}

#[derive(Serialize)]
struct FindingOut<'a> {
    kind: &'static str,
    index: Option<usize>,
    size: Option<f64>,
    weight: Option<f64>,
    passes: &'a [usize],
    of: usize,
    string: Option<u8>,
    fret: Option<u8>,
    sentence: &'a str,
}

#[derive(Serialize)]
struct MarksOut {
    timing_ms: Option<f64>,
    gap_ms: Option<f64>,
    gap_depth_db: Option<f64>,
    gap_over_baseline_ms: Option<f64>,
    gap_floor_ms: Option<f64>,
    gap_clear_ms: Option<f64>,
    wrong_cents: Option<f64>,
    unclear_cents: Option<f64>,
    out_of_tune_cents: Option<f64>,
    dead_fall_db: Option<f64>,
    dead_floor_db: Option<f64>,
    dead_from_ms: Option<f64>,
    clipped_share: Option<f64>,
    clipped_short_ms: Option<f64>,
    bleed_below_db: Option<f64>,
    bleed_ms: Option<f64>,
    bleed_slight_below_db: Option<f64>,
    loud_db: Option<f64>,
    soft_db: Option<f64>,
    buzz_nats: Option<f64>,
}

impl<'a> From<&'a TakeResult> for Report<'a> {
    fn from(result: &'a TakeResult) -> Self {
        let judgement: &Judgement = &result.judgement;
        Self {
            schema: SCHEMA,
            written_by: BY_SCORE,
            line: Line::new(&result.line, judgement.notes.len()),
            take: Take::from(&result.take),
            agreement: judgement.agreement.into(),
            timing: TimingOut::from(&judgement.timing),
            notes: judgement.notes.iter().map(Note::from).collect(),
            extras: judgement.extras.iter().map(Extra::from).collect(),
            bleed: judgement
                .bleed
                .iter()
                .flatten()
                .map(BleedOut::from)
                .collect(),
            bleed_undecided: judgement.undecided.iter().map(UndecidedOut::from).collect(),
            loudness: LoudnessOut::from(&judgement.loudness),
            summary: Summary::new(&judgement.tally, judgement.bleed.as_deref()),
            passes: judgement.passes.iter().map(PassOut::from).collect(),
            joins: judgement.joins.iter().map(JoinOut::from).collect(),
            join_kinds: judgement.join_kinds.iter().map(JoinKindOut::from).collect(),
            findings: judgement.findings.iter().map(FindingOut::from).collect(),
            marks: MarksOut::from(&judgement.marks),
            live: None,
        }
    }
}

impl<'a> Line<'a> {
    fn new(line: &'a LineInfo, notes: usize) -> Self {
        Self {
            title: line.title.as_deref(),
            tempo_bpm: round(line.tempo_bpm, DECIMALS_BPM),
            notes,
        }
    }
}

impl<'a> From<&'a TakeInfo> for Take<'a> {
    fn from(take: &'a TakeInfo) -> Self {
        Self {
            file: &take.file,
            sample_rate: take.sample_rate,
            duration_s: round(take.duration_s, DECIMALS_S),
            dropped_frames: take.dropped_frames,
            loudest_dbfs: round_known(take.loudest_dbfs, DECIMALS_DB),
            sound_notes: &take.sound_notes,
        }
    }
}

impl From<Agreement> for AgreementOut {
    fn from(agreement: Agreement) -> Self {
        let (kind, right_share, loudest_dbfs) = match agreement {
            Agreement::Recognised => ("recognised", None, None),
            Agreement::AnotherLine(share) => ("another line", round(share, DECIMALS_SHARE), None),
            Agreement::NothingHeard(level) => ("nothing heard", None, round(level, DECIMALS_DB)),
        };
        Self {
            kind,
            right_share,
            loudest_dbfs,
        }
    }
}

impl<'a> From<&'a Finding> for FindingOut<'a> {
    fn from(finding: &'a Finding) -> Self {
        Self {
            kind: finding.kind.word(),
            index: finding.index,
            size: round(finding.size, DECIMALS_MS),
            weight: round(finding.weight, DECIMALS_MS),
            passes: &finding.passes,
            of: finding.of,
            string: finding.place.map(|place| place.string),
            fret: finding.place.map(|place| place.fret),
            sentence: &finding.sentence,
        }
    }
}

impl From<&Marks> for MarksOut {
    fn from(marks: &Marks) -> Self {
        Self {
            timing_ms: round(marks.timing_ms, DECIMALS_MS),
            gap_ms: round(marks.gap_ms, DECIMALS_MS),
            gap_depth_db: round(marks.gap_depth_db, DECIMALS_DB),
            gap_over_baseline_ms: round(marks.gap_over_baseline_ms, DECIMALS_MS),
            gap_floor_ms: round(marks.gap_floor_ms, DECIMALS_MS),
            gap_clear_ms: round(marks.gap_clear_ms, DECIMALS_MS),
            wrong_cents: round(marks.wrong_cents, DECIMALS_CENTS),
            unclear_cents: round(marks.unclear_cents, DECIMALS_CENTS),
            out_of_tune_cents: round(marks.out_of_tune_cents, DECIMALS_CENTS),
            dead_fall_db: round(marks.dead_fall_db, DECIMALS_DB),
            dead_floor_db: round(marks.dead_floor_db, DECIMALS_DB),
            dead_from_ms: round(marks.dead_from_ms, DECIMALS_MS),
            clipped_short_ms: round(marks.clipped_short_ms, DECIMALS_MS),
            clipped_share: round(marks.clipped_share, DECIMALS_SHARE),
            bleed_below_db: round(marks.bleed_below_db, DECIMALS_DB),
            bleed_ms: round(marks.bleed_ms, DECIMALS_MS),
            bleed_slight_below_db: round(marks.bleed_slight_below_db, DECIMALS_DB),
            loud_db: round_known(marks.loud_db, DECIMALS_DB),
            soft_db: round_known(marks.soft_db, DECIMALS_DB),
            buzz_nats: round_known(marks.buzz_nats, DECIMALS_DB),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    /// Golden: our own earlier output. It detects change and proves nothing.
    #[test]
    fn golden_objects_are_unchanged() {
        sample::check_golden("flawed.json", &object(&sample::flawed()));
        sample::check_golden("another-line.json", &object(&sample::another_line()));
        sample::check_golden("nothing-heard.json", &object(&sample::nothing_heard()));
    }

    /// RFC 8259, section 6: numbers that are infinite or not a number cannot be represented. They
    /// come out as `null` under their field's name instead of being left out.
    #[test]
    fn what_is_not_finite_is_null() {
        let mut result = sample::flawed();
        result.take.loudest_dbfs = Some(f64::NEG_INFINITY);
        result.judgement.timing.spread_ms = Some(f64::NAN);
        if let Some(heard) = &mut result.judgement.notes[0].heard {
            heard.level_dbfs = f64::NEG_INFINITY;
            heard.timing_ms = Some(-0.001);
        }
        let value: serde_json::Value = serde_json::from_str(&object(&result)).expect("valid JSON");
        assert!(value["take"]["loudest_dbfs"].is_null());
        assert!(value["timing"]["spread_ms"].is_null());
        assert!(value["notes"][0]["level_dbfs"].is_null());
        assert_eq!(value["notes"][0]["timing_ms"].to_string(), "0.0");
    }

    /// The names are those agreed with the programs that read the report; each must be there in
    /// every note, known or not.
    #[test]
    fn every_field_is_always_there() {
        let agreed = "index bar beat expected_midi string fret verdict heard_midi cents onset_s \
                      release_s level_dbfs timing_ms gap_ms join flags heard_at_s named_at_s";
        for result in [
            sample::flawed(),
            sample::another_line(),
            sample::nothing_heard(),
        ] {
            let value: serde_json::Value = serde_json::from_str(&object(&result)).expect("valid");
            for note in value["notes"].as_array().expect("a list of notes") {
                for name in agreed.split_whitespace() {
                    assert!(note.get(name).is_some(), "{name} is missing in {note}");
                }
            }
            for (part, names) in [
                ("line", "title tempo_bpm notes"),
                ("take", "file sample_rate duration_s dropped_frames"),
                (
                    "timing",
                    "offset_s tempo_bpm mode spread_ms mean_ms offbeats_ms",
                ),
                ("summary", "right wrong missed extra gaps early late bleed"),
            ] {
                for name in names.split_whitespace() {
                    assert!(value[part].get(name).is_some(), "{part}.{name} is missing");
                }
            }
            assert_eq!(value["schema"], 1);
            assert!(value["bleed"].as_array().is_some());
            assert!(value["extras"].as_array().is_some());
        }
    }

    #[test]
    fn several_takes_are_an_array_of_the_same_objects() {
        let results = [sample::flawed(), sample::nothing_heard()];
        let value: Vec<serde_json::Value> =
            serde_json::from_str(&array(&results)).expect("valid JSON");
        for (got, result) in value.iter().zip(&results) {
            let alone: serde_json::Value = serde_json::from_str(&object(result)).expect("valid");
            assert_eq!(got, &alone);
        }
        assert_eq!(value.len(), 2);
    }

    /// Bleed that nobody listened for is unknown, not none.
    #[test]
    fn bleed_is_unknown_until_listened_for() {
        let mut result = sample::clean();
        let read = |result: &TakeResult| -> serde_json::Value {
            serde_json::from_str(&object(result)).expect("valid JSON")
        };
        assert!(read(&result)["summary"]["bleed"].is_null());
        result.judgement.bleed = Some(Vec::new());
        assert_eq!(read(&result)["summary"]["bleed"], 0);
    }
}
