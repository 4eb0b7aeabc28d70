//! The log of a site at work: opened, listening, and stopped without loss.

mod certificate;
mod example;
mod host;
mod http;
mod learner;
mod links;
mod listen;
mod mail;
mod mark;
mod modem;
mod onward;
mod outlet;
mod past;
mod said;
mod settings;
mod show;
mod shut;
mod signals;
mod sources;
mod tell;
mod teller;
mod watcher;
mod way;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, PoisonError};

use logbook::clock::{News, now};
use logbook::intake::door::Door;
use logbook::intake::gateways::Gateways;
use logbook::intake::mqtt::{self, Subscription};
use logbook::network::Downlink;
use logbook::received::Moment;
use logbook::store::StoreError;
use logbook::store::again::Again;
use logbook::store::keeper::KeptFrame;
use logbook::store::setup::Site;
use logbook::store::sqlite::Log;
use logbook::store::writer::{Listener, Writer};
use logbook::watch;
use logbook::zone::Zone;
use report::problem::{Failure, Problem};
use report::words;
use wire::identity::{DevEui, GatewayEui};

use crate::input::fleet;
use crate::known::Known;
use crate::output;
use crate::web::pulse::Pulse;
use crate::web::stations::{self, Stations};
use crate::web::{self, Doorway, Gate, House, Listening, Posted, Promises};
pub(crate) use certificate::certificate_here;
pub(crate) use example::propose_source;
pub(crate) use host::note_copied;
use listen::{gateways_at, page_at, page_line, stations_at, stations_line};
use onward::Onward;
use outlet::Outlet;
use past::Past;
pub(crate) use settings::Settings;
pub(crate) use show::show;
pub(crate) use signals::Anew;
use signals::{Ended, Signals, in_a_thread, stop_signal};
use tell::Told;
pub(crate) use tell::try_tell;
use teller::Teller;
use tokio::task::JoinHandle;
use watcher::{Lookout, Pace, Watched};

/// How frames are told on standard output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Form {
    /// A line for a person.
    Words,
    /// A line of JSON.
    Json,
}

/// From where on readings are handed on anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum From {
    /// The frame of this number.
    Row(i64),
    /// The first frame that was heard then or later.
    Moment(Moment),
}

/// A site that is ready to be served.
pub(crate) struct Service {
    site: Arc<fleet::Site>,
    settings: Settings,
    setup: Site,
    log: Log,
    form: Form,
    greeting: String,
    posted: Vec<Posted>,
    /// File and name of each design.
    kinds: Vec<(String, String)>,
    /// What clocks of the site show.
    zone: Zone,
    subscriptions: Vec<Subscription>,
    onward: Vec<Onward>,
    outlets: Vec<Outlet>,
    past: Vec<Past>,
    watch: watch::Setup,
    tellers: Vec<Told>,
    gateway_names: BTreeMap<GatewayEui, String>,
    pace: f64,
    known: Known,
}

/// What is made of a site's files before its log is opened.
struct Prepared {
    site: Arc<fleet::Site>,
    form: Form,
    settings: Settings,
    setup: Site,
    posted: Vec<Posted>,
    onward: Vec<Onward>,
    outlets: Vec<Outlet>,
    past: Vec<Past>,
    watch: watch::Setup,
    tellers: Vec<Told>,
}

/// Reads all that the site file names; nothing is changed.
fn prepared(
    site: Arc<fleet::Site>,
    form: Form,
    settings: Settings,
    setup: Site,
) -> Result<Prepared, Failure> {
    sources::check_values(&site, &setup)?;
    Ok(Prepared {
        posted: sources::posted(&site, &setup)?,
        onward: onward::all(&site, &setup)?,
        outlets: outlet::all(&site, &setup)?,
        past: past::all(&site, &setup),
        watch: watcher::setup(&site, &setup)?,
        tellers: tell::all(&site)?,
        site,
        form,
        settings,
        setup,
    })
}

/// Opens key box and log of a site; nothing is changed if either can't be opened.
pub(crate) fn open(
    site: Arc<fleet::Site>,
    passphrase_file: Option<&Path>,
    form: Form,
) -> Result<Service, Failure> {
    let settings = Settings::of(&site, passphrase_file)?;
    let shut = shut::answer(&settings)?;
    let setup = settings::setup(&site, &settings)?;
    drop(shut);
    prepared(site, form, settings, setup)?.open()
}

