//! From bytes to readings.

#![expect(
    clippy::cast_possible_truncation,
    reason = "a message has at most 242 bytes; codes are masked to their width"
)]

use super::shape::{Link, Plan, Reach, Shape, WINDOW};
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
        let read = match self.shapes.iter().find(|shape| shape.port == port) {
            Some(shape) => {
                readings.resize(shape.plans.len(), Reading::NONE);
                self.read(shape, bytes, readings).map(|()| shape.form)
            }
            None => Err(DecodeError::Port { port, message: self.message.name.clone() }),
        };
        if read.is_err() {
            readings.clear();
        }
        read
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
        let mut newest = (State::Absent, 0);
        for (index, (plan, reading)) in shape.plans.iter().zip(readings.iter_mut()).enumerate() {
            let raw = plan.code(windows);
            let Some((state, code)) = plan.state(raw) else {
                return Err(self.meaningless(shape, index, raw));
            };
            let code = match &plan.reach {
                None => {
                    newest = (state, code);
                    Some(code)
                }
                Some(_) if state == State::Absent => Some(0),
                Some(reach) => reach.earlier(newest, state, code),
            };
            let Some(code) = code else { return Err(self.meaningless(shape, index, raw)) };
            let value = if state == State::Absent { 0.0 } else { plan.convert.value(code) };
            *reading = Reading { state, code, value };
        }
        shape.links.iter().try_for_each(|link| self.link(shape, link, bytes, readings))
    }

    #[cold]
    fn meaningless(&self, shape: &Shape, index: usize, code: u32) -> DecodeError {
        let field = self.field_name(shape, index);
        let of_newest =
            shape.plans.get(index).is_some_and(|plan| plan.reach.is_some() && plan.state(code).is_some());
        if of_newest { DecodeError::Earlier { field } } else { DecodeError::Code { field, code } }
    }

    fn link(
        &self,
        shape: &Shape,
        link: &Link,
        bytes: &[u8],
        readings: &mut [Reading],
    ) -> Result<(), DecodeError> {
        match *link {
            // The first pass has counted from the newest reading already.
            Link::History { .. } => Ok(()),
            Link::Position { slot } => match readings.get(slot..slot + 2) {
                Some([latitude, longitude])
                    if (latitude.state == State::Absent) != (longitude.state == State::Absent) =>
                {
                    Err(DecodeError::HalfPosition { field: self.field_name(shape, slot) })
                }
                _ => Ok(()),
            },
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

    /// What the code says, before it is counted from the newest reading.
    #[inline]
    fn state(&self, code: u32) -> Option<(State, u32)> {
        if code <= self.last {
            Some((State::Inside, code))
        } else if code == self.absent {
            Some((State::Absent, 0))
        } else if code == self.above {
            Some((State::Above, self.last))
        } else if code == self.below {
            Some((State::Below, 0))
        } else {
            None
        }
    }
}

impl Reach {
    /// The code of the reading before `newest` by a difference; `None` if there can't be one.
    #[inline]
    fn earlier(&self, newest: (State, u32), state: State, difference: u32) -> Option<u32> {
        let code = i64::from(newest.1) + i64::from(difference) - i64::from(self.centre);
        let last = i64::from(self.last);
        if state == State::Inside && newest.0 != State::Absent && (0..=last).contains(&code) {
            return u32::try_from(code).ok();
        }
        let code = match state {
            _ if newest.0 == State::Absent => return None,
            State::Above if self.counter => return None,
            // All ones, so this is the remainder.
            _ if self.counter => code & last,
            State::Inside => return None,
            _ => code.clamp(0, last),
        };
        u32::try_from(code).ok()
    }
}
