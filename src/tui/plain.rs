//! A session as lines of text, one for each thing that happens, each complete in itself: for
//! screen readers, pipes and scripts.

use crate::session::live::snapshot::{NoteView, PassView, Phase, Piece, RingView, Snapshot};
use crate::tui::panels::figures;
use crate::tui::phrases;
use crate::words;

/// Begins a line that says what a player should know now.
pub const NOTICE: &str = "notice: ";
/// A ring is said again only when its beginning has moved by this much, in seconds.
const NEW_RING_S: f64 = 0.3;

/// A pass that is over: its figures, and what to work on.
pub fn pass_lines(pass: &PassView) -> Vec<String> {
    let mut lines = vec![figures(pass)];
    lines.extend(phrases::compared(pass).map(|text| format!("beside the passes before: {text}")));
    let ladder = pass.ladder.as_ref();
    lines.extend(ladder.map(|ladder| phrases::climbed(pass, ladder)));
    lines.extend(
        pass.findings
            .iter()
            .map(|finding| format!("to work on: {finding}")),
    );
    lines
}

/// What was said already.
#[derive(Clone, Debug, Default)]
pub struct Teller {
    last: Option<Snapshot>,
    /// Rings that were told, by string, pitch and beginning.
    rings: Vec<(Option<u8>, f64, f64)>,
    clipped_told: bool,
    /// The last word on each note of the pass that is told of.
    told: Vec<Option<NoteView>>,
    /// Which pass that is.
    told_of: u32,
}

impl Teller {
    /// The lines for what is new in `next`.
    pub fn lines(&mut self, next: &Snapshot) -> Vec<String> {
        let mut lines = Vec::new();
        let before = self.last.take();
        self.piece(before.as_ref(), next, &mut lines);
        self.notes(before.as_ref(), next, &mut lines);
        self.rings(next, &mut lines);
        passes(before.as_ref(), next, &mut lines);
        ladder(before.as_ref(), next, &mut lines);
        phase(before.as_ref(), next, &mut lines);
        self.level(before.as_ref(), next, &mut lines);
        self.last = Some(next.clone());
        lines
    }

    fn piece(&mut self, before: Option<&Snapshot>, next: &Snapshot, lines: &mut Vec<String>) {
        let changed = before.is_none_or(|b| b.piece != next.piece || b.click != next.click);
        if before.is_none() && (next.click || matches!(next.phase, Phase::CountIn { .. })) {
            lines.push(phrases::HEADPHONES.to_owned());
        }
        if !changed {
            return;
        }
        let info = &next.piece.info;
        let number = |bar: Option<&crate::session::line_info::BarSpan>| bar.map_or(0, |b| b.number);
        let bars = (number(info.bars.first()), number(info.bars.last()));
        let bars = match next.piece.join {
            Some(join) => format!("the join behind {}", words::place(join.bar, join.beat)),
            None => info.bars_words(bars),
        };
        lines.push(format!(
            "line {}: {}, {:.0} bpm ({:.0} %), click {}",
            next.piece
                .info
                .title
                .as_deref()
                .unwrap_or("without a title"),
            bars,
            next.piece.info.tempo_bpm,
            100.0 * next.piece.tempo_share,
            if next.click { "on" } else { "off" }
        ));
        // At a new tempo of the ladder the rings of the last pass still stand.
        if before.is_none_or(|b| b.notes != next.notes) {
            self.rings.clear();
        }
    }

    /// What became of notes that is known for good now, and what is taken back.
    fn notes(&mut self, before: Option<&Snapshot>, next: &Snapshot, lines: &mut Vec<String>) {
        // At a new tempo of the ladder what was said of the last pass still stands.
        let other = before.is_none_or(|b| b.piece != next.piece && b.notes != next.notes);
        if other || self.told_of != next.notes_of {
            self.told.clear();
            self.told_of = next.notes_of;
        }
        self.told.resize(next.notes.len(), None);
        let written = next.notes.iter().zip(&next.piece.notes);
        for ((view, written), told) in written.zip(&mut self.told) {
            let Some(view) = view.as_ref().filter(|view| view.settled) else {
                continue;
            };
            let correction = match told {
                Some(old) if same(old, view) => continue,
                Some(_) => "corrected: ",
                None => "",
            };
            lines.push(format!(
                "{correction}{}: {}",
                written.place_words(),
                phrases::note(view, &next.piece, written)
            ));
            *told = Some(view.clone());
        }
    }

