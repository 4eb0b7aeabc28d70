//! What a network of class A devices makes of each frame that a gateway heard: pure, without socket, clock or chance.
//!
//! The caller gives the time of each frame and the source of addresses, keeps what [`Heard`] says before it acts on it, and
//! builds the network again from what it kept.
//!
//! # References
//! LoRaWAN Link Layer Specification TS001-1.0.4: clauses 4.3.1.5 (counters), 4.4 (integrity), 6.2 (joining).

mod dedup;
mod device;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use wire::field::{Bits, DlSettings};
use wire::frame::{self, Content, DataFrame, Direction, Frame, FrameControl, FrameError, Verified};
use wire::identity::{DevAddr, DevEui, DevNonce, GatewayEui, JoinEui, JoinNonce, NetId};
use wire::join::{JoinAccept, JoinRequest};
use wire::key::AppKey;

use crate::received::{Checksum, Moment, Received};
use device::{Device, JoinOutcome};

/// `NetID` of private networks: every address of it begins with seven bits of zero.
///
/// # References
/// LoRa Alliance TS002, `NetID` types: 000000 and 000001 are for private and experimental networks (from memory).
pub const PRIVATE: NetId = NetId::from_display_bytes([0, 0, 0]);

/// What became of a frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Genuine, and its counter is above the last.
    New,
    /// Genuine and not seen yet, but a newer one came before it: true, and never acted upon.
    Late,
    /// The very bytes of a frame that was accepted: another gateway, or a repetition.
    Copy,
    /// A device asks to join for the first time with this nonce.
    Join,
    /// Kept, and nothing else.
    Refused(Refusal),
}

/// Why a frame has no effect.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// The gateway says that its checksum does not fit.
    Checksum,
    /// No gateway of this site heard it.
    Gateway,
    /// It is no frame of LoRaWAN 1.0.
    Shape(FrameError),
    /// Networks send such frames, devices do not.
    NotUplink,
    /// No device of this site has this address.
    Foreign,
    /// No device of this site has this identity.
    UnknownDevice,
    /// The join-request is not made with the device's root key.
    JoinMic,
    /// The nonce is not above the last one.
    Nonce {
        /// Nonce of the request.
        found: u16,
        /// The last one accepted.
        last: u16,
    },
    /// The integrity code is of no session of the device.
    Mic,
    /// Genuine, but its counter is too far below, or was used.
    Counter {
        /// Its counter.
        found: u32,
        /// The newest of the session.
        last: u32,
        /// Whether it was accepted before, with other bytes: the device has lost its counter, and its keystream repeats.
        used: bool,
    },
    /// Genuine under a session that is closed: a recording.
    OldSession,
}

impl fmt::Display for Verdict {
    /// The word that log, page and export use.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::New => "new",
            Self::Late => "late",
            Self::Copy => "copy",
            Self::Join => "join",
            Self::Refused(refusal) => match refusal {
                Refusal::Checksum => "refused:crc",
                Refusal::Gateway => "refused:gateway",
                Refusal::Shape(_) => "refused:shape",
                Refusal::NotUplink => "refused:not-uplink",
                Refusal::Foreign => "refused:foreign",
                Refusal::UnknownDevice => "refused:unknown-device",
                Refusal::JoinMic => "refused:join-mic",
                Refusal::Nonce { .. } => "refused:nonce",
                Refusal::Mic => "refused:mic",
                Refusal::Counter { .. } => "refused:counter",
                Refusal::OldSession => "refused:old-session",
            },
        })
    }
}

/// A device of the site, with what was kept of it.
#[derive(Clone, Debug)]
pub struct Member {
    /// Its identity.
    pub dev_eui: DevEui,
    /// Its join server.
    pub join_eui: JoinEui,
    /// Its root key.
    pub app_key: AppKey,
    /// The last nonce that it joined with.
    pub dev_nonce: Option<u16>,
    /// The last nonce that it was answered with, 0 before the first.
    pub join_nonce: u32,
    /// Its address, once it has one: the same for life.
    pub dev_addr: Option<DevAddr>,
}

/// How the network answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Windows {
    /// First receive window: offset of its rate; second one: its rate.
    pub settings: DlSettings,
    /// Delay of the first window \[s\], 1 to 15.
    pub delay: Bits<4>,
}

/// What became of one frame, and what to keep of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// The verdict.
    pub verdict: Verdict,
    /// The device, where it is known.
    pub dev_eui: Option<DevEui>,
    /// What it carries, if it was genuine and not yet seen.
    pub uplink: Option<Uplink>,
    /// The session that it asks for, if it asks and may have one.
    pub joined: Option<Joined>,
}

/// What a genuine data frame carries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Uplink {
    /// Its counter, all 32 bits.
    pub fcnt: u32,
    /// Whether the device waits for an acknowledgement.
    pub confirmed: bool,
    /// Its flags: rate adaptation, and whether the device asks for any answer.
    pub control: FrameControl,
    /// MAC commands of the options or of port 0, in the clear.
    pub commands: Vec<u8>,
    /// Port and bytes of the application, in the clear.
    pub application: Option<(u8, Vec<u8>)>,
    /// Whether the session opens with it.
    pub opens: bool,
}

/// A session that begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Joined {
    /// The device's nonce.
    pub dev_nonce: u16,
    /// The network's.
    pub join_nonce: u32,
    /// The device's address.
    pub dev_addr: DevAddr,
    /// The join-accept as it travels; to be sent once, after all this is kept.
    pub accept: Vec<u8>,
}

