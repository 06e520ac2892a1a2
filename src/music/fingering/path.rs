//! The cheapest way through all ways to hold all groups.
//!
//! Dynamic programming over states of a grip (strings, frets, fingers, hand) and of the movement
//! that led to it, which makes the search second order: what two movements in a row cost is known
//! without pairs of grips. The way found is the cheapest of all for these prices; among equal ones
//! that with the fewest shifts, then that with the hand lower on the neck, then the first in the
//! fixed order of the grips. Tests hold it against every way tried out.
//!
//! # Source
//! Sayegh 1989, *Computer Music Journal* 13(3), 76.

use super::costs::{Between, Move, Prices};
use super::grips::{Grip, grips};
use super::wanted::Group;

/// Groups after which it is looked whether the beginning is decided and can be let go. Raising it
/// takes more memory and looks more seldom.
const LOOK_EVERY: usize = 256;

/// Most groups that are kept undecided, about 1.5 kB each. Ways that differ over as many notes are
/// decided by what is cheapest so far; nothing shorter is touched by it.
const MAX_UNDECIDED: usize = 16_384;

/// A sum to be as small as possible: the cost in thousandths, then shifts, then heights.
pub(super) type Total = i128;

/// No way leads here. Far above any sum: costs stay below 2^50.
const NO_WAY: Total = Total::MAX / 4;

/// The cost part of a sum.
pub(super) fn weighed(cost: i64) -> Total {
    Total::from(cost) << 64
}

/// What settles equal costs: a shift, and the hand's fret.
pub(super) fn settled(shift: bool, hand: u8) -> Total {
    (Total::from(shift) << 32) | Total::from(hand)
}

/// The cost within a sum.
pub(super) fn cost_of(total: Total) -> i64 {
    i64::try_from(total >> 64).unwrap_or(i64::MAX)
}

/// Where a state came from.
#[derive(Clone, Copy)]
struct Back {
    grip: u16,
    way: u8,
}

struct Stage {
    group: usize,
    grips: Vec<Grip>,
    back: Vec<[Back; Move::COUNT]>,
}

/// The cheapest way and its cost in thousandths.
pub(super) struct Path {
    /// The grip of each group; `None` where it cannot be played.
    pub grips: Vec<Option<Grip>>,
    /// Everything together, `dearer` included.
    pub cost: i64,
}

/// The cheapest way through `groups`; `dearer` is added to each grip of each group.
pub(super) fn cheapest(
    groups: &[Group],
    prices: &Prices<'_>,
    dearer: &dyn Fn(usize, &Grip) -> i64,
) -> Path {
    let mut search = Search {
        stages: Vec::new(),
        sums: Vec::new(),
        decided: vec![None; groups.len()],
    };
    let mut last: Option<usize> = None;
    for (at, group) in groups.iter().enumerate() {
        let hands = search.hands();
        let list = grips(group, prices, &hands);
        if list.is_empty() {
            continue;
        }
        let own: Vec<Total> = list
            .iter()
            .map(|grip| weighed(grip.own + dearer(at, grip)) + settled(false, height(grip)))
            .collect();
        match last {
            None => search.begin(at, list, &own),
            Some(before) => {
                let between = Between::new(&groups[before], group);
                search.go_on(at, list, &own, between, prices);
            }
        }
        last = Some(at);
        if search.stages.len().is_multiple_of(LOOK_EVERY) {
            search.let_go();
        }
    }
    search.end()
}

/// The hand's fret where it is needed.
fn height(grip: &Grip) -> u8 {
    if grip.needs_hand { grip.hand } else { 0 }
}

struct Search {
    stages: Vec<Stage>,
    /// For each grip of the last stage and each movement that led to it.
    sums: Vec<[Total; Move::COUNT]>,
    decided: Vec<Option<Grip>>,
}

impl Search {
    /// Where the hand may be now; nowhere (0) at the start.
    fn hands(&self) -> Vec<u8> {
        let Some(stage) = self.stages.last() else {
            return vec![0];
        };
        let mut hands: Vec<u8> = stage.grips.iter().map(|grip| grip.hand).collect();
        hands.sort_unstable();
        hands.dedup();
        hands
    }

    fn begin(&mut self, group: usize, grips: Vec<Grip>, own: &[Total]) {
        self.sums = own
            .iter()
            .map(|&sum| {
                let mut sums = [NO_WAY; Move::COUNT];
                sums[Move::Still as usize] = sum;
                sums
            })
            .collect();
        let nowhere = Back { grip: 0, way: 0 };
        let back = vec![[nowhere; Move::COUNT]; grips.len()];
        self.stages.push(Stage { group, grips, back });
    }

