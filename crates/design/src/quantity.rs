//! Physical quantities: newtypes over SI `f64`, with only the products a node needs.
//!
//! A quantity is written as text with a unit (`"2600 mAh"`) and read by [`Quantity::parse`]; adding a
//! [`Charge`] to an [`Energy`] does not compile.

mod text;

pub use text::{QuantityError, is_unprintable};
pub(crate) use text::{a, shortened, unit_list, unit_of_example, units};

/// A quantity that can be written as a number and a unit.
pub trait Quantity: Copy + PartialEq + PartialOrd + std::fmt::Debug + Sized {
    /// What it measures, as a noun for messages: "charge", "electric current".
    const NOUN: &'static str;
    /// A text that reads as this quantity, for messages that show how to write one.
    const EXAMPLE: &'static str;
    /// Accepted unit symbols, each with the factor and the offset that turn it into SI: `si = value * factor + offset`.
    const UNITS: &'static [(&'static str, f64, f64)];
    /// The quantity with this value in SI units.
    fn from_si(value: f64) -> Self;
    /// The value in SI units.
    fn si(self) -> f64;

    /// Reads text such as `"4 uA +- 50 %"`.
    ///
    /// # Errors
    /// What is wrong with the text and what to write instead.
    fn parse(text: &str) -> Result<Uncertain<Self>, QuantityError> {
        text::parse(text)
    }

    /// The quantity as text, to four digits in a handy unit.
    fn text(self) -> String {
        text::write(self)
    }
}

macro_rules! quantities {
    ($(
        $(#[$doc:meta])*
        $name:ident($noun:literal, $example:literal) {
            $( $from:ident / $get:ident : $($symbol:literal)|+ = $factor:expr ; )+
        }
    )+) => { $(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            /// Nothing of it.
            pub const ZERO: Self = Self(0.0);
            $(
                #[doc = concat!("From a number of `", $($symbol, "` ",)+ "units.")]
                pub const fn $from(value: f64) -> Self { Self(value * $factor) }
                #[doc = concat!("As a number of `", $($symbol, "` ",)+ "units.")]
                pub const fn $get(self) -> f64 { self.0 / $factor }
            )+
        }

        impl Quantity for $name {
            const NOUN: &'static str = $noun;
            const EXAMPLE: &'static str = $example;
            const UNITS: &'static [(&'static str, f64, f64)] = &[ $( $( ($symbol, $factor, 0.0), )+ )+ ];
            fn from_si(value: f64) -> Self { Self(value) }
            fn si(self) -> f64 { self.0 }
        }

        impl std::ops::Add for $name { type Output = Self; fn add(self, other: Self) -> Self { Self(self.0 + other.0) } }
        impl std::ops::Sub for $name { type Output = Self; fn sub(self, other: Self) -> Self { Self(self.0 - other.0) } }
        impl std::ops::Mul<f64> for $name { type Output = Self; fn mul(self, factor: f64) -> Self { Self(self.0 * factor) } }
        impl std::ops::Div<f64> for $name { type Output = Self; fn div(self, divisor: f64) -> Self { Self(self.0 / divisor) } }
        impl std::ops::Div for $name { type Output = f64; fn div(self, other: Self) -> f64 { self.0 / other.0 } }
        impl std::iter::Sum for $name { fn sum<I: Iterator<Item = Self>>(all: I) -> Self { Self(all.map(|one| one.0).sum()) } }
    )+ };
}

const MINUTE_S: f64 = 60.0;
const HOUR_S: f64 = 60.0 * MINUTE_S;
const DAY_S: f64 = 24.0 * HOUR_S;
/// The Julian year, so that a life does not depend on where its leap days fall.
const YEAR_S: f64 = 365.25 * DAY_S;

