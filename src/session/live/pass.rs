//! One pass: what was heard in it, held against the line, and what is shown of that.

use std::collections::BTreeMap;

use crate::compare::judgement::{Agreement, Flag, JudgedNote, Judgement, TimingMode, Verdict};
use crate::compare::{Settings, judge_with_rings};
use crate::hearing::events::{HeardNote, HeardRing};
use crate::session::live::snapshot::{JoinView, NoteView, PassView, Piece, RingView};

/// A pass that runs or is over.
#[derive(Clone, Debug)]
pub(super) struct Pass {
    /// Its number, from 1.
    pub number: u32,
    /// From here on notes belong to it, in seconds of the stream.
    pub from_s: f64,
    /// Up to here, where it is over.
    pub to_s: f64,
    /// How it is timed.
    pub mode: TimingMode,
    /// Where the click's bar 1 lies in the stream, if it was played to one.
    pub click_at_s: Option<f64>,
}

/// What was heard, in order of becoming known.
#[derive(Clone, Debug, Default)]
pub(super) struct Ear {
    pub notes: Vec<HeardNote>,
    pub rings: Vec<HeardRing>,
    /// What would be settled besides, were the stream over now.
    pub soon_notes: Vec<HeardNote>,
    pub soon_rings: Vec<HeardRing>,
}

impl Ear {
    /// What belongs to a pass, the provisional last.
    fn within(&self, pass: &Pass) -> (Vec<HeardNote>, Vec<HeardRing>, f64) {
        let inside = |at_s: f64| at_s >= pass.from_s && at_s < pass.to_s;
        // Kept in order of time, so that a long session costs no more than its last pass.
        let first = self
            .notes
            .partition_point(|n| n.onset_s < pass.from_s - 1.0);
        let notes: Vec<_> = self.notes[first..]
            .iter()
            .chain(&self.soon_notes)
            .filter(|n| inside(n.onset_s))
            .cloned()
            .collect();
        let settled_s = self
            .soon_notes
            .first()
            .map_or(f64::INFINITY, |note| note.onset_s);
        let rings = self
            .rings
            .iter()
            .chain(&self.soon_rings)
            .filter(|r| inside(r.from_s))
            .copied()
            .collect();
        (notes, rings, settled_s)
    }
}

/// A pass as it is judged now.
pub(super) struct Judged {
    pub judgement: Judgement,
    /// Notes with an onset from here on are provisional, in seconds.
    pub settled_s: f64,
}

pub(super) fn judge(ear: &Ear, pass: &Pass, piece: &Piece, settings: &Settings) -> Judged {
    let (notes, rings, settled_s) = ear.within(pass);
    let judgement = judge_with_rings(
        &piece.notes,
        &notes,
        Some(&rings),
        &Settings {
            mode: pass.mode,
            click_at_s: pass.click_at_s,
            ..settings.clone()
        },
    );
    Judged {
        judgement,
        settled_s,
    }
}

impl Judged {
    /// Index of the last note of the line that was heard.
    pub fn last_heard(&self) -> Option<usize> {
        let notes = &self.judgement.notes;
        notes.iter().rposition(|note| note.heard.is_some())
    }

    /// How many notes of the line were heard.
    pub fn heard(&self) -> usize {
        let heard = |note: &&JudgedNote| note.heard.is_some();
        self.judgement.notes.iter().filter(heard).count()
    }

    /// One entry for each note; `None` while nothing is known of it. What was said before is
    /// needed to tell what was corrected.
    pub fn views(&self, over: bool, before: &[Option<NoteView>]) -> Vec<Option<NoteView>> {
        // Two notes fit a line in many places.
        let last = self.last_heard().filter(|_| self.heard() >= TOLD_FROM);
        self.judgement
            .notes
            .iter()
            .enumerate()
            .map(|(index, note)| {
                let known = over || last.is_some_and(|last| index <= last);
                // The ways through the line part for a while at its beginning and near its end.
                let sure = self.heard() >= SURE_FROM
                    && last.is_some_and(|last| index + SURE_BEHIND <= last);
                known.then(|| {
                    let old = before.get(index).and_then(Option::as_ref);
                    self.view(note, over, sure, old)
                })
            })
            .collect()
    }

