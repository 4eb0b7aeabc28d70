//! What a network is told of before it hears: the devices of the registry, and what the log kept of their sessions.

use std::collections::BTreeSet;

use wire::field::Bits;
use wire::identity::{DevAddr, DevEui, JoinEui};
use wire::join::CfList;
use wire::key::AppKey;
use wire::session::SessionKeys;

use super::conversation::Plan;
use crate::received::Moment;

/// A device of the site, with what was kept of it.
#[derive(Clone, Debug)]
pub struct Member {
    /// Its identity.
    pub dev_eui: DevEui,
    /// Its join server.
    pub join_eui: JoinEui,
    /// Its root key.
    pub app_key: AppKey,
    /// The last nonce that it joined with, if it has joined.
    pub dev_nonce: Option<u16>,
    /// Every nonce that was used, of a device that draws them by chance (LoRaWAN 1.0.2 and before); `None` where they count up.
    pub random_nonces: Option<BTreeSet<u16>>,
    /// The last nonce that it was answered with, 0 before the first.
    pub join_nonce: u32,
    /// Its address, once it has one: the same for life.
    pub dev_addr: Option<DevAddr>,
    /// What its design wants of the network.
    pub plan: Plan,
    /// Whether its row in the registry is closed: it is known, and nothing is accepted of it.
    pub retired: bool,
    /// When it last told battery and reception.
    pub last_status: Option<Moment>,
}

impl Member {
    /// A device that has never joined.
    pub fn enrolled(dev_eui: DevEui, join_eui: JoinEui, app_key: AppKey, plan: Plan) -> Self {
        Self {
            dev_eui,
            join_eui,
            app_key,
            dev_nonce: None,
            random_nonces: None,
            join_nonce: 0,
            dev_addr: None,
            plan,
            retired: false,
            last_status: None,
        }
    }
}

/// A session, as its row says: the key of the row is device and join nonce.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SessionId {
    /// Whose it is.
    pub dev_eui: DevEui,
    /// The network's nonce of its join; 0 of a session without one, whose keys a person typed.
    pub join_nonce: u32,
}

/// Where a session is in its life.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SessionState {
    /// Joined, and not heard since: the one before stays open until it is.
    Pending,
    /// In use.
    Open,
    /// Over.
    Closed,
}

/// A session as the log kept it.
#[derive(Clone, Debug)]
pub struct KeptSession {
    /// The network's nonce of its join, 0 without one.
    pub join_nonce: u32,
    /// The device's nonce of its join.
    pub dev_nonce: u16,
    /// Keys that a person typed; `None`: those of the join.
    pub typed: Option<SessionKeys>,
    /// The device's address.
    pub dev_addr: DevAddr,
    /// Where it is in its life.
    pub state: SessionState,
    /// The newest counter that was accepted.
    pub last_up: Option<u32>,
    /// The newest counter that was sent.
    pub last_down: Option<u32>,
    /// When the newest frame was heard, or the join.
    pub last_heard: Moment,
    /// From an uplink to the first window \[s\], as the join said.
    pub rx1_delay_s: u8,
    /// Its newest accepted frames, in any order: counter and bytes. [`super::REMEMBERED`] are of use; at least those at most
    /// 64 below the newest must be there, else frames that were accepted are accepted again as late.
    pub accepted: Vec<(u32, Vec<u8>)>,
    /// When its join-request was heard, and its bytes.
    pub request: Option<(Moment, Vec<u8>)>,
}

/// What the network tells all devices that join.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Terms {
    pub(super) rx2_data_rate: Bits<4>,
    pub(super) delay: Bits<4>,
    pub(super) cf_list: Option<CfList>,
}
