//! Weights of the ear's models. Written by `examples/fit`; not to be changed by hand.

/// Weights of [`pluck::row`](super::pluck::row), in nats per unit.
///
/// ```text
/// 831 takes of the seeds t30001, t5151, t61003, t61004, t61005: 61898 onsets, 40136 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5, 3 nats
/// linguine: 0.0152; of 6054, 6042 + 38, 6033 + 20, 6029 + 11, 6017 + 8, 5994 + 6, 5933 + 3
/// meat: 0.0465; of 7895, 7843 + 202, 7827 + 123, 7804 + 82, 7774 + 63, 7728 + 44, 7585 + 18
/// spaghetti: 0.0219; of 5589, 5572 + 60, 5565 + 41, 5552 + 31, 5538 + 22, 5524 + 11, 5473 + 1
/// swag: 0.0320; of 6617, 6598 + 180, 6593 + 123, 6586 + 89, 6573 + 60, 6558 + 43, 6477 + 20
/// yrfinger: 0.0342; of 6772, 6730 + 57, 6722 + 33, 6704 + 17, 6681 + 11, 6643 + 5, 6501 + 3
/// yrpick: 0.0184; of 7209, 7190 + 54, 7181 + 28, 7175 + 18, 7155 + 14, 7144 + 12, 7071 + 8
/// all: 0.0291; of 40136, 39975 + 591, 39921 + 368, 39850 + 248, 39738 + 178, 39591 + 121, 39040 + 53
/// of takes of several passes: 0.0104; of 18140, 18124 + 134, 18119 + 89, 18113 + 56, 18105 + 33, 18100 + 22, 18044 + 8
/// ```
#[rustfmt::skip]
pub const PLUCK: [f64; 26] = [
    1.9524, // novelty
    0.2768, // struck_low
    -0.0047, // struck_middle
    -0.0451, // struck_high
    0.2656, // rise
    -0.2730, // fall
    0.3618, // relative_level
    -0.0516, // clarity
    1.0797, // step
    -0.8360, // relative_novelty
    0.4125, // struck
    -1.2021, // struck_novelty
    -0.4611, // same_novelty
    -0.1188, // same_rise
    0.6959, // stopped
    1.4301, // turn
    -1.7519, // fresh
    5.8061, // fresh_clear
    -0.2723, // stays
    0.7254, // new
    0.1251, // new_novelty
    2.5637, // goes_on_known
    -1.0786, // goes_on
    0.0566, // goes_on_new
    5.3805, // opens
    -4.6876, // opens_clear
];
/// The constant of that model, in nats.
pub const PLUCK_CONSTANT: f64 = -9.9511;
/// Its mean loss over `fixtures/fit/pluck.csv`, in nats.
pub const PLUCK_TABLE_LOSS: f64 = 0.0258;

/// Weights of [`beside::row`](super::beside::row), in nats per unit.
///
/// ```text
/// 815 takes of the seeds t30001, t5151, t61003, t61004, t61005: 17496 onsets, 684 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5, 3 nats
/// linguine: 0.0147; of 96, 93 + 6, 92 + 5, 91 + 3, 89 + 2, 84 + 0, 76 + 0
/// meat: 0.0608; of 158, 141 + 112, 131 + 55, 121 + 25, 111 + 12, 100 + 5, 76 + 0
/// spaghetti: 0.0116; of 97, 93 + 8, 93 + 5, 93 + 2, 90 + 1, 86 + 0, 73 + 0
/// swag: 0.0322; of 128, 118 + 66, 117 + 51, 113 + 40, 107 + 27, 100 + 15, 85 + 3
/// yrfinger: 0.0503; of 111, 96 + 11, 93 + 6, 91 + 2, 85 + 2, 79 + 0, 61 + 0
/// yrpick: 0.0104; of 94, 91 + 3, 89 + 1, 84 + 1, 82 + 0, 75 + 0, 66 + 0
/// all: 0.0317; of 684, 632 + 206, 615 + 123, 593 + 73, 564 + 44, 524 + 20, 437 + 3
/// of takes of several passes: 0.0106; of 172, 169 + 47, 169 + 21, 164 + 12, 163 + 7, 155 + 3, 131 + 1
/// ```
#[rustfmt::skip]
pub const BESIDE: [f64; 20] = [
    0.5935, // evidence
    -2.6887, // since
    -15.6770, // young
    -2.5394, // before_next
    -0.0343, // new
    -0.0488, // rise_of_same
    -6.0676, // clarity
    0.1241, // other_pitch
    2.8148, // added
    0.0084, // added_level
    3.4606, // gained
    -0.3371, // dies
    -0.2383, // soft
    0.1663, // struck_low
    -2.2044, // drop_struck
    0.8439, // drop_stays
    0.0634, // depth
    -0.6324, // goes_on
    0.2146, // goes_on_new
    -0.1188, // stays
];
/// The constant of that model, in nats.
pub const BESIDE_CONSTANT: f64 = -1.0833;
/// Its mean loss over `fixtures/fit/beside.csv`, in nats.
pub const BESIDE_TABLE_LOSS: f64 = 0.1849;

/// Weights of [`choked::row`](super::choked::row), in nats per unit.
///
/// ```text
/// 673 takes of the seeds t30001, t5151, t61003, t61004, t61005: 2425 onsets, 621 plucks among them
/// instrument left out: loss; plucks found + others taken for one at -1.5, -0.75, 0, 0.75, 1.5, 3 nats
/// linguine: 0.0466; of 75, 75 + 5, 74 + 3, 71 + 1, 68 + 1, 61 + 1, 48 + 0
/// meat: 0.1272; of 187, 179 + 11, 176 + 5, 168 + 3, 158 + 2, 149 + 2, 111 + 2
/// spaghetti: 0.0685; of 87, 85 + 10, 84 + 6, 84 + 3, 81 + 2, 75 + 0, 58 + 0
/// swag: 0.1393; of 110, 108 + 43, 108 + 35, 107 + 23, 107 + 19, 107 + 13, 107 + 2
/// yrfinger: 0.0923; of 96, 89 + 16, 89 + 8, 88 + 3, 82 + 1, 79 + 1, 63 + 0
/// yrpick: 0.0794; of 66, 64 + 12, 62 + 5, 62 + 4, 58 + 2, 56 + 1, 39 + 0
/// all: 0.0965; of 621, 600 + 97, 593 + 62, 580 + 37, 554 + 27, 527 + 18, 426 + 4
/// of takes of several passes: 0.0540; of 52, 49 + 39, 49 + 25, 48 + 13, 47 + 9, 45 + 7, 33 + 4
/// ```
#[rustfmt::skip]
pub const CHOKED: [f64; 19] = [
    0.2659, // evidence
    0.1443, // novelty
    -0.1602, // under
    -0.1829, // far_under
    -0.0831, // rise
    -0.3741, // drop
    0.1079, // fall
    0.0307, // new
    -2.6326, // clarity
    -2.4299, // tone
    3.1082, // added
    0.0693, // struck_low
    -0.0271, // struck_middle
    -0.0580, // struck_high
    -0.0705, // struck_above
    0.3910, // jump
    -1.1608, // goes_on
    0.1038, // goes_on_new
    0.0280, // stays
];
/// The constant of that model, in nats.
pub const CHOKED_CONSTANT: f64 = 4.8873;
/// Its mean loss over `fixtures/fit/choked.csv`, in nats.
pub const CHOKED_TABLE_LOSS: f64 = 0.0782;
