//! Who may ask. A browser that was led here under a foreign name is refused, so that a page of somebody else's cannot read
//! the log through it; so is a change that another page sends. Whoever asks is known before anything is answered that is not
//! meant for everybody; until there are accounts, that is the machine itself alone.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::uri::Authority;
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use design::serve::Page;
use logbook::store::StoreError;

use super::posted;
use super::problem::plain;
use super::who::{self, Asker, Found};
use super::{House, login};

/// Lets a request through with who asks, or says why not.
pub(super) async fn check(State(house): State<Arc<House>>, mut request: Request, next: Next) -> Response {
    let named = host(request.headers()).or_else(|| request.uri().authority().map(Authority::as_str));
    if !named.is_some_and(|authority| is_ours(&house.page, authority)) {
        let why = "this server is not called by that name; [serve] hosts names those it answers to";
        return plain(StatusCode::MISDIRECTED_REQUEST, why);
    }
    let path = request.uri().path();
    if path == "/health" || posted::source(&house.posted, path).is_some() {
        return next.run(request).await;
    }
    if !is_read(request.method()) && is_from_elsewhere(request.headers()) {
        return plain(StatusCode::FORBIDDEN, "a page of another server can't change anything here");
    }
    if house.is_copy {
        // What is typed and pasted there is looked at, and not kept.
        if !is_read(request.method()) && !path.starts_with("/design/") && path != "/intake" {
            return plain(StatusCode::FORBIDDEN, "a copy of the log is shown here: nothing is written");
        }
        request.extensions_mut().insert(Asker::machine(&house.gate.machine));
        return next.run(request).await;
    }
    if login::is_for_all(path) {
        return next.run(request).await;
    }
    match asker(&house, request.headers()).await {
        Ok(asker) => drop(request.extensions_mut().insert(asker)),
        Err(Stranger::NoAccounts) => return plain(StatusCode::FORBIDDEN, NO_ACCOUNTS),
        Err(Stranger::Nobody) => return nobody(&request),
        Err(Stranger::Unknown(error)) => return plain(StatusCode::SERVICE_UNAVAILABLE, &error.to_string()),
    }
    next.run(request).await
}

/// Why nobody is let in.
pub(super) enum Stranger {
    /// There are no accounts, and not this machine alone reaches the page.
    NoAccounts,
    /// There are, and this is none of them.
    Nobody,
    /// The log can't be read.
    Unknown(StoreError),
}

/// Who sends a request with these fields, if that is somebody who is let in.
pub(super) async fn asker(house: &House, fields: &HeaderMap) -> Result<Asker, Stranger> {
    match who::asks(house, fields).await {
        Ok(Found::Known(asker)) => Ok(asker),
        Ok(Found::NoAccounts) if stays_here(&house.page) => Ok(Asker::machine(&house.gate.machine)),
        Ok(Found::NoAccounts) => Err(Stranger::NoAccounts),
        Ok(Found::Nobody) => Err(Stranger::Nobody),
        Err(error) => Err(Stranger::Unknown(error)),
    }
}

const NO_ACCOUNTS: &str = "answered on the machine itself alone, as long as there are no accounts; make the first with \
                           `overwinter people SITE.toml add NAME --may keys`";

fn host(fields: &HeaderMap) -> Option<&str> {
    fields.get(header::HOST).and_then(|host| host.to_str().ok())
}

fn is_read(method: &Method) -> bool {
    matches!(*method, Method::GET | Method::HEAD)
}

/// Whether a browser says that a page of another server sends it.
///
/// # References
/// W3C, Fetch Metadata Request Headers, section 2.3; WHATWG Fetch, "Origin header".
fn is_from_elsewhere(fields: &HeaderMap) -> bool {
    let text = |name: &str| fields.get(name).map(|field| field.to_str().unwrap_or("unreadable"));
    let site = text("sec-fetch-site");
    if site.is_some_and(|site| site != "same-origin" && site != "none") {
        return true;
    }
    let Some(origin) = text("origin") else { return false };
    let authority = origin.split_once("://").map(|(_, authority)| authority);
    authority.is_none() || authority != host(fields)
}

/// A person is led to where he logs in, a program is told.
fn nobody(request: &Request) -> Response {
    let accepts = request.headers().get(header::ACCEPT).and_then(|field| field.to_str().ok());
    let is_person = accepts.is_some_and(|accepts| accepts.contains("text/html"));
    if is_person && is_read(request.method()) {
        return login::lead_to(request.uri());
    }
    let why = "log in at /login, or show the word of a program: `Authorization: Bearer WORD`";
    ([(header::WWW_AUTHENTICATE, "Bearer")], plain(StatusCode::UNAUTHORIZED, why)).into_response()
}

/// Whether only programs of this machine reach it.
fn stays_here(page: &Page) -> bool {
    page.listen.ip().is_loopback() && !page.behind_proxy
}

/// Whether a host is one of ours. Numbers can't be given to another machine by a name server; names can.
fn is_ours(page: &Page, authority: &str) -> bool {
    let host = match authority.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => authority.rsplit_once(':').map_or(authority, |(host, _)| host),
    };
    let listens = page.listen.ip();
    if let Ok(address) = host.parse::<IpAddr>() {
        return address == listens
            || listens.is_unspecified()
            || (address.is_loopback() && listens.is_loopback());
    }
    (host.eq_ignore_ascii_case("localhost") && (listens.is_loopback() || listens.is_unspecified()))
        || page.hosts.iter().any(|name| name.eq_ignore_ascii_case(host))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_another_page_sends_is_known_by_what_the_browser_says_of_it() {
        let fields = |pairs: &[(&'static str, &str)]| -> HeaderMap {
            let pair = |(name, value): &(&'static str, &str)| {
                (name.parse().expect("a name"), value.parse().expect("a value"))
            };
            pairs.iter().map(pair).collect()
        };
        let host = ("host", "farm.example:8750");
        for ours in [
            &[host][..],
            &[host, ("sec-fetch-site", "same-origin"), ("origin", "https://farm.example:8750")],
            &[host, ("origin", "http://farm.example:8750")],
        ] {
            assert!(!is_from_elsewhere(&fields(ours)), "{ours:?}");
        }
        for theirs in [
            &[host, ("sec-fetch-site", "cross-site")][..],
            &[host, ("sec-fetch-site", "same-site")],
            &[host, ("origin", "https://evil.example")],
            &[host, ("origin", "https://farm.example")],
            &[host, ("origin", "null")],
            &[("origin", "https://farm.example:8750")],
        ] {
            assert!(is_from_elsewhere(&fields(theirs)), "{theirs:?}");
        }
    }
}
