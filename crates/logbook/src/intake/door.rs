//! What is handed in at many places, until all of them are closed at once: a place that lingers does not hold the log open.

use std::sync::{Mutex, PoisonError};

use crate::store::writer::{Arrival, Done, Inbox, Overfull};

/// An inbox that can be closed while others still hold it.
#[derive(Debug)]
pub struct Door(Mutex<Option<Inbox>>);

impl Door {
    /// Open until it is closed.
    pub const fn new(inbox: Inbox) -> Self {
        Self(Mutex::new(Some(inbox)))
    }

    /// One that was never open: nothing is taken in.
    pub const fn shut() -> Self {
        Self(Mutex::new(None))
    }

    /// Hands in an arrival; `done` is called when it is on the disk.
    ///
    /// # Errors
    /// [`Overfull`] if too many wait, or it is closed.
    pub fn offer(&self, arrival: Arrival, done: Option<Done>) -> Result<(), Overfull> {
        let inbox = self.0.lock().unwrap_or_else(PoisonError::into_inner).clone();
        inbox.ok_or(Overfull)?.offer(arrival, done)
    }

    /// Hands in an arrival that can wait: it comes back, uncounted, if there is no room or it is closed.
    ///
    /// # Errors
    /// The arrival itself.
    pub fn try_offer(&self, arrival: Arrival, done: Done) -> Result<(), Box<Arrival>> {
        let inbox = self.0.lock().unwrap_or_else(PoisonError::into_inner).clone();
        match inbox {
            Some(inbox) => inbox.try_offer(arrival, done),
            None => Err(Box::new(arrival)),
        }
    }

    /// Nothing more is taken in; what was handed in before is kept.
    pub fn close(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}
