//! A line moved to another key: pitches, key signatures and chord symbols; where it lies on the neck
//! is left open, so that it is worked out anew.

use super::line::{EventKind, FaultKind, Line, LineFault};
use super::theory::{Key, Mode};

/// How far a line is moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Transposition {
    /// By that many semitones, up when positive.
    Semitones(i8),
    /// To a key of the same mode, by the shortest way that the instrument has the notes for.
    To(Key),
}

/// Why a line cannot be moved.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TransposeError {
    /// From major to minor or the other way.
    #[error(
        "the line is in {from}, and {to} is of the other mode; name a {} key",
        if from.mode() == Mode::Minor { "minor" } else { "major" }
    )]
    OtherMode {
        /// The key of the line.
        from: Key,
        /// The key asked for.
        to: Key,
    },
    /// A note that MIDI cannot number.
    #[error(
        "{semitones:+} semitones lead beyond the notes there are (C-1 to G9); move the line less far"
    )]
    TooFar {
        /// How far it was to be moved.
        semitones: i32,
    },
    /// A note that the instrument does not have.
    #[error(
        "{fault}; the line was moved by {semitones:+} semitones: move it another way, or name another --tuning"
    )]
    OffTheNeck {
        /// How far it was moved.
        semitones: i32,
        /// The first note that is not there.
        fault: LineFault,
    },
    /// Another fault of the line that came out.
    #[error(transparent)]
    Line(#[from] LineFault),
}

/// The line moved, with the key signatures and chord symbols that belong there. Strings, frets and
/// fingers are left out: they are worked out for the new place on the neck.
///
/// # Errors
/// See [`TransposeError`]; the instrument stays what it is.
///
/// ```
/// use seamline::music::line::{read_text, write_text};
/// use seamline::music::theory::Key;
/// use seamline::music::transpose::{Transposition, transposed};
///
/// let line = read_text("key: C major\n\n@Dm7 1/4 D2 F2 @G7/B B1 G2\n")?;
/// let moved = transposed(&line, Transposition::To("Eb major".parse::<Key>()?))?;
/// assert!(write_text(&moved).ends_with("@Fm7 F2 Ab2 @Bb7/D D2 Bb2\n"));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn transposed(line: &Line, by: Transposition) -> Result<Line, TransposeError> {
    let home = line.key();
    let (ways, key) = match by {
        Transposition::Semitones(semitones) => {
            let semitones = i32::from(semitones);
            (vec![semitones], nearest_key(home, semitones))
        }
        Transposition::To(key) if key.mode() != home.mode() => {
            return Err(TransposeError::OtherMode {
                from: home,
                to: key,
            });
        }
        Transposition::To(key) => {
            let fifths = i32::from(key.fifths()) - i32::from(home.fifths());
            let up = (fifths * 7).rem_euclid(12);
            let mut ways = vec![up, up - 12];
            ways.sort_by_key(|way| way.abs());
            (ways, key)
        }
    };
    let mut first = None;
    for semitones in ways {
        match moved(line, semitones, key) {
            Ok(line) => return Ok(line),
            Err(error) => first = first.or(Some(error)),
        }
    }
    // There is one way at least, so there is an error.
    Err(first.unwrap_or(TransposeError::TooFar { semitones: 0 }))
}

/// The key that many semitones away with the fewest sharps or flats; of six of each, those of the
/// kind that `home` has.
fn nearest_key(home: Key, semitones: i32) -> Key {
    if semitones == 0 {
        return home;
    }
    let fifths = i32::from(home.fifths()) + 7 * semitones;
    let sharps = fifths.rem_euclid(12);
    let flats = sharps - 12;
    let sharp = sharps < -flats || (sharps == -flats && home.fifths() > 0);
    let fifths = if sharp { sharps } else { flats };
    Key::new(fifths as i8, home.mode()).unwrap_or(home)
}

/// The key moved along the line of fifths, spelled so that it has at most seven sharps or flats.
fn key_by(key: Key, fifths: i32) -> Key {
    let there = i32::from(key.fifths()) + fifths;
    [there, there - 12, there + 12, there - 24, there + 24]
        .into_iter()
        .find_map(|fifths| Key::new(i8::try_from(fifths).ok()?, key.mode()))
        .unwrap_or(key)
}

