//! `overwinter reach --survey`: what packets that were sent at a site say about its links.

use std::io::ErrorKind;
use std::path::Path;

use forecast::radio::survey::{Anomaly, SurveyLog, read};
use logbook::bounded;
use report::problem::{Failure, Problem};
use report::words;
use verdict::survey::{Surveyed, SurveyedGateway, SurveyedLink, survey};

use crate::input::fleet::Site;
use crate::output::reason;

/// Largest survey that is read: half a million packets \[bytes\].
const LARGEST_BYTES: u64 = 48 << 20;
/// Rows that were left out and are named; more are counted.
const MOST_NAMED: usize = 20;

/// The page of a survey laid over its site.
pub(super) fn page(site: &Site, path: &Path) -> Result<String, Failure> {
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
    let surveyed = survey(site.designs(), &log, site.terrain.as_ref()).map_err(|error| {
        wrong(error.to_string(), "names, places and band must be those of the site's file")
    })?;
    Ok(said(&site.fleet.name, &surveyed, &log))
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
    lines.extend(surveyed.suspects.iter().map(|suspect| format!("looks wrong: {suspect}")));
    if surveyed.place_unknown {
        lines.push(
            "the file does not say on which side of a wall some antenna is: before is for outside".to_owned(),
        );
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
