//! The levers of a design, each as a ladder of changes from the smallest to the largest.

use design::catalog::Catalog;
use design::change::Change;
use design::node::{Activity, Design, Load};
use design::quantity::{Angle, Charge, Current, Duration, Length, Quantity, Uncertain, Voltage};

use super::{Lever, Moved};
use crate::answer::Answer;
use crate::plan::Cause;

/// Intervals that people write \[min\].
pub(crate) const INTERVALS_MIN: [f64; 31] = [
    0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0, 75.0,
    90.0, 120.0, 150.0, 180.0, 240.0, 300.0, 360.0, 480.0, 600.0, 720.0, 1080.0, 1440.0,
];
/// Capacities and sleep currents are tried in steps of about a tenth, up and down to a tenfold.
const STEP: f64 = 1.1;
const STEPS: i32 = 25;
/// Sleep currents are tried down to a hundredth.
const SLEEP_STEPS: i32 = 48;
/// Tilts that are tried; snow slides off from 60 degrees.
const TILTS_DEG: [f64; 6] = [15.0, 30.0, 45.0, 60.0, 75.0, 90.0];
/// How far to either side of its present direction a panel is turned.
const TURNS_DEG: [f64; 4] = [-30.0, 30.0, -60.0, 60.0];
const CUT_OFF_STEP_V: f64 = 0.05;
const CUT_OFF_STEPS: u32 = 20;
const TALLEST_M: u32 = 10;

/// One change, and the design after it.
#[derive(Clone, Debug)]
pub(super) struct Rung {
    pub(super) change: Change,
    pub(super) then: String,
    pub(super) design: Design,
}

/// A lever with its changes.
#[derive(Clone, Debug)]
pub(super) struct Ladder {
    pub(super) lever: Lever,
    /// What the design says.
    pub(super) now: String,
    /// Whether each rung is stronger than the one before; else they are tried one by one.
    pub(super) ordered: bool,
    pub(super) rungs: Vec<Rung>,
}

impl Ladder {
    /// The changes that the design can take.
    pub(super) fn new(
        design: &Design,
        lever: Lever,
        now: String,
        ordered: bool,
        changes: impl IntoIterator<Item = (Change, String)>,
    ) -> Self {
        let rung = |(change, then): (Change, String)| {
            design.with(change.clone()).ok().map(|design| Rung { change, then, design })
        };
        Self { lever, now, ordered, rungs: changes.into_iter().filter_map(rung).collect() }
    }

    pub(super) fn moved(&self, rung: &Rung) -> Moved {
        let change = Some(rung.change.clone());
        Moved { lever: self.lever.clone(), change, now: self.now.clone(), then: rung.then.clone() }
    }

    /// Whether it may be moved together with another: parts that replace each other may not.
    pub(super) fn can_be_paired(&self) -> bool {
        let alone = [Lever::PrimaryCell, Lever::CutOff, Lever::NodeMast];
        self.ordered && !alone.contains(&self.lever) && !self.rungs.is_empty()
    }

    /// Whether its changes may bring dangers with them.
    pub(super) fn brings_parts(&self) -> bool {
        matches!(self.lever, Lever::Panel | Lever::Charger | Lever::BatteryKind | Lever::PrimaryCell)
    }

    /// Whether its changes reach other spots at other data rates.
    pub(super) fn moves_spots(&self) -> bool {
        matches!(self.lever, Lever::DataRate | Lever::NodeMast)
    }
}

/// Every lever of a life that fails, what costs least first.
pub(super) fn ladders(design: &Design, answer: &Answer) -> Vec<Ladder> {
    let mut all = intervals(design);
    all.extend(data_rates(design));
    all.extend(tilts(design));
    all.extend(azimuths(design));
    all.push(capacities(design, (1..=STEPS).map(|step| STEP.powi(step))));
    all.extend(panels(design, true));
    all.extend(chargers(design));
    all.extend(sleep_current(design));
    all.extend(battery_kinds(design));
    all.push(cut_offs(design));
    all.extend(primary_cells(design));
    let causes = answer.life.chances.iter().flat_map(|chances| &chances.causes);
    if causes.into_iter().any(|(cause, _)| *cause == Cause::Distance) {
        all.extend(masts(design));
    }
    all.retain(|ladder| !ladder.rungs.is_empty());
    all
}

/// What each reporting activity does at an interval of its own.
fn reports(design: &Design) -> impl Iterator<Item = (&Load, &Activity, Duration)> {
    let activities = design.loads.iter().flat_map(|load| load.activities.iter().map(move |one| (load, one)));
    activities
        .filter(|(_, activity)| activity.sends())
        .filter_map(|(load, activity)| Some((load, activity, activity.every.fixed_interval()?)))
}

