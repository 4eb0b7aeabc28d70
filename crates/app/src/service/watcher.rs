//! The thread that watches: takes what was kept, minute by minute, and has kept and told what the rules find.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use design::watch::{Limit, WatchRule};
use logbook::clock::now;
use logbook::intake::door::Door;
use logbook::received::Moment;
use logbook::store::alarms::{self, event_of};
use logbook::store::keeper::KeptFrame;
use logbook::store::query::nodes;
use logbook::store::setup::Site;
use logbook::store::telling::Tell;
use logbook::store::writer::{Arrival, Counts};
use logbook::store::{StoreError, since, sqlite, visits};
use logbook::watch::tell::Way;
use logbook::watch::{
    About, Alarm, Area, Change, Event, FIRST_CELL_DAYS, Foretold, Ground, NodePlan, Over, REMEMBERED, Setup,
    State, Threshold, step,
};
use logbook::zone::Zone;
use report::problem::Failure;
use report::sentences::alarm::{Alarm as Alarmed, say};
use rusqlite::Connection;
use serde_json::{Value, json};
use wire::identity::{DevEui, GatewayEui};

use super::teller::Teller;
use super::{Form, host, settings};
use crate::input::fleet;
use crate::output;
use crate::web::pulse::Pulse;

/// Key in the log under which it stands until when somebody listened \[us\].
const LISTENED: &str = "watch:listened";
const DAY_US: Moment = 24 * 3_600_000_000;
/// It is noted so often \[ticks\]: a card is written no more than it must be.
const TICKS_TO_NOTE: u32 = 10;
/// Alarms that were closed so long ago may open again.
const KNOWN: Moment = DAY_US;
/// A minute of the nodes.
const MINUTE: Duration = Duration::from_mins(1);
/// Ticks come no faster, however fast the time of a demonstration goes.
const SHORTEST_TICK: Duration = Duration::from_millis(200);
/// The log is read again after a failure.
const NEXT_TRY: Duration = Duration::from_secs(5);

/// The time of the nodes, which in a demonstration goes faster than clocks.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pace {
    begun: Moment,
    times: f64,
}

impl Pace {
    /// So many times as fast, from now on.
    pub(super) fn of(times: f64) -> Self {
        Self { begun: now(), times }
    }

    #[expect(clippy::cast_possible_truncation, reason = "moments lie far below 2^53")]
    fn scaled(self, at: Moment, times: f64) -> Moment {
        self.begun + ((at - self.begun) as f64 * times) as Moment
    }

    fn of_nodes(self, at: Moment) -> Moment {
        self.scaled(at, self.times)
    }

    fn of_clocks(self, at: Moment) -> Moment {
        self.scaled(at, 1.0 / self.times)
    }

    /// Whether it is that of clocks.
    fn is_real(self) -> bool {
        (self.times - 1.0).abs() < f64::EPSILON
    }

    fn tick(self) -> Duration {
        MINUTE.div_f64(self.times).max(SHORTEST_TICK)
    }
}

/// What the watch is to know, beside the frames.
pub(super) struct Watched {
    pub(super) setup: Setup,
    pub(super) names: BTreeMap<DevEui, String>,
    pub(super) gateways: BTreeMap<GatewayEui, String>,
    pub(super) pace: Pace,
    pub(super) zone: Zone,
    pub(super) form: Form,
    pub(super) log: PathBuf,
    /// Who is told.
    pub(super) ways: Vec<Way>,
}

/// Something for the thread that watches.
enum Told {
    Frame { seq: i64, at: Moment, event: Event },
    Alive { gateway: GatewayEui, at: Moment, asks: bool },
    Foretold { dev_eui: DevEui, foretold: Foretold },
    ClockSet { by: Moment },
}

/// Where the thread that keeps hands over what it kept.
#[derive(Clone)]
pub(super) struct Lookout(Sender<Told>);

