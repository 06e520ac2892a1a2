//! Plain text set into lines: wrapping, tones, and nothing a terminal could be led astray by.

/// Columns of a page where nothing is known of the terminal. Common practice, no source.
pub(super) const COLUMNS: usize = 80;

/// The narrowest page that is made, in columns; on a narrower terminal lines run over. Raising it
/// makes that happen sooner.
pub(super) const COLUMNS_MIN: usize = 40;

/// The widest page that is made, in columns: in a wider one the eye loses the row.
pub(super) const COLUMNS_MAX: usize = 200;

/// Sentences are set no wider than this, in columns, however wide the page: a longer line is hard
/// to read on from. Common practice, no source.
const SENTENCE_COLUMNS: usize = 110;

/// How much a mark asks for attention; what it says never depends on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tone {
    /// Ordinary text.
    Plain,
    /// A heading, or a word that is looked for.
    Strong,
    /// Another note than the written one.
    Alarm,
    /// The written note, but not as it should be.
    Care,
}

/// `text` in `tone`, by the terminal's own palette, when `colour` is wanted.
///
/// # Source
/// ECMA-48, section 8.3.117 (SGR): 1 bold, 31 red, 33 yellow, 0 default.
pub(super) fn paint(text: &str, tone: Tone, colour: bool) -> String {
    let code = match tone {
        _ if !colour => return text.to_owned(),
        Tone::Plain => return text.to_owned(),
        Tone::Strong => "1",
        Tone::Alarm => "1;31",
        Tone::Care => "33",
    };
    format!("\x1b[{code}m{text}\x1b[0m")
}

/// `text` without control characters, which a title or a file name may hold: each becomes `?`.
pub(super) fn clean(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '?' } else { c })
        .collect()
}

/// Words set into lines of at most `columns`, all of them indented by `indent` columns. A word
/// that is longer than a line goes on in the next.
pub(super) fn wrap(text: &str, indent: usize, columns: usize) -> Vec<String> {
    let room = columns.min(SENTENCE_COLUMNS).saturating_sub(indent).max(1);
    let mut lines = Vec::new();
    let mut line = String::new();
    let mut used = 0;
    for word in clean(text).split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for piece in letters.chunks(room) {
            if used > 0 && used + 1 + piece.len() > room {
                lines.push(std::mem::take(&mut line));
                used = 0;
            }
            if used > 0 {
                line.push(' ');
                used += 1;
            }
            line.extend(piece);
            used += piece.len();
        }
    }
    if used > 0 {
        lines.push(line);
    }
    let margin = " ".repeat(indent);
    lines.iter().map(|line| format!("{margin}{line}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wraps_at_the_edge_and_cuts_what_is_longer() {
        let long = "x".repeat(200);
        for indent in [0, 10, 79, 200] {
            let lines = wrap(&format!("two words {long} end"), indent, COLUMNS);
            let room = COLUMNS.saturating_sub(indent).max(1);
            for line in &lines {
                assert!(line.chars().count() <= indent + room, "{line:?}");
            }
            let together: String = lines.concat().split_whitespace().collect();
            assert_eq!(together, format!("twowords{long}end"));
        }
        assert_eq!(wrap("", 4, COLUMNS), Vec::<String>::new());
        // Closed form: 80 letters fill a line exactly.
        let full = "y".repeat(80);
        assert_eq!(wrap(&full, 0, COLUMNS), vec![full]);
    }

    #[test]
    fn control_characters_never_reach_the_terminal() {
        assert_eq!(clean("a\x1b[31mb\u{7}\nc"), "a?[31mb??c");
    }
}
