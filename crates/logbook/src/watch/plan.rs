//! What a node is expected to do, by its design.

use design::date::Date;
use design::law::Law;
use design::message::given::GivenKind;
use design::message::{Direction, Field, Kind, Meaning, Message};
use design::node::{Activity, Condition, Design, Placing, Stay, Step, Told};
use design::part::Charger;
use design::quantity::{Frequency, Share};
use design::region::Modulation;
use design::surroundings::Sky;
use forecast::power::battery::open_circuit;
use forecast::power::charger::gate;

use super::area::METRES_PER_DEGREE;
use super::cell::Cell;
use super::event::Uplink;
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
    /// Above sea level \[m\].
    pub elevation_m: f64,
    /// Column of the battery's voltage, and volts in one of its unit.
    pub battery: Option<(String, f64)>,
    /// Whether it lives on a primary cell.
    pub is_primary: bool,
    /// Where the greatest voltages of the first days of its battery lay, if the log knows \[V\].
    pub first_volts: Option<f64>,
    /// Its battery, if something charges it.
    pub cell: Option<Cell>,
    /// Column of the minutes in charge.
    pub charging: Option<String>,
    /// The charger, if it refuses in the cold or the heat.
    pub gate: Option<Charger>,
    /// Columns of temperatures by which that is told: that of the box, else those of sensors \[°C\].
    pub warmth: Vec<String>,
    /// Column that tells of a restart.
    pub restarted: Option<String>,
    /// Numbers that sensors give.
    pub sensors: Vec<Sensor>,
    /// Time on air that the law grants by sub-band; empty where it sets no share.
    pub granted: Vec<Granted>,
    /// Spreading factor at which half of its messages or more are planned to be sent; none of other modulations.
    pub spreading_factor: Option<u8>,
    /// How it says where it is, if it does.
    pub position: Option<Position>,
    /// Hours of the year in which it is under a roof, where nobody need hear it.
    pub roofed: Roofed,
}

/// How a node says where it is.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// Message of the design.
    pub message: String,
    /// Its column of degrees north.
    pub latitude: String,
    /// Its column of degrees east.
    pub longitude: String,
    /// Column of the moment of the fix \[s since 1970\], if the message has one.
    pub fixed_at: Option<String>,
    /// Column of the fix's accuracy \[m\], if the message has one.
    pub accuracy: Option<String>,
    /// Flag that says that it moves, if the message has one.
    pub moving: Option<String>,
    /// Distance of two positions that the message can tell apart \[m\].
    pub grid_m: f64,
    /// How often it sends one while it moves.
    pub every: Option<Moment>,
    /// Whether it is to move: an activity or its diary speaks of it.
    pub moves: bool,
}

/// Days of the year and hours of the day on which a node is under a roof; none by default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Roofed(Vec<Stay>);

impl Roofed {
    /// At a moment; the hours are those of the sun at its place.
    pub fn at(&self, now: Moment, longitude_deg: f64) -> bool {
        if self.0.is_empty() {
            return false;
        }
        #[expect(clippy::cast_possible_truncation, reason = "at most half a day")]
        let local = now + (longitude_deg / 360.0 * super::DAY as f64) as Moment;
        let Some(date) = u64::try_from(local / 1_000_000).ok().and_then(Date::of_unix) else { return false };
        let today = (date.month(), date.day());
        let in_force = |stay: &&Stay| {
            if stay.from <= stay.to {
                (stay.from..=stay.to).contains(&today)
            } else {
                today >= stay.from || today <= stay.to
            }
        };
        let Some(stay) = self.0.iter().find(in_force) else { return false };
        let hour = local.rem_euclid(super::DAY) / super::HOUR;
        let moves = stay.moving.is_some_and(|(from, to)| {
            (hour + 24 - Moment::from(from)) % 24 < (Moment::from(to) + 24 - Moment::from(from)) % 24
        });
        stay.sky == Sky::Roof && !moves
    }
}

/// A number that a sensor gives.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensor {
    /// Message of the design.
    pub message: String,
    /// Its column.
    pub column: String,
    /// UCUM unit.
    pub unit: String,
    /// Lower end of its range.
    pub least: f64,
    /// Upper end of its range.
    pub greatest: f64,
    /// Whether it is the temperature of the air outside, by its name or title.
    pub is_air: bool,
}

/// A sub-band, and the share of an hour that the law grants in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Granted {
    /// From here \[Hz\] ..
    pub from_hz: u32,
    /// .. to below here \[Hz\].
    pub to_hz: u32,
    /// Share of any hour, 0 to 1.
    pub share: f64,
}