    fn rings(&mut self, next: &Snapshot, lines: &mut Vec<String>) {
        for ring in &next.rings {
            let known = self.rings.iter().any(|(string, midi, from_s)| {
                *string == ring.string
                    && (midi - ring.midi).abs() < 0.7
                    && (from_s - ring.from_s).abs() < NEW_RING_S
            });
            if !known {
                self.rings.push((ring.string, ring.midi, ring.from_s));
                lines.push(ring_words(&next.piece, ring));
            }
        }
    }

    fn level(&mut self, before: Option<&Snapshot>, next: &Snapshot, lines: &mut Vec<String>) {
        if next.level.clipped > 0 && !self.clipped_told {
            self.clipped_told = true;
            lines.push("input clipped: turn it down".to_owned());
        }
        let lost = before.map_or(0, |b| b.dropped_frames);
        if next.dropped_frames > lost {
            lines.push(format!(
                "lost {} frames; silence stands in their place",
                next.dropped_frames - lost
            ));
        }
        for notice in &next.notices {
            if before.is_none_or(|b| !b.notices.contains(notice)) {
                lines.push(format!("{NOTICE}{notice}"));
            }
        }
    }
}

fn ring_words(piece: &Piece, ring: &RingView) -> String {
    let place = ring
        .during
        .first()
        .and_then(|at| piece.notes.get(*at))
        .map_or_else(
            || "where nothing should sound".to_owned(),
            |note| format!("from {}", note.place_words()),
        );
    format!(
        "string {} rings {place}, {:.0} dB, {}",
        phrases::string_of(piece, ring),
        ring.level_db.clamp(-99.0, 99.0),
        ring.kind.word()
    )
}

fn same(old: &NoteView, new: &NoteView) -> bool {
    old.verdict == new.verdict && old.flags == new.flags
}

fn passes(before: Option<&Snapshot>, next: &Snapshot, lines: &mut Vec<String>) {
    let Some(pass) = &next.last_pass else { return };
    let told = before.and_then(|b| b.last_pass.as_ref());
    if told.is_some_and(|told| told.number == pass.number) {
        return;
    }
    lines.extend(pass_lines(pass));
}

/// What comes next, while the last bar is played, and whether a rest is due.
fn ladder(before: Option<&Snapshot>, next: &Snapshot, lines: &mut Vec<String>) {
    let ahead = |s: &Snapshot| s.ladder.as_ref().and_then(|ladder| ladder.ahead);
    let told = before.and_then(ahead);
    if let Some(news) = ahead(next).filter(|news| told != Some(*news)) {
        lines.push(phrases::ahead(&news));
    }
    let told = before.and_then(|b| b.rest);
    if let Some(rest) = next.rest.filter(|rest| told != Some(*rest)) {
        lines.push(phrases::rest(rest));
    }
}

fn phase(before: Option<&Snapshot>, next: &Snapshot, lines: &mut Vec<String>) {
    let kind = |phase: &Phase| std::mem::discriminant(phase);
    if before.is_some_and(|b| kind(&b.phase) == kind(&next.phase)) {
        return;
    }
    let lost = before.is_some_and(|b| matches!(b.phase, Phase::DeviceLost { .. }));
    if lost {
        lines.push("the device is back".to_owned());
    }
    lines.push(match &next.phase {
        Phase::Waiting => "listening: begin when you like".to_owned(),
        Phase::CountIn { .. } => format!("pass {}: counting in", next.pass),
        Phase::Playing => format!("pass {}: playing", next.pass),
        Phase::ListeningBack => "playing back".to_owned(),
        Phase::DeviceLost { message } => format!("no sound: {message}"),
        Phase::Ended { message } => format!("over: {message}"),
    });
}
