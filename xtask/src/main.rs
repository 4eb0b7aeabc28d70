//! House-keeping: generated files, the rules between crates, and everything that must pass.

#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a program for the terminal")]

mod ci;
#[cfg(test)]
mod documents;
mod generate;
mod layers;

use std::path::Path;
use std::process::ExitCode;

const USAGE: &str = "\
usage: cargo xtask TASK

  ci                  everything that must pass: formatting, layers, generated files, lints, tests, documentation
  generate            write the manual of the design file, its JSON Schema and the commented example
  generate --check    fail if one of them is not what the code says
  layers              check which crate uses which, and that the pure crates are pure";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match words[..] {
        ["ci"] => ci::run(root()),
        ["generate"] => generate::write(root()),
        ["generate", "--check"] => generate::check(root()),
        ["layers"] => layers::check(root()),
        _ => {
            eprintln!("{USAGE}");
            return ExitCode::from(2);
        }
    };
    if let Err(error) = outcome {
        eprintln!("xtask: {error:#}");
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

/// The workspace this program was built in.
fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("xtask lies inside the workspace")
}
