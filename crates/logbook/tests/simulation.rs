//! The network against a world with losses, delays, copies, forgeries, restarts and rows that can't be kept: seeded, so
//! that a seed that fails is printed and fails again.
//!
//! Small in every run; `cargo xtask prove network` sets the two variables below.

#[expect(dead_code, reason = "the answers need the rest")]
mod valley;

use std::collections::{BTreeMap, BTreeSet};
use std::env;
use std::io::Write as _;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};

use design::serve::Answers;
use logbook::network::{
    Downlink, DownlinkNumber, Effect, Heard, KeptSession, Member, Message, Network, Plan, SessionId,
    SessionState, Verdict, Window,
};
use logbook::received::{Moment, Received};
use valley::{Device, SECOND, START, copy, gateway, setup};
use wire::frame::FrameControl;
use wire::identity::{DevAddr, DevEui, GatewayEui};
use wire::mac::UplinkCommand;

/// Seeds that are tried; each is a world of its own.
const SEEDS: &str = "OVERWINTER_SEEDS";
/// The first of them.
const FIRST: &str = "OVERWINTER_FIRST_SEED";
/// Transmissions of devices in each world.
const TRANSMISSIONS: usize = 400;
const DEVICES: u8 = 5;

/// Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014, figure 17 (`SplitMix64`).
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }

    fn percent(&mut self, share: u64) -> bool {
        self.below(100) < share
    }
}

/// What is on the disk of a log, as far as a network is built from it.
#[derive(Clone, Default)]
struct Log {
    nodes: BTreeMap<DevEui, Member>,
    sessions: BTreeMap<SessionId, KeptSession>,
    /// Accepted frames: bytes by session and counter.
    accepted: BTreeMap<(SessionId, u32), Vec<u8>>,
    /// Downlinks by session and counter.
    downlinks: BTreeSet<(SessionId, u32)>,
    /// Transmissions that were asked for.
    asked: Vec<(GatewayEui, u32, Moment, Moment)>,
}

impl Log {
    /// Keeps a row; the unique keys of the tables hold.
    fn keep(&mut self, received: &Received, heard: &Heard) {
        let Some(session) = heard.session else { return };
        if let Some(joined) = &heard.joined {
            let member = self.nodes.get_mut(&session.dev_eui).expect("a device of the site");
            assert!(member.dev_nonce.is_none_or(|last| last < joined.dev_nonce), "compare and set");
            (member.dev_nonce, member.join_nonce) = (Some(joined.dev_nonce), joined.join_nonce);
            member.dev_addr = Some(joined.dev_addr);
            for (_, earlier) in self.sessions.range_mut(of(session.dev_eui)) {
                if earlier.state == SessionState::Pending {
                    earlier.state = SessionState::Closed;
                }
            }
            let kept = KeptSession {
                join_nonce: joined.join_nonce,
                dev_nonce: joined.dev_nonce,
                typed: None,
                dev_addr: joined.dev_addr,
                state: SessionState::Pending,
                last_up: None,
                last_down: None,
                last_heard: received.arrived_at,
                rx1_delay_s: joined.rx1_delay_s,
                accepted: Vec::new(),
                request: Some((received.arrived_at, received.bytes.clone())),
            };
            assert!(self.sessions.insert(session, kept).is_none(), "a nonce of the network twice");
        }
        let Some(uplink) = &heard.uplink else { return };
        if uplink.opens {
            for (_, other) in self.sessions.range_mut(of(session.dev_eui)) {
                if other.state == SessionState::Open {
                    other.state = SessionState::Closed;
                }
            }
        }
        let kept = self.sessions.get_mut(&session).expect("its session was kept before");
        if uplink.opens {
            kept.state = SessionState::Open;
        }
        assert_eq!(kept.state, SessionState::Open);
        if heard.verdict == Verdict::New {
            assert!(kept.last_up.is_none_or(|last| last < uplink.fcnt));
            (kept.last_up, kept.last_heard) = (Some(uplink.fcnt), received.arrived_at);
        }
        let before = self.accepted.insert((session, uplink.fcnt), received.bytes.clone());
        assert_eq!(before, None, "counter {} of {session:?} twice", uplink.fcnt);
    }

