//! The page of a judged take, its pictures, and why a note got its verdict, through the real program.

mod program_support;

use std::fs;
use std::path::Path;

use program_support::Bench;
use roxmltree::{Document, Node};
use serde_json::Value;

/// The demo take with five passes and faults in them.
fn demo() -> Bench {
    let bench = Bench::empty();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    for (from, to) in [
        ("lantern-stairs-practice.wav", "take.wav"),
        ("lantern-stairs.line", "my.line"),
    ] {
        fs::copy(demo.join(from), bench.path(to)).expect("the demo is there");
    }
    bench
}

const SCORE: [&str; 4] = ["score", "take.wav", "--line", "my.line"];

fn read(bench: &Bench, name: &str) -> String {
    fs::read_to_string(bench.path(name)).expect(name)
}

/// The figure of an attribute: a number, or `None` where it is empty.
fn figure(node: Node, name: &str) -> Option<f64> {
    let text = node
        .attribute(name)
        .unwrap_or_else(|| panic!("{name} of {node:?}"));
    (!text.is_empty()).then(|| text.parse().unwrap_or_else(|_| panic!("{name}: {text}")))
}

/// The pictures hold, for every note of every pass, the very figures of the JSON of the same run.
#[test]
fn figures_of_the_pictures_are_those_of_the_json() {
    let bench = demo();
    let files = [
        "--json",
        "take.json",
        "--svg",
        "pictures",
        "--html",
        "take.html",
    ];
    let run = bench.run(&[&SCORE[..], &files[..]].concat()).exits(0);
    assert!(
        run.out().contains("passes"),
        "the text is there too\n{}",
        run.shown()
    );
    let json: Value = serde_json::from_str(&read(&bench, "take.json")).expect("JSON");
    let passes = json["passes"].as_array().expect("passes");
    let note = |pass: f64, index: f64| -> &Value {
        let notes = passes[pass as usize - 1]["notes"]
            .as_array()
            .expect("notes");
        let note = notes.iter().find(|n| n["index"] == index as u64);
        note.expect("the pass has such a note")
    };
    let mut seen = 0;
    for bar in 1..=8 {
        let text = read(&bench, &format!("pictures/bar-{bar}.svg"));
        let document = Document::parse(&text).expect("well-formed");
        for group in document
            .descendants()
            .filter(|n| n.has_attribute("data-verdict"))
        {
            let told = note(
                figure(group, "data-pass").expect("a pass"),
                figure(group, "data-note").expect("a note"),
            );
            assert_eq!(told["bar"], bar);
            assert_eq!(group.attribute("data-verdict"), told["verdict"].as_str());
            for name in [
                "onset_s",
                "release_s",
                "timing_ms",
                "timing_uncertainty_ms",
                "gap_ms",
                "cents",
                "level_db",
            ] {
                let drawn = figure(group, &format!("data-{}", name.replace('_', "-")));
                assert_eq!(drawn, told[name].as_f64(), "{name} of {told}");
            }
            seen += 1;
        }
    }
    let judged = passes.iter().filter(|pass| pass["judged"] == true);
    let notes: usize = judged
        .map(|pass| pass["notes"].as_array().expect("notes").len())
        .sum();
    assert_eq!(seen, notes, "every note of every pass is drawn once");
    assert!(notes > 90, "{notes}");
    // The picture of time holds the same once more, that of loudness the levels.
    for (name, field) in [("time", "timing_ms"), ("loudness", "level_db")] {
        let text = read(&bench, &format!("pictures/{name}.svg"));
        let document = Document::parse(&text).expect("well-formed");
        let groups = document
            .descendants()
            .filter(|n| n.has_attribute("data-note"));
        let mut count = 0;
        for group in groups {
            let told = note(
                figure(group, "data-pass").expect("a pass"),
                figure(group, "data-note").expect("a note"),
            );
            let drawn = figure(group, &format!("data-{}", field.replace('_', "-")));
            assert_eq!(drawn, told[field].as_f64());
            count += 1;
        }
        assert!(count > 80, "{name}: {count}");
    }
    // The table of joins, too.
    let html = read(&bench, "take.html");
    for join in json["joins"].as_array().expect("joins") {
        let gaps = join["gaps_ms"].as_array().expect("gaps").iter();
        let gaps: Vec<String> = gaps
            .map(|gap| gap.as_f64().map_or("-".to_owned(), |gap| gap.to_string()))
            .collect();
        let row = format!(
            "data-join=\"{}\" data-gaps-ms=\"{}\"",
            join["index"],
            gaps.join(" ")
        );
        assert_eq!(html.matches(&row).count(), 1, "{row}");
    }
    for finding in json["findings"].as_array().expect("findings") {
        let sentence = finding["sentence"].as_str().expect("a sentence");
        assert!(html.contains(&sentence.replace('&', "&amp;")), "{sentence}");
    }
}

