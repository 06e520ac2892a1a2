//! Repeats, endings, jumps, ghost and grace notes, accents: what `.line` texts with them read as.

use seamline::music::line::{
    EventKind, JumpTo, Lacks, Line, Start, Until, read_bytes, read_text, write_text,
};

const SIGNS: &[u8] = include_bytes!("../fixtures/lines/signs-and-marks.line");

fn signs_and_marks() -> Line {
    read_bytes("signs-and-marks.line", SIGNS).unwrap_or_else(|error| panic!("{error}"))
}

fn printed(line: &Line) -> Vec<u32> {
    (line.first_bar()..=line.last_bar())
        .map(|bar| line.printed_bar(bar))
        .collect()
}

#[test]
fn bars_are_played_in_the_order_the_signs_give() {
    // Counted by hand: bars 9 to 13 are printed; 9 10 (first ending) 9 11 (second) 12 D.S. 9 11
    // (repeats are not played again, the last ending is; to the coda) 13.
    let line = signs_and_marks();
    assert_eq!(line.written_bars().len(), 5);
    assert_eq!(printed(&line), [9, 10, 9, 11, 12, 9, 11, 13]);
    assert!(line.is_numbered_apart());
    let notes = line.expected(line.instrument());
    assert_eq!(notes.len(), line.note_count());
    let bars: Vec<(u32, u32)> = notes
        .iter()
        .map(|note| (note.bar, note.printed_bar))
        .collect();
    assert_eq!((bars[0], bars[bars.len() - 1]), ((9, 9), (16, 13)));
    let jump = line.written_bars()[3].signs.jump.unwrap();
    assert_eq!((jump.to, jump.until), (JumpTo::Segno, Some(Until::Coda)));
}

#[test]
fn marks_on_notes_are_kept() {
    let line = signs_and_marks();
    let notes = line.expected(line.instrument());
    // The first bar: A1, A1, a ghost note, B1 hammered, A1 pulled and accented, E2 with a grace note.
    let ghosts: Vec<bool> = notes[..6].iter().map(|note| note.ghost).collect();
    assert_eq!(ghosts, [false, false, true, false, false, false]);
    let accents: Vec<bool> = notes[..6].iter().map(|note| note.accent).collect();
    assert_eq!(accents, [false, false, false, false, true, false]);
    assert!(notes[3].slurred_into && notes[4].slurred_into && !notes[5].slurred_into);
    // A muted string does not last until the next note.
    assert!(notes[1].legato_next && !notes[2].legato_next && notes[3].legato_next);
    let events = &line.written_bars()[0].events;
    let starts: Vec<Start> = events
        .iter()
        .filter_map(|event| match event.kind {
            EventKind::Notes { start, .. } => Some(start),
            _ => None,
        })
        .collect();
    assert_eq!(starts[3..5], [Start::Hammered, Start::Pulled]);
    let last = events.last().unwrap();
    assert_eq!((last.graces.len(), last.graces[0].notes[0].midi), (1, 39));
    // A tie over a chord: both members last three quarters.
    let chord: Vec<f64> = notes
        .iter()
        .filter(|note| note.bar == 10)
        .map(|note| note.length_quarters)
        .collect();
    assert_eq!(chord, [3.0, 3.0]);
}

#[test]
fn printed_numbers_choose_bars_all_times_through() {
    let line = signs_and_marks();
    assert_eq!(line.stretches(9..=9).unwrap(), [9..=9, 11..=11, 14..=14]);
    assert_eq!(line.stretches(11..=12).unwrap(), [12..=13, 15..=15]);
    let part = line.bars_range(9..=10).unwrap();
    assert_eq!(printed(&part), [9, 10, 9, 9]);
    assert_eq!(printed(&line.played_range(10..=11).unwrap()), [10, 9]);
    let text = write_text(&part);
    assert_eq!(read_text(&text).unwrap(), part, "{text}");
    let message = line.bars_range(1..=2).unwrap_err().to_string();
    assert!(message.contains("bars 9 to 13"), "{message}");
}

#[test]
fn a_bar_jumped_into_has_the_tempo_that_holds_where_it_stands() {
    let line = read_text("tempo: 100\n|: 1/1 3:0\ntempo: 50\n3:2 :|\n3:3 D.C.").unwrap();
    let notes = line.expected(line.instrument());
    let onsets: Vec<f64> = notes.iter().map(|note| note.onset_s).collect();
    let lengths: Vec<f64> = onsets.windows(2).map(|pair| pair[1] - pair[0]).collect();
    for (found, wanted) in lengths.iter().zip([2.4, 4.8, 2.4, 4.8, 4.8, 2.4, 4.8]) {
        assert!((found - wanted).abs() < 1e-9, "{lengths:?}");
    }
}

