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
/// 620 takes of the seeds t101, t11071, t777, t888: 2421 onsets, 786 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5 nats
/// linguine: 0.0821; of 163, 159 + 11, 156 + 7, 152 + 4, 145 + 2, 138 + 0
/// meat: 0.2765; of 145, 132 + 4, 128 + 3, 120 + 2, 103 + 2, 91 + 2
/// spaghetti: 0.0976; of 108, 105 + 26, 105 + 16, 102 + 8, 101 + 2, 96 + 0
/// swag: 0.2230; of 101, 98 + 86, 97 + 57, 97 + 39, 97 + 32, 97 + 14
/// yrfinger: 0.1266; of 134, 129 + 30, 126 + 14, 122 + 5, 118 + 1, 110 + 1
/// yrpick: 0.1062; of 135, 130 + 19, 130 + 8, 127 + 2, 118 + 0, 113 + 0
/// all: 0.1478; of 786, 753 + 176, 742 + 105, 720 + 60, 682 + 39, 645 + 17
/// of takes of several passes: 0.0919; of 32, 31 + 105, 31 + 55, 29 + 28, 26 + 22, 21 + 12
/// ```
#[rustfmt::skip]
pub const CHOKED: [f64; 16] = [
    0.0944, // evidence
    0.1281, // novelty
    -0.1236, // under
    -0.2499, // far_under
    -0.0746, // rise
    -0.3937, // drop
    0.1342, // fall
    1.1917, // new
    -3.8401, // clarity
    -1.5792, // tone
    3.0478, // added
    0.1067, // struck_low
    -0.0104, // struck_middle
    -0.0496, // struck_high
    -0.1256, // struck_above
    0.3963, // jump
];
/// The constant of that model, in nats.
pub const CHOKED_CONSTANT: f64 = 4.9668;
/// Its mean loss over `fixtures/fit/choked.csv`, in nats.
pub const CHOKED_TABLE_LOSS: f64 = 0.1368;

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
