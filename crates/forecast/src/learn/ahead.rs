//! How long a node goes on, from where its log ends: the members of the swarm live on under drawn weather.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and days are few"
)]

use super::Band;
use super::days::{HOURS, place_in_year};
use super::model::Model;
use super::particle::{Mend, Particle, profile};
use super::parts::{AFTERNOON, MORNING, SUN};
use crate::life::ensemble::on_threads;
use crate::life::kernel::step;
use crate::random::Stream;
use crate::sky::hours::{LifeWeather, SiteDraw};

/// Streams of what is to come stand apart from those of what was.
const AHEAD: u64 = 1 << 44;

/// When a node falls silent, if nothing further breaks and nobody comes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Silence {
    /// How likely it is to stop.
    pub p: f64,
    /// The same with the luckier and the unluckier of the nodes that it may be.
    pub p_between: (f64, f64),
    /// Days until it stops; one more than were looked at if it doesn't.
    pub days: Band,
    /// Days that were looked at.
    pub within_days: usize,
    /// Days after which each of the lives stopped that do, the soonest first.
    pub stops: Vec<f64>,
    /// Lives that were looked at.
    pub lives: usize,
}

impl Silence {
    /// How likely it is to stop within so many days; none beyond those that were looked at.
    #[must_use]
    pub fn within(&self, days: f64) -> Option<f64> {
        let stopped = self.stops.partition_point(|stop| *stop <= days);
        (days <= self.within_days as f64).then(|| stopped as f64 / self.lives.max(1) as f64)
    }

    /// The day by which this share of the lives has stopped; none if so many don't.
    #[must_use]
    pub fn day_of(&self, share: f64) -> Option<f64> {
        let wanted = (share * self.lives as f64).ceil() as usize;
        self.stops.get(wanted.max(1) - 1).copied()
    }
}

/// Likelier than this to stop is worth a visit: more than 1 life in 10.
pub const WORTH_A_VISIT: f64 = 0.1;

/// From when on, with what.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    /// Day since 1970 on the solar clock, and hours of it that were lived.
    pub(super) day: i64,
    pub(super) hour: usize,
    pub(super) days: usize,
    /// What is done at once.
    pub(super) mend: Option<Mend>,
    pub(super) seed: u64,
    pub(super) threads: usize,
}

/// Lives on with each of these members; `None` where one outlives the days.
pub(super) fn silent_after(model: &Model, members: &[&Particle], start: &Start) -> Vec<Option<f64>> {
    on_threads(start.threads, members.len(), |number| {
        let mut random = Stream::new(start.seed, AHEAD | number as u64);
        let mut member = members[number].clone();
        if let Some(mend) = start.mend {
            member.mend(model, mend);
        }
        live_on(model, &mut member, start, &mut random)
    })
}

/// Days until a member stops.
fn live_on(model: &Model, member: &mut Particle, start: &Start, random: &mut Stream) -> Option<f64> {
    if !member.life.running {
        return Some(0.0);
    }
    let shade = (member.parts[MORNING].exp() as f32, member.parts[AFTERNOON].exp() as f32);
    let profile: [f32; HOURS] = std::array::from_fn(|hour| profile(hour, shade.0, shade.1));
    for index in 0..=start.days {
        let (month, _, place) = place_in_year(start.day + index as i64);
        let from = if index == 0 { start.hour } else { 0 };
        if index > 0 || from == 0 {
            model.weather.next_day(place, &SiteDraw::default(), &mut member.sky, random);
        }
        let gain = (model.sun_doubt(usize::from(month) - 1) * member.parts[SUN]).exp() as f32;
        let mut hours = model.weather.hours(place, &mut member.sky);
        hours.in_plane_w_m2.iter_mut().zip(&profile).for_each(|(w_m2, share)| *w_m2 *= gain * share);
        for hour in from..HOURS {
            let outcome = step(&model.tables, model.kind(place, hour), &hours.hour(hour), &mut member.life);
            if outcome.out() {
                let days = index as f64 + (hour as f64 - start.hour as f64) / HOURS as f64;
                return (days <= start.days as f64).then_some(days);
            }
        }
    }
    None
}

/// What so many lives say.
pub(super) fn silence(lives: &[Option<f64>], within_days: usize) -> Silence {
    let mut days: Vec<f64> = lives.iter().map(|days| days.unwrap_or(within_days as f64 + 1.0)).collect();
    days.sort_by(f64::total_cmp);
    let stopped = lives.iter().filter(|days| days.is_some()).count();
    let (low, high) = crate::stats::wilson(stopped as u32, lives.len() as u32);
    Silence {
        p: stopped as f64 / lives.len().max(1) as f64,
        p_between: (low, high),
        days: Band::of_sorted(&days),
        within_days,
        lives: lives.len(),
        stops: days.into_iter().take(stopped).collect(),
    }
}
