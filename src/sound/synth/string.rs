//! The sound of one plucked note: a sum of decaying partials.
//!
//! Modal synthesis rather than a digital waveguide, because then the truth is exact: the first
//! partial lies where it was asked for, the others where the stiff string puts them, and each
//! dies away at a known rate.
//!
//! # Source
//! - Partials of a stiff string: Fletcher (1964), J. Acoust. Soc. Am. 36, 203-209:
//!   f_k = k f_0 sqrt(1 + B k^2). Here f_1 is the pitch, so f_0 = f_1 / sqrt(1 + B).
//! - Amplitudes: Fletcher & Rossing (1998), *The Physics of Musical Instruments*, 2.8: a pluck at
//!   p gives displacements as sin(k pi p) / k^2; a magnetic pickup at q hears the velocity, as
//!   sin(k pi p) sin(k pi q) / k. The soft finger takes the high partials away as
//!   exp(-f / brightness).
//! - Decay: Bensa et al. (2003), J. Acoust. Soc. Am. 114, 1095-1107: b_1 + b_3 omega^2.
//! - Two polarisations with decays of their own: Woodhouse (2021), J. Acoust. Soc. Am. 150, 4375.
//! - Glide of hard plucks by tension: Tolonen, Välimäki & Karjalainen (2000), IEEE Trans. Speech
//!   Audio Process. 8, 300-310; here a plain exponential.
//!
//! Departures: all partials start in phase at the pluck, where a real pulse reaches the pickup up
//! to half a period later and filtered; the glide is the same for all partials.

use std::f64::consts::{PI, TAU};

use crate::sound::synth::performance::PlayedNote;
use crate::sound::synth::random::Random;
use crate::sound::synth::voice::{Voice, inharmonicity};
use crate::units::{Decibels, Hertz, SampleRate};

/// Frames over which the glide stands still: under a millisecond at 48 kHz.
const SPAN_FRAMES: usize = 32;

/// Partials at most; with the brightness of the voices the last ones are below −80 dB.
const PARTIALS_MAX: u32 = 80;

/// Partials weaker than this against the strongest are left out: −90 dB.
const WEAKEST: f64 = 3e-5;

/// Parts of the two polarisations in the amplitude, their decays against the nominal one, and how
/// far the second is out of tune, in cents: slow beating and a decay in two steps.
const POLARISATIONS: [(f64, f64, f64); 2] = [(0.8, 1.1, 0.0), (0.2, 0.5, 0.4)];

/// Time constant of the glide in seconds; hard plucks settle within 0.1 to 0.3 s.
const GLIDE_S: f64 = 0.08;

/// Time constant of the end of a note when its string is plucked anew.
const CUT_S: f64 = 0.0015;

/// What a dead note adds to the decay, in nepers per second: −60 dB within 0.15 s.
const DEAD_DECAY_PER_S: f64 = 45.0;

/// Where in the take a note lies, in frames.
#[derive(Clone, Copy, Debug)]
pub(super) struct Span {
    pub(super) onset: usize,
    /// Damping begins.
    pub(super) release: usize,
    /// What was left ringing is stopped.
    pub(super) stopped: usize,
    /// The string is plucked again.
    pub(super) cut: usize,
}

/// The partials of one note, field by field so that the inner loop runs over plain arrays.
#[derive(Default)]
struct Partials {
    /// Angular frequency in radians per second.
    omega: Vec<f64>,
    /// Nepers per second.
    decay: Vec<f64>,
    /// The oscillator: amplitude times cosine and sine of the phase.
    re: Vec<f64>,
    im: Vec<f64>,
    /// What damping has left, and what it leaves from frame to frame.
    damped: Vec<f64>,
    damping: Vec<f64>,
}

/// What damping leaves of a note.
struct Floor<'a> {
    /// The part that is still there.
    now: &'a mut f64,
    /// The part that the finger left.
    kept: f64,
    /// How it changes from frame to frame: 1 until it is stopped.
    step: f64,
}

