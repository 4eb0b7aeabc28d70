//! One device: its nonces, and its sessions from the join to the one that follows.

use std::collections::VecDeque;

use wire::field::DlSettings;
use wire::frame::{
    self, AcceptedCounters, Body, Content, DataFrame, Direction, Draft, DraftError, Frame, FrameControl,
    Verified, VerifyError,
};
use wire::identity::{DevAddr, DevNonce, GatewayEui, JoinNonce};
use wire::join::{JoinAccept, JoinRequest};
use wire::session::{Session, SessionKeys};

use super::conversation::Conversation;
use super::dedup::{Accepted, FrameDigest, digest};
use super::kept::{KeptSession, Member, SessionId, SessionState, Terms};
use super::{Joined, PRIVATE, Refusal, Uplink, Verdict};
use crate::received::{Moment, Received};

/// A join-request heard again within this time is a copy \[us\] (own choice: gateways differ by less than a second).
const COPY_OF_JOIN: Moment = 2_000_000;
/// A frame is late, and not played back, if its session was heard within this time \[us\].
const LATEST: Moment = 48 * 3_600_000_000;
/// Sessions that are remembered after they were closed, to tell a recording from a forgery.
const CLOSED: usize = 4;

/// What a genuine join-request is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum JoinOutcome {
    /// The one that was answered, heard again.
    Copy,
    /// A new one.
    New,
}

/// A device and its sessions.
#[derive(Debug)]
pub(super) struct Device {
    pub(super) member: Member,
    pub(super) conversation: Conversation,
    open: Option<Running>,
    /// Joined, and not heard since: the old session stays open until it is.
    pending: Option<Running>,
    closed: VecDeque<Running>,
    last_join: Option<LastJoin>,
}

/// A session and what was accepted in it.
#[derive(Debug)]
struct Running {
    join_nonce: u32,
    session: Session,
    delay_s: u8,
    last: Option<u32>,
    last_down: Option<u32>,
    last_heard: Moment,
    seen: AcceptedCounters,
    accepted: Accepted,
    /// The newest confirmed frame, if it is the newest frame: only its repetition is acknowledged again.
    newest_confirmed: Option<FrameDigest>,
}

/// A data frame that was taken.
#[derive(Debug)]
pub(super) struct Taken {
    pub(super) verdict: Verdict,
    pub(super) session: SessionId,
    pub(super) uplink: Option<Uplink>,
    /// Counter of the frame of which it is a copy.
    pub(super) copies: Option<u32>,
    pub(super) digest: FrameDigest,
    /// A copy of the newest confirmed frame, which asks for its acknowledgement.
    pub(super) repeats_confirmed: bool,
}

/// The join-request that was answered, and who heard it: each gateway with its clock.
#[derive(Debug)]
struct LastJoin {
    at: Moment,
    frame: FrameDigest,
    heard: Vec<(GatewayEui, Option<u32>)>,
}

impl LastJoin {
    /// Whether a request is the same transmission: a gateway that hears it at another time by its own clock hears a
    /// recording, because a device never sends the same request twice.
    fn is_copied_by(&self, received: &Received) -> bool {
        let before = self.heard.iter().find(|(gateway, _)| *gateway == received.gateway);
        self.frame == digest(&received.bytes)
            && received.arrived_at.saturating_sub(self.at) <= COPY_OF_JOIN
            && before.is_none_or(|(_, clock_us)| *clock_us == received.radio.clock_us)
    }
}

impl Device {
    pub(super) fn new(member: Member) -> Self {
        let conversation = Conversation::new(&member);
        let closed = VecDeque::new();
        Self { member, conversation, open: None, pending: None, closed, last_join: None }
    }

    /// With the sessions that were kept; of several open or pending ones the newest holds.
    pub(super) fn restored(member: Member, kept: Vec<KeptSession>) -> Self {
        let mut device = Self::new(member);
        let mut kept = kept;
        kept.sort_by_key(|session| session.join_nonce);
        for session in kept {
            let running = Running::restored(&device.member, &session);
            let request =
                session.request.map(|(at, bytes)| LastJoin { at, frame: digest(&bytes), heard: Vec::new() });
            device.last_join = request.or(device.last_join.take());
            let before = match session.state {
                SessionState::Open => device.open.replace(running),
                SessionState::Pending => device.pending.replace(running),
                SessionState::Closed => Some(running),
            };
            device.closed.extend(before);
        }
        device.trim();
        device
    }

    /// Judges a join-request; changes nothing.
    pub(super) fn asks(
        &self,
        request: &JoinRequest<'_>,
        received: &Received,
    ) -> Result<JoinOutcome, Refusal> {
        if self.member.retired || request.join_eui() != self.member.join_eui {
            return Err(Refusal::UnknownDevice);
        }
        request.verify(&self.member.app_key).ok().ok_or(Refusal::JoinMic)?;
        if self.last_join.as_ref().is_some_and(|last| last.is_copied_by(received)) {
            return Ok(JoinOutcome::Copy);
        }
        let found = u16::from(request.dev_nonce());
        let used = match &self.member.random_nonces {
            Some(used) => used.contains(&found).then_some(found),
            None => self.member.dev_nonce.filter(|last| found <= *last),
        };
        used.map_or(Ok(JoinOutcome::New), |last| Err(Refusal::Nonce { found, last }))
    }

