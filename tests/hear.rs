//! `seamline hear`: one join alone, and what the marks beside notes sound like.

#[path = "program_support/mod.rs"]
mod support;

use seamline::music::line::{Line, read_text};
use seamline::sound::synth::{Performance, Player, Role};
use support::Bench;

/// Frames per second of what is rendered.
const RATE: f64 = 48_000.0;

fn samples(bench: &Bench, name: &str) -> Vec<f64> {
    let mut reader = hound::WavReader::open(bench.path(name)).expect("a WAV file");
    let all = reader.samples::<i16>();
    all.map(|sample| f64::from(sample.expect("a sample")) / 32_768.0)
        .collect()
}

/// Level of a stretch in seconds, in decibels: the root of the mean square.
fn level_db(samples: &[f64], from_s: f64, to_s: f64) -> f64 {
    let part = &samples[(from_s * RATE) as usize..(to_s * RATE) as usize];
    let power = part.iter().map(|x| x * x).sum::<f64>() / part.len() as f64;
    10.0 * power.max(1e-20).log10()
}

fn rendered(text: &str) -> Vec<f64> {
    let bench = Bench::empty();
    bench.write("a.line", text.as_bytes());
    bench.run(&["hear", "a.line", "-o", "a.wav"]).exits(0);
    samples(&bench, "a.wav")
}

fn played(line: &Line) -> Performance {
    let notes = line.expected(line.instrument());
    let plain = Performance::of_line(&notes, &Player::exact());
    plain.with_ornaments(&notes, &line.graces(&notes))
}

/// Closed form: four quarters at 120 are 2 s; at 60 per cent of it 10/3 s.
#[test]
fn a_join_is_heard_alone_from_beat_to_beat() {
    let bench = Bench::new();
    let hear = |more: &[&str]| {
        bench.run(&[&["hear", "two.line", "-o", "join.wav", "--join"], more].concat())
    };
    for (more, seconds) in [
        (&["1:2"] as &[&str], 2.0),
        (&["1:2", "--tempo", "60%"], 2.0 / 0.6),
        // The first note has none before it, the last but one has one behind it.
        (&["1:1"], 1.5),
        (&["2:3"], 1.5),
        (&["1:2", "--click", "all"], 2.0),
        (&["2:1", "--seed", "3", "--with", "gap:2.1:80"], 2.0),
    ] {
        let run = hear(more).exits(0);
        let frames = samples(&bench, "join.wav").len() as f64;
        assert!((frames - seconds * RATE).abs() <= 1.0, "{more:?}: {frames}");
        assert!(run.err().contains("join.wav: "), "{}", run.shown());
        assert!(run.err().contains("the join after bar"), "{}", run.shown());
    }
    // The last of it has died away when it ends: it can be played over and over.
    hear(&["1:2"]).exits(0);
    let plain = samples(&bench, "join.wav");
    let end_db = level_db(&plain, 1.99, 2.0);
    assert!(end_db < level_db(&plain, 1.6, 1.7) - 25.0, "{end_db} dB");
    assert!(hear(&["2:1"]).err().contains("after bar 2 beat 1, 4 notes"));
    hear(&["1:2.5"]).refuses(&["--join", "bar 1 beat 2.5", "begin at 1, 2, 3, 4"]);
    hear(&["9:1"]).refuses(&["--join", "bar 9"]);
    hear(&["2:4"]).refuses(&["--join", "last"]);
    hear(&["2"]).refuses(&["--join", "2:4.5"]);
    hear(&["1:2", "--count-in", "1"]).refuses(&["--join", "--count-in"]);
}

/// Off the beat it starts with the beat before; swung, the second eighth comes at two thirds.
#[test]
fn a_join_off_the_beat_starts_on_it() {
    let bench = Bench::empty();
    bench.write(
        "a.line",
        b"tempo: 60\n\n1/8 r 3:0 3:2 3:3 3:5 3:3 3:2 3:0\n1/1 3:0\n",
    );
    for (swing, onset_s) in [("off", 0.5), ("2:1", 2.0 / 3.0)] {
        let arguments = [
            "hear", "a.line", "-o", "a.wav", "--join", "1:2", "--swing", swing,
        ];
        bench.run(&arguments).exits(0);
        let all = samples(&bench, "a.wav");
        // From beat 1 to the end of beat 2.5, which is beat 3; to beat 4 with the note behind.
        assert_eq!(all.len(), 3 * 48_000, "{swing}");
        let first = all.iter().position(|x| x.abs() > 1e-3).expect("sound") as f64 / RATE;
        assert!((first - onset_s).abs() < 0.005, "{swing}: {first} s");
    }
}

