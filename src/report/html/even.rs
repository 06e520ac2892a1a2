//! How even the passes are: a row for each, with every note where it lies, early to late or soft to
//! loud, and how far they spread.

use super::bar::{Drawn, WIDTH};
use super::draw::{Drawing, exact};
use crate::compare::judgement::{HeardPart, PassJudgement};
use crate::report::json::{DECIMALS_DB, DECIMALS_MS};
use crate::session::result::TakeResult;

/// Left and right of what is drawn to scale.
const EDGES: (f64, f64) = (52.0, 92.0);
/// Height of a pass, and of the scale above them.
const ROW: f64 = 26.0;
const HEAD: f64 = 18.0;
/// Shown of lateness, as a multiple of the tolerance.
const SHOWN: f64 = 3.0;
/// Shown of a level, in decibels either way.
const LEVEL_DB: f64 = 9.0;

/// What a picture is about.
struct About {
    /// Shown to either side.
    reach: f64,
    /// Half the width of the band of what is tolerated; `None` where there is none.
    band: Option<f64>,
    unit: &'static str,
    /// What lies to the left and to the right.
    sides: (&'static str, &'static str),
    /// Names of the figures in the file.
    figure: &'static str,
    decimals: i32,
    of: fn(&HeardPart) -> Option<f64>,
    /// The middle of a pass and its spread.
    spread: fn(&PassJudgement) -> Option<(f64, f64)>,
}

/// The picture of time; `None` where no pass has a known one.
pub(super) fn time(result: &TakeResult) -> Option<Drawn> {
    let mark_ms = result.judgement.marks.timing_ms;
    let usable = mark_ms.is_finite() && mark_ms > 0.0;
    let about = About {
        reach: SHOWN * if usable { mark_ms } else { 25.0 },
        band: usable.then_some(mark_ms),
        unit: "ms",
        sides: ("early", "late"),
        figure: "timing-ms",
        decimals: DECIMALS_MS,
        of: |heard| heard.timing_ms,
        spread: |pass| Some((pass.timing.mean_ms.unwrap_or(0.0), pass.timing.spread_ms?)),
    };
    let title = "Evenness of time: how early or late the notes of each pass are, and their spread";
    picture(result, &about, title)
}

/// The picture of loudness; `None` where no level can be told.
pub(super) fn loudness(result: &TakeResult) -> Option<Drawn> {
    let about = About {
        reach: LEVEL_DB,
        band: None,
        unit: "dB",
        sides: ("soft", "loud"),
        figure: "level-db",
        decimals: DECIMALS_DB,
        of: |heard| heard.level_db,
        spread: |pass| pass.evenness.map(|even| (even.level_db, even.spread_db)),
    };
    let title = "Evenness of loudness: how loud the notes of each pass are beside the take's usual \
                 note, and their spread";
    picture(result, &about, title)
}

fn picture(result: &TakeResult, about: &About, title: &str) -> Option<Drawn> {
    let known = |pass: &&PassJudgement| {
        pass.judged
            && pass
                .notes
                .iter()
                .any(|n| n.heard.as_ref().and_then(about.of).is_some())
    };
    let passes: Vec<&PassJudgement> = result.judgement.passes.iter().filter(known).collect();
    if passes.is_empty() {
        return None;
    }
    let (left, right) = (EDGES.0, WIDTH - EDGES.1);
    let middle = (left + right) / 2.0;
    let x = |value: f64| middle + (value / about.reach).clamp(-1.0, 1.0) * (right - left) / 2.0;
    let bottom = HEAD + ROW * passes.len() as f64;
    let mut drawing = Drawing::default();
    if let Some(band) = about.band {
        drawing.block(
            "band",
            (x(-band), HEAD),
            (x(band) - x(-band), bottom - HEAD),
        );
        for edge in [-band, band] {
            drawing.line("band-edge", (x(edge), HEAD - 3.0), (x(edge), bottom));
            drawing.word(
                "small soft middle",
                (x(edge), HEAD - 6.0),
                &format!("{edge:+}"),
            );
        }
    }
    drawing.line("grid", (middle, HEAD - 3.0), (middle, bottom));
    drawing.word("small soft", (left, HEAD - 6.0), about.sides.0);
    let unit = format!("{} ({})", about.sides.1, about.unit);
    drawing.word("small soft end", (right + 24.0, HEAD - 6.0), &unit);
    for (row, pass) in passes.iter().enumerate() {
        let y = HEAD + ROW * row as f64;
        drawing.line("edge", (2.0, y), (WIDTH - 2.0, y));
        drawing.word("name", (2.0, y + 16.0), &format!("pass {}", pass.number));
        for note in &pass.notes {
            let value = note.heard.as_ref().and_then(about.of);
            let Some(value) = value.filter(|value| value.is_finite()) else {
                continue;
            };
            drawing.markup(&format!(
                "<g class=\"of-note\" data-pass=\"{}\" data-note=\"{}\" data-{}=\"{}\"><title>{}: {value:+.1} {}</title>",
                pass.number,
                note.expected.index,
                about.figure,
                exact(Some(value), about.decimals),
                note.expected.place_words(),
                about.unit
            ));
            let at = x(value);
            match about.band.is_some_and(|band| value.abs() > band) {
                false => drawing.line("tick", (at, y + 5.0), (at, y + 15.0)),
                true => {
                    let tip = if value < 0.0 { at - 4.0 } else { at + 4.0 };
                    drawing.area("offtime", &[(tip, y + 10.0), (at, y + 6.0), (at, y + 14.0)]);
                }
            }
            drawing.markup("</g>\n");
        }
        let said = match (about.spread)(pass).filter(|(m, s)| m.is_finite() && s.is_finite()) {
            Some((mean, spread)) => {
                let (from, to) = (x(mean - spread), x(mean + spread));
                drawing.line("spread", (from, y + 20.0), (to, y + 20.0));
                for end in [from, to] {
                    drawing.line("spread", (end, y + 18.0), (end, y + 22.0));
                }
                format!("spread {spread:.1} {}", about.unit)
            }
            None => "not known".to_owned(),
        };
        drawing.word("small", (right + 8.0, y + 16.0), &said);
    }
    Some(Drawn {
        drawing,
        size: (WIDTH, bottom + 2.0),
        title: title.to_owned(),
    })
}
