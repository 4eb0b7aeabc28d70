//! A frame as a gateway heard it.

use wire::identity::GatewayEui;

/// Microseconds since 1970-01-01 UTC.
pub type Moment = i64;

/// What is added to the satellites' time, in microseconds, to get a [`Moment`]: they count from 1980-01-06, and are ahead of
/// UTC by the leap seconds since \[us\].
///
/// # References
/// IS-GPS-200 (1980-01-06); 18 leap seconds since 2017 (from memory).
pub const FROM_SATELLITES: Moment = (315_964_800 - 18) * 1_000_000;
/// How long a gateway may hold a frame back before its own word on the time is no longer believed (own choice: as long as a
/// frame may be late) \[us\].
const HELD_BACK: Moment = 48 * 3_600_000_000;
/// How far a gateway that knows the time may be ahead of this computer's clock (own choice: the least step of a clock that is
/// told of) \[us\].
const AHEAD: Moment = 2_000_000;

/// One copy of a frame: the bytes, who heard them, and how well.
#[derive(Clone, Debug, PartialEq)]
pub struct Received {
    /// When it reached us.
    pub arrived_at: Moment,
    /// Who heard it.
    pub gateway: GatewayEui,
    /// The frame as it travelled; whatever was on the air.
    pub bytes: Vec<u8>,
    /// What the gateway says of its checksum.
    pub checksum: Checksum,
    /// How it was heard.
    pub radio: Radio,
}

impl Received {
    /// When the gateway heard it, if it knows the time and what it says can be true.
    pub fn heard_at(&self) -> Option<Moment> {
        let at = self.radio.gps_us?.checked_add(FROM_SATELLITES)?;
        let held_back = self.arrived_at.checked_sub(at)?;
        (-AHEAD..=HELD_BACK).contains(&held_back).then_some(at)
    }
}

/// The checksum of the packet on the air.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Checksum {
    /// It fits.
    Good,
    /// It does not: the bytes are not what was sent.
    Bad,
    /// There was none.
    None,
}

/// How a frame was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Radio {
    /// Centre of the channel \[Hz\].
    pub frequency_hz: u32,
    /// Modulation and rate as the gateway names it, such as `SF7BW125`.
    pub data_rate: String,
    /// Received power \[dBm\].
    pub rssi_dbm: Option<f64>,
    /// Signal to noise \[dB\].
    pub snr_db: Option<f64>,
    /// The gateway's own clock at the end of the frame, modulo 2^32 \[us\].
    pub clock_us: Option<u32>,
    /// The end of the frame by the satellites' clock: since 1980-01-06, without leap seconds \[us\].
    pub gps_us: Option<i64>,
    /// What a gateway on a websocket wants to see again in an answer.
    pub station: Option<StationClock>,
}

/// When, and by which of its radios, a gateway on a websocket heard a frame: numbers of its own, beyond what a double holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StationClock {
    /// Its clock \[us\].
    pub xtime: i64,
    /// Its radio and antenna.
    pub rctx: i64,
}

/// What a gateway says of itself from time to time: counts since its last report, none where it does not say.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// Frames that it heard.
    pub heard: Option<f64>,
    /// Those with a sound checksum.
    pub intact: Option<f64>,
    /// Those that it passed on.
    pub passed_on: Option<f64>,
    /// Share of its datagrams that were acknowledged \[%\].
    pub acknowledged_percent: Option<f64>,
    /// Answers that it was asked to send.
    pub answers_received: Option<f64>,
    /// Answers that it sent.
    pub answers_sent: Option<f64>,
    /// Where it says that it stands: north and east \[degrees\].
    pub place: Option<(f64, f64)>,
    /// All else, as JSON.
    pub extra: String,
}
