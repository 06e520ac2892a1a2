//! One pass within the picture of a bar: what sounded on each string beneath what is written there,
//! how early or late, how loud, and in words what is wrong.

use super::bar::{Frame, LEFT, WIDTH};
use super::clock::Clock;
use super::draw::{Drawing, escaped, exact};
use super::lanes;
use crate::compare::judgement::{ExtraNote, Flag, JudgedNote, PassJudgement, Verdict};
use crate::music::theory::{pitch_class_in, pitch_in};
use crate::report::json::{DECIMALS_CENTS, DECIMALS_DB, DECIMALS_MS, DECIMALS_S};
use crate::report::phrases::one_decimal;
use crate::report::sheet::shapes::word_width;
use crate::report::why;
use crate::words;

/// Height of the row that names the pass.
const NAME_ROW: f64 = 18.0;
/// Height of a string's row.
pub(super) const STRING_ROW: f64 = 13.0;
/// What is written, in the upper part of the row.
const WRITTEN: (f64, f64) = (1.0, 3.5);
/// What was played, beneath it.
const PLAYED: (f64, f64) = (5.0, 6.5);
/// Height of a row of words, and the size of their letters.
const WORDS_ROW: f64 = 11.0;
pub(super) const WORD_SIZE: f64 = 10.0;
/// Between two words of a row.
const WORDS_APART: f64 = 5.0;
/// The length that is shown as a scale, in milliseconds.
const SCALE_MS: f64 = 100.0;

/// A word beneath a note: where, what, and how it is drawn.
type Told = (f64, String, &'static str);

/// Draws a pass from `y` on; gives where it ends.
pub(super) fn strip(
    drawing: &mut Drawing,
    frame: &Frame,
    pass: &PassJudgement,
    clock: &Clock,
    y: f64,
) -> f64 {
    drawing.line("edge", (2.0, y + 3.0), (WIDTH - 2.0, y + 3.0));
    named(drawing, frame, pass, clock, y + NAME_ROW - 5.0);
    let mut y = y + NAME_ROW;
    let extras = extras(frame, pass, clock);
    let rows = frame.strings().len();
    for (row, name) in frame.strings().iter().enumerate() {
        let middle = y + STRING_ROW * row as f64 + PLAYED.0 + PLAYED.1 / 2.0;
        drawing.line("string", (LEFT, middle), (WIDTH - 4.0, middle));
        drawing.word("small soft", (2.0, middle + 3.0), name);
    }
    let has_other = !extras.is_empty() || pass.bleed.iter().flatten().any(|r| r.string.is_none());
    if has_other {
        let at = (2.0, y + STRING_ROW * rows as f64 + 10.0);
        drawing.word("small soft", at, "extra");
    }
    let mut told: Vec<Told> = Vec::new();
    rings(drawing, frame, pass, clock, y);
    for note in &pass.notes {
        note_in_row(drawing, frame, (pass, clock), note, y, &mut told);
    }
    let other = y + STRING_ROW * rows as f64;
    for extra in extras {
        extra_in_row(drawing, frame, clock, extra, other, &mut told);
    }
    y += STRING_ROW * (rows + usize::from(has_other)) as f64 + 2.0;
    y = lanes::timing(drawing, frame, pass, y);
    y = lanes::level(drawing, frame, pass, y);
    words_below(drawing, told, y)
}

/// The name of the pass with its tempo, and how long 100 ms are in it.
fn named(drawing: &mut Drawing, frame: &Frame, pass: &PassJudgement, clock: &Clock, y: f64) {
    let tempo = pass.timing.tempo_bpm.map_or_else(
        || "tempo not known".to_owned(),
        |bpm| format!("tempo {}", one_decimal(bpm)),
    );
    let free = if clock.is_fitted() {
        ""
    } else {
        ", no pulse found: all at their written places"
    };
    let name = format!("{}pass {}, {tempo}{free}", frame.take, pass.number);
    drawing.word("name", (2.0, y), &name);
    let width = SCALE_MS / 1000.0 * clock.quarters_per_s() * frame.per_quarter();
    let to = WIDTH - 4.0;
    // A picture of a very fast pass may have no room for it.
    if width < WIDTH / 3.0 {
        drawing.area(
            "ink",
            &[
                (to - width, y - 4.0),
                (to, y - 4.0),
                (to, y - 1.5),
                (to - width, y - 1.5),
            ],
        );
        let label = format!("{SCALE_MS} ms");
        drawing.word("small soft end", (to - width - 3.0, y), &label);
    }
}

/// What nobody wrote within this bar.
fn extras<'a>(frame: &Frame, pass: &'a PassJudgement, clock: &Clock) -> Vec<&'a ExtraNote> {
    let shown = |extra: &&ExtraNote| {
        frame.shows(
            clock.quarters(extra.onset_s),
            clock.quarters(extra.release_s),
        )
    };
    pass.extras.iter().filter(shown).collect()
}