fn moved(line: &Line, semitones: i32, to: Key) -> Result<Line, TransposeError> {
    let by = i32::from(to.fifths()) - i32::from(line.key().fifths());
    let mut parts = line.parts().clone();
    for bar in &mut parts.bars {
        let key = key_by(bar.key, by);
        // Chords are spelled by the key that they stand in now.
        let fifths = i32::from(key.fifths()) - i32::from(bar.key.fifths());
        bar.key = key;
        for mark in &mut bar.chords {
            mark.symbol = mark.symbol.moved(fifths);
        }
        for event in &mut bar.events {
            let graces = event.graces.iter_mut().flat_map(|grace| &mut grace.notes);
            let notes = match &mut event.kind {
                EventKind::Notes { notes, .. } => notes.as_mut_slice(),
                EventKind::Rest | EventKind::Hold => &mut [],
            };
            for note in notes.iter_mut().chain(graces) {
                let midi = i32::from(note.midi) + semitones;
                let there = u8::try_from(midi).ok().filter(|midi| *midi <= 127);
                note.midi = there.ok_or(TransposeError::TooFar { semitones })?;
                note.place = None;
                note.finger = None;
            }
        }
    }
    Line::new(parts).map_err(|fault| match fault.kind {
        FaultKind::Unplayable { .. } | FaultKind::ChordUnplayable => {
            TransposeError::OffTheNeck { semitones, fault }
        }
        _ => TransposeError::Line(fault),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::line::{read_text, write_text};

    const LINE: &str =
        "key: F major\n\n@F7 1/4 4:1(1) 3:0 3:3(4) 3:2(2)\nkey: D minor\n@Dm7/C 3:3 2:0 2:3 r\n";

    fn text(by: Transposition) -> String {
        let line = read_text(LINE).unwrap();
        let moved = transposed(&line, by).unwrap_or_else(|error| panic!("{error}"));
        let text = write_text(&moved);
        text.split_once("\n\n").unwrap().1.to_owned()
    }

    #[test]
    fn pitches_keys_and_chords_move_together() {
        assert_eq!(
            text(Transposition::Semitones(2)),
            "@G7 G1 B1 D2 C#2\nkey: E minor\n@Em7/D D2 E2 G2 r\n"
        );
        assert_eq!(
            text(Transposition::Semitones(-1)),
            "@E7 E1 G#1 B1 A#1\nkey: C# minor\n@C#m7/B B1 C#2 E2 r\n"
        );
        assert_eq!(
            text(Transposition::To("Ab major".parse().unwrap())),
            "@Ab7 Ab1 C2 Eb2 D2\nkey: F minor\n@Fm7/Eb Eb2 F2 Ab2 r\n"
        );
        // E flat lies nearer below, where the instrument ends: it goes up.
        assert_eq!(
            text(Transposition::To("Eb major".parse().unwrap())),
            "@Eb7 Eb2 G2 Bb2 A2\nkey: C minor\n@Cm7/Bb Bb2 C3 Eb3 r\n"
        );
    }

    #[test]
    fn grace_notes_move_along() {
        let line = read_text("key: C major\n\n1/4 g3:2 3:3 D2 E2 F2\n").unwrap();
        let moved = transposed(&line, Transposition::Semitones(2)).unwrap();
        assert!(write_text(&moved).ends_with("gC#2 D2 E2 F#2 G2\n"));
    }

    #[test]
    fn there_and_back_is_the_line_without_its_places() {
        let line = read_text(LINE).unwrap();
        let open = transposed(&line, Transposition::Semitones(0)).unwrap();
        assert_eq!(open.key(), line.key());
        for semitones in 0..=11 {
            let there = transposed(&open, Transposition::Semitones(semitones)).unwrap();
            let back = transposed(&there, Transposition::To(open.key())).unwrap();
            let midi = |line: &Line| -> Vec<i32> {
                let notes = line.expected(line.instrument());
                notes.iter().map(|note| i32::from(note.midi)).collect()
            };
            let apart: Vec<i32> = midi(&back)
                .iter()
                .zip(midi(&open))
                .map(|(a, b)| a - b)
                .collect();
            assert!(apart.iter().all(|apart| apart % 12 == 0), "{apart:?}");
            assert!(apart.windows(2).all(|pair| pair[0] == pair[1]), "{apart:?}");
            let symbols = |line: &Line| -> Vec<String> {
                let marks = line.bars().iter().flat_map(|bar| &bar.chords);
                marks.map(|mark| mark.symbol.to_string()).collect()
            };
            assert_eq!(symbols(&back), symbols(&open), "{semitones}");
        }
    }

    #[test]
    fn what_cannot_be_moved_there_is_said() {
        let line = read_text(LINE).unwrap();
        let error = |by| transposed(&line, by).unwrap_err().to_string();
        let low = error(Transposition::Semitones(-2));
        assert!(
            low.contains("cannot be played") && low.contains("-2 semitones"),
            "{low}"
        );
        assert!(low.contains("--tuning"), "{low}");
        let mode = error(Transposition::To("A minor".parse().unwrap()));
        assert!(
            mode.contains("in F major") && mode.contains("major key"),
            "{mode}"
        );
        assert!(error(Transposition::Semitones(-100)).contains("less far"));
        assert!(error(Transposition::Semitones(127)).contains("less far"));
    }
}
