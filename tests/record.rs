//! The record of practice as a file: nothing that was committed is lost, whoever is killed, whoever else
//! writes, and whatever lies there.

#[path = "record_support/mod.rs"]
mod rows;

use std::io::{BufRead, BufReader, Read};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use proptest::prelude::*;
use seamline::progress::record::Day;
use seamline::progress::rows::{NoteRow, PassRow};
use seamline::progress::store::{Store, StoreError};

/// Set in a child of these tests: the folder it is to write to.
const WRITER: &str = "SEAMLINE_TEST_WRITER";

fn open(folder: &Path) -> Store {
    Store::open(folder).expect("a record")
}

fn exported(store: &Store) -> String {
    let mut text = Vec::new();
    store.export(&mut text).expect("exported");
    String::from_utf8(text).expect("text")
}

#[test]
fn a_take_is_summed_up_by_line_day_and_join() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut store = open(folder.path());
    let line = rows::line("Two stairs", 16);
    for (sound, day, every) in [("a", 100, 4), ("b", 100, 8), ("c", 103, 99)] {
        store
            .add(&line, &rows::take(&line, "", sound, day, every))
            .expect("added");
    }
    let lines = store.lines("", None, None).expect("lines");
    assert_eq!(lines.len(), 1);
    let found = &lines[0];
    assert_eq!((found.takes, found.passes, found.bars), (3, 3, (1, 2)));
    let days: Vec<_> = found
        .days
        .iter()
        .map(|day| (day.day.0, day.passes, day.clean))
        .collect();
    assert_eq!(days, [(100, 2, 0), (103, 1, 1)]);
    assert_eq!(found.days[1].clean_share, Some(0.8));
    assert!((found.days[0].minutes - 36.0 / 60.0).abs() < 1e-9);
    // Closed form: note 3 has a gap in a pass with one at every fourth, note 7 in both.
    let of = |note: usize| {
        let join = found
            .joins
            .iter()
            .find(|join| join.index == note)
            .expect("the join");
        let days = join.days.iter();
        days.map(|day| (day.day.0, day.tries, day.faulty, day.first_faulty))
            .collect::<Vec<_>>()
    };
    assert_eq!(of(3), [(100, 2, 1, true), (103, 1, 0, false)]);
    assert_eq!(of(7), [(100, 2, 2, true), (103, 1, 0, false)]);
    assert_eq!(of(0), [(100, 2, 0, false), (103, 1, 0, false)]);
    let gap = found
        .joins
        .iter()
        .find(|join| join.index == 3)
        .expect("it")
        .days[0]
        .gap_ms;
    assert_eq!(gap, Some((72.5 + 1.5) / 2.0));
    // What is asked for alone.
    let late = store.lines("", None, Some(Day(101))).expect("lines");
    assert_eq!((late[0].days.len(), late[0].takes), (1, 3));
    assert!(store.lines("nobody", None, None).expect("lines").is_empty());
    assert!(
        store
            .lines("", Some("another"), None)
            .expect("lines")
            .is_empty()
    );
    let tried = |bars, most| store.tried("", &line.content, bars, most).expect("passes");
    let clean: Vec<bool> = tried((1, 2), 9).iter().map(|pass| pass.clean).collect();
    assert_eq!(clean, [false, false, true]);
    assert_eq!((tried((1, 2), 1).len(), tried((1, 1), 9).len()), (1, 0));
    let tempos = store.tempos("", &line.content).expect("tempos");
    assert_eq!((tempos.len(), tempos[0].passes, tempos[0].clean), (1, 3, 1));
}

