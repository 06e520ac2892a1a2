//! What several commands ask for: the line, and how it is to be taken.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::output;
use super::values::{BarChoice, SwingChoice, TempoChoice};
use crate::music::instrument::{Instrument, Tuning};
use crate::music::line::{Line, PartChoice, read_part};
use crate::session::played::Played;

/// Largest line file read, in bytes: some hundred times a long piece, so that a sound file given
/// by mistake is refused instead of read.
const LINE_BYTES_MAX: u64 = 16 << 20;

/// Which part of a file with several is meant.
#[derive(Args, Clone, Debug, Default)]
pub(super) struct PartOption {
    /// The part to take from a file with several: its number or its name
    #[arg(long, value_name = "NUMBER|NAME")]
    part: Option<PartChoice>,
}

impl PartOption {
    /// Reads the line and says what is to be said of its file.
    pub(super) fn read(&self, path: &Path) -> Result<Line, Failure> {
        let name = path.display().to_string();
        let bytes = line_bytes(path)?;
        let read = read_part(&name, &bytes, self.part.as_ref()).map_err(Failure::of)?;
        for remark in &read.notes {
            output::note(&format!("{name}: {remark}"));
        }
        Ok(read.line)
    }
}

/// How the line is to be taken.
#[derive(Args, Clone, Debug, Default)]
pub(super) struct LineOptions {
    #[command(flatten)]
    part: PartOption,

    /// Tempo of the line: beats per minute, or per cent of the written tempo
    #[arg(long, value_name = "BPM|N%")]
    tempo: Option<TempoChoice>,

    /// Only these bars, as in `3-4`, by their printed numbers; a pick-up is bar 0
    #[arg(long, value_name = "A-B")]
    pub(super) bars: Option<BarChoice>,

    /// Swing the eighths, long to short, from 1:1 to 3:1, as in `2:1`; `off` is straight
    #[arg(long, value_name = "RATIO")]
    swing: Option<SwingChoice>,

    /// Open strings, as in "E1 A1 D2 G2", or one of 4, 5, 6, guitar
    #[arg(long, value_name = "TUNING", value_parser = super::values::tuning)]
    tuning: Option<Tuning>,
}

/// A line, and the part of it that was asked for.
pub(super) struct Part {
    /// The whole line, at its written tempo or at the one asked for.
    pub(super) line: Line,
    /// First and last bar, when not all are wanted.
    pub(super) bars: Option<(u32, u32)>,
    /// The stretches of them that are wanted, each time that a repeat plays them; one when all are,
    /// none for the whole line.
    pub(super) stretches: Vec<(u32, u32)>,
    /// Tempo relative to the written one.
    pub(super) share: f64,
}

impl LineOptions {
    /// These options, and where none was given what the take was played by.
    pub(super) fn or_as_played(&self, played: &Played, name: &str) -> Result<Self, Failure> {
        let wrong = |what: String| Failure::new(format!("{name}: {what}"));
        let swing = played.swing.as_deref().map(str::parse::<SwingChoice>);
        let tuning = played.tuning.as_deref().map(super::values::tuning);
        let share = Some(TempoChoice::Share(played.tempo_share));
        let bars = played.bars.map(BarChoice::as_played);
        let part = match &self.part.part {
            Some(given) => Some(given.clone()),
            None => played
                .part
                .as_ref()
                .map(|part| part.parse())
                .transpose()
                .map_err(|never: std::convert::Infallible| match never {})?,
        };
        Ok(Self {
            part: PartOption { part },
            tempo: self.tempo.or(share),
            bars: self.bars.or(bars),
            swing: self.swing.or(swing.transpose().map_err(wrong)?),
            tuning: match &self.tuning {
                Some(given) => Some(given.clone()),
                None => tuning.transpose().map_err(wrong)?,
            },
        })
    }

    /// The part of the line's file that was asked for.
    pub(super) fn part_name(&self) -> Option<String> {
        self.part.part.as_ref().map(ToString::to_string)
    }

    /// Whether a tempo was asked for.
    pub(super) fn names_tempo(&self) -> bool {
        self.tempo.is_some()
    }

    /// Writes down what was asked for of the line.
    pub(super) fn write_down(&self, part: &Part, played: &mut Played) {
        played.part = self.part_name();
        played.bars = part.bars;
        played.tempo_share = part.share;
        played.swing = self.swing.map(|SwingChoice(swing)| {
            swing.map_or_else(|| "off".to_owned(), |ratio| ratio.to_string())
        });
        played.tuning = self.tuning.as_ref().map(ToString::to_string);
    }

