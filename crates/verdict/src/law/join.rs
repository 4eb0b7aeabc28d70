//! Joining while the network does not answer: the back-off of the standard, and the life of the counter of joins.

use design::quantity::Duration;

use super::LawInputs;
use super::duty::HOUR;
use super::hour::periodic_on_air;
use forecast::radio::airtime;

/// Join requests before a 16-bit DevNonce is used up (TS001-1.0.4, section 6.2.5; one end device program stops there).
pub const DEV_NONCES: u32 = 65_536;

/// The back-off of joins and retransmissions: until when after power-up, and the time on air until then from the last
/// phase's end; the third phase repeats each day.
///
/// # References
/// LoRaWAN 1.0.2, chapter 7; LoRaWAN 1.1, table 17; TR007-1.1.
const PHASES: [(f64, f64, f64); 3] = [(0.0, 1.0, 36.0), (1.0, 11.0, 36.0), (11.0, 35.0, 8.7)];

/// One phase of the back-off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct JoinPhase {
    /// Since power-up.
    pub from: Duration,
    /// Since power-up; the last phase repeats.
    pub to: Duration,
    /// Time on air at the fixed retry of the design.
    pub on_air: Duration,
    /// Time on air that the standard allows.
    pub allowed: Duration,
    /// The shortest retry that keeps it.
    pub retry: Duration,
}

/// What happens while the network does not answer.
#[derive(Clone, Debug, PartialEq)]
pub struct JoinPlan {
    /// Slowest data rate of a join request that the channels carry and that keeps the limit on one transmission.
    pub data_rate: u8,
    /// Time on air of one request at it.
    pub request: Duration,
    /// A slower data rate at which the regional plan lets a device join although the request breaks the limit on one
    /// transmission: the rate and the time on air.
    pub too_long: Option<(u8, Duration)>,
    /// Time between two tries in the design.
    pub retry: Duration,
    /// First hour, next ten hours, each day after.
    pub phases: [JoinPhase; 3],
    /// How long the 16-bit counter of joins lasts at the design's retry.
    pub nonces_last: Duration,
    /// How long it lasts at the back-off of the standard.
    pub nonces_last_with_back_off: Duration,
}

impl JoinPlan {
    /// Whether the fixed retry keeps the back-off in all phases.
    pub fn keeps_back_off(&self) -> bool {
        self.phases.iter().all(|phase| phase.on_air <= phase.allowed)
    }
}

/// Data rates at which it may join, slowest first, with the time on air of a request and whether that keeps the limit on
/// one transmission.
fn requests(case: &LawInputs<'_>) -> Vec<(u8, Duration, bool)> {
    let region = &case.radio.region;
    let (from, to) = region.join_data_rates;
    let request = |rate: u8| {
        let modulation = region.modulation(rate)?;
        let on_air = airtime::uplink(modulation, airtime::JOIN_REQUEST)?;
        let limit = case.dwell_at(modulation.occupied_bandwidth()?);
        Some((rate, on_air, limit.is_none_or(|dwell| on_air <= dwell.longest)))
    };
    let carried = |rate: &u8| case.radio.channels.iter().any(|channel| region.carries(*channel, *rate));
    (from..=to).filter(carried).filter_map(request).collect()
}

fn slowest(case: &LawInputs<'_>) -> Option<(u8, Duration)> {
    let requests = requests(case);
    let lawful = requests.iter().find(|(.., lawful)| *lawful).or(requests.first());
    lawful.map(|(rate, on_air, _)| (*rate, *on_air))
}

/// Time on air of one request.
pub(super) fn request(case: &LawInputs<'_>) -> Duration {
    slowest(case).map_or(Duration::ZERO, |(_, request)| request)
}

/// The most in any hour while it tries to join.
pub(super) fn busiest_hour(case: &LawInputs<'_>) -> Duration {
    periodic_on_air(HOUR, request(case), case.radio.join_retry)
}

pub(super) fn plan(case: &LawInputs<'_>) -> Option<JoinPlan> {
    let (data_rate, request) = slowest(case)?;
    let too_long =
        requests(case).first().filter(|(.., lawful)| !lawful).map(|(rate, on_air, _)| (*rate, *on_air));
    let retry = case.radio.join_retry;
    let phase = |(from_h, to_h, allowed_s): (f64, f64, f64)| {
        let (from, to) = (Duration::from_hours(from_h), Duration::from_hours(to_h));
        let allowed = Duration::from_seconds(allowed_s);
        let tries = (to / retry).ceil() - (from / retry).ceil();
        JoinPhase { from, to, on_air: request * tries, allowed, retry: (to - from) * (request / allowed) }
    };
    let phases = PHASES.map(phase);
    let nonces = f64::from(DEV_NONCES);
    let [first, next, daily] = phases;
    let early = (first.allowed + next.allowed) / request;
    let per_day = daily.allowed / request;
    let later = Duration::from_days((nonces - early).max(0.0) / per_day);
    Some(JoinPlan {
        data_rate,
        request,
        too_long,
        retry,
        phases,
        nonces_last: retry * nonces,
        nonces_last_with_back_off: next.to + later,
    })
}
