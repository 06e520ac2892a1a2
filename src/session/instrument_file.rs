//! What is known of an instrument as a file: JSON, written and read here alone; no file is opened.

use serde::{Deserialize, Serialize};

use crate::compare::usual::UsualGap;
use crate::hearing::calibration::KnownString;
use crate::music::expected::JoinKind;
use crate::session::known::KnownInstrument;

/// The number of this format; a field that changes its meaning or goes raises it.
const SCHEMA: u32 = 1;
/// What the file says it was written by; what is learnt later is added to it.
pub const WRITTEN_BY: &str = "seamline tune";
/// No string of a bass or a guitar lies outside of this, in hertz.
const HZ: std::ops::RangeInclusive<f64> = 20.0..=1_500.0;
/// The stiffest string measured has 3.4e-3 (Kemp 2020).
const STIFFEST: f64 = 0.01;
/// No usual silence, nor its spread, is longer than this, in milliseconds.
const LONGEST_GAP_MS: f64 = 10_000.0;
/// More partials than anybody looks at.
const PARTIALS_MAX: usize = 64;

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    schema: u32,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    written_by: Option<String>,
    kind: String,
    strings: Vec<StringOut>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    gaps: Vec<GapOut>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct StringOut {
    hz: f64,
    inharmonicity: f64,
    partials_db: Vec<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    answers_db: Option<f64>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct GapOut {
    join: String,
    joins: usize,
    middle_ms: f64,
    spread_ms: f64,
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
    /// What is said of a kind of join cannot be.
    #[error(
        "entry {entry} of the file's gaps: {what}; measure them again with `seamline score --learn-gaps`"
    )]
    Gap {
        /// Which entry, from 1.
        entry: usize,
        /// What is wrong.
        what: String,
    },
}

/// The file's text.
pub fn write(known: &KnownInstrument) -> String {
    let rounded = |value: f64, places: f64| (value * places).round() / places;
    let strings = known.strings.iter().map(|s| StringOut {
        hz: rounded(s.hz, 1e4),
        inharmonicity: rounded(s.inharmonicity, 1e7),
        partials_db: s.partials_db.iter().map(|db| rounded(*db, 10.0)).collect(),
        answers_db: s.answers_db.map(|db| rounded(db, 10.0)),
    });
    let gaps = known.gaps.iter().map(|g| GapOut {
        join: g.join.word().to_owned(),
        joins: g.joins,
        middle_ms: rounded(g.middle_ms, 10.0),
        spread_ms: rounded(g.spread_ms, 10.0),
    });
    let file = File {
        schema: SCHEMA,
        written_by: Some(WRITTEN_BY.to_owned()),
        kind: "strings".to_owned(),
        strings: strings.collect(),
        gaps: gaps.collect(),
    };
    let mut text = serde_json::to_string_pretty(&file).unwrap_or_default();
    text.push('\n');
    text
}

/// Reads it back.
///
/// # Errors
/// When it is something else, or when a value is none a string or a player can have.
pub fn read(bytes: &[u8]) -> Result<KnownInstrument, InstrumentFileError> {
    let file: File = serde_json::from_slice(bytes)?;
    if file.schema != SCHEMA || file.kind != "strings" {
        return Err(InstrumentFileError::Kind {
            kind: file.kind,
            schema: file.schema,
        });
    }
    let string = |(at, s): (usize, StringOut)| {
        known_string(s).map_err(|what| InstrumentFileError::Value {
            string: at + 1,
            what,
        })
    };
    let strings = file.strings.into_iter().enumerate().map(string);
    let mut known = KnownInstrument {
        strings: strings.collect::<Result<_, _>>()?,
        gaps: Vec::with_capacity(file.gaps.len().min(JoinKind::ALL.len())),
    };
    for (at, gap) in file.gaps.into_iter().enumerate() {
        let wrong = |what: String| InstrumentFileError::Gap {
            entry: at + 1,
            what,
        };
        let gap = usual_gap(gap).map_err(wrong)?;
        if known.gaps.iter().any(|g| g.join == gap.join) {
            return Err(wrong(format!("`{}` is there twice", gap.join.word())));
        }
        known.gaps.push(gap);
    }
    Ok(known)
}

