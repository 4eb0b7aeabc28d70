//! How a state becomes an answer: read from the log beside everything else, then as a page or as data.

use std::collections::BTreeMap;
use std::convert::Infallible;
use std::fmt::Write as _;
use std::sync::Arc;

use axum::extract::{FromRequestParts, Query, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use design::date::moment_text;
use logbook::clock::now;
use logbook::people::Word;
use logbook::received::Moment;
use logbook::store::since::Said;
use logbook::store::{StoreError, sqlite};
use logbook::zone::Zone;
use report::page::design::DesignPage;
use report::page::{self, Frame, Page, Person, When};
use report::words;
use rusqlite::Connection;
use serde::Serialize;
use sha2::{Digest as _, Sha256};
use tokio::task::JoinError;
use wire::identity::{DevEui, GatewayEui};

use super::House;
use super::problem::plain;
use super::who::Asker;

/// Nothing but what this server itself gives, and nothing written into a page, may run, be drawn or be asked.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; font-src 'self'; \
                      frame-ancestors 'none'; form-action 'self'; base-uri 'none'; img-src 'self' data:";

/// What is asked of a page beside its path.
#[derive(Clone, Debug, Default)]
pub(super) struct Wish {
    /// What stands behind the question mark.
    pub(super) query: BTreeMap<String, String>,
    seen: Option<String>,
    /// Who has logged in.
    person: Option<Person>,
    /// Whether whoever asks sees where things are as they are.
    sees_places: bool,
}

impl<S: Send + Sync> FromRequestParts<S> for Wish {
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Infallible> {
        // A query that can't be read asks for nothing.
        let query = Query::<BTreeMap<String, String>>::from_request_parts(parts, state).await;
        let seen = parts.headers.get(header::IF_NONE_MATCH).and_then(|tag| tag.to_str().ok());
        let asker = parts.extensions.get::<Asker>();
        let sees_places = asker.is_some_and(Asker::sees_places);
        let person = asker.filter(|asker| asker.login().is_some()).map(|asker| Person {
            name: asker.name().to_owned(),
            form_word: asker.form_word().map(Word::reveal).unwrap_or_default().to_owned(),
        });
        Ok(Self {
            query: query.map(|Query(query)| query).unwrap_or_default(),
            seen: seen.map(str::to_owned),
            person,
            sees_places,
        })
    }
}

impl Wish {
    /// A word of the query.
    pub(super) fn word(&self, key: &str) -> Option<&str> {
        self.query.get(key).map(String::as_str).filter(|word| !word.is_empty())
    }

    /// Whether the asker has seen what this tag stands for.
    pub(super) fn has_seen(&self, tag: &str) -> bool {
        self.seen.as_ref().is_some_and(|seen| seen.split(',').any(|one| one.trim() == tag))
    }
}

/// What a state is made from.
pub(super) struct Look<'a> {
    /// The site, and how it is.
    pub(super) house: &'a House,
    /// Its log, which can only be read here.
    pub(super) log: &'a Connection,
    /// What was asked.
    pub(super) wish: &'a Wish,
    /// The time.
    pub(super) now: Moment,
}

impl Look<'_> {
    /// Whether whoever asks sees where things are as they are.
    pub(super) const fn sees_places(&self) -> bool {
        self.wish.sees_places
    }

    /// Cuts the positions in what a device said, for those who may only read.
    pub(super) fn cut(&self, dev_eui: &str, said: &mut [Said]) {
        if !self.sees_places() {
            let sight = self.house.known.sight(dev_eui);
            for said in said {
                sight.cut(&mut said.values, said.at, self.now);
            }
        }
    }

    /// A moment as people of the site read it.
    pub(super) fn when(&self, at: Moment) -> When {
        when(at, self.now, &self.house.zone)
    }

    /// What people call a gateway; its identity where the site file does not name it.
    pub(super) fn gateway(&self, eui: &str) -> String {
        let gateways = &self.house.site.fleet.surroundings.gateways;
        let is_it = |bytes: [u8; 8]| GatewayEui::from_display_bytes(bytes).to_string() == eui;
        let known = gateways.iter().find(|gateway| gateway.eui.is_some_and(is_it));
        known.map_or_else(|| eui.to_owned(), |gateway| gateway.name.clone())
    }

    /// What people call a device; its identity where nobody named it.
    pub(super) fn name(&self, dev_eui: &str) -> String {
        let known = DevEui::from_display(dev_eui).ok().and_then(|eui| self.house.names.get(&eui));
        known.cloned().unwrap_or_else(|| dev_eui.to_owned())
    }
}

/// A moment as RFC 3339 writes it, to the second; `None` outside its years.
pub(super) fn in_utc(at: Moment) -> Option<String> {
    let text = u64::try_from(at.div_euclid(1_000_000)).ok().and_then(moment_text)?;
    // Whole minutes come without seconds, which the standard wants.
    Some(if text.matches(':').count() == 1 { text.replace('Z', ":00Z") } else { text })
}

