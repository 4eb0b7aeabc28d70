//! The one thread that writes.
//!
//! Whatever comes within 5 ms, at most 8,000 copies of frames, is judged and written in one transaction. Only when that is on
//! the disk does anybody hear of it: the listener, and whoever waits for a frame of his own. While the rows of a stretch are
//! written, a second thread judges and reads the next one; it has ended when the transaction does.

use std::collections::BTreeSet;
use std::fmt;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use rusqlite::{Connection, Transaction, TransactionBehavior};
use wire::identity::{DevEui, GatewayEui};

use super::again::{self, Again};
use super::alarms::{self, Seen};
use super::keeper::{Copied, Keeper, KeptFrame};
use super::learned::{self, Lesson};
use super::setup::Site;
use super::sheet::Sheet;
use super::sqlite::Log;
use super::telling::{self, Outcome, Tell};
use super::{StoreError, hours};
use crate::clock::{self, Belief, News, Watch};
use crate::mapping::Message;
use crate::network::{Downlink, DownlinkNumber, Effect, Heard};
use crate::received::{Moment, Received, Report};
use crate::watch::{AlarmId, Change};

/// A batch is what came within this time ..
const GATHERED: Duration = Duration::from_millis(5);
/// .. but not more.
const MOST_AT_ONCE: usize = 8000;
/// Copies that are judged and read while those before them are written.
const AHEAD: usize = 1024;
/// With fewer rows than this to write, a second thread is not worth its start.
const WORTH_A_THREAD: usize = 128;
/// What waits to be kept; more is not taken in.
const MOST_WAITING: usize = 20_000;
/// After a failure the batch is tried again so much later, then twice as late each time ..
const FIRST_PAUSE: Duration = Duration::from_millis(100);
/// .. up to this.
const LONGEST_PAUSE: Duration = Duration::from_secs(5);
/// Whoever stops the log waits no longer for a disk that does not take what waits.
const LAST_TRIES: Duration = Duration::from_secs(3);
/// Strangers' frames whose time is over are looked for so often.
const BETWEEN_SWEEPS: Duration = Duration::from_mins(1);
/// Hours that have become stale are made anew so often ..
const BETWEEN_HOURS: Duration = Duration::from_secs(20);
/// .. and at most for this time before what came in is kept.
const HOURS_FOR: Duration = Duration::from_millis(20);
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
    /// A gateway reports on itself.
    Report {
        /// Which one.
        gateway: GatewayEui,
        /// When.
        at: Moment,
        /// What it says.
        report: Report,
    },
    /// A message of another network.
    Message(Message),
    /// What the watch has found.
    Watched {
        /// What has changed.
        changes: Vec<Change>,
        /// Who is to be told of it, and when.
        tells: Vec<Tell>,
    },
    /// What became of messages to somebody who is told.
    Told {
        /// Their numbers.
        messages: Vec<i64>,
        /// What became of them.
        outcome: Outcome,
    },
    /// Somebody has seen an alarm.
    Seen {
        /// Which one.
        alarm: AlarmId,
        /// Who, when, and what they said to it.
        seen: Seen,
    },
    /// People want nodes to be told something: the rows are there.
    Wanted,
    /// Another network has been asked to tell a node something.
    AskedElsewhere {
        /// The row of `setting`.
        setting: i64,
        /// When.
        at: Moment,
        /// Whether it took that; if not, it will not take it another time either.
        taken: bool,
    },
    /// Some days have taught something of a node.
    Learned(Box<Lesson>),
    /// Something to be remembered under a key.
    Noted {
        /// The key.
        key: String,
        /// What is to stand there.
        value: String,
    },
    /// A gateway says what became of an answer.
    Answered {
        /// The answer.
        number: DownlinkNumber,
        /// Why it was not sent; none if it was.
        refused: Option<String>,
    },
}

