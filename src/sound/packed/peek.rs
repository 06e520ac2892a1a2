//! A stream of bytes that can be looked at before it is taken.

use std::io::{ErrorKind, Read};

use crate::sound::error::SoundError;

/// Bytes asked for at once. Raising it reads further ahead than is needed.
const READ_BYTES: usize = 8192;

/// A reader with a window over what comes next.
pub(super) struct Peek {
    inner: Box<dyn Read + Send + Sync>,
    file: String,
    window: Vec<u8>,
    /// Where in the window the next byte lies.
    at: usize,
    /// Where in the file the next byte lies.
    at_byte: u64,
    ended: bool,
}

impl Peek {
    /// `at_byte` is where the reader stands in the file.
    pub(super) fn new(inner: impl Read + Send + Sync + 'static, file: &str, at_byte: u64) -> Self {
        Self {
            inner: Box::new(inner),
            file: file.to_owned(),
            window: Vec::new(),
            at: 0,
            at_byte,
            ended: false,
        }
    }

    /// The name used in errors.
    pub(super) fn file(&self) -> &str {
        &self.file
    }

    /// Where in the file the next byte lies.
    pub(super) fn at_byte(&self) -> u64 {
        self.at_byte
    }

    /// The next `bytes` bytes, not taken yet; fewer only when there are no more.
    pub(super) fn look(&mut self, bytes: usize) -> Result<&[u8], SoundError> {
        while self.window.len() - self.at < bytes && !self.ended {
            self.window.drain(..self.at);
            self.at = 0;
            let have = self.window.len();
            self.window.resize(have + READ_BYTES.max(bytes - have), 0);
            let got = match self.inner.read(&mut self.window[have..]) {
                Ok(got) => got,
                Err(e) if e.kind() == ErrorKind::Interrupted => {
                    self.window.truncate(have);
                    continue;
                }
                Err(source) => {
                    self.window.truncate(have);
                    self.ended = true;
                    return Err(SoundError::Read {
                        file: self.file.clone(),
                        at_byte: self.at_byte + have as u64,
                        source,
                    });
                }
            };
            self.window.truncate(have + got);
            self.ended = got == 0;
        }
        let end = self.window.len().min(self.at + bytes);
        Ok(&self.window[self.at..end])
    }

    /// Passes over `bytes` bytes, or what is left of them.
    pub(super) fn skip(&mut self, mut bytes: u64) -> Result<(), SoundError> {
        while bytes > 0 {
            let here = self.look(bytes.min(READ_BYTES as u64) as usize)?.len();
            if here == 0 {
                break;
            }
            self.at += here;
            self.at_byte += here as u64;
            bytes -= here as u64;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn looking_takes_nothing_and_skipping_does() {
        let bytes: Vec<u8> = (0..40_000u32).map(|x| (x % 251) as u8).collect();
        let mut peek = Peek::new(std::io::Cursor::new(bytes.clone()), "take", 7);
        assert_eq!(peek.look(20_000).unwrap(), &bytes[..20_000]);
        assert_eq!(peek.at_byte(), 7);
        peek.skip(30_001).unwrap();
        assert_eq!(peek.at_byte(), 30_008);
        assert_eq!(peek.look(3).unwrap(), &bytes[30_001..30_004]);
        assert_eq!(peek.look(20_000).unwrap(), &bytes[30_001..]);
        peek.skip(u64::MAX).unwrap();
        assert_eq!(peek.look(1).unwrap(), b"");
        assert_eq!(peek.at_byte(), 40_007);
    }
}
