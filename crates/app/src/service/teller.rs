//! The thread that prints: a terminal or pipe that takes nothing must not hold up the log.

use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, channel, sync_channel};
use std::thread;
use std::time::Duration;

use crate::output;

/// Texts that wait to be printed; what comes beyond is left out, and said.
const MOST_WAITING: usize = 10_000;
/// When the program stops, what waits is printed if that takes no longer.
const LAST_WORDS: Duration = Duration::from_secs(2);

/// Prints in the background.
pub(super) struct Teller {
    texts: SyncSender<String>,
    left_out: u64,
}

/// Tells when all is printed.
pub(super) struct Printed(Receiver<()>);

/// Begins to print.
pub(super) fn begin() -> std::io::Result<(Teller, Printed)> {
    let (texts, waiting) = sync_channel::<String>(MOST_WAITING);
    let (done, printed) = channel::<()>();
    thread::Builder::new().name("print".to_owned()).spawn(move || {
        for text in waiting {
            // A reader that has gone away does not stop the log.
            let _gone = output::print(&text);
        }
        drop(done);
    })?;
    Ok((Teller { texts, left_out: 0 }, Printed(printed)))
}

impl Teller {
    /// Another one that prints to the same place, for another thread.
    pub(super) fn twin(&self) -> Self {
        Self { texts: self.texts.clone(), left_out: 0 }
    }

    /// Prints a text as soon as the ones before are printed.
    pub(super) fn tell(&mut self, text: String) {
        if text.is_empty() {
            return;
        }
        match self.texts.try_send(text) {
            Ok(()) if self.left_out > 0 => {
                output::complain(&format!(
                    "Whoever reads what is printed here is slow: {} were left out; the log has them\n",
                    report::words::count(usize::try_from(self.left_out).unwrap_or(usize::MAX), "text")
                ));
                self.left_out = 0;
            }
            Ok(()) | Err(TrySendError::Disconnected(_)) => {}
            Err(TrySendError::Full(_)) => self.left_out += 1,
        }
    }
}

impl Printed {
    /// Waits until all is printed, but not for long.
    pub(super) fn wait(self) {
        // It ends by the other end going away, or not in time.
        let (Ok(()) | Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected)) =
            self.0.recv_timeout(LAST_WORDS);
    }
}
