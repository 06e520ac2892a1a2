//! A line played with small deviations and with faults put in on purpose.

use proptest::prelude::*;
use seamline::music::expected::{ExpectedNote, Place};
use seamline::sound::synth::{
    Fault, FaultError, Performance, Player, Role, Spot, Voice, parse_faults, render,
};
use seamline::units::{Cents, FrameIndex, SampleRate};

/// Frames per second of the renderings.
const RATE: SampleRate = SampleRate(24_000);

/// Two bars of crotchets at 96 beats a minute: C E G A, C' A G E, with one shift of string each.
fn line() -> Vec<ExpectedNote> {
    let notes = [
        (36, 3, 3),
        (40, 3, 7),
        (43, 2, 5),
        (45, 2, 7),
        (48, 1, 5),
        (45, 2, 7),
        (43, 2, 5),
        (40, 3, 7),
    ];
    notes
        .iter()
        .enumerate()
        .map(|(index, (midi, string, fret))| ExpectedNote {
            index,
            bar: index as u32 / 4 + 1,
            printed_bar: index as u32 / 4 + 1,
            beat: (index % 4) as f64 + 1.0,
            onset_quarters: index as f64,
            length_quarters: 1.0,
            onset_s: index as f64 * 0.625,
            length_s: 0.625,
            midi: *midi,
            place: Some(Place {
                string: *string,
                fret: *fret,
            }),
            legato_next: index < 7,
            join: None,
            staccato: false,
            slurred_into: false,
            slid_into: false,
            with_previous: false,
            swings: false,
            ghost: false,
            accent: false,
            graces: Vec::new(),
        })
        .collect()
}

fn with(faults: &str) -> Performance {
    let faults = parse_faults(faults).unwrap();
    Performance::of_line(&line(), &Player::exact())
        .with_faults(&faults)
        .unwrap()
}

#[test]
fn an_exact_player_plays_what_is_written() {
    let player = Player {
        lead_in_s: 1.0,
        ..Player::exact()
    };
    let performance = Performance::of_line(&line(), &player);
    assert_eq!(performance.bar1_s, 1.0);
    for (note, expected) in performance.notes.iter().zip(line()) {
        assert_eq!(note.onset_s, 1.0 + expected.onset_s);
        assert_eq!(note.release_s, 1.0 + expected.onset_s + expected.length_s);
        assert_eq!(
            (note.midi, note.cents),
            (f64::from(expected.midi), Cents(0.0))
        );
        assert_eq!(
            Some(Place {
                string: note.string,
                fret: note.fret
            }),
            expected.place
        );
    }
    let truth = performance.truth(RATE);
    assert_eq!(truth[3].onset, FrameIndex(69_000));
    assert_eq!(truth[3].release, FrameIndex(84_000));
    // The last release and a second of tail: 1 + 8 x 0.625 + 1 s.
    assert_eq!(
        render(&performance, &Voice::fingered(), RATE).len(),
        7 * 24_000
    );
}

#[test]
fn a_seed_is_a_take() {
    let take = |seed| {
        let performance = Performance::of_line(&line(), &Player::steady(seed));
        render(&performance, &Voice::fingered(), RATE)
    };
    assert!(take(3) == take(3), "the same seed gives another take");
    assert!(take(3) != take(4), "another seed gives the same take");
}

/// Deviations stay within 2.5 standard deviations, and are not all nothing.
#[test]
fn a_steady_player_is_near_what_is_written() {
    let player = Player::steady(11);
    let performance = Performance::of_line(&line(), &player);
    let mut largest_ms = 0.0f64;
    for (note, expected) in performance.notes.iter().zip(line()) {
        let off_ms = (note.onset_s - 1.0 - expected.onset_s) * 1_000.0;
        assert!(off_ms.abs() <= 15.0, "{off_ms} ms");
        assert!(note.cents.0.abs() <= 7.5, "{} cents", note.cents.0);
        largest_ms = largest_ms.max(off_ms.abs());
    }
    assert!(largest_ms > 2.0, "{largest_ms} ms");
    for pair in performance.notes.windows(2) {
        let gap_ms = (pair[1].onset_s - pair[0].release_s) * 1_000.0;
        let touched = pair[0].string == pair[1].string;
        let range = if touched { 8.0..=18.0 } else { -12.0..=0.0 };
        assert!(
            range.contains(&gap_ms),
            "gap of {gap_ms} ms, same string {touched}"
        );
    }
}

#[test]
fn written_lengths_that_are_no_legato() {
    let mut line = line();
    line[0].legato_next = false;
    line[0].staccato = true;
    line[1].legato_next = false;
    line[1].length_s = 0.4;
    line[3].with_previous = true;
    line[3].onset_s = line[2].onset_s;
    line[5].slurred_into = true;
    line[0].onset_s = -0.2;
    line[4].place = None;
    let performance = Performance::of_line(&line, &Player::exact());
    let notes = &performance.notes;
    assert_eq!(performance.bar1_s, 0.2, "a pick-up moves bar 1");
    assert_eq!(notes[0].onset_s, 0.0);
    assert!(
        (notes[0].release_s - 0.3125).abs() < 1e-9,
        "{}",
        notes[0].release_s
    );
    assert!((notes[1].release_s - notes[1].onset_s - 0.4).abs() < 1e-9);
    assert_eq!(
        notes[2].onset_s, notes[3].onset_s,
        "a chord sounds together"
    );
    assert_eq!(notes[2].release_s, notes[4].onset_s, "and lasts together");
    assert!(notes[5].slurred);
    assert_eq!(
        (notes[4].string, notes[4].fret),
        (1, 5),
        "C3 on the G string"
    );
}

