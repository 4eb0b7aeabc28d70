//! Days of the calendar, and moments as people read them.

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

    /// The day that a text such as `2026-10-04` says; none if the calendar hasn't it.
    pub fn parse(text: &str) -> Option<Self> {
        let digits = |text: &str, length: usize| {
            (text.len() == length && text.bytes().all(|byte| byte.is_ascii_digit())).then(|| text.to_owned())
        };
        let mut parts = text.split('-');
        let (year, month, day) = (parts.next()?, parts.next()?, parts.next()?);
        let year: u16 = digits(year, 4)?.parse().ok()?;
        let day = Self::new(year, digits(month, 2)?.parse().ok()?, digits(day, 2)?.parse().ok()?)?;
        parts.next().is_none().then_some(day)
    }

    /// 1970 to 9999.
    pub const fn year(self) -> u16 {
        self.year
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

    /// Seconds from 1970-01-01 to its beginning, UTC.
    ///
    /// # References
    /// H. Hinnant, the same, `days_from_civil`.
    pub fn unix_seconds(self) -> u64 {
        let (year, month) = (u64::from(self.year) - u64::from(self.month <= 2), u64::from(self.month));
        let (era, year_of_era) = (year / 400, year % 400);
        let shifted = if month > 2 { month - 3 } else { month + 9 };
        let day_of_year = (153 * shifted + 2) / 5 + u64::from(self.day) - 1;
        let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
        (era * 146_097 + day_of_era - 719_468) * 86_400
    }

    /// 1 to 12.
    pub const fn month(self) -> u8 {
        self.month
    }

    /// 1 to 31.
    pub const fn day(self) -> u8 {
        self.day
    }
}

/// A moment as `2026-11-25T12:15Z`, with seconds where they are not zero; none beyond the year 9999.
pub fn moment_text(unix_seconds: u64) -> Option<String> {
    let day = Date::of_unix(unix_seconds)?;
    let (hour, minute, second) = (unix_seconds / 3600 % 24, unix_seconds / 60 % 60, unix_seconds % 60);
    let seconds = if second == 0 { String::new() } else { format!(":{second:02}") };
    Some(format!("{day}T{hour:02}:{minute:02}{seconds}Z"))
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
            let date = Date::of_unix(seconds).expect("a year below 10000");
            assert_eq!(date.to_string(), day);
            assert_eq!(date.unix_seconds(), seconds / 86_400 * 86_400, "{day}");
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

    /// Moments worked by `date -u -d @...`.
    #[test]
    fn moments_are_written_in_universal_time() {
        for (seconds, text) in [
            (0, "1970-01-01T00:00Z"),
            (1_795_608_900, "2026-11-25T12:15Z"),
            (1_795_608_907, "2026-11-25T12:15:07Z"),
        ] {
            assert_eq!(moment_text(seconds).as_deref(), Some(text));
        }
        assert_eq!(moment_text(u64::MAX), None);
    }
}
