//! What ends a command.

use std::fmt::Display;

/// One message: what happened, where, and how to mend it.
#[derive(Debug)]
pub(super) struct Failure(String);

impl Failure {
    /// A failure with its whole message.
    pub(super) fn new(message: impl Into<String>) -> Self {
        Self(message.into())
    }

    /// A failure that something already says completely.
    pub(super) fn of(error: impl Display) -> Self {
        Self(error.to_string())
    }

    /// Says it on standard error.
    pub(super) fn say(&self) {
        super::output::note(&format!("error: {self}"));
    }
}

impl Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}
