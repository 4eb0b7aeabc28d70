//! Questions that change something.

use api::shape::{NewVisit, VisitNoted};
use logbook::base64;
use serde::de::DeserializeOwned;

use super::ask::{Asked, Refused, moment, text};
use crate::web::visit::{self, Wish};
use crate::web::who::Doer;

/// What is sent, as a shape.
fn read<T: DeserializeOwned>(body: &[u8]) -> Result<T, Refused> {
    serde_json::from_slice(body).map_err(|error| Refused::Unfit(format!("the body can't be taken: {error}")))
}

pub(super) fn visit(asked: &Asked, doer: &Doer, body: &[u8]) -> Result<String, Refused> {
    let new: NewVisit = read(body)?;
    let at = match new.at.as_deref() {
        None => asked.now,
        Some(text) => moment(text).ok_or_else(|| {
            Refused::Unfit("`at` is a time as RFC 3339 writes it, with its zone".to_owned())
        })?,
    };
    let photo = new.photo.as_deref().map(base64::decode).transpose();
    let photo = photo.map_err(|error| Refused::Unfit(format!("`photo`: {error}")))?;
    let wish = Wish {
        own_id: &new.own_id,
        node: &new.node,
        at,
        what: &new.what,
        parts: &new.parts,
        photo: photo.as_deref(),
    };
    let (id, was_there) = visit::note(&asked.house, &wish, doer).map_err(|refused| match refused {
        visit::Refused::Store(error) => Refused::Store(error),
        visit::Refused::Nobody => Refused::Nothing(refused.to_string()),
        other => Refused::Unfit(other.to_string()),
    })?;
    text(&VisitNoted { id, was_there })
}
