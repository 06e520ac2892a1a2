//! Fits a logistic regression ([`seamline::hearing::logistic`]) by Newton's method with a ridge.

use seamline::hearing::logistic::{self, loss};

use super::takes::Row;

/// Weight of the squared weights of standardised features, in nats: raised, it trusts each less.
const RIDGE: f64 = 2.0;
/// Steps of Newton's method; it settles after eight.
const STEPS: usize = 25;

/// A fitted model.
pub struct Model {
    /// In nats per unit of the feature.
    pub weights: Vec<f64>,
    /// In nats.
    pub constant: f64,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

impl Model {
    /// Fits to rows; there must be one at least.
    pub fn fit(rows: &[&Row]) -> Self {
        let features = rows[0].features.len();
        let count = rows.len() as f64;
        let mean: Vec<f64> = (0..features)
            .map(|k| rows.iter().map(|row| row.features[k]).sum::<f64>() / count)
            .collect();
        let sd: Vec<f64> = (0..features)
            .map(|k| {
                let squares = rows.iter().map(|row| (row.features[k] - mean[k]).powi(2));
                (squares.sum::<f64>() / count).sqrt().max(1e-9)
            })
            .collect();
        let standard = |row: &Row| -> Vec<f64> {
            let scaled = (0..features).map(|k| (row.features[k] - mean[k]) / sd[k]);
            scaled.chain([1.0]).collect()
        };
        let rows: Vec<(Vec<f64>, f64)> = rows
            .iter()
            .map(|row| (standard(row), f64::from(u8::from(row.is_pluck))))
            .collect();
        let n = features + 1;
        let mut at = vec![0.0; n];
        for _ in 0..STEPS {
            let mut gradient = vec![0.0; n];
            let mut curve = vec![vec![0.0; n]; n];
            for k in 0..features {
                gradient[k] = RIDGE * at[k];
                curve[k][k] = RIDGE;
            }
            for (x, is_pluck) in &rows {
                let p = 1.0 / (1.0 + (-dot(x, &at)).exp());
                let steep = (p * (1.0 - p)).max(1e-9);
                for i in 0..n {
                    gradient[i] += (p - is_pluck) * x[i];
                    for (curve, x_j) in curve[i].iter_mut().zip(x) {
                        *curve += steep * x[i] * x_j;
                    }
                }
            }
            for (at, step) in at.iter_mut().zip(solve(curve, gradient)) {
                *at -= step;
            }
        }
        let weights: Vec<f64> = (0..features).map(|k| at[k] / sd[k]).collect();
        let constant = at[features] - dot(&weights, &mean);
        Self { weights, constant }
    }

    /// How sure the model is of a pluck, in nats.
    pub fn nats(&self, features: &[f64]) -> f64 {
        logistic::nats(features, &self.weights, self.constant)
    }

    /// Mean loss over rows, in nats.
    pub fn loss(&self, rows: &[&Row]) -> f64 {
        let losses = rows
            .iter()
            .map(|row| loss(row.is_pluck, self.nats(&row.features)));
        losses.sum::<f64>() / rows.len().max(1) as f64
    }
}

/// Solves a positive definite system by elimination.
fn solve(mut a: Vec<Vec<f64>>, mut b: Vec<f64>) -> Vec<f64> {
    let n = b.len();
    for i in 0..n {
        let row = a[i].clone();
        for j in i + 1..n {
            let share = a[j][i] / row[i];
            for k in i..n {
                a[j][k] -= share * row[k];
            }
            b[j] -= share * b[i];
        }
    }
    for i in (0..n).rev() {
        b[i] = (b[i] - dot(&a[i][i + 1..], &b[i + 1..])) / a[i][i];
    }
    b
}
