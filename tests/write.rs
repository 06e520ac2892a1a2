//! Lines played by the synth, written down, and held against what was played.
//!
//! The truth is the line that was rendered; nothing here comes from what the program said before.

mod source_support;

use seamline::music::line::{Line, read_text};
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
    render(&Performance::of_line(&expected, player), &voice, RATE)
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
