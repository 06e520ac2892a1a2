//! Which heard note is which written one: the line folded into moments (`slots`), the way through
//! it (`follow` with `clock`), uneven eighths (`swing`), what is no note (`ends`, `clicks`), the exact alignment (`align`) on a fitted grid of time (`grid`,
//! `robust`), and what came out of it (`passes`, with choked notes from `choked`). All costs stand
//! in `costs`.
//!
//! No verdict, no flag and no word is made here. Called by [`compare`](crate::compare) alone.

pub(crate) mod align;
pub(crate) mod choked;
pub(crate) mod clicks;
pub(crate) mod clock;
pub(crate) mod costs;
pub(crate) mod ends;
pub(crate) mod follow;
pub(crate) mod grid;
pub(crate) mod passes;
pub(crate) mod robust;
pub(crate) mod slots;
pub(crate) mod swing;
