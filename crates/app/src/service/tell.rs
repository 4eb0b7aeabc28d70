//! Those who are told of alarms, as the site file names them.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use bytes::Bytes;
use design::watch::{Tell, TellWay};
use http_body_util::Full;
use hyper::header::CONTENT_TYPE;
use hyper::{Method, StatusCode, Uri};
use logbook::clock::now;
use logbook::intake::door::Door;
use logbook::intake::mqtt::{Link, Posting, Publisher};
use logbook::keys::Passphrase;
use logbook::received::Moment;
use logbook::store::alarms::{KeptAlarm, Seen};
use logbook::store::telling::{self, Outcome};
use logbook::store::writer::Arrival;
use logbook::store::{StoreError, alarms, since, sqlite};
use logbook::watch::signature::signed;
use logbook::watch::tell::{self, Now, Waiting, Way, room};
use logbook::watch::{Rule, Urgency};
use report::problem::{Failure, Problem};
use rustls::ClientConfig;
use serde_json::{Value, json};
use tokio::task::JoinHandle;
use tokio::time::{sleep, timeout};
use zeroize::Zeroizing;

use super::mail::Post;
use super::modem::{self, Modem, Reply};
use super::watcher::{Watched, microseconds, told, who};
use super::way::level;
use super::{http, links, sources};
use crate::input::fleet;
use crate::output;
use crate::web::pulse::Pulse;
use crate::web::tls;

/// The queue is looked at so often.
const LOOK: Duration = Duration::from_secs(5);
/// An answer must have come by then.
const SLOWEST_ANSWER: Duration = Duration::from_secs(15);
/// A modem's answer to all of its commands.
const SLOWEST_MODEM: Duration = Duration::from_mins(5);
/// Replies are read so often, and whether the month is to be told.
const BETWEEN_REPLIES: Duration = Duration::from_mins(1);
const BETWEEN_MONTHS: Duration = Duration::from_hours(1);
/// A sign of life is given so often.
const SIGN_OF_LIFE: Duration = Duration::from_mins(5);
/// Messages of a way are counted over this time.
const HOUR: Moment = 3_600_000_000;

/// Somebody who is told.
pub(super) struct Told {
    name: String,
    site: String,
    by: By,
    /// The rules by which it is told; none of a sign of life.
    way: Option<Way>,
    /// Each month a message says that all runs.
    monthly: bool,
}

enum By {
    Webhook { server: Server, key: Option<Zeroizing<Vec<u8>>> },
    Mail(Arc<Post>),
    Modem(Arc<Phone>),
    Mqtt { link: Link, topic: String },
    SignOfLife(Server),
}

/// A message as it goes, whichever way.
struct Letter {
    /// The same at each try.
    id: String,
    /// Whom it is about.
    about: String,
    /// In a line.
    subject: String,
    text: String,
    alarms: Vec<Value>,
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
            By::Webhook { server: server(url)?, key: secret.transpose()? }
        }
        TellWay::Mqtt { broker, topic } => {
            let client =
                format!("overwinter-{}-tell-{}", links::word(&site.fleet.name), links::word(&tell.name));
            By::Mqtt { link: links::link(site, &key, broker, client)?, topic: topic.clone() }
        }
        TellWay::Mail(mail) => By::Mail(Arc::new(Post::of(site, &key, mail)?)),
        TellWay::Modem { port, to, pin_file } => {
            let pin = pin_file.as_ref().map(|file| Phone::pin(site, &key, file)).transpose()?;
            By::Modem(Arc::new(Phone::new(port.clone(), to.clone(), pin)))
        }
        TellWay::SignOfLife { url } => By::SignOfLife(server(url)?),
    };
    let way = if matches!(by, By::SignOfLife(_)) { None } else { Some(way(tell, &wrong)?) };
    Ok(Told { name: tell.name.clone(), site: site.fleet.name.clone(), by, way, monthly: tell.monthly })
}

/// Sends a trial to somebody whom the site file names; what came back.
pub(crate) fn try_tell(site: &fleet::Site, name: &str) -> Result<String, Failure> {
    let Some(tell) = site.fleet.tells.iter().find(|tell| tell.name == name) else {
        let names: Vec<&str> = site.fleet.tells.iter().map(|tell| tell.name.as_str()).collect();
        let message = format!("nobody who is told is called `{name}`");
        let help = if names.is_empty() {
            "write a [tell.NAME] into the site file".to_owned()
        } else {
            format!("the site file names {}", names.join(", "))
        };
        return Err(Failure::of(Problem::of_file("tell", "--try-tell", message, &help)));
    };
    let told = of(site, tell)?;
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build();
    let runtime = runtime.map_err(|error| super::no_threads(&error))?;
    let said = runtime.block_on(told.trial());
    said.map(|said| format!("{name}: {said}\n")).map_err(|why| {
        let help = "nothing was told; see \"Alarms\" in docs/log.md";
        site.failure("tell", &format!("tell.{name}"), format!("the trial failed: {why}"), help)
    })
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
        days: tell.days,
    })
}

