//! The backing track of a session: its options, and where its bar 1 lies.

use std::path::{Path, PathBuf};

use clap::Args;

use crate::cli::failure::Failure;
use crate::cli::output;
use crate::cli::values;
use crate::music::line::Line;
use crate::sound::backing::Backing;
use crate::sound::click::beat_quarters;
use crate::sound::first_bar::first_bar;
use crate::sound::stretch::{TEMPO_MAX, TEMPO_MIN};
use crate::units::Decibels;

/// A clearer beat than this is told as this; more says nothing more.
const BEAT_TOLD: f64 = 20.0;

/// Said before a backing track sounds, beside the caution about the volume.
pub(super) const HEADPHONES: &str = "Play to the backing track on headphones: what a microphone \
                                     hears of it may be told as your own notes.";

/// A recording to play along with.
#[derive(Args, Clone, Debug)]
pub(crate) struct BackingOptions {
    /// Play this recording along (WAV, FLAC, MP3, M4A, Ogg Vorbis), stretched to the tempo
    /// practised; use headphones
    #[arg(long, value_name = "FILE")]
    backing: Option<PathBuf>,

    /// Where the line's bar 1 begins in it, in seconds; looked for when not given
    #[arg(long, value_name = "SECONDS", requires = "backing", value_parser = seconds)]
    backing_start: Option<f64>,

    /// Its own tempo, counted as the line's; the line's written tempo when not given
    #[arg(long, value_name = "BPM", requires = "backing", value_parser = bpm)]
    backing_tempo: Option<f64>,

    /// How loud it is, in decibels below the recording, -60 to 0
    #[arg(long, value_name = "DB", requires = "backing", default_value = "-12",
          allow_negative_numbers = true, value_parser = level)]
    backing_level: f64,
}

fn seconds(text: &str) -> Result<f64, String> {
    in_range(
        text,
        0.0,
        36_000.0,
        "a moment is a number of seconds from 0 to 36000, as in `2.35`",
    )
}

fn bpm(text: &str) -> Result<f64, String> {
    in_range(
        text,
        10.0,
        500.0,
        "a tempo is a number of beats a minute from 10 to 500",
    )
}

fn level(text: &str) -> Result<f64, String> {
    in_range(
        text,
        -60.0,
        0.0,
        "a level is a number of decibels from -60 to 0, as in `-18`",
    )
}

fn in_range(text: &str, least: f64, most: f64, what: &str) -> Result<f64, String> {
    values::number(text)
        .filter(|given| (least..=most).contains(given))
        .ok_or_else(|| what.to_owned())
}

impl BackingOptions {
    /// The file, where one is given.
    pub(crate) fn file(&self) -> Option<&Path> {
        self.backing.as_deref()
    }

    /// The track as it lies to `line`, the whole line at its written tempo, begun at `share` of it.
    pub(super) fn read(&self, line: &Line, share: f64) -> Result<Option<Backing>, Failure> {
        let Some(path) = &self.backing else {
            return Ok(None);
        };
        let name = path.display();
        let written = line.tempo();
        let own = self.backing_tempo.unwrap_or(written.bpm());
        let stride = written.bpm() / own;
        let tempo = stride * share;
        if !(TEMPO_MIN..=TEMPO_MAX).contains(&tempo) {
            return Err(Failure::new(format!(
                "{name}: at this tempo it would play at {:.0} % of its own; {:.0} to {:.0} % are \
                 possible; change --tempo or --backing-tempo",
                100.0 * tempo,
                100.0 * TEMPO_MIN,
                100.0 * TEMPO_MAX
            )));
        }
        let start_s = match self.backing_start {
            Some(start_s) => {
                // That it can be read is seen before anything sounds.
                crate::sound::file::open(path).map_err(Failure::of)?;
                start_s
            }
            None => found(path, line, stride)?,
        };
        Ok(Some(Backing {
            path: path.clone(),
            start_s,
            stride,
            level: Decibels(self.backing_level),
        }))
    }
}

/// Where bar 1 was found; fails where that is not sure.
fn found(path: &Path, line: &Line, stride: f64) -> Result<f64, Failure> {
    let name = path.display();
    let unsure = || {
        Failure::new(format!(
            "{name}: it is not clear where bar 1 begins in it at the line's tempo; say it in seconds \
             with --backing-start, and its tempo with --backing-tempo if it has another"
        ))
    };
    let meter = line
        .bars()
        .first()
        .map(|bar| bar.meter)
        .ok_or_else(unsure)?;
    let quarters = beat_quarters(meter);
    let beats = (meter.bar_length().quarters() / quarters).round() as usize;
    let beat_s = stride * quarters * 60.0 / line.tempo().quarters_per_minute();
    let first = first_bar(path, beat_s, beats).map_err(Failure::of)?;
    let first = first.ok_or_else(unsure)?;
    output::note(&format!(
        "{name}: bar 1 was found at {:.2} s (its beats rise at least {:.0} times over what is between, \
         first beats {:.1} times over the others); if that is wrong give --backing-start SECONDS",
        first.at_s,
        first.beat.min(BEAT_TOLD).floor(),
        first.bar
    ));
    Ok(first.at_s)
}
