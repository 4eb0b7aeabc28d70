//! Where the sun stands.

use solar_positioning::time::JulianDate;
use solar_positioning::{Location, SolarPositions};

/// Which published algorithm places the sun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Algorithm {
    /// Grena's third: 0.01° over 2010-2110, fast enough for tables.
    Grena3,
    /// The NREL algorithm: 0.0003°, the check.
    Spa,
}

/// A place on the ground from which the sun is seen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observer {
    location: Location,
    elevation_m: f64,
    air: Air,
}

/// The air that bends the light of a low sun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Pressure in hPa.
    pub pressure_hpa: f64,
    /// Temperature [°C].
    pub celsius: f64,
}

/// Direction of the sun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SunPosition {
    /// From the vertical, without refraction [°].
    pub zenith_deg: f64,
    /// From the vertical, as seen through the air [°].
    pub apparent_zenith_deg: f64,
    /// Clockwise from north, [0, 360) [°].
    pub azimuth_deg: f64,
}

/// Temperature of the air that refracts, where none is given [°C]; it moves the setting sun by less than 0.1°.
const YEARLY_MEAN_CELSIUS: f64 = 12.0;
/// Terrestrial time less universal time in the 2020s in seconds; ten seconds more move the sun by 0.0001°.
pub const DELTA_T_S: f64 = 69.0;
/// Julian day of 1970-01-01 00:00.
const UNIX_EPOCH_JD: f64 = 2_440_587.5;
/// The years for which Grena's third algorithm was fitted, as Julian days: 2010-01-01 to 2110-01-01.
const GRENA_FROM_JD: f64 = 2_455_197.5;
const GRENA_TO_JD: f64 = 2_491_720.5;
/// 33 tropical years are 12052.993 days: a shift by 12053 moves the sun by 0.007° and, the perihelion having wandered,
/// by up to 0.02° more.
const SAME_SUN_D: f64 = 12_053.0;
/// Half the sun's disk and the refraction at the horizon: below this the sun is not seen and its light not bent [°].
const SUNSET_ELEVATION_DEG: f64 = -(0.26667 + 0.5667);

impl Observer {
    /// A place by latitude (north positive, -90 to 90) and longitude (east positive, -180 to 180) [°] and elevation
    /// above the sea (-500 to 9000) in metres; `None` outside these ranges.
    pub fn new(latitude_deg: f64, longitude_deg: f64, elevation_m: f64) -> Option<Self> {
        let on_earth = (-90.0..=90.0).contains(&latitude_deg) && (-180.0..=180.0).contains(&longitude_deg);
        (on_earth && (-500.0..=9000.0).contains(&elevation_m)).then(|| Self {
            location: Location { latitude: latitude_deg, longitude: longitude_deg },
            elevation_m,
            air: Air { pressure_hpa: standard_pressure_hpa(elevation_m), celsius: YEARLY_MEAN_CELSIUS },
        })
    }

    /// The same place under other air.
    #[must_use]
    pub fn under(self, air: Air) -> Self {
        Self { air, ..self }
    }
}

/// Pressure of the standard atmosphere in hPa at a height in metres.
///
/// # References
/// Portland State Aerospace Society 2004, "A quick derivation relating altitude to air pressure", version 1.03.
pub fn standard_pressure_hpa(elevation_m: f64) -> f64 {
    ((44331.514 - elevation_m) / 11880.516).powf(1.0 / 0.1902632)
}

/// Julian day of a date of the Gregorian calendar and an hour of universal time; the hour may lie outside the day.
///
/// # References
/// Fliegel & Van Flandern 1968, *Communications of the ACM* 11 (10), 657.
pub fn julian_day(year: i32, month: u8, day: u8, hour_utc: f64) -> f64 {
    UNIX_EPOCH_JD + days_since_1970(year, month, day) as f64 + hour_utc / 24.0
}

