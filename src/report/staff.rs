//! Where bars and notes stand on a page: columns in proportion to time.

use crate::music::expected::ExpectedNote;
use crate::session::line_info::BarSpan;

/// Columns between neighbouring notes when there is room: two digits of fret and two of string.
const CELL: f64 = 4.0;

/// Columns for a quarter note at least, so that a bar of long notes still looks like one.
const QUARTER_MIN: f64 = 4.0;

/// Bars side by side at most; more are hard to find one's way in.
const BARS_MAX: usize = 8;

/// Columns between a bar line and the first note.
pub(super) const LEAD: usize = 1;

/// Onsets closer than this many quarter notes are one onset: far below any written length.
const TOGETHER: f64 = 1e-6;

/// A bar, or a part of one that is too full to stand on one line.
#[derive(Clone, Debug)]
pub(super) struct Segment<'a> {
    pub(super) bar: &'a BarSpan,
    from_quarters: f64,
    length_quarters: f64,
    /// The beat a part of a bar starts at; `None` for the bar's start.
    from_beat: Option<f64>,
    /// Whether the line starts here.
    pub(super) opens_line: bool,
    /// Notes by index and column from the system's left edge.
    pub(super) notes: Vec<(usize, usize)>,
    onsets: Vec<(usize, f64, usize)>,
    scale: f64,
    /// Left edge, just right of a bar line, from the system's left edge.
    pub(super) column: usize,
    /// Columns, the bar line at the end included.
    pub(super) width: usize,
}

/// Bars that stand side by side.
#[derive(Clone, Debug, Default)]
pub(super) struct System<'a> {
    pub(super) segments: Vec<Segment<'a>>,
    pub(super) width: usize,
}

impl Segment<'_> {
    /// The bar's number, as it is given, with the beat when it is only part of a bar.
    pub(super) fn title(&self, number: &str) -> String {
        match self.from_beat {
            None => number.to_owned(),
            Some(beat) => format!("{number} from beat {}", (beat * 100.0).round() / 100.0),
        }
    }

    /// True when its bar begins here.
    pub(super) fn begins_bar(&self) -> bool {
        self.from_beat.is_none()
    }

    /// True when its bar ends here.
    pub(super) fn ends_bar(&self) -> bool {
        let end = self.bar.start_quarters + self.bar.length_quarters;
        (self.from_quarters + self.length_quarters - end).abs() < TOGETHER
    }

    /// Chord symbols that fall into this segment, by column.
    pub(super) fn chords(&self) -> impl Iterator<Item = (usize, &str)> {
        let from = self.from_quarters - self.bar.start_quarters;
        self.bar
            .chords
            .iter()
            .filter(move |(at, _)| {
                *at >= from - TOGETHER && *at < from + self.length_quarters - TOGETHER
            })
            .map(move |(at, symbol)| {
                let offset = ((at - from).max(0.0) * self.scale).round() as usize;
                (
                    self.column + (LEAD + offset).min(self.width - 1),
                    symbol.as_str(),
                )
            })
    }

    /// The column of a moment, in quarter notes from the bar's start: that of the note there, if
    /// one is; `None` when it does not fall into this segment.
    pub(super) fn column_at(&self, at: f64) -> Option<usize> {
        let time = self.bar.start_quarters + at;
        let from = time - self.from_quarters;
        if !(from >= -TOGETHER && from < self.length_quarters - TOGETHER) {
            return None;
        }
        let note = self
            .onsets
            .iter()
            .position(|&(_, onset, _)| (onset - time).abs() < TOGETHER);
        if let Some(at) = note {
            return self.notes.get(at).map(|&(_, column)| column);
        }
        let offset = LEAD + (from.max(0.0) * self.scale).round() as usize;
        Some(self.column + offset.min(self.width.saturating_sub(2)))
    }

    /// The scale at which neighbouring notes stand a cell apart, or the widest that fits `room`.
    fn wanted_scale(&self, room: usize) -> f64 {
        let end = self.from_quarters + self.length_quarters;
        let mut times: Vec<f64> = self.onsets.iter().map(|&(_, at, _)| at).collect();
        times.push(end);
        let closest = times
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .filter(|&step| step > TOGETHER)
            .fold(f64::INFINITY, f64::min);
        let widest = (room - 1 - LEAD) as f64 / self.length_quarters;
        (CELL / closest).max(QUARTER_MIN).min(widest)
    }

    /// Sets the notes at `scale`, from column 0, none touching the one before it.
    fn set(&mut self, scale: f64, room: usize) {
        self.scale = scale;
        self.notes.clear();
        let mut free = LEAD;
        let mut last = f64::NEG_INFINITY;
        let mut column = 0;
        let single = self
            .onsets
            .iter()
            .all(|&(_, at, _)| (at - self.onsets[0].1).abs() < TOGETHER);
        for &(index, at, digits) in &self.onsets {
            if at > last + TOGETHER {
                // What lies beyond the page in time stands at its edge, wherever that is.
                let place = ((at - self.from_quarters).max(0.0) * scale).round();
                let place = place.min(2.0 * room as f64) as usize;
                column = (LEAD + place).max(free);
                if single {
                    column = column.min(room.saturating_sub(digits + 2));
                }
                last = at;
            }
            self.notes.push((index, column));
            free = free.max(column + digits + 1);
        }
        let plain = LEAD + (self.length_quarters * scale).round() as usize;
        self.width = plain.max(free) + 1;
    }

    fn shift_right(&mut self, columns: usize) {
        self.column += columns;
        for (_, column) in &mut self.notes {
            *column += columns;
        }
    }

    /// Cuts at the note nearest the middle, a note on a whole quarter before any other; `None`
    /// when there is no second onset to cut at.
    fn cut(&self, notes: &[&ExpectedNote]) -> Option<(Self, Self)> {
        let first = self.onsets.first()?.1;
        let middle = self.from_quarters + self.length_quarters / 2.0;
        let cost = |at: f64| {
            let whole = (at - self.bar.start_quarters).fract() < TOGETHER;
            (at - middle).abs()
                + if whole {
                    0.0
                } else {
                    self.length_quarters / 4.0
                }
        };
        let &(index, at, _) = self
            .onsets
            .iter()
            .filter(|&&(_, at, _)| at > first + TOGETHER)
            .min_by(|a, b| cost(a.1).total_cmp(&cost(b.1)))?;
        let (mut left, mut right) = (self.clone(), self.clone());
        left.length_quarters = at - self.from_quarters;
        left.onsets.retain(|&(_, t, _)| t < at - TOGETHER);
        right.length_quarters -= left.length_quarters;
        right.from_quarters = at;
        right.from_beat = Some(notes[index].beat);
        right.opens_line = false;
        right.onsets.retain(|&(_, t, _)| t >= at - TOGETHER);
        Some((left, right))
    }
}

