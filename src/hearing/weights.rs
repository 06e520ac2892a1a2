//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.

/// Weights of [`beside::row`](super::beside::row), in nats per unit.
///
/// ```text
/// 717 takes of the seeds t101, t11071, t777, t888: 16233 onsets, 1092 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5 nats
/// linguine: 0.0150; of 228, 225 + 19, 225 + 13, 223 + 8, 219 + 3, 212 + 2
/// meat: 0.0840; of 162, 139 + 40, 136 + 15, 131 + 6, 127 + 1, 116 + 1
/// spaghetti: 0.0290; of 150, 141 + 30, 139 + 14, 136 + 7, 128 + 2, 123 + 1
/// swag: 0.0279; of 187, 178 + 48, 174 + 37, 170 + 28, 167 + 21, 162 + 11
/// yrfinger: 0.0454; of 191, 178 + 8, 175 + 4, 168 + 1, 160 + 1, 147 + 0
/// yrpick: 0.0190; of 174, 173 + 23, 170 + 7, 162 + 4, 153 + 2, 145 + 1
/// all: 0.0323; of 1092, 1034 + 168, 1019 + 90, 990 + 54, 954 + 30, 905 + 16
/// of takes of several passes: 0.0103; of 187, 181 + 38, 179 + 24, 175 + 13, 171 + 4, 161 + 2
/// ```
#[rustfmt::skip]
pub const BESIDE: [f64; 17] = [
    0.3930, // evidence
    -3.0342, // since
    -14.3768, // young
    -7.6553, // before_next
    0.8822, // new
    -0.3443, // rise_of_same
    -5.7243, // clarity
    9.4759, // other_pitch
    3.4311, // added
    0.0467, // added_level
    3.6564, // gained
    -0.3399, // dies
    -0.4156, // soft
    0.2312, // struck_low
    -2.0120, // drop_struck
    1.6822, // drop_stays
    0.0565, // depth
];
/// The constant of that model, in nats.
pub const BESIDE_CONSTANT: f64 = 0.1804;
/// Its mean loss over `fixtures/fit/beside.csv`, in nats.
pub const BESIDE_TABLE_LOSS: f64 = 0.0691;

/// Weights of [`choked::row`](super::choked::row), in nats per unit.
///
/// ```text
/// 606 takes of the seeds t101, t11071, t777, t888: 2348 onsets, 713 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5 nats
/// linguine: 0.0853; of 160, 157 + 10, 156 + 4, 147 + 2, 137 + 2, 131 + 0
/// meat: 0.3191; of 91, 75 + 4, 71 + 4, 68 + 3, 62 + 3, 58 + 2
/// spaghetti: 0.1110; of 106, 105 + 45, 103 + 23, 101 + 13, 98 + 3, 97 + 1
/// swag: 0.0949; of 94, 94 + 50, 94 + 28, 94 + 19, 94 + 8, 94 + 5
/// yrfinger: 0.1572; of 130, 125 + 40, 123 + 25, 121 + 14, 113 + 10, 101 + 2
/// yrpick: 0.1208; of 132, 128 + 13, 125 + 9, 118 + 3, 111 + 1, 105 + 0
/// all: 0.1337; of 713, 684 + 162, 672 + 93, 649 + 54, 615 + 27, 586 + 10
/// of takes of several passes: 0.0739; of 0, 0 + 104, 0 + 61, 0 + 34, 0 + 13, 0 + 5
/// ```
#[rustfmt::skip]
pub const CHOKED: [f64; 12] = [
    0.2291, // evidence
    -0.0222, // novelty
    -0.2832, // under
    -0.0391, // rise
    0.3433, // fall
    1.0855, // new
    -5.9376, // clarity
    2.8357, // added
    0.0874, // struck_low
    -0.0876, // struck_middle
    -0.0529, // struck_high
    0.4063, // jump
];
/// The constant of that model, in nats.
pub const CHOKED_CONSTANT: f64 = 0.6861;
/// Its mean loss over `fixtures/fit/choked.csv`, in nats.
pub const CHOKED_TABLE_LOSS: f64 = 0.1216;

/// The mean loss of a model over a table of `fixtures/fit/`, in nats.
#[cfg(test)]
pub(super) fn table_loss(table: &str, names: &[&str], weights: &[f64], constant: f64) -> f64 {
    let mut lines = table.lines();
    let head = format!("instrument,is_pluck,{}", names.join(","));
    assert_eq!(lines.next(), Some(head.as_str()));
    let losses: Vec<f64> = lines
        .map(|line| {
            let mut numbers = line
                .split(',')
                .skip(1)
                .map(|x| x.parse::<f64>().expect("a number"));
            let is_pluck = numbers.next() == Some(1.0);
            let row: Vec<f64> = numbers.collect();
            assert_eq!(row.len(), weights.len());
            let nats = constant + row.iter().zip(weights).map(|(x, w)| x * w).sum::<f64>();
            (if is_pluck { -nats } else { nats }).exp().ln_1p()
        })
        .collect();
    losses.iter().sum::<f64>() / losses.len() as f64
}
