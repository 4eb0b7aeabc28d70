//! What the site file asks `serve` to do, and what it needs to know.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use design::serve::{Foreign, Page, Serve, Store, Websocket};
use logbook::folder::{KEYS, REGISTRY};
use logbook::network::{Plan, Setup, Station};
use logbook::readings::Kind;
use logbook::registry::{Node, Registry};
use logbook::store::setup::{Site, addresses};
use logbook::zone::Zone;
use report::problem::{Failure, Problem};
use wire::identity::{DevEui, GatewayEui};
use wire::key::AppKey;

use crate::enrolment::site;
use crate::input::fleet;

/// Where the log lies, and where it listens.
#[derive(Clone, Debug)]
pub(crate) struct Settings {
    /// The file of the log.
    pub(crate) log: PathBuf,
    /// Where gateways are heard by UDP.
    pub(crate) udp: Option<SocketAddr>,
    /// Where gateways connect by a websocket.
    pub(crate) websocket: Option<Websocket>,
    /// Where the page is.
    pub(crate) page: Option<Page>,
    /// Certificate and key of both.
    pub(crate) certificate: Option<(PathBuf, PathBuf)>,
    /// Folder of registry and key box.
    pub(crate) registry: Option<PathBuf>,
    /// File with the passphrase; else it is asked for.
    pub(crate) passphrase_file: Option<PathBuf>,
}

impl Settings {
    /// What a site file says; its paths count from its folder.
    pub(crate) fn of(site: &fleet::Site, passphrase_file: Option<&Path>) -> Result<Self, Failure> {
        let Some(serve) = &site.fleet.serve else {
            let message =
                "the site file does not say where gateways are heard and where the log lies".to_owned();
            return Err(at(site, "serve", message, EXAMPLE));
        };
        let log = match &serve.store {
            Store::File(Some(name)) => site.folder.join(name),
            Store::File(None) => site.path.with_extension("sqlite"),
            Store::Postgres(_) => {
                let message = "this program keeps its log in a file only".to_owned();
                return Err(at(site, "serve.postgres", message, "write `log = \"larkmoor.sqlite\"` instead"));
            }
        };
        let in_file = serve.passphrase_file.as_ref().map(|name| site.folder.join(name));
        Ok(Self {
            log,
            udp: serve.gateways.udp,
            certificate: certificate(serve)
                .map(|(certificate, key)| (site.folder.join(certificate), site.folder.join(key))),
            websocket: serve.gateways.websocket.clone(),
            page: serve.page.clone(),
            registry: site.fleet.registry.as_ref().map(|name| site.folder.join(name)),
            passphrase_file: passphrase_file.map(Path::to_owned).or(in_file),
        })
    }
}

/// Page and websocket have one certificate.
fn certificate(serve: &Serve) -> Option<&(String, String)> {
    let of_page = serve.page.as_ref().and_then(|page| page.certificate.as_ref());
    of_page.or_else(|| serve.gateways.websocket.as_ref()?.certificate.as_ref())
}

const EXAMPLE: &str = "write `[serve]` with `log = \"larkmoor.sqlite\"`, and `[serve.gateways]` with `udp = \"127.0.0.1:1700\"`";

fn at(site: &fleet::Site, key: &str, message: String, help: &str) -> Failure {
    site.failure("serve", key, message, help)
}

/// What clocks of the site show; UTC where it names no zone.
pub(crate) fn zone(site: &fleet::Site) -> Result<Zone, Failure> {
    let Some(name) = &site.fleet.time_zone else { return Ok(Zone::UTC) };
    Zone::named(name).ok_or_else(|| {
        let message = format!("this program's database of time zones has no `{name}`");
        site.failure(
            "time-zone",
            "time_zone",
            message,
            "name another zone with the same clock, or leave it out for UTC",
        )
    })
}

/// Who is who, with keys where there are any: a site where nobody is enrolled needs no passphrase.
pub(crate) fn setup(site: &fleet::Site, settings: &Settings) -> Result<Site, Failure> {
    let folder = settings.registry.as_deref();
    let is_there = |name: &str| folder.is_some_and(|folder| folder.join(name).is_file());
    let (mut registry, mut keys) = (Vec::new(), BTreeMap::new());
    if let Some(folder) = folder.filter(|_| is_there(REGISTRY) || is_there(KEYS)) {
        let rows: Registry = site::registry(folder)?;
        let (opened, _) = site::keys(folder, settings.passphrase_file.as_deref())?;
        site::agree(&opened, &rows)?;
        registry = rows.nodes().to_vec();
        keys = opened.keys().map(|(dev_eui, key)| (dev_eui, key.clone())).collect();
    }
    assembled(site, registry, keys)
}

/// Who is who, without a key: for a log that is only shown.
pub(crate) fn without_keys(site: &fleet::Site, settings: &Settings) -> Result<Site, Failure> {
    let folder = settings.registry.as_deref().filter(|folder| folder.join(REGISTRY).is_file());
    let rows = folder.map(site::registry).transpose()?;
    assembled(site, rows.map(|rows| rows.nodes().to_vec()).unwrap_or_default(), BTreeMap::new())
}

fn assembled(
    site: &fleet::Site,
    registry: Vec<Node>,
    keys: BTreeMap<DevEui, AppKey>,
) -> Result<Site, Failure> {
    Ok(Site {
        gateways: gateways(site),
        registry,
        keys,
        kinds: site
            .texts()
            .map(|(_, design, text)| (Kind::new(design, text.to_owned()), Plan::of(design)))
            .collect(),
        network: network(site)?,
        foreign: site.fleet.serve.as_ref().map_or(Foreign::ForEver, |serve| serve.foreign),
        addresses: addresses().map_err(|error| {
            let message = format!("the operating system's random source failed: {error}");
            Failure::of(Problem::of_file("serve", "serve", message, "try again"))
        })?,
    })
}

fn gateways(site: &fleet::Site) -> Vec<(String, GatewayEui)> {
    let gateways = site.fleet.surroundings.gateways.iter();
    gateways
        .filter_map(|gateway| Some((gateway.name.clone(), GatewayEui::from_display_bytes(gateway.eui?))))
        .collect()
}

fn network(site: &fleet::Site) -> Result<Setup, Failure> {
    let radios = || site.designs().iter().filter_map(|design| design.radio.as_ref());
    let (Some(radio), Some(serve)) = (radios().next(), &site.fleet.serve) else {
        let message = "none of its nodes has a radio, so there is nobody to hear".to_owned();
        return Err(at(site, "node", message, "write [radio] into the design file of a kind"));
    };
    let gateways = &site.fleet.surroundings.gateways;
    let stations = gateways.iter().filter_map(Station::of).collect();
    Ok(Setup::of(radio.region.clone(), &serve.gateways, stations))
}