#[test]
fn the_same_sound_of_the_same_line_replaces_its_entry() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut store = open(folder.path());
    let line = rows::line("Two stairs", 16);
    let other = rows::line("Three stairs", 16);
    store
        .add(&line, &rows::take(&line, "", "a", 100, 4))
        .expect("added");
    // Judged again, told to be of another day and played better.
    store
        .add(&line, &rows::take(&line, "", "a", 105, 99))
        .expect("added");
    let lines = store.lines("", None, None).expect("lines");
    assert_eq!((lines[0].takes, lines[0].passes), (1, 1));
    let days: Vec<_> = lines[0]
        .days
        .iter()
        .map(|day| (day.day.0, day.clean))
        .collect();
    assert_eq!(days, [(105, 1)], "nothing of the older day is left");
    // Another line or another player is another entry.
    store
        .add(&other, &rows::take(&other, "", "a", 105, 99))
        .expect("added");
    store
        .add(&line, &rows::take(&line, "Ada", "a", 105, 99))
        .expect("added");
    let takes = |player: &str| store.takes(player, None, 9).expect("takes").len();
    assert_eq!((takes(""), takes("Ada")), (2, 1));
    assert_eq!(store.players().expect("players"), ["", "Ada"]);
}

#[test]
fn two_programs_write_at_once() {
    const TAKES: usize = 40;
    let folder = tempfile::tempdir().expect("a folder");
    let line = rows::line("Two stairs", 32);
    std::thread::scope(|scope| {
        for who in ["a", "b"] {
            let (folder, line) = (folder.path(), &line);
            scope.spawn(move || {
                let mut store = open(folder);
                for number in 0..TAKES {
                    let sound = format!("{who}{number}");
                    store
                        .add(line, &rows::take(line, "", &sound, 100, 4))
                        .expect("added");
                }
            });
        }
    });
    let store = open(folder.path());
    let lines = store.lines("", None, None).expect("lines");
    assert_eq!(lines[0].takes, 2 * TAKES);
    assert_eq!(lines[0].days[0].passes, 2 * TAKES);
    assert!(store.check().expect("checked").is_empty());
}

/// Not a test of its own: what the child of the next one does.
#[test]
fn writes_until_it_is_killed() {
    let Some(folder) = std::env::var_os(WRITER) else {
        return;
    };
    let mut store = open(Path::new(&folder));
    let line = rows::line("Two stairs", 64);
    let seed = std::process::id();
    for number in 0.. {
        let sound = format!("{seed}-{number}");
        store
            .add(&line, &rows::take(&line, "", &sound, 100, 4))
            .expect("added");
        // Said only when it is committed.
        println!("added {sound}");
    }
}

