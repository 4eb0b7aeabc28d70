//! A desk on which the program is run for a site.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use tempfile::TempDir;

pub(crate) const MAST: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/larkmoor/frost-mast.toml");
pub(crate) const BLOCK: [&str; 4] = ["--eui-block", "024C61726B000000/40", "--join-eui", "024C61726BFFFFFF"];
pub(crate) const COLUMNS: &str = "columns = [\n  { title = \"Key\", fact = \"app_key\" },\n  { title = \"Device\", fact = \"dev_eui\" },\n  \
                       { title = \"Plan\", text = \"EU868, class A\" },\n  { title = \"Label\", fact = \"name\" },\n]\n";

/// A desk: a folder with a passphrase, in which the program is run.
pub(crate) struct Desk(pub(crate) TempDir);

impl Desk {
    pub(crate) fn new() -> Self {
        let desk = Self(TempDir::new().expect("a folder can be made"));
        desk.write("pass", "larkmoor in the rain\n");
        close_to_others(&desk.path("pass"));
        desk.write("columns.toml", COLUMNS);
        desk
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).expect("it can be written");
    }

    pub(crate) fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path(name)).expect("it is there")
    }

    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_overwinter"));
        command.current_dir(self.0.path()).args(arguments).output().expect("the program runs")
    }

    /// Runs something that must go well.
    pub(crate) fn done(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8_lossy(&output.stdout).into_owned()
    }

    /// Runs something that must be refused.
    pub(crate) fn refused(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(
            output.status.code(),
            Some(2),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&output.stdout)
        );
        String::from_utf8_lossy(&output.stderr).into_owned()
    }

    pub(crate) fn enrol(&self, more: &[&str]) -> String {
        self.done(&[&["enrol", MAST, "-o", "site", "--passphrase-file", "pass"], more].concat())
    }

    pub(crate) fn enrol_refused(&self, more: &[&str]) -> String {
        self.refused(&[&["enrol", MAST, "-o", "site", "--passphrase-file", "pass"], more].concat())
    }

    pub(crate) fn hand_over(&self) {
        self.done(&["enrol", "--hand-over", "columns.toml", "-o", "site", "--passphrase-file", "pass"]);
    }

    /// Rows of the one list that was handed over.
    pub(crate) fn list(&self) -> Vec<Vec<String>> {
        let text = fs::read_to_string(self.handed_over().join("join-server.csv")).expect("it is there");
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
        reader.records().map(|row| row.expect("sound CSV").iter().map(str::to_owned).collect()).collect()
    }

    pub(crate) fn handed_over(&self) -> PathBuf {
        let entries = fs::read_dir(self.path("site")).expect("it is there");
        let mut folders =
            entries.map(|entry| entry.expect("it is there").path()).filter(|path| path.is_dir());
        folders.next().expect("keys were handed over")
    }
}

#[cfg(unix)]
pub(crate) fn close_to_others(path: &Path) {
    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o600);
    fs::set_permissions(path, mode).expect("it is ours");
}

#[cfg(not(unix))]
pub(crate) fn close_to_others(_: &Path) {}

/// Every file below a folder, as text where it is text.
pub(crate) fn texts(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("it is there").map(|entry| entry.expect("it is there").path());
    entries
        .flat_map(|path| {
            if path.is_dir() {
                return texts(&path);
            }
            vec![String::from_utf8_lossy(&fs::read(path).expect("it is there")).into_owned()]
        })
        .collect()
}
