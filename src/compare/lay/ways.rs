//! The steps of all ways through a take that are still open, as a tree: each way is known by its
//! last step.

use crate::compare::lay::beam::State;
use crate::compare::lay::follow::{Began, Run};

/// Nodes that may gather beyond one and a half times those in use before the others are let go:
/// some 30 events' worth. Lowering it saves a hundred kilobytes and costs time.
const TIDY_NODES: usize = 4096;

/// A step on a way. Kept small: every way that is still open has one for each event it matched.
struct Node {
    /// Place of the step before, [`NOWHERE`] at the start.
    before: u32,
    slot: u32,
    event: u32,
    /// The first slot of the run that begins here, and how it began.
    began: Option<(u32, Began)>,
}

/// No node is before this one.
pub(super) const NOWHERE: u32 = u32::MAX;

impl Node {
    fn before(&self) -> Option<usize> {
        (self.before != NOWHERE).then_some(self.before as usize)
    }
}

/// The steps of all open ways.
pub(super) struct Ways {
    nodes: Vec<Node>,
    /// Beyond this count of nodes those from which no state comes are let go.
    tidy_at: usize,
}

impl Ways {
    /// None yet.
    pub fn new() -> Self {
        Self {
            nodes: Vec::new(),
            tidy_at: TIDY_NODES,
        }
    }

    /// Adds a step, and gives its place.
    pub fn push(
        &mut self,
        before: u32,
        slot: usize,
        event: usize,
        began: Option<(usize, Began)>,
    ) -> u32 {
        let node = self.nodes.len() as u32;
        self.nodes.push(Node {
            before,
            slot: slot as u32,
            event: event as u32,
            began: began.map(|(from, began)| (from as u32, began)),
        });
        node
    }

    /// The event matched at a step; `None` for [`NOWHERE`].
    pub fn event(&self, node: u32) -> Option<usize> {
        self.nodes
            .get(node as usize)
            .map(|node| node.event as usize)
    }

    /// Lets go of the steps from which no state comes, where many have gathered. Those that stay
    /// keep their order.
    pub fn tidy(&mut self, states: &mut [State]) {
        if self.nodes.len() <= self.tidy_at {
            return;
        }
        let mut used = vec![false; self.nodes.len()];
        for state in states.iter() {
            let mut at = (state.node != NOWHERE).then_some(state.node as usize);
            while let Some(node) = at.filter(|&node| !used[node]) {
                used[node] = true;
                at = self.nodes[node].before();
            }
        }
        // A node's new place is the count of used ones before it.
        let mut places = Vec::with_capacity(used.len());
        let mut count = 0u32;
        for &is_used in &used {
            places.push(count);
            count += u32::from(is_used);
        }
        let mut is_used = used.iter();
        self.nodes.retain(|_| is_used.next() == Some(&true));
        self.nodes.shrink_to_fit();
        self.tidy_at = self.nodes.len() + self.nodes.len() / 2 + TIDY_NODES;
        self.nodes
            .reserve_exact(self.tidy_at + TIDY_NODES - self.nodes.len());
        for node in &mut self.nodes {
            node.before = node.before().map_or(NOWHERE, |before| places[before]);
        }
        for state in states.iter_mut().filter(|s| s.node != NOWHERE) {
            state.node = places[state.node as usize];
        }
    }

    /// The last node that two ways share; [`NOWHERE`] when there is none. A node always stands
    /// behind the one before it.
    pub fn common(&self, mut a: u32, mut b: u32) -> u32 {
        while a != b {
            if a == NOWHERE || b == NOWHERE {
                return NOWHERE;
            }
            if a > b {
                a = self.nodes[a as usize].before;
            } else {
                b = self.nodes[b as usize].before;
            }
        }
        a
    }

    /// The runs that lead to a node.
    pub fn runs(&self, last: u32) -> Vec<Run> {
        let mut runs = Vec::new();
        let mut pairs = Vec::new();
        let mut at = (last != NOWHERE).then_some(last as usize);
        while let Some(node) = at.map(|k| &self.nodes[k]) {
            pairs.push((node.slot as usize, node.event as usize));
            if let Some((from, began)) = node.began {
                pairs.reverse();
                runs.push(Run {
                    pairs: std::mem::take(&mut pairs),
                    from_slot: from as usize,
                    began,
                });
            }
            at = node.before();
        }
        runs.reverse();
        runs
    }
}
