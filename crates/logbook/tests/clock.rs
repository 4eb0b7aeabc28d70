//! A clock that can't be believed: everything is kept and marked, nothing is answered, and work goes on when it is set.

#[expect(dead_code, reason = "only the joins of the traffic are used here")]
mod traffic;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

use design::serve::Foreign;
use logbook::clock::{Belief, MADE, News};
use logbook::network::Downlink;
use logbook::received::{Moment, Received};
use logbook::store::StoreError;
use logbook::store::keeper::KeptFrame;
use logbook::store::sqlite::{self, Log};
use logbook::store::writer::{Arrival, Inbox, Listener, Writer};

const SECOND: Moment = 1_000_000;
const DAY: Moment = 86_400 * SECOND;
/// An answer to a join is asked for 250 ms after it, or never.
const ANSWERED_WITHIN: Duration = Duration::from_secs(2);

#[derive(Debug)]
enum Told {
    Kept(Box<KeptFrame>),
    Answer,
    Clock(News),
}

struct Ear(Sender<Told>);

impl Ear {
    fn tell(&self, told: Told) {
        let _gone = self.0.send(told);
    }
}

impl Listener for Ear {
    fn kept(&mut self, frames: &[KeptFrame]) {
        for kept in frames {
            self.tell(Told::Kept(Box::new(kept.clone())));
        }
    }

    fn answer(&mut self, _: &Downlink) {
        self.tell(Told::Answer);
    }

    fn trouble(&mut self, trouble: Option<&StoreError>) {
        assert!(trouble.is_none(), "{trouble:?}");
    }

    fn clock(&mut self, news: News) {
        self.tell(Told::Clock(news));
    }
}

/// A clock that runs, and can be set.
#[derive(Clone)]
struct Clock {
    ahead: Arc<AtomicI64>,
    begun: Instant,
}

impl Clock {
    fn at(moment: Moment) -> Self {
        Self { ahead: Arc::new(AtomicI64::new(moment)), begun: Instant::now() }
    }

    fn now(&self) -> Moment {
        self.passed() + self.ahead.load(Ordering::SeqCst)
    }

    fn set(&self, moment: Moment) {
        self.ahead.store(moment - self.passed(), Ordering::SeqCst);
    }

    fn passed(&self) -> Moment {
        Moment::try_from(self.begun.elapsed().as_micros()).expect("a short test")
    }
}

struct Bench {
    clock: Clock,
    writer: Writer,
    inbox: Inbox,
    told: Receiver<Told>,
}

impl Bench {
    fn new(path: &Path, given: u32, moment: Moment) -> Self {
        let clock = Clock::at(moment);
        let (tell, told) = channel();
        let log = Log::open(path).expect("it opens");
        let shown = clock.clone();
        let site = traffic::site(given);
        let listener = Box::new(Ear(tell));
        let writer = Writer::start_by(Box::new(move || shown.now()), log, site, clock.now(), listener);
        let writer = writer.expect("it starts");
        Self { clock, inbox: writer.inbox(), writer, told }
    }

    fn next(&self) -> Told {
        self.told.recv_timeout(Duration::from_secs(20)).expect("something is told")
    }

    /// Hands in a frame that arrives now; what became of it.
    fn hear(&self, frame: &Received) -> KeptFrame {
        let frame = Received { arrived_at: self.clock.now(), ..frame.clone() };
        self.inbox.offer(Arrival::Frame(frame, "udp"), None).expect("there is room");
        match self.next() {
            Told::Kept(kept) => *kept,
            other => panic!("a frame, not {other:?}"),
        }
    }

    fn is_answered(&self) -> bool {
        matches!(self.told.recv_timeout(ANSWERED_WITHIN), Ok(Told::Answer))
    }

    fn stop(self) {
        drop(self.inbox);
        self.writer.stop().expect("all is kept");
    }
}

/// Join-requests that the network takes, in order.
fn joins() -> Vec<Received> {
    let lines = traffic::lines();
    lines.iter().filter(|line| line.expected == ["join"]).map(|line| line.frames().remove(0)).collect()
}

