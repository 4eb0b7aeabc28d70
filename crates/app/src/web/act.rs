//! Forms by which people act: they work without script, and lead to a page that says what came of it.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::{Form, Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use axum::{Extension, Router};
use design::message::{Kind, Message};
use logbook::clock::now;
use logbook::people::{May, Word};
use logbook::store::alarms::{self, KeptAlarm};
use logbook::store::visits::{PARTS, visits};
use logbook::store::{StoreError, settings};
use logbook::watch::About;
use report::page::act;
use serde_json::Value;
use tokio::task::spawn_blocking;

use super::shown::{self, Look, Wish};
use super::who::{Asker, Doer};
use super::{House, login, seen, setting, visit};

/// What was done before, as far as it is shown.
const BEFORE: u32 = 20;

type Fields = BTreeMap<String, String>;
type Asked = (State<Arc<House>>, Extension<Asker>);

/// The routes of it.
pub(super) fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/node/{name}/visit", get(visit_form).post(note_visit))
        .route("/node/{name}/settings", get(settings_form).post(tell))
        .route("/alarms/{id}/seen", get(seen_form).post(see))
}

/// The word of the forms of whoever asks; a program needs none.
fn form_of(asker: &Asker) -> String {
    asker.form_word().map(|word| word.reveal().to_owned()).unwrap_or_default()
}

fn done(path: &str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, login::written(path))]).into_response()
}

/// Does something on a thread that may wait, then leads on; or shows the form again and says why not.
async fn act<E: std::fmt::Display + Send + 'static>(
    work: impl FnOnce() -> Result<(), E> + Send + 'static,
    then: &str,
    again: impl AsyncFnOnce(String) -> Response,
) -> Response {
    let why = match spawn_blocking(work).await {
        Ok(Ok(())) => return done(then),
        Ok(Err(error)) => error.to_string(),
        Err(_gone) => "this has failed; please report it".to_owned(),
    };
    let mut response = again(why).await;
    *response.status_mut() = StatusCode::UNPROCESSABLE_ENTITY;
    response
}

/// Who acts, if he may and has shown the word of the form.
fn doer(asker: &Asker, fields: &Fields) -> Result<Doer, Box<Response>> {
    asker.doer(May::Act, fields.get("form").map(String::as_str))
}

async fn visit_form(
    (State(house), Extension(asker)): Asked,
    Path(name): Path<String>,
    wish: Wish,
) -> Response {
    let form = form_of(&asker);
    shown::answer(house, wish, move |look| visit_page(look, name, form, None)).await
}

fn visit_page(
    look: &Look<'_>,
    node: String,
    form: String,
    why: Option<String>,
) -> Result<Option<act::NoteVisit>, StoreError> {
    let Some(dev_eui) = look.house.known.board(&node) else { return Ok(None) };
    let before = visits(look.log, Some(&dev_eui.to_string()), BEFORE)?.into_iter().map(|visit| act::Visit {
        at: look.when(visit.at),
        by: visit.by,
        what: visit.what,
        parts: visit.parts,
        photo: visit.photo_file.map(|_| format!("/visit/{}/photo", visit.id)),
    });
    let word = Word::draw().map_err(|error| StoreError::Lost { why: error.to_string() })?;
    let own_id = word.reveal().to_owned();
    let parts = PARTS.map(str::to_owned).to_vec();
    Ok(Some(act::NoteVisit { node, parts, before: before.collect(), why, own_id, form }))
}

async fn note_visit(
    (State(house), Extension(asker)): Asked,
    Path(name): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    let doer = match doer(&asker, &fields) {
        Ok(doer) => doer,
        Err(refused) => return *refused,
    };
    let (node, kept) = (name.clone(), Arc::clone(&house));
    let work = move || {
        let field = |key: &str| fields.get(key).map_or("", String::as_str);
        let parts: Vec<String> =
            PARTS.into_iter().filter(|part| fields.contains_key(*part)).map(str::to_owned).collect();
        let (own_id, what) = (field("own_id"), field("what"));
        let wish = visit::Wish { own_id, node: &node, at: now(), what, parts: &parts, photo: None };
        visit::note(&kept, &wish, &doer).map(drop)
    };
    let then = format!("/node/{name}/visit");
    let form = form_of(&asker);
    let again = async move |why| {
        shown::answer(house, Wish::default(), move |look| visit_page(look, name, form, Some(why))).await
    };
    act(work, &then, again).await
}

