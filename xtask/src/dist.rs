//! What is handed to people: one archive for each system, with the program, its licences, the bill of its materials and
//! the completions of the shells. The same commit gives the same bytes in whatever folder it is built.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, ensure};
use flate2::{Compression, GzBuilder};
use tar::{Builder, Header};

use crate::dependencies;

/// A system that is built for.
struct System {
    /// Name in the archive's name.
    name: &'static str,
    /// Target that links everything into the program.
    target: &'static str,
    /// The same with the C library of the machine that builds, linked into the program; where the first is missing.
    otherwise: Option<&'static str>,
    /// Its C compiler and archiver for the first target, and what the compiler is told: the log and the ciphers of TLS are C.
    tools: [(&'static str, &'static str); 3],
}

const SYSTEMS: [System; 2] = [
    System {
        name: "linux-x86-64",
        target: "x86_64-unknown-linux-musl",
        otherwise: Some("x86_64-unknown-linux-gnu"),
        tools: [("CC", "musl-gcc"), ("AR", "ar"), ("CFLAGS", "")],
    },
    System {
        name: "linux-arm64",
        target: "aarch64-unknown-linux-musl",
        otherwise: Some("aarch64-unknown-linux-gnu"),
        // Headers of another C library name its doors to large files, which all are here.
        tools: [
            ("CC", "aarch64-linux-gnu-gcc"),
            ("AR", "aarch64-linux-gnu-ar"),
            ("CFLAGS", "-DSQLITE_DISABLE_LFS -U_FORTIFY_SOURCE"),
        ],
    },
];

/// Shells and the names under which they look for completions.
const SHELLS: [(&str, &str); 3] = [
    ("bash", "completions/overwinter.bash"),
    ("zsh", "completions/_overwinter"),
    ("fish", "completions/overwinter.fish"),
];

/// Papers of the repository that go along.
const PAPERS: [&str; 6] =
    ["LICENSE-APACHE", "LICENSE-MIT", "README.md", "SAFETY.md", "SECURITY.md", "CHANGELOG.md"];

/// A file of the archive: its name, its contents, and whether it is a program.
type Entry = (String, Vec<u8>, bool);

/// Builds an archive for each system whose standard library is installed, and says what is missing for the others.
pub(crate) fn run(root: &Path) -> Result<()> {
    let mut built = Vec::new();
    for system in &SYSTEMS {
        let target =
            [Some(system.target), system.otherwise].into_iter().flatten().find(|target| is_installed(target));
        match target {
            Some(target) => built.push((system, target, build(root, system, target)?)),
            None => println!(
                "{}: not built, the standard library of {target} is not installed: rustup target add {target}",
                system.name,
                target = system.target
            ),
        }
    }
    // The program of another system does not run here, and completions are the same on all.
    let (.., here) = built
        .iter()
        .find(|(_, target, _)| target.starts_with(std::env::consts::ARCH))
        .context("no program was built that runs on this machine, which has to write the completions")?;
    for (system, target, program) in &built {
        let archive = archive(root, system, target, program, here)?;
        println!("{}  ({target})", archive.display());
    }
    Ok(())
}

/// Whether the toolchain has the standard library of a target.
fn is_installed(target: &str) -> bool {
    let output = Command::new("rustc").args(["--print", "target-libdir", "--target", target]).output();
    let folder =
        output.map(|output| String::from_utf8_lossy(&output.stdout).trim().to_owned()).unwrap_or_default();
    !folder.is_empty() && fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_some())
}

fn archive(root: &Path, system: &System, target: &str, program: &Path, here: &Path) -> Result<PathBuf> {
    let version = env!("CARGO_PKG_VERSION");
    let name = format!("overwinter-{version}-{}", system.name);
    let mut entries: Vec<Entry> = vec![("overwinter".to_owned(), read(program)?, true)];
    for paper in PAPERS {
        entries.push((paper.to_owned(), read(&root.join(paper))?, false));
    }
    entries.push((
        "LICENSES-THIRD-PARTY.txt".to_owned(),
        dependencies::third_party(root, target)?.into_bytes(),
        false,
    ));
    entries.push(("overwinter.cdx.json".to_owned(), dependencies::bill(root, target)?.into_bytes(), false));
    for (shell, path) in SHELLS {
        entries.push((path.to_owned(), completions(here, shell)?, false));
    }
    let folder = root.join("target/dist");
    fs::create_dir_all(&folder).context("can't make target/dist")?;
    let path = folder.join(format!("{name}.tar.gz"));
    write(&path, &name, &entries)?;
    Ok(path)
}

