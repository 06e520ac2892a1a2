//! Tests of chord symbols. Their tones are held against an independent library in
//! `tests/theory.rs`.

use super::{ChordSymbol, NameError, NoteName};

fn degrees(text: &str) -> String {
    let chord: ChordSymbol = text.parse().unwrap_or_else(|error| panic!("{error}"));
    let list: Vec<String> = chord
        .tones()
        .iter()
        .map(|tone| tone.degree.to_string())
        .collect();
    list.join(" ")
}

#[test]
fn symbols_in_use_are_read() {
    // Common practice of printed lead sheets, no source.
    for (text, root, quality, bass) in [
        ("C", "C", "", ""),
        ("Am7", "A", "m7", ""),
        ("D7/F#", "D", "7", "F#"),
        ("Bbmaj7", "Bb", "maj7", ""),
        ("F#m7b5", "F#", "m7b5", ""),
        ("G7(b9,#5)", "G", "7(b9,#5)", ""),
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
        ("B♭7/A♭", "Bb", "7", "Ab"),
    ] {
        let symbol: ChordSymbol = text.parse().unwrap();
        let shown = |name: Option<NoteName>| name.map(|n| n.to_string()).unwrap_or_default();
        assert_eq!(shown(symbol.root()), root, "{text}");
        assert_eq!(symbol.quality(), quality, "{text}");
        assert_eq!(shown(symbol.bass()), bass, "{text}");
        assert_eq!(symbol.to_string(), text);
    }
    let none: ChordSymbol = "N.C.".parse().unwrap();
    assert_eq!(none.root(), None);
    assert!(none.tones().is_empty());
    assert_eq!(none.degree_of(40, Default::default()), None);
}

/// Spellings of one chord that players use side by side. Common practice, no source.
#[test]
fn the_same_chord_in_several_spellings() {
    for (tones, spellings) in [
        ("R 3 5", &["C", "CM", "Cmaj", "Cma", "CMaj"][..]),
        ("R b3 5", &["Cm", "C-", "Cmi", "Cmin"]),
        ("R 3 5 7", &["Cmaj7", "CM7", "Cma7", "CΔ", "CΔ7", "C(maj7)"]),
        ("R b3 5 b7", &["Cm7", "C-7", "Cmi7", "Cmin7"]),
        (
            "R b3 5 7",
            &[
                "Cm(maj7)", "CmMaj7", "CmM7", "C-Δ7", "C-Δ", "Cminmaj7", "Cmi(ma7)",
            ],
        ),
        (
            "R b3 b5 b7",
            &["Cø", "Cø7", "Cm7b5", "C-7b5", "Cm7(b5)", "C-7-5", "Cm7♭5"],
        ),
        ("R b3 5 7 9", &["Cm9(maj7)", "Cm(maj9)", "CmM9"]),
        ("R b3 b5", &["C°", "Cdim", "Co"]),
        ("R b3 b5 bb7", &["C°7", "Cdim7", "Co7"]),
        ("R b3 b5 7", &["C°(maj7)", "CdimM7"]),
        ("R 3 #5", &["C+", "Caug", "C(#5)"]),
        (
            "R 3 #5 b7",
            &["C+7", "C7#5", "C7(#5)", "Caug7", "C7+5", "C7+", "C7♯5"],
        ),
        ("R 3 5 6 9", &["C6/9", "C69", "C6(9)", "C6add9"]),
        ("R b3 5 6 9", &["Cm6/9", "C-69"]),
        ("R 3 5 9", &["Cadd9", "C(add9)", "C(9)"]),
        ("R b3 5 9", &["Cmadd9", "Cm(add9)"]),
        ("R 4 5", &["Csus4", "Csus", "C(sus4)"]),
        ("R 4 5 b7", &["C7sus4", "C7sus", "Csus7"]),
        ("R 4 5 b7 9", &["C9sus4", "C9sus", "Csus9"]),
        (
            "R 3 5 b7 b9 #9",
            &["C7b9#9", "C7(b9,#9)", "C7(b9/#9)", "C7-9+9"],
        ),
        ("R 3 5 b7 9 #11 13", &["C13#11", "C13(#11)"]),
        ("R 3 b5 #5 b7 b9 #9", &["C7alt", "Calt", "C7(alt)"]),
        ("R 5", &["C5", "C(no3)", "Comit3"]),
        ("R 3 b7", &["C7omit5", "C7(no5)"]),
        ("R 4 5 b7 b9", &["C7sus4b9", "C7b9sus4"]),
    ] {
        for text in spellings {
            assert_eq!(degrees(text), tones, "{text}");
        }
    }
}

