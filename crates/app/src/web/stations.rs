//! Gateways that connect by a websocket: who may, what they bring, and what they are asked to send.
//!
//! A gateway asks at `/router-info` where to connect, and connects at `/gateway/EUI`. Beyond this machine it must show a word
//! that was made for it; what it then brings counts as its own.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::extract::ws::{Message, WebSocket, WebSocketUpgrade};
use axum::extract::{Extension, Path, State};
use axum::http::uri::Authority;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::Response;
use axum::routing::get;
use design::region::Region;
use logbook::clock::now;
use logbook::intake::door::Door;
use logbook::intake::token::Token;
use logbook::intake::websocket::{self, LARGEST_BYTES, Said};
use logbook::network::{Downlink, DownlinkNumber};
use logbook::received::{FROM_SATELLITES, Report};
use logbook::store::StoreError;
use logbook::store::people::People;
use logbook::store::writer::Arrival;
use serde_json::json;
use tokio::sync::{Semaphore, mpsc, watch};
use tokio::task::spawn_blocking;
use tokio::time::{Instant, MissedTickBehavior, interval, timeout};
use wire::identity::GatewayEui;

use super::problem::plain;
use super::pulse::{Pulse, stopped};
use super::who::Peer;

/// A connection is tried by a ping so often (own choice: a gateway is away after 60 s without a sign of life).
const PING_EVERY: Duration = Duration::from_secs(20);
/// Without a word or a pong for so long it is over.
const SILENT_FOR: Duration = Duration::from_mins(1);
/// The question where to connect comes at once.
const SLOWEST_QUESTION: Duration = Duration::from_secs(10);
/// Such questions at a time.
const MOST_QUESTIONS: usize = 32;
/// Answers that wait for a slow connection; a later one would miss its window.
const MOST_WAITING: usize = 64;
/// Answers of a connection of which no word has come.
const MOST_ASKED: usize = 256;
/// Strangers that are shown on the page: whoever reaches the address can invent them.
const MOST_STRANGERS: usize = 32;

/// Gateways that connect, and what they may.
pub(crate) struct Stations {
    region: Region,
    /// What sets a gateway to the channels of the site.
    config: String,
    known: BTreeSet<GatewayEui>,
    is_open: bool,
    is_sealed: bool,
    log: PathBuf,
    connected: Mutex<BTreeMap<GatewayEui, Connected>>,
    strangers: Mutex<BTreeSet<GatewayEui>>,
    connections: AtomicU64,
    /// Texts of gateways since the start.
    pub(super) texts: AtomicU64,
    /// Those of them that are none of the protocol.
    pub(super) unreadable: AtomicU64,
}

/// A gateway that is connected.
struct Connected {
    connection: u64,
    answers: mpsc::Sender<(DownlinkNumber, String)>,
}

/// What gateways may do and are told.
pub(crate) struct Terms {
    /// The plan by whose numbers data rates are named.
    pub(crate) region: Region,
    /// What sets a gateway to the channels of the site.
    pub(crate) config: String,
    /// Those of the site file.
    pub(crate) known: BTreeSet<GatewayEui>,
    /// Whether programs of other machines reach the address.
    pub(crate) is_open: bool,
    /// Whether what is said is sealed on its way.
    pub(crate) is_sealed: bool,
    /// The log, which holds their words.
    pub(crate) log: PathBuf,
}

/// The routes, and where what comes is handed in.
#[derive(Clone)]
struct Hall {
    stations: Arc<Stations>,
    door: Arc<Door>,
    pulse: Arc<Pulse>,
    questions: Arc<Semaphore>,
}

impl Stations {
    /// Nobody is connected yet.
    pub(crate) fn new(terms: Terms) -> Arc<Self> {
        let Terms { region, config, known, is_open, is_sealed, log } = terms;
        Arc::new(Self {
            region,
            config,
            known,
            is_open,
            is_sealed,
            log,
            connected: Mutex::default(),
            strangers: Mutex::default(),
            connections: AtomicU64::new(0),
            texts: AtomicU64::new(0),
            unreadable: AtomicU64::new(0),
        })
    }

    /// Asks a gateway to send; false if it is not connected, or does not take it.
    pub(crate) fn answer(&self, downlink: &Downlink) -> bool {
        let Some(text) = websocket::answer(downlink) else { return false };
        let connected = self.connected();
        let Some(gateway) = connected.get(&downlink.gateway) else { return false };
        gateway.answers.try_send((downlink.number, text)).is_ok()
    }

    fn connected(&self) -> MutexGuard<'_, BTreeMap<GatewayEui, Connected>> {
        self.connected.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A gateway has connected: a connection of before ends.
    fn connect(&self, gateway: GatewayEui) -> (u64, mpsc::Receiver<(DownlinkNumber, String)>) {
        let (answers, asked) = mpsc::channel(MOST_WAITING);
        let connection = self.connections.fetch_add(1, Ordering::Relaxed);
        self.connected().insert(gateway, Connected { connection, answers });
        (connection, asked)
    }

