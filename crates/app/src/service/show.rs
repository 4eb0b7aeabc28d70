//! A copy of a log, shown on the page and written by nobody.

use std::path::Path;
use std::sync::Arc;

use logbook::intake::door::Door;
use logbook::store::sqlite;
use logbook::store::writer::Counts;
use report::problem::Failure;

use super::{Settings, listen, log_failure, named, no_random, no_threads, settings, stop_signal, watcher};
use crate::input::fleet;
use crate::known::Known;
use crate::output;
use crate::web::pulse::Pulse;
use crate::web::{self, Gate, House, Places, Promises, Truths};

/// Shows a copy of the site's log until a signal asks to stop. Nobody is heard, no key box is opened.
pub(crate) fn show(site: fleet::Site, copy: &Path) -> Result<(), Failure> {
    let mut settings = Settings::of(&site, None)?;
    copy.clone_into(&mut settings.log);
    let is_ours =
        settings.page.as_ref().is_some_and(|page| page.listen.ip().is_loopback() && !page.behind_proxy);
    if !is_ours {
        let message = "a copy is shown on this machine alone".to_owned();
        return Err(site.failure(
            "serve",
            "serve.page",
            message,
            "write `page = \"127.0.0.1:8750\"` into [serve]",
        ));
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build();
    runtime.map_err(|error| no_threads(&error))?.block_on(shown(Arc::new(site), settings))
}

async fn shown(site: Arc<fleet::Site>, settings: Settings) -> Result<(), Failure> {
    let stop = stop_signal();
    let failure = |error| log_failure(&settings.log, &error);
    let newest = sqlite::reader(&settings.log).and_then(|log| sqlite::progress(&log)).map_err(failure)?.0;
    let setup = settings::without_keys(&site, &settings)?;
    let Some((page, doorway)) = listen::page_at(&settings).await? else { return Ok(()) };
    output::complain(&listen::page_line(&doorway, &[]));
    output::complain(&format!("{} is shown, and nothing is written\n", settings.log.display()));
    let pulse = Arc::new(Pulse::new(newest));
    let house = House {
        promises: Promises::begin(Arc::clone(&site), pulse.stopping()).map_err(|error| no_threads(&error))?,
        truths: Arc::new(Truths::default()),
        typing: web::Typing::default(),
        areas: watcher::setup(&site, &setup)?.areas,
        known: Known::of(&site, &setup),
        zone: settings::zone(&site)?,
        names: named(&setup.registry),
        registry: setup.registry,
        log: settings.log.clone(),
        pulse: Arc::clone(&pulse),
        counts: Arc::new(Counts::default()),
        gateways: None,
        stations: None,
        door: Arc::new(Door::shut()),
        posted: Vec::new(),
        page,
        places: Places::of(None),
        gate: Gate::new().map_err(|error| no_random(&error))?,
        is_copy: true,
        site,
    };
    let listening = doorway.serve(web::routes(Arc::new(house)), pulse.stopping());
    stop.await;
    pulse.stop();
    listening.ended().await;
    Ok(())
}
