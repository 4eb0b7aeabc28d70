//! Recorded weather: lives are made of whole winters, each hour under its own date.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the kernel is in single precision, and hours are counted from 0"
)]

use forecast::random::Stream;
use forecast::sky::hours::{HourWeather, LifeWeather, SiteDraw};
use forecast::sky::light::YEAR_DAYS;
use forecast::sky::recorded::{RecordedWeather, Winters};
use forecast::sky::weather::HourStart;

/// Hours of a record from a day on for so many years; the cell is as warm as the number of the hour.
fn numbered(from: (i32, u8, u8), years: i32) -> (Vec<HourWeather>, Vec<HourStart>) {
    let (year, month, day) = from;
    let mut starts = Vec::new();
    let leap_day = (month, day) == (2, 29) && (year + years) % 4 != 0;
    let end = if leap_day { (year + years, 3, 1) } else { (year + years, month, day) };
    let mut date = (year, month, day);
    while date != end {
        let (year, month, day) = date;
        starts.extend((0..24).map(|hour| HourStart { year, month, day, hour }));
        date = next(date);
    }
    let hour = |number: usize| HourWeather { cell_celsius: number as f32, ..HourWeather::default() };
    ((0..starts.len()).map(hour).collect(), starts)
}

fn next((year, month, day): (i32, u8, u8)) -> (i32, u8, u8) {
    let leap = year % 4 == 0;
    let days = [31, if leap { 29 } else { 28 }, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    if day < days[usize::from(month) - 1] {
        (year, month, day + 1)
    } else if month < 12 {
        (year, month + 1, 1)
    } else {
        (year + 1, 1, 1)
    }
}

fn winters(from: (i32, u8, u8), years: i32, south: bool) -> Winters {
    Winters::of(&numbered(from, years).1, south)
}

/// Counted by hand: midsummers with a whole year behind them. Years of the calendar hold whole winters of the south.
#[test]
fn a_record_gives_the_whole_winters_that_it_covers() {
    for (from, years, north, south) in [
        ((2001, 1, 1), 1, Winters::Joined, Winters::Whole(1)),
        ((2001, 1, 1), 3, Winters::Whole(2), Winters::Whole(3)),
        ((2000, 7, 1), 3, Winters::Whole(3), Winters::Whole(2)),
        ((2001, 7, 1), 1, Winters::Whole(1), Winters::Joined),
        ((2001, 10, 1), 2, Winters::Whole(1), Winters::Whole(1)),
        ((2004, 2, 29), 1, Winters::Joined, Winters::Joined),
        ((2003, 4, 1), 2, Winters::Whole(1), Winters::Whole(1)),
    ] {
        assert_eq!(winters(from, years, false), north, "{from:?} {years}");
        assert_eq!(winters(from, years, true), south, "{from:?} {years}");
    }
}

/// The dates of the record at which a life's days were taken.
fn lived_days(from: (i32, u8, u8), years: i32, south: bool, days: usize) -> Vec<HourStart> {
    let (hours, starts) = numbered(from, years);
    let weather = RecordedWeather::new(&hours, &starts, south, 0.1);
    let (mut random, parts) = (Stream::new(4, 0), SiteDraw::default());
    let mut sky = weather.start(&mut random);
    let first = 100;
    (0..days)
        .map(|index| {
            let day = (first + index) % YEAR_DAYS;
            weather.next_day(day, &parts, &mut sky, &mut random);
            starts[weather.hours(day, &mut sky).cell_celsius[0] as usize]
        })
        .collect()
}

fn day_of_year(start: HourStart) -> usize {
    let before = [0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334];
    before[usize::from(start.month) - 1] + usize::from(start.day) - 1
}

/// Whatever row a record begins with, and over leap years, the life's day of the year is the record's.
#[test]
fn a_day_is_lived_under_its_own_date() {
    for (from, years) in [((2001, 1, 1), 1), ((2003, 4, 1), 1), ((2003, 10, 1), 3), ((2004, 2, 29), 4)] {
        for south in [false, true] {
            for (index, start) in lived_days(from, years, south, 1200).iter().enumerate() {
                assert_eq!(day_of_year(*start), (100 + index) % YEAR_DAYS, "{from:?} {start:?}");
            }
        }
    }
}

/// The day after 31 December is 1 January of the year that followed, never of the same; years are changed in midsummer.
#[test]
fn a_winter_is_never_torn_at_new_year() {
    let days = lived_days((2001, 1, 1), 6, false, 40 * YEAR_DAYS);
    let mut changed = 0;
    for pair in days.windows(2) {
        let follows = next((pair[0].year, pair[0].month, pair[0].day))
            == (pair[1].year, pair[1].month, pair[1].day)
            || (pair[0].month, pair[1].month) == (2, 3);
        let midsummer = (pair[1].month, pair[1].day) == (7, 1);
        assert!(follows || midsummer, "{:?} {:?}", pair[0], pair[1]);
        changed += usize::from(!follows);
    }
    assert!(changed > 20, "five winters are mixed over forty years: {changed}");
}
