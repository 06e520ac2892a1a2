//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.

/// Weights of [`ringing::left_row`](super::ringing::left_row), in nats per unit.
pub const LEFT: [f64; 5] = [0.065, 2.541, -0.303, 1.368, -2.231];
/// The constant of that model, in nats.
pub const LEFT_CONSTANT: f64 = -3.58;
/// Its mean loss over `fixtures/fit/left.csv`, in nats.
pub const LEFT_TABLE_LOSS: f64 = 0.1;

/// Weights of [`ringing::open_row`](super::ringing::open_row), in nats per unit.
pub const OPEN: [f64; 8] = [0.061, 0.128, 1.326, 1.219, -0.156, 0.13, 1.442, -2.676];
/// The constant of that model, in nats.
pub const OPEN_CONSTANT: f64 = -2.61;
/// Its mean loss over `fixtures/fit/open.csv`, in nats.
pub const OPEN_TABLE_LOSS: f64 = 0.1;
