/// Why there is no climate for a place.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ClimateError {
    /// Coordinates off the earth.
    #[error(
        "{latitude_deg} N {longitude_deg} E at {elevation_m} m is no place on earth; give latitude -90 to 90, longitude -180 to 180, elevation -500 to 9000 m"
    )]
    NoPlace {
        /// North positive.
        latitude_deg: f64,
        /// East positive.
        longitude_deg: f64,
        /// Above sea level.
        elevation_m: f64,
    },
    /// Too far north or south.
    #[error(
        "latitude {latitude_deg} is beyond the built-in climatology (-57 to 72); give twelve monthly numbers or a weather file"
    )]
    BeyondGrid {
        /// North positive.
        latitude_deg: f64,
    },
    /// Far at sea.
    #[error(
        "no land within {within_km:.0} km of {latitude_deg} N {longitude_deg} E (the nearest known is {nearest_km:.0} km away); give twelve monthly numbers or a weather file"
    )]
    NoLand {
        /// North positive.
        latitude_deg: f64,
        /// East positive.
        longitude_deg: f64,
        /// To the middle of the nearest land cell.
        nearest_km: f64,
        /// How far is allowed.
        within_km: f64,
    },
    /// More sun than there is, less than none, or no number.
    #[error(
        "month {month}: {value_wh_m2} Wh/m2 of sun a day is outside 0 to {most_wh_m2:.0}, what reaches the top of the air; give the mean daily sum on the horizontal"
    )]
    Sun {
        /// 1 to 12.
        month: usize,
        /// As given.
        value_wh_m2: f64,
        /// Outside the air.
        most_wh_m2: f64,
    },
    /// No temperature of the earth's.
    #[error("month {month}: a mean temperature of {value_celsius} C is outside -70 to 50")]
    Air {
        /// 1 to 12.
        month: usize,
        /// As given.
        value_celsius: f64,
    },
}
