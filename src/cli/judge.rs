//! One take of `score` judged: its line is found where that is asked for, and what was judged before is
//! taken from where it is kept.

use std::path::{Path, PathBuf};

use super::class::jobs::Job;
use super::class::kept::{Key, Results};
use super::class::lines::Lines;
use super::failure::Failure;
use super::played::{AsPlayed, HowPlayed, as_played, settings_of};
use super::score::ScoreArguments;
use crate::report::class::{Outcome, RowLine};
use crate::report::json;
use crate::session::known::KnownInstrument;
use crate::session::offline::score_take;
use crate::session::played::{Played, path_beside};
use crate::session::result::TakeResult;
use crate::sound;

/// What all takes are judged by.
pub(super) struct Judge<'a> {
    arguments: &'a ScoreArguments,
    known: KnownInstrument,
    lines: Option<Lines>,
    results: Option<Results>,
    /// Whether the report as JSON is wanted.
    wants_report: bool,
}

/// A take that was judged, or of which that could not be done.
pub(super) struct Judged {
    /// The line.
    pub line: Option<RowLine>,
    /// What came of it.
    pub outcome: Outcome,
    /// The report as JSON, where it is wanted and there is one.
    pub report: Option<String>,
    /// The result itself and how it was judged; `None` of what was judged before, and of a take without a
    /// line.
    pub fresh: Option<Box<(TakeResult, AsPlayed)>>,
    /// Whether it was judged before.
    pub is_kept: bool,
    /// Why the result could not be kept.
    pub not_kept: Option<Failure>,
}

impl<'a> Judge<'a> {
    /// Reads what is common to all takes.
    pub(super) fn new(
        arguments: &'a ScoreArguments,
        known: KnownInstrument,
        wants_report: bool,
    ) -> Result<Self, Failure> {
        if let Some(path) = &arguments.line {
            // What is wrong with the line itself is said once, not for each take.
            arguments.options.read_at_tempo(path)?;
        }
        let class = &arguments.class;
        let lines = class.lines.as_deref();
        let lines = lines.map(|folder| Lines::read(folder, &arguments.options));
        let lines = lines.transpose()?;
        let results = class
            .resume
            .as_deref()
            .map(|folder| Results::open(folder, common_key(arguments, lines.as_ref())));
        Ok(Self {
            arguments,
            known,
            lines,
            results: results.transpose()?,
            wants_report,
        })
    }

    /// What was measured of the instrument.
    pub(super) fn into_known(self) -> KnownInstrument {
        self.known
    }

    /// The files of the lines that were looked through.
    pub(super) fn line_files(&self) -> impl Iterator<Item = &Path> {
        self.lines.iter().flat_map(Lines::files)
    }

    /// Judges one take, or takes up what was found before.
    pub(super) fn judge(&self, job: &Job) -> Result<Judged, Failure> {
        let Some(results) = &self.results else {
            return self.judge_anew(job);
        };
        let key = results.key(self.key_of(job));
        if let Some(kept) = results.find(&key) {
            return Ok(Judged {
                line: kept.line,
                outcome: kept.outcome,
                report: kept.report,
                fresh: None,
                is_kept: true,
                not_kept: None,
            });
        }
        let mut judged = self.judge_anew(job)?;
        let kept = results.keep(
            key,
            judged.line.clone(),
            judged.outcome.clone(),
            judged.report.clone(),
        );
        judged.not_kept = kept.err();
        Ok(judged)
    }

    fn judge_anew(&self, job: &Job) -> Result<Judged, Failure> {
        let named = job.line.as_ref().or(self.arguments.line.as_ref());
        let found = match (&self.lines, named) {
            (Some(lines), None) => {
                let settings = settings_of(&HowPlayed::of(self.arguments, None), &self.known);
                match lines.pick(&job.take, &settings)? {
                    Ok(line) => Some(line),
                    Err(why) => return Ok(Judged::without_line(why)),
                }
            }
            _ => None,
        };
        let line = named.or(found.as_ref());
        let how = HowPlayed::of(self.arguments, line.map(PathBuf::as_path));
        let as_played = as_played(&job.take, &how, &self.known)?;
        let mut source = sound::file::open(&job.take).map_err(Failure::of)?;
        let name = job.take.display().to_string();
        let result = score_take(&name, source.as_mut(), &as_played.line, &as_played.settings);
        let result = result.map_err(Failure::of)?;
        Ok(Judged {
            line: Some(RowLine {
                title: result.line.title.clone(),
                file: as_played.practise.line.clone(),
                found: found.is_some(),
            }),
            outcome: Outcome::of(&result),
            report: (self.wants_report || self.results.is_some()).then(|| json::object(&result)),
            fresh: Some(Box::new((result, as_played))),
            is_kept: false,
            not_kept: None,
        })
    }

    /// All that the result of this take depends on, beside what holds for every take.
    fn key_of(&self, job: &Job) -> Key {
        let mut key = Key::default();
        key.add_file("take", &job.take);
        if let Some(line) = &job.line {
            key.add_file("line", line);
        }
        let beside = path_beside(&job.take);
        if beside.is_file() {
            key.add_file("played", &beside);
            // A damaged file is told when the take is judged.
            if let Ok(Some(played)) = Played::beside(&job.take) {
                let named = [Some(&played.line), played.strings.as_ref()];
                for path in named.into_iter().flatten() {
                    key.add_file("as it was played", Path::new(path));
                }
            }
        }
        key
    }
}

impl Judged {
    fn without_line(why: String) -> Self {
        Self {
            line: None,
            outcome: Outcome::NotJudged(why),
            report: None,
            fresh: None,
            is_kept: false,
            not_kept: None,
        }
    }
}

/// All that holds for every take.
fn common_key(arguments: &ScoreArguments, lines: Option<&Lines>) -> Key {
    let mut key = Key::default();
    for path in [&arguments.line, &arguments.strings].into_iter().flatten() {
        key.add_file("file", path);
    }
    for path in lines.into_iter().flat_map(Lines::files) {
        key.add_file("one of the lines", path);
    }
    // As they were understood: two ways of writing the same are the same.
    let options = format!(
        "{:?} {} {:?}",
        arguments.options, arguments.click, arguments.a4
    );
    key.add("options", options.as_bytes());
    for mark in &arguments.marks {
        key.add("mark", mark.to_string().as_bytes());
    }
    key
}
