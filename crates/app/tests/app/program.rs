//! Running the real program from the top of the repository.

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// What a run left behind.
pub(crate) struct Run {
    /// Exit code.
    pub(crate) code: Option<i32>,
    /// Standard output.
    pub(crate) stdout: String,
    /// Standard error.
    pub(crate) stderr: String,
}

/// The top of the repository.
pub(crate) fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// The program, not yet started, with the environment that decides about colours and width cleared.
pub(crate) fn program(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_overwinter"));
    command.args(arguments).current_dir(root()).stdin(Stdio::null());
    for variable in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "COLUMNS", "TERM"] {
        command.env_remove(variable);
    }
    command
}

/// Runs the program to its end.
pub(crate) fn run(arguments: &[&str]) -> Run {
    let output = program(arguments).output().expect("the program starts");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("it prints UTF-8");
    Run { code: output.status.code(), stdout: text(output.stdout), stderr: text(output.stderr) }
}
