//! `.line` texts: what the fixtures read as, and what each mistake is told.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use seamline::music::expected::{ExpectedNote, Place};
use seamline::music::line::{Line, LineReadError, read_bytes, write_text};

fn fixture(folder: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures")
        .join(folder)
}

fn read(folder: &str, name: &str) -> Result<Line, LineReadError> {
    let bytes = std::fs::read(fixture(folder).join(name)).expect(name);
    read_bytes(name, &bytes)
}

fn expected(name: &str) -> (Line, Vec<ExpectedNote>) {
    let line = read("lines", name).unwrap_or_else(|error| panic!("{error}"));
    let notes = line.expected(line.instrument());
    (line, notes)
}

/// Bar, beat and pitch of each note.
fn places_in_time(notes: &[ExpectedNote]) -> Vec<(u32, f64, u8)> {
    notes
        .iter()
        .map(|note| (note.bar, note.beat, note.midi))
        .collect()
}

#[test]
fn slow_walk_reads_as_written() {
    // Counted by hand from the text, strings E1 = 28, A1 = 33, D2 = 38, G2 = 43.
    let (line, notes) = expected("slow-walk.line");
    assert_eq!(
        (line.title(), line.bars().len(), line.has_pickup()),
        ("Slow walk", 7, true)
    );
    assert_eq!(line.bars()[4].meter.to_string(), "6/8");
    assert_eq!(line.bars()[4].key.to_string(), "E minor");
    let found = places_in_time(&notes);
    assert_eq!(found[..2], [(0, 4.0, 28), (0, 4.5, 31)]);
    assert_eq!(
        found[2..7],
        [
            (1, 1.0, 33),
            (1, 2.0, 36),
            (1, 2.5, 40),
            (1, 3.5, 40),
            (1, 4.0, 40)
        ]
    );
    let third = 1.0 / 3.0;
    for (note, (bar, beat, midi)) in found[7..12].iter().zip([
        (2, 1.0, 30),
        (2, 3.0, 38),
        (2, 3.0 + third, 40),
        (2, 3.0 + 2.0 * third, 42),
        (2, 4.0, 38),
    ]) {
        assert_eq!((note.0, note.2), (bar, midi));
        assert!((note.1 - beat).abs() < 1e-12, "{note:?}");
    }
    // Bar 3 is bar 2 once more.
    for (again, note) in found[12..17].iter().zip(&found[7..12]) {
        assert_eq!((again.0, again.1, again.2), (3, note.1, note.2));
    }
    assert_eq!(
        found[17..23],
        [
            (4, 1.0, 28),
            (4, 2.0, 31),
            (4, 3.0, 33),
            (4, 4.0, 35),
            (4, 5.0, 37),
            (4, 6.0, 42)
        ]
    );
    // The chord, from the lowest up, tied for a second quarter.
    assert_eq!(found[23..25], [(5, 1.0, 31), (5, 1.0, 43)]);
    assert!(!notes[23].with_previous && notes[24].with_previous);
    assert_eq!(notes[23].length_quarters, 2.0);

    // Times: the pick-up is one quarter at 84 before 0; bar 4 begins after 12 quarters; its 3
    // quarters are still at 84, then 72 holds for one quarter and 64 for the rest.
    let quarter = 60.0 / 84.0;
    let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-9, "{a} {b}");
    close(notes[0].onset_s, -quarter);
    close(notes[2].onset_s, 0.0);
    close(notes[17].onset_s, 12.0 * quarter);
    close(notes[23].onset_s, 15.0 * quarter);
    close(
        notes[25].onset_s,
        15.0 * quarter + 60.0 / 72.0 + 60.0 / 64.0,
    );
    close(notes[23].length_s, 60.0 / 72.0 + 60.0 / 64.0);
    close(
        line.quarters_to_seconds(16.5),
        15.0 * quarter + 60.0 / 72.0 + 0.5 * 60.0 / 64.0,
    );

    // A breath after the last note of bar 2, a dot and a rest in bar 1, the end.
    let broken: Vec<usize> = (0..notes.len())
        .filter(|&at| !notes[at].legato_next)
        .collect();
    assert_eq!(broken, [4, 5, 11, 16, notes.len() - 1]);
    assert!(notes[5].staccato && notes[10].slurred_into && notes[21].slurred_into);
    assert_eq!(notes[3].place, Some(Place { string: 3, fret: 3 }));
}

