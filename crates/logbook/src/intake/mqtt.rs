//! Messages of another network, by a broker of MQTT 5.
//!
//! A message is acknowledged after its commit, and only on the connection by which it came: an acknowledgement that outlives
//! its connection could mean another message. The broker sends again what was not acknowledged, and that is a copy here.
//!
//! # References
//! MQTT 5.0: clause 4.8.2 (shared subscriptions), 3.1.2.11.2 (session expiry), 3.1.2.11.3 (receive maximum), 4.4 (delivery
//! after a reconnect).

use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use design::serve::Mapping;
use rumqttc::mqttbytes::QoS;
use rumqttc::mqttbytes::v5::{Packet, Publish, PublishProperties, SubscribeReasonCode};
use rumqttc::{
    AckMode, AsyncClient, BrokerSessionResumePolicy, Event, EventLoop, ManualAck, MqttOptions,
    PublishOptions, SubscribeFilter, TlsConfiguration, Transport,
};
use tokio::sync::mpsc;
use tokio::time::{sleep, timeout};

use super::door::Door;
use crate::clock::now;
use crate::mapping::{Devices, Incoming, LARGEST_BYTES, Message};
use crate::store::keeper::KeptFrame;
use crate::store::writer::Arrival;

/// Messages on the way that are not acknowledged yet.
const ON_THE_WAY: u16 = 1000;
/// The broker keeps what we miss for so long \[s\].
const KEPT_BY_BROKER_S: u32 = 7 * 86_400;
/// A sign of life at least so often \[s\].
const KEEP_ALIVE_S: u16 = 20;
/// After a failure the next try comes so much later, then twice as late each time ..
const FIRST_PAUSE: Duration = Duration::from_millis(500);
/// .. up to this.
const LONGEST_PAUSE: Duration = Duration::from_secs(30);
/// A full queue is tried again.
const NO_ROOM: Duration = Duration::from_millis(50);

/// How a broker is reached.
#[derive(Clone, Debug)]
pub struct Link {
    /// Its host.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// Name and password.
    pub login: Option<Login>,
    /// Sealed by TLS: with these roots trusted.
    pub tls: Option<Arc<rustls::ClientConfig>>,
    /// By which name the broker knows us.
    pub client: String,
}

/// Name and password at a broker; never shown.
#[derive(Clone)]
pub struct Login {
    /// The name.
    pub name: String,
    /// The password.
    pub password: zeroize::Zeroizing<String>,
}

impl std::fmt::Debug for Login {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Login").field("name", &self.name).finish_non_exhaustive()
    }
}

impl Link {
    /// What is said to a broker at the beginning.
    pub(crate) fn options(&self) -> MqttOptions {
        let mut options = MqttOptions::new(self.client.clone(), (self.host.clone(), self.port));
        options
            .set_keep_alive(KEEP_ALIVE_S)
            .set_clean_start(false)
            .set_session_expiry_interval(Some(KEPT_BY_BROKER_S))
            // A process that begins anew knows nothing of before, and needs not: the broker sends again.
            .set_broker_session_resume_policy(BrokerSessionResumePolicy::AllowBrokerOnly);
        if let Some(Login { name, password }) = &self.login {
            options.set_credentials(name.clone(), password.as_bytes().to_vec());
        }
        if let Some(tls) = &self.tls {
            options.set_transport(Transport::tls_with_config(TlsConfiguration::Rustls(Arc::clone(tls))));
        }
        options
    }
}

/// A source whose messages come by a broker.
#[derive(Debug)]
pub struct Subscription {
    /// Its key in the site file.
    pub name: String,
    /// The broker.
    pub link: Link,
    /// What is subscribed to.
    pub topics: Vec<String>,
    /// The name under which several processes share the messages.
    pub share: Option<String>,
    /// Where in the messages each thing stands.
    pub mapping: Mapping,
    /// Who may be named.
    pub devices: Arc<Devices>,
}

impl Subscription {
    /// What is subscribed to, as the broker wants it.
    fn filters(&self) -> impl Iterator<Item = SubscribeFilter> {
        self.topics.iter().map(|topic| {
            let filter = match &self.share {
                Some(share) => format!("$share/{share}/{topic}"),
                None => topic.clone(),
            };
            SubscribeFilter::new(filter, QoS::AtLeastOnce)
        })
    }
}

