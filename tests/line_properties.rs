//! Properties of lines that hold for every input: readers never panic, texts come back.

use proptest::prelude::*;
use seamline::music::instrument::{Instrument, Tuning};
use seamline::music::line::{
    Bar, ChordMark, Event, EventKind, FaultKind, Grace, Jump, JumpTo, Lacks, Length, Line,
    LineParts, Meter, Note, Signs, Start, SwingRatio, Tempo, TempoMark, TextErrors, Until,
    read_bytes, read_midi, read_text, write_text,
};
use seamline::music::theory::{Key, Mode};

fn tunings() -> impl Strategy<Value = Tuning> {
    prop_oneof![
        Just(Tuning::bass4()),
        Just(Tuning::bass5()),
        Just(Tuning::bass6()),
        Just(Tuning::guitar()),
        Just("D1 A1 D2 G2".parse().unwrap()),
        Just("Eb1 Ab1 Db2 Gb2".parse().unwrap()),
    ]
}

fn keys() -> impl Strategy<Value = Key> {
    (-7_i8..=7, any::<bool>()).prop_map(|(fifths, minor)| {
        Key::new(fifths, if minor { Mode::Minor } else { Mode::Major }).unwrap()
    })
}

fn meters() -> impl Strategy<Value = Meter> {
    prop_oneof![
        Just("4/4"),
        Just("3/4"),
        Just("6/8"),
        Just("2/4"),
        Just("12/8"),
        Just("7/16")
    ]
    .prop_map(|text| text.parse().unwrap())
}

fn tempos() -> impl Strategy<Value = Tempo> {
    (20_000_u32..300_000, 0_usize..3).prop_map(|(milli, beat)| {
        let beat = [(1, 4), (3, 8), (1, 8)][beat];
        let beat = Length::of_whole(beat.0, beat.1).unwrap();
        Tempo::new(f64::from(milli) / 1000.0, beat).unwrap()
    })
}

/// What one event is drawn from: shares of the time left, kind, pitches, marks.
type Draw = (u8, u8, Vec<u16>, u8, bool, bool, u8);

fn draws() -> impl Strategy<Value = Vec<Draw>> {
    let pitches = prop::collection::vec(any::<u16>(), 1..4);
    let draw = (
        any::<u8>(),
        any::<u8>(),
        pitches,
        any::<u8>(),
        any::<bool>(),
        any::<bool>(),
        any::<u8>(),
    );
    prop::collection::vec(draw, 1..12)
}

/// Notes on strings of their own, from a draw; some by place, some by pitch alone.
fn notes(draw: &[u16], bits: u8, instrument: &Instrument) -> Vec<Note> {
    let mut strings: Vec<u8> = Vec::new();
    let mut notes: Vec<Note> = Vec::new();
    for (at, &number) in draw.iter().enumerate() {
        let string = 1 + (number % u16::from(instrument.strings())) as u8;
        let fret = (number / 16 % u16::from(instrument.frets() + 1)) as u8;
        let place = seamline::music::expected::Place { string, fret };
        let midi = instrument.midi_at(place).unwrap();
        if strings.contains(&string) || notes.iter().any(|note| note.midi == midi) {
            continue;
        }
        strings.push(string);
        let placed = draw.len() > 1 || bits >> at & 1 == 1;
        let finger = (placed && fret > 0 && bits >> (at + 3) & 1 == 1).then_some(1 + bits % 4);
        notes.push(Note {
            place: placed.then_some(place),
            finger,
            ghost: number % 7 == 0,
            ..Note::new(midi)
        });
    }
    notes
}

fn bar(
    meter: Meter,
    key: Key,
    draws: &[Draw],
    instrument: &Instrument,
    sounding: &mut bool,
) -> Bar {
    let lengths = [
        (1, 4),
        (1, 8),
        (3, 16),
        (1, 12),
        (1, 16),
        (1, 20),
        (1, 2),
        (7, 32),
        (1, 28),
    ];
    let mut bar = Bar::new(meter, key);
    let mut left = meter.bar_length();
    for (index, (share, kind, pitches, bits, staccato, breath, mark)) in draws.iter().enumerate() {
        let (n, d) = lengths[usize::from(*share) % lengths.len()];
        let mut length = Length::of_whole(n, d).unwrap();
        if length >= left || index + 1 == draws.len() {
            length = left;
        }
        let at = meter.bar_length() - left;
        if mark % 5 == 0 {
            let symbol = ["Am7", "D7/F#", "Bb6/9", "N.C."][usize::from(*mark) / 5 % 4];
            // In the middle of the event, at a place no length has.
            let inside = Length::from_units(length.units() / 3);
            bar.chords.push(ChordMark {
                at: at + inside,
                symbol: symbol.parse().unwrap(),
            });
        }
        if mark % 7 == 0 {
            let tempo = Tempo::quarters(f64::from(*mark) + 20.5).unwrap();
            bar.tempos.push(TempoMark { at, tempo });
        }
        let kind = match kind % 5 {
            0 => EventKind::Rest,
            1 if *sounding => EventKind::Hold,
            other => EventKind::Notes {
                notes: notes(pitches, *bits, instrument),
                start: match (other, bits % 3) {
                    (2, 0) if *sounding => Start::Slurred,
                    (2, 1) if *sounding => Start::Hammered,
                    (2, _) if *sounding => Start::Pulled,
                    (3, _) if *sounding => Start::Slid,
                    _ => Start::Plucked,
                },
                staccato: *staccato,
            },
        };
        *sounding = kind != EventKind::Rest;
        let is_note = matches!(kind, EventKind::Notes { .. });
        let mut event = Event::new(length, kind);
        event.breath_after = *breath;
        event.accent = bits % 5 == 0;
        if is_note && mark % 6 == 0 {
            let start = [Start::Plucked, Start::Hammered][usize::from(*sounding && mark % 4 == 0)];
            let grace = notes(&pitches[..1], bits.rotate_left(3), instrument);
            event.graces.push(Grace {
                notes: grace,
                start: Start::Plucked,
            });
            event.graces.push(Grace {
                notes: notes(&pitches[..1], *bits, instrument),
                start,
            });
        }
        bar.events.push(event);
        left = left - length;
        if left == Length::ZERO {
            break;
        }
    }
    bar
}