/// Strings that rang while they should not, and those of which it cannot be told.
fn rings(drawing: &mut Drawing, frame: &Frame, pass: &PassJudgement, clock: &Clock, y: f64) {
    let rows = frame.strings().len();
    let row_y = |string: Option<u8>| {
        let row = string.map_or(rows, |string| usize::from(string.max(1)) - 1);
        y + STRING_ROW * row.min(rows) as f64 + PLAYED.0
    };
    for ring in pass.bleed.iter().flatten() {
        let (from, to) = (clock.quarters(ring.from_s), clock.quarters(ring.to_s));
        if !frame.shows(from, to) {
            continue;
        }
        let key = frame.bar.key;
        let title = format!(
            "{} rings, {}: {:.3} to {:.3} s, {:.1} dB beside the note over it",
            pitch_in(ring.midi, key),
            ring.kind.word(),
            ring.from_s,
            ring.to_s,
            ring.level_db
        );
        drawing.markup(&format!(
            "<g class=\"ring\" data-pass=\"{}\" data-from-s=\"{}\" data-to-s=\"{}\" \
             data-level-db=\"{}\"><title>{}</title>\n",
            pass.number,
            exact(Some(ring.from_s), DECIMALS_S),
            exact(Some(ring.to_s), DECIMALS_S),
            exact(Some(ring.level_db), DECIMALS_DB),
            escaped(&title)
        ));
        let (from, to) = (frame.x(from), frame.x(to));
        drawing.block("ringing", (from, row_y(ring.string)), (to - from, PLAYED.1));
        drawing.markup("</g>\n");
    }
    for unknown in &pass.undecided {
        let (from, to) = (clock.quarters(unknown.from_s), clock.quarters(unknown.to_s));
        if frame.shows(from, to) {
            let (from, to) = (frame.x(from), frame.x(to));
            let at = (from, row_y(Some(unknown.string)));
            drawing.block("undecided", at, (to - from, PLAYED.1));
        }
    }
}

