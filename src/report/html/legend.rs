//! What the shapes of the pictures mean, each beside its word.

use super::draw::Drawing;

/// The list of shapes. `linked` says whether notes lead to their words.
pub(super) fn legend(linked: bool) -> String {
    type Draw = fn(&mut Drawing);
    let shapes: [(Draw, &str); 9] = [
        (
            |d| {
                d.block("written", (2.0, 1.0), (40.0, 3.5));
                d.block("sounding", (4.0, 6.0), (34.0, 6.5));
            },
            "as written, and beneath it as it sounded",
        ),
        (
            |d| d.block("sounding wrong", (2.0, 5.0), (40.0, 6.5)),
            "another note, or one that nobody wrote",
        ),
        (|d| d.block("missed", (2.0, 5.0), (40.0, 6.5)), "missed"),
        (
            |d| d.block("sounding dead", (2.0, 5.0), (40.0, 6.5)),
            "dead: no clear tone",
        ),
        (
            |d| {
                d.block("sounding", (0.0, 5.0), (14.0, 6.5));
                d.block("gap", (14.0, 7.0), (16.0, 2.5));
                d.block("sounding", (30.0, 5.0), (14.0, 6.5));
                d.line("gap-edge", (14.0, 3.0), (14.0, 12.5));
                d.line("gap-edge", (30.0, 3.0), (30.0, 12.5));
            },
            "a gap, its silence in ms",
        ),
        (
            |d| d.block("ringing", (2.0, 5.0), (40.0, 6.5)),
            "another string rings underneath",
        ),
        (
            |d| d.block("undecided", (2.0, 5.0), (40.0, 6.5)),
            "whether it rings cannot be told",
        ),
        (
            |d| {
                d.block("band", (0.0, 3.0), (44.0, 10.0));
                d.line("band-edge", (0.0, 3.0), (44.0, 3.0));
                d.line("band-edge", (0.0, 13.0), (44.0, 13.0));
                d.line("doubt", (22.0, 4.0), (22.0, 12.0));
                d.dot("ontime", (22.0, 8.0), 2.5);
            },
            "in time, with its doubt (one standard deviation), within the tolerance",
        ),
        (
            |d| {
                d.area("offtime", &[(10.0, 12.0), (16.0, 12.0), (13.0, 5.0)]);
                d.area("offtime", &[(28.0, 5.0), (34.0, 5.0), (31.0, 12.0)]);
            },
            "late (points up), early (points down), in ms",
        ),
    ];
    let mut out = String::from(
        "<p>Time runs to the right; each pass is laid over its own pulse, so that a join can be \
         followed down from pass to pass.",
    );
    if linked {
        out.push_str(
            " A note of the written bar leads to its words, which open to what the verdict rests on.",
        );
    }
    out.push_str("</p>\n<ul class=\"legend\">\n");
    for (draw, words) in shapes {
        let mut drawing = Drawing::default();
        draw(&mut drawing);
        let svg = drawing.into_svg("aria-hidden=\"true\"", (44.0, 16.0), "");
        out.push_str(&format!("<li>{svg}{words}</li>\n"));
    }
    out.push_str("</ul>\n");
    out
}
