//! The file of a take that is being kept: 32-bit floats in a WAV file whose place in time is never
//! lost. Each sample has its place in the file from the start, so that what cannot be written while
//! a disk is full is silence of the right length, and what comes afterwards is where it belongs.
//!
//! # Source
//! Microsoft/IBM, *Multimedia Programming Interface and Data Specifications 1.0* (1991), for the
//! chunks; Microsoft, `WAVEFORMATEX`: format code 3 for floats, which asks for a `fact` chunk.

use std::fs::File;
use std::io::{self, ErrorKind};
use std::os::unix::fs::FileExt;

use crate::sound::error::SoundError;
use crate::units::{FrameCount, SampleRate};

/// The header is brought up to date after this much sound, in seconds. Raised, a program that is
/// killed leaves less of its last sound.
const SAFE_EVERY_S: f64 = 0.5;
/// A WAV file counts its bytes in 32 bits; a little before that is full a new one is begun.
const SAMPLES_MAX: u64 = (u32::MAX as u64 - (1 << 20)) / 4;
/// Bytes before the first sample: `RIFF`, `fmt `, `fact`, and the head of `data`.
const HEADER_BYTES: u64 = 12 + 26 + 12 + 8;

/// What a player should know of the take while it is kept.
#[derive(Clone, Debug, PartialEq)]
pub enum KeepNews {
    /// It cannot be written: a reason of the system's.
    Stopped(String),
    /// It is written again; holds how much of it is silence, in seconds.
    GoesOn(f64),
}

impl std::fmt::Display for KeepNews {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Stopped(reason) => write!(
                f,
                "The take cannot be written ({reason}): make room on the disk; until then silence \
                 is kept."
            ),
            Self::GoesOn(silent_s) => write!(
                f,
                "The take is written again; {silent_s:.1} s of it are silence."
            ),
        }
    }
}

/// Where bytes go: a file, or in tests one that fails.
pub(super) trait Bytes: Send {
    /// Writes some of `bytes` at the position `at`.
    fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<usize>;

    /// Makes it this long; what was never written is zero.
    fn set_len(&mut self, bytes: u64) -> io::Result<()>;
}

impl Bytes for File {
    fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<usize> {
        FileExt::write_at(self, bytes, at)
    }

    fn set_len(&mut self, bytes: u64) -> io::Result<()> {
        File::set_len(self, bytes)
    }
}

/// Makes the file of a part: 1 for the first.
type Make = Box<dyn FnMut(u32) -> io::Result<Box<dyn Bytes>> + Send>;

/// A take's file, or a row of them where one grows too long.
pub(super) struct TakeFile {
    name: String,
    rate: SampleRate,
    make: Make,
    bytes: Option<Box<dyn Bytes>>,
    part: u32,
    /// Samples of this part, those that are missing included.
    samples: u64,
    /// Samples up to the last one that was written.
    written: u64,
    /// Samples the header does not know of yet.
    unsafe_samples: u64,
    /// Samples that could not be written, of all parts, and of these since they last could.
    missing: u64,
    missing_now: u64,
    /// Whether it cannot be written now, and why it last could not.
    stopped: bool,
    reason: Option<String>,
    raw: Vec<u8>,
}

impl TakeFile {
    /// Begins a take in `first`; `make` gives what further parts are written to.
    ///
    /// # Errors
    /// When the header cannot be written.
    pub(super) fn begin(
        name: &str,
        rate: SampleRate,
        first: Box<dyn Bytes>,
        make: Make,
    ) -> Result<Self, SoundError> {
        let mut file = Self {
            name: name.to_owned(),
            rate,
            make,
            bytes: Some(first),
            part: 1,
            samples: 0,
            written: 0,
            unsafe_samples: 0,
            missing: 0,
            missing_now: 0,
            stopped: false,
            reason: None,
            raw: Vec::new(),
        };
        file.write_header(0).map_err(|error| SoundError::Write {
            file: file.name.clone(),
            reason: error.to_string(),
        })?;
        Ok(file)
    }

