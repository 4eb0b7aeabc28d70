//! What is common to all rules of the watch: what swallows an alarm, when it opens again, and what a start knows.

use std::collections::BTreeMap;

use logbook::received::Moment;
use logbook::watch::{
    About, Alarm, Change, Event, Foretold, Frame, Host, Key, NodePlan, Over, Rule, Setup, State, Threshold,
    Uplink, What, step,
};
use wire::identity::{DevEui, GatewayEui};

const MINUTE: Moment = 60_000_000;
const HOUR: Moment = 60 * MINUTE;
const PACKING_HOUSE: GatewayEui = GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 1]);
const RIDGE: GatewayEui = GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 2]);

const fn node(number: u8) -> DevEui {
    DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 1, number])
}

fn every_ten_minutes(number: u8) -> (DevEui, NodePlan) {
    let plan = NodePlan {
        intervals: vec![(0.0, [Some(10 * MINUTE); 12])],
        loss: 0.1,
        full_volts: 4.2,
        stops_volts: 3.3,
        latitude_deg: 47.0,
        longitude_deg: 13.0,
        elevation_m: 600.0,
        ..NodePlan::unknown(&format!("mast-{number}"))
    };
    (node(number), plan)
}

/// A site that is watched minute by minute; its node n sends at minute n of every ten.
struct Watched {
    state: Option<State>,
    now: Moment,
    sends: BTreeMap<u8, (u32, Option<GatewayEui>)>,
    /// Gateways that ask for answers.
    alive: Vec<GatewayEui>,
    changes: Vec<(Moment, Change)>,
}

impl Watched {
    fn of(nodes: u8) -> Self {
        let setup = Setup { nodes: (1..=nodes).map(every_ten_minutes).collect(), ..Setup::default() };
        let mut watched = Self {
            state: Some(State::new(setup, [], 1)),
            now: 1_790_000_000_000_000,
            sends: (1..=nodes).map(|number| (number, (0, Some(PACKING_HOUSE)))).collect(),
            alive: vec![PACKING_HOUSE, RIDGE],
            changes: Vec::new(),
        };
        watched.take(&Event::Began { listened_until: None });
        watched
    }

    fn take(&mut self, event: &Event) {
        let state = self.state.take().expect("it is put back");
        let (state, changes) = step(state, event, self.now);
        self.state = Some(state);
        self.changes.extend(changes.into_iter().map(|change| (self.now, change)));
    }

    /// Lets minutes pass; what changed in them.
    fn pass(&mut self, minutes: Moment) -> Vec<Change> {
        let before = self.changes.len();
        for _ in 0..minutes {
            self.now += MINUTE;
            for gateway in self.alive.clone() {
                self.take(&Event::Alive { gateway, asks: true });
            }
            let due = (self.now / MINUTE) % 10;
            let sending: Vec<u8> =
                self.sends.keys().copied().filter(|number| Moment::from(*number) == due).collect();
            for number in sending {
                self.send(number);
            }
            self.take(&Event::Tick);
        }
        self.changes[before..].iter().map(|(_, change)| change.clone()).collect()
    }

    fn send(&mut self, number: u8) {
        let (fcnt, gateway) = self.sends.get_mut(&number).expect("it is there");
        *fcnt += 1;
        let uplink = Uplink { fcnt: Some(*fcnt), ..Uplink::default() };
        let Some(gateway) = *gateway else { return };
        let frame = Frame { gateway: Some(gateway), dev_eui: Some(node(number)), what: What::New(uplink) };
        self.take(&Event::Frame(frame));
    }

    fn hears(&mut self, number: u8, gateway: Option<GatewayEui>) {
        self.sends.get_mut(&number).expect("it is there").1 = gateway;
    }

    fn open(&self) -> Vec<Key> {
        self.state.as_ref().expect("it is there").open().map(|alarm| alarm.key.clone()).collect()
    }
}

fn words(changes: &[Change]) -> Vec<(&'static str, Rule)> {
    changes.iter().map(|change| (change.word(), change.alarm().key.rule)).collect()
}

/// Losses of a week are known: a node that loses nothing is missed after 95 min (a run begins with one of 1,010 messages at most,
/// 52 times a year, and goes on with 0.4: 2 + ln(520) / -ln 0.4 = 8.8, so k = 9; by hand).
const WEEK: Moment = 7 * 24 * 60;

