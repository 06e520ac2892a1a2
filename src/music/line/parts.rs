//! What a line was made of.

use super::model::{Line, LineParts};

impl Line {
    /// What the line was made of, for making another one from it.
    pub fn parts(&self) -> &LineParts {
        &self.parts
    }
}
