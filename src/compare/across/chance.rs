//! How likely differences are by chance alone: of counts, and of many tests together.

use statrs::distribution::{Binomial, Discrete, Hypergeometric};

/// The share of what is told as changed that may be noise, on average.
pub const FALSE_SHARE: f64 = 0.05;

/// Two tables are as likely as each other within this, relatively: what is equal must not differ by rounding.
const SAME: f64 = 1e-7;

/// How often something happened, of how many times that it could.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Share {
    /// Times it happened.
    pub of: usize,
    /// Times it could.
    pub all: usize,
}

/// How likely a table as unlikely as this one or less is, where both shares are the same one: two-sided.
///
/// # Source
/// Fisher's exact test (Fisher 1935, J. R. Stat. Soc. 98, 39-82), two-sided by summing all tables that are no
/// likelier than the one at hand.
pub fn fisher(before: Share, after: Share) -> f64 {
    let (all, happened) = (before.all + after.all, before.of + after.of);
    let Ok(chance) = Hypergeometric::new(all as u64, happened as u64, after.all as u64) else {
        return 1.0; // More than all happened: no such table.
    };
    let least = happened.saturating_sub(before.all);
    let most = happened.min(after.all);
    no_likelier(|count| chance.pmf(count), (least, most), after.of)
}

/// The same of a number of events without a limit, in lengths of play whose ratio is that of `notes`: given how many
/// there are in all, those after are binomial.
///
/// # Source
/// Przyborowski & Wilenski (1940), Biometrika 31, 313-323.
pub fn conditional(before: (usize, usize), after: (usize, usize)) -> f64 {
    let all = before.0 + after.0;
    let share = after.1 as f64 / (before.1 + after.1).max(1) as f64;
    let Ok(chance) = Binomial::new(share, all as u64) else {
        return 1.0; // A share is never outside of 0 to 1.
    };
    no_likelier(|count| chance.pmf(count), (0, all), after.0)
}

fn no_likelier(pmf: impl Fn(u64) -> f64, (least, most): (usize, usize), seen: usize) -> f64 {
    let limit = pmf(seen as u64) * (1.0 + SAME);
    let masses = (least..=most).map(|count| pmf(count as u64));
    masses.filter(|mass| *mass <= limit).sum::<f64>().min(1.0)
}

/// For each p the least share of false ones among all that are told with it: told at 0.05 are those with 0.05 and
/// less, and at most that share of them is false on average.
///
/// # Source
/// Benjamini & Hochberg (1995), J. R. Stat. Soc. B 57, 289-300, as adjusted p values.
pub fn adjusted(p: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p.len()).collect();
    order.sort_by(|&a, &b| p[a].total_cmp(&p[b]));
    let mut adjusted = vec![1.0; p.len()];
    let mut least: f64 = 1.0;
    for (rank, &at) in order.iter().enumerate().rev() {
        least = least.min(p[at] * p.len() as f64 / (rank + 1) as f64);
        adjusted[at] = least;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published: the worked example of Benjamini & Hochberg (1995), section 4: of these fifteen the procedure rejects
    /// the four smallest at 0.05, where Bonferroni's rejects three.
    #[test]
    fn the_papers_worked_example() {
        let p = [
            0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
            0.5719, 0.6528, 0.7590, 1.0000,
        ];
        let told = |q: &[f64]| q.iter().filter(|q| **q <= FALSE_SHARE).count();
        let mut q = adjusted(&p);
        assert_eq!(told(&q), 4);
        assert!(q[3] <= FALSE_SHARE && q[4] > FALSE_SHARE);
        // Closed form: the fourth is 0.0095 times 15 / 4.
        assert!((q[3] - 0.0095 * 15.0 / 4.0).abs() < 1e-12);
        // In any order.
        let mut turned = p;
        turned.reverse();
        q.reverse();
        assert_eq!(adjusted(&turned), q);
        assert_eq!(p.iter().filter(|p| **p * 15.0 <= FALSE_SHARE).count(), 3);
        assert!(adjusted(&[]).is_empty());
    }

    /// Published: Fisher's lady tasting tea (The Design of Experiments, 1935): eight cups, four of each, all told
    /// right: 1 in 70 to one side, so 2 in 70 to both; three of four right: 34 in 70.
    #[test]
    fn the_lady_tasting_tea() {
        let share = |of, all| Share { of, all };
        assert!((fisher(share(4, 4), share(0, 4)) - 2.0 / 70.0).abs() < 1e-9);
        assert!((fisher(share(3, 4), share(1, 4)) - 34.0 / 70.0).abs() < 1e-9);
        assert!((fisher(share(2, 4), share(2, 4)) - 1.0).abs() < 1e-9);
        assert_eq!(fisher(share(0, 0), share(0, 0)), 1.0);
        assert_eq!(fisher(share(0, 5), share(0, 9)), 1.0);
    }

    /// Closed form: ten events, all before, in equal lengths: twice 1 in 1024.
    #[test]
    fn events_without_a_limit() {
        assert!((conditional((10, 40), (0, 40)) - 2.0 / 1024.0).abs() < 1e-12);
        assert_eq!(conditional((0, 40), (0, 40)), 1.0);
        // Three times the length holds three times as many by chance.
        assert!(conditional((5, 10), (15, 30)) > 0.99);
    }
}
