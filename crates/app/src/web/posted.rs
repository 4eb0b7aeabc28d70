//! Messages of other networks that are posted.
//!
//! Statuses say what the sender is to do: 204 it is on the disk, 422 it is and will never be of use, 413 and 401 mend it, 503
//! send it again. 202 would mean that it may be lost, and is never said.

use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use bytes::Bytes;
use design::serve::Mapping;
use http_body_util::{BodyExt as _, LengthLimitError, Limited};
use logbook::clock::now;
use logbook::intake::token::Token;
use logbook::mapping::{Devices, Incoming, LARGEST_BYTES, Message};
use logbook::store::keeper::KeptFrame;
use logbook::store::writer::Arrival;
use serde_json::json;
use tokio::sync::oneshot;
use tokio::time::timeout;

use super::House;
use super::problem::problem;

/// A message must have come whole.
const SLOWEST_BODY: Duration = Duration::from_secs(30);
/// It must be on the disk, else the sender is asked to send it again.
const SLOWEST_COMMIT: Duration = Duration::from_secs(15);
/// When to send again \[s\].
const SEND_AGAIN: &str = "5";

/// A source whose messages are posted.
#[derive(Debug)]
pub(crate) struct Posted {
    /// Its key in the site file.
    pub(crate) name: String,
    /// Where they are posted to, and below.
    pub(crate) path: String,
    /// What the sender must know.
    pub(crate) token: Token,
    /// Where in them each thing stands.
    pub(crate) mapping: Mapping,
    /// Who may be named.
    pub(crate) devices: Arc<Devices>,
}

/// The source to which a path belongs.
pub(super) fn source<'a>(all: &'a [Posted], path: &str) -> Option<&'a Posted> {
    let below = |posted: &&Posted| {
        let rest = path.strip_prefix(posted.path.trim_end_matches('/'));
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
    };
    all.iter().filter(below).max_by_key(|posted| posted.path.len())
}

/// Keeps a message, and only then says so.
pub(super) async fn answer(State(house): State<Arc<House>>, request: Request) -> Response {
    let path = request.uri().path().to_owned();
    let Some(posted) = source(&house.posted, &path) else {
        return problem(StatusCode::NOT_FOUND, "nothing is here", &json!({}));
    };
    if request.method() != Method::POST {
        let fields = [(header::ALLOW, "POST")];
        return (fields, problem(StatusCode::METHOD_NOT_ALLOWED, "messages are posted", &json!({})))
            .into_response();
    }
    let (head, body) = request.into_parts();
    if !posted.token.admits(authorization(&head.headers)) {
        let fields = [(header::WWW_AUTHENTICATE, "Bearer")];
        let why = "the word of this source is wanted: `Authorization: Bearer WORD`";
        return (fields, problem(StatusCode::UNAUTHORIZED, why, &json!({}))).into_response();
    }
    match whole(body).await {
        Read::All(body) => take(&house, posted, &path, &body).await,
        Read::TooLong => {
            let message = Message::too_long(&posted.name, LARGEST_BYTES + 1, now());
            keep(&house, message).await
        }
        Read::Broken => problem(StatusCode::BAD_REQUEST, "the message did not come whole", &json!({})),
    }
}

fn authorization(headers: &HeaderMap) -> Option<&str> {
    headers.get(header::AUTHORIZATION).and_then(|field| field.to_str().ok())
}

/// What came of a body.
enum Read {
    All(Bytes),
    TooLong,
    Broken,
}

async fn whole(body: Body) -> Read {
    match timeout(SLOWEST_BODY, Limited::new(body, LARGEST_BYTES).collect()).await {
        Ok(Ok(body)) => Read::All(body.to_bytes()),
        Ok(Err(error)) if error.is::<LengthLimitError>() => Read::TooLong,
        Ok(Err(_)) | Err(_) => Read::Broken,
    }
}

async fn take(house: &House, posted: &Posted, path: &str, body: &[u8]) -> Response {
    let incoming = Incoming { topic: None, path: Some(path), body };
    let message = Message::of(&posted.name, &posted.mapping, incoming, &posted.devices, now());
    if let Some(message) = message {
        return keep(house, message).await;
    }
    house.pulse.skipped(&posted.name);
    StatusCode::NO_CONTENT.into_response()
}

async fn keep(house: &House, message: Message) -> Response {
    let (done, kept) = oneshot::channel();
    // Whoever asked may have gone.
    let told = Box::new(move |kept: Option<&KeptFrame>| drop(done.send(kept.cloned())));
    if house.door.offer(Arrival::Message(message), Some(told)).is_err() {
        return busy("too much waits to be kept");
    }
    match timeout(SLOWEST_COMMIT, kept).await {
        Ok(Ok(Some(kept))) => kept_as(&kept),
        Ok(Ok(None) | Err(_)) | Err(_) => busy("the log can't be written now"),
    }
}

fn kept_as(kept: &KeptFrame) -> Response {
    let status = match kept.verdict {
        "refused:size" => StatusCode::PAYLOAD_TOO_LARGE,
        refused if refused.starts_with("refused") => StatusCode::UNPROCESSABLE_ENTITY,
        _ => return StatusCode::NO_CONTENT.into_response(),
    };
    let reason = kept.reason.as_deref().unwrap_or("it can't be used");
    problem(status, reason, &json!({ "verdict": kept.verdict, "frame": kept.seq }))
}

fn busy(why: &str) -> Response {
    let fields = [(header::RETRY_AFTER, SEND_AGAIN)];
    (fields, problem(StatusCode::SERVICE_UNAVAILABLE, why, &json!({}))).into_response()
}