    fn restore(&self, network: &mut Network<Box<dyn FnMut() -> DevAddr>>, dev_eui: DevEui) {
        let sessions = self.sessions.range(of(dev_eui)).rev().take(6).map(|(id, kept)| {
            let frames = self.accepted.range((*id, 0)..=(*id, u32::MAX)).rev().take(100);
            let accepted = frames.map(|((_, fcnt), bytes)| (*fcnt, bytes.clone())).collect();
            KeptSession { accepted, ..kept.clone() }
        });
        network.restore(self.nodes[&dev_eui].clone(), sessions.collect());
    }
}

fn of(dev_eui: DevEui) -> std::ops::RangeInclusive<SessionId> {
    SessionId { dev_eui, join_nonce: 0 }..=SessionId { dev_eui, join_nonce: u32::MAX }
}

/// What happens at a moment.
enum Event {
    /// A device transmits.
    Transmission,
    /// A datagram arrives.
    Arrival(Received),
    /// The batch is written.
    Commit,
    /// The program is killed and started again.
    Restart,
    /// A gateway is asked to send, and answers.
    Asked(Downlink, u64),
    /// What a gateway says reaches us.
    Word(u64, DownlinkNumber, Option<&'static str>),
    /// A device listens.
    Listens(Downlink),
    Tick,
}

struct World {
    chance: Chance,
    now: Moment,
    /// What the computer's clock is off.
    off: Moment,
    number: u64,
    events: BTreeMap<(Moment, u64), Event>,
    devices: Vec<Device>,
    network: Network<Box<dyn FnMut() -> DevAddr>>,
    /// Of the program's life: what a gateway says to an earlier life is not understood.
    life: u64,
    batch: Vec<(Received, Heard)>,
    log: Log,
    /// Every uplink as devices sent it.
    truth: BTreeSet<Vec<u8>>,
    /// What really left: counter and bytes by session.
    left: BTreeMap<(SessionId, Option<u32>), Vec<u8>>,
    on_air: Vec<(GatewayEui, u32, Moment, Moment)>,
    /// What each gateway's datagrams brought, and when.
    arrived: BTreeMap<(GatewayEui, Moment), Vec<Vec<u8>>>,
    /// Frames whose row is on the disk.
    kept: BTreeSet<Vec<u8>>,
    left_to_send: usize,
    /// Whether the computer's clock is set now and then.
    steps_clock: bool,
    counts: BTreeMap<&'static str, u64>,
}

impl World {
    fn new(seed: u64) -> Self {
        let devices: Vec<Device> = (1..=DEVICES).map(Device::new).collect();
        let nodes = devices.iter().map(|device| (device.dev_eui, device.member(Plan::default()))).collect();
        let log = Log { nodes, ..Log::default() };
        let mut world = Self {
            chance: Chance(seed),
            now: START,
            off: 0,
            number: 0,
            events: BTreeMap::new(),
            devices,
            network: network(&log, START),
            life: 0,
            batch: Vec::new(),
            log,
            truth: BTreeSet::new(),
            left: BTreeMap::new(),
            on_air: Vec::new(),
            arrived: BTreeMap::new(),
            kept: BTreeSet::new(),
            left_to_send: TRANSMISSIONS,
            // A program that is started anew can't know what its clock showed before: not both in one world.
            steps_clock: seed.is_multiple_of(2),
            counts: BTreeMap::new(),
        };
        world.after(0, Event::Transmission);
        world
    }

    fn after(&mut self, wait: Moment, event: Event) {
        self.number += 1;
        self.events.insert((self.now + wait, self.number), event);
    }

