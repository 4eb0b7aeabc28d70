// Frost mast: decoder of its messages. Made by overwinter; change the design file instead.
// Messages: 95d2700cf7e2828a. No standard library is needed.
// Times are seconds since 1970-01-01 UTC.

/// Of the messages.
pub const FINGERPRINT: &str = "95d2700cf7e2828a";

/// Where a reading lies with respect to what its code can say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// It is the reading.
    Inside,
    /// There is no reading.
    Absent,
    /// It was smaller than what can be said; the smallest is given instead.
    Below,
    /// It was larger than what can be said; the largest is given instead.
    Above,
}

/// A number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Whether it is there, and whether it could be said.
    pub state: State,
    /// Its exact code; 0 if absent.
    pub code: u32,
    /// The double nearest to its value; 0 if absent.
    pub value: f64,
}

impl Reading {
    const NONE: Self = Self { state: State::Absent, code: 0, value: 0.0 };

    /// Its value, `None` if there is no reading.
    #[must_use]
    pub fn value(&self) -> Option<f64> {
        if self.state == State::Absent { None } else { Some(self.value) }
    }
}

/// Why bytes are no message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Error {
    /// Another message's port.
    Port,
    /// Cut off, or something follows.
    Length,
    /// Another edition.
    Version,
    /// Ones after the last field.
    Padding,
    /// This field holds what means nothing.
    Field(&'static str),
}

type Scale = (f64, f64, f64);

#[inline(always)]
fn code_at<const N: usize>(bytes: &[u8; N], offset: usize, bits: u32) -> u32 {
    let mut window = 0;
    let mut index = offset / 8;
    while index < offset / 8 + 8 {
        window = window << 8 | if index < N { bytes[index] as u64 } else { 0 };
        index += 1;
    }
    (window << (offset % 8) >> (64 - bits)) as u32
}

#[inline(always)]
fn reading(code: u32, bits: u32, last: u32, saturates: bool, name: &'static str) -> Result<Reading, Error> {
    let ones = u32::MAX >> (32 - bits);
    let (state, code) = if code <= last {
        (State::Inside, code)
    } else if code == ones {
        (State::Absent, 0)
    } else if saturates && code == ones - 1 {
        (State::Above, last)
    } else if saturates && code == ones - 2 {
        (State::Below, 0)
    } else {
        return Err(Error::Field(name));
    };
    Ok(Reading { state, code, value: 0.0 })
}

/// Integers up to the one division, so the value is the nearest double.
#[inline(always)]
fn valued(reading: Reading, (numerator, offset, denominator): Scale) -> Reading {
    if reading.state == State::Absent {
        return Reading::NONE;
    }
    Reading { value: (reading.code as f64 * numerator + offset) / denominator, ..reading }
}

#[allow(dead_code)]
#[inline(always)]
fn word(reading: Reading) -> Option<u32> {
    if reading.state == State::Absent { None } else { Some(reading.code) }
}

#[allow(dead_code)]
fn earlier(newest: Reading, difference: Reading, bits: u32, last: u32, counts: bool, name: &'static str) -> Result<Reading, Error> {
    if difference.state == State::Absent {
        return Ok(Reading::NONE);
    }
    if newest.state == State::Absent || (counts && difference.state == State::Above) {
        return Err(Error::Field(name));
    }
    let most = (u32::MAX >> (32 - bits)) - 3;
    let last = last as i64;
    let code = newest.code as i64 + difference.code as i64 - if counts { most as i64 } else { (most / 2) as i64 };
    let code = if counts {
        code.rem_euclid(last + 1)
    } else if difference.state == State::Inside && (code < 0 || code > last) {
        return Err(Error::Field(name));
    } else {
        code.clamp(0, last)
    };
    Ok(Reading { state: difference.state, code: code as u32, value: 0.0 })
}

#[allow(dead_code)]
fn octets<const N: usize, const L: usize>(bytes: &[u8; N], offset: usize, name: &'static str) -> Result<Option<[u8; L]>, Error> {
    let mut octets = [0; L];
    for (index, octet) in octets.iter_mut().enumerate() {
        *octet = code_at(bytes, offset + 1 + 8 * index, 8) as u8;
    }
    if code_at(bytes, offset, 1) == 0 {
        Ok(Some(octets))
    } else if octets == [255; L] {
        Ok(None)
    } else {
        Err(Error::Field(name))
    }
}

/// What the growers see
pub mod report {
    #[allow(unused_imports)]
    use super::*;

    /// What it carries.
    #[derive(Clone, Copy, Debug, PartialEq)]
    pub struct Message {
        /// air at two metres, `Cel`.
        pub air_temperature: Reading,
        /// air at two metres, `Cel`, earlier readings, newest first.
        pub air_temperature_earlier: [Reading; 3],
        /// surface of a leaf, `Cel`.
        pub leaf_temperature: Reading,
        /// surface of a leaf, `Cel`, earlier readings, newest first.
        pub leaf_temperature_earlier: [Reading; 3],
        /// air at two metres, `%`.
        pub humidity: Reading,
        /// share of the leaf that is wet, `%`.
        pub wetness: Reading,
        /// `mV`.
        pub battery: Reading,
        /// time in charge, `min`.
        pub charging: Reading,
        /// first report after a restart, `1`.
        pub restarted: Option<bool>,
    }

