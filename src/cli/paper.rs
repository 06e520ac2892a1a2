//! A line on paper: which files are asked for, whether they may be written, and what was written.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::failure::Failure;
use super::options::Target;
use super::output;
use super::written::{self, PAGE_MARK, Planned, ReplaceOption};
use crate::music::fingering::Way;
use crate::music::line::Line;
use crate::music::study::degrees;
use crate::report::sheet::{Paper, SheetOptions, html, pdf, svg_pages};
use crate::report::show_json::WRITTEN_BY;
use crate::words;

/// Which paper.
#[derive(ValueEnum, Clone, Copy, Debug, PartialEq, Eq)]
enum PaperChoice {
    /// 210 by 297 mm
    A4,
    /// 8.5 by 11 inch
    Letter,
}

/// What is to be printed.
#[derive(Args, Clone, Debug)]
#[command(next_help_heading = "Paper")]
pub(super) struct PaperOptions {
    /// The line as SVG, a file to a page: PATH, then PATH with -2, -3 and so on before its ending
    #[arg(long, value_name = "PATH")]
    svg: Option<PathBuf>,

    /// The line as one HTML file that prints a page to a sheet
    #[arg(long, value_name = "PATH")]
    html: Option<PathBuf>,

    /// The line as PDF
    #[arg(long, value_name = "PATH")]
    pdf: Option<PathBuf>,

    /// The paper it is laid out for
    #[arg(long, value_enum, value_name = "SIZE", default_value_t = PaperChoice::A4)]
    paper: PaperChoice,

    /// Print the degree of each note in its chord, too
    #[arg(long)]
    degrees: bool,
}

/// One file with its bytes.
type Written = (PathBuf, Vec<u8>);

impl PaperOptions {
    /// Whether anything is to be printed.
    pub(super) fn is_asked(&self) -> bool {
        self.paths().next().is_some()
    }

    /// Whether something goes to standard output.
    pub(super) fn is_to_standard(&self) -> bool {
        self.paths().any(is_standard)
    }

    fn paths(&self) -> impl Iterator<Item = &Path> {
        let all = [&self.svg, &self.html, &self.pdf];
        all.into_iter().filter_map(|path| path.as_deref())
    }

    /// The files that are known before the line is: of several pages the first.
    pub(super) fn planned(&self) -> Result<Vec<Planned<'_>>, Failure> {
        if self.paths().filter(|path| is_standard(path)).count() > 1 {
            return Err(Failure::new(
                "--svg, --html, --pdf: only one of them can go to standard output; name files for \
                 the others",
            ));
        }
        let files = self.paths().filter(|path| !is_standard(path));
        Ok(files.map(|path| Planned::new(path, WRITTEN_BY)).collect())
    }

    /// Writes what was asked for, and says so.
    ///
    /// # Errors
    /// A file that must not be written (`inputs` are read); nothing is written then.
    pub(super) fn write(
        &self,
        line: &Line,
        way: &Way,
        fingers: bool,
        (inputs, replace): (&[&Path], ReplaceOption),
    ) -> Result<(), Failure> {
        let files = self.files(line, way, fingers)?;
        let named = files.iter().filter(|(path, _)| !is_standard(path));
        let planned: Vec<Planned> = named
            .map(|(path, _)| Planned::new(path, WRITTEN_BY))
            .collect();
        written::check(&planned, inputs, replace)?;
        for (path, bytes) in &files {
            match Target::new(path) {
                Target::Standard => output::print(bytes)?,
                Target::File(path) => {
                    output::write_file(&path, bytes)?;
                }
            }
        }
        for path in self.paths().filter(|path| !is_standard(path)) {
            output::note(&self.told(line, path, files.len() - (self.paths().count() - 1)));
        }
        Ok(())
    }

    fn files(&self, line: &Line, way: &Way, fingers: bool) -> Result<Vec<Written>, Failure> {
        let options = SheetOptions {
            paper: match self.paper {
                PaperChoice::A4 => Paper::A4,
                PaperChoice::Letter => Paper::Letter,
            },
            fingers,
            beneath: if self.degrees {
                degrees_of_steps(line)
            } else {
                Vec::new()
            },
            mark: format!("{PAGE_MARK}{WRITTEN_BY}"),
        };
        let mut files = Vec::new();
        if let Some(path) = &self.svg {
            let pages = svg_pages(line, way, &options);
            if is_standard(path) && pages.len() > 1 {
                return Err(Failure::new(format!(
                    "--svg: {} pages cannot go to standard output; name a file, or take fewer bars \
                     with --bars",
                    pages.len()
                )));
            }
            let named = (1..).zip(pages);
            files.extend(named.map(|(number, page)| (of_page(path, number), page.into_bytes())));
        }
        if let Some(path) = &self.html {
            files.push((path.clone(), html(line, way, &options).into_bytes()));
        }
        if let Some(path) = &self.pdf {
            files.push((path.clone(), pdf(line, way, &options)));
        }
        Ok(files)
    }

    /// "line.svg to line-3.svg: 24 bars on 3 pages, A4".
    fn told(&self, line: &Line, path: &Path, pages: usize) -> String {
        let paper = match self.paper {
            PaperChoice::A4 => "A4",
            PaperChoice::Letter => "Letter",
        };
        let bars = words::count(line.written_bars().len(), "bar");
        let name = path.display();
        if self.svg.as_deref() == Some(path) && pages > 1 {
            let last = of_page(path, pages);
            let last = last.display();
            return format!("{name} to {last}: {bars} on {pages} pages, {paper}");
        }
        format!("{name}: {bars}, {paper}")
    }
}

fn is_standard(path: &Path) -> bool {
    path == Path::new("-")
}

/// The file of a page, from 1: `line.svg`, `line-2.svg`.
fn of_page(path: &Path, number: usize) -> PathBuf {
    if number == 1 {
        return path.to_owned();
    }
    let mut name = path.file_stem().unwrap_or_default().to_owned();
    name.push(format!("-{number}"));
    if let Some(ending) = path.extension() {
        name.push(".");
        name.push(ending);
    }
    path.with_file_name(name)
}

/// The degree of each note or chord in the chord in force, that of its lowest note.
fn degrees_of_steps(line: &Line) -> Vec<Option<String>> {
    let notes = line.expected(line.instrument());
    let told = degrees(line, &notes);
    notes
        .iter()
        .zip(told)
        .filter(|(note, _)| !note.with_previous)
        .map(|(note, degree)| {
            // A muted string has no pitch, and so no degree.
            let degree = degree.filter(|_| !note.ghost)?;
            Some(degree.degree.to_string())
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pages_are_numbered_before_the_ending() {
        for (path, number, wanted) in [
            ("a/line.svg", 1, "a/line.svg"),
            ("a/line.svg", 2, "a/line-2.svg"),
            ("line.x.svg", 12, "line.x-12.svg"),
            ("line", 3, "line-3"),
        ] {
            assert_eq!(of_page(Path::new(path), number), Path::new(wanted));
        }
    }
}
