//! One pass: what was heard in it, held against the whole line, and what is shown of that.

use crate::compare::clicks::ClickedPass;
use crate::compare::judgement::{
    Agreement, Flag, JudgedNote, Judgement, PassJudgement, Tally, Timing, TimingMode, Verdict,
};
use crate::compare::{Settings, judge_with_rings};
use crate::music::expected::ExpectedNote;
use crate::session::heard::Heard;
use crate::session::line_info::BarSpan;
use crate::session::live::snapshot::{NoteView, PassView, Piece, RingView};

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
    /// Where the first of the chosen bars lies by the click in the stream, if it was played to one.
    pub click_at_s: Option<f64>,
    /// The clicks that are ordered for it, in seconds from that moment.
    pub ticks_s: Vec<f64>,
    /// Tempo relative to the written one.
    pub share: f64,
    /// First and last of the chosen bars.
    pub bars: (u32, u32),
    /// First and last note of the whole line that it is to hold, by index, where it is one join
    /// alone; `None` for all notes of its bars.
    pub notes: Option<(usize, usize)>,
    /// Where what is played begins in the whole line at that tempo, in seconds.
    pub start_s: f64,
}

/// Moments are kept to this part of a second, so that they are the same when read from a file.
const MOMENT_PARTS: f64 = 1e6;
/// Tempi are kept to this part, for the same reason.
const STRETCH_PARTS: f64 = 1e9;

impl Pass {
    /// What the comparator is told of its click; `line_share` is the tempo of the line it will be
    /// held against, relative to the written one. `None` without a click.
    pub fn clicked(&self, line_share: f64, measured: bool) -> Option<ClickedPass> {
        let at_s = self.click_at_s?;
        if self.mode != TimingMode::Click {
            return None;
        }
        let moment = |s: f64| (s * MOMENT_PARTS).round() / MOMENT_PARTS;
        Some(ClickedPass {
            from_s: moment(self.from_s),
            to_s: moment(self.to_s.min(1e9)),
            zero_s: moment(at_s - self.start_s),
            stretch: (line_share / self.share * STRETCH_PARTS).round() / STRETCH_PARTS,
            measured,
            clicks_s: self.ticks_s.iter().map(|s| moment(at_s + s)).collect(),
            notes: self.notes,
        })
    }
}

/// The whole line at the tempo at which it is played, and which of its notes are the chosen ones.
#[derive(Clone, Debug)]
pub(super) struct Whole {
    /// All its notes.
    pub notes: Vec<ExpectedNote>,
    /// First and last of the chosen bars.
    pub bars: (u32, u32),
    /// For each note its position among the chosen ones.
    pub chosen: Vec<Option<usize>>,
}

/// Parts of a beat by which places are told apart.
pub(super) const BEAT_PARTS: f64 = 960.0;

impl Whole {
    /// `piece` are the notes of the chosen bars.
    pub fn new(notes: Vec<ExpectedNote>, bars: (u32, u32), piece: &[ExpectedNote]) -> Self {
        let key = |note: &ExpectedNote| {
            let beat = (note.beat * BEAT_PARTS).round() as i64;
            (note.bar, beat, note.midi)
        };
        let places: std::collections::BTreeMap<_, _> = piece
            .iter()
            .enumerate()
            .map(|(at, note)| (key(note), at))
            .collect();
        let chosen = notes
            .iter()
            .map(|note| places.get(&key(note)).copied())
            .collect();
        Self {
            notes,
            bars,
            chosen,
        }
    }

    fn chosen(&self, index: usize) -> Option<usize> {
        self.chosen.get(index).copied().flatten()
    }
}

/// A pass as it is judged now.
pub(super) struct Judged {
    pub judgement: Judgement,
    /// What was played in the pass that is played now, in the order of the line.
    pub played: Vec<JudgedNote>,
    /// Counts of the same.
    tally: Tally,
    /// For each of the chosen notes what became of it; `None` where the pass did not come.
    pub notes: Vec<Option<JudgedNote>>,
    /// What rang in it, its notes counted among the chosen ones.
    rings: Vec<RingView>,
    /// Notes with an onset from here on are provisional, in seconds.
    pub settled_s: f64,
}

