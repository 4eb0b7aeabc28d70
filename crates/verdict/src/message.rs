//! Messages on the air: what each byte costs at each data rate, and where one byte less costs less.
//!
//! The layout itself is `design::message`; this is what `check` says about it.

mod cliff;
mod learnable;
mod map;
mod text;

pub use cliff::{Cliff, Stair, cliff, room, stairs};
pub use learnable::{Extra, Lack, Learnable, Way, learnable};
pub use map::{Example, Row, rows};
pub use text::text_bytes;

use design::message::{Ceiling, Direction, Form, Message, Version};
use design::node::{Design, RadioUse};
use design::quantity::{Charge, Duration};
use design::region::Modulation;

use crate::finding::Verdict;
use crate::law::{Check, LawPlan, Topic};
use forecast::radio::airtime::{self, Lora};
use forecast::radio::link_state::LinkState;

/// Everything that `check` says about one message.
#[derive(Clone, Debug)]
pub struct MessageView {
    /// Its key in the file.
    pub name: String,
    /// What it is, in words; may be empty.
    pub title: String,
    /// Which way it goes.
    pub direction: Direction,
    /// Whether its edition stands in its first bits.
    pub version: Version,
    /// The full form, then the short one if there is one.
    pub forms: Vec<FormView>,
    /// Bytes of the values of the full form sent as text: decimal numbers with commas between them.
    pub text_bytes: usize,
    /// Means over the data rates in use, each with the form that is sent there; `None` without a radio and for downlinks.
    pub mean: Option<Mean>,
}

/// One form of a message.
#[derive(Clone, Debug)]
pub struct FormView {
    /// Which one.
    pub form: Form,
    /// Its port.
    pub port: u8,
    /// Bits in use.
    pub bits: u32,
    /// Bytes on the air; the rest of the last one is zero bits.
    pub bytes: usize,
    /// The byte map, in the order on the air.
    pub rows: Vec<Row>,
    /// What it costs at each data rate that the network may ask for, slowest first; of a downlink, in the second window.
    pub rates: Vec<RateView>,
}

/// What a form costs at one data rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateView {
    /// Number of the data rate.
    pub data_rate: u8,
    /// How it is modulated.
    pub modulation: Modulation,
    /// The most application bytes, and with 15 bytes of answers to the network riding along.
    pub ceiling: Ceiling,
    /// Whether it is this form that is sent here.
    pub sent: bool,
    /// Time on air, and charge at the radio while it sends (of a downlink: receives).
    pub cost: Cost,
    /// The fewest bytes less that cost less; `None` if a single byte costs the same.
    pub cliff: Option<Cliff>,
    /// Bytes more that would cost nothing.
    pub room: usize,
    /// The same values as text.
    pub as_text: Cost,
    /// Whether the text would fit.
    pub text_fits: bool,
}

/// What a message costs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cost {
    /// Time on air.
    pub airtime: Duration,
    /// Charge drawn by the radio in that time.
    pub charge: Charge,
}

/// Means over the data rates in use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mean {
    /// As it is sent.
    pub sent: Cost,
    /// As text.
    pub as_text: Cost,
}

/// What `check` says about the messages of a design that go as `link` says, in the order of the file.
#[must_use]
pub fn view(design: &Design, link: &LinkState) -> Vec<MessageView> {
    design.messages.iter().map(|message| of_message(message, design, link)).collect()
}

/// Whether every message fits: fails where one is too long for a data rate in use, is tight where it is for one that the
/// network may ask for.
#[must_use]
pub fn verdict(law: &LawPlan) -> Verdict {
    let too_long = |check: &&Check| {
        matches!(check.topic, Topic::Payload | Topic::Dwell) && check.verdict != Verdict::Holds
    };
    let in_use = law.checks.iter().filter(too_long).map(|check| check.in_use);
    let verdicts = in_use.map(|in_use| if in_use { Verdict::Fails } else { Verdict::Tight });
    Verdict::worst(verdicts).unwrap_or(Verdict::Holds)
}