impl Lookout {
    /// These are on the disk.
    pub(super) fn kept(&self, frames: &[KeptFrame]) {
        for kept in frames {
            if let Some((at, event)) = event_of(kept) {
                // Once the watch has ended, the program does.
                let _ended = self.0.send(Told::Frame { seq: kept.seq, at, event });
            }
        }
    }

    /// A gateway has shown that it lives.
    pub(super) fn alive(&self, gateway: GatewayEui, at: Moment, asks: bool) {
        let _ended = self.0.send(Told::Alive { gateway, at, asks });
    }

    /// The computer's clock was set by so much.
    pub(super) fn clock_set(&self, by: Moment) {
        let _ended = self.0.send(Told::ClockSet { by });
    }
}

/// A second hand for what is handed over, which holds nothing up once it is closed.
pub(super) struct Twin(Mutex<Option<Lookout>>);

impl Twin {
    /// Hands over what was learned of a node.
    pub(super) fn foretold(&self, dev_eui: DevEui, foretold: Foretold) {
        if let Some(lookout) = &*self.0.lock().unwrap_or_else(PoisonError::into_inner) {
            // Once the watch has ended, the program does.
            let _ended = lookout.0.send(Told::Foretold { dev_eui, foretold });
        }
    }

    /// Nothing more is handed over.
    pub(super) fn close(&self) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}

/// What is heard of before the watch begins.
pub(super) struct Waiting(Receiver<Told>);

/// The two ends, and the second hand.
pub(super) fn open() -> (Lookout, Arc<Twin>, Waiting) {
    let (told, waiting) = channel();
    let twin = Twin(Mutex::new(Some(Lookout(told.clone()))));
    (Lookout(told), Arc::new(twin), Waiting(waiting))
}

/// What is expected of the nodes of open rows, by their own design or by their kind's.
pub(super) fn setup(site: &fleet::Site, of: &Site) -> Result<Setup, Failure> {
    let plan = |row: &logbook::registry::Node| {
        let placed = site.designs().iter().find(|design| design.name == row.name);
        let kind = || site.texts().map(|(_, design, _)| design).find(|design| design.name == row.kind);
        Some((row.dev_eui, NodePlan::of(&row.name, placed.or_else(kind)?)))
    };
    let nodes = of.registry.iter().filter(|row| row.open()).filter_map(plan).collect();
    let thresholds = site.fleet.rules.iter().map(|rule| threshold(site, rule)).collect::<Result<_, _>>()?;
    let areas = site.fleet.areas.iter().map(|area| self::area(site, area)).collect::<Result<_, _>>()?;
    let zone = settings::zone(site)?;
    Ok(Setup { nodes, thresholds, areas, zone, ..Setup::default() })
}

/// An area of the site file, whose nodes must be of the site and send where they are.
pub(crate) fn area(site: &fleet::Site, area: &design::watch::Area) -> Result<Area, Failure> {
    let key = format!("area.{}", area.name);
    let wrong = |message: String, help: &str| site.failure("area", &key, message, help);
    for name in &area.nodes {
        let Some(design) = site.designs().iter().find(|design| design.name == *name) else {
            let message = format!("no node of the site is called `{name}`");
            return Err(wrong(message, "write names as in [node.NAME]"));
        };
        if NodePlan::of(name, design).position.is_none() {
            let message = format!("`{name}` sends no position");
            return Err(wrong(message, "name nodes whose design has a field of kind `position`"));
        }
    }
    let ground = match &area.ground {
        design::watch::Ground::Circle { latitude, longitude, radius } => {
            Ground::Circle { middle: (latitude.degrees(), longitude.degrees()), radius_m: radius.metres() }
        }
        design::watch::Ground::File(file) => {
            let help = "its path counts from the folder of the site file";
            let text = std::fs::read_to_string(site.folder.join(file));
            let text = text.map_err(|error| wrong(format!("{file}: {}", output::reason(&error)), help))?;
            let help = "write polygons as RFC 7946 says, east before north";
            Ground::of_geojson(&text).map_err(|why| wrong(format!("{file}: {why}"), help))?
        }
    };
    Ok(Area { name: area.name.clone(), nodes: area.nodes.clone(), ground })
}

