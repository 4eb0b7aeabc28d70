//! Forms by which people act: they work without script, and lead to a page that says what came of it.

use std::collections::BTreeMap;
use std::fmt::Display;
use std::sync::Arc;

use axum::extract::{DefaultBodyLimit, Path, Request, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{MethodRouter, get};
use axum::{Extension, Router};
use design::message::{Kind, Message};
use logbook::clock::now;
use logbook::people::{May, Word};
use logbook::store::alarms::{self, KeptAlarm};
use logbook::store::visits::{PARTS, visits};
use logbook::store::{StoreError, settings};
use logbook::watch::About;
use report::page::{Page, Way, act, node_page};
use serde::de::DeserializeOwned;
use serde_json::Value;
use tokio::task::spawn_blocking;

use super::parts::Sent;
use super::put::Put;
use super::shown::{self, Look, Wish};
use super::who::{Asker, Doer};
use super::{House, seen, setting, visit};

/// Largest form \[bytes\]: a picture that nobody scaled down is refused on the form, with a word.
const LARGEST_FORM: usize = 16_000_000;
/// What was done before, as far as it is shown.
const BEFORE: u32 = 20;

type Asked = (State<Arc<House>>, Extension<Asker>);

/// Something that people do by a form: it is shown, and what is sent is done, or it is shown again with why not.
pub(super) trait Act: 'static {
    /// On what: the name of a node, the number of an alarm.
    type On: Clone + DeserializeOwned + Send + 'static;
    /// How it is shown.
    type Shown: Page + 'static;
    /// Why it is not done.
    type Refused: Display;

    /// What is shown; `None` where there is nothing to do it on.
    fn shown(look: &Look<'_>, on: &Self::On, form: Form) -> Result<Option<Self::Shown>, StoreError>;

    /// Does it.
    fn does(house: &House, on: &Self::On, sent: &Sent, doer: &Doer) -> Result<(), Self::Refused>;

    /// Where it leads.
    fn then(on: &Self::On) -> String;

    /// Whether what was sent is only to be looked at: nothing is done, and it is shown with what would follow.
    fn is_look(_: &Sent) -> bool {
        false
    }
}

/// What a form carries beside its fields.
pub(super) struct Form {
    /// The word of whoever asks; a program needs none.
    pub(super) word: String,
    /// Why what was sent was not done.
    pub(super) why: Option<String>,
    /// What was sent to be looked at, or was not done.
    pub(super) sent: Fields,
}

/// Fields of a form by their names.
type Fields = BTreeMap<String, String>;

/// The routes of it.
pub(super) fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/node/{name}/visit", by::<NoteVisit>())
        .route("/node/{name}/settings", by::<Tell>())
        .route("/node/{name}/place", by::<Put>())
        .route("/alarms/{id}/seen", by::<See>())
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
}

fn by<A: Act>() -> MethodRouter<Arc<House>> {
    let show = |(State(house), Extension(asker)): Asked, Path(on): Path<A::On>, wish: Wish| {
        shown::answer(house, wish, move |look| A::shown(look, &on, form(&asker, None, Fields::new())))
    };
    get(show).post(take::<A>)
}

async fn take<A: Act>(
    (State(house), Extension(asker)): Asked,
    Path(on): Path<A::On>,
    request: Request,
) -> Response {
    let sent = match Sent::read(request).await {
        Ok(sent) => sent,
        Err(refused) => return *refused,
    };
    let doer = match asker.doer(May::Act, sent.fields.get("form").map(String::as_str)) {
        Ok(doer) => doer,
        Err(refused) => return *refused,
    };
    let typed = sent.fields.clone();
    if A::is_look(&sent) {
        let look = move |look: &Look<'_>| A::shown(look, &on, form(&asker, None, typed));
        return shown::answer(house, Wish::default(), look).await;
    }
    let (kept, of) = (Arc::clone(&house), on.clone());
    let work = move || A::does(&kept, &of, &sent, &doer).map_err(|refused| refused.to_string());
    let why = match spawn_blocking(work).await {
        Ok(Ok(())) => {
            return (StatusCode::SEE_OTHER, [(header::LOCATION, A::then(&on))]).into_response();
        }
        Ok(Err(why)) => why,
        Err(_gone) => "this has failed; please report it".to_owned(),
    };
    let again = move |look: &Look<'_>| A::shown(look, &on, form(&asker, Some(why), typed));
    let mut response = shown::answer(house, Wish::default(), again).await;
    *response.status_mut() = StatusCode::UNPROCESSABLE_ENTITY;
    response
}

