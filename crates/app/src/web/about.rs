//! What serves this site.

use design::serve::Foreign;
use logbook::store::StoreError;
use logbook::store::query::heard;
use report::page::about::About;
use report::words::file_name;

use super::health;
use super::shown::Look;

/// What is known of the program and its log.
pub(super) fn state(look: &Look<'_>) -> Result<Option<About>, StoreError> {
    let (house, fleet) = (look.house, &look.house.site.fleet);
    let foreign = fleet.serve.as_ref().map_or(Foreign::ForEver, |serve| serve.foreign);
    Ok(Some(About {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        site: fleet.name.clone(),
        note: fleet.note.clone(),
        log_file: file_name(&house.log.to_string_lossy()).to_owned(),
        log_bytes: std::fs::metadata(&house.log).ok().map(|found| found.len()),
        frames: heard::all(look.log)?,
        strangers_days: match foreign {
            Foreign::Kept(span) => Some(span.days()),
            Foreign::Counted | Foreign::ForEver => None,
        },
        strangers_only_counted: foreign == Foreign::Counted,
        wrong: health::wrong(&house.pulse),
    }))
}
