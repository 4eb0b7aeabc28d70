//! The addresses that are listened on: taken at the start, and said.

use std::net::SocketAddr;
use std::sync::Arc;

use design::quantity::Frequency;
use design::serve::{Page, Websocket};
use logbook::intake::gateways::Gateways;
use logbook::intake::websocket::router_config;
use logbook::store::setup::Site;
use report::problem::{Failure, Problem};
use rustls::ServerConfig;

use super::Settings;
use crate::input::fleet;
use crate::output;
use crate::web::stations::{Stations, Terms};
use crate::web::{self, Doorway, Posted};

/// Listens for gateways, if it is to.
pub(super) async fn gateways_at(udp: Option<SocketAddr>) -> Result<Option<Arc<Gateways>>, Failure> {
    let Some(address) = udp else { return Ok(None) };
    let heard = Gateways::listen(address).await;
    heard.map(Some).map_err(|error| busy("serve.gateways.udp", &address, &error))
}

/// Listens for gateways that connect, if it is to.
pub(super) async fn stations_at(
    site: &fleet::Site,
    settings: &Settings,
    setup: &Site,
) -> Result<Option<(Arc<Stations>, Doorway)>, Failure> {
    let Some(websocket) = &settings.websocket else { return Ok(None) };
    let key = "serve.gateways.websocket";
    let region = &setup.network.region;
    let mut channels: Vec<Frequency> =
        setup.kinds.iter().flat_map(|(_, plan)| plan.channels.iter().copied()).collect();
    if !channels.is_empty() && !region.fixed_channels {
        channels.extend(region.default_channels());
    }
    let join_euis = setup.registry.iter().map(|row| row.join_eui).collect();
    let config = router_config(region, &channels, &join_euis).map_err(|error| {
        let help = "name at most eight channels as `channels` in [radio] of the design files";
        site.failure("channels", "serve.gateways", error.to_string(), help)
    })?;
    let terms = Terms {
        region: region.clone(),
        config,
        known: setup.gateways.iter().map(|(_, eui)| *eui).collect(),
        is_open: websocket.is_open(),
        is_sealed: settings.certificate.is_some() || websocket.behind_proxy,
        log: settings.log.clone(),
    };
    let opened = Doorway::open(websocket.listen, tls(settings)?).await;
    let doorway = opened.map_err(|error| busy(key, &websocket.listen, &error))?;
    Ok(Some((Stations::new(terms), doorway)))
}

/// Where gateways connect, and what they must show.
pub(super) fn stations_line(doorway: &Doorway, settings: &Settings) -> String {
    let scheme = if doorway.is_sealed() { "wss" } else { "ws" };
    let Ok(address) = doorway.address() else { return String::new() };
    let word = if settings.websocket.as_ref().is_some_and(Websocket::is_open) {
        "Each shows the word that `overwinter people SITE.toml gateway NAME` made for it\n"
    } else {
        ""
    };
    format!("Gateways connect to {scheme}://{address} (websocket)\n{word}")
}

/// Takes the address of the page, if there is to be one.
pub(super) async fn page_at(settings: &Settings) -> Result<Option<(Page, Doorway)>, Failure> {
    let Some(page) = &settings.page else { return Ok(None) };
    let opened = Doorway::open(page.listen, tls(settings)?).await;
    opened
        .map(|doorway| Some((page.clone(), doorway)))
        .map_err(|error| busy("serve.page", &page.listen, &error))
}

/// What seals page and websocket, if something does.
fn tls(settings: &Settings) -> Result<Option<Arc<ServerConfig>>, Failure> {
    let Some((certificate, key)) = &settings.certificate else { return Ok(None) };
    let config = web::tls::server(certificate, key).map_err(|why| {
        let help = "write the PEM files of a certificate and of its key into [serve]";
        Failure::of(Problem::of_file("certificate", "serve.certificate", why, help))
    })?;
    Ok(Some(config))
}

/// Where the page is, and what may be posted there.
pub(super) fn page_line(doorway: &Doorway, posted: &[Posted]) -> String {
    let scheme = if doorway.is_sealed() { "https" } else { "http" };
    let Ok(address) = doorway.address() else { return String::new() };
    let mut lines = vec![format!(
        "Open {scheme}://{address}/ in a browser; programs ask /live, /api/v1, /health, /metrics"
    )];
    lines.extend(posted.iter().map(|posted| {
        format!("Messages of {} are taken at {scheme}://{address}{} (POST)", posted.name, posted.path)
    }));
    lines.join("\n") + "\n"
}

fn busy(key: &'static str, address: &SocketAddr, error: &std::io::Error) -> Failure {
    let message = format!("{address} can't be listened on: {}", output::reason(error));
    let help = "another program may have it: end that one, or write another address";
    Failure::of(Problem::of_file("listen", key, message, help))
}
