//! A class: several takes as one table, those that need the teacher most first.
//!
//! | file | what lives there |
//! |---|---|
//! | here | the options, and where the table goes |
//! | `jobs` | which takes: named, of a folder, of a class file |
//! | `file` | the class file |
//! | `lines` | the lines of a folder, and which of them a take is |
//! | `kept` | results of takes already judged |
//! | `reports` | the whole reports as JSON, written as they come |

mod file;
pub(super) mod jobs;
pub(super) mod kept;
pub(super) mod lines;
pub(super) mod reports;

use std::path::{Path, PathBuf};

use clap::Args;

use super::failure::Failure;
use super::options::Target;
use super::output;
use super::written::{PAGE_MARK, Planned};
use crate::report::class::{self, Row, csv, json, text};
use crate::report::html;
use crate::report::json::BY_SCORE;

/// What is asked for where several takes are judged.
#[derive(Args, Debug, Clone)]
#[command(next_help_heading = "Several takes")]
pub(super) struct ClassOptions {
    /// Judge the takes of this table: CSV with a header row `who,take,line`; paths count from its folder.
    /// The line may be left out where --line or --lines is given
    #[arg(long = "class", value_name = "FILE.csv", conflicts_with = "takes")]
    pub(super) file: Option<PathBuf>,

    /// Find out by ear which line of this folder each take is; what fits none, or several nearly alike,
    /// is said and not judged
    #[arg(long, value_name = "DIR", conflicts_with = "line")]
    pub(super) lines: Option<PathBuf>,

    /// Keep each result in this folder as soon as it is there; started again, only what is left or has
    /// changed is judged
    #[arg(long, value_name = "DIR")]
    pub(super) resume: Option<PathBuf>,

    /// Write the table as CSV; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    csv: Option<PathBuf>,

    /// Write the table as one JSON object; `-` is standard output, without the text
    #[arg(long, value_name = "PATH|-")]
    summary: Option<PathBuf>,

    /// Print the report of each take before the table, as do --all and --verbose
    #[arg(long)]
    pub(super) reports: bool,
}

impl ClassOptions {
    /// Whether a class is judged, however many takes it has: its takes are other people's, and none goes
    /// into the record.
    pub(super) fn is_class(&self, takes: &[PathBuf]) -> bool {
        self.file.is_some() || self.resume.is_some() || takes.iter().any(|take| take.is_dir())
    }

    fn targets(&self) -> impl Iterator<Item = &Path> {
        [&self.csv, &self.summary]
            .into_iter()
            .flatten()
            .map(PathBuf::as_path)
    }

    /// Which of its options send something to standard output.
    pub(super) fn to_standard(&self) -> usize {
        self.targets()
            .filter(|path| *path == Path::new("-"))
            .count()
    }

    /// The files that are known before anything is judged.
    pub(super) fn planned(&self) -> impl Iterator<Item = Planned<'_>> {
        let files = self.targets().filter(|path| *path != Path::new("-"));
        files.map(|path| Planned::new(path, BY_SCORE))
    }

    /// The files that are read and never written.
    pub(super) fn inputs(&self) -> impl Iterator<Item = &Path> {
        self.file.iter().map(PathBuf::as_path)
    }

    /// Writes the table where it is asked for; its text is printed when `is_text`, its page goes to `page`.
    pub(super) fn write(
        &self,
        rows: &mut [Row],
        is_text: bool,
        page: Option<Target>,
    ) -> Result<(), Failure> {
        class::sort(rows);
        if is_text {
            let table = text::table(rows, output::columns(), output::colour_wanted());
            output::print(table.as_bytes())?;
        }
        let csv = self
            .csv
            .as_deref()
            .map(|path| (Target::new(path), csv::table(rows)));
        let summary = self
            .summary
            .as_deref()
            .map(|path| (Target::new(path), json::object(rows)));
        let mark = format!("{PAGE_MARK}{BY_SCORE}");
        let page = page.map(|target| (target, html::class::page(rows, &mark)));
        let mut written = Ok(());
        for (target, text) in [csv, summary, page].into_iter().flatten() {
            // What cannot be written must not cost the other files.
            written = written.and(match target {
                Target::Standard => output::print(text.as_bytes()),
                Target::File(path) => output::write_file(&path, text.as_bytes()),
            });
        }
        written
    }
}
