//! `seamline hear TAKE`: the pass, the bars or the join that were asked for, at the speed asked for and
//! at the pitch that was played, told by the program's own ear.

mod ear_support;
#[path = "program_support/mod.rs"]
mod support;

use ear_support::{midi, notes};
use seamline::hearing::events::HeardNote;
use seamline::units::SampleRate;
use support::{Bench, Run};

/// Frames per second of the takes and of what is written.
const RATE: SampleRate = SampleRate(48_000);

/// Written pitches of the line's two bars (A1 C2 E2 G2, D2 F2 A2 D2) as MIDI notes, by string and fret.
const BAR1: [f64; 4] = [33.0, 36.0, 40.0, 43.0];
const BAR2: [f64; 4] = [38.0, 41.0, 45.0, 38.0];

/// What sounds before the first note, in seconds (`BEFORE_S`).
const BEFORE_S: f64 = 0.15;

/// A bench with a take of two passes of the two bars, 2.5 s of silence between them.
fn bench() -> Bench {
    let bench = Bench::new();
    let one = samples(&bench, "take.wav");
    let mut two = one.clone();
    two.extend(vec![0.0; (2.5 * RATE.hz()) as usize]);
    two.extend(&one);
    write(&bench, "two.wav", &two);
    bench
}

fn samples(bench: &Bench, name: &str) -> Vec<f32> {
    let mut reader = hound::WavReader::open(bench.path(name)).expect("a WAV file");
    assert_eq!(reader.spec().sample_rate, RATE.0);
    let all = reader.samples::<i16>();
    all.map(|x| f32::from(x.expect("a sample")) / 32_768.0)
        .collect()
}

fn write(bench: &Bench, name: &str, samples: &[f32]) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE.0,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(bench.path(name), spec).expect("a file");
    for x in samples {
        writer.write_sample((x * 32_768.0) as i16).expect("written");
    }
    writer.finalize().expect("written");
}

/// Hears a part of the take and gives what was written.
fn heard(bench: &Bench, more: &[&str]) -> (Run, Vec<f32>) {
    let hear = ["hear", "two.wav", "--line", "two.line", "-o", "part.wav"];
    let run = bench.run(&[&hear, more].concat()).exits(0);
    let part = samples(bench, "part.wav");
    (run, part)
}

/// The clear notes in it.
fn clear(samples: &[f32]) -> Vec<HeardNote> {
    let mut all = notes(samples, RATE);
    all.retain(|note| note.pitch.is_some_and(|pitch| pitch.clarity > 0.9));
    all
}

/// Whether these are the notes heard, in order, within a third of a semitone.
fn are(heard: &[HeardNote], wanted: &[f64]) -> bool {
    let near = |(note, wanted): (&HeardNote, &f64)| (midi(note) - wanted).abs() < 0.33;
    heard.len() == wanted.len() && heard.iter().zip(wanted).all(near)
}

fn told(notes: &[HeardNote]) -> Vec<(f64, f64)> {
    notes
        .iter()
        .map(|note| (note.onset_s, midi(note)))
        .collect()
}

#[test]
fn a_pass_is_heard_as_it_was_recorded() {
    let bench = bench();
    let all = samples(&bench, "two.wav");
    for number in ["1", "2"] {
        let (run, part) = heard(&bench, &["--pass", number]);
        assert!(
            run.err().contains(&format!("pass {number} of 2")),
            "{}",
            run.shown()
        );
        let notes = clear(&part);
        assert!(are(&notes, &[BAR1, BAR2].concat()), "{:?}", told(&notes));
        assert!(
            (notes[0].onset_s - BEFORE_S).abs() < 0.01,
            "{:?}",
            told(&notes)
        );
        // Eight quarters at 120 are 4 s.
        let seconds = part.len() as f64 / RATE.hz();
        assert!((4.0..4.8).contains(&seconds), "{seconds} s");
        // Sample for sample what lies in the take.
        let found = all.windows(part.len()).any(|window| {
            window[..64] == part[..64] && window[window.len() / 2..] == part[part.len() / 2..]
        });
        assert!(found, "pass {number} is not in the take as it was written");
    }
    // None named is the last one.
    let (run, _) = heard(&bench, &[]);
    assert!(run.err().contains("pass 2 of 2"), "{}", run.shown());
}

#[test]
fn bars_and_joins_of_a_pass_are_the_right_notes() {
    let bench = bench();
    let (_, part) = heard(&bench, &["--pass", "1", "--bars", "2"]);
    let notes = clear(&part);
    assert!(are(&notes, &BAR2), "{:?}", told(&notes));
    let (_, part) = heard(&bench, &["--pass", "2", "--bars", "1"]);
    let notes = clear(&part);
    // A little of what comes behind is heard, too.
    assert!(
        notes.len() >= 4 && are(&notes[..4], &BAR1),
        "{:?}",
        told(&notes)
    );
    // The join after bar 1 beat 4, with a note more on either side.
    let (run, part) = heard(&bench, &["--pass", "1", "--join", "1:4"]);
    let notes = clear(&part);
    let wanted = [BAR1[2], BAR1[3], BAR2[0], BAR2[1]];
    assert!(
        notes.len() >= 4 && are(&notes[..4], &wanted),
        "{:?}",
        told(&notes)
    );
    assert!(
        run.err().contains("the join after bar 1 beat 4"),
        "{}",
        run.shown()
    );
}