#[test]
fn beats_are_counted_in_the_unit_of_the_meter() {
    let (line, notes) = expected("twelve-eight.line");
    assert_eq!(line.instrument().strings(), 5);
    let found = places_in_time(&notes);
    assert_eq!(
        found,
        [
            (1, 1.0, 23),
            (1, 3.0, 29),
            (1, 4.0, 34),
            (1, 6.0, 38),
            (1, 7.0, 41),
            (1, 10.0, 38),
            (1, 11.0, 36),
            (1, 12.0, 34),
            (2, 1.0, 39),
            (2, 3.0, 43),
            (2, 4.0, 46),
        ]
    );
    // 60 dotted quarters a minute: an eighth lasts a third of a second.
    assert!((notes[1].onset_s - 2.0 / 3.0).abs() < 1e-12);
    assert_eq!(notes[10].length_quarters, 4.5);
}

#[test]
fn tuplets_add_up_exactly_and_parts_keep_their_bar_numbers() {
    let (line, notes) = expected("five-in-a-quarter.line");
    assert_eq!((line.first_bar(), line.last_bar()), (17, 18));
    assert_eq!(
        (notes[5].bar, notes[5].beat, notes[5].onset_quarters),
        (17, 3.0, 1.0)
    );
    assert_eq!(
        (notes[10].bar, notes[10].beat, notes[10].length_quarters),
        (18, 3.0, 0.5)
    );
    let part = line.bars_range(18..=18).unwrap();
    let part_notes = part.expected(part.instrument());
    assert_eq!((part_notes[0].bar, part_notes[0].onset_s), (18, 0.0));
    assert_eq!(part_notes.len(), 6);
}

#[test]
fn a_part_keeps_tempo_and_strikes_what_was_tied_into_it() {
    let text = "tempo: 100\n1/1 3:5\n@1/2:tempo=50 =\n= | 1/2 >3:7 >3:5\n1/1 3:0\n";
    let line = read_bytes("a.line", text.as_bytes()).unwrap();
    let part = line.bars_range(3..=4).unwrap();
    assert_eq!(part.tempo().bpm(), 50.0);
    let notes = part.expected(part.instrument());
    assert_eq!(
        places_in_time(&notes),
        [(3, 1.0, 38), (4, 1.0, 40), (4, 3.0, 38)]
    );
    assert_eq!(notes[1].onset_s, 4.0 * 60.0 / 50.0);
    let message = line.bars_range(3..=9).unwrap_err().to_string();
    assert!(
        message.contains("bars 3-9") && message.contains("1 to 5"),
        "{message}"
    );
}

#[test]
fn tempos_scale_together() {
    let (line, notes) = expected("slow-walk.line");
    let half = line.with_tempo_scale(0.5).unwrap();
    let slower = half.expected(half.instrument());
    for (slow, note) in slower.iter().zip(&notes) {
        assert!((slow.onset_s - 2.0 * note.onset_s).abs() < 1e-9);
    }
    let at_42 = line.with_tempo(42.0).unwrap();
    assert_eq!(at_42, half);
    assert!(line.with_tempo(0.0).is_err());
    assert!(line.with_tempo_scale(1000.0).is_err());
}

#[test]
fn another_instrument_places_the_notes_anew() {
    let (line, notes) = expected("slow-walk.line");
    let five = seamline::music::instrument::Instrument::with_tuning("5-string".parse().unwrap());
    let there = line.with_instrument(five.clone()).unwrap();
    let placed = there.expected(&five);
    for (new, old) in placed.iter().zip(&notes) {
        assert_eq!(new.midi, old.midi);
        assert_eq!(five.midi_at(new.place.unwrap()), Some(new.midi));
    }
    let guitar = seamline::music::instrument::Instrument::with_tuning("guitar".parse().unwrap());
    let message = line
        .with_instrument(guitar.clone())
        .unwrap_err()
        .to_string();
    assert!(message.contains("bar 0: E1 cannot be played"), "{message}");
    let unplaced = line.expected(&guitar);
    assert_eq!((unplaced[0].place, unplaced[0].join), (None, None));
}

#[test]
fn every_line_comes_back_equal_and_its_text_stands_still() {
    for entry in std::fs::read_dir(fixture("lines")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if !name.ends_with(".line") {
            continue;
        }
        let line = read("lines", &name).unwrap();
        let text = write_text(&line);
        let again = read_bytes("again.line", text.as_bytes())
            .unwrap_or_else(|error| panic!("{name} written as\n{text}\n{error}"));
        assert_eq!(again, line, "{name} written as\n{text}");
        assert_eq!(write_text(&again), text, "{name}");
    }
}

