//! The first lines of a report, by which a player knows how it went.

use super::words::{one_decimal, plural};
use crate::compare::judgement::{FindingKind, Verdict};
use crate::session::result::TakeResult;

/// The take's file without its folders, which stand further down.
fn name(result: &TakeResult) -> &str {
    let file = match result.take.file.as_str() {
        "-" => "standard input",
        file => file,
    };
    file.rsplit(['/', '\\'])
        .find(|part| !part.is_empty())
        .unwrap_or(file)
}

/// Whether every note is as written and nothing is flagged.
pub(super) fn spotless(result: &TakeResult) -> bool {
    let judgement = &result.judgement;
    judgement.extras.is_empty()
        && judgement
            .notes
            .iter()
            .all(|note| note.verdict == Verdict::Right && note.flags.is_empty())
}

/// First line: right of total, what was not, the gaps.
pub(super) fn verdicts(result: &TakeResult) -> String {
    let tally = &result.judgement.tally;
    let total = result.judgement.notes.len();
    let mut parts = vec![match tally.right {
        right if right == total && total > 1 => format!("all {total} notes right"),
        right => format!("{right} of {total} notes right"),
    }];
    let longest = result
        .judgement
        .findings
        .iter()
        .filter(|finding| finding.kind == FindingKind::Gap)
        .map(|finding| finding.size)
        .fold(f64::NEG_INFINITY, f64::max);
    parts.push(match tally.gaps {
        0 => "no gaps".to_owned(),
        1 if longest.is_finite() => format!("1 gap ({longest:.0} ms)"),
        gaps if longest.is_finite() => format!("{gaps} gaps (up to {longest:.0} ms)"),
        gaps => format!("{gaps} {}", plural(gaps, "gap", "gaps")),
    });
    for (count, word) in [
        (tally.wrong, "wrong"),
        (tally.missed, "missed"),
        (tally.extra, "extra"),
        (tally.dead, "dead"),
        (tally.clipped, "clipped"),
    ] {
        if count > 0 {
            parts.push(format!("{count} {word}"));
        }
    }
    match result.judgement.bleed.as_deref().map_or(0, <[_]>::len) {
        0 => {}
        rings => parts.push(format!(
            "{rings} {} underneath",
            plural(rings, "ring", "rings")
        )),
    }
    format!("{}: {}.", name(result), parts.join(", "))
}

/// Second line: tempo and spread.
pub(super) fn pulse(result: &TakeResult) -> String {
    let timing = &result.judgement.timing;
    let tally = &result.judgement.tally;
    let written = one_decimal(result.line.tempo_bpm);
    let tempo = match timing.tempo_bpm {
        Some(played) => format!("Tempo {} (written {written})", one_decimal(played)),
        None => format!("Tempo could not be told (written {written})"),
    };
    let spread = match timing.spread_ms {
        Some(spread) => format!("timing spreads {spread:.0} ms"),
        None => "timing spread could not be told".to_owned(),
    };
    let mut text = format!("{tempo}, {spread}");
    for (count, word) in [(tally.early, "early"), (tally.late, "late")] {
        if count > 0 {
            text.push_str(&format!(", {count} {word}"));
        }
    }
    for (count, word) in [(tally.sharp, "sharp"), (tally.flat, "flat")] {
        if count > 0 {
            text.push_str(&format!(", {count} {word}"));
        }
    }
    text.push('.');
    text
}

/// The opening on a take that is not the line: what was found out about it as a whole, and what
/// to look at.
pub(super) fn another_line(result: &TakeResult) -> Vec<String> {
    let what = on_the_whole(result).unwrap_or("this does not sound like the line");
    vec![
        format!("{}: {what}.", name(result)),
        "Do take and line belong together? Check the file names, --bars, --tuning and --a4. \
         Verdicts on single notes would say little, so none are shown."
            .to_owned(),
    ]
}

/// The opening on a take in which nothing was heard.
pub(super) fn nothing_heard(result: &TakeResult) -> Vec<String> {
    let what = match result.take.loudest_dbfs {
        Some(_) => on_the_whole(result).unwrap_or("no note was heard"),
        None => "no note was heard; every sample is zero",
    };
    vec![
        format!("{}: {what}.", name(result)),
        "Check the cable, the volume knob and the input level, and record once more.".to_owned(),
    ]
}

/// The first finding about the take as a whole: where the line was not recognised, why.
fn on_the_whole(result: &TakeResult) -> Option<&str> {
    let findings = &result.judgement.findings;
    let first = findings
        .iter()
        .find(|finding| finding.kind == FindingKind::Take)?;
    Some(&first.sentence)
}
