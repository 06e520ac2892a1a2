//! A line on paper: tab with rhythm marks beneath it, chord symbols, fingers and shifts above it,
//! as SVG pages, as one HTML file, or as PDF, on A4 or Letter.
//!
//! | file | what lives there |
//! |---|---|
//! | `rhythm` | note values, tuplets, which notes share a beam |
//! | `bars` | what stands in each bar, and how wide it is |
//! | `systems` | bars to systems, systems to pages |
//! | `draw`, `stems`, `rests`, `repeats` | one system drawn: staff and numbers, rhythm marks, rests, repeats and jumps |
//! | `shapes` | what a page is made of, in millimetres |
//! | `svg`, `pdf` | the same page in both formats |
//!
//! Pure functions from values to text and bytes. What is drawn follows the usual conventions of
//! printed tab: string 1 on top, stems beneath the staff (short for a half note, none for a whole),
//! a bow for a slur or a tie, a slanted line for a slide, a Roman numeral for the fret of finger 1
//! after each shift. Common practice, no source.

mod bars;
mod draw;
mod pdf;
pub(in crate::report) mod repeats;
mod rests;
mod rhythm;
pub(in crate::report) mod shapes;
mod stems;
pub(in crate::report) mod svg;
mod systems;

#[cfg(test)]
mod tests;

use crate::music::fingering::Way;
use crate::music::line::Line;

/// The paper a page is laid out for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Paper {
    /// 210 by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 by 11 inch (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Paper {
    /// Width and height in millimetres.
    pub fn millimetres(self) -> (f64, f64) {
        match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        }
    }
}

/// How a line is put on paper.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct SheetOptions {
    /// The paper.
    pub paper: Paper,
    /// Print the way's fingers and shifts; else only the fingers that the line itself gives.
    pub fingers: bool,
    /// A word beneath each step of the way, its degree for example; `None` and what is missing at
    /// the end print nothing. Of a bar that is played several times the first time counts.
    pub beneath: Vec<Option<String>>,
    /// Who made it, told in the first line of SVG and HTML and in the PDF's properties; nothing
    /// where it is empty.
    pub mark: String,
}

/// The pages as SVG, one text for each.
///
/// Input:  a way planned for this line ([`plan`](crate::music::fingering::plan)), which says where
///         every note lies.
/// Output: at least one page. Never fails; notes without a place are printed as `?`.
pub fn svg_pages(line: &Line, way: &Way, options: &SheetOptions) -> Vec<String> {
    let comment = comment(&options.mark);
    systems::pages(line, way, options)
        .iter()
        .map(|page| comment.clone() + &svg::page(page, options.paper, line.title()))
        .collect()
}

/// All pages as one HTML file that needs nothing else and prints a page to a sheet.
pub fn html(line: &Line, way: &Way, options: &SheetOptions) -> String {
    let (width, height) = options.paper.millimetres();
    let title = svg::escaped(line.title());
    let title = if title.is_empty() {
        "Bass line"
    } else {
        &title
    };
    let mut out = format!(
        "<!doctype html>\n{}<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width\">\n<title>{title}</title>\n\
         <style>\n@page {{ size: {width}mm {height}mm; margin: 0 }}\n\
         body {{ margin: 0; background: #ddd }}\n\
         svg {{ display: block; width: {width}mm; max-width: 100%; height: auto; \
         margin: 4mm auto; background: #fff }}\n\
         @media print {{ body {{ background: none }} svg {{ margin: 0; max-width: none; \
         break-after: page }} svg:last-child {{ break-after: auto }} }}\n\
         </style>\n</head>\n<body>\n",
        comment(&options.mark)
    );
    for page in systems::pages(line, way, options) {
        out.push_str(&svg::page(&page, options.paper, line.title()));
    }
    out.push_str("</body>\n</html>\n");
    out
}

/// All pages as one PDF file.
pub fn pdf(line: &Line, way: &Way, options: &SheetOptions) -> Vec<u8> {
    let pages = systems::pages(line, way, options);
    pdf::file(&pages, options.paper, line.title(), &options.mark)
}

/// The mark as a comment on a line of its own; two hyphens would end it.
fn comment(mark: &str) -> String {
    if mark.is_empty() {
        return String::new();
    }
    format!("<!-- {} -->\n", svg::escaped(mark).replace("--", "- -"))
}
