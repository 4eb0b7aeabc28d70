//! A node is on the air for longer than the law allows in an hour.
//!
//! # References
//! The limits are data of `design::law`, each with its clause.

use serde_json::json;

use super::HOUR;
use super::alarm::{Finding, evidence};
use super::event::Uplink;
use super::plan::Granted;
use crate::received::Moment;

/// Time on the air in the hour that runs, for each sub-band of the plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct OnAir {
    hour: Moment,
    spent: Vec<Moment>,
    last_over: Option<(Moment, Moment, f64)>,
}

impl OnAir {
    /// An uplink, and those between it and the one before, which were sent as well.
    pub(super) fn hear(&mut self, at: Moment, uplink: &Uplink, messages: u32, granted: &[Granted]) {
        let (Some(airtime), Some(frequency)) = (uplink.airtime_us, uplink.frequency_hz) else { return };
        let hour = at.div_euclid(HOUR);
        if hour != self.hour || self.spent.len() != granted.len() {
            (self.hour, self.spent) = (hour, vec![0; granted.len()]);
        }
        for (spent, granted) in self.spent.iter_mut().zip(granted) {
            if (granted.from_hz..granted.to_hz).contains(&frequency) {
                *spent += airtime * Moment::from(messages);
                if *spent as f64 > granted.share * HOUR as f64 {
                    self.last_over = Some((hour, *spent, granted.share));
                }
            }
        }
    }

    /// An hour over the law is wrong; the next one that is not ends it.
    pub(super) fn find(&self, now: Moment) -> Finding {
        let hour = now.div_euclid(HOUR);
        match self.last_over {
            Some((over, spent, share)) if over == hour => Finding::Wrong(evidence([
                ("on_air_s", json!((spent as f64 / 1e5).round() / 10.0)),
                ("allowed_s", json!((36_000.0 * share).round() / 10.0)),
                ("within_h", json!(1)),
            ])),
            Some((over, ..)) if over + 1 >= hour => Finding::Between,
            _ => Finding::Right,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    /// 1 % of an hour is 36 s; SF12 with 51 bytes lasts about 2.8 s: thirteen are 36.4 s.
    #[test]
    fn thirteen_long_messages_in_an_hour_are_over_one_percent_and_twelve_are_not() {
        let granted = [Granted { from_hz: 868_000_000, to_hz: 868_600_000, share: 0.01 }];
        let uplink =
            Uplink { airtime_us: Some(2_800_000), frequency_hz: Some(868_100_000), ..Uplink::default() };
        let mut on_air = OnAir::default();
        (0..12).for_each(|minute| on_air.hear(minute * MINUTE, &uplink, 1, &granted));
        assert_eq!(on_air.find(12 * MINUTE), Finding::Right, "33.6 s");
        on_air.hear(13 * MINUTE, &uplink, 1, &granted);
        let Finding::Wrong(evidence) = on_air.find(13 * MINUTE) else { panic!("36.4 s") };
        assert_eq!((&evidence["on_air_s"], &evidence["allowed_s"]), (&json!(36.4), &json!(36.0)));
        on_air.hear(61 * MINUTE, &uplink, 1, &granted);
        assert_eq!(on_air.find(61 * MINUTE), Finding::Between);
        assert_eq!(on_air.find(120 * MINUTE), Finding::Right);
        // What was lost was sent as well; another sub-band has its own hour.
        on_air.hear(121 * MINUTE, &uplink, 13, &granted);
        assert!(matches!(on_air.find(121 * MINUTE), Finding::Wrong(_)));
        let elsewhere = Uplink { frequency_hz: Some(869_525_000), ..uplink };
        let mut on_air = OnAir::default();
        on_air.hear(0, &elsewhere, 20, &granted);
        assert_eq!(on_air.find(0), Finding::Right);
    }
}