    impl Message {
        /// Reads the message that came on a port.
        ///
        /// # Errors
        ///
        /// [`Error`] for what is no such message.
        pub fn decode(port: u8, bytes: &[u8]) -> Result<Self, Error> {
            match port {
                10 => Self::full_form(bytes),
                11 => Self::short_form(bytes),
                _ => Err(Error::Port),
            }
        }

        fn full_form(bytes: &[u8]) -> Result<Self, Error> {
            let bytes: &[u8; 12] = match bytes.try_into() {
                Ok(bytes) => bytes,
                Err(_) => return Err(Error::Length),
            };
            if code_at(bytes, 93, 3) != 0 {
                return Err(Error::Padding);
            }
            let read_air_temperature = reading(code_at(bytes, 0, 10), 10, 1000, true, "air_temperature")?;
            let read_leaf_temperature = reading(code_at(bytes, 28, 10), 10, 1000, true, "leaf_temperature")?;
            let read_humidity = reading(code_at(bytes, 56, 7), 7, 100, true, "humidity")?;
            let read_wetness = reading(code_at(bytes, 63, 7), 7, 100, true, "wetness")?;
            let read_battery = reading(code_at(bytes, 70, 8), 8, 180, true, "battery")?;
            let read_charging = reading(code_at(bytes, 78, 13), 13, 4095, false, "charging")?;
            let read_restarted = word(reading(code_at(bytes, 91, 2), 2, 1, false, "restarted")?).map(|code| code == 1);
            let read_air_temperature_earlier = [
                valued(earlier(read_air_temperature, reading(code_at(bytes, 10, 6), 6, 60, true, "air_temperature")?, 6, 1000, false, "air_temperature")?, (1.0, -400.0, 10.0)),
                valued(earlier(read_air_temperature, reading(code_at(bytes, 16, 6), 6, 60, true, "air_temperature")?, 6, 1000, false, "air_temperature")?, (1.0, -400.0, 10.0)),
                valued(earlier(read_air_temperature, reading(code_at(bytes, 22, 6), 6, 60, true, "air_temperature")?, 6, 1000, false, "air_temperature")?, (1.0, -400.0, 10.0)),
            ];
            let read_leaf_temperature_earlier = [
                valued(earlier(read_leaf_temperature, reading(code_at(bytes, 38, 6), 6, 60, true, "leaf_temperature")?, 6, 1000, false, "leaf_temperature")?, (1.0, -400.0, 10.0)),
                valued(earlier(read_leaf_temperature, reading(code_at(bytes, 44, 6), 6, 60, true, "leaf_temperature")?, 6, 1000, false, "leaf_temperature")?, (1.0, -400.0, 10.0)),
                valued(earlier(read_leaf_temperature, reading(code_at(bytes, 50, 6), 6, 60, true, "leaf_temperature")?, 6, 1000, false, "leaf_temperature")?, (1.0, -400.0, 10.0)),
            ];
            Ok(Self {
                air_temperature: valued(read_air_temperature, (1.0, -400.0, 10.0)),
                air_temperature_earlier: read_air_temperature_earlier,
                leaf_temperature: valued(read_leaf_temperature, (1.0, -400.0, 10.0)),
                leaf_temperature_earlier: read_leaf_temperature_earlier,
                humidity: valued(read_humidity, (1.0, 0.0, 1.0)),
                wetness: valued(read_wetness, (1.0, 0.0, 1.0)),
                battery: valued(read_battery, (10.0, 2500.0, 1.0)),
                charging: valued(read_charging, (1.0, 0.0, 1.0)),
                restarted: read_restarted,
            })
        }

        fn short_form(bytes: &[u8]) -> Result<Self, Error> {
            let bytes: &[u8; 5] = match bytes.try_into() {
                Ok(bytes) => bytes,
                Err(_) => return Err(Error::Length),
            };
            if code_at(bytes, 35, 5) != 0 {
                return Err(Error::Padding);
            }
            let read_air_temperature = reading(code_at(bytes, 0, 10), 10, 1000, true, "air_temperature")?;
            let read_leaf_temperature = reading(code_at(bytes, 10, 10), 10, 1000, true, "leaf_temperature")?;
            let read_humidity = reading(code_at(bytes, 20, 7), 7, 100, true, "humidity")?;
            let read_battery = reading(code_at(bytes, 27, 8), 8, 180, true, "battery")?;
            Ok(Self {
                air_temperature: valued(read_air_temperature, (1.0, -400.0, 10.0)),
                air_temperature_earlier: [Reading::NONE; 3],
                leaf_temperature: valued(read_leaf_temperature, (1.0, -400.0, 10.0)),
                leaf_temperature_earlier: [Reading::NONE; 3],
                humidity: valued(read_humidity, (1.0, 0.0, 1.0)),
                wetness: Reading::NONE,
                battery: valued(read_battery, (10.0, 2500.0, 1.0)),
                charging: Reading::NONE,
                restarted: None,
            })
        }
    }
}

