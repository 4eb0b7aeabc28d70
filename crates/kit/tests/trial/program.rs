//! Programs of other languages, run in a folder of their own.

#![expect(
    clippy::disallowed_methods,
    reason = "it writes files of its own and starts compilers and interpreters"
)]

use std::fs;
use std::io::Write as _;
use std::path::Path;
use std::process::{Command, Stdio};

use tempfile::TempDir;

use super::notes;

/// Whether a program is there; notes it if not.
pub(crate) fn is_there(program: &str) -> bool {
    let there = Command::new(program)
        .arg("--version")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .stdin(Stdio::null())
        .status()
        .is_ok();
    if !there {
        notes::skipped(&notes::Missing::Program(program));
    }
    there
}

/// A folder that is removed afterwards, with files in it.
pub(crate) fn folder(files: &[(&str, &str)]) -> TempDir {
    let folder = tempfile::tempdir().expect("there is room for files");
    for (name, text) in files {
        fs::write(folder.path().join(name), text).expect("the file can be written");
    }
    folder
}

/// Runs a program with lines on its standard input, and returns the lines that it prints; panics if it fails.
pub(crate) fn run(folder: &Path, program: &str, arguments: &[&str], input: &str) -> Vec<String> {
    // From a file, so that neither side waits for the other.
    let stdin = folder.join("input");
    fs::File::create(&stdin)
        .and_then(|mut file| file.write_all(input.as_bytes()))
        .expect("the input can be written");
    let output = Command::new(program)
        .args(arguments)
        .current_dir(folder)
        .stdin(fs::File::open(&stdin).expect("it was just written"))
        .output()
        .unwrap_or_else(|error| panic!("{program} can't be started: {error}"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "{program} {arguments:?}: {}\n{}",
        output.status,
        &said[..said.len().min(4000)]
    );
    String::from_utf8(output.stdout).expect("it prints text").lines().map(str::to_owned).collect()
}

/// Whether a program ends well.
pub(crate) fn succeeds(folder: &Path, program: &str, arguments: &[&str]) -> bool {
    let output = Command::new(program).args(arguments).current_dir(folder).stdin(Stdio::null()).output();
    output.unwrap_or_else(|error| panic!("{program} can't be started: {error}")).status.success()
}