quantities! {
    /// Electric charge; coulombs inside.
    Charge("charge", "2600 mAh") {
        from_coulombs / coulombs: "C" | "As" = 1.0;
        from_microampere_hours / microampere_hours: "uAh" | "µAh" = 1e-6 * HOUR_S;
        from_milliampere_hours / milliampere_hours: "mAh" = 1e-3 * HOUR_S;
        from_ampere_hours / ampere_hours: "Ah" = HOUR_S;
    }
    /// Electric current; amperes inside.
    Current("current", "12 uA") {
        from_amperes / amperes: "A" = 1.0;
        from_milliamperes / milliamperes: "mA" = 1e-3;
        from_microamperes / microamperes: "uA" | "µA" = 1e-6;
        from_nanoamperes / nanoamperes: "nA" = 1e-9;
    }
    /// Electric potential difference; volts inside.
    Voltage("voltage", "4.2 V") {
        from_volts / volts: "V" = 1.0;
        from_millivolts / millivolts: "mV" = 1e-3;
    }
    /// Power; watts inside.
    Power("power", "1.2 W") {
        from_watts / watts: "W" | "Wp" = 1.0;
        from_milliwatts / milliwatts: "mW" = 1e-3;
        from_microwatts / microwatts: "uW" | "µW" = 1e-6;
    }
    /// Energy; joules inside.
    Energy("energy", "9.6 Wh") {
        from_joules / joules: "J" = 1.0;
        from_milliwatt_hours / milliwatt_hours: "mWh" = 1e-3 * HOUR_S;
        from_watt_hours / watt_hours: "Wh" = HOUR_S;
    }
    /// Electrical resistance; ohms inside.
    Resistance("resistance", "80 mohm") {
        from_ohms / ohms: "ohm" = 1.0;
        from_milliohms / milliohms: "mohm" = 1e-3;
        from_kilohms / kilohms: "kohm" = 1e3;
    }
    /// Capacitance; farads inside.
    Capacitance("capacitance", "470 uF") {
        from_farads / farads: "F" = 1.0;
        from_millifarads / millifarads: "mF" = 1e-3;
        from_microfarads / microfarads: "uF" | "µF" = 1e-6;
    }
    /// Radiant power on a surface; watts per square metre inside.
    Irradiance("irradiance", "1000 W/m2") {
        from_watts_per_square_metre / watts_per_square_metre: "W/m2" = 1.0;
    }
    /// Radiant energy on a surface; joules per square metre inside.
    Irradiation("irradiation", "1.2 kWh/m2") {
        from_joules_per_square_metre / joules_per_square_metre: "J/m2" = 1.0;
        from_watt_hours_per_square_metre / watt_hours_per_square_metre: "Wh/m2" = HOUR_S;
        from_megajoules_per_square_metre / megajoules_per_square_metre: "MJ/m2" = 1e6;
        from_kilowatt_hours_per_square_metre / kilowatt_hours_per_square_metre: "kWh/m2" = 1e3 * HOUR_S;
    }
    /// Plane angle; degrees inside, since every input, table and message of this field is in degrees.
    Angle("angle", "60 deg") {
        from_degrees / degrees: "deg" | "°" = 1.0;
    }
    /// Length; metres inside.
    Length("length", "640 m") {
        from_metres / metres: "m" = 1.0;
        from_centimetres / centimetres: "cm" = 1e-2;
        from_millimetres / millimetres: "mm" = 1e-3;
        from_kilometres / kilometres: "km" = 1e3;
    }
    /// Frequency; hertz inside.
    Frequency("frequency", "868.1 MHz") {
        from_hertz / hertz: "Hz" = 1.0;
        from_kilohertz / kilohertz: "kHz" = 1e3;
        from_megahertz / megahertz: "MHz" = 1e6;
    }
    /// A span of time; seconds inside. A year is 365.25 days.
    Duration("duration", "10 min") {
        from_microseconds / microseconds: "us" | "µs" = 1e-6;
        from_milliseconds / milliseconds: "ms" = 1e-3;
        from_seconds / seconds: "s" = 1.0;
        from_minutes / minutes: "min" = MINUTE_S;
        from_hours / hours: "h" = HOUR_S;
        from_days / days: "d" | "day" | "days" = DAY_S;
        from_years / years: "y" | "year" | "years" = YEAR_S;
    }
    /// A share of a whole; a fraction inside (1 is all of it).
    Share("share", "95 %") {
        from_fraction / fraction: "" = 1.0;
        from_percent / percent: "%" = 1e-2;
    }
    /// Relative change per kelvin; fraction per kelvin inside.
    PerKelvin("temperature coefficient", "-0.33 %/K") {
        from_fraction_per_kelvin / fraction_per_kelvin: "1/K" = 1.0;
        from_percent_per_kelvin / percent_per_kelvin: "%/K" = 1e-2;
    }
    /// A power ratio in decibels.
    Decibels("ratio in decibels", "2 dBi") {
        from_decibels / decibels: "dB" | "dBi" = 1.0;
    }
    /// A difference of two temperatures; kelvin inside.
    TemperatureDifference("temperature difference", "15 K") {
        from_kelvin / kelvin: "K" = 1.0;
    }
    /// A number of bytes.
    Bytes("size in bytes", "12 bytes") {
        from_bytes / bytes: "bytes" | "byte" | "B" = 1.0;
    }
}