    fn go_on(
        &mut self,
        group: usize,
        grips: Vec<Grip>,
        own: &[Total],
        between: Between,
        prices: &Prices<'_>,
    ) {
        let leading = self.leading(between, prices);
        let before = &self.stages[self.stages.len() - 1].grips;
        let mut sums = vec![[NO_WAY; Move::COUNT]; grips.len()];
        let mut back = vec![[Back { grip: 0, way: 0 }; Move::COUNT]; grips.len()];
        for (to, grip) in grips.iter().enumerate() {
            for (from, previous) in before.iter().enumerate() {
                let Some(cost) = prices.join(previous, grip, between) else {
                    continue;
                };
                let way = Move::between(previous.hand, grip.hand);
                let (so_far, came) = leading[from][way as usize];
                let sum = so_far + weighed(cost) + settled(way != Move::Still, 0);
                if sum < sums[to][way as usize] {
                    sums[to][way as usize] = sum;
                    back[to][way as usize] = Back {
                        grip: from as u16,
                        way: came,
                    };
                }
            }
            for sum in &mut sums[to] {
                if *sum < NO_WAY {
                    *sum += own[to];
                }
            }
        }
        self.sums = sums;
        self.stages.push(Stage { group, grips, back });
    }

    /// For each grip of the last stage and each movement that might follow: the least sum, and the
    /// movement that led to the grip in it.
    fn leading(&self, between: Between, prices: &Prices<'_>) -> Vec<[(Total, u8); Move::COUNT]> {
        let mut in_a_row = [[0; Move::COUNT]; Move::COUNT];
        for first in Move::ALL {
            for second in Move::ALL {
                in_a_row[first as usize][second as usize] =
                    weighed(prices.in_a_row(first, second, between));
            }
        }
        let one = |sums: &[Total; Move::COUNT]| {
            let mut best = [(NO_WAY, 0_u8); Move::COUNT];
            for (second, best) in best.iter_mut().enumerate() {
                for (first, &sum) in sums.iter().enumerate() {
                    if sum < NO_WAY && sum + in_a_row[first][second] < best.0 {
                        *best = (sum + in_a_row[first][second], first as u8);
                    }
                }
            }
            best
        };
        self.sums.iter().map(one).collect()
    }

    /// The state of the last stage with the least sum.
    fn least(&self) -> Option<(Total, Back)> {
        let mut least: Option<(Total, Back)> = None;
        for (grip, sums) in self.sums.iter().enumerate() {
            for (way, &sum) in sums.iter().enumerate() {
                if sum < NO_WAY && least.is_none_or(|(other, _)| sum < other) {
                    let state = Back {
                        grip: grip as u16,
                        way: way as u8,
                    };
                    least = Some((sum, state));
                }
            }
        }
        least
    }

    /// Writes down the way that ends in `state` of stage `last`.
    fn decide(&mut self, last: usize, state: Back) {
        let mut state = state;
        for stage in self.stages[..=last].iter().rev() {
            let grip = usize::from(state.grip);
            self.decided[stage.group] = Some(stage.grips[grip].clone());
            state = stage.back[grip][usize::from(state.way)];
        }
    }

    /// Decides the stages that every way has in common, and lets them go.
    fn let_go(&mut self) {
        let last = self.stages.len() - 1;
        let mut living: Vec<Back> = Vec::new();
        for (grip, sums) in self.sums.iter().enumerate() {
            for (way, &sum) in sums.iter().enumerate() {
                if sum < NO_WAY {
                    living.push(Back {
                        grip: grip as u16,
                        way: way as u8,
                    });
                }
            }
        }
        for at in (1..=last).rev() {
            let stage = &self.stages[at];
            living = living
                .iter()
                .map(|state| stage.back[usize::from(state.grip)][usize::from(state.way)])
                .collect();
            living.sort_unstable_by_key(|state| (state.grip, state.way));
            living.dedup_by_key(|state| (state.grip, state.way));
            if let [only] = living[..] {
                self.decide(at - 1, only);
                self.stages.drain(..at);
                return;
            }
        }
        if self.stages.len() >= MAX_UNDECIDED
            && let Some((_, state)) = self.least()
        {
            self.decide(last, state);
            // What lies behind stays as it was decided; the last stage goes on from one state.
            let kept = self.sums[usize::from(state.grip)][usize::from(state.way)];
            self.sums.fill([NO_WAY; Move::COUNT]);
            self.sums[usize::from(state.grip)][usize::from(state.way)] = kept;
            self.stages.drain(..last);
        }
    }

    fn end(mut self) -> Path {
        let mut cost = 0;
        if let Some((sum, state)) = self.least() {
            cost = cost_of(sum);
            self.decide(self.stages.len() - 1, state);
        }
        Path {
            grips: self.decided,
            cost,
        }
    }
}
