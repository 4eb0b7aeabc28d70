//! What was learned of each node, for pages: filled by the thread that learns, read by whoever looks.

use std::collections::BTreeMap;
use std::sync::{PoisonError, RwLock};

use report::page::learned::LearnedNode;

/// What was learned, by the names of the nodes.
#[derive(Debug, Default)]
pub(crate) struct Truths(RwLock<BTreeMap<String, LearnedNode>>);

impl Truths {
    /// What was learned of a node; none until something was.
    pub(crate) fn of(&self, name: &str) -> Option<LearnedNode> {
        self.0.read().unwrap_or_else(PoisonError::into_inner).get(name).cloned()
    }

    /// This was learned of a node.
    pub(crate) fn put(&self, name: &str, learned: LearnedNode) {
        self.0.write().unwrap_or_else(PoisonError::into_inner).insert(name.to_owned(), learned);
    }

    /// What was learned of a node is of another: a part of it was changed.
    pub(crate) fn forget(&self, name: &str) {
        self.0.write().unwrap_or_else(PoisonError::into_inner).remove(name);
    }
}