/// Absolute power in decibels over one milliwatt. Two of them don't add up; their difference is a ratio.
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct Dbm(f64);

impl Dbm {
    /// From decibels over one milliwatt.
    pub const fn from_dbm(value: f64) -> Self {
        Self(value)
    }
    /// As decibels over one milliwatt.
    pub const fn dbm(self) -> f64 {
        self.0
    }
}

impl Quantity for Dbm {
    const NOUN: &'static str = "radio power";
    const EXAMPLE: &'static str = "14 dBm";
    const UNITS: &'static [(&'static str, f64, f64)] = &[("dBm", 1.0, 0.0)];
    fn from_si(value: f64) -> Self {
        Self(value)
    }
    fn si(self) -> f64 {
        self.0
    }
}

impl std::ops::Add<Decibels> for Dbm {
    type Output = Self;
    fn add(self, gain: Decibels) -> Self {
        Self(self.0 + gain.0)
    }
}

impl std::ops::Sub<Decibels> for Dbm {
    type Output = Self;
    fn sub(self, loss: Decibels) -> Self {
        Self(self.0 - loss.0)
    }
}

impl std::ops::Sub for Dbm {
    type Output = Decibels;
    fn sub(self, other: Self) -> Decibels {
        Decibels(self.0 - other.0)
    }
}

/// A temperature; kelvin inside.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Temperature(f64);

const ZERO_CELSIUS_K: f64 = 273.15;

impl Temperature {
    /// From degrees Celsius.
    pub const fn from_celsius(value: f64) -> Self {
        Self(value + ZERO_CELSIUS_K)
    }
    /// As degrees Celsius.
    pub const fn celsius(self) -> f64 {
        self.0 - ZERO_CELSIUS_K
    }
    /// As kelvin.
    pub const fn kelvin(self) -> f64 {
        self.0
    }
}

impl Quantity for Temperature {
    const NOUN: &'static str = "temperature";
    const EXAMPLE: &'static str = "-20 C";
    const UNITS: &'static [(&'static str, f64, f64)] = &[
        ("C", 1.0, ZERO_CELSIUS_K),
        ("degC", 1.0, ZERO_CELSIUS_K),
        ("°C", 1.0, ZERO_CELSIUS_K),
        ("K", 1.0, 0.0),
    ];
    fn from_si(value: f64) -> Self {
        Self(value)
    }
    fn si(self) -> f64 {
        self.0
    }
}

macro_rules! products {
    ($($left:ident * $right:ident = $product:ident;)+) => { $(
        impl std::ops::Mul<$right> for $left { type Output = $product; fn mul(self, other: $right) -> $product { $product(self.0 * other.0) } }
        impl std::ops::Div<$right> for $product { type Output = $left; fn div(self, other: $right) -> $left { $left(self.0 / other.0) } }
    )+ };
}

products! {
    Current * Duration = Charge;
    Voltage * Current = Power;
    Power * Duration = Energy;
    Charge * Voltage = Energy;
    Resistance * Current = Voltage;
    Capacitance * Voltage = Charge;
}

/// A quantity with the spread of what it may really be.
///
/// The spread is one standard deviation: `"4 uA +- 50 %"` is read as a standard deviation of 50 % of 4 uA.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertain<Q> {
    /// The value when nothing else is known.
    pub nominal: Q,
    /// One standard deviation, in SI units of the quantity; 0 when no tolerance was stated.
    pub spread_si: f64,
}

impl<Q: Quantity> Uncertain<Q> {
    /// A quantity that is known exactly.
    pub fn exact(nominal: Q) -> Self {
        Self { nominal, spread_si: 0.0 }
    }
}