/// File, text line, column, words the message must hold.
const MISTAKES: [(&str, usize, usize, &str); 61] = [
    (
        "bar-too-long",
        3,
        25,
        "holds 4 1/2 beats, 1/2 too many for 4/4; shorten or remove 1/8",
    ),
    (
        "bar-too-short",
        3,
        21,
        "holds 3 1/2 beats, 1/2 too few for 4/4; add notes or rests for 1/8",
    ),
    (
        "bar-too-short-second-on-line",
        1,
        19,
        "holds 2 beats, 2 too few",
    ),
    ("chord-of-four", 1, 5, "4 notes at once; 1 to 3 are allowed"),
    (
        "chord-on-one-string",
        1,
        5,
        "each needs a string of its own",
    ),
    ("chord-same-pitch", 1, 5, "the same pitch stands twice"),
    ("chord-symbol-beyond-bar", 1, 9, "beyond the end of the bar"),
    (
        "chord-symbol-missing",
        1,
        1,
        "follows the @, without a space",
    ),
    (
        "chord-symbol-unknown",
        1,
        1,
        "`Axyz` is not a chord symbol: `xyz` is not understood",
    ),
    (
        "chord-symbols-collide",
        1,
        6,
        "two chord symbols or two tempos stand at the same place",
    ),
    (
        "chord-two-low-names",
        1,
        5,
        "each needs a string of its own",
    ),
    ("change-without-bar", 2, 1, "no bar follows this change"),
    ("empty", 1, 1, "the line has no notes"),
    ("empty-bar", 1, 10, "this bar is empty"),
    ("finger-5", 1, 5, "`(5)` is not a finger; write (1) to (4)"),
    ("finger-on-name", 1, 5, "a finger needs a fret"),
    (
        "finger-on-open-string",
        1,
        5,
        "no finger for an open string",
    ),
    (
        "first-bar-no-number",
        1,
        12,
        "`two` is no value for first bar",
    ),
    (
        "fret-no-number",
        1,
        9,
        "`3:x` is not a place; write string:fret",
    ),
    (
        "frets-no-number",
        1,
        8,
        "`many` is no value for frets; allowed are 1 to 36",
    ),
    ("frets-too-many", 1, 8, "99 frets; allowed are 1 to 36"),
    ("header-misspelt", 1, 1, "`tepmo:`; is `tempo:` meant?"),
    ("header-only", 2, 1, "the line has no notes"),
    (
        "header-too-late",
        2,
        1,
        "`tuning:` belongs above the first bar",
    ),
    ("header-twice", 3, 1, "`tempo:` was already given on line 1"),
    (
        "header-without-colon",
        2,
        1,
        "put a colon behind it: `meter:`",
    ),
    ("hold-after-rest", 1, 11, "there is no note to hold here"),
    ("hold-at-start", 1, 5, "there is no note to hold here"),
    ("key-unknown", 1, 6, "`H minor` is not a key"),
    ("length-form", 1, 1, "`1/8x` is not a length"),
    ("length-not-exact", 1, 1, "`1/17` is not a length"),
    ("length-zero", 1, 1, "`1/0` is not a length"),
    ("meter-0-4", 1, 8, "`0/4` is not a meter"),
    ("meter-4-3", 1, 8, "`4/3` is not a meter"),
    (
        "no-such-fret",
        1,
        9,
        "no string 3 fret 25; it has 4 strings",
    ),
    (
        "no-such-string",
        1,
        9,
        "no string 5 fret 2; it has 4 strings (1 is the thinnest)",
    ),
    (
        "note-above-last-fret",
        2,
        9,
        "E4 cannot be played on this instrument, which goes from E1 to Eb4",
    ),
    (
        "note-below-lowest-string",
        1,
        8,
        "D1 cannot be played on this instrument, which goes from E1 to G4",
    ),
    (
        "note-beyond-midi",
        1,
        9,
        "`A9` lies outside MIDI notes 0 to 127",
    ),
    ("note-without-octave", 1, 9, "`D` is not a note name"),
    ("only-rests", 2, 1, "the line has no notes"),
    ("pickup-empty", 1, 1, "this bar is empty"),
    (
        "pickup-not-first",
        2,
        1,
        "`pickup` stands at the head of the first bar only",
    ),
    (
        "pickup-too-long",
        1,
        12,
        "the pick-up holds 4 beats, a full bar of 4/4 or more",
    ),
    ("repeat-not-alone", 1, 19, "% stands alone in its bar"),
    (
        "repeat-of-nothing",
        1,
        1,
        "% repeats the bar before, but there is none",
    ),
    ("rest-with-dot", 1, 9, "a rest takes no marks"),
    (
        "scale-too-short",
        1,
        8,
        "a scale length of 34 mm; allowed are 300 to 1500 mm",
    ),
    (
        "slur-after-rest",
        1,
        11,
        "a slur or slide needs a sounding note to come from",
    ),
    (
        "slur-at-start",
        1,
        5,
        "a slur or slide needs a sounding note to come from",
    ),
    (
        "string-by-letter",
        1,
        1,
        "`E:5` is not a place; write string:fret",
    ),
    ("string-left-out-first", 1, 5, "`:5` leaves out the string"),
    ("swing-in-six-eight", 1, 8, "a bar of 6/8 is not"),
    (
        "swing-too-wide",
        1,
        8,
        "`4:1` is not a swing; write the long eighth against the short one",
    ),
    (
        "tempo-inside-bar",
        1,
        9,
        "allowed are 5 to 1000 quarter notes a minute",
    ),
    ("tempo-words", 1, 8, "`rather fast` is not a tempo"),
    ("tempo-zero", 1, 8, "a tempo of 0 beats a minute"),
    (
        "tuning-bad-name",
        1,
        9,
        "string 2 of the tuning: `A` is not a note name",
    ),
    ("tuning-turns-back", 1, 9, "`G2` then `D2` turns back"),
    ("unknown-header", 2, 1, "there is no header entry `speed:`"),
    ("unknown-word", 1, 9, "`blip` is not understood"),
];

