//! What was heard, frame by frame.

use logbook::network::margin_db;
use logbook::store::StoreError;
use logbook::store::query::heard::{Wanted, counted, heard_by, newest};
use logbook::store::since::{Row, Said};
use report::page::heard::{Heard, HeardFrame, rate_words, value_words};
use wire::identity::DevEui;

use super::shown::Look;

/// Frames on a page.
const SHOWN: u32 = 100;
const HOUR_US: i64 = 3_600_000_000;

/// Frames and messages, the newest first.
pub(super) fn state(look: &Look<'_>) -> Result<Option<Heard>, StoreError> {
    let verdict = look.wish.word("verdict").filter(|word| word.bytes().all(|byte| byte.is_ascii_lowercase()));
    let before = look.wish.word("before").and_then(|number| number.parse().ok());
    let wanted = Wanted { before, verdict, dev_eui: None };
    let rows = newest(look.log, &wanted, SHOWN)?;
    let older_before = (rows.len() == SHOWN as usize).then(|| rows.last().map(|row| row.seq)).flatten();
    Ok(Some(Heard {
        last_hour: counted(look.log, look.now - HOUR_US)?,
        verdict: verdict.map(str::to_owned),
        frames: rows.into_iter().map(|row| frame(look, row)).collect::<Result<_, _>>()?,
        older_before,
    }))
}

/// A frame as it is shown.
pub(super) fn frame(look: &Look<'_>, mut row: Row) -> Result<HeardFrame, StoreError> {
    look.cut(row.dev_eui.as_deref().unwrap_or_default(), &mut row.readings);
    let mut by = heard_by(look.log, row.seq)?;
    if by.is_empty() {
        by.push(row.source.clone());
    }
    let known = row.dev_eui.as_deref().and_then(|eui| DevEui::from_display(eui).ok());
    Ok(HeardFrame {
        id: row.seq,
        at: look.when(row.at),
        has_page: known.is_some_and(|eui| look.house.names.contains_key(&eui)),
        node: row.dev_eui.as_deref().map(|eui| look.name(eui)),
        verdict: row.verdict,
        reason: row.reason,
        says: says(look, &row.readings),
        heard_by: by,
        margin_db: row.data_rate.as_deref().zip(row.snr_db).and_then(|(rate, snr)| margin_db(rate, snr)),
        data_rate: row.data_rate.as_deref().map(rate_words),
        rssi_dbm: row.rssi_dbm,
        snr_db: row.snr_db,
    })
}

/// What a frame says of the time it was sent; readings that rode along are counted.
fn says(look: &Look<'_>, readings: &[Said]) -> Option<String> {
    let (own, earlier): (Vec<&Said>, Vec<&Said>) = readings.iter().partition(|said| !said.rebuilt);
    let own = own.first()?;
    let unit = |column: &str| look.house.unit(&own.kind, &own.message, column);
    let values: Vec<String> =
        own.values.iter().map(|(column, value)| value_words(column, value, unit(column))).collect();
    let rest = match earlier.len() {
        0 => String::new(),
        count => format!("; {} made up for", report::words::count(count, "lost reading")),
    };
    Some(format!("{}: {}{rest}", own.message, values.join(", ")))
}
