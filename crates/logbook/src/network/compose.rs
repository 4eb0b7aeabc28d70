//! What is in an answer: acknowledgement, answers to commands, questions, a message, as far as a window holds them.

use design::quantity::Decibels;
use design::region::MAC_OVERHEAD;
use wire::frame::FrameControl;
use wire::identity::GatewayEui;
use wire::mac::DownlinkCommand;

use super::Setup;
use super::conversation::Wants;
use super::device::Device;
use super::windows::{self, Listening, SECOND};
use crate::received::{FROM_SATELLITES, Moment, Radio, Received};

/// Longest MAC commands beside a payload: the length has four bits.
const MOST_OPTIONS: usize = 15;
/// Why something is sent, in the order of who goes first when the hour is short.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Why {
    /// A device joins.
    Join,
    /// A device repeats what was acknowledged already: it has not heard that.
    RepeatedAcknowledgement,
    /// A device asks for any answer, and gets slower without one.
    Lifeline,
    /// A device waits for an acknowledgement.
    Acknowledgement,
    /// Answers and questions of the network.
    Commands,
    /// A message of a person.
    Message,
}

impl Why {
    /// Of the hour's share, what it may use: the rest is kept for those that go before it (own choice).
    pub(super) const fn share(self) -> f64 {
        match self {
            Self::Join => 1.0,
            Self::RepeatedAcknowledgement => 0.95,
            Self::Lifeline => 0.9,
            Self::Acknowledgement => 0.85,
            Self::Commands => 0.75,
            Self::Message => 0.6,
        }
    }

    /// The word of the column `why`.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Join => "join",
            Self::RepeatedAcknowledgement => "acknowledgement again",
            Self::Lifeline => "lifeline",
            Self::Acknowledgement => "acknowledgement",
            Self::Commands => "commands",
            Self::Message => "message",
        }
    }
}

/// One copy of a frame.
#[derive(Clone, Debug)]
pub(super) struct Heard {
    pub(super) gateway: GatewayEui,
    pub(super) arrived_at: Moment,
    pub(super) radio: Radio,
}

impl Heard {
    pub(super) fn of(received: &Received) -> Self {
        Self { gateway: received.gateway, arrived_at: received.arrived_at, radio: received.radio.clone() }
    }
}

/// A frame that is about to be placed.
pub(super) struct Content {
    pub(super) why: Why,
    /// Bytes of the frame in a window.
    pub(super) length: usize,
    pub(super) form: Form,
}

/// A frame that is sealed already, or what it will be made of.
pub(super) enum Form {
    Sealed(Vec<u8>),
    Draft {
        control: FrameControl,
        options: Vec<u8>,
        commands: Vec<u8>,
        message: Option<u64>,
        questions: bool,
    },
}

/// A join-accept in each window that carries it.
pub(super) fn accepts(bytes: &[u8], listening: &[Listening]) -> Vec<Option<Content>> {
    let accept = || Content { why: Why::Join, length: bytes.len(), form: Form::Sealed(bytes.to_vec()) };
    listening.iter().map(|one| one.fits(bytes.len()).then(accept)).collect()
}

/// Why an uplink gets an answer, and what would go into each window; `None` if nothing is due.
pub(super) fn contents(
    setup: &Setup,
    device: &Device,
    wants: Wants,
    again: bool,
    copies: &[Heard],
    listening: &[Listening],
) -> Option<(Why, Vec<Option<Content>>)> {
    let all = setup.answers_all();
    let answers = if all { answers(wants, copies) } else { Vec::new() };
    let questions: Vec<Vec<u8>> =
        if all && !again { device.conversation.questions().collect() } else { Vec::new() };
    let message = device.conversation.message().filter(|_| all);
    let speaks = all && (wants.quiet || !answers.is_empty() || !questions.is_empty());
    let why = match () {
        () if again => Why::RepeatedAcknowledgement,
        () if wants.any_answer => Why::Lifeline,
        () if wants.acknowledgement => Why::Acknowledgement,
        () if speaks => Why::Commands,
        () => message.map(|_| Why::Message)?,
    };
    let mut control = FrameControl::default();
    if wants.acknowledgement {
        control = control.with_ack();
    }
    if device.member.plan.adaptation_margin.is_some() {
        control = control.with_adr();
    }
    let in_window = |one: &Listening| {
        let told = message.filter(|(told, _)| told.payload.len() <= one.room);
        // A message alone waits for a window that carries it; all else goes without it.
        let told = told.map(|(told, more)| (told.number, told.payload.len(), more));
        (why != Why::Message || told.is_some())
            .then(|| compose(*one, why, control, &answers, &questions, told))
            .flatten()
    };
    Some((why, listening.iter().map(in_window).collect()))
}