pub(super) fn judge(
    heard: &Heard,
    pass: &Pass,
    piece: &Piece,
    whole: &Whole,
    settings: &Settings,
    measured: bool,
) -> Judged {
    let (notes, rings, settled_s) = heard.within(pass.from_s, pass.to_s);
    let judgement = judge_with_rings(
        &whole.notes,
        &notes,
        Some(&rings),
        &Settings {
            mode: pass.mode,
            clicks: pass.clicked(pass.share, measured).into_iter().collect(),
            bars: Some(whole.bars),
            stretches: Vec::new(),
            ..settings.clone()
        },
    );
    // To a click the bars are the click's, whatever the player left out; without one the pass that
    // is played now is the last one found.
    let now = judgement.passes.last();
    let (played, tally, bleed) = match pass.mode {
        TimingMode::Click => {
            let reached = |note: &&JudgedNote| note.verdict != Verdict::Unreached;
            let played = judgement.notes.iter().filter(reached).cloned().collect();
            (played, judgement.tally, judgement.bleed.as_deref())
        }
        TimingMode::Free => (
            now.map_or_else(Vec::new, |now| now.notes.clone()),
            now.map_or_else(Tally::default, |now| now.tally),
            now.and_then(|now| now.bleed.as_deref()),
        ),
    };
    let mut notes: Vec<Option<JudgedNote>> = vec![None; piece.notes.len()];
    for note in &played {
        if let Some(at) = whole.chosen(note.expected.index) {
            notes[at] = Some(note.clone());
        }
    }
    let rings = bleed
        .unwrap_or_default()
        .iter()
        .map(|b| RingView {
            string: b.string,
            midi: b.midi,
            kind: b.kind,
            level_db: b.level_db,
            from_s: b.from_s,
            to_s: b.to_s,
            during: b.during.iter().filter_map(|at| whole.chosen(*at)).collect(),
        })
        .collect();
    Judged {
        judgement,
        played,
        tally,
        notes,
        rings,
        settled_s,
    }
}

/// Verdicts are shown from this many heard notes on. Raising it keeps the screen empty for longer.
const TOLD_FROM: usize = 3;
/// The last word on a note, and every fault, is said from this many heard notes on: before that the
/// grid of time still turns, and the line fits in several places. Raised, both are said later.
const SURE_FROM: usize = 8;
/// It is also said only when this many notes were heard behind it, all of them decided. Raised, it is
/// said later.
const SURE_BEHIND: usize = 4;
/// A pass has begun for good when this many of its notes were heard and are decided. Raising it
/// ends the pass before later.
const NEXT_PASS_NOTES: usize = 4;

impl Judged {
    /// The pass that is played now.
    pub fn now(&self) -> Option<&PassJudgement> {
        self.judgement.passes.last()
    }

    /// Index of the last of the chosen notes that was heard.
    pub fn last_heard(&self) -> Option<usize> {
        let heard = |note: &Option<JudgedNote>| note.as_ref().is_some_and(|n| n.heard.is_some());
        self.notes.iter().rposition(heard)
    }

    /// When that note was struck, in seconds of the stream.
    pub fn last_onset_s(&self) -> Option<f64> {
        let last = self.notes[self.last_heard()?].as_ref()?;
        last.heard.as_ref().map(|heard| heard.onset_s)
    }

    /// How many of the chosen notes were heard.
    pub fn heard(&self) -> usize {
        let notes = self.notes.iter().flatten();
        notes.filter(|note| note.heard.is_some()).count()
    }

    /// Up to which onset it is decided which note is which, in seconds of the stream.
    pub fn decided_s(&self) -> f64 {
        self.judgement.decided_s.unwrap_or(f64::NEG_INFINITY)
    }

    /// Where the pass that was played first is over because another one has begun for good, in
    /// seconds of the stream.
    pub fn next_pass_s(&self) -> Option<f64> {
        let next = self.judgement.passes.get(1)?;
        let decided_s = self.decided_s();
        let heard = next.notes.iter().filter_map(|note| note.heard.as_ref());
        let sure = heard.filter(|heard| heard.onset_s <= decided_s).count();
        (sure >= NEXT_PASS_NOTES).then_some(next.from_s)
    }

