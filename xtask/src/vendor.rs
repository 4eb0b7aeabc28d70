//! The map library, bundled from its npm packages into one module that is committed, so that building needs no npm.

use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::Command;

use anyhow::{Context, Result, ensure};
use serde_json::Value;

/// What is made, from where the program takes it.
const FOLDER: &str = "crates/app/page/vendor";
/// Packages whose code is in the bundle, and the file of their licence.
const PACKAGES: [(&str, &str); 3] = [("ol", "LICENSE.md"), ("quickselect", "LICENSE"), ("rbush", "LICENSE")];

/// Makes the bundle and its list of licences.
pub(crate) fn write(root: &Path) -> Result<()> {
    for (name, text) in made(root)? {
        fs::write(root.join(FOLDER).join(name), text)?;
    }
    Ok(())
}

/// Fails if what is committed is not what the packages of the lock file make.
pub(crate) fn check(root: &Path) -> Result<()> {
    for (name, text) in made(root)? {
        let path = root.join(FOLDER).join(name);
        let committed = fs::read_to_string(&path).with_context(|| format!("{FOLDER}/{name} is not there"))?;
        ensure!(committed == text, "{FOLDER}/{name} is not what the packages make: run `cargo xtask vendor`");
    }
    Ok(())
}

/// The files by their names.
fn made(root: &Path) -> Result<[(&'static str, String); 2]> {
    let web = root.join("web");
    let mut licences = String::new();
    let mut names = Vec::new();
    for (name, file) in PACKAGES {
        let package = web.join("node_modules").join(name);
        let manifest: Value = serde_json::from_str(&fs::read_to_string(package.join("package.json"))?)?;
        let field = |key: &str| manifest[key].as_str().with_context(|| format!("{name} has no {key}"));
        let named = format!("{name} {} ({})", field("version")?, field("license")?);
        let text = fs::read_to_string(package.join(file))?;
        writeln!(licences, "{}\n{named}\n\n{}\n", "-".repeat(79), text.trim())?;
        names.push(named);
    }
    let arguments = [
        "--no-install",
        "esbuild",
        "openlayers.js",
        "--bundle",
        "--minify",
        "--format=esm",
        "--target=es2022",
        "--legal-comments=none",
        "--log-level=error",
    ];
    let bundle =
        Command::new("npx").args(arguments).current_dir(&web).output().context("npx can't be started")?;
    ensure!(bundle.status.success(), "{}", String::from_utf8_lossy(&bundle.stderr));
    let banner = format!(
        "// {}; licences: openlayers-LICENCES.txt. Made by `cargo xtask vendor`.\n",
        names.join(", ")
    );
    Ok([
        ("openlayers.js", banner + &String::from_utf8(bundle.stdout)?),
        ("openlayers-LICENCES.txt", licences),
    ])
}
