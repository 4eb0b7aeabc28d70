//! Where something that moves has been, by its own word.

use design::message::Kind;
use logbook::store::StoreError;
use logbook::store::query::nodes as query;
use report::page::track::{Fix, Track};

use super::nodes::{self, DAY_US, HOUR_US};
use super::shown::Look;

/// Looked back so far.
const DAYS: i64 = 7;
/// Fixes on a page.
const SHOWN: usize = 200;
/// Older than this a position does not say where something is (own choice).
const STALE_US: i64 = 3 * HOUR_US;

/// The track of a node; `None` if it sends no position.
pub(super) fn state(look: &Look<'_>, name: &str) -> Result<Option<Track>, StoreError> {
    let Some(known) = look.node(name) else { return Ok(None) };
    let (Some(design), Some(dev_eui)) = (known.design(look), known.dev_eui()) else { return Ok(None) };
    let position = nodes::fields(design).find(|(_, field)| matches!(field.kind, Kind::Position { .. }));
    let Some((message, field)) = position else { return Ok(None) };
    let mut said = query::said(look.log, &dev_eui, look.now - DAYS * DAY_US, look.now + HOUR_US)?;
    look.cut(&dev_eui, &mut said);
    let own = said.iter().rev().filter(|one| one.message == message).take(SHOWN);
    let coordinate = |said: &_, which: &str| nodes::number(said, message, &format!("{}_{which}", field.name));
    let fixes: Vec<Fix> = own
        .map(|said| Fix {
            at: look.when(said.at),
            latitude_deg: coordinate(said, "latitude"),
            longitude_deg: coordinate(said, "longitude"),
        })
        .collect();
    let newest =
        said.iter().rev().find(|one| one.message == message && coordinate(one, "latitude").is_some());
    let is_stale = newest.is_none_or(|said| look.now - said.at > STALE_US);
    Ok(Some(Track { name: name.to_owned(), fixes, is_stale }))
}

/// Where a node that moves said last that it is, north and east positive \[°\].
pub(super) fn last(look: &Look<'_>, name: &str) -> Result<Option<(f64, f64)>, StoreError> {
    let track = state(look, name)?;
    Ok(track.and_then(|track| track.fixes.iter().find_map(|fix| fix.latitude_deg.zip(fix.longitude_deg))))
}