#[test]
fn a_node_that_falls_silent_is_named_once_and_closed_after_two_uplinks() {
    let mut site = Watched::of(3);
    assert_eq!(words(&site.pass(WEEK)), []);
    site.hears(2, None);
    assert_eq!(words(&site.pass(120)), [("open", Rule::Silent)]);
    assert_eq!(site.open(), [Key::of_node(Rule::Silent, node(2))]);
    site.hears(2, Some(PACKING_HOUSE));
    assert_eq!(words(&site.pass(11)), [], "one uplink");
    assert_eq!(words(&site.pass(10)), [("closed", Rule::Silent)]);
}

#[test]
fn an_alarm_that_opens_again_within_a_day_is_the_old_one_and_later_a_new_one() {
    let mut site = Watched::of(3);
    site.pass(WEEK);
    let mut falls_silent = |pause: Moment| -> Vec<Change> {
        site.hears(2, None);
        let opened = site.pass(600);
        site.hears(2, Some(PACKING_HOUSE));
        site.pass(pause);
        opened
    };
    let first = falls_silent(12 * 60);
    let second = falls_silent(8 * 24 * 60);
    let third = falls_silent(60);
    assert_eq!(
        (words(&first), words(&second)),
        (vec![("open", Rule::Silent)], vec![("open again", Rule::Silent)])
    );
    assert_eq!(first[0].alarm().id, second[0].alarm().id);
    assert_eq!(first[0].alarm().opened_at, second[0].alarm().opened_at, "since the first time");
    assert_eq!(words(&third), [("open", Rule::Silent)]);
    assert_ne!(first[0].alarm().id, third[0].alarm().id);
}

#[test]
fn a_gateway_that_is_away_is_the_one_alarm_for_all_its_nodes() {
    let mut site = Watched::of(5);
    site.hears(5, Some(RIDGE));
    site.pass(WEEK);
    site.alive = vec![RIDGE];
    (1..=4).for_each(|number| site.hears(number, None));
    let changes = site.pass(6 * 60);
    assert_eq!(words(&changes), [("open", Rule::GatewayAway)]);
    assert_eq!(changes[0].alarm().key.about, About::Gateway(PACKING_HOUSE));
    // It comes back; that its nodes were not heard is not theirs.
    site.alive = vec![PACKING_HOUSE, RIDGE];
    assert_eq!(words(&site.pass(4)), []);
    (1..=4).for_each(|number| site.hears(number, Some(PACKING_HOUSE)));
    assert_eq!(words(&site.pass(3)), [("closed", Rule::GatewayAway)]);
    assert_eq!(words(&site.pass(WEEK)), []);
}

#[test]
fn a_gateway_that_lives_and_hears_nothing_is_named_before_any_of_its_nodes() {
    let mut site = Watched::of(4);
    site.pass(WEEK);
    (1..=4).for_each(|number| site.hears(number, None));
    assert_eq!(words(&site.pass(6 * 60)), [("open", Rule::NothingHeard)]);
    (1..=4).for_each(|number| site.hears(number, Some(PACKING_HOUSE)));
    assert_eq!(words(&site.pass(60)), [("closed", Rule::NothingHeard)]);
}

#[test]
fn a_silence_that_was_named_before_its_gateway_went_is_explained_by_it() {
    let mut site = Watched::of(3);
    site.pass(WEEK);
    site.hears(1, None);
    let silent = site.pass(120);
    assert_eq!(words(&silent), [("open", Rule::Silent)]);
    site.alive = vec![RIDGE];
    (2..=3).for_each(|number| site.hears(number, None));
    let changes = site.pass(60);
    assert_eq!(words(&changes), [("open", Rule::GatewayAway), ("explained", Rule::Silent)]);
    assert_eq!(changes[1].alarm().cause, Some(changes[0].alarm().id));
}

#[test]
fn a_node_that_two_gateways_hear_is_missed_only_when_both_are_away() {
    let mut site = Watched::of(2);
    for _ in 0..WEEK / 10 {
        site.hears(1, Some(RIDGE));
        site.pass(10);
        site.hears(1, Some(PACKING_HOUSE));
        site.pass(10);
    }
    site.alive = vec![RIDGE];
    site.hears(1, None);
    site.hears(2, None);
    let changes = site.pass(120);
    let of =
        |number| changes.iter().any(|change| change.alarm().key == Key::of_node(Rule::Silent, node(number)));
    assert_eq!((of(1), of(2)), (true, false), "the ridge could have heard it: {:?}", words(&changes));
}

