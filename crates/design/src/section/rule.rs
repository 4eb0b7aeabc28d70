//! The ranges that numbers must keep.

use crate::diagnostic::{self, Code};

/// A range of SI values, how to say it, and the code of its diagnostic.
#[derive(Clone, Copy)]
pub(crate) struct Rule {
    pub least: f64,
    pub most: f64,
    pub code: Code,
    pub wanted: &'static str,
    pub help: &'static str,
}

impl Rule {
    pub(crate) fn allows(&self, number: f64) -> bool {
        (self.least..=self.most).contains(&number)
    }
}

/// Anything smaller than this in SI units is taken for nothing (a nanoampere is 1e-9).
const TINY: f64 = 1e-12;
/// Anything larger than this in SI units is a slip (300 years are 1e10 s).
const HUGE: f64 = 1e10;
const ZERO_CELSIUS_K: f64 = 273.15;

macro_rules! rules {
    ($($name:ident = $least:expr, $most:expr, $code:ident, $wanted:literal, $help:literal;)+) => {
        $(pub(crate) const $name: Rule = Rule { least: $least, most: $most, code: diagnostic::$code, wanted: $wanted, help: $help };)+
    };
}

rules! {
    POSITIVE = TINY, HUGE, NOT_POSITIVE, "must be above zero", "a value above zero";
    NOT_NEGATIVE = 0.0, HUGE, NEGATIVE, "must not be negative", "zero or more";
    FRACTION = 0.0, 1.0, SHARE_RANGE, "must lie between 0 % and 100 %", "a share from \"0 %\" to \"100 %\"";
    EFFICIENCY = 0.01, 1.0, SHARE_RANGE, "must lie between 1 % and 100 %", "a share from \"1 %\" to \"100 %\"";
    LOSS = 0.0, 0.9, SHARE_RANGE, "must lie between 0 % and 90 %", "a share from \"0 %\" to \"90 %\"";
    PROMISE = 0.5, 0.999, PROMISE_SHARE, "must lie between 50 % and 99.9 %", "\"99.9 %\" or less: no number of simulated lives can show 100 %";
    FACTOR = 1e-3, 1e3, OUT_OF_RANGE, "must lie between 0.1 % and 100000 % (0.001 and 1000)", "a factor in that range";
    EXPONENT = 0.5, 1.0, OUT_OF_RANGE, "must lie between 0.5 and 1", "0.5 (square root of time) to 1 (proportional)";
    COEFFICIENT = -0.02, 0.02, OUT_OF_RANGE, "must lie between -2 %/K and 2 %/K", "a coefficient such as \"-0.33 %/K\"";
    CELLS = 1.0, 1000.0, OUT_OF_RANGE, "must lie between 1 and 1000", "a whole number from 1";
    SYMBOLS = 1.0, 255.0, OUT_OF_RANGE, "must lie between 1 and 255", "a whole number of symbols such as 8";
    PRIORITY = 1.0, 9.0, OUT_OF_RANGE, "must lie between 1 and 9", "a whole number from 1 (most important) to 9";
    EARLIER = 1.0, 16.0, OUT_OF_RANGE, "must lie between 1 and 16", "a whole number such as 2";
    PAYLOAD = 0.0, 242.0, OUT_OF_RANGE, "must lie between 0 and 242 bytes", "at most \"242 bytes\"";
    RADIO_POWER = -30.0, 40.0, OUT_OF_RANGE, "must lie between -30 dBm and 40 dBm", "a power such as \"14 dBm\"";
    ANTENNA_GAIN = -30.0, 30.0, OUT_OF_RANGE, "must lie between -30 dBi and 30 dBi", "a gain such as \"2.15 dBi\"";
    LATITUDE = -90.0, 90.0, LATITUDE, "must lie between -90 deg and 90 deg", "degrees from the equator, north positive; are latitude and longitude swapped?";
    LONGITUDE = -180.0, 180.0, LONGITUDE, "must lie between -180 deg and 180 deg", "degrees from Greenwich, east positive";
    ELEVATION = -500.0, 9000.0, OUT_OF_RANGE, "must lie between -500 m and 9000 m", "metres above the sea";
    TILT = 0.0, 90.0, TILT, "must lie between 0 deg and 90 deg", "\"0 deg\" (flat) to \"90 deg\" (upright); a panel that leans further is turned by its azimuth";
    INTERVAL = 1e-3, HUGE, INTERVAL_ZERO, "must be above zero", "an interval such as \"10 min\", or remove the activity";
    TEMPERATURE = ZERO_CELSIUS_K - 100.0, ZERO_CELSIUS_K + 200.0, OUT_OF_RANGE, "must lie between -100 C and 200 C", "degrees Celsius, as \"-20 C\"";
}
