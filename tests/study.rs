//! `seamline study` as it is typed: what it writes, and what it refuses.

#[path = "program_support/mod.rs"]
mod support;

use seamline::music::line::read_text;
use seamline::music::study::degrees;
use support::Bench;

#[test]
fn a_study_goes_to_standard_output_and_reads_back() {
    let bench = Bench::empty();
    let run = bench.run(&["study", "Dm7 G7/B Cmaj7"]).exits(0);
    assert!(run.err().is_empty(), "{}", run.shown());
    let text = run.out();
    let line = read_text(&text).unwrap_or_else(|error| panic!("{text}\n{error}"));
    assert_eq!(line.title(), "Dm7 G7/B Cmaj7");
    assert_eq!(line.bars().len(), 6);
    // One word or several: the same.
    let apart = bench.run(&["study", "Dm7", "G7/B", "Cmaj7"]).exits(0);
    assert_eq!(apart.out(), text);
}

/// Every chord tone of the symbol and no other, in every study: held by the degrees of the line that
/// is read back.
#[test]
fn all_notes_are_tones_of_their_chord() {
    let bench = Bench::empty();
    let chords = "C Cm C+ C° C6/9 Cm6 C7 Cmaj7 C-7 Cmi7 Cm7b5 C°7 Cm(maj7) C7sus4 C7b9 C9 C11 C13#11 \
                  C7alt Cadd9 C5 D/F# F/G Bb7(b9,#5)";
    for more in [
        &[] as &[&str],
        &["--linked"],
        &["--octaves", "neck", "--sequence", "3"],
        &["--from", "each"],
        &["--round", "fourths", "--direction", "down-up"],
        &["--notes", "triplets", "--key", "Gb major"],
    ] {
        let run = bench.run(&[&["study", chords], more].concat()).exits(0);
        let line = read_text(&run.out()).unwrap_or_else(|error| panic!("{error}"));
        let notes = line.expected(line.instrument());
        let told = degrees(&line, &notes);
        for (note, degree) in notes.iter().zip(&told) {
            let degree = degree.as_ref().expect("a chord in force");
            assert!(degree.in_chord, "{more:?}: {note:?} is {degree:?}");
        }
        // All of them are there: the first chord's three, the seventh's four.
        for (chord, tones) in [("C13#11", 7), ("C7alt", 7), ("C9", 5), ("Cm", 3)] {
            if more.contains(&"--round") || more.contains(&"--key") || more.contains(&"each") {
                continue;
            }
            let in_force = seamline::music::study::chords_in_force(&line, &notes);
            let mut classes: Vec<u8> = notes
                .iter()
                .zip(&in_force)
                .filter(|(_, symbol)| symbol.is_some_and(|symbol| symbol.text() == chord))
                .map(|(note, _)| note.midi % 12)
                .collect();
            classes.sort_unstable();
            classes.dedup();
            assert_eq!(classes.len(), tones, "{chord} {more:?}");
        }
    }
}

#[test]
fn a_study_is_written_to_a_file_and_written_again() {
    let bench = Bench::empty();
    let write = |arguments: &[&str]| {
        bench.run(&[&["study", "Am7 D7", "-o", "study.line"], arguments].concat())
    };
    let run = write(&[]).exits(0);
    assert!(run.out().is_empty(), "{}", run.shown());
    assert!(
        run.err().contains("study.line: 4 bars, 18 notes"),
        "{}",
        run.shown()
    );
    write(&["--tempo", "60"]).exits(0);
    let text = std::fs::read_to_string(bench.path("study.line")).expect("the study");
    assert!(text.starts_with("; seamline study\n") && text.contains("tempo: 60\n"));
    bench.run(&["show", "study.line"]).exits(0);
    // A line of the player's own stays.
    bench.write("study.line", b"title: mine\n\n1/1 A1\n");
    write(&[]).refuses(&["study.line", "--replace"]);
    write(&["--replace"]).exits(0);
    bench
        .run(&["study", "C", "-o", "study.wav"])
        .refuses(&["study.wav", ".line"]);
    bench
        .run(&["study", "C", "-o", "study"])
        .refuses(&[".line"]);
}

