//! What is wrong with nodes, gateways and the log: rules that open and close alarms; pure, without clock or chance.
//!
//! [`step`] takes what happened, and says which alarms open and close. Each rule is a module: it remembers what it needs, and
//! finds wrong, right, or neither. Here stands what is common to all: an alarm that another explains does not open, one that
//! opens again within a day is the old one, and nothing opens for a node on which somebody works.
//!
//! At a start the state is made anew: [`State::new`] with the alarms that stood open, [`State::recall`] for what was kept of
//! the last [`REMEMBERED`], then [`Event::Began`].

mod alarm;
mod area;
mod calibration_due;
mod cell;
mod cell_ending;
mod charge_stopped;
mod contact;
mod counter_lost;
mod daylight;
mod drains_fast;
mod empty_soon;
mod event;
mod first_days;
mod foretold;
mod forged;
mod gateway;
mod gateway_away;
mod host;
mod join_storm;
mod jump;
mod losing;
mod never_charged;
mod node;
mod nothing_heard;
mod out_of_range;
mod place;
mod plan;
mod readings;
mod restarts;
pub mod signature;
mod silent;
mod slower;
mod sun_heated;
pub mod tell;
mod threshold;
mod too_long_on_air;

use std::collections::BTreeMap;
use std::sync::Arc;

use wire::identity::{DevEui, GatewayEui};

use crate::received::Moment;
use crate::zone::Zone;
use alarm::Finding;
use gateway::Gateway;
use node::Node;
use nothing_heard::Overdue;
use sun_heated::Warmth;

pub use alarm::{About, Alarm, AlarmId, Change, Evidence, Key, Rule, Urgency};
pub use area::{Area, Ground, METRES_PER_DEGREE, Place, metres_between};
pub use cell::Cell;
pub use cell_ending::FIRST_CELL_DAYS;
pub use event::{Event, Frame, Host, Uplink, What};
pub use first_days::{FIRST_DAYS, FirstDay, Point, Promised, first_days};
pub use foretold::{Foretold, SOON_D};
pub(crate) use place::has_moved;
pub use place::{Fix, USUAL_ACCURACY_M, is_nowhere, too_fast};
pub use plan::{Granted, NodePlan, Position, Roofed, Sensor};
pub use threshold::{Over, Threshold};

const MINUTE: Moment = 60_000_000;
const HOUR: Moment = 60 * MINUTE;
const DAY: Moment = 24 * HOUR;
/// A gateway that asks for answers every few seconds and has not for so long is away: twelve of the usual times.
pub const GATEWAY_AWAY_AFTER: Moment = MINUTE;
/// Rules know what was before by frames of this time.
pub const REMEMBERED: Moment = 30 * DAY;
/// An alarm that opens again within this time is the old one.
const REOPENS_WITHIN: Moment = DAY;
/// Alarms that explain why a node falls silent.
const STARVES: [Rule; 5] =
    [Rule::NeverCharged, Rule::ChargeStopped, Rule::CellEnding, Rule::BatteryWorn, Rule::DrainsFast];
/// A pause in which nothing came from any node, and so many of its shortest intervals: nobody listened, as far as one can tell
/// afterwards.
const NOBODY_LISTENED: (Moment, Moment) = (15 * MINUTE, 3);

/// What the watch knows of the site.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// The nodes of open rows.
    pub nodes: BTreeMap<DevEui, NodePlan>,
    /// A gateway without a sign of life for so long is away.
    pub gateway_patience: Moment,
    /// A gateway that was away is back after so long with signs of life; and a program that has begun waits as long.
    pub gateway_settles: Moment,
    /// Rules of the site file.
    pub thresholds: Vec<Threshold>,
    /// Areas of the site file.
    pub areas: Vec<Area>,
    /// Months and hours of rules are those of its clocks.
    pub zone: Zone,
}

impl Default for Setup {
    fn default() -> Self {
        Self {
            nodes: BTreeMap::new(),
            gateway_patience: GATEWAY_AWAY_AFTER,
            gateway_settles: 5 * MINUTE,
            thresholds: Vec::new(),
            areas: Vec::new(),
            zone: Zone::UTC,
        }
    }
}

