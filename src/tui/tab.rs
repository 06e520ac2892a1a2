//! The line as tab with the place in it, and beneath each note what became of it.

use std::collections::BTreeSet;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;
use ratatui::widgets::Widget;

use crate::compare::judgement::{Flag, Verdict};
use crate::session::live::snapshot::{NoteView, Phase, Snapshot};
use crate::tui::phrases;
use crate::tui::theme::Theme;

/// Columns left of the first bar line: a row's name.
const GUTTER: u16 = 7;
/// Columns of a moment of the line: a number of three digits and a space.
const SLOT: u16 = 4;
/// Rows beneath the strings.
const MATTERS: [&str; 4] = ["heard", "gap", "time", "under"];

/// The tab, as many systems as there is room for, from the one with the place on.
pub(super) struct Tab<'a> {
    pub snapshot: &'a Snapshot,
    pub theme: Theme,
}

/// Notes that begin together.
struct Slot {
    bar: u32,
    notes: Vec<usize>,
    /// Columns from the system's left, the bar line before it included.
    x: u16,
    opens_bar: bool,
}

impl Tab<'_> {
    /// Rows that one system takes, with the row of bar numbers.
    pub(super) fn system_rows(snapshot: &Snapshot) -> u16 {
        let strings = u16::try_from(snapshot.piece.info.strings.len()).unwrap_or(4);
        strings.min(12) + 1 + MATTERS.len() as u16
    }

    /// The moments of the line.
    fn slots(&self) -> Vec<Slot> {
        let mut slots: Vec<Slot> = Vec::new();
        for (at, note) in self.snapshot.piece.notes.iter().enumerate() {
            match slots.last_mut() {
                Some(last) if note.with_previous => last.notes.push(at),
                last => {
                    let opens_bar = last.is_none_or(|last| last.bar != note.bar);
                    slots.push(Slot {
                        bar: note.bar,
                        notes: vec![at],
                        x: 0,
                        opens_bar,
                    });
                }
            }
        }
        slots
    }

    /// Moments laid out in systems of at most `columns`.
    fn systems(slots: Vec<Slot>, columns: u16) -> Vec<Vec<Slot>> {
        let mut systems: Vec<Vec<Slot>> = Vec::new();
        // Whole bars while they fit; a bar wider than the screen is broken where it must be.
        let mut bars: Vec<Vec<Slot>> = Vec::new();
        for slot in slots {
            match bars.last_mut() {
                Some(bar) if !slot.opens_bar => bar.push(slot),
                _ => bars.push(vec![slot]),
            }
        }
        let width = |slot: &Slot| SLOT + u16::from(slot.opens_bar);
        let mut filled = 0u16;
        for bar in bars {
            let whole: u16 = bar.iter().map(width).fold(0, u16::saturating_add);
            if filled > 0 && filled.saturating_add(whole) > columns || systems.is_empty() {
                systems.push(Vec::new());
                filled = 0;
            }
            for mut slot in bar {
                if filled > 0 && filled.saturating_add(width(&slot)) > columns {
                    systems.push(Vec::new());
                    filled = 0;
                }
                slot.x = filled;
                filled += width(&slot);
                if let Some(system) = systems.last_mut() {
                    system.push(slot);
                }
            }
        }
        systems
    }

    /// The systems to be shown where there is room for that many: all of the line if they fit,
    /// else from the place on, so that the bar that comes next is among them before the middle of
    /// the one that is played is past. Between passes the bars with faults.
    fn shown(&self, columns: u16, room: usize) -> Vec<Vec<Slot>> {
        let s = self.snapshot;
        let mut systems = Self::systems(self.slots(), columns);
        if systems.len() <= room {
            return systems;
        }
        let faulty = self.faulty_bars();
        if !faulty.is_empty() {
            // With the bars about them where that leaves none out; else side by side.
            let is_faulty = |slot: &Slot| faulty.contains(&slot.bar);
            systems.retain(|system| system.iter().any(is_faulty));
            if systems.len() > room {
                let slots = self.slots().into_iter().filter(is_faulty);
                systems = Self::systems(slots.collect(), columns);
            }
            systems.truncate(room);
            return systems;
        }
        let place = s.place.unwrap_or(0);
        let holds = |slot: &Slot| slot.notes.contains(&place);
        let here = systems.iter().position(|system| system.iter().any(holds));
        let first = here.unwrap_or(0).min(systems.len() - room);
        let slots = self.slots();
        let at = slots.iter().position(holds).unwrap_or(0);
        let bar = slots.get(at).map_or(0, |slot| slot.bar);
        // Behind the last bar comes the first one again.
        let next = slots.iter().skip(at).find(|slot| slot.bar != bar);
        let next = next.or(slots.first()).map_or(0, |slot| slot.notes[0]);
        let sees_next = |systems: &[Vec<Slot>]| {
            let slots = systems.iter().flatten();
            slots.take_while(|slot| slot.notes[0] != next).count()
                < systems.iter().map(Vec::len).sum::<usize>()
        };
        // What was just played stays to be read until the middle of the bar.
        let in_bar = slots.iter().filter(|slot| slot.bar == bar).count();
        let played = slots[..at].iter().rev().take_while(|slot| slot.bar == bar);
        let early = 2 * (played.count() + 1) <= in_bar;
        if early || sees_next(&systems[first..first + room]) {
            return systems.drain(first..first + room).collect();
        }
        // From the bar that is played on; in bars too wide for that from the place itself.
        let bar_at = slots.iter().position(|slot| slot.bar == bar).unwrap_or(0);
        for from in [bar_at, at] {
            let mut slots = self.slots();
            slots.rotate_left(from);
            let mut turned = Self::systems(slots, columns);
            turned.truncate(room);
            if from == at || sees_next(&turned) {
                return turned;
            }
        }
        systems
    }

    /// The bars with something to work on, where nothing is played; else none.
    fn faulty_bars(&self) -> BTreeSet<u32> {
        let s = self.snapshot;
        if !matches!(s.phase, Phase::Waiting | Phase::Ended { .. }) {
            return BTreeSet::new();
        }
        let seen = s.piece.notes.iter().zip(&s.notes);
        let faulty = seen.filter(|(_, view)| view.as_ref().is_some_and(is_fault));
        faulty.map(|(note, _)| note.bar).collect()
    }

    /// How many systems the whole line takes on a screen of that many columns.
    pub(super) fn systems_of(snapshot: &Snapshot, columns: u16, theme: Theme) -> usize {
        let slots = Tab { snapshot, theme }.slots();
        Self::systems(slots, columns.saturating_sub(GUTTER)).len()
    }

    fn draw_system(&self, system: &[Slot], area: Rect, buffer: &mut Buffer) {
        let piece = &self.snapshot.piece;
        let theme = self.theme;
        let strings = piece.info.strings.len().min(12) as u16;
        let columns = area.width.saturating_sub(GUTTER);
        for (row, name) in (0u16..).zip(piece.info.strings.iter().take(12)) {
            let y = 1 + row;
            put(buffer, area, 0, y, &format!("{name:>5} "), theme.text());
            let wire = "-".repeat(usize::from(columns));
            put(buffer, area, GUTTER - 1, y, "|", theme.text());
            put(buffer, area, GUTTER, y, &wire, theme.faint());
        }
        for (row, name) in (0u16..).zip(MATTERS) {
            let y = 1 + strings + row;
            put(buffer, area, 0, y, &format!("{name:>5}"), theme.faint());
        }
        for slot in system {
            let mut x = GUTTER + slot.x;
            if slot.opens_bar {
                put(buffer, area, x, 0, &slot.bar.to_string(), theme.text());
                if slot.x > 0 {
                    for row in 0..strings {
                        put(buffer, area, x, 1 + row, "|", theme.text());
                    }
                }
                x += 1;
            }
            for at in &slot.notes {
                self.draw_note(*at, x, strings, area, buffer);
            }
        }
    }

    fn draw_note(&self, at: usize, x: u16, strings: u16, area: Rect, buffer: &mut Buffer) {
        let s = self.snapshot;
        let theme = self.theme;
        let Some(note) = s.piece.notes.get(at) else {
            return;
        };
        let here = s.place.is_some_and(|place| {
            let chord = |i: &usize| s.piece.notes.get(*i).is_some_and(|n| n.with_previous);
            at == place || (at > place && (place + 1..=at).all(|i| chord(&i)))
        });
        if let Some(place) = note
            .place
            .filter(|place| u16::from(place.string) <= strings)
        {
            let fret = place.fret.to_string();
            let (text, style) = if here {
                (format!("[{fret}]"), theme.marked())
            } else {
                (fret, theme.strong())
            };
            let left = if here { x.saturating_sub(1) } else { x };
            put(buffer, area, left, u16::from(place.string), &text, style);
        }
        let Some(view) = s.notes.get(at).and_then(Option::as_ref) else {
            return;
        };
        let name = |midi: f64| phrases::pitch_class_at(&s.piece, note.bar, midi);
        for (row, (text, flagged)) in (0u16..).zip(marks(view, name)) {
            let style = match (flagged, view.settled) {
                (true, _) => theme.alert(),
                (false, true) => theme.text(),
                (false, false) => theme.faint(),
            };
            put(buffer, area, x, 1 + strings + row, &text, style);
        }
    }
}

