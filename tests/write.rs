//! Lines played by the synth, written down, and held against what was played.
//!
//! The truth is the line that was rendered; nothing here comes from what the program said before.

mod source_support;

use seamline::music::line::{EventKind, Line, Start, read_text};
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::session::writing::write_take;
use seamline::sound::synth::{Performance, Player, Voice, render};
use seamline::transcribe::{Asked, Written};
use seamline::units::{STANDARD_A4, SampleRate};
use source_support::Samples;

const RATE: SampleRate = SampleRate(44_100);

/// Quarters, eighths, a dotted quarter, a rest, a note tied over the barline.
const MIXED: &str = "title: Mixed\ntempo: 96\nmeter: 4/4\nkey: G major\n\n\
    1/4 4:3 3:2 1/8 3:5 2:4 1/4 2:5\n3/8 2:4 1/8 3:5 1/4 4:3 r\n\
    1/4 4:3 4:5 3:2 3:3\n= 3:2 1/8 4:5 4:3 1/4 4:5\n1/1 4:3\n";

fn sound(line: &Line, player: &Player) -> Vec<f32> {
    let expected = line.expected(line.instrument());
    let voice = Voice::named("fingered").expect("a voice");
    let performance = Performance::of_line(&expected, player);
    let performance = performance.with_ornaments(&expected, &line.graces(&expected));
    render(&performance, &voice, RATE)
}

fn written(samples: Vec<f32>, asked: &Asked) -> Written {
    let mut source = Samples::new(RATE, vec![Ok(samples)]);
    write_take("take", &mut source, asked, STANDARD_A4).expect("a line")
}

/// Bar, beat, pitch and length of every note.
fn notes(line: &Line) -> Vec<(u32, f64, u8, f64)> {
    let expected = line.expected(line.instrument());
    expected
        .iter()
        .map(|note| (note.bar, note.beat, note.midi, note.length_quarters))
        .collect()
}

#[test]
fn a_line_comes_out_as_it_was_played() {
    let line = read_text(MIXED).unwrap();
    let asked = Asked {
        // Near, not exact.
        tempo_bpm: Some(93.0),
        ..Asked::default()
    };
    let found = written(sound(&line, &Player::steady(7)), &asked);
    assert_eq!(notes(&found.line), notes(&line));
    assert!(
        (found.played_bpm / 96.0 - 1.0).abs() < 0.01,
        "{}",
        found.played_bpm
    );
    assert_eq!(found.line.key(), line.key());
}

#[test]
fn the_tempo_is_found() {
    let line = read_text(MIXED).unwrap();
    let found = written(sound(&line, &Player::steady(8)), &Asked::default());
    let tempo = found.found_tempo.expect("a tempo that was found");
    let octave = tempo.octave.map_or(f64::NAN, |octave| octave.0);
    let near = |bpm: f64| (bpm / 96.0 - 1.0).abs() < 0.01;
    assert!(near(tempo.bpm) || near(octave), "{tempo:?}");
}

/// Written, rendered and scored against itself, every note is right.
#[test]
fn what_was_written_is_right_when_it_is_played() {
    let line = read_text(MIXED).unwrap();
    let asked = Asked {
        tempo_bpm: Some(96.0),
        ..Asked::default()
    };
    let found = written(sound(&line, &Player::steady(9)), &asked);
    let mut source = Samples::new(RATE, vec![Ok(sound(&found.line, &Player::exact()))]);
    let result = score_take("again", &mut source, &found.line, &ScoreSettings::default());
    let tally = result.expect("a result").judgement.tally;
    assert_eq!(
        (tally.right, tally.wrong, tally.missed, tally.extra),
        (found.notes.len(), 0, 0, 0)
    );
}

/// The pitches of the last notes, struck together.
fn last_pitches(line: &Line) -> Vec<u8> {
    let events = line.bars().iter().flat_map(|bar| &bar.events);
    let mut notes = events.filter_map(|event| match &event.kind {
        EventKind::Notes { notes, .. } => Some(notes.iter().map(|note| note.midi).collect()),
        EventKind::Rest | EventKind::Hold => None,
    });
    notes.next_back().unwrap_or_default()
}

/// A tenth and a twelfth are written as chords; single notes stay single.
#[test]
fn a_chord_at_the_end_is_written_as_one() {
    for (last, wanted) in [
        ("4:3&2:4", vec![31, 42]),
        ("3:3&2:5", vec![36, 43]),
        ("4:5", vec![33]),
        ("3:0", vec![33]),
        ("1:9", vec![52]),
    ] {
        let text = format!(
            "tempo: 96\nmeter: 4/4\n\n1/4 4:3 3:2 1/2 3:5\n1/4 3:3 3:5 2:2 3:2\n1/2 3:5 {last}\n"
        );
        let line = read_text(&text).unwrap();
        let asked = Asked {
            tempo_bpm: Some(96.0),
            ..Asked::default()
        };
        for seed in 1..=2 {
            let found = written(sound(&line, &Player::steady(seed)), &asked);
            assert_eq!(last_pitches(&found.line), wanted, "{last}, seed {seed}");
            assert_eq!(found.notes.len(), found.line.note_count(), "{last}");
        }
    }
}

/// A slide up five frets is written as one, a plucked note as none.
#[test]
fn a_slide_is_written_as_one() {
    let text = "tempo: 90\nmeter: 4/4\n\n1/4 3:3 3:7 3:5 3:2\n2:2 >>2:7 2:5 2:1\n1/1 2:3\n";
    let line = read_text(text).unwrap();
    let asked = Asked {
        tempo_bpm: Some(90.0),
        ..Asked::default()
    };
    let found = written(sound(&line, &Player::steady(3)), &asked);
    let starts = |line: &Line| -> Vec<bool> {
        let events = line.bars().iter().flat_map(|bar| &bar.events);
        let starts = events.filter_map(|event| match event.kind {
            EventKind::Notes { start, .. } => Some(start == Start::Slid),
            EventKind::Rest | EventKind::Hold => None,
        });
        starts.collect()
    };
    assert_eq!(notes(&found.line), notes(&line));
    assert_eq!(starts(&found.line), starts(&line));
}

/// A first note that the recording cuts off stands where the line begins.
#[test]
fn a_first_note_that_is_cut_off_is_written() {
    let line = read_text(MIXED).unwrap();
    let player = Player::steady(7);
    let cut = ((player.lead_in_s - 0.002) * f64::from(RATE.0)) as usize;
    let samples = sound(&line, &player)[cut..].to_vec();
    let asked = Asked {
        tempo_bpm: Some(96.0),
        ..Asked::default()
    };
    let found = written(samples, &asked);
    assert_eq!(notes(&found.line), notes(&line));
}