#[test]
fn what_was_written_is_said() {
    let bench = Bench::new();
    let run = bench
        .run(&[
            "hear", "two.line", "-o", "a.wav", "--bars", "2", "--tempo", "90",
        ])
        .exits(0);
    for words in ["a.wav: 3.7 seconds", "bar 2", "tempo 90"] {
        assert!(run.err().contains(words), "{}", run.shown());
    }
}

#[test]
fn a_ghost_note_is_a_muted_thump() {
    let all = rendered("tempo: 60\n\n1/4 3:5 x3:5 3:5 r\n");
    let (plain, ghost) = (level_db(&all, 0.2, 0.9), level_db(&all, 1.2, 1.9));
    assert!(ghost < plain - 30.0, "{ghost} after {plain} dB");
    // It is heard all the same.
    let thump = level_db(&all, 1.0, 1.05);
    assert!(thump > level_db(&all, 0.0, 0.05) - 20.0, "{thump} dB");
}

#[test]
fn an_accent_is_louder() {
    let all = rendered("tempo: 60\n\n1/4 3:5 3:5^ 3:5 r\n");
    let rise = level_db(&all, 1.0, 1.5) - level_db(&all, 0.0, 0.5);
    assert!((2.0..6.0).contains(&rise), "{rise} dB");
}

#[test]
fn a_grace_note_is_short_and_before_the_beat() {
    let all = rendered("tempo: 60\n\n1/4 r g3:3 3:5 r r\n");
    let first = all.iter().position(|&x| x != 0.0).expect("sound") as f64 / RATE;
    // The line leaves a lead-in of two grace notes for its first note.
    let lead_s = 0.14;
    assert!((first - (lead_s + 1.0 - 0.07)).abs() < 0.005, "{first} s");
    let line = read_text("1/4 3:0 g3:3 g3:4 3:5 r g3:3&2:5 3:5\n").expect("a line");
    let performance = played(&line);
    let graces: Vec<(f64, u8)> = performance
        .notes
        .iter()
        .filter(|note| note.role == Role::Grace)
        .map(|note| (note.onset_s, note.fret))
        .collect();
    // Two before 0.5 s, the second chord's both together before 1.5 s.
    let wanted = [(0.36, 3), (0.43, 4), (1.43, 3), (1.43, 5)];
    assert_eq!(graces.len(), wanted.len());
    for (grace, wanted) in graces.iter().zip(wanted) {
        assert!(
            (grace.0 - wanted.0).abs() < 1e-9 && grace.1 == wanted.1,
            "{grace:?}"
        );
    }
    // The note before is let go when the first of them comes.
    assert!((performance.notes[0].release_s - 0.36).abs() < 1e-9);
}

#[test]
fn a_slide_arrives_where_it_is_written() {
    let line = read_text("tempo: 60\n\n1/4 3:3 >>3:7 >>3:5 h3:7\n").expect("a line");
    let notes = played(&line).notes;
    let slides: Vec<Option<(f64, i16)>> = notes
        .iter()
        .map(|note| note.slide.map(|slide| (slide.to_s, slide.frets)))
        .collect();
    assert_eq!(slides, [Some((1.0, 4)), Some((2.0, -2)), None, None]);
    for note in notes.iter().filter(|note| note.slide.is_some()) {
        let slide = note.slide.expect("a slide");
        assert!(slide.from_s > note.onset_s && slide.from_s > slide.to_s - 0.1);
    }
    // It is heard: half way up the string sounds an octave and a half step of the way higher. Sign
    // changes count the pitch where one partial rules; twelve frets in 144 ms.
    let crossings = |samples: &[f64], from_s: f64, to_s: f64| {
        let part = &samples[(from_s * RATE) as usize..(to_s * RATE) as usize];
        part.windows(2)
            .filter(|pair| pair[0] < 0.0 && pair[1] >= 0.0)
            .count() as f64
            / (to_s - from_s)
    };
    let slid = rendered("tempo: 60\n\n1/4 1:0 >>1:12 r r\n");
    let plain = rendered("tempo: 60\n\n1/4 1:0 h1:12 r r\n");
    let rise = crossings(&slid, 0.93, 1.0) / crossings(&plain, 0.93, 1.0);
    assert!((1.3..2.2).contains(&rise), "{rise}");
    let before = crossings(&slid, 0.7, 0.85) / crossings(&plain, 0.7, 0.85);
    assert!((before - 1.0).abs() < 0.02, "{before}");
}

