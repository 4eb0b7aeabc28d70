//! Nodes that do what they should, lived hour by hour by the kernel of the forecast and heard over a link that loses messages in
//! runs: how often the watch calls somebody for nothing. And one that is never charged.
#![expect(clippy::print_stdout, reason = "a proof says what it counted")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use design::catalog::Catalog;
use design::message::{Direction, Kind, Meaning};
use design::node::Design;
use forecast::diary::Diary;
use forecast::life::kernel::{Life, step as live};
use forecast::life::node::{Harvest, NodeTables};
use forecast::life::weather::{NodeWeather, SampleYears};
use forecast::load::Demand;
use forecast::sky::climate::Climate;
use logbook::received::Moment;
use logbook::watch::{About, Change, Event, Frame, NodePlan, Rule, Setup, State, Uplink, What, step};
use serde_json::{Value, json};
use wire::identity::{DevEui, GatewayEui};

const MINUTE: Moment = 60_000_000;
const HOUR: Moment = 60 * MINUTE;
const GATEWAY: GatewayEui = GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 1]);
/// 2026-10-15 00:00 UTC: 20,741 days after 1970-01-01; the day of the year is 288, so 287 have passed.
const INSTALLED: (Moment, usize) = (20_741 * 24 * HOUR, 287 * 24);
/// 2026-01-01 00:00 UTC: 56 years with 14 leap days are 20,454 days.
const NEW_YEAR: (Moment, usize) = (20_454 * 24 * HOUR, 0);
/// What is left of a worn battery.
const WORN: f64 = 0.33;
/// The goal: alarms of a nominal node in a year.
const MOST_A_YEAR: f64 = 0.2;

fn design(name: &str) -> Design {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/larkmoor").join(name);
    let text = std::fs::read_to_string(path).expect("it is there");
    design::resolve::resolve(&Catalog::builtin(), &design::file::parse(&text)).expect("it is sound").design
}

/// xorshift64* (S. Vigna, 2016).
struct Chance(u64);

impl Chance {
    /// From 0 to 1.
    fn draw(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// A node, its link, and what it says.
struct Nominal {
    dev_eui: DevEui,
    design: Design,
    plan: NodePlan,
    tables: NodeTables,
    years: SampleYears,
    life: Life,
    chance: Chance,
    /// Share that is lost on a good hour; in a fade six in ten are, three messages long on average.
    loss: f64,
    fades: bool,
    fcnt: u32,
    charging_min: f64,
    hour: usize,
    has_stopped: bool,
    fault: Option<Fault>,
    /// Values of the last message, which a stuck sensor repeats.
    last: BTreeMap<String, Value>,
}

/// What goes wrong with a node, as in the demonstration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fault {
    /// No light comes to the battery: the panel's plug is out, or snow lies on it.
    Dark,
    /// Something draws 20 mA more.
    Load,
    /// The battery holds a third of what it did.
    Worn,
    /// It joins and starts anew at each message.
    Restarts,
    Stuck,
    /// Every other message is lost.
    Lost,
    /// Somebody tries twelve codes at each message.
    Forged,
}

impl Nominal {
    fn new(number: u8, design: Design, with_panel: bool) -> Self {
        let place = &design.site;
        let climate =
            Climate::builtin(place.latitude, place.longitude, place.elevation).expect("it is on land");
        let diary = Diary::new(&design);
        let seed = u64::from(number);
        let weather = NodeWeather::of_climate(&design, &climate, &diary, seed);
        let demand = Demand::new(&design, &diary);
        let tables = if with_panel {
            NodeTables::of_design(&design, demand)
        } else {
            NodeTables::new(&design, Harvest::None, demand)
        };
        let mut chance = Chance(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
        Self {
            dev_eui: DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 1, number]),
            plan: NodePlan::of(&format!("node-{number}"), &design),
            life: Life::new(&tables, design.promise.charge_at_installation.fraction()),
            years: weather.sample().clone(),
            tables,
            design,
            loss: 0.06 * chance.draw(),
            chance,
            fades: false,
            fcnt: 0,
            charging_min: 0.0,
            hour: INSTALLED.1,
            has_stopped: false,
            fault: None,
            last: BTreeMap::new(),
        }
    }

