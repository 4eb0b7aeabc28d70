//! What nodes of other networks are to be told: their network is asked, as the site file shows how.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use logbook::clock::now;
use logbook::intake::door::Door;
use logbook::onward::Order;
use logbook::store::settings::{self, Due};
use logbook::store::setup::Site;
use logbook::store::writer::Arrival;
use logbook::store::{StoreError, sqlite};
use report::problem::Failure;
use tokio::time::sleep;

use super::way::{FIRST_PAUSE, LONGEST_PAUSE, Road, Way};
use crate::input::fleet;
use crate::output;
use crate::web::pulse::Pulse;

/// So often it is looked whether somebody is to be told something.
const BETWEEN_LOOKS: Duration = Duration::from_secs(1);

/// The outlet of a source.
pub(super) struct Outlet {
    source: String,
    order: Order,
    way: Way,
    /// What people call the nodes.
    names: BTreeMap<String, String>,
}

/// All that the site file names.
pub(super) fn all(site: &fleet::Site, setup: &Site) -> Result<Vec<Outlet>, Failure> {
    let open = setup.registry.iter().filter(|row| row.open());
    let names: BTreeMap<String, String> =
        open.map(|row| (row.dev_eui.to_string(), row.name.clone())).collect();
    let mut all = Vec::new();
    for source in &site.fleet.sources {
        let Some(outlet) = &source.outlet else { continue };
        let place = format!("source.{}.outlet", source.name);
        let wrong = |why: String| {
            let message = format!("{}: {why}", outlet.template);
            site.failure("outlet", &place, message, "see \"Nodes that another network hears\" in docs/log.md")
        };
        let text = std::fs::read_to_string(site.folder.join(&outlet.template));
        let text = text.map_err(|error| wrong(output::reason(&error)))?;
        all.push(Outlet {
            source: source.name.clone(),
            order: Order::example(&text).map_err(|error| wrong(error.to_string()))?,
            way: Way::of(site, &place, &outlet.transport, &format!("outlet-{}", source.name))?,
            names: names.clone(),
        });
    }
    Ok(all)
}

impl Outlet {
    /// Has nodes told until it is aborted.
    pub(super) async fn ask(self, log: PathBuf, door: Arc<Door>, pulse: Arc<Pulse>) {
        let name = format!("outlet {}", self.source);
        let road = self.way.open(&name, "order", &pulse);
        let mut asked = BTreeMap::new();
        let mut pause = FIRST_PAUSE;
        loop {
            match self.round(&log, &door, &road, &mut asked).await {
                Ok(0) => sleep(BETWEEN_LOOKS).await,
                Ok(_) => {
                    pause = FIRST_PAUSE;
                    pulse.connection(&name, Ok(()));
                }
                Err(why) => {
                    if pulse.connection(&name, Err(why.clone())) {
                        output::complain(&format!("{name}: {why}; it is tried again and again\n"));
                    }
                    sleep(pause).await;
                    pause = (2 * pause).min(LONGEST_PAUSE);
                }
            }
        }
    }

    /// Has told what waits; how many settings that were.
    async fn round(
        &self,
        log: &Path,
        door: &Door,
        road: &Road<'_>,
        asked: &mut BTreeMap<i64, bool>,
    ) -> Result<usize, String> {
        let (path, source) = (log.to_owned(), self.source.clone());
        let due = tokio::task::spawn_blocking(move || due(&path, &source)).await;
        let due = due.map_err(|error| error.to_string())?;
        let due = due.map_err(|error| format!("the log can't be read: {error}"))?;
        let mut count = 0;
        for one in due {
            let Some(name) = self.names.get(&one.dev_eui) else { continue };
            // What was sent is not sent again while its row is on its way to the disk.
            let taken = if let Some(taken) = asked.get(&one.id) {
                *taken
            } else {
                count += 1;
                road.send(&[self.order.of(&one, name)]).await?
            };
            asked.insert(one.id, taken);
            // Should this find no room, the next look notes it.
            let noted = Arrival::AskedElsewhere { setting: one.id, at: now(), taken };
            let _next_time = door.offer(noted, None);
        }
        Ok(count)
    }
}

fn due(log: &Path, source: &str) -> Result<Vec<Due>, StoreError> {
    settings::due(&sqlite::reader(log)?, source)
}
