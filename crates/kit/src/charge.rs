//! The steps of charge on which intervals depend, as the firmware tells them: by the voltage of the battery at rest.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "voltages of a checked design are small and positive"
)]

use design::node::Design;
use design::part::Battery;
use design::quantity::Share;
use design::schedule::{RISE_AFTER, RISE_MARGIN};

/// The temperature that the voltages are those of [°C]: where the table of the battery was taken.
pub(crate) const AT_CELSIUS: i32 = 25;

/// The steps of charge of a node, the lowest first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChargeSteps {
    /// Charge from which each holds \[%\]; the first 0.
    pub from_percent: Vec<u8>,
    /// Voltage of the battery at rest from which each holds \[mV\]; the first 0.
    pub from_mv: Vec<u32>,
    /// Voltage from which the node goes up to each, once it has rested on the one below \[mV\].
    pub up_at_mv: Vec<u32>,
    /// How long it rests on a step before it goes up from it \[s\].
    pub rests_s: u32,
}

/// Charges at which an interval of the design changes, ascending from 0 %.
pub(crate) fn steps_of_charge(design: &Design) -> Vec<Share> {
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let rows = activities.flat_map(|activity| activity.every.rows());
    let mut steps: Vec<Share> = rows.map(|(share, _)| *share).chain([Share::ZERO]).collect();
    steps.sort_by(|one, other| one.fraction().total_cmp(&other.fraction()));
    steps.dedup();
    steps
}

impl ChargeSteps {
    pub(crate) fn of(battery: &Battery, steps: &[Share]) -> Self {
        let millivolts = |charge: Share| (battery.resting_at(charge).volts() * 1e3).round() as u32;
        let from = |step: &Share| if *step == Share::ZERO { 0 } else { millivolts(*step) };
        let up = |step: &Share| {
            let charge = Share::from_fraction((step.fraction() + RISE_MARGIN.fraction()).min(1.0));
            if *step == Share::ZERO { 0 } else { millivolts(charge) }
        };
        Self {
            from_percent: steps.iter().map(|step| step.percent().round() as u8).collect(),
            from_mv: steps.iter().map(from).collect(),
            up_at_mv: steps.iter().map(up).collect(),
            rests_s: RISE_AFTER.seconds() as u32,
        }
    }

    /// Of a node whose intervals do not depend on the charge.
    pub(crate) fn one() -> Self {
        Self {
            from_percent: vec![0],
            from_mv: vec![0],
            up_at_mv: vec![0],
            rests_s: RISE_AFTER.seconds() as u32,
        }
    }

    /// The step on which a node stands that stood on another and reads this voltage; `rested` if it has stood there long
    /// enough to go up. A node that has just been switched on stood on the highest.
    #[must_use]
    pub fn next(&self, millivolts: u32, last: usize, rested: bool) -> usize {
        let last = last.min(self.from_mv.len() - 1);
        if millivolts < self.from_mv[last] {
            return self.from_mv.iter().rposition(|from| millivolts >= *from).unwrap_or(0);
        }
        let up = self.up_at_mv.get(last + 1).is_some_and(|up| rested && millivolts >= *up);
        last + usize::from(up)
    }
}

/// What the tables of all four languages say of themselves, line by line.
pub(crate) fn remarks() -> [String; 5] {
    [
        format!("Steps of charge by the voltage of the battery at rest in millivolts, at {AT_CELSIUS} Cel: read it"),
        "while the radio sleeps and nothing charges; what the sun adds is no charge. Go down at once, up by one".to_owned(),
        "step when `rested`: the step has not changed for a day. Begin with the highest step. Keep the".to_owned(),
        "step over a reset if you can. The intervals are seconds, 0 for not at all; months are 1 to 12 (UTC is".to_owned(),
        "good enough; a node that does not know the month takes the slowest of the year).".to_owned(),
    ]
}

/// Numbers with commas.
pub(crate) fn list<T: std::fmt::Display>(numbers: &[T], suffix: &str) -> String {
    numbers.iter().map(|number| format!("{number}{suffix}")).collect::<Vec<_>>().join(", ")
}