    fn live_an_hour(&mut self) {
        let place = self.hour % self.years.hours.len();
        let mut weather = self.years.hours[place];
        if self.fault == Some(Fault::Dark) {
            weather.in_plane_w_m2 = 0.0;
        }
        self.life.extra_amperes = if self.fault == Some(Fault::Load) { 0.02 } else { 0.0 };
        let outcome = live(&self.tables, usize::from(self.years.kinds[place]), &weather, &mut self.life);
        self.charging_min += if outcome.taken > 0.0 { 60.0 } else { 0.0 };
        self.has_stopped |= !self.life.running;
        self.hour += 1;
    }

    /// A message, if it is heard.
    fn send(&mut self) -> Option<Uplink> {
        self.fcnt += 1;
        self.fades = if self.fades { self.chance.draw() > 1.0 / 3.0 } else { self.chance.draw() < 0.003 };
        let lost = if self.fades { 0.6 } else { self.loss };
        if self.chance.draw() < lost || self.fault == Some(Fault::Lost) && self.fcnt.is_multiple_of(2) {
            return None;
        }
        let message = self.design.messages.iter().find(|message| message.direction == Direction::Up)?.clone();
        let mut values: BTreeMap<String, Value> = message
            .fields
            .iter()
            .map(|field| {
                let value = self.value(&field.kind, field.meaning(), &field.unit);
                (field.name.clone(), value)
            })
            .collect();
        for field in &message.fields {
            let hangs = self.fault == Some(Fault::Stuck) && field.meaning().is_none();
            let repeated =
                self.last.get(&field.name).filter(|_| hangs && matches!(field.kind, Kind::Number { .. }));
            values.extend(repeated.map(|value| (field.name.clone(), value.clone())));
            if self.fault == Some(Fault::Restarts) && field.meaning() == Some(Meaning::Restarted) {
                values.insert(field.name.clone(), json!(true));
            }
        }
        self.last.clone_from(&values);
        Some(Uplink {
            fcnt: Some(self.fcnt),
            message: Some(message.name.clone()),
            values,
            ..Uplink::default()
        })
    }

    #[expect(clippy::cast_possible_truncation, reason = "the tables of the kernel are in single precision")]
    fn value(&mut self, kind: &Kind, meaning: Option<Meaning>, unit: &str) -> Value {
        let noise = 2.0 * self.chance.draw() - 1.0;
        let air = f64::from(self.years.hours[self.hour % self.years.hours.len()].air_celsius);
        match (kind, meaning) {
            (_, Some(Meaning::Battery)) => {
                let millivolts = 1e3 * f64::from(self.tables.rest_volts(self.life.charge() as f32));
                json!(10.0 * ((millivolts + 5.0 * noise) / 10.0).round())
            }
            (_, Some(Meaning::Charging)) => json!(self.charging_min),
            (Kind::Flag, _) => json!(false),
            (Kind::Number { .. }, _) if unit == "Cel" => json!((10.0 * (air + 0.3 * noise)).round() / 10.0),
            (Kind::Number { scale, last, .. }, _) => {
                // A slow swing with noise, as soil and water have.
                let (least, most) = (scale.value(0), scale.value(*last));
                let share = 0.5 + 0.2 * (self.hour as f64 / 30.0).sin() + 0.02 * noise;
                let step = (most - least) / f64::from(*last);
                json!(step * ((least + (most - least) * share) / step).round())
            }
            _ => Value::Null,
        }
    }
}

/// Lives the nodes for days with a look every ten minutes; what changed, and the nodes that ran all the time.
fn watch(nodes: Vec<Nominal>, days: Moment) -> (Vec<(Moment, Change)>, BTreeSet<DevEui>) {
    watch_with(INSTALLED, nodes, days, &[])
}