/// A rule of the site file, whose field must be one of the designs, in its unit.
fn threshold(site: &fleet::Site, rule: &WatchRule) -> Result<Threshold, Failure> {
    let key = format!("watch.rule.{}", rule.name);
    let (is_below, limit, over) = match (&rule.limit, rule.within) {
        (Limit::RisingBy(limit, time), _) => (false, limit, Over::RiseIn(microseconds(*time))),
        (Limit::Below(limit), None) => (true, limit, Over::Each),
        (Limit::Above(limit), None) => (false, limit, Over::Each),
        (Limit::Below(limit), Some(within)) => (true, limit, Over::TimeIn(microseconds(within))),
        (Limit::Above(limit), Some(within)) => (false, limit, Over::TimeIn(microseconds(within))),
    };
    let wrong = |message: String, help: &str| Err(site.failure("rule", &key, message, help));
    let told = site.designs().iter().flat_map(design::node::Design::told);
    let units: BTreeSet<&str> = told.filter(|told| told.field == rule.field).map(|told| told.unit).collect();
    if units.is_empty() {
        return wrong(
            format!("no node sends a field `{}`", rule.field),
            "write it as the design file has it",
        );
    }
    if units.iter().any(|unit| *unit != limit.unit) {
        let units: Vec<&str> = units.into_iter().collect();
        let message = format!("`{}` is in {}, the limit in {}", rule.field, units.join(", "), limit.unit);
        return wrong(message, "write the limit in the unit of the field");
    }
    if let Some(name) = rule.nodes.iter().find(|name| site.fleet.nodes.iter().all(|node| node.name != **name))
    {
        return wrong(format!("no node of the site is called `{name}`"), "write names as in [node.NAME]");
    }
    Ok(Threshold {
        name: rule.name.clone(),
        field: rule.field.clone(),
        nodes: rule.nodes.clone(),
        is_below,
        limit: limit.value,
        again_at: rule.again_at,
        unit: limit.unit.clone(),
        lasting: microseconds(rule.lasting),
        over,
        months: rule.months,
        hours: rule.hours.clone(),
        unseen_for: rule.unseen_for.map(microseconds),
    })
}

#[expect(clippy::cast_possible_truncation, reason = "at most days")]
pub(super) fn microseconds(span: design::quantity::Duration) -> Moment {
    (1e6 * span.seconds()).round() as Moment
}

/// Gateways live in the time of clocks, however fast that of the nodes goes.
pub(super) fn paced(setup: Setup, times: f64) -> Setup {
    #[expect(clippy::cast_possible_truncation, reason = "minutes")]
    let stretched = |span: Moment| (span as f64 * times) as Moment;
    Setup {
        gateway_patience: stretched(setup.gateway_patience),
        gateway_settles: stretched(setup.gateway_settles),
        ..setup
    }
}

/// Begins to watch; it ends when the program that keeps has ended.
pub(super) fn begin(
    watched: &Arc<Watched>,
    waiting: Waiting,
    door: &Arc<Door>,
    pulse: &Arc<Pulse>,
    teller: Teller,
    counts: Arc<Counts>,
) -> std::io::Result<JoinHandle<()>> {
    let watcher = Watcher {
        watched: Arc::clone(watched),
        door: Arc::clone(door),
        pulse: Arc::clone(pulse),
        teller,
        unkept: VecDeque::new(),
        ticks: 0,
        clock_set_by: None,
        unread: BTreeSet::new(),
        counts,
    };
    thread::Builder::new().name("watch".to_owned()).spawn(move || watcher.run(&waiting.0))
}