impl Partials {
    fn of(
        note: &PlayedNote,
        voice: &Voice,
        a4: Hertz,
        rate: SampleRate,
        noise: &mut Random,
    ) -> Self {
        let shorten = (f64::from(note.fret) / 12.0).exp2();
        let place = |at: f64| (at.clamp(0.03, 0.5) * shorten).min(0.5);
        let (pluck, pickup) = (place(voice.pluck_at), place(voice.pickup_at));
        let softness = if note.slurred { 0.6 } else { 1.0 };
        let bright_hz = voice.brightness_hz.clamp(100.0, 20_000.0)
            * (0.4 + 0.6 * note.velocity.clamp(0.0, 1.0))
            * softness;
        let b = inharmonicity(note.open(), note.fret);
        let f0 = note.pitch().to_hertz(a4).0 / (1.0 + b).sqrt();
        let slow = voice.decay_per_s.clamp(0.1, 20.0) * shorten;
        let fast_s = voice.high_decay_s.clamp(0.0, 1e-6);
        let weak_hz = voice.weak_below_hz.clamp(0.0, 200.0);
        let mut modes = Vec::new();
        for k in 1..=PARTIALS_MAX {
            let kf = f64::from(k);
            let mut hz = kf * f0 * (1.0 + b * kf * kf).sqrt();
            if hz.is_nan() || hz <= 0.0 || hz > 0.45 * rate.hz() {
                break;
            }
            let mut amplitude = (kf * PI * pluck).sin() * (kf * PI * pickup).sin() / kf
                * (-hz / bright_hz).exp()
                * hz
                / (hz * hz + weak_hz * weak_hz).sqrt();
            let mut decay = slow + fast_s * (TAU * hz).powi(2);
            if note.dead {
                // A choked string has no clear pitch: weak low partials, none in its place.
                hz *= 1.0 + noise.between(-0.03, 0.03);
                amplitude *= if k <= 2 { 0.3 } else { 1.0 };
                decay += DEAD_DECAY_PER_S;
            }
            modes.push((hz, amplitude, decay));
        }
        Self::from_modes(&modes, note, rate)
    }

    /// Scales the modes so that the note starts with a level (root of the mean square) of its
    /// velocity, and splits them into polarisations.
    fn from_modes(modes: &[(f64, f64, f64)], note: &PlayedNote, rate: SampleRate) -> Self {
        let top = modes.iter().fold(0.0f64, |top, m| top.max(m.1.abs()));
        let power: f64 = modes.iter().map(|m| m.1 * m.1 / 2.0).sum();
        let scale = level(note) / power.sqrt().max(1e-12);
        let mut partials = Self::default();
        for (k, (hz, amplitude, decay)) in modes.iter().enumerate() {
            if amplitude.abs() < top * WEAKEST {
                continue;
            }
            // A finger takes the high partials away sooner than the first.
            let tau_s = note.damp_tau_s.max(1e-4) / ((k + 1) as f64).powf(0.3);
            for (part, decays, cents) in POLARISATIONS {
                partials.omega.push(TAU * hz * (cents / 1200.0f64).exp2());
                partials.decay.push(decay * decays);
                partials.re.push(amplitude * scale * part);
                partials.im.push(0.0);
                partials.damped.push(1.0);
                partials.damping.push((-1.0 / (tau_s * rate.hz())).exp());
            }
        }
        partials
    }

    /// The next frames. `warp` is the factor of the glide.
    fn run(
        &mut self,
        out: &mut [f64],
        steps: &mut Vec<(f64, f64)>,
        (warp, rate): (f64, SampleRate),
        floor: Floor<'_>,
        released: bool,
    ) {
        let dt = 1.0 / rate.hz();
        steps.clear();
        steps.extend(self.omega.iter().zip(&self.decay).map(|(omega, decay)| {
            let (sin, cos) = (omega * warp * dt).sin_cos();
            let shrink = (-decay * dt).exp();
            (cos * shrink, sin * shrink)
        }));
        let goes = 1.0 - floor.kept;
        for sample in out {
            let mut sum = 0.0;
            for ((re, im), ((cos, sin), damped)) in self
                .re
                .iter_mut()
                .zip(&mut self.im)
                .zip(steps.iter().zip(&self.damped))
            {
                sum += *im * (*floor.now + goes * damped);
                (*re, *im) = (*re * cos - *im * sin, *re * sin + *im * cos);
            }
            *sample = sum;
            if released {
                for (damped, damping) in self.damped.iter_mut().zip(&self.damping) {
                    *damped *= damping;
                }
            }
            *floor.now *= floor.step;
        }
    }

    /// The greatest value that is still to come.
    fn left(&self, floor: f64) -> f64 {
        (0..self.re.len())
            .map(|k| self.re[k].hypot(self.im[k]) * (floor + self.damped[k]))
            .sum()
    }
}

/// The level at which a note starts, root of the mean square.
fn level(note: &PlayedNote) -> f64 {
    let scale = if note.dead {
        0.5
    } else if note.slurred {
        0.6
    } else {
        1.0
    };
    note.velocity.clamp(0.0, 1.0) * scale * Decibels(note.level.0.min(60.0)).to_amplitude()
}

