//! The `.line` format: plain text for a bass line, quick to type.
//!
//! # The format
//!
//! A file is UTF-8 text. Empty lines are skipped; `;` begins a comment that runs to the end of
//! the line (comments are dropped when a line is written). First comes a header, then the bars.
//!
//! ## Header
//!
//! One entry a line, a word, a colon and a value, in any order, each optional:
//!
//! | entry | value | without it |
//! |---|---|---|
//! | `title:` | anything, to the end of the line (a `;` belongs to the title) | no title |
//! | `tempo:` | beats a minute, 5 to 1000 quarters: `96`; `64 per 1/4.` when the beat is no quarter | 120 |
//! | `meter:` | beats and beat unit: `4/4`, `6/8` | 4/4 |
//! | `key:` | `A minor`, `Bb major` (spells notes, changes no pitch) | C major |
//! | `swing:` | long eighth against short, 1:1 to 3:1: `2:1`, `1.6:1`; or `off` | off |
//! | `tuning:` | open strings `E1 A1 D2 G2`, or `4`, `5`, `6`, `guitar`, as `--tuning` takes them | 4 |
//! | `frets:` | 1 to 36 | 24 |
//! | `scale:` | length of the open string in millimetres, 300 to 1500 | 863.6 |
//! | `first bar:` | number of the first bar, for a part cut from a longer line | 1 |
//!
//! Capitals count as small letters, and a space may stand before the colon. A word that is none of
//! these is refused, with a guess at what was meant.
//!
//! `tempo:`, `meter:` and `key:` may also stand on a line of their own between bars and hold from
//! the next bar on.
//!
//! `swing:` moves the eighths between the beats to later, and what ends there with them; beats
//! stay, and so does everything in a beat that holds a triplet or another tuplet (module `swing`).
//! It needs bars counted in quarters or halves: 4/4, 3/4, 2/2, not 6/8.
//!
//! ## Bars
//!
//! Each text line holds one bar, or several with `|` between them; the end of the text line ends
//! the bar. A `|` before the first or after the last is allowed. Every bar must be full. The word
//! `pickup` at the head of the first bar makes it a pick-up, which is shorter than a bar; the last
//! bar may then be short by the pick-up's length. `%` alone is the bar before once more, with its
//! chord symbols.
//!
//! Words in a bar are set apart by spaces:
//!
//! | word | means |
//! |---|---|
//! | `1/8` | from here on notes and rests are eighths; a length holds until the next, across bars; a quarter at the start |
//! | `1/4.` `1/4..` | dotted, twice dotted |
//! | `1/8t` | one of three in the time of two |
//! | `5/16` `1/20` | any fraction of a whole note: five sixteenths; one of five in a quarter |
//! | `3:5` | string 3, fret 5; string 1 is the thinnest |
//! | `:7` | fret 7 on the string named last |
//! | `D2` `F#1` `Bb1` | a note by its name, with the octave as it sounds: the open strings are E1 A1 D2 G2 |
//! | `4:3&2:5` | notes struck together, up to three |
//! | `x3:5` `xD2` | a ghost note: the string is muted; also within a chord, `4:3&x2:5` |
//! | `g3:4` | a grace note before the note that follows; it is kept and never judged |
//! | `r` | a rest |
//! | `=` | the note before sounds on: a tie, also over the bar line |
//! | `@Am7` | a chord symbol above this place; `@1/2:D7` stands a half note later |
//! | `@tempo=72` | a new tempo from this place; `@1/2:tempo=72`, `@tempo=64per1/4.` |
//!
//! Marks on a note, in this order: before it `g` (a grace note); `h` (hammered on), `p` (pulled
//! off), `>` (slurred, without saying which of the two) or `>>` (slid into); `x` (a ghost note);
//! after string and fret `(2)`, the finger, 1 to 4; after the note `^` (accented), `!` (staccato)
//! and `,` (a breath: the sound may stop before the next note). A `,` may also follow `=`.
//!
//! Notes last until the next one begins unless a rest, a `!` or a `,` says otherwise; ghost notes
//! are cut short by what they are.
//!
//! ## Repeats and jumps
//!
//! | sign | stands | means |
//! |---|---|---|
//! | `\|:` `:\|` | at bar lines, with a space beside the notes | play what is between twice; `:x3\|` three times in all |
//! | `[1` `[1,2` | at the head of a bar | here begins the ending for these times; it ends with its `:\|`, the last one after one bar or where `]` stands at the end of a bar |
//! | `segno` `coda` | at the head of a bar | where D.S. goes; where the coda begins |
//! | `D.C.` `D.S.` | at the end of a bar | go back to the start, to the segno; `al fine` or `al coda` may follow |
//! | `fine` `to-coda` | at the end of a bar | after a jump, the end; from here to the coda |
//! | `short` `upbeat` | at the head of a bar | a bar that stops early, as before a repeat; one that begins late, as a pick-up within the line |
//! | `#12` | at the head of a bar | the number printed for it, where it is not the next one |
//!
//! After a jump a section that was repeated is played once, with its last ending; `again` before its
//! `:\\|` has it repeated once more.
//!
//! ## Mistakes
//!
//! All mistakes of a text are told at once ([`TextErrors`]), in its order. A word that is not
//! understood is left out, and nothing that hangs on it is counted as a mistake of its own: its
//! bar may have any length, a tie after it any note, `:7` after it any string.
//!
//! ## What writing keeps
//!
//! Reading what [`write_text`] wrote gives an equal line, and writing that gives the same text.
//! A note with a place is written by string and fret, one without by the name its key gives it
//! (`C#2` in F major comes back as `Db2`).

