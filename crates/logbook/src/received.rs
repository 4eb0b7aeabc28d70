//! A frame as a gateway heard it.

use wire::identity::GatewayEui;

/// Microseconds since 1970-01-01 UTC.
pub type Moment = i64;

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
