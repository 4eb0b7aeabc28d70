//! One member of a swarm: a node with parts of its own that lives the days of the log.
#![expect(clippy::cast_possible_truncation, reason = "single precision is the point of the tables")]

use super::days::{BLOCK_H, BLOCKS, DaySeen, HOURS};
use super::model::{MeasuredDay, Model};
use super::parts::{
    AFTERNOON, BOW, CAPACITY, CHARGES_ABOVE, FLOOR, HYSTERESIS, MORNING, OFFSET, Parts, RESISTANCE, SUN,
    YIELD,
};
use crate::life::kernel::{HourOutcome, Life, step};
use crate::random::Stream;
use crate::sky::hours::{DayHours, LifeWeather, SiteDraw};
use crate::sky::synthetic::Sky;

/// Before 10:45 and after 13:15 solar time, shade may take what it likes.
const MORNING_ENDS_H: f32 = 10.75;
const AFTERNOON_BEGINS_H: f32 = 13.25;
/// What a pyranometer (3 %), and the step from the level to the panel's slope (5 %, from memory), may be off for good: standard
/// deviation of the logarithm.
const SUN_GAIN_SD: f64 = 0.06;
/// What a day on the plane may be off when only the horizontal was measured by the hour, standard deviation of the logarithm
/// (own choice).
const MEASURED_DAY_SD: f64 = 0.06;
/// Clouds come rather in the morning or in the afternoon: slope over a day, standard deviation (own choice).
const TILT_SD: f64 = 0.2;
/// A day darker than this over what is usual is as dark as one with snow on the panel.
const LEAST_LIGHT: f64 = 0.03;
/// Of the capacity, so much current turns the hysteresis over (Plett 2004, from memory).
const HYSTERESIS_SHARE: f32 = 0.02;
/// How far the first voltage may be off for reasons that are not modelled \[V\].
const FIRST_SD_VOLTS: f64 = 0.012;
const MILLI: f64 = 1e-3;
/// How far members slide towards more or less of everything, standard deviation of the logarithm; and three times as far in
/// three of ten nights, from sound batteries to worn ones (own choice).
const SLIDE_SD: f64 = 0.08;
const FAR_SLIDES: (f64, f64) = (0.3, 3.0);
/// Air in which nothing heats.
const MILD_CELSIUS: f32 = 15.0;

fn slide_sd(drawn: f64) -> f64 {
    let (of_nights, times) = FAR_SLIDES;
    if drawn < of_nights { times * SLIDE_SD } else { SLIDE_SD }
}

/// What may have changed on a node since it was set up.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Regime {
    /// Nothing.
    #[default]
    Sound,
    /// Nothing comes from panel or charger.
    NoPanel,
    /// It draws so many times as much.
    Load(f32),
    /// The panel gives this share.
    Panel(f32),
}

/// What is done at a node at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mend {
    /// What broke is as it was before it did.
    Fault,
    /// Panel, charger and their light are as designed.
    Panel,
    /// A new battery, charged.
    Battery,
    /// It draws what the design says.
    Board,
}

/// Change points, chances per day. A change is proposed [`EAGER`] times as often, and weighed for it.
const BREAKS: [f64; 3] = [1.0 / 250.0, 1.0 / 200.0, 1.0 / 400.0];
const MENDS: [f64; 3] = [1.0 / 25.0, 1.0 / 200.0, 1.0 / 60.0];
const EAGER: f64 = 4.0;
/// So many nodes get nothing from their panel from the first day on.
const DEAD_FROM_THE_START: f64 = 0.04;

impl Regime {
    pub(super) fn start(random: &mut Stream) -> Self {
        if random.uniform() < DEAD_FROM_THE_START { Self::NoPanel } else { Self::Sound }
    }

    /// What the next day brings, and by how much it was proposed too rarely.
    fn next(self, random: &mut Stream) -> (Self, f64) {
        let hazards: &[f64] = match self {
            Self::Sound => &BREAKS,
            Self::NoPanel => &MENDS[..1],
            Self::Load(_) => &MENDS[1..2],
            Self::Panel(_) => &MENDS[2..],
        };
        let all: f64 = hazards.iter().sum();
        let mut place = random.uniform();
        for (kind, hazard) in hazards.iter().enumerate() {
            place -= EAGER * hazard;
            if place < 0.0 {
                return (self.changed(kind, random), 1.0 / EAGER);
            }
        }
        (self, (1.0 - all) / (1.0 - EAGER * all))
    }