/// Adds one note to the take.
pub(super) fn add_note(
    note: &PlayedNote,
    voice: &Voice,
    (a4, rate): (Hertz, SampleRate),
    span: Span,
    noise: &mut Random,
    take: &mut [f32],
) {
    add_touch(note, rate, span.onset, noise, take);
    add_pluck_noise(note, voice, rate, span, noise, take);
    let mut partials = Partials::of(note, voice, a4, rate, noise);
    let glide = voice.glide_cents.clamp(0.0, 40.0) * note.velocity.clamp(0.0, 1.0).powi(2);
    let glide = if note.slurred || note.dead {
        0.0
    } else {
        glide
    };
    let mut floor = if note.rings_on() {
        Decibels(note.left_ringing.0.min(0.0)).to_amplitude()
    } else {
        0.0
    };
    let kept = floor;
    let stop_step = (-1.0 / (note.damp_tau_s.max(1e-4) * rate.hz())).exp();
    let cut_step = (-1.0 / (CUT_S * rate.hz())).exp();
    let mut cut_gain = 1.0;
    let mut block = [0.0f64; SPAN_FRAMES];
    let mut steps = Vec::new();
    let mut at = span.onset;
    while at < take.len() {
        // A span ends where anything changes, so that every change is exact to the frame.
        let mut end = (at + SPAN_FRAMES).min(take.len());
        for change in [span.release, span.stopped, span.cut] {
            if change > at {
                end = end.min(change);
            }
        }
        let middle_s = (at - span.onset) as f64 / rate.hz() + (end - at) as f64 / 2.0 / rate.hz();
        let slid = note
            .slide
            .map_or(0.0, |slide| slide.passed(note.onset_s + middle_s));
        let warp = (glide * (-middle_s / GLIDE_S).exp() / 1200.0 + slid / 12.0).exp2();
        let out = &mut block[..end - at];
        let stopping = at >= span.stopped && at >= span.release;
        partials.run(
            out,
            &mut steps,
            (warp, rate),
            Floor {
                now: &mut floor,
                kept,
                step: if stopping { stop_step } else { 1.0 },
            },
            at >= span.release,
        );
        for (sample, x) in take[at..end].iter_mut().zip(out.iter()) {
            *sample += (x * cut_gain) as f32;
            if at >= span.cut {
                cut_gain *= cut_step;
            }
        }
        at = end;
        if partials.left(floor) * cut_gain < 1e-6 {
            break;
        }
    }
}

/// A small soft click where the plucking finger meets the string: 4 ms, 46 dB under the note.
fn add_touch(
    note: &PlayedNote,
    rate: SampleRate,
    onset: usize,
    noise: &mut Random,
    take: &mut [f32],
) {
    if note.touch_s.is_nan() || note.touch_s <= 0.0 {
        return;
    }
    let lead = (note.touch_s.min(0.1) * rate.hz()).round() as usize;
    let frames = (0.004 * rate.hz()).round().max(1.0) as usize;
    let from = onset.saturating_sub(lead);
    let smooth = 1.0 - (-TAU * 1_000.0 / rate.hz()).exp();
    let mut low = 0.0;
    for (i, sample) in take
        .iter_mut()
        .skip(from)
        .take(frames.min(lead))
        .enumerate()
    {
        low += smooth * (noise.between(-1.0, 1.0) - low);
        let window = (PI * (i as f64 + 0.5) / frames as f64).sin();
        *sample += (low * window * level(note) * 0.005 * 4.0) as f32;
    }
}

/// The noise of the pluck: dies away with 2.5 ms.
fn add_pluck_noise(
    note: &PlayedNote,
    voice: &Voice,
    rate: SampleRate,
    span: Span,
    noise: &mut Random,
    take: &mut [f32],
) {
    let softer_db = match (note.slurred, note.dead) {
        (true, _) => -12.0,
        (false, true) => 8.0,
        (false, false) => 0.0,
    };
    let gain_db = voice.pluck_noise_db.clamp(-80.0, 0.0) + softer_db;
    let gain = level(note) * 2.0 * Decibels(gain_db).to_amplitude();
    let smooth = 1.0 - (-TAU * voice.brightness_hz.clamp(100.0, 20_000.0) / rate.hz()).exp();
    let shrink = (-1.0 / (0.0025 * rate.hz())).exp();
    let frames = (0.025 * rate.hz()).round() as usize;
    let (mut low, mut envelope) = (0.0, gain);
    for sample in take.iter_mut().skip(span.onset).take(frames) {
        low += smooth * (noise.between(-1.0, 1.0) - low);
        *sample += (low * envelope) as f32;
        envelope *= shrink;
    }
}
