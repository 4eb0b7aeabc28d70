//! What a design sends and when it can fall together.

use design::message::bytes_at;
use design::node::{Activity, Condition, Design, Load, Step};
use design::quantity::{Duration, Share};
use design::schedule::Schedule;

use super::Rate;
use super::hour::periodic_on_air;
use forecast::radio::airtime;

/// Tries of a confirmed message, the same as the charge is counted with.
pub(super) const TRIES: f64 = forecast::load::LARGEST_TRIES as f64;

/// Data rates that a plan can number.
const RATES: u8 = 16;

/// One message of an activity.
pub(super) struct Message {
    pub(super) name: String,
    pub(super) field: String,
    /// Application bytes by data rate: a designed message has a short form for slow ones.
    by_rate: Vec<usize>,
    pub(super) confirmed: bool,
    pub(super) every: Schedule,
}

impl Message {
    /// Application bytes at a data rate.
    pub(super) fn bytes(&self, rate: &Rate) -> usize {
        self.by_rate.get(usize::from(rate.number)).copied().unwrap_or_default()
    }

    /// Time on air of one try.
    pub(super) fn airtime(&self, rate: &Rate) -> Duration {
        let on_air = airtime::uplink(rate.modulation, airtime::frame_bytes(self.bytes(rate)));
        on_air.expect("resolve allows no data rate whose time on air is not known")
    }

    /// Time on air of all its tries.
    pub(super) fn with_tries(&self, rate: &Rate) -> Duration {
        self.airtime(rate) * if self.confirmed { TRIES } else { 1.0 }
    }
}

/// An activity that sends: its messages follow each other at once.
pub(super) struct Source {
    pub(super) name: String,
    pub(super) field: String,
    messages: std::ops::Range<usize>,
    when: Condition,
    every: Schedule,
}

/// Everything a design sends.
pub(super) struct Traffic {
    pub(super) messages: Vec<Message>,
    pub(super) sources: Vec<Source>,
    /// Longest and shortest time a day on the move.
    moving_hours: (f64, f64),
}

/// The busiest hour: who fills it.
pub(super) struct Busiest {
    pub(super) total: Duration,
    /// Index of the source with most of it, and its part.
    pub(super) most: Option<(usize, Duration)>,
}

const HOUR: Duration = Duration::from_hours(1.0);

impl Traffic {
    pub(super) fn new(design: &Design) -> Self {
        let mut traffic =
            Self { messages: Vec::new(), sources: Vec::new(), moving_hours: moving_hours(design) };
        for load in &design.loads {
            for activity in &load.activities {
                traffic.add(design, load, activity);
            }
        }
        traffic
    }

    fn add(&mut self, design: &Design, load: &Load, activity: &Activity) {
        let field = format!("load.{}.activity.{}", load.name, activity.name);
        let first = self.messages.len();
        let several = activity.steps.iter().filter(|step| matches!(step, Step::Uplink { .. })).count() > 1;
        for step in &activity.steps {
            if let Step::Uplink { message, payload, confirmed, .. } = step {
                let number = self.messages.len() - first + 1;
                let name =
                    if several { format!("{} ({number})", activity.name) } else { activity.name.clone() };
                let at = |rate: u8| bytes_at(&design.messages, message.as_deref(), *payload, rate);
                let by_rate = (0..RATES).map(at).collect();
                let (confirmed, every) = (*confirmed, activity.every.clone());
                self.messages.push(Message { name, field: field.clone(), by_rate, confirmed, every });
            }
        }
        let (messages, every) = (first..self.messages.len(), activity.every.clone());
        if !messages.is_empty() && every.intervals().next().is_some() {
            let (name, when) = (activity.name.clone(), activity.when.clone());
            self.sources.push(Source { name, field, messages, when, every });
        }
    }

    /// Time on air of one occurrence of a source, with all tries or with the first only.
    pub(super) fn burst(&self, source: &Source, rate: &Rate, tries: bool) -> Duration {
        let messages = self.messages.get(source.messages.clone()).unwrap_or_default();
        messages
            .iter()
            .map(|message| if tries { message.with_tries(rate) } else { message.airtime(rate) })
            .sum()
    }

