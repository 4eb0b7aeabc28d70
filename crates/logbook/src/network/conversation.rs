//! What device and network settle between themselves: answers that an uplink wants, and what the network asks for.

use std::collections::{BTreeSet, VecDeque};

use design::node::Design;
use design::quantity::{Decibels, Frequency};
use design::region::Region;
use forecast::radio::adr::{self, LISTENS_TO};
use forecast::radio::demodulation;
use wire::field::Bits;
use wire::mac::{CommandError, DownlinkCommand, UplinkCommand, uplink_commands};

use super::channels::rate_commands;
use super::kept::Member;
use super::{SECOND, Uplink};
use crate::received::Moment;

/// What is asked is repeated with so many uplinks.
const TRIES: u8 = 3;
/// Between two questions for battery and reception (own choice).
const STATUS_EVERY: Moment = 7 * 24 * 3600 * SECOND;

/// What the design of a device wants of the network.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// What is kept in hand when the data rate is adapted; `None`: it is fixed, or the device moves.
    pub adaptation_margin: Option<Decibels>,
    /// Data rates that may be asked for, ascending.
    pub allowed_rates: Vec<u8>,
    /// Channels that it sends on; empty: those of the region.
    pub channels: Vec<Frequency>,
    /// Whether the limit of 400 ms holds where the network sets it.
    pub dwell_limit: bool,
}

impl Plan {
    /// Of a design; one without a radio wants nothing.
    pub fn of(design: &Design) -> Self {
        let Some(radio) = &design.radio else { return Self::default() };
        let moves = design.diary.iter().any(|stay| stay.moving.is_some());
        Self {
            adaptation_margin: radio.adaptation_margin.filter(|_| !moves),
            allowed_rates: radio.allowed_rates.clone(),
            channels: radio.channels.clone(),
            dwell_limit: radio.dwell_limit,
        }
    }
}

/// Something that a person wants a device to be told.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Message {
    /// As the caller numbers it.
    pub number: u64,
    /// Its port, 1 to 223.
    pub port: u8,
    /// Its bytes in the clear.
    pub payload: Vec<u8>,
}

/// What a device has answered, or not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum News {
    /// It reports battery and reception: 0 is external power, 1 to 254 the charge, 255 not measured.
    Status {
        /// The battery.
        battery: u8,
        /// Signal to noise of the last question \[dB\].
        snr_db: i8,
    },
    /// It took what was asked.
    Took(Asked),
    /// It refused what was asked, which is not asked again in this session.
    Refused(Asked),
    /// It has acknowledged a message.
    Delivered {
        /// Its number.
        message: u64,
    },
    /// It did not answer to three downlinks.
    NoAnswer(Asked),
    /// It did not acknowledge a message in three downlinks.
    NotDelivered {
        /// Its number.
        message: u64,
    },
    /// Its MAC commands end in something that can't be read.
    Unreadable(CommandError),
}

/// What is asked of a device.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Asked {
    /// Another delay of the first window \[s\].
    Delay(u8),
    /// Whether the limit of 400 ms holds.
    Dwell(bool),
    /// Another data rate.
    Rate(u8),
    /// Battery and reception.
    Status,
}

/// What an uplink wants in answer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "an uplink may want any of them, each by itself")]
pub(super) struct Wants {
    pub(super) acknowledgement: bool,
    /// It is not sure to be heard: any answer will do, and none makes it slower.
    pub(super) any_answer: bool,
    pub(super) link_check: bool,
    pub(super) time: bool,
    /// It repeats an answer until it hears anything.
    pub(super) quiet: bool,
}

/// A question on its way.
#[derive(Clone, Debug)]
struct Ask {
    asked: Asked,
    commands: Vec<DownlinkCommand>,
}

#[derive(Debug)]
pub(super) struct Conversation {
    plan: Plan,
    /// Signal to noise of the last uplinks, as it would be in 125 kHz \[dB\].
    heard_db: VecDeque<f64>,
    since_asked: u32,
    refused: BTreeSet<Asked>,
    /// One set at a time, repeated until all of it is answered.
    asks: Vec<Ask>,
    tries: u8,
    dwell_settled: bool,
    last_status: Option<Moment>,
    messages: VecDeque<Message>,
    /// How often the first message was sent.
    sent: u8,
}

