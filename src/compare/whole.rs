//! What a take says of the line as a whole, put together from its passes: for each note the pass
//! that counts, the joins over all passes, the sentences.

use crate::compare::Settings;
use crate::compare::judgement::{
    Agreement, Bleed, Flag, JoinKindRecord, JoinRecord, JudgedNote, Judgement, Loudness,
    PassJudgement, Tally, Timing, Verdict, Withheld,
};
use crate::compare::say::{findings, uneven};
use crate::music::expected::{ExpectedNote, JoinKind};
use crate::units::median;

/// Puts the passes of a take together.
///
/// Input:  the whole line; the passes in order of time, cut to the bars asked for.
/// Output: one note for each expected note asked for.
pub(crate) fn put_together(
    expected: &[ExpectedNote],
    passes: Vec<PassJudgement>,
    (agreement, click_db): (Agreement, Option<f64>),
    listened: bool,
    settings: &Settings,
) -> Judgement {
    let stretches = settings.asked();
    let asked: Vec<&ExpectedNote> = expected
        .iter()
        .filter(|note| {
            let inside = |&(from, to): &(u32, u32)| (from..=to).contains(&note.bar);
            stretches.as_ref().is_none_or(|all| all.iter().any(inside))
        })
        .collect();
    let chosen = choose(&asked, &passes);
    let notes: Vec<JudgedNote> = asked
        .iter()
        .zip(&chosen)
        .map(|(expected, pass)| {
            let judged = pass.and_then(|k| note_of(&passes[k], expected.index));
            judged.cloned().unwrap_or_else(|| JudgedNote {
                expected: (*expected).clone(),
                verdict: Verdict::Unreached,
                heard: None,
                flags: Vec::new(),
            })
        })
        .collect();
    let of_pass = |index: usize| {
        let at = asked.binary_search_by_key(&index, |note| note.index).ok()?;
        chosen[at]
    };
    let mut extras = Vec::new();
    let mut bleed: Option<Vec<Bleed>> = listened.then(Vec::new);
    let mut undecided = Vec::new();
    for (k, pass) in passes.iter().enumerate() {
        let first = pass.notes.first().map(|note| note.expected.index);
        let counts = |index: Option<usize>| index.and_then(of_pass) == Some(k);
        let extra = pass
            .extras
            .iter()
            .filter(|e| counts(e.after_index.or(first)));
        extras.extend(extra.cloned());
        if let Some(bleed) = &mut bleed {
            let rings = pass.bleed.iter().flatten();
            bleed.extend(
                rings
                    .filter(|b| counts(b.during.first().copied().or(b.after).or(first)))
                    .cloned(),
            );
        }
        let cases = pass.undecided.iter().filter(|u| counts(Some(u.after)));
        undecided.extend(cases.cloned());
    }
    let timing = timing(&chosen, &passes, settings);
    let joins = joins(&asked, &passes);
    let join_kinds = join_kinds(&joins);
    let mut findings = findings::find(settings, &asked, &passes, &notes, agreement);
    let recognised = matches!(agreement, Agreement::Recognised);
    findings.extend(uneven::loud_click(click_db.filter(|_| recognised)));
    Judgement {
        agreement,
        timing,
        tally: Tally::count(&notes, &extras),
        notes,
        extras,
        bleed,
        undecided,
        passes,
        joins,
        join_kinds,
        decided_s: None,
        click_db,
        swing: None,
        loudness: Loudness::none(Withheld::TooFew),
        findings,
        marks: settings.marks.clone(),
    }
}

fn note_of(pass: &PassJudgement, index: usize) -> Option<&JudgedNote> {
    let at = pass
        .notes
        .binary_search_by_key(&index, |note| note.expected.index);
    pass.notes.get(at.ok()?)
}

/// For each note asked for the pass that counts: the last one that holds its bar completely, else
/// the last one that reached the note.
fn choose(asked: &[&ExpectedNote], passes: &[PassJudgement]) -> Vec<Option<usize>> {
    let reached = |index: usize| move |pass: &PassJudgement| note_of(pass, index).is_some();
    let mut chosen = Vec::with_capacity(asked.len());
    for bar in asked.chunk_by(|a, b| a.bar == b.bar) {
        let complete = passes
            .iter()
            .rposition(|pass| bar.iter().all(|note| reached(note.index)(pass)));
        for note in bar {
            chosen.push(complete.or_else(|| passes.iter().rposition(reached(note.index))));
        }
    }
    chosen
}

/// The grid of the pass from which most notes come.
fn timing(chosen: &[Option<usize>], passes: &[PassJudgement], settings: &Settings) -> Timing {
    let mut counts = vec![0_usize; passes.len()];
    for &pass in chosen.iter().flatten() {
        counts[pass] += 1;
    }
    let most = (0..counts.len()).max_by_key(|&k| counts[k]);
    most.map_or(
        Timing {
            offset_s: None,
            tempo_bpm: None,
            tempo_from_to_bpm: None,
            mode: settings.mode,
            spread_ms: None,
            mean_ms: None,
            offbeats_ms: None,
        },
        |k| passes[k].timing.clone(),
    )
}

/// The legato joins that some pass reached.
fn joins(asked: &[&ExpectedNote], passes: &[PassJudgement]) -> Vec<JoinRecord> {
    let mut joins = Vec::new();
    for pair in asked.windows(2) {
        let (note, next) = (pair[0], pair[1]);
        let Some(join) = note.join.filter(|_| note.legato_next) else {
            continue;
        };
        let reached: Vec<&JudgedNote> = passes
            .iter()
            .filter(|pass| note_of(pass, next.index).is_some())
            .filter_map(|pass| note_of(pass, note.index))
            .collect();
        if reached.is_empty() {
            continue;
        }
        joins.push(JoinRecord {
            index: note.index,
            bar: note.bar,
            beat: note.beat,
            join,
            gaps_ms: reached
                .iter()
                .map(|note| note.heard.as_ref().and_then(|heard| heard.gap_ms))
                .collect(),
            flagged: reached
                .iter()
                .filter(|note| note.flags.contains(&Flag::Gap))
                .count(),
        });
    }
    joins
}

fn join_kinds(joins: &[JoinRecord]) -> Vec<JoinKindRecord> {
    let record = |kind: JoinKind| {
        let own: Vec<&JoinRecord> = joins.iter().filter(|join| join.join == kind).collect();
        let mut gaps_ms: Vec<f64> = own
            .iter()
            .flat_map(|join| join.gaps_ms.iter().flatten().copied())
            .collect();
        (!own.is_empty()).then(|| JoinKindRecord {
            join: kind,
            joins: own.len(),
            flagged: own
                .iter()
                .filter(|join| join.flagged > 0 && 2 * join.flagged >= join.gaps_ms.len())
                .count(),
            usual_gap_ms: median(&mut gaps_ms),
        })
    };
    JoinKind::ALL.into_iter().filter_map(record).collect()
}
