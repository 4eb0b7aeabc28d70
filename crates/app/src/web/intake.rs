//! What arrived, by way and verdict.

use logbook::store::StoreError;
use logbook::store::query::heard::{Wanted, arrived, newest};
use report::page::intake::{Arrived, Connection, Intake};

use super::heard;
use super::shown::Look;

const HOUR_US: i64 = 3_600_000_000;
/// Refused ones on a page.
const SHOWN: u32 = 20;

/// What arrived in the last hour.
pub(super) fn state(look: &Look<'_>) -> Result<Option<Intake>, StoreError> {
    let rows = arrived(look.log, look.now - HOUR_US)?;
    let wanted = Wanted { verdict: Some("refused"), ..Wanted::default() };
    let refused = newest(look.log, &wanted, SHOWN)?;
    let connections = look.house.pulse.counted().connections.into_iter();
    Ok(Some(Intake {
        arrived: rows
            .into_iter()
            .map(|(source, verdict, frames)| Arrived { source, verdict, frames })
            .collect(),
        connections: connections.map(|(name, state)| Connection { name, broken: state.err() }).collect(),
        refused: refused.into_iter().map(|row| heard::frame(look, row)).collect::<Result<_, _>>()?,
    }))
}
