//! Which heard note is which written one: the line folded into moments (`slots`), the way through
//! it (`follow` with `clock`), the exact alignment (`align`) on a fitted grid of time (`grid`,
//! `robust`), and what came out of it (`passes`, with choked notes from `choked`). What is no note
//! say `ends` and `audible`, a click that can be heard; `segments` cuts the take where a click is
//! known, `clicks` says what that tells; `swing` measures uneven eighths. All costs stand
//! in `costs`.
//!
//! No verdict, no flag and no word is made here. Called by [`compare`](crate::compare) alone.

pub(crate) mod align;
pub(crate) mod audible;
pub(crate) mod choked;
pub mod clicks;
pub(crate) mod clock;
pub(crate) mod costs;
pub(crate) mod ends;
pub(crate) mod follow;
pub(crate) mod grid;
pub(crate) mod passes;
pub(crate) mod robust;
pub(crate) mod segments;
pub(crate) mod slots;
pub(crate) mod swing;
