//! The ways out, to a broker or a server: for readings that are handed on, and for what nodes of other networks are told.

use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use design::serve::OnwardTransport;
use http_body_util::Full;
use hyper::header::{AUTHORIZATION, CONTENT_TYPE};
use hyper::{Method, StatusCode, Uri};
use logbook::intake::mqtt::{Link, Posting, Publisher};
use logbook::onward::Sent;
use report::problem::Failure;
use rustls::ClientConfig;
use tokio::time::timeout;
use zeroize::Zeroizing;

use super::{http, links};
use crate::input::fleet;
use crate::output;
use crate::web::pulse::Pulse;
use crate::web::tls;

/// An answer must have come by then.
const SLOWEST_ANSWER: Duration = Duration::from_secs(15);
/// After a failure the next try comes so much later, then twice as late each time ..
pub(super) const FIRST_PAUSE: Duration = Duration::from_millis(500);
/// .. up to this.
pub(super) const LONGEST_PAUSE: Duration = Duration::from_mins(5);

/// Where things go.
pub(super) enum Way {
    Mqtt { site: String, link: Link, topic: String },
    Http { uri: Uri, token: Option<Zeroizing<String>>, tls: Option<Arc<ClientConfig>> },
}

/// A way that is open.
pub(super) struct Road<'a> {
    way: &'a Way,
    /// What travels on it, for a person.
    what: &'static str,
    publisher: Option<Publisher>,
}

impl Way {
    /// As the site file names it at a place; a broker knows us by `client`.
    pub(super) fn of(
        site: &fleet::Site,
        place: &str,
        transport: &OnwardTransport,
        client: &str,
    ) -> Result<Self, Failure> {
        let wrong = |message: String| site.failure("onward", place, message, "see docs/log.md");
        match transport {
            OnwardTransport::Mqtt { broker, topic } => {
                let client = format!("overwinter-{}-{}", links::word(&site.fleet.name), links::word(client));
                let link = links::link(site, place, broker, client)?;
                Ok(Self::Mqtt { site: level(&site.fleet.name), link, topic: topic.clone() })
            }
            OnwardTransport::Http { url, token_file, ca } => {
                let uri: Uri = url.parse().map_err(|error| wrong(format!("`{url}`: {error}")))?;
                let token = match token_file {
                    Some(file) => Some(word(site, place, file)?),
                    None => None,
                };
                let sealed = uri.scheme_str() == Some("https");
                let ca = ca.as_ref().map(|file| site.folder.join(file));
                let tls = if sealed { Some(tls::client(ca.as_deref()).map_err(wrong)?) } else { None };
                Ok(Self::Http { uri, token, tls })
            }
        }
    }

    /// Connects, where it needs a connection that lasts; `name` is what a person calls it.
    pub(super) fn open(&self, name: &str, what: &'static str, pulse: &Arc<Pulse>) -> Road<'_> {
        let told = links::Told { name: name.to_owned(), source: String::new(), pulse: Arc::clone(pulse) };
        let publisher = match self {
            Self::Mqtt { link, .. } => Some(Publisher::connect(link, Arc::new(told))),
            Self::Http { .. } => None,
        };
        Road { way: self, what, publisher }
    }
}

impl Road<'_> {
    /// Sends all of them, in order; an error if any may not have arrived. Whether all were taken: what a server will never take
    /// is left out, and said.
    pub(super) async fn send(&self, all: &[Sent]) -> Result<bool, String> {
        match (self.way, &self.publisher) {
            (Way::Mqtt { site, topic, .. }, Some(publisher)) => {
                let posting = |sent: &Sent| Posting {
                    topic: topic
                        .replace("{site}", site)
                        .replace("{node}", &level(&sent.node))
                        .replace("{dev_eui}", &sent.dev_eui),
                    id: sent.id.clone(),
                    body: sent.body.clone(),
                    media_type: sent.media_type,
                };
                publisher.publish(all.iter().map(posting).collect()).await.map(|()| true)
            }
            (Way::Http { uri, token, tls }, _) => {
                let mut taken = true;
                for one in all {
                    taken &=
                        post(uri, token.as_ref().map(|token| token.as_str()), tls.as_ref(), (self.what, one))
                            .await?;
                }
                Ok(taken)
            }
            (Way::Mqtt { .. }, None) => Err("there is no connection".to_owned()),
        }
    }
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

/// A name as one level of a topic.
pub(super) fn level(name: &str) -> String {
    name.replace(['/', '+', '#'], "-")
}

/// Posts one thing; whether it was taken. What the server will never take is left out, and said; all else is tried again.
async fn post(
    uri: &Uri,
    token: Option<&str>,
    tls: Option<&Arc<ClientConfig>>,
    (what, sent): (&str, &Sent),
) -> Result<bool, String> {
    let status = timeout(SLOWEST_ANSWER, exchange(uri, token, tls, sent)).await;
    let status = status.map_err(|error| format!("no answer: {error}"))??;
    let again = [
        StatusCode::REQUEST_TIMEOUT,
        StatusCode::TOO_MANY_REQUESTS,
        StatusCode::UNAUTHORIZED,
        StatusCode::FORBIDDEN,
    ];
    match status {
        status if status.is_success() => Ok(true),
        status if status.is_client_error() && !again.contains(&status) => {
            output::complain(&format!("{uri} does not take {what} {} ({status}): it is left out\n", sent.id));
            Ok(false)
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
