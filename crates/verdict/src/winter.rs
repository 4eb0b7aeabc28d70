//! Will the node stop before the winter is over, and which part is it that should be brought?

use design::node::Design;
use forecast::learn::{CauseKind, DAY_S, Learned, Mend, Silence, WORTH_A_VISIT, date_of};

/// Winter is over at the start of this month: March, south of the equator September.
const OVER: (u8, u8) = (3, 9);
/// More than a year is not looked ahead.
const MOST_DAYS: i64 = 366;

/// A node that stops before the winter is over in more than 1 of 10 lives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Winter {
    /// Share of the lives that stop before it is over.
    pub share: f64,
    /// Days until it is over.
    pub over_days: i64,
    /// Days until 1 in 10 has stopped.
    pub first_days: f64,
    /// Days until half have; none if fewer do.
    pub half_days: Option<f64>,
    /// The part that helps most, and the share of the lives that stop all the same once it is sound and new; none of a node
    /// that is not likely to stop within half a year.
    pub part: Option<(Mend, f64)>,
}

/// Judges what was learned of a node; none if it is likely to see the winter's end.
#[must_use]
pub fn winter(design: &Design, learned: &Learned) -> Option<Winter> {
    let over_days = days_to_the_end(learned.as_of_s, design.site.latitude.degrees());
    let silence = [&learned.silence, &learned.to_the_end];
    let (share, silence) =
        silence.into_iter().find_map(|silence| Some((silence.within(over_days as f64)?, silence)))?;
    let first_days = silence.day_of(WORTH_A_VISIT).filter(|_| share > WORTH_A_VISIT)?;
    let half_days = silence.day_of(0.5).filter(|days| *days <= over_days as f64);
    Some(Winter { share, over_days, first_days, half_days, part: part(learned, over_days) })
}

/// Whole days to the next end of a winter.
fn days_to_the_end(as_of_s: i64, latitude_deg: f64) -> i64 {
    let month = if latitude_deg < 0.0 { OVER.1 } else { OVER.0 };
    let is_over = |days: &i64| {
        let (_, of_year, of_month) = date_of(as_of_s + days * DAY_S);
        (of_year, of_month) == (month, 1)
    };
    (1..=MOST_DAYS).find(is_over).unwrap_or(MOST_DAYS)
}

/// The part that a cause names if that is enough, else the one that helps most.
fn part(learned: &Learned, over_days: i64) -> Option<(Mend, f64)> {
    let left = |silence: &Silence| silence.within(over_days as f64).unwrap_or(silence.p);
    let helps: Vec<(Mend, f64)> =
        learned.helps.iter().map(|(mend, silence)| (*mend, left(silence))).collect();
    let named = learned.causes.iter().find_map(|cause| mend_of(cause.kind));
    let enough = helps.iter().find(|(mend, left)| Some(*mend) == named && *left <= WORTH_A_VISIT);
    enough.or_else(|| helps.iter().min_by(|one, other| one.1.total_cmp(&other.1))).copied()
}

/// The part that a cause is about.
#[must_use]
pub fn mend_of(cause: CauseKind) -> Option<Mend> {
    match cause {
        CauseKind::PanelLow
        | CauseKind::ShadeByHour
        | CauseKind::PanelBuried
        | CauseKind::PanelUnplugged
        | CauseKind::ChargerIdle
        | CauseKind::PanelOrCharger => Some(Mend::Panel),
        CauseKind::LoadUp | CauseKind::RebootLoop => Some(Mend::Board),
        CauseKind::BatteryWorn => Some(Mend::Battery),
        CauseKind::WeatherWorse | CauseKind::GatewayAway => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: from 2026-10-31 (20,757 days after 1970) to 1 March 2027 there are 30 + 31 + 31 + 28 + 1 = 121 days; from
    /// 1 March itself a leap year, 366; in the south from 31 October to 1 September 2027 there are 305.
    #[test]
    fn winter_is_over_in_march_and_in_the_south_in_september() {
        let october = 20_757 * DAY_S;
        assert_eq!(days_to_the_end(october, 47.0), 121);
        assert_eq!(days_to_the_end(october + 121 * DAY_S, 47.0), 366);
        assert_eq!(days_to_the_end(october, -38.0), 305);
    }
}
