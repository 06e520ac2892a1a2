//! What the JSON holds of passes, notes and joins.

use serde::Serialize;

use super::json::{
    DECIMALS_BPM, DECIMALS_CENTS, DECIMALS_DB, DECIMALS_MIDI, DECIMALS_MS, DECIMALS_S, round,
    round_known,
};
use super::json_loudness::EvennessOut;
use crate::compare::judgement::{
    Bleed, ExtraNote, HeardPart, JoinKindRecord, JoinRecord, JudgedNote, PassJudgement, Stumble,
    Tally, Timing, Undecided,
};

#[derive(Serialize)]
pub(super) struct TimingOut {
    offset_s: Option<f64>,
    tempo_bpm: Option<f64>,
    tempo_from_to_bpm: Option<[Option<f64>; 2]>,
    mode: &'static str,
    spread_ms: Option<f64>,
    mean_ms: Option<f64>,
    offbeats_ms: Option<f64>,
}

#[derive(Serialize)]
pub(super) struct Note {
    index: usize,
    bar: u32,
    printed_bar: u32,
    beat: Option<f64>,
    expected_midi: u8,
    string: Option<u8>,
    fret: Option<u8>,
    verdict: Option<&'static str>,
    heard_midi: Option<f64>,
    cents: Option<f64>,
    cents_uncertainty: Option<f64>,
    onset_s: Option<f64>,
    release_s: Option<f64>,
    level_dbfs: Option<f64>,
    loudness_db: Option<f64>,
    level_db: Option<f64>,
    level_uncertainty_db: Option<f64>,
    buzz_nats: Option<f64>,
    timing_ms: Option<f64>,
    timing_uncertainty_ms: Option<f64>,
    gap_ms: Option<f64>,
    gap_uncertainty_ms: Option<f64>,
    gap_depth_db: Option<f64>,
    join: Option<&'static str>,
    flags: Vec<&'static str>,
    heard_at_s: Option<f64>,
    named_at_s: Option<f64>,
    named_midi: Option<f64>,
}

#[derive(Serialize)]
pub(super) struct Extra {
    onset_s: Option<f64>,
    midi: Option<f64>,
    release_s: Option<f64>,
    level_dbfs: Option<f64>,
    after_index: Option<usize>,
}

#[derive(Serialize)]
pub(super) struct BleedOut {
    midi: Option<f64>,
    string: Option<u8>,
    kind: &'static str,
    from_s: Option<f64>,
    to_s: Option<f64>,
    level_db: Option<f64>,
    during: Vec<usize>,
    evidence_nats: Option<f64>,
}

#[derive(Serialize)]
pub(super) struct UndecidedOut {
    midi: Option<f64>,
    string: u8,
    from_s: Option<f64>,
    to_s: Option<f64>,
    after: usize,
    during: Vec<usize>,
}

impl From<&Undecided> for UndecidedOut {
    fn from(undecided: &Undecided) -> Self {
        Self {
            midi: round(undecided.midi, DECIMALS_MIDI),
            string: undecided.string,
            from_s: round(undecided.from_s, DECIMALS_S),
            to_s: round(undecided.to_s, DECIMALS_S),
            after: undecided.after,
            during: undecided.during.clone(),
        }
    }
}

#[derive(Serialize)]
pub(super) struct Summary {
    right: usize,
    wrong: usize,
    missed: usize,
    extra: usize,
    gaps: usize,
    early: usize,
    late: usize,
    bleed: Option<usize>,
    dead: usize,
    clipped: usize,
    sharp: usize,
    flat: usize,
    loud: usize,
    soft: usize,
    buzzes: usize,
}

#[derive(Serialize)]
struct StumbleOut {
    bar: u32,
    beat: Option<f64>,
    index: usize,
    pause_s: Option<f64>,
}

