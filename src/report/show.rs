//! A line as a page: what was understood of it, and its tab with chords, beats, fingers, degrees and
//! shifts.

use super::marks::{Mark, plain, rows};
use super::page::{COLUMNS_MAX, COLUMNS_MIN, wrap};
use super::signs::{Written, accents, graces, graces_told};
use super::staff::{System, systems};
use super::tab::{Sheet, head, strings};
use super::understood::understood;
use crate::music::expected::ExpectedNote;
use crate::music::fingering::Way;
use crate::music::line::Line;
use crate::music::study::degrees;
use crate::music::theory::{NoteDegree, pitch_class_in};
use crate::session::line_info::{BarSpan, LineInfo, NoteSign, Reached};

/// The bar of that number. Bars stand in the order of their numbers.
pub(super) fn bar_of(info: &LineInfo, number: u32) -> Option<&BarSpan> {
    let at = info.bars.partition_point(|bar| bar.number < number);
    info.bars.get(at).filter(|bar| bar.number == number)
}

/// What stands beside a note: its sign in the line, found by place and pitch.
pub(super) fn sign<'a>(info: &'a LineInfo, note: &ExpectedNote) -> Option<&'a NoteSign> {
    let bar = bar_of(info, note.bar)?;
    let at = note.onset_quarters - bar.start_quarters;
    let here = |sign: &&NoteSign| (sign.at - at).abs() < 1e-6 && sign.midi == note.midi;
    bar.signs.iter().find(here)
}

/// A line laid on the neck as a way has it.
pub(super) struct OnNeck {
    pub(super) notes: Vec<ExpectedNote>,
    pub(super) info: LineInfo,
    /// How far the hand moves into the note after each one, in frets; `None` where it stays.
    pub(super) shifts: Vec<Option<i32>>,
}

/// Lays a line on the neck. With `fingers` the way's fingers stand beside the notes, else those that
/// the line gives.
pub(super) fn on_neck(line: &Line, way: &Way, fingers: bool) -> OnNeck {
    let mut notes = line.expected(line.instrument());
    let mut info = LineInfo::of_bars(line, None);
    let mut shifts = vec![None; notes.len()];
    // Signs and notes both follow the bars as they are played, a way has a step for each chord.
    let mut signs = info.bars.iter_mut().flat_map(|bar| &mut bar.signs);
    let mut first_of_step = Vec::with_capacity(way.steps.len());
    let mut member = 0;
    for (at, note) in notes.iter_mut().enumerate() {
        member = if note.with_previous { member + 1 } else { 0 };
        if member == 0 {
            first_of_step.push(at);
        }
        let step = way.steps.get(first_of_step.len() - 1);
        let fingered = step.and_then(|step| step.notes.get(member));
        note.place = fingered.map(|fingered| fingered.place);
        note.join = step.and_then(|step| step.join);
        if let Some(sign) = signs.next()
            && fingers
        {
            sign.finger = fingered.and_then(|fingered| fingered.finger);
        }
    }
    for shift in &way.costs.shifts {
        // Where an open string sounds in between, the hand goes while it does.
        let before = shift.to.checked_sub(1).and_then(|at| first_of_step.get(at));
        if let Some(moved) = before.and_then(|&at| shifts.get_mut(at)) {
            *moved = Some(i32::from(shift.frets));
        }
    }
    OnNeck {
        notes,
        info,
        shifts,
    }
}

/// What a page of a line shows, and for which place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ShowSettings {
    /// First and last bar to show, by the numbers printed for them; `None` shows all.
    pub bars: Option<(u32, u32)>,
    /// Columns of the page; taken as 40 to 200.
    pub columns: usize,
    /// Whether to name the notes.
    pub names: bool,
    /// Whether to print the way's fingers; else only those that the line gives.
    pub fingers: bool,
}

