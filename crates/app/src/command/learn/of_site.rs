//! A node of a site, as the log of the site knows it.

use std::path::Path;

use design::node::Design;
use forecast::learn::log::Log;
use logbook::received::Moment;
use logbook::registry::Node;
use logbook::store::query::supply::{self, Supply};
use logbook::store::sqlite;
use report::problem::{Failure, Problem};
use report::words;

use super::Given;
use crate::enrolment::site::old_registry;
use crate::input::fleet::{self, Site};
use crate::learning::Subject;
use crate::service::{Settings, log_failure};

/// The node of this name, and what it has sent since its board or a part of it was changed.
pub(super) fn given(path: &Path, name: &Path) -> Result<Given, Failure> {
    let site = fleet::site(path)?;
    let name = name.to_string_lossy();
    let design = planned(&site, &name)?;
    let climate = site.climate(design)?;
    let settings = Settings::of(&site, None)?;
    let rows = rows(&site, &settings, &name)?;
    let subject = Subject::of(&site, &rows, &name).ok_or_else(|| nobody(&site, &name))?;
    let failure = |error| log_failure(&settings.log, &error);
    let log = sqlite::reader(&settings.log).map_err(failure)?;
    let since = subject.since(&log).map_err(failure)?;
    let span = (since.unwrap_or(Moment::MIN), Moment::MAX);
    let found = supply::supply(&log, subject.row.dev_eui, subject.kind, span).map_err(failure)?;
    if found.readings.iter().all(|one| one.battery.is_none()) {
        let since = if since.is_some() { " since a part or its place was changed" } else { "" };
        let message = format!("{name} has told no voltage of its battery{since}");
        let help = "wait for its messages; `check` says which field of them means the battery";
        return Err(Failure::of(Problem::of_file(
            "readings",
            &settings.log.to_string_lossy(),
            message,
            help,
        )));
    }
    let notes = left_out(&found);
    let log = Log { readings: found.readings, duplicates: 0, unsorted: 0 };
    Ok(Given { design: design.clone(), climate, log, notes })
}

/// The node as it stands in its place.
fn planned<'a>(site: &'a Site, name: &str) -> Result<&'a Design, Failure> {
    site.designs().iter().find(|design| design.name == name).ok_or_else(|| {
        let names: Vec<&str> = site.fleet.nodes.iter().map(|node| node.name.as_str()).collect();
        let message = format!("the site file places no node `{name}`");
        let help = format!("its nodes are {}", names.join(", "));
        Failure::of(Problem::of_file("node", name, message, &help))
    })
}

/// The rows of the registry.
fn rows(site: &Site, settings: &Settings, name: &str) -> Result<Vec<Node>, Failure> {
    let folder = settings.registry.as_deref().ok_or_else(|| nobody(site, name))?;
    Ok(old_registry(folder)?.nodes().to_vec())
}

fn nobody(site: &Site, name: &str) -> Failure {
    let message = format!("nobody is enrolled as `{name}`, so the log can't know it");
    site.failure("node", &format!("node.{name}"), message, "enrol it: `overwinter enrol`")
}

fn left_out(supply: &Supply) -> Vec<String> {
    let said =
        |count: u32, what: &str| (count > 0).then(|| format!("{} {what}", words::grouped(count as usize)));
    let rows = [
        said(supply.of_before, "messages that only an earlier design could read, left out"),
        said(supply.of_no_time, "messages of a clock that could not be believed, left out"),
    ];
    rows.into_iter().flatten().collect()
}
