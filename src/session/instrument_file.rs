//! An instrument's strings as a file, so that later takes can know them: JSON, written and read
//! here alone.

use serde::{Deserialize, Serialize};

use crate::hearing::calibration::KnownString;

/// The number of this format; a field that changes its meaning or goes raises it.
const SCHEMA: u32 = 1;
/// No string of a bass or a guitar lies outside of this, in hertz.
const HZ: std::ops::RangeInclusive<f64> = 20.0..=1_500.0;
/// The stiffest string measured has 3.4e-3 (Kemp 2020).
const STIFFEST: f64 = 0.01;
/// More partials than anybody looks at.
const PARTIALS_MAX: usize = 64;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    schema: u32,
    kind: String,
    strings: Vec<StringOut>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct StringOut {
    hz: f64,
    inharmonicity: f64,
    partials_db: Vec<f64>,
}

/// Why a file of strings cannot be read. The messages say where and how to mend it.
#[derive(Debug, thiserror::Error)]
pub enum InstrumentFileError {
    /// It is no such JSON.
    #[error("this is no file of strings ({0}); write one with `seamline tune TAKE --keep FILE`")]
    Form(#[from] serde_json::Error),
    /// It is of another kind or a later format.
    #[error(
        "this is `{kind}`, format {schema}; a file of strings, format {SCHEMA}, is asked for: write one with `seamline tune TAKE --keep FILE`"
    )]
    Kind {
        /// What it says it is.
        kind: String,
        /// Its format.
        schema: u32,
    },
    /// A value is out of its range.
    #[error("string {string} of the file: {what}; measure it again with `seamline tune`")]
    Value {
        /// Which string, from 1 in the order of the file.
        string: usize,
        /// What is wrong.
        what: String,
    },
}

/// The file's text.
pub fn write(strings: &[KnownString]) -> String {
    let file = File {
        schema: SCHEMA,
        kind: "strings".to_owned(),
        strings: strings
            .iter()
            .map(|s| StringOut {
                hz: (s.hz * 1e4).round() / 1e4,
                inharmonicity: (s.inharmonicity * 1e7).round() / 1e7,
                partials_db: s
                    .partials_db
                    .iter()
                    .map(|db| (db * 10.0).round() / 10.0)
                    .collect(),
            })
            .collect(),
    };
    let mut text = serde_json::to_string_pretty(&file).unwrap_or_default();
    text.push('\n');
    text
}

/// Reads it back.
///
/// # Errors
/// When it is something else, or when a value is none a string can have.
pub fn read(bytes: &[u8]) -> Result<Vec<KnownString>, InstrumentFileError> {
    let file: File = serde_json::from_slice(bytes)?;
    if file.schema != SCHEMA || file.kind != "strings" {
        return Err(InstrumentFileError::Kind {
            kind: file.kind,
            schema: file.schema,
        });
    }
    let mut strings = Vec::with_capacity(file.strings.len());
    for (at, s) in file.strings.into_iter().enumerate() {
        let wrong = |what: String| InstrumentFileError::Value {
            string: at + 1,
            what,
        };
        if !HZ.contains(&s.hz) {
            return Err(wrong(format!(
                "{} Hz is not from {} to {}",
                s.hz,
                HZ.start(),
                HZ.end()
            )));
        }
        if !(0.0..=STIFFEST).contains(&s.inharmonicity) {
            return Err(wrong(format!(
                "a stiffness of {} is not from 0 to {STIFFEST}",
                s.inharmonicity
            )));
        }
        if s.partials_db.is_empty() || s.partials_db.len() > PARTIALS_MAX {
            return Err(wrong(format!(
                "{} partials are not from 1 to {PARTIALS_MAX}",
                s.partials_db.len()
            )));
        }
        if s.partials_db.iter().any(|db| !(-200.0..=0.1).contains(db)) {
            return Err(wrong(
                "a partial's share is not from -200 to 0 dB".to_owned(),
            ));
        }
        strings.push(KnownString {
            hz: s.hz,
            inharmonicity: s.inharmonicity,
            partials_db: s.partials_db,
        });
    }
    Ok(strings)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        let strings = vec![
            KnownString {
                hz: 97.9989,
                inharmonicity: 4e-5,
                partials_db: vec![-3.0, -4.5, -9.1],
            },
            KnownString {
                hz: 41.2,
                inharmonicity: 1.5e-4,
                partials_db: vec![-20.0, -2.0],
            },
        ];
        assert_eq!(read(write(&strings).as_bytes()).expect("a file"), strings);
    }

    #[test]
    fn what_is_no_string_is_refused_with_its_place() {
        for (text, word) in [
            ("", "no file of strings"),
            ("{\"schema\":1}", "no file of strings"),
            (
                "{\"schema\":2,\"kind\":\"strings\",\"strings\":[]}",
                "format 2",
            ),
            ("{\"schema\":1,\"kind\":\"line\",\"strings\":[]}", "`line`"),
            (
                "{\"schema\":1,\"kind\":\"strings\",\"strings\":[{\"hz\":5,\"inharmonicity\":0,\"partials_db\":[0]}]}",
                "string 1",
            ),
            (
                "{\"schema\":1,\"kind\":\"strings\",\"strings\":[{\"hz\":50,\"inharmonicity\":0,\"partials_db\":[]}]}",
                "0 partials",
            ),
        ] {
            let said = read(text.as_bytes()).expect_err(text).to_string();
            assert!(said.contains(word), "{text}: {said}");
        }
    }
}
