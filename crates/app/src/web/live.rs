//! What is kept, as it comes: server-sent events.
//!
//! Nobody's pace is that of the log: each listener is woken by the number of the newest frame and reads from the store what
//! is new to him, so that going on after a break and going on at all are the same. A frame ends with its own number as `id`,
//! and its readings come before it: whoever breaks off in between gets all of it again.
//!
//! # References
//! HTML Living Standard, section 9.2, server-sent events.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::Body;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use bytes::Bytes;
use hyper::body::Frame;
use logbook::clock::now;
use logbook::network::margin_db;
use logbook::received::Moment;
use logbook::store::StoreError;
use logbook::store::since::{self, Row};
use logbook::store::sqlite;
use rusqlite::Connection;
use serde_json::{Map, Value, json};
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::{broadcast, mpsc, watch};
use tokio::time::{sleep, timeout};
use wire::identity::DevEui;

use super::House;
use super::guard;
use super::pulse::{News, stopped};
use super::shown::in_utc;

/// Frames that are made up for; whoever has missed more reads the page anew.
const MOST_MISSED: i64 = 1000;
/// Frames that are read at once.
const STRETCH: u32 = 100;
/// A sign of life when nothing happens.
const SIGN_OF_LIFE: Duration = Duration::from_secs(15);
/// Pieces that wait for a listener.
const AHEAD: usize = 4;
/// The log is read again after a failure.
const NEXT_TRY: Duration = Duration::from_secs(1);

/// Somebody who listens.
struct Listener {
    house: Arc<House>,
    /// By which he was let in, and must be again before each piece.
    fields: HeaderMap,
    sees_places: bool,
}

impl Listener {
    /// Whether what he may see is still what he was let in with: people are removed while they listen.
    async fn may_still(&self) -> bool {
        let asker = guard::asker(&self.house, &self.fields).await;
        asker.is_ok_and(|asker| asker.sees_places() == self.sees_places)
    }
}

/// Begins to tell.
///
/// Whoever does not see places is told positions as pages show them.
pub(super) fn answer(
    house: Arc<House>,
    sees_places: bool,
    asked: &BTreeMap<String, String>,
    headers: &HeaderMap,
) -> Response {
    let last = headers.get("last-event-id").map(|id| id.to_str().unwrap_or_default().to_owned());
    // A browser that comes again names what it saw last; the address still says where it began.
    let from = match last.as_ref().or_else(|| asked.get("from")).map(|text| text.parse::<i64>()) {
        None => None,
        Some(Ok(from)) if from >= 0 => Some(from),
        Some(_) => {
            return (StatusCode::BAD_REQUEST, "`from` and Last-Event-ID are the number of a frame\n")
                .into_response();
        }
    };
    let (pieces, told) = mpsc::channel(AHEAD);
    let listener = Listener { house, fields: headers.clone(), sees_places };
    tokio::spawn(tell(listener, from, pieces));
    let fields = [(header::CONTENT_TYPE, "text/event-stream"), (header::CACHE_CONTROL, "no-store")];
    (fields, Body::new(Told(told))).into_response()
}

/// The body of an answer that goes on: whatever pieces come.
struct Told(mpsc::Receiver<Bytes>);

impl hyper::body::Body for Told {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        self.0.poll_recv(context).map(|piece| piece.map(|piece| Ok(Frame::data(piece))))
    }
}

/// Tells until the listener has gone, or may not listen any longer, or the program stops.
async fn tell(listener: Listener, from: Option<i64>, pieces: mpsc::Sender<Bytes>) {
    let mut stopping = listener.house.pulse.stopping();
    tokio::select! {
        () = stopped(&mut stopping) => {}
        () = pieces.closed() => {}
        () = follow(&listener, from, &pieces) => {}
    }
}

async fn follow(listener: &Listener, from: Option<i64>, pieces: &mpsc::Sender<Bytes>) {
    let pulse = &listener.house.pulse;
    let (mut newest, mut news) = (pulse.newest(), pulse.news());
    let mut last = from.unwrap_or_else(|| *newest.borrow_and_update());
    // The head of the answer leaves with the first piece.
    let mut text = ": the log\n\n".to_owned();
    loop {
        if pieces.send(text.into()).await.is_err() {
            return;
        }
        text = tokio::select! {
            beside = beside(&mut news, last) => beside,
            frames = frames(listener, &mut last, &mut newest) => frames,
        };
        if !listener.may_still().await {
            return;
        }
    }
}