/// A note on its string: as written, and beneath it as it sounded.
fn note_in_row(
    drawing: &mut Drawing,
    frame: &Frame,
    (pass, clock): (&PassJudgement, &Clock),
    note: &JudgedNote,
    y: f64,
    told: &mut Vec<Told>,
) {
    let expected = &note.expected;
    let start = expected.onset_quarters;
    let end = start + expected.length_quarters;
    let heard = note.heard.as_ref();
    let sounded = heard.map(|h| (clock.quarters(h.onset_s), clock.quarters(h.release_s)));
    let is_seen = sounded.is_some_and(|(from, to)| frame.shows(from, to));
    if !(frame.shows(start, end) || is_seen) {
        return;
    }
    let own = frame.is_own(note);
    let row = expected.place.map_or(1, |place| place.string.max(1));
    let top = y + STRING_ROW * f64::from(row - 1);
    if own {
        drawing.markup(&opened(frame, pass, note));
    }
    if frame.shows(start, end) {
        let class = if own { "written" } else { "written beside" };
        let (from, to) = (frame.x(start), frame.x(end));
        drawing.block(class, (from, top + WRITTEN.0), (to - from, WRITTEN.1));
    }
    match sounded.filter(|_| is_seen) {
        Some((from, to)) => {
            let (from, to) = (frame.x(from), frame.x(to));
            let at = (from, top + PLAYED.0);
            drawing.block(played_class(note, own), at, (to - from, PLAYED.1));
            if own {
                // Parts it from the note before on the same string.
                drawing.line("onset", (from, at.1), (from, at.1 + PLAYED.1));
            }
            if note.flags.contains(&Flag::Gap) && own {
                gap(drawing, frame, clock, note, top + PLAYED.0);
            }
        }
        None if note.verdict == Verdict::Missed && own => {
            let at = (frame.x(start), top + PLAYED.0);
            drawing.block("missed", at, (frame.x(end) - frame.x(start), PLAYED.1));
        }
        None => {}
    }
    if own {
        drawing.markup("</g>\n");
        let x = frame.x(start);
        told.extend(
            words_of(frame, pass, note)
                .into_iter()
                .map(|(word, class)| (x, word, class)),
        );
    }
}

fn played_class(note: &JudgedNote, own: bool) -> &'static str {
    match note.verdict {
        _ if !own => "sounding beside",
        Verdict::Wrong => "sounding wrong",
        _ if note.flags.contains(&Flag::Dead) => "sounding dead",
        _ => "sounding",
    }
}

/// The silence of a gap, with an edge on either side.
fn gap(drawing: &mut Drawing, frame: &Frame, clock: &Clock, note: &JudgedNote, y: f64) {
    let Some(heard) = &note.heard else { return };
    let Some(gap_ms) = heard.gap_ms.filter(|ms| *ms > 0.0) else {
        return;
    };
    let from = frame.x(clock.quarters(heard.release_s));
    let to = frame.x(clock.quarters(heard.release_s + gap_ms / 1000.0));
    drawing.block("gap", (from, y + 2.0), (to - from, PLAYED.1 - 4.0));
    for x in [from, to] {
        drawing.line("gap-edge", (x, y - 2.0), (x, y + PLAYED.1 + 1.0));
    }
}

/// The opening tag of a note's group, with every figure as the JSON has it.
fn opened(frame: &Frame, pass: &PassJudgement, note: &JudgedNote) -> String {
    let heard = note.heard.as_ref();
    let expected = &note.expected;
    let key = frame.bar.key;
    let title = format!(
        "pass {}, {}, {}: {}",
        pass.number,
        expected.place_words(),
        pitch_in(f64::from(expected.midi), key),
        why::verdict(note, key)
    );
    let figures = [
        ("onset-s", heard.map(|h| h.onset_s), DECIMALS_S),
        ("release-s", heard.map(|h| h.release_s), DECIMALS_S),
        ("timing-ms", heard.and_then(|h| h.timing_ms), DECIMALS_MS),
        (
            "timing-uncertainty-ms",
            heard.and_then(|h| h.timing_uncertainty_ms),
            DECIMALS_MS,
        ),
        ("gap-ms", heard.and_then(|h| h.gap_ms), DECIMALS_MS),
        ("cents", heard.and_then(|h| h.cents), DECIMALS_CENTS),
        ("level-db", heard.and_then(|h| h.level_db), DECIMALS_DB),
    ];
    let data: String = figures
        .into_iter()
        .map(|(name, value, decimals)| format!(" data-{name}=\"{}\"", exact(value, decimals)))
        .collect();
    format!(
        "<g class=\"of-note\" data-pass=\"{}\" data-note=\"{}\" data-verdict=\"{}\"{data}><title>{}</title>\n",
        pass.number,
        expected.index,
        note.verdict.word().unwrap_or_default(),
        escaped(&title)
    )
}

