//! One form of a message, prepared for reading: where to load, how far to shift, what a code means.

#![expect(clippy::cast_possible_truncation, reason = "a message has at most 242 bytes")]

use std::sync::Arc;

use design::message::{Field, Form, Kind, Layout, Message, Part, Slot, Version};

/// So many bytes are loaded at once; a code of 32 bits that begins within a byte lies in them.
pub(super) const WINDOW: usize = 8;

#[derive(Clone, Debug)]
pub(super) struct Shape {
    pub(super) form: Form,
    pub(super) port: u8,
    pub(super) layout: Layout,
    /// Bits to shift the first byte by, and the edition it must then be.
    pub(super) version: Option<(u32, u8)>,
    /// The bits of the last byte that must be zero.
    pub(super) padding: u8,
    pub(super) plans: Vec<Plan>,
    pub(super) links: Vec<Link>,
}

/// How one slot is read.
#[derive(Clone, Debug)]
pub(super) struct Plan {
    /// First byte of the window.
    pub(super) at: usize,
    /// Bits of the window after the code.
    pub(super) shift: u32,
    pub(super) mask: u32,
    pub(super) last: u32,
    pub(super) absent: u32,
    /// Both `absent` where nothing saturates.
    pub(super) above: u32,
    pub(super) below: u32,
    pub(super) convert: Convert,
    /// Set for an earlier reading, whose code is a difference to the newest one.
    pub(super) reach: Option<Reach>,
}

/// From code to value. The three are integers, and so is every intermediate result up to the one division: nothing is
/// rounded before it.
#[derive(Clone, Debug)]
pub(super) struct Convert {
    numerator: f64,
    offset: f64,
    denominator: f64,
    /// The values of all codes where they are few: a division takes longer than all the rest.
    table: Arc<[f64]>,
}

/// A table of 32 kB at most.
const LARGEST_TABLE: u32 = 4096;

/// Slots that mean something only together, or that are no number.
#[derive(Clone, Debug)]
pub(super) enum Link {
    /// This slot and the next are latitude and longitude.
    Position { slot: usize },
    /// This slot is followed by so many earlier readings.
    History { slot: usize, earlier: usize, reach: Reach },
    /// This slot has so many bytes.
    Octets { slot: usize, offset: u32, length: usize },
}

/// How a difference is counted.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reach {
    /// Largest code of the field.
    pub(super) last: u32,
    /// Largest difference.
    pub(super) last_difference: u32,
    /// The difference that means none.
    pub(super) centre: u32,
    /// Whether it is a counter, which is counted modulo `last` + 1.
    pub(super) counter: bool,
}

impl Convert {
    fn of(field: &Field, part: Part) -> Self {
        let scale = field.scale(part);
        let (numerator, offset, denominator) = scale.map_or((1.0, 0.0, 1.0), |scale| {
            (scale.numerator as f64, scale.offset as f64, scale.denominator as f64)
        });
        let last = field.codes(if part == Part::Longitude { part } else { Part::Value }).last;
        let codes = if last < LARGEST_TABLE && scale.is_some() { 0..last + 1 } else { 0..0 };
        let divided = Self { numerator, offset, denominator, table: Arc::new([]) };
        let table = codes.map(|code| divided.value(code)).collect();
        Self { table, ..divided }
    }

    #[inline]
    pub(super) fn value(&self, code: u32) -> f64 {
        match self.table.get(code as usize) {
            Some(value) => *value,
            None => (f64::from(code) * self.numerator + self.offset) / self.denominator,
        }
    }
}

impl Shape {
    pub(super) fn new(message: &Message, form: Form) -> Self {
        let layout = message.layout(form);
        let version = match message.version {
            Version::Port => None,
            Version::Bits { width, value } => Some((8 - u32::from(width), value)),
        };
        let spare = layout.spare_bits();
        let of = |slot: &Slot| message.fields.get(slot.field);
        let mut plans: Vec<Plan> = Vec::new();
        for slot in &layout.slots {
            let Some(field) = of(slot) else { continue };
            // An earlier reading follows the newest one and shares its table.
            let convert = match (slot.part, plans.last()) {
                (Part::Earlier(_), Some(newest)) => newest.convert.clone(),
                _ => Convert::of(field, slot.part),
            };
            plans.push(Plan::new(field, *slot, layout.bytes, convert));
        }
        let links = layout.slots.iter().enumerate();
        let links = links.filter_map(|(index, slot)| Link::new(of(slot)?, form, index, *slot)).collect();
        let port = message.port_of(form).unwrap_or(message.port);
        Self { form, port, version, padding: ((1_u16 << spare) - 1) as u8, plans, links, layout }
    }
}

impl Plan {
    fn new(field: &Field, slot: Slot, bytes: usize, convert: Convert) -> Self {
        let codes = field.codes(slot.part);
        let at = (slot.offset as usize / 8).min(bytes.max(WINDOW) - WINDOW);
        let absent = codes.absent();
        let plan = Self {
            at,
            shift: 0,
            mask: absent,
            last: codes.last,
            absent,
            above: codes.above().unwrap_or(absent),
            below: codes.below().unwrap_or(absent),
            convert,
            reach: matches!(slot.part, Part::Earlier(_)).then(|| Reach::of(field)),
        };
        match field.kind {
            // Their link reads them; here they are always code 0.
            Kind::Bytes { .. } => Self { mask: 0, ..plan },
            _ => Self { shift: 64 - (slot.offset - 8 * at as u32) - slot.bits, ..plan },
        }
    }
}

impl Reach {
    fn of(field: &Field) -> Self {
        Self {
            last: field.codes(Part::Value).last,
            last_difference: field.codes(Part::Earlier(0)).last,
            centre: field.centre(),
            counter: matches!(field.kind, Kind::Counter { .. }),
        }
    }
}

impl Link {
    fn new(field: &Field, form: Form, index: usize, slot: Slot) -> Option<Self> {
        match (slot.part, &field.kind) {
            (Part::Latitude, _) => Some(Self::Position { slot: index }),
            (Part::Value, Kind::Bytes { length }) => {
                Some(Self::Octets { slot: index, offset: slot.offset, length: (*length).into() })
            }
            (Part::Value, _) if form == Form::Full => {
                let earlier = field.history?.earlier.into();
                Some(Self::History { slot: index, earlier, reach: Reach::of(field) })
            }
            _ => None,
        }
    }
}
