//! An alarm: what is wrong, with whom, since when, and the figures that it rests on.

use serde_json::{Map, Value};
use wire::identity::{DevEui, GatewayEui};

use crate::received::Moment;

/// What is watched for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rule {
    /// A gateway shows no sign of life.
    GatewayAway,
    /// A gateway lives, and nothing comes through it.
    NothingHeard,
    /// A node sends nothing.
    Silent,
    /// More of a node's messages are lost than was planned.
    Losing,
    /// A node's battery will be empty soon.
    EmptySoon,
    /// A node has less charge than was forecast.
    BelowForecast,
    /// A node with a panel has not been charged since it went out.
    NeverCharged,
    /// A node that was charged is charged no more.
    ChargeStopped,
    /// A node's battery falls faster in the dark than planned.
    DrainsFast,
    /// A primary cell comes to its end.
    CellEnding,
    /// By what was learned of a node its battery holds far less than its label says.
    BatteryWorn,
    /// A node begins anew again and again.
    Restarts,
    /// A node asks to join again and again.
    JoinStorm,
    /// A node has lost its counter.
    CounterLost,
    /// Somebody sends in a node's name.
    Forged,
    /// A node is on the air for longer than the law or its plan allow.
    TooLongOnAir,
    /// A node sends more slowly than was planned.
    SlowerThanPlanned,
    /// A reading does not change.
    ReadingStuck,
    /// A reading jumps.
    ReadingJump,
    /// A reading lies beyond its range.
    ReadingOutOfRange,
    /// A reading is a value that sensors give when they fail.
    MagicValue,
    /// No position has come for long.
    PlaceStale,
    /// A node has left its area.
    LeftArea,
    /// A position can't be.
    PlaceImpossible,
    /// Something that is to move has stood for long.
    NotMoved,
    /// A calibration is due.
    CalibrationDue,
    /// A rule of the site file.
    Threshold,
    /// A rule of the site file can't see.
    CannotSee,
    /// The disk of the log is nearly full.
    Store,
    /// The computer's clock was set.
    Clock,
    /// Arrivals were dropped.
    Dropped,
    /// A way of telling fails.
    TellFailed,
    /// No copy of the log was made for long.
    BackupOld,
    /// A source is not connected.
    SourceAway,
    /// The sun heats a sensor of air temperature.
    SunHeated,
}

/// How soon somebody should do something.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// When it fits.
    Note,
    /// Within days.
    ThisWeek,
    /// At once.
    ActNow,
}

impl Urgency {
    /// As people and the site file say it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::ThisWeek => "this week",
            Self::ActNow => "act now",
        }
    }
}

impl Rule {
    /// All of them: causes before what they swallow.
    pub const ALL: [Self; 35] = [
        Self::GatewayAway,
        Self::NothingHeard,
        Self::Silent,
        Self::Losing,
        Self::EmptySoon,
        Self::BelowForecast,
        Self::NeverCharged,
        Self::ChargeStopped,
        Self::CellEnding,
        Self::BatteryWorn,
        Self::DrainsFast,
        Self::Restarts,
        Self::JoinStorm,
        Self::CounterLost,
        Self::Forged,
        Self::TooLongOnAir,
        Self::SlowerThanPlanned,
        Self::ReadingStuck,
        Self::ReadingJump,
        Self::ReadingOutOfRange,
        Self::MagicValue,
        Self::PlaceStale,
        Self::LeftArea,
        Self::PlaceImpossible,
        Self::NotMoved,
        Self::CalibrationDue,
        Self::Threshold,
        Self::CannotSee,
        Self::Store,
        Self::Clock,
        Self::Dropped,
        Self::TellFailed,
        Self::BackupOld,
        Self::SourceAway,
        Self::SunHeated,
    ];