impl Conversation {
    pub(super) fn new(member: &Member) -> Self {
        Self {
            plan: member.plan.clone(),
            heard_db: VecDeque::new(),
            since_asked: 0,
            refused: BTreeSet::new(),
            asks: Vec::new(),
            tries: 0,
            dwell_settled: false,
            last_status: member.last_status,
            messages: VecDeque::new(),
            sent: 0,
        }
    }

    /// A new session: the device knows nothing of what was settled, and what was asked is asked again if need be.
    pub(super) fn begins_anew(&mut self) {
        self.heard_db.clear();
        self.refused.clear();
        self.asks.clear();
        (self.since_asked, self.tries, self.sent, self.dwell_settled) = (0, 0, 0, false);
    }

    pub(super) fn tell(&mut self, message: Message) {
        self.messages.push_back(message);
    }

    /// Reads what an uplink answers and wants.
    pub(super) fn hears(&mut self, uplink: &Uplink, at: Moment) -> (Wants, Vec<News>) {
        let mut wants = Wants {
            acknowledgement: uplink.confirmed,
            any_answer: uplink.control.adr_ack_request(),
            ..Wants::default()
        };
        let mut news = Vec::new();
        if uplink.control.ack()
            && self.sent > 0
            && let Some(message) = self.messages.pop_front()
        {
            self.sent = 0;
            news.push(News::Delivered { message: message.number });
        }
        for command in uplink_commands(&uplink.commands) {
            match command {
                Ok(command) => self.answered(command, at, &mut wants, &mut news),
                Err(error) => news.push(News::Unreadable(error)),
            }
        }
        (wants, news)
    }

    fn answered(&mut self, command: UplinkCommand, at: Moment, wants: &mut Wants, news: &mut Vec<News>) {
        let mut settle = |is: fn(&Asked) -> bool, taken: bool| {
            let Some(place) = self.asks.iter().position(|ask| is(&ask.asked)) else { return };
            let asked = self.asks.remove(place).asked;
            if taken {
                news.push(News::Took(asked));
            } else {
                self.refused.insert(asked);
                news.push(News::Refused(asked));
            }
        };
        match command {
            UplinkCommand::LinkCheckReq => wants.link_check = true,
            UplinkCommand::DeviceTimeReq => wants.time = true,
            UplinkCommand::LinkAdrAns { power_ok, data_rate_ok, channel_mask_ok } => {
                settle(|asked| matches!(asked, Asked::Rate(_)), power_ok && data_rate_ok && channel_mask_ok);
            }
            UplinkCommand::RxTimingSetupAns => {
                wants.quiet = true;
                settle(|asked| matches!(asked, Asked::Delay(_)), true);
            }
            UplinkCommand::TxParamSetupAns => {
                settle(|asked| matches!(asked, Asked::Dwell(_)), true);
                self.dwell_settled = true;
            }
            UplinkCommand::DevStatusAns { battery, snr_db } => {
                settle(|asked| *asked == Asked::Status, true);
                self.last_status = Some(at);
                news.push(News::Status { battery, snr_db });
            }
            UplinkCommand::RxParamSetupAns { .. } | UplinkCommand::DlChannelAns { .. } => wants.quiet = true,
            _ => {}
        }
    }

    /// Takes note of how well an uplink was heard at best.
    pub(super) fn notes(&mut self, snr: Decibels, bandwidth: Frequency) {
        self.heard_db.push_back(demodulation::snr_in_125_khz(snr, bandwidth).decibels());
        while self.heard_db.len() > LISTENS_TO as usize {
            self.heard_db.pop_front();
        }
        self.since_asked = self.since_asked.saturating_add(1);
    }

    /// Decides what to ask of a device that sent at this rate and lets its rate be adapted or not.
    pub(super) fn decides(&mut self, region: &Region, used: Used, at: Moment) -> Vec<News> {
        let mut news = Vec::new();
        if self.tries >= TRIES {
            news.extend(self.asks.drain(..).map(|ask| News::NoAnswer(ask.asked)));
            self.tries = 0;
        }
        if self.sent >= TRIES
            && let Some(message) = self.messages.pop_front()
        {
            self.sent = 0;
            news.push(News::NotDelivered { message: message.number });
        }
        if self.asks.is_empty() {
            self.tries = 0;
            self.collect(region, used, at);
        }
        news
    }

