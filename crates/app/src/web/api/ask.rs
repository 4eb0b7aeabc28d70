//! A question with all that came with it, and why it is not answered.

use std::collections::BTreeMap;
use std::sync::Arc;

use api::endpoint::ROOT;
use logbook::export::time_text;
use logbook::mapping::rfc3339;
use logbook::received::Moment;
use logbook::store::StoreError;
use serde::Serialize;
use serde_json::Value;

use crate::web::House;
use crate::web::who::Asker;

/// Left out, a time begins so long before its end: 30 days \[us\].
const USUAL_SPAN: Moment = 30 * 24 * 3_600_000_000;

/// A question.
pub(super) struct Asked {
    pub(super) house: Arc<House>,
    pub(super) asker: Asker,
    pub(super) path: BTreeMap<String, String>,
    pub(super) query: BTreeMap<String, String>,
    pub(super) now: Moment,
}

/// Why a question is not answered.
#[derive(Debug, thiserror::Error)]
pub(super) enum Refused {
    /// What it is about is not there.
    #[error("{0}")]
    Nothing(String),
    /// It is asked wrongly.
    #[error("{0}")]
    Wrong(String),
    /// What is sent can't be taken.
    #[error("{0}")]
    Unfit(String),
    /// It is for others.
    #[error("{0}")]
    NotForYou(String),
    /// It can't be done as the site is.
    #[error("{0}")]
    NotNow(String),
    /// The log.
    #[error("{0}")]
    Store(#[from] StoreError),
}

impl From<rusqlite::Error> for Refused {
    fn from(error: rusqlite::Error) -> Self {
        Self::Store(error.into())
    }
}

impl Asked {
    /// What stands in the path.
    pub(super) fn part(&self, name: &str) -> &str {
        self.path.get(name).map_or("", String::as_str)
    }

    /// What must stand in the query.
    pub(super) fn needed(&self, name: &str) -> Result<&str, Refused> {
        let found = self.query.get(name).filter(|text| !text.is_empty());
        found.map(String::as_str).ok_or_else(|| Refused::Wrong(format!("say which `{name}`")))
    }

    /// A whole number of the query within bounds.
    pub(super) fn number(&self, name: &str, usual: i64, bounds: (i64, i64)) -> Result<i64, Refused> {
        let Some(text) = self.query.get(name) else { return Ok(usual) };
        let number = text.parse().ok().filter(|number| (bounds.0..=bounds.1).contains(number));
        number.ok_or_else(|| {
            Refused::Wrong(format!("`{name}` is a whole number from {} to {}", bounds.0, bounds.1))
        })
    }

    /// The time that is asked for, from its beginning to before its end.
    pub(super) fn span(&self) -> Result<(Moment, Moment), Refused> {
        let to = self.time("to")?.unwrap_or(self.now);
        let from = self.time("from")?.unwrap_or(to - USUAL_SPAN);
        if from < to { Ok((from, to)) } else { Err(Refused::Wrong("`from` lies before `to`".to_owned())) }
    }

    fn time(&self, name: &str) -> Result<Option<Moment>, Refused> {
        let Some(text) = self.query.get(name) else { return Ok(None) };
        moment(text).map(Some).ok_or_else(|| {
            Refused::Wrong(format!("`{name}` is a time as RFC 3339 writes it, such as 2026-11-30T06:00:00Z"))
        })
    }

    /// Whether positions are cut for whoever asks.
    pub(super) fn is_cut(&self) -> bool {
        !self.asker.sees_places()
    }

    /// Cuts the positions among values of a board's reading for those who may only read.
    pub(super) fn cut(&self, dev_eui: &str, at: Moment, values: &mut [(String, Value)]) {
        if self.is_cut() {
            self.house.known.sight(dev_eui).cut(values, at, self.now);
        }
    }
}

/// A moment as a program writes it; one that a calendar of four digits holds.
pub(super) fn moment(text: &str) -> Option<Moment> {
    rfc3339(text).filter(|at| time_text(*at).is_some() && *at >= 0)
}

/// A moment as RFC 3339 writes it.
pub(super) fn time(at: Moment) -> Result<String, Refused> {
    let why = || StoreError::Damaged { why: format!("{at} us since 1970 is no time of the calendar") };
    Ok(time_text(at).ok_or_else(why)?)
}

/// The same of one that may be missing.
pub(super) fn time_if(at: Option<Moment>) -> Result<Option<String>, Refused> {
    at.map(time).transpose()
}

/// The text of a shape.
pub(super) fn text<T: Serialize>(shape: &T) -> Result<String, Refused> {
    serde_json::to_string(shape).map_err(|error| {
        Refused::Store(StoreError::Damaged { why: format!("{ROOT} can't be answered: {error}") })
    })
}
