//! From a source of sound to a result: the way the sound is cut must not show in it.

mod source_support;

use seamline::compare::judgement::{JudgedNote, Tally};
use seamline::music::line::{Line, read_text};
use seamline::report::{json, text};
use seamline::session::offline::{ScoreSettings, score_take};
use seamline::session::result::TakeResult;
use seamline::sound::SoundNote;
use seamline::sound::synth::{Performance, Player, Voice, parse_faults, render};
use seamline::units::{FrameCount, SampleRate};
use source_support::Samples;

/// Frames per second of the takes.
const RATE: SampleRate = SampleRate(44_100);

fn line() -> Line {
    read_text(
        "title: Three bars\ntempo: 110\nmeter: 4/4\nkey: Gb major\n\n1/4 3:0 3:3 2:2 2:5\n1/8 3:5 2:3 2:7 3:5 4:5 4:3 r 3:0\n1/2 4:0 4:3\n",
    )
    .expect("a line")
}

/// A played take of the line with a few faults in it.
fn samples(line: &Line) -> Vec<f32> {
    let faults = parse_faults("gap:1.2:90 late:2.3:60 wrong:1.4:-1").expect("faults");
    let performance = Performance::of_line(&line.expected(line.instrument()), &Player::steady(11))
        .with_faults(&faults)
        .expect("spots in the line");
    render(&performance, &Voice::fingered(), RATE)
}

fn scored(deliveries: Vec<Result<Vec<f32>, FrameCount>>, block_frames: usize) -> TakeResult {
    let settings = ScoreSettings {
        block_frames,
        ..ScoreSettings::default()
    };
    let mut source =
        Samples::new(RATE, deliveries).with_notes(vec![SoundNote::TrailingBytes { bytes: 3 }]);
    score_take("take", &mut source, &line(), &settings).expect("a result")
}

/// Blocks of any length give the same result, to the last bit and byte.
#[test]
fn the_cut_of_the_blocks_does_not_show() {
    let take = samples(&line());
    let whole = scored(vec![Ok(take.clone())], usize::MAX);
    assert!(
        whole.judgement.tally.right > 0,
        "{:?}",
        whole.judgement.tally
    );
    for frames in [0, 1, 7, 64, 441, 512, 4096] {
        let cut = scored(vec![Ok(take.clone())], frames);
        assert_eq!(cut, whole, "blocks of {frames} frames");
        assert_eq!(json::object(&cut), json::object(&whole));
        assert_eq!(text::report(&cut, false), text::report(&whole, false));
    }
    // The source's own blocks, of lengths from a fixed row of odd numbers.
    let mut rest = take.as_slice();
    let mut deliveries = Vec::new();
    for frames in [1, 3, 1021, 17, 6007].into_iter().cycle() {
        let (now, later) = rest.split_at(frames.min(rest.len()));
        deliveries.push(Ok(now.to_vec()));
        rest = later;
        if rest.is_empty() {
            break;
        }
    }
    assert_eq!(scored(deliveries, 333), whole);
}

/// Closed form: lost frames are counted, and time goes on over them.
#[test]
fn lost_frames_are_counted_and_keep_the_time() {
    let take = samples(&line());
    let frames = take.len() as u64;
    let (before, after) = take.split_at(RATE.0 as usize / 2);
    let lost = FrameCount(u64::from(RATE.0));
    let with_gap = scored(
        vec![Ok(before.to_vec()), Err(lost), Ok(after.to_vec())],
        4096,
    );
    assert_eq!(with_gap.take.dropped_frames, u64::from(RATE.0));
    let seconds = (frames + lost.0) as f64 / RATE.hz();
    assert!((with_gap.take.duration_s - seconds).abs() < 1e-9);
    // The gap lies before the first note, so every onset comes one second later. The middle one
    // is taken: the edges of the gap may touch the notes next to it. Tolerance: half of the 6 ms
    // within which an onset is to be known.
    let whole = scored(vec![Ok(take)], 4096);
    let onsets = |result: &TakeResult| -> Vec<Option<f64>> {
        let heard = |note: &JudgedNote| note.heard.as_ref().map(|heard| heard.onset_s);
        result.judgement.notes.iter().map(heard).collect()
    };
    let mut later_s: Vec<f64> = onsets(&with_gap)
        .into_iter()
        .zip(onsets(&whole))
        .filter_map(|(late, soon)| Some(late? - soon?))
        .collect();
    later_s.sort_by(f64::total_cmp);
    let middle_s = later_s[later_s.len() / 2];
    assert!((middle_s - 1.0).abs() < 0.003, "{later_s:?} s");
}

