//! Ten short takes by the plucked-string synth, each with faults put in on purpose: what the ear
//! and the judge decide of every note, pinned without a file from outside.
//!
//! The truth is the performance itself, note by note, never what the program said of it: a note
//! that was taken out is missed, one of another pitch is wrong, and the flags are the faults that
//! were put in. Of rings it tells the notes that sound on other strings meanwhile. All faults are
//! well beyond the marks (`compare/marks.rs`), so that nothing here hangs on a limit.

#[path = "support/metrics.rs"]
mod metrics;
mod mini_support;
mod source_support;

use mini_support::{Take, Truth, differences, judged};

/// Plays, listens, judges, and holds every decision against what was played.
fn check(take: &Take) {
    let (truth, sound) = Truth::of(take);
    let wrong = differences(&truth, &judged(take, sound));
    assert!(wrong.is_empty(), "{}:\n{}", take.faults, wrong.join("\n"));
}

/// Crotchets and quavers on all four strings, the open E among them.
const SQUARE: &str = "title: Square\ntempo: 96\nmeter: 4/4\nkey: G major\n\n\
    1/4 4:3 3:2 3:5 2:4\n1/8 2:5 2:4 3:5 3:2 1/4 4:3 4:2\n\
    1/4 4:0 4:3 3:2 3:5\n1/8 2:2 2:4 2:5 1:2 1/4 1:4 2:5\n";

/// Three in a bar, with room on the A and the E string for something to ring.
const FERRY: &str = "title: Ferry\ntempo: 104\nmeter: 3/4\nkey: A minor\n\n\
    1/4 3:0 3:3 2:2\n1/4 2:5 2:3 3:5\n1/4 4:5 3:3 2:2\n1/8 1:2 1:0 2:3 2:2 3:3 3:2\n1/4 3:0 4:3 4:0\n";

/// Pairs of notes of one pitch, then steps.
const LADDER: &str = "title: Ladder\ntempo: 84\nmeter: 4/4\nkey: C major\n\n\
    1/8 3:3 3:3 2:2 2:2 2:5 2:5 1:2 1:2\n1/4 1:5 1:2 2:5 2:2\n\
    1/8 3:3 2:0 2:2 2:3 1/4 2:5 3:5\n1/4 4:3 4:5 4:7 3:3\n";

/// With rests, so that notes have an end of their own.
const STEPS: &str = "title: Steps\ntempo: 100\nmeter: 4/4\nkey: F major\n\n\
    1/4 4:1 3:0 r 3:3\n1/4 2:3 r 2:0 3:3\n1/8 3:1 3:0 4:3 4:1 1/4 3:3 r\n1/4 4:1 3:3 2:3 r\n";

/// A player who does all that is written: nothing is said.
#[test]
fn a_clean_take() {
    check(&Take {
        line: SQUARE,
        voice: "fingered",
        seed: 101,
        rate: 44_100,
        faults: "",
        at_touch: &[],
    });
}

/// A semitone, a tone, the next string and an octave.
#[test]
fn wrong_notes() {
    check(&Take {
        line: SQUARE,
        voice: "picked",
        seed: 102,
        rate: 48_000,
        faults: "wrong:1.2:+1 wrong:2.1.5:-2 wrong:3.3:+5 wrong:4.3:-12",
        at_touch: &[],
    });
}

/// One alone, and two in a row.
#[test]
fn missed_notes() {
    check(&Take {
        line: FERRY,
        voice: "fingered",
        seed: 103,
        rate: 44_100,
        faults: "missed:1.3 missed:3.1 missed:3.2",
        at_touch: &[],
    });
}

/// Below and above the note they follow.
#[test]
fn extra_notes() {
    check(&Take {
        line: FERRY,
        voice: "picked",
        seed: 104,
        rate: 44_100,
        faults: "extra:1.2:-2 extra:2.2:+3 extra:5.1:+2",
        at_touch: &[0, 14, 15],
    });
}

/// Too soon and too late, in crotchets and in quavers.
#[test]
fn early_and_late_notes() {
    check(&Take {
        line: SQUARE,
        voice: "fingered",
        seed: 105,
        rate: 44_100,
        faults: "early:1.3:55 late:2.2:60 late:3.2:70 early:4.4:60",
        at_touch: &[],
    });
}

/// On every string, the lowest among them.
#[test]
fn gaps() {
    check(&Take {
        line: SQUARE,
        voice: "fingered",
        seed: 106,
        rate: 48_000,
        faults: "gap:1.2:90 gap:2.3:120 gap:3.1:110 gap:4.1.5:75 gap:4.3:100",
        at_touch: &[],
    });
}

/// A note that is not damped, and an open string that sounds along.
#[test]
fn rings() {
    check(&Take {
        line: FERRY,
        voice: "fingered",
        seed: 107,
        rate: 44_100,
        faults: "ringing:1.2:-8 open:3.3:4:-14",
        at_touch: &[],
    });
}

/// Choked, on two strings.
#[test]
fn dead_notes() {
    check(&Take {
        line: LADDER,
        voice: "fingered",
        seed: 108,
        rate: 44_100,
        faults: "dead:2.2 dead:4.2",
        at_touch: &[3, 7],
    });
}

/// Out of tune, but still the written note.
#[test]
fn detuned_notes() {
    check(&Take {
        line: LADDER,
        voice: "picked",
        seed: 109,
        rate: 22_050,
        faults: "sharp:1.2:38 flat:2.3:42 sharp:4.1:40",
        at_touch: &[],
    });
}

/// Everything at once, with rests and a tempo that falls.
#[test]
fn a_mixed_take() {
    check(&Take {
        line: STEPS,
        voice: "fingered",
        seed: 110,
        rate: 44_100,
        faults: "drift:4 clipped:1.2:380 wrong:2.1:-1 gap:3.1.5:80 late:3.3:65 missed:4.2",
        at_touch: &[],
    });
}

/// What was not put in is noticed: the sound of a faulty take held against the same player without
/// the faults.
#[test]
fn another_truth_is_noticed() {
    let clean = Take {
        line: SQUARE,
        voice: "fingered",
        seed: 111,
        rate: 44_100,
        faults: "",
        at_touch: &[],
    };
    let faulty = Take {
        faults: "wrong:1.2:+1 gap:2.3:120 missed:3.4 extra:1.3:-2 open:3.3:4:-14",
        ..clean
    };
    let (_, sound) = Truth::of(&faulty);
    let (truth, _) = Truth::of(&clean);
    let wrong = differences(&truth, &judged(&faulty, sound)).join("\n");
    for words in [
        "note 1: Wrong, not Right",
        "note 8: flags {Gap}, not {}",
        "note 13: Missed, not Right",
        "extras [ExtraNote",
        "note 12: flags {Bleed}, not {}",
        "rings [Bleed",
    ] {
        assert!(wrong.contains(words), "{words}:\n{wrong}");
    }
}
