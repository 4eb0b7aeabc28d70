//! The one thread that writes.
//!
//! Whatever comes within 5 ms, at most 2,000 frames, is judged and written in one transaction. Only when that is on the disk
//! does anybody hear of it: the listener, and whoever waits for a frame of his own.

use std::fmt;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rusqlite::{Connection, Transaction, TransactionBehavior};
use wire::identity::GatewayEui;

use super::StoreError;
use super::keeper::{Keeper, Kept};
use super::setup::Setup;
use super::sqlite::Log;
use crate::received::{Moment, Received};

/// A batch is what came within this time ..
const GATHERED: Duration = Duration::from_millis(5);
/// .. but not more.
const MOST_AT_ONCE: usize = 2000;
/// What waits to be kept; more is not taken in.
const MOST_WAITING: usize = 20_000;
/// After a failure the batch is tried again so much later, then twice as late each time ..
const FIRST_PAUSE: Duration = Duration::from_millis(100);
/// .. up to this.
const LONGEST_PAUSE: Duration = Duration::from_secs(5);
/// Whoever stops the log waits no longer for a disk that does not take what waits.
const LAST_TRIES: Duration = Duration::from_secs(3);
/// After so long without work the file's own log is folded into it.
const IDLE: Duration = Duration::from_secs(5);

/// Something that came in.
#[derive(Clone, Debug, PartialEq)]
pub enum Arrival {
    /// A copy of a frame, and the way by which it came.
    Frame(Received, &'static str),
    /// A gateway lives, and where answers to it go.
    SignOfLife {
        /// Which one.
        gateway: GatewayEui,
        /// When.
        at: Moment,
        /// Address and port; none if it has only spoken.
        address: Option<String>,
    },
}

/// Told of what is on the disk, in the order of keeping; called by the thread that writes.
pub trait Listener: Send {
    /// These frames are kept.
    fn kept(&mut self, frames: &[Kept]);
    /// The log can't be written now, or can be again.
    fn trouble(&mut self, trouble: Option<&StoreError>);
}

/// Called when an arrival is on the disk; dropped uncalled if that never comes.
pub type Done = Box<dyn FnOnce(Option<&Kept>) + Send>;

struct Job {
    arrival: Arrival,
    done: Option<Done>,
}

/// What has been counted since the start.
#[derive(Debug, Default)]
pub struct Counts {
    /// Copies of frames that are on the disk.
    pub kept: AtomicU64,
    /// Arrivals that were dropped because too many waited.
    pub dropped: AtomicU64,
    /// Commits.
    pub commits: AtomicU64,
    /// The longest of them \[us\].
    pub slowest_commit_us: AtomicU64,
}

/// Where arrivals are handed in; one for each intake.
#[derive(Clone)]
pub struct Inbox {
    jobs: SyncSender<Job>,
    counts: Arc<Counts>,
}

/// Too many arrivals wait, or the log is closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("too much waits to be kept")]
pub struct Overfull;

impl fmt::Debug for Inbox {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Inbox").finish_non_exhaustive()
    }
}

impl Inbox {
    /// Hands in an arrival; `done` is called when it is on the disk.
    ///
    /// # Errors
    /// [`Overfull`]; it is counted as dropped.
    pub fn offer(&self, arrival: Arrival, done: Option<Done>) -> Result<(), Overfull> {
        self.jobs.try_send(Job { arrival, done }).map_err(|refused| {
            let (TrySendError::Full(_) | TrySendError::Disconnected(_)) = refused;
            self.counts.dropped.fetch_add(1, Ordering::Relaxed);
            Overfull
        })
    }
}

/// A log that is being written.
pub struct Writer {
    inbox: Inbox,
    stopping: Arc<AtomicBool>,
    last_word: Arc<Mutex<Option<StoreError>>>,
    thread: JoinHandle<()>,
}

impl fmt::Debug for Writer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Writer").finish_non_exhaustive()
    }
}

