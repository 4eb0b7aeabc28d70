//! The hour step of one life.
//!
//! Charge is kept in ampere-hours, so that a current in amperes over one hour is a charge without a factor. One life is
//! stepped through a whole day before the next, so that its state stays in registers; lives side by side in arrays were
//! four times slower, since every step is table look-ups that do not vectorise.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::schedule::RISE_AFTER;

use super::node::NodeTables;
use crate::load::Demand;
use crate::power::ageing;
use crate::sky::hours::{DayHours, HourWeather};

/// A battery is not followed beyond this share of its capacity lost.
const LARGEST_LOSS: f64 = 0.95;
/// Leaks and wear are stepped by so many hours: four samples a day carry its swing of temperature.
pub const QUARTER_H: usize = 6;
/// Hours after which a node may go up a level, the one in which it moved not counted.
const RESTS_H: u8 = (RISE_AFTER.hours() as u8) - 1;
/// The capacity follows its wear once a week: in one it loses some thousandth.
const QUARTERS_PER_WEEK: u8 = 28;

/// Figures by which a life goes on elsewhere.
pub(crate) const LIFE_FIGURES: usize = 19;

/// Charge that moved since a life began \[Ah\].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Flows {
    /// What the charger could have put into a battery that is never full.
    pub offered: f64,
    /// What the battery took.
    pub taken: f64,
    /// What the running node asked for.
    pub load: f64,
    /// What the stopped node drew.
    pub stopped: f64,
    /// What joining the network took.
    pub joins: f64,
    /// What the charger drew from the battery at night.
    pub charger: f64,
    /// What leaked away inside the battery.
    pub self_discharge: f64,
    /// Charge lost with the capacity that held it.
    pub fade: f64,
    /// What was asked for and not there.
    pub unmet: f64,
}

impl Flows {
    /// What was drawn at the battery's terminals.
    fn drawn(&self) -> f64 {
        self.load + self.stopped + self.joins + self.charger
    }

    /// Adds what moved elsewhere.
    pub fn add(&mut self, other: &Self) {
        *self = self.combined(other, 1.0);
    }

    /// What has moved since.
    #[must_use]
    pub fn since(&self, before: &Self) -> Self {
        self.combined(before, -1.0)
    }

    fn combined(&self, other: &Self, factor: f64) -> Self {
        Self {
            offered: self.offered + factor * other.offered,
            taken: self.taken + factor * other.taken,
            load: self.load + factor * other.load,
            stopped: self.stopped + factor * other.stopped,
            joins: self.joins + factor * other.joins,
            charger: self.charger + factor * other.charger,
            self_discharge: self.self_discharge + factor * other.self_discharge,
            fade: self.fade + factor * other.fade,
            unmet: self.unmet + factor * other.unmet,
        }
    }
}

/// What an hour brought, for a recorder.
#[expect(clippy::struct_excessive_bools, reason = "they are independent facts of an hour, not one state")]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HourOutcome {
    /// Charging current into a battery that is not full: after gate and current limit, before the voltage limit \[A\].
    pub offered: f32,
    /// Charging current taken \[A\].
    pub taken: f32,
    /// Current out of the battery, all drains included \[A\].
    pub spent: f32,
    /// Whether the charger refused the sun for the battery's temperature.
    pub gated: bool,
    /// Whether the battery was full.
    pub full: bool,
    /// Whether the node ran.
    pub running: bool,
    /// Whether it stopped in this hour.
    pub stopped_now: bool,
    /// Whether it stopped because a pulse pulled the voltage down while charge was left.
    pub browned_out: bool,
    /// Whether the load asked for more than was there.
    pub ran_dry: bool,
}

impl HourOutcome {
    /// Whether the node was out.
    #[inline]
    #[must_use]
    pub fn out(&self) -> bool {
        !self.running || self.ran_dry
    }
}

