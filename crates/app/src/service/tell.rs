//! Those who are told of alarms, as the site file names them.

use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use design::watch::{Tell, TellWay};
use http_body_util::Full;
use hyper::header::CONTENT_TYPE;
use hyper::{Method, StatusCode, Uri};
use logbook::clock::now;
use logbook::intake::door::Door;
use logbook::intake::mqtt::{Link, Publisher};
use logbook::received::Moment;
use logbook::store::alarms::KeptAlarm;
use logbook::store::telling::{self, Outcome};
use logbook::store::writer::Arrival;
use logbook::store::{StoreError, alarms, sqlite};
use logbook::watch::signature::signed;
use logbook::watch::tell::{Now, Waiting, Way, room};
use logbook::watch::{Rule, Urgency};
use report::problem::Failure;
use rustls::ClientConfig;
use serde_json::{Value, json};
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};
use zeroize::Zeroizing;

use super::watcher::{Watched, microseconds, told, who};
use super::{http, links, sources};
use crate::input::fleet;
use crate::output;
use crate::web::pulse::Pulse;
use crate::web::tls;

/// The queue is looked at so often.
const LOOK: Duration = Duration::from_secs(5);
/// An answer must have come by then.
const SLOWEST_ANSWER: Duration = Duration::from_secs(15);
/// A sign of life is given so often.
const SIGN_OF_LIFE: Duration = Duration::from_mins(5);
/// Messages of a way are counted over this time.
const HOUR: Moment = 3_600_000_000;

/// Somebody who is told.
pub(super) struct Told {
    name: String,
    site: String,
    by: By,
}

enum By {
    Webhook { way: Way, server: Server, key: Option<Zeroizing<Vec<u8>>> },
    Mqtt { way: Way, link: Link, topic: String },
    SignOfLife(Server),
}

/// A server and how it is reached.
struct Server {
    uri: Uri,
    tls: Option<Arc<ClientConfig>>,
}

/// All that the site file names.
pub(super) fn all(site: &fleet::Site) -> Result<Vec<Told>, Failure> {
    site.fleet.tells.iter().map(|tell| of(site, tell)).collect()
}

/// Tells of alarms, until it is aborted.
pub(super) fn begin(
    all: Vec<Told>,
    watched: &Arc<Watched>,
    door: &Arc<Door>,
    pulse: &Arc<Pulse>,
) -> Vec<JoinHandle<()>> {
    let begin =
        |told: Told| tokio::spawn(told.go_on(Arc::clone(watched), Arc::clone(door), Arc::clone(pulse)));
    all.into_iter().map(begin).collect()
}

fn of(site: &fleet::Site, tell: &Tell) -> Result<Told, Failure> {
    let key = format!("tell.{}", tell.name);
    let wrong = |message: String| site.failure("tell", &key, message, "see \"Alarms\" in docs/log.md");
    let server = |url: &str| {
        let uri: Uri = url.parse().map_err(|error| wrong(format!("`{url}`: {error}")))?;
        let sealed = uri.scheme_str() == Some("https");
        let tls = if sealed { Some(tls::client(None).map_err(wrong)?) } else { None };
        Ok::<_, Failure>(Server { uri, tls })
    };
    let by = match &tell.way {
        TellWay::Webhook { url, key_file } => {
            let secret = key_file.as_ref().map(|file| {
                // It is one line that nobody else can read.
                sources::token(site, &key, file)?;
                let bytes = std::fs::read(site.folder.join(file));
                let bytes = bytes.map_err(|error| wrong(format!("{file}: {}", output::reason(&error))))?;
                Ok::<_, Failure>(Zeroizing::new(bytes.trim_ascii_end().to_vec()))
            });
            By::Webhook { way: way(tell, &wrong)?, server: server(url)?, key: secret.transpose()? }
        }
        TellWay::Mqtt { broker, topic } => {
            let client =
                format!("overwinter-{}-tell-{}", links::word(&site.fleet.name), links::word(&tell.name));
            By::Mqtt {
                way: way(tell, &wrong)?,
                link: links::link(site, &key, broker, client)?,
                topic: topic.clone(),
            }
        }
        TellWay::SignOfLife { url } => By::SignOfLife(server(url)?),
    };
    Ok(Told { name: tell.name.clone(), site: site.fleet.name.clone(), by })
}

