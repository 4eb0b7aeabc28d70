//! What the watch of a site is asked to look for beside its own rules, and whom it tells.

use crate::quantity::Duration;
use crate::serve::Broker;

/// A value and its UCUM unit, as somebody wrote it.
#[derive(Clone, Debug, PartialEq)]
pub struct Measure {
    /// The number.
    pub value: f64,
    /// Its unit; `1` where there is none.
    pub unit: String,
}

/// Beyond which side of a value it is wrong.
#[derive(Clone, Debug, PartialEq)]
pub enum Limit {
    /// Below it.
    Below(Measure),
    /// Above it.
    Above(Measure),
}

/// A reading that is watched.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct WatchRule {
    /// Its key in the file.
    pub name: String,
    /// The field.
    pub field: String,
    /// Nodes for which it holds; all that have the field if there are none.
    pub nodes: Vec<String>,
    /// Where it opens.
    pub limit: Limit,
    /// Where it closes, in the unit of the limit.
    pub again_at: f64,
    /// How long it must be beyond the limit.
    pub lasting: Duration,
    /// Months in which it holds, January first; none: all, and then it is no season.
    pub months: Option<[bool; 12]>,
    /// Without a reading for so long it says that it can't see.
    pub unseen_for: Option<Duration>,
}

/// Somebody who is told.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Tell {
    /// Its key in the file.
    pub name: String,
    /// By which way.
    pub way: TellWay,
    /// The least urgent that is told: 0 note, 1 this week, 2 act now.
    pub at_least: u8,
    /// Words of the rules that are told; all if there are none.
    pub rules: Vec<String>,
    /// From and to, in minutes of the day.
    pub quiet_hours: Vec<(u16, u16)>,
    /// Quiet hours do not hold back what is to be done at once.
    pub act_now_always: bool,
    /// Only what nobody has seen for so long.
    pub if_unseen_for: Option<Duration>,
}

/// How somebody is told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TellWay {
    /// By POST.
    Webhook {
        /// Where to.
        url: String,
        /// File with the secret by which messages are signed.
        key_file: Option<String>,
    },
    /// By a broker.
    Mqtt {
        /// Which one.
        broker: Broker,
        /// Its topic, with `{site}` and `{node}`.
        topic: String,
    },
    /// By asking an address from time to time.
    SignOfLife {
        /// Which one.
        url: String,
    },
}

/// Urgencies as the site file says them, in the order of [`Tell::at_least`].
pub const URGENCIES: [&str; 3] = ["note", "this week", "act now"];
