//! Devices as the standard describes them, and gateways that hear them: what tests put before a network.

use design::quantity::Decibels;
use design::region::Region;
use design::serve::Answers;
use logbook::network::{Downlink, Effect, Member, Plan, Setup, Station};
use logbook::received::{Checksum, Moment, Radio, Received};
use wire::frame::{self, Body, Content, Direction, Draft, Frame, FrameControl, Port};
use wire::identity::{DevAddr, DevEui, DevNonce, GatewayEui, JoinEui};
use wire::join;
use wire::key::AppKey;
use wire::mac::UplinkCommand;
use wire::session::{Session, SessionKeys};

pub(crate) const SECOND: Moment = 1_000_000;
/// Some day in 2026.
pub(crate) const START: Moment = 1_790_000_000 * SECOND;

pub(crate) fn gateway(number: u8) -> GatewayEui {
    GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, number])
}

/// A network with three gateways, 27 dBm each, that waits 250 ms for copies.
pub(crate) fn setup(region: &str, answers: Answers) -> Setup {
    let station = |number| Station { eui: gateway(number), eirp_most_dbm: 27.0, gain: Decibels::ZERO };
    Setup {
        region: Region::builtin(region).expect("built in"),
        stations: (1..=3).map(station).collect(),
        answers,
        gather: 250_000,
        rx1_delay_s: 1,
    }
}

/// Addresses 01000001 upwards.
pub(crate) fn addresses() -> impl FnMut() -> DevAddr {
    let mut last = 0x0100_0000_u32;
    move || {
        last += 1;
        DevAddr::from_display_bytes(last.to_be_bytes())
    }
}

/// A copy of a frame as gateway `number` heard it.
pub(crate) fn copy(bytes: &[u8], number: u8, at: Moment, snr_db: f64) -> Received {
    Received {
        arrived_at: at,
        gateway: gateway(number),
        bytes: bytes.to_vec(),
        checksum: Checksum::Good,
        radio: Radio {
            frequency_hz: 868_300_000,
            data_rate: "SF12BW125".to_owned(),
            rssi_dbm: Some(-100.0),
            snr_db: Some(snr_db),
            // Each gateway's clock began at another time.
            clock_us: Some(clock(number, at)),
            gps_us: None,
            station: None,
        },
    }
}

/// What the clock of a gateway shows.
pub(crate) fn clock(number: u8, at: Moment) -> u32 {
    let begun = START - 1000 * SECOND * Moment::from(number);
    u32::try_from((at - begun).rem_euclid(1 << 32)).expect("32 bits")
}

/// A device of LoRaWAN 1.0.4, class A.
pub(crate) struct Device {
    pub(crate) dev_eui: DevEui,
    pub(crate) join_eui: JoinEui,
    pub(crate) key: AppKey,
    /// Of its next join.
    pub(crate) dev_nonce: u16,
    pub(crate) session: Option<Session>,
    /// Counter of its next uplink.
    pub(crate) up: u32,
    pub(crate) down: Option<u32>,
}

/// What a device understood of a downlink.
#[derive(Debug, PartialEq)]
pub(crate) struct Told {
    pub(crate) fcnt: u32,
    pub(crate) acknowledges: bool,
    pub(crate) confirmed: bool,
    pub(crate) commands: Vec<u8>,
    pub(crate) application: Option<(u8, Vec<u8>)>,
}

impl Device {
    pub(crate) fn new(number: u8) -> Self {
        Self {
            dev_eui: DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 1, number]),
            join_eui: JoinEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, 7]),
            key: AppKey::from_bytes([number; 16]),
            dev_nonce: 0,
            session: None,
            up: 0,
            down: None,
        }
    }

    pub(crate) fn member(&self, plan: Plan) -> Member {
        Member::enrolled(self.dev_eui, self.join_eui, self.key.clone(), plan)
    }

    /// Its next join-request (clause 6.2.5).
    pub(crate) fn request(&mut self) -> Vec<u8> {
        let nonce = self.dev_nonce;
        self.dev_nonce += 1;
        join::seal_request(&self.key, self.join_eui, self.dev_eui, DevNonce::from(nonce)).to_vec()
    }

    /// Reads the answer to its last request; says whether it has joined.
    pub(crate) fn joins(&mut self, bytes: &[u8]) -> bool {
        let Ok(Frame::JoinAccept(sealed)) = frame::parse(bytes) else { return false };
        let Ok(accept) = sealed.decrypt(&self.key) else { return false };
        let nonce = DevNonce::from(self.dev_nonce - 1);
        let keys = SessionKeys::derive(&self.key, accept.join_nonce, accept.net_id, nonce);
        self.session = Some(Session::new(accept.dev_addr, &keys.nwk_s_key, &keys.app_s_key));
        (self.up, self.down) = (0, None);
        true
    }

    /// Its next uplink.
    pub(crate) fn sends(
        &mut self,
        confirmed: bool,
        control: FrameControl,
        commands: &[UplinkCommand],
    ) -> Vec<u8> {
        let mut options = Vec::new();
        for command in commands {
            command.encode(&mut options);
        }
        let payload = self.up.to_be_bytes();
        let body =
            Body::Application { port: Port::new(10).expect("not 0"), payload: &payload, options: &options };
        let draft = Draft { direction: Direction::Up, confirmed, control, fcnt: self.up, body };
        self.up += 1;
        draft.seal(self.session.as_ref().expect("it has joined")).expect("it is short")
    }

    pub(crate) fn says(&mut self, commands: &[UplinkCommand]) -> Vec<u8> {
        self.sends(false, FrameControl::default(), commands)
    }

    /// Reads a downlink (clause 4.3.1.5: its counter must be above the last).
    pub(crate) fn hears(&mut self, bytes: &[u8]) -> Option<Told> {
        let Ok(Frame::Data(data)) = frame::parse(bytes) else { return None };
        if data.direction() != Direction::Down {
            return None;
        }
        let verified = data.verify(self.session.as_ref()?, self.down).ok()?;
        self.down = Some(verified.fcnt());
        let (mut commands, mut application) = (data.options().to_vec(), None);
        match verified.decrypt() {
            Content::Empty => {}
            Content::Commands(bytes) => commands = bytes.to_vec(),
            Content::Application { port, payload } => application = Some((port.get(), payload.to_vec())),
        }
        Some(Told {
            fcnt: verified.fcnt(),
            acknowledges: data.control().ack(),
            confirmed: data.confirmed(),
            commands,
            application,
        })
    }
}

/// The downlinks among effects.
pub(crate) fn sent(effects: &[Effect]) -> Vec<&Downlink> {
    effects
        .iter()
        .filter_map(|effect| match effect {
            Effect::Send(downlink) | Effect::SendAgain(downlink) => Some(downlink),
            _ => None,
        })
        .collect()
}