fn way(tell: &Tell, wrong: &impl Fn(String) -> Failure) -> Result<Way, Failure> {
    let rule = |word: &String| Rule::named(word).ok_or_else(|| wrong(format!("no rule is called `{word}`")));
    Ok(Way {
        name: tell.name.clone(),
        at_least: [Urgency::Note, Urgency::ThisWeek, Urgency::ActNow][usize::from(tell.at_least.min(2))],
        rules: tell.rules.iter().map(rule).collect::<Result<_, _>>()?,
        quiet_hours: tell.quiet_hours.clone(),
        act_now_always: tell.act_now_always,
        if_unseen_for: tell.if_unseen_for.map(microseconds),
    })
}

impl Told {
    /// The rules by which it is told; none of a sign of life.
    pub(super) const fn way(&self) -> Option<&Way> {
        match &self.by {
            By::Webhook { way, .. } | By::Mqtt { way, .. } => Some(way),
            By::SignOfLife(_) => None,
        }
    }

    /// Tells, until it is aborted.
    pub(super) async fn go_on(self, watched: Arc<Watched>, door: Arc<Door>, pulse: Arc<Pulse>) {
        let name = format!("tell {}", self.name);
        let publisher = match &self.by {
            By::Mqtt { link, .. } => {
                let told = links::Told {
                    name: format!("{name} (broker)"),
                    source: self.name.clone(),
                    pulse: Arc::clone(&pulse),
                };
                Some(Publisher::connect(link, Arc::new(told)))
            }
            By::Webhook { .. } | By::SignOfLife(_) => None,
        };
        loop {
            let done = match &self.by {
                By::SignOfLife(server) => server.is_asked().await,
                By::Webhook { way, .. } | By::Mqtt { way, .. } => {
                    self.round(way, &watched, &door, publisher.as_ref()).await
                }
            };
            let text = match &done {
                Ok(()) => format!("{name}: well\n"),
                Err(why) => format!("{name}: {why}; it is tried again\n"),
            };
            if pulse.connection(&name, done) {
                output::complain(&text);
            }
            sleep(if matches!(self.by, By::SignOfLife(_)) { SIGN_OF_LIFE } else { LOOK }).await;
        }
    }

    /// Sends what is due, as far as there is room; the rest goes as one message.
    async fn round(
        &self,
        way: &Way,
        watched: &Arc<Watched>,
        door: &Arc<Door>,
        publisher: Option<&Publisher>,
    ) -> Result<(), String> {
        let (looked, name, zone_of) = (Arc::clone(watched), way.clone(), now());
        let read = tokio::task::spawn_blocking(move || look(&looked, &name, zone_of)).await;
        let look = read.map_err(|_gone| "the thread that reads has failed".to_owned())?;
        let look = look.map_err(|error| error.to_string())?;
        for (id, outcome) in look.settled {
            settle(door, vec![id], outcome);
        }
        let mut ready = look.ready;
        let alone = if ready.len() <= look.room { ready.len() } else { look.room.saturating_sub(1) };
        let rest = ready.split_off(alone);
        for one in ready {
            self.send(&[one], watched, door, publisher).await?;
        }
        if !rest.is_empty() && look.room > 0 {
            self.send(&rest, watched, door, publisher).await?;
        }
        Ok(())
    }

    async fn send(
        &self,
        messages: &[(Waiting, KeptAlarm)],
        watched: &Watched,
        door: &Arc<Door>,
        publisher: Option<&Publisher>,
    ) -> Result<(), String> {
        let Some((first, _)) = messages.first() else { return Ok(()) };
        let alarms: Vec<Value> =
            messages.iter().map(|(_, kept)| told(watched, &kept.alarm, "open")).collect();
        let id = format!("{}-{}", self.name, first.id);
        let sentences: Vec<String> = alarms.iter().map(sentence).collect();
        let body = json!({ "id": id, "site": self.site, "text": sentences.join("\n"), "alarms": alarms })
            .to_string();
        let about = messages.first().map(|(_, kept)| who(watched, kept.alarm.key.about)).unwrap_or_default();
        let sent = timeout(SLOWEST_ANSWER, self.hand_over(&id, &about, body, publisher)).await;
        let sent = sent.map_err(|_late| "no answer in time".to_owned()).and_then(|sent| sent);
        let ids: Vec<i64> = messages.iter().map(|(waiting, _)| waiting.id).collect();
        match &sent {
            Ok(()) => settle(door, ids, Outcome::Sent(now())),
            Err(why) => {
                for (waiting, _) in messages {
                    let at = now();
                    let outcome = Outcome::Failed { again: waiting.again(at), at, why: why.clone() };
                    settle(door, vec![waiting.id], outcome);
                }
            }
        }
        sent
    }

