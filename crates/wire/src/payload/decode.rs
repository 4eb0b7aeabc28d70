//! From bytes to readings.

use super::shape::{Convert, Link, Plan, Reach, Shape, WINDOW};
use super::{Codec, DecodeError, Reading, State, bits};
use design::message::Form;

impl Codec {
    /// Reads a message into `readings`, one for each slot of the layout of the form that is returned.
    ///
    /// The buffer is overwritten; after an error it holds nothing.
    ///
    /// # Errors
    ///
    /// [`DecodeError`] for a port, length, edition or code that is not of this message.
    pub fn decode(&self, port: u8, bytes: &[u8], readings: &mut Vec<Reading>) -> Result<Form, DecodeError> {
        readings.clear();
        let shape = self.shapes.iter().find(|shape| shape.port == port);
        let shape = shape.ok_or_else(|| DecodeError::Port { port, message: self.message.name.clone() })?;
        readings.resize(shape.plans.len(), Reading::NONE);
        match self.read(shape, bytes, readings) {
            Ok(()) => Ok(shape.form),
            Err(error) => {
                readings.clear();
                Err(error)
            }
        }
    }

    fn read(&self, shape: &Shape, bytes: &[u8], readings: &mut [Reading]) -> Result<(), DecodeError> {
        shape.envelope(bytes)?;
        let mut padded = [0; WINDOW];
        let windows = match padded.get_mut(..bytes.len()) {
            Some(beginning) => {
                beginning.copy_from_slice(bytes);
                &padded[..]
            }
            None => bytes,
        };
        for (index, (plan, reading)) in shape.plans.iter().zip(readings.iter_mut()).enumerate() {
            let code = plan.code(windows);
            *reading = match plan.reading(code) {
                Some(reading) => reading,
                None => return Err(DecodeError::Code { field: self.field_name(shape, index), code }),
            };
        }
        shape.links.iter().try_for_each(|link| self.link(shape, link, bytes, readings))
    }

    fn link(
        &self,
        shape: &Shape,
        link: &Link,
        bytes: &[u8],
        readings: &mut [Reading],
    ) -> Result<(), DecodeError> {
        match *link {
            Link::Position { slot } => match readings.get(slot..slot + 2) {
                Some([latitude, longitude])
                    if (latitude.state == State::Absent) != (longitude.state == State::Absent) =>
                {
                    Err(DecodeError::HalfPosition { field: self.field_name(shape, slot) })
                }
                _ => Ok(()),
            },
            Link::History { slot, earlier, reach, convert } => {
                let Some([newest, earlier @ ..]) = readings.get_mut(slot..=slot + earlier) else { return Ok(()) };
                for reading in earlier {
                    let wrong = || DecodeError::Earlier { field: self.field_name(shape, slot) };
                    *reading = reach.earlier(*newest, *reading, convert).ok_or_else(wrong)?;
                }
                Ok(())
            }
            Link::Octets { slot, offset, length } => {
                let wrong = || DecodeError::Code { field: self.field_name(shape, slot), code: 1 };
                let state = octets_state(bytes, offset, length).ok_or_else(wrong)?;
                if let Some(reading) = readings.get_mut(slot) {
                    *reading = Reading { state, code: 0, value: f64::NAN };
                }
                Ok(())
            }
        }
    }

    /// The bytes of a field of bytes in a payload that was decoded; `None` if absent or if the slot is of another kind.
    #[must_use]
    pub fn octets(&self, form: Form, slot: usize, payload: &[u8]) -> Option<Vec<u8>> {
        self.shape(form)?.links.iter().find_map(|link| match *link {
            Link::Octets { slot: this, offset, length } if this == slot => {
                let state = octets_state(payload, offset, length)?;
                let octet = |index| bits::get(payload, offset + 1 + 8 * index, 8) as u8;
                (state == State::Inside).then(|| (0..length as u32).map(octet).collect())
            }
            _ => None,
        })
    }
}

/// Absent is all ones; otherwise the first bit is zero.
fn octets_state(bytes: &[u8], offset: u32, length: usize) -> Option<State> {
    if bits::get(bytes, offset, 1) == 0 {
        return Some(State::Inside);
    }
    let octet = |index| bits::get(bytes, offset + 1 + 8 * index, 8);
    (0..length as u32).all(|index| octet(index) == 0xff).then_some(State::Absent)
}

impl Shape {
    /// What can be said without looking at a field.
    fn envelope(&self, bytes: &[u8]) -> Result<(), DecodeError> {
        let expected = self.layout.bytes;
        let (first, last) = match bytes {
            [first, .., last] if bytes.len() == expected => (*first, *last),
            [only] if expected == 1 => (*only, *only),
            _ => return Err(DecodeError::Length { found: bytes.len(), expected }),
        };
        if let Some((shift, expected)) = self.version
            && first >> shift != expected
        {
            return Err(DecodeError::Version { found: first >> shift, expected });
        }
        if last & self.padding == 0 { Ok(()) } else { Err(DecodeError::Padding) }
    }
}

impl Plan {
    #[inline]
    fn code(&self, bytes: &[u8]) -> u32 {
        // The length was compared with the layout, so the window is always there.
        let window = bytes.get(self.at..).and_then(|rest| rest.first_chunk());
        let window = window.map_or(u64::MAX, |window| u64::from_be_bytes(*window));
        (window >> self.shift) as u32 & self.mask
    }

    #[inline]
    fn reading(&self, code: u32) -> Option<Reading> {
        let (state, code) = if code <= self.last {
            (State::Inside, code)
        } else if code == self.absent {
            return Some(Reading::NONE);
        } else if code == self.above {
            (State::Above, self.last)
        } else if code == self.below {
            (State::Below, 0)
        } else {
            return None;
        };
        Some(Reading { state, code, value: self.convert.value(code) })
    }
}

impl Reach {
    /// The reading before `newest` by the difference that was read; `None` if there can't be one.
    fn earlier(self, newest: Reading, difference: Reading, convert: Convert) -> Option<Reading> {
        if newest.state == State::Absent || difference.state == State::Absent {
            return (difference.state == State::Absent).then_some(Reading::NONE);
        }
        let code = i64::from(newest.code) + i64::from(difference.code) - i64::from(self.centre);
        let last = i64::from(self.last);
        let code = match difference.state {
            State::Above if self.counter => return None,
            _ if self.counter => code.rem_euclid(last + 1),
            State::Inside if code < 0 || code > last => return None,
            _ => code.clamp(0, last),
        };
        let code = u32::try_from(code).ok()?;
        Some(Reading { state: difference.state, code, value: convert.value(code) })
    }
}