/// Killed 200 times while it writes: every take that was said to be in the record is in it, whole.
#[test]
fn nothing_committed_is_lost_when_the_program_is_killed() {
    const KILLS: u64 = 200;
    let folder = tempfile::tempdir().expect("a folder");
    drop(open(folder.path()));
    let mut said = Vec::new();
    for kill in 0..KILLS {
        let program = std::env::current_exe().expect("this test");
        let mut child = Command::new(program)
            .args(["--exact", "writes_until_it_is_killed", "--nocapture"])
            .env(WRITER, folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("a child");
        let mut out = BufReader::new(child.stdout.take().expect("its output"));
        // Once it writes, after a time that is another one at each kill, so that every part of a write
        // is hit: 0 to 5 ms, by a multiple of the golden ratio.
        let mut line = String::new();
        while !line.contains("added") {
            line.clear();
            assert!(
                out.read_line(&mut line).expect("read") > 0,
                "the child ended"
            );
        }
        let part = (kill as f64 * 0.618_034).fract();
        std::thread::sleep(Duration::from_secs_f64(0.005 * part));
        child.kill().expect("killed");
        child.wait().expect("gone");
        let mut rest = String::new();
        out.read_to_string(&mut rest).expect("read");
        let whole = format!("{line}{rest}");
        // A last line that was cut off is not counted.
        let lines = whole
            .split_inclusive('\n')
            .filter(|line| line.ends_with('\n'));
        said.extend(lines.filter_map(|line| Some(line.split_once("added ")?.1.trim().to_owned())));
    }
    let store = open(folder.path());
    assert!(store.check().expect("checked").is_empty());
    let takes = store.takes("", None, usize::MAX).expect("takes");
    let there: std::collections::HashSet<&str> = takes
        .iter()
        .filter_map(|take| Path::new(take.file.as_deref()?).file_stem()?.to_str())
        .collect();
    let lost: Vec<_> = said
        .iter()
        .filter(|sound| !there.contains(sound.as_str()))
        .collect();
    assert!(
        said.len() as u64 >= KILLS && lost.is_empty(),
        "{} said, lost: {lost:?}",
        said.len()
    );
    // Whole: each has its pass, and the day's sums are those of all.
    assert!(takes.iter().all(|take| take.passes == 1));
    let lines = store.lines("", None, None).expect("lines");
    assert_eq!(
        (lines[0].takes, lines[0].days[0].passes),
        (takes.len(), takes.len())
    );
    println!(
        "{KILLS} kills, {} takes said to be kept, {} there",
        said.len(),
        takes.len()
    );
}

#[test]
fn a_damaged_record_is_said_and_set_aside() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("record.sqlite");
    let line = rows::line("Two stairs", 64);
    let mut whole = {
        let mut store = open(folder.path());
        for number in 0..20 {
            let sound = number.to_string();
            store
                .add(&line, &rows::take(&line, "", &sound, 100, 4))
                .expect("added");
        }
        drop(store);
        std::fs::read(&path).expect("the file")
    };
    let mut set_aside = 0;
    for damage in ["no database", "a page of zeros", "cut off"] {
        let bytes = match damage {
            "no database" => b"this is no record, but it is somebody's text".to_vec(),
            "a page of zeros" => {
                whole[100..8192].fill(0);
                whole.clone()
            }
            _ => whole[..5000].to_vec(),
        };
        std::fs::write(&path, &bytes).expect("written");
        let opened = Store::open(folder.path()).and_then(|mut store| {
            store.add(&line, &rows::take(&line, "", "new", 100, 4))?;
            store.lines("", None, None).map(|_| ())
        });
        let Err(StoreError::Damaged { aside, .. }) = opened else {
            panic!("{damage}: {opened:?}");
        };
        set_aside += 1;
        assert!(
            aside.ends_with(format!("record.sqlite.damaged-{set_aside}")),
            "{aside:?}"
        );
        assert_eq!(
            std::fs::read(&aside).expect("it is there"),
            bytes,
            "{damage}: byte for byte"
        );
        assert!(!path.exists(), "{damage}");
        // The next one begins anew.
        open(folder.path());
    }
}

#[test]
fn a_record_of_a_newer_program_or_of_another_one_is_left_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("record.sqlite");
    drop(open(folder.path()));
    let db = rusqlite::Connection::open(&path).expect("opened");
    db.pragma_update(None, "user_version", 99).expect("set");
    drop(db);
    let before = std::fs::read(&path).expect("read");
    let error = Store::open(folder.path())
        .expect_err("it is newer")
        .to_string();
    assert!(
        error.contains("of version 99, and this program knows"),
        "{error}"
    );
    assert_eq!(std::fs::read(&path).expect("read"), before);
}

/// A record of each version that ever was is kept in `fixtures/record`, and reads as it read then.
#[test]
fn older_records_are_brought_up_to_date() {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/record");
    for version in 1..=1 {
        let folder = tempfile::tempdir().expect("a folder");
        let old = kept.join(format!("v{version}.sqlite"));
        std::fs::copy(&old, folder.path().join("record.sqlite")).expect("copied");
        let store = open(folder.path());
        let wanted = std::fs::read_to_string(kept.join("exported.jsonl")).expect("what was in it");
        assert_eq!(exported(&store), wanted, "version {version}");
        assert!(store.check().expect("checked").is_empty());
    }
}

