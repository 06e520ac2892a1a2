//! The steps of YIN against a slow reference written from the paper's equations.
//!
//! Source: A. de Cheveigné and H. Kawahara (2002), *YIN, a fundamental frequency estimator for
//! speech and music*, J. Acoust. Soc. Am. 111, 1917-1930. The reference is checked on closed
//! forms itself: a ramp for equation 6, its ratio for equation 8, a parabola for step 5.

use std::f64::consts::TAU;

use seamline::hearing::dsp::yin;

/// Equation 6: the sum over `window` samples of (x_j - x_(j + tau))^2.
fn slow_difference(x: &[f64], window: usize, max_lag: usize) -> Vec<f64> {
    (0..=max_lag)
        .map(|tau| (0..window).map(|j| (x[j] - x[j + tau]).powi(2)).sum())
        .collect()
}

/// Equation 8: 1 at lag 0, else d(tau) over the mean of d(1) to d(tau).
fn slow_normalised(d: &[f64]) -> Vec<f64> {
    (0..d.len())
        .map(|tau| match tau {
            0 => 1.0,
            _ => d[tau] / (d[1..=tau].iter().sum::<f64>() / tau as f64),
        })
        .collect()
}

/// Step 4: the smallest lag that is a minimum deeper than the threshold, else the deepest.
fn slow_pick(d: &[f64], min_lag: usize, threshold: f64) -> usize {
    let is_dip = |t: usize| {
        d[t] < threshold && d[t] <= d[t - 1] && d.get(t + 1).is_none_or(|next| d[t] <= *next)
    };
    (min_lag..d.len()).find(|t| is_dip(*t)).unwrap_or_else(|| {
        (min_lag..d.len())
            .min_by(|a, b| d[*a].total_cmp(&d[*b]))
            .expect("lags")
    })
}

/// Step 5: the vertex of the parabola through three points, by Lagrange's form.
fn slow_vertex(y: [f64; 3]) -> (f64, f64) {
    let p = |t: f64| y[0] * t * (t - 1.0) / 2.0 + y[1] * (1.0 - t * t) + y[2] * t * (t + 1.0) / 2.0;
    let at = (y[0] - y[2]) / (2.0 * (y[0] - 2.0 * y[1] + y[2]));
    (at, p(at))
}

fn noise(n: usize, seed: u64) -> Vec<f64> {
    let mut state = seed | 1;
    (0..n)
        .map(|_| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / (1u64 << 30) as f64 - 1.0
        })
        .collect()
}

fn sine(n: usize, period: f64, amplitude: f64) -> Vec<f64> {
    (0..n)
        .map(|i| amplitude * (TAU * i as f64 / period + 0.3).sin())
        .collect()
}

fn sum(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(x, y)| x + y).collect()
}

/// What the product and the reference are both given: values that are exact in both precisions.
fn rounded(x: &[f64]) -> (Vec<f32>, Vec<f64>) {
    let single: Vec<f32> = x.iter().map(|v| *v as f32).collect();
    let double = single.iter().map(|v| f64::from(*v)).collect();
    (single, double)
}

fn signals(n: usize) -> Vec<(&'static str, Vec<f64>)> {
    let harmonics = (2..=8).fold(sine(n, 50.0, 0.5), |all, k| {
        sum(&all, &sine(n, 50.0 / f64::from(k), 0.4 / f64::from(k)))
    });
    vec![
        ("noise", noise(n, 1)),
        ("soft noise", noise(n, 2).iter().map(|v| v * 1e-4).collect()),
        ("sine", sine(n, 41.7, 0.8)),
        ("two sines", sum(&sine(n, 33.3, 0.5), &sine(n, 47.1, 0.4))),
        ("harmonics", harmonics.clone()),
        ("harmonics in noise", {
            let hiss: Vec<f64> = noise(n, 3).iter().map(|v| v * 0.05).collect();
            sum(&harmonics, &hiss)
        }),
    ]
}

/// Closed form: on the ramp x_j = j every difference is tau, so d(tau) = W tau^2, and d'(tau) is
/// tau^3 over the sum of the squares up to tau, tau (tau + 1) (2 tau + 1) / 6.
#[test]
fn the_reference_is_right_on_a_ramp() {
    let ramp: Vec<f64> = (0..60).map(f64::from).collect();
    let d = slow_difference(&ramp, 20, 30);
    let normalised = slow_normalised(&d);
    for tau in 1..=30 {
        let t = tau as f64;
        assert_eq!(d[tau], 20.0 * t * t);
        let wanted = 6.0 * t * t / ((t + 1.0) * (2.0 * t + 1.0));
        assert!((normalised[tau] - wanted).abs() < 1e-12);
    }
    // 3 (t - 0.2)^2 + 1 at -1, 0 and 1.
    let (at, low) = slow_vertex([5.32, 1.12, 2.92]);
    assert!((at - 0.2).abs() < 1e-12 && (low - 1.0).abs() < 1e-12);
}