fn interval_ladder(
    design: &Design,
    (load, activity, every): (&Load, &Activity, Duration),
    wanted: impl Fn(Duration) -> bool,
) -> Ladder {
    let (load, activity) = (load.name.clone(), activity.name.clone());
    let longer = INTERVALS_MIN.map(Duration::from_minutes).into_iter().filter(|longer| wanted(*longer));
    let change = |every: Duration| {
        (Change::Interval { load: load.clone(), activity: activity.clone(), every }, every.text())
    };
    let changes: Vec<_> = longer.map(change).collect();
    Ladder::new(design, Lever::Interval { load, activity }, every.text(), true, changes)
}

/// Longer intervals of whatever reports.
pub(super) fn intervals(design: &Design) -> Vec<Ladder> {
    let ladder = |one: (&_, &_, Duration)| interval_ladder(design, one, |longer| longer > one.2);
    reports(design).map(ladder).collect()
}

/// Shorter intervals of what reports most often all year, the shortest first.
pub(super) fn shorter_interval(design: &Design) -> Option<Ladder> {
    let all_year =
        reports(design).filter(|(_, activity, _)| activity.when == design::node::Condition::default());
    let most = all_year.reduce(|one, other| if other.2 < one.2 { other } else { one })?;
    Some(interval_ladder(design, most, |shorter| shorter < most.2))
}

/// Faster data rates than the only one in use; where the network adapts it there is nothing to choose.
pub(super) fn data_rates(design: &Design) -> Option<Ladder> {
    let radio = design.radio.as_ref().filter(|radio| radio.adaptation_margin.is_none())?;
    let [(now, _)] = radio.data_rates.as_slice() else { return None };
    let faster = radio.allowed_rates.iter().filter(|rate| *rate > now);
    let text = |rate: u8| radio.region.rate_text(rate);
    let changes: Vec<_> = faster.map(|rate| (Change::DataRate(*rate), text(*rate))).collect();
    Some(Ladder::new(design, Lever::DataRate, text(*now), true, changes))
}

fn tilts(design: &Design) -> Option<Ladder> {
    let now_deg = design.panel.as_ref()?.tilt.degrees();
    let mut others = TILTS_DEG.to_vec();
    others.retain(|tilt| (tilt - now_deg).abs() >= 5.0);
    others.sort_by(|one, other| (one - now_deg).abs().total_cmp(&(other - now_deg).abs()));
    let change = |degrees: f64| (Change::Tilt(Angle::from_degrees(degrees)), format!("{degrees:.0} deg"));
    Some(Ladder::new(design, Lever::Tilt, format!("{now_deg:.0} deg"), false, others.into_iter().map(change)))
}

fn azimuths(design: &Design) -> Option<Ladder> {
    let now_deg = design.panel.as_ref()?.azimuth?.degrees();
    let equator_deg = if design.site.latitude.degrees() < 0.0 { 0.0 } else { 180.0 };
    let turned = TURNS_DEG.map(|turn| (now_deg + turn).rem_euclid(360.0));
    let mut others = vec![equator_deg];
    others.extend(turned);
    others.retain(|degrees| (degrees - now_deg).abs() >= 5.0);
    others.dedup_by(|one, other| (*one - *other).abs() < 1.0);
    let change =
        |degrees: f64| (Change::Azimuth(Some(Angle::from_degrees(degrees))), format!("{degrees:.0} deg"));
    let now = format!("{now_deg:.0} deg");
    Some(Ladder::new(design, Lever::Azimuth, now, false, others.into_iter().map(change)))
}

/// The same kind of cell, so many times as large; its resistance stays, on the safe side.
pub(super) fn capacities(design: &Design, times: impl Iterator<Item = f64>) -> Ladder {
    let battery = &design.battery;
    let cells = f64::from(battery.cells_in_parallel);
    let pack_mah = |factor: f64| two_digits(battery.capacity.nominal.milliampere_hours() * factor);
    let spread = battery.capacity.spread_si / battery.capacity.nominal.si();
    let change = |factor: f64| {
        let nominal = Charge::from_milliampere_hours(pack_mah(factor) / cells);
        let text = format!("{} mAh", pack_mah(factor));
        (Change::Capacity(Uncertain { nominal, spread_si: spread * nominal.si() }), text)
    };
    let mut changes: Vec<_> = times.map(change).collect();
    changes.dedup_by(|one, other| one.1 == other.1);
    let now = format!("{} mAh", two_digits(battery.capacity.nominal.milliampere_hours()));
    changes.retain(|(_, then)| *then != now);
    Ladder::new(design, Lever::Capacity, now, true, changes)
}

/// Rounded to the two digits in which sizes are sold.
pub(crate) fn two_digits(value: f64) -> f64 {
    let unit = 10_f64.powf(value.abs().log10().floor() - 1.0);
    let rounded = (value / unit).round() * unit;
    // A unit below one is no exact binary fraction: print it as it is written.
    format!("{rounded:.6}").parse().unwrap_or(rounded)
}

