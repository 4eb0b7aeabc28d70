//! Readings that are handed on as they come: out of the log, in the order of keeping, at least once. How far it has come is
//! kept in the log itself, so that a restart goes on where it was.

use std::path::PathBuf;
use std::sync::Arc;

use logbook::export::Labels;
use logbook::intake::door::Door;
use logbook::onward::{Form, Sent};
use logbook::store::setup::Site;
use logbook::store::writer::Arrival;
use logbook::store::{StoreError, since, sqlite};
use report::problem::Failure;
use tokio::time::sleep;

use super::way::{FIRST_PAUSE, LONGEST_PAUSE, Road, Way};
use crate::input::fleet;
use crate::output;
use crate::web::pulse::Pulse;

/// Frames that are read at once.
const STRETCH: u32 = 100;

/// Where readings go, and how.
pub(super) struct Onward {
    name: String,
    form: Form,
    labels: Arc<Labels>,
    way: Way,
}

/// Key in the log under which it stands how far it has come.
pub(super) fn key(name: &str) -> String {
    format!("onward:{name}")
}

/// All that the site file names.
pub(super) fn all(site: &fleet::Site, setup: &Site) -> Result<Vec<Onward>, Failure> {
    let labels = Arc::new(labels(setup));
    site.fleet
        .onward
        .iter()
        .map(|onward| {
            let place = format!("onward.{}", onward.name);
            let wrong = |message: String| site.failure("onward", &place, message, "see docs/log.md");
            let form = match &onward.template {
                None => Form::Senml,
                Some(file) => {
                    let read = std::fs::read_to_string(site.folder.join(file));
                    let text = read.map_err(|error| wrong(format!("{file}: {}", output::reason(&error))))?;
                    Form::example(&text).map_err(|error| wrong(format!("{file}: {error}")))?
                }
            };
            let client = format!("onward-{}", onward.name);
            let way = Way::of(site, &place, &onward.transport, &client)?;
            let name = onward.name.clone();
            Ok(Onward { name, form, labels: Arc::clone(&labels), way })
        })
        .collect()
}

fn labels(setup: &Site) -> Labels {
    let mut labels = Labels::default();
    for row in &setup.registry {
        labels.names.insert(row.dev_eui.to_string(), row.name.clone());
    }
    for (kind, _) in &setup.kinds {
        for message in &kind.messages {
            for column in &message.columns {
                let key = (kind.name.clone(), message.name.clone(), column.name.to_string());
                labels.units.insert(key, column.unit.to_string());
            }
        }
    }
    labels
}

impl Onward {
    /// Its key in the site file.
    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// Hands on until it is aborted.
    pub(super) async fn hand_on(self, log: PathBuf, door: Arc<Door>, pulse: Arc<Pulse>) {
        let road = self.way.open(&format!("onward {}", self.name), "reading", &pulse);
        let mut newest = pulse.newest();
        let mut pause = FIRST_PAUSE;
        let mut last = None;
        loop {
            match self.stretch(&log, &door, &mut last, &road).await {
                Ok(0) => {
                    pause = FIRST_PAUSE;
                    if newest.changed().await.is_err() {
                        return;
                    }
                }
                Ok(count) => {
                    pause = FIRST_PAUSE;
                    pulse.connection(&format!("onward {}", self.name), Ok(()));
                    pulse.handed_on(&self.name, count);
                }
                Err(why) => {
                    let name = format!("onward {}", self.name);
                    if pulse.connection(&name, Err(why.clone())) {
                        output::complain(&format!("{name}: {why}; it is tried again and again\n"));
                    }
                    sleep(pause).await;
                    pause = (2 * pause).min(LONGEST_PAUSE);
                }
            }
        }
    }

    /// Hands on what comes next; how many frames that were, 0 if there is nothing new.
    async fn stretch(
        &self,
        log: &std::path::Path,
        door: &Door,
        last: &mut Option<i64>,
        road: &Road<'_>,
    ) -> Result<u64, String> {
        let (path, name, known) = (log.to_owned(), self.name.clone(), *last);
        let read = tokio::task::spawn_blocking(move || read(&path, &name, known)).await;
        let read = read.map_err(|error| error.to_string())?;
        let (begun, rows) = read.map_err(|error| format!("the log can't be read: {error}"))?;
        if last.is_none() {
            // Where it begins is kept too, so that nothing is left out if it stops before the first reading.
            self.note(door, begun);
        }
        *last = Some(begun);
        let Some(end) = rows.last().map(|row| row.seq) else { return Ok(0) };
        let sent: Vec<Sent> = rows.iter().flat_map(|row| self.form.of(row, &self.labels)).collect();
        road.send(&sent).await?;
        self.note(door, end);
        *last = Some(end);
        Ok(rows.len() as u64)
    }

    /// Remembers how far it has come; if that is lost, readings are sent again.
    fn note(&self, door: &Door, seq: i64) {
        let _sent_again = door.offer(Arrival::Noted { key: key(&self.name), value: seq.to_string() }, None);
    }
}

fn read(log: &std::path::Path, name: &str, last: Option<i64>) -> Result<(i64, Vec<since::Row>), StoreError> {
    let log = sqlite::reader(log)?;
    let last = match last {
        Some(last) => last,
        None => match since::noted(&log, &key(name))? {
            Some(text) => text
                .parse()
                .map_err(|error| StoreError::Damaged { why: format!("{}: {error}", key(name)) })?,
            None => since::newest(&log)?,
        },
    };
    Ok((last, since::frames(&log, last, STRETCH)?))
}