/// Whether there is something to work on.
fn is_fault(view: &NoteView) -> bool {
    !view.flags.is_empty() || matches!(view.verdict, Verdict::Wrong | Verdict::Missed)
}

/// What stands beneath a note, row by row, and whether it is something to work on; `name` spells a
/// pitch.
fn marks(view: &NoteView, name: impl Fn(f64) -> String) -> [(String, bool); 4] {
    let has = |flag: Flag| view.flags.contains(&flag);
    let mut heard = match view.verdict {
        Verdict::Right if has(Flag::Dead) => ("x".to_owned(), true),
        Verdict::Right if has(Flag::Clipped) => ("cut".to_owned(), true),
        Verdict::Right => (".".to_owned(), false),
        Verdict::Wrong => (view.heard_midi.map_or_else(|| "?".to_owned(), name), true),
        Verdict::Missed => ("--".to_owned(), true),
        Verdict::Unreached => (String::new(), false),
    };
    if view.corrected {
        heard.0.push('*');
    }
    let of = |flagged: bool, ms: Option<f64>| match ms {
        Some(ms) if flagged => (phrases::ms(ms.clamp(-999.0, 999.0)), true),
        _ => (String::new(), false),
    };
    let time = match view.timing_ms {
        Some(ms) if has(Flag::Late) => (format!("+{}", phrases::ms(ms.clamp(0.0, 99.0))), true),
        other => of(has(Flag::Early), other.map(|ms| ms.clamp(-99.0, 0.0))),
    };
    let under = if has(Flag::Bleed) {
        ("~".to_owned(), true)
    } else {
        (String::new(), false)
    };
    [heard, of(has(Flag::Gap), view.gap_ms), time, under]
}