/// One life: what it holds and what was drawn for it.
#[expect(clippy::struct_excessive_bools, reason = "node, charger and fault each have a state of their own")]
#[derive(Clone, Debug)]
pub struct Life {
    /// Charge in the battery \[Ah\].
    pub stored_ah: f64,
    /// Capacity as it is now \[Ah\].
    capacity_ah: f64,
    /// One over that.
    per_capacity: f64,
    /// Capacity when new \[Ah\].
    new_capacity_ah: f64,
    /// Factor on the sun: dirt, label, age of the panel.
    pub yield_factor: f32,
    /// Factor on the resistance of its battery.
    pub(super) resistance_factor: f32,
    /// Charge above which nothing can stop it, however cold.
    calm_above: f32,
    /// The largest resistance its battery can have \[ohm\].
    largest_ohm: f32,
    /// What its charger charges above the tables \[V\], and the state of charge that this adds to a full battery.
    charges_above: (f32, f32),
    /// Hours left of the quarter of a day, and quarters left of the week.
    hours_left: u8,
    quarters_left: u8,
    /// Level of the intervals on which the node stands, and hours until it may go up.
    level: u16,
    rests_h: u8,
    /// What the node's gauge shows too much of the charge.
    pub gauge_error: f32,
    /// Factor on what the board draws asleep.
    pub floor_factor: f32,
    /// Factor on everything else it draws.
    pub active_factor: f32,
    /// Load on top of the design, while running \[A\].
    pub extra_amperes: f32,
    /// Whether a stop clears the extra load.
    pub extra_clears: bool,
    /// Whether anybody will ask what the sun offered to a battery that was full.
    pub counts_offers: bool,
    /// Whether the node runs.
    pub running: bool,
    /// Whether the charger has called the battery full and waits.
    done: bool,
    /// Calendar wear, in the sum that grows in step with time (see [`ageing::hourly_wear`]).
    wear: f64,
    /// What has flowed.
    pub flows: Flows,
}

impl Life {
    /// A life that starts with the battery of the tables at this state of charge, its parts as designed.
    #[must_use]
    pub fn new(node: &NodeTables, charge: f64) -> Self {
        Self {
            stored_ah: node.capacity_ah * charge,
            capacity_ah: node.capacity_ah,
            per_capacity: 1.0 / node.capacity_ah,
            new_capacity_ah: node.capacity_ah,
            yield_factor: 1.0,
            resistance_factor: 1.0,
            calm_above: node.calm_above(1.0),
            largest_ohm: node.largest_ohm(),
            charges_above: (0.0, 0.0),
            hours_left: QUARTER_H as u8,
            quarters_left: QUARTERS_PER_WEEK,
            level: (node.demand.levels.len() - 1) as u16,
            rests_h: 0,
            gauge_error: 0.0,
            floor_factor: 1.0,
            active_factor: 1.0,
            extra_amperes: 0.0,
            extra_clears: false,
            counts_offers: true,
            running: true,
            done: false,
            wear: 0.0,
            flows: Flows::default(),
        }
    }

    /// State of charge.
    #[inline]
    #[must_use]
    pub fn charge(&self) -> f64 {
        self.stored_ah * self.per_capacity
    }

    /// Level of the intervals on which the node stands, the lowest being 0.
    #[inline]
    #[must_use]
    pub fn level(&self) -> usize {
        usize::from(self.level)
    }

    /// Goes down to the level of the charge that its gauge shows, or up by one when that is due: once an hour.
    #[inline]
    fn read_gauge(&mut self, demand: &Demand, charge: f32) {
        let shown = self.shown(charge);
        if demand.holds(self.level(), shown) || (self.rests_h > 0 && shown >= demand.levels[self.level()]) {
            self.rests_h = self.rests_h.saturating_sub(1);
            return;
        }
        let level = demand.level(shown) as u16;
        self.level = level.min(self.level + 1);
        self.rests_h = RESTS_H;
    }

    /// Whether it would stay on its level all through a quarter of a day in which the charge falls from one to the other.
    #[inline]
    fn keeps_level(&self, demand: &Demand, highest: f32, lowest: f32) -> bool {
        let may_rise = usize::from(self.rests_h) < QUARTER_H;
        self.shown(lowest) >= demand.levels[self.level()]
            && (!may_rise || demand.holds(self.level(), self.shown(highest)))
    }

