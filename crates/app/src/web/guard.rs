//! Who may ask. A browser that was led here under a foreign name is refused, so that a page of somebody else's cannot read
//! the log through it; and until there are accounts, what is not meant for everybody is answered on this machine alone.

use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::uri::Authority;
use axum::http::{StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};
use design::serve::Page;

use super::House;
use super::posted;

/// Lets a request through, or says why not.
pub(super) async fn check(State(house): State<Arc<House>>, request: Request, next: Next) -> Response {
    let named = request.headers().get(header::HOST).and_then(|host| host.to_str().ok());
    let authority = named.or_else(|| request.uri().authority().map(Authority::as_str));
    if !authority.is_some_and(|authority| is_ours(&house.page, authority)) {
        let why = "this server is not called by that name; [serve] hosts names those it answers to\n";
        return (StatusCode::MISDIRECTED_REQUEST, why).into_response();
    }
    if !stays_here(&house.page) && !is_for_all(&house, request.uri().path()) {
        let why = "answered on the machine itself alone, as long as there are no accounts\n";
        return (StatusCode::FORBIDDEN, why).into_response();
    }
    next.run(request).await
}

/// Whether only programs of this machine reach it.
fn stays_here(page: &Page) -> bool {
    page.listen.ip().is_loopback() && !page.behind_proxy
}

fn is_for_all(house: &House, path: &str) -> bool {
    path == "/health" || posted::source(&house.posted, path).is_some()
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