/// The level falls by 8.7 dB per time constant of 8 ms: 60 dB within 55 ms of the gap, and then
/// there is nothing up to the onset.
#[test]
fn a_gap_is_silent_for_its_length() {
    for (note, ms) in [("1.1", 80.0), ("1.2", 120.0), ("2.3", 200.0)] {
        let performance = with(&format!("gap:{note}:{ms}"));
        let spot = performance.truth(RATE);
        let at = spot
            .windows(2)
            .position(|pair| (pair[1].onset.0 - pair[0].release.0) as f64 == ms * 24.0)
            .unwrap_or_else(|| panic!("no gap of {ms} ms in {spot:?}"));
        let take = render(&performance, &Voice::fingered(), RATE);
        let (release, onset) = (spot[at].release.0 as usize, spot[at + 1].onset.0 as usize);
        let level = |x: &[f32]| (x.iter().map(|x| x * x).sum::<f32>() / x.len() as f32).sqrt();
        let ratio = level(&take[release + 1_320..onset]) / level(&take[release - 1_320..release]);
        assert!(
            20.0 * ratio.log10() < -55.0,
            "{note}: {} dB",
            20.0 * ratio.log10()
        );
    }
}

#[test]
fn faults_do_what_they_say_and_nothing_else() {
    let clean = with("");
    let same = |performance: &Performance, besides: &[usize]| {
        for (at, (a, b)) in performance.notes.iter().zip(&clean.notes).enumerate() {
            assert!(besides.contains(&at) || a == b, "note {at} changed: {a:?}");
        }
    };
    let wrong = with("wrong:1.2:+1");
    assert_eq!((wrong.notes[1].midi, wrong.notes[1].fret), (41.0, 8));
    same(&wrong, &[1]);
    let below = with("wrong:1.1:-5");
    assert_eq!((below.notes[0].string, below.notes[0].fret), (4, 3));
    assert_eq!(below.notes[0].open().0, 28.0);

    let missed = with("missed:#3");
    assert_eq!(missed.notes.len(), 7);
    assert!(missed.notes.iter().all(|n| n.index != Some(2)));

    let extra = with("extra:2.1:-2");
    assert_eq!(
        (extra.notes[5].role, extra.notes[5].index),
        (Role::Extra, None)
    );
    assert_eq!(
        (extra.notes[5].onset_s, extra.notes[5].midi),
        (2.8125, 46.0)
    );
    assert_eq!(extra.notes[4].release_s, 2.8125);

    let late = with("late:1.3:60");
    assert!((late.notes[2].onset_s - 1.31).abs() < 1e-9);
    assert_eq!(
        late.notes[1].release_s, late.notes[2].onset_s,
        "the note before is held"
    );
    assert_eq!(late.notes[2].release_s, clean.notes[2].release_s);
    same(&late, &[1, 2]);
    let early = with("early:1.3:60");
    assert!((early.notes[2].onset_s - 1.19).abs() < 1e-9);
    assert_eq!(early.notes[1].release_s, early.notes[2].onset_s);

    let clipped = with("clipped:2.4:200");
    assert!((clipped.notes[7].release_s - 4.8).abs() < 1e-9);
    assert!(with("dead:1.4").notes[3].dead);
    assert_eq!(with("sharp:1.1:25").notes[0].cents, Cents(25.0));
    assert_eq!(with("flat:1.1:25").notes[0].cents, Cents(-25.0));

    let ringing = with("ringing:1.2:-10");
    assert_eq!(ringing.notes[1].left_ringing.0, -10.0);
    assert_eq!(
        ringing.truth(RATE)[1].release,
        FrameIndex(24_000 * 11 / 4),
        "1.5 s more"
    );

    let open = with("open:1.3:4:-20");
    let bleed = open.notes.iter().find(|n| n.role == Role::Bleed).unwrap();
    assert_eq!((bleed.midi, bleed.string, bleed.fret), (28.0, 4, 0));
    assert_eq!((bleed.onset_s, bleed.level.0), (1.25, -20.0));
}