    fn collect(&mut self, region: &Region, used: Used, at: Moment) {
        if let Some(delay) = used.delay_to_be.and_then(Bits::new) {
            self.ask(Asked::Delay(delay.get()), vec![DownlinkCommand::RxTimingSetupReq { delay }]);
        }
        let limit = self.plan.dwell_limit;
        if region.dwell_is_set_by_command && !self.dwell_settled {
            let max_eirp = eirp_index(region);
            let command =
                DownlinkCommand::TxParamSetupReq { downlink_dwell: false, uplink_dwell: limit, max_eirp };
            self.ask(Asked::Dwell(limit), vec![command]);
        }
        if let Some(rate) = self.better_rate(region).filter(|rate| used.adapts && Some(*rate) != used.rate)
            && let Some(commands) = rate_commands(region, &self.plan.channels, rate)
        {
            self.ask(Asked::Rate(rate), commands);
        }
        // A week is counted from the last answer, or from when it was asked in vain.
        if self.last_status.is_none_or(|last| at - last >= STATUS_EVERY) {
            self.last_status = Some(at);
            self.ask(Asked::Status, vec![DownlinkCommand::DevStatusReq]);
        }
    }

    fn ask(&mut self, asked: Asked, commands: Vec<DownlinkCommand>) {
        if self.refused.contains(&asked) {
            return;
        }
        if matches!(asked, Asked::Rate(_)) {
            self.since_asked = 0;
        }
        self.asks.push(Ask { asked, commands });
    }

    /// The rate of the plan's own rule, after enough uplinks.
    fn better_rate(&self, region: &Region) -> Option<u8> {
        let kept = self.plan.adaptation_margin?;
        if self.since_asked < LISTENS_TO || self.heard_db.len() < LISTENS_TO as usize {
            return None;
        }
        let mean = Decibels::from_decibels(self.heard_db.iter().sum::<f64>() / self.heard_db.len() as f64);
        let margin = |rate: &u8| Some((*rate, demodulation::margin(region.modulation(*rate)?, mean)?));
        let margins: Vec<(u8, Decibels)> = self.plan.allowed_rates.iter().filter_map(margin).collect();
        adr::asked_for(&margins, kept)
    }

    /// The questions as they travel, each of which goes whole or not at all.
    pub(super) fn questions(&self) -> impl Iterator<Item = Vec<u8>> {
        self.asks.iter().map(|ask| {
            ask.commands.iter().fold(Vec::new(), |mut bytes, command| {
                command.encode(&mut bytes);
                bytes
            })
        })
    }

    /// The message that is to be sent, and whether others wait behind it.
    pub(super) fn message(&self) -> Option<(&Message, bool)> {
        self.messages.front().map(|first| (first, self.messages.len() > 1))
    }

    /// A downlink has gone with the questions, with the message, or with both.
    pub(super) fn went(&mut self, with_questions: bool, with_message: bool) {
        self.tries += u8::from(with_questions);
        self.sent += u8::from(with_message);
    }
}

/// How a device sent its uplink.
#[derive(Clone, Copy, Debug)]
pub(super) struct Used {
    pub(super) rate: Option<u8>,
    /// Whether it lets its rate be adapted.
    pub(super) adapts: bool,
    /// The delay of the first window \[s\] that it should use, if it uses another.
    pub(super) delay_to_be: Option<u8>,
}

/// The largest radiated power of the plan as `TXParamSetupReq` codes it, rounded down.
///
/// # References
/// TS001-1.0.4, clause 5.8, table of the maximal EIRP (values from memory).
fn eirp_index(region: &Region) -> Bits<4> {
    const DBM: [f64; 16] =
        [8.0, 10.0, 12.0, 13.0, 14.0, 16.0, 18.0, 20.0, 21.0, 24.0, 26.0, 27.0, 29.0, 30.0, 33.0, 36.0];
    let below = DBM.iter().filter(|dbm| **dbm <= region.largest_power.dbm()).count();
    u8::try_from(below.saturating_sub(1)).ok().and_then(Bits::new).unwrap_or_default()
}