fn form(asker: &Asker, why: Option<String>, sent: Fields) -> Form {
    Form { word: asker.form_word().map(|word| word.reveal().to_owned()).unwrap_or_default(), why, sent }
}

/// A visit is noted.
struct NoteVisit;

impl Act for NoteVisit {
    type On = String;
    type Shown = act::NoteVisit;
    type Refused = visit::Refused;

    fn shown(look: &Look<'_>, node: &String, form: Form) -> Result<Option<act::NoteVisit>, StoreError> {
        let Some(dev_eui) = look.house.known.board(node) else { return Ok(None) };
        let before = visits(look.log, Some(&dev_eui.to_string()), BEFORE)?;
        let before = before.into_iter().map(|visit| act::Visit {
            at: look.when(visit.at),
            by: visit.by,
            what: visit.what,
            parts: visit.parts,
            photo: visit.photo_file.map(|_| format!("/visit/{}/photo", visit.id)),
            certificate: visit.certificate,
            due: visit.due.and_then(shown::day_in_utc),
        });
        let own_id = Word::draw().map_err(|error| StoreError::Lost { why: error.to_string() })?;
        Ok(Some(act::NoteVisit {
            node: node.clone(),
            parts: PARTS.map(str::to_owned).to_vec(),
            before: before.collect(),
            why: form.why,
            own_id: own_id.reveal().to_owned(),
            form: form.word,
        }))
    }

    fn does(house: &House, node: &String, sent: &Sent, doer: &Doer) -> Result<(), visit::Refused> {
        let parts: Vec<String> =
            PARTS.into_iter().filter(|part| sent.fields.contains_key(*part)).map(str::to_owned).collect();
        let (own_id, what) = (sent.field("own_id"), sent.field("what"));
        let wish = visit::Wish {
            own_id,
            node,
            at: now(),
            what,
            parts: &parts,
            photo: sent.file.as_deref(),
            certificate: Some(sent.field("certificate")),
            due: Some(sent.field("due")),
        };
        visit::note(house, &wish, doer).map(drop)
    }

    fn then(node: &String) -> String {
        node_page(node) + "/visit"
    }
}

/// Nodes are told something.
struct Tell;

impl Act for Tell {
    type On = String;
    type Shown = act::Settings;
    type Refused = setting::Refused;

    fn shown(look: &Look<'_>, node: &String, form: Form) -> Result<Option<act::Settings>, StoreError> {
        let house = look.house;
        let Some((row, ..)) = house.known.boards(node).pop() else { return Ok(None) };
        let design = house.site.kinds().find(|(_, design)| design.name == row.kind).map(|(_, design)| design);
        let told = settings::settings(look.log, Some(&row.dev_eui.to_string()), BEFORE)?;
        let before = told.into_iter().map(|setting| act::Told {
            at: look.when(setting.asked_at),
            by: setting.asked_by,
            what: said(&setting.values),
            state: setting.state.word().to_owned(),
        });
        let others = house.known.rows.iter().filter(|other| {
            other.kind == row.kind
                && other.open()
                && other.name != *node
                && house.known.own.contains(&other.dev_eui)
        });
        Ok(Some(act::Settings {
            node: node.clone(),
            messages: design.into_iter().flat_map(setting::to_node).map(message).collect(),
            others: others.map(|other| other.name.clone()).collect(),
            before: before.collect(),
            considered: considered(house, node, &form.sent),
            why: form.why,
            form: form.word,
        }))
    }

    fn does(house: &House, node: &String, sent: &Sent, doer: &Doer) -> Result<(), setting::Refused> {
        let (nodes, values) = (nodes(node, &sent.fields), values(&sent.fields));
        let wish = setting::Wish { nodes: &nodes, message: sent.field("message"), values: &values };
        setting::want(house, &wish, doer).map(drop)
    }