impl Prepared {
    fn open(self) -> Result<Service, Failure> {
        let Self { site, form, settings, setup, posted, onward, outlets, past, watch, tellers } = self;
        let log = Log::open(&settings.log).map_err(|error| log_failure(&settings.log, &error))?;
        if mark::is_behind(&settings, &log)? {
            let stepped = log.step_over_the_forgotten(now());
            stepped.map_err(|error| log_failure(&settings.log, &error))?;
            output::complain(
                "The log is older than the last one that was written here: it was put back. Counters and nonces that it has \
             forgotten are stepped over.\n",
            );
        }
        Ok(Service {
            greeting: greeting(&site, &settings, &setup),
            zone: settings::zone(&site)?,
            kinds: site.texts().map(|(file, design, _)| (file.to_owned(), design.name.clone())).collect(),
            subscriptions: links::subscriptions(&site, &setup, &own_word(&settings, &log)?)?,
            gateway_names: setup.gateways.iter().map(|(name, eui)| (*eui, name.clone())).collect(),
            known: Known::of(&site, &setup),
            site,
            settings,
            setup,
            log,
            form,
            posted,
            onward,
            outlets,
            past,
            watch,
            tellers,
            pace: 1.0,
        })
    }
}

fn greeting(site: &fleet::Site, settings: &Settings, setup: &Site) -> String {
    let mut lines = vec![format!("{}: the log is {}", site.fleet.name, settings.log.display())];
    if setup.registry.is_empty() {
        lines.push(
            "Nobody is enrolled yet: whatever comes is kept, and nothing is believed. Enrol the nodes of a kind with"
                .to_owned(),
        );
        let folder = settings.registry.clone().unwrap_or_else(|| PathBuf::from("enrolled"));
        lines.extend(site.kinds().map(|(file, _)| {
            let design = site.folder.join(file);
            let count = site.fleet.nodes.iter().filter(|node| node.kind == file).count();
            format!(
                "  overwinter enrol {} --count {count} --local --join-eui 0200000000000001 -o {}",
                design.display(),
                folder.display()
            )
        }));
        lines.push("and start again.".to_owned());
    } else {
        lines.push(format!("{} enrolled", words::count(setup.keys.len(), "node")));
    }
    if setup.gateways.is_empty() {
        lines
            .push("No gateway of the site file has its `eui`: frames are kept as refused:gateway".to_owned());
    }
    lines.push(match &site.fleet.time_zone {
        Some(zone) => format!("Times are those of {zone}; the log keeps UTC"),
        None => "Times are UTC: the site file has no `time_zone`".to_owned(),
    });
    lines.join("\n") + "\n"
}

/// Tells of trouble alone.
struct Quiet;

impl Listener for Quiet {
    fn kept(&mut self, _: &[KeptFrame]) {}

    fn answer(&mut self, _: &Downlink) {}

    fn trouble(&mut self, trouble: Option<&StoreError>) {
        if let Some(error) = trouble {
            output::complain(&format!(
                "The log can't be written now: {error}. It is tried again and again.\n"
            ));
        }
    }
}

/// What happened, for the last word.
#[derive(Debug, Default)]
struct Tally {
    frames: u64,
    refused: u64,
}

/// Prints what is kept.
struct Printer {
    form: Form,
    gateways: Option<Arc<Gateways>>,
    stations: Option<Arc<Stations>>,
    names: BTreeMap<DevEui, String>,
    tally: Arc<Mutex<Tally>>,
    pulse: Arc<Pulse>,
    teller: Teller,
    lookout: Lookout,
    zone: Zone,
    troubled: bool,
}

impl Listener for Printer {
    fn kept(&mut self, frames: &[KeptFrame]) {
        self.pulse.kept(frames);
        self.lookout.kept(frames);
        let mut text = String::new();
        for kept in frames {
            match self.form {
                Form::Words => text.extend(said::line(kept, &self.zone)),
                Form::Json => text += &said::json_line(kept),
            }
        }
        self.teller.tell(text);
        let mut tally = self.tally.lock().unwrap_or_else(PoisonError::into_inner);
        let news = frames.iter().filter(|kept| kept.verdict != "copy");
        for kept in news {
            tally.frames += 1;
            tally.refused += u64::from(kept.verdict.starts_with("refused"));
        }
    }