/// Oracle. Tolerance: the product adds in single precision; eight lanes of up to a hundred terms
/// lose some ten units in the last place (6e-8 each) of the two energies.
#[test]
fn differences_agree_with_equation_6() {
    for (window, max_lag) in [(1, 1), (2, 30), (7, 9), (64, 200), (333, 170), (700, 200)] {
        for (name, x) in signals(window + max_lag) {
            let (single, double) = rounded(&x);
            let mut got = Vec::new();
            yin::difference(&single, window, max_lag, &mut got);
            let wanted = slow_difference(&double, window, max_lag);
            assert_eq!(got.len(), wanted.len(), "{name}");
            for (tau, (g, w)) in got.iter().zip(&wanted).enumerate() {
                let energy: f64 = (0..window)
                    .map(|j| double[j].powi(2) + double[j + tau].powi(2))
                    .sum();
                assert!(
                    (f64::from(*g) - w).abs() <= 1e-6 * energy + 1e-30,
                    "{name}, W {window}, lag {tau}: {g} for {w}, energy {energy}"
                );
            }
        }
    }
}

/// Oracle. Tolerance: the error of the differences above over the mean difference up to the lag.
#[test]
fn normalised_differences_agree_with_equation_8() {
    for (window, max_lag) in [(64, 200), (333, 170), (700, 200)] {
        for (name, x) in signals(window + max_lag) {
            let (single, double) = rounded(&x);
            let mut got = Vec::new();
            yin::difference(&single, window, max_lag, &mut got);
            yin::normalise(&mut got);
            let d = slow_difference(&double, window, max_lag);
            let wanted = slow_normalised(&d);
            let energy: f64 = 2.0 * double.iter().map(|v| v * v).sum::<f64>();
            for (tau, (g, w)) in got.iter().zip(&wanted).enumerate() {
                let mean = d[1..=tau.max(1)].iter().sum::<f64>() / tau.max(1) as f64;
                let allowed = 1e-6 * energy * (1.0 + w) / mean + 1e-6;
                assert!(
                    (f64::from(*g) - w).abs() <= allowed,
                    "{name}, W {window}, lag {tau}: {g} for {w}, allowed {allowed:e}"
                );
            }
        }
    }
}

/// Oracle: over noise there are many dips, so the order of search matters.
#[test]
fn picks_agree_with_step_4() {
    for (name, x) in signals(900) {
        let (single, _) = rounded(&x);
        let mut d = Vec::new();
        yin::difference(&single, 700, 200, &mut d);
        yin::normalise(&mut d);
        let double: Vec<f64> = d.iter().map(|v| f64::from(*v)).collect();
        for threshold in [0.001f32, 0.05, 0.1, 0.3, 0.8, 0.95, 1.05] {
            for min_lag in [1, 2, 10, 40] {
                let got = yin::pick(&d, min_lag, threshold);
                // Where the search begins on a slope below the threshold there is no dip on
                // which the paper has an opinion.
                if double[min_lag] < f64::from(threshold) {
                    continue;
                }
                let wanted = slow_pick(&double, min_lag, f64::from(threshold));
                assert_eq!(
                    got,
                    Some(wanted),
                    "{name}, from lag {min_lag}, threshold {threshold}"
                );
            }
        }
    }
}

/// Worked by hand: two dips, 0.12 at lag 4 and 0.05 at lag 8.
#[test]
fn the_threshold_decides_between_a_dip_and_the_deepest() {
    let d = [1.0, 1.2, 0.9, 0.4, 0.12, 0.5, 0.9, 0.3, 0.05, 0.4, 0.8];
    assert_eq!(
        yin::pick(&d, 1, 0.2),
        Some(4),
        "the first below the threshold"
    );
    assert_eq!(
        yin::pick(&d, 1, 0.1),
        Some(8),
        "the first is not deep enough"
    );
    assert_eq!(
        yin::pick(&d, 1, 0.01),
        Some(8),
        "none is deep enough: the deepest"
    );
    assert_eq!(yin::pick(&d, 5, 0.2), Some(8), "beyond the first");
    assert_eq!(
        yin::pick(&d, 1, 0.12),
        Some(8),
        "a value on the threshold is not below"
    );
    assert_eq!(yin::pick(&d, 11, 0.2), None, "no lag is left");
    assert_eq!(yin::pick(&[], 1, 0.2), None);
}

