//! What a network of class A devices makes of each frame that a gateway heard, and what it answers: pure, without socket,
//! clock or chance.
//!
//! # How it is driven
//! One thread owns the network and the way to the log. For each frame: [`Network::hear`], the row goes into the batch. When
//! the batch is on disk: [`Network::kept`] for each of its frames, then [`Network::tick`]; and `tick` again whenever
//! [`Network::next_tick`] is reached. Each [`Effect`] is a row too: it is kept first, and only then a gateway is asked to
//! send ([`Effect::Send`], [`Effect::SendAgain`]). What gateways say of it goes into [`Network::told`]. So a counter or nonce
//! is on disk before anything leaves, and what is answered was kept.
//!
//! The times given may jump, as when the computer's clock is set: gateways' own clocks tell, and the law's hour is kept.
//!
//! A batch that can't be kept for a while is tried again as it is. A frame that can never be kept has changed the network
//! in vain: [`Network::restore`] then puts its device back to what the log holds, while no other frame of it is under way.
//! The same call builds the devices again at a start; [`Network::sent_before`] brings back the hour's transmissions.
//!
//! # References
//! LoRaWAN Link Layer Specification TS001-1.0.4: clauses 4.3.1.5 (counters), 4.4 (integrity), 5 (commands), 6.2 (joining).

mod answer;
mod budget;
mod channels;
mod compose;
mod conversation;
mod dedup;
mod device;
mod gathering;
mod kept;
mod verdict;
mod windows;

use std::collections::BTreeMap;

use design::law::Law;
use design::quantity::{Decibels, Frequency};
use design::region::Region;
use design::serve::{Answers, GatewayIntake};
use design::surroundings::Gateway;
use wire::field::Bits;
use wire::frame::{self, DataFrame, Direction, Frame, FrameControl};
use wire::identity::{DevAddr, DevEui, GatewayEui, NetId};
use wire::join::JoinRequest;

use crate::received::{Checksum, Moment, Received};
use answer::Answering;
use budget::Budget;
use dedup::{FrameDigest, digest};
use device::{Device, JoinOutcome};
use gathering::{Due, Gathering};
use kept::Terms;
use windows::SECOND;

pub use answer::{Downlink, DownlinkNumber, Effect, Outcome, Prevented};
pub use budget::HOUR;
pub use compose::Why;
pub use conversation::{Asked, Message, News, Plan};
pub use dedup::REMEMBERED;
pub use kept::{KeptSession, Member, SessionId, SessionState};
pub use verdict::{Hint, Refusal, Verdict};
pub use windows::{Window, airtime, data_rate, margin_db, rate_name};

/// `NetID` of private networks: every address of it begins with seven bits of zero.
///
/// # References
/// LoRa Alliance TS002, `NetID` types: 000000 and 000001 are for private and experimental networks (from memory).
pub const PRIVATE: NetId = NetId::from_display_bytes([0, 0, 0]);

/// A repetition of what was acknowledged is acknowledged again after this time; what comes earlier is another gateway's
/// copy \[us\].
const REPEATED_AFTER: Moment = SECOND;
/// Joins that are left when it is time to say so (own choice: 65,000 are used).
const NONCES_LEFT: u16 = 535;
/// What a gateway's clock may differ from ours between two frames without having begun anew \[us\].
const CLOCK_SLACK: i64 = 2 * SECOND;
/// Gateways' clocks begin again after so long \[us\].
const CLOCK_WRAPS: i64 = 1 << 32;

/// A gateway, as far as answering goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Station {
    /// Its identity.
    pub eui: GatewayEui,
    /// The most that it can radiate \[dBm EIRP\]: power at its plug, less the cable, with its antenna.
    pub eirp_most_dbm: f64,
    /// What its antenna gains, less its cable.
    pub gain: Decibels,
}

impl Station {
    /// Of the site file; `None` while the gateway is only planned.
    pub fn of(gateway: &Gateway) -> Option<Self> {
        let gain = gateway.antenna_gain - gateway.cable_loss;
        Some(Self {
            eui: GatewayEui::from_display_bytes(gateway.eui?),
            eirp_most_dbm: (gateway.power + gain).dbm(),
            gain,
        })
    }
}