#[test]
fn a_pick_up_may_be_repeated() {
    // The last bar and the pick-up are one bar when the repeat is played.
    let text = "meter: 3/4\npickup 1/4 3:0\n3:2 3:3 3:5\nshort 3:7 3:5 :|\nupbeat 2:0\n2:2 2:3 2:5";
    let line = read_text(text).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(line.written_bars()[2].lacks, Lacks::End);
    let notes = line.expected(line.instrument());
    let places: Vec<(u32, f64, f64)> = notes
        .iter()
        .map(|note| (note.printed_bar, note.beat, note.onset_quarters))
        .collect();
    assert_eq!(places[0], (0, 3.0, -1.0));
    assert_eq!(places[6], (0, 3.0, 5.0));
    assert_eq!(places[7], (1, 1.0, 6.0));
    assert_eq!(places[12], (3, 3.0, 11.0));
    assert_eq!(read_text(&write_text(&line)).unwrap(), line);
}

#[test]
fn bars_between_signs_may_stand_on_one_line_of_text() {
    let line = read_text("|: 1/1 3:0 | 3:2 :| |: 3:3 :x3| 3:5").unwrap();
    let midi: Vec<u8> = line
        .expected(line.instrument())
        .iter()
        .map(|note| note.midi)
        .collect();
    assert_eq!(midi, [33, 35, 33, 35, 36, 36, 36, 38]);
    let both = read_text("1/1 3:0 :|: 3:2 :|").unwrap();
    assert_eq!(both.bars().len(), 4);
    let again = read_text("|: 1/1 3:0 :|\n|: % :|").unwrap();
    assert_eq!(again.bars().len(), 4);
}

/// Text, line and column of its one mistake, words the message must hold.
const MISTAKES: [(&str, usize, usize, &str); 16] = [
    (
        "1/1 3:0 | 3:2 D.S.",
        1,
        11,
        "write `segno` at the head of a bar",
    ),
    (
        "1/1 3:0 D.C. al fine",
        1,
        1,
        "write `fine` at the end of a bar",
    ),
    (
        "segno 1/1 3:0 | 3:2 D.S. al coda",
        1,
        17,
        "`to-coda` at the end",
    ),
    (
        "1/1 3:0 to-coda",
        1,
        1,
        "write `coda` at the head of a bar behind it",
    ),
    (
        "1/1 3:0 | [1 3:2 | [2 3:3",
        1,
        11,
        "end it with :| or a jump",
    ),
    ("[x 1/1 3:0", 1, 1, "an ending is [1 or [1,2"),
    ("1/1 3:0 :x99|", 1, 1, "for the time 99"),
    ("1/1 3:0 :xy|", 1, 9, ":x3| three times in all"),
    ("#a 1/1 3:0", 1, 1, "0 to 1000000"),
    (
        "1/2 3:0 segno 3:2",
        1,
        9,
        "`segno` stands at the head of a bar",
    ),
    (
        "1/2 3:0 fine 3:2",
        1,
        9,
        "`fine` stands at the end of a bar",
    ),
    ("short 1/1 3:0", 1, 11, "said to be short but holds 4 beats"),
    ("g3:2 1/2 r 3:0", 1, 10, "a grace note stands before a note"),
    ("1/1 3:0 g3:2", 1, 9, "a grace note stands before a note"),
    (
        "g3:2! 1/1 3:0",
        1,
        1,
        "a grace note takes no `!`, `^` or `,`",
    ),
    ("r^ 1/1 3:0", 1, 1, "a rest takes no marks"),
];

#[test]
fn mistakes_are_told_where_they_stand() {
    for (text, line, column, words) in MISTAKES {
        let errors = read_text(text).expect_err(text);
        let [error] = errors.all() else {
            panic!("{text}\n{errors}");
        };
        assert_eq!(
            (error.line, error.column),
            (line, column),
            "{text}\n{errors}"
        );
        assert!(errors.to_string().contains(words), "{text}\n{errors}");
    }
}

#[test]
fn a_tie_must_hold_every_time_through() {
    // The first time the hold follows a note, the second time a rest.
    let errors = read_text("1/1 3:0 |: 1/2 = 3:2 | 1/2 3:0 r :|").unwrap_err();
    assert!(errors.to_string().contains("no note to hold"), "{errors}");
}
