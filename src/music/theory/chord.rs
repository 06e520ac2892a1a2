//! Chord symbols: their form is checked and their root and bass are read; the text is kept.

use std::fmt;
use std::str::FromStr;

use super::{NameError, NoteName};

/// A chord symbol above a line, such as `Am7`, `D7/F#` or `N.C.` (no chord).
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct ChordSymbol {
    text: String,
    root: Option<NoteName>,
    quality: String,
    bass: Option<NoteName>,
}

/// The words between root and bass, longest first where one begins another. Common practice of
/// printed chord symbols, no source.
const QUALITY_WORDS: [&str; 31] = [
    "maj", "min", "dim", "aug", "sus2", "sus4", "sus", "add", "omit", "no", "alt", "6/9", "Maj",
    "M", "m", "°", "ø", "Δ", "o", "+", "-", "(", ")", "#", "b", "13", "11", "9", "7", "6", "5",
];

/// Degrees that only stand after a word such as `add` or an accidental.
const SMALL_DEGREES: [&str; 3] = ["2", "3", "4"];

impl ChordSymbol {
    /// The symbol as it was written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The root; `None` for `N.C.`.
    pub fn root(&self) -> Option<NoteName> {
        self.root
    }

    /// What stands between root and bass: `m7`, `maj7`, `7b9`, or nothing for a major triad.
    pub fn quality(&self) -> &str {
        &self.quality
    }

    /// The bass note of a slash chord.
    pub fn bass(&self) -> Option<NoteName> {
        self.bass
    }
}

impl fmt::Display for ChordSymbol {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl FromStr for ChordSymbol {
    type Err = NameError;

    /// Reads a chord symbol without spaces.
    ///
    /// # Errors
    /// `NameError::Chord`, naming the part that is not understood.
    fn from_str(text: &str) -> Result<Self, NameError> {
        let wrong = |unread: &str| NameError::Chord {
            given: text.to_owned(),
            unread: unread.to_owned(),
        };
        if matches!(text, "N.C." | "NC") {
            return Ok(Self {
                text: text.to_owned(),
                root: None,
                quality: String::new(),
                bass: None,
            });
        }
        let (root, after_root) = NoteName::split_from(text).ok_or_else(|| wrong(text))?;
        let mut rest = after_root;
        let mut bass = None;
        let mut last = "";
        while !rest.is_empty() {
            if let Some(name) = rest.strip_prefix('/') {
                bass = match NoteName::split_from(name) {
                    Some((bass, "")) => Some(bass),
                    _ => return Err(wrong(rest)),
                };
                break;
            }
            let degree_allowed = matches!(last, "add" | "omit" | "no" | "#" | "b");
            let word = QUALITY_WORDS
                .iter()
                .chain(SMALL_DEGREES.iter().filter(|_| degree_allowed))
                .find(|word| rest.starts_with(**word))
                .ok_or_else(|| wrong(rest))?;
            last = word;
            rest = &rest[word.len()..];
        }
        if matches!(last, "#" | "b" | "add" | "omit" | "no" | "(") {
            return Err(wrong(last));
        }
        let quality_len = match bass {
            Some(_) => after_root.len() - rest.len(),
            None => after_root.len(),
        };
        let quality = after_root[..quality_len].to_owned();
        if quality.matches('(').count() != quality.matches(')').count() {
            return Err(wrong(&quality));
        }
        Ok(Self {
            text: text.to_owned(),
            root: Some(root),
            quality,
            bass,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn symbols_in_use_are_read() {
        // Common practice of printed lead sheets, no source.
        for (text, root, quality, bass) in [
            ("C", "C", "", ""),
            ("Am7", "A", "m7", ""),
            ("D7/F#", "D", "7", "F#"),
            ("Bbmaj7", "Bb", "maj7", ""),
            ("F#m7b5", "F#", "m7b5", ""),
            ("G7(b9,#5)", "", "", ""),
            ("G7(b9#5)", "G", "7(b9#5)", ""),
            ("C6/9", "C", "6/9", ""),
            ("C6/9/E", "C", "6/9", "E"),
            ("Ebsus4", "Eb", "sus4", ""),
            ("Cadd9", "C", "add9", ""),
            ("Cadd2/D", "C", "add2", "D"),
            ("B°7", "B", "°7", ""),
            ("E+", "E", "+", ""),
            ("Ab-7", "Ab", "-7", ""),
            ("G7alt", "G", "7alt", ""),
            ("C5", "C", "5", ""),
        ] {
            let read: Result<ChordSymbol, _> = text.parse();
            if root.is_empty() {
                assert!(read.is_err(), "{text}");
                continue;
            }
            let symbol = read.unwrap();
            let shown = |name: Option<NoteName>| name.map(|n| n.to_string()).unwrap_or_default();
            assert_eq!(shown(symbol.root()), root, "{text}");
            assert_eq!(symbol.quality(), quality, "{text}");
            assert_eq!(shown(symbol.bass()), bass, "{text}");
            assert_eq!(symbol.to_string(), text);
        }
        assert_eq!("N.C.".parse::<ChordSymbol>().unwrap().root(), None);
    }

    #[test]
    fn what_is_no_symbol_is_refused_with_the_part_that_is_not_understood() {
        for (text, part) in [
            ("", ""),
            ("H7", "H7"),
            ("Amin7x", "x"),
            ("A/", "/"),
            ("A/H", "/H"),
            ("A7#", "#"),
        ] {
            match text.parse::<ChordSymbol>() {
                Err(NameError::Chord { unread, .. }) => assert_eq!(unread, part, "{text}"),
                other => panic!("{text}: {other:?}"),
            }
        }
    }
}
