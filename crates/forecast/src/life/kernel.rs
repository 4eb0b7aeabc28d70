//! The hour step, for `L` lives side by side.
//!
//! Charge is kept in ampere-hours, so that a current in amperes over one hour is a charge without a factor.

use super::node::NodeTables;
use crate::power::ageing;

/// A battery is not followed beyond this share of its capacity lost.
const LARGEST_LOSS: f64 = 0.95;

/// What the surroundings do to one life in one hour.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HourWeather {
    /// Effective sun on the plane of the panel [W/m²]; with [`super::node::Harvest::Given`], the charging current itself [A].
    pub in_plane_w_m2: f32,
    /// Panel cells [°C].
    pub cell_celsius: f32,
    /// Air [°C].
    pub air_celsius: f32,
    /// Battery [°C].
    pub battery_celsius: f32,
}

/// Charge that moved since a life began [Ah].
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

/// What an hour brought, for a recorder.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct HourOutcome {
    /// Charging current into a battery that is not full: after gate and current limit, before the voltage limit [A].
    pub offered: f32,
    /// Charging current taken [A].
    pub taken: f32,
    /// Current out of the battery, all drains included [A].
    pub spent: f32,
    /// Whether the charger refused the sun for the battery's temperature.
    pub gated: bool,
    /// Whether the battery was full.
    pub full: bool,
    /// Whether the node ran.
    pub running: bool,
    /// Whether it stopped in this hour.
    pub stopped_now: bool,
    /// Whether the load asked for more than was there.
    pub ran_dry: bool,
}

/// `L` lives: what they hold and what was drawn for each.
#[derive(Clone, Debug)]
pub struct Lanes<const L: usize> {
    /// Charge in the battery [Ah].
    pub stored_ah: [f64; L],
    /// Capacity as it is now [Ah].
    pub capacity_ah: [f64; L],
    /// Capacity when new [Ah].
    pub new_capacity_ah: [f64; L],
    /// Factor on the sun: dirt, label, age of the panel.
    pub yield_factor: [f32; L],
    /// Factor on the resistance.
    pub resistance_factor: [f32; L],
    /// Factor on what the board draws asleep.
    pub floor_factor: [f32; L],
    /// Factor on everything else it draws.
    pub active_factor: [f32; L],
    /// Load on top of the design, while running [A].
    pub extra_amperes: [f32; L],
    /// Whether a stop clears the extra load.
    pub extra_clears: [bool; L],
    /// Whether the node runs.
    pub running: [bool; L],
    /// Whether the charger has called the battery full and waits.
    pub done: [bool; L],
    /// Calendar wear, in the sum that grows in step with time (see [`ageing::hourly_wear`]).
    pub wear: [f64; L],
    /// Charge drawn since new [Ah].
    pub drawn_ah: [f64; L],
    /// What has flowed.
    pub flows: [Flows; L],
}

impl<const L: usize> Lanes<L> {
    /// Lives that start with the battery of the tables at this state of charge.
    #[must_use]
    pub fn new(node: &NodeTables, charge: f64) -> Self {
        Self {
            stored_ah: [node.capacity_ah * charge; L],
            capacity_ah: [node.capacity_ah; L],
            new_capacity_ah: [node.capacity_ah; L],
            yield_factor: [1.0; L],
            resistance_factor: [1.0; L],
            floor_factor: [1.0; L],
            active_factor: [1.0; L],
            extra_amperes: [0.0; L],
            extra_clears: [false; L],
            running: [true; L],
            done: [false; L],
            wear: [0.0; L],
            drawn_ah: [0.0; L],
            flows: [Flows::default(); L],
        }
    }

    /// State of charge of one life.
    #[inline]
    #[must_use]
    pub fn charge(&self, lane: usize) -> f64 {
        self.stored_ah[lane] / self.capacity_ah[lane]
    }

    /// Takes the wear of the past day off the capacity; the charge held in the lost part is lost with it.
    pub fn wear_out(&mut self, node: &NodeTables) {
        let Some(ageing) = &node.ageing else { return };
        let per_cycle = ageing::cycle_wear_per_full_cycle(ageing);
        for lane in 0..L {
            let cycle_wear = per_cycle * self.drawn_ah[lane] / self.new_capacity_ah[lane];
            let loss = ageing::calendar_loss(ageing, self.wear[lane]) + cycle_wear.sqrt();
            let capacity = self.new_capacity_ah[lane] * (1.0 - loss.min(LARGEST_LOSS));
            let kept = self.stored_ah[lane] * capacity / self.capacity_ah[lane];
            self.flows[lane].fade += self.stored_ah[lane] - kept;
            self.stored_ah[lane] = kept;
            self.capacity_ah[lane] = capacity;
        }
    }
}

