//! The plucked string held against the physics it is made from.

use std::f64::consts::TAU;

use seamline::sound::synth::voice::open_inharmonicity;
use seamline::sound::synth::{Performance, PlayedNote, Role, Voice, render};
use seamline::units::{Cents, Decibels, MidiNote, STANDARD_A4, SampleRate};

/// Frames per second of the renderings.
const RATE: SampleRate = SampleRate(48_000);

fn take(notes: Vec<PlayedNote>, voice: &Voice) -> Vec<f32> {
    render(
        &Performance {
            notes,
            ..Performance::default()
        },
        voice,
        RATE,
    )
}

/// A voice without noise and glide.
fn pure() -> Voice {
    Voice {
        pluck_noise_db: -80.0,
        glide_cents: 0.0,
        ..Voice::fingered()
    }
}

/// The discrete Fourier transform at one frequency, Hann window: real and imaginary part.
fn dft(x: &[f32], hz: f64) -> (f64, f64) {
    let n = x.len() as f64;
    x.iter().enumerate().fold((0.0, 0.0), |(re, im), (i, x)| {
        let window = 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / n).cos();
        let (sin, cos) = (TAU * hz * i as f64 / RATE.hz()).sin_cos();
        (
            re + f64::from(*x) * window * cos,
            im - f64::from(*x) * window * sin,
        )
    })
}

/// The frequency near `hz` by the turn of the phase over 50 ms between two windows of 0.6 s.
fn frequency(x: &[f32], hz: f64) -> f64 {
    let (window, hop) = (28_800, 2_400);
    let phase = |at: usize| {
        let (re, im) = dft(&x[at..at + window], hz);
        im.atan2(re)
    };
    let turn = phase(hop) - phase(0);
    let expected = TAU * hz * hop as f64 / RATE.hz();
    let off = (turn - expected + std::f64::consts::PI).rem_euclid(TAU) - std::f64::consts::PI;
    hz + off * RATE.hz() / hop as f64 / TAU
}

fn rms(x: &[f32]) -> f64 {
    (x.iter().map(|x| f64::from(*x).powi(2)).sum::<f64>() / x.len() as f64).sqrt()
}