    /// The charge that its gauge shows.
    #[inline]
    fn shown(&self, charge: f32) -> f32 {
        (charge + self.gauge_error).clamp(0.0, 1.0)
    }

    /// Capacity as it is now \[Ah\].
    #[must_use]
    pub fn capacity_ah(&self) -> f64 {
        self.capacity_ah
    }

    /// Capacity as it is now, of what it was when new.
    #[must_use]
    pub fn capacity_left(&self) -> f64 {
        self.capacity_ah / self.new_capacity_ah
    }

    /// Takes the battery down to this state of charge, if it holds more.
    pub fn drain_to(&mut self, charge: f64) {
        self.stored_ah = self.stored_ah.min(charge * self.capacity_ah);
    }

    /// Gives the life a battery so many times as large, at the same state of charge.
    pub fn scale_capacity(&mut self, factor: f64) {
        self.new_capacity_ah *= factor;
        self.hold(self.capacity_ah * factor);
    }

    /// Gives the life a battery of so many times the resistance.
    pub fn scale_resistance(&mut self, node: &NodeTables, factor: f32) {
        self.resistance_factor = factor;
        self.calm_above = node.calm_above(factor);
        self.largest_ohm = node.largest_ohm() * factor;
    }

    /// Gives the life a battery of so many times the resistance, for which the charge that nothing can stop and the largest
    /// resistance are known.
    pub(crate) fn take_resistance(&mut self, factor: f32, calm_above: f32, largest_ohm: f32) {
        (self.resistance_factor, self.calm_above, self.largest_ohm) = (factor, calm_above, largest_ohm);
    }

    /// Gives the life a charger that charges so much above its tables \[V\], to a battery so much fuller.
    pub(crate) fn charge_above(&mut self, volts: f32, charge: f32) {
        self.charges_above = (volts, charge);
    }

    /// What changes as it is lived, its parts apart, for [`Self::take_figures`].
    pub(crate) fn figures(&self) -> [f64; LIFE_FIGURES] {
        let Flows { offered, taken, load, stopped, joins, charger, self_discharge, fade, unmet } = self.flows;
        [
            self.stored_ah,
            self.capacity_ah,
            self.new_capacity_ah,
            self.wear,
            f64::from(self.hours_left),
            f64::from(self.quarters_left),
            f64::from(self.level),
            f64::from(self.rests_h),
            f64::from(u8::from(self.running)),
            f64::from(u8::from(self.done)),
            offered,
            taken,
            load,
            stopped,
            joins,
            charger,
            self_discharge,
            fade,
            unmet,
        ]
    }

    /// Goes on where a life with the same parts stood.
    pub(crate) fn take_figures(&mut self, figures: &[f64; LIFE_FIGURES]) {
        let [stored, capacity, new, wear, hours, quarters, level, rests, running, done, flows @ ..] =
            *figures;
        let [offered, taken, load, stopped, joins, charger, self_discharge, fade, unmet] = flows;
        (self.stored_ah, self.capacity_ah, self.new_capacity_ah, self.wear) = (stored, capacity, new, wear);
        self.per_capacity = 1.0 / capacity;
        (self.hours_left, self.quarters_left) = ((hours as u8).max(1), (quarters as u8).max(1));
        // A level that was kept is one of the node's: the same design made it.
        (self.level, self.rests_h) = ((level as u16).min(self.level), rests as u8);
        (self.running, self.done) = (running > 0.0, done > 0.0);
        self.flows = Flows { offered, taken, load, stopped, joins, charger, self_discharge, fade, unmet };
    }

    /// The factor on the resistance of its battery.
    pub(crate) fn resistance_factor(&self) -> f32 {
        self.resistance_factor
    }

    /// Takes the wear of the past week off the capacity; the charge held in the lost part is lost with it.
    fn wear_out(&mut self, node: &NodeTables) {
        let Some(law) = &node.ageing else { return };
        let cycle_wear = ageing::cycle_wear_per_full_cycle(law) * self.flows.drawn() / self.new_capacity_ah;
        let loss = ageing::calendar_loss(law, self.wear) + cycle_wear.sqrt();
        let before = self.stored_ah;
        self.hold(self.new_capacity_ah * (1.0 - loss.min(LARGEST_LOSS)));
        self.flows.fade += before - self.stored_ah;
    }