/// Places of this machine are replaced by fixed ones, so that they are not in the program.
fn flags(root: &Path, target: &str) -> Result<String> {
    let home = std::env::var_os("CARGO_HOME")
        .map(PathBuf::from)
        .or_else(|| Some(PathBuf::from(std::env::var_os("HOME")?).join(".cargo")));
    let home = home.context("neither CARGO_HOME nor HOME is set")?;
    let mut flags = vec![
        format!("--remap-path-prefix={}=/overwinter", root.display()),
        format!("--remap-path-prefix={}=/cargo", home.display()),
        "-Cstrip=symbols".to_owned(),
        "-Ctarget-feature=+crt-static".to_owned(),
    ];
    if target.contains("musl") {
        flags.push("-Clinker=rust-lld".to_owned());
    }
    // The form of CARGO_ENCODED_RUSTFLAGS, which takes blanks in paths.
    Ok(flags.join("\u{1f}"))
}

/// The tools of C for a target, where nothing else was set: names of variables and what stands in them.
fn tools(system: &System, target: &str) -> Result<Vec<(String, String)>> {
    if target != system.target {
        return Ok(Vec::new());
    }
    let mut unset = Vec::new();
    for (variable, value) in system.tools {
        let name = format!("{variable}_{}", target.replace('-', "_"));
        if value.is_empty() || std::env::var_os(&name).is_some() {
            continue;
        }
        let runs =
            || Command::new(value).arg("--version").output().is_ok_and(|output| output.status.success());
        ensure!(
            variable == "CFLAGS" || runs(),
            "{value} is missing for {target}: install it, or name another one in {name}"
        );
        unset.push((name, value.to_owned()));
    }
    Ok(unset)
}

fn build(root: &Path, system: &System, target: &str) -> Result<PathBuf> {
    let folder = root.join("target/dist/build");
    let status = Command::new("cargo")
        .envs(tools(system, target)?)
        .args([
            "build",
            "--locked",
            "--release",
            "--package",
            "overwinter",
            "--target",
            target,
            "--target-dir",
        ])
        .arg(&folder)
        .current_dir(root)
        .env("CARGO_ENCODED_RUSTFLAGS", flags(root, target)?)
        .env("CARGO_INCREMENTAL", "0")
        .env("SOURCE_DATE_EPOCH", "0")
        .status()
        .context("can't start cargo")?;
    ensure!(status.success(), "the program can't be built for {target}");
    Ok(folder.join(target).join("release/overwinter"))
}

fn completions(program: &Path, shell: &str) -> Result<Vec<u8>> {
    let output = Command::new(program)
        .args(["completions", shell])
        .output()
        .with_context(|| format!("can't start {}", program.display()))?;
    ensure!(
        output.status.success(),
        "no completions for {shell}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    Ok(output.stdout)
}

fn read(path: &Path) -> Result<Vec<u8>> {
    fs::read(path).with_context(|| format!("can't read {}", path.display()))
}

/// Writes a compressed archive that holds no time, owner or order of this machine.
fn write(path: &Path, name: &str, entries: &[Entry]) -> Result<()> {
    let file = File::create(path).with_context(|| format!("can't write {}", path.display()))?;
    let packed = GzBuilder::new().mtime(0).write(file, Compression::best());
    let mut archive = Builder::new(packed);
    for (place, contents, is_program) in entries {
        let mut header = Header::new_gnu();
        header.set_size(contents.len() as u64);
        header.set_mode(if *is_program { 0o755 } else { 0o644 });
        header.set_mtime(0);
        archive.append_data(&mut header, format!("{name}/{place}"), contents.as_slice())?;
    }
    archive.into_inner()?.finish()?.sync_all()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_files_give_the_same_archive_and_all_of_them_are_in_it() {
        let folder = std::env::temp_dir().join(format!("overwinter-dist-{}", std::process::id()));
        fs::create_dir_all(&folder).expect("it can be made");
        let entries: Vec<Entry> =
            vec![("overwinter".into(), vec![1; 5000], true), ("a/b.txt".into(), vec![2], false)];
        let paths = ["one.tar.gz", "two.tar.gz"].map(|name| folder.join(name));
        for path in &paths {
            write(path, "overwinter-0", &entries).expect("it is written");
        }
        let [one, two] = paths.map(|path| fs::read(path).expect("it is there"));
        assert_eq!(one, two);
        let mut again = tar::Archive::new(flate2::read::GzDecoder::new(one.as_slice()));
        let found: Vec<(String, u32, u64)> = again
            .entries()
            .expect("an archive")
            .map(|entry| {
                let entry = entry.expect("whole");
                let header = entry.header();
                let place = entry.path().expect("a path").display().to_string();
                (place, header.mode().expect("a mode"), header.mtime().expect("a time"))
            })
            .collect();
        assert_eq!(
            found,
            [("overwinter-0/overwinter".into(), 0o755, 0), ("overwinter-0/a/b.txt".into(), 0o644, 0)]
        );
        fs::remove_dir_all(folder).expect("it is ours");
    }

    #[test]
    fn no_place_of_this_machine_is_left_in_the_program() {
        let flags = flags(Path::new("/some where/else"), "x86_64-unknown-linux-gnu").expect("a home");
        assert!(flags.contains("--remap-path-prefix=/some where/else=/overwinter\u{1f}"), "{flags}");
        assert!(flags.contains("+crt-static"), "{flags}");
    }
}
