//! What a score holds that the line does not keep, each kind named once.

use std::collections::BTreeSet;

/// What a score holds that the line does not keep.
#[derive(Debug, Default)]
pub(super) struct Unkept {
    kinds: BTreeSet<&'static str>,
    said: Vec<String>,
}

/// Most single remarks about one score; the rest is counted.
const REMARKS_MAX: usize = 20;

impl Unkept {
    /// Something of a kind that is not kept.
    pub fn add(&mut self, kind: &'static str) {
        self.kinds.insert(kind);
    }

    /// A remark of its own.
    pub fn say(&mut self, remark: String) {
        if self.said.len() < 10 * REMARKS_MAX && !self.said.contains(&remark) {
            self.said.push(remark);
        }
    }

    /// Several remarks.
    pub fn extend(&mut self, remarks: impl IntoIterator<Item = String>) {
        for remark in remarks {
            self.say(remark);
        }
    }

    /// All of it, as sentences.
    pub fn told(mut self) -> Vec<String> {
        let more = self.said.len().saturating_sub(REMARKS_MAX);
        self.said.truncate(REMARKS_MAX);
        if more > 0 {
            self.said
                .push(format!("and {more} more remarks of the kind"));
        }
        if !self.kinds.is_empty() {
            let kinds: Vec<&str> = self.kinds.into_iter().collect();
            self.said.push(format!("not kept: {}", kinds.join(", ")));
        }
        self.said
    }
}
