//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.

/// Weights of [`ringing::left_row`](super::ringing::left_row), in nats per unit.
///
/// ```text
/// 182 takes of the seeds t62001, t62002: 1363 strings heard, 181 that ring among them
/// instrument left out: loss; that ring found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5 nats
/// linguine: 0.1784; of 33, 32 + 4, 32 + 2, 32 + 1, 30 + 1, 27 + 0
/// meat: 0.0989; of 33, 22 + 33, 15 + 16, 13 + 6, 10 + 3, 7 + 2
/// spaghetti: 0.1368; of 33, 33 + 5, 33 + 4, 32 + 3, 32 + 1, 32 + 0
/// swag: 0.0751; of 8, 5 + 2, 5 + 0, 4 + 0, 2 + 0, 2 + 0
/// yrfinger: 0.1557; of 40, 40 + 2, 38 + 0, 37 + 0, 35 + 0, 31 + 0
/// yrpick: 0.2380; of 34, 34 + 22, 34 + 13, 34 + 10, 33 + 7, 33 + 1
/// all: 0.1107; of 181, 166 + 68, 157 + 35, 152 + 20, 142 + 12, 132 + 3
/// ```
#[rustfmt::skip]
pub const LEFT: [f64; 5] = [
    0.0388, // level
    2.8391, // own
    -0.2861, // scatter
    1.4305, // carried
    -2.4023, // lost
];
/// The constant of that model, in nats.
pub const LEFT_CONSTANT: f64 = -4.1507;
/// Its mean loss over `fixtures/fit/left.csv`, in nats.
pub const LEFT_TABLE_LOSS: f64 = 0.2341;

/// Weights of [`ringing::open_row`](super::ringing::open_row), in nats per unit.
///
/// ```text
/// 147 takes of the seeds t62001, t62002: 531 strings heard, 124 that ring among them
/// instrument left out: loss; that ring found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5 nats
/// linguine: 0.1560; of 20, 20 + 3, 20 + 0, 20 + 0, 18 + 0, 16 + 0
/// meat: 0.2837; of 21, 6 + 9, 5 + 5, 5 + 1, 3 + 0, 0 + 0
/// spaghetti: 0.0892; of 21, 21 + 0, 21 + 0, 21 + 0, 20 + 0, 19 + 0
/// swag: 0.1436; of 3, 3 + 26, 3 + 6, 3 + 3, 3 + 2, 2 + 0
/// yrfinger: 0.1861; of 31, 30 + 0, 30 + 0, 30 + 0, 27 + 0, 21 + 0
/// yrpick: 1.3711; of 28, 28 + 22, 28 + 22, 28 + 22, 28 + 22, 27 + 20
/// all: 0.3402; of 124, 108 + 60, 107 + 33, 107 + 26, 99 + 24, 85 + 20
/// ```
#[rustfmt::skip]
pub const OPEN: [f64; 8] = [
    0.0702, // level
    0.1273, // clear
    0.4670, // share
    1.2385, // own
    -0.0701, // scatter
    0.1407, // above
    1.6157, // long
    -3.2529, // inside
];
/// The constant of that model, in nats.
pub const OPEN_CONSTANT: f64 = -2.5067;
/// Its mean loss over `fixtures/fit/open.csv`, in nats.
pub const OPEN_TABLE_LOSS: f64 = 0.2238;