async fn settings_form(
    (State(house), Extension(asker)): Asked,
    Path(name): Path<String>,
    wish: Wish,
) -> Response {
    let form = form_of(&asker);
    shown::answer(house, wish, move |look| settings_page(look, name, form, None)).await
}

fn settings_page(
    look: &Look<'_>,
    node: String,
    form: String,
    why: Option<String>,
) -> Result<Option<act::Settings>, StoreError> {
    let house = look.house;
    let Some((row, ..)) = house.known.boards(&node).pop() else { return Ok(None) };
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
            && other.name != node
            && house.known.own.contains(&other.dev_eui)
    });
    Ok(Some(act::Settings {
        messages: design.into_iter().flat_map(setting::to_node).map(message).collect(),
        others: others.map(|other| other.name.clone()).collect(),
        before: before.collect(),
        node,
        why,
        form,
    }))
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

async fn tell(
    (State(house), Extension(asker)): Asked,
    Path(name): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    let doer = match doer(&asker, &fields) {
        Ok(doer) => doer,
        Err(refused) => return *refused,
    };
    let others = fields.keys().filter_map(|key| key.strip_prefix("node:").map(str::to_owned));
    let nodes: Vec<String> = std::iter::once(name.clone()).chain(others).collect();
    let kept = Arc::clone(&house);
    let work = move || {
        let typed = fields.iter().filter_map(|(key, text)| Some((key.strip_prefix("value:")?, text.trim())));
        let values =
            typed.filter(|(_, text)| !text.is_empty()).map(|(key, text)| (key.to_owned(), value(text)));
        let values: BTreeMap<String, Value> = values.collect();
        let message = fields.get("message").map_or("", String::as_str);
        setting::want(&kept, &setting::Wish { nodes: &nodes, message, values: &values }, &doer).map(drop)
    };
    let then = format!("/node/{name}/settings");
    let form = form_of(&asker);
    let again = async move |why| {
        shown::answer(house, Wish::default(), move |look| settings_page(look, name, form, Some(why))).await
    };
    act(work, &then, again).await
}

/// What was typed: a number, true or false, else a word.
fn value(text: &str) -> Value {
    match (text, text.parse::<f64>()) {
        ("true" | "false", _) => Value::Bool(text == "true"),
        (_, Ok(number)) => Value::from(number),
        _ => Value::from(text),
    }
}

async fn seen_form((State(house), Extension(asker)): Asked, Path(id): Path<i64>, wish: Wish) -> Response {
    let form = form_of(&asker);
    shown::answer(house, wish, move |look| seen_page(look, id, form, None)).await
}

fn seen_page(
    look: &Look<'_>,
    id: i64,
    form: String,
    why: Option<String>,
) -> Result<Option<act::SeeAlarm>, StoreError> {
    let Some(KeptAlarm { alarm, seen }) = alarms::alarm(look.log, id)? else { return Ok(None) };
    let rule = alarm.key.rule.word();
    let what = match alarm.key.about {
        About::Node(dev_eui) => format!("{} is {rule}", look.house.known.labels.name(&dev_eui.to_string())),
        About::Gateway(eui) => format!("{}: {rule}", look.house.known.gateway(eui)),
        About::Log => format!("the log: {rule}"),
    };
    let since = look.when(alarm.opened_at);
    Ok(Some(act::SeeAlarm { id, what, since, seen_by: seen.map(|seen| seen.by), why, form }))
}

async fn see(
    (State(house), Extension(asker)): Asked,
    Path(id): Path<i64>,
    Form(fields): Form<Fields>,
) -> Response {
    let doer = match doer(&asker, &fields) {
        Ok(doer) => doer,
        Err(refused) => return *refused,
    };
    let kept = Arc::clone(&house);
    let work = move || {
        let word = fields.get("word").map_or("", String::as_str);
        seen::see(&kept, id, word, &doer).map(drop)
    };
    let form = form_of(&asker);
    let again = async move |why| {
        shown::answer(house, Wish::default(), move |look| seen_page(look, id, form, Some(why))).await
    };
    act(work, "/alarms", again).await
}
