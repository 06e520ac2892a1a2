//! The page a player reads: how it went, where to start, what to work on, and the bars with
//! something in them; all bars and findings, and how it was measured, only when asked for.
//!
//! Letters and digits only; colour repeats what the words already say.

use super::opening;
use super::page::{COLUMNS, COLUMNS_MAX, COLUMNS_MIN, Tone, paint, wrap};
use super::parts::{bars_of_note, command, join_kind, level, not_shown};
use super::tab::{Sheet, Tab, tab};
use crate::compare::judgement::{Finding, FindingKind, JoinKindRecord, Judgement, Passage};
use crate::session::line_info::BarSpan;
use crate::session::result::TakeResult;
use crate::words::{self, plural};

/// Findings on a short page, at most, that of where to start not counted.
const FINDINGS_SHOWN: usize = 6;

/// Findings on a short page that are told even where they leave no room for the tab.
const FINDINGS_KEPT: usize = 1;

/// Rows of a short page: what a terminal shows without scrolling. The tab gets what the words
/// leave of it, one system at least. Raising it shows more bars.
pub(super) const PAGE_ROWS: usize = 24;

/// Kinds of joins on a short page, at most.
const KINDS_SHOWN: usize = 2;

/// Columns left of a sentence: the word for its kind.
const KIND_COLUMNS: usize = 10;

/// What a page shows beside what matters most, and for which place.
#[derive(Clone, Debug, PartialEq)]
pub struct PageSettings {
    /// Columns of the page; taken as 40 to 200.
    pub columns: usize,
    /// Whether to add terminal colours.
    pub colour: bool,
    /// Whether to show every bar and every finding.
    pub all: bool,
    /// Whether to add what is known how well, the marks used, and what could not be told.
    pub verbose: bool,
    /// How the line can be practised; `None` leaves the command out.
    pub practise: Option<Practise>,
}

/// What the command that practises a passage is made from.
#[derive(Clone, Debug, PartialEq)]
pub struct Practise {
    /// The file of the line, as the player named it.
    pub line: String,
    /// The tempo the take was held against as a share of the written one.
    pub share: f64,
}

impl Default for PageSettings {
    fn default() -> Self {
        Self {
            columns: COLUMNS,
            colour: false,
            all: false,
            verbose: false,
            practise: None,
        }
    }
}

/// The short page on a take, ending with a line feed; `colour` adds terminal colours.
pub fn report(result: &TakeResult, colour: bool) -> String {
    page(
        result,
        &PageSettings {
            colour,
            ..PageSettings::default()
        },
    )
}

/// The page on a take, ending with a line feed.
pub fn page(result: &TakeResult, settings: &PageSettings) -> String {
    let mut page = Page {
        lines: Vec::new(),
        left_out: 0,
        settings: PageSettings {
            columns: settings.columns.clamp(COLUMNS_MIN, COLUMNS_MAX),
            ..settings.clone()
        },
    };
    page.opening(result);
    if result.judgement.is_judged() {
        let start = result.judgement.start_here();
        if let Some(start) = &start {
            page.start(start, result);
        }
        let at_end = page.joins_and_tempos(result);
        let tab = page.least_tab(result);
        page.findings(&result.judgement, start.as_ref(), at_end.len() + tab);
        page.lines.extend(at_end);
        // What is no fault gives way to what is one.
        let levels = page.levels(result);
        if settings.all || (page.left_out == 0 && page.has_room(levels.len(), result)) {
            page.lines.extend(levels);
        }
        page.bars(result);
    }
    if settings.verbose {
        page.measured(result);
        page.marks(result);
    }
    let mut text = page.lines.join("\n");
    text.push('\n');
    text
}

/// A page that is being written.
pub(super) struct Page {
    lines: Vec<String>,
    settings: PageSettings,
    /// Findings that found no room.
    left_out: usize,
}

impl Page {
    pub(super) fn heading(&mut self, words: &str) {
        self.lines.push(String::new());
        self.lines
            .push(paint(words, Tone::Strong, self.settings.colour));
    }

    /// A sentence with the word for its kind to the left.
    pub(super) fn entry(&mut self, kind: &str, sentence: &str) {
        let rows = self.rows(kind, Tone::Plain, sentence);
        self.lines.extend(rows);
    }

    fn rows(&self, kind: &str, tone: Tone, sentence: &str) -> Vec<String> {
        let margin = " ".repeat(KIND_COLUMNS);
        let set = wrap(sentence, KIND_COLUMNS, self.settings.columns);
        let row = |(row, line): (usize, &String)| {
            let body = line.get(KIND_COLUMNS..).unwrap_or_default();
            if row > 0 {
                return format!("{margin}{body}");
            }
            let gap = KIND_COLUMNS.saturating_sub(kind.len() + 2);
            let kind = paint(kind, tone, self.settings.colour);
            format!("  {kind}{}{body}", " ".repeat(gap))
        };
        set.iter().enumerate().map(row).collect()
    }

    fn sentence(&mut self, text: &str, tone: Tone) {
        for line in wrap(text, 0, self.settings.columns) {
            self.lines.push(paint(&line, tone, self.settings.colour));
        }
    }

    fn opening(&mut self, result: &TakeResult) {
        let mut lines = opening::lines(result).into_iter();
        if let Some(first) = lines.next() {
            self.sentence(&first, Tone::Strong);
        }
        for line in lines {
            self.sentence(&line, Tone::Plain);
        }
        let take = &result.take;
        if take.dropped_frames > 0 {
            let frames = plural(take.dropped_frames as usize, "frame was", "frames were");
            let lost = format!("{} {frames} lost on the way in.", take.dropped_frames);
            self.sentence(&lost, Tone::Plain);
        }
        for note in &take.sound_notes {
            self.sentence(note, Tone::Plain);
        }
    }