#[test]
fn nothing_opens_for_a_node_on_which_somebody_works() {
    let mut site = Watched::of(3);
    site.pass(WEEK);
    let until = site.now + 5 * HOUR;
    site.take(&Event::Paused { dev_eui: node(2), until });
    site.hears(2, None);
    assert_eq!(words(&site.pass(5 * 60 - 1)), []);
    assert_eq!(words(&site.pass(2)), [("open", Rule::Silent)], "the work has ended, and it is still silent");
}

/// A cause is told after three days; that its battery will be empty soon is worse news, and then the cause alone is no more.
#[test]
fn what_was_learned_of_a_node_is_told_once() {
    let mut site = Watched::of(2);
    site.pass(60);
    let foretold = |at: Moment, told_days: u32, soon: f64| Foretold {
        at,
        days_left: (30.0, 20.0),
        soon,
        cause: (told_days > 0).then(|| "the panel gives nothing. Bring a brush".to_owned()),
        told_days,
        clear_days: if told_days == 0 { 3 } else { 0 },
        holds: 0.95,
        worn_days: 0,
    };
    let mut learn = |number: u8, told_days: u32, soon: f64| {
        let before = site.changes.len();
        let foretold = foretold(site.now, told_days, soon);
        site.take(&Event::Foretold { dev_eui: node(number), foretold });
        let told: Vec<Change> = site.changes[before..].iter().map(|(_, change)| change.clone()).collect();
        site.pass(1);
        words(&told)
    };
    assert_eq!(learn(1, 2, 0.0), []);
    assert_eq!(learn(1, 3, 0.0), [("open", Rule::BelowForecast)]);
    assert_eq!(learn(1, 4, 0.0), [], "it stands");
    assert_eq!(learn(1, 5, 0.6), [("open", Rule::EmptySoon)]);
    assert_eq!(learn(1, 0, 0.1), [("closed", Rule::EmptySoon), ("closed", Rule::BelowForecast)]);
    assert_eq!(learn(2, 3, 0.6), [("open", Rule::EmptySoon)], "it says the cause as well");
    assert_eq!(learn(3, 3, 0.6), [], "a node that was never heard is not watched");
}

#[test]
fn a_time_in_which_nobody_listened_is_no_silence() {
    let mut site = Watched::of(3);
    site.pass(WEEK);
    let listened_until = Some(site.now);
    site.now += 10 * HOUR;
    site.take(&Event::Began { listened_until });
    assert_eq!(words(&site.pass(60)), []);
    site.hears(1, None);
    assert_eq!(words(&site.pass(120)), [("open", Rule::Silent)]);
}

#[test]
fn what_is_recalled_at_a_start_gives_the_same_alarms_as_what_was_lived() {
    let mut lived = Watched::of(3);
    lived.pass(WEEK);
    let setup = Setup { nodes: (1..=3).map(every_ten_minutes).collect(), ..Setup::default() };
    let stood = Alarm {
        id: 7,
        key: Key::of_node(Rule::Silent, node(3)),
        opened_at: lived.now - HOUR,
        closed_at: None,
        cause: None,
        evidence: serde_json::Map::new(),
    };
    let mut state = State::new(setup, [stood], 8);
    // The same week, but node 3 was not heard in its last hour.
    let begun = lived.now - WEEK * MINUTE;
    for minute in 1..=WEEK {
        let at = begun + minute * MINUTE;
        for number in (1..=3_u8).filter(|number| Moment::from(*number) == (at / MINUTE) % 10) {
            if number == 3 && minute > WEEK - 60 {
                continue;
            }
            let uplink = Uplink { fcnt: Some(u32::try_from(minute / 10).expect("few")), ..Uplink::default() };
            let what = What::New(uplink);
            let frame = Frame { gateway: Some(PACKING_HOUSE), dev_eui: Some(node(number)), what };
            state = state.recall(&Event::Frame(frame), at);
        }
    }
    let mut again = Watched { state: Some(state), changes: Vec::new(), ..lived };
    again.take(&Event::Began { listened_until: Some(again.now) });
    again.hears(3, None);
    assert_eq!(words(&again.pass(60)), [], "it stands as it stood");
    assert_eq!(again.open(), [Key::of_node(Rule::Silent, node(3))]);
    again.hears(3, Some(PACKING_HOUSE));
    let closed = again.pass(30);
    assert_eq!((words(&closed), closed[0].alarm().id), (vec![("closed", Rule::Silent)], 7));
    again.hears(1, None);
    let opened = again.pass(120);
    assert_eq!((words(&opened), opened[0].alarm().id), (vec![("open", Rule::Silent)], 8));
}

