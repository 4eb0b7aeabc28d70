//! How long work takes word of itself, and is told to stop.

/// Takes progress and may ask to stop.
pub trait Progress: Sync {
    /// So much of so much is done.
    fn report(&self, done: usize, total: usize);
    /// Whether to stop and give the answer so far.
    fn stop(&self) -> bool;
}

/// Tells nobody and never stops.
#[derive(Clone, Copy, Debug)]
pub struct Silent;

impl Progress for Silent {
    fn report(&self, _: usize, _: usize) {}
    fn stop(&self) -> bool {
        false
    }
}