    async fn hand_over(
        &self,
        id: &str,
        about: &str,
        body: String,
        publisher: Option<&Publisher>,
    ) -> Result<(), String> {
        match (&self.by, publisher) {
            (By::Webhook { server, key, .. }, _) => {
                server.is_told(&self.name, id, body, key.as_ref().map(|key| key.as_slice())).await
            }
            (By::Mqtt { topic, .. }, Some(publisher)) => {
                let topic = topic.replace("{site}", &level(&self.site)).replace("{node}", &level(about));
                publisher.publish(vec![(topic, id.to_owned(), body)]).await
            }
            (By::Mqtt { .. } | By::SignOfLife(_), _) => Err("there is no connection".to_owned()),
        }
    }
}

/// A name as one level of a topic.
fn level(name: &str) -> String {
    name.replace(['/', '+', '#'], "-")
}

fn sentence(alarm: &Value) -> String {
    let text = |key: &str| alarm[key].as_str().unwrap_or_default();
    format!("{}: {}. What to do: {}.", text("what"), text("why"), text("remedy"))
}

/// If that is lost, a message is sent again under the same number.
fn settle(door: &Door, messages: Vec<i64>, outcome: Outcome) {
    let _sent_again = door.offer(Arrival::Told { messages, outcome }, None);
}

/// What is due.
struct Look {
    ready: Vec<(Waiting, KeptAlarm)>,
    settled: Vec<(i64, Outcome)>,
    room: usize,
}

fn look(watched: &Watched, way: &Way, now: Moment) -> Result<Look, StoreError> {
    let log = sqlite::reader(&watched.log)?;
    let given = telling::given_since(&log, &way.name, now - HOUR)?;
    let mut look = Look { ready: Vec::new(), settled: Vec::new(), room: room(given) };
    let minute = watched.zone.minute(now);
    for waiting in telling::due(&log, &way.name, now)? {
        let Some(kept) = alarms::alarm(&log, waiting.alarm)? else { continue };
        match way.now(&kept.alarm, kept.seen.is_some(), minute, now) {
            Now::Send => look.ready.push((waiting, kept)),
            Now::Wait(until) => look.settled.push((waiting.id, Outcome::Waits(until))),
            Now::Drop => look.settled.push((waiting.id, Outcome::Dropped(now))),
        }
    }
    Ok(look)
}

impl Server {
    async fn is_told(&self, name: &str, id: &str, body: String, key: Option<&[u8]>) -> Result<(), String> {
        let mut request = http::request(Method::POST, &self.uri)?
            .header(CONTENT_TYPE, "application/json")
            .header("Idempotency-Key", id);
        if let Some(key) = key {
            let signed = signed(key, name, &self.uri.to_string(), body.as_bytes(), now() / 1_000_000);
            request = request
                .header("Content-Digest", signed.content_digest)
                .header("Signature-Input", signed.signature_input)
                .header("Signature", signed.signature);
        }
        let request = request.body(Full::new(Bytes::from(body))).map_err(|error| error.to_string())?;
        said(http::ask(&self.uri, self.tls.as_ref(), request).await?)
    }

    async fn is_asked(&self) -> Result<(), String> {
        let request = http::request(Method::GET, &self.uri)?.body(Full::default());
        let asked = http::ask(&self.uri, self.tls.as_ref(), request.map_err(|error| error.to_string())?);
        said(timeout(SLOWEST_ANSWER, asked).await.map_err(|_late| "no answer in time".to_owned())??)
    }
}

fn said(status: StatusCode) -> Result<(), String> {
    if status.is_success() { Ok(()) } else { Err(format!("the server says {status}")) }
}
