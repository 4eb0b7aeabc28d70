//! The gateway of the demonstration: it hears the nodes, and speaks to the real port.

use std::io::{self, ErrorKind};
use std::net::UdpSocket;
use std::time::{Duration, Instant};

use logbook::base64;
use serde_json::{Value, json};

/// The gateway of the site file.
const GATEWAY: [u8; 8] = [0x02, 0, 0, 0xff, 0xfe, 0, 0, 1];
/// Keep-alive of the protocol.
const ALIVE: Duration = Duration::from_secs(5);
const PUSH_DATA: u8 = 0;
const PULL_DATA: u8 = 2;
const PULL_RESP: u8 = 3;
const TX_ACK: u8 = 5;

/// The gateway.
pub(super) struct Air {
    socket: UdpSocket,
    begun: Instant,
    alive: Option<Instant>,
    token: u16,
}

/// A frame on the air, and how well it is heard.
#[derive(Clone, Debug)]
pub(super) struct OnAir {
    pub(super) bytes: Vec<u8>,
    /// As gateways name it, such as `SF7BW125`.
    pub(super) data_rate: String,
    pub(super) rssi_dbm: f64,
    pub(super) snr_db: f64,
}

impl Air {
    /// A gateway that speaks to a port.
    pub(super) fn open(port: &str) -> io::Result<Self> {
        let socket = UdpSocket::bind("127.0.0.1:0")?;
        socket.connect(port)?;
        socket.set_nonblocking(true)?;
        Ok(Self { socket, begun: Instant::now(), alive: None, token: 0 })
    }

    /// Says from time to time that it lives.
    pub(super) fn sign_of_life(&mut self) -> io::Result<()> {
        if self.alive.is_some_and(|last| last.elapsed() < ALIVE) {
            return Ok(());
        }
        self.alive = Some(Instant::now());
        self.send(PULL_DATA, "")
    }

    /// Passes on a frame that it hears.
    pub(super) fn carry(&mut self, frame: &OnAir) -> io::Result<()> {
        let clock_us = self.begun.elapsed().as_micros() % (1 << 32);
        let packet = json!({ "rxpk": [{
            "tmst": u64::try_from(clock_us).unwrap_or_default(),
            "freq": 868.1, "stat": 1, "modu": "LORA", "datr": frame.data_rate, "codr": "4/5",
            "rssi": frame.rssi_dbm.round(), "lsnr": (10.0 * frame.snr_db).round() / 10.0,
            "size": frame.bytes.len(), "data": base64::encode(&frame.bytes),
        }] });
        self.send(PUSH_DATA, &packet.to_string())
    }

    /// What it was asked to send since; each is acknowledged.
    pub(super) fn answers(&mut self) -> io::Result<Vec<Vec<u8>>> {
        let mut found = Vec::new();
        let mut buffer = [0; 2048];
        loop {
            let length = match self.socket.recv(&mut buffer) {
                Ok(length) => length,
                // The server has gone, or nothing waits.
                Err(error)
                    if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::ConnectionRefused) =>
                {
                    return Ok(found);
                }
                Err(error) => return Err(error),
            };
            let Some(&[_, t0, t1, PULL_RESP, ref json @ ..]) = buffer.get(..length) else { continue };
            let Ok(asked) = serde_json::from_slice::<Value>(json) else { continue };
            let bytes = asked["txpk"]["data"].as_str().map(base64::decode);
            if let Some(Ok(bytes)) = bytes {
                self.token = u16::from_be_bytes([t0, t1]);
                self.send(TX_ACK, "")?;
                found.push(bytes);
            }
        }
    }

    fn send(&mut self, kind: u8, json: &str) -> io::Result<()> {
        if kind != TX_ACK {
            self.token = self.token.wrapping_add(1);
        }
        let [t0, t1] = self.token.to_be_bytes();
        let datagram = [&[2, t0, t1, kind][..], &GATEWAY, json.as_bytes()].concat();
        match self.socket.send(&datagram) {
            Ok(_) => Ok(()),
            // The server is not there yet, or no longer.
            Err(error) if error.kind() == ErrorKind::ConnectionRefused => Ok(()),
            Err(error) => Err(error),
        }
    }
}
