//! The computer's clock.

use std::time::{SystemTime, UNIX_EPOCH};

use crate::received::Moment;

/// Microseconds since 1970; a clock that stands before is taken to stand there.
pub fn now() -> Moment {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    Moment::try_from(since.as_micros()).unwrap_or(Moment::MAX)
}