/// Time runs to the right at one scale within a pass: the silence drawn at each gap is as long beside
/// its note as it is in the figures. Not where the pulse moves within the note, hence a tenth.
#[test]
fn a_gap_is_as_long_as_it_was() {
    let bench = demo();
    bench
        .run(&[&SCORE[..], &["--svg", "pictures"]].concat())
        .exits(0);
    let mut gaps = 0;
    for bar in 1..=8 {
        let text = read(&bench, &format!("pictures/bar-{bar}.svg"));
        let document = Document::parse(&text).expect("well-formed");
        let of_class = |node: Node, class: &str| {
            node.children()
                .find(|n| n.attribute("class") == Some(class))
                .map(|n| n.range())
        };
        for group in document
            .descendants()
            .filter(|n| n.has_attribute("data-verdict"))
        {
            let child = |class: &str| {
                group
                    .children()
                    .find(|n| n.attribute("class") == Some(class))
            };
            let (Some(note), Some(gap)) = (child("sounding"), child("gap")) else {
                continue;
            };
            assert!(of_class(group, "written").is_some());
            let seconds = |name: &str| figure(group, name).expect("known");
            let lasted_ms = 1000.0 * (seconds("data-release-s") - seconds("data-onset-s"));
            let per_ms = figure(note, "width").expect("a width") / lasted_ms;
            let drawn_ms = figure(gap, "width").expect("a width") / per_ms;
            let told_ms = seconds("data-gap-ms");
            assert!(
                (drawn_ms - told_ms).abs() < 0.1 * told_ms + 2.0,
                "{drawn_ms}, not {told_ms}"
            );
            gaps += 1;
        }
    }
    assert!(gaps >= 3, "{gaps} gaps were drawn");
}

/// The same take gives the same page, and only its own files are written again.
#[test]
fn only_its_own_pages_are_written_again() {
    let bench = demo();
    let write = |more: &[&str]| bench.run(&[&SCORE[..], more].concat());
    let files = ["--html", "take.html", "--svg", "pictures"];
    write(&files).exits(0);
    let (page, picture) = (
        read(&bench, "take.html"),
        read(&bench, "pictures/bar-3.svg"),
    );
    assert!(page.starts_with("<!doctype html>\n<!-- written by seamline score -->\n<html"));
    assert!(picture.starts_with("<!-- written by seamline score -->\n<svg"));
    write(&files).exits(0);
    assert_eq!(read(&bench, "take.html"), page);
    assert_eq!(read(&bench, "pictures/bar-3.svg"), picture);
    for mine in [
        "<!doctype html>\n<p>mine",
        "<!-- written by seamline show -->",
        "",
    ] {
        bench.write("take.html", mine.as_bytes());
        write(&files[..2]).refuses(&["take.html", "--replace"]);
        assert_eq!(read(&bench, "take.html"), mine);
    }
    write(&["--html", "take.html", "--replace"]).exits(0);
    bench.write("pictures/bar-3.svg", b"<svg>mine</svg>");
    bench.write("pictures/bar-1.svg", picture.as_bytes());
    let run = write(&files[2..]).exits(2);
    assert!(
        run.err().contains("bar-3.svg") && run.err().contains("--replace"),
        "{}",
        run.shown()
    );
    assert_eq!(read(&bench, "pictures/bar-3.svg"), "<svg>mine</svg>");
    assert_eq!(
        read(&bench, "pictures/bar-1.svg"),
        picture,
        "nothing else was written"
    );
    write(&["--html", "my.line", "--replace"]).refuses(&["my.line"]);
    write(&["--html", "take.wav", "--replace"]).refuses(&["take.wav"]);
    write(&["--html", "a.x", "--json", "a.x"]).refuses(&["same file"]);
    write(&["--svg", "my.line"]).refuses(&["my.line", "folder"]);
    write(&["--svg", "-"]).refuses(&["--svg", "folder"]);
    write(&["--html", "-", "--json", "-"]).refuses(&["standard output"]);
    write(&["--html", "-", "--why", "3"]).refuses(&["standard output"]);
    write(&["take.wav", "--svg", "more"]).refuses(&["--svg", "one take"]);
    write(&["--embed-sound"]).refuses(&["--html"]);
    let run = write(&["--html", "-"]).exits(0);
    assert_eq!(run.out(), page, "no text beside it");
}