/// Told of what is on the disk, in the order of keeping; called by the thread that writes.
pub trait Listener: Send {
    /// These frames are kept.
    fn kept(&mut self, frames: &[KeptFrame]);
    /// This answer is kept, and may be sent.
    fn answer(&mut self, downlink: &Downlink);
    /// A gateway has shown that it lives; whether it asks for answers, as it does every few seconds.
    fn alive(&mut self, _gateway: GatewayEui, _at: Moment, _asks: bool) {}
    /// The log can't be written now, or can be again.
    fn trouble(&mut self, trouble: Option<&StoreError>);
    /// History was read anew, a stretch of it; or why it can't be.
    fn decoded_again(&mut self, _: Result<&Again, &StoreError>) {}
    /// The computer's clock can't be believed, can be again, or has been set.
    fn clock(&mut self, _: News) {}
    /// Hours and days can't be made from readings; it is tried again.
    fn hours_failed(&mut self, _: &StoreError) {}
}

/// Called when an arrival is on the disk; dropped uncalled if that never comes. Of a message with several uplinks it is told
/// of one that was refused, if any was.
pub type Done = Box<dyn FnOnce(Option<&KeptFrame>) + Send>;

/// Tells the time.
pub type Clock = Box<dyn Fn() -> Moment + Send>;

struct Job {
    arrival: Arrival,
    done: Option<Done>,
}

/// What is kept together, and what the network makes of it once it is judged.
#[derive(Default)]
struct Batch {
    arrivals: Vec<Arrival>,
    done: Vec<Option<Done>>,
    heard: Vec<Option<Heard>>,
}

impl Batch {
    fn add(&mut self, job: Job) {
        self.arrivals.push(job.arrival);
        self.done.push(job.done);
        self.heard.push(None);
    }
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
    /// Time that went into judging frames \[us\].
    pub judging_us: AtomicU64,
    /// Time that went into rows, without their commits \[us\].
    pub writing_us: AtomicU64,
    /// Time that went into commits \[us\].
    pub committing_us: AtomicU64,
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