/// All that the rules remember, and the alarms that stand.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    setup: Arc<Setup>,
    nodes: BTreeMap<DevEui, Node>,
    gateways: BTreeMap<GatewayEui, Gateway>,
    host: host::Known,
    neighbours_judged: Moment,
    paused: BTreeMap<DevEui, Moment>,
    open: BTreeMap<Key, Alarm>,
    closed: BTreeMap<Key, Alarm>,
    next: AlarmId,
    began: Moment,
    newest: Option<Moment>,
}

/// Takes an event, and says what it changes; the state is handed through.
pub fn step(state: State, event: &Event, now: Moment) -> (State, Vec<Change>) {
    let mut state = state.recalled(event, now);
    let mut changes = Vec::new();
    match event {
        Event::Began { .. } | Event::Alive { .. } | Event::Paused { .. } => {}
        Event::CalibrationDue { dev_eui, due } => {
            let key = Key::of_node(Rule::CalibrationDue, *dev_eui);
            state.settle(key, calibration_due::find(*due, now), now, &mut changes);
        }
        Event::Tick => state.judge_all(now, &mut changes),
        Event::Foretold { dev_eui, .. } => state.judge_node(*dev_eui, now, &mut changes),
        Event::Host(_) => state.judge_host(now, &mut changes),
        Event::Frame(frame) => {
            if let Some(gateway) = frame.gateway {
                state.judge_gateway(gateway, now, &mut changes);
            }
            if let Some(dev_eui) = frame.dev_eui {
                state.judge_node(dev_eui, now, &mut changes);
            }
        }
    }
    (state, changes)
}

impl State {
    /// Before anything was heard: with the alarms that stand open or were closed of late, and the number of the next.
    pub fn new(setup: Setup, known: impl IntoIterator<Item = Alarm>, next: AlarmId) -> Self {
        let (mut open, mut closed) = (BTreeMap::new(), BTreeMap::new());
        for alarm in known {
            let among = if alarm.closed_at.is_none() { &mut open } else { &mut closed };
            among.insert(alarm.key.clone(), alarm);
        }
        Self {
            setup: Arc::new(setup),
            nodes: BTreeMap::new(),
            gateways: BTreeMap::new(),
            host: host::Known::default(),
            neighbours_judged: 0,
            paused: BTreeMap::new(),
            open,
            closed,
            next,
            began: 0,
            newest: None,
        }
    }

    /// Takes what was kept before the start, in the order of time; nothing follows from it.
    #[must_use]
    pub fn recall(mut self, event: &Event, at: Moment) -> Self {
        let gap = self.newest.map_or(0, |newest| at - newest);
        let shortest = self.setup.nodes.values().filter_map(|plan| plan.interval(at, None)).min();
        let (least, intervals) = NOBODY_LISTENED;
        if gap > least && shortest.is_none_or(|shortest| gap > intervals * shortest) {
            self.nodes.values_mut().for_each(|node| node.contact.held += gap);
        }
        self.recalled(event, at)
    }

    /// The alarms that stand open.
    pub fn open(&self) -> impl Iterator<Item = &Alarm> {
        self.open.values()
    }

    fn recalled(mut self, event: &Event, now: Moment) -> Self {
        match event {
            Event::Began { listened_until } => self.begin(*listened_until, now),
            Event::Tick | Event::CalibrationDue { .. } => {}
            Event::Frame(frame) => {
                self.newest = Some(now);
                self.take(frame, now);
            }
            Event::Alive { gateway, asks } => {
                if *asks {
                    self.gateways.entry(*gateway).or_default().ask(now, self.setup.gateway_patience);
                }
            }
            Event::Foretold { dev_eui, foretold } => {
                if let Some(node) = self.nodes.get_mut(dev_eui) {
                    node.foretold = Some(foretold.clone());
                }
            }
            Event::Host(host) => self.host.hear(host, now),
            Event::Paused { dev_eui, until } => {
                self.paused.insert(*dev_eui, *until);
            }
        }
        self
    }