/// The sound in the page is the take: as many frames, and the same samples in 16 bits.
#[test]
fn the_sound_of_the_take_is_in_the_page() {
    let bench = demo();
    let run = bench.run(&[&SCORE[..], &["--html", "take.html", "--embed-sound"]].concat());
    run.exits(0);
    let html = read(&bench, "take.html");
    let (_, rest) = html
        .split_once("src=\"data:audio/wav;base64,")
        .expect("sound");
    let sound = from_base64(rest.split_once('"').expect("a value").0);
    let samples = |bytes: &[u8]| -> Vec<i16> {
        let mut wav = hound::WavReader::new(bytes).expect("a WAV file");
        assert_eq!(wav.spec().channels, 1);
        wav.samples::<i16>().map(|s| s.expect("a sample")).collect()
    };
    let take = fs::read(bench.path("take.wav")).expect("the take");
    assert!(
        samples(&sound) == samples(&take),
        "the demo take is mono and of 16 bits"
    );
    assert!(html.contains("<button type=\"button\" hidden data-onset-s="));
    let from_pipe = [
        "score",
        "-",
        "--line",
        "my.line",
        "--html",
        "x.html",
        "--embed-sound",
    ];
    bench
        .run(&from_pipe)
        .refuses(&["--embed-sound", "standard input"]);
}

/// RFC 4648, section 4, read slowly.
fn from_base64(text: &str) -> Vec<u8> {
    let letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut values = [0u32; 128];
    for (value, letter) in (0..).zip(letters.bytes()) {
        values[usize::from(letter)] = value;
    }
    let mut bytes = Vec::new();
    for four in text.as_bytes().chunks(4) {
        let bits = four
            .iter()
            .fold(0, |bits, b| bits << 6 | values[usize::from(*b)]);
        let padding = four.iter().filter(|b| **b == b'=').count();
        bytes.extend_from_slice(&bits.to_be_bytes()[1..4 - padding]);
    }
    bytes
}

/// A take that is not the line, and one without a sound, give a page that says so.
#[test]
fn what_could_not_be_judged_has_a_page_without_pictures() {
    let bench = demo();
    let samples = [0i16; 44_100];
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 44_100,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(bench.path("take.wav"), spec).expect("a file");
    for sample in samples {
        wav.write_sample(sample).expect("written");
    }
    wav.finalize().expect("written");
    let files = ["--html", "take.html", "--svg", "pictures"];
    let run = bench.run(&[&SCORE[..], &files[..]].concat()).exits(2);
    assert!(run.err().contains("nothing to draw"), "{}", run.shown());
    assert!(read(&bench, "take.html").contains("no note was heard"));
    assert!(!bench.path("pictures").exists());
}

/// A file name and a title that want to be markup are text on the page.
#[test]
fn hostile_names_are_text() {
    let bench = demo();
    let name = "<img src=x onerror=alert(1)>\"'&.wav";
    fs::rename(bench.path("take.wav"), bench.path(name)).expect("renamed");
    let line =
        read(&bench, "my.line").replace("Lantern stairs", "</title><script>alert(1)</script>");
    bench.write("my.line", line.as_bytes());
    bench
        .run(&["score", name, "--line", "my.line", "--html", "take.html"])
        .exits(0);
    let html = read(&bench, "take.html");
    assert!(
        !html.contains("<script") && !html.contains("<img"),
        "markup got in"
    );
    assert!(html.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    assert!(html.contains("&lt;img src=x onerror=alert(1)&gt;&quot;"));
}

#[test]
fn why_explains_a_note_in_every_pass() {
    let bench = demo();
    let why = |place: &str| bench.run(&[&SCORE[..], &["--why", place]].concat());
    let run = why("3.2.5").exits(0);
    let text = run.out();
    assert!(text.starts_with("bar 3 beat 2.5: "), "{}", run.shown());
    for word in [
        "pass 2", "verdict", "onset", "pitch", "grid", "silence", "written", "limits", "25 ms",
    ] {
        assert!(text.contains(word), "{word}\n{}", run.shown());
    }
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{}",
        run.shown()
    );
    assert!(why("3").exits(0).out().matches("\nlimits\n").count() > 1);
    let run = why("3.2.7").exits(2);
    assert!(run.err().contains("begin on beat 1, "), "{}", run.shown());
    assert!(why("99.1").exits(2).err().contains("bar 99"));
    for wrong in ["", "x", "3.", "3..5", "-3"] {
        let run = bench
            .run(&[&SCORE[..], &[&format!("--why={wrong}")]].concat())
            .exits(2);
        assert!(run.err().contains("3.2.5"), "{}", run.shown());
    }
}
