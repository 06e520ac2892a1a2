//! Which heard note is which written one.
//!
//! | file | what it holds |
//! |---|---|
//! | `slots` | the line folded into moments |
//! | `course` | what a way is looked for in: the line, the take, the click |
//! | `follow` | the way through a take, with its states in `beam`, its steps in `ways`, its time in `clock`; `kinds`: slots that cost the same |
//! | `passes` | what came out of it, pass by pass, with the time of each from `pulse` |
//! | `stretches` | one pass laid exactly: `align` on a grid of time (`grid`, `robust`) |
//! | `choked` | choked notes, found where they are due |
//! | `clip` | the part of a pass within the bars asked for |
//! | `ends`, `audible` | what is no note: a string that is stopped, a click that can be heard |
//! | `segments`, `clicks` | the take cut where a click is known, and what that tells |
//! | `swing` | uneven eighths |
//! | `slid` | written slides, which begin where they arrive |
//! | `costs` | what each explanation costs |
//!
//! No verdict, no flag and no word is made here. Called by [`compare`](crate::compare) alone.

pub(crate) mod align;
pub(crate) mod audible;
mod beam;
pub(crate) mod choked;
pub mod clicks;
pub(crate) mod clip;
pub(crate) mod clock;
pub(crate) mod costs;
pub(crate) mod course;
pub(crate) mod ends;
pub(crate) mod follow;
pub(crate) mod grid;
mod kinds;
pub(crate) mod passes;
mod pulse;
pub(crate) mod robust;
pub(crate) mod segments;
pub(crate) mod slid;
pub(crate) mod slots;
mod stretches;
pub(crate) mod swing;
mod ways;
