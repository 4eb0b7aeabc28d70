//! What programs ask: a route for each endpoint of the crate `api`, which describes them.

mod ask;
mod export;
mod look;
mod note;

use std::collections::BTreeMap;
use std::sync::Arc;

use api::endpoint::{DESCRIPTION, Endpoint, ROOT};
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{MethodRouter, get, post};
use axum::{Extension, Router};
use logbook::clock::now;
use logbook::people::May;
use logbook::store::{StoreError, sqlite};
use rusqlite::Connection;
use tokio::task::spawn_blocking;

use super::House;
use super::problem::plain;
use super::who::{Asker, Doer, FORM_WORD};
use ask::{Asked, Refused};

/// Largest body: a picture in base64, and what is said of it \[bytes\].
const LARGEST_BODY: usize = 3_000_000;

/// A question that looks.
type Look = fn(&Asked, &Connection) -> Result<String, Refused>;
/// A question that changes something.
type Change = fn(&Asked, &Doer, &[u8]) -> Result<String, Refused>;

/// The routes of it.
pub(super) fn routes() -> Router<Arc<House>> {
    let described = || async { ([(header::CONTENT_TYPE, "application/json")], api::openapi::text()) };
    let all = Endpoint::ALL.into_iter();
    all.fold(Router::new().route(DESCRIPTION, get(described)), |router, endpoint| {
        router.route(&format!("{ROOT}{}", endpoint.path()), route(endpoint))
    })
}

fn route(endpoint: Endpoint) -> MethodRouter<Arc<House>> {
    match endpoint {
        Endpoint::Me => looks(look::me),
        Endpoint::Nodes => looks(look::nodes),
        Endpoint::Node => looks(look::node),
        Endpoint::Series => looks(look::series),
        Endpoint::Frames => looks(look::frames),
        Endpoint::Gateways => looks(look::gateways),
        Endpoint::Visits => looks(look::visits),
        Endpoint::NoteVisit => changes(May::Act, note::visit),
        Endpoint::Alarms => looks(look::alarms),
        Endpoint::SeeAlarm => changes(May::Act, note::seen),
        Endpoint::Settings => looks(look::settings),
        Endpoint::Set => changes(May::Act, note::setting),
        Endpoint::ExportCsv => export::route(export::Form::Csv),
        Endpoint::ExportSenml => export::route(export::Form::Senml),
        Endpoint::ExportGeojson => export::route(export::Form::Geojson),
        Endpoint::ExportGpx => export::route(export::Form::Gpx),
    }
}

type Fields = BTreeMap<String, String>;

fn looks(look: Look) -> MethodRouter<Arc<House>> {
    get(
        move |State(house): State<Arc<House>>,
              Extension(asker): Extension<Asker>,
              Path(path): Path<Fields>,
              Query(query): Query<Fields>| async move {
            let asked = Asked { house, asker, path, query, now: now() };
            let done = spawn_blocking(move || look(&asked, &sqlite::reader(&asked.house.log)?)).await;
            answer(done.unwrap_or_else(|_gone| Err(gone())))
        },
    )
}

fn changes(needs: May, change: Change) -> MethodRouter<Arc<House>> {
    post(
        move |State(house): State<Arc<House>>,
              Extension(asker): Extension<Asker>,
              Path(path): Path<Fields>,
              headers: HeaderMap,
              body: Result<Bytes, BytesRejection>| async move {
            let shown = headers.get(FORM_WORD).and_then(|field| field.to_str().ok());
            let doer = match asker.doer(needs, shown) {
                Ok(doer) => doer,
                Err(refused) => return *refused,
            };
            let body = match body {
                Ok(body) => body,
                Err(refused) => return plain(refused.status(), &refused.body_text()),
            };
            let asked = Asked { house, asker, path, query: Fields::new(), now: now() };
            let done = spawn_blocking(move || change(&asked, &doer, &body)).await;
            answer(done.unwrap_or_else(|_gone| Err(gone())))
        },
    )
    .layer(DefaultBodyLimit::max(LARGEST_BODY))
}

fn gone() -> Refused {
    Refused::Store(StoreError::Lost { why: "the thread that reads has failed".to_owned() })
}

fn answer(done: Result<String, Refused>) -> Response {
    match done {
        Ok(text) => {
            let fields = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
            (fields, text + "\n").into_response()
        }
        Err(refused) => refused.into_response(),
    }
}

impl axum::response::IntoResponse for Refused {
    fn into_response(self) -> Response {
        let status = match &self {
            Self::Nothing(_) => StatusCode::NOT_FOUND,
            Self::Wrong(_) => StatusCode::BAD_REQUEST,
            Self::Unfit(_) => StatusCode::UNPROCESSABLE_ENTITY,
            Self::NotForYou(_) => StatusCode::FORBIDDEN,
            Self::NotNow(_) => StatusCode::CONFLICT,
            Self::Store(_) => StatusCode::SERVICE_UNAVAILABLE,
        };
        plain(status, &self.to_string())
    }
}
