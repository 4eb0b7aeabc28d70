//! The codes of a message one after the other, and what each is called.

use design::message::{Field, Form, Message, Part, Scale};

/// One code of a form, and what it belongs to.
#[derive(Clone, Copy, Debug)]
pub(crate) struct CodePosition<'a> {
    pub(crate) field: &'a Field,
    pub(crate) part: Part,
    pub(crate) offset: u32,
    pub(crate) bits: u32,
}

impl CodePosition<'_> {
    pub(crate) fn scale(&self) -> Option<Scale> {
        self.field.scale(self.part)
    }

    /// Name of the reading: the field's, with the coordinate for a position and the place in line for an earlier one.
    pub(crate) fn name(&self) -> String {
        match self.part {
            Part::Earlier(index) => format!("{}_earlier[{index}]", self.field.name),
            part => reading_name(self.field, part),
        }
    }
}

/// Name of the variable that holds a part; earlier readings share one.
pub(crate) fn reading_name(field: &Field, part: Part) -> String {
    let name = &field.name;
    match part {
        Part::Value => name.clone(),
        Part::Latitude => format!("{name}_latitude"),
        Part::Longitude => format!("{name}_longitude"),
        Part::Earlier(_) => format!("{name}_earlier"),
    }
}

pub(crate) fn places(message: &Message, form: Form) -> Vec<CodePosition<'_>> {
    let slots = message.layout(form).slots;
    let place = |slot: &design::message::Slot| {
        let field = message.fields.get(slot.field)?;
        Some(CodePosition { field, part: slot.part, offset: slot.offset, bits: slot.bits })
    };
    slots.iter().filter_map(place).collect()
}

pub(crate) fn forms(messages: &[Message]) -> impl Iterator<Item = (&Message, Form)> {
    messages.iter().flat_map(|message| message.forms().into_iter().map(move |form| (message, form)))
}
