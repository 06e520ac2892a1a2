//! Lines through every format and back, and files that mean harm.

mod line_support;

use std::io::Write;

use line_support::lines;
use proptest::prelude::*;
use seamline::music::expected::ExpectedNote;
use seamline::music::line::{
    Bar, EventKind, Format, Lacks, Line, LineParts, LineReadError, MusicXmlError, Start,
    SwingRatio, read_part, read_text, unheld, write_bytes,
};

const FORMATS: [(Format, &str); 5] = [
    (Format::Line, "a.line"),
    (Format::Midi, "a.mid"),
    (Format::MusicXml, "a.musicxml"),
    (Format::Mxl, "a.mxl"),
    (Format::Csv, "a.csv"),
];

fn again(line: &Line, format: Format) -> Line {
    let name = FORMATS
        .iter()
        .find(|(known, _)| *known == format)
        .unwrap()
        .1;
    let bytes = write_bytes(line, format, "seamline test");
    let read = read_part(name, &bytes, None);
    read.unwrap_or_else(|error| panic!("{error}\n{}", String::from_utf8_lossy(&bytes)))
        .line
}

/// What a score holds of a line: of a bar that is not full it has no word for what is missing, and a
/// slur to the same pitch is none.
fn as_in_a_score(line: &Line) -> LineParts {
    let mut parts = line.parts().clone();
    let again = line.with_instrument(seamline::music::instrument::Instrument::with_tuning(
        line.instrument().tuning().clone(),
    ));
    if let Ok(again) = again {
        parts = again.parts().clone();
    }
    // Whole numbers give a swing to nine decimals.
    let rounded = |swing: SwingRatio| (swing.off_beat() * 1e6).round() / 1e6;
    let off_beat = parts.swing.map(rounded);
    parts.swing = off_beat.and_then(|off| SwingRatio::new(off / (1.0 - off)).ok());
    for bar in &mut parts.bars {
        if bar.lacks == Lacks::Beginning {
            bar.lacks = Lacks::End;
        }
        for event in &mut bar.events {
            for grace in &mut event.graces {
                if grace.start == Start::Slurred {
                    grace.start = Start::Plucked;
                }
            }
            if let EventKind::Notes { start, .. } = &mut event.kind
                && *start == Start::Slurred
            {
                *start = Start::Plucked;
            }
        }
    }
    parts
}

