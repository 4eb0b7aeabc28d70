//! Keeps a waiting person informed, and gives them the answer so far when they have waited enough.

use std::io::{self, IsTerminal as _, Write as _};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use forecast::Progress;
use report::words;

/// Nobody needs to be told of what is done within it.
const PATIENCE: Duration = Duration::from_secs(1);
const BETWEEN_COUNTS: Duration = Duration::from_millis(100);
/// Exit code of a program that was interrupted, as shells count it.
pub(crate) const INTERRUPTED: u8 = 130;

/// A counter on standard error, and the key that stops.
pub(crate) struct Counter {
    begun: Instant,
    on_terminal: bool,
    stop: Arc<AtomicBool>,
    shown: Mutex<Option<Instant>>,
    at: String,
    counted: &'static str,
    stopping: &'static str,
}

impl Counter {
    /// Begins to count; from now on the first Ctrl-C asks for the answer so far, and the second ends the program.
    pub(crate) fn begin() -> Self {
        Self::counting("lives", "gives the answer so far")
    }

    /// Begins to count something else that is counted, with what Ctrl-C does to it.
    pub(crate) fn counting(counted: &'static str, stopping: &'static str) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let asked = Arc::clone(&stop);
        let handler = move || {
            if asked.swap(true, Ordering::Relaxed) {
                std::process::exit(INTERRUPTED.into());
            }
        };
        // Without a handler Ctrl-C ends the program at once, as everywhere else.
        let _unheard = ctrlc::set_handler(handler);
        Self {
            begun: Instant::now(),
            on_terminal: io::stderr().is_terminal(),
            stop,
            shown: Mutex::new(None),
            at: String::new(),
            counted,
            stopping,
        }
    }

    /// Says what is being worked on.
    pub(crate) fn at(&mut self, at: String) {
        self.at = at + ": ";
    }

    fn is_due(&self, now: Instant, shown: Option<Instant>) -> bool {
        let patient = now.duration_since(self.begun) < PATIENCE;
        !patient && shown.is_none_or(|last| now.duration_since(last) >= BETWEEN_COUNTS)
    }
}

impl Progress for Counter {
    fn report(&self, done: usize, total: usize) {
        let now = Instant::now();
        let Ok(mut shown) = self.shown.try_lock() else { return };
        if self.on_terminal && self.is_due(now, *shown) {
            *shown = Some(now);
            let (done, total) = (words::grouped(done), words::grouped(total));
            let count = format!("\r{}{done} of {total} {}", self.at, self.counted);
            let _nobody_left = write!(io::stderr(), "{count}; Ctrl-C {}", self.stopping);
        }
    }

    fn stop(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

impl Drop for Counter {
    fn drop(&mut self) {
        if self.shown.get_mut().is_ok_and(|shown| shown.is_some()) {
            let _nobody_left = write!(io::stderr(), "\r{:79}\r", "");
        }
    }
}
