//! Which tempo a take was played at, when nobody says it: the line is written at every tempo, and the
//! cheapest is taken.
//!
//! # Source
//! The tempi at which people feel a pulse: Parncutt (1994), *A perceptual model of pulse salience*,
//! Music Perception 11, 409-464, and van Noorden and Moelants (1999), J. New Music Research 28, 43-66
//! (both from memory): a hump around 100 to 120 a minute on a logarithmic scale.

use super::candidates::Candidate;
use super::clockwork::Clockwork;
use super::places::Places;
use super::quantise::{Pulse, quantise};

/// Slowest and fastest tempo looked for, in quarters a minute.
const RANGE: (f64, f64) = (40.0, 220.0);
/// Steps of the search, as a ratio: half of what a clock of [`SEARCH_SD`] follows.
const SEARCH_STEP: f64 = 1.03;
/// How far the tempo is followed around each that is tried, one standard deviation as a share.
const SEARCH_SD: f64 = 0.02;
/// The middle of the hump, in quarters a minute, and its width as a natural logarithm.
const USUAL: (f64, f64) = (100.0, 0.30);
/// Nats of the search that count as one: notes of a line resemble each other and say less than they
/// would by themselves.
const TEMPERATURE: f64 = 3.0;
/// Two tempi closer than this are one, as a ratio.
const SAME_RATIO: f64 = 1.05;
/// Fewer notes than this have no tempo.
const NOTES_MIN: usize = 4;

/// The tempo of a take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoundTempo {
    /// Quarters a minute.
    pub bpm: f64,
    /// True where a click in the recording said it, false where the playing itself did.
    pub by_click: bool,
    /// How likely it is that one, 0 to 1.
    pub share: f64,
    /// Its half or its double, whichever is likelier, in quarters a minute, with its share.
    pub octave: Option<(f64, f64)>,
    /// The next likely one, whichever it is, with its share.
    pub other: Option<(f64, f64)>,
}

/// The tempo at which the candidates make the simplest line; `None` of too few.
pub(crate) fn find(candidates: &[Candidate], places: Places, first: i64) -> Option<FoundTempo> {
    let mut tried: Vec<(f64, f64)> = Vec::new();
    let mut bpm = RANGE.0;
    while bpm <= RANGE.1 {
        let pulse = Pulse {
            bpm,
            sd: SEARCH_SD,
            swing: None,
            zero_s: None,
        };
        let way = quantise(candidates, places, pulse, first);
        if way.notes.len() >= NOTES_MIN {
            let played = Clockwork::new(&way.notes, candidates, places, pulse)
                .and_then(|clockwork| clockwork.bpm());
            if let Some(played) = played {
                let unusual = (played / USUAL.0).ln() / USUAL.1;
                tried.push((way.cost / TEMPERATURE + unusual * unusual / 2.0, played));
            }
        }
        bpm *= SEARCH_STEP;
    }
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    // Each tempo once, by its cheapest way.
    let mut apart: Vec<(f64, f64)> = Vec::new();
    for (cost, bpm) in tried {
        let near = |other: &(f64, f64)| (bpm / other.1).ln().abs() < SAME_RATIO.ln();
        if !apart.iter().any(near) {
            apart.push((cost, bpm));
        }
    }
    let &(best, bpm) = apart.first()?;
    let weight = |cost: f64| (best - cost).exp();
    let all: f64 = apart.iter().map(|tempo| weight(tempo.0)).sum();
    Some(FoundTempo {
        bpm,
        by_click: false,
        share: 1.0 / all,
        octave: apart
            .iter()
            .find(|other| {
                let octaves = (other.1 / bpm).log2().abs();
                (octaves - 1.0).abs() < SAME_RATIO.log2()
            })
            .map(|other| (other.1, weight(other.0) / all)),
        other: apart.get(1).map(|other| (other.1, weight(other.0) / all)),
    })
}
