//! The figures of the gate, read from what the scorers found out, with the number that each is to
//! reach.

use serde_json::Value;

/// Instruments that ring by themselves: more is forgiven them, and their rings are held apart.
pub const UPRIGHTS: [&str; 1] = ["meat"];

/// All kinds of faults that the scorers count.
const CLASSES: [&str; 9] = [
    "wrong", "missed", "extra", "early", "late", "gap", "bleed", "dead", "detuned",
];

/// The share of passes found, on which all that is counted within found passes depends.
pub const FOUND: &str = "passes found, share";

/// Which way is better.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Better {
    Higher,
    Lower,
}

/// One number.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    pub what: String,
    /// `None` when the takes have nothing to measure it on, or nothing was measured.
    pub reached: Option<f64>,
    /// `None` where no number was set.
    pub reach: Option<f64>,
    pub better: Better,
    /// Whether it is a measurement (of time, of pitch) and not a share of counted things.
    pub measured: bool,
    /// What it was made from: notes, claims, rings, passes.
    pub of: u64,
    /// The figure that says how much was looked at: once more is, this one may become worse.
    pub within: Option<&'static str>,
}

impl Figure {
    /// Whether `value` is at least as good as `mark`.
    pub fn as_good(&self, value: f64, mark: f64) -> bool {
        match self.better {
            Better::Higher => value >= mark,
            Better::Lower => value <= mark,
        }
    }

    /// Whether the number to reach is reached; `None` when either is not known.
    pub fn is_reached(&self) -> Option<bool> {
        Some(self.as_good(self.reached?, self.reach?))
    }
}

/// A field of a scorer's figures.
///
/// # Panics
/// When it is not there: the scorer speaks another language than this file.
fn field<'a>(score: &'a Value, name: &str) -> &'a Value {
    let found = score.get(name);
    found.unwrap_or_else(|| panic!("the scorer tells no {name:?}"))
}

fn number(score: &Value, name: &str) -> f64 {
    let value = field(score, name).as_f64();
    value.unwrap_or_else(|| panic!("{name:?} of the scorer is no number"))
}

/// How often something was counted; the scorers leave out what never was.
fn count(score: &Value, name: &str) -> u64 {
    score.get(name).map_or(0, |value| {
        let number = value.as_u64();
        number.unwrap_or_else(|| panic!("{name:?} of the scorer is no count"))
    })
}

/// Written notes behind a scorer's figures.
pub fn notes(score: &Value) -> u64 {
    count(score, "notes")
}

/// Collects figures.
struct Figures<'a> {
    score: &'a Value,
    /// Put behind each name.
    suffix: String,
    all: Vec<Figure>,
}

impl<'a> Figures<'a> {
    fn new(score: &'a Value, suffix: &str) -> Self {
        Self {
            score,
            suffix: suffix.to_owned(),
            all: Vec::new(),
        }
    }

    /// A count or a share of counted things.
    fn counted(&mut self, what: &str, value: f64, of: u64, better: Better, reach: Option<f64>) {
        self.all.push(Figure {
            what: format!("{what}{}", self.suffix),
            reached: (of > 0).then_some(value),
            reach,
            better,
            measured: false,
            of,
            within: None,
        });
    }

    /// A share, the higher the better.
    fn share(&mut self, what: &str, value: f64, of: u64, reach: Option<f64>) {
        self.counted(what, value, of, Better::Higher, reach);
    }

    /// A member of the errors that the scorer sums up under `name`.
    fn measured(&mut self, what: &str, errors: &Value, member: &str, reach: f64) {
        let known = !errors.is_null();
        self.all.push(Figure {
            what: format!("{what}{}", self.suffix),
            reached: known.then(|| number(errors, member)),
            reach: Some(reach),
            better: Better::Lower,
            measured: true,
            of: if known { count(errors, "n") } else { 0 },
            within: None,
        });
    }

    /// The last figure counts only within what another figure says was looked at.
    fn within(&mut self, other: &'static str) {
        self.all.last_mut().expect("a figure").within = Some(other);
    }

    fn class(&self, name: &str) -> &'a Value {
        field(field(self.score, "classes"), name)
    }
}

/// The figures of takes of one pass, without rings and false alarms, in the order of the table.
///
/// Input: `low_gaps` is what the scorer says where only gaps after the lowest notes are asked for;
/// `upright` where all takes were played on one.
pub fn of_takes(score: &Value, low_gaps: Option<&Value>, upright: bool) -> Vec<Figure> {
    let mut all = Figures::new(score, "");
    for name in ["wrong", "missed", "extra"] {
        let class = all.class(name);
        let claims = count(class, "tp") + count(class, "fp");
        for (measure, of) in [("precision", claims), ("recall", count(class, "truth"))] {
            // Without a single claim there is nothing to be precise about; the scorer says 0.
            let what = format!("{name}: {measure}");
            all.share(&what, number(class, measure), of, Some(0.99));
        }
    }
    for (name, reach) in [
        ("early", Some(0.98)),
        ("late", Some(0.98)),
        ("gap", Some(0.98)),
        ("dead", None),
        ("detuned", Some(0.95)),
    ] {
        let class = all.class(name);
        let what = format!("{name}: F1");
        all.share(&what, number(class, "f1"), count(class, "truth"), reach);
    }
    times(&mut all, low_gaps, upright);
    all.all
}