struct Watcher {
    watched: Arc<Watched>,
    door: Arc<Door>,
    pulse: Arc<Pulse>,
    teller: Teller,
    /// Changes that the log has not taken yet, in their order.
    unkept: VecDeque<(Vec<Change>, Vec<Tell>)>,
    ticks: u32,
    clock_set_by: Option<Moment>,
    /// What could not be read at the last look, which has been said.
    unread: BTreeSet<&'static str>,
    counts: Arc<Counts>,
}

impl Watcher {
    fn run(mut self, waiting: &Receiver<Told>) {
        let Some((mut state, newest)) = self.recalled() else { return };
        self.pulse.alarms_stand(state.open().map(|alarm| alarm.key.rule.word()));
        let tick = self.watched.pace.tick();
        let mut next = Instant::now() + tick;
        loop {
            let (event, at) = match waiting.recv_timeout(next.saturating_duration_since(Instant::now())) {
                // It is among what was recalled.
                Ok(Told::Frame { seq, .. }) if seq <= newest => continue,
                Ok(Told::Frame { at, event, .. }) => (event, at),
                Ok(Told::Alive { gateway, at, asks }) => (Event::Alive { gateway, asks }, at),
                Ok(Told::Foretold { dev_eui, foretold }) => (Event::Foretold { dev_eui, foretold }, now()),
                Ok(Told::ClockSet { by }) => {
                    self.clock_set_by = Some(by);
                    continue;
                }
                Err(RecvTimeoutError::Timeout) => {
                    next = Instant::now() + tick;
                    state = self.paused(state);
                    state = self.calibrations(state);
                    state = self.look_at_the_computer(state);
                    self.note();
                    (Event::Tick, now())
                }
                Err(RecvTimeoutError::Disconnected) => return,
            };
            let (after, changes) = step(state, &event, self.watched.pace.of_nodes(at));
            state = after;
            self.hand_in(changes);
        }
    }

    /// The state as the log tells it, and the number of the newest frame in it; tried until it can be read.
    fn recalled(&self) -> Option<(State, i64)> {
        let mut said = false;
        loop {
            match recall(&self.watched) {
                Ok(recalled) => return Some(recalled),
                Err(error) if !said => {
                    said = true;
                    output::complain(&format!(
                        "The watch can't read the log: {error}. No alarm is raised until it can; it is tried again.\n"
                    ));
                }
                Err(_) => {}
            }
            if *self.pulse.stopping().borrow() {
                return None;
            }
            thread::sleep(NEXT_TRY);
        }
    }

    /// What was found; none if it can't be read now, which is said once, and read again a minute later.
    fn read<T>(&mut self, what: &'static str, found: Result<Vec<T>, StoreError>) -> Vec<T> {
        match found {
            Ok(found) => {
                self.unread.remove(what);
                found
            }
            Err(error) => {
                if self.unread.insert(what) {
                    output::complain(&format!("The watch can't read {what}: {error}. It is tried again.\n"));
                }
                Vec::new()
            }
        }
    }

    /// Takes notice of nodes on which somebody works.
    fn paused(&mut self, mut state: State) -> State {
        let found = sqlite::reader(&self.watched.log).and_then(|log| alarms::paused_at(&log, now()));
        for (dev_eui, until) in self.read("on which nodes somebody works", found) {
            let pace = self.watched.pace;
            let until = if until == Moment::MAX { until } else { pace.of_nodes(until) };
            state = step(state, &Event::Paused { dev_eui, until }, pace.of_nodes(now())).0;
        }
        state
    }

    /// Takes notice of the days on which calibrations are due; those of a demonstration pass in minutes.
    fn calibrations(&mut self, mut state: State) -> State {
        if !self.watched.pace.is_real() {
            return state;
        }
        let found = sqlite::reader(&self.watched.log).and_then(|log| visits::due(&log));
        let found = self.read("when calibrations are due", found).into_iter();
        for (dev_eui, due) in
            found.filter(|(dev_eui, _)| self.watched.setup.nodes.contains_key(dev_eui)).collect::<Vec<_>>()
        {
            let (after, changes) = step(state, &Event::CalibrationDue { dev_eui, due }, now());
            state = after;
            self.hand_in(changes);
        }
        state
    }