    fn answer(&mut self, downlink: &Downlink) {
        // A gateway that can't be reached says nothing, and the answer's outcome becomes unknown.
        let _unreached = match downlink.station {
            Some(_) => self.stations.as_ref().is_some_and(|stations| stations.answer(downlink)),
            None => self.gateways.as_ref().is_some_and(|gateways| gateways.answer(downlink)),
        };
        if self.form == Form::Words {
            self.teller.tell(said::answer(downlink, &self.names, &self.zone));
        }
    }

    fn alive(&mut self, gateway: GatewayEui, at: Moment, asks: bool) {
        self.pulse.alive(gateway, at);
        self.lookout.alive(gateway, at, asks);
    }

    fn decoded_again(&mut self, done: Result<&Again, &StoreError>) {
        match done {
            Ok(again) => output::complain(&said::decoded_again(again)),
            Err(error) => output::complain(&format!(
                "History can't be read anew: {error}. It is tried again at the next start.\n"
            )),
        }
    }

    fn hours_failed(&mut self, error: &StoreError) {
        output::complain(&format!(
            "Hours and days can't be made from the readings: {error}. It is tried again; readings are kept as before.\n"
        ));
    }

    fn clock(&mut self, news: News) {
        if let News::Stepped { by } = news {
            self.lookout.clock_set(by);
        }
        self.pulse.clock(said::wrong_clock(news));
        output::complain(&said::clock(news));
    }

    fn trouble(&mut self, trouble: Option<&StoreError>) {
        self.pulse.trouble(trouble.map(ToString::to_string));
        match trouble {
            Some(error) if !self.troubled => output::complain(&format!(
                "The log can't be written now: {error}. Nothing is acknowledged until it can; it is tried again and again.\n"
            )),
            Some(_) => {}
            None => output::complain("The log is written again; what waited is kept.\n"),
        }
        self.troubled = trouble.is_some();
    }
}

impl Service {
    /// Takes the log for an older copy that was put back.
    pub(crate) fn restored(self) -> Result<Self, Failure> {
        let stepped = self.log.step_over_the_forgotten(now());
        stepped.map_err(|error| log_failure(&self.settings.log, &error))?;
        output::complain(
            "The log was put back: counters and nonces that it may have forgotten are stepped over.\n",
        );
        Ok(self)
    }

    /// Takes the computer's clock for right, though the log holds later times.
    pub(crate) fn clock_is_right(self) -> Result<Self, Failure> {
        self.log.clock_is_right().map_err(|error| log_failure(&self.settings.log, &error))?;
        Ok(self)
    }

    /// The nodes' time goes so many times as fast as clocks, as in a demonstration.
    pub(crate) const fn at_pace(mut self, times: f64) -> Self {
        self.pace = times;
        self
    }

    /// Asks that the history of a kind be read anew, from a moment on.
    pub(crate) fn decode_again(self, kind: &str, since: Option<Moment>) -> Result<Self, Failure> {
        let known = self.kinds.iter().find(|(file, name)| file == kind || name == kind);
        let Some((_, name)) = known else {
            let names: Vec<String> =
                self.kinds.iter().map(|(file, name)| format!("{file} ({name})")).collect();
            let message = format!("no node of the site is of the kind `{kind}`");
            let help = format!("the kinds are {}", names.join(", "));
            return Err(Failure::of(Problem::of_file("decode-again", "--decode-again", message, &help)));
        };
        let asked = self.log.decode_again(name, since);
        asked.map_err(|error| log_failure(&self.settings.log, &error))?;
        Ok(self)
    }

    /// Hands readings on anew from a frame or a moment on, though they were handed on before.
    pub(crate) fn onward_from(self, name: &str, from: From) -> Result<Self, Failure> {
        let names: Vec<&str> = self.onward.iter().map(Onward::name).collect();
        if !names.contains(&name) {
            let message = format!("the site file has no [onward.{name}]");
            let help = format!("those that it has: {}", names.join(", "));
            return Err(Failure::of(Problem::of_file("onward", "--onward-from", message, &help)));
        }
        let failure = |error: StoreError| log_failure(&self.settings.log, &error);
        let row = match from {
            From::Row(row) => row,
            // Of a day after all that was kept: what comes next.
            From::Moment(at) => match self.log.first_since(at).map_err(failure)? {
                Some(row) => row,
                None => self.log.progress().map_err(failure)?.0.saturating_add(1),
            },
        };
        self.log.note(&onward::key(name), &row.saturating_sub(1).max(0).to_string()).map_err(failure)?;
        Ok(self)
    }

