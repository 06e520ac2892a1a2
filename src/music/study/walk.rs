//! The order in which the tones of a chord or scale are played.

use super::ladder::{Ladder, Span};
use super::{Direction, Octaves, Settings, StudyError};
use crate::music::theory::Degree;

/// Where the chord before ended, and which way it went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Linked {
    last: u8,
    upwards: bool,
}

/// The notes of one chord or scale by itself.
pub(super) fn alone(ladder: &Ladder<'_>, settings: &Settings) -> Result<Vec<u8>, StudyError> {
    let span = ladder.span()?;
    let mut down = span.down;
    down.reverse();
    let group = settings.sequence;
    let up = grouped(&span.up, group, ladder)?;
    let down = grouped(&down, group, ladder)?;
    Ok(match settings.direction {
        Direction::Up => up,
        Direction::Down => down,
        Direction::UpDown => turned(up, &down, group),
        Direction::DownUp => turned(down, &up, group),
    })
}

/// One way and back. The turning note is played once, but begins a group of its own in sequences.
fn turned(mut there: Vec<u8>, back: &[u8], group: Option<u8>) -> Vec<u8> {
    there.extend(back.iter().skip(usize::from(group.is_none())));
    there
}

/// Groups of that many notes, each begun one tone further; the notes as they are without groups.
fn grouped(notes: &[u8], group: Option<u8>, ladder: &Ladder<'_>) -> Result<Vec<u8>, StudyError> {
    let Some(sequence) = group else {
        return Ok(notes.to_vec());
    };
    let size = usize::from(sequence.max(1));
    if notes.len() < size {
        return Err(StudyError::TooFewForSequence {
            chord: ladder.name(),
            found: notes.len(),
            sequence,
        });
    }
    Ok(notes.windows(size).flatten().copied().collect())
}

/// The notes of a chord or scale that goes on from the one before: it begins on its tone nearest to
/// the last note (of two, on the one in the way of the hand), and goes the other way, or on in the
/// same where the neck ends; where it ends both ways, as far as it can. The first goes the way that
/// was asked for.
pub(super) fn link(
    ladder: &Ladder<'_>,
    settings: &Settings,
    before: Option<Linked>,
) -> Result<(Vec<u8>, Linked), StudyError> {
    let (notes, upwards) = match before {
        None => {
            let upwards = matches!(settings.direction, Direction::Up | Direction::UpDown);
            let Span { up, mut down } = ladder.span()?;
            down.reverse();
            (if upwards { up } else { down }, upwards)
        }
        Some(before) => onwards(ladder, before)?,
    };
    let notes = grouped(&notes, settings.sequence, ladder)?;
    let last = notes.last().copied().unwrap_or_default();
    Ok((notes, Linked { last, upwards }))
}

fn onwards(ladder: &Ladder<'_>, before: Linked) -> Result<(Vec<u8>, bool), StudyError> {
    let reach = match ladder.octaves() {
        Octaves::One => 12,
        Octaves::Two => 24,
        Octaves::Neck => u8::MAX,
    };
    let span = ladder.whole_neck();
    let width = |notes: &[u8]| match (notes.first(), notes.last()) {
        (Some(first), Some(last)) => first.abs_diff(*last),
        _ => 0,
    };
    let back = one_way(&span, before, !before.upwards, reach);
    if width(&back) == reach {
        return Ok((back, !before.upwards));
    }
    let on = one_way(&span, before, before.upwards, reach);
    let (notes, upwards) = if width(&on) > width(&back) {
        (on, before.upwards)
    } else {
        (back, !before.upwards)
    };
    if width(&notes) < 12 {
        return Err(ladder.off_the_neck(Degree::ROOT));
    }
    Ok((notes, upwards))
}

/// The notes one way from the tone nearest to the last one, over at most `reach` semitones.
fn one_way(span: &Span, before: Linked, upwards: bool, reach: u8) -> Vec<u8> {
    let tones = if upwards { &span.up } else { &span.down };
    let away = |midi: u8| {
        let against = (midi > before.last) != before.upwards;
        (midi.abs_diff(before.last), against)
    };
    let Some(start) = (0..tones.len()).min_by_key(|&at| away(tones[at])) else {
        return Vec::new();
    };
    let near = |midi: &u8| midi.abs_diff(tones[start]) <= reach;
    if upwards {
        tones[start..].iter().copied().filter(near).collect()
    } else {
        tones[..=start].iter().rev().copied().filter(near).collect()
    }
}