    /// Writes the next samples, or keeps their place. Gives what is new to say.
    pub(super) fn write(&mut self, block: &[f32]) -> Option<KeepNews> {
        let done = self.try_write(block);
        self.samples += block.len() as u64;
        self.unsafe_samples += block.len() as u64;
        let safe = match done {
            Ok(()) if self.unsafe_samples as f64 >= SAFE_EVERY_S * self.rate.hz() => {
                self.unsafe_samples = 0;
                self.write_header(self.written)
            }
            done => done,
        };
        match safe {
            Ok(()) if self.stopped => {
                self.stopped = false;
                let silent = FrameCount(std::mem::take(&mut self.missing_now));
                Some(KeepNews::GoesOn(silent.to_seconds(self.rate).0))
            }
            Ok(()) => None,
            Err(error) => {
                let reason = error.to_string();
                self.reason = Some(reason.clone());
                (!std::mem::replace(&mut self.stopped, true)).then_some(KeepNews::Stopped(reason))
            }
        }
    }

    fn try_write(&mut self, block: &[f32]) -> io::Result<()> {
        if self.samples + block.len() as u64 > SAMPLES_MAX {
            self.end_part()?;
            self.bytes = None;
            self.part += 1;
            (self.samples, self.written, self.unsafe_samples) = (0, 0, 0);
        }
        let all = block.len() as u64;
        let done = self.open_part().and_then(|()| {
            self.raw.clear();
            self.raw.extend(block.iter().flat_map(|x| x.to_le_bytes()));
            let at = HEADER_BYTES + 4 * self.samples;
            match &mut self.bytes {
                Some(bytes) => write_all(bytes.as_mut(), &self.raw, at),
                None => Ok(()),
            }
            .map_err(|(error, bytes)| (error, bytes as u64 / 4))
        });
        let kept = done.as_ref().map_or_else(|(_, kept)| *kept, |()| all);
        if kept > 0 {
            self.written = self.samples + kept;
        }
        self.missing += all - kept;
        self.missing_now += all - kept;
        done.map_err(|(error, _)| error)
    }

    /// Makes the file of this part where there is none yet.
    fn open_part(&mut self) -> Result<(), (io::Error, u64)> {
        if self.bytes.is_none() {
            self.bytes = Some((self.make)(self.part).map_err(|error| (error, 0))?);
            self.write_header(0).map_err(|error| (error, 0))?;
        }
        Ok(())
    }

    /// Says in the header that there are `samples` samples.
    fn write_header(&mut self, samples: u64) -> io::Result<()> {
        let Some(bytes) = &mut self.bytes else {
            return Ok(());
        };
        let header = header(self.rate, samples);
        write_all(bytes.as_mut(), &header, 0).map_err(|(error, _)| error)
    }

    /// Ends the file of this part at its full length.
    fn end_part(&mut self) -> io::Result<()> {
        let Some(bytes) = &mut self.bytes else {
            return Ok(());
        };
        if self.written < self.samples {
            // Where even that fails the file ends with the last sample that was written.
            if bytes.set_len(HEADER_BYTES + 4 * self.samples).is_ok() {
                self.written = self.samples;
            }
        }
        self.write_header(self.written)
    }

    /// Ends the take.
    ///
    /// # Errors
    /// When some of it could not be written.
    pub(super) fn finish(mut self) -> Result<(), SoundError> {
        let ended = self.end_part();
        if self.missing > 0 {
            return Err(SoundError::PartMissing {
                file: self.name,
                seconds: FrameCount(self.missing).to_seconds(self.rate).0,
                reason: self.reason.unwrap_or_default(),
            });
        }
        ended.map_err(|error| SoundError::Write {
            file: self.name,
            reason: error.to_string(),
        })
    }
}

/// Writes all of `bytes`; where that fails, says how many were written.
fn write_all(to: &mut dyn Bytes, bytes: &[u8], at: u64) -> Result<(), (io::Error, usize)> {
    let mut done = 0;
    while done < bytes.len() {
        match to.write_at(&bytes[done..], at + done as u64) {
            Ok(0) => return Err((ErrorKind::WriteZero.into(), done)),
            Ok(written) => done += written,
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            Err(error) => return Err((error, done)),
        }
    }
    Ok(())
}

