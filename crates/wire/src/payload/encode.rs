//! From readings to bytes.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "each value is compared with its limits first"
)]

use design::message::{Field, Form, Kind, Part};
use thiserror::Error;

use super::shape::{Link, Reach, Shape};
use super::{Codec, Reading, State, bits};

/// Doubles above this have no neighbours at whole numbers [parts].
const LARGEST_PARTS: f64 = 9_007_199_254_740_992.0;

/// What is to be sent in one slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sample<'a> {
    /// No reading.
    Absent,
    /// A reading below the range.
    Below,
    /// A reading above the range.
    Above,
    /// The code of a reading; for an earlier one its own code, not the difference.
    Code(u32),
    /// Bytes as they are.
    Octets(&'a [u8]),
}

/// A message, and what could not be said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Encoded {
    /// The message.
    pub bytes: Vec<u8>,
    /// Slots whose reading lay outside what their codes can say.
    pub saturated: Vec<usize>,
}

/// Why there is no message.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum EncodeError {
    /// The message has no short form.
    #[error("the message `{message}` has no short form")]
    NoShortForm {
        /// The message.
        message: String,
    },
    /// Too few or too many samples.
    #[error("{found} samples where the form has {expected} slots")]
    Count {
        /// Samples given.
        found: usize,
        /// Slots of the form.
        expected: usize,
    },
    /// A sample that the field can't say.
    #[error("`{field}` can't say this; give a value of its kind and size, or absent")]
    Sample {
        /// The field.
        field: String,
    },
}

impl Reading {
    /// What sends it again; bytes are sent from the payload they came in.
    #[must_use]
    pub fn sample(&self) -> Sample<'static> {
        match self.state {
            State::Absent => Sample::Absent,
            State::Below => Sample::Below,
            State::Above => Sample::Above,
            State::Inside => Sample::Code(self.code),
        }
    }
}

impl Codec {
    /// Writes a message from one sample for each slot of the layout.
    ///
    /// # Errors
    ///
    /// [`EncodeError`] for a form the message does not have, another number of samples than slots, or a sample of the
    /// wrong kind. A reading outside the range is no error: it is sent as such and listed.
    pub fn encode(&self, form: Form, samples: &[Sample]) -> Result<Encoded, EncodeError> {
        let shape = self.needed(form)?;
        let slots = &shape.layout.slots;
        if samples.len() != slots.len() {
            return Err(EncodeError::Count { found: samples.len(), expected: slots.len() });
        }
        let mut sent = samples.to_vec();
        shape.links.iter().for_each(|link| link_samples(link, &mut sent));
        let mut bytes = vec![0; shape.layout.bytes];
        let version = shape.version.map_or(0, |(shift, version)| version << shift);
        bits::put(&mut bytes, 0, 8, version.into());
        let mut saturated = Vec::new();
        for (index, (sample, slot)) in sent.iter().zip(slots).enumerate() {
            let wrong = || EncodeError::Sample { field: self.field_name(shape, index) };
            let field = self.message.fields.get(slot.field).ok_or_else(wrong)?;
            match (code(field, slot.part, *sample), sample) {
                (Some(code), _) => bits::put(&mut bytes, slot.offset, slot.bits, code.into()),
                (None, Sample::Absent) => {
                    (slot.offset..slot.offset + slot.bits).for_each(|bit| bits::put(&mut bytes, bit, 1, 1));
                }
                (None, Sample::Octets(octets)) if 8 * octets.len() + 1 == slot.bits as usize => {
                    for (octet, offset) in octets.iter().zip((slot.offset + 1..).step_by(8)) {
                        bits::put(&mut bytes, offset, 8, (*octet).into());
                    }
                }
                _ => return Err(wrong()),
            }
            if matches!(sample, Sample::Below | Sample::Above) {
                saturated.push(index);
            }
        }
        Ok(Encoded { bytes, saturated })
    }