/// How the network works.
#[derive(Clone, Debug)]
pub struct Setup {
    /// The regional plan of gateways and devices.
    pub region: Region,
    /// Its gateways.
    pub stations: Vec<Station>,
    /// What is answered.
    pub answers: Answers,
    /// How long copies are waited for \[us\].
    pub gather: Moment,
    /// From an uplink to the first window \[s\], 1 to 15.
    pub rx1_delay_s: u8,
}

impl Setup {
    /// As the site file says.
    pub fn of(region: Region, intake: &GatewayIntake, stations: Vec<Station>) -> Self {
        #[expect(clippy::cast_possible_truncation, reason = "0.1 to 0.6 s")]
        let gather = (intake.gather.seconds() * 1e6).round() as Moment;
        Self { region, stations, answers: intake.answers, gather, rx1_delay_s: intake.rx1_delay_s }
    }
}

/// Number of a frame that was heard: of this run of the program.
pub type FrameNumber = u64;

/// What became of one frame, and what to keep of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// To be given to [`Network::kept`] once the row is on disk.
    pub frame: FrameNumber,
    /// The verdict.
    pub verdict: Verdict,
    /// What probably is the matter.
    pub hint: Option<Hint>,
    /// The device, where it is known.
    pub dev_eui: Option<DevEui>,
    /// The session of a frame that was accepted, or of the copy of one.
    pub session: Option<SessionId>,
    /// What it carries, if it was genuine and not yet seen.
    pub uplink: Option<Uplink>,
    /// Counter of the data frame of which it is a copy.
    pub copies: Option<u32>,
    /// The session that it asks for, if it asks and may have one. A session that was pending before is closed by it.
    pub joined: Option<Joined>,
    /// What the device has answered.
    pub news: Vec<News>,
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
    /// Whether the session opens with it; the one that was open before is closed by it.
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
    /// From an uplink to the first window \[s\].
    pub rx1_delay_s: u8,
    /// The join-accept as it travels; [`Network::tick`] has it sent once, after all this is kept.
    pub accept: Vec<u8>,
}

/// The devices and gateways of a site, and the sessions between them.
#[derive(Debug)]
pub struct Network<A> {
    setup: Setup,
    devices: BTreeMap<DevEui, Device>,
    addresses: BTreeMap<DevAddr, DevEui>,
    next_address: A,
    answering: Answering,
    /// When the newest confirmed uplink of a device was last dealt with.
    acknowledged: BTreeMap<DevEui, Moment>,
    clocks: BTreeMap<GatewayEui, GatewayClock>,
    silent: bool,
    next_frame: FrameNumber,
}

impl<A: FnMut() -> DevAddr> Network<A> {
    /// The network of these devices; `next_address` gives an address when a device joins for the first time and is asked
    /// again while it gives one that is taken.
    pub fn new(setup: Setup, members: impl IntoIterator<Item = Member>, next_address: A) -> Self {
        let law = Law::of_region(&setup.region.name);
        let mut network = Self {
            setup,
            devices: BTreeMap::new(),
            addresses: BTreeMap::new(),
            next_address,
            answering: Answering::new(Budget::new(law)),
            acknowledged: BTreeMap::new(),
            clocks: BTreeMap::new(),
            silent: false,
            next_frame: 1,
        };
        for member in members {
            network.restore(member, Vec::new());
        }
        network
    }

    /// Puts a device, known or not, to what was kept of it and of its sessions; what it awaited is given up.
    pub fn restore(&mut self, member: Member, sessions: Vec<KeptSession>) {
        let dev_eui = member.dev_eui;
        self.answering.forget(dev_eui);
        self.acknowledged.remove(&dev_eui);
        self.addresses.retain(|_, owner| *owner != dev_eui);
        let of_sessions = sessions.iter().map(|session| session.dev_addr);
        self.addresses.extend(of_sessions.chain(member.dev_addr).map(|dev_addr| (dev_addr, dev_eui)));
        self.devices.insert(dev_eui, Device::restored(member, sessions));
    }