/// Lines without marks are played as before, to the byte.
#[test]
fn without_marks_nothing_changes() {
    let line = read_text("1/8 3:0 3:3 >3:5 2:2 r 2:2! 2:2&1:4 =\n1/1 3:0\n").expect("a line");
    let notes = line.expected(line.instrument());
    let plain = Performance::of_line(&notes, &Player::steady(4));
    let with = plain.clone().with_ornaments(&notes, &line.graces(&notes));
    assert_eq!(plain, with);
}

/// What `hear` plays is how it should sound: every note of it is right. Grace notes are left out:
/// they are heard, and told as notes that nobody wrote.
#[test]
fn a_line_with_marks_is_right_when_it_is_scored() {
    let bench = Bench::empty();
    bench.write(
        "a.line",
        b"title: Marks\ntempo: 80\n\n1/4 3:0 3:3 3:3^ 2:2\n1/4 2:4 h2:5 p2:4 >>2:7\n\
          1/4 3:7 x3:7 3:5 2:5^\n1/1 3:0\n",
    );
    for seed in [&[] as &[&str], &["--seed", "4"]] {
        let hear = [&["hear", "a.line", "-o", "a.wav"], seed].concat();
        bench.run(&hear).exits(0);
        bench
            .run(&["score", "a.wav", "--line", "a.line", "--pass-mark", "100"])
            .reports(&["all 13 notes right, no gaps"]);
    }
}

/// A recording that is switched on late, or behind a noise gate that opens with the first note, begins
/// in digital silence, which says nothing of the noise a damped note falls to. Closed form: what stands
/// before the first note moves no gap.
#[test]
fn digital_silence_before_a_take_hides_no_gap() {
    const SILENT_S: f64 = 0.1;
    let study = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/lantern-stairs.line");
    for seed in ["61", "62", "63", "67"] {
        let bench = Bench::empty();
        bench.write("study.line", &std::fs::read(study).expect("the study"));
        let faults = ["--seed", seed, "--with", "gap:2.4.5:120"];
        let hear = ["hear", "study.line", "--bars", "2-3", "-o", "take.wav"];
        bench.run(&[&hear[..], &faults].concat()).exits(0);
        let mut late = vec![0.0; (SILENT_S * RATE) as usize];
        late.extend(samples(&bench, "take.wav"));
        let spec = hound::WavReader::open(bench.path("take.wav"))
            .expect("a WAV file")
            .spec();
        let mut file = hound::WavWriter::create(bench.path("late.wav"), spec).expect("a file");
        for sample in late {
            file.write_sample((sample * 32_768.0) as i16)
                .expect("written");
        }
        file.finalize().expect("written");
        let [gap, behind_silence] = ["take.wav", "late.wav"].map(|take| {
            let score = ["score", take, "--line", "study.line", "--bars", "2-3"];
            let run = bench.run(&[&score[..], &["--json", "-"]].concat()).exits(0);
            let report: serde_json::Value = serde_json::from_str(&run.out()).expect("JSON");
            let notes = report["notes"].as_array().expect("notes");
            let shift = notes.iter().find(|n| n["bar"] == 2 && n["beat"] == 4.5);
            shift.expect("the shift")["gap_ms"].as_f64().expect("a gap")
        });
        assert!((gap - 120.0).abs() < 10.0, "seed {seed}: {gap} ms");
        assert!(
            (behind_silence - gap).abs() < 3.0,
            "seed {seed}: {behind_silence} ms behind silence, {gap} without"
        );
    }
}