/// Signs of one bar, from a draw; most draws give none. The first bar has a segno, the last a coda
/// and a *fine*, so that jumps have somewhere to go.
fn signs(draw: u32, at: usize, last: bool) -> Signs {
    let mut signs = Signs {
        segno: at == 0,
        coda: last && at > 0,
        fine: last,
        ..Signs::default()
    };
    match draw % 12 {
        0 => signs.repeat_start = true,
        1 => signs.repeat_end = Some(2 + (draw / 12 % 2) as u8),
        2 if at > 0 => {
            signs.ending = vec![1, 2 + (draw / 12 % 2) as u8];
            signs.repeat_end = Some(2);
            signs.ending_end = draw.is_multiple_of(5);
        }
        3 => signs.to_coda = !last,
        4 | 5 => {
            signs.jump = Some(Jump {
                to: if draw % 12 == 4 {
                    JumpTo::Start
                } else {
                    JumpTo::Segno
                },
                until: Some(Until::Fine).filter(|_| (draw / 12).is_multiple_of(2)),
                repeats_again: (draw / 12).is_multiple_of(3),
            });
        }
        _ => {}
    }
    signs
}

prop_compose! {
    /// Lines, some of them with repeats and jumps if `may_sign`.
    fn lines_of(may_sign: bool)(
        title in "[ -~äß]{0,20}",
        tuning in tunings(),
        frets in 12_u8..=24,
        tempo in tempos(),
        first_bar in 1_u32..40,
        swing in prop::option::of(1.0_f64..=3.0),
        bars in prop::collection::vec((meters(), keys(), draws()), 1..8),
        signed in any::<bool>(),
        sign_draws in prop::collection::vec(any::<u32>(), 8),
    ) -> Option<Line> {
        let instrument = Instrument::new(tuning, frets, 863.6).unwrap();
        let mut sounding = false;
        let bars = bars
            .iter()
            .map(|(meter, key, draws)| bar(*meter, *key, draws, &instrument, &mut sounding))
            .collect();
        let mut bars: Vec<Bar> = bars;
        let count = bars.len();
        for (at, (bar, &draw)) in bars.iter_mut().zip(&sign_draws).enumerate().filter(|_| signed && may_sign) {
            bar.signs = signs(draw, at, at + 1 == count);
            bar.printed = (draw % 9 == 0).then_some(draw % 50);
            // The way into a bar may come from anywhere: its first notes are struck.
            if let Some(event) = bar.events.first_mut() {
                event.graces.clear();
                match &mut event.kind {
                    EventKind::Notes { start, .. } => *start = Start::Plucked,
                    kind => *kind = EventKind::Rest,
                }
            }
            let halves = |event: &Event| event.length.units() % 2 == 0;
            if draw % 10 == 0 && bar.events.last().is_some_and(halves) {
                let last = bar.events.last_mut().unwrap();
                let half = Length::from_units(last.length.units() / 2);
                let kept = bar.meter.bar_length() - half;
                last.length = half;
                bar.chords.retain(|mark| mark.at < kept);
                bar.tempos.retain(|mark| mark.at < kept);
                bar.lacks = if draw % 20 == 0 { Lacks::End } else { Lacks::Beginning };
            }
        }
        let swing = swing
            .filter(|_| bars.iter().all(|bar| bar.meter.is_in_quarters()))
            .map(|ratio| SwingRatio::new(ratio).unwrap());
        let parts =
            LineParts { title, instrument, tempo, swing, first_bar, bars, ..LineParts::default() };
        match Line::new(parts) {
            Ok(line) => Some(line),
            // A rest put in the place of what sounded may leave a tie or a slur without a note.
            Err(fault)
                if signed
                    && [FaultKind::NothingToHold, FaultKind::NothingToSlurFrom]
                        .contains(&fault.kind) => None,
            // Some draws hold rests only; any other fault is one of this test.
            Err(fault) if fault.kind == FaultKind::NoNotes => None,
            Err(fault) => panic!("{fault}"),
        }
    }
}

/// Lines, half of them with repeats and jumps.
fn lines() -> impl Strategy<Value = Option<Line>> {
    lines_of(true)
}

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
            let same = |written: &&Bar| written.events == bar.events;
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
                "to-coda", "D.C.", "D.S.", "al", "with-repeats", "short", "upbeat", "#7", "x3:5", "gD2", "h:7",
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
