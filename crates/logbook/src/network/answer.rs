//! Answers: which uplink gets one, from which gateway, in which window, and what is in it.

use std::collections::BTreeMap;

use design::quantity::{Decibels, Frequency};
use wire::frame::{Body, Port};
use wire::identity::{DevEui, GatewayEui};

use super::budget::{Budget, Granted, Wanted};
use super::compose::{Content, Form, Heard, Why, accepts, contents};
use super::conversation::{News, Used};
use super::device::Device;
use super::gathering::{Due, Gathering, Gatherings};
use super::kept::SessionId;
use super::windows::{self, JOIN_DELAY_S, Listening, SECOND, SECOND_AFTER_FIRST, Window};
use super::{Setup, Station};
use crate::received::{Moment, Radio, StationClock};

/// Without word of a downlink for so long, its fate is not known.
const WORD_WITHIN: Moment = 10 * SECOND;
/// An uplink whose row is not kept for so long is answered no more; its windows are long over.
const KEPT_WITHIN: Moment = 30 * SECOND;

/// A gateway is asked so long before it sends \[us\]: by datagrams, and by a websocket (own choice; the queue of the
/// reference forwarder wants 30 ms).
const LEAD_UDP: Moment = 80_000;
const LEAD_WEBSOCKET: Moment = 200_000;

const fn lead(station: Option<StationClock>) -> Moment {
    if station.is_some() { LEAD_WEBSOCKET } else { LEAD_UDP }
}

/// Number of a downlink: of this run of the program.
pub type DownlinkNumber = u64;

/// A frame for a gateway to send.
#[derive(Clone, Debug, PartialEq)]
pub struct Downlink {
    /// Its number.
    pub number: DownlinkNumber,
    /// The session that it is sent in; of a join-accept, the one that it opens.
    pub session: SessionId,
    /// Its counter; a join-accept has none.
    pub fcnt: Option<u32>,
    /// Who sends it.
    pub gateway: GatewayEui,
    /// When, by the gateway's own clock modulo 2^32 \[us\].
    pub clock_us: u32,
    /// The frame that it answers, as a gateway on a websocket names it.
    pub station: Option<StationClock>,
    /// From that frame to the first window \[s\].
    pub first_window_s: u8,
    /// When, by ours: the device listens then.
    pub leaves_at: Moment,
    /// In which window.
    pub window: Window,
    /// Centre of the channel \[Hz\].
    pub frequency_hz: u32,
    /// Data rate as the region numbers it.
    pub data_rate: u8,
    /// Data rate as gateways name it.
    pub rate_name: String,
    /// Time on air \[us\].
    pub airtime_us: Moment,
    /// Radiated power, rounded down \[dBm EIRP\].
    pub eirp_dbm: i8,
    /// The frame.
    pub bytes: Vec<u8>,
    /// Why.
    pub why: Why,
    /// Number of the message in it.
    pub message: Option<u64>,
}

/// What became of a downlink.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The gateway has sent it, or taken it to be sent.
    Sent,
    /// The gateway refused it in this word.
    Refused(String),
    /// No word came within 10 s.
    Unknown,
}

/// Why nothing was sent though something was due.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Prevented {
    /// It fits in no window.
    TooLong,
    /// No gateway could make a window any more, or none that heard it can send.
    TooLate,
    /// The hour's share of the law is used up.
    NoBudget,
    /// The law that was seen never allows it.
    Unlawful,
}

impl Prevented {
    /// The word of the column `outcome`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::TooLate => "too-late",
            Self::TooLong => "too-long",
            Self::NoBudget => "no-budget",
            Self::Unlawful => "unlawful",
        }
    }
}

/// What is to be kept and done, in this order.
#[derive(Clone, Debug, PartialEq)]
pub enum Effect {
    /// Keep the row, and raise `last_down` with it; then send.
    Send(Downlink),
    /// The gateway could not make the first window: keep the change of the row, then send the same frame in the second.
    SendAgain(Downlink),
    /// A row gets its outcome.
    Settled(DownlinkNumber, Outcome),
    /// A row without a frame: something was due, and could not be sent.
    NotSent {
        /// The session; of a join-accept, the one that it would have opened.
        session: SessionId,
        /// What was due.
        why: Why,
        /// What prevented it.
        prevented: Prevented,
    },
    /// What a device has answered, or not.
    News(DevEui, News),
}

/// What is on its way to a gateway.
#[derive(Debug)]
struct OnItsWay {
    downlink: Downlink,
    asked_at: Moment,
    /// The second window, if the gateway may still be asked for it.
    second: Option<Listening>,
}

