//! Visits: noted by a form or a program, each once, with a picture that is kept in a file beside the log.

use std::fs;
use std::io::{ErrorKind, Write as _};
use std::path::{Path as FilePath, PathBuf};
use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use axum::{Extension, Router};
use logbook::clock::now;
use logbook::received::Moment;
use logbook::store::people::People;
use logbook::store::visits::{
    LARGEST_PHOTO, LONGEST_CERTIFICATE, LONGEST_WHAT, Note, PARTS, is_own_id, photo_file,
};
use logbook::store::{StoreError, sqlite};
use tokio::task::spawn_blocking;

use super::House;
use super::problem::plain;
use super::who::{Asker, Doer};

/// A clock of a phone may go ahead by so much: 10 min (own choice) \[us\].
const AHEAD: Moment = 600_000_000;

/// What is to be noted.
pub(super) struct Wish<'a> {
    pub(super) own_id: &'a str,
    pub(super) node: &'a str,
    pub(super) at: Moment,
    pub(super) what: &'a str,
    pub(super) parts: &'a [String],
    pub(super) photo: Option<&'a [u8]>,
    /// Empty or left out: none.
    pub(super) certificate: Option<&'a str>,
    /// A day such as `2027-05-01`; empty or left out: none.
    pub(super) due: Option<&'a str>,
}

/// Why a visit is not noted.
#[derive(Debug, thiserror::Error)]
pub(super) enum Refused {
    #[error("`own_id` has 8 to 64 letters, digits and `-`")]
    OwnId,
    #[error("no node of this name is in the log")]
    Nobody,
    #[error("say what was done, in at most {LONGEST_WHAT} characters")]
    What,
    #[error("{part:?} is no part; parts are {}", PARTS.join(", "))]
    Part { part: String },
    #[error("the visit lies in the future")]
    Future,
    #[error("the name of a certificate has at most {LONGEST_CERTIFICATE} characters")]
    Certificate,
    #[error("{day:?} is no day; write it as 2027-05-01")]
    Due { day: String },
    #[error("the picture has {0} bytes; at most {LARGEST_PHOTO} are taken: scale it down")]
    Large(usize),
    #[error("the picture is no JPEG, PNG or WebP")]
    Picture,
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// Notes a visit; its number, and whether it was there already.
pub(super) fn note(house: &House, wish: &Wish<'_>, doer: &Doer) -> Result<(i64, bool), Refused> {
    let dev_eui = house.known.board(wish.node).ok_or(Refused::Nobody)?.to_string();
    let what = wish.what.trim();
    if !is_own_id(wish.own_id) {
        return Err(Refused::OwnId);
    }
    if what.is_empty() || what.chars().count() > LONGEST_WHAT {
        return Err(Refused::What);
    }
    if let Some(part) = wish.parts.iter().find(|part| !PARTS.contains(&part.as_str())) {
        return Err(Refused::Part { part: part.clone() });
    }
    if wish.at > now() + AHEAD {
        return Err(Refused::Future);
    }
    let given =
        |text: Option<&'_ str>| text.map(str::trim).filter(|text| !text.is_empty()).map(str::to_owned);
    let certificate = given(wish.certificate);
    if certificate.as_ref().is_some_and(|name| name.chars().count() > LONGEST_CERTIFICATE) {
        return Err(Refused::Certificate);
    }
    let due = given(wish.due).map(|day| day_of(&day).ok_or(Refused::Due { day })).transpose()?;
    let photo = wish.photo.map(|photo| keep_photo(&house.log, wish.own_id, photo)).transpose()?;
    let note = Note {
        own_id: wish.own_id,
        dev_eui: &dev_eui,
        at: wish.at,
        what,
        parts: wish.parts,
        photo_file: photo.as_deref(),
        certificate: certificate.as_deref(),
        due,
    };
    People::of(&house.log)?.note_visit(note, doer.by())?.ok_or(Refused::Nobody)
}

/// The beginning of a day such as `2027-05-01`, UTC.
fn day_of(day: &str) -> Option<Moment> {
    forecast::learn::seconds_of(&format!("{day}T00:00:00Z")).map(|seconds| seconds * 1_000_000)
}

/// The end of a picture's name and its media type, by its first bytes.
fn kind_of(photo: &[u8]) -> Option<(&'static str, &'static str)> {
    match photo {
        [0xff, 0xd8, 0xff, ..] => Some(("jpg", "image/jpeg")),
        [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, ..] => Some(("png", "image/png")),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some(("webp", "image/webp")),
        _ => None,
    }
}

/// The folder of the pictures of a log.
fn folder(log: &FilePath) -> PathBuf {
    let mut name = log.file_name().unwrap_or_default().to_owned();
    name.push(".photos");
    log.with_file_name(name)
}

/// Keeps a picture before the row that names it; what is left without a row is found again when the visit is sent again.
fn keep_photo(log: &FilePath, own_id: &str, photo: &[u8]) -> Result<String, Refused> {
    if photo.len() > LARGEST_PHOTO {
        return Err(Refused::Large(photo.len()));
    }
    let (ending, _) = kind_of(photo).ok_or(Refused::Picture)?;
    let folder = folder(log);
    let kept = fs::create_dir(&folder).or_else(|error| match error.kind() {
        ErrorKind::AlreadyExists => Ok(()),
        _ => Err(error),
    });
    kept.map_err(StoreError::from)?;
    let name = format!("{own_id}.{ending}");
    let mut draft = tempfile::NamedTempFile::new_in(&folder).map_err(StoreError::from)?;
    draft.write_all(photo).and_then(|()| draft.as_file().sync_all()).map_err(StoreError::from)?;
    match draft.persist_noclobber(folder.join(&name)) {
        // What came first under this number stays.
        Err(error) if error.error.kind() != ErrorKind::AlreadyExists => Err(StoreError::from(error.error))?,
        Ok(_) | Err(_) => Ok(name),
    }
}

/// The routes of it.
pub(super) fn routes() -> Router<Arc<House>> {
    Router::new().route("/visit/{id}/photo", get(photo))
}

async fn photo(
    State(house): State<Arc<House>>,
    Extension(_): Extension<Asker>,
    Path(id): Path<i64>,
) -> Response {
    let read = spawn_blocking(move || {
        let log = sqlite::reader(&house.log)?;
        let Some(name) = photo_file(&log, id)? else { return Ok(None) };
        Ok::<_, StoreError>(Some(fs::read(folder(&house.log).join(name))?))
    });
    match read.await {
        Ok(Ok(Some(bytes))) => {
            let media = kind_of(&bytes).map_or("application/octet-stream", |(_, media)| media);
            let fields = [
                (header::CONTENT_TYPE, media),
                (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
                (header::CONTENT_SECURITY_POLICY, "default-src 'none'; sandbox"),
                (header::CACHE_CONTROL, "private, max-age=86400"),
            ];
            (fields, bytes).into_response()
        }
        Ok(Ok(None)) => plain(StatusCode::NOT_FOUND, "this visit has no picture"),
        Ok(Err(error)) => plain(StatusCode::SERVICE_UNAVAILABLE, &error.to_string()),
        Err(_gone) => plain(StatusCode::SERVICE_UNAVAILABLE, "the thread that reads has failed"),
    }
}
