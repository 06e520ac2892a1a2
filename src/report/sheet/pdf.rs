//! Pages as one PDF file. The letters are those of Helvetica, which every reader has, so that no
//! font travels with the file; letters beyond Western European ones are printed as `?`.

use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, Str, TextStr};

use super::Paper;
use super::shapes::{Anchor, Cut, Page, Shape, word_width};

/// PDF counts in points: 72 to an inch, 25.4 mm.
const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// How far a curve's handles lie from its ends for a quarter of a circle, as a share of the radius:
/// 4/3 (sqrt 2 - 1), closed form.
const QUARTER_CIRCLE: f64 = 0.552_284_75;

/// The three cuts: name in the file, and the font's own.
const FONTS: [(&[u8], &[u8]); 3] = [
    (b"P", b"Helvetica"),
    (b"B", b"Helvetica-Bold"),
    (b"S", b"Helvetica-Oblique"),
];

/// All pages as one file.
pub(super) fn file(pages: &[Page], paper: Paper, title: &str, mark: &str) -> Vec<u8> {
    let mut pdf = Pdf::new();
    let mut next = 1;
    let mut new_ref = || {
        let id = Ref::new(next);
        next += 1;
        id
    };
    let (catalog, tree, info) = (new_ref(), new_ref(), new_ref());
    let fonts = [new_ref(), new_ref(), new_ref()];
    let bodies: Vec<(Ref, Ref)> = pages.iter().map(|_| (new_ref(), new_ref())).collect();
    pdf.catalog(catalog).pages(tree);
    pdf.document_info(info)
        .producer(TextStr(mark))
        .title(TextStr(title));
    pdf.pages(tree)
        .kids(bodies.iter().map(|body| body.0))
        .count(i32::try_from(pages.len()).unwrap_or(i32::MAX));
    for ((_, font), id) in FONTS.iter().zip(fonts) {
        pdf.type1_font(id)
            .base_font(Name(font))
            .encoding_predefined(Name(b"WinAnsiEncoding"));
    }
    let (width, height) = paper.millimetres();
    for (page, (id, body)) in pages.iter().zip(bodies) {
        let mut leaf = pdf.page(id);
        leaf.media_box(Rect::new(0.0, 0.0, points(width), points(height)));
        leaf.parent(tree);
        leaf.contents(body);
        let mut resources = leaf.resources();
        let mut list = resources.fonts();
        for ((name, _), font) in FONTS.iter().zip(fonts) {
            list.pair(Name(name), font);
        }
        list.finish();
        resources.finish();
        leaf.finish();
        let mut ink = Ink {
            content: Content::new(),
            height,
        };
        for shape in &page.shapes {
            ink.draw(shape);
        }
        pdf.stream(body, &ink.content.finish());
    }
    pdf.finish()
}

fn points(mm: f64) -> f32 {
    (mm * POINTS_PER_MM) as f32
}

/// One page being drawn; PDF counts upwards from the lower edge.
struct Ink {
    content: Content,
    height: f64,
}

impl Ink {
    fn at(&self, (x, y): (f64, f64)) -> (f32, f32) {
        (points(x), points(self.height - y))
    }

    fn path(&mut self, list: &[(f64, f64)]) {
        for (index, &point) in list.iter().enumerate() {
            let (x, y) = self.at(point);
            if index == 0 {
                self.content.move_to(x, y);
            } else {
                self.content.line_to(x, y);
            }
        }
    }

    fn bend(&mut self, a: (f64, f64), b: (f64, f64), to: (f64, f64)) {
        let ((ax, ay), (bx, by), (x, y)) = (self.at(a), self.at(b), self.at(to));
        self.content.cubic_to(ax, ay, bx, by, x, y);
    }

    fn draw(&mut self, shape: &Shape) {
        match shape {
            Shape::Stroke {
                points: list,
                width,
                shade,
            } => {
                self.content.set_line_width(points(*width));
                self.content.set_stroke_gray(shade.lightness());
                self.path(list);
                self.content.stroke();
            }
            Shape::Curve {
                points: [from, a, b, to],
                width,
            } => {
                self.content.set_line_width(points(*width));
                self.content.set_stroke_gray(0.0);
                self.path(&[*from]);
                self.bend(*a, *b, *to);
                self.content.stroke();
            }
            Shape::Area {
                points: list,
                shade,
            } => {
                self.content.set_fill_gray(shade.lightness());
                self.path(list);
                self.content.close_path();
                self.content.fill_nonzero();
            }
            Shape::Dot { at, radius } => self.dot(*at, *radius),
            Shape::Word {
                at,
                text,
                size,
                cut,
                anchor,
                shade,
            } => {
                let width = word_width(text, *size);
                let left = match anchor {
                    Anchor::Start => at.0,
                    Anchor::Middle => at.0 - width / 2.0,
                    Anchor::End => at.0 - width,
                };
                let font = match cut {
                    Cut::Plain => FONTS[0].0,
                    Cut::Bold => FONTS[1].0,
                    Cut::Slanted => FONTS[2].0,
                };
                let (x, y) = self.at((left, at.1));
                self.content.set_fill_gray(shade.lightness());
                self.content.begin_text();
                self.content.set_font(Name(font), points(*size));
                self.content.next_line(x, y);
                self.content.show(Str(&western(text)));
                self.content.end_text();
            }
        }
    }

    fn dot(&mut self, (x, y): (f64, f64), radius: f64) {
        let handle = radius * QUARTER_CIRCLE;
        self.content.set_fill_gray(0.0);
        self.path(&[(x + radius, y)]);
        for (from, to) in [
            ((1.0, 0.0), (0.0, 1.0)),
            ((0.0, 1.0), (-1.0, 0.0)),
            ((-1.0, 0.0), (0.0, -1.0)),
            ((0.0, -1.0), (1.0, 0.0)),
        ] {
            let edge = |(dx, dy): (f64, f64)| (x + radius * dx, y + radius * dy);
            let (start, end) = (edge(from), edge(to));
            self.bend(
                (start.0 + handle * to.0, start.1 + handle * to.1),
                (end.0 + handle * from.0, end.1 + handle * from.1),
                end,
            );
        }
        self.content.fill_nonzero();
    }
}

/// Text in the one-byte code of the standard fonts.
fn western(text: &str) -> Vec<u8> {
    text.chars()
        .map(|letter| match u32::from(letter) {
            code @ (0x20..=0x7e | 0xa0..=0xff) => code as u8,
            _ => b'?',
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_beyond_the_font_are_question_marks() {
        assert_eq!(western("Für E♭\n"), b"F\xfcr E??");
    }
}