/// The page of a line, ending with a line feed.
///
/// Input:  a way planned for this line ([`plan`](crate::music::fingering::plan)), which says where
///         every note lies and where the hand goes.
pub fn page(line: &Line, way: &Way, settings: ShowSettings) -> String {
    let columns = settings.columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
    let settings = ShowSettings {
        columns,
        ..settings
    };
    let laid = on_neck(line, way, settings.fingers);
    let mut lines = understood(line, &laid, columns);
    let (tab, used) = tab(line, &laid, settings);
    lines.extend(tab);
    lines.extend(used.legend(columns));
    lines.push(String::new());
    lines.join("\n")
}

/// The ways to finger a line, each as tab beneath what it costs, ending with a line feed.
///
/// Input:  ways planned for this line, at least one; `settings.fingers` is taken as set.
pub fn ways(line: &Line, ways: &[Way], settings: ShowSettings) -> String {
    let columns = settings.columns.clamp(COLUMNS_MIN, COLUMNS_MAX);
    let settings = ShowSettings {
        columns,
        fingers: true,
        ..settings
    };
    let title = LineInfo::of_bars(line, None).title;
    let title = title.as_deref().unwrap_or("A line without a title");
    let mut lines = wrap(title, 0, columns);
    let mut all = Used::default();
    for (number, way) in (1..).zip(ways) {
        lines.push(String::new());
        let told = way.explain().join("; ");
        lines.extend(wrap(&format!("Way {number}: {told}."), 2, columns));
        let laid = on_neck(line, way, true);
        let (tab, used) = tab(line, &laid, settings);
        lines.extend(tab);
        all = all.or(used);
    }
    lines.extend(all.legend(columns));
    lines.push(String::new());
    lines.join("\n")
}

/// The tab of the bars asked for, and which signs it uses.
fn tab(line: &Line, laid: &OnNeck, settings: ShowSettings) -> (Vec<String>, Used) {
    let OnNeck {
        notes,
        info,
        shifts,
    } = laid;
    let bars = Written::new(line, settings.bars);
    let sheet = Sheet {
        columns: settings.columns,
        colour: false,
        whole: true,
        wanted: &|bar| bars.is_shown(bar.number),
        number: &|bar| line.printed_bar(bar.number).to_string(),
    };
    let mut told = degrees(line, notes);
    for (degree, note) in told.iter_mut().zip(notes) {
        // A muted string has no pitch, and so no degree.
        *degree = degree.filter(|_| !note.ghost);
    }
    let told_graces = graces_told(line, &line.graces(notes));
    let written: Vec<&ExpectedNote> = notes.iter().collect();
    let mut used = Used::default();
    let mut lines = Vec::new();
    for system in systems(&info.bars, &written, sheet.room(), sheet.wanted) {
        lines.push(String::new());
        let above = bars.marks(&system);
        let above: Vec<&Mark> = above.iter().collect();
        lines.extend(rows("", &above, sheet.room(), false));
        lines.extend(head(&system, &written, &sheet));
        lines.extend(strings(info, &system, &written, &sheet));
        let names = settings.names.then(|| name_marks(&system, &written, &told));
        let (accents, graces) = (accents(&system, notes), graces(&system, &told_graces));
        used.accent |= !accents.is_empty();
        used.grace |= !graces.is_empty();
        let below = [
            ("acc.", accents),
            ("grace", graces),
            ("name", names.unwrap_or_default()),
            ("deg.", degree_marks(&system, &told)),
            ("shift", shift_marks(&system, notes, shifts)),
        ];
        for (name, marks) in below {
            let marks: Vec<&Mark> = marks.iter().collect();
            lines.extend(rows(name, &marks, sheet.room(), false));
        }
        used.see(&system, &written, &told, shifts);
    }
    (lines, used)
}

/// The names of the notes, as their chord spells them, or their key.
fn name_marks(system: &System, notes: &[&ExpectedNote], told: &[Option<NoteDegree>]) -> Vec<Mark> {
    let mut marks = Vec::new();
    for segment in &system.segments {
        for &(index, column) in &segment.notes {
            let midi = notes[index].midi;
            let spelled = told[index].and_then(|degree| degree.pitch(midi));
            let name = match spelled {
                Some(pitch) => pitch.name.to_string(),
                None => pitch_class_in(f64::from(midi), segment.bar.key),
            };
            marks.push(plain(column, &name));
        }
    }
    marks
}

