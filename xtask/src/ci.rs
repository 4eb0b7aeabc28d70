//! Everything that must pass, in one command, the same here and on the server.

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use anyhow::{Context, Result, ensure};

use crate::{generate, layers};

/// One thing that must pass.
enum Task {
    /// A function of this program.
    Own(fn(&Path) -> Result<()>),
    /// A cargo command.
    Cargo(&'static [&'static str]),
}

/// Name and task, the quick ones first.
const STEPS: [(&str, Task); 6] = [
    ("formatting", Task::Cargo(&["fmt", "--all", "--check"])),
    ("layers", Task::Own(layers::check)),
    ("generated files", Task::Own(generate::check)),
    ("lints", Task::Cargo(&["clippy", "--locked", "--workspace", "--all-targets", "--", "-D", "warnings"])),
    ("tests", Task::Cargo(&["test", "--locked", "--workspace"])),
    ("documentation", Task::Cargo(&["doc", "--locked", "--workspace", "--no-deps"])),
];

/// Runs every step and stops at the first that fails, with its name.
pub(crate) fn run(root: &Path) -> Result<()> {
    let mut times: Vec<(&str, Duration)> = Vec::new();
    for (name, task) in &STEPS {
        println!("\n== {name}");
        let start = Instant::now();
        match task {
            Task::Own(check) => check(root),
            Task::Cargo(arguments) => cargo(root, arguments),
        }
        .with_context(|| format!("{name} failed"))?;
        times.push((*name, start.elapsed()));
    }
    println!("\nall passed");
    for (name, time) in times {
        println!("{:>6} s  {name}", time.as_secs());
    }
    Ok(())
}

fn cargo(root: &Path, arguments: &[&str]) -> Result<()> {
    let program = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let status = Command::new(program)
        .args(arguments)
        .current_dir(root)
        .env("RUSTDOCFLAGS", "-D warnings")
        .status()
        .context("can't start cargo")?;
    ensure!(status.success(), "`cargo {}` ended with {status}", arguments.join(" "));
    Ok(())
}
