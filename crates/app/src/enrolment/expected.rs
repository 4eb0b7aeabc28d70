//! What a node should show on the bench and on its mast, from its design and its forecast.

use design::node::{Design, Step};
use forecast::Silent;
use forecast::diary::Diary;
use forecast::load::{Contribution, Demand, Purpose};
use forecast::power::battery::open_circuit;
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use verdict::plan::{Effort, Hour, NodeState, Plan, Weather, plan};

/// The figures of one node on the day it goes out.
pub(crate) struct Expected {
    /// Month it goes out, 1 to 12.
    pub(crate) month: u8,
    /// On its mast; or why nothing can be said.
    pub(crate) outdoors: Result<Outdoors, String>,
    /// On the bench.
    pub(crate) bench: Bench,
}

/// A month of the forecast.
pub(crate) struct Outdoors {
    /// Hours of the day, those without sun left out.
    pub(crate) hours: Vec<DayHour>,
    /// Battery voltage from sunset to sunrise \[V\]: one night in ten lies below, one above.
    pub(crate) night_volts: (f64, f64),
    /// What the battery takes and what the node spends [mAh a day].
    pub(crate) taken_spent_mah: (f64, f64),
    /// State of charge for which all this holds [%].
    pub(crate) charge_percent: (f64, f64),
    /// Where the weather comes from.
    pub(crate) source: String,
}

/// One hour of the day over the days of a month: one day in ten lies below, one above.
pub(crate) struct DayHour {
    /// 0 to 23, mean solar time.
    pub(crate) hour: u8,
    /// Sun on the panel [W/m²].
    pub(crate) sun_w_m2: (f64, f64),
    /// Into the battery, net \[mA\].
    pub(crate) milliamperes: (f64, f64),
    /// At the battery \[V\].
    pub(crate) volts: (f64, f64),
}

/// What instruments should show on the bench.
pub(crate) struct Bench {
    /// Battery voltage for which the currents hold \[V\].
    pub(crate) volts: f64,
    /// Asleep, at the battery, and one standard deviation \[µA\].
    pub(crate) floor_ua: (f64, f64),
    /// Whether the floor was measured before.
    pub(crate) floor_measured: bool,
    /// Activity, its interval at full charge \[min\] and what one costs at the battery \[µAh\].
    pub(crate) events: Vec<(String, f64, f64)>,
    /// Largest pulse at the battery: current \[mA\] and time \[s\].
    pub(crate) pulse: (f64, f64),
    /// Uplinks a day at full charge.
    pub(crate) uplinks_per_day: f64,
    /// Spent in a day without sun at 20 °C \[mAh\].
    pub(crate) day_mah: f64,
    /// Received at ten metres in free space by an isotropic antenna \[dBm\].
    pub(crate) ten_metres_dbm: Option<f64>,
}

/// The figures of a design for a month.
pub(crate) fn expect(design: &Design, month: u8) -> Expected {
    let site = &design.site;
    let outdoors =
        Climate::builtin(site.latitude, site.longitude, site.elevation).map_err(|error| error.to_string());
    Expected {
        month,
        outdoors: outdoors.map(|climate| outdoors_in(design, &climate, month)),
        bench: bench(design),
    }
}

fn outdoors_in(design: &Design, climate: &Climate, month: u8) -> Outdoors {
    let effort = Effort { lives: Some(0), seed: 1, threads: 1 };
    let plan: Plan = plan(design, Weather::Climate(climate), &Spots::alone(design), effort, &Silent);
    let of_month: Vec<&Hour> =
        plan.hours.iter().filter(|hour| hour.at.month == month && hour.state != NodeState::Stopped).collect();
    let sunny = |hour: &Hour| hour.in_plane.watts_per_square_metre() >= 1.0;
    let hours = (0..24).filter_map(|of_day| {
        let hours: Vec<&Hour> = of_month.iter().copied().filter(|hour| hour.at.hour == of_day).collect();
        hours.iter().any(|hour| sunny(hour)).then(|| DayHour {
            hour: of_day,
            sun_w_m2: tenths(&hours, |hour| hour.in_plane.watts_per_square_metre()),
            milliamperes: tenths(&hours, |hour| hour.battery_current.milliamperes()),
            volts: tenths(&hours, |hour| hour.battery_voltage.volts()),
        })
    });
    let night: Vec<&Hour> = of_month.iter().copied().filter(|hour| !sunny(hour)).collect();
    let row = plan.months.iter().find(|row| row.month == month);
    let mah = row.map_or((0.0, 0.0), |row| {
        (row.taken_per_day.milliampere_hours(), row.spent_per_day.milliampere_hours())
    });
    Outdoors {
        hours: hours.collect(),
        night_volts: tenths(&night, |hour| hour.battery_voltage.volts()),
        taken_spent_mah: mah,
        charge_percent: tenths(&of_month, |hour| hour.charge.percent()),
        source: climate.source.clone(),
    }
}

