//! Bars asked for by their printed numbers, in a line that plays them several times.

mod compare_support;

use compare_support::exactly;
use seamline::compare::{Settings, judge};
use seamline::music::line::read_text;

#[test]
fn bars_of_a_repeat_are_told_every_time_through_and_nothing_between() {
    // Bars 1 to 4 twice, then 5 and 6: played they are 1 to 10.
    let text = "|: 1/4 3:0 3:2 3:3 3:5\n2:2 2:3 2:5 2:7\n1:2 1:4 1:5 1:7\n2:7 2:5 2:3 2:2 :|\n\
                3:5 3:3 3:2 3:0\n4:3 4:1 4:0 3:0";
    let line = read_text(text).unwrap_or_else(|error| panic!("{error}"));
    let expected = line.expected(line.instrument());
    let stretches: Vec<(u32, u32)> = line
        .stretches(2..=3)
        .unwrap()
        .iter()
        .map(|bars| (*bars.start(), *bars.end()))
        .collect();
    assert_eq!(stretches, [(2, 3), (6, 7)]);
    let settings = Settings {
        bars: Some((2, 7)),
        stretches,
        ..Settings::default()
    };
    let judgement = judge(&expected, &exactly(&expected, 1.0), &settings);
    let bars: Vec<u32> = judgement
        .notes
        .iter()
        .map(|note| note.expected.bar)
        .collect();
    let wanted: Vec<u32> = [2, 3, 6, 7].iter().flat_map(|&bar| [bar; 4]).collect();
    assert_eq!(bars, wanted);
    assert_eq!(judgement.tally.right, 16);
    let passes: Vec<(u32, u32)> = judgement.passes.iter().map(|pass| pass.bars).collect();
    assert_eq!(passes, [(2, 3), (6, 7)]);
}