impl NodePlan {
    /// What a design says, for a node of this name.
    pub fn of(name: &str, design: &Design) -> Self {
        let column = |meaning: Meaning| design.told().find(|told| told.meaning == Some(meaning));
        Self {
            name: name.to_owned(),
            intervals: intervals(design),
            loss: 1.0 - design.promise.heard.fraction(),
            has_panel: design.panel.is_some(),
            full_volts: open_circuit(&design.battery, 1.0).volts(),
            stops_volts: design.cutoff.stops_below.volts(),
            latitude_deg: design.site.latitude.degrees(),
            longitude_deg: design.site.longitude.degrees(),
            elevation_m: design.site.elevation.metres(),
            battery: column(Meaning::Battery).map(|told| (told.field.to_owned(), told.volts())),
            is_primary: !design.battery.chemistry.rechargeable(),
            first_volts: None,
            cell: Cell::of(design),
            charging: column(Meaning::Charging).map(|told| told.field.to_owned()),
            gate: design.charger.clone().filter(|charger| !charger.temperature_gate.is_empty()),
            warmth: warmth(design),
            restarted: column(Meaning::Restarted).map(|told| told.field.to_owned()),
            sensors: sensors(design),
            granted: granted(design),
            spreading_factor: spreading_factor(design),
            position: position(design),
            roofed: Roofed(design.diary.clone()),
        }
    }

    /// A node of this name of which nothing is known: no interval, no column, no panel, a battery without an end, at 0 degrees north
    /// and east.
    pub fn unknown(name: &str) -> Self {
        Self {
            name: name.to_owned(),
            intervals: Vec::new(),
            loss: 1.0,
            has_panel: false,
            full_volts: f64::INFINITY,
            stops_volts: 0.0,
            latitude_deg: 0.0,
            longitude_deg: 0.0,
            elevation_m: 0.0,
            battery: None,
            is_primary: false,
            first_volts: None,
            cell: None,
            charging: None,
            gate: None,
            warmth: Vec::new(),
            restarted: None,
            sensors: Vec::new(),
            granted: Vec::new(),
            spreading_factor: None,
            position: None,
            roofed: Roofed::default(),
        }
    }

    /// Whether its charger may charge at the warmest temperature of a message; if it tells none, as far as is known.
    pub(super) fn may_charge(&self, uplink: &Uplink) -> bool {
        let Some(charger) = &self.gate else { return true };
        let told = self.warmth.iter().filter_map(|column| uplink.number(column));
        told.reduce(f64::max).is_none_or(|celsius| gate(charger, celsius).0 > 0.0)
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
pub(super) fn month(at: Moment) -> usize {
    let day = u64::try_from(at / 1_000_000).ok().and_then(Date::of_unix);
    day.map_or(0, |day| usize::from(day.month()).saturating_sub(1))
}

/// The field of the box; where there is none, all that are temperatures.
fn warmth(design: &Design) -> Vec<String> {
    let up = design.messages.iter().filter(|message| message.direction == Direction::Up);
    let fields: Vec<&Field> = up.flat_map(|message| &message.fields).collect();
    let of = |wanted: &dyn Fn(&Field) -> bool| -> Vec<String> {
        fields.iter().filter(|field| wanted(field)).map(|field| field.name.clone()).collect()
    };
    let boxes = of(&|field| field.meaning() == Some(Meaning::Box));
    if boxes.is_empty() { of(&|field| field.unit == "Cel") } else { boxes }
}

fn sensors(design: &Design) -> Vec<Sensor> {
    let up = design.messages.iter().filter(|message| message.direction == Direction::Up);
    let fields = up.flat_map(|message| message.fields.iter().map(move |field| (message, field)));
    let sensor = |(message, field): (&Message, &Field)| match &field.kind {
        Kind::Number { scale, last, .. } if field.meaning().is_none() => Some(Sensor {
            message: message.name.clone(),
            column: field.name.clone(),
            unit: field.unit.clone(),
            least: scale.value(0),
            greatest: scale.value(*last),
            is_air: field.unit == "Cel" && (says_air(&field.name) || says_air(&field.title)),
        }),
        _ => None,
    };
    fields.filter_map(sensor).collect()
}

/// The first message that carries a position; its accuracy is a number in metres that is called `accuracy`.
fn position(design: &Design) -> Option<Position> {
    let Placing { message, field, step_deg } = design.placing()?;
    let own = design.messages.iter().find(|own| own.name == message);
    let named = |is: &dyn Fn(&Field) -> bool| Some(own?.fields.iter().find(|field| is(field))?.name.clone());
    let told = |name: &str, unit: Option<&str>| {
        let is = |told: &Told<'_>| {
            told.message == message && told.field == name && unit.is_none_or(|unit| told.unit == unit)
        };
        design.told().find(is).map(|told| told.field.to_owned())
    };
    let bought = design.givens.iter().find(|given| given.name == message);
    let is_flag = own
        .is_some_and(|own| own.fields.iter().any(|field| field.name == "moving" && field.kind == Kind::Flag))
        || bought.is_some_and(|given| {
            given.fields.iter().any(|field| field.name == "moving" && field.kind == GivenKind::Flag)
        });
    Some(Position {
        message: message.to_owned(),
        latitude: format!("{field}_latitude"),
        longitude: format!("{field}_longitude"),
        fixed_at: named(&|field| matches!(field.kind, Kind::Time { .. })),
        accuracy: told("accuracy", Some("m")),
        moving: told("moving", None).filter(|_| is_flag),
        grid_m: step_deg * METRES_PER_DEGREE,
        every: while_moving(design, message),
        moves: is_to_move(design),
    })
}

fn is_to_move(design: &Design) -> bool {
    let mut activities = design.loads.iter().flat_map(|load| &load.activities);
    activities.any(|one| one.when.moving.is_some()) || design.diary.iter().any(|stay| stay.moving.is_some())
}

/// How often a message goes while the node moves: the most often of what sends it then.
fn while_moving(design: &Design, message: &str) -> Option<Moment> {
    let sends = |activity: &&Activity| {
        let of = |step: &Step| matches!(step, Step::Uplink { message: Some(name), .. } if name == message);
        activity.when.moving != Some(false) && activity.steps.iter().any(of)
    };
    let activities = design.loads.iter().flat_map(|load| &load.activities).filter(sends);
    activities.filter_map(|one| one.every.at_full_charge()).map(|every| microseconds(every.seconds())).min()
}

fn says_air(text: &str) -> bool {
    text.split(|letter: char| !letter.is_alphabetic()).any(|word| word.eq_ignore_ascii_case("air"))
}

/// Where the law offers alternatives of power for a sub-band, the one that grants most time counts.
fn granted(design: &Design) -> Vec<Granted> {
    let law = design.radio.as_ref().and_then(|radio| Law::of_region(&radio.region.name));
    let mut all: Vec<Granted> = Vec::new();
    for band in law.iter().flat_map(|law| &law.bands).filter(|band| band.refused.is_none()) {
        let (from_hz, to_hz) = (whole_hertz(band.from), whole_hertz(band.to));
        let share = band.duty_cycle.map_or(1.0, Share::fraction);
        match all.iter_mut().find(|known| (known.from_hz, known.to_hz) == (from_hz, to_hz)) {
            Some(known) => known.share = known.share.max(share),
            None => all.push(Granted { from_hz, to_hz, share }),
        }
    }
    all
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "radio lies below 4 GHz")]
fn whole_hertz(frequency: Frequency) -> u32 {
    frequency.hertz().round() as u32
}

