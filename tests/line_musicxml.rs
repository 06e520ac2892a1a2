//! MusicXML: the standard's own examples, lines written by another program, what is refused.

mod line_support;

use std::path::{Path, PathBuf};

use seamline::music::line::{
    LineReadError, MusicXmlError, PartChoice, Read, read_part, write_musicxml,
};

/// The folder that a variable names; says so where it is not set.
fn folder(variable: &str, what: &str) -> Option<PathBuf> {
    let folder = std::env::var_os(variable);
    if folder.is_none() {
        eprintln!("{variable} is not set: {what} were not compared");
    }
    folder.map(PathBuf::from)
}

fn files(folder: &Path, ending: &str) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|found| found == ending));
    files.sort();
    files
}

fn read(path: &Path, part: Option<&str>) -> Result<Read, LineReadError> {
    let part: Option<PartChoice> = part.map(|part| part.parse().unwrap());
    let bytes = std::fs::read(path).unwrap();
    read_part(&path.display().to_string(), &bytes, part.as_ref())
}

#[test]
fn the_examples_of_the_standard_are_read_or_refused_with_a_reason() {
    // Published: the examples of the W3C's reference of MusicXML 4.0.
    let Some(folder) = folder("SEAMLINE_MUSICXML", "the standard's examples") else {
        return;
    };
    let files = files(&folder.join("examples"), "musicxml");
    assert_eq!(files.len(), 69);
    let (mut read_count, mut refused) = (0, Vec::new());
    for path in &files {
        let mut outcome = read(path, None);
        if let Err(LineReadError::MusicXml { error, .. }) = &outcome
            && matches!(**error, MusicXmlError::SeveralParts { .. })
        {
            outcome = read(path, Some("1"));
        }
        match outcome {
            Ok(_) => read_count += 1,
            Err(error) => refused.push(error.to_string()),
        }
    }
    eprintln!(
        "{read_count} of {} examples read; refused:\n{}",
        files.len(),
        refused.join("\n")
    );
    assert!(read_count >= 30, "{read_count}");
}

#[test]
fn lines_of_another_program_agree_with_their_midi_files() {
    let Some(folder) = folder("SEAMLINE_TAKES", "lines of takes") else {
        return;
    };
    let mut notes = 0;
    for path in files(&folder.join("lines"), "musicxml") {
        let of_xml = read(&path, None).unwrap_or_else(|error| panic!("{error}"));
        let of_midi =
            read(&path.with_extension("mid"), None).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(of_xml.notes, Vec::<String>::new(), "{}", path.display());
        let instrument = of_xml.line.instrument();
        let (xml, midi) = (
            of_xml.line.expected(instrument),
            of_midi.line.expected(instrument),
        );
        assert_eq!(xml.len(), midi.len(), "{}", path.display());
        for (a, b) in xml.iter().zip(&midi) {
            let name = path.display();
            assert_eq!((a.bar, a.beat, a.midi), (b.bar, b.beat, b.midi), "{name}");
            assert_eq!(a.length_quarters, b.length_quarters, "{name} {a:?} {b:?}");
            assert!(
                (a.onset_s - b.onset_s).abs() < 1e-6,
                "{name}: {} {}",
                a.onset_s,
                b.onset_s
            );
            assert_eq!(
                (a.legato_next, a.staccato),
                (b.legato_next, b.staccato),
                "{name}"
            );
        }
        notes += xml.len();
    }
    eprintln!("{notes} notes agree");
    assert!(notes > 1000);
}

/// Lines drawn at random and written as scores into a folder; gives how many.
fn write_drawn_lines(folder: &Path) -> usize {
    use proptest::strategy::{Strategy, ValueTree};
    use proptest::test_runner::TestRunner;
    // The same draws every time.
    let mut runner = TestRunner::deterministic();
    let mut written = 0;
    while written < 150 {
        let tree = line_support::lines().new_tree(&mut runner).unwrap();
        let Some(line) = tree.current() else { continue };
        let text = write_musicxml(&line, "seamline test");
        std::fs::write(folder.join(format!("drawn-{written}.musicxml")), text).unwrap();
        written += 1;
    }
    written
}

#[test]
fn what_is_written_is_valid_by_the_published_schema() {
    // Published: musicxml.xsd of MusicXML 4.0; the validator is libxml2's.
    let Some(schema) = folder("SEAMLINE_MUSICXML", "written scores with the schema") else {
        return;
    };
    let folder = tempfile::tempdir().unwrap();
    let mut count = write_drawn_lines(folder.path());
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for lines in ["fixtures/lines", "demo-data"] {
        for path in files(&root.join(lines), "line") {
            let text = write_musicxml(&read(&path, None).unwrap().line, "seamline test");
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            std::fs::write(folder.path().join(format!("{name}.musicxml")), text).unwrap();
            count += 1;
        }
    }
    let python = std::env::var("SEAMLINE_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let run = std::process::Command::new(python)
        .arg(root.join("tests/tools/validate_musicxml.py"))
        .arg(schema.join("musicxml.xsd"))
        .args(files(folder.path(), "musicxml"))
        .output();
    match run {
        Ok(run) if run.status.code() == Some(3) => {
            eprintln!(
                "NOT CHECKED: {}",
                String::from_utf8_lossy(&run.stderr).trim()
            );
        }
        Ok(run) => {
            let said = String::from_utf8_lossy(&run.stdout);
            assert!(
                run.status.success(),
                "{said}{}",
                String::from_utf8_lossy(&run.stderr)
            );
            assert!(
                said.contains(&format!("{count} of {count} files are valid")),
                "{said}"
            );
            eprintln!("{}", said.trim());
        }
        Err(error) => eprintln!("NOT CHECKED: python3 cannot be run ({error})"),
    }
}
