//! What a swarm lives in: the tables of the node, its weather drawn or measured, and what is believed of its parts.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_possible_wrap,
    reason = "single precision is the point of the tables, and hours of a day are few"
)]

use std::collections::BTreeMap;

use design::node::Design;
use design::quantity::Voltage;

use super::days::{HOURS, SolarClock, place_in_year};
use super::parts::Beliefs;
use super::site::SharedSun;
use super::sun::MeasuredSun;
use crate::diary::Diary;
use crate::life::node::NodeTables;
use crate::life::weather::{kept_share, synthetic, under};
use crate::load::Demand;
use crate::power::battery;
use crate::sky::climate::Climate;
use crate::sky::light::nominal_hours;
use crate::sky::plane::{self, HourSky, Instants, PlaneTable};
use crate::sky::sun::date;
use crate::sky::synthetic::SyntheticWeather;
use crate::sky::transpose::SkyModel;
use crate::sky::weather::HourStart;

/// Factors on the resistance that are tabulated: e^-3 to e^3.
const OHM_STEPS: usize = 120;
const OHM_LARGEST_LOG: f32 = 3.0;
/// The slope of the open-circuit curve where a battery is full is taken over this much charge.
const TOP: f64 = 0.05;
/// Without a charger or where nothing ends the charge, a battery that is full takes nothing any more \[A\].
const LEAST_END_AMPERES: f32 = 1e-4;
const HOURS_PER_DAY: i64 = 24;

/// What a swarm lives in.
#[derive(Clone, Debug)]
pub(super) struct Model {
    pub(super) tables: NodeTables,
    pub(super) weather: SyntheticWeather,
    pub(super) beliefs: Beliefs,
    pub(super) clock: SolarClock,
    /// Where the counter of minutes in charge begins anew.
    pub(super) modulus: u32,
    /// What the label promises \[Ah\].
    pub(super) label_ah: f64,
    pub(super) full: Full,
    kinds: Vec<u16>,
    sun_doubt: [f64; 12],
    calm_above: Vec<f32>,
    largest_ohm: f32,
    measured: BTreeMap<i64, MeasuredDay>,
    /// What nodes nearby saw of the sun.
    pub(super) shared: Option<SharedSun>,
    /// Whether members remember the light of their days.
    pub(super) remembers: bool,
}

/// How a charge ends.
#[derive(Clone, Copy, Debug)]
pub(super) struct Full {
    /// Rise of the open-circuit voltage per unit of charge where the battery is full \[V\].
    pub(super) volts_per_charge: f32,
    /// Current at which the charge ends \[A\].
    pub(super) ends_amperes: f32,
    /// Resistance of the nominal battery there \[ohm\].
    pub(super) ohm: f32,
}

/// A day of measured sun on the plane; hours that were not measured are no numbers.
#[derive(Clone, Debug)]
pub(super) struct MeasuredDay {
    pub(super) in_plane_w_m2: [f32; HOURS],
    pub(super) air_celsius: [f32; HOURS],
}

impl MeasuredDay {
    /// Whether all of these hours were measured.
    pub(super) fn covers(&self, (from, to): (usize, usize)) -> bool {
        self.in_plane_w_m2[from..to].iter().all(|w_m2| w_m2.is_finite())
    }
}

impl Model {
    pub(super) fn new(design: &Design, climate: &Climate, modulus: u32, sun: Option<&MeasuredSun>) -> Self {
        let diary = Diary::new(design);
        let tables = NodeTables::of_design(design, Demand::new(design, &diary));
        let step = |index: usize| (OHM_LARGEST_LOG * (2.0 * index as f32 / OHM_STEPS as f32 - 1.0)).exp();
        let kind = |hour: &HourStart| diary.kind(hour.month, hour.day, hour.hour) as u16;
        let clock = SolarClock::new(design.site.longitude.degrees());
        Self {
            weather: synthetic(design, climate, &diary),
            beliefs: Beliefs::new(design),
            clock,
            modulus,
            label_ah: design.battery.capacity.nominal.ampere_hours(),
            full: Full::new(design, &tables),
            kinds: nominal_hours().iter().map(kind).collect(),
            sun_doubt: climate.months.each_ref().map(|month| month.sun_doubt),
            calm_above: (0..=OHM_STEPS).map(|index| tables.calm_above(step(index))).collect(),
            largest_ohm: tables.largest_ohm(),
            measured: sun.map(|sun| measured_days(design, &diary, clock, sun)).unwrap_or_default(),
            shared: None,
            remembers: false,
            tables,
        }
    }

    pub(super) fn kind(&self, place: usize, hour: usize) -> usize {
        usize::from(self.kinds[place * HOURS + hour])
    }