/// Everything between hearing and answering.
#[derive(Debug)]
pub(super) struct Answering {
    pub(super) gatherings: Gatherings,
    pub(super) budget: Budget,
    on_its_way: BTreeMap<DownlinkNumber, OnItsWay>,
    next: DownlinkNumber,
}

impl Answering {
    pub(super) fn new(budget: Budget) -> Self {
        Self { gatherings: Gatherings::default(), budget, on_its_way: BTreeMap::new(), next: 1 }
    }

    /// When [`Self::tick`] has something to do, if nothing else happens.
    pub(super) fn next_tick(&self, gather: Moment) -> Option<Moment> {
        let due = |one: &Gathering| one.first_at + if one.kept { gather } else { KEPT_WITHIN };
        let silent = self.on_its_way.values().map(|one| one.asked_at + WORD_WITHIN);
        self.gatherings.iter().map(due).chain(silent).min()
    }

    /// Answers what is gathered and kept.
    pub(super) fn tick(
        &mut self,
        setup: &Setup,
        devices: &mut BTreeMap<DevEui, Device>,
        now: Moment,
    ) -> Vec<Effect> {
        let mut effects = self.silent(now);
        let mut ready = self.gatherings.take(|one| one.kept && now >= one.first_at + setup.gather);
        drop(self.gatherings.take(|one| !one.kept && now >= one.first_at + KEPT_WITHIN));
        ready.sort_by_key(|one| (rank(one), one.first_at, one.frame));
        for gathering in ready {
            if let Some(device) = devices.get_mut(&gathering.due.session().dev_eui) {
                self.answer(setup, device, gathering, now, &mut effects);
            }
        }
        effects
    }

    fn silent(&mut self, now: Moment) -> Vec<Effect> {
        let over = self.on_its_way.extract_if(.., |_, one| now >= one.asked_at + WORD_WITHIN);
        over.map(|(number, _)| Effect::Settled(number, Outcome::Unknown)).collect()
    }

    fn answer(
        &mut self,
        setup: &Setup,
        device: &mut Device,
        gathering: Gathering,
        now: Moment,
        effects: &mut Vec<Effect>,
    ) {
        let Gathering { due, mut copies, .. } = gathering;
        let quality = |one: &Heard| one.radio.snr_db.unwrap_or(f64::NEG_INFINITY);
        copies.sort_by(|one, other| {
            quality(other).total_cmp(&quality(one)).then(one.gateway.cmp(&other.gateway))
        });
        let Some(best) = copies.first() else { return };
        let listening = windows::after(&setup.region, &best.radio);
        let session = due.session();
        let (delay_s, due) = match due {
            Due::Accept { bytes, .. } => (JOIN_DELAY_S, Some((Why::Join, accepts(&bytes, &listening)))),
            Due::Answer { wants, adapts, again, .. } => {
                let Some(delay_s) = device.delay_s().filter(|_| device.speaks_in(session)) else { return };
                if !again {
                    let used = used(setup, best, adapts, delay_s);
                    effects.extend(converse(setup, device, best, used, now));
                }
                (delay_s, contents(setup, device, wants, again, &copies, &listening))
            }
        };
        let Some((why, contents)) = due else { return };
        let delay = Moment::from(delay_s) * SECOND;
        let placed = self.place(setup, &copies, &listening, contents, delay, now);
        effects.extend(match placed {
            Ok((slot, content, second)) => self.send(device, session, content, &slot, second, now),
            Err(prevented) => {
                // It counts as a try, so that the person hears of it.
                device.conversation.went(false, (why, prevented) == (Why::Message, Prevented::TooLong));
                Some(Effect::NotSent { session, why, prevented })
            }
        });
    }

