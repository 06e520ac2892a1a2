//! The whole reports of several takes as one JSON array, written as they come: none is held in memory.

use crate::cli::failure::Failure;
use crate::cli::options::Target;
use crate::cli::output::{self, Growing};

/// Reports under way to a file or to standard output.
pub(in crate::cli) struct Reports {
    target: Target,
    /// Whether one report stands alone, in no array.
    alone: bool,
    growing: Option<Growing>,
    any: bool,
}

impl Reports {
    /// Nothing is written until there is a report.
    pub(in crate::cli) fn to(target: Target, alone: bool) -> Self {
        Self {
            target,
            alone,
            growing: None,
            any: false,
        }
    }

    /// Adds a report, a JSON object that ends with a line feed.
    pub(in crate::cli) fn add(&mut self, report: &str) -> Result<(), Failure> {
        let before = match (self.alone, self.any) {
            (true, _) => "",
            (false, false) => "[\n",
            (false, true) => ",\n",
        };
        self.any = true;
        self.write(before)?;
        self.write(report.strip_suffix('\n').unwrap_or(report))
    }

    /// The last report was added. Where there was none nothing is written.
    pub(in crate::cli) fn finish(mut self) -> Result<(), Failure> {
        if !self.any {
            return Ok(());
        }
        self.write(if self.alone { "\n" } else { "\n]\n" })?;
        self.growing.map_or(Ok(()), Growing::finish)
    }

    fn write(&mut self, text: &str) -> Result<(), Failure> {
        let Target::File(path) = &self.target else {
            return output::print(text.as_bytes());
        };
        let growing = match &mut self.growing {
            Some(growing) => growing,
            empty => empty.insert(Growing::begin(path)?),
        };
        growing.add(text.as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::json;
    use crate::report::sample;

    #[test]
    fn written_as_they_come_they_are_the_same_array() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("all.json");
        let results = [sample::flawed(), sample::nothing_heard()];
        for (alone, count, wanted) in [
            (true, 1, json::object(&results[0])),
            (false, 1, json::array(&results[..1])),
            (false, 2, json::array(&results)),
        ] {
            let mut reports = Reports::to(Target::File(path.clone()), alone);
            for result in &results[..count] {
                reports.add(&json::object(result)).expect("written");
            }
            reports.finish().expect("written");
            assert_eq!(std::fs::read_to_string(&path).expect("read"), wanted);
        }
        std::fs::remove_file(&path).expect("removed");
        Reports::to(Target::File(path.clone()), false)
            .finish()
            .expect("nothing");
        assert!(!path.exists());
        // One that is given up leaves nothing behind.
        let mut given_up = Reports::to(Target::File(path), false);
        given_up.add("{}\n").expect("written");
        drop(given_up);
        assert_eq!(folder.path().read_dir().expect("listed").count(), 0);
    }
}