#[test]
fn what_is_no_symbol_is_refused_with_the_part_that_is_not_understood() {
    for (text, part, at) in [
        ("", "", 1),
        ("H7", "H7", 1),
        ("Hm7", "Hm7", 1),
        ("am7", "am7", 1),
        ("Amin7x", "x", 6),
        ("A/", "/", 2),
        ("A/H", "/H", 2),
        ("A/C#x", "/C#x", 2),
        ("A7#", "#", 3),
        ("C7#", "#", 3),
        ("C13b", "b", 4),
        ("Cmaj…", "…", 5),
        ("Cmajor", "or", 5),
        ("C7(b9", "(b9", 3),
        ("C7)", ")", 3),
        ("C()", ")", 3),
        ("C4", "4", 2),
        ("C2", "2", 2),
        ("C8", "8", 2),
        ("C77", "77", 2),
        ("C7b7", "b7", 3),
        ("C7b11", "b11", 3),
        ("C7#13", "#13", 3),
        ("Cm5", "5", 3),
        ("C5b9", "b9", 3),
        ("C7alt#9", "#9", 6),
        ("C°b5", "b5", 3),
        ("Cm7b5b5", "b5", 6),
        ("C7(maj7)", "maj7)", 4),
        ("Cm7(maj7)", "maj7)", 5),
        ("Bbb", "b", 3),
        ("F##m", "#m", 3),
        ("Csus4sus2", "sus2", 6),
        ("Cno9", "no9", 2),
        ("Cadd7", "add7", 2),
        ("C7 ", " ", 3),
        ("C#♯♯m", "♯♯m", 3),
        ("♭", "♭", 1),
        ("D7sus4/", "/", 7),
        ("D//F", "//F", 2),
    ] {
        match text.parse::<ChordSymbol>() {
            Err(NameError::Chord { unread, column, .. }) => {
                assert_eq!((unread.as_str(), column), (part, at), "{text}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }
}

/// The root takes one accidental: another one belongs to what follows.
#[test]
fn a_second_flat_belongs_to_the_number_behind_it() {
    for (text, root, tones) in [
        ("Bb5", "Bb", "R 5"),
        ("Bbb5", "Bb", "R 3 b5"),
        ("Ebb9", "Eb", "R 3 5 b9"),
        ("E♭♭9", "Eb", "R 3 5 b9"),
        ("F##9", "F#", "R 3 5 #9"),
    ] {
        let chord: ChordSymbol = text.parse().unwrap();
        assert_eq!(chord.root().unwrap().to_string(), root, "{text}");
        assert_eq!(degrees(text), tones, "{text}");
    }
}

#[test]
fn a_bass_behind_a_slash_has_a_degree() {
    for (text, degree) in [
        ("D7/F#", "3"),
        ("D7/Gb", "3"),
        ("Am7/G", "b7"),
        ("C/Bb", "b7"),
        ("C/D", "2"),
        ("Dm/B", "6"),
        ("A/G#", "7"),
        ("C/F#", "#4"),
    ] {
        let chord: ChordSymbol = text.parse().unwrap();
        assert_eq!(
            chord.bass_tone().unwrap().degree.to_string(),
            degree,
            "{text}"
        );
    }
}

/// D7 in G major: the chord's own tones, and what passes between them. Common practice.
#[test]
fn every_note_has_a_degree_in_its_chord() {
    let named = |chord: &str, key: &str, midi: u8| {
        let chord: ChordSymbol = chord.parse().unwrap();
        let is = chord.degree_of(midi, key.parse().unwrap()).unwrap();
        (is.degree.to_string(), is.name.to_string(), is.in_chord)
    };
    for (midi, degree, name, own) in [
        (38, "R", "D", true),
        (42, "3", "F#", true),
        (45, "5", "A", true),
        (48, "b7", "C", true),
        (40, "2", "E", false),
        (43, "4", "G", false),
        (44, "b5", "Ab", false),
        (47, "6", "B", false),
    ] {
        let wanted = (degree.to_owned(), name.to_owned(), own);
        assert_eq!(named("D7", "G major", midi), wanted, "{midi}");
    }
    // The bass of a slash chord belongs to it.
    assert_eq!(
        named("C/Bb", "C major", 34),
        ("b7".into(), "Bb".into(), true)
    );
    // What the key calls F sharp is the diminished fifth of C diminished.
    assert_eq!(named("C°7", "C major", 42).0, "b5");
    assert_eq!(
        named("C°7", "C major", 45),
        ("bb7".into(), "Bbb".into(), true)
    );
    // A name that gives no degree in use: E sharp above C flat is its fourth raised twice.
    assert_eq!(named("Gb", "F# major", 41).0, "7");
}

#[test]
fn a_chord_moves_with_its_spelling() {
    for (text, fifths, moved) in [
        ("Dm7", -1, "Gm7"),
        ("G7/B", 2, "A7/C#"),
        ("C7(b9,#5)", -6, "Gb7(b9,#5)"),
        ("B", 7, "B#"),
        ("B#", 2, "D"),
        ("N.C.", 3, "N.C."),
    ] {
        let chord: ChordSymbol = text.parse().unwrap();
        let there = chord.moved(fifths);
        assert_eq!(there.text(), moved, "{text}");
        assert_eq!(moved.parse(), Ok(there), "{text}");
    }
}
