//! The radio of a node of the demonstration: it joins, sends, and answers what the network asks of it.

use std::time::{Duration, Instant};

use design::node::Design;
use design::region::{Modulation, Region};
use wire::frame::{self, Body, Content, DataFrame, Direction, Draft, Frame, FrameControl, Port};
use wire::identity::{DevEui, DevNonce, JoinEui};
use wire::join::{EncryptedJoinAccept, seal_request};
use wire::key::AppKey;
use wire::mac::{DownlinkCommand, UplinkCommand, downlink_commands};
use wire::session::{Session, SessionKeys};

const JOIN_EUI: JoinEui = JoinEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, 1]);
/// A join-request without an answer is repeated after so long \[min\].
const JOIN_AGAIN_MIN: f64 = 10.0;
/// The server's answer comes this late at most, however fast the time of the nodes goes.
const ANSWER_WITHIN: Duration = Duration::from_secs(3);
/// It asks how well it is heard with one message of so many (own choice).
const LINK_CHECK_EACH: u64 = 16;
/// A rate or power of this index stays as it is (TS001-1.0.4, clause 5.2).
const AS_IT_IS: u8 = 15;
/// What it says of its reception \[dB\]; invented.
const SNR_DB: i8 = 7;
/// Bytes of answers that fit beside a message.
const MOST_ANSWERS: usize = 15;

/// What it knows of the network.
pub(super) struct Radio {
    dev_eui: DevEui,
    key: AppKey,
    dev_nonce: u16,
    pub(super) session: Option<Joined>,
    asked: Option<(f64, Instant)>,
    pub(super) restarted: bool,
    /// Messages since it was switched on.
    pub(super) sent: u64,
    pub(super) last_frame: Option<Vec<u8>>,
    region: Option<Region>,
    /// Rates that its design lets the network ask for, ascending; none if its rate is fixed.
    allowed: Vec<u8>,
    /// With which it begins.
    first_rate: u8,
}

/// What holds as long as a session.
pub(super) struct Joined {
    session: Session,
    next: u32,
    last_down: Option<u32>,
    rate: u8,
    /// Answers to commands that travel with the next message.
    answers: Vec<u8>,
    acknowledges: bool,
}

impl Radio {
    pub(super) fn new(design: &Design, dev_eui: DevEui, key: AppKey) -> Self {
        let radio = design.radio.as_ref();
        let adapts = radio.is_some_and(|radio| radio.adaptation_margin.is_some());
        let allowed = radio.filter(|_| adapts).map(|radio| radio.allowed_rates.clone()).unwrap_or_default();
        let planned = radio.and_then(|radio| radio.data_rates.iter().map(|(rate, _)| *rate).max());
        // One that lets its rate be adapted begins slowly, so that the network has something to ask for.
        let slow = allowed.iter().rev().nth(2).or(allowed.first()).copied();
        Self {
            dev_eui,
            key,
            dev_nonce: 0,
            session: None,
            asked: None,
            restarted: true,
            sent: 0,
            last_frame: None,
            region: radio.map(|radio| radio.region.clone()),
            allowed,
            first_rate: slow.or(planned).unwrap_or_default(),
        }
    }

    /// A join-request, if none waits for its answer.
    pub(super) fn join(&mut self, minutes: f64) -> Option<Vec<u8>> {
        let waits =
            |(asked, at): (f64, Instant)| minutes - asked < JOIN_AGAIN_MIN || at.elapsed() < ANSWER_WITHIN;
        if self.asked.is_some_and(waits) {
            return None;
        }
        self.asked = Some((minutes, Instant::now()));
        self.dev_nonce = self.dev_nonce.checked_add(1)?;
        Some(seal_request(&self.key, JOIN_EUI, self.dev_eui, DevNonce::from(self.dev_nonce)).to_vec())
    }

    /// Takes an answer, if it is for this node, whose battery has so much charge; port and bytes of a message, if it carries one.
    pub(super) fn hear(&mut self, bytes: &[u8], charge: f64) -> Option<(u8, Vec<u8>)> {
        match frame::parse(bytes).ok()? {
            Frame::JoinAccept(accept) => {
                self.accepted(accept);
                None
            }
            Frame::Data(data) if data.direction() == Direction::Down => self.told(data, charge),
            _ => None,
        }
    }

