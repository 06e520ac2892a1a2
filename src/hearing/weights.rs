//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.

/// Weights of [`pluck::row`](super::pluck::row), in nats per unit.
///
/// ```text
/// 831 takes of the seeds t30001, t5151, t61003, t61004, t61005: 61851 onsets, 40134 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5 nats
/// linguine: 0.0152; of 6054, 6042 + 40, 6033 + 17, 6028 + 10, 6016 + 7, 5994 + 6
/// meat: 0.0462; of 7893, 7842 + 191, 7826 + 119, 7799 + 75, 7774 + 58, 7722 + 44
/// spaghetti: 0.0221; of 5589, 5572 + 60, 5565 + 41, 5553 + 32, 5541 + 22, 5529 + 11
/// swag: 0.0319; of 6617, 6597 + 180, 6595 + 120, 6583 + 87, 6575 + 61, 6560 + 44
/// yrfinger: 0.0340; of 6772, 6729 + 54, 6720 + 32, 6704 + 18, 6681 + 10, 6645 + 5
/// yrpick: 0.0180; of 7209, 7188 + 52, 7182 + 28, 7173 + 15, 7158 + 12, 7145 + 11
/// all: 0.0289; of 40134, 39970 + 577, 39921 + 357, 39840 + 237, 39745 + 170, 39595 + 121
/// of takes of several passes: 0.0101; of 18139, 18124 + 134, 18120 + 87, 18114 + 52, 18107 + 32, 18099 + 22
/// ```
#[rustfmt::skip]
pub const PLUCK: [f64; 24] = [
    1.9611, // novelty
    0.2827, // struck_low
    -0.0083, // struck_middle
    -0.0462, // struck_high
    0.2751, // rise
    -0.2963, // fall
    0.3658, // relative_level
    0.0540, // clarity
    1.0173, // step
    -0.7933, // relative_novelty
    0.3797, // struck
    -1.1736, // struck_novelty
    -0.4380, // same_novelty
    -0.1263, // same_rise
    0.7557, // stopped
    1.4648, // turn
    -0.8917, // fresh
    5.4863, // fresh_clear
    -0.2954, // stays
    0.7181, // new
    0.1153, // new_novelty
    2.4492, // goes_on_known
    -1.0837, // goes_on
    0.0699, // goes_on_new
];
/// The constant of that model, in nats.
pub const PLUCK_CONSTANT: f64 = -9.8677;
/// Its mean loss over `fixtures/fit/pluck.csv`, in nats.
pub const PLUCK_TABLE_LOSS: f64 = 0.0345;

/// Weights of [`beside::row`](super::beside::row), in nats per unit.
///
/// ```text
/// 815 takes of the seeds t30001, t5151, t61003, t61004, t61005: 17496 onsets, 684 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5 nats
/// linguine: 0.0147; of 96, 93 + 6, 91 + 5, 91 + 3, 89 + 2, 85 + 0
/// meat: 0.0613; of 158, 141 + 115, 131 + 55, 120 + 27, 109 + 11, 100 + 5
/// spaghetti: 0.0116; of 97, 94 + 8, 93 + 5, 93 + 2, 89 + 1, 88 + 0
/// swag: 0.0320; of 128, 118 + 65, 116 + 50, 113 + 39, 108 + 30, 100 + 13
/// yrfinger: 0.0505; of 111, 97 + 11, 91 + 7, 91 + 2, 85 + 2, 79 + 0
/// yrpick: 0.0104; of 94, 91 + 4, 88 + 1, 84 + 1, 82 + 0, 75 + 0
/// all: 0.0317; of 684, 634 + 209, 610 + 123, 592 + 74, 562 + 46, 527 + 18
/// of takes of several passes: 0.0106; of 172, 170 + 49, 168 + 20, 164 + 11, 162 + 7, 155 + 3
/// ```
#[rustfmt::skip]
pub const BESIDE: [f64; 20] = [
    0.5933, // evidence
    -2.6838, // since
    -15.6437, // young
    -2.4242, // before_next
    0.0154, // new
    -0.0702, // rise_of_same
    -5.8465, // clarity
    -0.1842, // other_pitch
    2.8586, // added
    0.0088, // added_level
    3.3904, // gained
    -0.3392, // dies
    -0.2344, // soft
    0.1693, // struck_low
    -2.1797, // drop_struck
    0.8708, // drop_stays
    0.0625, // depth
    -0.6147, // goes_on
    0.2056, // goes_on_new
    -0.1095, // stays
];
/// The constant of that model, in nats.
pub const BESIDE_CONSTANT: f64 = -1.1297;
/// Its mean loss over `fixtures/fit/beside.csv`, in nats.
pub const BESIDE_TABLE_LOSS: f64 = 0.1855;

/// Weights of [`choked::row`](super::choked::row), in nats per unit.
///
/// ```text
/// 673 takes of the seeds t30001, t5151, t61003, t61004, t61005: 2426 onsets, 621 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5 nats
/// linguine: 0.0470; of 75, 75 + 5, 74 + 3, 70 + 2, 66 + 1, 62 + 1
/// meat: 0.1268; of 187, 179 + 11, 176 + 7, 167 + 3, 158 + 2, 147 + 2
/// spaghetti: 0.0681; of 87, 85 + 10, 84 + 6, 84 + 3, 81 + 2, 76 + 0
/// swag: 0.1384; of 110, 108 + 43, 108 + 33, 107 + 23, 107 + 19, 107 + 13
/// yrfinger: 0.0921; of 96, 89 + 15, 89 + 9, 88 + 4, 84 + 1, 80 + 1
/// yrpick: 0.0778; of 66, 64 + 12, 62 + 5, 62 + 4, 58 + 2, 56 + 1
/// all: 0.0960; of 621, 600 + 96, 593 + 63, 578 + 39, 554 + 27, 528 + 18
/// of takes of several passes: 0.0529; of 52, 49 + 38, 49 + 24, 48 + 13, 47 + 9, 45 + 7
/// ```
#[rustfmt::skip]
pub const CHOKED: [f64; 19] = [
    0.2705, // evidence
    0.1460, // novelty
    -0.1598, // under
    -0.1789, // far_under
    -0.0855, // rise
    -0.3683, // drop
    0.1096, // fall
    0.0334, // new
    -2.5172, // clarity
    -2.6036, // tone
    3.1525, // added
    0.0692, // struck_low
    -0.0283, // struck_middle
    -0.0562, // struck_high
    -0.0672, // struck_above
    0.3775, // jump
    -1.1635, // goes_on
    0.0947, // goes_on_new
    0.0318, // stays
];
/// The constant of that model, in nats.
pub const CHOKED_CONSTANT: f64 = 4.7137;
/// Its mean loss over `fixtures/fit/choked.csv`, in nats.
pub const CHOKED_TABLE_LOSS: f64 = 0.0812;