#[test]
fn half_speed_is_twice_as_long_at_the_same_pitch() {
    let bench = bench();
    let (_, full) = heard(&bench, &["--pass", "1", "--bars", "2"]);
    let as_played = clear(&full);
    for (speed, share) in [("75%", 0.75), ("50%", 0.5)] {
        let (run, slow) = heard(&bench, &["--pass", "1", "--bars", "2", "--speed", speed]);
        let wanted = (full.len() as f64 / share).round();
        assert!(
            (slow.len() as f64 - wanted).abs() <= 1.0,
            "{speed}: {}",
            slow.len()
        );
        let slower = clear(&slow);
        assert!(are(&slower, &BAR2), "{speed}: {:?}", told(&slower));
        for (before, after) in as_played.iter().zip(&slower) {
            let cents = 100.0 * (midi(after) - midi(before));
            assert!(cents.abs() < 2.0, "{speed}: {cents} cents");
            // What the ear takes for the moment of a soft start may move: see tests/stretch.rs.
            let off_ms = 1000.0 * (after.onset_s - before.onset_s / share);
            println!("{speed}: {cents:.2} cents, {off_ms:.1} ms");
            assert!(off_ms.abs() < 18.0, "{speed}: {off_ms} ms");
        }
        assert!(
            run.err()
                .contains(&format!("{:.0} % of the tempo", 100.0 * share))
        );
    }
}

#[test]
fn turn_about_with_the_guide() {
    let bench = bench();
    let (_, alone) = heard(&bench, &["--pass", "1", "--bars", "2"]);
    let (_, both) = heard(&bench, &["--pass", "1", "--bars", "2", "--with-guide"]);
    let mut notes = clear(&both);
    // The end of the note before the bar is heard, too, where the take begins.
    notes.retain(|note| (midi(note) - BAR1[3]).abs() > 0.33);
    let four_times = BAR2.repeat(4);
    assert!(are(&notes, &four_times), "{:?}", told(&notes));
    assert!(
        both.len() > 4 * alone.len(),
        "{} of {}",
        both.len(),
        alone.len()
    );
    // The guide is at the tempo that was played: its quarters are as long, within 15 ms.
    let quarter = |k: usize| notes[k + 3].onset_s - notes[k].onset_s;
    assert!(
        (quarter(0) - quarter(4)).abs() < 0.045,
        "{:?}",
        told(&notes)
    );
    // It is no louder than the take.
    let top = |part: &[f32]| part.iter().fold(0.0f32, |top, x| top.max(x.abs()));
    assert!((top(&both) - top(&alone)).abs() < 0.02 * top(&alone));
}

#[test]
fn what_is_not_there_is_told() {
    let bench = bench();
    let hear = |more: &[&str]| bench.run(&[&["hear", "two.wav"], more].concat());
    let line = ["--line", "two.line", "-o", "part.wav"];
    let with = |more: &[&str]| hear(&[&line, more].concat());
    with(&["--pass", "3"]).refuses(&["two.wav", "no pass 3", "2 passes"]);
    with(&["--pass", "1", "--bars", "7"]).refuses(&["pass 1 goes over bars 1 to 2", "bar 7"]);
    with(&["--join", "1:2.5"]).refuses(&["no join after bar 1 beat 2.5", "1, 2, 3, 4"]);
    with(&["--join", "2:4"]).refuses(&["no join after bar 2 beat 4"]);
    with(&["--speed", "40%"]).refuses(&["--speed", "50%"]);
    with(&["--pass", "0"]).refuses(&["--pass"]);
    with(&["--seed", "3"]).refuses(&["two.wav", "--seed", "take"]);
    with(&["--click", "all"]).refuses(&["two.wav", "--click"]);
    hear(&["-o", "part.wav"]).refuses(&["two.wav.played.json", "--line"]);
    bench
        .run(&["hear", "two.line", "--pass", "1", "-o", "part.wav"])
        .refuses(&["two.line", "--pass", "no sound file"]);
    bench
        .run(&[
            "hear",
            "two.wav",
            "--line",
            "two.line",
            "-o",
            "two.wav",
            "--replace",
        ])
        .refuses(&["two.wav"]);
    bench.write("other.line", b"tempo: 90\n\n1/4 1:9 1:11 1:12 1:9\n");
    bench
        .run(&["hear", "two.wav", "--line", "other.line", "-o", "part.wav"])
        .exits(2);
    assert!(!bench.path("part.wav").exists());
}
