//! How the JSON is laid out: a field to a line, and in its lists an entry to a line, so that it
//! can be read by eye and compared line by line.

use std::io::{self, Write};

use serde_json::ser::Formatter;

/// One level of nesting that is being written.
struct Level {
    /// Whether its members stand on lines of their own.
    broken: bool,
    /// Whether a member has been written.
    filled: bool,
}

/// Breaks the outermost object and the lists in it, and keeps all else on one line.
#[derive(Default)]
pub(super) struct Lines {
    levels: Vec<Level>,
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
        self.open(self.levels.len() == 1);
        writer.write_all(b"[")
    }

    fn end_array<W: Write + ?Sized>(&mut self, writer: &mut W) -> io::Result<()> {
        self.close(writer, b"]")
    }

    fn begin_array_value<W: Write + ?Sized>(&mut self, w: &mut W, first: bool) -> io::Result<()> {
        self.separate(w, first)
    }
}