/// What is wrong with a note, in words of a line each.
fn words_of(frame: &Frame, pass: &PassJudgement, note: &JudgedNote) -> Vec<(String, &'static str)> {
    let heard = note.heard.as_ref();
    let key = frame.bar.key;
    let mut told = Vec::new();
    match note.verdict {
        Verdict::Missed => told.push((words::MISSED.to_owned(), "word alarm")),
        Verdict::Wrong => {
            let midi = heard.and_then(|h| h.midi);
            let name = midi.map_or(words::UNKNOWN.to_owned(), |midi| pitch_in(midi, key));
            told.push((format!("{} {name}", words::WRONG), "word alarm"));
        }
        Verdict::Right | Verdict::Unreached => {}
    }
    let figure = |value: Option<f64>, unit: &str| {
        let value = value.filter(|value| value.is_finite());
        value.map_or_else(String::new, |value| format!(" {:.0}{unit}", value.abs()))
    };
    for flag in &note.flags {
        let more = match flag {
            Flag::Early | Flag::Late => figure(heard.and_then(|h| h.timing_ms), ""),
            Flag::Gap => figure(heard.and_then(|h| h.gap_ms), ""),
            Flag::Sharp | Flag::Flat => figure(heard.and_then(|h| h.cents), " ct"),
            Flag::Bleed => {
                let under = |ring: &&_| {
                    let ring: &crate::compare::judgement::Bleed = ring;
                    ring.during.contains(&note.expected.index)
                };
                let rings = pass.bleed.iter().flatten().filter(under);
                let names: Vec<String> = rings.map(|ring| pitch_class_in(ring.midi, key)).collect();
                format!(" {}", names.join("+"))
            }
            _ => String::new(),
        };
        let class = if *flag == Flag::Dead {
            "word alarm"
        } else {
            "word care"
        };
        told.push((format!("{}{more}", flag.word()), class));
    }
    told
}

/// A note nobody wrote: a diamond where it began, and its length.
fn extra_in_row(
    drawing: &mut Drawing,
    frame: &Frame,
    clock: &Clock,
    extra: &ExtraNote,
    y: f64,
    told: &mut Vec<Told>,
) {
    let from = frame.x(clock.quarters(extra.onset_s));
    let to = frame.x(clock.quarters(extra.release_s));
    let middle = y + PLAYED.0 + PLAYED.1 / 2.0;
    let name = extra
        .midi
        .map_or(words::UNKNOWN.into(), |midi| pitch_in(midi, frame.bar.key));
    drawing.markup(&format!(
        "<g class=\"extra\" data-onset-s=\"{}\" data-release-s=\"{}\"><title>{}</title>\n",
        exact(Some(extra.onset_s), DECIMALS_S),
        exact(Some(extra.release_s), DECIMALS_S),
        escaped(&format!("extra: {name} at {:.3} s", extra.onset_s))
    ));
    drawing.block("sounding wrong", (from, middle - 1.5), (to - from, 3.0));
    let corners = [
        (from - 4.0, middle),
        (from, middle - 4.0),
        (from + 4.0, middle),
        (from, middle + 4.0),
    ];
    drawing.area("alarm", &corners);
    drawing.markup("</g>\n");
    told.push((from, format!("{} {name}", words::EXTRA), "word alarm"));
}

/// Words beneath their notes, each in the first row where it has room; gives where they end.
fn words_below(drawing: &mut Drawing, mut told: Vec<Told>, y: f64) -> f64 {
    told.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut ends: Vec<f64> = Vec::new();
    for (x, word, class) in told {
        let width = word_width(&word, WORD_SIZE);
        let x = x.min(WIDTH - 4.0 - width).max(LEFT);
        let row = match ends.iter().position(|end| *end + WORDS_APART <= x) {
            Some(row) => row,
            None => {
                ends.push(0.0);
                ends.len() - 1
            }
        };
        ends[row] = x + width;
        drawing.word(class, (x, y + WORDS_ROW * (row as f64 + 1.0) - 2.0), &word);
    }
    y + WORDS_ROW * ends.len() as f64 + 3.0
}
