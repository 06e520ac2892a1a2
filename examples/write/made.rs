//! Lines made here and played by the project's own synth: rhythms whose truth is known exactly, straight,
//! in triplets and swung.
//!
//! Two voices of a player, both with small deviations of their own: 6 ms (a steady one) and 12 ms.

use seamline::music::line::{Line, read_text};
use seamline::session::writing::write_take;
use seamline::sound::block::{Container, Delivery, SampleFormat, Source, SourceFormat};
use seamline::sound::click::{Beats, ClickPattern, add_clicks, ticks};
use seamline::sound::synth::{Performance, Player, Voice, render};
use seamline::sound::{SoundError, SoundNote};
use seamline::transcribe::{Asked, Written};
use seamline::units::{STANDARD_A4, SampleRate};

use super::{Count, Reliability, TEMPO_NEAR};

/// A note is in its place within this, in quarters: less than half of a sixteenth triplet.
const PLACE_QUARTERS: f64 = 0.02;
/// Rate of what is rendered.
const RATE: SampleRate = SampleRate(44_100);
/// Deviations of the players, one standard deviation in milliseconds.
const SIGMAS_MS: [f64; 2] = [6.0, 12.0];
/// A swing that is written within this of the one played is right: long eighth to short.
const SWING_NEAR: f64 = 0.25;
/// Bars of a line.
const BARS: usize = 8;

/// What bars are made of, and how the eighths are swung.
const KINDS: [(&str, &[&str], &str); 7] = [
    (
        "straight eighths",
        &["1/8 # # 1/4 # 1/8 # # 1/4 #", "1/8 # # # # # # # #"],
        "off",
    ),
    (
        "straight sixteenths",
        &[
            "1/16 # # # # 1/8 # # 1/4 # 1/8. # 1/16 #",
            "1/4 # 1/8 # # 1/16 # # # # 1/4 #",
        ],
        "off",
    ),
    (
        "triplets beside eighths",
        &[
            "1/8t # # # 1/4 # 1/8 # # 1/4 #",
            "1/8 # # 1/4 # 1/8t # # # # # #",
            "1/4 # # 1/8 # # 1/4 #",
        ],
        "off",
    ),
    (
        "swing 1.5:1",
        &["1/8 # # # # 1/4 # 1/8 # #", "1/4 # 1/8 # # # # 1/4 #"],
        "1.5:1",
    ),
    (
        "swing 2:1",
        &["1/8 # # # # 1/4 # 1/8 # #", "1/4 # 1/8 # # # # 1/4 #"],
        "2:1",
    ),
    (
        "swing 2.5:1",
        &["1/8 # # # # 1/4 # 1/8 # #", "1/4 # 1/8 # # # # 1/4 #"],
        "2.5:1",
    ),
    (
        "swing 2:1, triplets",
        &[
            "1/8 # # 1/8t # # # 1/4 # 1/8 # #",
            "1/4 # 1/8 # # # # 1/4 #",
        ],
        "2:1",
    ),
];

/// Places of a hand in the fifth position.
const PLACES: [&str; 8] = ["4:5", "4:8", "3:5", "3:7", "2:5", "2:7", "1:5", "1:7"];

/// A small generator (an LCG by Knuth's constants), so that a seed gives the same lines everywhere.
struct Random(u64);

impl Random {
    fn below(&mut self, count: usize) -> usize {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % count
    }
}

/// Samples as a source.
struct Samples {
    format: SourceFormat,
    samples: Vec<f32>,
}

impl Samples {
    fn new(samples: Vec<f32>) -> Self {
        let format = SourceFormat {
            rate: RATE,
            channels: 1,
            samples: SampleFormat::Float { bits: 32 },
            container: Container::Wav,
            frames: None,
        };
        Self { format, samples }
    }
}

impl Source for Samples {
    fn format(&self) -> &SourceFormat {
        &self.format
    }

    fn next_block(&mut self, into: &mut Vec<f32>) -> Result<Delivery, SoundError> {
        into.clear();
        into.append(&mut self.samples);
        Ok(if into.is_empty() {
            Delivery::End
        } else {
            Delivery::Samples
        })
    }

    fn notes(&self) -> Vec<SoundNote> {
        Vec::new()
    }
}

fn line(kind: usize, random: &mut Random) -> Result<Line, String> {
    let (_, bars, swing) = KINDS[kind];
    let tempo = 72 + random.below(80);
    let mut text = format!("tempo: {tempo}\nmeter: 4/4\nswing: {swing}\n\n");
    let mut at = random.below(PLACES.len());
    for _ in 0..BARS {
        let bar = bars[random.below(bars.len())];
        for word in bar.split(' ') {
            if word == "#" {
                at = (at + PLACES.len() + random.below(5) - 2) % PLACES.len();
                text.push_str(PLACES[at]);
            } else {
                text.push_str(word);
            }
            text.push(' ');
        }
        text.push('\n');
    }
    read_text(&text).map_err(|error| format!("{error}\n{text}"))
}

