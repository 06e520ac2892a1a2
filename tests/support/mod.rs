//! What the accuracy gate is made of: recorded takes and the program's reports of them, the takes'
//! own scorers, the figures they give, and what was reached before.

pub mod figures;
pub mod ratchet;
pub mod scorers;
pub mod tables;
pub mod takes;
