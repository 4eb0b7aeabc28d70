//! The computer's clock, and when it is believed.
//!
//! Small computers without a battery for their clock begin in 1970, or where they were stopped, until a server of time is
//! reached. A wrong time would spoil rows, the law's hour of transmissions, and answers that tell a node what time it is.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

use crate::received::Moment;

/// No clock that is right shows a time before this program was made: 2026-01-01.
pub const MADE: Moment = 1_767_225_600_000_000;
/// Nor one from 2100-01-01 on, for as long as this program is of use.
pub const BEYOND: Moment = 4_102_444_800_000_000;
/// A step that is larger is said (own choice: a clock that is disciplined differs by microseconds between two looks).
const STEP_US: i64 = 2_000_000;

/// Microseconds since 1970; a clock that stands before is taken to stand there.
pub fn now() -> Moment {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    Moment::try_from(since.as_micros()).unwrap_or(Moment::MAX)
}

/// From when on a clock is believed: the year of this program, or the newest time in the log, whichever is later.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Belief {
    earliest: Moment,
}

impl Belief {
    /// Of a log whose newest row with a time that was believed is of this moment.
    pub fn of(newest: Option<Moment>) -> Self {
        let newest = newest.filter(|newest| *newest < BEYOND);
        Self { earliest: newest.map_or(MADE, |newest| newest.max(MADE)) }
    }

    /// Whether a clock that shows this may be right.
    pub const fn holds(self, shown: Moment) -> bool {
        self.earliest <= shown && shown < BEYOND
    }

    /// What a clock must have reached.
    pub const fn earliest(self) -> Moment {
        self.earliest
    }
}

/// What is to be said of the clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum News {
    /// It can't be believed.
    Unsure {
        /// What it shows.
        shown: Moment,
        /// What it must have reached.
        earliest: Moment,
    },
    /// It is believed again.
    Sure {
        /// What it shows.
        shown: Moment,
    },
    /// It was set, or the computer slept.
    Stepped {
        /// By so much \[us\]; negative if back.
        by: Moment,
    },
}

/// Looks at the clock from time to time.
#[derive(Clone, Copy, Debug)]
pub struct Watch {
    belief: Belief,
    sure: bool,
    last: Option<(Moment, Duration)>,
}

impl Watch {
    /// Begins as if the clock were right.
    pub const fn new(belief: Belief) -> Self {
        Self { belief, sure: true, last: None }
    }

    /// By what the clock is judged.
    pub const fn belief(&self) -> Belief {
        self.belief
    }

    /// Whether it was believed when it was looked at last.
    pub const fn is_sure(&self) -> bool {
        self.sure
    }

    /// Looks at what the clock shows, so long after the watch began by a clock that is never set.
    pub fn look(&mut self, shown: Moment, after: Duration) -> Option<News> {
        let before = self.last.replace((shown, after));
        let was_sure = std::mem::replace(&mut self.sure, self.belief.holds(shown));
        match (was_sure, self.sure) {
            (true, false) => Some(News::Unsure { shown, earliest: self.belief.earliest }),
            (false, true) => Some(News::Sure { shown }),
            (false, false) => None,
            (true, true) => {
                let (then, at) = before?;
                let passed = Moment::try_from(after.saturating_sub(at).as_micros()).unwrap_or(Moment::MAX);
                let by = (shown - then).saturating_sub(passed);
                (by.abs() > STEP_US).then_some(News::Stepped { by })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECOND: Moment = 1_000_000;
    const HOUR: Moment = 3600 * SECOND;

    /// 2026-01-01 and 2100-01-01 by hand: 20,454 and 47,482 days after 1970-01-01 (14 and 32 leap years lie between).
    #[test]
    fn a_clock_is_believed_from_the_program_or_the_newest_row_on_and_not_after_2099() {
        assert_eq!((MADE, BEYOND), (20_454 * 24 * HOUR, 47_482 * 24 * HOUR));
        let fresh = Belief::of(None);
        assert_eq!(
            [0, MADE - 1, MADE, BEYOND - 1, BEYOND].map(|at| fresh.holds(at)),
            [false, false, true, true, false]
        );
        let newest = MADE + 400 * 24 * HOUR;
        let used = Belief::of(Some(newest));
        assert_eq!([MADE, newest - 1, newest].map(|at| used.holds(at)), [false, false, true]);
        // A row of before this program, or of a time that no clock may show, says nothing.
        assert_eq!((Belief::of(Some(7)), Belief::of(Some(BEYOND))), (fresh, fresh));
    }

    #[test]
    fn what_changes_is_said_once() {
        let mut watch = Watch::new(Belief::of(None));
        let seconds = Duration::from_secs;
        assert_eq!(
            watch.look(60 * SECOND, seconds(0)),
            Some(News::Unsure { shown: 60 * SECOND, earliest: MADE })
        );
        assert_eq!((watch.look(65 * SECOND, seconds(5)), watch.is_sure()), (None, false));
        assert_eq!(watch.look(MADE, seconds(10)), Some(News::Sure { shown: MADE }));
        assert_eq!(watch.look(MADE + 5 * SECOND, seconds(15)), None);
        // A server of time moves it by a little at every look.
        assert_eq!(watch.look(MADE + 10 * SECOND + 3000, seconds(20)), None);
        let ahead = MADE + HOUR + 15 * SECOND + 3000;
        assert_eq!(watch.look(ahead, seconds(25)), Some(News::Stepped { by: HOUR }));
        assert_eq!(watch.look(ahead - HOUR + 5 * SECOND, seconds(30)), Some(News::Stepped { by: -HOUR }));
        assert_eq!(watch.look(BEYOND, seconds(35)), Some(News::Unsure { shown: BEYOND, earliest: MADE }));
    }
}