/// Fills a window: answers first, then questions, each whole or not at all, then the message if there is room.
fn compose(
    one: Listening,
    why: Why,
    control: FrameControl,
    answers: &[Vec<u8>],
    questions: &[Vec<u8>],
    message: Option<(u64, usize, bool)>,
) -> Option<Content> {
    if one.room == 0 {
        return None;
    }
    let whole: usize = answers.iter().chain(questions).map(Vec::len).sum();
    let carried = message.map_or(0, |(_, length, _)| length);
    let on_port_zero = message.is_none() && whole > MOST_OPTIONS;
    let most = if on_port_zero { one.room } else { MOST_OPTIONS.min(one.room.saturating_sub(carried)) };
    let (mut bytes, mut asked) = (Vec::new(), false);
    for (chunk, is_question) in
        answers.iter().map(|one| (one, false)).chain(questions.iter().map(|one| (one, true)))
    {
        if bytes.len() + chunk.len() <= most {
            bytes.extend(chunk);
            asked |= is_question;
        }
    }
    let control = match message {
        Some((_, _, true)) => control.with_frame_pending(),
        _ => control,
    };
    let port = usize::from(message.is_some() || (on_port_zero && !bytes.is_empty()));
    let length = EMPTY + port + bytes.len() + carried;
    let (options, commands) = if on_port_zero { (Vec::new(), bytes) } else { (bytes, Vec::new()) };
    let message = message.map(|(number, _, _)| number);
    Some(Content { why, length, form: Form::Draft { control, options, commands, message, questions: asked } })
}

/// Octets of a data frame without port, options and payload.
const EMPTY: usize = 12;
const _: () = assert!(EMPTY == MAC_OVERHEAD + 4, "header and integrity code around seven octets");

/// Answers to the commands of an uplink, as they travel.
fn answers(wants: Wants, copies: &[Heard]) -> Vec<Vec<u8>> {
    let mut answers = Vec::new();
    if wants.time {
        answers.extend(time_answer(copies));
    }
    if wants.link_check {
        answers.extend(link_answer(copies));
    }
    answers
        .iter()
        .map(|command: &DownlinkCommand| {
            let mut bytes = Vec::new();
            command.encode(&mut bytes);
            bytes
        })
        .collect()
}

/// The time at the end of the uplink: by a gateway that knows it, else when the first copy arrived.
fn time_answer(copies: &[Heard]) -> Option<DownlinkCommand> {
    let by_arrival = copies.iter().map(|copy| copy.arrived_at - FROM_SATELLITES).min();
    let gps_us = copies.iter().find_map(|copy| copy.radio.gps_us).or(by_arrival)?;
    let fraction = gps_us.rem_euclid(SECOND) * 256 / SECOND;
    Some(DownlinkCommand::DeviceTimeAns {
        gps_seconds: u32::try_from(gps_us.div_euclid(SECOND)).ok()?,
        fraction: u8::try_from(fraction).ok()?,
    })
}

/// The margin above the floor of its rate, of the best copy, and how many gateways heard it.
fn link_answer(copies: &[Heard]) -> Option<DownlinkCommand> {
    let radio = &copies.first()?.radio;
    let modulation = windows::modulation(&radio.data_rate)?;
    let floor = forecast::radio::demodulation::least_snr(modulation).map_or(0.0, Decibels::decibels);
    let margin_db = (radio.snr_db? - floor).floor().clamp(0.0, 254.0);
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped just before")]
    Some(DownlinkCommand::LinkCheckAns {
        margin_db: margin_db as u8,
        gateways: u8::try_from(copies.len()).unwrap_or(u8::MAX),
    })
}
