//! Findings about what nobody wrote: extra notes, and strings that ring underneath.

use std::collections::BTreeSet;

use crate::compare::judgement::{Bleed, BleedKind, ExtraNote, Finding, FindingKind};
use crate::compare::say::phrases::place;
use crate::compare::say::seen::{Shown, Take};
use crate::compare::say::weight;
use crate::music::expected::ExpectedNote;
use crate::words::{bars_printed, count, pitch_class};

/// Notes nobody wrote; the same pitch after the same note is one finding.
pub(crate) fn extras(take: &Take) -> Vec<Finding> {
    type Key = (Option<usize>, Option<i64>);
    let key = |extra: &ExtraNote| -> Key {
        (
            extra.after_index,
            extra.midi.map(|midi| midi.round() as i64),
        )
    };
    let mut groups: Vec<(Key, Vec<usize>)> = Vec::new();
    for pass in &take.passes {
        for extra in &pass.extras {
            let which = key(extra);
            match groups.iter_mut().find(|(of, _)| *of == which) {
                Some((_, passes)) => passes.push(pass.number),
                None => groups.push((which, vec![pass.number])),
            }
        }
    }
    let found = groups.into_iter().map(|((after, midi), mut passes)| {
        let times = passes.len();
        passes.dedup();
        let note = after.and_then(|index| take.expected_at(index));
        let of = after.map_or(take.passes.len(), |index| take.seen(index).len());
        let shown = Shown { passes, of };
        let name = midi.map_or("an extra note".to_owned(), |midi| {
            let bar = note.or(take.expected.first().copied()).map_or(1, |n| n.bar);
            format!("an extra note, {}", take.name(midi as f64, bar))
        });
        let at = match note {
            Some(note) => format!("{}: after {} {name}", place(note), take.written(note)),
            None => format!("before the first note: {name}"),
        };
        Finding {
            weight: weight::EXTRA * times as f64,
            sentence: format!("{at}{}", take.told(&shown)),
            ..take.at(FindingKind::Extra, note, shown)
        }
    });
    found.collect()
}

/// Rings of one string and one pitch in all passes.
struct Group<'a> {
    rings: Vec<(usize, &'a Bleed)>,
    /// The notes they lay under.
    under: Vec<&'a ExpectedNote>,
}

/// Rings, those of one string and one pitch in one finding.
pub(crate) fn rings(take: &Take) -> Vec<Finding> {
    let key = |b: &Bleed| (b.string, b.kind, b.midi.round() as i64);
    let all = || {
        take.passes
            .iter()
            .flat_map(|pass| pass.bleed.iter().flatten().map(|b| (pass.number, b)))
    };
    let mut keys: Vec<_> = all().map(|(_, b)| key(b)).collect();
    keys.sort_unstable();
    keys.dedup();
    keys.into_iter()
        .map(|which| {
            let rings: Vec<(usize, &Bleed)> = all().filter(|(_, b)| key(b) == which).collect();
            let under = rings
                .iter()
                .flat_map(|(_, b)| &b.during)
                .filter_map(|&index| take.expected_at(index))
                .collect();
            ring(take, &Group { rings, under })
        })
        .collect()
}

fn ring(take: &Take, group: &Group) -> Finding {
    let slight_db = -take.settings.marks.bleed_slight_below_db;
    let first = group.rings[0].1;
    let under = || group.under.iter();
    let ends = (
        under().min_by_key(|note| note.bar),
        under().max_by_key(|note| note.bar),
    );
    let place = match ends {
        (Some(a), Some(b)) => format!(
            "under {}",
            bars_printed((a.bar, b.bar), (a.printed_bar, b.printed_bar))
        ),
        _ => "where nothing should sound".to_owned(),
    };
    let levels = || group.rings.iter().map(|(_, b)| b.level_db);
    let loudest = levels().fold(f64::MIN, f64::max);
    let open = || pitch_class(first.midi);
    let bar = group.under.first().map_or(1, |note| note.bar);
    let what = match first.kind {
        BleedKind::OpenString => format!("open {} rings", open()),
        BleedKind::LeftRinging => format!("{} is left ringing", take.name(first.midi, bar)),
        BleedKind::StruckAlong => format!("open {} is struck along", open()),
    };
    let times = match group.rings.len() {
        1 => String::new(),
        n => format!(", {}", count(n, "time")),
    };
    let slight = if loudest < slight_db { ", slight" } else { "" };
    let mut passes: Vec<usize> = group.rings.iter().map(|(pass, _)| *pass).collect();
    passes.dedup();
    let reached = |index: usize| take.seen(index).len();
    let of = group.under.iter().map(|note| reached(note.index)).max();
    let shown = Shown {
        of: of.unwrap_or(take.passes.len()).max(passes.len()),
        passes,
    };
    let weights = levels().map(|db| {
        if db < slight_db {
            weight::SLIGHT_RING
        } else {
            weight::RING
        }
    });
    Finding {
        size: loudest,
        weight: weights.sum(),
        sentence: format!(
            "{what} {place}, {loudest:.0} dB{slight}{times}{}{}",
            way(take, &group.rings),
            take.told(&shown)
        ),
        ..take.at(FindingKind::Bleed, group.under.first().copied(), shown)
    }
}

/// Where every ring follows the same way from string to string, that is the habit to mend.
fn way(take: &Take, rings: &[(usize, &Bleed)]) -> String {
    let name = |string: u8| {
        let open = take
            .settings
            .open_midi
            .get(usize::from(string).checked_sub(1)?);
        open.map(|&midi| pitch_class(f64::from(midi)))
    };
    let ways: BTreeSet<_> = rings
        .iter()
        .map(|(_, b)| {
            let next = b.during.first().and_then(|&index| take.expected_at(index));
            let to = next.and_then(|note| note.place).map(|place| place.string);
            (b.after.and(b.string), to)
        })
        .collect();
    match (ways.len(), ways.first()) {
        (1, Some(&(Some(from), Some(to)))) if from != to => match (name(from), name(to)) {
            (Some(from), Some(to)) => {
                let always = if rings.len() > 1 { "always " } else { "" };
                format!(", {always}after leaving the {from} string for the {to} string")
            }
            _ => String::new(),
        },
        _ => String::new(),
    }
}
