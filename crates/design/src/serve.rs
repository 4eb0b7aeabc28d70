//! What the log of a site is asked to do: where it listens and keeps, what it takes from other networks and hands on.

mod pointer;

pub use core::net::SocketAddr;
pub use pointer::{Levels, Pointer, PointerError};

use crate::quantity::Duration;

/// How `serve` receives, keeps and shows.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Serve {
    /// Where it keeps.
    pub store: Store,
    /// File with the passphrase of the key box.
    pub passphrase_file: Option<String>,
    /// The page, if there is to be one.
    pub page: Option<Page>,
    /// What becomes of strangers' frames.
    pub foreign: Foreign,
    /// How it hears and answers gateways.
    pub gateways: GatewayIntake,
}

/// Where the log is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Store {
    /// A file of this name, or one named as the site file.
    File(Option<String>),
    /// A `PostgreSQL` database, as its client library names it.
    Postgres(String),
}

/// Where the page listens.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Page {
    /// Address and port.
    pub listen: SocketAddr,
    /// Files of certificate and key.
    pub certificate: Option<(String, String)>,
    /// Something before it does its TLS.
    pub behind_proxy: bool,
    /// Names by which browsers may call it.
    pub hosts: Vec<String>,
    /// What lies under its map.
    pub basemap: Option<Basemap>,
}

/// A map of somebody else's under that of the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Basemap {
    /// Address of its tiles, with `{z}`, `{x}` and `{y}`.
    pub tiles: String,
    /// The finest level that it has.
    pub finest: u8,
    /// Whose it is.
    pub credit: Option<String>,
}

impl Basemap {
    /// Scheme, host and port of its address.
    pub fn origin(&self) -> &str {
        let end = self.tiles.match_indices('/').nth(2).map_or(self.tiles.len(), |(at, _)| at);
        self.tiles.get(..end).unwrap_or_default()
    }
}

/// What becomes of frames that no node of the site sent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Foreign {
    /// Kept so long.
    Kept(Duration),
    /// Counted, not kept.
    Counted,
    /// Kept as all others.
    ForEver,
}

/// How gateways are heard and answered.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct GatewayIntake {
    /// Where their datagrams arrive.
    pub udp: Option<SocketAddr>,
    /// Where their websockets connect.
    pub websocket: Option<Websocket>,
    /// What is answered.
    pub answers: Answers,
    /// How long copies are waited for.
    pub gather: Duration,
    /// From an uplink to the first window \[s\], 1 to 15.
    pub rx1_delay_s: u8,
}

/// Where gateways connect by a websocket.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Websocket {
    /// Address and port.
    pub listen: SocketAddr,
    /// Files of certificate and key.
    pub certificate: Option<(String, String)>,
    /// Something before it does its TLS.
    pub behind_proxy: bool,
}

impl Websocket {
    /// Whether programs of other machines reach it.
    pub fn is_open(&self) -> bool {
        self.behind_proxy || !self.listen.ip().is_loopback()
    }
}

/// Which frames the network answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answers {
    /// All that want one.
    All,
    /// Joins, acknowledgements, and nodes that ask for any answer.
    Lifeline,
    /// None: another network answers.
    Never,
}

/// What another network hands on.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Source {
    /// Its key in the file.
    pub name: String,
    /// How its messages come.
    pub transport: SourceTransport,
    /// Where in them each thing stands.
    pub mapping: Mapping,
    /// How its nodes are told something, if they can be.
    pub outlet: Option<Outlet>,
}

/// How another network is asked to tell its nodes something.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Outlet {
    /// Where that goes.
    pub transport: OnwardTransport,
    /// The file whose example it follows.
    pub template: String,
}

/// How messages of a source come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SourceTransport {
    /// By a broker.
    Mqtt {
        /// The broker.
        broker: Broker,
        /// What is subscribed to.
        topics: Vec<String>,
        /// The name under which processes share the messages.
        share: Option<String>,
    },
    /// Posted to the page's address.
    Http {
        /// Path of the address.
        path: String,
        /// File with the word that the sender must know.
        token_file: String,
    },
    /// A file of comma-separated rows.
    Csv {
        /// Its path.
        file: String,
    },
}

/// A broker of MQTT 5.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Broker {
    /// Its address with scheme and port.
    pub url: String,
    /// File with name and password.
    pub login_file: Option<String>,
    /// File with the certificates that are trusted.
    pub ca: Option<String>,
}

/// Where in a message each thing stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Mapping {
    /// The list whose elements are the uplinks; the other pointers then count from the element.
    pub each: Option<Pointer>,
    /// The word that a message must have.
    pub only_if: Option<(Pointer, String)>,
    /// Who sent it.
    pub device: Pointer,
    /// The device is named as in the registry, not by its DevEUI.
    pub names: bool,
    /// The counter.
    pub counter: Option<Pointer>,
    /// What it carries.
    pub content: MappedContent,
    /// The time, and how it is written.
    pub time: Option<(Pointer, TimeForm)>,
    /// Received power \[dBm\].
    pub rssi: Option<Pointer>,
    /// Signal to noise \[dB\].
    pub snr: Option<Pointer>,
}

/// What a mapped uplink carries.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MappedContent {
    /// Bytes, which the design of its node reads.
    Payload {
        /// The port.
        port: MappedPort,
        /// The bytes.
        at: Pointer,
        /// How they are written.
        form: TextForm,
    },
    /// Values that were decoded already.
    Values(Vec<MappedValue>),
}

/// A value that was decoded already: a number there times `numerator`, plus `offset`, divided by `denominator` is one in the
/// unit of its field; anything else is taken as it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MappedValue {
    /// Message of the design.
    pub message: String,
    /// Field of the message; of a position, its column.
    pub column: String,
    /// Where it stands.
    pub at: Pointer,
    /// Not 0.
    pub numerator: i64,
    /// In parts of the denominator.
    pub offset: i64,
    /// Above 0.
    pub denominator: i64,
}

/// The port of a mapped uplink.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MappedPort {
    /// It stands in the message.
    At(Pointer),
    /// All have this one.
    Is(u8),
}

/// How bytes are written as text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TextForm {
    /// RFC 4648, either alphabet, with or without padding.
    Base64,
    /// Two digits a byte.
    Hex,
}

/// How a time is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TimeForm {
    /// RFC 3339, with its zone.
    Rfc3339,
    /// Seconds since 1970-01-01 UTC.
    Seconds,
    /// Milliseconds.
    Milliseconds,
    /// Microseconds.
    Microseconds,
    /// Nanoseconds.
    Nanoseconds,
}

/// Readings that are handed on.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Onward {
    /// Its key in the file.
    pub name: String,
    /// Where they go.
    pub transport: OnwardTransport,
    /// The file whose example the body follows; `None`: RFC 8428.
    pub template: Option<String>,
}

/// Where readings go.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum OnwardTransport {
    /// To a broker.
    Mqtt {
        /// The broker.
        broker: Broker,
        /// The topic, in which `{site}` and `{node}` stand for their names, and `{dev_eui}` for who the node is.
        topic: String,
    },
    /// To a server.
    Http {
        /// Its address.
        url: String,
        /// File with the word that it wants to see.
        token_file: Option<String>,
        /// File with the certificates that are trusted.
        ca: Option<String>,
    },
}

/// How readings are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ReadingForm {
    Senml,
    Template,
}
