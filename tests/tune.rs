//! Open strings, one after the other: tuning, intonation, and what sounds after the stop.
//!
//! The truth is the synth's own: pitches and levels that were put in. Open strings are the pitches
//! of MIDI 1.0 notes 28, 33, 38, 43 at ISO 16's A4.

mod source_support;

use seamline::hearing::calibration::SILENT_ANSWER_DB;
use seamline::music::instrument::Tuning;
use seamline::session::instrument_file;
use seamline::session::known::KnownInstrument;
use seamline::session::tuning::{InstrumentCheck, check_strings};
use seamline::sound::synth::{Performance, PlayedNote, Voice, render};
use seamline::units::{Cents, Decibels, Hertz, SampleRate};
use source_support::Samples;

/// Frames per second of the takes.
const RATE: SampleRate = SampleRate(44_100);

/// Open string, MIDI note, cents off.
const STRINGS: [(u8, u8, f64); 4] = [(4, 28, -12.0), (3, 33, 5.0), (2, 38, 0.0), (1, 43, 31.0)];

fn pluck(string: u8, midi: u8, fret: u8, cents: f64, at_s: f64) -> PlayedNote {
    PlayedNote {
        cents: Cents(cents),
        ..PlayedNote::plain(midi, string, fret, at_s, at_s + 2.0)
    }
}

/// Each string open, then each at the twelfth fret 4 cents sharp against it; `with` adds to that.
fn checked(with: &[PlayedNote]) -> InstrumentCheck {
    let mut notes = Vec::new();
    for (k, (string, midi, cents)) in STRINGS.into_iter().enumerate() {
        let at_s = 0.5 + 3.4 * k as f64;
        notes.push(pluck(string, midi, 0, cents, at_s));
        notes.push(pluck(string, midi + 12, 12, cents + 4.0, at_s + 13.6));
    }
    notes.extend(with.iter().cloned());
    notes.sort_by(|a, b| a.onset_s.total_cmp(&b.onset_s));
    let performance = Performance {
        notes,
        tail_s: 1.4,
        hum: Some((Hertz(50.0), Decibels(-72.0))),
        hiss: Some(Decibels(-78.0)),
        seed: 3,
        ..Performance::default()
    };
    let samples = render(&performance, &Voice::fingered(), RATE);
    let mut source = Samples::new(RATE, vec![Ok(samples)]);
    check_strings("strings", &mut source, &Tuning::bass4(), Hertz(440.0)).expect("a check")
}

#[test]
fn tuning_intonation_and_silence_are_told() {
    let check = checked(&[]);
    for (string, midi, cents) in STRINGS {
        let s = &check.strings[usize::from(string) - 1];
        assert_eq!(
            (s.string, s.open_midi, s.plucks),
            (string, midi, 1),
            "{s:?}"
        );
        let (off, sd) = s.cents.expect("a pitch");
        assert!((off - cents).abs() < 1.0 && sd < 3.0, "{s:?}");
        let twelfth = s.twelfth_cents.expect("an intonation");
        assert!((twelfth - 4.0).abs() < 1.0, "{s:?}");
        let stopped = s.stopped_after_s.expect("a stop");
        assert!((stopped - 2.0).abs() < 0.05, "{s:?}");
        assert_eq!(s.still.as_deref(), Some(&[][..]), "{s:?}");
    }
}

/// Another open string that was set off sounds on after the stop, at its level; so does the string
/// itself when the hand leaves some of it.
#[test]
fn what_sounds_after_the_stop_is_named_with_its_level() {
    for along_db in [-12.0, -24.0] {
        // The A string along with the open E; it is never played open at its time.
        let along = PlayedNote {
            level: Decibels(along_db),
            ..PlayedNote::plain(33, 3, 0, 0.5, 3.9)
        };
        // What is true of the level: both strings alone, where each is looked at.
        let alone = |note: &PlayedNote, from_s: f64, to_s: f64| {
            let performance = Performance {
                notes: vec![note.clone()],
                ..Performance::default()
            };
            let x = render(&performance, &Voice::fingered(), RATE);
            let at = |s: f64| (s * RATE.hz()) as usize;
            let part = &x[at(from_s)..at(to_s)];
            let sum: f64 = part.iter().map(|v| f64::from(*v).powi(2)).sum();
            10.0 * (sum / part.len() as f64).log10()
        };
        let note = pluck(4, 28, 0, -12.0, 0.5);
        // (A performance is brought to one level as a whole, so the string alone goes without its own.)
        let full = PlayedNote::plain(33, 3, 0, 0.5, 3.9);
        let level_db = along_db + alone(&full, 2.7, 3.2) - alone(&note, 0.52, 0.88);
        let check = checked(&[along]);
        let e = &check.strings[3];
        let still = e.still.as_ref().expect("a silence");
        let (string, db) = *still.first().expect("something sounds");
        assert_eq!((string, still.len()), (3, 1), "{e:?}");
        assert!((db - level_db).abs() < 3.0, "{level_db}: {e:?}");
        // It is the A string that answers, and no other.
        for s in &check.strings {
            let answers_db = s.known.as_ref().and_then(|known| known.answers_db);
            let wanted = if s.string == 3 { db } else { SILENT_ANSWER_DB };
            assert_eq!(answers_db, Some(wanted), "{s:?}");
        }
        for s in &check.strings[..3] {
            assert_eq!(s.still.as_deref(), Some(&[][..]), "{s:?}");
        }
    }
}

/// What was measured comes back from the file, and nothing is measured from silence.
#[test]
fn strings_are_kept() {
    let check = checked(&[]);
    let known: Vec<_> = check
        .strings
        .iter()
        .filter_map(|s| s.known.clone())
        .collect();
    assert_eq!(known.len(), 4);
    let kept = KnownInstrument {
        strings: known.clone(),
        ..KnownInstrument::default()
    };
    let again = instrument_file::read(instrument_file::write(&kept).as_bytes()).expect("a file");
    for (a, b) in known.iter().zip(&again.strings) {
        assert_eq!(a.answers_db, Some(SILENT_ANSWER_DB));
        assert_eq!(a.answers_db, b.answers_db);
        assert!((1200.0 * (a.hz / b.hz).log2()).abs() < 0.1);
        assert!((a.inharmonicity - b.inharmonicity).abs() < 1e-6);
        assert_eq!(a.partials_db.len(), b.partials_db.len());
    }
}