/// What comes next of frames, or a sign of life.
async fn frames(listener: &Listener, last: &mut i64, newest: &mut watch::Receiver<i64>) -> String {
    loop {
        match next(listener, *last, newest).await {
            Ok(Some((seq, text))) => {
                *last = seq;
                return text;
            }
            Ok(None) => return ": nothing new\n\n".to_owned(),
            // The log can't be read now: it is not the listener's fault, and he waits.
            Err(_) => sleep(NEXT_TRY).await,
        }
    }
}

/// What happens beside frames; it has no number, so that a listener who breaks off reads the page anew.
async fn beside(news: &mut broadcast::Receiver<News>, last: i64) -> String {
    match news.recv().await {
        Ok(news) => event(news.event, None, &news.data),
        Err(RecvError::Lagged(_)) => event("reload", Some(last), &json!({ "id": last })),
        // It ends with the program.
        Err(RecvError::Closed) => std::future::pending().await,
    }
}

/// What comes after a frame, as soon as there is something; `None` if nothing came for a while.
async fn next(
    listener: &Listener,
    last: i64,
    newest: &mut watch::Receiver<i64>,
) -> Result<Option<(i64, String)>, StoreError> {
    if *newest.borrow_and_update() <= last && timeout(SIGN_OF_LIFE, newest.changed()).await.is_err() {
        return Ok(None);
    }
    let (house, sees_places) = (Arc::clone(&listener.house), listener.sees_places);
    let read = tokio::task::spawn_blocking(move || {
        let log = sqlite::reader(&house.log)?;
        stretch(&log, last, &house, sees_places)
    });
    read.await.map_err(|_gone| StoreError::Lost { why: "the thread that reads has failed".to_owned() })?
}

fn stretch(
    log: &Connection,
    last: i64,
    house: &House,
    sees_places: bool,
) -> Result<Option<(i64, String)>, StoreError> {
    if since::count(log, last)? > MOST_MISSED {
        let newest = since::newest(log)?;
        return Ok(Some((newest, event("reload", Some(newest), &json!({ "id": newest })))));
    }
    let mut rows = since::frames(log, last, STRETCH)?;
    if !sees_places {
        for row in &mut rows {
            cut(row, house);
        }
    }
    let text: String = rows.iter().map(|row| events(row, &house.names)).collect();
    Ok(rows.last().map(|row| (row.seq, text)))
}

/// Cuts the positions in what a frame says.
fn cut(row: &mut Row, house: &House) {
    let sight = house.known.sight(row.dev_eui.as_deref().unwrap_or_default());
    row.readings.iter_mut().for_each(|said| sight.cut(&mut said.values, said.at, now()));
}

/// A frame and what it says.
fn events(row: &Row, names: &BTreeMap<DevEui, String>) -> String {
    let name = row.dev_eui.as_deref().and_then(|eui| names.get(&DevEui::from_display(eui).ok()?));
    let node = name.or(row.dev_eui.as_ref());
    let margin_db = row.data_rate.as_deref().zip(row.snr_db).and_then(|(rate, snr)| margin_db(rate, snr));
    let mut text = String::new();
    for said in &row.readings {
        let values: Map<String, Value> = said.values.iter().cloned().collect();
        let data = json!({
            "frame": row.seq, "node": node, "message": said.message, "at": moment(said.at), "values": values,
            "marks": said.marks, "late": said.late, "rebuilt": said.rebuilt,
        });
        text += &event("reading", None, &data);
    }
    let data = json!({
        "id": row.seq, "node": node, "verdict": row.verdict, "reason": row.reason, "at": moment(row.at),
        "snr": row.snr_db, "margin_db": margin_db, "data_rate": row.data_rate, "source": row.source,
    });
    text + &event("frame", Some(row.seq), &data)
}

/// JSON holds no line end, so that its text is one line.
fn event(kind: &str, id: Option<i64>, data: &Value) -> String {
    let id = id.map_or_else(String::new, |id| format!("id: {id}\n"));
    format!("event: {kind}\n{id}data: {data}\n\n")
}

/// A time as RFC 3339 writes it, to the millisecond; null outside its years.
fn moment(at: Moment) -> Value {
    let seconds = in_utc(at);
    let milliseconds = at.rem_euclid(1_000_000) / 1000;
    seconds.map_or(Value::Null, |text| match text.strip_suffix('Z') {
        Some(text) => format!("{text}.{milliseconds:03}Z").into(),
        None => text.into(),
    })
}
