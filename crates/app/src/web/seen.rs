//! An alarm is marked as seen: by whom, when, and with a word.

use std::sync::mpsc::sync_channel;
use std::time::Duration;

use design::quantity::is_unprintable;
use logbook::store::alarms::{self, KeptAlarm, Seen};
use logbook::store::people::People;
use logbook::store::writer::Arrival;
use logbook::store::{StoreError, sqlite};

use super::House;
use super::who::Doer;

/// Longest word to an alarm \[characters\] (own choice).
pub(super) const LONGEST_WORD: usize = 200;
/// It must be on the disk by then.
const SLOWEST_COMMIT: Duration = Duration::from_secs(15);

/// Why an alarm is not marked.
#[derive(Debug, thiserror::Error)]
pub(super) enum Refused {
    #[error("there is no such alarm")]
    Nothing,
    #[error("the word to an alarm is one line of at most {LONGEST_WORD} characters")]
    Word,
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Marks an alarm, and only then says so; the alarm as it is then. Who saw it first stays.
pub(super) fn see(house: &House, number: i64, word: &str, doer: &Doer) -> Result<KeptAlarm, Refused> {
    let word = word.trim();
    if word.chars().count() > LONGEST_WORD || word.contains(is_unprintable) {
        return Err(Refused::Word);
    }
    let log = sqlite::reader(&house.log)?;
    let kept = alarms::alarm(&log, number)?.ok_or(Refused::Nothing)?;
    if kept.seen.is_some() {
        return Ok(kept);
    }
    let by = doer.by();
    let seen = Seen { at: by.at, by: by.who.to_owned(), word: word.to_owned() };
    let (done, marked) = sync_channel(1);
    // Whoever asked may have gone.
    let told = Box::new(move |_: Option<&_>| {
        let _gone = done.send(());
    });
    let busy = |why: &str| Refused::Store(StoreError::Lost { why: why.to_owned() });
    let offered = house.door.offer(Arrival::Seen { alarm: number, seen }, Some(told));
    offered.map_err(|_overfull| busy("too much waits to be kept"))?;
    marked.recv_timeout(SLOWEST_COMMIT).map_err(|_late| busy("nothing is kept now"))?;
    let kept = alarms::alarm(&log, number)?.ok_or(Refused::Nothing)?;
    if kept.seen.as_ref().is_some_and(|seen| seen.by == by.who && seen.at == by.at) {
        People::of(&house.log)?.did(by, "has seen an alarm", &number.to_string())?;
    }
    Ok(kept)
}
