//! Parts of a page: the command that practises a passage, a kind of join in a sentence, the bars
//! with something in them.

use super::text::Practise;
use crate::compare::judgement::{Evenness, JoinKindRecord, Passage, Verdict, Withheld};
use crate::session::line_info::LineInfo;
use crate::session::result::TakeResult;
use crate::words::plural;

/// The command that practises a passage.
pub(super) fn command(practise: &Practise, start: &Passage, line: &LineInfo) -> String {
    /// Per cent are told in steps of this.
    const STEP: f64 = 5.0;
    // `--bars` takes printed numbers; a jump back in the music is no row of them.
    let (from, to) = (
        line.printed_bar(start.bars.0),
        line.printed_bar(start.bars.1),
    );
    let bars = if to <= from {
        from.to_string()
    } else {
        format!("{from}-{to}")
    };
    let quote = |path: &str| {
        let plain = |c: char| c.is_alphanumeric() || "/._-+,:@%".contains(c);
        if path.chars().all(plain) {
            path.to_owned()
        } else {
            format!("'{}'", super::page::clean(path).replace('\'', "'\\''"))
        }
    };
    let tempo = start.tempo_bpm.map(|bpm| {
        let percent = 100.0 * practise.share * bpm / line.tempo_bpm;
        (percent / STEP).floor() * STEP
    });
    let tempo = match tempo.filter(|percent| percent.is_finite() && *percent >= STEP) {
        Some(percent) => format!(" --tempo {percent:.0}%"),
        None => String::new(),
    };
    format!(
        "seamline play {} --bars {bars}{tempo}",
        quote(&practise.line)
    )
}

/// "shifts: 2 of 10 leave a gap, usually 4 ms".
pub(super) fn join_kind(kind: &JoinKindRecord) -> String {
    let usual = kind
        .usual_gap_ms
        .map_or(String::new(), |ms| format!(", usually {ms:.0} ms"));
    let leave = match kind.flagged {
        0 => format!("none of {} leaves a gap", kind.joins),
        1 => format!("1 of {} leaves a gap", kind.joins),
        flagged => format!("{flagged} of {} leave a gap", kind.joins),
    };
    format!("{}: {leave}{usual}", kind.join.plural())
}

/// A drift of the level is told from this many decibels on: what is just noticed in music lies about 1 dB,
/// and over a whole take less than this is nobody's concern. Common practice, no source.
const DRIFT_TOLD_DB: f64 = 3.0;
/// A drift is told where it is this many times its doubt (one standard deviation).
const DRIFT_SURE: f64 = 2.0;

/// "even within 1.4 dB; 4 dB softer from the first note to the last"; `None` of too few notes.
pub(super) fn level(result: &TakeResult) -> Option<String> {
    let judgement = &result.judgement;
    let loudness = &judgement.loudness;
    match loudness.withheld {
        Some(Withheld::TooFew) => return None,
        Some(Withheld::Clipped) => {
            return Some("not told, since the input clipped in many notes".to_owned());
        }
        Some(Withheld::GainControl) => {
            return Some(
                "not told, since a gain control turned the recording up and down".to_owned(),
            );
        }
        None => {}
    }
    let spread_db = loudness.evenness?.spread_db;
    let mut text = format!("notes spread {spread_db:.1} dB");
    let passes: Vec<&Evenness> = judgement
        .passes
        .iter()
        .filter_map(|pass| pass.evenness.as_ref())
        .collect();
    if let [first, .., last] = passes.as_slice() {
        text = format!(
            "notes spread {:.1} dB, {:.1} in the last pass",
            first.spread_db, last.spread_db
        );
    }
    if let (Some(drift_db), Some(doubt_db)) = (loudness.drift_db, loudness.drift_uncertainty_db)
        && drift_db.abs() >= DRIFT_TOLD_DB
        && drift_db.abs() >= DRIFT_SURE * doubt_db
    {
        let word = if drift_db < 0.0 { "softer" } else { "louder" };
        text.push_str(&format!(
            "; {:.0} dB {word} from the first note to the last",
            drift_db.abs()
        ));
    }
    for (count, what) in [
        (judgement.tally.loud, "out"),
        (judgement.tally.soft, "away"),
    ] {
        if count > 0 {
            let verb = match what {
                "out" => plural(count, "sticks", "stick"),
                _ => plural(count, "falls", "fall"),
            };
            text.push_str(&format!("; {count} {verb} {what}"));
        }
    }
    Some(text)
}