    /// The word that log, page and site file use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::GatewayAway => "gateway-away",
            Self::NothingHeard => "nothing-heard",
            Self::Silent => "silent",
            Self::Losing => "losing",
            Self::EmptySoon => "empty-soon",
            Self::BelowForecast => "below-forecast",
            Self::NeverCharged => "never-charged",
            Self::ChargeStopped => "charge-stopped",
            Self::DrainsFast => "drains-fast",
            Self::BatteryWorn => "battery-worn",
            Self::CellEnding => "cell-ending",
            Self::Restarts => "restarts",
            Self::JoinStorm => "join-storm",
            Self::CounterLost => "counter-lost",
            Self::Forged => "forged",
            Self::TooLongOnAir => "too-long-on-air",
            Self::SlowerThanPlanned => "slower-than-planned",
            Self::ReadingStuck => "reading-stuck",
            Self::ReadingJump => "reading-jump",
            Self::ReadingOutOfRange => "reading-out-of-range",
            Self::MagicValue => "magic-value",
            Self::PlaceStale => "place-stale",
            Self::LeftArea => "left-area",
            Self::PlaceImpossible => "place-impossible",
            Self::NotMoved => "not-moved",
            Self::CalibrationDue => "calibration-due",
            Self::Threshold => "threshold",
            Self::CannotSee => "cannot-see",
            Self::Store => "store",
            Self::Clock => "clock",
            Self::Dropped => "dropped",
            Self::TellFailed => "tell-failed",
            Self::BackupOld => "backup-old",
            Self::SourceAway => "source-away",
            Self::SunHeated => "sun-heated",
        }
    }

    /// The rule of this word.
    pub fn named(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.word() == word)
    }

    /// How soon somebody should do something (own choice: what loses data or a night's warning is for now, what a visit mends
    /// is for this week).
    pub const fn urgency(self) -> Urgency {
        match self {
            Self::GatewayAway
            | Self::NothingHeard
            | Self::Threshold
            | Self::CannotSee
            | Self::LeftArea
            | Self::SourceAway
            | Self::Store => Urgency::ActNow,
            Self::Silent
            | Self::EmptySoon
            | Self::BelowForecast
            | Self::NeverCharged
            | Self::ChargeStopped
            | Self::DrainsFast
            | Self::BatteryWorn
            | Self::CellEnding
            | Self::Restarts
            | Self::CounterLost
            | Self::Forged
            | Self::TooLongOnAir
            | Self::Dropped
            | Self::TellFailed => Urgency::ThisWeek,
            Self::Losing
            | Self::JoinStorm
            | Self::SlowerThanPlanned
            | Self::ReadingStuck
            | Self::ReadingJump
            | Self::ReadingOutOfRange
            | Self::MagicValue
            | Self::SunHeated
            | Self::PlaceStale
            | Self::PlaceImpossible
            | Self::NotMoved
            | Self::CalibrationDue
            | Self::Clock
            | Self::BackupOld => Urgency::Note,
        }
    }
}

/// Whom an alarm is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// A node.
    Node(DevEui),
    /// A gateway.
    Gateway(GatewayEui),
    /// The log and the computer that keeps it.
    Log,
}

/// What tells one alarm from another: at most one of a key is open.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    /// What is wrong.
    pub rule: Rule,
    /// With whom.
    pub about: About,
    /// Which field, rule of the site file, or way of telling; empty where there is none.
    pub of: String,
}

impl Key {
    /// An alarm about a node as a whole.
    pub const fn of_node(rule: Rule, dev_eui: DevEui) -> Self {
        Self { rule, about: About::Node(dev_eui), of: String::new() }
    }

    /// An alarm about the log and the computer that keeps it.
    pub const fn of_log(rule: Rule, of: String) -> Self {
        Self { rule, about: About::Log, of }
    }

    /// An alarm about a gateway.
    pub const fn of_gateway(rule: Rule, eui: GatewayEui) -> Self {
        Self { rule, about: About::Gateway(eui), of: String::new() }
    }
}

/// Figures by name; the name ends in the unit, such as `silent_s`.
pub type Evidence = Map<String, Value>;

/// Figures under their names.
pub(super) fn evidence<const N: usize>(figures: [(&str, Value); N]) -> Evidence {
    figures.into_iter().map(|(name, figure)| (name.to_owned(), figure)).collect()
}

/// Number of an alarm: counts up in the order of opening.
pub type AlarmId = i64;

/// An alarm as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Alarm {
    /// Its number.
    pub id: AlarmId,
    /// What it is.
    pub key: Key,
    /// Since when.
    pub opened_at: Moment,
    /// Until when; none while it is open.
    pub closed_at: Option<Moment>,
    /// The alarm that explains it.
    pub cause: Option<AlarmId>,
    /// The figures when it opened.
    pub evidence: Evidence,
}

/// What the watch found; a row each.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// An alarm opens.
    Opened(Alarm),
    /// An alarm that was closed within a day opens again.
    Reopened(Alarm),
    /// An open alarm is explained by another.
    Explained(Alarm),
    /// An alarm closes.
    Closed(Alarm),
}

impl Change {
    /// The alarm as it stands after it.
    pub const fn alarm(&self) -> &Alarm {
        match self {
            Self::Opened(alarm) | Self::Reopened(alarm) | Self::Explained(alarm) | Self::Closed(alarm) => {
                alarm
            }
        }
    }

    /// What happened, in a word.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Opened(_) => "open",
            Self::Reopened(_) => "open again",
            Self::Explained(_) => "explained",
            Self::Closed(_) => "closed",
        }
    }
}

/// What a rule finds.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Finding {
    /// It is wrong: an alarm opens.
    Wrong(Evidence),
    /// It is right: an open alarm closes.
    Right,
    /// Neither is sure: whatever is stays.
    Between,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_is_found_by_its_own_word() {
        for rule in Rule::ALL {
            assert_eq!(Rule::named(rule.word()), Some(rule));
        }
        assert_eq!(Rule::named("quiet"), None);
    }
}
