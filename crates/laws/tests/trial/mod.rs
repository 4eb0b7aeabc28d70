//! What a test does that may be skipped or that draws numbers; other crates take this file by its path.

use std::env;
use std::fs::OpenOptions;
use std::io::Write as _;

/// Set by `cargo xtask ci` to a file in which it collects what is noted.
const NOTES: &str = "OVERWINTER_NOTES";
/// Set by `.cargo/config.toml` for every run, and by `cargo xtask prove random` to a fresh one.
const SEED: &str = "PROPTEST_RNG_SEED";

/// The seed of a test that draws numbers: its own and that of the run.
pub(crate) fn seed(own: u64) -> u64 {
    let of_run = env::var(SEED).ok().and_then(|text| text.parse::<u64>().ok()).unwrap_or_default();
    of_run.wrapping_add(own)
}

/// Notes that a test was skipped because of what is not there. On the server, where `.ci/run` installs all that can be
/// installed, a program that is missing is a failure.
pub(crate) fn skipped(missing: &Missing<'_>) {
    let text = match missing {
        Missing::Program(name) if env::var("CI").is_ok_and(|value| value == "true") => {
            panic!("{name} is not installed; .ci/run installs it")
        }
        Missing::Program(name) => format!("skipped: {name} is not installed"),
        Missing::Folder(name) => format!("skipped: {name} is not beside the repository"),
    };
    let test = std::thread::current().name().unwrap_or("a test").to_owned();
    note(&format!("{text} ({test})"));
}

/// What a test needs and did not find.
pub(crate) enum Missing<'a> {
    /// A compiler or interpreter.
    Program(&'a str),
    /// Data that may not be copied into the repository.
    Folder(&'a str),
}

/// Says something that must be seen even if the test passes, whose output nobody reads.
pub(crate) fn note(text: &str) {
    let Some(path) = env::var_os(NOTES) else {
        // Not `eprintln`, which a passing test swallows.
        let _unseen = writeln!(std::io::stderr(), "{text}");
        return;
    };
    let mut notes =
        OpenOptions::new().create(true).append(true).open(path).expect("the notes can be written");
    writeln!(notes, "{text}").expect("the notes can be written");
}
