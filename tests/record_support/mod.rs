//! Takes made up for the record: rows as the program writes them, without any sound.
#![allow(dead_code, reason = "each test file needs its own part of it")]

use seamline::progress::rows::{JoinRow, LineRow, NoteRow, PassRow, TakeRow};

/// A line of `notes` notes, all joined by shifts and crossings in turn.
pub fn line(name: &str, notes: usize) -> LineRow {
    let joins = (0..notes.saturating_sub(1)).map(|note| JoinRow {
        note,
        bar: 1 + note as u32 / 8,
        beat: 1.0 + (note % 8) as f64 / 2.0,
        to_bar: 1 + (note as u32 + 1) / 8,
        kind: Some(if note % 3 == 0 { "shift" } else { "crossing" }.to_owned()),
    });
    LineRow {
        content: format!("content of {name}"),
        title: name.to_owned(),
        file: None,
        part: None,
        bars: (1, (notes as u32).div_ceil(8)),
        tempo_bpm: 96.0,
        notes,
        joins: joins.collect(),
    }
}

/// One pass over all of a line; every `fault_every`th join has a gap.
pub fn pass(number: usize, notes: usize, fault_every: usize) -> PassRow {
    let note = |note: usize| {
        let gap = note % fault_every == fault_every - 1;
        NoteRow {
            note,
            verdict: "right".to_owned(),
            flags: if gap { vec!["gap".to_owned()] } else { vec![] },
            timing_ms: Some(note as f64 / 10.0 - 3.0),
            gap_ms: Some(if gap { 72.5 } else { 1.5 }),
            cents: Some(-2.5),
            level_dbfs: Some(-18.5),
            join_fault: (note + 1 < notes).then_some(gap),
        }
    };
    let from_s = 20.0 * (number as f64 - 1.0) + 2.0;
    PassRow {
        number,
        from_s,
        to_s: from_s + 18.0,
        bars: (1, (notes as u32).div_ceil(8)),
        complete: true,
        whole: true,
        clean: fault_every > notes,
        share: Some(0.8),
        stumbles: 0,
        extra: 0,
        notes: (0..notes).map(note).collect(),
    }
}

/// A take of one pass, played on a day; its sound is told apart by `sound`.
pub fn take(line: &LineRow, player: &str, sound: &str, day: i64, fault_every: usize) -> TakeRow {
    TakeRow {
        player: player.to_owned(),
        line: line.content.clone(),
        sound: Some(sound.to_owned()),
        file: Some(format!("/somewhere/{sound}.wav")),
        kept: None,
        instrument: None,
        rig: (day % 2 == 0).then(|| "Line in -> Phones".to_owned()),
        at_s: day * 86_400 + 40_000,
        ahead_s: 3600,
        duration_s: 40.0,
        passes: vec![pass(1, line.notes, fault_every)],
    }
}
