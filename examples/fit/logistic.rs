//! Logistic regression by Newton's method with a ridge.
//!
//! D. R. Cox (1958), *The regression analysis of binary sequences*, J. R. Statist. Soc. B 20,
//! 215-242 (from memory).

use seamline::hearing::beside::FEATURES;

use super::takes::Row;

/// Weight of the squared weights of standardised features, in nats: raised, it trusts each less.
const RIDGE: f64 = 2.0;
/// Steps of Newton's method; it settles after eight.
const STEPS: usize = 25;
/// The weights and the constant behind them.
const N: usize = FEATURES + 1;

/// A fitted model.
pub struct Model {
    /// In nats per unit of the feature.
    pub weights: [f64; FEATURES],
    /// In nats.
    pub constant: f64,
}

/// What it costs to have said `nats`, in nats.
pub fn loss(is_pluck: bool, nats: f64) -> f64 {
    let signed = if is_pluck { -nats } else { nats };
    if signed > 30.0 {
        signed
    } else {
        signed.exp().ln_1p()
    }
}

impl Model {
    /// Fits to rows.
    pub fn fit(rows: &[&Row]) -> Self {
        let count = rows.len().max(1) as f64;
        let mut mean = [0.0; FEATURES];
        let mut sd = [0.0; FEATURES];
        for k in 0..FEATURES {
            mean[k] = rows.iter().map(|row| row.features[k]).sum::<f64>() / count;
            let var = rows
                .iter()
                .map(|row| (row.features[k] - mean[k]).powi(2))
                .sum::<f64>();
            sd[k] = (var / count).sqrt().max(1e-9);
        }
        let standard = |row: &Row| -> [f64; N] {
            std::array::from_fn(|k| match k {
                FEATURES => 1.0,
                k => (row.features[k] - mean[k]) / sd[k],
            })
        };
        let mut at = [0.0; N];
        for _ in 0..STEPS {
            let mut gradient = [0.0; N];
            let mut curve = [[0.0; N]; N];
            for k in 0..FEATURES {
                gradient[k] = RIDGE * at[k];
                curve[k][k] = RIDGE;
            }
            for row in rows {
                let x = standard(row);
                let nats: f64 = x.iter().zip(at).map(|(x, w)| x * w).sum();
                let p = 1.0 / (1.0 + (-nats).exp());
                let off = p - f64::from(u8::from(row.is_pluck));
                let steep = (p * (1.0 - p)).max(1e-9);
                for i in 0..N {
                    gradient[i] += off * x[i];
                    for j in 0..N {
                        curve[i][j] += steep * x[i] * x[j];
                    }
                }
            }
            let step = solve(curve, gradient);
            for k in 0..N {
                at[k] -= step[k];
            }
        }
        let weights: [f64; FEATURES] = std::array::from_fn(|k| at[k] / sd[k]);
        let moved: f64 = weights.iter().zip(mean).map(|(w, m)| w * m).sum();
        Self {
            weights,
            constant: at[FEATURES] - moved,
        }
    }

    /// How sure the model is of a pluck, in nats.
    pub fn nats(&self, features: &[f64; FEATURES]) -> f64 {
        let sum: f64 = features.iter().zip(self.weights).map(|(x, w)| x * w).sum();
        sum + self.constant
    }

    /// Mean loss over rows, in nats.
    pub fn loss(&self, rows: &[&Row]) -> f64 {
        let sum: f64 = rows
            .iter()
            .map(|row| loss(row.is_pluck, self.nats(&row.features)))
            .sum();
        sum / rows.len().max(1) as f64
    }
}

/// Solves a positive definite system by elimination.
fn solve(mut a: [[f64; N]; N], mut b: [f64; N]) -> [f64; N] {
    for i in 0..N {
        let row = a[i];
        for j in i + 1..N {
            let share = a[j][i] / row[i];
            for k in i..N {
                a[j][k] -= share * row[k];
            }
            b[j] -= share * b[i];
        }
    }
    for i in (0..N).rev() {
        for k in i + 1..N {
            b[i] -= a[i][k] * b[k];
        }
        b[i] /= a[i][i];
    }
    b
}