    /// What the computer's clock shows.
    fn clock(&self) -> Moment {
        self.now + self.off
    }

    fn count(&mut self, what: &'static str) {
        *self.counts.entry(what).or_default() += 1;
    }

    fn within(&mut self, most: Moment) -> Moment {
        Moment::try_from(self.chance.below(most.cast_unsigned() + 1)).expect("it is below a moment")
    }

    fn run(&mut self) {
        while let Some(((at, _), event)) = self.events.pop_first() {
            self.now = self.now.max(at);
            match event {
                Event::Transmission => self.transmission(),
                Event::Arrival(received) => self.arrival(received),
                Event::Commit => self.commit(),
                Event::Restart => self.restart(),
                Event::Asked(downlink, life) => self.asked(downlink, life),
                Event::Word(life, number, word) if life == self.life => {
                    let effects = self.network.told(number, word, self.now + self.off);
                    self.act(effects);
                }
                Event::Word(..) => self.count("words to an earlier life"),
                Event::Listens(downlink) => self.listens(&downlink),
                Event::Tick => {
                    let effects = self.network.tick(self.now + self.off);
                    self.act(effects);
                }
            }
        }
    }

    /// A device joins or reports, and sometimes repeats; gateways hear what they can.
    fn transmission(&mut self) {
        self.left_to_send -= 1;
        if self.left_to_send > 0 {
            let wait = 2 * SECOND + self.within(15 * SECOND);
            self.after(wait, Event::Transmission);
        }
        if !self.steps_clock && self.chance.percent(2) {
            let wait = self.within(5 * SECOND);
            self.after(wait, Event::Restart);
        }
        if self.steps_clock && self.chance.percent(1) {
            self.count("clock set");
            self.off += self.within(8 * 3600 * SECOND) - 4 * 3600 * SECOND;
        }
        let number = usize::try_from(self.chance.below(u64::from(DEVICES))).expect("few");
        let joins = self.devices[number].session.is_none() || self.chance.percent(2);
        let confirmed = self.chance.percent(50);
        let device = &mut self.devices[number];
        let bytes = if joins {
            device.request()
        } else {
            let commands: &[UplinkCommand] = if confirmed { &[] } else { &[UplinkCommand::LinkCheckReq] };
            device.sends(confirmed, FrameControl::default().with_adr(), commands)
        };
        self.truth.insert(bytes.clone());
        self.heard(&bytes, 0);
        if !joins && self.chance.percent(20) {
            let wait = 3 * SECOND + self.within(2 * SECOND);
            self.heard(&bytes, wait);
        }
        if self.chance.percent(5) {
            let dev_eui = self.devices[number].dev_eui;
            let message = Message { number: self.number, port: 2, payload: vec![1, 2, 3] };
            self.network.tell(dev_eui, message).expect("it is known");
        }
    }

    /// Copies of a frame arrive: late, twice, damaged, played back, or not at all.
    fn heard(&mut self, bytes: &[u8], wait: Moment) {
        for number in 1..=3 {
            if self.chance.percent(30) {
                continue;
            }
            let mut heard = bytes.to_vec();
            if self.chance.percent(5) {
                let bit = usize::try_from(self.chance.below(8 * heard.len() as u64)).expect("few");
                heard[bit / 8] ^= 1 << (bit % 8);
            }
            let snr_db = self.chance.below(30) as f64 - 20.0;
            let received = copy(&heard, number, self.now + wait, snr_db);
            let mut way = self.within(200_000);
            if self.chance.percent(5) {
                way += self.within(60 * SECOND);
            }
            let arrives = |way: Moment, received: &Received| Received {
                arrived_at: received.arrived_at + way,
                ..received.clone()
            };
            self.after(wait + way, Event::Arrival(arrives(way, &received)));
            if self.chance.percent(10) {
                let again = way + self.within(1000 * SECOND);
                self.after(wait + again, Event::Arrival(arrives(again, &received)));
            }
        }
    }