    /// How the computer is; in a demonstration, whose days pass in minutes, nobody asks.
    fn look_at_the_computer(&mut self, state: State) -> State {
        if !self.watched.pace.is_real() {
            return state;
        }
        let host = host::look(&self.watched.log, &self.pulse, &self.counts, self.clock_set_by.take());
        let (state, changes) = step(state, &Event::Host(host), now());
        self.hand_in(changes);
        state
    }

    /// Notes until when somebody listened.
    fn note(&mut self) {
        self.ticks += 1;
        if self.ticks.is_multiple_of(TICKS_TO_NOTE) {
            let noted = Arrival::Noted { key: LISTENED.to_owned(), value: now().to_string() };
            // The next one will do.
            let _full = self.door.offer(noted, None);
        }
    }

    /// Has changes kept, and told once they are.
    fn hand_in(&mut self, changes: Vec<Change>) {
        if !changes.is_empty() {
            let pace = self.watched.pace;
            let changes: Vec<Change> = changes.into_iter().map(|change| by_clocks(change, pace)).collect();
            let tells = tells(&self.watched.ways, &changes);
            self.unkept.push_back((changes, tells));
        }
        while let Some((changes, tells)) = self.unkept.pop_front() {
            let (watched, pulse, mut teller) =
                (Arc::clone(&self.watched), Arc::clone(&self.pulse), self.teller.twin());
            let told = changes.clone();
            let done = move |_: Option<&KeptFrame>| {
                for change in &told {
                    pulse.alarm(change, event(&watched, change));
                    teller.tell(line(&watched, change));
                }
            };
            let watched = Arrival::Watched { changes: changes.clone(), tells: tells.clone() };
            if self.door.try_offer(watched, Box::new(done)).is_err() {
                self.unkept.push_front((changes, tells));
                return;
            }
        }
    }
}

/// Who is told of these, and when.
fn tells(ways: &[Way], changes: &[Change]) -> Vec<Tell> {
    let now = now();
    let tell = |way: &Way, change: &Change| {
        let due = way.due(change, now)?;
        Some(Tell { alarm: change.alarm().id, way: way.name.clone(), due, since: due })
    };
    changes.iter().flat_map(|change| ways.iter().filter_map(move |way| tell(way, change))).collect()
}

/// Reads what the watch must know of the past.
fn recall(watched: &Watched) -> Result<(State, i64), StoreError> {
    let log = sqlite::reader(&watched.log)?;
    let (now, pace) = (now(), watched.pace);
    let (known, next) = alarms::known_since(&log, now - KNOWN)?;
    let setup = with_first_volts(watched.setup.clone(), &log)?;
    let mut state = Some(State::new(setup, known, next));
    let newest = alarms::history(&log, now - REMEMBERED, |at, event| {
        state = state.take().map(|state| state.recall(&event, pace.of_nodes(at)));
    })?;
    let listened = since::noted(&log, LISTENED)?;
    let listened = listened.map(|text| {
        text.parse().map_err(|error| StoreError::Damaged {
            why: format!("the note `{LISTENED}` is no number: {error}"),
        })
    });
    let listened_until = listened.transpose()?.map(|at| pace.of_nodes(at));
    let state = state.expect("it is put back each time");
    let (state, _) = step(state, &Event::Began { listened_until }, pace.of_nodes(now));
    Ok((state, newest))
}

