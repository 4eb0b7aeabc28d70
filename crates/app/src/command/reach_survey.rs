//! `overwinter reach --survey`: what packets that were sent at a site say about its links.

use std::borrow::Cow;
use std::io::ErrorKind;
use std::path::Path;

use design::node::Design;
use design::surroundings::GatewaySurvey;
use forecast::radio::survey::{Anomaly, SurveyLog, read};
use forecast::terrain::{Place, Terrain};
use logbook::bounded;
use report::chart::coverage::around;
use report::chart::residuals::{self, Residual, ResidualMap};
use report::problem::{Failure, Problem};
use report::words;
use verdict::survey::{NotWritten, Surveyed, SurveyedGateway, SurveyedLink, survey};

use super::reach_map::{map_gateways, map_places};
use crate::drawings::{self, Drawing};
use crate::edited;
use crate::input::fleet::Site;
use crate::output::{self, reason};

/// Largest survey that is read: half a million packets \[bytes\].
const LARGEST_BYTES: u64 = 48 << 20;
/// Rows that were left out and are named; more are counted.
const MOST_NAMED: usize = 20;

/// What is asked of a survey.
pub(super) struct SurveyOf<'a> {
    /// Its file.
    pub(super) path: &'a Path,
    /// What it found is written into the site's file.
    pub(super) write: bool,
    /// Where a map of it is drawn.
    pub(super) folder: Option<&'a Path>,
    /// Places along the longer side of that.
    pub(super) side: usize,
}

/// The page of a survey laid over its site; positions were walked to with a node like `walked`. Written into the site's
/// file, and drawn, where that is asked for.
pub(super) fn page(site: &Site, walked: &Design, asked: &SurveyOf<'_>) -> Result<String, Failure> {
    let SurveyOf { path, write, .. } = *asked;
    let name = path.to_string_lossy();
    let wrong = |message: String, help: &str| Failure::of(Problem::of_file("survey", &name, message, help));
    let bytes = bounded::read(path, LARGEST_BYTES).map_err(|error| {
        let help = match error.kind() {
            ErrorKind::FileTooLarge => "take one day or one node at a time",
            _ => "give a CSV file with named columns after --survey",
        };
        wrong(format!("the survey can't be read: {}", reason(&error)), help)
    })?;
    let help = "`overwinter reach --help` shows the columns";
    let log = read(&bytes).map_err(|error| wrong(error.to_string(), help))?;
    let surveyed = survey(site.designs(), walked, &log, site.terrain.as_ref()).map_err(|error| {
        wrong(error.to_string(), "names, places and band must be those of the site's file")
    })?;
    let mut page = said(&site.fleet.name, &surveyed, &log);
    if let Some(folder) = asked.folder {
        page += &drawn(site, &surveyed, folder, asked.side)?;
    }
    Ok(if write { page + &written(site, &surveyed)? } else { page })
}

/// Draws what was heard over the prediction, and says so.
fn drawn(site: &Site, surveyed: &Surveyed, folder: &Path, side: usize) -> Result<String, Failure> {
    let is_suspect = |node: &String| surveyed.suspects.iter().any(|suspect| suspect.nodes.contains(node));
    let mark = |link: &SurveyedLink| Residual {
        name: link.node.clone(),
        gateway: link.gateway.clone(),
        place: Place { latitude_deg: link.place_deg[0], longitude_deg: link.place_deg[1] },
        over_db: link.after.mean_dbm - link.before.mean_db,
        sd_db: link.after.sd_db,
        is_suspect: is_suspect(&link.node),
    };
    let residuals: Vec<Residual> = surveyed.links.iter().map(mark).collect();
    let places: Vec<Place> =
        map_places(site).into_iter().chain(residuals.iter().map(|residual| residual.place)).collect();
    let grid = around(&places, site.terrain.as_ref(), side).ok_or_else(|| {
        let name = site.path.to_string_lossy();
        let message = "no map can be drawn: neither nodes nor gateways lie on the terrain".to_owned();
        Failure::of(Problem::of_file("survey", &name, message, "look at the places of the site's file"))
    })?;
    let ground = site.terrain.as_ref().map_or_else(|| Cow::Owned(Terrain::flat(&grid)), Cow::Borrowed);
    let gateways = map_gateways(site);
    let map = ResidualMap {
        site: &site.fleet.name,
        terrain: &ground,
        grid,
        residuals: &residuals,
        gateways: &gateways,
    };
    let bytes = residuals::chart(&map).file().into_bytes();
    drawings::write(&[Drawing { name: "residuals.svg".to_owned(), bytes }], folder)
}