    fn begin(&mut self, listened_until: Option<Moment>, now: Moment) {
        self.began = now;
        for node in self.nodes.values_mut() {
            let Some(last) = node.contact.last else { continue };
            let deaf_since = listened_until.map_or(last, |until| until.max(last));
            node.contact.held += (now - deaf_since).max(0);
        }
    }

    fn take(&mut self, frame: &Frame, now: Moment) {
        if let Some(gateway) = frame.gateway.filter(|_| frame.what != What::Damaged) {
            self.gateways.entry(gateway).or_default().hear(now);
        }
        let Some(dev_eui) = frame.dev_eui else { return };
        let Some(plan) = self.setup.nodes.get(&dev_eui) else { return };
        let node = self.nodes.entry(dev_eui).or_default();
        node.take(frame, plan, now);
        node.read(frame, plan, &self.setup, now);
    }

    fn judge_host(&mut self, now: Moment, changes: &mut Vec<Change>) {
        let found = self.host.find(now);
        // What failed and is not named any more works again.
        let is_over = |key: &&Key| {
            let is_named = || found.iter().any(|(rule, of, _)| (*rule, of) == (key.rule, &key.of));
            key.about == About::Log && matches!(key.rule, Rule::TellFailed | Rule::SourceAway) && !is_named()
        };
        let over: Vec<Key> = self.open.keys().filter(is_over).cloned().collect();
        for key in over {
            self.settle(key, Finding::Right, now, changes);
        }
        for (rule, of, finding) in found {
            self.settle(Key::of_log(rule, of), finding, now, changes);
        }
    }

    fn judge_all(&mut self, now: Moment, changes: &mut Vec<Change>) {
        self.paused.retain(|_, until| *until > now);
        self.closed.retain(|_, alarm| alarm.closed_at.is_some_and(|at| now - at <= REOPENS_WITHIN));
        let gateways: Vec<GatewayEui> = self.gateways.keys().copied().collect();
        for gateway in gateways {
            self.judge_gateway(gateway, now, changes);
        }
        let nodes: Vec<DevEui> = self.nodes.keys().copied().collect();
        for dev_eui in nodes {
            self.judge_node(dev_eui, now, changes);
        }
        if now - self.neighbours_judged >= HOUR {
            self.neighbours_judged = now;
            self.judge_neighbours(now, changes);
        }
        // Of those that are no longer watched.
        let gone = self.open.keys().filter(
            |key| matches!(key.about, About::Node(dev_eui) if !self.setup.nodes.contains_key(&dev_eui)),
        );
        let gone: Vec<Key> = gone.cloned().collect();
        for key in gone {
            self.settle(key, Finding::Right, now, changes);
        }
    }

    fn judge_gateway(&mut self, eui: GatewayEui, now: Moment, changes: &mut Vec<Change>) {
        let Some(gateway) = self.gateways.get(&eui) else { return };
        let away = gateway_away::find(gateway, &self.setup, self.began, now);
        let nothing = nothing_heard::find(gateway, &self.setup, self.overdue(eui, now), now);
        self.settle(Key::of_gateway(Rule::GatewayAway, eui), away, now, changes);
        self.settle(Key::of_gateway(Rule::NothingHeard, eui), nothing, now, changes);
    }

    /// Nodes that a gateway alone hears, and those of them that have missed all that they may.
    fn overdue(&self, eui: GatewayEui, now: Moment) -> Overdue {
        let mut found = Overdue::default();
        for (dev_eui, plan, node) in self.watched() {
            if !node.contact.is_heard_by_only(eui) || self.paused.contains_key(&dev_eui) {
                continue;
            }
            found.nodes += 1;
            let volts = node.charging.volts();
            let due = node
                .contact
                .interval(plan, now, volts)
                .map(|interval| Moment::from(node.contact.patience(interval)) * interval);
            let silence = node.contact.silence(now);
            found.overdue += usize::from(due.zip(silence).is_some_and(|(due, silence)| silence > due));
        }
        found
    }

