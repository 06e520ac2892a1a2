//! The planner over whole lines, from the text of a line to fingers written into it.

use proptest::prelude::*;
use seamline::music::fingering::{Hand, MOST_WAYS, OpenStrings, plan};
use seamline::music::instrument::{Instrument, Tuning};
use seamline::music::line::{EventKind, Line, Note, read_text, write_text};

fn notes(line: &Line) -> Vec<Note> {
    line.bars()
        .iter()
        .flat_map(|bar| &bar.events)
        .filter_map(|event| match &event.kind {
            EventKind::Notes { notes, .. } => Some(notes.clone()),
            _ => None,
        })
        .flatten()
        .collect()
}

/// An instrument from a draw: one to twelve strings, one to thirty-six frets, any scale length.
fn instrument() -> impl Strategy<Value = Instrument> {
    (
        10..40_u8,
        proptest::collection::vec(1..9_u8, 0..12),
        1..=36_u8,
        300.0..1500.0_f64,
    )
        .prop_map(|(lowest, steps, frets, scale_mm)| {
            let mut open = vec![lowest];
            for step in steps {
                open.push((open[open.len() - 1] + step).min(126));
            }
            open.dedup();
            let tuning = Tuning::new(&open).expect("rising strings");
            Instrument::new(tuning, frets, scale_mm).expect("within its ranges")
        })
}

/// Bars of quarters: string and fret, sometimes the pitch alone, with marks.
fn text(instrument: &Instrument, draws: &[(u8, u8, u8)]) -> String {
    let mut text = format!(
        "tuning: {}\nfrets: {}\nscale: {}\n",
        instrument.tuning(),
        instrument.frets(),
        instrument.scale_mm()
    );
    for (at, &(string, fret, mark)) in draws.iter().enumerate() {
        let string = 1 + string % instrument.strings();
        let fret = fret % (instrument.frets() + 1);
        let slur = if at > 0 && mark % 7 == 0 { ">" } else { "" };
        let finger = match (fret, mark % 3) {
            (1.., 0) => format!("({})", 1 + mark % 4),
            _ => String::new(),
        };
        let end = if at % 4 == 3 { "\n" } else { " " };
        text += &format!("{slur}{string}:{fret}{finger}{end}");
    }
    text
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn any_line_on_any_instrument_gets_its_fingers(
        instrument in instrument(),
        draws in proptest::collection::vec((0..12_u8, 0..37_u8, any::<u8>()), 1..6),
        span_mm in 60.0..200.0_f64,
        low_below in 0..12_u8,
    ) {
        let draws: Vec<_> = draws.iter().flat_map(|draw| [*draw; 4]).collect();
        let written = read_text(&text(&instrument, &draws)).expect("a line");
        let mut hand = Hand::default().with_span_mm(span_mm).unwrap();
        hand.low_below = low_below;
        hand.open = OpenStrings::Avoided;
        let ways = plan(&written, &instrument, &hand);
        prop_assert!((1..=MOST_WAYS).contains(&ways.len()));
        for way in ways {
            prop_assert!(way.explain().len() >= 3);
            let fingered = written.with_fingering(&way).expect("this line's way");
            for (new, old) in notes(&fingered).iter().zip(notes(&written)) {
                let place = new.place.expect("a place");
                prop_assert_eq!(instrument.midi_at(place), Some(new.midi));
                prop_assert_eq!(Some(place), old.place);
                prop_assert_eq!(new.finger.is_some(), place.fret > 0);
                prop_assert!(old.finger.is_none() || old.finger == new.finger);
            }
            let again = read_text(&write_text(&fingered)).expect("what was written");
            prop_assert_eq!(again, fingered);
        }
    }
}

#[test]
fn the_hand_is_explained_in_bars_beats_and_milliseconds() {
    // At 120 a beat is 500 ms, an eighth 250.
    let text =
        "tempo: 120\n1/4 4:5(1) 3:7(3) 2:7(3) 1/8 1:5(1) 1:6(2)\n1/4 1:12(4) 1:9(1) 1/2 1:10(2)\n";
    let line = read_text(text).unwrap();
    let way = &plan(&line, line.instrument(), &Hand::default())[0];
    let told = way.explain();
    assert_eq!(
        told[0],
        "1 shift: 4 frets up between bar 1 beat 4.5 and bar 2, in 250 ms"
    );
    assert!(
        told.contains(&"frets 5 to 12, no open string".to_owned()),
        "{told:?}"
    );
    assert!(told.contains(&"3 crossings".to_owned()), "{told:?}");
}

#[test]
fn notes_no_instrument_has_stay_empty_in_every_way() {
    let line = read_text("1/4 E1 A1 E2 A2\n").unwrap();
    let guitar = Instrument::with_tuning(Tuning::guitar());
    let ways = plan(&line, &guitar, &Hand::default());
    for way in &ways {
        assert!(way.steps[0].notes.is_empty() && way.steps[1].notes.is_empty());
        assert_eq!(way.steps[2].notes.len(), 1);
    }
}