/// Larger panels of the catalogue, or smaller ones, ascending; of equal power the one whose voltage is nearest.
pub(super) fn panels(design: &Design, larger: bool) -> Option<Ladder> {
    let now = &design.panel.as_ref()?.panel;
    let volts = now.open_circuit_voltage.volts();
    let mut rungs: Vec<(f64, f64, Change, String)> = Vec::new();
    for name in Catalog::names("panel") {
        let change = Change::Panel(name.to_owned());
        let Ok(variant) = design.with(change.clone()) else { continue };
        let Some(mounted) = variant.panel.as_ref() else { continue };
        let watts = mounted.panel.power.nominal.watts();
        let wanted =
            if larger { watts > now.power.nominal.watts() } else { watts < now.power.nominal.watts() };
        if wanted {
            let off = (mounted.panel.open_circuit_voltage.volts() - volts).abs();
            rungs.push((watts, off, change, format!("{watts} W ({name})")));
        }
    }
    rungs.sort_by(|one, other| one.0.total_cmp(&other.0).then(one.1.total_cmp(&other.1)));
    rungs.dedup_by(|one, other| one.0 <= other.0);
    let changes = rungs.into_iter().map(|(_, _, change, then)| (change, then));
    Some(Ladder::new(design, Lever::Panel, now.power.nominal.text(), true, changes))
}

fn chargers(design: &Design) -> Option<Ladder> {
    let now = design.charger.as_ref()?;
    let others = Catalog::names("charger").into_iter().filter(|name| *name != now.name);
    let changes = others.map(|name| (Change::Charger(name.to_owned()), name.to_owned()));
    Some(Ladder::new(design, Lever::Charger, now.name.clone(), false, changes))
}

/// The load with the largest floor, drawing less.
fn sleep_current(design: &Design) -> Option<Ladder> {
    let loads = design.loads.iter();
    let load = loads.max_by(|one, other| one.floor.nominal.si().total_cmp(&other.floor.nominal.si()))?;
    let (floor, name) = (load.floor, load.name.clone());
    let spread = floor.spread_si / floor.nominal.si();
    let change = |step: i32| {
        let microamperes = two_digits(1e6 * floor.nominal.amperes() * STEP.powi(-step));
        let nominal = Current::from_amperes(microamperes * 1e-6);
        let floor = Uncertain { nominal, spread_si: spread * nominal.si() };
        (Change::SleepCurrent { load: name.clone(), floor }, nominal.text())
    };
    let mut changes: Vec<_> = (1..=SLEEP_STEPS).map(change).collect();
    changes.dedup_by(|one, other| one.1 == other.1);
    let lever = Lever::SleepCurrent { load: load.name.clone() };
    Some(Ladder::new(design, lever, floor.nominal.text(), true, changes))
}

/// Other rechargeable batteries of the catalogue.
fn battery_kinds(design: &Design) -> Option<Ladder> {
    design.charger.as_ref()?;
    let now = &design.battery;
    let mut ladder = batteries(design, Lever::BatteryKind, |name| Change::Battery(name.to_owned()));
    ladder.rungs.retain(|rung| rung.design.battery.name != now.name);
    Some(ladder)
}

/// Primary cells of the catalogue in place of panel, charger and battery.
fn primary_cells(design: &Design) -> Option<Ladder> {
    design.panel.as_ref()?;
    let mut ladder = batteries(design, Lever::PrimaryCell, |name| Change::PrimaryCell(name.to_owned()));
    ladder.rungs.retain(|rung| rung.design.battery.charge_limit.is_none());
    Some(ladder)
}

fn batteries(design: &Design, lever: Lever, change: impl Fn(&str) -> Change) -> Ladder {
    let changes = Catalog::names("battery").into_iter().map(|name| (change(name), name.to_owned()));
    let mut ladder = Ladder::new(design, lever, design.battery.name.clone(), false, changes);
    for rung in &mut ladder.rungs {
        let mah = rung.design.battery.capacity.nominal.milliampere_hours();
        rung.then = format!("{mah:.0} mAh ({})", rung.then);
    }
    let mah = |rung: &Rung| rung.design.battery.capacity.nominal.si();
    ladder.rungs.sort_by(|one, other| mah(one).total_cmp(&mah(other)));
    ladder
}

/// Stopping later, as low as regulator and battery allow.
fn cut_offs(design: &Design) -> Ladder {
    let now = design.cutoff.stops_below;
    let lower = (1..=CUT_OFF_STEPS)
        .map(|step| Voltage::from_volts(two_decimals(now.volts() - f64::from(step) * CUT_OFF_STEP_V)));
    let changes = lower.map(|volts| (Change::StopsBelow(volts), volts.text()));
    Ladder::new(design, Lever::CutOff, now.text(), true, changes)
}

fn two_decimals(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// A taller mast, and so faster data rates.
fn masts(design: &Design) -> Option<Ladder> {
    let now = design.radio.as_ref()?.antenna_height;
    let taller = (1..=TALLEST_M).map(|by| now + Length::from_metres(by.into()));
    let changes = taller.map(|height| (Change::AntennaHeight(height), height.text()));
    Some(Ladder::new(design, Lever::NodeMast, now.text(), true, changes))
}
