//! What a logistic regression says of a row of features, and what it costs to have said it.
//!
//! # Source
//! D. R. Cox (1958), *The regression analysis of binary sequences*, J. R. Statist. Soc. B 20, 215-242
//! (from memory).

/// How likely it is that what the model is about holds, in nats: above 0 more likely than not. Weights
/// are in nats per unit of the feature. Never fails.
pub fn nats(row: &[f64], weights: &[f64], constant: f64) -> f64 {
    let sum: f64 = row.iter().zip(weights).map(|(x, w)| x * w).sum();
    constant + sum
}

/// What it costs to have said `nats`, in nats, when it holds or does not. Never fails.
pub fn loss(holds: bool, nats: f64) -> f64 {
    let signed = if holds { -nats } else { nats };
    // Beyond this the exponential is all there is.
    if signed > 30.0 {
        signed
    } else {
        signed.exp().ln_1p()
    }
}

/// Features that are no numbers say nothing.
pub(super) fn finite<const N: usize>(row: [f64; N]) -> [f64; N] {
    row.map(|x| if x.is_finite() { x } else { 0.0 })
}

/// The mean loss of a model over a table of `fixtures/fit/`, in nats.
#[cfg(test)]
pub(super) fn table_loss(table: &str, names: &[&str], weights: &[f64], constant: f64) -> f64 {
    let mut lines = table.lines();
    let head = format!("instrument,is_pluck,{}", names.join(","));
    assert_eq!(lines.next(), Some(head.as_str()));
    let losses: Vec<f64> = lines
        .map(|line| {
            let numbers = line.split(',').skip(1);
            let mut numbers = numbers.map(|x| x.parse::<f64>().expect("a number"));
            let is_pluck = numbers.next() == Some(1.0);
            let row: Vec<f64> = numbers.collect();
            assert_eq!(row.len(), weights.len());
            loss(is_pluck, nats(&row, weights, constant))
        })
        .collect();
    losses.iter().sum::<f64>() / losses.len() as f64
}
