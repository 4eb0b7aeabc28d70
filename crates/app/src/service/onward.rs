//! Readings that are handed on as they come: out of the log, in the order of keeping, at least once. How far it has come is
//! kept in the log itself, so that a restart goes on where it was.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use design::serve::OnwardTransport;
use http_body_util::Full;
use hyper::header::{AUTHORIZATION, CONTENT_TYPE};
use hyper::{Method, StatusCode, Uri};
use logbook::export::Labels;
use logbook::intake::door::Door;
use logbook::intake::mqtt::{Link, Publisher};
use logbook::onward::{Form, Sent};
use logbook::store::setup::Site;
use logbook::store::writer::Arrival;
use logbook::store::{StoreError, since, sqlite};
use report::problem::Failure;
use rustls::ClientConfig;
use tokio::time::{sleep, timeout};
use zeroize::Zeroizing;

use super::{http, links};
use crate::input::fleet;
use crate::output;
use crate::web::pulse::Pulse;
use crate::web::tls;

/// Frames that are read at once.
const STRETCH: u32 = 100;
/// An answer must have come by then.
const SLOWEST_ANSWER: Duration = Duration::from_secs(15);
/// After a failure the next try comes so much later, then twice as late each time ..
const FIRST_PAUSE: Duration = Duration::from_millis(500);
/// .. up to this.
const LONGEST_PAUSE: Duration = Duration::from_mins(5);

/// Where readings go, and how.
pub(super) struct Onward {
    name: String,
    site: String,
    form: Form,
    labels: Arc<Labels>,
    way: Way,
}

enum Way {
    Mqtt { link: Link, topic: String },
    Http { uri: Uri, token: Option<Zeroizing<String>>, tls: Option<Arc<ClientConfig>> },
}

/// Key in the log under which it stands how far it has come.
fn key(name: &str) -> String {
    format!("onward:{name}")
}

/// All that the site file names.
pub(super) fn all(site: &fleet::Site, setup: &Site) -> Result<Vec<Onward>, Failure> {
    let labels = Arc::new(labels(setup));
    site.fleet
        .onward
        .iter()
        .map(|onward| {
            let place = format!("onward.{}", onward.name);
            let wrong = |message: String| site.failure("onward", &place, message, "see docs/log.md");
            let form = match &onward.template {
                None => Form::Senml,
                Some(file) => {
                    let read = std::fs::read_to_string(site.folder.join(file));
                    let text = read.map_err(|error| wrong(format!("{file}: {}", output::reason(&error))))?;
                    Form::example(&text).map_err(|error| wrong(format!("{file}: {error}")))?
                }
            };
            let way = match &onward.transport {
                OnwardTransport::Mqtt { broker, topic } => {
                    let client = format!(
                        "overwinter-{}-onward-{}",
                        links::word(&site.fleet.name),
                        links::word(&onward.name)
                    );
                    Way::Mqtt { link: links::link(site, &place, broker, client)?, topic: topic.clone() }
                }
                OnwardTransport::Http { url, token_file } => {
                    let uri: Uri = url.parse().map_err(|error| wrong(format!("`{url}`: {error}")))?;
                    let token = match token_file {
                        Some(file) => Some(word(site, &place, file)?),
                        None => None,
                    };
                    let sealed = uri.scheme_str() == Some("https");
                    let tls = if sealed { Some(tls::client(None).map_err(wrong)?) } else { None };
                    Way::Http { uri, token, tls }
                }
            };
            let name = onward.name.clone();
            Ok(Onward { name, site: site.fleet.name.clone(), form, labels: Arc::clone(&labels), way })
        })
        .collect()
}

/// The word that a server wants to see.
fn word(site: &fleet::Site, place: &str, file: &str) -> Result<Zeroizing<String>, Failure> {
    let path = site.folder.join(file);
    super::sources::token(site, place, file)?;
    let text = std::fs::read_to_string(&path).map(Zeroizing::new);
    let text = text.map_err(|error| {
        site.failure(
            "token",
            place,
            format!("{file}: {}", output::reason(&error)),
            "give a file that you can read",
        )
    })?;
    Ok(Zeroizing::new(text.trim_end_matches('\n').to_owned()))
}

fn labels(setup: &Site) -> Labels {
    let mut labels = Labels::default();
    for row in &setup.registry {
        labels.names.insert(row.dev_eui.to_string(), row.name.clone());
    }
    for (kind, _) in &setup.kinds {
        for message in &kind.messages {
            for column in &message.columns {
                let key = (kind.name.clone(), message.name.clone(), column.name.to_string());
                labels.units.insert(key, column.unit.to_string());
            }
        }
    }
    labels
}