/// Pitch, place in time and length of each note.
fn sounding(line: &Line) -> Vec<(u32, u8, i64, i64)> {
    let micro = |quarters: f64| (quarters * 1e6).round() as i64;
    let row = |note: ExpectedNote| {
        (
            note.bar - line.first_bar(),
            note.midi,
            micro(note.onset_quarters),
            micro(note.length_quarters),
        )
    };
    line.expected(line.instrument())
        .into_iter()
        .map(row)
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_line_comes_back_from_a_score(line in lines()) {
        prop_assume!(line.is_some());
        let line = line.unwrap();
        prop_assume!(line.written_bars()[0].lacks == Lacks::Nothing);
        // A score knows no part of another line: its first bar has one number.
        prop_assume!(line.printed_bar(line.first_bar()) == line.first_bar());
        // A bar that lacks less than a 256th note counts as full, for tuplets that were rounded.
        let lacks_little = |bar: &Bar| {
            bar.lacks != Lacks::Nothing
                && (bar.meter.bar_length() - bar.length()).quarters() < 1.0 / 64.0
        };
        prop_assume!(!line.written_bars().iter().any(lacks_little));
        for format in [Format::MusicXml, Format::Mxl] {
            let read = again(&line, format);
            let (found, wanted) = (as_in_a_score(&read), as_in_a_score(&line));
            for (found, wanted) in found.bars.iter().zip(&wanted.bars) {
                for (found, wanted) in found.events.iter().zip(&wanted.events) {
                    prop_assert_eq!(found, wanted);
                }
                prop_assert_eq!(found, wanted);
            }
            prop_assert_eq!(found, wanted);
            prop_assert_eq!(sounding(&read), sounding(&line));
        }
    }

    #[test]
    fn the_notes_come_back_from_midi_files_and_tables(line in lines()) {
        prop_assume!(line.is_some());
        let line = line.unwrap();
        prop_assume!(line.written_bars()[0].lacks == Lacks::Nothing);
        for format in [Format::Midi, Format::Csv] {
            let lost = unheld(&line, format);
            let moves = |what: &String| {
                ["that bars", "a first bar", "rests", "finer", "meters", "rare tuplets"].iter().any(|word| what.contains(word))
            };
            if lost.iter().any(moves) {
                continue;
            }
            prop_assert_eq!(sounding(&again(&line, format)), sounding(&line), "{:?}", format);
        }
    }

    #[test]
    fn no_damage_makes_a_reader_panic(
        line in lines(),
        damage in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
        cut in any::<prop::sample::Index>(),
        cut_it in any::<bool>(),
    ) {
        prop_assume!(line.is_some());
        let line = line.unwrap();
        for (format, name) in FORMATS {
            let mut bytes = write_bytes(&line, format, "seamline test");
            for (at, byte) in &damage {
                let at = at.index(bytes.len());
                bytes[at] = *byte;
            }
            if cut_it {
                bytes.truncate(cut.index(bytes.len()));
            }
            if let Ok(read) = read_part(name, &bytes, None) {
                let text = write_bytes(&read.line, Format::Line, "seamline test");
                prop_assert_eq!(read_text(std::str::from_utf8(&text).unwrap()).unwrap(), read.line);
            }
        }
    }

    #[test]
    fn no_score_of_odd_elements_makes_the_reader_panic(
        words in prop::collection::vec(prop::sample::select(vec![
            "<note>", "</note>", "<chord/>", "<grace/>", "<cue/>", "<rest/>",
            "<pitch><step>C</step><octave>3</octave></pitch>",
            "<pitch><step>B</step><alter>-9e9</alter><octave>9</octave></pitch>",
            "<duration>1</duration>", "<duration>1e300</duration>", "<duration>-1</duration>",
            "<type>quarter</type>", "<dot/>", "<tie type=\"stop\"/>", "<tie type=\"start\"/>",
            "<backup><duration>4</duration></backup>", "<forward><duration>9</duration></forward>",
            "<time-modification><actual-notes>0</actual-notes><normal-notes>2</normal-notes></time-modification>",
            "<attributes><divisions>0</divisions></attributes>", "<attributes><divisions>3</divisions></attributes>",
            "<attributes><time><beats>9999999999</beats><beat-type>3</beat-type></time></attributes>",
            "<attributes><time><beats>3+2</beats><beat-type>8</beat-type></time></attributes>",
            "<attributes><transpose><chromatic>1e99</chromatic></transpose></attributes>",
            "<attributes><key><fifths>99</fifths></key></attributes>",
            "<attributes><staff-details><staff-tuning line=\"1\"><tuning-step>E</tuning-step><tuning-octave>1</tuning-octave></staff-tuning></staff-details></attributes>",
            "<barline><repeat direction=\"forward\"/></barline>", "<barline><repeat direction=\"backward\" times=\"999\"/></barline>",
            "<barline><ending number=\"1, 2\" type=\"start\"/></barline>", "<barline><ending number=\"1\" type=\"stop\"/></barline>",
            "<sound dacapo=\"yes\"/>", "<sound dalsegno=\"x\" tempo=\"NaN\"/>", "<sound fine=\"yes\" tocoda=\"c\"/>", "<sound coda=\"c\" segno=\"x\"/>",
            "<direction><direction-type><words>D.S. al Coda</words></direction-type></direction>",
            "<direction><direction-type><metronome><beat-unit>half</beat-unit><per-minute>c. 9.9.9</per-minute></metronome></direction-type><offset>-5</offset></direction>",
            "<harmony><root><root-step>H</root-step></root><kind>major</kind></harmony>", "<harmony><kind>none</kind></harmony>",
            "<notations><slur type=\"start\"/><technical><string>9</string><fret>99</fret><fingering>1</fingering></technical></notations>",
            "</measure><measure number=\"X1\" implicit=\"yes\">", "</measure><measure number=\"4000000000\">",
        ]), 0..40),
    ) {
        let mut body = String::new();
        let mut in_note = false;
        for word in words {
            // Notes are shut, so that more than the parser is tried.
            match (word, in_note) {
                ("<note>", true) | ("</note>", false) => continue,
                ("<note>", false) => in_note = true,
                ("</note>", true) => in_note = false,
                (word, true) if word.starts_with("</measure") => {
                    body.push_str("</note>");
                    in_note = false;
                }
                _ => {}
            }
            body.push_str(word);
        }
        if in_note {
            body.push_str("</note>");
        }
        let text = format!(
            "<score-partwise><part id=\"P1\"><measure number=\"1\">{body}</measure></part></score-partwise>"
        );
        if let Ok(read) = read_part("a.xml", text.as_bytes(), None) {
            let again = again(&read.line, Format::Line);
            prop_assert_eq!(again, read.line);
        }
    }

    #[test]
    fn no_rows_make_the_reader_of_tables_panic(
        cells in prop::collection::vec(prop::sample::select(vec![
            "0", "1", "-1", "1/3", "0.333", "1e9", "999999999999", "28", "255", "", "4/4", "7/8", "ghost", "x",
            "\"", ",", "\n", "# pickup: 1", "# tempo: 0", "# end: 99999999",
        ]), 0..60),
    ) {
        let text = format!("start,length,midi,meter,marks\n{}", cells.join(","));
        let _ = read_part("a.csv", text.as_bytes(), None);
    }
}