/// Bars in which something is shown, each with what its findings weigh, the heaviest first.
pub(super) fn bars_of_note(result: &TakeResult) -> Vec<(u32, f64)> {
    let judgement = &result.judgement;
    let bar_of = |index: usize| {
        let note = judgement.notes.iter().find(|n| n.expected.index == index);
        note.map(|note| note.expected.bar)
    };
    let marked = judgement
        .notes
        .iter()
        .filter(|note| {
            !note.flags.is_empty() || matches!(note.verdict, Verdict::Wrong | Verdict::Missed)
        })
        .map(|note| note.expected.bar);
    let extra = judgement.extras.iter().filter_map(|extra| {
        let first = judgement.notes.first().map(|note| note.expected.index);
        bar_of(extra.after_index.or(first)?)
    });
    let mut bars: Vec<u32> = marked.chain(extra).collect();
    bars.sort_unstable();
    bars.dedup();
    let weight = |bar: u32| -> f64 {
        let own = judgement.findings.iter();
        own.filter(|finding| finding.index.and_then(bar_of) == Some(bar))
            .map(|finding| finding.weight)
            .sum()
    };
    let mut bars: Vec<(u32, f64)> = bars.into_iter().map(|bar| (bar, weight(bar))).collect();
    bars.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    bars
}

/// "Not shown: 3 more findings, bars 5 and 7 (--all)"; `None` when all is shown.
pub(super) fn not_shown(findings: usize, bars: &[u32]) -> Option<String> {
    let mut parts = Vec::new();
    if findings > 0 {
        parts.push(format!(
            "{findings} more {}",
            plural(findings, "finding", "findings")
        ));
    }
    let numbers: Vec<String> = bars.iter().map(u32::to_string).collect();
    match numbers.as_slice() {
        [one] => parts.push(format!("bar {one}")),
        [most @ .., last] => parts.push(format!("bars {} and {last}", most.join(", "))),
        [] => {}
    }
    (!parts.is_empty()).then(|| format!("Not shown: {} (--all).", parts.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::line_info::BarSpan;

    fn start(bars: (u32, u32), tempo_bpm: Option<f64>) -> Passage {
        Passage {
            bars,
            finding: None,
            sentence: String::new(),
            weight: 1.0,
            tempo_bpm,
        }
    }

    /// Closed form: 67 of 84 to the minute is 79.8 %, of which 75 is the next step below; a take
    /// held against half the written tempo halves it.
    #[test]
    fn the_command_names_line_bars_and_tempo() {
        // Bar 5 is bar 1 once more.
        let bars = [(1, None), (2, None), (3, None), (4, None), (5, Some(1))];
        let bars = bars.map(|(number, printed)| BarSpan {
            number,
            printed,
            ..BarSpan::default()
        });
        let info = LineInfo {
            title: None,
            tempo_bpm: 84.0,
            strings: Vec::new(),
            bars: bars.to_vec(),
            part: false,
        };
        let told = |line: &str, share: f64, start: &Passage| {
            let line = line.to_owned();
            command(&Practise { line, share }, start, &info)
        };
        assert_eq!(
            told("a.line", 1.0, &start((3, 4), Some(67.0))),
            "seamline play a.line --bars 3-4 --tempo 75%"
        );
        assert_eq!(
            told("a.line", 0.5, &start((3, 3), Some(84.0))),
            "seamline play a.line --bars 3 --tempo 50%"
        );
        assert_eq!(
            told("my line's.line", 1.0, &start((3, 3), None)),
            r"seamline play 'my line'\''s.line' --bars 3"
        );
        assert_eq!(
            told("a.line", 1.0, &start((5, 5), None)),
            "seamline play a.line --bars 1"
        );
        assert_eq!(
            told("a.line", 1.0, &start((4, 5), None)),
            "seamline play a.line --bars 4"
        );
    }
}