    /// Counts a downlink that was sent before a restart; those of the last hour are of use.
    pub fn sent_before(
        &mut self,
        gateway: GatewayEui,
        frequency_hz: u32,
        leaves_at: Moment,
        airtime_us: Moment,
    ) {
        let frequency = Frequency::from_hertz(frequency_hz.into());
        self.answering.budget.sent_before(gateway, frequency, leaves_at, airtime_us);
    }

    /// Has a device told something in answer to one of its next uplinks, confirmed and at most three times.
    ///
    /// What becomes of it comes as [`News`]. `None` if no such device is known; then nothing is done.
    pub fn tell(&mut self, dev_eui: DevEui, message: Message) -> Option<()> {
        self.devices.get_mut(&dev_eui).map(|device| device.conversation.tell(message))
    }

    /// Whether nothing is answered for now, because the computer's clock can't be believed: the law's hour and the nodes'
    /// time hang on it. Frames are judged as ever.
    pub fn be_silent(&mut self, silent: bool) {
        self.silent = silent;
        drop(self.answering.gatherings.take(|_| true));
        // How gateways' clocks stood to a clock that has been set since says nothing.
        self.clocks.clear();
    }

    /// Judges one copy of a frame.
    pub fn hear(&mut self, received: &Received) -> Heard {
        self.watch_clock(received);
        let frame = self.next_frame;
        self.next_frame += 1;
        let empty = Heard {
            frame,
            verdict: Verdict::Copy,
            hint: None,
            dev_eui: None,
            session: None,
            uplink: None,
            copies: None,
            joined: None,
            news: Vec::new(),
        };
        match self.judge(received, empty.clone()) {
            Ok(heard) => heard,
            Err(refused) => {
                let (refusal, hint, dev_eui) = *refused;
                Heard { verdict: Verdict::Refused(refusal), hint, dev_eui, ..empty }
            }
        }
    }

    /// The row of a frame is on disk: what it wants may be answered.
    pub fn kept(&mut self, frame: FrameNumber) {
        self.answering.gatherings.kept(frame);
    }

    /// When [`Self::tick`] has something to do, if nothing is heard or kept before.
    pub fn next_tick(&self) -> Option<Moment> {
        self.answering.next_tick(self.setup.gather)
    }

    /// Answers what is gathered and kept.
    pub fn tick(&mut self, now: Moment) -> Vec<Effect> {
        self.answering.tick(&self.setup, &mut self.devices, now)
    }

    /// A gateway says what became of a downlink: sent, or refused with a word.
    pub fn told(&mut self, number: DownlinkNumber, refused: Option<&str>, now: Moment) -> Vec<Effect> {
        self.answering.told(&self.setup, number, refused, now)
    }

    fn judge(&mut self, received: &Received, heard: Heard) -> Result<Heard, Box<Refused>> {
        let refuse = |refusal| Err(Box::new((refusal, None, None)));
        if received.checksum == Checksum::Bad {
            return refuse(Refusal::Checksum);
        }
        if !self.setup.stations.iter().any(|station| station.eui == received.gateway) {
            return refuse(Refusal::Gateway);
        }
        match frame::parse(&received.bytes) {
            Err(error) => refuse(Refusal::Shape(error)),
            Ok(Frame::JoinRequest(request)) => self.join(&request, received, heard),
            Ok(Frame::Data(data)) if data.direction() == Direction::Up => self.data(data, received, heard),
            Ok(Frame::Data(_) | Frame::JoinAccept(_)) => refuse(Refusal::NotUplink),
        }
    }