/// Writes what a survey found into the site's file, and says so.
fn written(site: &Site, surveyed: &Surveyed) -> Result<String, Failure> {
    let name = site.path.to_string_lossy();
    let wrong = |message: String, help: &str| Failure::of(Problem::of_file("survey", &name, message, help));
    let found = surveyed.found().map_err(|error| {
        let help = match error {
            NotWritten::Unplaced(_) => "write `place` there and lay the survey over it again",
            NotWritten::LooksWrong(_) => "set that right, or leave those rows out of the survey",
        };
        wrong(format!("nothing was written: {error}"), help)
    })?;
    let text = edited::surveyed(site.text(), &found).ok_or_else(|| {
        let help = "begin a table [gateway.NAME] for each gateway";
        wrong("nothing was written: a gateway has no table of its own".to_owned(), help)
    })?;
    output::write(&site.path, &text)?;
    let line = |(gateway, found): &(&str, GatewaySurvey)| {
        let before = site.fleet.surroundings.gateways.iter().find(|known| known.name == *gateway);
        let before = before.and_then(|known| known.survey.as_ref());
        let instead = before.map_or_else(String::new, |old| {
            format!(" in place of the one of {} packets until {}", old.packets, old.until)
        });
        format!(
            "wrote     [gateway.{gateway}.survey] into {name}, {} packets until {}{instead}\n",
            found.packets, found.until
        )
    };
    Ok(found.iter().map(line).collect())
}

fn said(site: &str, surveyed: &Surveyed, log: &SurveyLog) -> String {
    let total =
        |of: fn(&SurveyedLink) -> u32| surveyed.links.iter().map(|link| of(link) as usize).sum::<usize>();
    let mut lines = vec![
        format!(
            "{site}, surveyed: {} heard and {} missed on {}",
            words::count(total(|link| link.heard), "packet"),
            total(|link| link.missed),
            words::count(surveyed.links.len(), "link")
        ),
        "Levels in dBm, 0 dB of signal-to-noise ratio at -117; +- is one standard deviation.".to_owned(),
        String::new(),
        format!("{:<32} {:>13} {:>14} {:>16} {:>8}", "link", "heard of sent", "before", "after", "moved"),
    ];
    lines.extend(surveyed.links.iter().map(link));
    lines.push(String::new());
    lines.extend(surveyed.gateways.iter().map(gateway));
    lines.extend(surveyed.suspects.iter().map(|suspect| format!("looks wrong: {}", suspect.text)));
    if !surveyed.unplaced.is_empty() {
        lines.push(format!(
            "the file does not say on which side of a wall {} is: before is for outside",
            surveyed.unplaced.join(", ")
        ));
    }
    lines.extend(log.anomalies.iter().take(MOST_NAMED).map(left_out));
    let unnamed = log.anomalies.len().saturating_sub(MOST_NAMED);
    if unnamed > 0 {
        lines.push(format!("left out: {} more", words::count(unnamed, "row")));
    }
    lines.join("\n") + "\n"
}

fn link(link: &SurveyedLink) -> String {
    let name = format!("{} to {}", link.node, link.gateway);
    let heard = format!("{} of {}", link.heard, link.heard + link.missed);
    let level = |mean: f64, sd: f64| format!("{mean:.0} +- {sd:.0}");
    let after = format!("{:.1} +- {:.1}", link.after.mean_dbm, link.after.sd_db);
    let moved = format!("{:+.0} dB", link.after.mean_dbm - link.before.mean_db);
    format!(
        "{name:<32} {heard:>13} {:>14} {after:>16} {moved:>8}",
        level(link.before.mean_db, link.before.sd_db)
    )
}

fn gateway(gateway: &SurveyedGateway) -> String {
    let noise = gateway.noise_dbm.map_or_else(
        || "its noise is not known, since it heard no weak packet".to_owned(),
        |dbm| format!("its noise is {dbm:.0} dBm by its own figures"),
    );
    format!(
        "gateway {}: hears {:+.0} dB +- {:.0} dB against the prediction, positions differ by {:.0} dB; {noise}",
        gateway.name, gateway.correction.mean_db, gateway.correction.sd_db, gateway.spot_sd_db
    )
}

fn left_out(anomaly: &Anomaly) -> String {
    format!("left out: line {}: {}", anomaly.line, anomaly.text)
}