#[test]
fn every_mistake_is_told_where_it_is_and_how_to_mend_it() {
    for (name, line, column, words) in MISTAKES {
        let errors = match read("invalid-lines", &format!("{name}.line")) {
            Err(LineReadError::Text { error, .. }) => error,
            other => panic!("{name}: {other:?}"),
        };
        let [error] = errors.all() else {
            panic!("{name} has one mistake: {errors}");
        };
        let message = errors.to_string();
        assert!(message.contains(words), "{name}: {message}");
        assert_eq!(
            (error.line, error.column),
            (line, column),
            "{name}: {message}"
        );
        // The third line of the message marks the mistake under the quoted text.
        let shown: Vec<&str> = message.lines().collect();
        assert_eq!(shown.len(), 3, "{message}");
        let quoted_at = shown[1].find("| ").unwrap();
        let marker_at = shown[2].find('^').unwrap();
        assert_eq!(marker_at - quoted_at - 2, column - 1, "{message}");
    }
}

#[test]
fn every_invalid_line_is_listed() {
    let listed: BTreeSet<String> = MISTAKES
        .iter()
        .map(|(name, ..)| format!("{name}.line"))
        .collect();
    let found: BTreeSet<String> = std::fs::read_dir(fixture("invalid-lines"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".line") && name != "not-utf8.line")
        .collect();
    assert_eq!(listed, found);
}

#[test]
fn a_message_looks_like_this() {
    let error = read("invalid-lines", "no-such-fret.line").unwrap_err();
    assert_eq!(
        error.to_string(),
        "no-such-fret.line, line 1, column 9: the instrument has no string 3 fret 25; it has 4 \
         strings (1 is the thinnest) and 24 frets\n  1 | 1/2 3:0 3:25\n    |         ^^^^"
    );
}

#[test]
fn a_long_text_line_is_quoted_around_the_mistake() {
    let text = format!("{} blip", "1/64 3:0 ".repeat(60));
    let message = read_bytes("a.line", text.as_bytes())
        .unwrap_err()
        .to_string();
    let shown: Vec<&str> = message.lines().collect();
    assert!(shown[1].chars().count() <= 80, "{message}");
    let at = shown[2].find('^').unwrap();
    assert_eq!(&shown[1][at..at + 4], "blip", "{message}");
    assert_eq!(shown[2].matches('^').count(), 4);
}

#[test]
fn what_is_no_line_at_all_is_refused() {
    let message = read("invalid-lines", "not-utf8.line")
        .unwrap_err()
        .to_string();
    assert!(
        message.contains("byte 10 belongs to no character"),
        "{message}"
    );
    for name in ["unknown.tab", "line", "song.mid.bak", "noending."] {
        let message = read_bytes(name, b"1/1 3:0").unwrap_err().to_string();
        assert!(
            message.contains("ends in .line, .mid, .midi, .musicxml, .xml, .mxl or .csv"),
            "{message}"
        );
    }
    assert!(read_bytes("A.LINE", b"1/1 3:0").is_ok());
    // Bar lines with nothing between them.
    for text in ["|", "1/1 3:0 || 3:0", "||"] {
        let message = read_bytes("a.line", text.as_bytes())
            .unwrap_err()
            .to_string();
        assert!(
            message.contains("empty") || message.contains("no notes"),
            "{text}: {message}"
        );
    }
    assert_eq!(
        read_bytes("a.line", b"| 1/1 3:0 | 3:2 |")
            .unwrap()
            .bars()
            .len(),
        2
    );
    let with_bom = "\u{feff}title: A\r\n1/1 3:0\r\n";
    assert_eq!(
        read_bytes("a.line", with_bom.as_bytes()).unwrap().title(),
        "A"
    );
}
