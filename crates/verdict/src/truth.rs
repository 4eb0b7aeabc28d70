//! Is the node doing what was promised? What its messages taught, held against the promise.

use design::node::Design;
use forecast::learn::Learned;

use crate::finding::Verdict;

/// With fewer days of log nothing is said of the promise (own choice).
const LEAST_DAYS: usize = 3;

/// What is said of a node that stands outside.
#[derive(Clone, Debug)]
pub struct Truth {
    /// Whether the promise will be kept.
    pub verdict: Verdict,
    /// The share of such nodes that go to the end of what was promised without an outage, and the interval of that.
    pub without_outage: f64,
    /// The same with the interval's ends.
    pub between: (f64, f64),
    /// What was asked.
    pub promised: f64,
    /// What was learned.
    pub learned: Learned,
}

/// Judges what was learned of a node.
#[must_use]
pub fn truth(design: &Design, learned: Learned) -> Truth {
    let end = &learned.to_the_end;
    let promised = design.promise.without_outage.fraction();
    let (without_outage, between) = (1.0 - end.p, (1.0 - end.p_between.1, 1.0 - end.p_between.0));
    let verdict = if learned.days < LEAST_DAYS {
        Verdict::NotKnown
    } else if without_outage < promised {
        Verdict::Fails
    } else if between.0 < promised {
        Verdict::Tight
    } else {
        Verdict::Holds
    };
    Truth { verdict, without_outage, between, promised, learned }
}
