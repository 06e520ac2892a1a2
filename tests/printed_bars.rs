//! A line with a repeat: what is said of a bar names the number that is printed where that is another one
//! than the number it is played as.

mod source_support;

use seamline::music::line::{Line, read_text};
use seamline::report::text::{PageSettings, Practise, page};
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::session::result::TakeResult;
use seamline::sound::synth::{Performance, Player, Voice, render};
use seamline::units::SampleRate;
use source_support::Samples;

const RATE: SampleRate = SampleRate(44_100);

/// Two bars twice, then a third: played as bars 1 to 5.
fn line() -> Line {
    read_text("tempo: 100\nmeter: 4/4\n\n|: 1/4 4:3 3:2 3:5 2:4\n2:5 2:2 3:3 3:5 :|\n1/2 4:3 4:3\n")
        .expect("a line")
}

/// The line with one note, by its number, a tone too high.
fn played(wrong: usize) -> TakeResult {
    let line = line();
    let mut performance =
        Performance::of_line(&line.expected(line.instrument()), &Player::steady(4));
    for note in &mut performance.notes {
        if note.index == Some(wrong) {
            note.midi += 2.0;
            note.fret += 2;
        }
    }
    let samples = render(&performance, &Voice::fingered(), RATE);
    let mut source = Samples::new(RATE, vec![Ok(samples)]);
    score_take("take", &mut source, &line, &ScoreSettings::default()).expect("a result")
}

fn printed(result: &TakeResult) -> String {
    let settings = PageSettings {
        practise: Some(Practise {
            line: "a.line".to_owned(),
            share: 1.0,
        }),
        ..PageSettings::default()
    };
    page(result, &settings)
}

#[test]
fn the_second_time_through_names_the_printed_bar() {
    // Note 9 is the second of bar 3 as played, which is printed as bar 1.
    let result = played(9);
    let findings: Vec<&str> = result
        .judgement
        .findings
        .iter()
        .map(|finding| finding.sentence.as_str())
        .collect();
    assert!(
        findings
            .iter()
            .any(|said| said.starts_with("bar 3 (printed 1) beat 2: ")),
        "{findings:?}"
    );
    let page = printed(&result);
    assert!(page.contains("--bars 1"), "{page}");
    assert!(page.contains("3 (1)"), "{page}");
}

#[test]
fn where_the_numbers_are_the_same_one_is_said() {
    let result = played(1);
    let findings = &result.judgement.findings;
    assert!(
        findings
            .iter()
            .any(|finding| finding.sentence.starts_with("bar 1 beat 2: ")),
        "{findings:?}"
    );
}