    fn arrival(&mut self, received: Received) {
        let received = Received { arrived_at: self.clock(), ..received };
        let heard = self.network.hear(&received);
        let place = (received.gateway, received.arrived_at);
        self.arrived.entry(place).or_default().push(received.bytes.clone());
        if heard.uplink.is_some() {
            assert!(self.truth.contains(&received.bytes), "no forgery is accepted");
        }
        if self.batch.is_empty() {
            // A disk that is busy takes longer than a window stays open.
            let slow = if self.chance.percent(10) { 3 * SECOND } else { 40_000 };
            let wait = self.within(slow);
            self.after(wait, Event::Commit);
        }
        self.batch.push((received, heard));
    }

    /// The batch is written; now and then one of its rows can't be, and its device is put back to what the log holds.
    fn commit(&mut self) {
        let batch = std::mem::take(&mut self.batch);
        let bad = self.chance.percent(3).then(|| self.chance.below(batch.len() as u64));
        let bad = bad.and_then(|place| batch.get(usize::try_from(place).ok()?)?.1.dev_eui);
        for (received, heard) in batch {
            if bad.is_some() && heard.dev_eui == bad {
                self.count("rows that can't be kept");
                continue;
            }
            self.log.keep(&received, &heard);
            self.kept.insert(received.bytes);
            self.network.kept(heard.frame);
        }
        if let Some(dev_eui) = bad {
            self.log.restore(&mut self.network, dev_eui);
        }
        let effects = self.network.tick(self.clock());
        self.act(effects);
    }

    fn restart(&mut self) {
        self.count("restarts");
        self.life += 1;
        self.batch.clear();
        self.events.retain(|_, event| !matches!(event, Event::Commit | Event::Tick));
        self.network = network(&self.log, self.clock());
    }

    /// Rows of effects are kept, then the gateway is asked; a row that is not kept has no effect.
    fn act(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            match effect {
                Effect::Send(downlink) => {
                    self.is_timely(&downlink);
                    if self.chance.percent(3) {
                        self.count("downlinks that can't be kept");
                        continue;
                    }
                    let session = downlink.session;
                    match downlink.fcnt {
                        Some(fcnt) => {
                            assert!(self.log.downlinks.insert((session, fcnt)), "a downlink's counter twice");
                            let kept = self.log.sessions.get_mut(&session).expect("a session that was kept");
                            assert!(kept.last_down.is_none_or(|last| last < fcnt), "a counter goes back");
                            kept.last_down = Some(fcnt);
                        }
                        None => assert!(
                            self.log.sessions.contains_key(&session),
                            "a join-accept before its session is kept"
                        ),
                    }
                    self.ask(downlink);
                }
                Effect::SendAgain(downlink) => {
                    self.count("second windows after a word");
                    self.ask(downlink);
                }
                Effect::NotSent { .. } => self.count("answers that were due and not sent"),
                Effect::Settled(..) => {}
                Effect::News(..) => self.count("news"),
            }
        }
        if let Some(next) = self.network.next_tick() {
            self.after((next - self.clock()).max(0), Event::Tick);
        }
    }

    /// It leaves in a window of a frame that is kept: 1 or 2 s after it, 5 or 6 s after a join-request.
    fn is_timely(&self, downlink: &Downlink) {
        let (first, second) = if downlink.fcnt.is_none() { (5, 6) } else { (1, 2) };
        let delay = SECOND * if downlink.window == Window::First { first } else { second };
        let heard_at = downlink.leaves_at - delay;
        let of_gateway = self.arrived.get(&(downlink.gateway, heard_at));
        let answered = of_gateway.into_iter().flatten().any(|bytes| self.kept.contains(bytes));
        assert!(answered, "{downlink:?} answers nothing that was kept");
    }

