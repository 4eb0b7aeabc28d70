//! The pages of the demonstration, tried in a real browser; and that the map library is what its packages make.

use std::path::Path;
use std::process::{Command, Stdio};

use anyhow::{Context, Result, bail};

use crate::vendor;

/// What is needed for it.
const TOOLS: [&str; 3] = ["node", "npm", "chromium"];

/// Checks the scripts and opens every page; skipped where a tool is missing, unless this is the server.
pub(crate) fn check(root: &Path) -> Result<()> {
    let is_missing = |tool: &&str| {
        let asked = Command::new(tool).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status();
        !asked.is_ok_and(|status| status.success())
    };
    let missing: Vec<&str> = TOOLS.into_iter().filter(is_missing).collect();
    if !missing.is_empty() {
        if std::env::var_os("CI").is_some() {
            bail!("{} must be installed here", missing.join(", "));
        }
        println!("skipped: the pages in a browser, for want of {}", missing.join(", "));
        return Ok(());
    }
    let web = root.join("web");
    if !web.join("node_modules").is_dir() {
        run(&web, "npm", &["ci"])?;
    }
    vendor::check(root)?;
    run(&web, "npx", &["--no-install", "tsc", "-p", "tsconfig.json"])?;
    run(root, "cargo", &["build", "--locked", "-p", "overwinter"])?;
    run(&web, "node", &["--test", "--test-concurrency=1", "pages.test.js", "many.test.js", "south.test.js"])
}

fn run(folder: &Path, program: &str, arguments: &[&str]) -> Result<()> {
    let status = Command::new(program).args(arguments).current_dir(folder).status();
    let status = status.with_context(|| format!("{program} can't be started"))?;
    if !status.success() {
        bail!("`{program} {}` failed", arguments.join(" "));
    }
    Ok(())
}
