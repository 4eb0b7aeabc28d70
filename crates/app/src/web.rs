//! What `serve` answers over HTTP: whether all is well, what was counted, what is kept as it comes, and messages of other
//! networks that are posted.
//!
//! Each route is a module. Pages for people are read from the log as a state of `report::page` and shown by [`shown`].

mod about;
mod act;
mod alarms;
mod api;
mod assets;
mod designs;
mod first_days;
mod frame;
mod gateways;
mod guard;
mod health;
mod heard;
mod intake;
mod listener;
mod live;
pub(crate) mod login;
mod map;
mod metrics;
mod node;
mod nodes;
mod parts;
mod patience;
mod pieces;
mod posted;
mod problem;
mod promises;
pub(crate) mod pulse;
pub(crate) mod put;
mod seen;
mod setting;
mod shown;
pub(crate) mod stations;
pub(crate) mod tls;
mod track;
mod tries;
mod trip;
mod truths;
mod typing;
mod visit;
mod who;

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;

use axum::extract::{DefaultBodyLimit, Form, Path, Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::middleware::from_fn_with_state;
use axum::response::Response;
use axum::routing::get;
use axum::{Extension, Router};
use design::node::Told;
use design::serve::Page;
use logbook::intake::door::Door;
use logbook::intake::gateways::Gateways;
use logbook::registry::Node;
use logbook::store::writer::Counts;
use logbook::watch::Area;
use logbook::zone::Zone;
use tower_http::compression::CompressionLayer;
use wire::identity::DevEui;

use crate::input::fleet;
use crate::known::Known;
use pulse::Pulse;

pub(crate) use listener::{Doorway, Listening};
pub(crate) use login::Gate;
pub(crate) use posted::Posted;
pub(crate) use promises::Promises;
pub(crate) use put::Places;
use shown::Wish;
use stations::Stations;
pub(crate) use truths::Truths;
use typing::Step;
pub(crate) use typing::Typing;
use who::Asker;

/// What the routes know.
pub(crate) struct House {
    /// The site as it is planned.
    pub(crate) site: Arc<fleet::Site>,
    /// What is promised of its nodes.
    pub(crate) promises: Arc<Promises>,
    /// What was learned of them.
    pub(crate) truths: Arc<Truths>,
    /// Texts of designs that are being typed.
    pub(crate) typing: Typing,
    /// Who is enrolled.
    pub(crate) registry: Vec<Node>,
    /// What clocks of the site show.
    pub(crate) zone: Zone,
    /// The file of the log.
    pub(crate) log: PathBuf,
    /// How it is now.
    pub(crate) pulse: Arc<Pulse>,
    /// What the writer has counted.
    pub(crate) counts: Arc<Counts>,
    /// What gateways have sent by UDP.
    pub(crate) gateways: Option<Arc<Gateways>>,
    /// Gateways that connect by a websocket.
    pub(crate) stations: Option<Arc<Stations>>,
    /// What people call the nodes.
    pub(crate) names: BTreeMap<DevEui, String>,
    /// Where messages are handed in.
    pub(crate) door: Arc<Door>,
    /// Sources whose messages are posted.
    pub(crate) posted: Vec<Posted>,
    /// Where it listens, and by which names it is called.
    pub(crate) page: Page,
    /// What is known of the site beside its log.
    pub(crate) known: Known,
    /// Ground that nodes are not to leave.
    pub(crate) areas: Vec<Area>,
    /// Where nodes were put.
    pub(crate) places: Places,
    /// Who is let in.
    pub(crate) gate: Gate,
    /// It shows a copy of a log: nothing is written.
    pub(crate) is_copy: bool,
}

impl House {
    /// Names of the nodes that stand now, in their order.
    fn open_names(&self) -> impl Iterator<Item = &str> {
        let mut names: Vec<&str> =
            self.registry.iter().filter(|row| row.open()).map(|row| row.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names.into_iter()
    }

    /// Names of all nodes that are planned or stand now, in their order.
    fn all_names(&self) -> BTreeSet<String> {
        let planned = self.site.designs().iter().map(|design| design.name.clone());
        planned.chain(self.open_names().map(str::to_owned)).collect()
    }

    /// The unit of a value of a message of a kind of node, in UCUM; `1` of what the designs of today don't know.
    fn unit(&self, kind: &str, message: &str, column: &str) -> &str {
        let of_kind = self.site.kinds().find(|(_, design)| design.name == kind);
        let told = of_kind.and_then(|(_, design)| {
            let named = |name: &str| {
                let is_it = |told: &Told<'_>| told.message == message && told.field == name;
                design.told().find(is_it)
            };
            named(column).or_else(|| named(column.rsplit_once('_').map_or(column, |(field, _)| field)))
        });
        told.map_or("1", |told| told.unit)
    }
}

type Asked = State<Arc<House>>;

/// What is answered while the key box is shut.
pub(crate) fn shut() -> Router {
    Router::new().fallback(|| async { health::shut() })
}

/// A page without anything more in its path.
macro_rules! page {
    ($state:path) => {
        get(|State(house): Asked, wish: Wish| shown::answer(house, wish, $state))
    };
}

/// A page of something that is named in its path.
macro_rules! page_of {
    ($state:path) => {
        get(|State(house): Asked, Path(name): Path<String>, wish: Wish| {
            shown::answer(house, wish, move |look| $state(look, &name))
        })
    };
}

/// Longest text of a design that is looked at \[bytes\].
const LONGEST_TEXT: usize = 256 << 10;

/// Pages for people.
fn pages() -> Router<Arc<House>> {
    let design = get(|State(house): Asked, Path(file): Path<String>, wish: Wish| {
        shown::answer(house, wish, move |look| Ok(designs::one(look, &file)))
    });
    Router::new()
        .route("/", page!(nodes::site))
        .route(
            "/node/{name}",
            get(|State(house): Asked, Path(name): Path<String>, wish: Wish| node_or_part(house, name, wish)),
        )
        .route("/node/{name}/first-days", page_of!(first_days::state))
        .route("/track/{name}", page_of!(track::state))
        .route("/alarms", page!(alarms::state))
        .route("/next-trip", page!(trip::state))
        .route("/gateways", page!(gateways::state))
        .route(
            "/design",
            get(|State(house): Asked, wish: Wish| {
                shown::answer(house, wish, |look| Ok(Some(designs::all(look))))
            }),
        )
        .route("/design/{*file}", design.post(typed).layer(DefaultBodyLimit::max(LONGEST_TEXT)))
        .route("/heard", page!(heard::state))
        .route("/heard/{frame}", page_of!(frame::state))
        .route("/intake", page!(intake::state).post(pasted).layer(DefaultBodyLimit::max(LONGEST_TEXT)))
        .route("/about", page!(about::state))
        .merge(map::routes())
        .route(
            "/page/{*file}",
            get(|Path(file): Path<String>, wish: Wish| async move { assets::answer(&file, &wish) }),
        )
        .route("/ground.png", get(|State(house): Asked| async move { assets::ground(&house) }))
        .layer(CompressionLayer::new())
}

/// The page of a node, or of it what a zoom changes.
async fn node_or_part(house: Arc<House>, name: String, wish: Wish) -> Response {
    if wish.word("part") == Some("sent") {
        return shown::part(house, wish, move |look| {
            Ok(node::sent(look, &name)?.map(|sent| sent.shown().into_string()))
        })
        .await;
    }
    shown::answer(house, wish, move |look| node::state(look, &name)).await
}

/// What is proposed for messages that somebody has pasted; nothing is kept.
async fn pasted(State(house): Asked, wish: Wish, Form(fields): Form<BTreeMap<String, String>>) -> Response {
    shown::answer(house, wish, move |look| intake::proposed(look, &fields)).await
}

/// What is said of a text that somebody has typed; nothing is kept.
async fn typed(
    State(house): Asked,
    Path(file): Path<String>,
    wish: Wish,
    Form(form): Form<BTreeMap<String, String>>,
) -> Response {
    let Some(text) = form.get("text").cloned() else {
        return problem::plain(StatusCode::BAD_REQUEST, "send the text of a design as `text`");
    };
    let step = Step::named(form.get("step").map(String::as_str));
    let is_part = form.contains_key("part");
    let question = house.typing.question(form.get("by").map_or("", String::as_str));
    // Dropped with the connection: work for somebody who has gone ends.
    let _waiting = question.waiting();
    let beside = wish.word("beside").filter(|_| !is_part).map(str::to_owned);
    let page = move |house: &House| {
        let page = designs::page(house, &file, &text, step, &question)?;
        Some(designs::beside(house, page, beside.as_deref(), &question))
    };
    shown::typed(house, wish, is_part, page).await
}

/// All routes.
pub(crate) fn routes(house: Arc<House>) -> Router {
    Router::new()
        .merge(pages())
        .route("/health", get(|State(house): Asked| async move { health::answer(&house) }))
        .route("/metrics", get(|State(house): Asked| async move { metrics::answer(&house) }))
        .route(
            "/live",
            get(
                |State(house): Asked,
                 Extension(asker): Extension<Asker>,
                 Query(query): Query<BTreeMap<String, String>>,
                 headers: HeaderMap| async move {
                    live::answer(house, asker.sees_places(), &query, &headers)
                },
            ),
        )
        .merge(login::routes())
        .merge(api::routes())
        .merge(visit::routes())
        .merge(act::routes())
        .fallback(posted::answer)
        .layer(from_fn_with_state(Arc::clone(&house), guard::check))
        .layer(from_fn_with_state(Arc::clone(&house), shown::policy))
        .with_state(house)
}
