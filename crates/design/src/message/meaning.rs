//! What a field tells about the node itself.

use super::{Field, Kind};

/// What a field tells about the node itself: what `learn` and the watch go by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Meaning {
    /// Voltage of the battery.
    Battery,
    /// Minutes in which the charger worked, counted since the last restart.
    Charging,
    /// Voltage of the panel.
    Panel,
    /// Temperature of the air in the box.
    Box,
    /// Whether this is the first message after a restart.
    Restarted,
}

impl Meaning {
    /// All of them, the most telling first.
    pub const ALL: [Self; 5] = [Self::Battery, Self::Charging, Self::Panel, Self::Box, Self::Restarted];

    /// As it is written in a design file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Battery => "battery",
            Self::Charging => "charging",
            Self::Panel => "panel",
            Self::Box => "box",
            Self::Restarted => "restarted",
        }
    }

    /// What a field must be to tell this, in words.
    #[must_use]
    pub fn needs(self) -> &'static str {
        match self {
            Self::Battery => "a field of kind `battery`, or a number in `mV` or `V`",
            Self::Charging => "a counter in `min` whose step is 1",
            Self::Panel => "a number in `mV` or `V`",
            Self::Box => "a number in `Cel`",
            Self::Restarted => "a flag",
        }
    }

    /// Whether a field of this kind and unit can tell it.
    #[must_use]
    pub fn suits(self, kind: &Kind, unit: &str) -> bool {
        match (self, kind) {
            (Self::Battery, Kind::Number { .. }) | (Self::Panel, Kind::Number { battery: false, .. }) => {
                ["mV", "V"].contains(&unit)
            }
            (Self::Charging, Kind::Counter { scale, .. }) => {
                unit == "min" && scale.numerator == scale.denominator
            }
            (Self::Box, Kind::Number { .. }) => unit == "Cel",
            (Self::Restarted, Kind::Flag) => true,
            _ => false,
        }
    }
}

impl Field {
    /// What it tells about the node itself; a battery's voltage tells so without being told to.
    #[must_use]
    pub fn meaning(&self) -> Option<Meaning> {
        let by_kind = matches!(self.kind, Kind::Number { battery: true, .. }).then_some(Meaning::Battery);
        self.means.or(by_kind)
    }
}
