//! Everything that must pass, in one command, the same here and on the server.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use anyhow::{Context, Result};

use crate::cargo::cargo;
use crate::{generate, layers, pages};

/// One thing that must pass.
enum Task {
    /// A function of this program.
    Own(fn(&Path) -> Result<()>),
    /// A cargo command.
    Cargo(&'static [&'static str]),
}

/// Name and task, the quick ones first.
const STEPS: [(&str, Task); 7] = [
    ("formatting", Task::Cargo(&["fmt", "--all", "--check"])),
    ("layers", Task::Own(layers::check)),
    ("generated files", Task::Own(generate::check)),
    ("lints", Task::Cargo(&["clippy", "--locked", "--workspace", "--all-targets", "--", "-D", "warnings"])),
    ("tests", Task::Cargo(&["test", "--locked", "--workspace", "--no-fail-fast"])),
    ("pages in a browser", Task::Own(pages::check)),
    ("documentation", Task::Cargo(&["doc", "--locked", "--workspace", "--no-deps"])),
];

/// Runs every step and stops at the first that fails, with its name.
pub(crate) fn run(root: &Path) -> Result<()> {
    let mut times: Vec<(&str, Duration)> = Vec::new();
    let notes = root.join("target/notes-of-tests.txt");
    // The last run's, if there was one.
    let _left = fs::remove_file(&notes);
    let path = notes.to_string_lossy();
    let environment = [("RUSTDOCFLAGS", "-D warnings"), ("OVERWINTER_NOTES", &*path)];
    for (name, task) in &STEPS {
        println!("\n== {name}");
        let start = Instant::now();
        match task {
            Task::Own(check) => check(root),
            Task::Cargo(arguments) => cargo(root, arguments, &environment),
        }
        .with_context(|| format!("{name} failed"))?;
        times.push((*name, start.elapsed()));
    }
    say_notes(&notes);
    println!("\nall passed");
    for (name, time) in times {
        println!("{:>6} s  {name}", time.as_secs());
    }
    Ok(())
}

/// What tests noted: what was skipped, and how much was tried.
fn say_notes(notes: &Path) {
    let text = fs::read_to_string(notes).unwrap_or_default();
    let mut lines: Vec<&str> = text.lines().collect();
    lines.sort_unstable();
    lines.dedup();
    let (skipped, tried): (Vec<&str>, Vec<&str>) =
        lines.into_iter().partition(|line| line.starts_with("skipped: "));
    for (title, lines) in [("tests tell", tried), ("tests skipped", skipped)] {
        println!("\n{} {title}", lines.len());
        for line in lines {
            println!("  {line}");
        }
    }
}
