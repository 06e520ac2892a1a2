//! Below the tab: strings that ring, joins to work on, the last pass, level and losses.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::text::{Line, Span};
use ratatui::widgets::Widget;

use crate::music::expected::JoinKind;
use crate::session::live::snapshot::{
    JoinView, LatencyView, Level, PassView, Piece, RingView, Snapshot,
};
use crate::tui::fit::show;
use crate::tui::phrases;
use crate::tui::theme::Theme;
use crate::words::{self, plural};

/// A ring that was over less than this before now is still shown as ringing, in seconds: the ear
/// knows of it only a little later.
const STILL_S: f64 = 1.5;
/// Passes of a join's history that are shown, the newest last. Raised, a row needs more columns.
const HISTORY: usize = 6;

/// What rings, string by string.
pub(super) struct Strings<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

impl Widget for &Strings<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let s = self.snapshot;
        let mut lines = vec![Line::styled("Strings that ring", self.theme.strong())];
        let mut quiet = Vec::new();
        for (number, name) in (1u8..).zip(s.piece.info.strings.iter().take(12)) {
            let last = s.rings.iter().rev().find(|r| r.string == Some(number));
            match last {
                Some(ring) => lines.push(self.line(name, ring)),
                None => quiet.push(name.as_str()),
            }
        }
        for ring in s.rings.iter().rev().filter(|r| r.string.is_none()).take(2) {
            lines.push(self.line(&phrases::pitch(ring.midi), ring));
        }
        if !quiet.is_empty() {
            lines.push(Line::styled(
                format!("  {}  quiet", quiet.join(" ")),
                self.theme.faint(),
            ));
        }
        show(lines, area, buffer);
    }
}

impl Strings<'_> {
    fn line(&self, name: &str, ring: &RingView) -> Line<'static> {
        let now = self.snapshot.at_s - ring.to_s < STILL_S;
        let text = format!(
            "  {name}  {} {:.0} dB, {}",
            if now { "RINGS" } else { "rang" },
            ring.level_db.clamp(-99.0, 99.0),
            ring.kind.word()
        );
        let style = if now {
            self.theme.alert()
        } else {
            self.theme.text()
        };
        Line::styled(text, style)
    }
}

/// Joins that left gaps, the worst first, with their history in this session.
pub(super) struct Joins<'a> {
    pub piece: &'a Piece,
    pub joins: &'a [JoinView],
    pub theme: Theme,
}

impl Widget for &Joins<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let mut lines = vec![Line::styled(
            "Joins to work on, ms of silence pass by pass",
            self.theme.strong(),
        )];
        if self.joins.is_empty() {
            lines.push(Line::styled("  none so far", self.theme.faint()));
        }
        for join in self.joins {
            let shown = join.gaps_ms.len().saturating_sub(HISTORY);
            let history: Vec<String> = join.gaps_ms[shown..]
                .iter()
                .map(|gap| gap.map_or_else(|| "?".to_owned(), phrases::ms))
                .collect();
            lines.push(Line::from(vec![
                Span::styled(
                    format!(
                        "  {}:{} {} {}-{}  ",
                        join.bar,
                        words::beat(join.beat),
                        join.kind.map_or(words::JOIN, JoinKind::word),
                        phrases::pitch_at(self.piece, join.bar, f64::from(join.from_midi)),
                        phrases::pitch_at(self.piece, join.bar, f64::from(join.to_midi)),
                    ),
                    self.theme.text(),
                ),
                Span::styled(history.join(" "), self.theme.alert()),
            ]));
        }
        show(lines, area, buffer);
    }
}

/// The last pass in figures, and what to work on.
pub(super) struct LastPass<'a> {
    pub pass: Option<&'a PassView>,
    pub theme: Theme,
}

impl Widget for &LastPass<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let Some(pass) = self.pass else { return };
        let mut lines = vec![Line::styled(figures(pass), self.theme.strong())];
        let findings = pass
            .findings
            .iter()
            .map(|finding| Line::styled(format!("  {finding}"), self.theme.text()));
        lines.extend(findings);
        show(lines, area, buffer);
    }
}

/// A pass in one line.
pub(super) fn figures(pass: &PassView) -> String {
    if !pass.recognised {
        return format!(
            "Pass {}: little of the line was recognised ({} of {} notes)",
            pass.number, pass.right, pass.notes
        );
    }
    let mut text = format!(
        "Pass {}: {} of {} right",
        pass.number, pass.right, pass.notes
    );
    for (count, one, many) in [
        (pass.wrong, words::WRONG, words::WRONG),
        (pass.missed, words::MISSED, words::MISSED),
        (pass.extra, words::EXTRA, words::EXTRA),
        (pass.gaps, words::GAP, "gaps"),
        (pass.out_of_time, "out of time", "out of time"),
        (pass.bleed, "over a ringing string", "over a ringing string"),
    ] {
        if count > 0 {
            let word = plural(count, one, many);
            text.push_str(&format!(", {count} {word}"));
        }
    }
    if let Some(spread) = pass.spread_ms {
        text.push_str(&format!(", spread {} ms", phrases::ms(spread)));
    }
    text
}