    fn ask(&mut self, downlink: Downlink) {
        self.log.asked.push((
            downlink.gateway,
            downlink.frequency_hz,
            downlink.leaves_at,
            downlink.airtime_us,
        ));
        let way = self.within(100_000);
        self.after(way, Event::Asked(downlink, self.life));
    }

    fn asked(&mut self, downlink: Downlink, life: u64) {
        let [.., number] = downlink.gateway.to_display_bytes();
        let ahead = downlink.clock_us.wrapping_sub(valley::clock(number, self.now)).cast_signed();
        let leaves_at = self.now + Moment::from(ahead);
        let chance = self.chance.below(100);
        let word = match () {
            () if ahead < 30_000 => Some("TOO_LATE"),
            () if chance < 4 => Some("COLLISION_PACKET"),
            () if chance < 6 => Some("TX_FREQ"),
            () => None,
        };
        if chance < 95 {
            let wait = self.within(50_000);
            self.after(wait, Event::Word(life, downlink.number, word));
        }
        if word.is_none() {
            let before = self.left.insert((downlink.session, downlink.fcnt), downlink.bytes.clone());
            assert!(before.is_none_or(|before| before == downlink.bytes), "other bytes under one counter");
            let (from, until) = (leaves_at, leaves_at + downlink.airtime_us);
            self.on_air.push((downlink.gateway, downlink.frequency_hz, from, until));
            self.count(if downlink.window == Window::First { "first windows" } else { "second windows" });
            self.after(Moment::from(ahead), Event::Listens(downlink));
        }
    }

    fn listens(&mut self, downlink: &Downlink) {
        if self.chance.percent(20) {
            return;
        }
        let dev_eui = downlink.session.dev_eui;
        let device =
            self.devices.iter_mut().find(|device| device.dev_eui == dev_eui).expect("a device of the site");
        let understood = if downlink.fcnt.is_none() {
            device.joins(&downlink.bytes)
        } else {
            device.hears(&downlink.bytes).is_some()
        };
        self.count(if understood { "downlinks understood" } else { "downlinks not understood" });
    }

    /// What must hold at the end.
    fn judge(&self) {
        for ((session, fcnt), bytes) in &self.log.accepted {
            assert!(self.truth.contains(bytes), "{session:?} {fcnt} was never sent");
        }
        // EN 300 220-2 V3.3.1, table 4: 1 % of an hour from 868.0 to 868.6 MHz, 10 % from 869.4 to 869.65 MHz.
        for (low, high, most) in
            [(868_000_000, 868_600_000, 36 * SECOND), (869_400_000, 869_650_000, 360 * SECOND)]
        {
            for number in 1..=3 {
                let ours = self
                    .on_air
                    .iter()
                    .filter(|(eui, hertz, ..)| *eui == gateway(number) && (low..high).contains(hertz));
                let mut ours: Vec<(Moment, Moment)> = ours.map(|(.., from, until)| (*from, *until)).collect();
                ours.sort_unstable();
                for (_, end) in &ours {
                    let begin = end - 3600 * SECOND;
                    let within = ours.iter().map(|(from, until)| (until.min(end) - from.max(&begin)).max(0));
                    let sum: Moment = within.sum();
                    assert!(sum <= most, "gateway {number}: {sum} us in an hour, {most} allowed");
                }
            }
        }
    }
}

/// A network as it is built at a start.
fn network(log: &Log, now: Moment) -> Network<Box<dyn FnMut() -> DevAddr>> {
    let mut network = Network::new(setup("EU868", Answers::All), [], Box::new(valley::addresses()) as _);
    for dev_eui in log.nodes.keys() {
        log.restore(&mut network, *dev_eui);
    }
    for (gateway, frequency_hz, at, airtime_us) in &log.asked {
        if *at + *airtime_us > now - 3600 * SECOND {
            network.sent_before(*gateway, *frequency_hz, *at, *airtime_us);
        }
    }
    network
}

