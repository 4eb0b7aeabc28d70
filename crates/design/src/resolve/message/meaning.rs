//! What the fields of a message tell about the node itself.

use super::super::Resolver;
use crate::diagnostic;
use crate::file::message::FieldSection;
use crate::message::{Direction, Field, Meaning, Message};
use crate::section::At;

impl Resolver<'_> {
    /// Whether every field can mean what it is said to, and none the same as another; says where not.
    pub(super) fn check_meanings(&mut self, message: &Message, rows: &[(At<String>, FieldSection)]) -> bool {
        let mut told: Vec<(Meaning, &str)> = Vec::new();
        let mut good = true;
        for (field, (name, section)) in message.fields.iter().zip(rows) {
            let span = section.means.as_ref().map_or(&name.span, |means| &means.span);
            let wrong =
                unsuited(message.direction, field).or_else(|| repeated(message.direction, field, &told));
            if let Some((text, help)) = wrong {
                self.found.error(diagnostic::FIELD_MEANING, span, text, help);
                good = false;
            }
            told.extend(field.meaning().map(|meaning| (meaning, field.name.as_str())));
        }
        good
    }
}

fn unsuited(direction: Direction, field: &Field) -> Option<(String, String)> {
    let means = field.means?;
    if direction == Direction::Down {
        let text = format!("`{}` goes to the node and tells nothing about it", field.name);
        let help = "remove `means`, or write the field in a message with `direction = \"up\"`";
        return Some((text, help.to_owned()));
    }
    if means.suits(&field.kind, &field.unit) {
        return None;
    }
    let text = format!("`{}` can't mean `{}`", field.name, means.word());
    let can = Meaning::ALL.into_iter().find(|other| other.suits(&field.kind, &field.unit));
    let help = can.map_or_else(
        || format!("remove `means`, or write {}", means.needs()),
        |other| format!("write {}; this field could mean `{}`", means.needs(), other.word()),
    );
    Some((text, help))
}

fn repeated(direction: Direction, field: &Field, told: &[(Meaning, &str)]) -> Option<(String, String)> {
    let meaning = field.meaning().filter(|_| direction == Direction::Up)?;
    let (_, other) = told.iter().find(|(known, _)| *known == meaning)?;
    let text = format!("`{}` means `{}`, as `{other}` does", field.name, meaning.word());
    let help = if field.means.is_some() {
        format!("remove `means` here; `{other}` tells it")
    } else {
        "write `kind = \"number\", unit = \"mV\"` for the voltage that is not the battery's own".to_owned()
    };
    Some((text, help))
}