impl Writer {
    /// Brings the log up to the site and begins to write.
    ///
    /// # Errors
    /// [`StoreError`] if the log can't be brought up to the site.
    pub fn start(
        log: Log,
        setup: Setup,
        now: Moment,
        listener: Box<dyn Listener>,
    ) -> Result<Self, StoreError> {
        let transaction = Transaction::new_unchecked(&log.connection, TransactionBehavior::Immediate)?;
        let keeper = Keeper::start(setup, &transaction, now)?;
        transaction.commit()?;
        let (jobs, waiting) = sync_channel(MOST_WAITING);
        let counts = Arc::new(Counts::default());
        let stopping = Arc::new(AtomicBool::new(false));
        let last_word = Arc::new(Mutex::new(None));
        let desk = Desk {
            log,
            keeper,
            listener,
            counts: Arc::clone(&counts),
            stopping: Arc::clone(&stopping),
            last_word: Arc::clone(&last_word),
        };
        let thread = std::thread::Builder::new().name("log".to_owned()).spawn(move || desk.run(&waiting))?;
        Ok(Self { inbox: Inbox { jobs, counts }, stopping, last_word, thread })
    }

    /// Where arrivals are handed in.
    pub fn inbox(&self) -> Inbox {
        self.inbox.clone()
    }

    /// What has been counted.
    pub fn counts(&self) -> Arc<Counts> {
        Arc::clone(&self.inbox.counts)
    }

    /// Keeps what waits, and closes the log once all inboxes are gone.
    ///
    /// # Errors
    /// [`StoreError`] if the disk did not take the rest; nobody was told that it was kept.
    pub fn stop(self) -> Result<(), StoreError> {
        self.stopping.store(true, Ordering::Relaxed);
        drop(self.inbox);
        if self.thread.join().is_err() {
            return Err(StoreError::Lost { why: "the thread that writes has failed".to_owned() });
        }
        let word = self.last_word.lock().unwrap_or_else(PoisonError::into_inner).take();
        word.map_or(Ok(()), Err)
    }
}

/// The thread's own things.
struct Desk {
    log: Log,
    keeper: Keeper,
    listener: Box<dyn Listener>,
    counts: Arc<Counts>,
    stopping: Arc<AtomicBool>,
    last_word: Arc<Mutex<Option<StoreError>>>,
}

