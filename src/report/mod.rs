//! Text, JSON and pages made from results and from lines: pure functions from values to strings.
//!
//! No file, no terminal, no clock, and no judgement of its own: what is not in the result is not
//! in a report. Used by `cli`.

pub mod across;
pub mod class;
pub mod html;
pub mod json;
mod json_live;
mod json_loudness;
mod json_pass;
mod layout;
pub mod log;
pub mod log_json;
mod marks;
mod measured;
pub mod neck;
pub mod next;
pub mod next_json;
mod opening;
mod page;
mod parts;
mod phrases;
#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
pub(crate) mod sample_practice;
pub mod sheet;
pub mod show;
pub mod show_json;
mod signs;
mod staff;
pub mod strings;
mod tab;
pub mod text;
#[cfg(test)]
mod text_tests;
mod understood;
pub mod why;
