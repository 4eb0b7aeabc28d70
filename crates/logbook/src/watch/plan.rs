//! What a node is expected to do, by its design.

use design::date::Date;
use design::message::{Direction, Meaning};
use design::node::{Activity, Condition, Design};
use forecast::power::battery::open_circuit;

use crate::received::Moment;

/// How far below the truth the charge is taken that a voltage tells: a node then sends more slowly rather than silently
/// (own choice, as `gauge_error` of designs).
const GAUGE_ERROR: f64 = 0.1;

/// What is expected of a node.
#[derive(Clone, Debug, PartialEq)]
pub struct NodePlan {
    /// What people call it.
    pub name: String,
    /// Intervals of its most frequent message that is always sent, by battery voltage at rest \[V\] from which they hold,
    /// highest first, and month; none: not at all. Empty if nothing is always sent.
    pub intervals: Vec<(f64, [Option<Moment>; 12])>,
    /// Share of messages that may be lost by its promise.
    pub loss: f64,
    /// Whether it has a panel.
    pub has_panel: bool,
    /// Voltage to which the battery is charged \[V\].
    pub full_volts: f64,
    /// Voltage at rest below which it stops \[V\].
    pub stops_volts: f64,
    /// North positive \[degrees\].
    pub latitude_deg: f64,
    /// East positive \[degrees\].
    pub longitude_deg: f64,
    /// Column of the battery's voltage, and volts in one of its unit.
    pub battery: Option<(String, f64)>,
    /// Column of the minutes in charge.
    pub charging: Option<String>,
    /// Column that tells of a restart.
    pub restarted: Option<String>,
}

impl NodePlan {
    /// What a design says, for a node of this name.
    pub fn of(name: &str, design: &Design) -> Self {
        let column = |meaning: Meaning| {
            let up = design.messages.iter().filter(|message| message.direction == Direction::Up);
            let mut fields = up.flat_map(|message| &message.fields);
            fields.find(|field| field.meaning() == Some(meaning))
        };
        let volts = |unit: &str| if unit == "mV" { 1e-3 } else { 1.0 };
        Self {
            name: name.to_owned(),
            intervals: intervals(design),
            loss: 1.0 - design.promise.heard.fraction(),
            has_panel: design.panel.is_some(),
            full_volts: open_circuit(&design.battery, 1.0).volts(),
            stops_volts: design.cutoff.stops_below.volts(),
            latitude_deg: design.site.latitude.degrees(),
            longitude_deg: design.site.longitude.degrees(),
            battery: column(Meaning::Battery).map(|field| (field.name.clone(), volts(&field.unit))),
            charging: column(Meaning::Charging).map(|field| field.name.clone()),
            restarted: column(Meaning::Restarted).map(|field| field.name.clone()),
        }
    }

    /// How often it should be heard in the month of a moment, at a voltage at rest; the least often if the voltage is not known.
    pub fn interval(&self, at: Moment, volts: Option<f64>) -> Option<Moment> {
        let month = month(at);
        let at_row = |(_, months): &(f64, [Option<Moment>; 12])| months.get(month).copied().flatten();
        match volts {
            Some(volts) => {
                let row = self.intervals.iter().find(|(from, _)| volts >= *from);
                row.or(self.intervals.last()).and_then(at_row)
            }
            None => self.intervals.iter().filter_map(at_row).max(),
        }
    }
}

/// The month of a moment, from 0.
fn month(at: Moment) -> usize {
    let day = u64::try_from(at / 1_000_000).ok().and_then(Date::of_unix);
    day.map_or(0, |day| usize::from(day.month()).saturating_sub(1))
}

fn intervals(design: &Design) -> Vec<(f64, [Option<Moment>; 12])> {
    let Some(activity) = most_frequent(design) else { return Vec::new() };
    let row = |(from, months): &(design::quantity::Share, design::schedule::Months)| {
        let from = from.fraction();
        // A row that holds down to nothing holds at every voltage.
        let charge = (from + GAUGE_ERROR).min(1.0);
        let volts = if from > 0.0 { open_circuit(&design.battery, charge).volts() } else { 0.0 };
        (volts, months.map(|every| every.map(|every| microseconds(every.seconds()))))
    };
    activity.every.rows().iter().map(row).collect()
}

/// Of the activities that send always the most frequent one; else the one of a node that does not move.
fn most_frequent(design: &Design) -> Option<&Activity> {
    let sending =
        || design.loads.iter().flat_map(|load| &load.activities).filter(|activity| activity.sends());
    let mut resting = Condition::default();
    resting.moving = Some(false);
    let shortest = |activity: &&Activity| {
        activity.every.at_full_charge().map_or(Moment::MAX, |every| microseconds(every.seconds()))
    };
    let of =
        |condition: &Condition| sending().filter(|activity| activity.when == *condition).min_by_key(shortest);
    of(&Condition::default()).or_else(|| of(&resting))
}

#[expect(clippy::cast_possible_truncation, reason = "an interval of a design is at most days")]
fn microseconds(seconds: f64) -> Moment {
    (seconds * 1e6).round() as Moment
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::{DAY, MINUTE};
    use super::*;

    /// A node as most are.
    pub(in super::super) fn every_ten_minutes() -> NodePlan {
        NodePlan {
            name: "mast".to_owned(),
            intervals: vec![(0.0, [Some(10 * MINUTE); 12])],
            loss: 0.1,
            has_panel: true,
            full_volts: 4.2,
            stops_volts: 3.3,
            latitude_deg: 47.0,
            longitude_deg: 13.0,
            battery: Some(("battery".to_owned(), 1e-3)),
            charging: None,
            restarted: Some("restarted".to_owned()),
        }
    }

    #[test]
    fn the_interval_follows_voltage_and_month_and_is_the_longest_where_the_voltage_is_not_known() {
        let mut winter = [Some(60 * MINUTE); 12];
        winter[0] = None;
        let plan = NodePlan {
            intervals: vec![(3.8, [Some(10 * MINUTE); 12]), (0.0, winter)],
            ..every_ten_minutes()
        };
        // 15 January and 15 February 1970.
        let (january, february) = (14 * DAY, 45 * DAY);
        assert_eq!(plan.interval(january, Some(3.9)), Some(10 * MINUTE));
        assert_eq!(plan.interval(january, Some(3.7)), None, "it need not send then");
        assert_eq!(plan.interval(february, Some(3.7)), Some(60 * MINUTE));
        assert_eq!(plan.interval(february, None), Some(60 * MINUTE));
        assert_eq!(NodePlan { intervals: Vec::new(), ..plan }.interval(january, None), None);
    }
}