    fn is_look(sent: &Sent) -> bool {
        sent.fields.contains_key("look")
    }

    fn then(node: &String) -> String {
        node_page(node) + "/settings"
    }
}

/// The node and the others that are to be told the same.
fn nodes(node: &str, sent: &Fields) -> Vec<String> {
    let others = sent.keys().filter_map(|key| key.strip_prefix("node:").map(str::to_owned));
    std::iter::once(node.to_owned()).chain(others).collect()
}

/// What was typed into the fields of a message.
fn typed(sent: &Fields) -> BTreeMap<String, String> {
    let typed = sent.iter().filter_map(|(key, text)| Some((key.strip_prefix("value:")?, text.trim())));
    typed.filter(|(_, text)| !text.is_empty()).map(|(key, text)| (key.to_owned(), text.to_owned())).collect()
}

fn values(sent: &Fields) -> BTreeMap<String, Value> {
    typed(sent).into_iter().map(|(key, text)| (key, value(&text))).collect()
}

/// What somebody has typed and not sent, and what would follow.
fn considered(house: &House, node: &str, sent: &Fields) -> Option<act::Considered> {
    let (message, typed) = (sent.get("message")?.clone(), typed(sent));
    let (nodes, values) = (nodes(node, sent), values(sent));
    let wish = setting::Wish { nodes: &nodes, message: &message, values: &values };
    let follows = if typed.is_empty() { Ok(act::Follows::default()) } else { setting::follows(house, &wish) };
    let follows = follows.unwrap_or_else(|refused| act::Follows {
        refused: Some(refused.to_string()),
        ..act::Follows::default()
    });
    let others = nodes.into_iter().skip(1).collect();
    Some(act::Considered { message, typed, others, follows })
}

/// Values in a line: `report_interval 15`.
fn said(values: &Value) -> String {
    let pairs = values.as_object().into_iter().flatten();
    pairs.map(|(field, value)| format!("{field} {value}")).collect::<Vec<_>>().join(", ")
}

fn message(message: &Message) -> act::Message {
    let field = |field: &design::message::Field| act::Field {
        name: field.name.clone(),
        takes: setting::wanted(field),
        words: match &field.kind {
            Kind::Choice { words } => words.clone(),
            Kind::Flag => vec!["true".to_owned(), "false".to_owned()],
            _ => Vec::new(),
        },
    };
    act::Message {
        name: message.name.clone(),
        title: message.title.clone(),
        fields: message.fields.iter().map(field).collect(),
    }
}

/// What was typed: a number, true or false, else a word.
fn value(text: &str) -> Value {
    match (text, text.parse::<f64>()) {
        ("true" | "false", _) => Value::Bool(text == "true"),
        (_, Ok(number)) => Value::from(number),
        _ => Value::from(text),
    }
}

/// Somebody has seen an alarm.
struct See;

impl Act for See {
    type On = i64;
    type Shown = act::SeeAlarm;
    type Refused = seen::Refused;

    fn shown(look: &Look<'_>, id: &i64, form: Form) -> Result<Option<act::SeeAlarm>, StoreError> {
        let Some(KeptAlarm { alarm, seen }) = alarms::alarm(look.log, *id)? else { return Ok(None) };
        let rule = alarm.key.rule.word();
        let what = match alarm.key.about {
            About::Node(dev_eui) => {
                format!("{} is {rule}", look.house.known.labels.name(&dev_eui.to_string()))
            }
            About::Gateway(eui) => format!("{}: {rule}", look.house.known.gateway(eui)),
            About::Log => format!("the log: {rule}"),
        };
        let since = look.when(alarm.opened_at);
        let seen_by = seen.map(|seen| seen.by);
        Ok(Some(act::SeeAlarm { id: *id, what, since, seen_by, why: form.why, form: form.word }))
    }

    fn does(house: &House, id: &i64, sent: &Sent, doer: &Doer) -> Result<(), seen::Refused> {
        seen::see(house, *id, sent.field("word"), doer).map(drop)
    }

    fn then(_: &i64) -> String {
        Way::Alarms.path().to_owned()
    }
}