    /// What the next night brings to a node that is not weighed: changes as often as is believed.
    fn tomorrow(self, random: &mut Stream) -> Self {
        let (next, correction) = self.next(random);
        if next == self || random.uniform() < correction { next } else { self }
    }

    fn changed(self, kind: usize, random: &mut Stream) -> Self {
        match (self, kind) {
            (Self::Sound, 0) => Self::NoPanel,
            (Self::Sound, 1) => Self::Load((0.7 + 0.45 * random.normal()).exp() as f32),
            (Self::Sound, _) => Self::Panel((0.15 + 0.7 * random.uniform()) as f32),
            _ => Self::Sound,
        }
    }

    /// What the panel gives of what it gave.
    pub(super) fn panel(self) -> f32 {
        match self {
            Self::NoPanel => 0.0,
            Self::Panel(share) => share,
            Self::Sound | Self::Load(_) => 1.0,
        }
    }

    /// What the node draws of what it drew.
    pub(super) fn load(self) -> f32 {
        if let Self::Load(times) = self { times } else { 1.0 }
    }
}

/// One member.
#[derive(Clone, Debug)]
pub(super) struct Particle {
    pub(super) parts: Parts,
    pub(super) regime: Regime,
    /// The day on which that began; none if it was so from the start.
    pub(super) since_day: Option<i64>,
    pub(super) life: Life,
    pub(super) sky: Sky,
    /// Hysteresis between -1, discharged for long, and 1.
    pub(super) hysteresis: f32,
    /// Capacity of its battery when new \[Ah\].
    pub(super) new_ah: f64,
    /// What the running node drew in the last day \[Ah\].
    pub(super) load_ah: f64,
    /// Logarithm of the light of its days over what is usual, where that is remembered.
    pub(super) lights: Vec<f32>,
}

/// What a day of one member looks like from outside.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Lived {
    /// Mean voltage over the readings of each block \[V\].
    pub(super) block_volts: [f32; BLOCKS],
    /// Minutes in charge where they were counted.
    pub(super) minutes: f32,
    /// Hours of the readings in which it was stopped.
    pub(super) silent_h: u32,
}

impl Particle {
    /// A member that begins with this voltage at rest, if one was heard.
    pub(super) fn new(model: &Model, first_volts: Option<f32>, random: &mut Stream) -> Self {
        let parts = model.beliefs.draw(random);
        let hysteresis = (2.0 * random.uniform() - 1.0) as f32;
        let drawn = 0.05 + 0.95 * random.uniform();
        let strays = FIRST_SD_VOLTS * random.normal() - MILLI * parts[OFFSET];
        let charge = first_volts.map_or(drawn, |volts| {
            let rest = f64::from(volts) + strays - MILLI * parts[HYSTERESIS] * f64::from(hysteresis);
            f64::from(model.tables.charge_resting_at(rest as f32))
        });
        let mut life = Life::new(&model.tables, charge.clamp(0.0, 1.0));
        life.counts_offers = false;
        let mut particle = Self {
            parts,
            regime: Regime::start(random),
            since_day: None,
            new_ah: model.tables.capacity_ah,
            load_ah: 0.0,
            sky: model.weather.start(random),
            hysteresis,
            life,
            lights: Vec::new(),
        };
        particle.equip(model);
        particle
    }

    /// A member of which nothing is known yet: to be filled with figures that were kept.
    pub(super) fn blank(model: &Model) -> Self {
        let mut life = Life::new(&model.tables, 1.0);
        life.counts_offers = false;
        Self {
            parts: Parts::default(),
            regime: Regime::Sound,
            since_day: None,
            new_ah: model.tables.capacity_ah,
            load_ah: 0.0,
            sky: Sky::default(),
            hysteresis: 0.0,
            life,
            lights: Vec::new(),
        }
    }

