//! All that is wrong with a `.line` text.

use std::fmt::{self, Write};

use super::error::TextError;

/// Most mistakes that are printed; the rest is counted. A screen or two: whoever has more mends
/// these first.
const SHOWN: usize = 20;

/// Most mistakes that are looked for; reading stops there. A text with more is no line, and its
/// mistakes must not fill the memory.
pub(super) const MISTAKES_MAX: usize = 1000;

/// The mistakes of a `.line` text, in the order of the text.
#[derive(Clone, Debug, PartialEq)]
pub struct TextErrors {
    all: Vec<TextError>,
}

impl TextErrors {
    /// Of mistakes in any order.
    pub(super) fn new(mut all: Vec<TextError>) -> Self {
        all.sort_by_key(|error| (error.line, error.column));
        Self { all }
    }

    /// The mistakes in the order of the text, 1 to 1000 of them (reading stops at the thousandth).
    pub fn all(&self) -> &[TextError] {
        &self.all
    }

    /// The mistakes as they are printed, each begun with `name`.
    pub(in crate::music::line) fn told(&self, name: &str) -> String {
        let mut text = String::new();
        for error in self.all.iter().take(SHOWN) {
            if !text.is_empty() {
                text.push_str("\n\n");
            }
            // Writing to a String cannot fail.
            write!(text, "{name}{error}").ok();
        }
        let count = self.all.len();
        let more = count.saturating_sub(SHOWN);
        if count >= MISTAKES_MAX {
            write!(
                text,
                "\n\nand {more} more; reading stopped after {MISTAKES_MAX} mistakes"
            )
            .ok();
        } else if more > 0 {
            write!(text, "\n\nand {more} more; {count} mistakes").ok();
        } else if count > 1 {
            write!(text, "\n\n{count} mistakes").ok();
        }
        text
    }
}

impl fmt::Display for TextErrors {
    /// Up to 20 mistakes with an empty line between them, then how many there are.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.told(""))
    }
}

impl std::error::Error for TextErrors {}
