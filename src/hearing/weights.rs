//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.
//!
//! ```text
//! 380 takes, 9058 onsets, 892 plucks among them
//! seeds t101, t777
//! instrument left out: plucks, found, others taken for one, loss
//! linguine: 185, 182, 2, 0.0179
//! meat: 128, 105, 5, 0.1224
//! spaghetti: 130, 118, 12, 0.0429
//! swag: 147, 137, 8, 0.0258
//! yrfinger: 163, 144, 5, 0.0611
//! yrpick: 139, 130, 1, 0.0255
//! all: 892, 816, 33, 0.0415
//! of takes of several passes: 76, 74, 5, 0.0088
//! ```

/// Weights of [`beside::row`](super::beside::row), in nats per unit.
#[rustfmt::skip]
pub const BESIDE: [f64; 17] = [
    0.3649, // evidence
    -3.1258, // since
    -12.3865, // young
    -9.5528, // before_next
    0.9850, // new
    -0.3651, // rise_of_same
    -5.9898, // clarity
    10.2157, // other_pitch
    3.5173, // added
    0.0366, // added_level
    3.3973, // gained
    -0.2988, // dies
    -0.3679, // soft
    0.2539, // struck_low
    -1.9220, // drop_struck
    1.2107, // drop_stays
    0.0546, // depth
];
/// The constant of that model, in nats.
pub const BESIDE_CONSTANT: f64 = 0.4155;
/// Its mean loss over `fixtures/fit/beside.csv`, in nats.
pub const BESIDE_TABLE_LOSS: f64 = 0.0810;