    /// One entry for each chosen note; `None` while nothing is known of it for good. A fault is
    /// shown only once nothing can take it back but what is decided already. What was said before
    /// is needed to tell what was corrected.
    pub fn views(&self, over: bool, before: &[Option<NoteView>]) -> Vec<Option<NoteView>> {
        let heard = self.heard();
        let last = self.last_heard().filter(|_| heard >= TOLD_FROM);
        let decided_s = self.decided_s();
        let onset_s = |at: usize| {
            let note = self.notes.get(at)?.as_ref()?;
            note.heard.as_ref().map(|h| h.onset_s)
        };
        let decided = |at: usize| {
            let struck_s = (at..self.notes.len()).find_map(onset_s);
            struck_s.is_some_and(|s| s <= decided_s && s < self.settled_s)
        };
        let behind = |at: usize| (at + 1..self.notes.len()).filter(|k| onset_s(*k).is_some());
        let numbered = self.notes.iter().enumerate();
        numbered
            .map(|(index, note)| {
                let old = before.get(index).and_then(Option::as_ref);
                let kept = || old.filter(|old| old.settled && !over).cloned();
                let Some(note) = note.as_ref() else {
                    return kept();
                };
                let known = over || last.is_some_and(|last| index <= last);
                let nth = behind(index).nth(SURE_BEHIND - 1);
                let enough = heard >= SURE_FROM && nth.is_some_and(decided);
                let sure = over || (enough && decided(index));
                if !known || (note.verdict != Verdict::Right && !sure) {
                    return kept();
                }
                Some(view(note, sure, old))
            })
            .collect()
    }

    /// The rings that are decided: no sound that is still to come can change them.
    pub fn rings(&self) -> Vec<RingView> {
        let until_s = self.decided_s().min(self.settled_s);
        let sure = |ring: &&RingView| ring.from_s <= until_s;
        self.rings.iter().filter(sure).cloned().collect()
    }

    pub fn over(&self, pass: &Pass, piece: &Piece) -> PassView {
        let tally = self.tally;
        let written = match self.played.len() {
            0 => piece.notes.len(),
            played => played,
        };
        let timing = self.now().map(|now: &PassJudgement| &now.timing);
        PassView {
            number: pass.number,
            bars: self
                .now()
                .filter(|now| now.judged && pass.mode == TimingMode::Free)
                .map_or_else(|| bars_of(piece), |now| now.bars),
            tempo_bpm: piece.info.tempo_bpm,
            notes: written,
            right: tally.right,
            wrong: tally.wrong,
            missed: tally.missed,
            extra: tally.extra,
            gaps: tally.gaps,
            out_of_time: tally.early + tally.late,
            bleed: tally.bleed,
            spread_ms: timing.and_then(|timing: &Timing| timing.spread_ms),
            recognised: self.judgement.agreement == Agreement::Recognised || self.is_join(pass),
            findings: self
                .judgement
                .findings
                .iter()
                .map(|finding| finding.sentence.clone())
                .collect(),
            compared: None,
            tempo_share: pass.share,
            ladder: None,
        }
    }

    /// Whether a join was played alone and enough of it recognised: of so few notes two wrong ones are
    /// half, and still it is no other line.
    fn is_join(&self, pass: &Pass) -> bool {
        pass.notes.is_some() && self.now().is_some_and(|now| now.judged)
    }
}

/// What is shown of a note: its faults only when they are sure.
fn view(note: &JudgedNote, sure: bool, old: Option<&NoteView>) -> NoteView {
    let heard = note.heard.as_ref();
    let corrected =
        old.is_some_and(|old| old.corrected || (old.settled && old.verdict != note.verdict));
    let told = old.map_or(&[][..], |old| &old.flags);
    let is_told = |flag: &&Flag| sure || told.contains(flag);
    NoteView {
        verdict: note.verdict,
        heard_midi: heard.and_then(|h| h.midi),
        cents: heard.and_then(|h| h.cents),
        timing_ms: heard.filter(|_| sure).and_then(|h| h.timing_ms),
        gap_ms: heard.filter(|_| sure).and_then(|h| h.gap_ms),
        flags: note.flags.iter().filter(is_told).copied().collect(),
        settled: sure || old.is_some_and(|old| old.settled),
        corrected,
    }
}

/// First and last bar of a piece.
pub(super) fn bars_of(piece: &Piece) -> (u32, u32) {
    let bars = &piece.info.bars;
    let number = |bar: Option<&BarSpan>| bar.map_or(1, |bar| bar.number);
    (number(bars.first()), number(bars.last()))
}