#[test]
fn the_alarm_of_a_node_that_is_no_longer_enrolled_closes() {
    let alarm = Alarm {
        id: 1,
        key: Key::of_node(Rule::Restarts, node(9)),
        opened_at: 0,
        closed_at: None,
        cause: None,
        evidence: serde_json::Map::new(),
    };
    let (_, changes) = step(State::new(Setup::default(), [alarm], 2), &Event::Tick, HOUR);
    assert_eq!(words(&changes), [("closed", Rule::Restarts)]);
}

#[test]
fn the_silence_of_a_node_that_is_not_charged_is_explained_by_that() {
    let mut site = Watched::of(3);
    site.pass(WEEK);
    let stood = Alarm {
        id: 7,
        key: Key::of_node(Rule::NeverCharged, node(2)),
        opened_at: site.now - HOUR,
        closed_at: None,
        cause: None,
        evidence: serde_json::Map::new(),
    };
    let setup = Setup { nodes: (1..=3).map(every_ten_minutes).collect(), ..Setup::default() };
    let mut again = Watched { state: Some(State::new(setup, [stood], 8)), changes: Vec::new(), ..site };
    again.take(&Event::Began { listened_until: Some(again.now) });
    again.pass(WEEK);
    again.hears(2, None);
    let changes = again.pass(120);
    assert_eq!(words(&changes), [("open", Rule::Silent), ("explained", Rule::Silent)]);
    assert_eq!(changes[1].alarm().cause, Some(7));
}

/// The night of the frost: somebody works on the node, its gateway is away, and still the rule says that it can't see.
#[test]
fn nothing_holds_back_a_rule_that_cannot_see_on_the_night_of_the_frost() {
    let frost = Threshold {
        name: "frost".to_owned(),
        field: "air".to_owned(),
        nodes: Vec::new(),
        is_below: true,
        limit: 1.0,
        again_at: 2.0,
        unit: "Cel".to_owned(),
        lasting: 0,
        over: Over::Each,
        months: None,
        hours: Vec::new(),
        unseen_for: Some(15 * MINUTE),
    };
    let nodes = (1..=3).map(every_ten_minutes).collect();
    let setup = Setup { nodes, thresholds: vec![frost], ..Setup::default() };
    let mut site = Watched { state: Some(State::new(setup, [], 1)), ..Watched::of(3) };
    site.pass(WEEK);
    let values = BTreeMap::from([("air".to_owned(), serde_json::json!(2.5))]);
    let uplink = Uplink { fcnt: Some(2000), values, ..Uplink::default() };
    let frame = Frame { gateway: Some(PACKING_HOUSE), dev_eui: Some(node(1)), what: What::New(uplink) };
    site.take(&Event::Frame(frame));
    site.take(&Event::Paused { dev_eui: node(1), until: site.now + 9 * HOUR });
    (1..=3).for_each(|number| site.hears(number, None));
    site.alive = Vec::new();
    let changes = site.pass(15);
    assert!(!words(&changes).contains(&("open", Rule::CannotSee)), "15 min: {:?}", words(&changes));
    let changes = site.pass(1);
    assert_eq!(words(&changes), [("open", Rule::CannotSee)], "16 min without a reading at 2.5 °C");
}

#[test]
fn what_goes_wrong_with_the_computer_opens_and_closes_by_itself() {
    let mut site = Watched::of(1);
    let away = Host { sources_away: ["fields".to_owned()].into(), disk_free: Some(0.04), ..Host::default() };
    let look = |site: &mut Watched, host: &Host, minutes: Moment| {
        let before = site.changes.len();
        for _ in 0..minutes {
            site.now += MINUTE;
            site.take(&Event::Host(host.clone()));
        }
        let changes: Vec<Change> = site.changes[before..].iter().map(|(_, change)| change.clone()).collect();
        words(&changes)
    };
    assert_eq!(look(&mut site, &away, 5), [("open", Rule::Store)]);
    assert_eq!(look(&mut site, &away, 1), [("open", Rule::SourceAway)], "away for 5 min");
    assert_eq!(
        site.open(),
        [Key::of_log(Rule::Store, String::new()), Key::of_log(Rule::SourceAway, "fields".to_owned())]
    );
    let well = Host { disk_free: Some(0.5), ..Host::default() };
    assert_eq!(look(&mut site, &well, 1), [("closed", Rule::SourceAway), ("closed", Rule::Store)]);
}
