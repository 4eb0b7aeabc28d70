//! Frames that no device sent: bits of genuine ones flipped, counters and payloads under codes drawn by chance, and the air of
//! one session under the address of another. None is accepted, and none moves a counter.

#[expect(dead_code, reason = "the site is needed, not the traffic")]
mod traffic;
#[path = "../../laws/tests/trial/mod.rs"]
#[expect(dead_code, reason = "nothing is skipped here")]
mod trial;

use logbook::network::{Member, Network, Plan, Verdict};
use logbook::received::{Checksum, Radio, Received};
use wire::frame::{Body, Direction, Draft, Frame, FrameControl, Port, parse};
use wire::identity::{DevNonce, GatewayEui};
use wire::session::{Session, SessionKeys};

/// Forgeries in CI; the long form asks for more by `OVERWINTER_FORGERIES`.
const FORGERIES: u64 = 20_000;
/// A genuine frame comes among so many forged ones.
const BETWEEN: u64 = 1000;

/// Numbers that look drawn (xorshift64*, Vigna 2016).
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11
    }

    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next()).expect("53 bits") % end
    }
}

fn heard(bytes: Vec<u8>, gateway: GatewayEui, at: i64) -> Received {
    let radio = Radio {
        frequency_hz: 868_100_000,
        data_rate: "SF7BW125".to_owned(),
        rssi_dbm: Some(-97.0),
        snr_db: Some(7.5),
        clock_us: None,
        gps_us: None,
        station: None,
    };
    Received { arrived_at: at, gateway, bytes, checksum: Checksum::Good, radio }
}

/// Two of the traffic's devices, joined.
struct Air {
    network: Network<logbook::store::setup::Addresses>,
    sessions: Vec<Session>,
    gateway: GatewayEui,
    at: i64,
}

impl Air {
    fn begin() -> Self {
        let site = traffic::site(0);
        let devices: Vec<_> = traffic::devices().into_iter().take(2).collect();
        let members = devices.iter().map(|(_, dev_eui, join_eui, key)| {
            Member::enrolled(*dev_eui, *join_eui, key.clone(), Plan::default())
        });
        let network = Network::new(site.network.clone(), members, site.addresses);
        let (_, gateway) = traffic::gateways().remove(0);
        let mut air = Self { network, sessions: Vec::new(), gateway, at: 1_790_000_000_000_000 };
        for (_, dev_eui, join_eui, key) in &devices {
            let nonce = DevNonce::from(1);
            let request = wire::join::seal_request(key, *join_eui, *dev_eui, nonce).to_vec();
            let joined = air.network.hear(&heard(request, gateway, air.at)).joined.expect("it joins");
            let Ok(Frame::JoinAccept(accept)) = parse(&joined.accept) else { panic!("a join-accept") };
            let granted = accept.decrypt(key).expect("its own");
            let keys = SessionKeys::derive(key, granted.join_nonce, granted.net_id, nonce);
            air.sessions.push(Session::new(granted.dev_addr, &keys.nwk_s_key, &keys.app_s_key));
        }
        air
    }

    fn hear(&mut self, bytes: Vec<u8>) -> Verdict {
        self.at += 1000;
        let verdict = self.network.hear(&heard(bytes, self.gateway, self.at)).verdict;
        // What is waited for is dropped when its time is over.
        drop(self.network.tick(self.at));
        verdict
    }
}

fn sealed(session: &Session, fcnt: u32) -> Vec<u8> {
    let payload = [0x60, 0x08, 0xd8, 0xda, 0x30];
    let body = Body::Application { port: Port::new(10).expect("a port"), payload: &payload, options: &[] };
    let control = FrameControl::default();
    Draft { direction: Direction::Up, confirmed: false, control, fcnt, body }.seal(session).expect("it fits")
}

/// A frame that nobody sent.
fn forged(draw: &mut Draw, sessions: &[Session], fcnt: u32) -> Vec<u8> {
    let mut bytes = sealed(&sessions[0], fcnt);
    let last = bytes.len();
    match draw.below(4) {
        // One to four bits flipped; twice the same one flips none, so they differ.
        0 | 1 => {
            let first = draw.below(8 * last);
            for step in 0..=draw.below(4) {
                let bit = (first + 7 * step) % (8 * last);
                bytes[bit / 8] ^= 1 << (bit % 8);
            }
        }
        // Another counter and payload, under a code that is drawn.
        2 => {
            bytes[6..].iter_mut().for_each(|byte| *byte = draw.next().to_le_bytes()[0]);
        }
        // What another device has sent, under this one's address.
        _ => {
            bytes = sealed(&sessions[1], fcnt + u32::try_from(draw.below(50)).expect("small"));
            let address: [u8; 4] = sealed(&sessions[0], 0)[1..5].try_into().expect("four");
            bytes[1..5].copy_from_slice(&address);
        }
    }
    bytes
}

#[test]
fn nothing_that_nobody_sent_is_accepted() {
    let asked = std::env::var("OVERWINTER_FORGERIES");
    let forgeries = asked.map_or(FORGERIES, |text| text.parse().expect("a number"));
    let mut air = Air::begin();
    let mut draw = Draw(trial::seed(0xf0_69ed).max(1));
    let mut fcnt = 0;
    for number in 0..forgeries {
        if number.is_multiple_of(BETWEEN) {
            let bytes = sealed(&air.sessions[0], fcnt);
            assert_eq!(
                air.hear(bytes),
                Verdict::New,
                "after {number} forgeries the device is heard as before"
            );
            fcnt += 1;
        }
        let bytes = forged(&mut draw, &air.sessions, fcnt);
        let verdict = air.hear(bytes.clone());
        assert!(matches!(verdict, Verdict::Refused(_)), "forgery {number}: {verdict}: {bytes:02x?}");
    }
    trial::note(&format!("{forgeries} frames that nobody sent: none accepted"));
}