    /// Hands in what can wait: it comes back, uncounted, if there is no room.
    pub(crate) fn try_offer(&self, arrival: Arrival, done: Done) -> Result<(), Box<Arrival>> {
        self.jobs.try_send(Job { arrival, done: Some(done) }).map_err(|refused| {
            let (TrySendError::Full(job) | TrySendError::Disconnected(job)) = refused;
            Box::new(job.arrival)
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
    pub fn start(log: Log, site: Site, now: Moment, listener: Box<dyn Listener>) -> Result<Self, StoreError> {
        Self::start_by(Box::new(clock::now), log, site, now, listener)
    }

    /// The same by another clock than the computer's.
    ///
    /// # Errors
    /// [`StoreError`] if the log can't be brought up to the site.
    pub fn start_by(
        clock: Clock,
        log: Log,
        site: Site,
        now: Moment,
        listener: Box<dyn Listener>,
    ) -> Result<Self, StoreError> {
        let newest = log.newest_arrival()?;
        let belief = Belief::of(newest);
        let now = newest.filter(|_| !belief.holds(now)).unwrap_or(now);
        let transaction = Transaction::new_unchecked(&log.connection, TransactionBehavior::Immediate)?;
        let keeper = Keeper::start(site, &transaction, now, belief)?;
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
            clock,
            watch: Watch::new(belief),
            begun: Instant::now(),
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

/// When that was done last which is done beside keeping.
#[derive(Default)]
struct Beside {
    swept: Option<Instant>,
    has_read_again: bool,
    hours: Option<Instant>,
}

/// The thread's own things.
struct Desk {
    log: Log,
    keeper: Keeper,
    listener: Box<dyn Listener>,
    counts: Arc<Counts>,
    stopping: Arc<AtomicBool>,
    last_word: Arc<Mutex<Option<StoreError>>>,
    clock: Clock,
    watch: Watch,
    /// When the watch began, by a clock that is never set.
    begun: Instant,
}

impl Desk {
    fn run(mut self, waiting: &Receiver<Job>) {
        let mut folded = true;
        let mut beside = Beside::default();
        loop {
            self.look_at_the_clock();
            let pause = if self.beside(&mut beside) { Duration::ZERO } else { self.pause() };
            let done = match waiting.recv_timeout(pause) {
                Ok(first) => {
                    folded = false;
                    self.look_at_the_clock();
                    self.keep(gather(first, waiting))
                }
                Err(RecvTimeoutError::Timeout) => {
                    // A reader may hold it; the next pause will do.
                    folded = folded || pause == IDLE && fold(&self.log.connection).is_ok();
                    if pause == IDLE {
                        // Nobody waits: hours are made at once.
                        beside.hours = None;
                    }
                    Ok(())
                }
                Err(RecvTimeoutError::Disconnected) => return,
            };
            if let Err(error) = done.and_then(|()| self.answer()) {
                *self.last_word.lock().unwrap_or_else(PoisonError::into_inner) = Some(error);
                return;
            }
        }
    }

    /// Answers nothing as long as the clock can't be believed.
    fn look_at_the_clock(&mut self) {
        let Some(news) = self.watch.look(self.now(), self.begun.elapsed()) else { return };
        if !matches!(news, News::Stepped { .. }) {
            self.keeper.be_silent(!self.watch.is_sure());
        }
        self.listener.clock(news);
    }

    fn now(&self) -> Moment {
        (self.clock)()
    }

    /// What is done beside keeping, a piece of it; whether more is to be done at once.
    fn beside(&mut self, beside: &mut Beside) -> bool {
        if self.watch.is_sure() && beside.swept.is_none_or(|last| last.elapsed() >= BETWEEN_SWEEPS) {
            beside.swept = Some(Instant::now());
            self.tell_settings();
            let now = self.now();
            // What can't be removed now is removed later.
            let _later = self.in_transaction(|keeper, log| keeper.forget_strangers(log, now));
        }
        if !beside.has_read_again && self.decode_again(beside) {
            return true;
        }
        if beside.hours.is_none_or(|last| last.elapsed() >= BETWEEN_HOURS) {
            return self.make_hours(beside);
        }
        false
    }

    fn decode_again(&mut self, beside: &mut Beside) -> bool {
        let now = self.now();
        let done = self.in_transaction(|keeper, log| match again::next(log)? {
            Some(next) => again::stretch(keeper, log, next, now).map(Some),
            None => Ok(None),
        });
        match done {
            Ok(Some(again)) => {
                self.listener.decoded_again(Ok(&again));
                return true;
            }
            Ok(None) => {}
            // Tried again at the next start.
            Err(error) => self.listener.decoded_again(Err(&error)),
        }
        beside.has_read_again = true;
        false
    }

    fn make_hours(&mut self, beside: &mut Beside) -> bool {
        let worked_off = self.in_transaction(|_, log| hours::work_off(log, HOURS_FOR));
        match worked_off {
            Ok((nodes, true)) => {
                self.keeper.worked_off(&nodes);
                return true;
            }
            Ok((nodes, false)) => self.keeper.worked_off(&nodes),
            Err(error) => self.listener.hours_failed(&error),
        }
        beside.hours = Some(Instant::now());
        false
    }

    /// How long to wait for an arrival before something is to be answered.
    fn pause(&self) -> Duration {
        let Some(tick) = self.keeper.next_tick() else { return IDLE };
        let microseconds = u64::try_from(tick - self.now()).unwrap_or_default();
        Duration::from_micros(microseconds).min(IDLE)
    }

    /// Keeps a batch, however long that takes; an error only when the log is being stopped.
    fn keep(&mut self, mut batch: Batch) -> Result<(), StoreError> {
        let (mut effects, now) = (Vec::new(), self.now());
        for arrival in &batch.arrivals {
            if let Arrival::Answered { number, refused } = arrival {
                effects.extend(self.keeper.told(*number, refused.as_deref(), now));
            }
        }
        let kept = self.persist(|desk| match desk.whole(&mut batch) {
            Err(error) if !error.passes() => desk.one_by_one(&mut batch),
            done => done,
        })?;
        if batch.arrivals.contains(&Arrival::Wanted) {
            self.tell_settings();
        }
        self.keeper.on_disk(batch.heard.iter().flatten().map(|heard| heard.frame));
        self.tell(batch, kept);
        self.act(&effects)
    }

    /// What can't be read now is told a minute later.
    fn tell_settings(&mut self) {
        let _later = self.keeper.tell_settings(&self.log.connection);
    }

    /// Answers what is gathered and kept.
    fn answer(&mut self) -> Result<(), StoreError> {
        let now = self.now();
        let effects = self.keeper.tick(now);
        self.act(&effects)
    }

    /// Keeps effects, and only then lets them happen.
    fn act(&mut self, effects: &[Effect]) -> Result<(), StoreError> {
        if effects.is_empty() {
            return Ok(());
        }
        let now = self.now();
        let keep = |keeper: &mut Keeper, log: &mut Transaction<'_>| keeper.keep_effects(log, effects, now);
        match self.persist(|desk| desk.in_transaction(keep)) {
            // An answer that can't be kept is not sent; the device asks again.
            Err(StoreError::Row { why }) => {
                self.listener.trouble(Some(&StoreError::Row { why }));
                return Ok(());
            }
            done => done?,
        }
        for effect in effects {
            if let Effect::Send(downlink) | Effect::SendAgain(downlink) = effect {
                self.listener.answer(downlink);
            }
        }
        Ok(())
    }

    /// Tries until it is done; what can be tried again ends in an error only when the log is being stopped.
    fn persist<T>(
        &mut self,
        mut work: impl FnMut(&mut Self) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let mut pause = FIRST_PAUSE;
        let mut give_up: Option<Instant> = None;
        loop {
            let error = match work(self) {
                Ok(done) => {
                    if pause > FIRST_PAUSE {
                        self.listener.trouble(None);
                    }
                    return Ok(done);
                }
                Err(error) if error.passes() => error,
                Err(error) => return Err(error),
            };
            self.listener.trouble(Some(&error));
            if self.stopping.load(Ordering::Relaxed) {
                let until = *give_up.get_or_insert_with(|| Instant::now() + LAST_TRIES);
                if Instant::now() >= until {
                    return Err(error);
                }
            }
            self.wait(pause);
            pause = (2 * pause).min(LONGEST_PAUSE);
        }
    }

    /// Waits, unless the log is to be stopped.
    fn wait(&self, pause: Duration) {
        let until = Instant::now() + pause;
        while Instant::now() < until && !self.stopping.load(Ordering::Relaxed) {
            std::thread::sleep(FIRST_PAUSE.min(until.saturating_duration_since(Instant::now())));
        }
        if self.stopping.load(Ordering::Relaxed) {
            std::thread::sleep(FIRST_PAUSE);
        }
    }

    fn tell(&mut self, batch: Batch, kept: Vec<Vec<KeptFrame>>) {
        for ((arrival, done), kept) in batch.arrivals.iter().zip(batch.done).zip(&kept) {
            if let Arrival::SignOfLife { gateway, at, address } = arrival {
                self.listener.alive(*gateway, *at, address.is_some());
            }
            if let Some(done) = done {
                let refused = kept.iter().find(|kept| kept.verdict.starts_with("refused"));
                done(refused.or_else(|| kept.first()));
            }
        }
        let frames: Vec<KeptFrame> = kept.into_iter().flatten().collect();
        self.counts.kept.fetch_add(frames.len() as u64, Ordering::Relaxed);
        self.listener.kept(&frames);
    }

    /// All of it in one transaction.
    fn whole(&mut self, batch: &mut Batch) -> Result<Vec<Vec<KeptFrame>>, StoreError> {
        let judging = Arc::clone(&self.counts);
        self.in_transaction(|keeper, log| {
            let mut sheet = Sheet::default();
            let mut kept = Vec::with_capacity(batch.arrivals.len());
            for (arrivals, heard) in batch.arrivals.chunks(AHEAD).zip(batch.heard.chunks_mut(AHEAD)) {
                let (keeper_ahead, counts) = (&mut *keeper, &*judging);
                let is_worth_it = sheet.len() >= WORTH_A_THREAD;
                let (written, ahead) = abreast(
                    is_worth_it,
                    || sheet.write(log),
                    move || ahead(keeper_ahead, arrivals, heard, counts),
                );
                written?;
                let (heard, next, by_heart) = ahead?;
                sheet = next;
                let rest = arrivals.iter().zip(heard).skip(by_heart.len());
                kept.extend(by_heart.into_iter().map(|one| vec![one]));
                for (arrival, heard) in rest {
                    kept.push(take(keeper, log, &mut sheet, arrival, heard.as_ref())?);
                }
            }
            sheet.write(log)?;
            Ok(kept)
        })
    }

    /// Each in a savepoint of its own, so that one that can't be kept does not stop the others.
    fn one_by_one(&mut self, batch: &mut Batch) -> Result<Vec<Vec<KeptFrame>>, StoreError> {
        self.in_transaction(|keeper, log| {
            let mut kept = Vec::new();
            // Devices whose frame could not be kept: what follows is judged as if it had not come.
            let mut anew: BTreeSet<DevEui> = BTreeSet::new();
            for (arrival, heard) in batch.arrivals.iter().zip(&mut batch.heard) {
                judge(keeper, arrival, heard);
                let dev_eui = heard.as_ref().and_then(|heard| heard.dev_eui);
                if dev_eui.is_some_and(|dev_eui| anew.contains(&dev_eui)) {
                    *heard = None;
                    judge(keeper, arrival, heard);
                }
                let point = log.savepoint()?;
                match take_alone(keeper, &point, arrival, heard.as_ref()) {
                    Ok(one) => {
                        point.commit()?;
                        kept.push(one);
                    }
                    Err(error) if error.passes() => return Err(error),
                    Err(error) => {
                        drop(point);
                        keeper.load(log)?;
                        if let Some(dev_eui) = dev_eui {
                            keeper.restore(log, dev_eui)?;
                            anew.insert(dev_eui);
                        }
                        kept.push(refuse(keeper, log, arrival, heard.as_ref(), &error)?);
                    }
                }
            }
            Ok(kept)
        })
    }

    /// What does not end on the disk has not happened: the keeper's rows are those of the log.
    fn in_transaction<T>(
        &mut self,
        work: impl FnOnce(&mut Keeper, &mut Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let Self { log, keeper, counts, .. } = self;
        let done = Transaction::new_unchecked(&log.connection, TransactionBehavior::Immediate)
            .map_err(StoreError::from)
            .and_then(|mut transaction| {
                let begun = Instant::now();
                let done = work(keeper, &mut transaction)?;
                add_time(&counts.writing_us, begun);
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
        self.committing_us.fetch_add(took, Ordering::Relaxed);
        self.slowest_commit_us.fetch_max(took, Ordering::Relaxed);
    }
}

fn add_time(count: &AtomicU64, begun: Instant) {
    let took = u64::try_from(begun.elapsed().as_micros()).unwrap_or(u64::MAX);
    count.fetch_add(took, Ordering::Relaxed);
}

fn gather(first: Job, waiting: &Receiver<Job>) -> Batch {
    let until = Instant::now() + GATHERED;
    let mut batch = Batch::default();
    batch.add(first);
    while batch.arrivals.len() < MOST_AT_ONCE {
        if let Ok(job) = waiting.try_recv() {
            batch.add(job);
            continue;
        }
        match waiting.recv_timeout(until.saturating_duration_since(Instant::now())) {
            Ok(job) => batch.add(job),
            Err(_) => break,
        }
    }
    batch
}

/// Does both, at the same time if that is worth it.
fn abreast<A, B: Send>(
    is_worth_it: bool,
    one: impl FnOnce() -> A,
    other: impl FnOnce() -> B + Send,
) -> (A, B) {
    if !is_worth_it {
        return (one(), other());
    }
    std::thread::scope(|scope| {
        let other = scope.spawn(other);
        let one = one();
        (one, other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
    })
}

/// Judges a frame, once.
fn judge(keeper: &mut Keeper, arrival: &Arrival, heard: &mut Option<Heard>) {
    if let (Arrival::Frame(received, _), None) = (arrival, &heard) {
        *heard = Some(keeper.judge(received));
    }
}

/// What was heard, the rows of its beginning, and what of it is kept with them.
type Ahead<'a> = (&'a [Option<Heard>], Sheet<'a>, Vec<KeptFrame>);

/// Judges a stretch, and puts its rows on a sheet up to the first that can't be kept without looking into the log.
fn ahead<'a>(
    keeper: &mut Keeper,
    arrivals: &'a [Arrival],
    heard: &'a mut [Option<Heard>],
    counts: &Counts,
) -> Result<Ahead<'a>, StoreError> {
    let begun = Instant::now();
    arrivals.iter().zip(heard.iter_mut()).for_each(|(arrival, heard)| judge(keeper, arrival, heard));
    let heard: &[Option<Heard>] = heard;
    let mut sheet = Sheet::default();
    let mut kept = Vec::with_capacity(arrivals.len());
    for pair in arrivals.iter().zip(heard) {
        let (Arrival::Frame(received, source), Some(heard)) = pair else { break };
        let Some(one) = keeper.keep_by_heart(&mut sheet, Copied { received, source, heard }) else { break };
        kept.push(one?);
    }
    add_time(&counts.judging_us, begun);
    Ok((heard, sheet, kept))
}

fn take_alone(
    keeper: &mut Keeper,
    log: &Connection,
    arrival: &Arrival,
    heard: Option<&Heard>,
) -> Result<Vec<KeptFrame>, StoreError> {
    let mut sheet = Sheet::default();
    let kept = take(keeper, log, &mut sheet, arrival, heard)?;
    sheet.write(log)?;
    Ok(kept)
}

fn take<'a>(
    keeper: &mut Keeper,
    log: &Connection,
    sheet: &mut Sheet<'a>,
    arrival: &'a Arrival,
    heard: Option<&'a Heard>,
) -> Result<Vec<KeptFrame>, StoreError> {
    let nothing = |()| Vec::new();
    match (arrival, heard) {
        (Arrival::Frame(received, source), Some(heard)) => {
            keeper.keep(log, sheet, Copied { received, source, heard }).map(|kept| vec![kept])
        }
        (Arrival::Message(message), _) => keeper.keep_message(log, message),
        (Arrival::Watched { changes, tells }, _) => {
            changes.iter().try_for_each(|change| alarms::keep(log, change))?;
            telling::enqueue(log, tells).map(nothing)
        }
        (Arrival::Told { messages, outcome }, _) => telling::settle(log, messages, outcome).map(nothing),
        (Arrival::Seen { alarm, seen }, _) => alarms::see(log, *alarm, seen).map(nothing),
        (Arrival::AskedElsewhere { setting, at, taken }, _) => {
            keeper.asked_elsewhere(log, *setting, *at, *taken).map(nothing)
        }
        (Arrival::Learned(lesson), _) => learned::keep(log, lesson).map(nothing),
        (Arrival::Noted { key, value }, _) => super::rows::note(log, key, value).map(nothing),
        (Arrival::SignOfLife { gateway, at, address }, _) => {
            keeper.sign_of_life(log, *gateway, *at, address.as_deref()).map(nothing)
        }
        (Arrival::Report { gateway, at, report }, _) => {
            keeper.report(log, *gateway, *at, report).map(nothing)
        }
        (Arrival::Frame(..) | Arrival::Answered { .. } | Arrival::Wanted, _) => Ok(Vec::new()),
    }
}

/// What can't be kept as it is: its bytes, and why.
fn refuse(
    keeper: &mut Keeper,
    log: &Connection,
    arrival: &Arrival,
    heard: Option<&Heard>,
    why: &StoreError,
) -> Result<Vec<KeptFrame>, StoreError> {
    match (arrival, heard) {
        (Arrival::Frame(received, source), Some(heard)) => {
            keeper.keep_bytes(log, received, source, heard, &why.to_string()).map(|kept| vec![kept])
        }
        (Arrival::Message(message), _) => {
            keeper.keep_message_bytes(log, message, &why.to_string()).map(|kept| vec![kept])
        }
        _ => Ok(Vec::new()),
    }
}

/// Folds the file's own log into it.
fn fold(log: &Connection) -> Result<(), StoreError> {
    let busy: i64 = log.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |row| row.get(0))?;
    if busy == 0 { Ok(()) } else { Err(StoreError::Busy { process: None }) }
}
