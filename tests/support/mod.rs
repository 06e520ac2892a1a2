//! What the accuracy gate is made of. Nothing here knows how the product hears; it knows reports
//! and truths alone.

pub mod claims;
pub mod figures;
pub mod made;
pub mod numbers;
pub mod ratchet;
pub mod scored;
pub mod scoring;
pub mod truth;
