//! What a node should show on the bench and on its mast, from its design and its forecast.

use design::node::{Condition, Design, Step};
use design::quantity::{Charge, Current, Duration, Share, Uncertain, Voltage};
use forecast::diary::Diary;
use forecast::life::shown::{Hour, NodeState};
use forecast::life::unknowns::floor_spread;
use forecast::load::{Contribution, Demand, Purpose};
use forecast::power::battery::{Pulse, open_circuit};
use forecast::radio::link_state::LinkState;
use forecast::radio::spots::Spots;

use crate::plan::{Effort, Weather, month_ahead};

/// A room [°C].
const BENCH_CELSIUS: f32 = 20.0;

/// One day in ten lies below the first, one above the second.
pub type Tenths<Q> = (Q, Q);

/// A month of the forecast.
#[derive(Clone, Debug)]
pub struct Outdoors {
    /// Hours of the day, those without sun left out.
    pub hours: Vec<DayHour>,
    /// Battery voltage from sunset to sunrise.
    pub night: Tenths<Voltage>,
    /// What the battery takes in a day.
    pub taken_per_day: Charge,
    /// What the node spends in a day.
    pub spent_per_day: Charge,
    /// State of charge for which all this holds.
    pub charge: Tenths<Share>,
}

/// One hour of the day over the days of a month.
#[derive(Clone, Copy, Debug)]
pub struct DayHour {
    /// 0 to 23, mean solar time.
    pub hour: u8,
    /// Sun on the panel [W/m²].
    pub sun_w_m2: Tenths<f64>,
    /// Into the battery, net.
    pub current: Tenths<Current>,
    /// At the battery.
    pub voltage: Tenths<Voltage>,
}

/// What instruments should show on the bench, at the charge with which the node goes out.
#[derive(Clone, Debug)]
pub struct Bench {
    /// Battery voltage for which the currents hold.
    pub voltage: Voltage,
    /// Asleep, at the battery, with one standard deviation.
    pub floor: Uncertain<Current>,
    /// Whether the floor was measured before.
    pub floor_measured: bool,
    /// What is done again and again.
    pub events: Vec<Event>,
    /// Largest pulse at the battery.
    pub pulse: Pulse,
    /// Uplinks a day.
    pub uplinks_per_day: f64,
    /// Spent in a day without sun at 20 °C.
    pub spent_per_day: Charge,
}

/// An activity as a current probe sees it.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// Its name.
    pub activity: String,
    /// How often.
    pub every: Duration,
    /// What one costs at the battery, the floor not counted.
    pub charge: Charge,
}

/// The month of this number, 1 to 12, as lives of the design on these spots have it.
#[must_use]
pub fn outdoors(design: &Design, weather: Weather<'_>, spots: &Spots, month: u8, effort: Effort) -> Outdoors {
    let ahead = month_ahead(design, weather, spots, month, effort);
    let running: Vec<&Hour> = ahead.hours.iter().filter(|hour| hour.state != NodeState::Stopped).collect();
    let sunny = |hour: &Hour| hour.in_plane.watts_per_square_metre() >= 1.0;
    let hours = (0..24).filter_map(|of_day| {
        let hours: Vec<&Hour> = running.iter().copied().filter(|hour| hour.at.hour == of_day).collect();
        let amperes = |hour: &Hour| hour.battery_current.amperes();
        hours.iter().any(|hour| sunny(hour)).then(|| DayHour {
            hour: of_day,
            sun_w_m2: tenths(&hours, |hour| hour.in_plane.watts_per_square_metre()),
            current: of_both(tenths(&hours, amperes), Current::from_amperes),
            voltage: of_both(tenths(&hours, |hour| hour.battery_voltage.volts()), Voltage::from_volts),
        })
    });
    let night: Vec<&Hour> = running.iter().copied().filter(|hour| !sunny(hour)).collect();
    Outdoors {
        hours: hours.collect(),
        night: of_both(tenths(&night, |hour| hour.battery_voltage.volts()), Voltage::from_volts),
        taken_per_day: ahead.taken_per_day,
        spent_per_day: ahead.spent_per_day,
        charge: of_both(tenths(&running, |hour| hour.charge.fraction()), Share::from_fraction),
    }
}

fn of_both<Q>((low, high): Tenths<f64>, quantity: impl Fn(f64) -> Q) -> Tenths<Q> {
    (quantity(low), quantity(high))
}

/// The values below which one and nine in ten lie; zero of none.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "places in a list are rounded")]
fn tenths(hours: &[&Hour], value: impl Fn(&Hour) -> f64) -> Tenths<f64> {
    let mut values: Vec<f64> = hours.iter().map(|hour| value(hour)).collect();
    values.sort_by(f64::total_cmp);
    let last = values.len().saturating_sub(1) as f64;
    let at = |share: f64| values.get((share * last).round() as usize).copied().unwrap_or(0.0);
    (at(0.1), at(0.9))
}

/// What a node whose messages go as `link` says shows on the bench.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "the forecast reckons in single precision")]
pub fn bench(design: &Design, link: &LinkState) -> Bench {
    let demand = Demand::on_link(design, link, &Diary::new(design));
    let charge = design.promise.charge_at_installation;
    let voltage = open_circuit(&design.battery, charge.fraction());
    let level = demand.level(charge.fraction() as f32);
    let row = demand.row(0, level);
    let idle = |part: &&Contribution| !matches!(demand.purposes[part.purpose], Purpose::Activity { .. });
    let asleep: Current = row.contributions.iter().filter(idle).map(|part| drawn(part, voltage)).sum();
    let floor = Current::from_amperes(f64::from(row.floor.at(voltage.volts() as f32)));
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let events = activities.filter_map(|activity| {
        let every = activity.interval_at(charge)?;
        let of_kind = |kind: usize| -> Current {
            let is_own = |part: &&Contribution| {
                matches!(&demand.purposes[part.purpose], Purpose::Activity { activity: of, .. } if *of == activity.name)
            };
            demand.row(kind, level).contributions.iter().filter(is_own).map(|part| drawn(part, voltage)).sum()
        };
        let most = (0..demand.kinds()).map(of_kind).fold(Current::ZERO, |most, one| if one > most { one } else { most });
        Some(Event { activity: activity.name.clone(), every, charge: most * every })
    });
    Bench {
        voltage,
        floor: Uncertain { nominal: asleep, spread_si: floor.amperes() * floor_spread(design) },
        floor_measured: design.loads.iter().all(|load| load.floor_measured),
        events: events.collect(),
        pulse: demand.pulse,
        uplinks_per_day: uplinks_per_day(design, charge),
        spent_per_day: demand.per_day(0, level, voltage, BENCH_CELSIUS),
    }
}

#[expect(clippy::cast_possible_truncation, reason = "the forecast reckons in single precision")]
fn drawn(part: &Contribution, voltage: Voltage) -> Current {
    Current::from_amperes(f64::from(part.draw.at(voltage.volts() as f32)))
}

/// What goes out on an ordinary day, conditions of air, months and motion left aside.
fn uplinks_per_day(design: &Design, charge: Share) -> f64 {
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let always = activities.filter(|activity| activity.when == Condition::default());
    always
        .filter_map(|activity| {
            let interval = activity.interval_at(charge)?;
            let uplinks = activity.steps.iter().filter(|step| matches!(step, Step::Uplink { .. })).count();
            Some(uplinks as f64 / interval.days())
        })
        .sum()
}