/// Closed form: the last beat before the end lasts 1 / (1 - p) of the first, near enough: between
/// the tempo at its beginning and at its end.
#[test]
fn drift_slows_the_tempo_steadily() {
    let notes = with("drift:10").notes;
    let beat = |at: usize| notes[at + 1].onset_s - notes[at].onset_s;
    assert!(
        (0.625..0.625 / (1.0 - 0.1 / 7.0)).contains(&beat(0)),
        "{}",
        beat(0)
    );
    assert!(
        (0.625 / (1.0 - 0.6 / 7.0)..0.625 / 0.9).contains(&beat(6)),
        "{}",
        beat(6)
    );
    assert!((0..6).all(|at| beat(at) < beat(at + 1)));
    let faster = with("drift:-10").notes;
    assert!(faster[7].onset_s < 7.0 * 0.625);
    assert_eq!(with("drift:0"), with(""));
}

#[test]
fn faults_are_read_and_mistakes_explained() {
    let at = Spot::Beat { bar: 3, beat: 2.5 };
    assert_eq!(
        parse_faults("late:3.2.5:60, wrong:#7:-1\tdrift:4"),
        Ok(vec![
            Fault::Late { at, ms: 60.0 },
            Fault::Wrong {
                at: Spot::Note(7),
                semitones: -1
            },
            Fault::Drift { percent: 4.0 },
        ])
    );
    for (text, words) in [
        ("lat:3.2:60", vec!["no fault \"lat\"", "late"]),
        ("late:3.2", vec!["late:BAR.BEAT:MILLISECONDS"]),
        ("missed:3.2:5", vec!["missed:BAR.BEAT"]),
        ("late:3:60", vec!["\"3\" is no spot"]),
        ("late:#0:60", vec!["\"#0\" is no spot"]),
        ("late:3.0:60", vec!["\"3.0\" is no spot"]),
        ("late:3.2:soon", vec!["\"soon\"", "1 to 5000"]),
        ("late:3.2:NaN", vec!["\"NaN\""]),
        ("late:3.2:-60", vec!["\"-60\"", "1 to 5000"]),
        ("wrong:3.2:0", vec!["\"0\"", "-24 to 24"]),
        ("wrong:3.2:1.5", vec!["\"1.5\"", "semitones"]),
        ("open:3.2:4:3", vec!["\"3\"", "-60 to 0"]),
        ("", vec![]),
    ] {
        match parse_faults(text) {
            Ok(faults) => assert!(text.is_empty() && faults.is_empty(), "{text} was read"),
            Err(error) => {
                let message = error.to_string();
                assert!(message.contains(text), "{message}");
                words
                    .iter()
                    .for_each(|word| assert!(message.contains(word), "{message}"));
            }
        }
    }
}

#[test]
fn spots_that_are_not_there() {
    let put = |text: &str| {
        Performance::of_line(&line(), &Player::exact()).with_faults(&parse_faults(text).unwrap())
    };
    let error = put("late:9.2:60").unwrap_err();
    assert_eq!(
        error,
        FaultError::Nowhere {
            spot: Spot::Beat { bar: 9, beat: 2.0 },
            notes: 8,
            last_bar: 2
        }
    );
    assert!(error.to_string().contains("bar 9, beat 2"));
    assert!(matches!(
        put("open:1.1:3:-20"),
        Err(FaultError::StringInUse { string: 3, .. })
    ));
    assert!(matches!(
        put("ringing:1.1:-20"),
        Err(FaultError::StringInUse { string: 3, .. })
    ));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Whatever faults are put in wherever, a take comes out, finite and not clipped, and its
    /// notes end after they begin.
    #[test]
    fn any_faults_can_be_played(
        seed in any::<u64>(),
        faults in prop::collection::vec((0usize..13, 1usize..9, -60i32..60), 0..8),
    ) {
        let mut performance = Performance::of_line(&line(), &Player::steady(seed));
        for (kind, note, amount) in faults {
            let large = amount.abs() * 20 + 1;
            let text = match kind {
                0 => format!("wrong:#{note}:{}", amount % 24),
                1 => format!("missed:#{note}"),
                2 => format!("extra:#{note}:{}", amount % 24),
                3 => format!("early:#{note}:{large}"),
                4 => format!("late:#{note}:{large}"),
                5 => format!("gap:#{note}:{large}"),
                6 => format!("clipped:#{note}:{large}"),
                7 => format!("dead:#{note}"),
                8 => format!("sharp:#{note}:{}", amount.abs() + 1),
                9 => format!("flat:#{note}:{}", amount.abs() + 1),
                10 => format!("ringing:#{note}:{}", -amount.abs()),
                11 => format!("open:#{note}:{}:{}", amount.abs() % 5 + 1, -amount.abs()),
                _ => format!("drift:{}", amount % 50),
            };
            // A spot that a missed note has left, or a string in use, is refused and passed over.
            let Ok(faults) = parse_faults(&text) else { continue };
            if let Ok(faulty) = performance.clone().with_faults(&faults) {
                performance = faulty;
            }
        }
        for note in &performance.notes {
            prop_assert!(note.release_s > note.onset_s, "{:?}", note);
        }
        for note in performance.truth(RATE) {
            prop_assert!(note.release > note.onset, "{:?}", note);
        }
        let take = render(&performance, &Voice::fingered(), SampleRate(8_000));
        prop_assert!(take.iter().all(|x| x.is_finite() && x.abs() < 1.0));
    }
}
