//! What `serve` answers over HTTP: whether all is well, what was counted, what is kept as it comes, and messages of other
//! networks that are posted.
//!
//! Each route is a module; the routes of people's pages come beside them.

mod guard;
mod health;
mod listener;
mod live;
pub(crate) mod login;
mod metrics;
mod patience;
mod posted;
mod problem;
pub(crate) mod pulse;
pub(crate) mod tls;
mod tries;
mod who;

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use axum::Router;
use axum::extract::{Query, State};
use axum::http::HeaderMap;
use axum::middleware::from_fn_with_state;
use axum::routing::get;
use design::serve::Page;
use logbook::intake::door::Door;
use logbook::intake::gateways::Gateways;
use logbook::store::writer::Counts;
use wire::identity::DevEui;

use pulse::Pulse;

pub(crate) use listener::Doorway;
pub(crate) use login::Gate;
pub(crate) use posted::Posted;

/// What the routes know.
pub(crate) struct House {
    /// The file of the log.
    pub(crate) log: PathBuf,
    /// How it is now.
    pub(crate) pulse: Arc<Pulse>,
    /// What the writer has counted.
    pub(crate) counts: Arc<Counts>,
    /// What gateways have sent by UDP.
    pub(crate) gateways: Option<Arc<Gateways>>,
    /// What people call the nodes.
    pub(crate) names: BTreeMap<DevEui, String>,
    /// Where messages are handed in.
    pub(crate) door: Arc<Door>,
    /// Sources whose messages are posted.
    pub(crate) posted: Vec<Posted>,
    /// Where it listens, and by which names it is called.
    pub(crate) page: Page,
    /// Who is let in.
    pub(crate) gate: Gate,
}

type Asked = State<Arc<House>>;

/// What is answered while the key box is shut.
pub(crate) fn shut() -> Router {
    Router::new().fallback(|| async { health::shut() })
}

/// All routes.
pub(crate) fn routes(house: Arc<House>) -> Router {
    Router::new()
        .route("/health", get(|State(house): Asked| async move { health::answer(&house) }))
        .route("/metrics", get(|State(house): Asked| async move { metrics::answer(&house) }))
        .route(
            "/live",
            get(|State(house): Asked, Query(query): Query<BTreeMap<String, String>>, headers: HeaderMap| async move {
                live::answer(house, &query, &headers)
            }),
        )
        .merge(login::routes())
        .fallback(posted::answer)
        .layer(from_fn_with_state(Arc::clone(&house), guard::check))
        .with_state(house)
}