/// The devices and gateways of a site, and the sessions between them.
#[derive(Debug)]
pub struct Network<A> {
    gateways: BTreeSet<GatewayEui>,
    devices: BTreeMap<DevEui, Device>,
    addresses: BTreeMap<DevAddr, DevEui>,
    next_address: A,
    windows: Windows,
}

impl<A: FnMut() -> DevAddr> Network<A> {
    /// The network of these gateways and devices; `next_address` gives an address when a device joins for the first time
    /// and is asked again while it gives one that is taken.
    pub fn new(
        gateways: impl IntoIterator<Item = GatewayEui>,
        members: impl IntoIterator<Item = Member>,
        windows: Windows,
        next_address: A,
    ) -> Self {
        let devices: BTreeMap<DevEui, Device> =
            members.into_iter().map(|member| (member.dev_eui, Device::new(member))).collect();
        let addresses =
            devices.iter().filter_map(|(dev_eui, device)| Some((device.dev_addr()?, *dev_eui))).collect();
        Self { gateways: gateways.into_iter().collect(), devices, addresses, next_address, windows }
    }

    /// Judges one copy of a frame.
    pub fn hear(&mut self, received: &Received) -> Heard {
        match self.judge(received) {
            Ok(heard) => heard,
            Err((refusal, dev_eui)) => {
                Heard { verdict: Verdict::Refused(refusal), dev_eui, uplink: None, joined: None }
            }
        }
    }

    fn judge(&mut self, received: &Received) -> Result<Heard, (Refusal, Option<DevEui>)> {
        let refuse = |refusal| Err((refusal, None));
        if received.checksum == Checksum::Bad {
            return refuse(Refusal::Checksum);
        }
        if !self.gateways.contains(&received.gateway) {
            return refuse(Refusal::Gateway);
        }
        match frame::parse(&received.bytes) {
            Err(error) => refuse(Refusal::Shape(error)),
            Ok(Frame::JoinRequest(request)) => self.join(&request, received),
            Ok(Frame::Data(data)) if data.direction() == Direction::Up => self.data(data, received),
            Ok(Frame::Data(_) | Frame::JoinAccept(_)) => refuse(Refusal::NotUplink),
        }
    }

    fn data(&mut self, data: DataFrame<'_>, received: &Received) -> Result<Heard, (Refusal, Option<DevEui>)> {
        let dev_eui = *self.addresses.get(&data.dev_addr()).ok_or((Refusal::Foreign, None))?;
        let device = self.devices.get_mut(&dev_eui).ok_or((Refusal::Foreign, None))?;
        let heard = |verdict, uplink| Heard { verdict, dev_eui: Some(dev_eui), uplink, joined: None };
        device
            .data(data, received)
            .map(|(verdict, uplink)| heard(verdict, uplink))
            .map_err(|refusal| (refusal, Some(dev_eui)))
    }

    fn join(
        &mut self,
        request: &JoinRequest<'_>,
        received: &Received,
    ) -> Result<Heard, (Refusal, Option<DevEui>)> {
        let dev_eui = request.dev_eui();
        let device = self.devices.get_mut(&dev_eui).ok_or((Refusal::UnknownDevice, None))?;
        let outcome = device.asks(request, received).map_err(|refusal| (refusal, Some(dev_eui)))?;
        let heard = |verdict, joined| Heard { verdict, dev_eui: Some(dev_eui), uplink: None, joined };
        if outcome == JoinOutcome::Copy {
            return Ok(heard(Verdict::Copy, None));
        }
        let dev_addr = device.dev_addr().unwrap_or_else(|| {
            loop {
                let drawn = (self.next_address)();
                if !self.addresses.contains_key(&drawn) {
                    break drawn;
                }
            }
        });
        self.addresses.insert(dev_addr, dev_eui);
        let joined = device.begin(request, received, dev_addr, self.windows);
        Ok(heard(Verdict::Join, Some(joined)))
    }
}

/// What a verified frame carries.
fn uplink(verified: &Verified<'_, '_>, opens: bool) -> Uplink {
    let frame = verified.frame();
    let (mut commands, mut application) = (frame.options().to_vec(), None);
    match verified.decrypt() {
        Content::Empty => {}
        Content::Commands(bytes) => commands = bytes.to_vec(),
        Content::Application { port, payload } => application = Some((port.get(), payload.to_vec())),
    }
    Uplink {
        fcnt: verified.fcnt(),
        confirmed: frame.confirmed(),
        control: frame.control(),
        commands,
        application,
        opens,
    }
}

/// The answer to a join-request.
fn accept(app_key: &AppKey, join_nonce: u32, dev_addr: DevAddr, windows: Windows) -> Vec<u8> {
    let accept = JoinAccept {
        join_nonce: nonce(join_nonce),
        net_id: PRIVATE,
        dev_addr,
        dl_settings: windows.settings,
        rx_delay: windows.delay,
        cf_list: None,
    };
    accept.seal(app_key)
}

/// Three octets of a counter; it ends long before they do.
fn nonce(count: u32) -> JoinNonce {
    let [_, high, middle, low] = count.to_be_bytes();
    JoinNonce::from_display_bytes([high, middle, low])
}

fn later_than(moment: Moment, earlier: Moment, limit: Moment) -> bool {
    moment.saturating_sub(earlier) > limit
}

fn dev_nonce(request: &JoinRequest<'_>) -> u16 {
    u16::from(request.dev_nonce())
}

fn as_nonce(count: u16) -> DevNonce {
    DevNonce::from(count)
}
