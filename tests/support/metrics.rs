//! Measures of how well heard notes agree with true ones, for tests.
//!
//! # Source
//! Raffel, McFee, Humphrey, Salamon, Nieto, Liang & Ellis (2014), ISMIR, "mir_eval": the
//! definitions of its `transcription` and `onset` modules, version 0.8.2. Matching is one-to-one
//! and as large as possible, found with augmenting paths (Kuhn 1955, Naval Research Logistics
//! Quarterly 2, 83-97; Hopcroft & Karp 1973, SIAM J. Computing 2, 225-231, bound the time lower,
//! which notes that only match their neighbours do not need).

#![allow(dead_code, reason = "each test file uses its own part")]

/// A note with its start, end and frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimedNote {
    /// Start in seconds.
    pub onset_s: f64,
    /// End in seconds.
    pub offset_s: f64,
    /// Frequency in hertz, above 0.
    pub hertz: f64,
}

/// How far two notes may differ and still be one; all limits belong to the allowed range.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Between the onsets, in seconds.
    pub onset_s: f64,
    /// Between the pitches, in cents.
    pub pitch_cents: f64,
    /// Between the ends, as a share of the true note's length; `None` when ends do not matter.
    pub offset_share: Option<f64>,
    /// Least tolerance between the ends, in seconds.
    pub offset_min_s: f64,
}

impl Default for Tolerance {
    fn default() -> Self {
        Self {
            onset_s: 0.05,
            pitch_cents: 50.0,
            offset_share: Some(0.2),
            offset_min_s: 0.05,
        }
    }
}

/// Precision, recall and their harmonic mean, each from 0 to 1; all 0 when either side is empty.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Agreed {
    /// Matches among what was heard.
    pub precision: f64,
    /// Matches among what is true.
    pub recall: f64,
    /// Harmonic mean of both.
    pub f1: f64,
}

/// Distances in time are rounded to a tenth of a millisecond before they are compared, so that
/// binary fractions do not throw out a distance of exactly the tolerance.
fn rounded(seconds: f64) -> f64 {
    (seconds.abs() * 1e4).round_ties_even() / 1e4
}

/// Matches true with heard notes one-to-one: pairs of indices, ordered by the true one.
///
/// Input: any order; notes with figures that are no numbers match nothing.
pub fn match_notes(
    truth: &[TimedNote],
    heard: &[TimedNote],
    tolerance: &Tolerance,
) -> Vec<(usize, usize)> {
    let near = |a: &TimedNote, b: &TimedNote| {
        let ends_agree = tolerance.offset_share.is_none_or(|share| {
            let allowed = (share * (a.offset_s - a.onset_s).abs()).max(tolerance.offset_min_s);
            rounded(a.offset_s - b.offset_s) <= allowed
        });
        rounded(a.onset_s - b.onset_s) <= tolerance.onset_s
            && (1200.0 * (a.hertz.log2() - b.hertz.log2())).abs() <= tolerance.pitch_cents
            && ends_agree
    };
    let candidates: Vec<Vec<usize>> = truth
        .iter()
        .map(|a| (0..heard.len()).filter(|&k| near(a, &heard[k])).collect())
        .collect();
    largest_matching(&candidates, heard.len())
}

/// Matches true with heard onsets one-to-one, as [`match_notes`] does.
///
/// Distances are not rounded here, as in the source.
pub fn match_onsets(truth_s: &[f64], heard_s: &[f64], window_s: f64) -> Vec<(usize, usize)> {
    let candidates: Vec<Vec<usize>> = truth_s
        .iter()
        .map(|&a| {
            let near = |&k: &usize| heard_s[k] - window_s <= a && a <= heard_s[k] + window_s;
            (0..heard_s.len()).filter(near).collect()
        })
        .collect();
    largest_matching(&candidates, heard_s.len())
}

/// Precision, recall and F1 of `matches` pairs among `truth` true and `heard` heard things.
pub fn agreed(matches: usize, truth: usize, heard: usize) -> Agreed {
    if matches == 0 || truth == 0 || heard == 0 {
        return Agreed::default();
    }
    let (precision, recall) = (matches as f64 / heard as f64, matches as f64 / truth as f64);
    Agreed {
        precision,
        recall,
        f1: 2.0 * precision * recall / (precision + recall),
    }
}

/// Mean share of overlap of matched notes: common time over the time that either lasts. 0 without
/// matches.
pub fn mean_overlap(truth: &[TimedNote], heard: &[TimedNote], matches: &[(usize, usize)]) -> f64 {
    let ratios: Vec<f64> = matches
        .iter()
        .filter_map(|&(a, b)| {
            let (a, b) = (truth.get(a)?, heard.get(b)?);
            let common = a.offset_s.min(b.offset_s) - a.onset_s.max(b.onset_s);
            Some(common / (a.offset_s.max(b.offset_s) - a.onset_s.min(b.onset_s)))
        })
        .collect();
    if ratios.is_empty() {
        0.0
    } else {
        ratios.iter().sum::<f64>() / ratios.len() as f64
    }
}

/// A largest one-to-one matching of a bipartite graph given by each left node's candidates.
fn largest_matching(candidates: &[Vec<usize>], right_count: usize) -> Vec<(usize, usize)> {
    let mut owner: Vec<Option<usize>> = vec![None; right_count];
    let mut came_from: Vec<Option<usize>> = vec![None; right_count];
    for start in 0..candidates.len() {
        came_from.fill(None);
        let mut queue = vec![start];
        let mut free = None;
        let mut head = 0;
        'search: while head < queue.len() {
            let left = queue[head];
            head += 1;
            for &right in &candidates[left] {
                if came_from[right].is_none() {
                    came_from[right] = Some(left);
                    match owner[right] {
                        None => {
                            free = Some(right);
                            break 'search;
                        }
                        Some(next) => queue.push(next),
                    }
                }
            }
        }
        // Along the path found, every left node takes the right node that led on.
        while let Some(right) = free {
            let Some(left) = came_from[right] else { break };
            let given_up = owner.iter().position(|&o| o == Some(left));
            owner[right] = Some(left);
            free = if left == start { None } else { given_up };
        }
    }
    let mut pairs: Vec<(usize, usize)> = owner
        .iter()
        .enumerate()
        .filter_map(|(right, left)| Some(((*left)?, right)))
        .collect();
    pairs.sort_unstable();
    pairs
}