    /// Whether it runs and nothing can stop it within the hour, however cold.
    #[inline]
    fn is_calm(&self, charge: f32) -> bool {
        self.running && charge >= self.calm_above
    }

    /// Whether its charger waits with a full battery.
    #[inline]
    fn waits(&self, node: &NodeTables, charge: f32) -> bool {
        self.done && charge >= node.charger.recharges_below
    }

    /// Changes the capacity and keeps the state of charge.
    fn hold(&mut self, capacity_ah: f64) {
        self.stored_ah *= capacity_ah / self.capacity_ah;
        self.capacity_ah = capacity_ah;
        self.per_capacity = 1.0 / capacity_ah;
    }
}

/// Steps a life by one hour of the given kind and returns what it brought.
///
/// Most hours are quiet: the charge is above all that could stop the node, and it is dark or the charger waits with a
/// full battery. Then only the load flows.
pub fn step(node: &NodeTables, kind: usize, weather: &HourWeather, life: &mut Life) -> HourOutcome {
    let charge = life.charge() as f32;
    if node.demand.by_charge() {
        life.read_gauge(&node.demand, charge);
    }
    let sun_w_m2 = weather.in_plane_w_m2 * life.yield_factor;
    let sunlit = sun_w_m2 > 0.0;
    let waits = !life.counts_offers && life.waits(node, charge);
    let mut outcome = if life.is_calm(charge) && (!sunlit || waits) {
        let load = load_amperes(node, kind, weather.air_celsius, life, charge);
        let spends = Spends::quietly(node, load, sunlit);
        life.flows.load += f64::from(spends.load);
        life.flows.charger += f64::from(spends.drain);
        let mut outcome = spends.outcome(sunlit);
        settle(life, &mut outcome, life.stored_ah - spends.both());
        outcome
    } else {
        step_with_care(node, kind, weather, life, charge, sun_w_m2)
    };
    life.hours_left -= 1;
    if life.hours_left == 0 {
        end_quarter(node, life, &mut outcome, weather.battery_celsius, charge);
    }
    outcome
}

/// Steps a life that stands at the start of a quarter of a day through all of it at once and returns what its last hour
/// brought, if all its hours are quiet and alike; else `None`, and nothing has happened. It is what [`step`] makes of
/// the hours one by one.
#[inline]
pub fn step_quiet_quarter(
    node: &NodeTables,
    kinds: &[u16; QUARTER_H],
    day: &DayHours,
    from: usize,
    life: &mut Life,
) -> Option<HourOutcome> {
    let charge = life.charge() as f32;
    let waits = !life.counts_offers && life.waits(node, charge);
    let in_plane_w_m2 = &day.in_plane_w_m2[from..from + QUARTER_H];
    let sunlit =
        if life.yield_factor > 0.0 { in_plane_w_m2.iter().filter(|sun| **sun > 0.0).count() } else { 0 };
    let at_start = usize::from(life.hours_left) == QUARTER_H;
    if !at_start || !life.is_calm(charge) || (!waits && sunlit > 0) {
        return None;
    }
    let coldest =
        day.air_celsius[from..from + QUARTER_H].iter().fold(f32::INFINITY, |one, other| one.min(*other));
    let load = drawn_amperes(node.demand.steady_amperes(kinds, life.level(), coldest)?, life);
    let last_sunlit = sunlit > 0 && in_plane_w_m2[QUARTER_H - 1] > 0.0;
    let last = Spends::quietly(node, load, last_sunlit);
    let spent_ah = QUARTER_H as f64 * f64::from(load);
    let drained_ah = (QUARTER_H - sunlit) as f64 * f64::from(node.charger.drain_amperes);
    let end_ah = life.stored_ah - spent_ah - drained_ah;
    let (begun_at, charge) = (charge, ((end_ah + last.both()) * life.per_capacity) as f32);
    if !life.is_calm(charge) || (waits && !life.waits(node, charge)) || end_ah < 0.0 {
        return None;
    }
    if node.demand.by_charge() {
        if !life.keeps_level(&node.demand, begun_at, charge) {
            return None;
        }
        life.rests_h = life.rests_h.saturating_sub(QUARTER_H as u8);
    }
    life.stored_ah = end_ah;
    life.flows.load += spent_ah;
    life.flows.charger += drained_ah;
    let mut outcome = last.outcome(last_sunlit);
    end_quarter(node, life, &mut outcome, day.battery_celsius[from + QUARTER_H - 1], charge);
    Some(outcome)
}

