//! What signals ask of a service: to stop, or to read its files anew.

use std::path::PathBuf;
use std::pin::Pin;
use std::sync::Arc;

use report::problem::{Failure, Problem};

use super::{Form, Prepared, links, prepared, settings};
use crate::input::fleet;
use crate::output;
use crate::service::Settings;
use crate::web::pulse::Pulse;

/// How files are read anew.
#[derive(Clone, Debug)]
pub(crate) struct Anew {
    /// The file of the site.
    pub(crate) site: PathBuf,
    /// The passphrase's file, if the command line names one.
    pub(crate) passphrase_file: Option<PathBuf>,
    /// How frames are told.
    pub(crate) form: Form,
}

/// Why a service has ended.
pub(super) enum Ended {
    /// It was asked to.
    Stopped,
    /// It goes on with what its files say now, which were found sound.
    Anew(Box<Prepared>),
}

/// Signals as they come; one that comes while files are read is not lost.
pub(super) struct Signals {
    stop: Pin<Box<dyn Future<Output = ()>>>,
    again: Again,
    anew: Option<Anew>,
}

impl Signals {
    pub(super) fn new(anew: Option<Anew>) -> Self {
        Self { stop: Box::pin(stop_signal()), again: Again::new(anew.is_some()), anew }
    }

    /// Waits for the first that ends the service. Files that can't be used leave it as it is, and that is said.
    pub(super) async fn next(&mut self, pulse: &Pulse) -> Ended {
        let Some(anew) = &self.anew else {
            (&mut self.stop).await;
            return Ended::Stopped;
        };
        loop {
            tokio::select! {
                () = &mut self.stop => return Ended::Stopped,
                () = self.again.asked() => {}
            }
            let tried = anew.clone();
            match in_a_thread(move || tried.read()).await {
                Ok(ready) => return Ended::Anew(Box::new(ready)),
                Err(failure) => {
                    pulse.connection(
                        "site file",
                        Err("it can't be used as it is now; the old one is in force".to_owned()),
                    );
                    output::complain(&failure.render());
                    output::complain(
                        "The files as they are now can't be used: those of before stay in force.\n",
                    );
                }
            }
        }
    }
}

impl Anew {
    /// What the service would begin with by the files as they are now. The log is not looked at.
    fn read(&self) -> Result<Prepared, Failure> {
        let site = fleet::site(&self.site)?;
        let settings = Settings::of(&site, self.passphrase_file.as_deref())?;
        let asks = settings.passphrase_file.is_none()
            && settings.registry.as_ref().is_some_and(|folder| folder.join(logbook::folder::KEYS).is_file());
        if asks {
            let message = "the passphrase would have to be typed again".to_owned();
            let help = "write `passphrase_file` into [serve], or start it again";
            return Err(Failure::of(Problem::of_file("passphrase", "serve", message, help)));
        }
        let setup = settings::setup(&site, &settings)?;
        links::subscriptions(&site, &setup, "")?;
        prepared(Arc::new(site), self.form, settings, setup)
    }
}

/// Does what takes its time where it holds nobody up.
pub(super) async fn in_a_thread<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, Failure> + Send + 'static,
) -> Result<T, Failure> {
    tokio::task::spawn_blocking(work).await.map_err(|_failed| {
        let message = "the thread that reads the files has failed".to_owned();
        Failure::of(Problem::of_file("serve", "serve", message, "start it again"))
    })?
}

/// The signal by which files are read anew.
#[cfg(unix)]
struct Again(Option<tokio::signal::unix::Signal>);

#[cfg(unix)]
impl Again {
    /// Where it is not wanted the system's own way stays.
    fn new(wanted: bool) -> Self {
        use tokio::signal::unix::{SignalKind, signal};
        // What can't be caught ends the program by itself.
        Self(wanted.then(|| signal(SignalKind::hangup()).ok()).flatten())
    }

    async fn asked(&mut self) {
        match &mut self.0 {
            Some(signal) => drop(signal.recv().await),
            None => std::future::pending().await,
        }
    }
}

/// There is no such signal.
#[cfg(not(unix))]
struct Again;

#[cfg(not(unix))]
impl Again {
    fn new(_wanted: bool) -> Self {
        Self
    }

    async fn asked(&mut self) {
        std::future::pending().await
    }
}

/// Ends when the person or the system asks the program to stop; from the call on, not only once it is waited for.
#[cfg(unix)]
pub(super) fn stop_signal() -> impl Future<Output = ()> {
    use tokio::signal::unix::{SignalKind, signal};
    let asked = [SignalKind::interrupt(), SignalKind::terminate()].map(signal);
    async move {
        match asked {
            [Ok(mut interrupted), Ok(mut terminated)] => {
                tokio::select! {
                    _ = interrupted.recv() => {}
                    _ = terminated.recv() => {}
                }
            }
            // What can't be caught ends the program by itself.
            _ => std::future::pending().await,
        }
    }
}

/// Ends when the person asks the program to stop.
#[cfg(not(unix))]
pub(super) fn stop_signal() -> impl Future<Output = ()> {
    async { drop(tokio::signal::ctrl_c().await) }
}