    fn accepted(&mut self, accept: EncryptedJoinAccept<'_>) {
        let Ok(granted) = accept.decrypt(&self.key) else { return };
        let nonce = DevNonce::from(self.dev_nonce);
        let keys = SessionKeys::derive(&self.key, granted.join_nonce, granted.net_id, nonce);
        self.session = Some(Joined {
            session: Session::new(granted.dev_addr, &keys.nwk_s_key, &keys.app_s_key),
            next: 0,
            last_down: None,
            rate: self.first_rate,
            answers: Vec::new(),
            acknowledges: false,
        });
        self.asked = None;
    }

    fn told(&mut self, data: DataFrame<'_>, charge: f64) -> Option<(u8, Vec<u8>)> {
        let joined = self.session.as_mut()?;
        let verified = data.verify(&joined.session, joined.last_down).ok()?;
        joined.last_down = Some(verified.fcnt());
        joined.acknowledges = data.confirmed();
        let (commands, message) = match verified.decrypt() {
            Content::Empty => (data.options().to_vec(), None),
            Content::Commands(commands) => (commands.to_vec(), None),
            Content::Application { port, payload } => {
                (data.options().to_vec(), Some((port.get(), payload.to_vec())))
            }
        };
        for command in downlink_commands(&commands).map_while(Result::ok) {
            let Some(answer) = answer(command, joined, &self.allowed, charge) else { continue };
            let mut bytes = Vec::new();
            answer.encode(&mut bytes);
            // One that does not fit is asked for again.
            if joined.answers.len() + bytes.len() <= MOST_ANSWERS {
                joined.answers.extend(bytes);
            }
        }
        message
    }

    /// A message as it travels, with what there is to answer and to ask.
    pub(super) fn seal(&mut self, (port, payload): &(u8, Vec<u8>)) -> Option<Vec<u8>> {
        let adapts = !self.allowed.is_empty();
        let joined = self.session.as_mut()?;
        let mut options = std::mem::take(&mut joined.answers);
        if options.is_empty() && self.sent % LINK_CHECK_EACH == 1 {
            UplinkCommand::LinkCheckReq.encode(&mut options);
        }
        let mut control = FrameControl::default();
        if adapts {
            control = control.with_adr();
        }
        if std::mem::take(&mut joined.acknowledges) {
            control = control.with_ack();
        }
        let draft = Draft {
            direction: Direction::Up,
            confirmed: false,
            control,
            fcnt: joined.next,
            body: Body::Application { port: Port::new(*port)?, payload, options: &options },
        };
        joined.next += 1;
        self.sent += 1;
        draft.seal(&joined.session).ok()
    }

    /// The rate of a frame, as gateways name it: requests to join go at the first one.
    pub(super) fn rate_name(&self, bytes: &[u8]) -> String {
        let is_request = matches!(frame::parse(bytes), Ok(Frame::JoinRequest(_)));
        let rate =
            self.session.as_ref().filter(|_| !is_request).map_or(self.first_rate, |joined| joined.rate);
        match self.region.as_ref().and_then(|region| region.modulation(rate)) {
            Some(Modulation::Lora { spreading_factor, bandwidth }) => {
                format!("SF{spreading_factor}BW{:.0}", bandwidth.kilohertz())
            }
            _ => "SF7BW125".to_owned(),
        }
    }
}

