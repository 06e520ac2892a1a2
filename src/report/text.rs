//! The report a player reads: what matters first, what was measured and by which marks last.
//!
//! Eighty columns, letters and digits only; colour repeats what the words already say.

use super::opening::{another_line, nothing_heard, pulse, spotless, verdicts};
use super::page::{COLUMNS, Tone, paint, wrap};
use super::tab::tab;
use super::words::{self, one_decimal, plural};
use crate::compare::judgement::{Agreement, FindingKind, HeardPart, TimingMode};
use crate::session::result::TakeResult;

/// Findings printed of one kind; the others are still marked in the tab.
const FINDINGS_OF_A_KIND: usize = 5;

/// Columns left of a sentence: the word for its kind.
const KIND_COLUMNS: usize = 10;

/// The whole report on a take, ending with a line feed; `colour` adds terminal colours.
pub fn report(result: &TakeResult, colour: bool) -> String {
    let mut page = Page {
        lines: Vec::new(),
        colour,
    };
    page.opening(result);
    page.findings(result);
    if result.judgement.agreement == Agreement::Recognised {
        page.bars(result);
    }
    page.measured(result);
    page.marks(result);
    let mut text = page.lines.join("\n");
    text.push('\n');
    text
}

struct Page {
    lines: Vec<String>,
    colour: bool,
}

impl Page {
    fn heading(&mut self, words: &str) {
        self.lines.push(String::new());
        self.lines.push(paint(words, Tone::Strong, self.colour));
    }

    fn entry(&mut self, kind: &str, tone: Tone, sentence: &str) {
        let margin = " ".repeat(KIND_COLUMNS);
        for (row, line) in wrap(sentence, KIND_COLUMNS).iter().enumerate() {
            let body = line.get(KIND_COLUMNS..).unwrap_or_default();
            self.lines.push(if row == 0 {
                let gap = KIND_COLUMNS.saturating_sub(kind.len() + 2);
                let kind = paint(kind, tone, self.colour);
                format!("  {kind}{}{body}", " ".repeat(gap))
            } else {
                format!("{margin}{body}")
            });
        }
    }

    fn opening(&mut self, result: &TakeResult) {
        let lines = match result.judgement.agreement {
            Agreement::Recognised => vec![verdicts(result), pulse(result)],
            Agreement::AnotherLine(_) => another_line(result),
            Agreement::NothingHeard(_) => nothing_heard(result),
        };
        for (row, line) in lines.iter().filter(|line| !line.is_empty()).enumerate() {
            let tone = if row == 0 { Tone::Strong } else { Tone::Plain };
            for line in wrap(line, 0) {
                self.lines.push(paint(&line, tone, self.colour));
            }
        }
    }

    fn findings(&mut self, result: &TakeResult) {
        let judgement = &result.judgement;
        let recognised = judgement.agreement == Agreement::Recognised;
        let findings: Vec<_> = if recognised {
            judgement.findings.iter().collect()
        } else {
            // The opening has told the first of them, and single notes say little.
            let whole = judgement
                .findings
                .iter()
                .filter(|f| f.kind == FindingKind::Take);
            whole.skip(1).collect()
        };
        if findings.is_empty() {
            if recognised && spotless(result) {
                self.heading("Nothing to mend by the marks below.");
            }
            return;
        }
        self.heading(if recognised { "To work on" } else { "Noticed" });
        let mut kinds: Vec<FindingKind> = findings.iter().map(|finding| finding.kind).collect();
        kinds.dedup();
        for kind in kinds {
            let own: Vec<_> = findings
                .iter()
                .filter(|finding| finding.kind == kind)
                .collect();
            for (row, finding) in own.iter().take(FINDINGS_OF_A_KIND).enumerate() {
                let word = if row == 0 { words::finding(kind) } else { "" };
                self.entry(word, tone(kind), &finding.sentence);
            }
            let more = own.len().saturating_sub(FINDINGS_OF_A_KIND);
            if more > 0 {
                let place = if kind == FindingKind::Take {
                    ""
                } else {
                    ", marked below"
                };
                self.entry("", Tone::Plain, &format!("and {more} more{place}"));
            }
        }
    }

    fn bars(&mut self, result: &TakeResult) {
        let tab = tab(result, self.colour);
        if tab.lines.is_empty() {
            return;
        }
        self.heading("Bar by bar");
        for (matter, legend) in tab.legend {
            self.entry(matter, Tone::Plain, &legend);
        }
        self.lines.extend(tab.lines);
    }

    fn measured(&mut self, result: &TakeResult) {
        self.heading("Measured");
        let mut say = |kind: &str, sentence: String| self.entry(kind, Tone::Plain, &sentence);
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
        if take.dropped_frames > 0 {
            let frames = plural(take.dropped_frames as usize, "frame was", "frames were");
            say(
                "",
                format!("{} {frames} lost on the way in", take.dropped_frames),
            );
        }
        for note in &take.sound_notes {
            say("", note.clone());
        }
        if result.judgement.agreement == Agreement::Recognised {
            say("timing", grid(result));
            say("known", uncertainty(result));
        }
        if result.judgement.bleed.is_some() {
            say("bleed", undecided(result));
        }
        if result.judgement.bleed.is_none() {
            say(
                "bleed",
                "strings ringing underneath were not listened for".into(),
            );
        }
    }