/// Steps every life by one hour of the given kind and returns what it brought.
#[inline]
pub fn step<const L: usize>(
    node: &NodeTables,
    kind: usize,
    weather: &[HourWeather; L],
    lanes: &mut Lanes<L>,
) -> [HourOutcome; L] {
    let mut outcomes = [HourOutcome::default(); L];
    for lane in 0..L {
        outcomes[lane] = step_one(node, kind, &weather[lane], lanes, lane);
    }
    outcomes
}

#[inline]
fn step_one<const L: usize>(
    node: &NodeTables,
    kind: usize,
    weather: &HourWeather,
    lanes: &mut Lanes<L>,
    lane: usize,
) -> HourOutcome {
    let stored = lanes.stored_ah[lane];
    let capacity = lanes.capacity_ah[lane];
    let charge = (stored / capacity) as f32;
    let [rest_volts, warm_ohm, wear_share, _] = node.by_charge.at(charge);
    let [resistance_factor, locked_share, self_discharge, wear_rate] = node.by_temperature.at(weather.battery_celsius);
    let resistance_ohm = warm_ohm * resistance_factor * lanes.resistance_factor[lane];
    let flows = &mut lanes.flows[lane];
    let mut outcome = HourOutcome::default();

    let carries = |limit_volts: f32| rest_volts >= limit_volts && (charge > locked_share || node.never_stops);
    let was_running = lanes.running[lane];
    let limit_volts = if was_running {
        node.stops_below_volts + node.pulse_drop_volts(resistance_ohm)
    } else {
        node.restarts_above_volts
    };
    let running = carries(limit_volts);
    let mut join = 0.0;
    if running != was_running {
        outcome.stopped_now = was_running;
        if running {
            join = node.join_ah;
        } else if lanes.extra_clears[lane] {
            lanes.extra_amperes[lane] = 0.0;
        }
        lanes.running[lane] = running;
    }
    outcome.running = running;

    // Sun.
    let limits = node.charger.limits(weather.battery_celsius);
    let sun = weather.in_plane_w_m2 * lanes.yield_factor[lane];
    let from_panel = if sun > 0.0 { node.from_panel(sun, weather.cell_celsius, rest_volts) } else { 0.0 };
    let mut drain = node.charger.drain_amperes;
    if from_panel > 0.0 {
        drain = 0.0;
        outcome.gated = limits.amperes <= 0.0;
        outcome.offered = from_panel.min(limits.amperes).min(node.charger.trickle(rest_volts));
        lanes.done[lane] &= rest_volts >= node.charger.recharge_below_volts;
        if !lanes.done[lane] {
            let taper = (limits.volts - rest_volts) / resistance_ohm;
            outcome.taken = outcome.offered.min(taper).max(0.0);
        }
    }

    // Spending.
    let load = if running {
        let row = node.demand.row(kind, node.demand.level(charge));
        row.floor.at(rest_volts) * lanes.floor_factor[lane]
            + row.active(weather.air_celsius).at(rest_volts) * lanes.active_factor[lane]
            + lanes.extra_amperes[lane]
    } else {
        node.stopped_amperes
    };
    let leak = self_discharge * stored as f32 + node.leakage_amperes;
    outcome.spent = load + drain + leak;
    let spent = f64::from(load) + f64::from(drain) + f64::from(leak) + join;

    let ceiling = (f64::from(limits.full_charge) * capacity).max(stored);
    let mut taken = f64::from(outcome.taken);
    let mut next = stored + taken - spent;
    if next > ceiling {
        taken -= next - ceiling;
        next = ceiling;
        lanes.done[lane] = node.charger.stops_when_full;
        outcome.full = true;
    }
    if next < 0.0 {
        flows.unmet -= next;
        next = 0.0;
        outcome.ran_dry = running;
    }
    outcome.full |= lanes.done[lane];
    outcome.taken = taken as f32;
    lanes.stored_ah[lane] = next;

    flows.offered += f64::from(outcome.offered);
    flows.taken += taken;
    *(if running { &mut flows.load } else { &mut flows.stopped }) += f64::from(load);
    flows.joins += join;
    flows.charger += f64::from(drain);
    flows.self_discharge += f64::from(leak);
    lanes.wear[lane] += f64::from(wear_rate * wear_share);
    lanes.drawn_ah[lane] += spent;
    outcome
}