    /// Another gateway heard the request that was answered.
    pub(super) fn copies_join(&mut self, received: &Received) {
        self.last_join
            .iter_mut()
            .for_each(|last| last.heard.push((received.gateway, received.radio.clock_us)));
    }

    /// Begins the session that a request asks for.
    pub(super) fn begin(
        &mut self,
        request: &JoinRequest<'_>,
        received: &Received,
        dev_addr: DevAddr,
        terms: Terms,
    ) -> Joined {
        let member = &mut self.member;
        let dev_nonce = u16::from(request.dev_nonce());
        member.dev_nonce = Some(dev_nonce);
        if let Some(used) = &mut member.random_nonces {
            used.insert(dev_nonce);
        }
        member.join_nonce += 1;
        member.dev_addr = Some(dev_addr);
        let kept = KeptSession {
            join_nonce: member.join_nonce,
            dev_nonce,
            typed: None,
            dev_addr,
            state: SessionState::Pending,
            last_up: None,
            last_down: None,
            last_heard: received.arrived_at,
            rx1_delay_s: terms.delay.get(),
            accepted: Vec::new(),
            request: None,
        };
        let accept = JoinAccept {
            join_nonce: nonce(member.join_nonce),
            net_id: PRIVATE,
            dev_addr,
            dl_settings: DlSettings { rx2_data_rate: terms.rx2_data_rate, ..DlSettings::default() },
            rx_delay: terms.delay,
            cf_list: terms.cf_list,
        };
        let accept = accept.seal(&member.app_key);
        let earlier = self.pending.replace(Running::restored(&self.member, &kept));
        self.closed.extend(earlier);
        self.trim();
        let heard = vec![(received.gateway, received.radio.clock_us)];
        self.last_join = Some(LastJoin { at: received.arrived_at, frame: digest(&received.bytes), heard });
        Joined { dev_nonce, join_nonce: kept.join_nonce, dev_addr, rx1_delay_s: terms.delay.get(), accept }
    }

    /// Judges a data frame and takes it into its session.
    pub(super) fn data(&mut self, data: DataFrame<'_>, received: &Received) -> Result<Taken, Refusal> {
        let dev_eui = self.member.dev_eui;
        let id = |running: &Running| SessionId { dev_eui, join_nonce: running.join_nonce };
        if self.member.retired {
            return Err(Refusal::UnknownDevice);
        }
        let frame = digest(&received.bytes);
        let before = |open: &Running| open.accepted.counter_of(data.carried_fcnt(), &frame);
        if let Some((open, fcnt)) = self.open.as_ref().and_then(|open| Some((open, before(open)?))) {
            let repeats_confirmed = open.newest_confirmed == Some(frame);
            let verdict = Verdict::Copy;
            return Ok(Taken {
                verdict,
                session: id(open),
                uplink: None,
                copies: Some(fcnt),
                digest: frame,
                repeats_confirmed,
            });
        }
        let taken = |running: &Running, (verdict, uplink)| Taken {
            verdict,
            session: id(running),
            uplink: Some(uplink),
            copies: None,
            digest: frame,
            repeats_confirmed: false,
        };
        let refused = match &mut self.open {
            Some(open) => match open.take(data, frame, received.arrived_at) {
                Ok(read) => return Ok(taken(open, read)),
                Err(refusal) => refusal,
            },
            None => Refusal::Mic,
        };
        if let Some(pending) = &mut self.pending
            && let Ok((verdict, mut uplink)) = pending.take(data, frame, received.arrived_at)
        {
            uplink.opens = true;
            let taken = taken(pending, (verdict, uplink));
            self.open_pending();
            return Ok(taken);
        }
        let is_recording = refused == Refusal::Mic && self.closed.iter().any(|old| old.made(data));
        Err(if is_recording { Refusal::OldSession } else { refused })
    }

    /// The pending session takes the place of the open one.
    fn open_pending(&mut self) {
        self.closed.extend(std::mem::replace(&mut self.open, self.pending.take()));
        self.trim();
        self.conversation.begins_anew();
    }

    fn trim(&mut self) {
        while self.closed.len() > CLOSED {
            self.closed.pop_front();
        }
    }

    /// From an uplink to the first window \[s\], in the open session.
    pub(super) fn delay_s(&self) -> Option<u8> {
        self.open.as_ref().map(|open| open.delay_s)
    }

    /// The device has taken a new delay.
    pub(super) fn set_delay_s(&mut self, delay_s: u8) {
        self.open.iter_mut().for_each(|open| open.delay_s = delay_s);
    }