    /// Gives its life its parts.
    pub(super) fn equip(&mut self, model: &Model) {
        let resistance = self.parts[RESISTANCE].exp() as f32;
        let (calm_above, largest_ohm) = model.bears(resistance);
        let new_ah = model.label_ah * self.parts[CAPACITY].exp();
        self.life.scale_capacity(new_ah / self.new_ah);
        self.new_ah = new_ah;
        self.life.take_resistance(resistance, calm_above, largest_ohm);
        let above = (MILLI * self.parts[CHARGES_ABOVE]) as f32;
        self.life.charge_above(above, model.full.fuller(above, resistance));
        self.life.yield_factor = self.parts[YIELD].exp() as f32 * self.regime.panel();
        self.life.floor_factor = self.parts[FLOOR].exp() as f32 * self.regime.load();
    }

    /// A night passes, in which something may break or be mended; returns the correction of the weight.
    pub(super) fn change(&mut self, model: &Model, day: i64, random: &mut Stream) -> f64 {
        let (next, correction) = self.regime.next(random);
        self.turn_to(next, model, day);
        correction
    }

    fn turn_to(&mut self, regime: Regime, model: &Model, day: i64) {
        if regime != self.regime {
            (self.regime, self.since_day) = (regime, Some(day));
            self.equip(model);
        }
    }

    /// Becomes a node with so much more of everything, which would have sent the same, as often as there are such nodes: a step
    /// of Metropolis and Hastings, after which the swarm stands for what it stood for.
    pub(super) fn slide(&mut self, model: &Model, place: usize, random: &mut Stream) {
        let (sd, normal, chance) = (slide_sd(random.uniform()), random.normal(), random.uniform());
        let by = sd * normal;
        let Some((floor, stretched)) = self.floor_with(by, model, place) else { return };
        let mut parts = self.parts;
        parts[YIELD] += by;
        parts[CAPACITY] += by;
        parts[RESISTANCE] -= by;
        parts[FLOOR] = floor;
        let denser = model.beliefs.slid_density(&parts) - model.beliefs.slid_density(&self.parts);
        if chance.ln() < denser + stretched {
            self.parts = parts;
            self.equip(model);
        }
    }

    /// The floor with which all that it draws is so much more, what else it draws being as designed, and by how much floors lie
    /// farther apart there (both logarithms); none if no floor makes it so.
    fn floor_with(&self, by: f64, model: &Model, place: usize) -> Option<(f64, f64)> {
        let row = model.tables.demand.row(model.kind(place, HOURS / 2), self.life.level());
        let volts = || model.tables.rest_volts(self.life.charge() as f32);
        let (floor, active) = row.amperes(MILD_CELSIUS, volts);
        let now = f64::from(floor * self.regime.load()) * self.parts[FLOOR].exp();
        let then = by.exp() * now + by.exp_m1() * f64::from(active);
        let of_now = then / now;
        (of_now.is_finite() && of_now > 0.0).then(|| (self.parts[FLOOR] + of_now.ln(), by - of_now.ln()))
    }

    /// Somebody comes and does this.
    pub(super) fn mend(&mut self, model: &Model, mend: Mend) {
        match mend {
            Mend::Fault => self.regime = Regime::Sound,
            Mend::Panel => {
                (self.parts[YIELD], self.parts[MORNING], self.parts[AFTERNOON]) = (0.0, 0.0, 0.0);
                if self.regime.panel() < 1.0 {
                    self.regime = Regime::Sound;
                }
            }
            Mend::Battery => {
                (self.parts[CAPACITY], self.parts[RESISTANCE]) = (model.beliefs.usual(CAPACITY), 0.0);
                self.new_ah = model.tables.capacity_ah;
                self.life = Life::new(&model.tables, 1.0);
                self.life.counts_offers = false;
            }
            Mend::Board => {
                self.parts[FLOOR] = 0.0;
                if self.regime.load() > 1.0 {
                    self.regime = Regime::Sound;
                }
            }
        }
        self.equip(model);
    }

    /// A night passes for a node that is not weighed.
    pub(super) fn pass_night(&mut self, model: &Model, day: i64, random: &mut Stream) {
        self.turn_to(self.regime.tomorrow(random), model, day);
    }

