//! Says that the key box is shut, on the address of the page, while its passphrase is asked for.

use std::sync::mpsc::channel;
use std::thread::{self, JoinHandle};

use logbook::folder::KEYS;
use report::problem::Failure;
use tokio::sync::watch;

use super::{Settings, no_threads, page_at};
use crate::enrolment::passphrase;
use crate::web;

/// Answers until it is dropped.
pub(super) struct Shut {
    stop: watch::Sender<bool>,
    thread: Option<JoinHandle<()>>,
}

/// Begins to answer, if somebody will be asked and there is an address.
pub(super) fn answer(settings: &Settings) -> Result<Option<Shut>, Failure> {
    let sealed = settings.registry.as_ref().is_some_and(|folder| folder.join(KEYS).exists());
    let asked = sealed && settings.passphrase_file.is_none() && passphrase::can_ask();
    if !asked || settings.page.is_none() {
        return Ok(None);
    }
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| no_threads(&error))?;
    let Some((_, doorway)) = runtime.block_on(page_at(settings))? else { return Ok(None) };
    let (stop, stopping) = watch::channel(false);
    let (begun, begins) = channel();
    let serve = move || {
        runtime.block_on(async move {
            let listening = doorway.serve(web::shut(), stopping);
            // Whoever waits for it has not gone.
            let _heard = begun.send(());
            listening.ended().await;
        });
    };
    let thread = thread::Builder::new().name("shut".to_owned()).spawn(serve);
    let thread = thread.map_err(|error| no_threads(&error))?;
    // It begins, or the thread has failed and nobody is answered.
    let _begun = begins.recv();
    Ok(Some(Shut { stop, thread: Some(thread) }))
}

impl Drop for Shut {
    fn drop(&mut self) {
        self.stop.send_replace(true);
        if let Some(thread) = self.thread.take() {
            // The address is free again once it has ended.
            let _ended = thread.join();
        }
    }
}