impl Told {
    /// The rules by which it is told; none of a sign of life.
    pub(super) const fn way(&self) -> Option<&Way> {
        self.way.as_ref()
    }

    /// What it publishes by, if it does.
    fn publisher(&self, pulse: &Arc<Pulse>) -> Option<Publisher> {
        let By::Mqtt { link, .. } = &self.by else { return None };
        let told = links::Told {
            name: format!("tell {} (broker)", self.name),
            source: self.name.clone(),
            pulse: Arc::clone(pulse),
        };
        Some(Publisher::connect(link, Arc::new(told)))
    }

    /// Sends a letter that says that it is a trial; what came back.
    async fn trial(&self) -> Result<String, String> {
        let publisher = self.publisher(&Arc::new(Pulse::new(0)));
        if let By::SignOfLife(server) = &self.by {
            return server.is_asked().await.map(|status| format!("the server says {status}"));
        }
        let text = format!("This is a trial of {}: alarms of {} come this way.", self.name, self.site);
        let letter = Letter {
            id: format!("{}-trial-{}", self.name, now() / 1_000_000),
            about: "trial".to_owned(),
            subject: format!("{}: a trial", self.site),
            text,
            alarms: Vec::new(),
        };
        self.hand_over(&letter, publisher.as_ref()).await
    }

