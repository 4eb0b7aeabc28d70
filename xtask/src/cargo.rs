//! Cargo as this program calls it.

use std::path::Path;
use std::process::Command;

use anyhow::{Context, Result, ensure};

/// Runs a cargo command with more in its environment; fails if it does.
pub(crate) fn cargo(root: &Path, arguments: &[&str], environment: &[(&str, &str)]) -> Result<()> {
    let program = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let status = Command::new(program)
        .args(arguments)
        .current_dir(root)
        .envs(environment.iter().copied())
        .status()
        .context("can't start cargo")?;
    ensure!(status.success(), "`cargo {}` ended with {status}", arguments.join(" "));
    Ok(())
}
