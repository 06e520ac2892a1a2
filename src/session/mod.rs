//! One run: source, listener, comparator, result.
//!
//! Used by `cli`.
