//! The socket on which gateways are heard and answered by UDP.
//!
//! Acknowledgements of the protocol are sent at once: they acknowledge nothing, and only feed the gateway's own statistics.
//! Everything else waits until the log holds what it rests upon.

use std::collections::BTreeMap;
use std::io;
use std::net::SocketAddr;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use tokio::net::UdpSocket;
use wire::identity::GatewayEui;

use super::udp::{self, Datagram};
use crate::clock::now;
use crate::network::{Downlink, DownlinkNumber};
use crate::store::writer::{Arrival, Inbox};

const VERSION: u8 = 2;
const PUSH_ACK: u8 = 1;
const PULL_RESP: u8 = 3;
const PULL_ACK: u8 = 4;
/// No datagram of UDP over IPv4 is longer \[bytes\].
const LONGEST: usize = 65_535;

/// What gateways have sent since the start.
#[derive(Debug, Default)]
pub struct Counts {
    /// Datagrams.
    pub datagrams: AtomicU64,
    /// Those that are none of the protocol, and entries in the others that are no frame.
    pub unreadable: AtomicU64,
}

/// Gateways that send to a socket, and where answers to each go.
#[derive(Debug)]
pub struct Gateways {
    socket: UdpSocket,
    addresses: Mutex<BTreeMap<GatewayEui, SocketAddr>>,
    /// Answers by gateway and token, until the gateway says what became of them; a token comes again after 65,536.
    asked: Mutex<BTreeMap<(GatewayEui, [u8; 2]), DownlinkNumber>>,
    counts: Counts,
}

impl Gateways {
    /// Listens on an address.
    ///
    /// # Errors
    /// What the system says if it can't be had.
    pub async fn listen(address: SocketAddr) -> io::Result<Arc<Self>> {
        let socket = UdpSocket::bind(address).await?;
        Ok(Arc::new(Self {
            socket,
            addresses: Mutex::default(),
            asked: Mutex::default(),
            counts: Counts::default(),
        }))
    }

    /// Where it listens.
    ///
    /// # Errors
    /// What the system says if it can't tell.
    pub fn address(&self) -> io::Result<SocketAddr> {
        self.socket.local_addr()
    }

    /// What gateways still say of answers means nothing any more: whoever asked them numbers anew.
    pub fn forget_answers(&self) {
        self.asked.lock().unwrap_or_else(PoisonError::into_inner).clear();
    }

    /// What was counted.
    pub const fn counts(&self) -> &Counts {
        &self.counts
    }

    /// Hears gateways until it is dropped; what they bring goes to the inbox, and is counted there if there is no room.
    pub async fn hear(&self, inbox: &Inbox) {
        let mut buffer = vec![0; LONGEST];
        loop {
            // An error here tells of an earlier datagram that could not be delivered; others still come.
            let Ok((length, from)) = self.socket.recv_from(&mut buffer).await else { continue };
            self.counts.datagrams.fetch_add(1, Ordering::Relaxed);
            let Some(bytes) = buffer.get(..length) else { continue };
            match udp::read(bytes, now()) {
                Ok(datagram) => self.take(datagram, from, inbox).await,
                Err(_) => drop(self.counts.unreadable.fetch_add(1, Ordering::Relaxed)),
            }
        }
    }

    async fn take(&self, datagram: Datagram, from: SocketAddr, inbox: &Inbox) {
        match datagram {
            Datagram::Push { token, gateway, frames, unreadable, report } => {
                self.acknowledge(token, PUSH_ACK, from).await;
                self.counts.unreadable.fetch_add(unreadable as u64, Ordering::Relaxed);
                if let Some(report) = report {
                    let _counted = inbox.offer(Arrival::Report { gateway, at: now(), report }, None);
                }
                for frame in frames {
                    let _counted = inbox.offer(Arrival::Frame(frame, "udp"), None);
                }
            }
            Datagram::Pull { token, gateway } => {
                self.acknowledge(token, PULL_ACK, from).await;
                self.addresses.lock().unwrap_or_else(PoisonError::into_inner).insert(gateway, from);
                let address = Some(from.to_string());
                let _counted = inbox.offer(Arrival::SignOfLife { gateway, at: now(), address }, None);
            }
            Datagram::Sent { token, gateway, refused } => {
                let asked =
                    self.asked.lock().unwrap_or_else(PoisonError::into_inner).remove(&(gateway, token));
                if let Some(number) = asked {
                    let _counted = inbox.offer(Arrival::Answered { number, refused }, None);
                }
            }
        }
    }

    async fn acknowledge(&self, [t0, t1]: [u8; 2], kind: u8, to: SocketAddr) {
        // A gateway that does not hear it counts it, and sends again or not.
        let _unheard = self.socket.send_to(&[VERSION, t0, t1, kind], to).await;
    }

    /// Asks a gateway to send; false if it has not asked for answers yet, or the network does not take it.
    pub fn answer(&self, downlink: &Downlink) -> bool {
        let gateway = downlink.gateway;
        let address = self.addresses.lock().unwrap_or_else(PoisonError::into_inner).get(&gateway).copied();
        let Some(address) = address else { return false };
        let [.., t0, t1] = downlink.number.to_be_bytes();
        self.asked
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .insert((gateway, [t0, t1]), downlink.number);
        let mut bytes = vec![VERSION, t0, t1, PULL_RESP];
        bytes.extend_from_slice(udp::answer(downlink).as_bytes());
        self.socket.try_send_to(&bytes, address).is_ok()
    }
}