/// The error of a score.
fn refused(name: &str, bytes: &[u8]) -> MusicXmlError {
    match read_part(name, bytes, None) {
        Err(LineReadError::MusicXml { error, .. }) => *error,
        other => panic!("{other:?}"),
    }
}

#[test]
fn entities_are_refused_and_a_document_type_is_not() {
    let score = "<score-partwise><part id=\"P1\"><measure number=\"1\"><note><pitch><step>E</step>\
        <octave>2</octave></pitch><duration>4</duration></note></measure></part></score-partwise>";
    let public = "<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" \
        \"http://www.musicxml.org/dtds/partwise.dtd\">";
    assert!(read_part("a.xml", format!("{public}{score}").as_bytes(), None).is_ok());
    let laughs = "<!DOCTYPE x [<!ENTITY a \"ha\"><!ENTITY b \"&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;\">]>";
    for bomb in [
        format!("{laughs}{score}"),
        format!("<!DOCTYPE x [<!ENTITY a SYSTEM \"file:///etc/hostname\">]>{score}"),
        format!("<!DOCTYPE x [<!ENTITY % a SYSTEM \"http://127.0.0.1/a.dtd\"> %a;]>{score}"),
    ] {
        assert_eq!(
            refused("a.xml", bomb.as_bytes()),
            MusicXmlError::Entities,
            "{bomb}"
        );
    }
    let unknown = score.replace("<octave>2", "<octave>&two;");
    assert!(matches!(
        refused("a.xml", unknown.as_bytes()),
        MusicXmlError::Xml { .. }
    ));
}

#[test]
fn deep_and_huge_scores_end_with_an_error() {
    let deep = "<a>".repeat(500_000);
    assert!(matches!(
        refused("a.xml", deep.as_bytes()),
        MusicXmlError::Xml { .. }
    ));
    let shut = format!("{deep}{}", "</a>".repeat(500_000));
    assert!(matches!(
        refused("a.xml", shut.as_bytes()),
        MusicXmlError::OtherXml { .. } | MusicXmlError::Xml { .. }
    ));
    let wide = format!(
        "<score-partwise>{}</score-partwise>",
        "<a/>".repeat(2_100_000)
    );
    assert!(matches!(
        refused("a.xml", wide.as_bytes()),
        MusicXmlError::Xml { .. }
    ));
    let large = vec![b' '; 17 << 20];
    assert!(matches!(
        refused("a.xml", &large),
        MusicXmlError::TooLarge { .. }
    ));
}

#[test]
fn an_archive_that_unfolds_without_bound_is_refused() {
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default();
    archive.start_file("score.musicxml", options).unwrap();
    let zeros = vec![b' '; 1 << 20];
    for _ in 0..40 {
        archive.write_all(&zeros).unwrap();
    }
    let bytes = archive.finish().unwrap().into_inner();
    assert!(bytes.len() < 200_000, "{}", bytes.len());
    assert!(matches!(
        refused("a.mxl", &bytes),
        MusicXmlError::TooLarge { .. }
    ));
    for cut in [0, 1, 10, bytes.len() / 2, bytes.len() - 1] {
        assert!(
            matches!(
                refused("a.mxl", &bytes[..cut]),
                MusicXmlError::Container { .. }
            ),
            "{cut}"
        );
    }
}

#[test]
fn a_part_is_asked_for_where_there_are_several() {
    let part = |id: &str, step: &str| {
        format!(
            "<part id=\"{id}\"><measure number=\"1\"><note><pitch><step>{step}</step><octave>2</octave>\
             </pitch><duration>4</duration></note></measure></part>"
        )
    };
    let name = |id: &str, name: &str| {
        format!("<score-part id=\"{id}\"><part-name>{name}</part-name></score-part>")
    };
    let score = format!(
        "<score-partwise><part-list>{}{}</part-list>{}{}</score-partwise>",
        name("P1", "Keys"),
        name("P2", "Bass"),
        part("P1", "C"),
        part("P2", "E")
    );
    let read = |choice: Option<&str>| {
        let choice = choice.map(|choice| choice.parse().unwrap());
        read_part("a.musicxml", score.as_bytes(), choice.as_ref())
    };
    let message = read(None).unwrap_err().to_string();
    assert!(
        message.contains("1 `Keys` (1 notes), 2 `Bass` (1 notes)") && message.contains("--part"),
        "{message}"
    );
    for choice in ["2", "bass", "Ba"] {
        let line = read(Some(choice)).unwrap().line;
        assert_eq!(line.expected(line.instrument())[0].midi, 40, "{choice}");
    }
    let message = read(Some("drums")).unwrap_err().to_string();
    assert!(message.contains("there is no part `drums`"), "{message}");
}
