//! How a take was played: written down by `play`, taken up by `score`.

use std::path::{Path, PathBuf};

use super::clock;
use super::failure::Failure;
use super::options::LineOptions;
use super::options::{Part, line_bytes};
use super::output;
use super::play::PlayArguments;
use super::score::{ScoreArguments, read_strings};
use super::values::MarkChoice;
use crate::compare::judgement::TimingMode;
use crate::compare::marks::Marks;
use crate::music::line::Line;
use crate::report::text::Practise;
use crate::session::known::KnownInstrument;
use crate::session::offline::ScoreSettings;
use crate::session::played::{Played, PlayedClick, date, fingerprint, path_beside};
use crate::units::{Hertz, STANDARD_A4};

/// What is written beside the take.
pub(super) fn played(arguments: &PlayArguments, part: &Part) -> Result<Played, Failure> {
    let absolute = |path: &Path| {
        let whole = path.canonicalize().unwrap_or_else(|_| path.to_owned());
        whole.display().to_string()
    };
    let click = PlayedClick {
        beats: arguments.click.clone(),
        parts: arguments.click_parts,
        alternate: arguments.click_alternate,
        count_in: arguments.count_in,
    };
    let mut played = Played::new(
        date(clock::now_s().try_into().unwrap_or(0)),
        absolute(&arguments.line),
        &line_bytes(&arguments.line)?,
        arguments.a4,
        click,
    );
    arguments.options.write_down(part, &mut played);
    played.strings = arguments.strings.as_deref().map(absolute);
    played.backing = arguments.backing.file().map(absolute);
    played.marks = arguments.marks.iter().map(ToString::to_string).collect();
    Ok(played)
}

/// The line a take is held against, and how.
pub(super) struct AsPlayed {
    /// The whole line, at the tempo asked for.
    pub(super) line: Line,
    /// What it is judged by.
    pub(super) settings: ScoreSettings,
    /// How to practise it: the line's file, and the tempo relative to the written one.
    pub(super) practise: Practise,
    /// The part taken from a file with several.
    pub(super) part: Option<String>,
    /// The devices it was played with, as the file beside it says.
    pub(super) rig: Option<String>,
    /// When it was played, as the file beside it says.
    pub(super) date: Option<String>,
}

/// What is asked for of a take that is judged.
pub(super) struct HowPlayed<'a> {
    /// The line, where one is named.
    pub line: Option<&'a Path>,
    /// How it is to be taken.
    pub options: &'a LineOptions,
    /// Marks of one's own.
    pub marks: &'a [MarkChoice],
    /// The file of the strings.
    pub strings: Option<&'a Path>,
    /// Frequency of A4 in hertz.
    pub a4: Option<f64>,
    /// Played to a click at the line's tempo.
    pub click: bool,
}

impl<'a> HowPlayed<'a> {
    /// As `score` was asked, against `line`.
    pub fn of(arguments: &'a ScoreArguments, line: Option<&'a Path>) -> Self {
        Self {
            line,
            options: &arguments.options,
            marks: &arguments.marks,
            strings: arguments.strings.as_deref(),
            a4: arguments.a4,
            click: arguments.click,
        }
    }
}

/// What a take is judged by as asked for alone, whatever stands beside it.
pub(super) fn settings_of(arguments: &HowPlayed, known: &KnownInstrument) -> ScoreSettings {
    let mut marks = Marks::default();
    for mark in arguments.marks {
        mark.apply(&mut marks);
    }
    ScoreSettings {
        known: known.clone(),
        a4: Hertz(arguments.a4.unwrap_or(STANDARD_A4.0)),
        marks,
        mode: if arguments.click {
            TimingMode::Click
        } else {
            TimingMode::Free
        },
        ..ScoreSettings::default()
    }
}

/// The line a take is held against and how: as asked for, and where nothing was, as it was played.
pub(super) fn as_played(
    take: &Path,
    arguments: &HowPlayed,
    known: &KnownInstrument,
) -> Result<AsPlayed, Failure> {
    let name = path_beside(take).display().to_string();
    let is_file = take != Path::new("-");
    let played = match is_file {
        true => Played::beside(take).map_err(Failure::of)?,
        false => None,
    };
    let Some(written) = arguments
        .line
        .map(Path::to_owned)
        .or_else(|| played.as_ref().map(|played| PathBuf::from(&played.line)))
    else {
        return Err(Failure::new(format!(
            "{}: there is no {name} that says what was played; name the line with --line LINE",
            take.display()
        )));
    };
    let is_the_same = match &played {
        Some(played) => fingerprint(&line_bytes(&written)?) == played.line_fingerprint,
        None => false,
    };
    if played.is_some() && !is_the_same {
        output::note(&format!(
            "{}: not the line that was played as {name} knows it; its bars, tempo and clicks are \
             not used",
            written.display()
        ));
    }
    let played = played.filter(|_| is_the_same);
    let options = match &played {
        Some(played) => arguments.options.or_as_played(played, &name)?,
        None => arguments.options.clone(),
    };
    let date = played.as_ref().map(|played| played.date.clone());
    let rig = played.as_ref().and_then(|played| played.devices.clone());
    let Part {
        line,
        bars,
        stretches,
        share,
    } = options.read_at_tempo(&written)?;
    let mut marks = Marks::default();
    for mark in played.iter().flat_map(|played| &played.marks) {
        let mark: MarkChoice = mark
            .parse()
            .map_err(|what| Failure::new(format!("{name}: {what}")))?;
        mark.apply(&mut marks);
    }
    for mark in arguments.marks {
        mark.apply(&mut marks);
    }
    let strings = played.as_ref().and_then(|played| played.strings.as_deref());
    let known = match strings.filter(|_| arguments.strings.is_none()) {
        Some(path) => read_strings(Path::new(path))?,
        None => known.clone(),
    };
    let a4 = arguments.a4.or(played.as_ref().map(|played| played.a4_hz));
    let settings = ScoreSettings {
        known,
        a4: Hertz(a4.unwrap_or(STANDARD_A4.0)),
        marks,
        mode: if arguments.click {
            TimingMode::Click
        } else {
            TimingMode::Free
        },
        bars,
        stretches,
        clicks: played.map_or_else(Vec::new, |played| played.clicks(share)),
        ..ScoreSettings::default()
    };
    let practise = Practise {
        line: written.display().to_string(),
        share,
    };
    Ok(AsPlayed {
        line,
        settings,
        practise,
        part: options.part_name(),
        rig,
        date,
    })
}
