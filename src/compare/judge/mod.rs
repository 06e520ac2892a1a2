//! What is said of each note of a pass that is laid over the line (`scene`): a file for each flag
//! (`pitch`, `timing`, `gap`, `dead`, `clipped`, `bleed`, `buzz`; `loudness` for two), put together in `verdict`; `extras` and
//! `undecided`.
//!
//! Nothing is aligned here and nothing is put into words. Called by
//! [`compare`](crate::compare) alone.

pub(crate) mod bleed;
pub(crate) mod buzz;
pub(crate) mod clipped;
pub(crate) mod dead;
pub(crate) mod extras;
pub(crate) mod gap;
mod level_fit;
pub(crate) mod loudness;
pub(crate) mod pitch;
pub(crate) mod scene;
pub(crate) mod timing;
pub(crate) mod undecided;
pub(crate) mod verdict;
