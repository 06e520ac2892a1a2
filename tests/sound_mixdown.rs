//! Many channels to one: dead and opposed channels, in any cut.

mod sound_support;

use seamline::sound::SoundNote;
use seamline::sound::mixdown::Mixdown;
use seamline::units::{Decibels, FrameIndex, SampleRate};

/// Frames per second of the sounds.
const RATE: SampleRate = SampleRate(8_000);

/// A sine of 100 Hz at `level`; silent before `from_s`.
fn tone(level: f64, from_s: f64, at: usize) -> f32 {
    let t = at as f64 / RATE.hz();
    if t < from_s {
        0.0
    } else {
        (level * (std::f64::consts::TAU * 100.0 * t).sin()) as f32
    }
}

/// Mixes `seconds` of `frame` at each of several cuts, holds them against one another and gives
/// the samples and notes.
fn mix(
    channels: u16,
    seconds: f64,
    frame: impl Fn(usize, &mut Vec<f32>),
) -> (Vec<f32>, Vec<SoundNote>) {
    let frames = (seconds * RATE.hz()) as usize;
    let mut interleaved = Vec::new();
    for at in 0..frames {
        frame(at, &mut interleaved);
    }
    let mut results = [1usize, 7, 441, 4_096, frames].into_iter().map(|cut| {
        let mut mixdown = Mixdown::new(channels, RATE);
        let mut mono = Vec::new();
        for block in interleaved.chunks(cut * usize::from(channels)) {
            mixdown.push(block, &mut mono);
        }
        mixdown.finish(&mut mono);
        assert_eq!(mono.len(), frames, "cut {cut}");
        (mono, mixdown.notes().collect::<Vec<_>>())
    });
    let first = results.next().unwrap();
    for other in results {
        assert_eq!(first, other, "the cut changes the result");
    }
    first
}

#[test]
fn two_living_channels_are_averaged() {
    let (mono, notes) = mix(2, 5.0, |at, out| {
        out.extend([tone(0.5, 1.0, at), tone(0.25, 1.0, at)]);
    });
    assert_eq!(notes, []);
    for (at, x) in mono.iter().enumerate() {
        assert_eq!(*x, (tone(0.5, 1.0, at) + tone(0.25, 1.0, at)) * 0.5);
    }
}

/// One silent channel costs no level, whichever it is and however late the sound begins within
/// the time that is held back.
#[test]
fn a_silent_channel_is_left_out() {
    for late_s in [0.0, 3.0, 9.0] {
        for dead in [0u16, 1, 2] {
            let (mono, notes) = mix(3, 15.0, |at, out| {
                for channel in 0..3 {
                    out.push(if channel == dead {
                        0.0
                    } else {
                        tone(0.5, late_s, at)
                    });
                }
            });
            assert_eq!(
                notes,
                [SoundNote::DeadChannel {
                    channel: dead + 1,
                    level: None
                }]
            );
            for (at, x) in mono.iter().enumerate() {
                assert_eq!(
                    *x,
                    tone(0.5, late_s, at),
                    "late {late_s}, dead {dead}, frame {at}"
                );
            }
        }
    }
}

/// Closed form: 0.5 against 0.00025 is 66 dB.
#[test]
fn cross_talk_alone_is_a_dead_channel() {
    let (mono, notes) = mix(2, 4.0, |at, out| {
        out.extend([tone(0.00025, 0.0, at), tone(0.5, 0.0, at)]);
    });
    let [
        SoundNote::DeadChannel {
            channel: 1,
            level: Some(Decibels(level)),
        },
    ] = notes[..]
    else {
        panic!("{notes:?}");
    };
    assert!((level + 66.02).abs() < 0.01, "{level}");
    assert!(
        mono.iter()
            .enumerate()
            .all(|(at, x)| *x == tone(0.5, 0.0, at))
    );
}

#[test]
fn an_offset_is_no_sound() {
    let (_, notes) = mix(2, 4.0, |at, out| out.extend([tone(0.5, 0.0, at), 0.05]));
    assert!(
        matches!(notes[0], SoundNote::DeadChannel { channel: 2, .. }),
        "{notes:?}"
    );
}

/// Four clicks in one channel do not decide before the bass comes in on the other.
#[test]
fn a_count_in_does_not_hide_the_bass() {
    let click = |at: usize| {
        let beat = at % (RATE.0 as usize / 2);
        if at < 2 * RATE.0 as usize && beat < 80 {
            tone(0.9, 0.0, at)
        } else {
            0.0
        }
    };
    let (mono, notes) = mix(2, 8.0, |at, out| {
        out.extend([click(at), tone(0.3, 2.0, at)])
    });
    assert_eq!(notes, []);
    let last = mono.len() - 20;
    assert_eq!(mono[last], tone(0.3, 2.0, last) * 0.5);
}

/// Opposite polarity: the mean would be silent; the louder channel is taken.
#[test]
fn opposed_channels_do_not_cancel() {
    let (mono, notes) = mix(2, 4.0, |at, out| {
        out.extend([tone(0.4, 0.0, at), -tone(0.5, 0.0, at)]);
    });
    assert_eq!(notes, [SoundNote::OpposedChannels { kept: 2 }]);
    assert!(
        mono.iter()
            .enumerate()
            .all(|(at, x)| *x == -tone(0.5, 0.0, at))
    );
}

