//! The page about an instrument's strings: how each is tuned and what sounds after it was stopped.

use super::phrases::one_decimal;
use crate::session::tuning::{InstrumentCheck, StringCheck};
use crate::words;

/// What a string that is not there yet asks for.
const ROUTINE: &str = "Pluck each open string alone, let it ring for two seconds, stop it with the \
                       hand and\nwait a second; then, for the intonation, the same at the twelfth \
                       fret.";

/// The page.
pub fn report(check: &InstrumentCheck) -> String {
    let heard = check.strings.iter().filter(|s| s.cents.is_some()).count();
    let loudest = if check.loudest_dbfs.is_finite() {
        format!("loudest {:.1} dBFS", check.loudest_dbfs)
    } else {
        "digital silence".to_owned()
    };
    let mut page = format!(
        "{}: {heard} of {} strings heard, A4 at {} Hz, {loudest}.\n\n",
        check.file,
        check.strings.len(),
        one_decimal(check.a4.0)
    );
    page.push_str("string  open  off, cents    12th fret  stopped  still sounds\n");
    for s in &check.strings {
        page.push_str(line(s, check).trim_end());
        page.push('\n');
    }
    if heard < check.strings.len() {
        page.push('\n');
        page.push_str(ROUTINE);
        page.push('\n');
    }
    page
}

fn line(s: &StringCheck, check: &InstrumentCheck) -> String {
    let name = words::pitch(f64::from(s.open_midi));
    let off = s.cents.map_or("not heard".to_owned(), |(cents, sd)| {
        format!("{cents:+.1} \u{b1}{sd:.1}")
    });
    let twelfth = s
        .twelfth_cents
        .map_or("-".to_owned(), |cents| format!("{cents:+.1}"));
    let stopped = s
        .stopped_after_s
        .map_or("-".to_owned(), |after| format!("{after:.1} s"));
    let still = match &s.still {
        None => "-".to_owned(),
        Some(none) if none.is_empty() => "nothing".to_owned(),
        Some(still) => still
            .iter()
            .map(|(string, db)| {
                let other = check.strings.iter().find(|o| o.string == *string);
                let name = other.map_or(words::UNKNOWN, |o| {
                    words::pitch_class(f64::from(o.open_midi))
                });
                if *string == s.string {
                    format!("itself {db:.0} dB")
                } else {
                    format!("{name} {db:.0} dB")
                }
            })
            .collect::<Vec<_>>()
            .join(", "),
    };
    format!(
        "{:<7} {name:<5} {off:<13} {twelfth:<10} {stopped:<8} {still}",
        s.string
    )
}