    fn data(
        &mut self,
        data: DataFrame<'_>,
        received: &Received,
        heard: Heard,
    ) -> Result<Heard, Box<Refused>> {
        let foreign = || Box::new((Refusal::Foreign, None, None));
        let dev_eui = *self.addresses.get(&data.dev_addr()).ok_or_else(foreign)?;
        let device = self.devices.get_mut(&dev_eui).ok_or_else(foreign)?;
        let taken = device.data(data, received).map_err(|refusal| {
            let hint = match refusal {
                Refusal::Mic => Some(Hint::SharedAddress),
                Refusal::UnknownDevice => Some(Hint::Retired),
                _ => None,
            };
            Box::new((refusal, hint, Some(dev_eui)))
        })?;
        let heard = Heard {
            dev_eui: Some(dev_eui),
            session: Some(taken.session),
            verdict: taken.verdict,
            copies: taken.copies,
            hint: strange_channel(&self.setup.region, device, received),
            ..heard
        };
        let Some(uplink) = taken.uplink else {
            let again = taken.repeats_confirmed.then_some((dev_eui, taken.session));
            self.copy(received, (heard.frame, taken.digest), again);
            return Ok(heard);
        };
        let news = if heard.verdict == Verdict::New {
            self.gather(received, (heard.frame, taken.digest), taken.session, &uplink)
        } else {
            Vec::new()
        };
        Ok(Heard { uplink: Some(uplink), news, ..heard })
    }

    /// Begins to wait for copies of an uplink that moved its counter.
    fn gather(
        &mut self,
        received: &Received,
        of: OneFrame,
        session: SessionId,
        uplink: &Uplink,
    ) -> Vec<News> {
        let Some(device) = self.devices.get_mut(&session.dev_eui) else { return Vec::new() };
        let (wants, news) = device.conversation.hears(uplink, received.arrived_at);
        for one in &news {
            if let News::Took(Asked::Delay(delay_s)) = one {
                device.set_delay_s(*delay_s);
            }
        }
        if uplink.confirmed {
            self.acknowledged.insert(session.dev_eui, received.arrived_at);
        }
        let adapts = uplink.control.adr();
        self.await_copies(received, of, Due::Answer { session, wants, adapts, again: false });
        news
    }

    fn await_copies(&mut self, received: &Received, (frame, digest): OneFrame, due: Due) {
        if self.setup.answers != Answers::Never && !self.silent {
            let copy = self.copy_of(received);
            self.answering.gatherings.add(Gathering {
                frame,
                digest,
                due,
                first_at: received.arrived_at,
                copies: vec![copy],
                kept: false,
            });
        }
    }

    /// A copy, by whose gateway it can be answered only if its clock is known.
    fn copy_of(&self, received: &Received) -> compose::Heard {
        let mut copy = compose::Heard::of(received);
        if self.clocks.get(&received.gateway).is_some_and(|clock| clock.other.is_some()) {
            copy.radio.clock_us = None;
        }
        copy
    }

    /// One more copy: of a frame whose copies are awaited, or a repetition that wants its acknowledgement again.
    fn copy(&mut self, received: &Received, of: OneFrame, again: Option<(DevEui, SessionId)>) {
        let copy = self.copy_of(received);
        if let Some(gathering) = self.answering.gatherings.of(&of.1) {
            gathering.copies.push(copy);
            return;
        }
        let Some((dev_eui, session)) = again else { return };
        let before = self.acknowledged.get(&dev_eui).copied();
        if before.is_none_or(|before| received.arrived_at - before > REPEATED_AFTER) {
            self.acknowledged.insert(dev_eui, received.arrived_at);
            let wants = conversation::Wants { acknowledgement: true, ..conversation::Wants::default() };
            self.await_copies(received, of, Due::Answer { session, wants, adapts: false, again: true });
        }
    }