/// What a device says to a command; none to what is no question. Rates are taken if the design allows them.
fn answer(
    command: DownlinkCommand,
    joined: &mut Joined,
    allowed: &[u8],
    charge: f64,
) -> Option<UplinkCommand> {
    Some(match command {
        DownlinkCommand::LinkAdrReq { data_rate, .. } => {
            let rate = data_rate.get();
            let data_rate_ok = rate == AS_IT_IS || allowed.contains(&rate);
            if data_rate_ok && rate != AS_IT_IS {
                joined.rate = rate;
            }
            UplinkCommand::LinkAdrAns { power_ok: true, data_rate_ok, channel_mask_ok: true }
        }
        DownlinkCommand::DevStatusReq => {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 254")]
            let battery = (1.0 + 253.0 * charge.clamp(0.0, 1.0)).round() as u8;
            UplinkCommand::DevStatusAns { battery, snr_db: SNR_DB }
        }
        DownlinkCommand::DutyCycleReq { .. } => UplinkCommand::DutyCycleAns,
        DownlinkCommand::RxParamSetupReq { .. } => UplinkCommand::RxParamSetupAns {
            rx1_data_rate_offset_ok: true,
            rx2_data_rate_ok: true,
            frequency_ok: true,
        },
        DownlinkCommand::NewChannelReq { .. } => {
            UplinkCommand::NewChannelAns { data_rate_range_ok: true, frequency_ok: true }
        }
        DownlinkCommand::RxTimingSetupReq { .. } => UplinkCommand::RxTimingSetupAns,
        DownlinkCommand::TxParamSetupReq { .. } => UplinkCommand::TxParamSetupAns,
        DownlinkCommand::DlChannelReq { .. } => {
            UplinkCommand::DlChannelAns { uplink_frequency_exists: true, frequency_ok: true }
        }
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use wire::field::Bits;
    use wire::identity::{DevAddr, JoinNonce, NetId};
    use wire::mac::uplink_commands;

    fn joined(rate: u8) -> Joined {
        let key = AppKey::from_bytes([7; 16]);
        let (join_nonce, net_id) =
            (JoinNonce::from_display_bytes([0, 0, 1]), NetId::from_display_bytes([0; 3]));
        let keys = SessionKeys::derive(&key, join_nonce, net_id, DevNonce::from(1));
        let session =
            Session::new(DevAddr::from_display_bytes([0, 0, 0, 9]), &keys.nwk_s_key, &keys.app_s_key);
        Joined { session, next: 0, last_down: None, rate, answers: Vec::new(), acknowledges: false }
    }

    /// TS001-1.0.4, clauses 5.2 and 5.5: a rate is taken or refused, full is 254, and the answers travel with the next message;
    /// clause 4.3.1.2: so does an acknowledgement.
    #[test]
    fn what_the_network_asks_is_answered_with_the_next_message() {
        let text = include_str!("../../../../examples/larkmoor/frost-mast.toml");
        let design =
            design::resolve::resolve(&design::catalog::Catalog::builtin(), &design::file::parse(text));
        let design = design.expect("resolves").design;
        let mut radio = Radio::new(&design, DevEui::from_display_bytes([2; 8]), AppKey::from_bytes([7; 16]));
        assert!(radio.hear(&[0; 12], 1.0).is_none(), "nonsense");
        radio.allowed = vec![0, 1, 2, 3];
        radio.session = Some(joined(0));
        let adr = |rate: u8| DownlinkCommand::LinkAdrReq {
            data_rate: Bits::new(rate).expect("four bits"),
            tx_power: Bits::new(15).expect("four bits"),
            channel_mask: 7,
            channel_mask_control: Bits::default(),
            transmissions: Bits::default(),
        };
        let down = |fcnt: u32, commands: &[DownlinkCommand]| {
            let mut options = Vec::new();
            for command in commands {
                command.encode(&mut options);
            }
            let port = Port::new(20).expect("a port");
            let body = Body::Application { port, payload: &[1, 2], options: &options };
            let control = FrameControl::default();
            let draft = Draft { direction: Direction::Down, confirmed: true, control, fcnt, body };
            draft.seal(&joined(0).session).expect("it fits")
        };
        let first = down(0, &[adr(3), DownlinkCommand::DevStatusReq]);
        assert_eq!(radio.hear(&first, 1.0), Some((20, vec![1, 2])));
        assert_eq!(radio.hear(&first, 1.0), None, "a counter that was used");
        let up = radio.seal(&(2, vec![9])).expect("it is joined");
        let Ok(Frame::Data(data)) = frame::parse(&up) else { panic!("a data frame") };
        assert!(data.control().ack() && data.control().adr());
        let said: Vec<_> = uplink_commands(data.options()).map(|command| command.expect("sound")).collect();
        let taken = UplinkCommand::LinkAdrAns { power_ok: true, data_rate_ok: true, channel_mask_ok: true };
        assert_eq!(said, [taken, UplinkCommand::DevStatusAns { battery: 254, snr_db: SNR_DB }]);
        assert_eq!(radio.rate_name(&up), "SF9BW125", "RP002: DR3 of EU868");
        radio.hear(&down(1, &[adr(6)]), 1.0);
        let up = radio.seal(&(2, vec![9])).expect("it is joined");
        let Ok(Frame::Data(data)) = frame::parse(&up) else { panic!("a data frame") };
        let refused =
            UplinkCommand::LinkAdrAns { power_ok: true, data_rate_ok: false, channel_mask_ok: true };
        assert_eq!(uplink_commands(data.options()).next(), Some(Ok(refused)));
        assert_eq!(radio.rate_name(&up), "SF9BW125", "it stays");
    }
}
