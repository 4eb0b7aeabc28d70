//! The folder of a site: one run at a time, both files or neither, and what an interrupted run left.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use logbook::folder::{self, FolderError, KEYS, LeftOver, REGISTRY};
use logbook::keys::{KeyBox, Passphrase};
use logbook::registry::{Date, Node, Registry};
use sha2::{Digest as _, Sha256};
use tempfile::TempDir;
use wire::identity::{DevEui, JoinEui};
use zeroize::Zeroizing;

fn passphrase() -> Passphrase {
    Passphrase::new(Zeroizing::new("larkmoor in the rain".to_owned())).expect("it is not empty")
}

fn node(last: u8) -> Node {
    Node {
        name: format!("mast-{last}"),
        kind: "Frost \"mast\"".to_owned(),
        dev_eui: DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, last]),
        join_eui: JoinEui::from_display_bytes([2, 0, 0, 0, 0, 0, 1, 0]),
        place: None,
        constants: BTreeMap::from([("wetness".to_owned(), BTreeMap::from([("dry".to_owned(), None)]))]),
        from: Date::new(2026, 11, 25).expect("a day"),
        until: None,
    }
}

/// A site on the disk, and what opens it.
struct Desk {
    folder: TempDir,
    keys: KeyBox,
    registry: Registry,
}

impl Desk {
    fn new() -> Self {
        let folder = TempDir::new().expect("a folder can be made");
        let keys = KeyBox::new(&folder.path().join(KEYS));
        let registry = Registry::open(&folder.path().join(REGISTRY)).expect("none is an empty one");
        Self { folder, keys, registry }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn enrol(&mut self, last: u8) {
        self.keys.draw(node(last).dev_eui).expect("there are random bytes");
        self.registry.add(node(last)).expect("it is free");
        folder::keep(self.folder.path(), &mut self.keys, &self.registry, &passphrase()).expect("it is kept");
    }

    fn settle(&self) -> Vec<LeftOver> {
        let held = folder::lock(self.folder.path()).expect("it is free");
        folder::settle(self.folder.path(), &held).expect("it can be written")
    }

    /// What a run writes before it replaces the key box with this one.
    fn write_next(&self, sealed: &[u8], registry: &str) {
        let digest =
            Sha256::digest(sealed).iter().fold(String::new(), |text, octet| text + &format!("{octet:02x}"));
        fs::write(self.path(&format!(".overwinter-next-{digest}.toml")), registry)
            .expect("it can be written");
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder.path()).expect("there").map(|entry| entry.expect("there"));
        let mut names: Vec<String> =
            entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).expect("it is there")
}

#[test]
fn two_runs_do_not_work_in_one_folder() {
    let folder = TempDir::new().expect("a folder can be made");
    let held = folder::lock(folder.path()).expect("it is free");
    assert!(matches!(folder::lock(folder.path()), Err(FolderError::Busy)));
    drop(held);
    folder::lock(folder.path()).expect("it is free again");
}

#[test]
fn rows_whose_keys_are_in_the_box_are_completed_and_others_are_not() {
    let mut desk = Desk::new();
    desk.enrol(1);
    let (first, before) = (read(&desk.path(REGISTRY)), fs::read(desk.path(KEYS)).expect("there"));
    desk.enrol(2);
    let (second, after) = (read(&desk.path(REGISTRY)), fs::read(desk.path(KEYS)).expect("there"));
    // Ended before the key box was replaced.
    fs::write(desk.path(REGISTRY), &first).expect("it can be written");
    fs::write(desk.path(KEYS), &before).expect("it can be written");
    desk.write_next(&after, &second);
    assert_eq!(desk.settle(), [LeftOver::Drafts { count: 1 }]);
    assert_eq!(read(&desk.path(REGISTRY)), first);
    // Ended after it.
    fs::write(desk.path(KEYS), &after).expect("it can be written");
    desk.write_next(&after, &second);
    assert_eq!(desk.settle(), [LeftOver::Rows]);
    assert_eq!(read(&desk.path(REGISTRY)), second);
    // The registry was edited in between: its new line is not lost.
    let edited = first + "# a remark of a person\n";
    fs::write(desk.path(REGISTRY), &edited).expect("it can be written");
    desk.write_next(&after, &second);
    assert_eq!(desk.settle(), [LeftOver::Drafts { count: 1 }]);
    assert_eq!(read(&desk.path(REGISTRY)), edited);
    assert_eq!(desk.names(), [".overwinter.lock", KEYS, REGISTRY]);
}

#[test]
fn the_box_knows_the_rows_with_which_its_devices_were_enrolled() {
    let mut desk = Desk::new();
    desk.enrol(1);
    desk.enrol(2);
    let again = KeyBox::open(&desk.path(KEYS), &passphrase()).expect("it opens");
    assert_eq!(again.enrolled(node(2).dev_eui), Some(&node(2)));
    assert_eq!(folder::disagreement(&again, &desk.registry), None);
    let mut older = Registry::open(Path::new("none")).expect("an empty one");
    older.add(node(1)).expect("it is free");
    older.add(node(3)).expect("it is free");
    older.add(Node { until: Date::new(2026, 11, 26), ..node(4) }).expect("it is free");
    let found = folder::disagreement(&again, &older).expect("they do not belong together");
    assert_eq!(found.without_row, [node(2).dev_eui]);
    assert_eq!(found.without_key, [node(3)], "a closed row needs no key");
}

#[test]
fn plain_keys_of_an_interrupted_hand_over_go_and_a_finished_one_stays() {
    let desk = Desk::new();
    for (name, file) in [
        ("hand-over-2026-11-25", "mast-1.h"),
        ("hand-over-2026-11-26", folder::UNFINISHED),
        (".overwinter-x7Yz01", "mast-1.h"),
    ] {
        fs::create_dir(desk.path(name)).expect("it can be made");
        fs::write(desk.path(name).join(file), "a key").expect("it can be written");
    }
    let gone = [".overwinter-x7Yz01", "hand-over-2026-11-26"];
    assert_eq!(desk.settle(), gone.map(|name| LeftOver::PlainKeys { place: desk.path(name) }));
    assert_eq!(desk.names(), [".overwinter.lock", "hand-over-2026-11-25"]);
}

#[cfg(unix)]
#[test]
fn a_registry_keeps_its_permissions_and_a_link_is_refused() {
    use std::os::unix::fs::PermissionsExt as _;
    let mut desk = Desk::new();
    desk.enrol(1);
    fs::set_permissions(desk.path(REGISTRY), fs::Permissions::from_mode(0o640)).expect("it is ours");
    desk.enrol(2);
    let mode = fs::metadata(desk.path(REGISTRY)).expect("it is there").permissions().mode();
    assert_eq!(mode & 0o777, 0o640);
    fs::rename(desk.path(REGISTRY), desk.path("elsewhere")).expect("it is there");
    std::os::unix::fs::symlink(desk.path("elsewhere"), desk.path(REGISTRY)).expect("it can be made");
    let refused = folder::lock(desk.folder.path());
    assert!(matches!(refused, Err(FolderError::Link { name: REGISTRY })), "{refused:?}");
    desk.registry.save().expect_err("a link is not replaced");
    assert!(desk.path(REGISTRY).is_symlink());
}