#[derive(Serialize)]
pub(super) struct PassOut {
    number: usize,
    bars: [u32; 2],
    from_s: Option<f64>,
    to_s: Option<f64>,
    tempo_bpm: Option<f64>,
    began: &'static str,
    complete: bool,
    judged: bool,
    stumbles: Vec<StumbleOut>,
    timing: TimingOut,
    notes: Vec<Note>,
    extras: Vec<Extra>,
    bleed: Vec<BleedOut>,
    bleed_undecided: Vec<UndecidedOut>,
    evenness: Option<EvennessOut>,
    summary: Summary,
}

#[derive(Serialize)]
pub(super) struct JoinOut {
    index: usize,
    bar: u32,
    beat: Option<f64>,
    join: &'static str,
    gaps_ms: Vec<Option<f64>>,
    flagged: usize,
    of: usize,
}

#[derive(Serialize)]
pub(super) struct JoinKindOut {
    join: &'static str,
    joins: usize,
    flagged: usize,
    usual_gap_ms: Option<f64>,
}

impl From<&Timing> for TimingOut {
    fn from(timing: &Timing) -> Self {
        Self {
            offset_s: round_known(timing.offset_s, DECIMALS_S),
            tempo_bpm: round_known(timing.tempo_bpm, DECIMALS_BPM),
            tempo_from_to_bpm: timing
                .tempo_from_to_bpm
                .map(|(from, to)| [round(from, DECIMALS_BPM), round(to, DECIMALS_BPM)]),
            mode: timing.mode.word(),
            spread_ms: round_known(timing.spread_ms, DECIMALS_MS),
            mean_ms: round_known(timing.mean_ms, DECIMALS_MS),
            offbeats_ms: round_known(timing.offbeats_ms, DECIMALS_MS),
        }
    }
}

impl From<&JudgedNote> for Note {
    fn from(note: &JudgedNote) -> Self {
        let of = |part: fn(&HeardPart) -> Option<f64>, decimals| {
            round_known(note.heard.as_ref().and_then(part), decimals)
        };
        let expected = &note.expected;
        Self {
            index: expected.index,
            bar: expected.bar,
            printed_bar: expected.printed_bar,
            beat: round(expected.beat, DECIMALS_S),
            expected_midi: expected.midi,
            string: expected.place.map(|place| place.string),
            fret: expected.place.map(|place| place.fret),
            verdict: note.verdict.word(),
            heard_midi: of(|h| h.midi, DECIMALS_MIDI),
            cents: of(|h| h.cents, DECIMALS_CENTS),
            cents_uncertainty: of(|h| h.cents_uncertainty, DECIMALS_CENTS),
            onset_s: of(|h| Some(h.onset_s), DECIMALS_S),
            release_s: of(|h| Some(h.release_s), DECIMALS_S),
            level_dbfs: of(|h| Some(h.level_dbfs), DECIMALS_DB),
            loudness_db: of(|h| h.loudness_db, DECIMALS_DB),
            level_db: of(|h| h.level_db, DECIMALS_DB),
            level_uncertainty_db: of(|h| h.level_uncertainty_db, DECIMALS_DB),
            buzz_nats: of(|h| h.buzz_nats, DECIMALS_DB),
            timing_ms: of(|h| h.timing_ms, DECIMALS_MS),
            timing_uncertainty_ms: of(|h| h.timing_uncertainty_ms, DECIMALS_MS),
            gap_ms: of(|h| h.gap_ms, DECIMALS_MS),
            gap_uncertainty_ms: of(|h| h.gap_uncertainty_ms, DECIMALS_MS),
            gap_depth_db: of(|h| h.gap_depth_db, DECIMALS_DB),
            join: expected.join.map(|join| join.word()),
            flags: note.flags.iter().map(|flag| flag.word()).collect(),
            heard_at_s: of(|h| Some(h.heard_at_s), DECIMALS_S),
            named_at_s: of(|h| h.named_at_s, DECIMALS_S),
            named_midi: of(|h| h.named_midi, DECIMALS_MIDI),
        }
    }
}

