//! What the watch is told of.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;
use wire::identity::{DevEui, GatewayEui};

use super::foretold::Foretold;
use crate::received::Moment;

/// Something that happened, or a minute that passed; its time is given beside it.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The program began to listen; nobody listened since this moment, if somebody did before.
    Began {
        /// When it was last known to listen.
        listened_until: Option<Moment>,
    },
    /// A minute has passed.
    Tick,
    /// A copy of a frame is on the disk.
    Frame(Frame),
    /// A gateway shows that it lives.
    Alive {
        /// Which one.
        gateway: GatewayEui,
        /// It asks for answers, as it does every few seconds; else it has only spoken.
        asks: bool,
    },
    /// Something was learned of a node by the end of its day.
    Foretold {
        /// Which one.
        dev_eui: DevEui,
        /// What.
        foretold: Foretold,
    },
    /// How the computer that keeps the log is; told with each minute.
    Host(Host),
    /// When the next calibration of a node is due.
    CalibrationDue {
        /// Which one.
        dev_eui: DevEui,
        /// The beginning of that day.
        due: Moment,
    },
    /// Somebody works on a node until a moment: its alarms wait.
    Paused {
        /// Which one.
        dev_eui: DevEui,
        /// Until when.
        until: Moment,
    },
}

/// How the computer that keeps the log is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Host {
    /// Share of the disk of the log that is free, 0 to 1; none if nobody can tell.
    pub disk_free: Option<f64>,
    /// Arrivals that were dropped since the program began.
    pub dropped: u64,
    /// By how much the clock was set since the last time this was told \[us\]; negative if back.
    pub clock_set_by: Option<Moment>,
    /// When the log was last copied; before the first copy, when it began.
    pub copied_at: Option<Moment>,
    /// Whether it ever was.
    pub was_copied: bool,
    /// Ways of telling that fail now.
    pub tells_failing: BTreeSet<String>,
    /// Sources that are not connected now.
    pub sources_away: BTreeSet<String>,
}

/// A copy of a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// Which gateway of ours heard it; none of a frame that another network has heard.
    pub gateway: Option<GatewayEui>,
    /// Whose it is, where that is known.
    pub dev_eui: Option<DevEui>,
    /// What became of it.
    pub what: What,
}

/// What became of a frame.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// Genuine and new.
    New(Uplink),
    /// Genuine, and a newer one came before.
    Late(Uplink),
    /// Another copy of what was heard.
    Copy,
    /// A genuine request to join.
    Join,
    /// Its checksum does not fit.
    Damaged,
    /// Its integrity code is of no session of the node.
    WrongCode,
    /// Genuine, and its counter lies too far below.
    OldCounter,
    /// Genuine, and its counter was used with other bytes.
    UsedCounter,
    /// Refused for another reason.
    Refused,
}

/// What a genuine frame says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Uplink {
    /// Its counter; none if its network does not tell.
    pub fcnt: Option<u32>,
    /// Centre of its channel \[Hz\].
    pub frequency_hz: Option<u32>,
    /// Modulation and rate, such as `SF7BW125`.
    pub data_rate: Option<String>,
    /// Time on air \[us\].
    pub airtime_us: Option<Moment>,
    /// Message of the design; none if it could not be read.
    pub message: Option<String>,
    /// Its values by column; null if absent.
    pub values: BTreeMap<String, Value>,
    /// Columns whose value lies beyond their range, and on which side: `below` or `above`.
    pub beyond: BTreeMap<String, String>,
}

impl Uplink {
    /// The number in a column; a flag is 0 or 1.
    pub(super) fn number(&self, column: &str) -> Option<f64> {
        let value = self.values.get(column)?;
        value.as_f64().or_else(|| value.as_bool().map(f64::from))
    }
}