/// The same from another moment, and the hour of its year; from a day on a fault is there: of the first node, or, if it is none, of
/// the gateway, which hears nothing any more.
#[expect(clippy::cast_possible_truncation, reason = "the tables of the kernel are in single precision")]
fn watch_with(
    (installed, hour): (Moment, usize),
    mut nodes: Vec<Nominal>,
    days: Moment,
    faults: &[(Moment, Option<Fault>)],
) -> (Vec<(Moment, Change)>, BTreeSet<DevEui>) {
    for node in &mut nodes {
        node.hour = hour;
    }
    let setup = Setup {
        nodes: nodes.iter().map(|node| (node.dev_eui, node.plan.clone())).collect(),
        gateway_patience: 15 * MINUTE,
        ..Setup::default()
    };
    let mut state = State::new(setup, [], 1);
    let mut all = Vec::new();
    let mut is_deaf = false;
    let mut take = |state, event: &Event, now| {
        let (state, changes) = step(state, event, now);
        all.extend(changes.into_iter().map(|change| (now, change)));
        state
    };
    state = take(state, &Event::Began { listened_until: None }, installed);
    for look in 0..days * 144 {
        let now = installed + look * 10 * MINUTE;
        state = take(state, &Event::Alive { gateway: GATEWAY, asks: true }, now);
        for (_, fault) in faults.iter().filter(|(day, _)| look == day * 144) {
            nodes[0].fault = *fault;
            if *fault == Some(Fault::Worn) {
                nodes[0].life.scale_capacity(WORN);
            }
            is_deaf = fault.is_none();
        }
        for node in &mut nodes {
            if look % 6 == 0 {
                node.live_an_hour();
            }
            let volts = f64::from(node.tables.rest_volts(node.life.charge() as f32));
            let every = node.plan.interval(now, Some(volts)).map_or(6, |every| every / (10 * MINUTE)).max(1);
            if !node.life.running || look % every != 0 {
                continue;
            }
            let mut others = Vec::new();
            if node.fault == Some(Fault::Forged) {
                others.extend(std::iter::repeat_n(What::WrongCode, 12));
            }
            if node.fault == Some(Fault::Restarts) {
                others.push(What::Join);
            }
            for what in others {
                let frame = Frame { gateway: Some(GATEWAY), dev_eui: Some(node.dev_eui), what };
                state = take(state, &Event::Frame(frame), now);
            }
            if let Some(uplink) = node.send().filter(|_| !is_deaf) {
                let frame =
                    Frame { gateway: Some(GATEWAY), dev_eui: Some(node.dev_eui), what: What::New(uplink) };
                state = take(state, &Event::Frame(frame), now);
            }
        }
        state = take(state, &Event::Tick, now);
    }
    let ran = nodes.iter().filter(|node| !node.has_stopped).map(|node| node.dev_eui).collect();
    (all, ran)
}

fn number_of(variable: &str, usual: Moment) -> Moment {
    std::env::var(variable).map_or(usual, |text| text.parse().expect("a number"))
}

#[test]
fn nodes_that_do_what_they_should_call_nobody() {
    let count = u8::try_from(number_of("OVERWINTER_NODES", 4)).expect("at most 255");
    let days = number_of("OVERWINTER_DAYS", 45);
    let kinds = ["frost-mast.toml", "tank-level.toml", "soil-station.toml"].map(design);
    let kind = |number: u8| kinds[usize::from(number) % kinds.len()].clone();
    let nodes = (1..=count).map(|number| Nominal::new(number, kind(number), true)).collect();
    let (changes, ran) = watch(nodes, days);
    let of = |change: &Change| match change.alarm().key.about {
        About::Node(dev_eui) => ran.contains(&dev_eui),
        About::Gateway(_) | About::Log => true,
    };
    let opened: Vec<(Moment, &Change)> = changes
        .iter()
        .filter(|(_, change)| matches!(change, Change::Opened(_)) && of(change))
        .map(|(at, change)| ((at - INSTALLED.0) / (24 * HOUR), change))
        .collect();
    let years = ran.len() as f64 * days as f64 / 365.0;
    let rate = opened.len() as f64 / years;
    let said: Vec<String> = opened
        .iter()
        .map(|(day, change)| format!("day {day}: {:?} {:?}", change.alarm().key, change.alarm().evidence))
        .collect();
    let mut by_rule: BTreeMap<&str, usize> = BTreeMap::new();
    for (_, change) in &opened {
        *by_rule.entry(change.alarm().key.rule.word()).or_default() += 1;
    }
    println!(
        "{} alarms in {years:.1} node-years of {} nodes that ran: {rate:.3} a year; by rule {by_rule:?}",
        opened.len(),
        ran.len()
    );
    assert!(!ran.is_empty());
    assert!(rate <= MOST_A_YEAR, "{rate:.3} a node-year: {}", said.join("\n"));
}

