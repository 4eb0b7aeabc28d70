//! House-keeping: generated files, the rules between crates, and everything that must pass.

#![expect(clippy::print_stdout, clippy::print_stderr, reason = "a program for the terminal")]

mod cargo;
mod ci;
mod dependencies;
mod dist;
#[cfg(test)]
mod documents;
mod generate;
mod layers;
mod modules;
mod pages;
mod prove;
mod provenance;
mod source;
mod vendor;

use std::path::Path;
use std::process::ExitCode;

const USAGE: &str = "\
usage: cargo xtask TASK

  ci                  everything that must pass: formatting, layers, generated files, lints, tests, documentation
  generate            write the manual of the design file, its JSON Schema and the commented example
  generate --check    fail if one of them is not what the code says
  layers              check who uses whom, crates and modules, and that the pure crates are pure; draw it
  dependencies        check licences, sources and second versions of all crates in the program
  provenance          check that every file of data says where it comes from and under which licence
  third-party         print the licences of all crates in the program, with their texts
  sbom                print the bill of materials (CycloneDX, JSON)
  vendor              bundle the map library anew, from the npm packages of web/package-lock.json
  dist                build an archive for each system, into target/dist
  prove               say what can be proven at length
  prove NAME          prove it, which may take hours";

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let outcome = match words[..] {
        ["ci"] => ci::run(root()),
        ["generate"] => generate::write(root()),
        ["generate", "--check"] => generate::check(root()),
        ["dependencies"] => dependencies::check(root()),
        ["provenance"] => provenance::check(root()),
        ["third-party"] => {
            dependencies::third_party(root(), dependencies::PLATFORM).map(|text| print!("{text}"))
        }
        ["sbom"] => dependencies::bill(root(), dependencies::PLATFORM).map(|text| print!("{text}")),
        ["dist"] => dist::run(root()),
        ["layers"] => layers::check(root()).and_then(|()| layers::draw(root())),
        ["vendor"] => vendor::write(root()),
        ["prove"] => {
            prove::list();
            Ok(())
        }
        ["prove", name] => prove::run(root(), name),
        ["prove", "reach", folder] => prove::reach(root(), folder),
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