/// What flows in an hour in which the node runs whatever comes and takes nothing from the sun \[A\].
#[derive(Clone, Copy)]
struct Spends {
    load: f32,
    drain: f32,
}

impl Spends {
    #[inline]
    fn quietly(node: &NodeTables, load: f32, sunlit: bool) -> Self {
        Self { load, drain: if sunlit { 0.0 } else { node.charger.drain_amperes } }
    }

    #[inline]
    fn both(self) -> f64 {
        f64::from(self.load) + f64::from(self.drain)
    }

    #[inline]
    fn outcome(self, sunlit: bool) -> HourOutcome {
        HourOutcome { running: true, full: sunlit, spent: self.load + self.drain, ..HourOutcome::default() }
    }
}

/// An hour in which the sun counts or the node may stop or start.
#[inline(never)]
fn step_with_care(
    node: &NodeTables,
    kind: usize,
    weather: &HourWeather,
    life: &mut Life,
    charge: f32,
    sun_w_m2: f32,
) -> HourOutcome {
    let rest_volts = node.rest_volts(charge);
    let mut outcome = HourOutcome { running: true, ..HourOutcome::default() };
    let mut spent = 0.0;
    if !life.running || charge < life.calm_above {
        spent += start_or_stop(node, life, &mut outcome, weather, charge, rest_volts);
    }
    if outcome.running {
        let load = f64::from(load_amperes(node, kind, weather.air_celsius, life, charge));
        life.flows.load += load;
        spent += load;
    } else {
        life.flows.stopped += f64::from(node.stopped_amperes);
        spent += f64::from(node.stopped_amperes);
    }
    let awake = if sun_w_m2 > 0.0 {
        take_sun(node, life, &mut outcome, weather, sun_w_m2, charge, rest_volts)
    } else {
        None
    };
    if let Some(full_charge) = awake {
        settle_in_sun(node, life, &mut outcome, full_charge, spent);
    } else {
        let drain = f64::from(node.charger.drain_amperes);
        life.flows.charger += drain;
        spent += drain;
        settle(life, &mut outcome, life.stored_ah - spent);
    }
    outcome.spent = spent as f32;
    outcome
}

/// What the running node draws in this hour \[A\].
#[inline]
fn load_amperes(node: &NodeTables, kind: usize, air_celsius: f32, life: &Life, charge: f32) -> f32 {
    let row = node.demand.row(kind, life.level());
    drawn_amperes(row.amperes(air_celsius, || node.rest_volts(charge)), life)
}

/// Floor and active current of a nominal node as this life draws them \[A\].
#[inline]
fn drawn_amperes((floor, active): (f32, f32), life: &Life) -> f32 {
    floor * life.floor_factor + active * life.active_factor + life.extra_amperes
}

/// Whether the node runs in this hour; returns the charge for a join if it comes back \[Ah\].
fn start_or_stop(
    node: &NodeTables,
    life: &mut Life,
    outcome: &mut HourOutcome,
    weather: &HourWeather,
    charge: f32,
    rest_volts: f32,
) -> f64 {
    let has_charge = charge > node.locked_share(weather.battery_celsius);
    let resistance_ohm = node.resistance_ohm(charge, weather.battery_celsius) * life.resistance_factor;
    let stops_volts = node.stops_below_volts + node.pulse_drop_volts(resistance_ohm);
    // A node that comes back joins at once, and must bear the pulse of it.
    let limit_volts = if life.running { stops_volts } else { stops_volts.max(node.restarts_above_volts) };
    outcome.running = has_charge && rest_volts >= limit_volts;
    if outcome.running == life.running {
        return 0.0;
    }
    life.running = outcome.running;
    if outcome.running {
        life.flows.joins += node.join_ah;
        return node.join_ah;
    }
    outcome.stopped_now = true;
    outcome.browned_out = has_charge && rest_volts >= node.stops_below_volts;
    if life.extra_clears {
        life.extra_amperes = 0.0;
    }
    0.0
}

