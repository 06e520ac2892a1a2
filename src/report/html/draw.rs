//! A picture in SVG while it is being drawn: shapes with a class, which the style gives its look.

use std::fmt::{Display, Write as _};

use crate::report::json::round;
use crate::report::sheet::svg;

/// A text as HTML and SVG take it, between tags and within double quotes alike: no character of it
/// can end what it stands in, and none turns the direction of what follows.
pub(super) fn escaped(text: &str) -> String {
    let turns = |c: &char| matches!(c, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    let plain: String = text.chars().filter(|c| !turns(c)).collect();
    svg::escaped(&plain)
}

/// A figure as the JSON report has it, to `decimals`; empty where it is not known.
pub(super) fn exact(value: Option<f64>, decimals: i32) -> String {
    let rounded = value.and_then(|value| round(value, decimals));
    rounded.map_or_else(String::new, |value| value.to_string())
}

/// A picture under way. Places count in its own unit, 380 to a width that a phone shows.
#[derive(Clone, Debug, Default)]
pub(super) struct Drawing {
    text: String,
}

impl Drawing {
    /// Adds what was drawn elsewhere.
    pub fn add(&mut self, other: &Self) {
        self.text.push_str(&other.text);
    }

    /// Adds markup as it is: `escaped` is up to the caller.
    pub fn markup(&mut self, markup: &str) {
        self.text.push_str(markup);
    }

    /// A rectangle; one of no width is drawn as thin as can be seen.
    pub fn block(&mut self, class: &str, (x, y): (f64, f64), (width, height): (f64, f64)) {
        let width = width.max(0.5);
        self.shape(format_args!(
            "<rect class=\"{class}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\"/>",
            svg::number(x),
            svg::number(y),
            svg::number(width),
            svg::number(height)
        ));
    }

    /// A straight line.
    pub fn line(&mut self, class: &str, from: (f64, f64), to: (f64, f64)) {
        self.shape(format_args!(
            "<path class=\"{class}\" d=\"M{} {}L{} {}\"/>",
            svg::number(from.0),
            svg::number(from.1),
            svg::number(to.0),
            svg::number(to.1)
        ));
    }

    /// A line through points, broken where there is none; a point alone is not seen.
    pub fn course(&mut self, class: &str, points: &[Option<(f64, f64)>]) {
        let mut path = String::new();
        let mut letter = 'M';
        for point in points {
            if let Some((x, y)) = point {
                let _ = write!(path, "{letter}{} {}", svg::number(*x), svg::number(*y));
            }
            letter = if point.is_some() { 'L' } else { 'M' };
        }
        self.shape(format_args!("<path class=\"{class}\" d=\"{path}\"/>"));
    }

    /// A filled circle.
    pub fn dot(&mut self, class: &str, (x, y): (f64, f64), radius: f64) {
        self.shape(format_args!(
            "<circle class=\"{class}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>",
            svg::number(x),
            svg::number(y),
            svg::number(radius)
        ));
    }

    /// A filled area within straight lines.
    pub fn area(&mut self, class: &str, corners: &[(f64, f64)]) {
        let corner = |&(x, y): &(f64, f64)| format!("{},{}", svg::number(x), svg::number(y));
        let corners: Vec<String> = corners.iter().map(corner).collect();
        self.shape(format_args!(
            "<polygon class=\"{class}\" points=\"{}\"/>",
            corners.join(" ")
        ));
    }

    /// A word; its place is on its base line, at its left, its middle or its right end by the class.
    pub fn word(&mut self, class: &str, (x, y): (f64, f64), text: &str) {
        self.shape(format_args!(
            "<text class=\"{class}\" x=\"{}\" y=\"{}\">{}</text>",
            svg::number(x),
            svg::number(y),
            escaped(text)
        ));
    }

    fn shape(&mut self, shape: impl Display) {
        let _ = writeln!(self.text, "{shape}");
    }

    /// The whole picture. `open` is what stands within the tag beside its size.
    pub fn into_svg(self, open: &str, (width, height): (f64, f64), head: &str) -> String {
        let (width, height) = (svg::number(width), svg::number(height));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
             width=\"{width}\" height=\"{height}\" {open}>\n{head}{}</svg>\n",
            self.text
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// OWASP's rule for HTML text and quoted attributes: `&`, `<`, `>` and the quote in use.
    #[test]
    fn no_text_ends_what_it_stands_in() {
        assert_eq!(
            escaped("\"><script>alert('1')</script>&\u{202e}x\u{0}"),
            "&quot;&gt;&lt;script&gt;alert('1')&lt;/script&gt;&amp;x "
        );
    }

    #[test]
    fn figures_are_those_of_the_json() {
        assert_eq!(exact(Some(84.199_9), 2), "84.2");
        assert_eq!(exact(Some(-0.000_1), 2), "0");
        assert_eq!(exact(Some(f64::NAN), 2), "");
        assert_eq!(exact(None, 2), "");
    }
}
