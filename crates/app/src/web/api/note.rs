//! Questions that change something.

use api::shape::{NewSeen, NewSetting, NewVisit, VisitNoted, Wanted};
use logbook::base64;
use serde::de::DeserializeOwned;

use super::ask::{Asked, Refused, moment, text};
use super::look;
use crate::web::visit::{self, Wish};
use crate::web::who::Doer;
use crate::web::{seen, setting};

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
        certificate: new.certificate.as_deref(),
        due: new.due.as_deref(),
    };
    let (id, was_there) = visit::note(&asked.house, &wish, doer).map_err(|refused| match refused {
        visit::Refused::Store(error) => Refused::Store(error),
        visit::Refused::Nobody => Refused::Nothing(refused.to_string()),
        other => Refused::Unfit(other.to_string()),
    })?;
    text(&VisitNoted { id, was_there })
}

pub(super) fn seen(asked: &Asked, doer: &Doer, body: &[u8]) -> Result<String, Refused> {
    let new: NewSeen = if body.is_empty() { NewSeen::default() } else { read(body)? };
    let number = asked.part("id").parse::<i64>();
    let number = number.map_err(|error| Refused::Wrong(format!("an alarm has a whole number: {error}")))?;
    let kept = seen::see(&asked.house, number, &new.word, doer).map_err(|refused| match refused {
        seen::Refused::Store(error) => Refused::Store(error),
        seen::Refused::Nothing => Refused::Nothing(refused.to_string()),
        seen::Refused::Word => Refused::Unfit(refused.to_string()),
    })?;
    text(&look::alarm(asked, kept)?)
}

pub(super) fn setting(asked: &Asked, doer: &Doer, body: &[u8]) -> Result<String, Refused> {
    let new: NewSetting = read(body)?;
    let wish = setting::Wish { nodes: &new.nodes, message: &new.message, values: &new.values };
    let (ids, effects) = setting::want(&asked.house, &wish, doer).map_err(|refused| match refused {
        setting::Refused::Store(error) => Refused::Store(error),
        setting::Refused::Nobody { .. } => Refused::Nothing(refused.to_string()),
        setting::Refused::NoAnswers | setting::Refused::NotOurs { .. } => {
            Refused::NotNow(refused.to_string())
        }
        other => Refused::Unfit(other.to_string()),
    })?;
    text(&Wanted { ids, effects })
}