fn db(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

/// Closed form, Fletcher (1964): f_k = k f_0 sqrt(1 + B k^2), with f_1 the pitch. Tolerance 0.4
/// cents: the second polarisation is 0.4 cents sharp, with a fifth of the amplitude.
#[test]
fn partials_lie_where_a_stiff_string_puts_them() {
    for (midi, fret, cents) in [
        (28u8, 0u8, 0.0),
        (33, 5, 0.0),
        (40, 12, -14.0),
        (55, 12, 20.0),
    ] {
        let note = PlayedNote {
            cents: Cents(cents),
            ..PlayedNote::plain(midi, 1, fret, 0.0, 3.0)
        };
        let x = take(vec![note], &pure());
        let open = MidiNote(f64::from(midi - fret));
        let b = open_inharmonicity(open) * 2f64.powf(f64::from(fret) / 6.0);
        let f1 = MidiNote(f64::from(midi) + cents / 100.0)
            .to_hertz(STANDARD_A4)
            .0;
        for k in 1..=6 {
            let k = f64::from(k);
            let wanted = k * f1 * ((1.0 + b * k * k) / (1.0 + b)).sqrt();
            let got = frequency(&x[4_800..], wanted);
            let error = 1200.0 * (got / wanted).log2();
            assert!(
                error.abs() < 0.4,
                "midi {midi}, fret {fret}, partial {k}: {error} cents"
            );
        }
    }
}

/// Hard plucks start sharp and settle: f_1 over the first 150 ms against the second second.
#[test]
fn a_hard_pluck_starts_sharp() {
    let voice = Voice {
        glide_cents: 30.0,
        ..pure()
    };
    let note = PlayedNote {
        velocity: 1.0,
        ..PlayedNote::plain(43, 1, 0, 0.0, 3.0)
    };
    let x = take(vec![note], &voice);
    let f1 = MidiNote(43.0).to_hertz(STANDARD_A4).0;
    let early = 1200.0 * (frequency(&x, f1) / f1).log2();
    let late = 1200.0 * (frequency(&x[48_000..], f1) / f1).log2();
    assert!(early > 1.0, "early {early} cents");
    assert!(late.abs() < 0.4, "late {late} cents");
}

#[test]
fn nothing_sounds_before_the_frame_of_the_onset() {
    for onset_s in [0.0, 0.1, 0.123_456_7, 1.000_01] {
        for voice in [Voice::fingered(), Voice::picked(), Voice::mellow()] {
            let x = take(
                vec![PlayedNote::plain(40, 3, 7, onset_s, onset_s + 0.5)],
                &voice,
            );
            let onset = (onset_s * 48_000.0).round() as usize;
            assert!(x[..onset].iter().all(|x| *x == 0.0), "onset {onset_s}");
            let first = x.iter().position(|x| *x != 0.0);
            assert!(
                first.is_some_and(|at| at <= onset + 1),
                "onset {onset}, sound from {first:?}"
            );
            assert!(
                rms(&x[onset..onset + 480]) > 0.01,
                "onset {onset_s}: no attack"
            );
        }
    }
}

/// Closed form: the envelope falls as exp(-t / tau). Two windows of one period each, so the ratio
/// of a decaying sine is exact; the voice is dark, so that the first partial stands alone. 6 %
/// for the partials that are left and the decay of the string itself.
#[test]
fn damping_has_the_time_constant_it_was_given() {
    for tau_s in [0.008, 0.012, 0.020] {
        let voice = Voice {
            brightness_hz: 100.0,
            pluck_at: 0.5,
            ..pure()
        };
        let note = PlayedNote {
            damp_tau_s: tau_s,
            velocity: 0.1,
            ..PlayedNote::plain(55, 1, 12, 0.0, 0.5)
        };
        let x = take(vec![note], &voice);
        let period = (48_000.0 / MidiNote(55.0).to_hertz(STANDARD_A4).0).round() as usize;
        let at = 24_000 + 480;
        let ratio = rms(&x[at..at + period]) / rms(&x[at + 4 * period..at + 5 * period]);
        let got_s = 4.0 * period as f64 / 48_000.0 / ratio.ln();
        assert!((got_s / tau_s - 1.0).abs() < 0.06, "tau {tau_s}: {got_s}");
    }
}

/// Two notes that meet, on two strings and on one: the level in windows of two periods never
/// falls 3 dB under the lower of both sides.
#[test]
fn a_legato_pair_has_no_dip() {
    for (second_midi, second_string, second_fret) in [(38, 3, 5), (38, 2, 0), (35, 3, 2)] {
        for voice in [Voice::fingered(), Voice::picked(), Voice::mellow()] {
            let first = PlayedNote::plain(36, 3, 3, 0.0, 0.5);
            let second = PlayedNote::plain(second_midi, second_string, second_fret, 0.5, 1.0);
            let x = take(vec![first, second], &voice);
            let window = 1_400;
            let level = |at: usize| rms(&x[at..at + window]);
            let (before, after) = (level(24_000 - 2 * window), level(24_000 + window));
            let lowest = (24_000 - window..24_000 + window)
                .step_by(100)
                .map(level)
                .fold(1.0, f64::min);
            let dip = db(lowest / before.min(after));
            assert!(
                dip > -3.0,
                "to midi {second_midi} string {second_string}: dip {dip} dB"
            );
        }
    }
}

#[test]
fn strings_cut_themselves_and_not_each_other() {
    let long = PlayedNote::plain(36, 3, 3, 0.0, 2.0);
    let same = PlayedNote::plain(43, 3, 10, 0.5, 1.5);
    let other = PlayedNote::plain(43, 2, 5, 0.5, 1.5);
    let c2 = MidiNote(36.0).to_hertz(STANDARD_A4).0;
    let level_of_c2 = |second: &PlayedNote| {
        let x = take(vec![long.clone(), second.clone()], &pure());
        let (re, im) = dft(&x[28_800..48_000], c2);
        re.hypot(im)
    };
    let ratio = db(level_of_c2(&same) / level_of_c2(&other));
    assert!(ratio < -30.0, "{ratio} dB");
}

/// The root of the mean square of the first 100 ms says how loud a note is, against the level
/// that was asked for: within 1.5 dB, for strings that die away differently.
#[test]
fn a_note_has_the_level_that_was_asked_for() {
    for (midi, string, fret) in [(28, 4, 0), (33, 3, 0), (40, 3, 7), (55, 1, 12)] {
        let loud = PlayedNote::plain(38, 2, 0, 0.0, 0.8);
        let soft = PlayedNote {
            level: Decibels(-20.0),
            role: Role::Bleed,
            ..PlayedNote::plain(midi, string, fret, 2.0, 2.8)
        };
        let x = take(vec![loud, soft], &pure());
        let level = db(rms(&x[96_000..100_800]) / rms(&x[..4_800]));
        assert!((level + 20.0).abs() < 1.5, "midi {midi}: {level} dB");
    }
}

/// Left ringing at -10 dB: after damping the level stays there, against the same note undamped.
#[test]
fn what_is_left_ringing_rings() {
    let note = PlayedNote {
        left_ringing: Decibels(-10.0),
        stopped_s: 1.5,
        ..PlayedNote::plain(33, 3, 0, 0.0, 0.5)
    };
    let free = PlayedNote::plain(33, 3, 0, 0.0, 2.0);
    let (damped, free) = (take(vec![note], &pure()), take(vec![free], &pure()));
    let level = |from: usize| db(rms(&damped[from..from + 4_800]) / rms(&free[from..from + 4_800]));
    assert!((level(48_000) + 10.0).abs() < 0.2, "{}", level(48_000));
    assert!(level(84_000) < -50.0, "not stopped: {}", level(84_000));
}

/// By the mark of the reports: dead is 20 dB down within a quarter of the neighbours' time.
#[test]
fn a_dead_note_does_not_ring() {
    let dead = PlayedNote {
        dead: true,
        ..PlayedNote::plain(40, 3, 7, 0.0, 1.0)
    };
    let x = take(vec![dead], &pure());
    let fall = db(rms(&x[4_800..7_200]) / rms(&x[..2_400]));
    assert!(fall < -25.0, "{fall} dB after 0.1 s");
}

#[test]
fn the_peak_is_six_decibels_down_and_noise_has_its_level() {
    let mut performance = Performance {
        notes: vec![PlayedNote::plain(40, 3, 7, 0.5, 1.0)],
        hiss: Some(Decibels(-60.0)),
        ..Performance::default()
    };
    for voice in [Voice::fingered(), Voice::picked(), Voice::mellow()] {
        let x = render(&performance, &voice, RATE);
        let peak = x.iter().fold(0.0f32, |top, x| top.max(x.abs()));
        assert!((db(f64::from(peak)) + 6.0).abs() < 0.1, "{peak}");
        // Root of the mean square over 24000 samples: within 0.2 dB.
        assert!(
            (db(rms(&x[..24_000])) + 60.0).abs() < 0.2,
            "{}",
            db(rms(&x[..24_000]))
        );
    }
    performance.notes.clear();
    performance.hiss = None;
    assert!(
        render(&performance, &Voice::fingered(), RATE)
            .iter()
            .all(|x| *x == 0.0)
    );
}

/// Nothing in a performance can make it panic, ask for endless memory or give what is no number.
#[test]
fn absurd_values_are_survived() {
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 0.0, 1e300] {
        let base = PlayedNote::plain(40, 3, 7, 0.0, 0.1);
        let notes = [
            PlayedNote {
                onset_s: value,
                ..base.clone()
            },
            PlayedNote {
                release_s: value,
                ..base.clone()
            },
            PlayedNote {
                damp_tau_s: value,
                ..base.clone()
            },
            PlayedNote {
                midi: value,
                ..base.clone()
            },
            PlayedNote {
                velocity: value,
                ..base.clone()
            },
            PlayedNote {
                level: Decibels(value),
                ..base.clone()
            },
            PlayedNote {
                left_ringing: Decibels(value),
                ..base.clone()
            },
            PlayedNote {
                touch_s: value,
                ..base.clone()
            },
        ];
        for note in notes {
            let performance = Performance {
                notes: vec![note],
                ..Performance::default()
            };
            let x = render(&performance, &Voice::fingered(), SampleRate(100));
            assert!(
                x.iter().all(|x| x.is_finite()),
                "{value}: {:?}",
                performance.notes[0]
            );
        }
    }
}
