
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