    /// Reads the files of the past that the site file names, and ends.
    pub(crate) fn read_past(self) -> Result<(), Failure> {
        let Self { settings, setup, log, past, .. } = self;
        if past.is_empty() {
            let message = "no source of the site file is a file of the past".to_owned();
            let help = "write `csv = { file = \"fields-2025.csv\" }` into a [source.NAME]";
            return Err(Failure::of(Problem::of_file("past", "source", message, help)));
        }
        let writer = Writer::start(log, setup, now(), Box::new(Quiet))
            .map_err(|error| log_failure(&settings.log, &error))?;
        let read = past::read(&past, &writer.inbox());
        let stopped = writer.stop();
        read?;
        stopped.map_err(|error| log_failure(&settings.log, &error))?;
        mark::note(&settings)
    }

    /// Serves until a signal asks to stop; then what waits is kept. Where it is said how, another signal has all files read
    /// anew.
    pub(crate) fn run(self, anew: Option<Anew>) -> Result<(), Failure> {
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build();
        let runtime = runtime.map_err(|error| no_threads(&error))?;
        runtime.block_on(self.run_anew(anew))
    }

    async fn run_anew(self, anew: Option<Anew>) -> Result<(), Failure> {
        let mut signals = Signals::new(anew);
        let mut socket = None;
        let mut service = self;
        loop {
            match service.serve(&mut signals, &mut socket).await? {
                Ended::Stopped => return Ok(()),
                Ended::Anew(ready) => {
                    service = in_a_thread(move || ready.open()).await?;
                    output::complain("The site file and its designs were read anew.\n");
                }
            }
        }
    }

    async fn serve(self, signals: &mut Signals, socket: &mut Socket) -> Result<Ended, Failure> {
        let Self { site, settings, setup, log, form, greeting, posted, subscriptions, onward, zone, .. } =
            self;
        let (watch, gateway_names, pace, known, outlets, tellers) =
            (self.watch, self.gateway_names, self.pace, self.known, self.outlets, self.tellers);
        let gateways = socket_of(settings.udp, socket).await?;
        let (stations, stations_door) = stations_at(&site, &settings, &setup).await?.unzip();
        let page = page_at(&settings).await?;
        let log_failed = |error| log_failure(&settings.log, &error);
        let pulse = Arc::new(Pulse::new(log.progress().map_err(log_failed)?.0));
        let tally = Arc::new(Mutex::new(Tally::default()));
        let (registry, names) = (setup.registry.clone(), named(&setup.registry));
        let (teller, printed) = teller::begin().map_err(|error| no_threads(&error))?;
        let (lookout, twin, waiting) = watcher::open();
        let watched = Arc::new(Watched {
            setup: watcher::paced(watch, pace),
            names: names.clone(),
            gateways: gateway_names,
            pace: Pace::of(pace),
            zone: zone.clone(),
            form,
            log: settings.log.clone(),
            ways: tellers.iter().filter_map(Told::way).cloned().collect(),
        });
        let watch_teller = teller.twin();
        let printer = Printer {
            form,
            gateways: gateways.clone(),
            stations: stations.clone(),
            names: names.clone(),
            tally: Arc::clone(&tally),
            pulse: Arc::clone(&pulse),
            teller,
            lookout,
            zone: zone.clone(),
            troubled: false,
        };
        let gate = Gate::new().map_err(|error| no_random(&error))?;
        let writer = Writer::start(log, setup, now(), Box::new(printer)).map_err(log_failed)?;
        output::complain(&greeting);
        let door = Arc::new(Door::new(writer.inbox()));
        let watching = watcher::begin(&watched, waiting, &door, &pulse, watch_teller, writer.counts())
            .map_err(|error| no_threads(&error))?;
        let promises =
            Promises::begin(Arc::clone(&site), pulse.stopping()).map_err(|error| no_threads(&error))?;
        let truths = learner::begin(pace, (&site, &registry, &settings.log), (&door, &pulse, &twin))
            .map_err(|error| no_threads(&error))?;
        let listening = page.map(|(page, doorway)| {
            output::complain(&page_line(&doorway, &posted));
            let house = House {
                promises,
                truths,
                typing: web::Typing::default(),
                site,
                registry,
                zone,
                log: settings.log.clone(),
                pulse: Arc::clone(&pulse),
                counts: writer.counts(),
                gateways: gateways.clone(),
                stations: stations.clone(),
                names,
                door: Arc::clone(&door),
                posted,
                page,
                known,
                areas: watched.setup.areas.clone(),
                places: web::Places::of(settings.registry.clone()),
                gate,
                is_copy: false,
            };
            doorway.serve(web::routes(Arc::new(house)), pulse.stopping())
        });
        let connecting = connect(stations.zip(stations_door), &settings, &door, &pulse);
        let subscribed = subscribe(subscriptions, &door, &pulse);
        let mut handing_on = hand_on(onward, &settings.log, &door, &pulse);
        handing_on.extend(ask_elsewhere(outlets, &settings.log, &door, &pulse));
        let telling = tell::begin(tellers, &watched, &door, &pulse);
        let hearing = gateways.clone().map(|gateways| hear(gateways, &writer));
        let marking = mark::hourly(&settings);
        let ended = signals.next(&pulse).await;
        marking.abort();
        pulse.stop();
        // What was read from the socket is in the inbox; what comes from now on waits in it.
        end(hearing).await;
        door.close();
        twin.close();
        handing_on.iter().chain(&telling).for_each(JoinHandle::abort);
        let dropped = writer.counts().dropped.load(Ordering::Relaxed);
        let stopped = writer.stop();
        let_go(&subscribed).await;
        all_ended(listening.into_iter().chain(connecting)).await;
        // It ends with the thread that keeps; what it said is said before the last word.
        let _failed = watching.join();
        printed.wait();
        let unreadable = gateways.map_or(0, |gateways| gateways.counts().unreadable.load(Ordering::Relaxed));
        if matches!(ended, Ended::Stopped) {
            output::complain(&last_word(&tally, dropped, unreadable));
        }
        stopped.map_err(log_failed)?;
        mark::note(&settings).map(|()| ended)
    }
}

