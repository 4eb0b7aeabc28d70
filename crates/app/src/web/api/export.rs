//! Readings in the forms of others, as long as they are.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::{MethodRouter, get};
use logbook::clock::now;
use logbook::export::gpx::Tracks;
use logbook::export::{csv, geojson, senml};
use logbook::received::Moment;
use logbook::store::query::{self, Reading};
use logbook::store::{StoreError, sqlite};
use tokio::task::spawn_blocking;

use super::ask::{Asked, Refused};
use crate::web::House;
use crate::web::pieces::{self, Out};
use crate::web::who::Asker;

/// A form of readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Csv,
    Senml,
    Geojson,
    Gpx,
}

impl Form {
    /// Media type and the end of the file's name.
    const fn media(self) -> (&'static str, &'static str) {
        match self {
            Self::Csv => ("text/csv; charset=utf-8; header=present", "csv"),
            Self::Senml => ("application/senml+json", "senml.json"),
            Self::Geojson => ("application/geo+json", "geojson"),
            Self::Gpx => ("application/gpx+xml", "gpx"),
        }
    }
}

/// The route of a form.
pub(super) fn route(form: Form) -> MethodRouter<Arc<House>> {
    get(
        move |State(house): State<Arc<House>>,
              Extension(asker): Extension<Asker>,
              Query(query): Query<BTreeMap<String, String>>| async move {
            answer(form, Asked { house, asker, path: BTreeMap::new(), query, now: now() })
        },
    )
}

fn answer(form: Form, asked: Asked) -> Response {
    let checked = asked.span().and_then(|span| {
        let table = if form == Form::Csv { Some(table(&asked)?) } else { None };
        Ok((span, table, of_node(&asked)?))
    });
    let (span, table, boards) = match checked {
        Ok(checked) => checked,
        Err(refused) => return refused.into_response(),
    };
    let (mut out, body) = pieces::begin();
    spawn_blocking(move || {
        let done = write(form, &asked, span, (table.as_ref(), boards.as_deref()), &mut out);
        match done {
            Ok(()) => out.end(Ok(())),
            Err(Stopped::Store(error)) => out.end(Err(&error)),
            Err(Stopped::Gone) => {}
        }
    });
    let (media, ending) = form.media();
    let name = format!("attachment; filename=\"readings.{ending}\"");
    let fields = [
        (header::CONTENT_TYPE, media),
        (header::CONTENT_DISPOSITION, name.as_str()),
        (header::CACHE_CONTROL, "no-store"),
    ];
    (fields, body).into_response()
}

/// The boards of the one node that is asked for, if one is: each with the time for which it bore the name.
fn of_node(asked: &Asked) -> Result<Option<Vec<Board>>, Refused> {
    let Some(name) = asked.query.get("node") else { return Ok(None) };
    let boards = asked.house.known.boards(name);
    if boards.is_empty() {
        return Err(Refused::Nothing(format!("no node is called {name:?}")));
    }
    Ok(Some(boards.into_iter().map(|(row, from, to)| (row.dev_eui.to_string(), from, to)).collect()))
}

/// A board, and from when until when it bore a name.
type Board = (String, Moment, Moment);

/// Kind and message of a table.
fn table(asked: &Asked) -> Result<(String, String), Refused> {
    let (kind, message) = (asked.needed("kind")?, asked.needed("message")?);
    let known = asked.house.known.kinds.iter().find(|known| known.name == kind);
    let has = known.is_some_and(|known| known.messages.iter().any(|known| known.name == message));
    if has {
        return Ok((kind.to_owned(), message.to_owned()));
    }
    Err(Refused::Nothing(format!("no design {kind:?} with a message {message:?} is of this site")))
}

/// Why it does not go on.
enum Stopped {
    Store(StoreError),
    Gone,
}

impl From<StoreError> for Stopped {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

fn write(
    form: Form,
    asked: &Asked,
    (from, to): (i64, i64),
    (table, boards): (Option<&(String, String)>, Option<&[Board]>),
    out: &mut Out,
) -> Result<(), Stopped> {
    let log = sqlite::reader(&asked.house.log)?;
    let labels = &asked.house.labels();
    let (mut is_first, mut titles, mut tracks) = (true, String::new(), Tracks::default());
    let put = |out: &mut Out, text: &str| if out.put(text) { Ok(()) } else { Err(Stopped::Gone) };
    let begin = match form {
        Form::Senml => "[",
        Form::Geojson => "{\"type\":\"FeatureCollection\",\"features\":[",
        Form::Csv | Form::Gpx => "",
    };
    put(out, begin)?;
    query::readings(&log, from, to, |mut reading: Reading| {
        let is_it =
            |(dev_eui, from, to): &Board| *dev_eui == reading.dev_eui && (*from..*to).contains(&reading.at);
        if boards.is_some_and(|boards| !boards.iter().any(is_it)) {
            return Ok(());
        }
        asked.cut(&reading.dev_eui, reading.at, &mut reading.values);
        let elements = match form {
            Form::Senml => senml::records(&reading, labels),
            Form::Geojson => geojson::feature(&reading, labels).into_iter().collect(),
            Form::Gpx => {
                tracks.add(&reading);
                Vec::new()
            }
            Form::Csv => {
                let is_of =
                    |(kind, message): &(String, String)| reading.kind == *kind && reading.message == *message;
                if !table.is_some_and(is_of) {
                    return Ok(());
                }
                // An edition with other columns begins with a line of its own titles.
                let own = csv::titles(&reading, labels);
                if own != titles {
                    put(out, &own)?;
                    titles = own;
                }
                return put(out, &csv::row(&reading, labels));
            }
        };
        for element in elements {
            let comma = if std::mem::take(&mut is_first) { "" } else { ",\n" };
            put(out, &format!("{comma}{element}"))?;
        }
        Ok(())
    })?;
    let end = match form {
        Form::Senml => "]\n".to_owned(),
        Form::Geojson => "]}\n".to_owned(),
        Form::Csv => String::new(),
        Form::Gpx => tracks.text(labels),
    };
    put(out, &end)
}