    /// The first window and the best gateway that can and may send.
    fn place<'a>(
        &mut self,
        setup: &Setup,
        copies: &'a [Heard],
        listening: &[Listening],
        contents: Vec<Option<Content>>,
        first_delay: Moment,
        now: Moment,
    ) -> Result<(Slot<'a>, Content, Option<Listening>), Prevented> {
        let mut prevented = Prevented::TooLong;
        for (place, (one, content)) in listening.iter().zip(contents).enumerate() {
            let Some(content) = content else { continue };
            let delay = first_delay + if one.window == Window::Second { SECOND_AFTER_FIRST } else { 0 };
            for copy in copies {
                match self.grant(setup, copy, *one, &content, delay, now) {
                    Ok((eirp, airtime)) => {
                        let second = listening.get(place + 1).copied();
                        return Ok((Slot { copy, listening: *one, delay, eirp, airtime }, content, second));
                    }
                    Err(cause) => prevented = prevented.max(cause),
                }
            }
        }
        Err(prevented)
    }

    /// Whether a gateway can and may send in a window; if so, it is counted.
    fn grant(
        &mut self,
        setup: &Setup,
        copy: &Heard,
        listening: Listening,
        content: &Content,
        delay: Moment,
        now: Moment,
    ) -> Result<(f64, Moment), Prevented> {
        let station = setup.station(copy.gateway).ok_or(Prevented::TooLate)?;
        let leaves_at = copy.arrived_at + delay;
        if copy.radio.clock_us.is_none() || now + lead(copy.radio.station) > leaves_at {
            return Err(Prevented::TooLate);
        }
        let airtime = listening.airtime(content.length).ok_or(Prevented::Unlawful)?;
        let wanted = Wanted {
            frequency: listening.frequency,
            bandwidth: listening.bandwidth,
            from: leaves_at,
            airtime,
            share: content.why.share(),
        };
        match self.budget.take(station, wanted) {
            Granted::Eirp(eirp) => Ok((eirp, airtime)),
            Granted::Later => Err(Prevented::NoBudget),
            Granted::Never => Err(Prevented::Unlawful),
        }
    }

    fn send(
        &mut self,
        device: &mut Device,
        session: SessionId,
        content: Content,
        slot: &Slot<'_>,
        second: Option<Listening>,
        now: Moment,
    ) -> Option<Effect> {
        let (fcnt, bytes, message) = match content.form {
            Form::Sealed(bytes) => (None, bytes, None),
            Form::Draft { control, options, commands, message, questions } => {
                let told = device.conversation.message().map(|(told, _)| told.clone());
                let told = told.filter(|told| Some(told.number) == message);
                let body = match (&told, commands.is_empty()) {
                    (Some(told), _) => Body::Application {
                        port: Port::new(told.port)?,
                        payload: &told.payload,
                        options: &options,
                    },
                    (None, false) => Body::Commands(&commands),
                    (None, true) => Body::Empty { options: &options },
                };
                let (fcnt, bytes) = device.seal(told.is_some(), control, body)?.ok()?;
                device.conversation.went(questions, told.is_some());
                (Some(fcnt), bytes, told.map(|told| told.number))
            }
        };
        let number = self.next;
        self.next += 1;
        let downlink = slot.downlink(number, session, fcnt, bytes, content.why, message);
        let second = second.filter(|_| downlink.window == Window::First);
        self.on_its_way.insert(number, OnItsWay { downlink: downlink.clone(), asked_at: now, second });
        Some(Effect::Send(downlink))
    }

    /// A gateway says what became of a downlink; if it could not make the first window, the second is tried.
    pub(super) fn told(
        &mut self,
        setup: &Setup,
        number: DownlinkNumber,
        refused: Option<&str>,
        now: Moment,
    ) -> Vec<Effect> {
        let Some(OnItsWay { downlink, second, .. }) = self.on_its_way.remove(&number) else {
            return Vec::new();
        };
        let Some(word) = refused else { return vec![Effect::Settled(number, Outcome::Sent)] };
        self.budget.give_back(downlink.gateway, downlink.leaves_at, downlink.airtime_us);
        let again = second.filter(|_| word == "TOO_LATE" || word.starts_with("COLLISION"));
        match again.and_then(|second| self.moved(setup, &downlink, second, now)) {
            Some(moved) => {
                let on_its_way = OnItsWay { downlink: moved.clone(), asked_at: now, second: None };
                self.on_its_way.insert(number, on_its_way);
                vec![Effect::SendAgain(moved)]
            }
            None => vec![Effect::Settled(number, Outcome::Refused(word.to_owned()))],
        }
    }

    /// The same frame in the second window of the same gateway.
    fn moved(&mut self, setup: &Setup, first: &Downlink, second: Listening, now: Moment) -> Option<Downlink> {
        let station = setup.station(first.gateway)?;
        let leaves_at = first.leaves_at + SECOND_AFTER_FIRST;
        if now + lead(first.station) > leaves_at || !second.fits(first.bytes.len()) {
            return None;
        }
        let airtime = second.airtime(first.bytes.len())?;
        let wanted = Wanted {
            frequency: second.frequency,
            bandwidth: second.bandwidth,
            from: leaves_at,
            airtime,
            share: first.why.share(),
        };
        let Granted::Eirp(eirp) = self.budget.take(station, wanted) else { return None };
        Some(Downlink {
            clock_us: later(first.clock_us, SECOND_AFTER_FIRST),
            leaves_at,
            window: Window::Second,
            frequency_hz: hertz(second.frequency),
            data_rate: second.data_rate,
            rate_name: second.rate_name(),
            airtime_us: airtime,
            eirp_dbm: whole_dbm(eirp),
            ..first.clone()
        })
    }

    /// A gateway's clock and ours stand otherwise than before: nothing that it heard before can be answered by it.
    pub(super) fn restarted(&mut self, gateway: GatewayEui, now: Moment) {
        self.budget.clock_jumped(gateway, now);
        for gathering in self.gatherings.iter_mut() {
            let copies = gathering.copies.iter_mut().filter(|copy| copy.gateway == gateway);
            copies.for_each(|copy| copy.radio.clock_us = None);
        }
    }

    /// What is awaited of a device is given up.
    pub(super) fn forget(&mut self, dev_eui: DevEui) {
        drop(self.gatherings.take(|one| one.due.session().dev_eui == dev_eui));
    }
}

