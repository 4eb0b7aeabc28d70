//! The sample traffic, its site, and what must come of it; made by another implementation.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use design::catalog::Catalog;
use design::quantity::Decibels;
use design::region::Region;
use design::serve::{Answers, Foreign};
use logbook::intake::udp::{self, Datagram};
use logbook::network::{Plan, Setup, Station};
use logbook::readings::Kind;
use logbook::received::Received;
use logbook::registry::{Date, Node};
use logbook::store::setup::Site;
use serde_json::Value;
use wire::identity::{DevAddr, DevEui, GatewayEui, JoinEui};
use wire::key::AppKey;

pub(crate) fn text(name: &str) -> String {
    let path: PathBuf = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/traffic").join(name);
    std::fs::read_to_string(path).expect("the file is there")
}

/// A line of the traffic.
pub(crate) struct Line {
    pub(crate) octets: Vec<u8>,
    pub(crate) event: u64,
    /// Verdicts, any of which may be.
    pub(crate) expected: Vec<String>,
    /// Of an accepted uplink: node, counter, port, values.
    pub(crate) node: Option<String>,
    pub(crate) fcnt: Option<u64>,
    pub(crate) port: Option<u64>,
    pub(crate) values: BTreeMap<String, Value>,
    pub(crate) at_ms: i64,
}

impl Line {
    pub(crate) fn frames(&self) -> Vec<Received> {
        match udp::read(&self.octets, 1_000_000_000_000_000 + 1_000 * self.at_ms) {
            Ok(Datagram::Push { frames, .. }) => frames,
            _ => Vec::new(),
        }
    }
}

pub(crate) fn lines() -> Vec<Line> {
    let read = |line: &str| {
        let line: Value = serde_json::from_str(line).expect("it is JSON");
        let text = |key: &str| line[key].as_str().map(str::to_owned);
        let hex = text("datagram").expect("a text");
        let octet = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).expect("hex digits");
        let values = line["values"].as_object().into_iter().flatten();
        Line {
            octets: (0..hex.len()).step_by(2).map(octet).collect(),
            event: line["event"].as_u64().expect("a number"),
            expected: text("expect").expect("a text").split('|').map(str::to_owned).collect(),
            node: text("node"),
            fcnt: line["fcnt"].as_u64(),
            port: line["port"].as_u64(),
            values: values.map(|(name, value)| (name.clone(), value.clone())).collect(),
            at_ms: line["at_ms"].as_i64().expect("a number"),
        }
    };
    text("datagrams.jsonl").lines().map(read).collect()
}

/// Names, identities and keys of the devices.
pub(crate) fn devices() -> Vec<(String, DevEui, JoinEui, AppKey)> {
    let table = text("devices.csv");
    let row = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let &[name, device, join, key] = &cells[..] else { panic!("four columns") };
        (
            name.to_owned(),
            DevEui::from_display(device).expect("an EUI"),
            JoinEui::from_display(join).expect("an EUI"),
            AppKey::from_hex(key).expect("a key"),
        )
    };
    table.lines().skip(1).map(row).collect()
}

pub(crate) fn kind() -> Kind {
    let design = text("station.toml");
    let resolved = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(&design));
    Kind::new(&resolved.expect("it is sound").design, design)
}

pub(crate) fn gateways() -> Vec<(String, GatewayEui)> {
    let named = [("north", "020000FFFE000001"), ("south", "020000FFFE000002")];
    named.map(|(name, eui)| (name.to_owned(), GatewayEui::from_display(eui).expect("an EUI"))).into()
}

/// The site, with addresses 01000001 upwards after those that were given, as the traffic was made for.
pub(crate) fn site(given: u32) -> Site {
    let kind = kind();
    let row = |(name, dev_eui, join_eui, _): (String, _, _, _)| Node {
        name,
        kind: kind.name.clone(),
        dev_eui,
        join_eui,
        place: None,
        constants: BTreeMap::new(),
        from: Date::new(1970, 1, 1).expect("a day"),
        until: None,
    };
    let mut last = 0x0100_0000_u32 + given;
    Site {
        gateways: gateways(),
        registry: devices().into_iter().map(row).collect(),
        keys: devices().into_iter().map(|(_, dev_eui, _, key)| (dev_eui, key)).collect(),
        network: network(),
        foreign: Foreign::ForEver,
        addresses: Box::new(move || {
            last += 1;
            DevAddr::from_display_bytes(last.to_be_bytes())
        }),
        kinds: vec![(kind, Plan::default())],
    }
}

fn network() -> Setup {
    let station = |(_, eui)| Station { eui, eirp_most_dbm: 16.0, gain: Decibels::ZERO };
    Setup {
        region: Region::builtin("EU868").expect("built in"),
        stations: gateways().into_iter().map(station).collect(),
        answers: Answers::All,
        gather: 250_000,
        rx1_delay_s: 1,
    }
}