/// A day as `2027-05-01`, UTC; `None` outside the years of RFC 3339.
pub(super) fn day_in_utc(at: Moment) -> Option<String> {
    in_utc(at).and_then(|text| text.get(..10).map(str::to_owned))
}

/// A month as "November 2027", UTC; `None` outside the years of RFC 3339.
pub(super) fn month_in_utc(at: Moment) -> Option<String> {
    let day = day_in_utc(at)?;
    let month: u8 = day.get(5..7)?.parse().ok()?;
    Some(format!("{} {}", words::month(month), day.get(..4)?))
}

fn when(at: Moment, now: Moment, zone: &Zone) -> When {
    let text = in_utc(at);
    let clock = match (zone.day(at), zone.day(now)) {
        (Some(day), Some(today)) if day == today => zone.clock(at),
        (Some((year, month, day)), today) => {
            let year =
                if today.is_some_and(|today| today.0 == year) { String::new() } else { format!(" {year}") };
            let month = words::month_short(u8::try_from(month).unwrap_or_default());
            format!("{day} {month}{year}, {}", zone.clock(at))
        }
        (None, _) => "no time".to_owned(),
    };
    When {
        at: text.unwrap_or_else(|| format!("{at} us since 1970")),
        clock,
        ago: words::ago((now - at).div_euclid(1_000_000)),
    }
}

/// Shows what follows from a text that somebody has typed: as a page, or the answer alone.
pub(super) async fn typed(
    house: Arc<House>,
    wish: Wish,
    is_part: bool,
    page: impl FnOnce(&House) -> Option<DesignPage> + Send + 'static,
) -> Response {
    let worked = tokio::task::spawn_blocking(move || {
        let Some(page) = page(&house) else { return plain(StatusCode::NOT_FOUND, "nothing is here") };
        if is_part {
            let kind = [(header::CONTENT_TYPE, "text/html; charset=utf-8")];
            return (kind, page.answer.shown().into_string()).into_response();
        }
        let log = match sqlite::reader(&house.log) {
            Ok(log) => log,
            Err(error) => return failed(&error),
        };
        shown(&Look { house: &house, log: &log, wish: &wish, now: now() }, &page)
    });
    worked.await.unwrap_or_else(|_gone| {
        plain(StatusCode::INTERNAL_SERVER_ERROR, "this page has failed; please report it")
    })
}

/// Reads a state from the log and shows it; `None` where there is nothing of that name.
pub(super) async fn answer<P: Page + 'static>(
    house: Arc<House>,
    wish: Wish,
    state: impl FnOnce(&Look<'_>) -> Result<Option<P>, StoreError> + Send + 'static,
) -> Response {
    let read = tokio::task::spawn_blocking(move || {
        let log = sqlite::reader(&house.log)?;
        let look = Look { house: &house, log: &log, wish: &wish, now: now() };
        Ok(state(&look)?.map(|page| shown(&look, &page)))
    });
    ended(read.await)
}

