//! How many lives a search looks at, how many confirm what it found, and how many of them may fail.
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts of lives are small")]

use design::quantity::Share;
use forecast::stats;

/// How far the worst fifth may miss a promise before doubt about the parts makes the verdict tight.
pub(crate) const WORST_FIFTH_SLACK: f64 = 0.05;
/// Lives searched and confirmed on, per life that the promise lets fail.
const SEARCHED_PER_FAILURE: f64 = 10.0;
const CONFIRMED_PER_FAILURE: f64 = 50.0;
/// A survival of 95 % is known to 1.5 points from so many lives: enough to rank, too few to promise.
const LEAST_SEARCHED: f64 = 200.0;
/// A thousandth of a life is rounding.
const ROUNDING: f64 = 1e-3;

/// How many lives may fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Quota {
    /// Of all.
    pub(crate) all: usize,
    /// Of the fifth with the worst unknowns.
    pub(crate) worst_fifth: usize,
}

/// Lives on which a search ranks designs of this promise.
pub(crate) fn searched(promise: Share) -> usize {
    whole((SEARCHED_PER_FAILURE / (1.0 - promise.fraction())).max(LEAST_SEARCHED))
}

/// Fresh lives on which what was found is confirmed.
pub(crate) fn confirmed(promise: Share) -> usize {
    whole(CONFIRMED_PER_FAILURE / (1.0 - promise.fraction()))
}

/// How many of so many lives may fail, so that the promise is likely to be confirmed on so many others.
pub(crate) fn quota(promise: Share, lives: usize, confirming: usize) -> Quota {
    let promise = promise.fraction();
    let small = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
    let proves = |survivors: &usize| stats::wilson(small(*survivors), small(confirming)).0 >= promise;
    let survivors = (0..=confirming).find(proves).unwrap_or(confirming);
    let share = 1.0 - survivors as f64 / confirming.max(1) as f64;
    let in_fifth = (1.0 - promise + WORST_FIFTH_SLACK) * (lives / 5) as f64;
    Quota { all: floor(share * lives as f64), worst_fifth: floor(in_fifth) }
}

/// The first place from `from` to below `to` that passes, if all after it do too; `to` if none does.
pub fn first_that(from: usize, to: usize, mut passes: impl FnMut(usize) -> bool) -> usize {
    let (mut fails, mut holds) = (from, to);
    while fails < holds {
        let middle = fails.midpoint(holds);
        if passes(middle) {
            holds = middle;
        } else {
            fails = middle + 1;
        }
    }
    holds
}

fn whole(count: f64) -> usize {
    count.round().clamp(1.0, 1e7) as usize
}

fn floor(count: f64) -> usize {
    (count + ROUNDING).floor().max(0.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wilson's lower bound of 964 of 1,000 is 0.9506, of 963 it is 0.9495 (by hand): 36 of 1,000 may fail, 7 of 200.
    #[test]
    fn as_many_may_fail_as_wilson_lets() {
        let promise = Share::from_percent(95.0);
        assert_eq!((searched(promise), confirmed(promise)), (200, 1000));
        let (few, many) = (quota(promise, 200, 1000), quota(promise, 1000, 1000));
        assert_eq!((few.all, many.all), (7, 36));
        assert_eq!((few.worst_fifth, many.worst_fifth), (4, 20));
        assert_eq!(searched(Share::from_percent(99.0)), 1000);
    }
}