    /// Draws the weather of a day; the measured one is taken where there is any.
    pub(super) fn hours_of(&mut self, model: &Model, seen: &DaySeen, random: &mut Stream) -> DayHours {
        let site = SiteDraw::default();
        model.weather.next_day(seen.place, &site, &mut self.sky, random);
        let stray = random.normal();
        let tilt = (TILT_SD * stray) as f32;
        let measured = model.measured(seen.day, seen.hours);
        let shared = model.shared.as_ref().and_then(|shared| Some((shared.on(seen.day)?, shared.level_sd)));
        let gain = match (measured, shared) {
            (Some(_), _) => SUN_GAIN_SD * self.parts[SUN] + MEASURED_DAY_SD * stray,
            (None, Some(((light, sd), level_sd))) => {
                let over_usual = (light + sd * random.normal()).exp();
                model.weather.see_light(seen.place, &mut self.sky, over_usual);
                level_sd * self.parts[SUN]
            }
            (None, None) => model.sun_doubt(seen.month) * self.parts[SUN],
        };
        if model.remembers {
            let light = model.weather.over_usual(seen.place, &self.sky).max(LEAST_LIGHT).ln() + gain;
            self.lights.push(light as f32);
        }
        let gain = gain.exp() as f32;
        // A day that is cut short goes on from the same dawn.
        let mut dawn = self.sky;
        let mut hours = model.weather.hours(seen.place, &mut dawn);
        if seen.hours.1 == HOURS {
            self.sky = dawn;
        }
        self.take_box(model, seen, &mut hours);
        if let Some(measured) = measured {
            take_measured(measured, &mut hours);
        }
        let (morning, afternoon) = (self.parts[MORNING].exp() as f32, self.parts[AFTERNOON].exp() as f32);
        for (hour, w_m2) in hours.in_plane_w_m2.iter_mut().enumerate() {
            let middle = hour as f32 + 0.5;
            let cloud = if measured.is_some() { 1.0 } else { (1.0 + tilt * (middle - 12.0) / 4.0).max(0.2) };
            *w_m2 *= gain * cloud * profile(hour, morning, afternoon);
        }
        hours
    }

    /// The hours of a day with no shade but its own.
    pub(super) fn shaded(&self, hours: &DayHours) -> DayHours {
        let (morning, afternoon) = (self.parts[MORNING].exp() as f32, self.parts[AFTERNOON].exp() as f32);
        let mut hours = hours.clone();
        for (hour, w_m2) in hours.in_plane_w_m2.iter_mut().enumerate() {
            *w_m2 *= profile(hour, morning, afternoon);
        }
        hours
    }

    /// Where the box was measured, the battery is as warm, and the air as much warmer or colder than drawn.
    fn take_box(&mut self, model: &Model, seen: &DaySeen, hours: &mut DayHours) {
        let Some(box_celsius) = &seen.box_celsius else { return };
        let off: f32 =
            box_celsius.iter().zip(&hours.battery_celsius).map(|(seen, drawn)| seen - drawn).sum::<f32>()
                / HOURS as f32;
        hours.battery_celsius = *box_celsius;
        hours.air_celsius.iter_mut().for_each(|celsius| *celsius += off);
        hours.cell_celsius.iter_mut().for_each(|celsius| *celsius += off);
        let air = model.weather.air_day_celsius(&self.sky) + f64::from(off);
        model.weather.see_air(seen.place, &SiteDraw::default(), &mut self.sky, air);
        self.sky.warm_battery(box_celsius[HOURS - 1]);
    }

    /// Lives the hours of a day and says what was to be seen.
    pub(super) fn live(&mut self, model: &Model, seen: &DaySeen, hours: &DayHours) -> Lived {
        let mut lived = Lived::default();
        let load_before = self.life.flows.load;
        for hour in seen.hours.0..seen.hours.1 {
            let charge = self.life.charge() as f32;
            let outcome =
                step(&model.tables, model.kind(seen.place, hour), &hours.hour(hour), &mut self.life);
            let after = self.life.charge() as f32;
            let amperes = (after - charge) * self.life.capacity_ah() as f32;
            let turned = self.turn(amperes);
            let (count, _) = seen.volts[hour];
            if count > 0 {
                let middle = 0.5 * (charge + after);
                let volts = self.volts(model, middle, hours.battery_celsius[hour], amperes, turned);
                lived.block_volts[hour / BLOCK_H] += f32::from(count) * volts;
                lived.silent_h += u32::from(!outcome.running);
            }
            if let Some(window) = &seen.minutes {
                let counted = (window.to_h.min(hour as f64 + 1.0) - window.from_h.max(hour as f64)).max(0.0);
                if counted > 0.0 && outcome.taken > 0.0 {
                    let minutes = self.minutes(model, hours, hour, (charge, after), &outcome);
                    lived.minutes += counted as f32 * minutes;
                }
            }
        }
        if seen.hours.1 - seen.hours.0 == HOURS {
            self.load_ah = self.life.flows.load - load_before;
        }
        for (block, volts) in lived.block_volts.iter_mut().enumerate() {
            let counts = &seen.volts[block * BLOCK_H..][..BLOCK_H];
            *volts /= counts.iter().map(|(count, _)| f32::from(*count)).sum::<f32>().max(1.0);
        }
        lived
    }

