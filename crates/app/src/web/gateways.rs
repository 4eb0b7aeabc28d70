//! What hears the nodes.

use std::collections::BTreeSet;

use logbook::store::StoreError;
use logbook::store::query::gateways::{self, Heard};
use logbook::watch::GATEWAY_AWAY_AFTER;
use report::page::gateways::{Gateway, GatewayReport, Gateways, Knocking};
use wire::identity::GatewayEui;

use super::shown::Look;

/// The gateways of the site file, and those that knock.
pub(super) fn state(look: &Look<'_>) -> Result<Option<Gateways>, StoreError> {
    let found = gateways::all(look.log, look.now)?;
    let planned = &look.house.site.fleet.surroundings.gateways;
    let eui = GatewayEui::from_display_bytes;
    let of_site: Vec<Gateway> = planned
        .iter()
        .map(|gateway| {
            let known = gateway.eui.map(eui);
            let text = known.map(|eui| eui.to_string());
            let heard = found.iter().find(|heard| Some(&heard.eui) == text.as_ref());
            shown(look, &gateway.name, known, heard)
        })
        .collect();
    let heard: BTreeSet<&String> = of_site.iter().flat_map(|gateway| &gateway.nodes).collect();
    let nodes_heard = heard.len();
    Ok(Some(Gateways {
        nodes: look.house.open_names().count(),
        nodes_heard,
        knocking: strangers(look, &found),
        gateways: of_site,
    }))
}

/// Those that are not in the site file.
fn strangers(look: &Look<'_>, found: &[Heard]) -> Vec<Knocking> {
    let planned = look.house.site.fleet.surroundings.gateways.iter();
    let ours: BTreeSet<String> = planned
        .filter_map(|gateway| Some(GatewayEui::from_display_bytes(gateway.eui?).to_string()))
        .collect();
    found.iter().filter(|heard| !ours.contains(&heard.eui)).map(|heard| stranger(look, heard)).collect()
}

/// Gateways that knock.
pub(super) fn knocking(look: &Look<'_>) -> Result<Vec<Knocking>, StoreError> {
    Ok(strangers(look, &gateways::all(look.log, look.now)?))
}

fn shown(look: &Look<'_>, name: &str, eui: Option<GatewayEui>, heard: Option<&Heard>) -> Gateway {
    let written = heard.and_then(|heard| heard.last_sign_of_life);
    let last = written.max(eui.and_then(|eui| look.house.pulse.sign_of_life(eui)));
    Gateway {
        name: name.to_owned(),
        is_away: eui.is_some() && last.is_none_or(|last| look.now - last > GATEWAY_AWAY_AFTER),
        eui: eui.map(|eui| eui.to_string()),
        last_sign_of_life: last.map(|at| look.when(at)),
        frames_in_a_day: heard.map_or(0, |heard| heard.by_hour.iter().sum()),
        frames_by_hour: heard.map_or_else(|| vec![0; 24], |heard| heard.by_hour.to_vec()),
        nodes: heard
            .map(|heard| heard.devices.iter().map(|eui| look.name(eui)).collect())
            .unwrap_or_default(),
        answers_in_an_hour: heard.map_or(0, |heard| heard.answers.0),
        answers_airtime_s: heard.map_or(0.0, |heard| heard.answers.1 as f64 / 1e6),
        report: heard.and_then(|heard| heard.report.as_ref()).map(|report| GatewayReport {
            at: look.when(report.at),
            heard: report.heard,
            intact: report.intact,
            software: report.software.clone(),
            acknowledged_percent: report.acknowledged_share.map(|share| 100.0 * share),
        }),
    }
}

fn stranger(look: &Look<'_>, heard: &Heard) -> Knocking {
    Knocking {
        eui: heard.eui.clone(),
        last_sign_of_life: heard.last_sign_of_life.map(|at| look.when(at)),
        latitude_deg: heard.report.as_ref().and_then(|report| report.latitude_deg),
        longitude_deg: heard.report.as_ref().and_then(|report| report.longitude_deg),
    }
}