/// The values below which one and nine in ten lie.
fn tenths(hours: &[&Hour], value: impl Fn(&Hour) -> f64) -> (f64, f64) {
    let mut values: Vec<f64> = hours.iter().map(|hour| value(hour)).collect();
    values.sort_by(f64::total_cmp);
    let last = values.len().saturating_sub(1);
    let at = |share: f64| values.get(report::words::whole(share * last as f64)).copied().unwrap_or(0.0);
    (at(0.1), at(0.9))
}

fn bench(design: &Design) -> Bench {
    let diary = Diary::new(design);
    let demand = Demand::new(design, &diary);
    let volts = open_circuit(&design.battery, design.promise.charge_at_installation.fraction()).volts();
    let top = demand.levels.len().saturating_sub(1);
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let events = activities.filter_map(|activity| {
        let interval = activity.every.first().and_then(|(_, interval)| *interval)?;
        let amperes = |kind: usize| -> f64 {
            let row = demand.row(kind, top);
            let own = row.contributions.iter().filter(|part| {
                matches!(
                    demand.purposes.get(part.purpose),
                    Some(Purpose::Activity { activity: of, .. }) if *of == activity.name
                )
            });
            own.map(|part| amperes_at(part, volts)).sum()
        };
        let most = (0..demand.kinds()).map(amperes).fold(0.0, f64::max);
        Some((activity.name.clone(), interval.minutes(), most * 1e6 * interval.hours()))
    });
    let asleep = asleep(&demand, top, volts);
    let spread_ua = design.loads.iter().map(|load| (load.floor.spread_si * 1e6).powi(2)).sum::<f64>().sqrt();
    Bench {
        volts,
        floor_ua: (asleep, spread_ua),
        floor_measured: design.loads.iter().all(|load| load.floor_measured),
        events: events.collect(),
        pulse: (demand.pulse.amperes * 1e3, demand.pulse.seconds),
        uplinks_per_day: uplinks_per_day(design),
        day_mah: demand.per_day(0, design::quantity::Voltage::from_volts(volts), 20.0).milliampere_hours(),
        ten_metres_dbm: ten_metres_dbm(design),
    }
}

/// Current at the battery while nothing happens \[µA\]: floors and what regulators and buffers take for themselves.
fn asleep(demand: &Demand, top: usize, volts: f64) -> f64 {
    let row = demand.row(0, top);
    let idle = |purpose: &Purpose| !matches!(purpose, Purpose::Activity { .. });
    let own = row.contributions.iter().filter(|part| demand.purposes.get(part.purpose).is_some_and(idle));
    own.map(|part| amperes_at(part, volts) * 1e6).sum()
}

#[expect(clippy::cast_possible_truncation, reason = "the forecast reckons in single precision")]
fn amperes_at(part: &Contribution, volts: f64) -> f64 {
    f64::from(part.draw.at(volts as f32))
}

/// What goes out on an ordinary day, conditions of air, months and motion left aside.
fn uplinks_per_day(design: &Design) -> f64 {
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let always = activities.filter(|activity| activity.when == design::node::Condition::default());
    always
        .filter_map(|activity| {
            let interval = activity.every.first().and_then(|(_, interval)| *interval)?;
            let uplinks = activity.steps.iter().filter(|step| matches!(step, Step::Uplink { .. })).count();
            Some(uplinks as f64 / interval.days())
        })
        .sum()
}

fn ten_metres_dbm(design: &Design) -> Option<f64> {
    let radio = design.radio.as_ref()?;
    let ghz = radio.channels.first()?.megahertz() / 1e3;
    let radiated = radio.power.dbm() + radio.antenna_gain.decibels() - radio.cable_loss.decibels();
    Some(radiated - path::free_space_db(ghz, 0.01))
}
