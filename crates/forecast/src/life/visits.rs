//! How often somebody must come.
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "lives have few years")]

use super::run::{LifeRun, LivedHour, Recorder, Running, Trial};
use crate::sky::light::YEAR_DAYS;

/// What a day shows of an outage and its end.
#[derive(Default)]
struct Outage {
    out: bool,
    back: bool,
    running: Running,
}

impl Recorder for Outage {
    fn hour(&mut self, hour: &LivedHour<'_>) {
        self.out |= hour.outcome.out();
        self.back |= self.running.pass(hour.hours, hour.outcome.out());
    }
}

/// How often somebody must come in one life: once for each outage that does not end by itself within a year. Whoever comes
/// comes on the next day and leaves a battery as new as the first, but at most once a month over the life.
#[must_use]
pub fn visits(trial: &Trial<'_>, number: u64) -> u32 {
    let mut run = LifeRun::new(trial, number, None);
    let (mut visits, mut index, mut running) = (0, 0, Running::default());
    let mut stopped: Option<(usize, LifeRun<'_>)> = None;
    let most = (12.0 * trial.years()).ceil() as u32;
    while visits < most && (index < trial.days || stopped.is_some()) {
        let mut seen = Outage { running, ..Outage::default() };
        run.live_day(index, &mut seen);
        running = seen.running;
        index += 1;
        match stopped.take() {
            None if seen.out => stopped = Some((index, run.clone())),
            Some((since, at_stop)) if !seen.back && index < since + YEAR_DAYS && trial.has_sun() => {
                stopped = Some((since, at_stop));
            }
            Some((since, at_stop)) if !seen.back => {
                run = at_stop;
                run.change_battery();
                (visits, index, running) = (visits + 1, since, Running::default());
            }
            None | Some(_) => {}
        }
    }
    visits
}