    /// What says a value in the unit of the field, rounded to the nearest code, half a step away from zero.
    ///
    /// The value is first taken to the nearest of the integers that the firmware works with
    /// ([`design::message::Scale::per_unit`]). Not a number is absent; a counter is given in its unit, a flag or choice as
    /// its code.
    ///
    /// # Errors
    ///
    /// [`EncodeError`] for a form or slot that is not there, a count that the field can't say, a code that is none, and bytes.
    pub fn sample(&self, form: Form, slot: usize, value: f64) -> Result<Sample<'static>, EncodeError> {
        let shape = self.needed(form)?;
        let wrong = || EncodeError::Sample { field: self.field_name(shape, slot) };
        let slot = shape.layout.slots.get(slot).ok_or_else(wrong)?;
        let field = self.message.fields.get(slot.field).ok_or_else(wrong)?;
        if value.is_nan() {
            return Ok(Sample::Absent);
        }
        let last = f64::from(field.codes(Part::Value).last);
        match field.scale(slot.part) {
            Some(scale) if matches!(field.kind, Kind::Counter { .. }) => {
                let count = (value * scale.denominator as f64 / scale.numerator as f64).round();
                if (0.0..=last).contains(&count) { Ok(Sample::Code(count as u32)) } else { Err(wrong()) }
            }
            Some(scale) => {
                let parts = (value * f64::from(scale.per_unit)).round();
                let parts = parts.clamp(-LARGEST_PARTS, LARGEST_PARTS);
                sample_of_parts(field, slot.part, parts as i64).ok_or_else(wrong)
            }
            None if (0.0..=last).contains(&value) && value.fract() == 0.0 => Ok(Sample::Code(value as u32)),
            None => Err(wrong()),
        }
    }

    fn needed(&self, form: Form) -> Result<&Shape, EncodeError> {
        self.shape(form).ok_or_else(|| EncodeError::NoShortForm { message: self.message.name.clone() })
    }
}

/// What says a value given in the firmware's integers; `None` for a negative count and for kinds without a scale.
#[must_use]
pub fn sample_of_parts(field: &Field, part: Part, parts: i64) -> Option<Sample<'static>> {
    let scale = field.scale(part)?;
    let last = i128::from(field.codes(Part::Value).last);
    let code = scale.nearest(parts);
    let inside = |code: i128| u32::try_from(code).map(Sample::Code).ok();
    match field.kind {
        Kind::Counter { .. } => None,
        Kind::Position { .. } => {
            let bound = if part == Part::Longitude { 180 } else { 90 } * i64::from(scale.per_unit);
            let last = i128::from(field.codes(part).last);
            let somewhere = parts.abs() <= bound && (0..=last).contains(&code);
            if somewhere { inside(code) } else { Some(Sample::Absent) }
        }
        _ if code < 0 => Some(Sample::Below),
        _ if code > last => Some(Sample::Above),
        _ => inside(code),
    }
}

/// The code that a slot carries; `None` for bytes and for what it can't say.
fn code(field: &Field, part: Part, sample: Sample) -> Option<u32> {
    let codes = field.codes(part);
    match sample {
        Sample::Code(code) if code <= codes.last && codes.bits <= u32::BITS => Some(code),
        Sample::Below => codes.below(),
        Sample::Above => codes.above(),
        Sample::Absent if codes.bits <= u32::BITS => Some(codes.absent()),
        _ => None,
    }
}

/// Makes of readings that belong together what is sent for them.
fn link_samples(link: &Link, samples: &mut [Sample<'_>]) {
    match *link {
        Link::Position { slot } => {
            if let Some(both) = samples.get_mut(slot..slot + 2)
                && both.contains(&Sample::Absent)
            {
                both.fill(Sample::Absent);
            }
        }
        Link::History { slot, earlier, reach, .. } => {
            if let Some([newest, earlier @ ..]) = samples.get_mut(slot..=slot + earlier) {
                for sample in earlier {
                    *sample = reach.difference(*newest, *sample);
                }
            }
        }
        Link::Octets { .. } => {}
    }
}

impl Reach {
    /// What is sent for a reading before `newest`.
    fn difference<'a>(self, newest: Sample, earlier: Sample<'a>) -> Sample<'a> {
        let newest = match newest {
            Sample::Code(code) => code,
            Sample::Below => 0,
            Sample::Above => self.last,
            Sample::Absent | Sample::Octets(_) => return Sample::Absent,
        };
        let Sample::Code(earlier) = earlier else { return earlier };
        let difference = i64::from(earlier) - i64::from(newest);
        let modulus = i64::from(self.last) + 1;
        let difference = if self.counter { -(-difference).rem_euclid(modulus) } else { difference };
        match difference + i64::from(self.centre) {
            code if code < 0 => Sample::Below,
            code if code > i64::from(self.last_difference) => Sample::Above,
            code => u32::try_from(code).map_or(Sample::Absent, Sample::Code),
        }
    }
}