    fn join(
        &mut self,
        request: &JoinRequest<'_>,
        received: &Received,
        heard: Heard,
    ) -> Result<Heard, Box<Refused>> {
        let dev_eui = request.dev_eui();
        let Some(device) = self.devices.get_mut(&dev_eui) else {
            let reversed = dev_eui.byte_reversed();
            let hint = self.devices.contains_key(&reversed).then_some(Hint::DevEuiReversed(reversed));
            return Err(Box::new((Refusal::UnknownDevice, hint, None)));
        };
        let outcome = device.asks(request, received).map_err(|refusal| {
            let hint = join_hint(device, request);
            Box::new((refusal, hint, Some(dev_eui)))
        })?;
        let hint = strange_channel(&self.setup.region, device, received);
        let heard = Heard { dev_eui: Some(dev_eui), hint, ..heard };
        if outcome == JoinOutcome::Copy {
            device.copies_join(received);
            self.copy(received, (heard.frame, digest(&received.bytes)), None);
            return Ok(heard);
        }
        let terms = terms(&self.setup, device);
        let dev_addr = device.member.dev_addr.unwrap_or_else(|| {
            loop {
                let drawn = (self.next_address)();
                if !self.addresses.contains_key(&drawn) {
                    break drawn;
                }
            }
        });
        self.addresses.insert(dev_addr, dev_eui);
        let left = u16::MAX - u16::from(request.dev_nonce());
        let ends = left <= NONCES_LEFT && device.member.random_nonces.is_none();
        let hint = if ends { Some(Hint::NoncesEnd { left }) } else { heard.hint };
        let joined = device.begin(request, received, dev_addr, terms);
        let session = SessionId { dev_eui, join_nonce: joined.join_nonce };
        let of = (heard.frame, digest(&received.bytes));
        self.await_copies(received, of, Due::Accept { session, bytes: joined.accept.clone() });
        Ok(Heard { verdict: Verdict::Join, session: Some(session), joined: Some(joined), hint, ..heard })
    }

    /// A gateway has begun anew, or our own clock was set: what it heard before can't be answered by it, and what it has
    /// sent counts as sent just now, so that no hour gets more than its share. One frame alone may only have come late: until
    /// a second one agrees, the gateway is asked for nothing.
    fn watch_clock(&mut self, received: &Received) {
        let Some(clock_us) = received.radio.clock_us.filter(|_| !self.silent) else { return };
        let shift = (received.arrived_at - i64::from(clock_us)).rem_euclid(CLOCK_WRAPS);
        let clock = self.clocks.entry(received.gateway).or_insert(GatewayClock { shift, other: None });
        if is_near(clock.shift, shift) {
            *clock = GatewayClock { shift, other: None };
        } else if clock.other.is_some_and(|other| is_near(other, shift)) {
            *clock = GatewayClock { shift, other: None };
            self.answering.restarted(received.gateway, received.arrived_at);
        } else {
            clock.other = Some(shift);
        }
    }
}

/// A frame by number and by digest.
type OneFrame = (FrameNumber, FrameDigest);

/// How a gateway's clock stands to ours.
#[derive(Clone, Copy, Debug)]
struct GatewayClock {
    /// Ours less its own, modulo 2^32 \[us\].
    shift: i64,
    /// What one frame said that does not agree: it came late, or it is the first after a jump.
    other: Option<i64>,
}

fn is_near(one: i64, other: i64) -> bool {
    let apart = (one - other).rem_euclid(CLOCK_WRAPS);
    apart.min(CLOCK_WRAPS - apart) <= CLOCK_SLACK
}

/// Why a frame is refused, what may be the matter, and whose it is.
type Refused = (Refusal, Option<Hint>, Option<DevEui>);

fn terms(setup: &Setup, device: &Device) -> Terms {
    let (_, rx2) = setup.region.second_window;
    Terms {
        rx2_data_rate: Bits::new(rx2).expect("data rates of a region have four bits"),
        delay: Bits::new(setup.rx1_delay_s).expect("1 to 15 s"),
        cf_list: channels::cf_list(&setup.region, &device.member.plan.channels),
    }
}

fn join_hint(device: &Device, request: &JoinRequest<'_>) -> Option<Hint> {
    let (found, registered) = (request.join_eui(), device.member.join_eui);
    if found == registered {
        let is_its_own = device.member.retired && request.verify(&device.member.app_key).is_ok();
        return is_its_own.then_some(Hint::Retired);
    }
    let reversed = found.byte_reversed() == registered;
    Some(if reversed { Hint::JoinEuiReversed(registered) } else { Hint::OtherJoinEui { found, registered } })
}

fn strange_channel(region: &Region, device: &Device, received: &Received) -> Option<Hint> {
    let frequency_hz = received.radio.frequency_hz;
    let known = channels::is_channel(region, &device.member.plan.channels, frequency_hz);
    (!known).then_some(Hint::Channel { frequency_hz })
}