/// The timing of the last notes, the newest last.
pub(super) struct Timing<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

/// Notes whose timing is shown.
const TIMED: usize = 10;

impl Widget for &Timing<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let timed: Vec<f64> = self
            .snapshot
            .notes
            .iter()
            .flatten()
            .filter_map(|note| note.timing_ms)
            .filter(|ms| ms.is_finite())
            .collect();
        let from = timed.len().saturating_sub(TIMED);
        let mut spans = vec![Span::styled("Timing, ms late (+): ", self.theme.strong())];
        for ms in &timed[from..] {
            let far = ms.abs() > 25.0;
            let text = format!("{:+.0} ", ms.clamp(-999.0, 999.0).round() + 0.0);
            let style = if far {
                self.theme.alert()
            } else {
                self.theme.text()
            };
            spans.push(Span::styled(text, style));
        }
        show(vec![Line::from(spans)], area, buffer);
    }
}

/// Level, clipping, losses, latency, and where the take is.
pub(super) struct Status<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

/// Drifts that are told, either way, in parts per million. What is less is usual between two good
/// clocks; no quartz is off by a thousand, so that what is more only says that the sound server or
/// the machine was held up. Common practice, no source.
const DRIFTS_PPM: std::ops::Range<f64> = 20.0..1000.0;
/// Cells of the level bar.
const BAR: f64 = 12.0;
/// What the level bar spans, in decibels. Raised, a cell stands for more of them.
const BAR_DB: f64 = 60.0;

impl Widget for &Status<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let s = self.snapshot;
        let theme = self.theme;
        let mut spans = vec![Span::styled(level_bar(&s.level), theme.text())];
        let mut add = |text: String, style: Style| {
            spans.push(Span::raw("  "));
            spans.push(Span::styled(text, style));
        };
        if s.level.clipped > 0 {
            add(format!("CLIPPED {} times", s.level.clipped), theme.marked());
        }
        if s.dropped_frames > 0 {
            add(format!("LOST {} frames", s.dropped_frames), theme.marked());
        }
        if let Some((hz, db)) = s.level.hum.filter(|(hz, db)| hz.is_finite() && *db > -60.0) {
            add(format!("hum {hz:.0} Hz {db:.0} dBFS"), theme.alert());
        }
        match s.latency {
            LatencyView::None => {}
            LatencyView::Unmeasured => {
                add(
                    "round trip not measured: mean taken out".to_owned(),
                    theme.faint(),
                );
            }
            LatencyView::Measured(ms) if ms.is_finite() => {
                add(format!("round trip {ms:.0} ms"), theme.faint());
            }
            LatencyView::Measured(_) => {}
        }
        if let Some(drift) = s
            .drift_ppm
            .filter(|drift| DRIFTS_PPM.contains(&drift.abs()))
        {
            add(format!("clocks drift {drift:.0} ppm"), theme.faint());
        }
        if !s.take.is_empty() {
            let name = s.take.rsplit(['/', '\\']).next().unwrap_or(&s.take);
            add(format!("keeping {name}"), theme.faint());
        }
        show(vec![Line::from(spans)], area, buffer);
    }
}

/// The input's level as a bar of 60 dB and a number.
fn level_bar(level: &Level) -> String {
    let peak = level.peak_dbfs;
    let share = ((peak + BAR_DB) / BAR_DB).clamp(0.0, 1.0);
    let share = if share.is_finite() { share } else { 0.0 };
    let filled = (share * BAR).round() as usize;
    let bar = format!(
        "{}{}",
        "=".repeat(filled),
        ".".repeat(BAR as usize - filled)
    );
    if peak.is_finite() {
        format!("Input {bar} {peak:.0} dBFS")
    } else {
        format!("Input {bar} silence")
    }
}

/// Level, clipping and hum in one line.
pub(super) fn level_words(level: &Level) -> String {
    let mut text = level_bar(level);
    if level.clipped > 0 {
        text.push_str(&format!("  CLIPPED {} times", level.clipped));
    }
    match level.hum {
        Some((hz, db)) => text.push_str(&format!("  hum {hz:.0} Hz {db:.0} dBFS")),
        None => text.push_str("  no hum heard"),
    }
    text
}