    /// An hour of this current passes; returns where the hysteresis stood in its middle.
    fn turn(&mut self, amperes: f32) -> f32 {
        let reach = amperes.abs() / (HYSTERESIS_SHARE * self.life.capacity_ah() as f32);
        let before = self.hysteresis;
        self.hysteresis += (1.0 - (-reach).exp()) * (1.0_f32.copysign(amperes) - before);
        0.5 * (before + self.hysteresis)
    }

    /// What the node would report.
    fn volts(&self, model: &Model, charge: f32, celsius: f32, amperes: f32, turned: f32) -> f32 {
        let parts = &self.parts;
        let ohm = model.tables.resistance_ohm(charge, celsius) * self.life.resistance_factor();
        let bow = parts[BOW] as f32 * (std::f32::consts::TAU * charge).sin();
        let off = 1e-3 * (parts[OFFSET] as f32 + bow + parts[HYSTERESIS] as f32 * turned);
        model.tables.rest_volts(charge) + amperes * ohm + off
    }

    /// Minutes in charge in an hour with charge: dawn and dusk have fewer, and so has one in which the battery got full.
    fn minutes(
        &self,
        model: &Model,
        hours: &DayHours,
        hour: usize,
        (charge, after): (f32, f32),
        outcome: &HourOutcome,
    ) -> f32 {
        if !outcome.full {
            return 60.0 * sunlit_share(&hours.in_plane_w_m2, hour);
        }
        let capacity = self.life.capacity_ah() as f32;
        let amperes = outcome.offered - outcome.spent;
        if amperes <= 0.0 {
            return 60.0;
        }
        let filling = (after - charge) * capacity / amperes;
        let ohm = model.full.ohm * self.life.resistance_factor();
        let tail = ohm * capacity / model.full.volts_per_charge
            * (outcome.offered / model.full.ends_amperes).max(1.0).ln();
        (60.0 * (filling + tail)).clamp(0.0, 60.0)
    }
}

/// Share of an hour in which the panel sees light, of one beside the dark: light rises straight from nothing.
fn sunlit_share(in_plane_w_m2: &[f32; HOURS], hour: usize) -> f32 {
    let at = |hour: usize| in_plane_w_m2.get(hour).copied().unwrap_or(0.0);
    let (before, now, after) = (at(hour.wrapping_sub(1)), at(hour), at(hour + 1));
    if before > 0.0 && after > 0.0 {
        return 1.0;
    }
    let ratio = now / before.max(after).max(1.0);
    (ratio + (ratio * ratio + ratio).sqrt()).min(1.0)
}

/// What shade leaves of the light of an hour.
pub(super) fn profile(hour: usize, morning: f32, afternoon: f32) -> f32 {
    let share = |hours: f32| hours.clamp(0.0, 1.0);
    let early = share(MORNING_ENDS_H - hour as f32);
    let late = share(hour as f32 + 1.0 - AFTERNOON_BEGINS_H);
    early * morning + late * afternoon + (1.0 - early - late)
}

fn take_measured(measured: &MeasuredDay, hours: &mut DayHours) {
    for hour in 0..HOURS {
        let (sun, air) = (measured.in_plane_w_m2[hour], measured.air_celsius[hour]);
        if !sun.is_finite() {
            continue;
        }
        let over_air = hours.cell_celsius[hour] - hours.air_celsius[hour];
        let per_w_m2 =
            if hours.in_plane_w_m2[hour] > 1.0 { over_air / hours.in_plane_w_m2[hour] } else { 0.03 };
        hours.in_plane_w_m2[hour] = sun;
        if air.is_finite() {
            hours.air_celsius[hour] = air;
        }
        hours.cell_celsius[hour] = hours.air_celsius[hour] + per_w_m2 * sun;
    }
}
