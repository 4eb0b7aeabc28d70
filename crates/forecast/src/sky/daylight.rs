//! When the sun rises and sets, by the clock of the weather file.

use super::sun::{Algorithm, DELTA_T_S, Observer, julian_day, position};

/// Zenith of the sun's middle when its upper edge touches a flat horizon, refraction included [°].
const SUNSET_ZENITH_DEG: f64 = 90.833;
const STEP_H: f64 = 1.0 / 12.0;
/// A common year; sunrise differs by minutes from one year to the next.
const YEAR: i32 = 2025;

/// Sunrise and sunset [h of local standard time] for each of 365 days; both the same in polar night.
pub fn year(observer: &Observer, utc_offset_h: f64) -> Vec<(f64, f64)> {
    let new_year = julian_day(YEAR, 1, 1, -utc_offset_h);
    (0..365).map(|day| one_day(observer, new_year + f64::from(day))).collect()
}

fn one_day(observer: &Observer, midnight: f64) -> (f64, f64) {
    let zenith =
        |hour: f64| position(Algorithm::Grena3, midnight + hour / 24.0, DELTA_T_S, observer).zenith_deg;
    let up = |hour: &f64| zenith(*hour) < SUNSET_ZENITH_DEG;
    let mut instants = (0..=288).map(|step| f64::from(step) * STEP_H);
    match instants.clone().find(up) {
        Some(rise) => (rise, instants.rfind(up).unwrap_or(rise)),
        None => (12.0, 12.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sunrise and sunset at 46.815 N, 6.944 E on 21 December 2025: 07:14 and 15:46 universal time, by the solar
    /// position algorithm (Reda & Andreas 2008) with the sun's upper edge.
    #[test]
    fn the_shortest_day_is_that_of_the_solar_position_algorithm() {
        let observer = Observer::new(46.815, 6.944, 445.0).expect("on the earth");
        let (rise, set) = year(&observer, 1.0).get(354).copied().expect("a day of the year");
        assert!(
            (rise - (8.0 + 14.0 / 60.0)).abs() < 0.1 && (set - (16.0 + 46.0 / 60.0)).abs() < 0.1,
            "{rise} {set}"
        );
    }

    #[test]
    fn polar_night_has_no_day_and_polar_day_no_night() {
        let observer = Observer::new(78.0, 15.0, 0.0).expect("on the earth");
        let year = year(&observer, 1.0);
        let length = |day: usize| year.get(day).map(|(rise, set)| set - rise).expect("a day of the year");
        assert!(length(354).abs() < 1e-9);
        assert!((length(171) - 24.0).abs() < 1e-9);
    }
}