fn from_environment(name: &str, usual: u64) -> u64 {
    env::var(name)
        .map_or(usual, |text| text.parse().unwrap_or_else(|_| panic!("{name} is a number, not {text}")))
}

/// Says something that must be seen even if the test passes.
fn say(text: &str) {
    let _unseen = writeln!(std::io::stderr(), "{text}");
}

#[test]
fn whatever_is_lost_doubled_late_forged_or_interrupted_nothing_is_said_twice_or_too_early() {
    let (first, seeds) = (from_environment(FIRST, 1), from_environment(SEEDS, 25));
    let mut counts: BTreeMap<&'static str, u64> = BTreeMap::new();
    for seed in first..first + seeds {
        let mut world = World::new(seed);
        let end = catch_unwind(AssertUnwindSafe(|| {
            world.run();
            world.judge();
        }));
        if let Err(panic) = end {
            say(&format!(
                "seed {seed} fails: {FIRST}={seed} {SEEDS}=1 cargo test --package overwinter-logbook --test simulation"
            ));
            resume_unwind(panic);
        }
        world.counts.insert("uplinks accepted", world.log.accepted.len() as u64);
        world.counts.insert("steps", world.number);
        for (what, count) in world.counts {
            *counts.entry(what).or_default() += count;
        }
    }
    say(&format!("{seeds} worlds: {counts:?}"));
    // The world tries what it says it tries.
    for what in [
        "restarts",
        "clock set",
        "rows that can't be kept",
        "downlinks that can't be kept",
        "second windows after a word",
        "first windows",
        "second windows",
        "downlinks understood",
        "answers that were due and not sent",
        "words to an earlier life",
        "news",
    ] {
        assert!(counts.get(what).is_some_and(|count| *count > 0), "{what}: {counts:?}");
    }
    assert!(counts["uplinks accepted"] > 100 * seeds, "{counts:?}");
    assert!(
        counts["downlinks understood"] > 5 * counts.get("downlinks not understood").copied().unwrap_or(0),
        "{counts:?}"
    );
}

/// Whatever comes of a session within 64 counters is accepted, each once, in any order and however often.
#[test]
fn any_order_and_any_doubling_of_a_set_of_frames_ends_in_the_same_accepted_set() {
    for seed in 0..40 {
        let mut chance = Chance(seed);
        let mut device = Device::new(1);
        let mut network = Network::new(
            setup("EU868", Answers::Never),
            [device.member(Plan::default())],
            valley::addresses(),
        );
        let request = device.request();
        let joined = network.hear(&copy(&request, 1, START, 0.0)).joined.expect("it joins");
        assert!(device.joins(&joined.accept));
        device.up = u32::try_from(chance.below(1000)).expect("few") * 65;
        let count = 1 + chance.below(65);
        let frames: Vec<Vec<u8>> = (0..count).map(|_| device.says(&[])).collect();
        let mut copies: Vec<(u8, &Vec<u8>)> = Vec::new();
        for frame in &frames {
            for _ in 0..=chance.below(3) {
                copies.push((u8::try_from(1 + chance.below(3)).expect("few"), frame));
            }
        }
        for last in (1..copies.len()).rev() {
            copies.swap(last, usize::try_from(chance.below(last as u64 + 1)).expect("few"));
        }
        let mut accepted = BTreeSet::new();
        for (place, (number, bytes)) in copies.iter().enumerate() {
            let at = START + SECOND * i64::try_from(10 + place).expect("few");
            let heard = network.hear(&copy(bytes, *number, at, 0.0));
            match (&heard.verdict, heard.uplink) {
                (Verdict::New | Verdict::Late, Some(uplink)) => {
                    assert!(accepted.insert(uplink.fcnt), "seed {seed}: twice");
                }
                (Verdict::Copy, None) => {}
                other => panic!("seed {seed}: {other:?}"),
            }
        }
        assert_eq!(accepted.len() as u64, count, "seed {seed}");
    }
}
