//! Properties of lines that hold for every input: readers never panic, texts come back.

mod line_support;

use line_support::{lines, lines_of};
use proptest::prelude::*;
use seamline::music::line::{TextErrors, read_bytes, read_midi, read_text, write_text};

/// At least one mistake, in the order of the text, and words for them.
fn told_in_order(errors: &TextErrors) -> Result<(), TestCaseError> {
    let at: Vec<(usize, usize)> = errors
        .all()
        .iter()
        .map(|error| (error.line, error.column))
        .collect();
    prop_assert!(!at.is_empty() && at.is_sorted(), "{:?}", at);
    prop_assert!(!errors.to_string().is_empty());
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 400,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn a_line_comes_back_from_its_text(line in lines()) {
        prop_assume!(line.is_some());
        let line = line.unwrap();
        let text = write_text(&line);
        let again = read_text(&text);
        prop_assert!(again.is_ok(), "{}\n{}", text, again.unwrap_err());
        let again = again.unwrap();
        prop_assert_eq!(&again, &line, "{}", text);
        prop_assert_eq!(write_text(&again), text);
    }

    #[test]
    fn bars_as_played_are_written_bars_in_some_order(line in lines()) {
        prop_assume!(line.is_some());
        let line = line.unwrap();
        let mut number = line.first_bar();
        for bar in line.bars() {
            prop_assert!(bar.signs.is_empty());
            let same = |written: &&seamline::music::line::Bar| written.events == bar.events;
            prop_assert!(line.written_bars().iter().any(|written| same(&written)));
            number += 1;
        }
        prop_assert_eq!(number, line.last_bar() + 1);
        if line.written_bars().iter().all(|bar| bar.signs.is_empty()) {
            prop_assert_eq!(line.bars().len(), line.written_bars().len());
        }
        for note in line.expected(line.instrument()) {
            prop_assert_eq!(note.printed_bar, line.printed_bar(note.bar));
        }
    }

    #[test]
    fn words_put_in_wrongly_are_the_only_ones_told(
        line in lines_of(false),
        slips in prop::collection::vec(
            (
                any::<prop::sample::Index>(),
                any::<prop::sample::Index>(),
                prop::sample::select(vec![
                    "blip", "3:x", "9:99:9", "99:1", "1/8x", "@", "@Axyz", "1/0", "3:5(7)", "r!", "%",
                ]),
            ),
            1..4,
        ),
    ) {
        prop_assume!(line.is_some());
        let mut text: Vec<String> = write_text(&line.unwrap()).lines().map(str::to_owned).collect();
        // Bars stand below the empty line; changes of meter and key are words with a colon.
        let header = text.iter().position(String::is_empty).unwrap();
        let bars: Vec<usize> = (header + 1..text.len())
            .filter(|&at| !text[at].starts_with("meter:") && !text[at].starts_with("key:"))
            .collect();
        let mut wanted = Vec::new();
        for (bar, place, word) in slips {
            let at = *bar.get(&bars);
            let mut words: Vec<&str> = text[at].split(' ').collect();
            words.insert(place.index(words.len() + 1), word);
            text[at] = words.join(" ");
            wanted.push(at + 1);
        }
        wanted.sort_unstable();
        let text = text.join("\n");
        let errors = read_text(&text).unwrap_err();
        told_in_order(&errors)?;
        let lines: Vec<usize> = errors.all().iter().map(|error| error.line).collect();
        prop_assert_eq!(lines, wanted, "{}\n{}", text, errors);
    }

    #[test]
    fn expected_notes_are_in_order_placed_and_joined(line in lines()) {
        prop_assume!(line.is_some());
        let line = line.unwrap();
        let notes = line.expected(line.instrument());
        prop_assert_eq!(notes.len(), line.note_count());
        for (at, note) in notes.iter().enumerate() {
            prop_assert_eq!(note.index, at);
            let place = note.place.expect("a checked line is playable");
            prop_assert_eq!(line.instrument().midi_at(place), Some(note.midi));
            prop_assert!(note.length_s > 0.0 && note.beat >= 1.0);
        }
        for pair in notes.windows(2) {
            prop_assert!(pair[0].onset_s <= pair[1].onset_s);
            prop_assert_eq!(pair[1].with_previous, pair[0].onset_quarters == pair[1].onset_quarters);
            if pair[1].with_previous {
                prop_assert!(pair[0].midi < pair[1].midi);
                prop_assert_ne!(pair[0].place.unwrap().string, pair[1].place.unwrap().string);
            } else {
                prop_assert!(pair[0].join.is_some());
            }
        }
        prop_assert!(notes.last().is_none_or(|last| last.join.is_none() && !last.legato_next));
    }

    #[test]
    fn a_part_has_just_the_notes_of_its_bars(line in lines(), from in 0_u32..8, count in 0_u32..8) {
        prop_assume!(line.is_some());
        let line = line.unwrap();
        let from = line.first_bar() + from;
        let Ok(part) = line.played_range(from..=from + count) else { return Ok(()) };
        let whole = line.expected(line.instrument());
        let range = part.expected(part.instrument());
        let inside: Vec<_> =
            whole.iter().filter(|note| (from..=from + count).contains(&note.bar)).collect();
        // Only notes tied into the part are new.
        let new = range.len() - inside.len();
        prop_assert!(new <= 3);
        for (a, b) in range[new..].iter().zip(inside) {
            prop_assert_eq!((a.bar, a.midi), (b.bar, b.midi));
            prop_assert!((a.beat - b.beat).abs() < 1e-9);
        }
        prop_assert_eq!(read_text(&write_text(&part)).unwrap(), part);
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in any::<String>()) {
        if let Err(errors) = read_text(&text) {
            told_in_order(&errors)?;
        }
    }

    #[test]
    fn no_words_of_the_format_make_the_reader_panic(
        words in prop::collection::vec(
            prop::sample::select(vec![
                "title:", "tempo:", "tempo", "metre:", "swing:", "2:1", "KEY :", "96", "meter:", "6/8", "key:", "tuning:", "guitar", "frets:",
                "first bar:", "pickup", "1/4", "1/8t", "1/1", "3:5", ":7", "D2", "E1&G2", "r", "=",
                "=,", ">", ">>:3", "3:5(2)!,", "@Am7", "@1/8:D7", "@tempo=", "@tempo=72", "|", "%", "|:", ":|", ":x3|", "[1", "[2,3", "]", "segno", "coda", "fine",
                "to-coda", "D.C.", "D.S.", "al", "again", "short", "upbeat", "#7", "x3:5", "gD2", "h:7",
                "p3:3^!", "gx:2",
                "\n", "\n", ";", "\t", "4294967295/4294967295", "255:255", "é", "&", "(", "@:",
            ]),
            0..40,
        ),
        glue in prop::sample::select(vec![" ", ""]),
    ) {
        match read_text(&words.join(glue)) {
            Ok(line) => prop_assert_eq!(read_text(&write_text(&line)).unwrap(), line),
            Err(errors) => told_in_order(&errors)?,
        }
    }

    #[test]
    fn no_bytes_make_the_readers_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = read_midi(&bytes);
        let _ = read_bytes("a.line", &bytes);
    }

    #[test]
    fn no_damage_to_a_file_makes_the_reader_panic(
        file in 0_usize..3,
        damage in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
        cut in any::<prop::sample::Index>(),
        cut_it in any::<bool>(),
    ) {
        let files: [&[u8]; 3] = [
            include_bytes!("../fixtures/midi/two-tracks.mid"),
            include_bytes!("../fixtures/midi/pickup-running-status.mid"),
            include_bytes!("../fixtures/midi/played-in.mid"),
        ];
        let mut bytes = files[file].to_vec();
        for (at, byte) in damage {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        if cut_it {
            bytes.truncate(cut.index(bytes.len()));
        }
        if let Ok(line) = read_midi(&bytes) {
            prop_assert_eq!(read_text(&write_text(&line)).unwrap(), line);
        }
    }
}