    /// Whether an uplink of this session is still of the open one.
    pub(super) fn speaks_in(&self, session: SessionId) -> bool {
        self.open.as_ref().is_some_and(|open| open.join_nonce == session.join_nonce)
    }

    /// Seals a downlink under the next counter of the open session, which is used up by it whatever becomes of the frame;
    /// `None` if no session is open or its counters are used up.
    pub(super) fn seal(
        &mut self,
        confirmed: bool,
        control: FrameControl,
        body: Body<'_>,
    ) -> Option<Result<(u32, Vec<u8>), DraftError>> {
        let open = self.open.as_mut()?;
        let fcnt = match open.last_down {
            Some(last) => last.checked_add(1)?,
            None => 0,
        };
        open.last_down = Some(fcnt);
        let draft = Draft { direction: Direction::Down, confirmed, control, fcnt, body };
        Some(draft.seal(&open.session).map(|bytes| (fcnt, bytes)))
    }
}

impl Running {
    fn restored(member: &Member, kept: &KeptSession) -> Self {
        let derived = || {
            let (join_nonce, dev_nonce) = (nonce(kept.join_nonce), DevNonce::from(kept.dev_nonce));
            SessionKeys::derive(&member.app_key, join_nonce, PRIVATE, dev_nonce)
        };
        let keys = kept.typed.clone().unwrap_or_else(derived);
        let mut accepted = Accepted::default();
        let mut seen = AcceptedCounters::default();
        let mut newest_confirmed = None;
        for (fcnt, bytes) in &kept.accepted {
            accepted.add(*fcnt, digest(bytes));
            seen = kept.last_up.map_or(seen, |last| seen.after_late(last, *fcnt));
            let is_confirmed = matches!(frame::parse(bytes), Ok(Frame::Data(data)) if data.confirmed());
            if is_confirmed && kept.last_up == Some(*fcnt) {
                newest_confirmed = Some(digest(bytes));
            }
        }
        Self {
            join_nonce: kept.join_nonce,
            session: Session::new(kept.dev_addr, &keys.nwk_s_key, &keys.app_s_key),
            delay_s: kept.rx1_delay_s.max(1),
            last: kept.last_up,
            last_down: kept.last_down,
            last_heard: kept.last_heard,
            seen,
            accepted,
            newest_confirmed,
        }
    }

    fn take(
        &mut self,
        data: DataFrame<'_>,
        frame: FrameDigest,
        at: Moment,
    ) -> Result<(Verdict, Uplink), Refusal> {
        let refused = match data.verify(&self.session, self.last) {
            Ok(verified) => {
                let uplink = uplink(&verified);
                self.seen = self.seen.after_newer(self.last, uplink.fcnt);
                self.last = Some(uplink.fcnt);
                self.last_heard = at;
                self.accepted.add(uplink.fcnt, frame);
                self.newest_confirmed = uplink.confirmed.then_some(frame);
                return Ok((Verdict::New, uplink));
            }
            Err(refused) => refused,
        };
        let Some(last) = self.last else { return Err(Refusal::Mic) };
        match data.verify_late(&self.session, last, self.seen) {
            Ok(verified) if at.saturating_sub(self.last_heard) <= LATEST => {
                let uplink = uplink(&verified);
                self.seen = self.seen.after_late(last, uplink.fcnt);
                self.accepted.add(uplink.fcnt, frame);
                Ok((Verdict::Late, uplink))
            }
            Ok(verified) => Err(Refusal::Counter { found: verified.fcnt(), last, used: false }),
            Err(VerifyError::CounterNotAbove { fcnt, .. }) => {
                Err(Refusal::Counter { found: fcnt, last, used: true })
            }
            Err(_) => Err(match refused {
                VerifyError::CounterNotAbove { fcnt, last_seen } => {
                    Refusal::Counter { found: fcnt, last: last_seen, used: self.accepted.used(fcnt) }
                }
                _ => Refusal::Mic,
            }),
        }
    }

    /// Whether a frame was made in this session, whatever its counter.
    fn made(&self, data: DataFrame<'_>) -> bool {
        let newer = data.verify(&self.session, self.last);
        let late = || data.verify_late(&self.session, self.last.unwrap_or_default(), self.seen);
        let genuine = |result: Result<_, VerifyError>| match result {
            Ok(_) | Err(VerifyError::CounterNotAbove { .. }) => true,
            Err(_) => false,
        };
        genuine(newer) || genuine(late())
    }
}

/// What a verified frame carries.
fn uplink(verified: &Verified<'_, '_>) -> Uplink {
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
        opens: false,
    }
}

/// Three octets of a counter; it ends long before they do.
fn nonce(count: u32) -> JoinNonce {
    let [_, high, middle, low] = count.to_be_bytes();
    JoinNonce::from_display_bytes([high, middle, low])
}