fn times(all: &mut Figures, low_gaps: Option<&Value>, upright: bool) {
    let score = all.score;
    let onset = field(score, "onset_ms");
    all.measured("onset: median, ms", onset, "median_abs", 1.0);
    all.measured("onset: 95 % within, ms", onset, "p95", 5.0);
    let gap = field(score, "gap_fault_ms");
    all.measured("gap length: median, ms", gap, "median_abs", 5.0);
    if let Some(low) = low_gaps {
        let gap = field(low, "gap_fault_ms");
        all.measured("gap length, lowest notes, ms", gap, "median_abs", 10.0);
    }
    let cents = field(score, "cents");
    let reach = if upright { 8.0 } else { 4.0 };
    all.measured("pitch: 95 % within, cents", cents, "p95", reach);
    let pitches = field(score, "pitch_named");
    let octaves = count(pitches, "octave and more");
    let named = octaves + count(pitches, "another note") + count(pitches, "right");
    all.counted(
        "octave errors",
        octaves as f64,
        named,
        Better::Lower,
        Some(0.0),
    );
    let heard = field(score, "heard_after_ms");
    all.measured("heard after, median, ms", heard, "median_error", 10.0);
    let strings = field(score, "named_after_ms");
    for (string, reach) in [("E", 44.0), ("A", 35.0), ("D", 28.0), ("G", 23.0)] {
        let what = format!("named after, {string} string, ms");
        all.measured(&what, field(strings, string), "median_error", reach);
    }
    let first = field(score, "first_name");
    let right = count(first, "right");
    let of = right + count(first, "wrong");
    all.share("first name right", share_of(right, of), of, Some(0.98));
}

/// Rings and false alarms of takes of one pass, `suffix` behind each name.
pub fn of_rings(score: &Value, upright: bool, suffix: &str) -> Vec<Figure> {
    let mut all = Figures::new(score, suffix);
    let bleed = all.class("bleed");
    all.share(
        "bleed: F1",
        number(bleed, "f1"),
        count(bleed, "truth"),
        None,
    );
    let bands = field(score, "bleed_found_by_level");
    for (words, band, reach) in [
        (
            "bleed found, -20 dB and louder",
            "-20 dB and louder",
            Some(0.97),
        ),
        ("bleed found, -28 to -20 dB", "-28..-20 dB", Some(0.9)),
        ("bleed found, unison and octaves", "masked", None),
    ] {
        let (found, of) = bands.get(band).map_or((0, 0), found_of);
        all.share(words, share_of(found, of), of, reach);
    }
    let from = field(score, "bleed_from_ms");
    all.measured("bleed start: 95 % within, ms", from, "p95", 80.0);
    let reach = if upright { 1.0 } else { 0.3 };
    let clean = count(score, "clean_notes");
    for (words, name) in [
        (
            "false alarms per 100 clean notes",
            "false_alarms_per_100_clean_notes",
        ),
        ("false alarms without rings", "false_alarms_without_rings"),
    ] {
        all.counted(
            words,
            number(score, name),
            clean,
            Better::Lower,
            Some(reach),
        );
    }
    all.all
}

/// The figures of takes of several passes, in the order of the table.
pub fn of_passes(score: &Value) -> Vec<Figure> {
    let mut all = Figures::new(score, "");
    let passes = field(score, "passes");
    let of = count(passes, "passes");
    all.share(FOUND, number(passes, "found_share"), of, Some(0.98));
    let right = number(passes, "bars_right_share");
    all.share("passes, bars right, share", right, of, Some(0.97));
    for name in ["false passes", "stray extras"] {
        let value = count(passes, name) as f64;
        all.counted(name, value, of, Better::Lower, Some(0.0));
    }
    let unplayed = count(passes, "unplayed called missed") as f64;
    all.counted(
        "unplayed called missed",
        unplayed,
        of,
        Better::Lower,
        Some(0.0),
    );
    all.within(FOUND);
    let alarms = number(score, "false_alarms_without_rings");
    let clean = count(score, "clean_notes");
    all.counted(
        "false alarms without rings",
        alarms,
        clean,
        Better::Lower,
        Some(0.3),
    );
    all.within(FOUND);
    for name in CLASSES {
        let class = all.class(name);
        let truth = count(class, "truth");
        let value = |member| count(class, member) as f64;
        all.counted(
            &format!("{name}: true claims"),
            value("tp"),
            truth,
            Better::Higher,
            None,
        );
        all.counted(
            &format!("{name}: not found"),
            value("fn"),
            truth,
            Better::Lower,
            Some(0.0),
        );
        all.counted(
            &format!("{name}: false claims"),
            value("fp"),
            of,
            Better::Lower,
            Some(0.0),
        );
        all.within(FOUND);
    }
    all.all
}

/// Reads `3 of 4`.
fn found_of(words: &Value) -> (u64, u64) {
    let read = || {
        let (found, of) = words.as_str()?.split_once(" of ")?;
        Some((found.parse().ok()?, of.parse().ok()?))
    };
    read().unwrap_or_else(|| panic!("{words} of the scorer is no share"))
}

/// A share to the four digits that the scorers give; 0 of nothing.
fn share_of(part: u64, of: u64) -> f64 {
    (part as f64 / of.max(1) as f64 * 1e4).round() / 1e4
}
