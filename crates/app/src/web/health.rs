//! Whether all is well: what a supervisor asks.

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde_json::json;

use super::House;
use super::pulse::Pulse;

/// 200 if the log is written, the clock believed, and every connection stands, else 503; why not, in words.
pub(super) fn answer(house: &House) -> Response {
    let wrong = wrong(&house.pulse);
    told(&wrong)
}

/// 503 until the key box is open; whatever is posted is to be sent again.
pub(super) fn shut() -> Response {
    let wrong = told(&["the key box is shut: its passphrase is asked for".to_owned()]);
    ([(header::RETRY_AFTER, "5")], wrong).into_response()
}

fn told(wrong: &[String]) -> Response {
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::SERVICE_UNAVAILABLE };
    let body = json!({ "well": wrong.is_empty(), "wrong": wrong }).to_string() + "\n";
    let fields = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
    (status, fields, body).into_response()
}

/// What is wrong now.
pub(super) fn wrong(pulse: &Pulse) -> Vec<String> {
    let counted = pulse.counted();
    let mut wrong = Vec::new();
    if *pulse.stopping().borrow() {
        wrong.push("it is being stopped".to_owned());
    }
    wrong.extend(counted.trouble.map(|why| format!("the log can't be written: {why}")));
    wrong.extend(counted.clock.map(|why| format!("{why}; nothing is answered")));
    let broken = counted.connections.into_iter();
    wrong.extend(broken.filter_map(|(name, state)| Some(format!("{name}: {}", state.err()?))));
    wrong
}