impl Desk {
    fn run(mut self, waiting: &Receiver<Job>) {
        let mut folded = true;
        loop {
            match waiting.recv_timeout(IDLE) {
                Ok(first) => {
                    folded = false;
                    if let Err(error) = self.keep(gather(first, waiting)) {
                        *self.last_word.lock().unwrap_or_else(PoisonError::into_inner) = Some(error);
                        return;
                    }
                }
                Err(RecvTimeoutError::Timeout) if !folded => {
                    // A reader may hold it; the next pause will do.
                    folded = fold(&self.log.connection).is_ok();
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    /// Keeps a batch, however long that takes; an error only when the log is being stopped.
    fn keep(&mut self, batch: Vec<Job>) -> Result<(), StoreError> {
        let mut pause = FIRST_PAUSE;
        let mut last_try: Option<Instant> = None;
        let kept = loop {
            let error = match self.whole(&batch) {
                Ok(kept) => break kept,
                Err(error) => error,
            };
            let error = if error.passes() {
                error
            } else {
                match self.one_by_one(&batch) {
                    Ok(kept) => break kept,
                    Err(error) => error,
                }
            };
            self.listener.trouble(Some(&error));
            if self.stopping.load(Ordering::Relaxed) {
                let until = *last_try.get_or_insert_with(|| Instant::now() + LAST_TRIES);
                if Instant::now() >= until {
                    return Err(error);
                }
            }
            std::thread::sleep(pause);
            pause = (2 * pause).min(if last_try.is_some() { FIRST_PAUSE } else { LONGEST_PAUSE });
        };
        if pause > FIRST_PAUSE {
            self.listener.trouble(None);
        }
        self.tell(batch, kept);
        Ok(())
    }

    fn tell(&mut self, batch: Vec<Job>, kept: Vec<Option<Kept>>) {
        for (job, kept) in batch.into_iter().zip(&kept) {
            if let Some(done) = job.done {
                done(kept.as_ref());
            }
        }
        let frames: Vec<Kept> = kept.into_iter().flatten().collect();
        self.counts.kept.fetch_add(frames.len() as u64, Ordering::Relaxed);
        self.listener.kept(&frames);
    }

    /// All of it in one transaction.
    fn whole(&mut self, batch: &[Job]) -> Result<Vec<Option<Kept>>, StoreError> {
        self.in_transaction(|keeper, transaction| {
            batch.iter().map(|job| take(keeper, transaction, &job.arrival)).collect()
        })
    }

    /// Each in a savepoint of its own, so that one that can't be kept does not stop the others.
    fn one_by_one(&mut self, batch: &[Job]) -> Result<Vec<Option<Kept>>, StoreError> {
        self.in_transaction(|keeper, transaction| {
            let mut kept = Vec::new();
            for job in batch {
                let point = transaction.savepoint()?;
                match take(keeper, &point, &job.arrival) {
                    Ok(one) => {
                        point.commit()?;
                        kept.push(one);
                    }
                    Err(error) if error.passes() => return Err(error),
                    Err(error) => {
                        drop(point);
                        keeper.load(transaction)?;
                        kept.push(refuse(keeper, transaction, &job.arrival, &error)?);
                    }
                }
            }
            Ok(kept)
        })
    }

    /// What does not end on the disk has not happened: the keeper stands where the log does.
    fn in_transaction<T>(
        &mut self,
        work: impl FnOnce(&mut Keeper, &mut Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let Self { log, keeper, counts, .. } = self;
        let done = Transaction::new_unchecked(&log.connection, TransactionBehavior::Immediate)
            .map_err(StoreError::from)
            .and_then(|mut transaction| {
                let done = work(keeper, &mut transaction)?;
                let before = Instant::now();
                transaction.commit()?;
                counts.committed(before.elapsed());
                Ok(done)
            });
        if done.is_err() {
            keeper.load(&log.connection)?;
        }
        done
    }
}

impl Counts {
    fn committed(&self, took: Duration) {
        self.commits.fetch_add(1, Ordering::Relaxed);
        let took = u64::try_from(took.as_micros()).unwrap_or(u64::MAX);
        self.slowest_commit_us.fetch_max(took, Ordering::Relaxed);
    }
}

fn gather(first: Job, waiting: &Receiver<Job>) -> Vec<Job> {
    let until = Instant::now() + GATHERED;
    let mut batch = vec![first];
    while batch.len() < MOST_AT_ONCE {
        match waiting.recv_timeout(until.saturating_duration_since(Instant::now())) {
            Ok(job) => batch.push(job),
            Err(_) => break,
        }
    }
    batch
}

fn take(keeper: &mut Keeper, log: &Connection, arrival: &Arrival) -> Result<Option<Kept>, StoreError> {
    match arrival {
        Arrival::Frame(received, source) => keeper.hear(log, received, source).map(Some),
        Arrival::SignOfLife { gateway, at, address } => {
            keeper.sign_of_life(log, *gateway, *at, address.as_deref()).map(|()| None)
        }
    }
}

/// What can't be kept as it is: its bytes, and why.
fn refuse(
    keeper: &mut Keeper,
    log: &Connection,
    arrival: &Arrival,
    why: &StoreError,
) -> Result<Option<Kept>, StoreError> {
    match arrival {
        Arrival::Frame(received, source) => {
            keeper.keep_bytes(log, received, source, &why.to_string()).map(Some)
        }
        Arrival::SignOfLife { .. } => Ok(None),
    }
}

/// Folds the file's own log into it.
fn fold(log: &Connection) -> Result<(), StoreError> {
    let busy: i64 = log.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))?;
    if busy == 0 { Ok(()) } else { Err(StoreError::Busy { process: None }) }
}
