//! Where each code lies.

use super::{Field, Form, Kind, Message, Scale, Version};

/// What one code of a field is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// The value itself, or the newest of several.
    Value,
    /// The north coordinate.
    Latitude,
    /// The east coordinate.
    Longitude,
    /// The difference of an earlier reading; 0 is the one before the newest.
    Earlier(u8),
}

/// What the codes of a part mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Codes {
    /// Width; above 32 only for bytes.
    pub bits: u32,
    /// Largest code that is a value. Of no meaning for bytes.
    pub last: u32,
    /// Whether "below" and "above" have codes.
    pub saturates: bool,
}

impl Codes {
    /// The code that says that there is no reading.
    #[must_use]
    pub fn absent(&self) -> u32 {
        all_ones(self.bits)
    }

    /// The code that says that the value lies above the range.
    #[must_use]
    pub fn above(&self) -> Option<u32> {
        self.saturates.then(|| self.absent() - 1)
    }

    /// The code that says that the value lies below the range.
    #[must_use]
    pub fn below(&self) -> Option<u32> {
        self.saturates.then(|| self.absent() - 2)
    }
}

pub(crate) fn all_ones(bits: u32) -> u32 {
    u32::MAX >> (32 - bits.clamp(1, 32))
}

/// One code in a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Slot {
    /// Index of the field.
    pub field: usize,
    /// What of it.
    pub part: Part,
    /// Bits before it.
    pub offset: u32,
    /// Its width.
    pub bits: u32,
}

/// Where everything lies in one form of a message. Version bits, if any, are the first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Layout {
    /// All codes in the order on the air.
    pub slots: Vec<Slot>,
    /// Bits in use.
    pub bits: u32,
    /// Bytes on the air; the last one is filled with zero bits.
    pub bytes: usize,
}

impl Layout {
    /// Bits after the last code, which are zero.
    #[must_use]
    pub fn spare_bits(&self) -> u32 {
        self.bits.next_multiple_of(8) - self.bits
    }
}

impl Field {
    /// From code to value of a part, if it is a number.
    #[must_use]
    pub fn scale(&self, part: Part) -> Option<Scale> {
        match (&self.kind, part) {
            (Kind::Position { longitude, .. }, Part::Longitude) => Some(*longitude),
            (Kind::Position { latitude, .. }, _) => Some(*latitude),
            (Kind::Number { scale, .. } | Kind::Counter { scale, .. } | Kind::Time { scale, .. }, _) => {
                Some(*scale)
            }
            (Kind::Flag | Kind::Choice { .. } | Kind::Bytes { .. }, _) => None,
        }
    }

    /// The parts of which it consists in a form, in the order on the air.
    #[must_use]
    pub fn parts(&self, form: Form) -> Vec<Part> {
        let mut parts = match self.kind {
            Kind::Position { .. } => vec![Part::Latitude, Part::Longitude],
            _ => vec![Part::Value],
        };
        if let (Form::Full, Some(history)) = (form, self.history) {
            parts.extend((0..history.earlier).map(Part::Earlier));
        }
        parts
    }

    /// What the codes of one of its parts mean.
    #[must_use]
    pub fn codes(&self, part: Part) -> Codes {
        let plain = |bits: u8, last: u32| Codes { bits: bits.into(), last, saturates: false };
        if let (Part::Earlier(_), Some(history)) = (part, self.history) {
            let bits = u32::from(history.bits);
            return Codes { bits, last: all_ones(bits) - 3, saturates: true };
        }
        match (&self.kind, part) {
            (Kind::Number { last, bits, .. } | Kind::Time { last, bits, .. }, _) => {
                Codes { bits: (*bits).into(), last: *last, saturates: true }
            }
            (Kind::Counter { count_bits, .. }, _) => plain(count_bits + 1, all_ones((*count_bits).into())),
            (Kind::Flag, _) => plain(2, 1),
            (Kind::Choice { words }, _) => {
                let last = u32::try_from(words.len()).unwrap_or(u32::MAX).saturating_sub(1);
                Codes { bits: u32::BITS - (last + 1).leading_zeros(), last, saturates: false }
            }
            (Kind::Position { longitude_bits, .. }, Part::Longitude) => {
                plain(*longitude_bits, all_ones((*longitude_bits).into()) - 1)
            }
            (Kind::Position { latitude_bits, .. }, _) => {
                plain(*latitude_bits, all_ones((*latitude_bits).into()) - 1)
            }
            (Kind::Bytes { length }, _) => {
                Codes { bits: 1 + 8 * u32::from(*length), last: 0, saturates: false }
            }
        }
    }
}

impl Message {
    /// The port of a form; `None` if the message has no short form.
    #[must_use]
    pub fn port_of(&self, form: Form) -> Option<u8> {
        match form {
            Form::Full => Some(self.port),
            Form::Short => self.short.as_ref().map(|short| short.port),
        }
    }

    /// Its forms: the full one, then the short one if there is one.
    #[must_use]
    pub fn forms(&self) -> Vec<Form> {
        if self.short.is_some() { vec![Form::Full, Form::Short] } else { vec![Form::Full] }
    }

    /// The form to send at a data rate.
    #[must_use]
    pub fn form_at(&self, data_rate: u8) -> Form {
        match &self.short {
            Some(short) if short.data_rates.contains(&data_rate) => Form::Short,
            _ => Form::Full,
        }
    }

    /// Whether a form carries a field.
    #[must_use]
    pub fn carries(&self, form: Form, field: &Field) -> bool {
        form == Form::Full || self.short.as_ref().is_some_and(|short| field.priority <= short.keeps)
    }

    /// Where each code lies in a form.
    #[must_use]
    pub fn layout(&self, form: Form) -> Layout {
        let mut offset = match self.version {
            Version::Port => 0,
            Version::Bits { width, .. } => width.into(),
        };
        let mut slots = Vec::new();
        for (index, field) in self.fields.iter().enumerate().filter(|(_, field)| self.carries(form, field)) {
            for part in field.parts(form) {
                let bits = field.codes(part).bits;
                slots.push(Slot { field: index, part, offset, bits });
                offset += bits;
            }
        }
        Layout { slots, bits: offset, bytes: offset.div_ceil(8) as usize }
    }
}
