//! `enrol` and `explain` as a person runs them.

mod desk;
mod enrolled;
#[cfg(unix)]
mod killed;
mod restored;
