//! Messages that meet at the gateway: pure ALOHA, capture, and how well spreading factors keep apart.

use design::quantity::{Decibels, Duration};

/// Spreading factors of the tables.
const SLOWEST_SF: u8 = 12;
const FASTEST_SF: u8 = 7;

/// The least ratio of wanted to interfering power at which the wanted message survives, by spreading factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rejection {
    /// Row: wanted, SF7 to SF12. Column: interferer, SF7 to SF12 \[dB\].
    rows: [[f64; 6]; 6],
}

impl Rejection {
    /// Measured on hardware: spreading factors disturb each other once the interferer is 8 to 25 dB stronger, and of two
    /// messages at the same the one that is 1 dB stronger survives.
    ///
    /// # References
    /// Croce et al. 2018, *IEEE Communications Letters* 22(4), 796-799 (tabulated in five public codes).
    pub const CROCE_2018: Self = Self {
        rows: [
            [1.0, -8.0, -9.0, -9.0, -9.0, -9.0],
            [-11.0, 1.0, -11.0, -12.0, -13.0, -13.0],
            [-15.0, -13.0, 1.0, -13.0, -14.0, -15.0],
            [-19.0, -18.0, -17.0, 1.0, -17.0, -18.0],
            [-22.0, -22.0, -21.0, -20.0, 1.0, -20.0],
            [-25.0, -25.0, -25.0, -24.0, -23.0, 1.0],
        ],
    };

    /// The least ratio of wanted to interferer; `None` outside SF7 to SF12.
    pub fn least_ratio(&self, wanted_sf: u8, interferer_sf: u8) -> Option<Decibels> {
        let place = |sf: u8| (FASTEST_SF..=SLOWEST_SF).contains(&sf).then(|| usize::from(sf - FASTEST_SF));
        let ratio_db = self.rows.get(place(wanted_sf)?)?.get(place(interferer_sf)?)?;
        Some(Decibels::from_decibels(*ratio_db))
    }
}

/// Someone who sends now and then, as the gateway hears it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sender {
    /// 7 to 12.
    pub spreading_factor: u8,
    /// Power at the gateway.
    pub received: design::quantity::Dbm,
    /// Of one message.
    pub time_on_air: Duration,
    /// Mean time between two messages.
    pub interval: Duration,
}

/// The share of the wanted sender's messages that survive the others: one is lost if it overlaps a message against which
/// its power falls short of the least ratio. Senders outside SF7 to SF12 are taken for no interference.
///
/// For equal senders that always destroy each other it is pure ALOHA (Abramson 1970), `exp(-2 N T / interval)`: a message
/// is in danger from those that begin up to their own length before it or during it.
#[must_use]
pub fn delivery(wanted: &Sender, others: &[Sender], rejection: &Rejection, channels: f64) -> f64 {
    let destroys = |other: &&Sender| {
        let least = rejection.least_ratio(wanted.spreading_factor, other.spreading_factor);
        least.is_some_and(|least| wanted.received.dbm() - other.received.dbm() < least.decibels())
    };
    let in_danger = |other: &Sender| (wanted.time_on_air + other.time_on_air) / other.interval;
    (-others.iter().filter(destroys).map(in_danger).sum::<f64>() / channels).exp()
}

/// The share of messages above the demodulation floor under Rayleigh fading: `exp(-floor / mean)` of the signal-to-noise
/// ratios. It is H1 of Georgiou & Raza.
///
/// # References
/// Georgiou & Raza 2017, *IEEE Wireless Communications Letters* 6(2), 162-165, eq. 5.
#[must_use]
pub fn above_floor(mean_snr: Decibels, floor_snr: Decibels) -> f64 {
    (-10f64.powf((floor_snr.decibels() - mean_snr.decibels()) / 10.0)).exp()
}