/// Days from 1970-01-01 to a date of the Gregorian calendar.
pub(crate) fn days_since_1970(year: i32, month: u8, day: u8) -> i64 {
    let (year, month, day) = (i64::from(year), i64::from(month), i64::from(day));
    let before_march = (month - 14) / 12;
    let years = year + 4800 + before_march;
    day - 32075 + 1461 * years / 4 + 367 * (month - 2 - 12 * before_march) / 12
        - 3 * ((years + 100) / 100) / 4
        - 2_440_588
}

/// Year, month and day of the Gregorian calendar so many days after 1970-01-01; the inverse of the above.
pub(crate) fn date(days_since_1970: i64) -> (i32, u8, u8) {
    let days = days_since_1970 + 2_440_588 + 68569;
    let centuries = 4 * days / 146_097;
    let days = days - (146_097 * centuries + 3) / 4;
    let years = 4000 * (days + 1) / 1_461_001;
    let days = days - 1461 * years / 4 + 31;
    let months = 80 * days / 2447;
    let day = days - 2447 * months / 80;
    let after_december = months / 11;
    let month = months + 2 - 12 * after_december;
    let year = 100 * (centuries - 49) + years + after_december;
    let in_range = "a day of a calendar year";
    (
        i32::try_from(year).expect(in_range),
        u8::try_from(month).expect(in_range),
        u8::try_from(day).expect(in_range),
    )
}

/// Day of the year of a date, from 1.
pub(super) fn day_of_year(year: i32, month: u8, day: u8) -> u16 {
    let days = days_since_1970(year, month, day) - days_since_1970(year, 1, 1) + 1;
    u16::try_from(days).expect("a day lies within its year")
}

/// Position of the sun at a Julian day of universal time, `delta_t_s` being terrestrial less universal time.
///
/// Outside 2010-2110 Grena's algorithm answers for the day 33 years away on which the sun stands in the same place within 0.03°.
///
/// # References
/// Reda & Andreas 2008, NREL/TP-560-34302; Grena 2012, *Solar Energy* 86, 1323-1337, algorithm 3.
pub fn position(algorithm: Algorithm, julian_day: f64, delta_t_s: f64, observer: &Observer) -> SunPosition {
    let (positions, day, height_m) = match algorithm {
        Algorithm::Spa => (SolarPositions::new(), julian_day, observer.elevation_m),
        Algorithm::Grena3 => (SolarPositions::grena3(), into_grena_years(julian_day), 0.0),
    };
    let sun = JulianDate::new(day, delta_t_s)
        .and_then(|time| positions.at_from_julian(time, observer.location, height_m, None))
        .expect("the place was checked and a calendar year lies within the algorithm's");
    let zenith_deg = sun.zenith_angle();
    SunPosition {
        zenith_deg,
        apparent_zenith_deg: zenith_deg - refraction_deg(90.0 - zenith_deg, observer.air),
        azimuth_deg: sun.azimuth(),
    }
}

fn into_grena_years(julian_day: f64) -> f64 {
    let early = ((GRENA_FROM_JD - julian_day) / SAME_SUN_D).ceil().max(0.0);
    let late = ((julian_day - GRENA_TO_JD) / SAME_SUN_D).ceil().max(0.0);
    julian_day + (early - late) * SAME_SUN_D
}

/// Lift of the sun by the air [°] at a true elevation [°]; 0 once it has set.
///
/// # References
/// Reda & Andreas 2008, NREL/TP-560-34302, atmospheric refraction.
fn refraction_deg(elevation_deg: f64, air: Air) -> f64 {
    if elevation_deg < SUNSET_ELEVATION_DEG {
        return 0.0;
    }
    let bend = (elevation_deg + 10.3 / (elevation_deg + 5.11)).to_radians().tan();
    air.pressure_hpa / 1010.0 * 283.0 / (273.0 + air.celsius) * 1.02 / (60.0 * bend)
}
