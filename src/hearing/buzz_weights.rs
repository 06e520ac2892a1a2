//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.

/// Weights of [`buzz::row`](super::buzz::row), in nats per unit.
///
/// ```text
/// 92 takes of the seeds t63001, t63030: 2607 notes, 274 buzzes among them
/// instrument left out: loss; buzzes found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5, 3 nats
/// linguine: 0.1311; of 42, 33 + 20, 29 + 12, 24 + 8, 23 + 7, 20 + 2, 13 + 0
/// meat: 0.0807; of 56, 53 + 44, 52 + 25, 49 + 17, 47 + 9, 41 + 3, 33 + 0
/// spaghetti: 0.2165; of 12, 8 + 0, 6 + 0, 4 + 0, 3 + 0, 1 + 0, 0 + 0
/// swag: 0.4517; of 27, 13 + 1, 8 + 1, 5 + 0, 2 + 0, 2 + 0, 1 + 0
/// yrfinger: 0.0940; of 130, 121 + 56, 113 + 16, 105 + 8, 103 + 5, 99 + 1, 79 + 0
/// yrpick: 0.3288; of 7, 2 + 1, 1 + 0, 0 + 0, 0 + 0, 0 + 0, 0 + 0
/// all: 0.1265; of 274, 230 + 122, 209 + 54, 187 + 33, 178 + 21, 163 + 6, 126 + 0
/// of takes of several passes: 0.0000; of 0, 0 + 0, 0 + 0, 0 + 0, 0 + 0, 0 + 0, 0 + 0
/// ```
#[rustfmt::skip]
pub const BUZZ: [f64; 4] = [
    0.0962, // early
    0.3164, // middle
    0.0603, // late
    0.0913, // swell
];
/// The constant of that model, in nats.
pub const BUZZ_CONSTANT: f64 = -4.7741;
/// Its mean loss over `fixtures/fit/buzz.csv`, in nats.
pub const BUZZ_TABLE_LOSS: f64 = 0.2544;