    /// The passage to start with, and the command that practises it.
    fn start(&mut self, start: &Passage, result: &TakeResult) {
        self.lines.push(String::new());
        let sentence = format!("Start here: {}.", start.sentence);
        self.sentence(&sentence, Tone::Strong);
        if let Some(practise) = &self.settings.practise {
            let command = command(practise, start, &result.line);
            self.lines.push(format!("    {command}"));
        }
    }

    /// Findings in order of weight, that of where to start left out; on a short page only as far
    /// as `rows_after` still find room.
    fn findings(&mut self, judgement: &Judgement, start: Option<&Passage>, rows_after: usize) {
        if judgement.findings.is_empty() {
            // Only where there is a command there are its options.
            let shown = match self.settings.practise {
                Some(_) => " (--verbose shows them)",
                None => "",
            };
            self.heading(&format!("Nothing to mend by the marks used{shown}."));
            return;
        }
        let told = start.and_then(|start| start.finding);
        let left: Vec<&Finding> = judgement
            .findings
            .iter()
            .enumerate()
            .filter(|(at, _)| Some(*at) != told)
            .map(|(_, finding)| finding)
            .collect();
        if left.is_empty() {
            return;
        }
        if self.settings.all {
            self.heading("To work on");
        } else {
            self.lines.push(String::new());
        }
        let mut kind = None;
        for (shown, finding) in left.iter().enumerate() {
            // The same word twice in a row says nothing new.
            let word = if kind == Some(finding.kind) {
                ""
            } else {
                finding.kind.word()
            };
            let rows = self.rows(word, tone(finding.kind), &finding.sentence);
            let full = self.lines.len() + rows.len() + 1 + rows_after > PAGE_ROWS;
            let over = shown >= FINDINGS_SHOWN || (full && shown >= FINDINGS_KEPT);
            if over && !self.settings.all {
                self.left_out = left.len() - shown;
                return;
            }
            kind = Some(finding.kind);
            self.lines.extend(rows);
        }
    }

    /// A row for each kind of join, and one about the tempos where there were several.
    fn joins_and_tempos(&self, result: &TakeResult) -> Vec<String> {
        let judgement = &result.judgement;
        let mut kinds: Vec<&JoinKindRecord> = judgement.join_kinds.iter().collect();
        if !self.settings.all {
            kinds.retain(|kind| kind.flagged > 0);
            kinds.sort_by_key(|kind| std::cmp::Reverse(kind.flagged));
            kinds.truncate(KINDS_SHOWN);
        }
        let mut rows = Vec::new();
        for (at, kind) in kinds.into_iter().enumerate() {
            let word = if at == 0 { "joins" } else { "" };
            rows.extend(self.rows(word, Tone::Plain, &join_kind(kind)));
        }
        if let Some(limit) = judgement.tempo_limit() {
            rows.extend(self.rows("tempos", Tone::Plain, &limit));
        }
        rows
    }

    /// The row about how even the notes are.
    fn levels(&self, result: &TakeResult) -> Vec<String> {
        level(result).map_or_else(Vec::new, |told| self.rows(words::LEVEL, Tone::Plain, &told))
    }

    /// The bars with something in them as tab, as many as find room; all of them when asked for.
    fn bars(&mut self, result: &TakeResult) {
        if self.settings.all {
            let tab = self.tab(result, &|_| true);
            self.heading("Bar by bar");
            for (matter, legend) in &tab.legend {
                self.entry(matter, legend);
            }
            self.lines.extend(tab.lines);
            return;
        }
        let weights = bars_of_note(result);
        let room = PAGE_ROWS.saturating_sub(self.lines.len());
        let mut others: Vec<u32> = Vec::new();
        for kept in (1..=weights.len()).rev() {
            let shown: Vec<u32> = weights[..kept].iter().map(|(bar, _)| *bar).collect();
            others = weights[kept..].iter().map(|(bar, _)| *bar).collect();
            let tab = self.tab(result, &|bar| shown.contains(&bar.number));
            let rows = tab.lines.len() + usize::from(self.left_out + others.len() > 0);
            if rows <= room || kept == 1 {
                self.lines.extend(tab.lines);
                break;
            }
        }
        others.sort_unstable();
        if let Some(text) = not_shown(self.left_out, &others) {
            self.sentence(&text, Tone::Plain);
        }
    }

    /// Whether there is room for some more rows beside every bar with something in it.
    fn has_room(&self, rows: usize, result: &TakeResult) -> bool {
        let of_note = bars_of_note(result);
        let has_any = |bar: &BarSpan| of_note.iter().any(|(number, _)| *number == bar.number);
        let tab = self.tab(result, &has_any).lines.len();
        self.lines.len() + rows + tab <= PAGE_ROWS
    }

    /// Rows of the bar with most in it.
    fn least_tab(&self, result: &TakeResult) -> usize {
        let bars = bars_of_note(result);
        bars.first().map_or(0, |(number, _)| {
            self.tab(result, &|bar| bar.number == *number).lines.len()
        })
    }

    fn tab(&self, result: &TakeResult, wanted: &dyn Fn(&BarSpan) -> bool) -> Tab {
        let sheet = Sheet {
            columns: self.settings.columns,
            colour: self.settings.colour,
            whole: self.settings.all,
            wanted,
            number: &|bar| match bar.printed {
                Some(printed) => format!("{} ({printed})", bar.number),
                None => bar.number.to_string(),
            },
        };
        tab(result, &sheet)
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
        | FindingKind::Tuning
        | FindingKind::Level
        | FindingKind::Buzz => Tone::Care,
        FindingKind::Take => Tone::Strong,
    }
}