fn degree_marks(system: &System, told: &[Option<NoteDegree>]) -> Vec<Mark> {
    let notes = system.segments.iter().flat_map(|segment| &segment.notes);
    notes
        .filter_map(|&(index, column)| {
            let degree = told.get(index)?.as_ref()?;
            Some(plain(column, &degree.degree.to_string()))
        })
        .collect()
}

/// Each shift stands beneath the note that it leads to.
fn shift_marks(system: &System, notes: &[ExpectedNote], shifts: &[Option<i32>]) -> Vec<Mark> {
    let placed = system.segments.iter().flat_map(|segment| &segment.notes);
    placed
        .filter(|(index, _)| notes.get(*index).is_some_and(|note| !note.with_previous))
        .filter_map(|&(index, column)| {
            let before = (0..index).rev().find(|&at| !notes[at].with_previous)?;
            let frets = shifts.get(before).copied().flatten()?;
            Some(plain(column, &format!("{frets:+}")))
        })
        .collect()
}

/// Which signs a page has used, for its legend.
#[derive(Clone, Copy, Default)]
struct Used {
    rest: bool,
    slur: bool,
    hammer: bool,
    pull: bool,
    slide: bool,
    ghost: bool,
    accent: bool,
    grace: bool,
    triplet: bool,
    degree: bool,
    shift: bool,
}

impl Used {
    /// The signs that either has used.
    fn or(self, other: Self) -> Self {
        Self {
            rest: self.rest || other.rest,
            slur: self.slur || other.slur,
            hammer: self.hammer || other.hammer,
            pull: self.pull || other.pull,
            ghost: self.ghost || other.ghost,
            accent: self.accent || other.accent,
            grace: self.grace || other.grace,
            slide: self.slide || other.slide,
            triplet: self.triplet || other.triplet,
            degree: self.degree || other.degree,
            shift: self.shift || other.shift,
        }
    }

    fn see(
        &mut self,
        system: &System,
        notes: &[&ExpectedNote],
        told: &[Option<NoteDegree>],
        shifts: &[Option<i32>],
    ) {
        for segment in &system.segments {
            self.rest |= !segment.bar.rests.is_empty();
            let signs = &segment.bar.signs;
            let reached = |how: Reached| signs.iter().any(|sign| sign.reached == how);
            self.slur |= reached(Reached::Slur);
            self.hammer |= reached(Reached::Hammer);
            self.pull |= reached(Reached::Pull);
            self.slide |= reached(Reached::Slide);
            self.triplet |= signs.iter().any(|sign| sign.triplet);
            let indices = segment.notes.iter().map(|&(index, _)| index);
            for index in indices.filter(|&index| index < notes.len()) {
                self.ghost |= notes[index].ghost;
                self.degree |= told[index].is_some();
                self.shift |= shifts[index].is_some();
            }
        }
    }

    fn legend(&self, columns: usize) -> Vec<String> {
        let signs = [
            (self.rest, "r a rest"),
            (self.slur, "> slurred into"),
            (self.hammer, "h hammered on"),
            (self.pull, "p pulled off"),
            (self.slide, "/ slid into"),
            (self.ghost, "x a ghost note, muted"),
            (self.accent, "^ accented"),
            (self.grace, "grace a short note before it, string:fret"),
            (self.triplet, "t a triplet"),
            (self.degree, "deg. the degree in the chord (R its root)"),
            (self.shift, "shift frets the hand moves, up (+) or down (-)"),
        ];
        let told: Vec<&str> = signs
            .iter()
            .filter(|(used, _)| *used)
            .map(|&(_, meaning)| meaning)
            .collect();
        if told.is_empty() {
            return Vec::new();
        }
        let mut lines = vec![String::new()];
        lines.extend(wrap(&format!("{}.", told.join("; ")), 1, columns));
        lines
    }
}