mod bars;
mod error;
mod header;
mod mistakes;
mod reader;
mod signs;
mod word;
mod writer;

/// Reads a tempo as a header has it.
pub(super) fn read_tempo_text(text: &str) -> Result<super::tempo::Tempo, String> {
    word::read_tempo(text).map_err(|fault| fault.to_string())
}

pub use error::{TextError, TextFault};
pub use mistakes::TextErrors;
pub use reader::read_text;
pub use writer::{write_text, write_text_noted};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::expected::{JoinKind, Place};
    use crate::music::instrument::Instrument;

    /// Most of what the format knows, in two bars.
    const EXAMPLE: &str = "\
title: Two bars in A minor
tempo: 92
meter: 4/4
key: A minor
tuning: E1 A1 D2 G2

@Am7 1/4 3:0 1/8 3:3(4) 2:2 r 2:2! 1/4 3:7
@D7/F# 1/4. 4:2 1/8 = 1/8t 2:0 2:2 >2:4 1/4 D2
";

    #[test]
    fn a_line_with_most_of_the_format_is_read() {
        let line = read_text(EXAMPLE).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(line.bars().len(), 2);
        assert_eq!(line.title(), "Two bars in A minor");
        let notes = line.expected(&Instrument::default());
        // Counted by hand from the text: 3:0 is A1 = 33, 3:3 C2 = 36, 2:2 E2 = 40, 3:7 E2 = 40,
        // 4:2 F#1 = 30, 2:0 D2 = 38, 2:4 F#2 = 42.
        let midi: Vec<u8> = notes.iter().map(|note| note.midi).collect();
        assert_eq!(midi, [33, 36, 40, 40, 40, 30, 38, 40, 42, 38]);
        let beats: Vec<(u32, f64)> = notes.iter().map(|note| (note.bar, note.beat)).collect();
        assert_eq!(
            beats[..5],
            [(1, 1.0), (1, 2.0), (1, 2.5), (1, 3.5), (1, 4.0)]
        );
        assert_eq!(beats[5], (2, 1.0));
        // A tie adds an eighth to the dotted quarter.
        assert_eq!(notes[5].length_quarters, 2.0);
        assert_eq!((notes[9].bar, notes[9].beat), (2, 4.0));
        let legato: Vec<bool> = notes.iter().map(|note| note.legato_next).collect();
        // A rest after the third, a dot on the fourth, nothing after the last.
        assert_eq!(
            legato,
            [
                true, true, false, false, true, true, true, true, true, false
            ]
        );
        assert_eq!(notes[1].place, Some(Place { string: 3, fret: 3 }));
        assert_eq!(notes[0].join, Some(JoinKind::Open));
        assert!(notes[8].slurred_into);
        assert_eq!(notes[5].onset_s, 4.0 * 60.0 / 92.0);
    }

    #[test]
    fn writing_and_reading_again_gives_the_same_line_and_the_same_text() {
        let line = read_text(EXAMPLE).unwrap();
        let text = write_text(&line);
        let again = read_text(&text).unwrap_or_else(|error| panic!("{text}\n{error}"));
        assert_eq!(again, line);
        assert_eq!(write_text(&again), text);
    }
}
