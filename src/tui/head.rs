//! The top of the screen: the line, where the session stands, and what sounds now, in letters to
//! be read from afar.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::text::{Line, Span};
use ratatui::widgets::{Paragraph, Widget};

use crate::compare::judgement::Flag;
use crate::music::expected::JoinKind;
use crate::progress::ladder::sentence;
use crate::session::live::snapshot::{NoteView, Phase, Snapshot};
use crate::tui::fit::{fitted, show};
use crate::tui::phrases::HEADPHONES;
use crate::tui::theme::Theme;
use crate::tui::{big, phrases};
use crate::words;

/// Title, bars, tempo, click, pass.
pub(super) struct Title<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

impl Widget for &Title<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let s = self.snapshot;
        let piece = &s.piece;
        let title = piece.info.title.as_deref().unwrap_or("Untitled line");
        let bars = match (piece.info.bars.first(), piece.info.bars.last()) {
            _ if piece.join.is_some() => {
                let place = piece.join.map_or_else(String::new, phrases::join_place);
                format!("join {place} only")
            }
            (Some(first), Some(last)) if first.number == last.number => {
                format!("bar {} only", first.number)
            }
            (Some(first), Some(last)) => format!("bars {}-{}", first.number, last.number),
            _ => "no bars".to_owned(),
        };
        let pass = match s.passes_wanted {
            Some(wanted) => format!("pass {} of {wanted}", s.pass),
            None => format!("pass {}", s.pass),
        };
        let click = if s.click { "click on" } else { "click off" };
        let rest = format!(
            "{bars}   {:.0} bpm, {:.0} %   {click}   {pass}",
            piece.info.tempo_bpm,
            100.0 * piece.tempo_share
        );
        let room = usize::from(area.width).saturating_sub(rest.chars().count() + 3);
        let title = fitted(
            Line::raw(title.to_owned()),
            u16::try_from(room).unwrap_or(0),
        );
        let title: String = title
            .spans
            .iter()
            .map(|span| span.content.as_ref())
            .collect();
        let gap = " ".repeat(room.saturating_sub(title.chars().count()) + 3);
        let line = Line::from(vec![
            Span::styled(title, self.theme.strong()),
            Span::raw(gap),
            Span::styled(rest, self.theme.text()),
        ]);
        show(vec![line], area, buffer);
    }
}

/// Where the session stands, in one line; a banner when something is amiss.
pub(super) struct Stand<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

impl Widget for &Stand<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let theme = self.theme;
        let (text, style) = match &self.snapshot.phase {
            Phase::Waiting => ("Listening: begin when you like.".to_owned(), theme.strong()),
            Phase::CountIn { click: 0, .. } => {
                (format!("Counting in. {HEADPHONES}"), theme.strong())
            }
            Phase::CountIn { click, of } => {
                (format!("Counting in: {click} of {of}."), theme.strong())
            }
            Phase::Playing if self.is_probe() => {
                ("Playing: a try at the target.".to_owned(), theme.strong())
            }
            Phase::Playing => ("Playing.".to_owned(), theme.strong()),
            Phase::ListeningBack => (
                "Playing back what you played; space goes on.".to_owned(),
                theme.strong(),
            ),
            Phase::DeviceLost { message } => (format!(" NO SOUND: {message} "), theme.marked()),
            Phase::Ended { message } => (format!(" OVER: {message} "), theme.marked()),
        };
        let mut line = Line::styled(text, style);
        let quiet = matches!(self.snapshot.phase, Phase::DeviceLost { .. });
        if let Some(ladder) = self.snapshot.ladder.as_ref().filter(|_| !quiet) {
            let next = match (&ladder.ahead, &ladder.decided) {
                (Some(ahead), _) => phrases::ahead(ahead),
                (None, Some((step, next))) => sentence(step, next),
                (None, None) => String::new(),
            };
            line.push_span(Span::raw("  "));
            line.push_span(Span::styled(phrases::capital(&next), theme.strong()));
            // The figures stand at the right, where there is room for them.
            let counts = phrases::counts(&ladder.counts);
            let room =
                usize::from(area.width).saturating_sub(line.width() + counts.chars().count());
            if room >= 2 {
                line.push_span(Span::raw(" ".repeat(room)));
                line.push_span(Span::styled(counts, theme.text()));
            }
        }
        show(vec![line], area, buffer);
    }
}

