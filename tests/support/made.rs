//! Reports made from the truth, to test the scorer with: without a fault, saying nothing, and
//! with claims moved about at random.

use serde_json::json;

use super::claims::{BleedClaim, Claim, Claims, ExtraClaim};
use super::truth::{TrueNote, Truth};

/// Flags that a fault of the same name asks for.
const FLAGS: [&str; 5] = ["early", "late", "gap", "bleed", "dead"];

/// A small invented truth in which every class occurs.
pub fn invented() -> Truth {
    let note = |id: usize, fault: Option<&str>| {
        let at_s = 1.0 + 0.5 * id as f64;
        let dead = fault == Some("dead");
        let played = json!({
            "midi": 40.0, "cents": 1.5, "string": 3, "kind": if dead { "dead" } else { "normal" },
            "onset_s": at_s, "release_s": at_s + 0.45, "timing_ms": 2.0, "gap_ms": 50.0,
            "gap_scored": true, "bleed_db": null, "own_ring_db": null,
        });
        let played = if fault == Some("missed") {
            json!(null)
        } else {
            played
        };
        json!({"id": id, "played": played, "faults": fault.into_iter().collect::<Vec<_>>()})
    };
    let faults = [
        "wrong", "missed", "early", "late", "gap", "bleed", "dead", "detuned",
    ];
    let notes: Vec<_> = (0..24)
        .map(|id| note(id, (id % 3 == 1).then(|| faults[id / 3])))
        .collect();
    let truth = json!({
        "take": "invented", "line": "invented", "file": "invented.wav", "instrument": "none", "length_s": 14.0, "notes": notes,
        "extras": [{"onset_s": 1.25, "midi": 40.0, "level_db": -3.0}],
        "bleed": [{"kind": "ringover", "from_s": 9.0, "to_s": 9.4, "midi": 33.0, "string": 4,
                   "level_db": -12.0, "start_level_db": -10.0, "end_level_db": -14.0,
                   "covers": [16]}],
    });
    serde_json::from_value(truth).expect("the fields of a truth")
}

/// A report that tells the truth.
pub fn perfect(truth: &Truth) -> Claims {
    let bleed = truth.bleed.iter().filter(|b| b.level_db >= -30.0);
    Claims {
        notes: truth.notes.iter().map(perfect_note).collect(),
        extras: truth
            .extras
            .iter()
            .map(|e| ExtraClaim {
                onset_s: e.onset_s,
                midi: Some(e.midi),
            })
            .collect(),
        bleed: bleed
            .map(|b| BleedClaim {
                from_s: b.from_s,
                to_s: b.to_s,
                midi: Some(b.midi),
                level_db: Some(b.level_db),
                string: Some(b.string),
            })
            .collect(),
    }
}

fn perfect_note(note: &TrueNote) -> Claim {
    let Some(played) = &note.played else {
        return Claim {
            verdict: "missed".to_owned(),
            ..Claim::absent(note.id)
        };
    };
    let verdict = if note.has("wrong") { "wrong" } else { "right" };
    let detuned = note.has("detuned").then_some("sharp");
    let flags = FLAGS.into_iter().filter(|f| note.has(f)).chain(detuned);
    Claim {
        index: note.id,
        verdict: verdict.to_owned(),
        heard_midi: Some(played.midi + played.cents / 100.0),
        cents: Some(played.cents),
        onset_s: Some(played.onset_s + 0.004),
        release_s: Some(played.release_s),
        timing_ms: Some(played.timing_ms),
        gap_ms: played.gap_ms,
        flags: flags.map(str::to_owned).collect(),
        heard_at_s: Some(played.onset_s + 0.010),
        named_at_s: Some(played.onset_s + 0.050),
    }
}

/// A report that finds every note right and nothing else.
pub fn silent(truth: &Truth) -> Claims {
    let right = |note: &TrueNote| Claim {
        verdict: "right".to_owned(),
        ..Claim::absent(note.id)
    };
    Claims {
        notes: truth.notes.iter().map(right).collect(),
        ..Claims::default()
    }
}

/// Numbers that only need to look like chance: a linear congruential generator with the constants
/// of Knuth's MMIX (The Art of Computer Programming, volume 2, section 3.3.4, table 1).
struct Chance(u64);

impl Chance {
    /// From 0 up to 1.
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn within(&mut self, size: f64) -> f64 {
        size * (2.0 * self.next() - 1.0)
    }

    fn one_in(&mut self, n: f64) -> bool {
        self.next() * n < 1.0
    }
}

/// A report that is often wrong, in all its fields; the same for the same truth and `seed`.
pub fn disturbed(truth: &Truth, seed: u64) -> Claims {
    let mut chance = Chance(seed ^ truth.length_s.to_bits());
    let mut claims = perfect(truth);
    for note in &mut claims.notes {
        disturb_note(note, &mut chance);
    }
    claims.notes.retain(|_| !chance.one_in(40.0));
    for extra in &mut claims.extras {
        extra.onset_s += chance.within(0.090);
    }
    for _ in 0..4 {
        claims.extras.push(ExtraClaim {
            onset_s: chance.next() * truth.length_s,
            midi: None,
        });
    }
    for bleed in &mut claims.bleed {
        bleed.from_s += chance.within(0.3);
        bleed.to_s += chance.within(0.3);
        bleed.level_db = bleed.level_db.map(|level| level + chance.within(6.0));
        bleed.midi = match chance.next() {
            x if x < 0.2 => None,
            x if x < 0.4 => bleed.midi.map(|m| m + 1.0),
            x if x < 0.7 => bleed.midi.map(|m| m + chance.within(0.6)),
            _ => bleed.midi,
        };
        bleed.string = if chance.one_in(4.0) {
            None
        } else {
            bleed.string
        };
    }
    let from_s = chance.next() * truth.length_s;
    claims.bleed.push(BleedClaim {
        from_s,
        to_s: from_s + 0.4,
        midi: Some(28.0),
        level_db: None,
        string: Some(4),
    });
    claims
}

fn disturb_note(note: &mut Claim, chance: &mut Chance) {
    if chance.one_in(12.0) {
        let verdicts = ["right", "wrong", "missed"];
        note.verdict = verdicts[(chance.next() * 3.0) as usize].to_owned();
    }
    let sized = |value: &mut Option<f64>, chance: &mut Chance, size: f64| {
        *value = if chance.one_in(30.0) {
            None
        } else {
            value.map(|v| v + chance.within(size))
        };
    };
    sized(&mut note.onset_s, chance, 0.012);
    sized(&mut note.timing_ms, chance, 12.0);
    sized(&mut note.gap_ms, chance, 20.0);
    sized(&mut note.heard_at_s, chance, 0.008);
    sized(&mut note.named_at_s, chance, 0.030);
    let pitch = match chance.next() {
        x if x < 0.02 => 12.0,
        x if x < 0.05 => 1.0,
        _ => 0.08,
    };
    sized(&mut note.heard_midi, chance, pitch);
    for flag in [
        "early", "late", "gap", "bleed", "dead", "sharp", "flat", "clipped",
    ] {
        if chance.one_in(25.0) {
            let there = note.flagged(flag);
            note.flags.retain(|f| f != flag);
            if !there {
                note.flags.push(flag.to_owned());
            }
        }
    }
}