    fn watched(&self) -> impl Iterator<Item = (DevEui, &NodePlan, &Node)> {
        self.nodes.iter().filter_map(|(dev_eui, node)| Some((*dev_eui, self.setup.nodes.get(dev_eui)?, node)))
    }

    fn judge_node(&mut self, dev_eui: DevEui, now: Moment, changes: &mut Vec<Change>) {
        let setup = Arc::clone(&self.setup);
        let Some(plan) = setup.nodes.get(&dev_eui) else { return };
        let deaf = self.deaf(dev_eui);
        let in_doubt = self.is_in_doubt(dev_eui, now);
        let Some(node) = self.nodes.get_mut(&dev_eui) else { return };
        // Under a roof or on somebody's body nobody need hear it.
        if (deaf.is_some() || plan.roofed.at(now, plan.longitude_deg))
            && let Some(last) = node.contact.last
        {
            node.contact.held = node.contact.held.max(now - last);
        }
        let is_heard = deaf.is_none() && node.is_heard(plan, now);
        let findings = node.find(plan, now);
        let named = node.find_named(&setup, now);
        for (rule, finding) in findings {
            let key = Key::of_node(rule, dev_eui);
            // Of a node that is not heard nobody knows that it is right again.
            let finding = if is_heard || finding != Finding::Right { finding } else { Finding::Between };
            let waits = rule == Rule::Silent && in_doubt && matches!(finding, Finding::Wrong(_));
            // A node whose battery is not charged or falls too fast falls silent, and one trip mends both.
            let starved = STARVES.into_iter().find_map(|rule| self.open.get(&Key::of_node(rule, dev_eui)));
            let starved = starved.map(|alarm| alarm.id);
            if let (Rule::Silent, Some(cause)) = (rule, deaf.or(starved)) {
                self.explain(&key, cause, changes);
            }
            self.settle(key, if waits { Finding::Between } else { finding }, now, changes);
        }
        for (rule, of, finding) in named {
            let stuck = self.open.contains_key(&Key::of_node(Rule::ReadingStuck, dev_eui));
            let says_nothing = rule == Rule::Threshold && (stuck || !is_heard);
            let finding = if says_nothing { Finding::Between } else { finding };
            self.settle(Key { of, ..Key::of_node(rule, dev_eui) }, finding, now, changes);
        }
    }

    /// What shows only beside other nodes.
    fn judge_neighbours(&mut self, now: Moment, changes: &mut Vec<Change>) {
        let all: Vec<(DevEui, &Warmth)> =
            self.watched().map(|(dev_eui, _, node)| (dev_eui, &node.warmth)).collect();
        let found: Vec<(DevEui, Finding)> = self
            .watched()
            .filter(|(_, plan, node)| node.is_heard(plan, now))
            .map(|(dev_eui, plan, node)| {
                let today = sun_heated::day_of(now, plan);
                (dev_eui, sun_heated::find(dev_eui, &node.warmth, &all, today))
            })
            .collect();
        for (dev_eui, finding) in found {
            self.settle(Key::of_node(Rule::SunHeated, dev_eui), finding, now, changes);
        }
    }

    /// The alarm of a gateway because of which a node can't be heard: all of its gateways have one.
    fn deaf(&self, dev_eui: DevEui) -> Option<AlarmId> {
        let node = self.nodes.get(&dev_eui)?;
        let alarm = |eui: GatewayEui| {
            let of = |rule| self.open.get(&Key::of_gateway(rule, eui)).map(|alarm| alarm.id);
            of(Rule::GatewayAway).or_else(|| of(Rule::NothingHeard))
        };
        let alarms: Option<Vec<AlarmId>> = node.contact.gateways().map(alarm).collect();
        alarms?.into_iter().min()
    }

