//! How the JSON is laid out: a field to a line, and in its lists an entry to a line, so that it
//! can be read by eye and compared line by line.

use std::io::{self, Write};

use serde::Serialize;
use serde_json::ser::Formatter;

/// One level of nesting that is being written.
struct Level {
    /// Whether its members stand on lines of their own.
    broken: bool,
    /// Whether a member has been written.
    filled: bool,
}

/// How deep a list lies that is inside an entry of an outermost list.
const INNER_LIST: usize = 3;

/// Breaks the outermost object and the lists in it; in their entries it breaks lists of objects.
/// All else stays on one line.
#[derive(Default)]
struct Lines {
    levels: Vec<Level>,
    /// An inner list was opened and its first entry has not been seen.
    undecided: bool,
}

/// A value laid out so, without a line feed at its end. Never fails: it is written to memory, and what
/// reports hold (plain structs of strings and finite numbers) can always be written.
pub(super) fn text(value: &impl Serialize) -> String {
    let mut bytes = Vec::new();
    let mut serializer = serde_json::Serializer::with_formatter(&mut bytes, Lines::default());
    value
        .serialize(&mut serializer)
        .expect("a report is always representable");
    String::from_utf8(bytes).expect("JSON is UTF-8")
}

impl Lines {
    fn open(&mut self, broken: bool) {
        self.levels.push(Level {
            broken,
            filled: false,
        });
    }

    fn separate<W: Write + ?Sized>(&mut self, writer: &mut W, first: bool) -> io::Result<()> {
        let depth = self.levels.len();
        let Some(level) = self.levels.last_mut() else {
            return Ok(());
        };
        level.filled = true;
        match (level.broken, first) {
            (true, true) => line_feed(writer, depth),
            (true, false) => {
                writer.write_all(b",")?;
                line_feed(writer, depth)
            }
            (false, true) => Ok(()),
            (false, false) => writer.write_all(b", "),
        }
    }

    fn close<W: Write + ?Sized>(&mut self, writer: &mut W, bracket: &[u8]) -> io::Result<()> {
        if let Some(level) = self.levels.pop()
            && level.broken
            && level.filled
        {
            line_feed(writer, self.levels.len())?;
        }
        writer.write_all(bracket)
    }
}

fn line_feed<W: Write + ?Sized>(writer: &mut W, depth: usize) -> io::Result<()> {
    writer.write_all(b"\n")?;
    (0..depth).try_for_each(|_| writer.write_all(b" "))
}

impl Formatter for Lines {
    fn begin_object<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        if std::mem::take(&mut self.undecided) {
            let depth = self.levels.len();
            if let Some(list) = self.levels.last_mut() {
                list.broken = true;
            }
            line_feed(writer, depth)?;
        }
        self.open(self.levels.is_empty());
        writer.write_all(b"{")
    }

    fn end_object<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        self.close(writer, b"}")
    }

    fn begin_object_key<W: Write + ?Sized>(&mut self, w: &mut W, first: bool) -> io::Result<()> {
        self.separate(w, first)
    }

    fn begin_object_value<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        writer.write_all(b": ")
    }

    fn begin_array<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        let depth = self.levels.len();
        self.open(depth == 1);
        self.undecided = depth == INNER_LIST;
        writer.write_all(b"[")
    }

    fn end_array<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        self.undecided = false;
        self.close(writer, b"]")
    }

    fn begin_array_value<W: Write + ?Sized>(&mut self, w: &mut W, first: bool) -> io::Result<()> {
        // Only the first entry can tell what the list holds.
        self.undecided &= first;
        self.separate(w, first)
    }
}
