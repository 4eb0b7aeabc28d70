//! A log cut into days of the place's mean solar clock, and each day into what its hours say.

use super::{DAY_S, Reading};
use crate::sky::sun::{date, days_since_1970};

pub(super) const HOURS: usize = 24;
/// Blocks of hours in which voltages are compared.
pub const BLOCKS: usize = 6;
pub(super) const BLOCK_H: usize = HOURS / BLOCKS;
const HOUR_S: i64 = 3600;
/// A count before the day tells of its minutes only if it is no older: then it is night all the while (own choice) \[h\].
const OLDEST_COUNT_H: f64 = 9.0;
/// Gaps of the box temperature up to this are filled straight \[h\].
const LONGEST_BOX_GAP: usize = 8;

/// Year of a moment, UTC.
pub(super) fn year_of(at_s: i64) -> i32 {
    date(at_s.div_euclid(DAY_S)).0
}

/// The mean solar clock of a place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SolarClock {
    ahead_s: i64,
}

impl SolarClock {
    /// At a longitude [°].
    #[expect(clippy::cast_possible_truncation, reason = "half a day at most")]
    pub(super) fn new(longitude_deg: f64) -> Self {
        Self { ahead_s: (longitude_deg * 240.0).round() as i64 }
    }

    /// Number of the day, counted since 1970, and the hour of it.
    pub(super) fn day_and_hour(self, at_s: i64) -> (i64, f64) {
        let local_s = at_s + self.ahead_s;
        let second = local_s.rem_euclid(DAY_S);
        (local_s.div_euclid(DAY_S), second as f64 / HOUR_S as f64)
    }

    /// The moment at which a day begins \[s since 1970, UTC\].
    pub(super) fn begins_s(self, day: i64) -> i64 {
        day * DAY_S - self.ahead_s
    }
}

/// Month, day of the month, and day of the nominal year (the first of January being 0; 29 February is the 28th again).
pub(super) fn place_in_year(day: i64) -> (u8, u8, usize) {
    let (_, month, of_month) = date(day);
    let of_month = if (month, of_month) == (2, 29) { 28 } else { of_month };
    let nominal = days_since_1970(2025, month, of_month) - days_since_1970(2025, 1, 1);
    (month, of_month, usize::try_from(nominal).unwrap_or(0))
}

/// Minutes in charge between two hours of a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct MinutesSeen {
    pub(super) minutes: f64,
    pub(super) from_h: f64,
    pub(super) to_h: f64,
}

/// What a day says.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct DaySeen {
    /// Counted since 1970 on the solar clock.
    pub(super) day: i64,
    /// Day of the nominal year.
    pub(super) place: usize,
    /// Month, January being 0.
    pub(super) month: usize,
    /// Readings of the voltage by hour: how many, and their mean \[V\].
    pub(super) volts: [(u16, f32); HOURS],
    pub(super) minutes: Option<MinutesSeen>,
    /// Box by hour [°C].
    pub(super) box_celsius: Option<[f32; HOURS]>,
    pub(super) restarts: u32,
    /// Highest voltage of the panel \[V\].
    pub(super) panel_volts: Option<f32>,
    /// Hours that were lived, from and up to.
    pub(super) hours: (usize, usize),
}

/// Where the counter stood when it was last heard of.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Counted {
    pub(super) last: Option<(i64, u32)>,
}

impl DaySeen {
    /// A day of so many hours of which nothing was heard.
    pub(super) fn unseen(day: i64, hours: (usize, usize)) -> Self {
        let (month, _, place) = place_in_year(day);
        Self {
            day,
            place,
            month: usize::from(month) - 1,
            volts: [(0, 0.0); HOURS],
            minutes: None,
            box_celsius: None,
            restarts: 0,
            panel_volts: None,
            hours,
        }
    }

    /// A day and what was heard in it, in the order of time.
    pub(super) fn new(
        day: i64,
        hours: (usize, usize),
        readings: &[Reading],
        clock: SolarClock,
        modulus: u32,
        counted: &mut Counted,
    ) -> Self {
        let mut seen = Self::unseen(day, hours);
        let mut boxes = [(0_u16, 0.0_f32); HOURS];
        for reading in readings {
            let hour = hour_of(clock, reading.at_s);
            if let Some(volts) = reading.battery {
                add(&mut seen.volts[hour], volts.volts());
            }
            if let Some(air) = reading.box_air {
                add(&mut boxes[hour], air.celsius());
            }
            if let Some(panel) = reading.panel {
                seen.panel_volts = Some(seen.panel_volts.unwrap_or(0.0).max(single(panel.volts())));
            }
            seen.restarts += u32::from(reading.restarted);
        }
        seen.volts.iter_mut().for_each(mean);
        boxes.iter_mut().for_each(mean);
        seen.box_celsius = filled(&boxes, hours);
        seen.minutes = minutes(day, readings, clock, modulus, counted);
        seen
    }

