//! What a page is made of: lines, areas and words at places in millimetres. Every format of a
//! page is written from these.

/// How dark something is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shade {
    Black,
    Grey,
    White,
}

impl Shade {
    /// From 0 (black) to 1 (white).
    pub fn lightness(self) -> f32 {
        match self {
            Self::Black => 0.0,
            Self::Grey => 0.4,
            Self::White => 1.0,
        }
    }
}

/// The cut of a word's letters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Cut {
    Plain,
    Bold,
    Slanted,
}

/// Which point of a word its place is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// One thing on a page. Places count in millimetres from the upper left corner.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Shape {
    /// A row of straight lines.
    Stroke {
        points: Vec<(f64, f64)>,
        width: f64,
        shade: Shade,
    },
    /// A curve from the first to the last point, bent towards the two between.
    Curve { points: [(f64, f64); 4], width: f64 },
    /// An area within straight lines.
    Area {
        points: Vec<(f64, f64)>,
        shade: Shade,
    },
    /// A filled circle.
    Dot { at: (f64, f64), radius: f64 },
    /// A word; `at` is on its base line.
    Word {
        at: (f64, f64),
        text: String,
        size: f64,
        cut: Cut,
        anchor: Anchor,
        shade: Shade,
    },
}

/// The shapes of one page.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Page {
    pub shapes: Vec<Shape>,
}

impl Page {
    /// A straight line.
    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), width: f64, shade: Shade) {
        self.shapes.push(Shape::Stroke {
            points: vec![from, to],
            width,
            shade,
        });
    }

    /// A rectangle between two corners.
    pub fn block(&mut self, from: (f64, f64), to: (f64, f64), shade: Shade) {
        let points = vec![from, (to.0, from.1), to, (from.0, to.1)];
        self.shapes.push(Shape::Area { points, shade });
    }

    /// A curve.
    pub fn curve(&mut self, points: [(f64, f64); 4], width: f64) {
        self.shapes.push(Shape::Curve { points, width });
    }

    /// A filled circle.
    pub fn dot(&mut self, at: (f64, f64), radius: f64) {
        self.shapes.push(Shape::Dot { at, radius });
    }

    /// A word in black.
    pub fn word(&mut self, at: (f64, f64), text: &str, size: f64, cut: Cut, anchor: Anchor) {
        self.shaded(at, text, size, cut, anchor, Shade::Black);
    }

    /// A word.
    pub fn shaded(
        &mut self,
        at: (f64, f64),
        text: &str,
        size: f64,
        cut: Cut,
        anchor: Anchor,
        shade: Shade,
    ) {
        self.shapes.push(Shape::Word {
            at,
            text: text.to_owned(),
            size,
            cut,
            anchor,
            shade,
        });
    }
}

/// Widths of the letters from space to `~`, in thousandths of the size.
///
/// # Source
/// Adobe Font Metrics of Helvetica, one of the fonts every reader of PDF has.
const WIDTHS: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];

/// About how wide a word is, in the unit of its size. Other letters count as an `n`.
pub(in crate::report) fn word_width(text: &str, size: f64) -> f64 {
    let width = |letter: char| {
        let at = (letter as usize).wrapping_sub(32);
        f64::from(WIDTHS.get(at).copied().unwrap_or(556))
    };
    text.chars().map(width).sum::<f64>() * size / 1000.0
}