impl Onward {
    /// Hands on until it is aborted.
    pub(super) async fn hand_on(self, log: PathBuf, door: Arc<Door>, pulse: Arc<Pulse>) {
        let told = links::Told {
            name: format!("onward {}", self.name),
            source: String::new(),
            pulse: Arc::clone(&pulse),
        };
        let publisher = match &self.way {
            Way::Mqtt { link, .. } => Some(Publisher::connect(link, Arc::new(told))),
            Way::Http { .. } => None,
        };
        let mut newest = pulse.newest();
        let mut pause = FIRST_PAUSE;
        let mut last = None;
        loop {
            match self.stretch(&log, &door, &mut last, publisher.as_ref()).await {
                Ok(0) => {
                    pause = FIRST_PAUSE;
                    if newest.changed().await.is_err() {
                        return;
                    }
                }
                Ok(count) => {
                    pause = FIRST_PAUSE;
                    pulse.connection(&format!("onward {}", self.name), Ok(()));
                    pulse.handed_on(&self.name, count);
                }
                Err(why) => {
                    let name = format!("onward {}", self.name);
                    if pulse.connection(&name, Err(why.clone())) {
                        output::complain(&format!("{name}: {why}; it is tried again and again\n"));
                    }
                    sleep(pause).await;
                    pause = (2 * pause).min(LONGEST_PAUSE);
                }
            }
        }
    }

    /// Hands on what comes next; how many frames that were, 0 if there is nothing new.
    async fn stretch(
        &self,
        log: &std::path::Path,
        door: &Door,
        last: &mut Option<i64>,
        publisher: Option<&Publisher>,
    ) -> Result<u64, String> {
        let (path, name, known) = (log.to_owned(), self.name.clone(), *last);
        let read = tokio::task::spawn_blocking(move || read(&path, &name, known)).await;
        let read = read.map_err(|error| error.to_string())?;
        let (begun, rows) = read.map_err(|error| format!("the log can't be read: {error}"))?;
        if last.is_none() {
            // Where it begins is kept too, so that nothing is left out if it stops before the first reading.
            self.note(door, begun);
        }
        *last = Some(begun);
        let Some(end) = rows.last().map(|row| row.seq) else { return Ok(0) };
        let sent: Vec<Sent> = rows.iter().flat_map(|row| self.form.of(row, &self.labels)).collect();
        match (&self.way, publisher) {
            (Way::Mqtt { topic, .. }, Some(publisher)) => {
                let topic = |sent: &Sent| {
                    topic.replace("{site}", &level(&self.site)).replace("{node}", &level(&sent.node))
                };
                let messages = sent.iter().map(|sent| (topic(sent), sent.id.clone(), sent.body.clone()));
                publisher.publish(messages.collect()).await?;
            }
            (Way::Http { uri, token, tls }, _) => {
                for one in &sent {
                    post(uri, token.as_ref().map(|token| token.as_str()), tls.as_ref(), one).await?;
                }
            }
            (Way::Mqtt { .. }, None) => return Err("there is no connection".to_owned()),
        }
        self.note(door, end);
        *last = Some(end);
        Ok(rows.len() as u64)
    }

    /// Remembers how far it has come; if that is lost, readings are sent again.
    fn note(&self, door: &Door, seq: i64) {
        let _sent_again = door.offer(Arrival::Noted { key: key(&self.name), value: seq.to_string() }, None);
    }
}

/// A name as one level of a topic.
fn level(name: &str) -> String {
    name.replace(['/', '+', '#'], "-")
}

fn read(log: &std::path::Path, name: &str, last: Option<i64>) -> Result<(i64, Vec<since::Row>), StoreError> {
    let log = sqlite::reader(log)?;
    let last = match last {
        Some(last) => last,
        None => match since::noted(&log, &key(name))? {
            Some(text) => text
                .parse()
                .map_err(|error| StoreError::Damaged { why: format!("{}: {error}", key(name)) })?,
            None => since::newest(&log)?,
        },
    };
    Ok((last, since::frames(&log, last, STRETCH)?))
}

/// Posts one reading. What the server will never take is left out, and said; all else is tried again.
async fn post(
    uri: &Uri,
    token: Option<&str>,
    tls: Option<&Arc<ClientConfig>>,
    sent: &Sent,
) -> Result<(), String> {
    let status = timeout(SLOWEST_ANSWER, exchange(uri, token, tls, sent)).await;
    let status = status.map_err(|error| format!("no answer: {error}"))??;
    let again = [
        StatusCode::REQUEST_TIMEOUT,
        StatusCode::TOO_MANY_REQUESTS,
        StatusCode::UNAUTHORIZED,
        StatusCode::FORBIDDEN,
    ];
    match status {
        status if status.is_success() => Ok(()),
        status if status.is_client_error() && !again.contains(&status) => {
            output::complain(&format!(
                "{uri} does not take reading {} ({status}): it is left out\n",
                sent.id
            ));
            Ok(())
        }
        status => Err(format!("the server says {status}")),
    }
}

async fn exchange(
    uri: &Uri,
    token: Option<&str>,
    tls: Option<&Arc<ClientConfig>>,
    sent: &Sent,
) -> Result<StatusCode, String> {
    let mut request = http::request(Method::POST, uri)?
        .header(CONTENT_TYPE, sent.media_type)
        .header("Idempotency-Key", &sent.id);
    if let Some(token) = token {
        request = request.header(AUTHORIZATION, format!("Bearer {token}"));
    }
    let request = request.body(Full::new(Bytes::from(sent.body.clone())));
    http::ask(uri, tls, request.map_err(|error| error.to_string())?).await
}