    /// Reads the line and takes it as the options say.
    pub(super) fn read(&self, path: &Path) -> Result<Line, Failure> {
        let within = |error| Failure::new(format!("{}: {error}", path.display()));
        let mut line = self.as_asked(path)?;
        if let Some(bars) = self.bars {
            line = bars.cut(&line).map_err(within)?;
        }
        match self.tempo {
            Some(TempoChoice::Bpm(bpm)) => line.with_tempo(bpm).map_err(within),
            Some(TempoChoice::Share(share)) => line.with_tempo_scale(share).map_err(within),
            None => Ok(line),
        }
    }

    /// The whole line at the tempo asked for, and the part of it that was.
    pub(super) fn read_at_tempo(&self, path: &Path) -> Result<Part, Failure> {
        let part = self.read_whole(path)?;
        let line = self.at_tempo(&part, path)?;
        Ok(Part { line, ..part })
    }

    /// The line of a part at the tempo asked for; fails where its bars hold no note.
    pub(super) fn at_tempo(&self, part: &Part, path: &Path) -> Result<Line, Failure> {
        let within = |error| Failure::new(format!("{}: {error}", path.display()));
        if let Some((from, to)) = part.bars {
            part.line.played_range(from..=to).map_err(within)?;
        }
        match self.tempo {
            Some(_) => part.line.with_tempo_scale(part.share).map_err(within),
            None => Ok(part.line.clone()),
        }
    }

    /// The whole line at its written tempo, and the part of it that was asked for.
    pub(super) fn read_whole(&self, path: &Path) -> Result<Part, Failure> {
        let within = |error| Failure::new(format!("{}: {error}", path.display()));
        let line = self.as_asked(path)?;
        let bars = self.bars.map(|bars| bars.played_in(&line));
        let stretches = bars.transpose().map_err(within)?.unwrap_or_default();
        let bars = stretches.first().zip(stretches.last());
        let bars = bars.map(|(first, last)| (first.0, last.1));
        let share = match self.tempo {
            Some(TempoChoice::Share(share)) => share,
            Some(TempoChoice::Bpm(bpm)) => {
                let (from, to) = bars.unwrap_or((line.first_bar(), line.last_bar()));
                let opening = line.played_range(from..=to).map_err(within)?;
                bpm / opening.tempo().bpm()
            }
            None => 1.0,
        };
        Ok(Part {
            line,
            bars,
            stretches,
            share,
        })
    }

    /// The whole line with the swing and on the instrument that were asked for.
    fn as_asked(&self, path: &Path) -> Result<Line, Failure> {
        let name = path.display().to_string();
        let mut line = self.part.read(path)?;
        if let Some(SwingChoice(swing)) = self.swing {
            line = line
                .with_swing(swing)
                .map_err(|error| Failure::new(format!("--swing: {name}, {error}")))?;
        }
        let Some(tuning) = &self.tuning else {
            return Ok(line);
        };
        let written = line.instrument();
        let instrument = Instrument::new(tuning.clone(), written.frets(), written.scale_mm())
            .map_err(Failure::of)?;
        line.with_instrument(instrument)
            .map_err(|error| Failure::new(format!("{name}: {error}")))
    }
}

pub(super) fn line_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    let name = path.display();
    let there = std::fs::metadata(path).map_err(|error| {
        Failure::new(match error.kind() {
            std::io::ErrorKind::NotFound => {
                format!("{name}: there is no such line; check the path")
            }
            _ => format!("{name}: cannot be opened ({error}); check that you may read it"),
        })
    })?;
    if there.is_dir() {
        return Err(Failure::new(format!(
            "{name}: this is a folder; name a line in it"
        )));
    }
    let mut bytes = Vec::new();
    // A device has no length to ask for: what comes is counted.
    File::open(path)
        .and_then(|file| file.take(LINE_BYTES_MAX + 1).read_to_end(&mut bytes))
        .map_err(|error| {
            Failure::new(format!(
                "{name}: cannot be read ({error}); check that you may read it"
            ))
        })?;
    let found = there.len().max(bytes.len() as u64);
    if found > LINE_BYTES_MAX {
        return Err(Failure::new(format!(
            "{name}: {found} bytes are too many for a line (at most {LINE_BYTES_MAX}); is this the \
             take?"
        )));
    }
    Ok(bytes)
}

/// Where a result goes.
#[derive(Clone, Debug)]
pub(super) enum Target {
    /// Standard output.
    Standard,
    /// A file.
    File(PathBuf),
}

impl Target {
    /// `-` is standard output.
    pub(super) fn new(path: &Path) -> Self {
        if path == Path::new("-") {
            Self::Standard
        } else {
            Self::File(path.to_owned())
        }
    }
}