fn of_message(message: &Message, design: &Design, link: &LinkState) -> MessageView {
    let radio = design.radio.as_ref();
    let text = text_bytes(message, Form::Full);
    let forms: Vec<FormView> =
        message.forms().into_iter().map(|form| of_form(message, form, radio)).collect();
    let mean = radio.filter(|_| message.direction == Direction::Up).map(|radio| mean(message, radio, link));
    MessageView {
        name: message.name.clone(),
        title: message.title.clone(),
        direction: message.direction,
        version: message.version,
        forms,
        text_bytes: text,
        mean,
    }
}

fn of_form(message: &Message, form: Form, radio: Option<&RadioUse>) -> FormView {
    let layout = message.layout(form);
    let text = text_bytes(message, form);
    let rate = |radio: &RadioUse, number: u8| of_rate(message, form, radio, number, (layout.bytes, text));
    let rates = radio.map_or_else(Vec::new, |radio| {
        let numbers = match message.direction {
            Direction::Up => radio.allowed_rates.clone(),
            Direction::Down => vec![radio.region.second_window.1],
        };
        numbers.into_iter().filter_map(|number| rate(radio, number)).collect()
    });
    FormView {
        form,
        port: message.port_of(form).unwrap_or(message.port),
        bits: layout.bits,
        bytes: layout.bytes,
        rows: rows(message, form),
        rates,
    }
}

fn of_rate(
    message: &Message,
    form: Form,
    radio: &RadioUse,
    number: u8,
    (bytes, text): (usize, usize),
) -> Option<RateView> {
    let (modulation, ceiling) = match message.direction {
        Direction::Up => (radio.region.modulation(number)?, radio.ceiling(number)),
        Direction::Down => (radio.region.down_modulation(number)?, Ceiling::down(&radio.region, number)),
    };
    let cost = |bytes: usize| cost(radio, message.direction, modulation, bytes);
    Some(RateView {
        data_rate: number,
        modulation,
        ceiling,
        sent: message.form_at(number) == form,
        cost: cost(bytes)?,
        cliff: cliff(bytes, cost),
        room: room(bytes, ceiling.bytes, cost),
        as_text: cost(text)?,
        text_fits: text <= ceiling.bytes,
    })
}

/// What so many application bytes cost; `None` for LR-FHSS, which isn't modelled.
#[must_use]
pub fn cost(radio: &RadioUse, direction: Direction, modulation: Modulation, bytes: usize) -> Option<Cost> {
    let frame = airtime::frame_bytes(bytes);
    let (airtime, current) = match direction {
        Direction::Up => (airtime::uplink(modulation, frame)?, radio.transmit_current.nominal),
        Direction::Down => (downlink(modulation, frame)?, radio.radio.receive),
    };
    Some(Cost { airtime, charge: current * airtime })
}

/// A LoRa downlink has no checksum; in FSK both directions are the same.
fn downlink(modulation: Modulation, frame_bytes: usize) -> Option<Duration> {
    match modulation {
        Modulation::Lora { spreading_factor, bandwidth } => {
            Some(Lora::downlink(spreading_factor.into(), bandwidth.hertz()).time_on_air(frame_bytes))
        }
        Modulation::Fsk { .. } | Modulation::LrFhss => airtime::uplink(modulation, frame_bytes),
    }
}

fn mean(message: &Message, radio: &RadioUse, link: &LinkState) -> Mean {
    let mut mean = Mean { sent: Cost::default(), as_text: Cost::default() };
    for (number, share) in &link.data_rates {
        let form = message.form_at(*number);
        let bytes = message.layout(form).bytes;
        let Some(modulation) = radio.region.modulation(*number) else { continue };
        let of = |bytes: usize| cost(radio, Direction::Up, modulation, bytes).unwrap_or_default();
        mean.sent = mean.sent.plus(of(bytes), share.fraction());
        mean.as_text = mean.as_text.plus(of(text_bytes(message, form)), share.fraction());
    }
    mean
}

impl Cost {
    fn plus(self, other: Self, share: f64) -> Self {
        Self { airtime: self.airtime + other.airtime * share, charge: self.charge + other.charge * share }
    }
}
