//! The first lines of a report, by which a player knows how it went.

use super::phrases::{beside_the_click, one_decimal, times};
use crate::compare::judgement::{Agreement, FindingKind, Flag, JudgedNote, PassJudgement, Tally};
use crate::session::line_info::LineInfo;
use crate::session::result::TakeResult;
use crate::words::{self, plural};

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

/// The first lines of the page on a take.
pub(super) fn lines(result: &TakeResult) -> Vec<String> {
    let lines = match result.judgement.agreement {
        Agreement::AnotherLine(_) => another_line(result),
        Agreement::NothingHeard(_) => nothing_heard(result),
        Agreement::Recognised if !result.judgement.is_judged() => not_played(result),
        Agreement::Recognised => vec![how_it_went(result), pulse(result)],
    };
    lines.into_iter().filter(|line| !line.is_empty()).collect()
}

/// Why a take that is not judged is not, and what to do, without its name.
pub(super) fn reason(result: &TakeResult) -> String {
    let told = lines(result).join(" ");
    let plain = told.strip_prefix(&format!("{}: ", name(result)));
    plain.map_or_else(|| told.clone(), str::to_owned)
}

/// First line: the passes, and how many notes were right.
fn how_it_went(result: &TakeResult) -> String {
    let passes = &result.judgement.passes;
    let judged: Vec<&PassJudgement> = passes.iter().filter(|pass| pass.judged).collect();
    let Some(last) = judged.last() else {
        return String::new();
    };
    let mut text = format!("{}: ", name(result));
    let whole = whole_line(result);
    if passes.len() > 1 {
        text.push_str(&format!(
            "{} passes: {}; ",
            passes.len(),
            in_groups(passes, whole, &result.line)
        ));
        text.push_str(&format!(
            "{} in the last.",
            right(&last.tally, last.notes.len())
        ));
        return text;
    }
    if last.bars != whole {
        text.push_str(&format!("{} alone: ", result.line.bars_words(last.bars)));
    }
    text.push_str(&right(&last.tally, last.notes.len()));
    text.push_str(&counts(last));
    text.push('.');
    text
}

/// First and last bar of what was asked for that hold notes.
fn whole_line(result: &TakeResult) -> (u32, u32) {
    let bar = |note: Option<&JudgedNote>| note.map_or(0, |note| note.expected.bar);
    let notes = &result.judgement.notes;
    (bar(notes.first()), bar(notes.last()))
}

/// "bars 1 to 2 four times, the whole line once".
fn in_groups(passes: &[PassJudgement], whole: (u32, u32), line: &LineInfo) -> String {
    /// Groups that are told one by one, at most.
    const TOLD: usize = 4;
    type Which = ((u32, u32), bool);
    let mut groups: Vec<(Which, usize)> = Vec::new();
    for pass in passes.iter().filter(|pass| pass.judged) {
        let which = (pass.bars, pass.complete);
        match groups.iter_mut().find(|(of, _)| *of == which) {
            Some((_, count)) => *count += 1,
            None => groups.push((which, 1)),
        }
    }
    let mut parts: Vec<String> = groups
        .iter()
        .take(TOLD)
        .map(|((bars, complete), count)| {
            let what = if *bars == whole && !line.part {
                "the whole line".to_owned()
            } else {
                line.bars_words(*bars)
            };
            let off = if *complete { "" } else { " (broken off)" };
            format!("{what} {}{off}", times(*count))
        })
        .collect();
    let more: usize = groups.iter().skip(TOLD).map(|(_, count)| count).sum();
    if more > 0 {
        parts.push(format!("{more} other {}", plural(more, "pass", "passes")));
    }
    let unknown = passes.iter().filter(|pass| !pass.judged).count();
    if unknown > 0 {
        parts.push(format!("{unknown} not judged"));
    }
    parts.join(", ")
}

/// "all 32 notes right", "31 of 32 notes right".
fn right(tally: &Tally, total: usize) -> String {
    match tally.right {
        right if right == total && total > 1 => format!("all {total} notes right"),
        right => format!("{right} of {total} notes right"),
    }
}

