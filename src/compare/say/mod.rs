//! What is said of a take as a whole: whether it is the line and its time (`summary`), counts
//! (`tally`), and the sentences a player can act on (`findings`, in the words of `words`).
//!
//! No limit between fine and flagged stands here. Called by [`compare`](crate::compare) alone.

pub(crate) mod findings;
pub(crate) mod summary;
pub(crate) mod tally;
pub(crate) mod uneven;
pub(crate) mod words;
