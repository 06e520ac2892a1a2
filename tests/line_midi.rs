//! MIDI files: what files of another writer read as, and what is refused.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use seamline::music::expected::ExpectedNote;
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

fn in_time(notes: &[ExpectedNote]) -> Vec<(u32, f64, u8, f64, bool)> {
    let row = |n: &ExpectedNote| (n.bar, n.beat, n.midi, n.length_quarters, n.legato_next);
    notes.iter().map(row).collect()
}

#[test]
fn a_file_of_two_tracks_reads_as_it_was_made() {
    // The numbers are those of make_midi.py; bar 1 is 4/4, then 6/8 counts eighths.
    let line = read("midi", "two-tracks.mid").unwrap();
    assert_eq!(line.title(), "Two tracks");
    assert_eq!((line.tempo().bpm(), line.bars().len()), (96.0, 3));
    let keys: Vec<String> = line.bars().iter().map(|bar| bar.key.to_string()).collect();
    assert_eq!(keys, ["D minor", "D minor", "F major"]);
    let meters: Vec<String> = line
        .bars()
        .iter()
        .map(|bar| bar.meter.to_string())
        .collect();
    assert_eq!(meters, ["4/4", "6/8", "6/8"]);
    let notes = line.expected(line.instrument());
    let third = 1.0 / 3.0;
    let wanted = [
        (1, 1.0, 38, 1.0, true),
        (1, 2.0, 41, third, true),
        (1, 2.0 + third, 45, third, true),
        (1, 2.0 + 2.0 * third, 43, third, true),
        (1, 3.0, 37, 0.5, false),
        (1, 4.0, 34, 1.5, true),
        (2, 2.0, 33, 0.5, true),
        (2, 3.0, 29, 2.0, true),
        (3, 1.0, 29, 3.0, false),
        (3, 1.0, 45, 3.0, false),
    ];
    let found = in_time(&notes);
    assert_eq!(found.len(), wanted.len());
    for (note, wish) in found.iter().zip(wanted) {
        assert_eq!(
            (note.0, note.2, note.4),
            (wish.0, wish.2, wish.4),
            "{note:?}"
        );
        assert!(
            (note.1 - wish.1).abs() < 1e-12 && (note.3 - wish.3).abs() < 1e-12,
            "{note:?}"
        );
    }
    // Six quarters at 96, one at 72.
    let last = notes[9].onset_s;
    assert!(
        (last - (6.0 * 60.0 / 96.0 + 60.0 / 72.0)).abs() < 1e-9,
        "{last}"
    );
    assert!(notes[9].with_previous);
}

#[test]
fn a_short_first_bar_is_a_pickup_and_running_status_is_read() {
    let line = read("midi", "pickup-running-status.mid").unwrap();
    assert!(line.has_pickup());
    let notes = line.expected(line.instrument());
    assert_eq!(
        in_time(&notes),
        [
            (0, 3.0, 31, 0.5, true),
            (0, 3.5, 33, 0.5, true),
            (1, 1.0, 35, 2.0, true),
            (1, 3.0, 36, 1.0, true),
            (2, 1.0, 38, 3.0, false),
        ]
    );
    assert_eq!(notes[0].onset_s, -0.5);
}

#[test]
fn played_in_notes_go_to_the_places_they_were_meant_for() {
    // Written onsets of make_midi.py, in quarters.
    let third = 1.0 / 3.0;
    let written = [
        0.0,
        0.5,
        1.0,
        1.25,
        1.5,
        2.0,
        2.0 + third,
        2.0 + 2.0 * third,
        3.0,
        3.75,
        4.0,
        5.0,
        6.0,
        6.5,
        7.0,
        8.0,
    ];
    let line = read("midi", "played-in.mid").unwrap();
    let notes = line.expected(line.instrument());
    assert_eq!(notes.len(), written.len());
    for (note, at) in notes.iter().zip(written) {
        assert!(
            (note.onset_quarters - at).abs() < 1e-9,
            "{} {at}",
            note.onset_quarters
        );
    }
    // Ends up to 30 ticks (a sixteenth of a quarter) early or late are legato.
    let count = notes.len();
    assert!(notes[..count - 1].iter().all(|note| note.legato_next));
    assert_eq!(notes[count - 1].length_quarters, 4.0);
}

#[test]
fn midi_lines_can_be_written_as_text() {
    for name in [
        "two-tracks.mid",
        "pickup-running-status.mid",
        "played-in.mid",
    ] {
        let line = read("midi", name).unwrap();
        let text = write_text(&line);
        let again =
            read_bytes("a.line", text.as_bytes()).unwrap_or_else(|error| panic!("{text}\n{error}"));
        assert_eq!(again, line, "{text}");
    }
}