    fn disconnect(&self, gateway: GatewayEui, connection: u64) {
        let mut connected = self.connected();
        if connected.get(&gateway).is_some_and(|one| one.connection == connection) {
            connected.remove(&gateway);
        }
    }

    /// Whether a stranger is to be shown: the first few, each once.
    fn is_news(&self, stranger: GatewayEui) -> bool {
        let mut strangers = self.strangers.lock().unwrap_or_else(PoisonError::into_inner);
        strangers.len() < MOST_STRANGERS && strangers.insert(stranger)
    }

    fn unreadable(&self) {
        self.unreadable.fetch_add(1, Ordering::Relaxed);
    }
}

/// The two addresses.
pub(crate) fn routes(stations: Arc<Stations>, door: Arc<Door>, pulse: Arc<Pulse>) -> Router {
    let questions = Arc::new(Semaphore::new(MOST_QUESTIONS));
    Router::new()
        .route("/router-info", get(discover))
        .route("/gateway/{eui}", get(connect))
        .with_state(Hall { stations, door, pulse, questions })
}

/// Why a gateway may not connect.
enum Refused {
    Stranger,
    NoWord,
    WrongWord,
    Log(StoreError),
}

impl Refused {
    fn words(&self, gateway: GatewayEui) -> String {
        match self {
            Self::Stranger => format!("gateway {gateway} is not in the site file"),
            Self::NoWord => {
                format!("no word was made for gateway {gateway}: `overwinter people SITE.toml gateway NAME`")
            }
            Self::WrongWord => {
                format!("gateway {gateway} shows a wrong word, or none: `Authorization: Bearer WORD`")
            }
            Self::Log(error) => error.to_string(),
        }
    }

    fn response(&self, gateway: GatewayEui) -> Response {
        let status = match self {
            Self::Stranger => StatusCode::FORBIDDEN,
            Self::NoWord | Self::WrongWord => StatusCode::UNAUTHORIZED,
            Self::Log(_) => StatusCode::SERVICE_UNAVAILABLE,
        };
        plain(status, &self.words(gateway))
    }
}

impl Hall {
    /// Whether a gateway that shows these fields may connect.
    async fn admit(&self, gateway: GatewayEui, authorization: Option<&str>) -> Result<(), Refused> {
        if !self.stations.known.contains(&gateway) {
            self.knocks(gateway);
            return Err(Refused::Stranger);
        }
        let log = self.stations.log.clone();
        let read = spawn_blocking(move || People::of(&log)?.gateway_word(gateway)).await;
        let gone = |_| StoreError::Lost { why: "the thread that reads has failed".to_owned() };
        match read.map_err(gone).flatten().map_err(Refused::Log)?.map(Token::from_digest) {
            None if self.stations.is_open => Err(Refused::NoWord),
            Some(word) if !word.admits(authorization) => Err(Refused::WrongWord),
            None | Some(_) => Ok(()),
        }
    }

    /// A stranger is shown on the page, with the lines to copy.
    fn knocks(&self, gateway: GatewayEui) {
        if self.stations.is_news(gateway) {
            let _counted = self.door.offer(Arrival::SignOfLife { gateway, at: now(), address: None }, None);
        }
    }
}

fn authorization(fields: &HeaderMap) -> Option<String> {
    Some(fields.get(header::AUTHORIZATION)?.to_str().ok()?.to_owned())
}

/// Tells a gateway where to connect.
async fn discover(State(hall): State<Hall>, fields: HeaderMap, upgrade: WebSocketUpgrade) -> Response {
    let Ok(place) = Arc::clone(&hall.questions).try_acquire_owned() else {
        return plain(StatusCode::SERVICE_UNAVAILABLE, "too many ask at once; ask again");
    };
    upgrade.max_message_size(LARGEST_BYTES).on_upgrade(move |mut socket| async move {
        let _place = place;
        let asked = timeout(SLOWEST_QUESTION, socket.recv()).await;
        let Ok(Some(Ok(Message::Text(text)))) = asked else { return };
        let Ok(gateway) = websocket::discovery(&text) else { return hall.stations.unreadable() };
        let admitted = hall.admit(gateway, authorization(&fields).as_deref()).await;
        let answer = match (admitted, uri(hall.stations.is_sealed, gateway, &fields)) {
            (Ok(()), Some(uri)) => websocket::discovered(gateway, &uri),
            (Ok(()), None) => websocket::refused(gateway, "the question names no host"),
            (Err(why), _) => websocket::refused(gateway, &why.words(gateway)),
        };
        // Whoever is gone asks again.
        let _gone = socket.send(Message::text(answer)).await;
        let _gone = socket.send(Message::Close(None)).await;
    })
}

/// Where a gateway connects: by the name under which it has asked.
fn uri(is_sealed: bool, gateway: GatewayEui, fields: &HeaderMap) -> Option<String> {
    let host: Authority = fields.get(header::HOST)?.to_str().ok()?.parse().ok()?;
    let scheme = if is_sealed { "wss" } else { "ws" };
    Some(format!("{scheme}://{host}/gateway/{gateway}"))
}