/// Adds where the voltages of primary cells lay when they were new, as far as the log knows.
fn with_first_volts(mut setup: Setup, log: &Connection) -> Result<Setup, StoreError> {
    for (dev_eui, plan) in setup.nodes.iter_mut().filter(|(_, plan)| plan.is_primary) {
        let Some((column, in_volts)) = &plan.battery else { continue };
        let since = visits::epoch(log, *dev_eui, Moment::MAX)?.unwrap_or(0);
        let first = (since.div_euclid(DAY_US), FIRST_CELL_DAYS);
        let greatest = nodes::greatest_by_day(log, &dev_eui.to_string(), column, first)?;
        plan.first_volts = middle(greatest).map(|value| value * in_volts);
    }
    Ok(setup)
}

/// The middle one of all the first days; none before they are over.
fn middle(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(FIRST_CELL_DAYS / 2).copied().filter(|_| values.len() == FIRST_CELL_DAYS)
}

/// The change with its times as clocks show them.
fn by_clocks(mut change: Change, pace: Pace) -> Change {
    let (Change::Opened(alarm) | Change::Reopened(alarm) | Change::Explained(alarm) | Change::Closed(alarm)) =
        &mut change;
    alarm.opened_at = pace.of_clocks(alarm.opened_at);
    alarm.closed_at = alarm.closed_at.map(|at| pace.of_clocks(at));
    change
}

pub(super) fn who(watched: &Watched, about: About) -> String {
    match about {
        About::Node(dev_eui) => watched.names.get(&dev_eui).cloned().unwrap_or_else(|| dev_eui.to_string()),
        About::Gateway(eui) => watched.gateways.get(&eui).cloned().unwrap_or_else(|| eui.to_string()),
        About::Log => "the log".to_owned(),
    }
}

/// What those are told who follow.
fn event(watched: &Watched, change: &Change) -> Value {
    told(watched, change.alarm(), change.word())
}

/// An alarm with its sentences.
pub(super) fn told(watched: &Watched, alarm: &Alarm, state: &str) -> Value {
    let who = who(watched, alarm.key.about);
    let key = &alarm.key;
    let said = say(&Alarmed { rule: key.rule.word(), who: &who, of: &key.of, evidence: &alarm.evidence });
    json!({
        "id": alarm.id, "rule": key.rule.word(), "of": key.of, "state": state, "about": who,
        "is_gateway": matches!(key.about, About::Gateway(_)), "urgency": key.rule.urgency().word(),
        "opened_at_us": alarm.opened_at, "closed_at_us": alarm.closed_at, "cause": alarm.cause,
        "what": said.what, "why": said.why, "remedy": said.remedy, "evidence": alarm.evidence,
    })
}

/// A line for a person, or of JSON.
fn line(watched: &Watched, change: &Change) -> String {
    if watched.form == Form::Json {
        return json!({ "alarm": event(watched, change) }).to_string() + "\n";
    }
    let alarm = change.alarm();
    let who = who(watched, alarm.key.about);
    let of = &alarm.key.of;
    let said = say(&Alarmed { rule: alarm.key.rule.word(), who: &who, of, evidence: &alarm.evidence });
    let at = watched.zone.clock(alarm.closed_at.unwrap_or_else(now));
    match change {
        Change::Opened(_) => {
            format!("{at}  ALARM: {}: {}. What to do: {}\n", said.what, said.why, said.remedy)
        }
        Change::Reopened(_) => format!("{at}  ALARM again: {}\n", said.what),
        Change::Explained(_) => String::new(),
        Change::Closed(_) => format!("{at}  over: {}\n", said.what),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_demonstration_s_time_goes_there_and_back() {
        let pace = Pace { begun: 1_000_000_000_000_000, times: 300.0 };
        let later = pace.begun + 2_000_000;
        assert_eq!(pace.of_nodes(later), pace.begun + 600_000_000, "2 s are ten minutes");
        assert_eq!(pace.of_clocks(pace.of_nodes(later)), later);
        assert_eq!((pace.tick(), Pace { times: 1.0, ..pace }.tick()), (SHORTEST_TICK, MINUTE));
    }
}