/// Told how it goes.
pub trait Watcher: Send + Sync + 'static {
    /// All is subscribed to, or why not.
    fn connection(&self, state: Result<(), String>);
    /// A message was none of those that are taken.
    fn skipped(&self);
}

/// The connection of now: acknowledgements of an earlier one are not sent.
#[derive(Debug, Default)]
struct Connection {
    number: AtomicU64,
    turn: Mutex<()>,
}

impl Connection {
    fn number(&self) -> u64 {
        self.number.load(Ordering::SeqCst)
    }

    fn ended(&self) {
        let _turn = self.turn.lock().unwrap_or_else(PoisonError::into_inner);
        self.number.fetch_add(1, Ordering::SeqCst);
    }

    /// Acknowledges what came on a connection if that one still stands.
    fn acknowledge(&self, client: &AsyncClient, number: u64, ack: ManualAck) {
        let _turn = self.turn.lock().unwrap_or_else(PoisonError::into_inner);
        if self.number() == number {
            // A client that is gone needs no acknowledgement: the broker sends again.
            let _sent_again = client.try_manual_ack(ack);
        }
    }
}

/// Takes messages until it is dropped; it connects again after every failure.
pub async fn hear(subscription: Subscription, door: Arc<Door>, watcher: Arc<dyn Watcher>) {
    let mut options = subscription.link.options();
    options
        .set_ack_mode(AckMode::Manual)
        .set_receive_maximum(Some(ON_THE_WAY))
        .set_max_packet_size(u32::try_from(LARGEST_BYTES).ok());
    // Without a bound, so that an acknowledgement always finds room: there are never more than messages on the way.
    let (client, mut events) = AsyncClient::builder(options).unbounded().build();
    let connection = Arc::new(Connection::default());
    // As many as the broker sends without an acknowledgement find room, so that the connection is never held up.
    let (hand_over, messages) = mpsc::channel(2 * usize::from(ON_THE_WAY));
    let topics: Vec<SubscribeFilter> = subscription.filters().collect();
    let taker = Taker {
        subscription,
        door,
        watcher: Arc::clone(&watcher),
        client: client.clone(),
        connection: Arc::clone(&connection),
    };
    let hearing = listen(&client, &mut events, &topics, &connection, &hand_over, &*watcher);
    tokio::join!(hearing, taker.take_all(messages));
}

async fn listen(
    client: &AsyncClient,
    events: &mut EventLoop,
    topics: &[SubscribeFilter],
    connection: &Connection,
    hand_over: &mpsc::Sender<(Publish, u64)>,
    watcher: &dyn Watcher,
) {
    let mut pause = FIRST_PAUSE;
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(begun))) => {
                pause = FIRST_PAUSE;
                if begun.session_present {
                    watcher.connection(Ok(()));
                } else if let Err(error) = client.try_subscribe_many(topics.to_vec()) {
                    watcher.connection(Err(format!("nothing can be subscribed to: {error}")));
                }
            }
            Ok(Event::Incoming(Packet::SubAck(answer))) => {
                let granted = |code: &SubscribeReasonCode| matches!(code, SubscribeReasonCode::Success(_));
                let refused = answer.return_codes.iter().find(|code| !granted(code));
                watcher
                    .connection(refused.map_or(Ok(()), |why| Err(format!("the broker refuses it: {why:?}"))));
            }
            Ok(Event::Incoming(Packet::Publish(publish))) => {
                if hand_over.send((publish, connection.number())).await.is_err() {
                    return;
                }
            }
            Ok(_) => {}
            Err(error) => {
                connection.ended();
                // What was to be acknowledged on it is forgotten.
                events.clean();
                watcher.connection(Err(in_words(&error)));
                sleep(pause).await;
                pause = (2 * pause).min(LONGEST_PAUSE);
            }
        }
    }
}

/// Why there is no connection; a broker says no more of a wrong password than that it is wrong.
fn in_words(error: &rumqttc::ConnectionError) -> String {
    match error {
        rumqttc::ConnectionError::ConnectionRefused(code) => format!("the broker refuses us: {code:?}"),
        rumqttc::ConnectionError::Timeout(_) => "the broker does not answer".to_owned(),
        rumqttc::ConnectionError::Io(error) => {
            let text = error.to_string();
            format!("no connection: {}", text.split(" (os error").next().unwrap_or(&text).to_lowercase())
        }
        other => format!("no connection: {other}"),
    }
}

