//! What is wrong with a request, for programs.
//!
//! # References
//! RFC 9457, Problem Details for HTTP APIs, section 3.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde_json::{Value, json};

/// With members of ours beside its own.
pub(super) fn problem(status: StatusCode, why: &str, more: &Value) -> Response {
    let title = status.canonical_reason();
    let mut body = json!({ "title": title, "status": status.as_u16(), "detail": why });
    if let (Some(body), Some(more)) = (body.as_object_mut(), more.as_object()) {
        body.extend(more.clone());
    }
    let fields = [(header::CONTENT_TYPE, "application/problem+json"), (header::CACHE_CONTROL, "no-store")];
    (status, fields, body.to_string() + "\n").into_response()
}

/// The same without members of ours.
pub(super) fn plain(status: StatusCode, why: &str) -> Response {
    problem(status, why, &json!({}))
}