impl Stand<'_> {
    fn is_probe(&self) -> bool {
        self.snapshot
            .ladder
            .as_ref()
            .is_some_and(|ladder| ladder.probe)
    }
}

/// What a player should know now, one line of it: what is amiss, or that a rest is due, or how the last
/// pass stands beside the ones before it.
pub(super) struct Notice<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

impl Widget for &Notice<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let s = self.snapshot;
        let compared = || s.last_pass.as_ref().and_then(phrases::compared);
        let line = match s.rest.filter(|_| s.notices.is_empty()) {
            Some(rest) => Line::styled(phrases::rest(rest), self.theme.strong()),
            None if s.notices.is_empty() => {
                Line::styled(compared().unwrap_or_default(), self.theme.text())
            }
            None => Line::styled(s.notices.join(" "), self.theme.alert()),
        };
        show(vec![line], area, buffer);
    }
}

/// What sounds, where in the bar, and how the last note and join went.
pub(super) struct Now<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

/// Columns for the name of the sounding note in large letters.
const NOTE_COLUMNS: u16 = 26;
/// Columns for the place in the line in large letters.
const PLACE_COLUMNS: u16 = 27;

/// The last join whose far side has been heard: the note before it, the silence in milliseconds,
/// and whether that is a gap.
fn last_join(s: &Snapshot) -> Option<(usize, f64, bool)> {
    let note = |at: usize| s.notes.get(at)?.as_ref();
    let last = (0..s.notes.len()).rev().find(|at| note(*at).is_some())?;
    (0..last).rev().find_map(|at| {
        let view = note(at)?;
        Some((at, view.gap_ms?, view.flags.contains(&Flag::Gap)))
    })
}

/// The last join in letters to be read from afar: `OK`, or the milliseconds of its gap.
pub(super) struct LastJoin<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

impl LastJoin<'_> {
    /// In full, and where there is no room for it.
    fn words(&self) -> Option<([String; 2], bool)> {
        let (_, gap_ms, flagged) = last_join(self.snapshot)?;
        let ms = phrases::ms(gap_ms.clamp(-999.0, 999.0));
        Some(if flagged {
            ([format!("GAP {ms}"), ms], true)
        } else {
            ([format!("OK {ms}"), "OK".to_owned()], false)
        })
    }
}

impl Widget for &LastJoin<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let Some((words, flagged)) = self.words() else {
            return;
        };
        let style = if flagged {
            self.theme.alert()
        } else {
            self.theme.text()
        };
        let fits = |text: &&String| big::columns(text, 1) <= area.width;
        if let Some(text) = words.iter().find(fits) {
            big::draw(text, 1, style, area, buffer);
        }
    }
}