impl From<&ExtraNote> for Extra {
    fn from(extra: &ExtraNote) -> Self {
        Self {
            onset_s: round(extra.onset_s, DECIMALS_S),
            midi: round_known(extra.midi, DECIMALS_MIDI),
            release_s: round(extra.release_s, DECIMALS_S),
            level_dbfs: round(extra.level_dbfs, DECIMALS_DB),
            after_index: extra.after_index,
        }
    }
}

impl From<&Bleed> for BleedOut {
    fn from(bleed: &Bleed) -> Self {
        Self {
            midi: round(bleed.midi, DECIMALS_MIDI),
            string: bleed.string,
            kind: bleed.kind.word(),
            from_s: round(bleed.from_s, DECIMALS_S),
            to_s: round(bleed.to_s, DECIMALS_S),
            level_db: round(bleed.level_db, DECIMALS_DB),
            during: bleed.during.clone(),
            evidence_nats: round(bleed.evidence, DECIMALS_DB),
        }
    }
}

impl Summary {
    pub(super) fn new(tally: &Tally, bleed: Option<&[Bleed]>) -> Self {
        Self {
            right: tally.right,
            wrong: tally.wrong,
            missed: tally.missed,
            extra: tally.extra,
            gaps: tally.gaps,
            early: tally.early,
            late: tally.late,
            bleed: bleed.map(<[Bleed]>::len),
            dead: tally.dead,
            clipped: tally.clipped,
            sharp: tally.sharp,
            flat: tally.flat,
            loud: tally.loud,
            soft: tally.soft,
            buzzes: tally.buzzes,
        }
    }
}

impl From<&Stumble> for StumbleOut {
    fn from(stumble: &Stumble) -> Self {
        Self {
            bar: stumble.bar,
            beat: round(stumble.beat, DECIMALS_S),
            index: stumble.index,
            pause_s: round(stumble.pause_s, DECIMALS_S),
        }
    }
}

impl From<&PassJudgement> for PassOut {
    fn from(pass: &PassJudgement) -> Self {
        Self {
            number: pass.number,
            bars: [pass.bars.0, pass.bars.1],
            from_s: round(pass.from_s, DECIMALS_S),
            to_s: round(pass.to_s, DECIMALS_S),
            tempo_bpm: round_known(pass.timing.tempo_bpm, DECIMALS_BPM),
            began: pass.began.word(),
            complete: pass.complete,
            judged: pass.judged,
            stumbles: pass.stumbles.iter().map(StumbleOut::from).collect(),
            timing: TimingOut::from(&pass.timing),
            notes: pass.notes.iter().map(Note::from).collect(),
            extras: pass.extras.iter().map(Extra::from).collect(),
            bleed: pass.bleed.iter().flatten().map(BleedOut::from).collect(),
            bleed_undecided: pass.undecided.iter().map(UndecidedOut::from).collect(),
            evenness: pass.evenness.as_ref().map(EvennessOut::from),
            summary: Summary::new(&pass.tally, pass.bleed.as_deref()),
        }
    }
}

impl From<&JoinRecord> for JoinOut {
    fn from(join: &JoinRecord) -> Self {
        let ms = |gap: &Option<f64>| round_known(*gap, DECIMALS_MS);
        Self {
            index: join.index,
            bar: join.bar,
            beat: round(join.beat, DECIMALS_S),
            join: join.join.word(),
            gaps_ms: join.gaps_ms.iter().map(ms).collect(),
            flagged: join.flagged,
            of: join.gaps_ms.len(),
        }
    }
}

impl From<&JoinKindRecord> for JoinKindOut {
    fn from(kind: &JoinKindRecord) -> Self {
        Self {
            join: kind.join.word(),
            joins: kind.joins,
            flagged: kind.flagged,
            usual_gap_ms: round_known(kind.usual_gap_ms, DECIMALS_MS),
        }
    }
}