/// What the take is, and what its source has to say, stands in the result.
#[test]
fn the_take_is_described() {
    let take = samples(&line());
    let peak = take
        .iter()
        .fold(0.0f32, |peak, sample| peak.max(sample.abs()));
    let result = scored(vec![Ok(take)], 4096);
    assert_eq!(result.take.sample_rate, RATE.0);
    assert_eq!(result.take.sound_notes.len(), 1);
    // Closed form: 20 log10 of the largest sample.
    let loudest = result.take.loudest_dbfs.expect("a level");
    assert!((loudest - 20.0 * f64::from(peak).log10()).abs() < 1e-9);
    // Also in G flat, where an F flat could stand for the E.
    assert_eq!(result.line.strings, ["G", "D", "A", "E"]);
    let starts: Vec<f64> = result
        .line
        .bars
        .iter()
        .map(|bar| bar.start_quarters)
        .collect();
    assert_eq!(starts, [0.0, 4.0, 8.0]);
}

/// Silence, and no sound at all, are answers and no failures.
#[test]
fn silence_is_heard_as_nothing() {
    for deliveries in [vec![], vec![Ok(vec![0.0; 20_000])]] {
        let result = scored(deliveries, 4096);
        assert_eq!(result.take.loudest_dbfs, None);
        assert_eq!(result.judgement.tally, Tally::default());
        assert!(!result.judgement.notes.is_empty());
        let text = text::report(&result, false);
        assert!(
            text.starts_with("take: no note was heard; every sample is zero."),
            "{text}"
        );
        let object: serde_json::Value =
            serde_json::from_str(&json::object(&result)).expect("valid JSON");
        assert!(object["take"]["loudest_dbfs"].is_null());
    }
}

/// A note an octave above the next one, on another string, has no partial of its own there: it is
/// said that nothing can be told, unless a silence tells it.
#[test]
fn an_octave_left_behind_is_told_to_be_undecided_unless_a_silence_decides() {
    let cases = [
        // G2 on the first string, then G1 on the fourth, then on.
        ("1/4 1:0 4:3 3:2 3:3", "", 1),
        // The first is stopped 90 ms before the second.
        ("1/4 1:0 4:3 3:2 3:3", "gap:1.1:90", 0),
        // A rest after the second: what rings would be heard.
        ("1/4 1:0 4:3! r 3:3", "", 0),
        // A fifth apart: partials of its own.
        ("1/4 1:0 3:3 3:2 3:3", "", 0),
        // A twelfth (D3 above G1).
        ("1/4 1:7 4:3 3:2 3:3", "", 1),
    ];
    for (bar, faults, wanted) in cases {
        let line =
            read_text(&format!("tempo: 80\nmeter: 4/4\n\n{bar}\n1/1 4:5\n")).expect("a line");
        let mut performance =
            Performance::of_line(&line.expected(line.instrument()), &Player::steady(5));
        if !faults.is_empty() {
            performance = performance
                .with_faults(&parse_faults(faults).expect("faults"))
                .expect("spots in the line");
        }
        let take = render(&performance, &Voice::fingered(), RATE);
        let mut source = Samples::new(RATE, vec![Ok(take)]);
        let result =
            score_take("take", &mut source, &line, &ScoreSettings::default()).expect("a result");
        let undecided = &result.judgement.undecided;
        assert_eq!(
            result.judgement.tally.right,
            5 - usize::from(bar.contains('r')),
            "{bar}"
        );
        assert_eq!(undecided.len(), wanted, "{bar} {faults}: {undecided:?}");
        let page = text::page(
            &result,
            &text::PageSettings {
                verbose: true,
                ..text::PageSettings::default()
            },
        );
        assert_eq!(page.contains("cannot be told, since"), wanted > 0, "{page}");
        if let Some(one) = undecided.first() {
            assert_eq!((one.string, one.after, &one.during[..]), (1, 0, &[1][..]));
        }
    }
}
