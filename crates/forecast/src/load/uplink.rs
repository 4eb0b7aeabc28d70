//! What a message costs: time on air, waiting and listening, over the data rates in use.

use design::node::RadioUse;
use design::quantity::{Charge, Duration, Share};
use design::region::Modulation;

use crate::radio::airtime;
use crate::radio::link_state::LinkState;

/// Tries of a confirmed message before the device gives up (LoRaWAN 1.0.2, section 18.4, recommends eight).
pub const LARGEST_TRIES: u8 = 8;
/// `RECEIVE_DELAY1` and the second window one second later (RP002-1.0.4, section 3.3).
const FIRST_WINDOW_S: f64 = 1.0;
/// `JOIN_ACCEPT_DELAY1` (RP002-1.0.4, section 3.3).
const JOIN_FIRST_WINDOW_S: f64 = 5.0;
const BETWEEN_WINDOWS_S: f64 = 1.0;

/// Why every data rate in use has a time on air (`every_data_rate_is_refused_or_costs_time_on_air` tries all of them).
const ONLY_KNOWN_RATES: &str =
    "resolve refuses data rates that the region has not or whose time on air is not known";

/// Mean times of one message over the data rates in use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MessageCost {
    /// On air.
    pub sending: Duration,
    /// Between sending and the end of the second window, receiver off.
    pub waiting: Duration,
    /// In both windows, when nothing comes.
    pub listening: Duration,
}

impl MessageCost {
    /// The cost of a message that has so many application bytes at each data rate.
    #[must_use]
    pub fn new(radio: &RadioUse, link: &LinkState, payload_bytes: impl Fn(u8) -> usize) -> Self {
        Self::of_frame(radio, link, |rate| airtime::frame_bytes(payload_bytes(rate)), FIRST_WINDOW_S)
    }

    /// Longest time on air among the data rates in use.
    #[must_use]
    pub fn longest(radio: &RadioUse, link: &LinkState, payload_bytes: impl Fn(u8) -> usize) -> Duration {
        let frame = |rate| airtime::frame_bytes(payload_bytes(rate));
        let times = used(radio, link)
            .map(|(rate, modulation, _)| airtime::uplink(modulation, frame(rate)).expect(ONLY_KNOWN_RATES));
        times.fold(Duration::ZERO, |longest, time| if time > longest { time } else { longest })
    }

    fn of_frame(
        radio: &RadioUse,
        link: &LinkState,
        frame_bytes: impl Fn(u8) -> usize,
        first_window_s: f64,
    ) -> Self {
        let window = |of: Modulation| airtime::window(of, radio.radio.window_symbols);
        let down = |rate: u8| radio.region.down_modulation(rate).and_then(window);
        let second_window = down(radio.region.second_window.1);
        let mut cost = Self { sending: Duration::ZERO, waiting: Duration::ZERO, listening: Duration::ZERO };
        for (rate, modulation, share) in used(radio, link) {
            let first_window = radio.region.answer_rate(rate).and_then(down).or(window(modulation));
            let first_window = first_window.expect(ONLY_KNOWN_RATES);
            let on_air = airtime::uplink(modulation, frame_bytes(rate)).expect(ONLY_KNOWN_RATES);
            let until_second = Duration::from_seconds(first_window_s + BETWEEN_WINDOWS_S);
            cost.sending = cost.sending + on_air * share.fraction();
            cost.waiting = cost.waiting + (until_second - first_window) * share.fraction();
            cost.listening =
                cost.listening + (first_window + second_window.unwrap_or(first_window)) * share.fraction();
        }
        cost
    }
}

/// Charge for one join: a request, the wait and both windows.
#[must_use]
pub fn join_cost(radio: &RadioUse, link: &LinkState) -> Charge {
    let cost = MessageCost::of_frame(radio, link, |_| airtime::JOIN_REQUEST, JOIN_FIRST_WINDOW_S);
    radio.transmit_current.nominal * cost.sending
        + radio.radio.wait * cost.waiting
        + radio.radio.receive * cost.listening
}

/// Mean number of tries when a share `loss` of them gets no acknowledgement.
pub(crate) fn expected_tries(loss: f64) -> f64 {
    if loss < 1.0 {
        (1.0 - loss.powi(i32::from(LARGEST_TRIES))) / (1.0 - loss)
    } else {
        f64::from(LARGEST_TRIES)
    }
}

/// Data rates in use: number, modulation and share.
fn used(radio: &RadioUse, link: &LinkState) -> impl Iterator<Item = (u8, Modulation, Share)> {
    let modulation = |rate| modulation(radio, rate).expect(ONLY_KNOWN_RATES);
    link.data_rates.iter().map(move |(rate, share)| (*rate, modulation(*rate), *share))
}

fn modulation(radio: &RadioUse, data_rate: u8) -> Option<Modulation> {
    radio.region.data_rates.iter().find(|(number, _)| *number == data_rate).map(|(_, modulation)| *modulation)
}