    /// Whether the one gateway that hears a node, and others with it, has become so quiet that it may be the cause.
    fn is_in_doubt(&self, dev_eui: DevEui, now: Moment) -> bool {
        let Some(node) = self.nodes.get(&dev_eui) else { return false };
        node.contact.gateways().any(|eui| {
            let others =
                || self.watched().filter(|(_, _, other)| other.contact.is_heard_by_only(eui)).count() >= 2;
            node.contact.is_heard_by_only(eui)
                && self.gateways.get(&eui).is_some_and(|gateway| nothing_heard::is_in_doubt(gateway, now))
                && others()
        })
    }

    fn explain(&mut self, key: &Key, cause: AlarmId, changes: &mut Vec<Change>) {
        let Some(alarm) = self.open.get_mut(key).filter(|alarm| alarm.cause.is_none()) else { return };
        alarm.cause = Some(cause);
        changes.push(Change::Explained(alarm.clone()));
    }

    /// Whether another alarm says it already, or somebody works on the node.
    fn is_swallowed(&self, key: &Key) -> bool {
        let About::Node(dev_eui) = key.about else { return false };
        if key.rule == Rule::CannotSee {
            // On the night of the frost nothing may hold it back.
            return false;
        }
        let stands = |rule| self.open.contains_key(&Key::of_node(rule, dev_eui));
        let is_explained = |rule| {
            let alarm = self.open.get(&Key::of_node(rule, dev_eui));
            alarm.is_some_and(|alarm| alarm.evidence.get("cause").is_some_and(|cause| !cause.is_null()))
        };
        let paused = self.paused.contains_key(&dev_eui);
        let explained = match key.rule {
            Rule::Silent => stands(Rule::EmptySoon),
            Rule::Restarts => stands(Rule::JoinStorm),
            Rule::JoinStorm => stands(Rule::Restarts),
            // One cause is told once: by the sign that came first, and by the worse news.
            Rule::BelowForecast => {
                stands(Rule::EmptySoon) || stands(Rule::Restarts) || STARVES.into_iter().any(stands)
            }
            Rule::NeverCharged => stands(Rule::BelowForecast) || stands(Rule::EmptySoon),
            // That it will be empty alone names no cause.
            Rule::ChargeStopped | Rule::BatteryWorn => {
                stands(Rule::BelowForecast) || is_explained(Rule::EmptySoon)
            }
            Rule::DrainsFast => {
                [Rule::BelowForecast, Rule::BatteryWorn].into_iter().any(stands)
                    || is_explained(Rule::EmptySoon)
            }
            // A sensor that fails leaps to its magic value and back.
            Rule::ReadingJump | Rule::ReadingOutOfRange => stands(Rule::MagicValue),
            Rule::SunHeated => stands(Rule::ReadingStuck),
            _ => false,
        };
        paused || explained
    }

    fn settle(&mut self, key: Key, finding: Finding, now: Moment, changes: &mut Vec<Change>) {
        match finding {
            Finding::Wrong(evidence) if !self.open.contains_key(&key) && !self.is_swallowed(&key) => {
                let before = self
                    .closed
                    .remove(&key)
                    .filter(|alarm| alarm.closed_at.is_some_and(|at| now - at <= REOPENS_WITHIN));
                let reopens = before.is_some();
                let alarm = before.map_or_else(
                    || {
                        self.next += 1;
                        let id = self.next - 1;
                        Alarm { id, key: key.clone(), opened_at: now, closed_at: None, cause: None, evidence }
                    },
                    |before| Alarm { closed_at: None, ..before },
                );
                changes.push(if reopens {
                    Change::Reopened(alarm.clone())
                } else {
                    Change::Opened(alarm.clone())
                });
                self.open.insert(key, alarm);
            }
            Finding::Right => {
                if let Some(alarm) = self.open.remove(&key) {
                    let alarm = Alarm { closed_at: Some(now), ..alarm };
                    self.closed.insert(key, alarm.clone());
                    changes.push(Change::Closed(alarm));
                }
            }
            Finding::Wrong(_) | Finding::Between => {}
        }
    }
}

/// Whole seconds.
fn seconds(span: Moment) -> i64 {
    span / 1_000_000
}
