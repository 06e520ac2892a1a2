//! The colours of a page, light and dark, as CSS takes them.
//!
//! No meaning rests on them: each mark has a shape, a pattern or a word of its own. Blue, brown and
//! purple are told apart with every common kind of colour blindness. Common practice, no source.

use std::fmt::Write as _;

/// A colour: red, green and blue from 0 to 255 (sRGB).
type Colour = [u8; 3];

/// The colours of one scheme.
#[derive(Clone, Copy, Debug)]
pub(super) struct Palette {
    /// Behind everything.
    pub paper: Colour,
    /// Behind tables and commands.
    pub panel: Colour,
    /// Behind the timing marks: within the tolerance.
    pub band: Colour,
    /// Text, fret numbers, what is written.
    pub ink: Colour,
    /// Text that says less: legends, units.
    pub soft: Colour,
    /// Strings, beat lines, edges.
    pub rule: Colour,
    /// What was played, and links.
    pub played: Colour,
    /// The written note, but not as it should be.
    pub care: Colour,
    /// Another note than the written one, or none.
    pub alarm: Colour,
}

/// On a light screen and on paper.
pub(super) const LIGHT: Palette = Palette {
    paper: [0xfd, 0xfb, 0xf5],
    panel: [0xf3, 0xef, 0xe4],
    band: [0xe4, 0xe9, 0xee],
    ink: [0x1c, 0x24, 0x30],
    soft: [0x52, 0x5c, 0x69],
    rule: [0x80, 0x7d, 0x72],
    played: [0x1f, 0x5a, 0x96],
    care: [0x8f, 0x4a, 0x00],
    alarm: [0x93, 0x19, 0x5f],
};

/// On a dark screen.
pub(super) const DARK: Palette = Palette {
    paper: [0x14, 0x18, 0x1f],
    panel: [0x1e, 0x24, 0x2e],
    band: [0x2a, 0x33, 0x40],
    ink: [0xec, 0xe7, 0xda],
    soft: [0xad, 0xb5, 0xc1],
    rule: [0x83, 0x8c, 0x9a],
    played: [0x7d, 0xb4, 0xee],
    care: [0xf0, 0xa8, 0x60],
    alarm: [0xf2, 0x8c, 0xc2],
};

impl Palette {
    fn named(&self) -> [(&'static str, Colour); 9] {
        [
            ("paper", self.paper),
            ("panel", self.panel),
            ("band", self.band),
            ("ink", self.ink),
            ("soft", self.soft),
            ("rule", self.rule),
            ("played", self.played),
            ("care", self.care),
            ("alarm", self.alarm),
        ]
    }

    /// The colours as custom properties of CSS: `--ink:#1c2430;` and so on.
    pub fn properties(&self) -> String {
        let mut out = String::new();
        for (name, [red, green, blue]) in self.named() {
            let _ = write!(out, "--{name}:#{red:02x}{green:02x}{blue:02x};");
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// # Source
    /// WCAG 2.2, definition of relative luminance.
    fn luminance(colour: Colour) -> f64 {
        let [red, green, blue] = colour.map(|part| {
            let part = f64::from(part) / 255.0;
            if part <= 0.04045 {
                part / 12.92
            } else {
                ((part + 0.055) / 1.055).powf(2.4)
            }
        });
        0.2126 * red + 0.7152 * green + 0.0722 * blue
    }

    /// # Source
    /// WCAG 2.2, definition of contrast ratio.
    fn contrast(a: Colour, b: Colour) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// Closed form: black on white is 21 to 1, a colour on itself 1 to 1. #777 on white is the
    /// well-known grey that just fails 4.5 to 1.
    #[test]
    fn contrast_is_counted_as_published() {
        assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9);
        assert!((contrast([9, 8, 7], [9, 8, 7]) - 1.0).abs() < 1e-9);
        let grey = contrast([0x77; 3], [255; 3]);
        assert!((4.4..4.5).contains(&grey), "{grey}");
    }

    /// WCAG 2.2: 1.4.3 asks 4.5 to 1 of text, 1.4.11 asks 3 to 1 of graphics, each against what
    /// it stands on.
    #[test]
    fn everything_stands_out_from_what_is_behind_it() {
        for (scheme, p) in [("light", LIGHT), ("dark", DARK)] {
            let text = [p.ink, p.soft, p.played, p.care, p.alarm];
            let graphics = [p.ink, p.rule, p.played, p.care, p.alarm];
            for behind in [p.paper, p.panel] {
                for colour in text {
                    let ratio = contrast(colour, behind);
                    assert!(
                        ratio >= 4.5,
                        "{scheme}: {colour:x?} on {behind:x?}: {ratio}"
                    );
                }
            }
            for behind in [p.paper, p.panel, p.band] {
                for colour in graphics {
                    let ratio = contrast(colour, behind);
                    assert!(
                        ratio >= 3.0,
                        "{scheme}: {colour:x?} on {behind:x?}: {ratio}"
                    );
                }
            }
            // Fret numbers stand on paper within a written note; a name on a played one.
            assert!(contrast(p.paper, p.played) >= 4.5, "{scheme}");
        }
    }
}