async fn connect(
    State(hall): State<Hall>,
    Path(eui): Path<String>,
    Extension(peer): Extension<Peer>,
    fields: HeaderMap,
    upgrade: WebSocketUpgrade,
) -> Response {
    let Ok(gateway) = GatewayEui::from_display(&eui) else {
        return plain(StatusCode::NOT_FOUND, "the path ends in the EUI of a gateway, 16 hex digits");
    };
    let shown = authorization(&fields);
    if let Err(why) = hall.admit(gateway, shown.as_deref()).await {
        return why.response(gateway);
    }
    upgrade.max_message_size(LARGEST_BYTES).on_upgrade(move |socket| async move {
        let (connection, answers) = hall.stations.connect(gateway);
        let stopping = hall.pulse.stopping();
        let stations = Arc::clone(&hall.stations);
        let talk = Talk { hall, gateway, address: peer.0.to_string(), shown, asked: BTreeSet::new() };
        talk.run(socket, answers, stopping).await;
        stations.disconnect(gateway, connection);
    })
}

/// One connection of a gateway.
struct Talk {
    hall: Hall,
    gateway: GatewayEui,
    address: String,
    shown: Option<String>,
    /// Answers that it was asked to send, and has not said to have sent.
    asked: BTreeSet<DownlinkNumber>,
}

impl Talk {
    /// Until the gateway goes, is silent, connects anew, may no more, or the program stops.
    async fn run(
        mut self,
        mut socket: WebSocket,
        mut answers: mpsc::Receiver<(DownlinkNumber, String)>,
        mut stopping: watch::Receiver<bool>,
    ) {
        let mut ping = interval(PING_EVERY);
        ping.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut last = Instant::now();
        let mut lives = true;
        loop {
            let goes_on = tokio::select! {
                () = stopped(&mut stopping) => false,
                answer = answers.recv() => match answer {
                    Some((number, text)) => self.ask(number, text, &mut socket).await,
                    None => false,
                },
                _ = ping.tick() => {
                    if std::mem::take(&mut lives) {
                        self.lives();
                    }
                    last.elapsed() < SILENT_FOR
                        && self.hall.admit(self.gateway, self.shown.as_deref()).await.is_ok()
                        && socket.send(Message::Ping(Vec::new().into())).await.is_ok()
                }
                said = socket.recv() => {
                    (last, lives) = (Instant::now(), true);
                    match said {
                        Some(Ok(message)) => self.take(message, &mut socket).await,
                        Some(Err(_)) | None => false,
                    }
                }
            };
            if !goes_on {
                break;
            }
        }
        // Whoever is gone does not hear it.
        let _gone = socket.send(Message::Close(None)).await;
    }

    fn offer(&self, arrival: Arrival) {
        // What finds no room is counted there.
        let _counted = self.hall.door.offer(arrival, None);
    }

    fn lives(&self) {
        let address = Some(self.address.clone());
        self.offer(Arrival::SignOfLife { gateway: self.gateway, at: now(), address });
    }

    async fn ask(&mut self, number: DownlinkNumber, text: String, socket: &mut WebSocket) -> bool {
        self.asked.insert(number);
        if self.asked.len() > MOST_ASKED {
            self.asked.pop_first();
        }
        socket.send(Message::text(text)).await.is_ok()
    }

    /// Takes what the gateway says; false once the connection is over.
    async fn take(&mut self, message: Message, socket: &mut WebSocket) -> bool {
        let stations = Arc::clone(&self.hall.stations);
        let text = match message {
            Message::Text(text) => text,
            Message::Ping(_) | Message::Pong(_) => return true,
            Message::Close(_) => return false,
            Message::Binary(_) => {
                stations.unreadable();
                return true;
            }
        };
        stations.texts.fetch_add(1, Ordering::Relaxed);
        let Ok(said) = websocket::read(&text, self.gateway, &stations.region, now()) else {
            stations.unreadable();
            return true;
        };
        let reply = self.reply(said);
        match reply {
            Some(reply) => socket.send(Message::text(reply)).await.is_ok(),
            None => true,
        }
    }

    fn reply(&mut self, said: Said) -> Option<String> {
        match said {
            Said::Version { station, model } => {
                let gateway = self.gateway;
                self.offer(Arrival::Report { gateway, at: now(), report: report(&station, &model) });
                self.lives();
                return Some(self.hall.stations.config.clone());
            }
            Said::Heard(received) => self.offer(Arrival::Frame(*received, "websocket")),
            Said::Sent(number) if self.asked.remove(&number) => {
                self.offer(Arrival::Answered { number, refused: None });
            }
            // A clock that can't be believed is not handed on.
            Said::TimeWanted { txtime } if self.hall.pulse.counted().clock.is_none() => {
                return Some(websocket::time(txtime, now() - FROM_SATELLITES));
            }
            Said::Sent(_) | Said::TimeWanted { .. } | Said::Other(_) => {}
        }
        None
    }
}

/// What a gateway says of itself at the beginning.
fn report(station: &str, model: &str) -> Report {
    Report {
        heard: None,
        intact: None,
        passed_on: None,
        acknowledged_percent: None,
        answers_received: None,
        answers_sent: None,
        place: None,
        extra: json!({ "software": station, "model": model }).to_string(),
    }
}