    /// Leaves out the voltages of hours that are not lived.
    pub(super) fn forget_before(&mut self, hour: usize) {
        self.volts[..hour].fill((0, 0.0));
        let lived = |window: MinutesSeen| window.from_h >= hour as f64;
        self.minutes = self.minutes.filter(|window| lived(*window));
    }

    /// Mean voltage of the readings of a block, and how many there were.
    pub(super) fn block_volts(&self, block: usize) -> Option<(f32, f32)> {
        let hours = &self.volts[block * BLOCK_H..][..BLOCK_H];
        let count: f32 = hours.iter().map(|(count, _)| f32::from(*count)).sum();
        let sum: f32 = hours.iter().map(|(count, volts)| f32::from(*count) * volts).sum();
        (count > 0.0).then(|| (sum / count, count))
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an hour of a day")]
fn hour_of(clock: SolarClock, at_s: i64) -> usize {
    (clock.day_and_hour(at_s).1 as usize).min(HOURS - 1)
}

fn add(sum: &mut (u16, f32), value: f64) {
    *sum = (sum.0.saturating_add(1), sum.1 + single(value));
}

fn mean(sum: &mut (u16, f32)) {
    sum.1 /= f32::from(sum.0.max(1));
}

#[expect(clippy::cast_possible_truncation, reason = "no reading has seven digits")]
fn single(value: f64) -> f32 {
    value as f32
}

/// Hours without a reading lie on the straight line between their neighbours; `None` if too many lack one.
fn filled(hours: &[(u16, f32); HOURS], (from, to): (usize, usize)) -> Option<[f32; HOURS]> {
    let known: Vec<usize> = (0..HOURS).filter(|hour| hours[*hour].0 > 0).collect();
    let (first, last) = (*known.first()?, *known.last()?);
    let widest = known.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(1);
    let open = first.saturating_sub(from).max(to.saturating_sub(last + 1));
    if widest.max(open) > LONGEST_BOX_GAP {
        return None;
    }
    Some(std::array::from_fn(|hour| {
        let above = known.partition_point(|known| *known < hour).min(known.len() - 1);
        let (low, high) = (known[above.saturating_sub(1)], known[above]);
        if hour <= low || low == high {
            return hours[if hour <= low { low } else { high }].1;
        }
        let share = ((hour - low) as f32 / (high - low) as f32).min(1.0);
        hours[low].1 + share * (hours[high].1 - hours[low].1)
    }))
}

/// Minutes in charge of a day without a restart: from the last count of the night before to the last of the day.
fn minutes(
    day: i64,
    readings: &[Reading],
    clock: SolarClock,
    modulus: u32,
    counted: &mut Counted,
) -> Option<MinutesSeen> {
    let before = counted.last;
    let counts = || readings.iter().filter_map(|one| Some((one.at_s, one.charging_min?)));
    let last = counts().next_back()?;
    counted.last = Some(last);
    let hour = |at_s: i64| (at_s - clock.begins_s(day)) as f64 / HOUR_S as f64;
    let recent = before.filter(|(at_s, _)| hour(*at_s) >= -OLDEST_COUNT_H);
    let from = if readings.iter().any(|one| one.restarted) {
        // The day's minutes are dropped, save where the first message of all is the restart itself.
        counts().next().filter(|_| before.is_none() && readings[1..].iter().all(|one| !one.restarted))
    } else {
        recent.or_else(|| counts().next())
    }?;
    let minutes = f64::from((last.1 + modulus - from.1 % modulus) % modulus);
    let seen = MinutesSeen { minutes, from_h: hour(from.0).max(0.0), to_h: hour(last.0) };
    (seen.to_h - seen.from_h >= 1.0 && minutes <= 60.0 * (hour(last.0) - hour(from.0)) + 20.0).then_some(seen)
}