#[test]
fn what_is_exported_is_read_in_again() {
    let [from, to] = [(), ()].map(|()| tempfile::tempdir().expect("a folder"));
    let mut store = open(from.path());
    for (name, player) in [("Two stairs", ""), ("Three stairs", "Ada")] {
        let line = rows::line(name, 24);
        for (sound, day, every) in [("a", 100, 4), ("b", 101, 99)] {
            store
                .add(&line, &rows::take(&line, player, sound, day, every))
                .expect("added");
        }
    }
    let text = exported(&store);
    let mut other = open(to.path());
    let carried = other.import(&mut text.as_bytes()).expect("read in");
    assert_eq!((carried.lines, carried.takes), (2, 4));
    assert_eq!(exported(&other), text);
    for player in ["", "Ada"] {
        let lines = |store: &Store| store.lines(player, None, None).expect("lines");
        assert_eq!(lines(&other), lines(&store));
    }
    // Once more changes nothing.
    other.import(&mut text.as_bytes()).expect("read in");
    assert_eq!(other.takes("", None, 99).expect("takes").len(), 2);
}

#[test]
fn what_is_no_export_is_refused_with_its_line_and_nothing_is_read_in() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut store = open(folder.path());
    let line = rows::line("Two stairs", 8);
    store
        .add(&line, &rows::take(&line, "", "a", 100, 4))
        .expect("added");
    let text = exported(&store);
    let wrong = [
        (String::new(), "line 1: this is no exported record"),
        ("hello\n".to_owned(), "line 1: this is no exported record"),
        (
            text.replacen("\"schema\":1", "\"schema\":7", 1),
            "line 1: an exported record begins with",
        ),
        (
            text.replace("\"right\"", "\"splendid\""),
            "line 3: `splendid` is no verdict",
        ),
        (
            text.replace("\"gap\"]", "\"hole\"]"),
            "line 3: `hole` is no flag",
        ),
        (
            text.replace("\"passes\":[{", "\"passes\":[{\"more\":1,"),
            "line 3: unknown field",
        ),
        (
            text.replacen("content of Two", "content of No", 1),
            "line 3: a take of a line that is not",
        ),
        (text[..text.len() - 40].to_owned(), "line 3: "),
    ];
    for (text, wanted) in wrong {
        let other = tempfile::tempdir().expect("a folder");
        let mut other = open(other.path());
        let error = other
            .import(&mut text.as_bytes())
            .expect_err(wanted)
            .to_string();
        assert!(error.starts_with(wanted), "{wanted}: {error}");
        assert!(error.ends_with("nothing was read in"), "{error}");
        assert!(other.lines("", None, None).expect("lines").is_empty());
        assert!(!exported(&other).contains("stairs"), "{wanted}");
    }
}

#[test]
fn what_is_deleted_is_gone_from_the_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut store = open(folder.path());
    let (gone, stays) = (rows::line("Willow gate", 16), rows::line("Two stairs", 16));
    for (line, sound) in [
        (&gone, "first-secret"),
        (&gone, "second-secret"),
        (&stays, "kept"),
    ] {
        store
            .add(line, &rows::take(line, "", sound, 100, 4))
            .expect("added");
    }
    let number = store.takes("", Some(&gone.content), 1).expect("takes")[0].number;
    let removed = store
        .remove_take("", number)
        .expect("removed")
        .expect("it was there");
    assert_eq!(
        (removed.takes, removed.files),
        (1, vec!["/somewhere/second-secret.wav".to_owned()])
    );
    assert_eq!(store.remove_take("", number).expect("tried"), None);
    let removed = store
        .remove_takes("", Some(&gone.content))
        .expect("removed");
    assert_eq!(removed.takes, 1);
    let lines = store.lines("", None, None).expect("lines");
    assert_eq!((lines.len(), lines[0].takes), (1, 1));
    for entry in std::fs::read_dir(folder.path()).expect("listed") {
        let path = entry.expect("an entry").path();
        let bytes = std::fs::read(&path).expect("read");
        for word in ["Willow", "first-secret", "second-secret"] {
            let found = bytes
                .windows(word.len())
                .any(|window| window == word.as_bytes());
            assert!(!found, "{word} is still in {}", path.display());
        }
    }
    let removed = store.remove_takes("", None).expect("removed");
    assert_eq!(removed.takes, 1);
    assert!(store.players().expect("players").is_empty());
}