/// The socket of gateways, and the address for which it was opened: it is kept while files are read anew.
type Socket = Option<(std::net::SocketAddr, Arc<Gateways>)>;

/// The socket for an address: the one that is open already, if it is for the same.
async fn socket_of(
    address: Option<std::net::SocketAddr>,
    socket: &mut Socket,
) -> Result<Option<Arc<Gateways>>, Failure> {
    if socket.as_ref().map(|(at, _)| *at) != address {
        *socket = None;
        let opened = gateways_at(address).await?;
        *socket = address.zip(opened);
    } else if let Some((_, gateways)) = socket {
        gateways.forget_answers();
    }
    Ok(socket.as_ref().map(|(_, gateways)| Arc::clone(gateways)))
}

/// The names of the nodes by who they are.
fn named(registry: &[logbook::registry::Node]) -> BTreeMap<DevEui, String> {
    registry.iter().map(|row| (row.dev_eui, row.name.clone())).collect()
}

fn no_random(error: &dyn std::fmt::Display) -> Failure {
    let message = format!("the operating system's random source failed: {error}");
    Failure::of(Problem::of_file("serve", "serve", message, "try again"))
}

/// Hands readings on, until it is aborted.
fn hand_on(onward: Vec<Onward>, log: &Path, door: &Arc<Door>, pulse: &Arc<Pulse>) -> Vec<JoinHandle<()>> {
    let begin =
        |onward: Onward| tokio::spawn(onward.hand_on(log.to_owned(), Arc::clone(door), Arc::clone(pulse)));
    onward.into_iter().map(begin).collect()
}

/// Has nodes of other networks told what people want, until it is aborted.
fn ask_elsewhere(
    outlets: Vec<Outlet>,
    log: &Path,
    door: &Arc<Door>,
    pulse: &Arc<Pulse>,
) -> Vec<JoinHandle<()>> {
    let begin =
        |outlet: Outlet| tokio::spawn(outlet.ask(log.to_owned(), Arc::clone(door), Arc::clone(pulse)));
    outlets.into_iter().map(begin).collect()
}

fn no_threads(error: &std::io::Error) -> Failure {
    let message = format!("no threads are to be had: {}", output::reason(error));
    Failure::of(Problem::of_file("serve", "serve", message, "end other programs first"))
}

/// Acknowledgements to brokers are given so long when the program stops.
const LAST_ACKNOWLEDGEMENTS: std::time::Duration = std::time::Duration::from_millis(200);

