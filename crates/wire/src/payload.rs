//! From the bytes of a message to its readings and back, for any message of a design.
//!
//! [`Codec`] prepares a message once; after that nothing is looked up by name and a buffer can be used again and again.
//! The rules of the codes stand in [`design::message`]; generated codecs follow the same.
//! What is too short, too long, of another port or edition, or holds a code without a meaning is an error and never a
//! reading.
//!
//! # Example
//!
//! ```
//! use design::message::{Direction, Field, Form, Kind, Message, Scale, Version};
//! use wire::payload::{Codec, Sample};
//!
//! // Tenths of a degree from -40 °C in ten bits, the last value being 60 °C.
//! let scale = Scale { numerator: 1, offset: -400, denominator: 10, per_unit: 10 };
//! let air = Field {
//!     name: "air".into(),
//!     title: "air temperature".into(),
//!     unit: "Cel".into(),
//!     kind: Kind::Number { scale, last: 1000, bits: 10, battery: false },
//!     priority: 1,
//!     history: None,
//!     per_device: vec![],
//!     means: None,
//!     sets: None,
//! };
//! let report = Message {
//!     name: "report".into(),
//!     title: String::new(),
//!     port: 2,
//!     direction: Direction::Up,
//!     version: Version::Port,
//!     fields: vec![air],
//!     short: None,
//! };
//! let codec = Codec::new(&report);
//!
//! let sample = codec.sample(Form::Full, 0, -1.25)?;
//! let bytes = codec.encode(Form::Full, &[sample])?.bytes;
//! let mut readings = Vec::new();
//! codec.decode(2, &bytes, &mut readings)?;
//! assert_eq!(readings[0].value(), Some(-1.3));
//! assert!(codec.decode(2, &bytes[..1], &mut readings).is_err());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod bits;
mod decode;
mod encode;
mod shape;

pub use encode::{EncodeError, Encoded, Sample, sample_of_parts};

use design::message::{Form, Layout, Message};
use thiserror::Error;

use shape::Shape;

/// Reads and writes one message in all its forms.
#[derive(Clone, Debug)]
pub struct Codec {
    message: Message,
    /// The full form, then the short one.
    shapes: Vec<Shape>,
}

/// Where a reading lies with respect to what its code can say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
// As wide as the code, so that a reading is stored in two words.
#[repr(u32)]
pub enum State {
    /// It is the reading.
    Inside,
    /// There is no reading.
    Absent,
    /// The reading was smaller than what can be said; the smallest is given instead.
    Below,
    /// The reading was larger than what can be said; the largest is given instead.
    Above,
}

/// What one slot of a message says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    state: State,
    code: u32,
    value: f64,
}

impl Reading {
    const NONE: Self = Self { state: State::Absent, code: 0, value: 0.0 };

    /// Whether it is there, and whether it could be said.
    #[must_use]
    pub fn state(&self) -> State {
        self.state
    }

    /// The exact code; for an earlier reading the code that its value would have as a newest one. `None` if absent.
    #[must_use]
    pub fn code(&self) -> Option<u32> {
        (self.state != State::Absent).then_some(self.code)
    }

    /// The double nearest to the value, in the unit of the field; for flags and choices the code. `None` if absent, and for
    /// bytes, which [`Codec::octets`] has.
    #[must_use]
    pub fn value(&self) -> Option<f64> {
        (self.state != State::Absent && !self.value.is_nan()).then_some(self.value)
    }
}

/// Why bytes are no message.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// Another message's port.
    #[error("port {port} does not carry the message `{message}`; look for the message of this port")]
    Port {
        /// The port it came on.
        port: u8,
        /// The message it was taken for.
        message: String,
    },
    /// Cut off, or something follows.
    #[error(
        "{found} bytes where the message has {expected}; the firmware was built from another edition of the design"
    )]
    Length {
        /// Bytes received.
        found: usize,
        /// Bytes of the form.
        expected: usize,
    },
    /// Another edition.
    #[error("version {found} where {expected} is known; decode it with the design of that version")]
    Version {
        /// What it says.
        found: u8,
        /// What is known.
        expected: u8,
    },
    /// Ones after the last field.
    #[error(
        "the bits after the last field are not zero; the firmware was built from another edition of the design"
    )]
    Padding,
    /// A code without a meaning.
    #[error("`{field}` has the code {code}, which means nothing; the encoder is not the generated one")]
    Code {
        /// The field.
        field: String,
        /// What it holds.
        code: u32,
    },
    /// Only one coordinate of two.
    #[error("`{field}` has one coordinate of two; the encoder is not the generated one")]
    HalfPosition {
        /// The field.
        field: String,
    },
    /// An earlier reading that can't be.
    #[error(
        "`{field}` has an earlier reading that its newest one does not allow; the encoder is not the generated one"
    )]
    Earlier {
        /// The field.
        field: String,
    },
}

impl Codec {
    /// Prepares a message.
    #[must_use]
    pub fn new(message: &Message) -> Self {
        let shapes = message.forms().into_iter().map(|form| Shape::new(message, form)).collect();
        Self { message: message.clone(), shapes }
    }

    /// The message.
    #[must_use]
    pub fn message(&self) -> &Message {
        &self.message
    }

    /// The form that a port carries.
    #[must_use]
    pub fn form_on(&self, port: u8) -> Option<Form> {
        self.shapes.iter().find(|shape| shape.port == port).map(|shape| shape.form)
    }

    /// Where everything lies in a form; the readings have the order of its slots.
    #[must_use]
    pub fn layout(&self, form: Form) -> Option<&Layout> {
        self.shape(form).map(|shape| &shape.layout)
    }

    fn shape(&self, form: Form) -> Option<&Shape> {
        self.shapes.iter().find(|shape| shape.form == form)
    }

    fn field_name(&self, shape: &Shape, slot: usize) -> String {
        let field = shape.layout.slots.get(slot).and_then(|slot| self.message.fields.get(slot.field));
        field.map_or_else(String::new, |field| field.name.clone())
    }
}
