//! Ghost notes played by the synth, right after open strings and fretted ones that ring: heard in their
//! places, whatever the player's small deviations.

mod source_support;

use seamline::compare::judgement::Verdict;
use seamline::music::line::read_text;
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::sound::synth::{Performance, Player, Voice, render};
use seamline::units::SampleRate;
use source_support::Samples;

const RATE: SampleRate = SampleRate(44_100);

const LINE: &str = "tempo: 90\nmeter: 4/4\n\n\
    1/8 3:0 x3:3 3:5 x3:5 1/4 2:0 1/8 x2:3 2:5\n\
    1/8 4:0 x4:3 4:5 r 1/4 1:0 1/8 x1:3 1:2\n\
    1/8 3:0 x2:3 4:3 x4:3 1/4 3:0 1/8 x4:3 3:0\n";

fn verdicts(seed: u64) -> Vec<Verdict> {
    let line = read_text(LINE).expect("a line");
    let notes = line.expected(line.instrument());
    let performance = Performance::of_line(&notes, &Player::steady(seed));
    let samples = render(&performance, &Voice::fingered(), RATE);
    let mut source = Samples::new(RATE, vec![Ok(samples)]);
    let result = score_take("ghosts", &mut source, &line, &ScoreSettings::default());
    let notes = result.expect("a result").judgement.notes;
    notes.iter().map(|note| note.verdict).collect()
}

#[test]
fn ghosts_are_heard_after_ringing_strings() {
    for seed in 1..=6 {
        let found = verdicts(seed);
        let right = found.iter().all(|found| *found == Verdict::Right);
        assert!(right, "seed {seed}: {found:?}");
    }
}