    /// Standard deviation of the logarithm of a month's sun, or of what a pyranometer shows.
    pub(super) fn sun_doubt(&self, month: usize) -> f64 {
        self.sun_doubt[month]
    }

    pub(super) fn measured(&self, day: i64, hours: (usize, usize)) -> Option<&MeasuredDay> {
        self.measured.get(&day).filter(|day| day.covers(hours))
    }

    /// The charge above which nothing stops a node of so many times the resistance, and its largest resistance.
    pub(super) fn bears(&self, factor: f32) -> (f32, f32) {
        let place = (factor.max(1e-6).ln() / OHM_LARGEST_LOG + 1.0) * 0.5 * OHM_STEPS as f32;
        let above = (place.ceil().max(0.0) as usize).min(OHM_STEPS);
        (self.calm_above[above], self.largest_ohm * factor)
    }
}

impl Full {
    fn new(design: &Design, tables: &NodeTables) -> Self {
        let charger = design.charger.as_ref();
        let volts = charger.and_then(|charger| charger.voltage);
        let top = volts.map_or(1.0, |volts| battery::charge_at_rest(&design.battery, volts)).max(TOP);
        let at = |charge: f64| battery::open_circuit(&design.battery, charge);
        let rise: Voltage = at(top) - at(top - TOP);
        let ends = charger.map_or(0.0, |charger| charger.terminate_current.amperes());
        Self {
            volts_per_charge: ((rise.volts() / TOP) as f32).max(0.05),
            ends_amperes: (ends as f32).max(LEAST_END_AMPERES),
            ohm: tables.resistance_ohm(top as f32, 15.0),
        }
    }

    /// How much fuller a battery of so many times the resistance gets with a charger that charges so much higher \[V\].
    pub(super) fn fuller(&self, volts: f32, resistance_factor: f32) -> f32 {
        (volts - self.ends_amperes * self.ohm * resistance_factor) / self.volts_per_charge
    }
}

/// Measured sun as it falls on the panel, by the days of the solar clock.
fn measured_days(
    design: &Design,
    diary: &Diary,
    clock: SolarClock,
    sun: &MeasuredSun,
) -> BTreeMap<i64, MeasuredDay> {
    let hours: Vec<_> = sun.iter().collect();
    let starts: Vec<HourStart> = hours.iter().map(|(hour, ..)| start_of(*hour)).collect();
    let Some(mounted) = &design.panel else { return BTreeMap::new() };
    let observer = plane::site_observer(design);
    let facing = plane::facing(design, mounted);
    let table = PlaneTable::new(&observer, 0.0, &facing, SkyModel::Perez, Instants::SixGrena, &starts);
    let on_plane: BTreeMap<i64, [f32; 2]> = hours
        .iter()
        .enumerate()
        .map(|(index, (hour, ghi_w_m2, air))| {
            let sky = HourSky { ghi_w_m2: f64::from(*ghi_w_m2), measured: None };
            let (day, of_day) = clock.day_and_hour(hour * 3600 + 1800);
            let (month, of_month, _) = place_in_year(day);
            let shade = under(diary.sky(month, of_month, of_day as u8)) * kept_share(mounted, month);
            let effective = table.in_plane(index, &sky).effective_w_m2 * shade;
            (*hour, [effective as f32, air.unwrap_or(f32::NAN)])
        })
        .collect();
    let (Some((first, ..)), Some((last, ..))) = (hours.first(), hours.last()) else { return BTreeMap::new() };
    let days = clock.day_and_hour(first * 3600).0..=clock.day_and_hour(last * 3600).0;
    days.map(|day| (day, measured_day(clock.begins_s(day), &on_plane))).collect()
}

/// The hours of a day that begins at this moment: each lies over two hours of the record.
fn measured_day(begins_s: i64, on_plane: &BTreeMap<i64, [f32; 2]>) -> MeasuredDay {
    let (first, late) = (begins_s.div_euclid(3600), begins_s.rem_euclid(3600) as f32 / 3600.0);
    let of = |column: usize| {
        std::array::from_fn(|hour| {
            let at = |hour: i64| on_plane.get(&hour).map_or(f32::NAN, |figures| figures[column]);
            let (one, other) = (at(first + hour as i64), at(first + hour as i64 + 1));
            match (one.is_finite(), other.is_finite()) {
                (true, true) => one + late * (other - one),
                (true, false) => one,
                _ => other,
            }
        })
    };
    MeasuredDay { in_plane_w_m2: of(0), air_celsius: of(1) }
}

fn start_of(hour: i64) -> HourStart {
    let (year, month, day) = date(hour.div_euclid(HOURS_PER_DAY));
    HourStart { year, month, day, hour: hour.rem_euclid(HOURS_PER_DAY) as u8 }
}
