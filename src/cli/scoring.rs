//! What `score` does with its takes: judges them on all cores, and sends out what was asked for.

use std::path::Path;

use super::bar::Bar;
use super::class::jobs::Job;
use super::class::reports::Reports;
use super::data::DataOptions;
use super::failure::Failure;
use super::judge::{Judge, Judged};
use super::judged::JudgedTake;
use super::many;
use super::options::Target;
use super::output;
use super::played::AsPlayed;
use super::record::Practised;
use super::score::{ScoreArguments, learn_gaps};
use super::written::{self, Planned};
use super::{BELOW, DONE, FAILED, below_mark};
use crate::report::class::{Outcome, Row, RowLine};
use crate::report::json;
use crate::report::text::{self, PageSettings};
use crate::session::instrument_file;
use crate::session::result::TakeResult;
use crate::words;

/// What `score` was asked for.
pub(super) struct Run<'a> {
    pub arguments: &'a ScoreArguments,
    pub data: &'a DataOptions,
    pub jobs: Vec<Job>,
    /// Whether a table is made.
    pub several: bool,
    /// Whether the takes are a class's: see `ClassOptions::is_class`.
    pub is_class: bool,
    /// Where the whole reports go as JSON.
    pub json: Option<Target>,
}

impl Run<'_> {
    pub fn judge_all(&self, judge: Judge) -> Result<u8, Failure> {
        let arguments = self.arguments;
        let mut code = DONE;
        let mut first = true;
        let mut rows = Vec::new();
        let mut results = Vec::new();
        let mut kept_before = 0;
        let mut reports = self
            .json
            .clone()
            .map(|target| Reports::to(target, !self.several));
        let mut unwritten = None;
        let bar = self.several.then(|| Bar::of(self.jobs.len()));
        let work = |job: &Job| {
            let judged = judge.judge(job);
            bar.iter().for_each(Bar::done);
            judged
        };
        many::in_order(&self.jobs, work, |job, judged| {
            let judged = match judged {
                Ok(judged) => judged,
                Err(failure) => {
                    // A take that cannot be judged must not cost the others their report.
                    failure.say();
                    code = FAILED;
                    rows.push(row(job, None, Outcome::NotJudged(failure.to_string())));
                    return Ok(());
                }
            };
            if let Some(failure) = &judged.not_kept {
                failure.say();
                code = FAILED;
            }
            kept_before += usize::from(judged.is_kept);
            if let (false, Some(line)) = (self.several, judged.line.as_ref().filter(|l| l.found)) {
                output::note(&format!(
                    "{}: the line is {}",
                    job.take.display(),
                    line.file
                ));
            }
            code = code.max(self.code_of(job, &judged));
            if let (Some(open), Some(report)) = (&mut reports, &judged.report)
                && let Err(failure) = open.add(report)
            {
                // What cannot be written must not cost the other takes their row.
                reports = None;
                unwritten = Some(failure);
            }
            rows.push(row(job, judged.line, judged.outcome));
            if let Some(fresh) = judged.fresh {
                let (result, as_played) = *fresh;
                if self.shows_reports() {
                    self.show(&result, &as_played, first)?;
                }
                first = false;
                code = code.max(self.follow(&job.take, &result, &as_played));
                if arguments.learn_gaps {
                    results.push(result);
                }
            }
            Ok(())
        })?;
        drop(bar);
        if arguments.class.resume.is_some() {
            let judged = words::count(self.jobs.len() - kept_before, "take");
            output::note(&format!("{judged} judged now, {kept_before} before"));
        }
        if self.several {
            if self.shows_reports() && !first {
                output::print(b"\n")?;
            }
            let page = arguments.judged.html();
            arguments.class.write(&mut rows, self.is_text(), page)?;
        } else {
            arguments.class.write(&mut rows, false, None)?;
        }
        if let (true, Some(path)) = (arguments.learn_gaps, arguments.strings.as_deref()) {
            learn_gaps(path, judge.into_known(), &results)?;
        }
        reports.map_or(Ok(()), Reports::finish)?;
        unwritten.map_or(Ok(code), Err)
    }

    /// Whether standard output gets text for people.
    fn is_text(&self) -> bool {
        !matches!(self.json, Some(Target::Standard))
            && !self.arguments.judged.is_in_place_of_text()
            && self.arguments.class.to_standard() == 0
    }

    /// Whether the report of each take is printed.
    fn shows_reports(&self) -> bool {
        let arguments = self.arguments;
        let asked = arguments.class.reports || arguments.all || arguments.verbose;
        self.is_text() && (asked || !self.several)
    }

    /// The exit code of one take: whether anything of what was asked for could be judged; by the pass
    /// mark over all judged passes, with a word on standard error when it was not reached.
    fn code_of(&self, job: &Job, judged: &Judged) -> u8 {
        match &judged.outcome {
            Outcome::NotJudged(why) => {
                // What was heard of a line is in the report; why there was no line is nowhere else.
                if judged.line.is_none() {
                    output::note(&format!("error: {}: {why}", job.take.display()));
                }
                FAILED
            }
            Outcome::Judged(counts) => {
                let name = job.take.display().to_string();
                said_below(&name, counts.of_passes, self.arguments.pass_mark)
            }
        }
    }

    /// What follows when a take was judged: its pages are written, and it goes into the record; gives the
    /// exit code.
    fn follow(&self, take: &Path, result: &TakeResult, as_played: &AsPlayed) -> u8 {
        let written = match self.several {
            true => Ok(()),
            false => {
                let read = self.inputs();
                let guarded = (read.as_slice(), self.arguments.replace);
                let judged = JudgedTake {
                    result,
                    take,
                    practise: &as_played.practise,
                    a4: as_played.settings.a4,
                };
                self.arguments.judged.write(judged, guarded)
            }
        };
        // What cannot be written must not keep the take out of the record.
        self.record(take, result, as_played);
        match written {
            Ok(()) => DONE,
            Err(failure) => {
                failure.say();
                FAILED
            }
        }
    }

    /// What can be known to be wrong before anything is read.
    pub fn check_files(&self) -> Result<(), Failure> {
        let arguments = self.arguments;
        let class = &arguments.class;
        let standard = Path::new("-");
        let takes: Vec<&Path> = self.jobs.iter().map(|job| job.take.as_path()).collect();
        let from_standard = takes.iter().filter(|take| **take == standard).count();
        if from_standard > 1 {
            return Err(Failure::new(
                "`-` stands twice among the takes; standard input can be read only once",
            ));
        }
        if from_standard > 0 && (class.lines.is_some() || class.resume.is_some()) {
            return Err(Failure::new(
                "--lines and --resume read a take more than once, and standard input can be read only \
                 once; name the take's file",
            ));
        }
        if arguments.line.as_deref() == Some(standard) {
            return Err(Failure::new(
                "--line -: a line is read from a file, not from standard input",
            ));
        }
        let whole_results = [
            (arguments.learn_gaps, "--learn-gaps"),
            (class.reports, "--reports"),
            (arguments.all, "--all"),
            (arguments.verbose, "--verbose"),
        ];
        let first = whole_results.iter().find(|(asked, _)| *asked);
        if let Some((_, option)) = first.filter(|_| class.resume.is_some()) {
            return Err(Failure::new(format!(
                "{option} needs every take heard, and --resume passes over those judged before; leave \
                 one of them out"
            )));
        }
        let others = usize::from(matches!(self.json, Some(Target::Standard))) + class.to_standard();
        arguments.judged.check(&takes, self.several, others)?;
        written::check(&self.planned(), &self.inputs(), arguments.replace)
    }

    /// The files that are known before anything is judged.
    pub fn planned(&self) -> Vec<Planned<'_>> {
        let arguments = self.arguments;
        let mut planned = Vec::new();
        planned.extend(arguments.judged.planned());
        planned.extend(arguments.class.planned());
        if let (true, Some(strings)) = (arguments.learn_gaps, arguments.strings.as_deref()) {
            // What is learnt is added to what `tune` has written there.
            planned.push(Planned::new(strings, instrument_file::WRITTEN_BY));
        }
        if let Some(Target::File(path)) = &self.json {
            planned.push(Planned::new(path, json::BY_SCORE));
        }
        planned
    }

    /// The files that are read and never written.
    fn inputs(&self) -> Vec<&Path> {
        let arguments = self.arguments;
        let mut inputs: Vec<&Path> = self.jobs.iter().map(|job| job.take.as_path()).collect();
        inputs.extend(self.jobs.iter().filter_map(|job| job.line.as_deref()));
        inputs.extend(arguments.line.as_deref());
        inputs.extend(arguments.class.inputs());
        let strings = arguments.strings.as_deref();
        inputs.extend(strings.filter(|_| !arguments.learn_gaps));
        inputs
    }

    /// Puts a judged take into the record. Of several takes, of standard input and of another line nobody
    /// knows whose practice it was: they go in only when the player is named. Of a class none goes in.
    fn record(&self, take: &Path, result: &TakeResult, as_played: &AsPlayed) {
        let record = &self.arguments.record;
        let own = !self.several && take != Path::new("-") && result.judgement.is_judged();
        if self.is_class || (!own && !record.names_player()) {
            return;
        }
        let line = &as_played.line;
        let practised = Practised {
            line,
            tempo_bpm: line.tempo().quarters_per_minute() / as_played.practise.share,
            line_file: Path::new(&as_played.practise.line),
            part: as_played.part.clone(),
            take,
            result,
            rig: as_played.rig.clone(),
            date: as_played.date.as_deref(),
        };
        record.keep(self.data, &practised);
    }

    /// Prints the text of one take, an empty line before every one but the first.
    fn show(&self, result: &TakeResult, as_played: &AsPlayed, first: bool) -> Result<(), Failure> {
        let mut page = if first {
            String::new()
        } else {
            "\n".to_owned()
        };
        page.push_str(&text::page(
            result,
            &PageSettings {
                columns: output::columns(),
                colour: output::colour_wanted(),
                all: self.arguments.all,
                verbose: self.arguments.verbose,
                practise: Some(as_played.practise.clone()),
            },
        ));
        output::print(page.as_bytes())
    }
}

/// The row of a take.
fn row(job: &Job, line: Option<RowLine>, outcome: Outcome) -> Row {
    Row {
        who: job.who.clone(),
        take: job.take.display().to_string(),
        line,
        outcome,
    }
}

/// The exit code of a take that is judged, of which so many notes of all were right; says it when that is
/// below the mark.
fn said_below(name: &str, right: (usize, usize), mark: Option<f64>) -> u8 {
    match below_mark(right, mark) {
        None => DONE,
        Some(below) => {
            output::note(&format!("{name}: {below}"));
            BELOW
        }
    }
}

/// The exit code of a judged take by itself: see [`Run::code_of`].
#[cfg(test)]
pub(super) fn pass(result: &TakeResult, mark: Option<f64>) -> u8 {
    match Outcome::of(result) {
        Outcome::NotJudged(_) => FAILED,
        Outcome::Judged(counts) => said_below(&result.take.file, counts.of_passes, mark),
    }
}