struct Taker {
    subscription: Subscription,
    door: Arc<Door>,
    watcher: Arc<dyn Watcher>,
    client: AsyncClient,
    connection: Arc<Connection>,
}

impl Taker {
    async fn take_all(self, mut messages: mpsc::Receiver<(Publish, u64)>) {
        while let Some((publish, number)) = messages.recv().await {
            self.take(&publish, number).await;
        }
    }

    /// Hands a message in; its acknowledgement follows when it is on the disk.
    async fn take(&self, publish: &Publish, number: u64) {
        let Subscription { name, mapping, devices, .. } = &self.subscription;
        let topic = String::from_utf8_lossy(&publish.topic);
        let incoming = Incoming { topic: Some(&topic), path: None, body: &publish.payload };
        let ack = self.client.prepare_ack(publish);
        let Some(message) = Message::of(name, mapping, incoming, devices, now()) else {
            self.watcher.skipped();
            if let Some(ack) = ack {
                self.connection.acknowledge(&self.client, number, ack);
            }
            return;
        };
        let mut arrival = Arrival::Message(message);
        loop {
            let (client, connection, ack) = (self.client.clone(), Arc::clone(&self.connection), ack.clone());
            let done = Box::new(move |_: Option<&KeptFrame>| {
                if let Some(ack) = ack {
                    connection.acknowledge(&client, number, ack);
                }
            });
            match self.door.try_offer(arrival, done) {
                Ok(()) => return,
                // What finds no room stays unacknowledged; more than is on the way does not come.
                Err(back) => arrival = *back,
            }
            sleep(NO_ROOM).await;
        }
    }
}

/// What is published.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Posting {
    /// Under which topic.
    pub topic: String,
    /// The same whenever it is sent again: the user property `id`.
    pub id: String,
    /// What is said.
    pub body: String,
    /// What kind of text that is (RFC 6838).
    pub media_type: &'static str,
}

/// What publishes to a broker.
#[derive(Debug)]
pub struct Publisher {
    client: AsyncClient,
    polling: tokio::task::JoinHandle<()>,
}

impl Publisher {
    /// Connects, and connects again after every failure.
    pub fn connect(link: &Link, watcher: Arc<dyn Watcher>) -> Self {
        let mut options = link.options();
        // What is on the way when the connection ends is published anew by whoever waits for it.
        options.set_clean_start(true).set_session_expiry_interval(None);
        let (client, mut events) = AsyncClient::builder(options).unbounded().build();
        let polling = tokio::spawn(async move {
            let mut pause = FIRST_PAUSE;
            loop {
                match events.poll().await {
                    Ok(Event::Incoming(Packet::ConnAck(_))) => {
                        pause = FIRST_PAUSE;
                        watcher.connection(Ok(()));
                    }
                    Ok(_) => {}
                    Err(error) => {
                        watcher.connection(Err(in_words(&error)));
                        sleep(pause).await;
                        pause = (2 * pause).min(LONGEST_PAUSE);
                    }
                }
            }
        });
        Self { client, polling }
    }

    /// Publishes messages in order, and waits until the broker has all of them.
    ///
    /// # Errors
    /// Why it has not, in words; some of them may have arrived.
    pub async fn publish(&self, messages: Vec<Posting>) -> Result<(), String> {
        let mut notices = Vec::new();
        for Posting { topic, id, body, media_type } in messages {
            let properties = PublishProperties {
                content_type: Some(media_type.to_owned()),
                user_properties: vec![("id".to_owned(), id)],
                ..PublishProperties::default()
            };
            let options = PublishOptions::new(QoS::AtLeastOnce).properties(properties);
            let notice = self.client.publish_tracked(topic, body, options).await;
            notices.push(notice.map_err(|error| error.to_string())?);
        }
        for notice in notices {
            let done = timeout(LONGEST_PAUSE, notice.wait_completion_async()).await;
            done.map_err(|error| format!("the broker does not acknowledge: {error}"))?
                .map_err(|error| format!("the broker does not take it: {error}"))?;
        }
        Ok(())
    }
}

impl Drop for Publisher {
    fn drop(&mut self) {
        self.polling.abort();
    }
}

/// A word by which one of several processes is told from the others at a broker.
///
/// # Errors
/// If the operating system gives no random bytes.
pub fn own_word() -> Result<String, getrandom::Error> {
    let mut bytes = [0; 6];
    getrandom::fill(&mut bytes)?;
    Ok(crate::digits::hex(&bytes))
}