/// Where and when a frame goes.
struct Slot<'a> {
    copy: &'a Heard,
    listening: Listening,
    delay: Moment,
    eirp: f64,
    airtime: Moment,
}

impl Slot<'_> {
    fn first_delay(&self) -> Moment {
        self.delay - if self.listening.window == Window::Second { SECOND_AFTER_FIRST } else { 0 }
    }

    fn downlink(
        &self,
        number: DownlinkNumber,
        session: SessionId,
        fcnt: Option<u32>,
        bytes: Vec<u8>,
        why: Why,
        message: Option<u64>,
    ) -> Downlink {
        Downlink {
            number,
            session,
            fcnt,
            gateway: self.copy.gateway,
            clock_us: later(
                self.copy.radio.clock_us.expect("it was granted to a gateway with a clock"),
                self.delay,
            ),
            station: self.copy.radio.station,
            first_window_s: u8::try_from(self.first_delay() / SECOND).expect("1 to 15 s"),
            leaves_at: self.copy.arrived_at + self.delay,
            window: self.listening.window,
            frequency_hz: hertz(self.listening.frequency),
            data_rate: self.listening.data_rate,
            rate_name: self.listening.rate_name(),
            airtime_us: self.airtime,
            eirp_dbm: whole_dbm(self.eirp),
            bytes,
            why,
            message,
        }
    }
}

/// Who goes first.
fn rank(gathering: &Gathering) -> Why {
    match &gathering.due {
        Due::Accept { .. } => Why::Join,
        Due::Answer { again: true, .. } => Why::RepeatedAcknowledgement,
        Due::Answer { wants, .. } if wants.any_answer => Why::Lifeline,
        Due::Answer { wants, .. } if wants.acknowledgement => Why::Acknowledgement,
        Due::Answer { .. } => Why::Commands,
    }
}

fn used(setup: &Setup, best: &Heard, adapts: bool, delay_s: u8) -> Used {
    Used {
        rate: windows::data_rate(&setup.region, &best.radio),
        adapts,
        delay_to_be: Some(setup.rx1_delay_s).filter(|wanted| *wanted != delay_s),
    }
}

fn bandwidth(radio: &Radio) -> Frequency {
    let modulation = windows::modulation(&radio.data_rate);
    modulation
        .and_then(design::region::Modulation::occupied_bandwidth)
        .unwrap_or(Frequency::from_kilohertz(125.0))
}

/// Takes note of an uplink, and decides what to ask of its device.
fn converse(setup: &Setup, device: &mut Device, best: &Heard, used: Used, now: Moment) -> Vec<Effect> {
    if let Some(snr) = best.radio.snr_db {
        device.conversation.notes(Decibels::from_decibels(snr), bandwidth(&best.radio));
    }
    if !setup.answers_all() {
        return Vec::new();
    }
    let dev_eui = device.member.dev_eui;
    let news = device.conversation.decides(&setup.region, used, now);
    news.into_iter().map(|one| Effect::News(dev_eui, one)).collect()
}

/// A gateway's clock so much later.
fn later(clock_us: u32, delay: Moment) -> u32 {
    clock_us.wrapping_add(u32::try_from(delay).expect("delays are a few seconds"))
}

fn hertz(frequency: Frequency) -> u32 {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "channels lie below 4 GHz")]
    let hertz = frequency.hertz().round() as u32;
    hertz
}

fn whole_dbm(eirp: f64) -> i8 {
    #[expect(clippy::cast_possible_truncation, reason = "powers of gateways lie between -30 and 70 dBm")]
    let whole = eirp.floor() as i8;
    whole
}

impl Setup {
    fn station(&self, gateway: GatewayEui) -> Option<&Station> {
        self.stations.iter().find(|station| station.eui == gateway)
    }

    pub(super) fn answers_all(&self) -> bool {
        self.answers == design::serve::Answers::All
    }
}