    fn marks(&mut self, result: &TakeResult) {
        let marks = &result.judgement.marks;
        self.heading("Marks used");
        let mut say = |kind: &str, sentence: String| self.entry(kind, Tone::Plain, &sentence);
        say(
            "gap",
            format!(
                "from {} ms of silence, {} dB deep, or {} ms beyond your own habit at that kind \
                 of join; clear from {} ms",
                marks.gap_ms, marks.gap_depth_db, marks.gap_over_baseline_ms, marks.gap_clear_ms
            ),
        );
        say(
            "wrong",
            format!("from {} cents off the written pitch", marks.wrong_cents),
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
            format!("falls {} dB faster than its neighbours", marks.dead_fall_db),
        );
        say(
            "clipped",
            format!(
                "shorter than {} % of its length",
                (marks.clipped_share * 1e4).round() / 1e2
            ),
        );
        say(
            "timing",
            format!("early or late beyond {} ms", marks.timing_ms),
        );
        say(
            "tuning",
            format!("sharp or flat from {} cents", marks.out_of_tune_cents),
        );
    }
}

/// How loudly a kind of finding speaks.
fn tone(kind: FindingKind) -> Tone {
    match kind {
        FindingKind::Wrong | FindingKind::Missed | FindingKind::Extra | FindingKind::Dead => {
            Tone::Alarm
        }
        FindingKind::Gap
        | FindingKind::Bleed
        | FindingKind::Clipped
        | FindingKind::Timing
        | FindingKind::Tuning => Tone::Care,
        FindingKind::Take => Tone::Strong,
    }
}

/// Against what lateness was measured.
fn grid(result: &TakeResult) -> String {
    let timing = &result.judgement.timing;
    if timing.offset_s.is_none() {
        return "no pulse could be fitted, so nothing is called early or late".to_owned();
    }
    let mean = timing.mean_ms.map_or(String::new(), |mean| {
        format!("; on the whole {:+} ms", mean.round() as i64)
    });
    match (timing.mode, timing.tempo_from_to_bpm) {
        (TimingMode::Click, _) => format!("against the click{mean}"),
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
        note.map_or_else(String::new, |note| {
            format!("bar {} beat {}", note.bar, words::beat(note.beat))
        })
    };
    let mut places: Vec<String> = undecided
        .iter()
        .take(PLACES_NAMED)
        .map(|u| format!("{} of {}", words::pitch(u.midi), place(u.after)))
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

const _: () = assert!(KIND_COLUMNS < COLUMNS);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;
    use crate::session::result::BarSpan;

    fn widest(text: &str) -> usize {
        text.lines()
            .map(|line| line.chars().count())
            .max()
            .unwrap_or(0)
    }

    /// Golden: our own earlier output. It detects change and proves nothing.
    #[test]
    fn golden_texts_are_unchanged() {
        for (name, result) in [
            ("clean.txt", sample::clean()),
            ("flawed.txt", sample::flawed()),
            ("another-line.txt", sample::another_line()),
            ("nothing-heard.txt", sample::nothing_heard()),
            ("dense.txt", sample::dense()),
        ] {
            let text = report(&result, false);
            assert!(widest(&text) <= COLUMNS, "{name} is too wide:\n{text}");
            sample::check_golden(name, &text);
        }
    }

    /// Taking the colours out must leave the plain report: they add nothing but themselves.
    #[test]
    fn colour_only_underlines() {
        let result = sample::flawed();
        let coloured = report(&result, true);
        assert!(coloured.contains('\x1b'));
        let mut plain = coloured;
        for code in ["\x1b[1m", "\x1b[1;31m", "\x1b[33m", "\x1b[0m"] {
            plain = plain.replace(code, "");
        }
        assert_eq!(plain, report(&result, false));
    }

    /// Whatever the bars look like, a report is made and fits.
    #[test]
    fn odd_bars_still_fit() {
        for (start, length) in [
            (0.0, 4.0),
            (0.0, 0.01),
            (3.0, 100.0),
            (0.0, 0.0),
            (0.0, f64::NAN),
            (0.0, f64::INFINITY),
            (-1.0, 1.0),
        ] {
            let mut result = sample::dense();
            result.line.bars = vec![BarSpan {
                number: 4_000_000_000,
                start_quarters: start,
                length_quarters: length,
                chords: vec![(0.0, "Esus4(add long words)".repeat(6)), (99.0, "X".into())],
            }];
            result.judgement.notes[3].expected.onset_quarters = start * 1e300;
            result.judgement.notes[4].expected.onset_quarters = length;
            for strings in [0, 1, 4, 6] {
                result.line.strings = vec!["a long name\x1b[2J".into(); strings];
                let text = report(&result, false);
                assert!(widest(&text) <= COLUMNS, "{start} {length}:\n{text}");
                assert!(!text.contains('\x1b'));
            }
        }
    }

    #[test]
    fn many_findings_of_a_kind_are_counted_not_listed() {
        let mut result = sample::flawed();
        let gap = result.judgement.findings[0].clone();
        let rest = result.judgement.findings.split_off(1);
        result.judgement.findings = vec![gap; 8];
        result.judgement.findings.extend(rest);
        let text = report(&result, false);
        assert_eq!(text.matches("84 ms of silence").count(), FINDINGS_OF_A_KIND);
        assert!(text.contains("and 3 more, marked below"), "{text}");
    }
}