#[test]
fn a_left_out_channel_that_wakes_is_reported() {
    let (_, notes) = mix(2, 9.0, |at, out| {
        out.extend([tone(0.5, 0.0, at), tone(0.5, 6.0, at)])
    });
    assert_eq!(
        notes[0],
        SoundNote::DeadChannel {
            channel: 2,
            level: None
        }
    );
    let [
        _,
        SoundNote::LeftOutChannelSounds {
            channel: 2,
            first: FrameIndex(first),
        },
    ] = notes[..]
    else {
        panic!("{notes:?}");
    };
    // 0.5 sin(2 pi 100 t) passes 0.01 within the first sample of 1/8000 s.
    assert_eq!(first, 48_001);
}

/// Twenty seconds of silence hold no more than twelve back, and the plan is still made when the
/// sound begins.
#[test]
fn a_long_silence_neither_fills_the_memory_nor_decides() {
    let mut mixdown = Mixdown::new(2, RATE);
    let mut mono = Vec::new();
    for _ in 0..20 {
        mixdown.push(&vec![0.0; 16_000], &mut mono);
    }
    let held = 20 * 8_000 - mono.len();
    assert!(
        (11 * 8_000..=12 * 8_000).contains(&held),
        "{held} frames held"
    );
    let (mono, notes) = mix(2, 25.0, |at, out| out.extend([0.0, tone(0.5, 20.0, at)]));
    assert_eq!(
        notes,
        [SoundNote::DeadChannel {
            channel: 1,
            level: None
        }]
    );
    assert!(
        mono.iter()
            .enumerate()
            .all(|(at, x)| *x == tone(0.5, 20.0, at))
    );
}

#[test]
fn silence_in_all_channels_is_silence() {
    let (mono, notes) = mix(4, 3.0, |_, out| out.extend([0.0; 4]));
    assert_eq!(notes, []);
    assert!(mono.iter().all(|x| *x == 0.0));
}

/// A decaying note of 100 Hz every half second, silent outside of `from_s..to_s`.
fn notes_between(level: f64, (from_s, to_s): (f64, f64), at: usize) -> f32 {
    let t = at as f64 / RATE.hz();
    if !(from_s..to_s).contains(&t) {
        return 0.0;
    }
    let since_s = t % 0.5;
    (level * (-since_s / 0.12).exp() * (std::f64::consts::TAU * 100.0 * since_s).sin()) as f32
}

/// A lead that is moved from one input to the other in mid take: nothing is lost but a passage of 10 ms, which
/// begins one window early: the last of the old channel lies 30 dB under what comes.
#[test]
fn a_bass_that_moves_to_the_other_channel_is_followed() {
    let left = |at| notes_between(0.5, (0.0, 4.0), at);
    let right = |at| notes_between(0.5, (4.0, 9.0), at);
    let (mono, notes) = mix(2, 9.0, |at, out| out.extend([left(at), right(at)]));
    assert_eq!(
        notes,
        [
            SoundNote::DeadChannel {
                channel: 2,
                level: None
            },
            SoundNote::ChannelTakenIn {
                channel: 2,
                from: FrameIndex(31_600)
            }
        ]
    );
    for (at, x) in mono.iter().enumerate() {
        if !(31_600..31_680).contains(&at) {
            assert_eq!(*x, left(at) + right(at), "{at}");
        }
    }
}

/// A click beside a bass that pauses is taken in, and the bass is still there afterwards.
#[test]
fn a_click_in_a_pause_does_not_take_the_basss_place() {
    let bass = |at: usize| {
        let t = at as f64 / RATE.hz();
        if t < 5.0 {
            notes_between(0.5, (0.0, 4.0), at)
        } else {
            notes_between(0.5, (6.0, 9.0), at)
        }
    };
    let click = |at| notes_between(0.3, (4.5, 9.0), at);
    let (mono, _) = mix(2, 9.0, |at, out| out.extend([bass(at), click(at)]));
    assert!((52_000..72_000).all(|at| mono[at] == bass(at) + click(at)));
}

/// Channels that begin to cancel one another: the louder one alone is taken from there on.
#[test]
fn channels_that_turn_against_one_another_do_not_cancel() {
    let bass = |level, at| notes_between(level, (0.0, 9.0), at);
    let sign = |at: usize| if at < 32_000 { 1.0 } else { -1.0 };
    let (mono, notes) = mix(2, 9.0, |at, out| {
        out.extend([bass(0.5, at), sign(at) * bass(0.4, at)]);
    });
    assert_eq!(notes, [SoundNote::OpposedChannels { kept: 1 }]);
    let power = |from: usize| mono[from..from + 4_000].iter().map(|x| x * x).sum::<f32>();
    assert!(power(36_000) > 0.8 * power(24_000));
    assert!((40_000..72_000).all(|at| mono[at] == bass(0.5, at)));
}

/// Mains hum or hiss alone beside a bass is left out; just below and just above what counts as steady
/// (4 dB from its loud windows to its soft ones).
#[test]
fn a_channel_of_hum_is_left_out() {
    for (sway_db, left_out) in [(0.0, true), (3.0, true), (5.0, false)] {
        let hum = |at: usize| {
            let t = at as f64 / RATE.hz();
            let sway = sway_db / 2.0 * (std::f64::consts::TAU * t / 0.8).sin().signum();
            (0.6 * 10f64.powf(sway / 20.0) * (std::f64::consts::TAU * 60.0 * t).sin()) as f32
        };
        let bass = |at| notes_between(0.3, (0.0, 9.0), at);
        let (mono, notes) = mix(2, 6.0, |at, out| out.extend([bass(at), hum(at)]));
        let told = notes == [SoundNote::SteadyChannel { channel: 2 }];
        assert_eq!(told, left_out, "{sway_db}: {notes:?}");
        assert_eq!((0..48_000).all(|at| mono[at] == bass(at)), left_out);
    }
}