/// What the charger makes of the sun; the state of charge that is full, if it is awake at all.
#[inline]
fn take_sun(
    node: &NodeTables,
    life: &mut Life,
    outcome: &mut HourOutcome,
    weather: &HourWeather,
    sun_w_m2: f32,
    charge: f32,
    rest_volts: f32,
) -> Option<f32> {
    let waits = life.waits(node, charge);
    if waits && !life.counts_offers {
        return Some(charge);
    }
    let from_panel = node.from_panel(sun_w_m2, weather.cell_celsius, rest_volts);
    if from_panel <= 0.0 {
        return waits.then_some(charge);
    }
    let limits = node.charger.limits(weather.battery_celsius);
    outcome.offered = from_panel.min(limits.amperes).min(node.charger.trickle(rest_volts));
    life.flows.offered += f64::from(outcome.offered);
    outcome.gated = limits.amperes <= 0.0;
    if waits {
        return Some(charge);
    }
    life.done = false;
    let (more_volts, fuller) = life.charges_above;
    let headroom_volts = limits.volts + more_volts - rest_volts;
    outcome.taken = outcome.offered;
    if outcome.offered * life.largest_ohm > headroom_volts {
        let resistance_ohm = node.resistance_ohm(charge, weather.battery_celsius) * life.resistance_factor;
        outcome.taken = outcome.offered.min(headroom_volts.max(0.0) / resistance_ohm);
    }
    Some((limits.full_charge + fuller).min(1.0))
}

/// Moves the charge of an hour with sun: a full battery takes no more than was spent.
#[inline]
fn settle_in_sun(
    node: &NodeTables,
    life: &mut Life,
    outcome: &mut HourOutcome,
    full_charge: f32,
    spent: f64,
) {
    let stored = life.stored_ah;
    let ceiling = (f64::from(full_charge) * life.capacity_ah).max(stored);
    let mut taken = f64::from(outcome.taken);
    let mut next = stored + taken - spent;
    outcome.full = life.done;
    if next > ceiling {
        taken -= next - ceiling;
        next = ceiling;
        life.done = node.charger.stops_when_full;
        outcome.full = true;
        outcome.taken = taken as f32;
    }
    life.flows.taken += taken;
    settle(life, outcome, next);
}

/// Keeps the new charge; below nothing the rest is unmet.
#[inline]
fn settle(life: &mut Life, outcome: &mut HourOutcome, next_ah: f64) {
    life.stored_ah = next_ah;
    if next_ah < 0.0 {
        life.flows.unmet -= next_ah;
        life.stored_ah = 0.0;
        outcome.ran_dry = outcome.running;
    }
}

/// What changes so slowly that a quarter of a day is one step, or a week: leaks and calendar wear, capacity.
fn end_quarter(
    node: &NodeTables,
    life: &mut Life,
    outcome: &mut HourOutcome,
    battery_celsius: f32,
    charge: f32,
) {
    life.hours_left = QUARTER_H as u8;
    let hours = QUARTER_H as f32;
    let slow = node.slow(charge, battery_celsius);
    let leak = hours * (slow.self_discharge_per_h * life.stored_ah as f32 + node.leakage_amperes);
    life.wear += f64::from(hours * slow.wear_per_h);
    life.flows.self_discharge += f64::from(leak);
    outcome.spent += leak;
    settle(life, outcome, life.stored_ah - f64::from(leak));
    life.quarters_left -= 1;
    if life.quarters_left == 0 {
        life.quarters_left = QUARTERS_PER_WEEK;
        life.wear_out(node);
    }
}