#[test]
fn a_copy_is_whole_while_somebody_writes() {
    let folder = tempfile::tempdir().expect("a folder");
    let line = rows::line("Two stairs", 64);
    drop(open(folder.path()));
    let done = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            let mut store = open(folder.path());
            for number in 0..60 {
                let sound = number.to_string();
                store
                    .add(&line, &rows::take(&line, "", &sound, 100, 4))
                    .expect("added");
            }
            done.store(true, std::sync::atomic::Ordering::Relaxed);
        });
        let store = open(folder.path());
        let mut copies = 0;
        while !done.load(std::sync::atomic::Ordering::Relaxed) || copies == 0 {
            let into = folder.path().join(format!("copy-{copies}"));
            std::fs::create_dir(&into).expect("a folder");
            store.copy(&into.join("record.sqlite")).expect("copied");
            let copy = open(&into);
            assert!(copy.check().expect("checked").is_empty());
            for found in copy.lines("", None, None).expect("lines") {
                assert_eq!(found.takes, found.days[0].passes, "a take without its pass");
            }
            copies += 1;
        }
    });
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever stands in the rows, what goes in comes out.
    #[test]
    fn rows_come_out_as_they_went_in(
        title in ".{0,40}",
        player in "[^\\p{Cc}]{0,20}",
        at_s in -100_000_000_000_i64..100_000_000_000,
        ahead_s in -50_000..50_000_i32,
        shares in prop::collection::vec(prop::option::of(0.1..3.0_f64), 0..4),
        timing in prop::option::of(-9_000..9_000_i32),
        flag in prop::sample::select(vec!["early", "late", "gap", "clipped", "bleed", "dead", "sharp",
            "flat", "loud", "soft", "buzzes"]),
        verdict in prop::sample::select(vec!["right", "wrong", "missed"]),
    ) {
        let folder = tempfile::tempdir().expect("a folder");
        let mut store = open(folder.path());
        let mut line = rows::line("Two stairs", 4);
        line.title = title;
        let mut take = rows::take(&line, &player, "a", 100, 4);
        (take.at_s, take.ahead_s) = (at_s, ahead_s);
        let note = |note| NoteRow {
            note,
            verdict: verdict.to_owned(),
            flags: vec![flag.to_owned()],
            timing_ms: timing.map(|parts| f64::from(parts) / 10.0),
            gap_ms: None,
            cents: timing.map(|parts| f64::from(parts) / 10.0),
            level_dbfs: None,
            join_fault: Some(note == 1),
        };
        let numbered = shares.iter().zip(1..);
        take.passes = numbered.map(|(&share, number)| PassRow {
            share,
            notes: (0..4).map(note).collect(),
            ..rows::pass(number, 4, 4)
        }).collect();
        store.add(&line, &take).expect("added");
        let text = exported(&store);
        let mut lines = text.lines().skip(1);
        let read: serde_json::Value = serde_json::from_str(lines.next().expect("the line")).expect("JSON");
        prop_assert_eq!(&read["line"], &serde_json::to_value(&line).expect("JSON"));
        let read: serde_json::Value = serde_json::from_str(lines.next().expect("the take")).expect("JSON");
        prop_assert_eq!(&read["take"], &serde_json::to_value(&take).expect("JSON"));
        let found = store.lines(&player, None, None).expect("lines");
        prop_assert_eq!(found[0].passes, shares.len());
    }
}
