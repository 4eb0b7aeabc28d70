//! One device: its nonces, and its sessions from the join to the one that follows.

use std::collections::VecDeque;

use wire::frame::{DataFrame, Seen, VerifyError};
use wire::identity::DevAddr;
use wire::join::JoinRequest;
use wire::session::{Session, SessionKeys};

use super::dedup::{Accepted, FrameDigest, digest};
use super::{
    Joined, Member, PRIVATE, Refusal, Uplink, Verdict, Windows, accept, as_nonce, dev_nonce, later_than,
    nonce, uplink,
};
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
    member: Member,
    open: Option<Running>,
    /// Joined, and not heard since: the old session stays open until it is.
    pending: Option<Running>,
    closed: VecDeque<Running>,
    last_join: Option<(Moment, FrameDigest)>,
}

/// A session and what was accepted in it.
#[derive(Debug)]
struct Running {
    session: Session,
    last: Option<u32>,
    last_heard: Moment,
    seen: Seen,
    accepted: Accepted,
}

impl Device {
    pub(super) fn new(member: Member) -> Self {
        Self { member, open: None, pending: None, closed: VecDeque::new(), last_join: None }
    }

    pub(super) fn dev_addr(&self) -> Option<DevAddr> {
        self.member.dev_addr
    }

    /// Judges a join-request; changes nothing.
    pub(super) fn asks(
        &self,
        request: &JoinRequest<'_>,
        received: &Received,
    ) -> Result<JoinOutcome, Refusal> {
        if request.join_eui() != self.member.join_eui {
            return Err(Refusal::UnknownDevice);
        }
        request.verify(&self.member.app_key).ok().ok_or(Refusal::JoinMic)?;
        let again = |(at, known): (Moment, FrameDigest)| {
            known == digest(&received.bytes) && !later_than(received.arrived_at, at, COPY_OF_JOIN)
        };
        if self.last_join.is_some_and(again) {
            return Ok(JoinOutcome::Copy);
        }
        let found = dev_nonce(request);
        match self.member.dev_nonce.filter(|last| found <= *last) {
            Some(last) => Err(Refusal::Nonce { found, last }),
            None => Ok(JoinOutcome::New),
        }
    }

    /// Begins the session that a request asks for.
    pub(super) fn begin(
        &mut self,
        request: &JoinRequest<'_>,
        received: &Received,
        dev_addr: DevAddr,
        windows: Windows,
    ) -> Joined {
        let member = &mut self.member;
        let found = dev_nonce(request);
        member.dev_nonce = Some(found);
        member.join_nonce += 1;
        member.dev_addr = Some(dev_addr);
        let keys = SessionKeys::derive(&member.app_key, nonce(member.join_nonce), PRIVATE, as_nonce(found));
        let session = Session::new(dev_addr, &keys.nwk_s_key, &keys.app_s_key);
        self.pending = Some(Running {
            session,
            last: None,
            last_heard: received.arrived_at,
            seen: Seen::default(),
            accepted: Accepted::default(),
        });
        self.last_join = Some((received.arrived_at, digest(&received.bytes)));
        Joined {
            dev_nonce: found,
            join_nonce: member.join_nonce,
            dev_addr,
            accept: accept(&member.app_key, member.join_nonce, dev_addr, windows),
        }
    }

    /// Judges a data frame and takes it into its session.
    pub(super) fn data(
        &mut self,
        data: DataFrame<'_>,
        received: &Received,
    ) -> Result<(Verdict, Option<Uplink>), Refusal> {
        let frame = digest(&received.bytes);
        if self.open.as_ref().is_some_and(|open| open.accepted.holds(data.carried_fcnt(), &frame)) {
            return Ok((Verdict::Copy, None));
        }
        let refused = match self.open.as_mut().map(|open| open.take(data, frame, received.arrived_at)) {
            Some(Ok((verdict, uplink))) => return Ok((verdict, Some(uplink))),
            Some(Err(refusal)) => refusal,
            None => Refusal::Mic,
        };
        if let Some(Ok((verdict, mut uplink))) =
            self.pending.as_mut().map(|pending| pending.take(data, frame, received.arrived_at))
        {
            uplink.opens = true;
            self.close();
            return Ok((verdict, Some(uplink)));
        }
        let is_recording = refused == Refusal::Mic && self.closed.iter().any(|old| old.made(data));
        Err(if is_recording { Refusal::OldSession } else { refused })
    }

    /// The pending session takes the place of the open one.
    fn close(&mut self) {
        self.closed.extend(std::mem::replace(&mut self.open, self.pending.take()));
        while self.closed.len() > CLOSED {
            self.closed.pop_front();
        }
    }
}

impl Running {
    fn take(
        &mut self,
        data: DataFrame<'_>,
        frame: FrameDigest,
        at: Moment,
    ) -> Result<(Verdict, Uplink), Refusal> {
        let refused = match data.verify(&self.session, self.last) {
            Ok(verified) => {
                let uplink = uplink(&verified, false);
                self.seen = self.seen.after_newer(self.last, uplink.fcnt);
                self.last = Some(uplink.fcnt);
                self.last_heard = at;
                self.accepted.add(uplink.fcnt, frame);
                return Ok((Verdict::New, uplink));
            }
            Err(refused) => refused,
        };
        let Some(last) = self.last else { return Err(Refusal::Mic) };
        match data.verify_late(&self.session, last, self.seen) {
            Ok(verified) if !later_than(at, self.last_heard, LATEST) => {
                let uplink = uplink(&verified, false);
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
