//! The dashboard: what a session says, on a terminal, for somebody a metre away with both hands on
//! an instrument.
//!
//! | file | what lives there |
//! |---|---|
//! | [`state`] | what is shown, and what a key or a snapshot changes in it; never draws |
//! | [`keys`] | one table of keys: what each does, and the words of the help page |
//! | [`theme`] | normal, dim, without colour; large print |
//! | [`view`] | the screen laid out; changes nothing, reads no clock |
//! | `big` | letters of five rows, to be read from afar |
//! | `fit` | lines that fit: what is cut says so |
//! | `head`, `tab`, `panels`, `help` | the parts of the screen |
//! | [`plain`] | the same as lines of text, for screen readers and pipes |
//! | [`tuner`] | the tuner's screen, and its lines |
//! | [`phrases`] | how notes and joins are said in few characters |
//! | [`terminal`] | the one file that touches the terminal |
//! | [`run`](mod@run) | keys and snapshots in, commands out, until it is over |
//!
//! Meaning never rests on colour. Nothing here judges: it shows the session's snapshots. Used by
//! `cli` alone.

mod big;
mod fit;
mod head;
mod help;
pub mod keys;
mod panels;
pub mod phrases;
pub mod plain;
pub mod run;
pub mod state;
mod tab;
pub mod terminal;
pub mod theme;
pub mod tuner;
pub mod view;