/// Writes within `area`, from its own corner; what lies outside is left out.
fn put(buffer: &mut Buffer, area: Rect, x: u16, y: u16, text: &str, style: Style) {
    let (x, y) = (area.x.saturating_add(x), area.y.saturating_add(y));
    if x < area.right() && y < area.bottom() {
        let room = usize::from(area.right() - x);
        buffer.set_stringn(x, y, text, room, style);
    }
}

impl Widget for &Tab<'_> {
    fn render(self, area: Rect, buffer: &mut Buffer) {
        let area = area.intersection(*buffer.area());
        if area.width <= GUTTER + SLOT || area.height < 2 {
            return;
        }
        let rows = Tab::system_rows(self.snapshot);
        let room = usize::from(((area.height + 1) / (rows + 1)).max(1));
        let systems = self.shown(area.width - GUTTER, room);
        for (n, system) in (0u16..).zip(&systems) {
            let top = n * (rows + 1);
            let part = Rect {
                y: area.y + top,
                height: rows.min(area.height.saturating_sub(top)),
                ..area
            };
            self.draw_system(system, part, buffer);
        }
        // Bars with faults that there is no room for.
        let shown: BTreeSet<u32> = systems.iter().flatten().map(|slot| slot.bar).collect();
        let hidden = self.faulty_bars().difference(&shown).count();
        if let (Some(last), 1..) = (systems.len().checked_sub(1), hidden) {
            let text = format!("{} {hidden} more", crate::tui::fit::CUT);
            let x = area.width.saturating_sub(text.chars().count() as u16);
            let top = last as u16 * (rows + 1);
            put(buffer, area, x, top, &text, self.theme.strong());
        }
    }
}