/// Takes messages of brokers, until it is aborted.
fn subscribe(subscriptions: Vec<Subscription>, door: &Arc<Door>, pulse: &Arc<Pulse>) -> Vec<JoinHandle<()>> {
    let begin = |subscription: Subscription| {
        let source = subscription.name.clone();
        let name = format!("source {source}");
        // Until it is, all is not well.
        pulse.connection(&name, Err("not connected yet".to_owned()));
        let told = links::Told { name, source, pulse: Arc::clone(pulse) };
        tokio::spawn(mqtt::hear(subscription, Arc::clone(door), Arc::new(told)))
    };
    subscriptions.into_iter().map(begin).collect()
}

/// Lets gateways connect, until the program stops.
fn connect(
    stations: Option<(Arc<Stations>, Doorway)>,
    settings: &Settings,
    door: &Arc<Door>,
    pulse: &Arc<Pulse>,
) -> Option<Listening> {
    let (stations, doorway) = stations?;
    output::complain(&stations_line(&doorway, settings));
    let routes = stations::routes(stations, Arc::clone(door), Arc::clone(pulse));
    Some(doorway.serve(routes, pulse.stopping()))
}

/// The word by which this log's process is known to brokers, drawn once and kept in the log.
fn own_word(settings: &Settings, log: &Log) -> Result<String, Failure> {
    let failure = |error: StoreError| log_failure(&settings.log, &error);
    if let Some(word) = log.noted(OWN_WORD).map_err(failure)? {
        return Ok(word);
    }
    let word = mqtt::own_word().map_err(|error| no_random(&error))?;
    log.note(OWN_WORD, &word).map_err(failure)?;
    Ok(word)
}

/// Key of that word.
const OWN_WORD: &str = "client";

/// Acknowledgements of what was kept last leave; what is lost of them is sent again, and is a copy.
async fn let_go(subscribed: &[JoinHandle<()>]) {
    if !subscribed.is_empty() {
        tokio::time::sleep(LAST_ACKNOWLEDGEMENTS).await;
        subscribed.iter().for_each(JoinHandle::abort);
    }
}

/// Waits until all that listened has ended.
async fn all_ended(listening: impl Iterator<Item = Listening>) {
    for one in listening {
        one.ended().await;
    }
}

/// Ends a task, and waits until it has.
async fn end(task: Option<JoinHandle<()>>) {
    let Some(task) = task else { return };
    task.abort();
    // It ends by being aborted.
    let _aborted = task.await;
}

/// Hears gateways by UDP, until it is aborted.
fn hear(gateways: Arc<Gateways>, writer: &Writer) -> tokio::task::JoinHandle<()> {
    if let Ok(address) = gateways.address() {
        let open = if address.ip().is_loopback() {
            ""
        } else {
            "Nothing that comes there is authenticated: anybody who reaches this address may inject frames and keep \
             gateways from being answered. Let a private network alone reach it, or use the websocket\n"
        };
        output::complain(&format!("Gateways are heard at {address} (UDP); Ctrl-C stops\n{open}"));
    }
    let inbox = writer.inbox();
    tokio::spawn(async move { gateways.hear(&inbox).await })
}

fn last_word(tally: &Mutex<Tally>, dropped: u64, unreadable: u64) -> String {
    let tally = tally.lock().unwrap_or_else(PoisonError::into_inner);
    let mut parts = vec![format!("Stopped: {} kept, {} of them refused", tally.frames, tally.refused)];
    if unreadable > 0 {
        parts.push(format!("{unreadable} datagrams or entries were no frame"));
    }
    if dropped > 0 {
        parts.push(format!("{dropped} dropped because too many waited"));
    }
    parts.join("; ") + "\n"
}

/// A trouble with the log, for a person.
pub(crate) fn log_failure(path: &Path, error: &StoreError) -> Failure {
    let help = match error {
        StoreError::Busy { .. } => "stop that one first: one process writes a log",
        StoreError::Full => "free some space; nothing that was acknowledged is lost",
        StoreError::Newer { .. } => "use the newer program; this one changes nothing",
        StoreError::Damaged { .. } => {
            "put the newest copy back, and start once with --restored; or name another file as `log`"
        }
        StoreError::Lost { .. } => "see whether the folder is there and may be written",
        StoreError::Row { .. } => "please report this: the log refuses a row of its own program",
    };
    Failure::of(Problem::of_file("log", &path.to_string_lossy(), error.to_string(), help))
}
