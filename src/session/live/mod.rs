//! One run while somebody plays: the same source, ear and comparator as for a file, with a clock.
//!
//! | file | what lives there |
//! |---|---|
//! | [`snapshot`] | what can be shown meanwhile, and what can be asked for |
//!
//! Used by `tui` (its snapshots alone) and `cli`.

pub mod snapshot;