    /// Tells, until it is aborted.
    pub(super) async fn go_on(self, watched: Arc<Watched>, door: Arc<Door>, pulse: Arc<Pulse>) {
        let name = format!("tell {}", self.name);
        let publisher = self.publisher(&pulse);
        let mut beside = Beside::default();
        loop {
            let done = match (&self.by, &self.way) {
                (By::SignOfLife(server), _) => server.is_asked().await.map(|_status| ()),
                (_, Some(way)) => {
                    let told = self.round(way, &watched, &door, publisher.as_ref()).await;
                    match told {
                        Ok(()) => self.beside(&mut beside, &watched, &door, publisher.as_ref()).await,
                        failed => failed,
                    }
                }
                (_, None) => Ok(()),
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

    /// What is done beside telling of alarms: the word of each month, and replies that are read.
    async fn beside(
        &self,
        beside: &mut Beside,
        watched: &Arc<Watched>,
        door: &Arc<Door>,
        publisher: Option<&Publisher>,
    ) -> Result<(), String> {
        if let By::Modem(phone) = &self.by
            && beside.replies.is_none_or(|last| last.elapsed() >= BETWEEN_REPLIES)
        {
            beside.replies = Some(Instant::now());
            for reply in phone.replies().await? {
                let seen = Seen { at: now(), by: reply.from, word: "by text message".to_owned() };
                let _said_again = door.offer(Arrival::Seen { alarm: reply.seen, seen }, None);
            }
        }
        if self.monthly && beside.month.is_none_or(|last| last.elapsed() >= BETWEEN_MONTHS) {
            beside.month = Some(Instant::now());
            self.month(watched, door, publisher).await?;
        }
        Ok(())
    }

    /// Says once a month that all runs; the month in which it begins is noted without a word.
    async fn month(
        &self,
        watched: &Arc<Watched>,
        door: &Arc<Door>,
        publisher: Option<&Publisher>,
    ) -> Result<(), String> {
        let key = format!("told-month:{}", self.name);
        let (looked, noted) = (Arc::clone(watched), key.clone());
        let read = tokio::task::spawn_blocking(move || {
            let log = sqlite::reader(&looked.log)?;
            Ok::<_, StoreError>((since::noted(&log, &noted)?, alarms::open_alarms(&log)?.len()))
        });
        let read = read.await.map_err(|_gone| "the thread that reads has failed".to_owned())?;
        let (told, open) = read.map_err(|error| error.to_string())?;
        let month = match told {
            None => tell::month_of(&watched.zone, now()).map(|(month, _)| month),
            Some(told) => {
                let Some(month) = tell::month_to_tell(&told, &watched.zone, now()) else { return Ok(()) };
                let text = format!(
                    "{} runs, and {} open. This comes on the first of each month; if it does not, see whether the computer runs.",
                    self.site,
                    match open {
                        0 => "no alarm is".to_owned(),
                        1 => "one alarm is".to_owned(),
                        count => format!("{count} alarms are"),
                    }
                );
                let letter = Letter {
                    id: format!("{}-month-{month}", self.name),
                    about: "all".to_owned(),
                    subject: format!("{}: all runs", self.site),
                    text,
                    alarms: Vec::new(),
                };
                self.hand_over(&letter, publisher).await?;
                Some(month)
            }
        };
        if let Some(value) = month {
            // If that is lost it is said again, under the same number.
            let _said_again = door.offer(Arrival::Noted { key, value }, None);
        }
        Ok(())
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
        let (always, mut ready): (Vec<_>, Vec<_>) =
            look.ready.into_iter().partition(|(_, kept)| Way::goes_always(&kept.alarm));
        for one in always {
            self.send(&[one], watched, door, publisher).await?;
        }
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
        let Some((first, of_first)) = messages.first() else { return Ok(()) };
        let alarms: Vec<Value> =
            messages.iter().map(|(_, kept)| told(watched, &kept.alarm, "open")).collect();
        let sentences: Vec<String> = alarms.iter().map(sentence).collect();
        let subject = match alarms.as_slice() {
            [one] => one["what"].as_str().unwrap_or_default().to_owned(),
            all => format!("{} alarms", all.len()),
        };
        let letter = Letter {
            id: format!("{}-{}", self.name, first.id),
            about: who(watched, of_first.alarm.key.about),
            subject: format!("{}: {subject}", self.site),
            text: sentences.join("\n"),
            alarms,
        };
        let sent = self.hand_over(&letter, publisher).await;
        let ids: Vec<i64> = messages.iter().map(|(waiting, _)| waiting.id).collect();
        match &sent {
            Ok(_) => settle(door, ids, Outcome::Sent(now())),
            Err(why) => {
                for (waiting, _) in messages {
                    let at = now();
                    let outcome = Outcome::Failed { again: waiting.again(at), at, why: why.clone() };
                    settle(door, vec![waiting.id], outcome);
                }
            }
        }
        sent.map(|_said| ())
    }

    /// Hands a letter over; what came back.
    async fn hand_over(&self, letter: &Letter, publisher: Option<&Publisher>) -> Result<String, String> {
        let body = || {
            json!({ "id": letter.id, "site": self.site, "text": letter.text, "alarms": letter.alarms })
                .to_string()
        };
        let handed = async {
            match (&self.by, publisher) {
                (By::Webhook { server, key, .. }, _) => {
                    let key = key.as_ref().map(|key| key.as_slice());
                    let status = server.is_told(&self.name, &letter.id, body(), key).await?;
                    Ok(format!("the server says {status}"))
                }
                (By::Mail(post), _) => {
                    let post = Arc::clone(post);
                    let (id, subject, text) =
                        (letter.id.clone(), letter.subject.clone(), letter.text.clone());
                    let said = in_a_thread(move || post.send(&id, &subject, text)).await?;
                    Ok(format!("the server has taken it: {said}"))
                }
                (By::Modem(phone), _) => phone.send(short(letter)).await,
                (By::Mqtt { topic, .. }, Some(publisher)) => {
                    let topic =
                        topic.replace("{site}", &level(&self.site)).replace("{node}", &level(&letter.about));
                    let (id, body, media_type) = (letter.id.clone(), body(), "application/json");
                    publisher.publish(vec![Posting { topic, id, body, media_type }]).await?;
                    Ok("the broker has taken it".to_owned())
                }
                (By::Mqtt { .. } | By::SignOfLife(_), _) => Err("there is no connection".to_owned()),
            }
        };
        // A modem has its own times, for each of its commands.
        let slowest = if matches!(self.by, By::Modem(_)) { SLOWEST_MODEM } else { SLOWEST_ANSWER };
        timeout(slowest, handed).await.map_err(|_late| "no answer in time".to_owned()).and_then(|said| said)
    }
}

/// A letter as a text message says it.
fn short(letter: &Letter) -> String {
    match letter.alarms.as_slice() {
        [] => letter.text.clone(),
        [one] => {
            let text = |key: &str| one[key].as_str().unwrap_or_default();
            format!("{}. Answer: seen {}. {}", letter.subject, one["id"], text("remedy"))
        }
        all => {
            let each =
                all.iter().map(|one| format!("{} {}", one["id"], one["what"].as_str().unwrap_or_default()));
            format!("{}: {}", letter.subject, each.collect::<Vec<_>>().join("; "))
        }
    }
}

/// When what is done beside telling was done last.
#[derive(Default)]
struct Beside {
    replies: Option<Instant>,
    month: Option<Instant>,
}

/// A modem and the numbers that it sends to.
struct Phone {
    port: String,
    to: Vec<String>,
    pin: Option<Zeroizing<String>>,
    pin_was_given: AtomicBool,
}

impl Phone {
    const fn new(port: String, to: Vec<String>, pin: Option<Zeroizing<String>>) -> Self {
        Self { port, to, pin, pin_was_given: AtomicBool::new(false) }
    }

    fn pin(site: &fleet::Site, key: &str, file: &str) -> Result<Zeroizing<String>, Failure> {
        // It is one line that nobody else can read.
        let read = Passphrase::from_file(&site.folder.join(file));
        let wrong = |why: String| {
            site.failure(
                "tell",
                key,
                format!("{file}: {why}"),
                "write the PIN into it, 4 to 8 digits, and `chmod 600` it",
            )
        };
        let read = read.map_err(|error| wrong(error.to_string().replace("passphrase", "PIN")))?;
        let _one_line = read;
        let text = std::fs::read_to_string(site.folder.join(file));
        let text = Zeroizing::new(text.map_err(|error| wrong(output::reason(&error)))?);
        let pin = text.trim_end();
        let is_pin = (4..=8).contains(&pin.len()) && pin.chars().all(|digit| digit.is_ascii_digit());
        if is_pin { Ok(Zeroizing::new(pin.to_owned())) } else { Err(wrong("it holds no PIN".to_owned())) }
    }

    /// The PIN, once: three wrong ones close the card.
    fn pin_once(&self) -> Result<String, String> {
        if self.pin_was_given.swap(true, Ordering::Relaxed) {
            return Err(
                "the card asks for its PIN again; it is not given twice, start anew once it is right"
                    .to_owned(),
            );
        }
        let pin = self.pin.as_ref().ok_or("the card asks for its PIN: write a `pin_file`")?;
        Ok(pin.to_string())
    }

    fn wake(&self) -> Result<Modem<std::fs::File>, String> {
        Modem::wake(modem::line(&self.port)?, || self.pin_once())
    }

    async fn send(self: &Arc<Self>, text: String) -> Result<String, String> {
        let phone = Arc::clone(self);
        in_a_thread(move || {
            let mut modem = phone.wake()?;
            let said: Vec<String> =
                phone.to.iter().map(|to| modem.send(to, &text)).collect::<Result<_, _>>()?;
            Ok(format!("the modem says {}", said.join("; ")))
        })
        .await
    }

    /// Replies of those who are told; of others nothing is taken.
    async fn replies(self: &Arc<Self>) -> Result<Vec<Reply>, String> {
        let phone = Arc::clone(self);
        in_a_thread(move || {
            let replies = phone.wake()?.replies()?;
            Ok(replies.into_iter().filter(|reply| phone.to.contains(&reply.from)).collect())
        })
        .await
    }
}

async fn in_a_thread<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, String> + Send + 'static,
) -> Result<T, String> {
    tokio::task::spawn_blocking(work).await.map_err(|_gone| "the thread that sends has failed".to_owned())?
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
    for waiting in telling::due(&log, &way.name, now)? {
        let Some(kept) = alarms::alarm(&log, waiting.alarm)? else { continue };
        match way.now(&kept.alarm, kept.seen.is_some(), &watched.zone, now) {
            Now::Send => look.ready.push((waiting, kept)),
            Now::Wait(until) => look.settled.push((waiting.id, Outcome::Waits(until))),
            Now::Drop => look.settled.push((waiting.id, Outcome::Dropped(now))),
        }
    }
    Ok(look)
}

impl Server {
    async fn is_told(
        &self,
        name: &str,
        id: &str,
        body: String,
        key: Option<&[u8]>,
    ) -> Result<StatusCode, String> {
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

    async fn is_asked(&self) -> Result<StatusCode, String> {
        let request = http::request(Method::GET, &self.uri)?.body(Full::default());
        let asked = http::ask(&self.uri, self.tls.as_ref(), request.map_err(|error| error.to_string())?);
        said(timeout(SLOWEST_ANSWER, asked).await.map_err(|_late| "no answer in time".to_owned())??)
    }
}

fn said(status: StatusCode) -> Result<StatusCode, String> {
    if status.is_success() { Ok(status) } else { Err(format!("the server says {status}")) }
}