#[test]
fn a_node_that_is_never_charged_is_named_within_48_hours_and_another_is_not() {
    let mast = || design("frost-mast.toml");
    let (changes, _) = watch(vec![Nominal::new(1, mast(), false), Nominal::new(2, mast(), true)], 4);
    let named: Vec<(Moment, &Change)> = changes
        .iter()
        .filter(|(_, change)| change.alarm().key.rule == Rule::NeverCharged)
        .map(|(at, change)| (at - INSTALLED.0, change))
        .collect();
    let [(at, Change::Opened(alarm))] = &named[..] else { panic!("{named:?}") };
    assert_eq!(alarm.key.about, About::Node(DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 1, 1])));
    // The first message may have been lost, and so may the one that makes it 48 h.
    assert!((48 * HOUR..=49 * HOUR).contains(at), "after {} min", at / MINUTE);
}

/// Masts that are put up in the frost of January, whose chargers refuse below 0 °C: nothing is broken, and nobody is called to
/// look at a panel.
#[test]
fn a_charger_that_waits_for_warmth_calls_nobody() {
    let nodes = (1..=12).map(|number| Nominal::new(number, design("frost-mast.toml"), true)).collect();
    let (changes, _) = watch_with(NEW_YEAR, nodes, 14, &[]);
    let called = changes.iter().filter(|(_, change)| change.alarm().key.rule == Rule::NeverCharged);
    let called: Vec<_> =
        called.map(|(at, change)| ((at - NEW_YEAR.0) / HOUR, change.alarm().evidence.clone())).collect();
    assert!(called.is_empty(), "{called:?}");
}

/// What opened, by rule and node, and how many hours after the fault.
fn opened(fault: Option<Fault>, from_day: Moment, days: Moment) -> Vec<(Rule, bool, Moment)> {
    let mast = || design("frost-mast.toml");
    let nodes = vec![Nominal::new(1, mast(), true), Nominal::new(2, mast(), true)];
    let (changes, _) = watch_with(INSTALLED, nodes, days, &[(from_day, fault)]);
    let begun = INSTALLED.0 + from_day * 24 * HOUR;
    let of_first = |about| about == About::Node(DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 1, 1]));
    changes
        .iter()
        .filter(|(_, change)| matches!(change, Change::Opened(_)))
        .map(|(at, change)| {
            let key = &change.alarm().key;
            (key.rule, of_first(key.about), (at - begun) / HOUR)
        })
        .collect()
}

/// Each fault of the demonstration on a mast from a day on: the alarm that names it, and hours of the node's time within which it
/// must open. Of the healthy mast beside it none may open. A panel that goes dark on a full battery shows once the voltage has fallen
/// to where the charger begins anew, and then within 48 h and a day.
#[test]
fn each_fault_of_the_demonstration_is_named_in_its_time() {
    let cases: [(Option<Fault>, Moment, Rule, Moment); 9] = [
        // 48 h after the first message.
        (Some(Fault::Dark), 0, Rule::NeverCharged, 49),
        (Some(Fault::Dark), 20, Rule::ChargeStopped, 24 * 10),
        // Four nights of seven.
        (Some(Fault::Load), 20, Rule::DrainsFast, 24 * 5),
        (Some(Fault::Worn), 20, Rule::DrainsFast, 24 * 8),
        // Three starts, at one an hour or more often.
        (Some(Fault::Restarts), 20, Rule::Restarts, 3),
        // Six hours, and three times as long as ever before.
        (Some(Fault::Stuck), 20, Rule::ReadingStuck, 24),
        // Of the last 50 messages and the 50 before.
        (Some(Fault::Lost), 20, Rule::Losing, 24 * 4),
        (Some(Fault::Forged), 20, Rule::Forged, 1),
        (None, 20, Rule::NothingHeard, 12),
    ];
    for (fault, from_day, rule, within_h) in cases {
        let found = opened(fault, from_day, from_day + 2 + within_h / 24);
        println!("{fault:?} from day {from_day}: {found:?}");
        let named = found.iter().find(|(of, is_first, _)| *of == rule && (*is_first || fault.is_none()));
        let at = named.map(|(_, _, hours)| *hours);
        assert!(
            at.is_some_and(|hours| (0..=within_h).contains(&hours)),
            "{fault:?}: {rule:?} after {at:?} h"
        );
        let healthy = found.iter().find(|(_, is_first, _)| !is_first && fault.is_some());
        assert_eq!(healthy, None, "{fault:?}");
    }
}