#[test]
fn what_is_no_chord_is_refused_with_the_place() {
    let bench = Bench::empty();
    for (chords, words) in [
        (
            "Dm7 C7# F",
            &["column 7", "`#` is not understood", "^"] as &[&str],
        ),
        ("Hm7", &["column 1", "`Hm7` is not a chord symbol"]),
        ("C13b", &["column 4", "`b` is not understood"]),
        ("Cmaj…", &["column 5", "`…` is not understood"]),
        ("D dorain", &["`D dorain` is not a scale", "dorian"]),
        ("", &["no chord and no scale"]),
        ("N.C.", &["no tones"]),
    ] {
        bench.run(&["study", chords]).refuses(words);
    }
    for (arguments, words) in [
        (
            &["C", "--from", "7"] as &[&str],
            &["`C` has no 7", "R 3 5"] as &[&str],
        ),
        (&["C", "--from", "x"], &["`x` is not a degree"]),
        (&["C", "--key", "A minor"], &["C major", "major key"]),
        (&["C", "--meter", "7/16"], &["7/16", "eighths"]),
        (&["C", "--tempo", "fast"], &["quarter notes a minute"]),
        (&["C", "--tempo", "2"], &["out of range"]),
        (&["Cmaj7", "--bars-each", "1"], &["needs 2 bars"]),
        (&["C", "--up-the-neck"], &["does not divide the octave"]),
        (&["C9", "--tuning", "E1"], &["two octaves up", "E3"]),
        (&["C5", "--sequence", "4"], &["3 tones"]),
    ] {
        bench.run(&[&["study"], arguments].concat()).refuses(words);
    }
}

#[test]
fn options_do_what_they_say() {
    let bench = Bench::empty();
    let run = bench
        .run(&[
            "study",
            "C+",
            "--up-the-neck",
            "--direction",
            "up",
            "--tuning",
            "5",
            "--meter",
            "3/4",
            "--title",
            "Thirds",
        ])
        .exits(0);
    let line = read_text(&run.out()).unwrap();
    assert_eq!(line.title(), "Thirds");
    assert_eq!(line.instrument().strings(), 5);
    let notes = line.expected(line.instrument());
    assert!(
        notes.len() >= 16 && notes[4].midi == notes[0].midi + 4,
        "{}",
        run.out()
    );
    let run = bench.run(&["study", "Dm7 G7 Cmaj7", "--key", "F"]).exits(0);
    assert!(
        run.err().contains("taken to be in C major"),
        "{}",
        run.shown()
    );
    for symbol in ["@Gm7", "@C7", "@Fmaj7", "key: F major"] {
        assert!(run.out().contains(symbol), "{}", run.shown());
    }
    let run = bench.run(&["study", "Am7", "--round", "fifths"]).exits(0);
    assert_eq!(run.out().matches('@').count(), 12, "{}", run.shown());
    // The same words give the same bytes.
    let again = bench.run(&["study", "Am7", "--round", "fifths"]).exits(0);
    assert_eq!(run.out(), again.out());
}

#[test]
fn a_study_is_fingered() {
    let bench = Bench::empty();
    let plain = bench.run(&["study", "Bbmaj7 Gm7"]).exits(0).out();
    let study = |more: &[&str]| {
        let run = bench.run(&[&["study", "Bbmaj7 Gm7", "--finger"], more].concat());
        read_text(&run.exits(0).out()).unwrap_or_else(|error| panic!("{error}"))
    };
    let notes = |line: &seamline::music::line::Line| -> Vec<seamline::music::line::Note> {
        let events = line.bars().iter().flat_map(|bar| &bar.events);
        events
            .filter_map(|event| match &event.kind {
                seamline::music::line::EventKind::Notes { notes, .. } => Some(notes.clone()),
                _ => None,
            })
            .flatten()
            .collect()
    };
    let fingered = study(&["--open", "avoided", "--spare", "4"]);
    for note in notes(&fingered) {
        let finger = note.finger.expect("a finger on every note");
        assert!(finger < 4, "{note:?}");
        assert!(note.place.is_some_and(|place| place.fret > 0), "{note:?}");
    }
    let pitches = |line| notes(line).iter().map(|note| note.midi).collect::<Vec<_>>();
    let plain = read_text(&plain).expect("a line");
    assert_eq!(pitches(&fingered), pitches(&plain));
    assert!(notes(&plain).iter().all(|note| note.finger.is_none()));
    bench
        .run(&["study", "C", "--finger", "--spare", "1,2,3,4"])
        .refuses(&["--spare"]);
}