    /// The busiest hour at a data rate, over all situations that can occur and all levels of charge.
    ///
    /// An hour that begins in one situation and ends in another can hold one occurrence more of what ended.
    pub(super) fn busiest_hour(&self, rate: &Rate, tries: bool) -> Busiest {
        let mut busiest = Busiest { total: Duration::ZERO, most: None };
        for situation in situations() {
            for level in self.levels() {
                let parts: Vec<Duration> = self
                    .sources
                    .iter()
                    .map(|source| self.part(source, rate, tries, situation, level))
                    .collect();
                let total = parts.iter().copied().sum();
                if total > busiest.total {
                    let most = parts
                        .iter()
                        .copied()
                        .enumerate()
                        .max_by(|a, b| a.1.seconds().total_cmp(&b.1.seconds()));
                    busiest = Busiest { total, most };
                }
            }
        }
        busiest
    }

    fn part(
        &self,
        source: &Source,
        rate: &Rate,
        tries: bool,
        situation: Situation,
        level: Share,
    ) -> Duration {
        let burst = self.burst(source, rate, tries);
        match source.every.at(situation.month, level) {
            Some(interval) if situation.allows(&source.when) => periodic_on_air(HOUR, burst, interval),
            Some(_) => burst,
            None => Duration::ZERO,
        }
    }

    /// The most in any day, with all tries: hours and time on the move as the design states them.
    pub(super) fn busiest_day(&self, rate: &Rate) -> Duration {
        let mut busiest = Duration::ZERO;
        for month in 1..=12 {
            for level in self.levels() {
                let in_season =
                    |source: &&Source| source.when.months.is_empty() || source.when.months.contains(&month);
                let day = self.sources.iter().filter(in_season).filter_map(|source| {
                    let hours = Duration::from_hours(self.hours_a_day(&source.when));
                    Some(periodic_on_air(
                        hours,
                        self.burst(source, rate, true),
                        source.every.at(month, level)?,
                    ))
                });
                let total = day.sum();
                busiest = if total > busiest { total } else { busiest };
            }
        }
        busiest
    }

    fn hours_a_day(&self, when: &Condition) -> f64 {
        let of_day =
            when.hours.map_or(24.0, |(from, to)| match (i32::from(to) - i32::from(from)).rem_euclid(24) {
                0 => 24.0,
                hours => f64::from(hours),
            });
        let of_moving = when
            .moving
            .map_or(24.0, |moving| if moving { self.moving_hours.0 } else { 24.0 - self.moving_hours.1 });
        of_day.min(of_moving)
    }

    fn levels(&self) -> Vec<Share> {
        let mut levels: Vec<Share> = self
            .sources
            .iter()
            .flat_map(|source| source.every.rows().iter().map(|(share, _)| *share))
            .collect();
        levels.sort_by(|a, b| a.fraction().total_cmp(&b.fraction()));
        levels.dedup();
        levels
    }
}

/// Without a diary that moves, a condition on moving may hold all day or never.
fn moving_hours(design: &Design) -> (f64, f64) {
    let hours = design.diary.iter().map(|stay| {
        stay.moving.map_or(0.0, |(from, to)| f64::from((i32::from(to) - i32::from(from)).rem_euclid(24)))
    });
    let longest = hours.fold(0.0, f64::max);
    (if longest > 0.0 { longest } else { 24.0 }, 0.0)
}

/// A kind of hour.
#[derive(Clone, Copy)]
struct Situation {
    month: u8,
    hour: u8,
    moving: bool,
}

fn situations() -> impl Iterator<Item = Situation> {
    (1..=12).flat_map(|month| {
        (0..24).flat_map(move |hour| [false, true].map(|moving| Situation { month, hour, moving }))
    })
}

impl Situation {
    fn allows(self, when: &Condition) -> bool {
        when.moving.is_none_or(|moving| moving == self.moving)
            && (when.months.is_empty() || when.months.contains(&self.month))
            && when.hours.is_none_or(|(from, to)| forecast::diary::hour_between(self.hour, from, to))
    }
}
