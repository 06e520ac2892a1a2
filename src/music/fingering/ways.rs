//! Several clearly different ways through one line.

use super::costs::Prices;
use super::grips::Grip;
use super::path::cheapest;
use super::wanted::Group;
use super::way::{Position, Way};
use crate::music::expected::Place;

/// Most ways that are offered. Common practice, no source: what a teacher would show.
pub const MOST_WAYS: usize = 3;

/// Share of the notes and chords with a choice of place that must lie elsewhere for a way to be
/// another one. Chosen. Raising it offers fewer and more different ways.
const DIFFERENT: f64 = 0.3;

/// Thousandths of an effort for each note that lies where it lies in a way that was found before;
/// tried in order until the way is clearly another. The last is more than any shift.
const SAME_AGAIN: [i64; 4] = [1_000, 3_000, 9_000, 27_000];

/// The cheapest way, then others that lie elsewhere, each the cheapest that avoids those before by
/// that price. At most [`MOST_WAYS`]; fewer where the line or the neck leaves no other.
pub(super) fn different_ways(
    groups: &[Group],
    positions: &[Position],
    prices: &Prices<'_>,
) -> Vec<Way> {
    let mut found: Vec<Vec<Option<Vec<Place>>>> = Vec::new();
    let first = cheapest(groups, prices, &|_, _| 0);
    found.push(
        first
            .grips
            .iter()
            .map(|grip| grip.as_ref().map(places))
            .collect(),
    );
    let mut ways = vec![Way::new(
        groups,
        positions,
        &first.grips,
        first.cost,
        prices,
    )];
    let choice = groups_with_choice(groups, prices);
    while ways.len() < MOST_WAYS {
        let another = SAME_AGAIN.iter().find_map(|&price| {
            let dearer = |at: usize, grip: &Grip| {
                let here = places(grip);
                let same = found.iter().filter(|way| way[at].as_ref() == Some(&here));
                price * same.count() as i64
            };
            let path = cheapest(groups, prices, &dearer);
            let laid: Vec<Option<Vec<Place>>> = path
                .grips
                .iter()
                .map(|grip| grip.as_ref().map(places))
                .collect();
            let other = found.iter().all(|way| {
                let moved = way.iter().zip(&laid).filter(|(a, b)| a != b).count();
                moved > 0 && moved as f64 >= DIFFERENT * choice as f64
            });
            let added: i64 = path
                .grips
                .iter()
                .enumerate()
                .filter_map(|(at, grip)| grip.as_ref().map(|grip| dearer(at, grip)))
                .sum();
            other.then(|| {
                (
                    laid,
                    Way::new(groups, positions, &path.grips, path.cost - added, prices),
                )
            })
        });
        let Some((laid, way)) = another else { break };
        found.push(laid);
        ways.push(way);
    }
    ways
}

fn places(grip: &Grip) -> Vec<Place> {
    grip.held.iter().map(|held| held.place).collect()
}

/// How many groups can lie in more than one place.
fn groups_with_choice(groups: &[Group], prices: &Prices<'_>) -> usize {
    groups
        .iter()
        .filter(|group| super::grips::chord_places(&group.notes, prices.instrument()).len() > 1)
        .count()
}