fn known_string(s: StringOut) -> Result<KnownString, String> {
    if !HZ.contains(&s.hz) {
        return Err(format!(
            "{} Hz is not from {} to {}",
            s.hz,
            HZ.start(),
            HZ.end()
        ));
    }
    if !(0.0..=STIFFEST).contains(&s.inharmonicity) {
        return Err(format!(
            "a stiffness of {} is not from 0 to {STIFFEST}",
            s.inharmonicity
        ));
    }
    if s.partials_db.is_empty() || s.partials_db.len() > PARTIALS_MAX {
        return Err(format!(
            "{} partials are not from 1 to {PARTIALS_MAX}",
            s.partials_db.len()
        ));
    }
    let share = |db: &f64| (-200.0..=0.1).contains(db);
    if !s.partials_db.iter().all(share) {
        return Err("a partial's share is not from -200 to 0 dB".to_owned());
    }
    if s.answers_db
        .is_some_and(|db| !(-200.0..=40.0).contains(&db))
    {
        return Err("an answer is not from -200 to 40 dB".to_owned());
    }
    Ok(KnownString {
        hz: s.hz,
        inharmonicity: s.inharmonicity,
        partials_db: s.partials_db,
        answers_db: s.answers_db,
    })
}

fn usual_gap(gap: GapOut) -> Result<UsualGap, String> {
    let Some(join) = JoinKind::ALL.into_iter().find(|k| k.word() == gap.join) else {
        let words: Vec<&str> = JoinKind::ALL.iter().map(|k| k.word()).collect();
        return Err(format!("`{}` is none of: {}", gap.join, words.join(", ")));
    };
    if gap.joins == 0 {
        return Err("it was measured on no join".to_owned());
    }
    // A note may begin a little before the one before it is over.
    if !(-LONGEST_GAP_MS..=LONGEST_GAP_MS).contains(&gap.middle_ms)
        || !(0.0..=LONGEST_GAP_MS).contains(&gap.spread_ms)
    {
        return Err(format!(
            "a silence is longer than {LONGEST_GAP_MS} ms, or none"
        ));
    }
    Ok(UsualGap {
        join,
        joins: gap.joins,
        middle_ms: gap.middle_ms,
        spread_ms: gap.spread_ms,
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::session::known::test_support::instrument;

    #[test]
    fn what_is_written_is_read_back() {
        let known = instrument();
        assert_eq!(read(write(&known).as_bytes()).expect("a file"), known);
    }

    /// Files from before answers and gaps were kept.
    #[test]
    fn an_older_file_is_read() {
        let text = "{\"schema\":1,\"kind\":\"strings\",\"strings\":[{\"hz\":50,\
                    \"inharmonicity\":0,\"partials_db\":[0]}]}";
        let known = read(text.as_bytes()).expect("a file");
        assert_eq!(known.strings[0].answers_db, None);
        assert_eq!(known.gaps, []);
    }

    proptest! {
        /// Whatever the bytes are, there is an answer.
        #[test]
        fn no_bytes_break_it(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
            let _ = read(&bytes);
        }

        /// What a player can have comes back as it was, to the digits that are kept.
        #[test]
        fn any_player_is_read_back(
            middle in -9_000i32..9_000,
            spread in 0i32..9_000,
            answer in prop::option::of(-1_900i32..300),
            joins in 1usize..1_000,
        ) {
            let mut known = instrument();
            known.strings[1].answers_db = answer.map(|a| f64::from(a) / 10.0);
            known.gaps[0] = UsualGap {
                join: JoinKind::Crossing,
                joins,
                middle_ms: f64::from(middle) / 10.0,
                spread_ms: f64::from(spread) / 10.0,
            };
            prop_assert_eq!(read(write(&known).as_bytes()).expect("a file"), known);
        }
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
            (
                "{\"schema\":1,\"kind\":\"strings\",\"strings\":[],\"gaps\":[{\"join\":\"leap\",\"joins\":5,\"middle_ms\":1,\"spread_ms\":1}]}",
                "`leap` is none of: same place",
            ),
            (
                "{\"schema\":1,\"kind\":\"strings\",\"strings\":[],\"gaps\":[{\"join\":\"open\",\"joins\":5,\"middle_ms\":1,\"spread_ms\":-1}]}",
                "entry 1 of the file's gaps",
            ),
        ] {
            let said = read(text.as_bytes()).expect_err(text).to_string();
            assert!(said.contains(word), "{text}: {said}");
        }
    }
}
