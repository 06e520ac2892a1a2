//! Sentences a player can act on, made from the verdicts and flags of all passes: a fault that
//! several passes show is told once, and what spoils the line most stands first.

use crate::compare::Settings;
use crate::compare::judgement::{Agreement, Finding, JudgedNote, PassJudgement};
use crate::compare::say::seen::Take;
use crate::compare::say::{course, notes, off, strings, weight};
use crate::music::expected::ExpectedNote;

/// All findings, the heaviest first.
///
/// Input: the notes asked for; every pass; `judged` is each note as the pass that counts shows it.
pub(crate) fn find(
    settings: &Settings,
    expected: &[&ExpectedNote],
    passes: &[PassJudgement],
    judged: &[JudgedNote],
    agreement: Agreement,
) -> Vec<Finding> {
    let take = Take {
        settings,
        expected,
        passes: passes.iter().filter(|pass| pass.judged).collect(),
    };
    let mut findings = course::agreement(judged, agreement);
    if matches!(agreement, Agreement::NothingHeard(_)) {
        return findings;
    }
    findings.extend(course::of_passes(&take, passes));
    findings.extend(notes::gaps(&take));
    findings.extend(notes::wrong(&take));
    findings.extend(notes::missed(&take));
    findings.extend(notes::dead(&take));
    findings.extend(notes::clipped(&take));
    findings.extend(notes::buzzes(&take));
    findings.extend(off::levels(&take));
    findings.extend(strings::extras(&take));
    findings.extend(strings::rings(&take));
    findings.extend(off::timings(&take));
    findings.extend(off::drift(&take));
    findings.extend(off::tuning(&take));
    weight::in_order(&mut findings);
    findings
}