    fn view(&self, note: &JudgedNote, over: bool, sure: bool, old: Option<&NoteView>) -> NoteView {
        let heard = note.heard.as_ref();
        let onset_s = heard.map_or(f64::NEG_INFINITY, |h| h.onset_s);
        let corrected = old.is_some_and(|old| old.corrected || old.verdict != note.verdict);
        NoteView {
            verdict: note.verdict,
            heard_midi: heard.and_then(|h| h.midi),
            cents: heard.and_then(|h| h.cents),
            timing_ms: heard.and_then(|h| h.timing_ms),
            gap_ms: heard.and_then(|h| h.gap_ms),
            flags: note.flags.clone(),
            settled: over || (sure && onset_s < self.settled_s && note.verdict != Verdict::Missed),
            corrected,
        }
    }

    pub fn rings(&self) -> Vec<RingView> {
        let bleed = self.judgement.bleed.as_deref().unwrap_or_default();
        bleed
            .iter()
            .map(|b| RingView {
                string: b.string,
                midi: b.midi,
                kind: b.kind,
                level_db: b.level_db,
                from_s: b.from_s,
                to_s: b.to_s,
                during: b.during.clone(),
            })
            .collect()
    }

    pub fn over(&self, pass: &Pass, piece: &Piece) -> PassView {
        let tally = self.judgement.tally;
        PassView {
            number: pass.number,
            bars: bars_of(piece),
            tempo_bpm: piece.info.tempo_bpm,
            notes: self.judgement.notes.len(),
            right: tally.right,
            wrong: tally.wrong,
            missed: tally.missed,
            extra: tally.extra,
            gaps: tally.gaps,
            out_of_time: tally.early + tally.late,
            bleed: tally.bleed,
            spread_ms: self.judgement.timing.spread_ms,
            recognised: self.judgement.agreement == Agreement::Recognised,
            findings: self
                .judgement
                .findings
                .iter()
                .map(|finding| finding.sentence.clone())
                .collect(),
        }
    }
}

/// Verdicts are shown from so many heard notes on.
const TOLD_FROM: usize = 3;
/// ... and are the last word from so many on, ...
const SURE_FROM: usize = 6;
/// ... for notes that lie so many behind the last one heard; until then they may be corrected.
const SURE_BEHIND: usize = 2;

/// First and last bar of a piece.
pub(super) fn bars_of(piece: &Piece) -> (u32, u32) {
    let bars = &piece.info.bars;
    let number = |bar: Option<&crate::session::result::BarSpan>| bar.map_or(1, |bar| bar.number);
    (number(bars.first()), number(bars.last()))
}

/// The joins of a session with what became of them in each pass.
#[derive(Clone, Debug, Default)]
pub(super) struct JoinHistory {
    /// By bar and beat (in 960ths, so that they can be compared) and pitch of the note before.
    joins: BTreeMap<(u32, i64, u8), JoinView>,
}

/// Parts of a beat by which places are told apart.
const BEAT_PARTS: f64 = 960.0;

/// Joins whose gaps were flagged are shown, so many at most.
const WORST: usize = 12;

impl JoinHistory {
    /// Takes in a pass that is over.
    pub fn add(&mut self, judged: &Judged) {
        let notes = &judged.judgement.notes;
        for (note, next) in notes.iter().zip(notes.iter().skip(1)) {
            let written = &note.expected;
            if !written.legato_next || note.heard.is_none() {
                continue;
            }
            let beat = (written.beat * BEAT_PARTS).round() as i64;
            let join = self
                .joins
                .entry((written.bar, beat, written.midi))
                .or_insert_with(|| JoinView {
                    bar: written.bar,
                    beat: written.beat,
                    from_midi: written.midi,
                    to_midi: next.expected.midi,
                    kind: written.join,
                    gaps_ms: Vec::new(),
                    flagged: 0,
                });
            join.gaps_ms
                .push(note.heard.as_ref().and_then(|h| h.gap_ms));
            join.flagged += usize::from(note.flags.contains(&Flag::Gap));
        }
    }

    /// The joins that were flagged, the worst first: those that are flagged most often, and of
    /// these the longest.
    pub fn worst(&self) -> Vec<JoinView> {
        let mut worst: Vec<&JoinView> = self.joins.values().filter(|j| j.flagged > 0).collect();
        let share = |j: &JoinView| j.flagged as f64 / j.gaps_ms.len().max(1) as f64;
        let longest = |j: &JoinView| j.gaps_ms.iter().flatten().fold(0.0f64, |a, b| a.max(*b));
        worst.sort_by(|a, b| {
            share(b)
                .total_cmp(&share(a))
                .then(longest(b).total_cmp(&longest(a)))
        });
        worst.into_iter().take(WORST).cloned().collect()
    }
}