impl Now<'_> {
    /// What stands in large letters on the left: the count, or what sounds.
    pub(super) fn left(&self) -> String {
        match &self.snapshot.phase {
            Phase::CountIn { click, .. } if *click > 0 => click.to_string(),
            Phase::Playing | Phase::Waiting => match self.snapshot.sounding {
                Some(sounding) => sounding.midi.map_or_else(
                    || "..".to_owned(),
                    |midi| phrases::pitch_at(&self.snapshot.piece, self.bar(), midi),
                ),
                None => "--".to_owned(),
            },
            _ => String::new(),
        }
    }

    /// The bar that is played; 0 where none is known.
    fn bar(&self) -> u32 {
        let s = self.snapshot;
        let note = s.place.and_then(|at| s.piece.notes.get(at));
        note.map_or(0, |note| note.bar)
    }

    /// Bar and beat.
    pub(super) fn place(&self) -> String {
        let s = self.snapshot;
        let note = s.place.and_then(|at| s.piece.notes.get(at));
        note.map_or_else(String::new, |note| {
            format!("{}:{}", note.bar, words::beat(note.beat.floor()))
        })
    }

    /// The pitch that is wanted against what sounds, in words.
    fn target(&self) -> String {
        let s = self.snapshot;
        let wanted = s
            .sounding
            .and_then(|sounding| sounding.index)
            .or(s.place)
            .and_then(|at| s.piece.notes.get(at));
        let Some(wanted) = wanted else {
            return String::new();
        };
        let spell = |midi: f64| phrases::pitch_at(&s.piece, wanted.bar, midi);
        let name = spell(f64::from(wanted.midi));
        match s.sounding.and_then(|sounding| sounding.midi) {
            Some(midi) if (midi - f64::from(wanted.midi)).abs() < 0.7 => {
                let off = phrases::cents(100.0 * (midi - f64::from(wanted.midi)));
                format!("{name} wanted: {off}")
            }
            // Whether it is wrong is said once it is sure which note of the line it is.
            Some(midi) => format!("{name} wanted, {} sounds", spell(midi)),
            None => format!("{name} wanted"),
        }
    }

    /// Lines about the last note and join, the last first.
    pub(super) fn said(&self) -> Vec<(String, bool)> {
        let s = self.snapshot;
        let known = |at: &usize| s.notes.get(*at).is_some_and(Option::is_some);
        let last = (0..s.notes.len()).rev().find(known);
        let mut said = vec![(self.target(), false)];
        let Some(last) = last else { return said };
        let note = |at: usize| -> Option<&NoteView> { s.notes.get(at)?.as_ref() };
        if let Some((view, written)) = note(last).zip(s.piece.notes.get(last)) {
            let flagged = view.verdict != crate::compare::judgement::Verdict::Right
                || view.flags.iter().any(|flag| *flag != Flag::Gap);
            let mut text = format!("last: {}", phrases::note(view, &s.piece, written));
            if view.flags.is_empty()
                && let Some(ms) = view.timing_ms
            {
                text.push_str(", ");
                text.push_str(&phrases::timing(ms));
            }
            said.push((text, flagged));
        }
        let join = last_join(s);
        if let Some((at, gap_ms, flagged)) = join {
            let kind = s.piece.notes.get(at).and_then(|n| n.join);
            let kind = kind.map_or(words::JOIN, JoinKind::word);
            let text = match gap_ms.round() {
                ms if ms > 0.0 => format!("{kind}: {} ms of silence", phrases::ms(ms)),
                ms if ms < 0.0 => format!("{kind}: {} ms overlap", phrases::ms(-ms)),
                _ => format!("{kind}: rings through"),
            };
            said.push((text, flagged));
        }
        said
    }
}

impl Widget for &Now<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let theme = self.theme;
        let scale = if theme.large && area.height > 2 * big::ROWS {
            2
        } else {
            1
        };
        let note = Rect {
            width: (NOTE_COLUMNS * scale).min(area.width),
            ..area
        };
        big::draw(&self.left(), scale, theme.strong(), note, buffer);
        let place = Rect {
            x: note.right(),
            width: PLACE_COLUMNS.min(area.right().saturating_sub(note.right())),
            ..area
        };
        big::draw(&self.place(), 1, theme.text(), place, buffer);
        if scale == 2 {
            let join = Rect {
                y: place.y + big::ROWS + 1,
                height: big::ROWS,
                ..place
            };
            let snapshot = self.snapshot;
            (&LastJoin { snapshot, theme }).render(join, buffer);
        }
        // Large print says the rest below, over the whole width.
        let words = if theme.large {
            Rect {
                y: area.y.saturating_add(big::ROWS * scale + 1),
                height: area.height.saturating_sub(big::ROWS * scale + 1),
                ..area
            }
        } else {
            Rect {
                x: place.right(),
                width: area.right().saturating_sub(place.right()),
                ..area
            }
        };
        let lines: Vec<Line> = self
            .said()
            .into_iter()
            .flat_map(|(text, flagged)| {
                let style = if flagged { theme.alert() } else { theme.text() };
                let line = Line::styled(text, style);
                if theme.large {
                    vec![line, Line::raw("")]
                } else {
                    vec![line]
                }
            })
            .collect();
        Paragraph::new(lines)
            .wrap(ratatui::widgets::Wrap { trim: true })
            .render(words.intersection(*buffer.area()), buffer);
    }
}
