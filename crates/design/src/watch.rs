//! What the watch of a site is asked to look for beside its own rules, and whom it tells.

use crate::quantity::{Angle, Duration, Length};
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
    /// So much above its least value within a time.
    RisingBy(Measure, Duration),
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
    /// The time beyond the limit is added up over so long; none: it must last without a break.
    pub within: Option<Duration>,
    /// Months in which it holds, January first; none: all, and then it is no season.
    pub months: Option<[bool; 12]>,
    /// Hours in which it holds, from and to in minutes of the day; none: all.
    pub hours: Vec<(u16, u16)>,
    /// Without a reading for so long it says that it can't see.
    pub unseen_for: Option<Duration>,
}

/// Ground that nodes are not to leave.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Area {
    /// Its key in the file.
    pub name: String,
    /// The nodes that are to stay in it.
    pub nodes: Vec<String>,
    /// Where it is.
    pub ground: Ground,
}

/// Where an area is.
#[derive(Clone, Debug, PartialEq)]
pub enum Ground {
    /// All that is not farther from a place.
    Circle {
        /// North positive.
        latitude: Angle,
        /// East positive.
        longitude: Angle,
        /// How far it goes.
        radius: Length,
    },
    /// The polygons of a GeoJSON file.
    File(String),
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
    /// Days of the week on which it is told, Monday first; none: all.
    pub days: Option<[bool; 7]>,
    /// Each month a message says that all runs.
    pub monthly: bool,
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
    /// By mail.
    Mail(Mail),
    /// By text messages of a modem.
    Modem {
        /// Its serial line.
        port: String,
        /// Numbers: `+` and digits.
        to: Vec<String>,
        /// File with the card's PIN.
        pin_file: Option<String>,
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

/// How mail goes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mail {
    /// The server: `smtps://` or, on this machine, `smtp://`.
    pub server: String,
    /// It speaks in the clear first, and is sealed before anything is sent.
    pub starttls: bool,
    /// The sender.
    pub from: String,
    /// Who gets it.
    pub to: Vec<String>,
    /// File with name and password.
    pub login_file: Option<String>,
    /// Certificates that are trusted; none: those of the system.
    pub ca: Option<String>,
}

/// Urgencies as the site file says them, in the order of [`Tell::at_least`].
pub const URGENCIES: [&str; 3] = ["note", "this week", "act now"];

/// Days of the week as the site file says them.
pub const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