/// File and the words its message must hold.
const MISTAKES: [(&str, &str); 18] = [
    (
        "below-every-string.mid",
        "bar 1: Ab0 cannot be played on this instrument",
    ),
    ("cut-short.mid", "bytes but only"),
    ("empty.mid", "does not begin with `MThd`"),
    (
        "format-2.mid",
        "MIDI file format 2 cannot be read as one line",
    ),
    (
        "four-notes-at-once.mid",
        "bar 1: 4 notes at once; 1 to 3 are allowed",
    ),
    ("meter-0-4.mid", "tick 0: `0/4` is not a meter"),
    (
        "meter-inside-bar.mid",
        "bar 2: the meter changes inside the bar (tick 2880)",
    ),
    ("missing-track.mid", "promises 2 tracks but the file has 1"),
    (
        "never-ended.mid",
        "track 1, tick 480: the note B1 is never ended",
    ),
    ("no-notes.mid", "the file has no notes"),
    ("no-status.mid", "track 2, byte"),
    ("not-midi.mid", "does not begin with `MThd`"),
    ("resolution-0.mid", "resolution of 0 ticks"),
    ("smpte.mid", "counts time in SMPTE frames"),
    (
        "tempo-too-fast.mid",
        "tick 0: a tempo of 60000 beats a minute",
    ),
    (
        "tempo-zero.mid",
        "tick 0: a tempo of 0 microseconds to the quarter note",
    ),
    (
        "two-parts.mid",
        "2 parts with notes, and a line is one part: 1 `Bass`, track 1 channel 1",
    ),
    (
        "two-voices.mid",
        "bar 2, beat 2: A1 still sounds when A2 begins",
    ),
];

#[test]
fn every_file_that_is_no_line_is_refused_with_its_reason() {
    for (name, words) in MISTAKES {
        match read("invalid-lines", name) {
            Err(LineReadError::Midi { error, .. }) => {
                let message = error.to_string();
                assert!(message.contains(words), "{name}: {message}");
            }
            other => panic!("{name}: {other:?}"),
        }
    }
    let listed: BTreeSet<&str> = MISTAKES.iter().map(|(name, _)| *name).collect();
    for entry in std::fs::read_dir(fixture("invalid-lines")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(
            !name.ends_with(".mid") || listed.contains(name.as_str()),
            "{name} is not listed"
        );
    }
}

/// One row of a table of expected notes.
fn row(header: &[&str], line: &str, column: &str) -> f64 {
    let at = header
        .iter()
        .position(|&name| name == column)
        .expect(column);
    line.split(',')
        .nth(at)
        .and_then(|cell| cell.parse().ok())
        .expect(column)
}

#[test]
fn lines_of_a_folder_of_takes_agree_with_their_tables() {
    // SEAMLINE_TAKES names a folder with lines/NAME.mid and lines/NAME.csv, made by another
    // program; without it there is nothing to compare.
    let Some(folder) = std::env::var_os("SEAMLINE_TAKES") else {
        eprintln!("SEAMLINE_TAKES is not set: no takes were compared");
        return;
    };
    let lines = Path::new(&folder).join("lines");
    let (mut files, mut notes_seen) = (0, 0);
    for entry in std::fs::read_dir(&lines).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|ending| ending != "mid") {
            continue;
        }
        let name = path.display().to_string();
        let line = read_bytes(&name, &std::fs::read(&path).unwrap())
            .unwrap_or_else(|error| panic!("{error}"));
        let notes = line.expected(line.instrument());
        let table = std::fs::read_to_string(path.with_extension("csv")).unwrap();
        let mut rows = table.lines();
        let header: Vec<&str> = rows.next().unwrap().split(',').collect();
        let rows: Vec<&str> = rows.filter(|row| !row.is_empty()).collect();
        assert_eq!(notes.len(), rows.len(), "{name}");
        for (note, cells) in notes.iter().zip(rows) {
            let cell = |column| row(&header, cells, column);
            assert_eq!(note.index as f64, cell("id"), "{name}");
            assert_eq!(f64::from(note.bar), cell("bar"), "{name} {cells}");
            assert!(
                (note.beat - cell("beat")).abs() < 1e-6,
                "{name} {cells}: {}",
                note.beat
            );
            // The table rounds to a microsecond.
            let onset = cell("onset_nominal_s");
            assert!(
                (note.onset_s - onset).abs() < 2e-6,
                "{name} {cells}: {}",
                note.onset_s
            );
            let length = cell("duration_nominal_s");
            assert!(
                (note.length_s - length).abs() < 2e-6,
                "{name} {cells}: {}",
                note.length_s
            );
            assert_eq!(f64::from(note.midi), cell("midi"), "{name} {cells}");
            assert_eq!(
                f64::from(u8::from(note.legato_next)),
                cell("legato_next"),
                "{name} {cells}"
            );
        }
        let text = write_text(&line);
        let again = read_bytes("again.line", text.as_bytes());
        assert_eq!(again, Ok(line), "{name}\n{text}");
        files += 1;
        notes_seen += notes.len();
    }
    eprintln!("{files} files, {notes_seen} notes agree");
    assert!(files > 0, "no .mid file in {}", lines.display());
}