/// All before the first sample of `samples` mono floats.
fn header(rate: SampleRate, samples: u64) -> Vec<u8> {
    let samples = u32::try_from(samples).unwrap_or(u32::MAX / 4);
    let data_bytes = 4 * samples;
    let mut header = b"RIFF".to_vec();
    header.extend((HEADER_BYTES as u32 - 8 + data_bytes).to_le_bytes());
    header.extend(b"WAVEfmt ");
    header.extend(18u32.to_le_bytes());
    header.extend(3u16.to_le_bytes()); // Floats.
    header.extend(1u16.to_le_bytes()); // Channels.
    header.extend(rate.0.to_le_bytes());
    header.extend((4 * rate.0).to_le_bytes()); // Bytes a second.
    header.extend(4u16.to_le_bytes()); // Bytes of a frame.
    header.extend(32u16.to_le_bytes()); // Bits of a sample.
    header.extend(0u16.to_le_bytes()); // Nothing more.
    header.extend(b"fact");
    header.extend(4u32.to_le_bytes());
    header.extend(samples.to_le_bytes());
    header.extend(b"data");
    header.extend(data_bytes.to_le_bytes());
    header
}

#[cfg(test)]
mod tests {
    use std::sync::{Arc, Mutex};

    use super::*;

    /// A disk that has room for some bytes, and gets more.
    #[derive(Clone, Default)]
    struct Disk(Arc<Mutex<(Vec<u8>, usize)>>);

    impl Disk {
        fn room(&self, bytes: usize) {
            self.0.lock().expect("alone").1 = bytes;
        }

        fn holds(&self) -> Vec<u8> {
            self.0.lock().expect("alone").0.clone()
        }
    }

    impl Bytes for Disk {
        fn write_at(&mut self, bytes: &[u8], at: u64) -> io::Result<usize> {
            let (all, room) = &mut *self.0.lock().expect("alone");
            let end = (at as usize + bytes.len()).min(*room);
            let Some(fits) = end.checked_sub(at as usize).filter(|fits| *fits > 0) else {
                return Err(ErrorKind::StorageFull.into());
            };
            all.resize(all.len().max(end), 0);
            all[at as usize..end].copy_from_slice(&bytes[..fits]);
            Ok(fits)
        }

        fn set_len(&mut self, bytes: u64) -> io::Result<()> {
            self.0.lock().expect("alone").0.resize(bytes as usize, 0);
            Ok(())
        }
    }

    fn begun(disk: &Disk) -> TakeFile {
        let none = Box::new(|_| Err(ErrorKind::StorageFull.into()));
        TakeFile::begin("take.wav", SampleRate(8000), Box::new(disk.clone()), none).expect("room")
    }

    /// Oracle: `hound` reads what is in the file.
    fn read(disk: &Disk) -> Vec<f32> {
        let bytes = disk.holds();
        let samples = hound::WavReader::new(bytes.as_slice()).expect("a WAV file");
        let samples = samples.into_samples().collect::<Result<_, _>>();
        samples.expect("samples")
    }

    #[test]
    fn a_full_disk_is_told_and_what_follows_is_at_its_place() {
        let disk = Disk::default();
        disk.room(HEADER_BYTES as usize + 4 * 2500);
        let mut file = begun(&disk);
        let sound: Vec<f32> = (1..=8000).map(|n| n as f32 * 1e-4).collect();
        let mut news = Vec::new();
        for (at, block) in sound.chunks(1000).enumerate() {
            if at == 6 {
                disk.room(usize::MAX);
            }
            news.extend(file.write(block).map(|news| (at, news)));
        }
        assert_eq!(news.len(), 2, "{news:?}");
        assert!(matches!(news[0], (2, KeepNews::Stopped(_))), "{news:?}");
        assert_eq!(news[1], (6, KeepNews::GoesOn(3500.0 / 8000.0)));
        let error = file.finish().expect_err("some of it is missing");
        let told = error.to_string();
        assert!(
            told.contains("take.wav") && told.contains("0.4 s"),
            "{told}"
        );
        let mut wanted = sound;
        wanted[2500..6000].fill(0.0);
        assert_eq!(read(&disk), wanted);
    }

    #[test]
    fn a_disk_that_stays_full_leaves_a_take_of_the_right_length() {
        let disk = Disk::default();
        disk.room(HEADER_BYTES as usize + 4 * 5000);
        let mut file = begun(&disk);
        for _ in 0..9 {
            file.write(&[0.5; 1000]);
            assert!(read(&disk).len() <= 5000, "readable all the time");
        }
        assert!(file.finish().is_err());
        let mut wanted = vec![0.5; 5000];
        wanted.resize(9000, 0.0);
        assert_eq!(read(&disk), wanted);
    }
}