/// Oracle, and what holds at the ends: there the lag stays as it is.
#[test]
fn parabolas_agree_with_step_5() {
    for y in [
        [0.5, 0.1, 0.4],
        [0.3, 0.1, 0.9],
        [0.2, 0.19, 0.6],
        [1.0, 0.0, 1.0],
    ] {
        let d: Vec<f32> = [0.9, y[0], y[1], y[2], 0.9].map(|v| v as f32).to_vec();
        let (lag, value) = yin::interpolate(&d, 2);
        let (at, low) = slow_vertex(y);
        assert!((lag - 2.0 - at).abs() < 1e-6, "{y:?}: {lag}");
        assert!((value - low).abs() < 1e-6, "{y:?}: {value}");
    }
    let d = [0.5, 0.2, 0.3];
    assert_eq!(yin::interpolate(&d, 0), (0.0, 0.5));
    assert_eq!(yin::interpolate(&d, 2), (2.0, f64::from(0.3f32)));
    assert_eq!(yin::interpolate(&[0.4, 0.4, 0.4], 1).0, 1.0, "a level run");
}

/// Closed form: the period of a sine and of a sum of its harmonics. On the plain difference the
/// parabola may be off the cosine it stands for by a hundredth of a sample. The normalised one
/// grows by 1 / tau from lag to lag around its dip, which draws the vertex to shorter lags; on a
/// sine, by hand, by 0.04 samples at most (the paper, from memory, therefore takes the vertex of
/// the plain difference).
#[test]
fn periods_of_sines_are_found() {
    for period in [10.3, 17.0, 25.5, 41.2, 99.9, 178.6] {
        let n = 4 * period as usize + 400;
        let single = sine(n, period, 0.7);
        let rich = (2..=4).fold(single.clone(), |all, k| {
            sum(&all, &sine(n, period / f64::from(k), 0.2))
        });
        // Harmonic 4 of the shortest period has 2.6 samples a period, where a parabola means little.
        let signals = [("one", single, 0.01), ("four", rich, 0.06)];
        for (name, x, off_plain) in signals {
            let (single, _) = rounded(&x);
            let max_lag = (2.5 * period) as usize;
            let mut plain = Vec::new();
            yin::difference(&single, n - max_lag, max_lag, &mut plain);
            let mut d = plain.clone();
            yin::normalise(&mut d);
            let lag = yin::pick(&d, 2, 0.2).expect("a lag");
            let (found, _) = yin::interpolate(&plain, lag);
            let off = (found - period).abs();
            assert!(off < off_plain, "{name}, {period}: {found}");
            let (found, depth) = yin::interpolate(&d, lag);
            let off = (found - period).abs();
            assert!(off < off_plain + 0.04, "{name}, {period}: {found}");
            assert!(depth < 0.05, "{name}, {period}: depth {depth}");
        }
    }
}

/// What is missing shortens the lags, and nothing is looked at that is not there.
#[test]
fn short_inputs_give_few_lags_or_none() {
    let x: Vec<f32> = noise(20, 5).iter().map(|v| *v as f32).collect();
    let mut d = vec![9.0; 4];
    for (window, max_lag, lags) in [
        (0, 10, 0),
        (21, 10, 0),
        (20, 10, 1),
        (15, 10, 6),
        (10, 10, 11),
        (10, 50, 11),
    ] {
        yin::difference(&x, window, max_lag, &mut d);
        assert_eq!(d.len(), lags, "W {window}, lags up to {max_lag}");
        yin::normalise(&mut d);
        assert!(d.iter().all(|v| v.is_finite()));
    }
    yin::difference(&[], 10, 10, &mut d);
    assert!(d.is_empty());
    yin::normalise(&mut d);
}

/// Digital silence has no period: equation 8 would divide by zero, 1 (no periodicity) is said.
#[test]
fn silence_has_no_period() {
    let mut d = Vec::new();
    yin::difference(&[0.0; 300], 200, 100, &mut d);
    yin::normalise(&mut d);
    assert!(d.iter().all(|v| *v == 1.0), "{d:?}");
}
