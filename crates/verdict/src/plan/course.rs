//! What a node sends over the year whose intervals depend on the charge.

use design::quantity::Duration;
use forecast::life::run::{LifeOutcome, Trial};
use forecast::sky::light::YEAR_DAYS;
use forecast::stats;

use super::kept::FRESH_LIVES;

/// What a node with intervals by charge sends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Course {
    /// Reports in a year, mean over lives.
    pub per_year: f64,
    /// Month with the fewest reports, 1 to 12, and how many a day.
    pub poorest: (u8, f64),
    /// Longest silence of 95 % of the lives.
    pub longest_silence: Duration,
}

/// What lives with intervals by charge send.
#[must_use]
pub fn course(trial: &Trial<'_>, lives: &[LifeOutcome]) -> Course {
    let mut days = [0.0; 12];
    let mut sent = [0.0; 12];
    for life in lives {
        for day in 0..trial.days {
            days[trial.weather.month_of((life.start_day + day) % YEAR_DAYS)] += 1.0;
        }
        sent.iter_mut().zip(&life.sent_by_month).for_each(|(sum, month)| *sum += month);
    }
    let total: f64 = sent.iter().sum();
    let daily = |month: usize| if days[month] > 0.0 { sent[month] / days[month] } else { f64::INFINITY };
    let poorest = (0..12).min_by(|one, other| daily(*one).total_cmp(&daily(*other))).unwrap_or(0);
    let month = u8::try_from(poorest + 1).unwrap_or(12);
    let mut silences: Vec<f64> = lives.iter().map(|life| f64::from(life.longest_silence_h)).collect();
    silences.sort_by(f64::total_cmp);
    let silence_h = if silences.is_empty() { 0.0 } else { stats::quantile(&silences, FRESH_LIVES) };
    Course {
        per_year: total * YEAR_DAYS as f64 / days.iter().sum::<f64>().max(1.0),
        poorest: (month, daily(poorest)),
        longest_silence: Duration::from_hours(silence_h),
    }
}
