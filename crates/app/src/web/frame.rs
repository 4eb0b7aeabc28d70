//! One frame, as `explain` says it.

use design::message::Direction;
use logbook::store::StoreError;
use logbook::store::query::heard::{Raw, one};
use report::page::frame::ExplainedFrame;
use wire::identity::DevEui;

use super::heard;
use super::shown::Look;
use crate::explanation::{self, KindOf};

/// A frame by its number; `None` if the log has none of it.
pub(super) fn state(look: &Look<'_>, number: &str) -> Result<Option<ExplainedFrame>, StoreError> {
    let Ok(number) = number.parse() else { return Ok(None) };
    let Some((row, raw)) = one(look.log, number)? else { return Ok(None) };
    let is_hidden = !look.sees_places() && tells_places(look, row.dev_eui.as_deref());
    let is_radio = explanation::table(&raw.bytes);
    let (explained, bytes) = match is_radio {
        Ok((table, _)) => (table, hex(&raw.bytes)),
        Err(failure) => match std::str::from_utf8(&raw.bytes) {
            _ if is_hidden => ("A message of another network.".to_owned(), HIDDEN.to_owned()),
            Ok(text) => ("A message of another network.".to_owned(), text.to_owned()),
            Err(_) => (
                failure.problems.iter().map(|problem| problem.message.clone() + "\n").collect(),
                hex(&raw.bytes),
            ),
        },
    };
    let content = if is_hidden { Some(HIDDEN.to_owned()) } else { content(look, row.port, &raw) };
    Ok(Some(ExplainedFrame { frame: heard::frame(look, row)?, bytes, explained, content }))
}

const HIDDEN: &str = "Not shown to those who may only read: it may tell where something is.\n";

/// Whether a device sends where it is; of one that nobody knows, it may be so.
fn tells_places(look: &Look<'_>, dev_eui: Option<&str>) -> bool {
    let name = dev_eui.and_then(|eui| look.house.names.get(&DevEui::from_display(eui).ok()?));
    let known = name.and_then(|name| look.node(name));
    let design = known.and_then(|known| known.design(look));
    design.is_none_or(|design| design.placing().is_some())
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