/// How one line came out: its notes, and whether its swing is the one played.
fn held(line: &Line, written: &Written, all: bool) -> (Count, bool) {
    let truth = line.expected(line.instrument());
    let mut counted = Count {
        takes: 1,
        notes: truth.len(),
        written: written.notes.len(),
        ..Count::default()
    };
    for note in &truth {
        let quarters = f64::from(note.bar - 1) * 4.0 + note.beat - 1.0;
        let found = written
            .notes
            .iter()
            .find(|w| (w.quarters - quarters).abs() < PLACE_QUARTERS && w.midi == note.midi);
        let lasting = found
            .is_some_and(|w| (w.length_quarters - note.length_quarters).abs() < PLACE_QUARTERS);
        counted.placed += usize::from(found.is_some());
        counted.lasting += usize::from(lasting);
        if all && !lasting {
            println!(
                "  bar {} beat {}: {:?} lasts {}, {found:?}",
                note.bar, note.beat, note.midi, note.length_quarters
            );
        }
    }
    // More notes than were played: nobody played the rest.
    counted.unplayed = written.notes.len().saturating_sub(truth.len());
    let ratio = |line: &Line| {
        line.swing()
            .map_or(1.0, |swing| swing.off_beat() / (1.0 - swing.off_beat()))
    };
    let (played, found) = (ratio(line), ratio(&written.line));
    if all && (played - found).abs() > SWING_NEAR {
        println!("  swing {played} written {found:.2} at {}", line.tempo());
    }
    (counted, (played - found).abs() <= SWING_NEAR)
}

/// Makes, plays and writes `count` lines of each kind for each player; prints the table.
pub fn run(seed: u64, count: usize, all: bool) -> Result<(), String> {
    println!("| made lines | takes | notes | placed % | length % | more notes % | swing right |");
    println!("|---|---|---|---|---|---|---|");
    let voice = Voice::named("fingered").ok_or("there is no such voice")?;
    for (kind, (name, _, _)) in KINDS.iter().enumerate() {
        for sigma_ms in SIGMAS_MS {
            let mut random = Random(seed.wrapping_mul(1000) + kind as u64);
            let (mut sum, mut right) = (Count::default(), 0);
            for n in 0..count {
                let line = line(kind, &mut random)?;
                let player = Player {
                    timing_sigma_ms: sigma_ms,
                    ..Player::steady(seed + n as u64)
                };
                let notes = line.expected(line.instrument());
                let samples = render(&Performance::of_line(&notes, &player), &voice, RATE);
                let near = 0.96 + 0.01 * random.below(9) as f64;
                let asked = Asked {
                    tempo_bpm: Some(line.tempo().quarters_per_minute() * near),
                    ..Asked::default()
                };
                let written = write_take("made", &mut Samples::new(samples), &asked, STANDARD_A4);
                let written = written.map_err(|error| error.to_string())?;
                let (counted, swing) = held(&line, &written, all);
                sum.add(&counted);
                right += usize::from(swing);
            }
            let share = |part: usize, of: usize| 100.0 * part as f64 / of.max(1) as f64;
            println!(
                "| {name}, {sigma_ms} ms | {} | {} | {:.1} | {:.1} | {:.1} | {right} of {count} |",
                sum.takes,
                sum.notes,
                share(sum.placed, sum.notes),
                share(sum.lasting, sum.notes),
                share(sum.unplayed, sum.written)
            );
        }
    }
    with_click(seed, 2 * count, &voice, all)
}

/// Levels of a click that leaks into the take, loudest sample against the notes' loudest, in decibels.
const CLICK_DB: [f64; 5] = [-6.0, -14.0, -20.0, -26.0, -32.0];

/// Lines of eighths with a click of quarters and a bar counted in, written without a tempo: how often the
/// click was found, and its tempo right, and how sure that was said to be.
fn with_click(seed: u64, count: usize, voice: &Voice, all: bool) -> Result<(), String> {
    let mut sure = Reliability::default();
    println!("\n| a click at | takes | found | right |\n|---|---|---|---|");
    for db in CLICK_DB {
        let mut random = Random(seed);
        let (mut found, mut right) = (0, 0);
        for n in 0..count {
            let line = line(n % 2, &mut random)?;
            let player = Player {
                lead_in_s: 4.5,
                ..Player::steady(seed + n as u64)
            };
            let notes = line.expected(line.instrument());
            let performance = Performance::of_line(&notes, &player);
            let mut samples = render(&performance, voice, RATE);
            let pattern = ClickPattern {
                beats: Beats::All,
                count_in: 1,
                ..ClickPattern::default()
            };
            let mut click = vec![0.0f32; samples.len()];
            add_clicks(
                &mut click,
                &ticks(&line, &pattern),
                performance.bar1_s,
                RATE,
            );
            let peak = |of: &[f32]| of.iter().fold(0.0f32, |top, x| top.max(x.abs()));
            let gain = peak(&samples) / peak(&click).max(1e-9) * 10f32.powf(db as f32 / 20.0);
            samples
                .iter_mut()
                .zip(&click)
                .for_each(|(x, c)| *x += gain * c);
            let asked = Asked {
                click: true,
                ..Asked::default()
            };
            let written = write_take("made", &mut Samples::new(samples), &asked, STANDARD_A4);
            let written = written.map_err(|error| error.to_string())?;
            let Some(tempo) = written.found_tempo.filter(|tempo| tempo.by_click) else {
                continue;
            };
            let bpm = line.tempo().quarters_per_minute();
            let near = (tempo.bpm / bpm - 1.0).abs() < TEMPO_NEAR;
            found += 1;
            right += usize::from(near);
            sure.add(true, tempo.share, near);
            if all && !near {
                println!("  {bpm} found {tempo:?}");
            }
        }
        println!("| {db} dB | {count} | {found} | {right} |");
    }
    sure.print();
    Ok(())
}
