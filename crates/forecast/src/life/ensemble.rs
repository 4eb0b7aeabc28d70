//! Many lives of one node, each with its own weather, its own parts and its own spot.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use std::sync::atomic::{AtomicUsize, Ordering};

use super::kernel::Life;
use super::run::{LifeOutcome, Recorder, Trial, live};
use crate::progress::Progress;
use crate::sky::light::YEAR_DAYS;

/// Lives between two looks at whether to stop.
const BATCH: usize = 8;
const PERCENTS: usize = 101;

/// Counts of lives by day of the year and whole percent of charge.
#[derive(Clone, Debug)]
pub struct Bands {
    counts: Vec<[u32; PERCENTS]>,
}

impl Recorder for Bands {
    #[inline]
    fn day(&mut self, day: usize, life: &Life, counts: bool) {
        if counts {
            let percent = ((life.charge() * 100.0).round().clamp(0.0, 100.0)) as usize;
            self.counts[day][percent] += 1;
        }
    }
}

impl Bands {
    fn new() -> Self {
        Self { counts: vec![[0; PERCENTS]; YEAR_DAYS] }
    }

    fn merge(&mut self, other: &Self) {
        let pairs = self.counts.iter_mut().zip(&other.counts);
        pairs.for_each(|(mine, theirs)| mine.iter_mut().zip(theirs).for_each(|(a, b)| *a += b));
    }

    /// The charge below which a share of the lives lies on a day of the year; `None` on a day that no life lives.
    #[must_use]
    pub fn quantile(&self, day: usize, share: f64) -> Option<f64> {
        let counts = &self.counts[day];
        let wanted = share * f64::from(counts.iter().sum::<u32>());
        let mut below = 0.0;
        counts.iter().enumerate().find_map(|(percent, count)| {
            below += f64::from(*count);
            (below >= wanted && below > 0.0).then_some(percent as f64 / 100.0)
        })
    }
}

/// All lives of a trial.
#[derive(Clone, Debug)]
pub struct Lives {
    /// One by one, in the order of their numbers.
    pub outcomes: Vec<LifeOutcome>,
    /// Charge by day of the year.
    pub bands: Bands,
    /// How many were asked for.
    pub wanted: usize,
}

/// Numbers of lives that nobody has looked at while he chose between designs: what is chosen is confirmed on them.
pub const FIRST_FRESH: u64 = 1 << 42;

/// Lives a number of lives on so many threads; the answer does not depend on how many.
#[must_use]
pub fn live_all(trial: &Trial<'_>, lives: usize, threads: usize, progress: &dyn Progress) -> Lives {
    live_from(trial, 0, lives, threads, progress)
}

/// The same for lives whose numbers begin elsewhere.
#[must_use]
pub fn live_from(
    trial: &Trial<'_>,
    first: u64,
    lives: usize,
    threads: usize,
    progress: &dyn Progress,
) -> Lives {
    let threads = threads.max(1);
    let done = AtomicUsize::new(0);
    let work = |thread: usize| {
        let mut bands = Bands::new();
        let mut outcomes = Vec::new();
        for batch in (thread..lives.div_ceil(BATCH)).step_by(threads) {
            if progress.stop() {
                break;
            }
            let numbers = batch * BATCH..lives.min((batch + 1) * BATCH);
            let lived = done.fetch_add(numbers.len(), Ordering::Relaxed) + numbers.len();
            outcomes.extend(numbers.map(|life| live(trial, first + life as u64, None, &mut bands)));
            progress.report(lived, lives);
        }
        (outcomes, bands)
    };
    let mut all = Lives { outcomes: Vec::with_capacity(lives), bands: Bands::new(), wanted: lives };
    std::thread::scope(|scope| {
        let work = &work;
        let handles: Vec<_> = (0..threads).map(|thread| scope.spawn(move || work(thread))).collect();
        for handle in handles {
            let (outcomes, bands) = handle.join().expect("a life does not panic");
            all.outcomes.extend(outcomes);
            all.bands.merge(&bands);
        }
    });
    all.outcomes.sort_by_key(|outcome| outcome.life);
    all
}

/// Does numbered work on so many threads; what comes of it stands in the order of the numbers.
pub fn on_threads<T: Send>(threads: usize, count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let threads = threads.clamp(1, count.max(1));
    let share_of = |thread: usize| (thread..count).step_by(threads).map(&work).collect::<Vec<T>>();
    let mut shares: Vec<_> = std::thread::scope(|scope| {
        let share_of = &share_of;
        let handles: Vec<_> = (0..threads).map(|thread| scope.spawn(move || share_of(thread))).collect();
        let joined = handles.into_iter().map(|handle| handle.join().expect("a life does not panic"));
        joined.map(Vec::into_iter).collect()
    });
    (0..count).filter_map(|number| shares[number % threads].next()).collect()
}