/// Reads a part of a page from the log and shows it alone.
pub(super) async fn part(
    house: Arc<House>,
    wish: Wish,
    part: impl FnOnce(&Look<'_>) -> Result<Option<String>, StoreError> + Send + 'static,
) -> Response {
    let read = tokio::task::spawn_blocking(move || {
        let log = sqlite::reader(&house.log)?;
        let part = part(&Look { house: &house, log: &log, wish: &wish, now: now() })?;
        Ok(part.map(|part| {
            let kind = [(header::CONTENT_TYPE, "text/html; charset=utf-8")];
            (kind, part).into_response()
        }))
    });
    ended(read.await)
}

/// Reads a state from the log and answers it as data alone.
pub(super) async fn data<T: Serialize + 'static>(
    house: Arc<House>,
    wish: Wish,
    state: impl FnOnce(&Look<'_>) -> Result<Option<T>, StoreError> + Send + 'static,
) -> Response {
    let read = tokio::task::spawn_blocking(move || {
        let log = sqlite::reader(&house.log)?;
        let state = state(&Look { house: &house, log: &log, wish: &wish, now: now() })?;
        let text = state.map(|state| serde_json::to_string(&state)).transpose();
        let text = text.map_err(|error| StoreError::Damaged { why: error.to_string() })?;
        Ok(text.map(|text| tagged(&wish, "application/json", &tag(&[text.as_bytes()]), || text)))
    });
    ended(read.await)
}

fn ended(read: Result<Result<Option<Response>, StoreError>, JoinError>) -> Response {
    match read {
        Ok(Ok(Some(response))) => response,
        Ok(Ok(None)) => plain(StatusCode::NOT_FOUND, "nothing is here"),
        Ok(Err(error)) => failed(&error),
        Err(_gone) => plain(StatusCode::INTERNAL_SERVER_ERROR, "this page has failed; please report it"),
    }
}

fn failed(error: &StoreError) -> Response {
    let fields = [(header::RETRY_AFTER, "5")];
    (fields, plain(StatusCode::SERVICE_UNAVAILABLE, &error.to_string())).into_response()
}

fn shown<P: Page>(look: &Look<'_>, page: &P) -> Response {
    let data = match page::json(page) {
        Ok(data) => format!("{data:#}\n"),
        Err(error) => {
            return plain(
                StatusCode::INTERNAL_SERVER_ERROR,
                &format!("this state can't be written: {error}"),
            );
        }
    };
    if look.wish.word("format") == Some("json") {
        return tagged(look.wish, "application/json", &tag(&[data.as_bytes()]), || data);
    }
    // What was "just now" a minute ago is so no longer.
    let minute = look.now.div_euclid(60_000_000);
    let word = look.wish.person.as_ref().map_or("", |person| person.form_word.as_str());
    let tag = tag(&[data.as_bytes(), &minute.to_be_bytes(), word.as_bytes()]);
    tagged(look.wish, "text/html; charset=utf-8", &tag, || page::html(&frame(look), page))
}

fn frame(look: &Look<'_>) -> Frame {
    let house = look.house;
    Frame {
        site: house.site.fleet.name.clone(),
        at: look.when(look.now),
        zone: house.site.fleet.time_zone.clone().unwrap_or_else(|| "UTC".to_owned()),
        person: look.wish.person.clone(),
    }
}

/// A name of contents; weak, because they travel packed or not.
pub(super) fn tag(contents: &[&[u8]]) -> String {
    let digest = contents.iter().fold(Sha256::new(), Sha256::chain_update).finalize();
    let mut tag = "W/\"".to_owned();
    for byte in digest.iter().take(12) {
        write!(tag, "{byte:02x}").expect("a string takes any text");
    }
    tag + "\""
}

/// Contents with their tag, or that the asker has them.
pub(super) fn tagged(wish: &Wish, kind: &str, tag: &str, contents: impl FnOnce() -> String) -> Response {
    let fields = [(header::ETAG, tag), (header::CACHE_CONTROL, "private, no-cache")];
    if wish.has_seen(tag) {
        return (StatusCode::NOT_MODIFIED, fields).into_response();
    }
    let [tag, cache] = fields;
    ([(header::CONTENT_TYPE, kind), tag, cache], contents()).into_response()
}

/// Says on every answer what a page may do; pictures of the basemap may come from its host.
pub(super) async fn policy(State(house): State<Arc<House>>, request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let fields = response.headers_mut();
    let basemap = house.page.basemap.as_ref();
    let opened = basemap.map(|map| HeaderValue::from_str(&format!("{POLICY} {}", map.origin())));
    let policy =
        opened.transpose().expect("a host of the site file is of letters, digits, points and dashes");
    let policy = policy.unwrap_or(HeaderValue::from_static(POLICY));
    fields.insert(header::CONTENT_SECURITY_POLICY, policy);
    fields.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    // Other hosts are told nothing. With "no-referrer" a browser would not say either that a form comes from here.
    fields.insert(header::REFERRER_POLICY, HeaderValue::from_static("same-origin"));
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2026-11-30 10:00:00 UTC: 20,787 days after 1970-01-01 (by hand: 56 years with 14 leap days are 20,454; 333 days of 2026).
    const NOW: Moment = (20_787 * 24 + 10) * 3_600_000_000;

    #[test]
    fn a_time_of_today_has_no_date_and_one_of_another_year_has_its_year() {
        let shown = |before: Moment| when(NOW - before, NOW, &Zone::UTC);
        assert_eq!(shown(0).at, "2026-11-30T10:00:00Z");
        assert_eq!((shown(0).clock.as_str(), shown(0).ago.as_str()), ("10:00:00Z", "just now"));
        assert_eq!(shown(11 * 3_600_000_000).clock, "29 Nov, 23:00:00Z");
        assert_eq!(shown(365 * 86_400_000_000).clock, "30 Nov 2025, 10:00:00Z");
        assert_eq!(shown(365 * 86_400_000_000).ago, "365 days ago");
    }

    #[test]
    fn a_tag_that_was_seen_is_known_among_others() {
        let wish = Wish { seen: Some("W/\"a\", W/\"b\"".into()), ..Wish::default() };
        assert!(
            wish.has_seen("W/\"b\"") && !wish.has_seen("W/\"c\"") && !Wish::default().has_seen("W/\"a\"")
        );
        assert_ne!(tag(&[b"one"]), tag(&[b"other"]));
    }
}
