//! One frame, as `explain` says it.

use design::message::Direction;
use logbook::store::StoreError;
use logbook::store::query::heard::{Raw, one};
use report::page::frame::ExplainedFrame;

use super::heard;
use super::shown::Look;
use crate::explanation::{self, KindOf};

/// A frame by its number; `None` if the log has none of it.
pub(super) fn state(look: &Look<'_>, number: &str) -> Result<Option<ExplainedFrame>, StoreError> {
    let Ok(number) = number.parse() else { return Ok(None) };
    let Some((row, raw)) = one(look.log, number)? else { return Ok(None) };
    let is_radio = explanation::table(&raw.bytes);
    let (explained, bytes) = match is_radio {
        Ok((table, _)) => (table, hex(&raw.bytes)),
        Err(failure) => match std::str::from_utf8(&raw.bytes) {
            Ok(text) => ("A message of another network.".to_owned(), text.to_owned()),
            Err(_) => (
                failure.problems.iter().map(|problem| problem.message.clone() + "\n").collect(),
                hex(&raw.bytes),
            ),
        },
    };
    let content = content(look, row.port, &raw);
    Ok(Some(ExplainedFrame { frame: heard::frame(look, row)?, bytes, explained, content }))
}

/// The values of what it carries, by the design that read it, else by those of the site.
fn content(look: &Look<'_>, port: Option<u8>, raw: &Raw) -> Option<String> {
    let (port, payload) = (port?, raw.payload.as_ref()?);
    let kinds: Vec<KindOf<'_>> = look.house.site.kinds().collect();
    let own: Vec<KindOf<'_>> =
        kinds.iter().copied().filter(|(_, design)| Some(&design.name) == raw.kind.as_ref()).collect();
    Some(explanation::values(port, payload, Direction::Up, if own.is_empty() { &kinds } else { &own }))
}

fn hex(bytes: &[u8]) -> String {
    let octets = |line: &[u8]| line.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ");
    bytes.chunks(16).map(octets).collect::<Vec<_>>().join("\n")
}
