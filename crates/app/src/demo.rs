//! Larkmoor, an invented valley, live: nodes that live by the kernel of the forecast, a gateway that hears them, and the log
//! that is served as any other.

mod air;
mod faults;
mod node;
mod radio;

use std::collections::BTreeMap;
use std::fs;
use std::io::BufRead as _;
use std::net::{TcpListener, UdpSocket};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use logbook::folder::{self, KEYS, REGISTRY};
use logbook::keys::{KeyBox, Passphrase};
use logbook::registry::{Date, Node, Registry, draw_local};
use report::problem::{Failure, Problem};
use tempfile::TempDir;
use wire::identity::{DevEui, JoinEui};
use wire::key::AppKey;

use crate::input::fleet;
use crate::output;
use crate::service::{self, Form};
use air::Air;
use faults::{Faults, Switches};
use node::LiveNode;

/// The files of the site, as they are shipped.
const FILES: [(&str, &[u8]); 5] = [
    ("larkmoor.toml", include_bytes!("../../../examples/larkmoor/larkmoor.toml")),
    ("frost-mast.toml", include_bytes!("../../../examples/larkmoor/frost-mast.toml")),
    ("tank-level.toml", include_bytes!("../../../examples/larkmoor/tank-level.toml")),
    ("soil-station.toml", include_bytes!("../../../examples/larkmoor/soil-station.toml")),
    ("terrain/larkmoor.tif", include_bytes!("../../../examples/larkmoor/terrain/larkmoor.tif")),
];
/// The port that the site file names; the demonstration takes one that is free.
const USUAL_PORT: &str = "127.0.0.1:1700";
/// Where the page is, if that port is free; else at one that is.
const PAGE: &str = "127.0.0.1:8750";
/// Paces that can still be followed \[min/s\].
const PACES: std::ops::RangeInclusive<f64> = 0.1..=600.0;

/// Identities and keys of the nodes, by name.
type Keys = BTreeMap<String, (DevEui, AppKey)>;

/// Lives and serves Larkmoor until it is stopped.
pub(crate) fn run(pace: f64, faults: &[String], form: Form) -> Result<(), Failure> {
    if !PACES.contains(&pace) {
        let message = format!("{pace} minutes a second can't be followed");
        return Err(refuse("demo", "--pace", message, "give 0.1 to 600"));
    }
    let switches = Arc::new(Mutex::new(Switches::default()));
    for fault in faults {
        let said = fault.replacen('=', " ", 1);
        lock(&switches).switch(&said).map_err(|message| {
            refuse("demo", "--fault", message, "see `overwinter demo --help` for nodes and faults")
        })?;
    }
    let folder =
        tempfile::Builder::new().prefix("larkmoor-demo-").tempdir().map_err(|error| unwritten(&error))?;
    let port = lay_out(&folder).map_err(|error| unwritten(&error))?;
    let site = Arc::new(fleet::site(&folder.path().join("larkmoor.toml"))?);
    let (passphrase, keys) = enrol(&site, folder.path())?;
    let nodes = live_nodes(&site, &keys)?;
    let served = service::open(site, Some(&passphrase), form)?;
    output::complain(&format!(
        "Larkmoor is invented: its nodes, places and readings are made up. {pace} of its minutes pass in a second.\n\
         Keys and log lie in {} and are removed at the end.\n\
         Type a node and a fault to switch it on or off, such as: mast-slope unplugged\n",
        folder.path().display()
    ));
    let stop = Arc::new(AtomicBool::new(false));
    let living = {
        let (switches, stop) = (Arc::clone(&switches), Arc::clone(&stop));
        std::thread::spawn(move || live(nodes, &port, pace, &switches, &stop))
    };
    listen(&switches);
    let done = served.at_pace(60.0 * pace).run(None);
    stop.store(true, Ordering::Relaxed);
    let lived = living.join();
    folder.close().map_err(|error| unwritten(&error))?;
    done?;
    match lived {
        Ok(lived) => lived.map_err(|error| unwritten(&error)),
        Err(_) => Err(refuse("demo", "demo", "the nodes have failed".to_owned(), "please report this")),
    }
}

fn lock(switches: &Mutex<Switches>) -> std::sync::MutexGuard<'_, Switches> {
    switches.lock().unwrap_or_else(PoisonError::into_inner)
}

fn refuse(code: &'static str, place: &str, message: String, help: &str) -> Failure {
    Failure::of(Problem::of_file(code, place, message, help))
}

fn unwritten(error: &std::io::Error) -> Failure {
    let message = format!("the demonstration can't use its folder or port: {}", output::reason(error));
    refuse("demo", "demo", message, "see whether the folder for temporary files can be written")
}