/// What else is counted of a pass, each with a comma before it.
fn counts(pass: &PassJudgement) -> String {
    let tally = &pass.tally;
    let gap_ms = |note: &JudgedNote| note.heard.as_ref().and_then(|heard| heard.gap_ms);
    let longest = pass
        .notes
        .iter()
        .filter(|note| note.flags.contains(&Flag::Gap))
        .filter_map(gap_ms)
        .fold(f64::NEG_INFINITY, f64::max);
    let mut text = match tally.gaps {
        0 => ", no gaps".to_owned(),
        1 if longest.is_finite() => format!(", 1 gap ({longest:.0} ms)"),
        gaps if longest.is_finite() => format!(", {gaps} gaps (up to {longest:.0} ms)"),
        gaps => format!(", {gaps} {}", plural(gaps, "gap", "gaps")),
    };
    for (count, word) in [
        (tally.wrong, words::WRONG),
        (tally.missed, words::MISSED),
        (tally.extra, words::EXTRA),
        (tally.dead, words::DEAD),
        (tally.clipped, words::CLIPPED),
    ] {
        if count > 0 {
            text.push_str(&format!(", {count} {word}"));
        }
    }
    match pass.bleed.as_deref().map_or(0, <[_]>::len) {
        0 => {}
        rings => text.push_str(&format!(
            ", {rings} {} underneath",
            plural(rings, "ring", "rings")
        )),
    }
    text
}

/// Second line: tempo and spread.
fn pulse(result: &TakeResult) -> String {
    let written = one_decimal(result.line.tempo_bpm);
    let passes = result.judgement.passes.iter().filter(|pass| pass.judged);
    let bpm = passes.clone().filter_map(|pass| pass.timing.tempo_bpm);
    let (low, high) = bpm.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), bpm| {
        (low.min(bpm), high.max(bpm))
    });
    let several = passes.clone().count() > 1;
    let tempo = match (low.is_finite(), several && high.round() > low.round()) {
        (false, _) => format!("Tempo could not be told (written {written})"),
        (true, true) => format!("Tempo {low:.0} to {high:.0} (written {written})"),
        (true, false) => format!("Tempo {} (written {written})", one_decimal(low)),
    };
    let Some(last) = passes.clone().next_back() else {
        return String::new();
    };
    let spread = match last.timing.spread_ms {
        Some(spread) => format!("timing spreads {spread:.0} ms"),
        None => "timing spread could not be told".to_owned(),
    };
    let mut text = format!("{tempo}, {spread}");
    if let Some(lies) = beside_the_click(&last.timing) {
        text.push_str(&format!(", {lies}"));
    }
    if several {
        text.push_str(" in the last");
    }
    let tally = &last.tally;
    for (count, word) in [
        (tally.early, words::EARLY),
        (tally.late, words::LATE),
        (tally.sharp, words::SHARP),
        (tally.flat, words::FLAT),
    ] {
        if count > 0 {
            text.push_str(&format!(", {count} {word}"));
        }
    }
    text.push('.');
    text
}

/// The opening where the line was recognised, but none of the notes asked for was played.
fn not_played(result: &TakeResult) -> Vec<String> {
    let asked = result.line.bars_words(whole_line(result));
    vec![
        format!(
            "{}: the take holds nothing of {asked} that could be judged.",
            name(result)
        ),
        "The line is in it, but these bars are not: check --bars, or leave it out to see which \
         bars were played."
            .to_owned(),
    ]
}

/// The opening on a take that is not the line: what was found out about it as a whole, and what
/// to look at.
fn another_line(result: &TakeResult) -> Vec<String> {
    let what = on_the_whole(result).unwrap_or("this does not sound like the line");
    let mut lines = vec![
        format!("{}: {what}.", name(result)),
        "Do take and line belong together? Check the file names, --bars, --tuning and --a4."
            .to_owned(),
    ];
    let more = result.judgement.findings.iter();
    let whole = more.filter(|f| f.kind == FindingKind::Take && f.index.is_none() && f.of == 0);
    lines.extend(whole.skip(1).map(|finding| sentence(&finding.sentence)));
    lines
}

/// The opening on a take in which nothing was heard.
fn nothing_heard(result: &TakeResult) -> Vec<String> {
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

/// A finding as a sentence of its own: with a capital letter and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first: String = letters
        .next()
        .into_iter()
        .flat_map(char::to_uppercase)
        .collect();
    let stop = if text.ends_with(['.', '?']) { "" } else { "." };
    format!("{first}{}{stop}", letters.as_str())
}