fn spreading_factor(design: &Design) -> Option<u8> {
    let radio = design.radio.as_ref()?;
    let factor = |rate: u8| match radio.region.modulation(rate)? {
        Modulation::Lora { spreading_factor, .. } => Some(spreading_factor),
        _ => None,
    };
    let mut rates: Vec<(u8, f64)> = radio
        .data_rates
        .iter()
        .map(|(rate, share)| Some((factor(*rate)?, share.fraction())))
        .collect::<Option<_>>()?;
    rates.sort_by_key(|(factor, _)| *factor);
    let mut sum = 0.0;
    let reaches_half = |(factor, share): &(u8, f64)| {
        sum += share;
        (sum >= 0.5).then_some(*factor)
    };
    rates.iter().find_map(reaches_half)
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
            intervals: vec![(0.0, [Some(10 * MINUTE); 12])],
            loss: 0.1,
            has_panel: true,
            full_volts: 4.2,
            stops_volts: 3.3,
            latitude_deg: 47.0,
            longitude_deg: 13.0,
            elevation_m: 600.0,
            battery: Some(("battery".to_owned(), 1e-3)),
            restarted: Some("restarted".to_owned()),
            ..NodePlan::unknown("mast")
        }
    }

    /// 1970-01-15 and 1970-07-15: 14 and 195 days after the first; the hours are those of the sun at 15 degrees east, one ahead.
    #[test]
    fn a_node_is_under_a_roof_on_the_days_of_its_diary_and_not_in_the_hours_in_which_it_moves() {
        let text = include_str!("../../../../examples/larkmoor/spray-trailer.toml");
        let file = design::file::parse(text);
        let design =
            design::resolve::resolve(&design::catalog::Catalog::builtin(), &file).expect("it is sound");
        let plan = NodePlan::of("trailer", &design.design);
        let at = |day: Moment, hour: Moment| plan.roofed.at(day * DAY + hour * super::super::HOUR, 15.0);
        assert!(at(14, 12), "the shed in winter");
        assert!(!at(195, 12) && !at(195, 5), "between the rows, standing or moving");
        assert!(!every_ten_minutes().roofed.at(14 * DAY, 15.0));
        let position = plan.position.expect("it says where it is");
        assert_eq!(position.fixed_at.as_deref(), Some("fixed"));
        assert_eq!((position.moving.as_deref(), position.accuracy), (Some("moving"), None));
        assert_eq!(position.every, Some(10 * MINUTE));
        assert!((1.0..=2.0).contains(&position.grid_m), "{}", position.grid_m);
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
