//! The same values as text, to see what the codes save.

use design::message::{Form, Kind, Message};

use super::map::example_text;

/// Bytes of the values of a form as text: decimal numbers, words and hexadecimal digits with a comma between them, each for
/// its example in the byte map. Earlier readings are written in full. Nothing is said about units or names.
#[must_use]
pub fn text_bytes(message: &Message, form: Form) -> usize {
    let fields = message.fields.iter().filter(|field| message.carries(form, field));
    let lengths: Vec<usize> = fields
        .flat_map(|field| field.parts(form).into_iter().map(move |part| (field, part)))
        .map(|(field, part)| match (&field.kind, part) {
            (Kind::Bytes { length }, _) => 2 * usize::from(*length),
            // "0" or "1".
            (Kind::Flag, _) => 1,
            (_, part) => example_text(field, part).map_or(0, |text| text.len()),
        })
        .collect();
    lengths.iter().sum::<usize>() + lengths.len().saturating_sub(1)
}
