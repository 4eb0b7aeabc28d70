//! A day of the calendar.

use std::fmt;

/// A day in UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

impl Date {
    /// The day, if the calendar has it; years 1970 to 9999.
    pub fn new(year: u16, month: u8, day: u8) -> Option<Self> {
        let leap = (year.is_multiple_of(4) && !year.is_multiple_of(100)) || year.is_multiple_of(400);
        let days = match month {
            2 if leap => 29,
            2 => 28,
            4 | 6 | 9 | 11 => 30,
            1..=12 => 31,
            _ => return None,
        };
        let sound = (1970..=9999).contains(&year) && (1..=days).contains(&day);
        sound.then_some(Self { year, month, day })
    }

    /// The day of a moment in seconds since 1970-01-01 UTC; none beyond the year 9999.
    ///
    /// # References
    /// H. Hinnant, "chrono-Compatible Low-Level Date Algorithms", `civil_from_days` (years counted from March).
    pub fn of_unix(seconds: u64) -> Option<Self> {
        let days = seconds / 86_400 + 719_468;
        let era = days / 146_097;
        let day_of_era = days % 146_097;
        let year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let shifted = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * shifted + 2) / 5 + 1;
        let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
        let year = year_of_era + 400 * era + u64::from(month <= 2);
        Self::new(u16::try_from(year).ok()?, u8::try_from(month).ok()?, u8::try_from(day).ok()?)
    }

    /// 1 to 12.
    pub const fn month(self) -> u8 {
        self.month
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From the POSIX formula for seconds since the Epoch (IEEE 1003.1, clause 4.16), worked by `date -u -d @...`.
    #[test]
    fn seconds_become_the_day_of_the_calendar() {
        for (seconds, day) in [
            (0, "1970-01-01"),
            (951_782_399, "2000-02-28"),
            (951_782_400, "2000-02-29"),
            (951_868_800, "2000-03-01"),
            (4_107_542_400, "2100-03-01"),
            (1_795_564_800, "2026-11-25"),
        ] {
            assert_eq!(Date::of_unix(seconds).expect("a year below 10000").to_string(), day);
        }
        assert_eq!(Date::of_unix(u64::MAX), None);
    }

    #[test]
    fn days_that_the_calendar_lacks_are_none() {
        for (year, month, day) in [(2026, 2, 29), (2100, 2, 29), (2026, 4, 31), (2026, 13, 1), (2026, 1, 0)] {
            assert_eq!(Date::new(year, month, day), None, "{year}-{month}-{day}");
        }
        assert!(Date::new(2000, 2, 29).is_some());
    }
}