/// Writes the files of the site; the address at which its gateways are heard.
fn lay_out(folder: &TempDir) -> std::io::Result<String> {
    fs::create_dir(folder.path().join("terrain"))?;
    let port = UdpSocket::bind("127.0.0.1:0")?.local_addr()?.to_string();
    let page = TcpListener::bind(PAGE).or_else(|_| TcpListener::bind("127.0.0.1:0"))?.local_addr()?;
    let with_page = format!("[serve]\npage = \"{page}\"\n");
    for (name, contents) in FILES {
        let text = String::from_utf8(contents.to_vec());
        let contents = match text {
            Ok(text) if text.contains(USUAL_PORT) => {
                text.replace(USUAL_PORT, &port).replace("[serve]\n", &with_page).into_bytes()
            }
            _ => contents.to_vec(),
        };
        fs::write(folder.path().join(name), contents)?;
    }
    Ok(port)
}

/// Gives every node of the site an identity and a key; the file with the passphrase, and who has which key.
fn enrol(site: &fleet::Site, folder: &Path) -> Result<(PathBuf, Keys), Failure> {
    let random = |error: &dyn std::fmt::Display| {
        refuse("demo", "demo", format!("the operating system's random source failed: {error}"), "try again")
    };
    let kept = |error: &dyn std::fmt::Display| refuse("demo", "demo", error.to_string(), "try again");
    let enrolled = folder.join("enrolled");
    fs::create_dir(&enrolled).map_err(|error| unwritten(&error))?;
    let file = folder.join("passphrase");
    let secret = draw_local().map_err(|error| random(&error))?;
    // Of no worth: the keys are drawn for this run alone, and go with it.
    output::stage(&file, format!("larkmoor {secret}\n").as_bytes())?.put()?;
    closed(&file).map_err(|error| unwritten(&error))?;
    let passphrase = Passphrase::from_file(&file).map_err(|error| kept(&error))?;
    let held = folder::lock(&enrolled).map_err(|error| kept(&error))?;
    let mut keys = KeyBox::new(&enrolled.join(KEYS));
    let mut registry = Registry::open(&enrolled.join(REGISTRY)).map_err(|error| kept(&error))?;
    let join_eui = JoinEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, 1]);
    let mut names = BTreeMap::new();
    for placed in &site.fleet.nodes {
        let kind = site.kinds().find(|(file, _)| *file == placed.kind).map(|(_, design)| design.name.clone());
        let dev_eui = draw_local().map_err(|error| random(&error))?;
        keys.draw(dev_eui).map_err(|error| kept(&error))?;
        let row = Node {
            name: placed.name.clone(),
            kind: kind.unwrap_or_default(),
            dev_eui,
            join_eui,
            place: None,
            constants: BTreeMap::new(),
            from: Date::new(1970, 1, 1).expect("a day of the calendar"),
            until: None,
        };
        registry.add(row).map_err(|error| kept(&error))?;
        names.insert(placed.name.clone(), dev_eui);
    }
    folder::keep(&enrolled, &mut keys, &registry, &passphrase).map_err(|error| kept(&error))?;
    drop(held);
    let with_key = |(name, dev_eui)| Some((name, (dev_eui, keys.key(dev_eui)?.clone())));
    Ok((file, names.into_iter().filter_map(with_key).collect()))
}

#[cfg(unix)]
fn closed(file: &Path) -> std::io::Result<()> {
    fs::set_permissions(file, std::os::unix::fs::PermissionsExt::from_mode(0o600))
}

#[cfg(not(unix))]
fn closed(_: &Path) -> std::io::Result<()> {
    Ok(())
}

fn live_nodes(site: &fleet::Site, keys: &Keys) -> Result<Vec<LiveNode>, Failure> {
    let mut nodes = Vec::new();
    for (seed, design) in (1..).zip(site.designs()) {
        let climate = site.climate(design)?;
        let Some((dev_eui, key)) = keys.get(&design.name) else { continue };
        nodes.push(LiveNode::new(design, &climate, *dev_eui, key.clone(), seed));
    }
    Ok(nodes)
}

/// Takes lines from the person; ends with the program.
fn listen(switches: &Arc<Mutex<Switches>>) {
    let switches = Arc::clone(switches);
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if line.trim().is_empty() {
                continue;
            }
            let said = match lock(&switches).switch(line.trim()) {
                Ok(said) => said + "\n",
                Err(message) => format!("{message}; such as: mast-slope unplugged\n"),
            };
            output::complain(&said);
        }
    });
}

/// Lets the nodes live, and their frames be heard, until it is to stop.
fn live(
    mut nodes: Vec<LiveNode>,
    port: &str,
    pace: f64,
    switches: &Mutex<Switches>,
    stop: &AtomicBool,
) -> std::io::Result<()> {
    let mut air = Air::open(port)?;
    let begun = Instant::now();
    while !stop.load(Ordering::Relaxed) {
        let minutes = pace * begun.elapsed().as_secs_f64();
        air.sign_of_life()?;
        for answer in air.answers()? {
            for node in &mut nodes {
                node.hear(&answer);
            }
        }
        for node in &mut nodes {
            let (faults, gateway_off): (Faults, bool) = {
                let switches = lock(switches);
                (switches.of(&node.name), switches.gateway_off)
            };
            for frame in node.live_until(minutes, &faults) {
                if !gateway_off {
                    air.carry(&frame)?;
                }
            }
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    Ok(())
}