/// Lays the bars out in systems of at most `room` columns.
///
/// Every note stands in the last bar that has begun when it starts, or in the first. Bars without
/// a positive length are left out, and so are those that are not `wanted`; without bars there is
/// nothing to lay out.
pub(super) fn systems<'a>(
    bars: &'a [BarSpan],
    notes: &[&ExpectedNote],
    room: usize,
    wanted: impl Fn(&BarSpan) -> bool,
) -> Vec<System<'a>> {
    let mut systems: Vec<System> = Vec::new();
    for segment in segments(bars, notes, room, wanted) {
        if let Some(system) = systems.last_mut()
            && let Some(wider) = with(system, &segment, room)
        {
            *system = wider;
        } else {
            let alone = System::default();
            systems.extend(with(&alone, &segment, room).or_else(|| Some(single(&segment, room))));
        }
    }
    systems
}

/// The system with one more segment, all at the scale of the one that needs most; `None` when
/// that does not fit.
fn with<'a>(system: &System<'a>, segment: &Segment<'a>, room: usize) -> Option<System<'a>> {
    let mut segments = system.segments.clone();
    segments.push(segment.clone());
    let scale = segments
        .iter()
        .map(|segment| segment.wanted_scale(room))
        .fold(0.0, f64::max);
    let mut width = 0;
    for segment in &mut segments {
        segment.column = 0;
        segment.set(scale, room);
        segment.shift_right(width);
        width += segment.width;
    }
    (width <= room && segments.len() <= BARS_MAX).then_some(System { segments, width })
}

/// A system of one segment, whatever its width: only ever asked for one that cannot be cut.
fn single<'a>(segment: &Segment<'a>, room: usize) -> System<'a> {
    let mut segment = segment.clone();
    segment.column = 0;
    segment.set(segment.wanted_scale(room), room);
    segment.width = segment.width.min(room);
    System {
        width: segment.width,
        segments: vec![segment],
    }
}

/// Bars with their notes, those that are too full cut into parts.
fn segments<'a>(
    bars: &'a [BarSpan],
    notes: &[&ExpectedNote],
    room: usize,
    wanted: impl Fn(&BarSpan) -> bool,
) -> Vec<Segment<'a>> {
    let sound = |value: f64| value.is_finite();
    let mut whole: Vec<Segment> = bars
        .iter()
        .filter(|bar| bar.length_quarters > TOGETHER && sound(bar.length_quarters))
        .map(|bar| Segment {
            bar,
            from_quarters: bar.start_quarters,
            length_quarters: bar.length_quarters,
            from_beat: None,
            opens_line: false,
            notes: Vec::new(),
            onsets: Vec::new(),
            scale: QUARTER_MIN,
            column: 0,
            width: 1,
        })
        .collect();
    let Some(first) = whole.first_mut() else {
        return Vec::new();
    };
    first.opens_line = true;
    for (index, note) in notes.iter().enumerate() {
        let at = note.onset_quarters;
        let begun = whole.partition_point(|segment| segment.from_quarters <= at + TOGETHER);
        let bar = begun.saturating_sub(1);
        let digits = note.place.map_or(2, |place| place.fret.to_string().len());
        whole[bar].onsets.push((index, at, digits));
    }
    whole.retain(|segment| wanted(segment.bar));
    let mut todo: Vec<Segment> = whole.into_iter().rev().collect();
    let mut done = Vec::new();
    while let Some(segment) = todo.pop() {
        if with(&System::default(), &segment, room).is_none()
            && let Some((left, right)) = segment.cut(notes)
        {
            todo.push(right);
            todo.push(left);
        } else {
            done.push(segment);
        }
    }
    done
}