/// Frost in bloom
pub mod frost_watch {
    #[allow(unused_imports)]
    use super::*;

    /// What it carries.
    #[derive(Clone, Copy, Debug, PartialEq)]
    pub struct Message {
        /// `Cel`.
        pub leaf_temperature: Reading,
        /// `Cel`, earlier readings, newest first.
        pub leaf_temperature_earlier: [Reading; 4],
        /// `mV`.
        pub battery: Reading,
    }

    impl Message {
        /// Reads the message that came on a port.
        ///
        /// # Errors
        ///
        /// [`Error`] for what is no such message.
        pub fn decode(port: u8, bytes: &[u8]) -> Result<Self, Error> {
            match port {
                12 => Self::full_form(bytes),
                _ => Err(Error::Port),
            }
        }

        fn full_form(bytes: &[u8]) -> Result<Self, Error> {
            let bytes: &[u8; 5] = match bytes.try_into() {
                Ok(bytes) => bytes,
                Err(_) => return Err(Error::Length),
            };
            if code_at(bytes, 37, 3) != 0 {
                return Err(Error::Padding);
            }
            let read_leaf_temperature = reading(code_at(bytes, 0, 9), 9, 400, true, "leaf_temperature")?;
            let read_battery = reading(code_at(bytes, 29, 8), 8, 180, true, "battery")?;
            let read_leaf_temperature_earlier = [
                valued(earlier(read_leaf_temperature, reading(code_at(bytes, 9, 5), 5, 28, true, "leaf_temperature")?, 5, 400, false, "leaf_temperature")?, (1.0, -200.0, 10.0)),
                valued(earlier(read_leaf_temperature, reading(code_at(bytes, 14, 5), 5, 28, true, "leaf_temperature")?, 5, 400, false, "leaf_temperature")?, (1.0, -200.0, 10.0)),
                valued(earlier(read_leaf_temperature, reading(code_at(bytes, 19, 5), 5, 28, true, "leaf_temperature")?, 5, 400, false, "leaf_temperature")?, (1.0, -200.0, 10.0)),
                valued(earlier(read_leaf_temperature, reading(code_at(bytes, 24, 5), 5, 28, true, "leaf_temperature")?, 5, 400, false, "leaf_temperature")?, (1.0, -200.0, 10.0)),
            ];
            Ok(Self {
                leaf_temperature: valued(read_leaf_temperature, (1.0, -200.0, 10.0)),
                leaf_temperature_earlier: read_leaf_temperature_earlier,
                battery: valued(read_battery, (10.0, 2500.0, 1.0)),
            })
        }
    }
}

/// How often it reports
pub mod settings {
    #[allow(unused_imports)]
    use super::*;

    /// What it carries.
    #[derive(Clone, Copy, Debug, PartialEq)]
    pub struct Message {
        /// `min`; sets the interval of report, counted from when it is received.
        pub report_interval: Reading,
        /// `min`; sets the interval of frost_watch, counted from when it is received, while the air is colder than 3 Cel, in the months 3, 4, 5.
        pub frost_watch_interval: Reading,
        /// `Cel`.
        pub frost_watch_below: Reading,
    }

    impl Message {
        /// Reads the message that came on a port.
        ///
        /// # Errors
        ///
        /// [`Error`] for what is no such message.
        pub fn decode(port: u8, bytes: &[u8]) -> Result<Self, Error> {
            match port {
                20 => Self::full_form(bytes),
                _ => Err(Error::Port),
            }
        }

        fn full_form(bytes: &[u8]) -> Result<Self, Error> {
            let bytes: &[u8; 3] = match bytes.try_into() {
                Ok(bytes) => bytes,
                Err(_) => return Err(Error::Length),
            };
            if code_at(bytes, 23, 1) != 0 {
                return Err(Error::Padding);
            }
            let read_report_interval = reading(code_at(bytes, 0, 11), 11, 1438, true, "report_interval")?;
            let read_frost_watch_interval = reading(code_at(bytes, 11, 6), 6, 59, true, "frost_watch_interval")?;
            let read_frost_watch_below = reading(code_at(bytes, 17, 6), 6, 40, true, "frost_watch_below")?;
            Ok(Self {
                report_interval: valued(read_report_interval, (1.0, 2.0, 1.0)),
                frost_watch_interval: valued(read_frost_watch_interval, (1.0, 1.0, 1.0)),
                frost_watch_below: valued(read_frost_watch_below, (1.0, -20.0, 2.0)),
            })
        }
    }
}