fn marks(path: &Path) -> Vec<(String, Option<u32>, Option<u32>)> {
    let log = sqlite::reader(path).expect("it opens");
    let mut rows = log
        .prepare(
            "SELECT verdict, frame.clock_unsure, reception.clock_unsure FROM frame JOIN reception ON frame = id \
             ORDER BY id, reception.rowid",
        )
        .expect("sound SQL");
    let rows = rows.query_map([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).expect("it is read");
    rows.collect::<Result<_, _>>().expect("it is read")
}

#[test]
fn until_the_clock_is_set_all_is_kept_and_marked_and_nothing_is_answered() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let joins = joins();
    let bench = Bench::new(&path, 0, 90 * SECOND);
    let Told::Clock(News::Unsure { shown, earliest }) = bench.next() else {
        panic!("the clock is said first")
    };
    assert!((90 * SECOND..120 * SECOND).contains(&shown), "{shown}");
    assert_eq!(earliest, MADE);
    let kept = bench.hear(&joins[0]);
    assert_eq!((kept.verdict, kept.clock_unsure), ("join", true));
    assert!(!bench.is_answered(), "nothing is answered by a clock that stands in 1970");
    bench.clock.set(MADE + 30 * DAY);
    let Ok(Told::Clock(News::Sure { .. })) = bench.told.recv_timeout(Duration::from_secs(20)) else {
        panic!("it is noticed without a frame")
    };
    let kept = bench.hear(&joins[1]);
    assert_eq!((kept.verdict, kept.clock_unsure), ("join", false));
    assert!(bench.is_answered(), "work goes on");
    bench.stop();
    let join = |mark| ("join".to_owned(), mark, mark);
    assert_eq!(marks(&path), [join(Some(1)), join(None)]);
}

/// A computer that begins where it was stopped, an hour before the newest row; and one that went wrong to a year far ahead.
#[test]
fn a_clock_that_is_behind_the_log_is_not_believed_until_it_has_reached_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let joins = joins();
    let newest = MADE + 30 * DAY;
    let bench = Bench::new(&path, 0, newest);
    assert!(!bench.hear(&joins[0]).clock_unsure);
    assert!(bench.is_answered());
    bench.stop();
    let bench = Bench::new(&path, 1, newest - 3600 * SECOND);
    let Told::Clock(News::Unsure { earliest, .. }) = bench.next() else { panic!("the clock is said first") };
    assert!((newest..newest + 20 * SECOND).contains(&earliest), "{earliest}");
    assert!(bench.hear(&joins[1]).clock_unsure);
    assert!(!bench.is_answered());
    bench.stop();
    // The row that was marked says nothing of the time.
    let log = Log::open(&path).expect("it opens");
    assert_eq!(log.newest_arrival().expect("it is read"), Some(earliest));
    // A person says that the log is wrong, not the clock.
    log.clock_is_right().expect("it is noted");
    assert_eq!(Belief::of(log.newest_arrival().expect("it is read")), Belief::of(None));
    drop(log);
    let bench = Bench::new(&path, 2, newest - 3600 * SECOND);
    assert!(!bench.hear(&joins[2]).clock_unsure);
    assert!(bench.is_answered());
    bench.stop();
}

#[test]
fn a_clock_that_is_set_by_an_hour_is_said_and_work_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let joins = joins();
    let bench = Bench::new(&path, 0, MADE + 30 * DAY);
    assert_eq!(bench.hear(&joins[0]).verdict, "join");
    assert!(bench.is_answered());
    let stepped = |hours: i64| {
        bench.clock.set(bench.clock.now() + hours * 3600 * SECOND);
        match bench.next() {
            Told::Clock(News::Stepped { by }) => by - hours * 3600 * SECOND,
            other => panic!("a step, not {other:?}"),
        }
    };
    for hours in [1, -1] {
        let beside = stepped(hours);
        assert!(beside.abs() < SECOND, "{beside}");
    }
    let kept = bench.hear(&joins[1]);
    assert_eq!((kept.verdict, kept.clock_unsure), ("join", false));
    bench.stop();
}

#[test]
fn strangers_frames_are_not_forgotten_by_a_clock_that_is_wrong() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let foreign = traffic::lines().into_iter().find(|line| line.expected == ["refused:foreign"]);
    let foreign = foreign.expect("there are strangers").frames().remove(0);
    let bench = Bench::new(&path, 0, MADE + 30 * DAY);
    assert_eq!(bench.hear(&foreign).verdict, "refused:foreign");
    assert_eq!(bench.hear(&joins()[0]).verdict, "join");
    bench.stop();
    let month = design::quantity::Duration::from_days(30.0);
    let site = logbook::store::setup::Site { foreign: Foreign::Kept(month), ..traffic::site(1) };
    let (tell, told) = channel();
    // In the year 2100 every frame is older than a month.
    let beyond = logbook::clock::BEYOND;
    let log = Log::open(&path).expect("it opens");
    let writer = Writer::start_by(Box::new(move || beyond), log, site, beyond, Box::new(Ear(tell)));
    let writer = writer.expect("it starts");
    assert!(matches!(told.recv(), Ok(Told::Clock(News::Unsure { .. }))));
    writer.stop().expect("nothing waits");
    assert_eq!(marks(&path).len(), 2);
}
