//! Enrolment, hand-over and explanation when all goes well, and input that is refused.

use std::fs;
use std::path::Path;
use std::process::Command;

use crate::desk::{BLOCK, Desk, MAST, close_to_others, texts};

#[test]
fn many_nodes_get_identities_keys_labels_and_sheets_and_no_key_leaves_the_box() {
    let desk = Desk::new();
    let said = desk.enrol(&[&["--count", "3"], &BLOCK[..]].concat());
    assert!(said.contains("3 nodes enrolled: frost-mast-01 to frost-mast-03"), "{said}");
    let registry = desk.read("site/registry.toml");
    for eui in ["024C61726B000000", "024C61726B000001", "024C61726B000002"] {
        for file in ["registry.toml", "labels.html", "sheets.html"] {
            assert!(desk.read(&format!("site/{file}")).contains(eui), "{eui} in {file}");
        }
    }
    assert!(registry.contains("thermistor_offset = nan"), "constants of the design are asked for");
    let before = texts(&desk.path("site"));
    desk.hand_over();
    let rows = desk.list();
    assert_eq!(rows[0], ["Key", "Device", "Plan", "Label"]);
    assert_eq!(rows[3][1..], ["024C61726B000002", "EU868, class A", "frost-mast-03"]);
    for row in &rows[1..] {
        let key = &row[0];
        assert_eq!(key.len(), 32);
        for text in before.iter().chain([&said]) {
            assert!(!text.to_uppercase().contains(key), "a key stands outside the key box");
        }
    }
}

#[test]
fn a_repeated_run_changes_no_identity_and_no_key() {
    let desk = Desk::new();
    desk.enrol(&[&["--count", "2"], &BLOCK[..]].concat());
    let (registry, keys) =
        (desk.read("site/registry.toml"), fs::read(desk.path("site/keys.age")).expect("there"));
    let said = desk.enrol(&["--count", "2"]);
    assert!(said.contains("enrolled already"), "{said}");
    assert_eq!(desk.read("site/registry.toml"), registry);
    assert_eq!(fs::read(desk.path("site/keys.age")).expect("there"), keys);
    desk.enrol(&[&["--count", "4"], &BLOCK[..]].concat());
    assert!(desk.read("site/registry.toml").starts_with(&registry));
    assert!(desk.enrol_refused(&["--count", "3"]).contains("there are 4 nodes of this kind already"));
}

#[test]
fn made_up_identities_are_marked() {
    let desk = Desk::new();
    desk.enrol(&["--count", "2", "--local", "--join-eui", "024C61726BFFFFFF", "--names", "mast-#"]);
    let registry = desk.read("site/registry.toml");
    assert_eq!(registry.matches("dev_eui = \"02").count(), 2, "{registry}");
    assert_eq!(desk.read("site/labels.html").matches("locally administered").count(), 2);
    assert!(desk.read("site/sheets.html").contains("locally administered"));
}

#[test]
fn keys_are_handed_over_once_unless_it_is_asked_for_again() {
    let desk = Desk::new();
    let base = ["enrol", "--hand-over", "columns.toml", "-o", "site", "--passphrase-file", "pass"];
    desk.enrol(&[&["--count", "2"], &BLOCK[..]].concat());
    desk.done(&base);
    let said = desk.refused(&base);
    assert!(said.contains("handed over before, last on 20") && said.contains("--again"), "{said}");
    let said = desk.done(&[&base[..], &["--again"]].concat());
    assert!(said.contains("2 nodes among them, handed over before"), "{said}");
    desk.enrol(&[&["--count", "3"], &BLOCK[..]].concat());
    let said = desk.done(&base);
    assert!(said.contains("keys of 1 node ") && said.contains("2 nodes left out"), "{said}");
    assert_eq!(desk.read("site/registry.toml").matches("[[hand_over]]").count(), 3);
}

#[cfg(unix)]
#[test]
fn secrets_are_readable_to_their_owner_alone() {
    use std::os::unix::fs::PermissionsExt as _;
    let desk = Desk::new();
    desk.enrol(&[&["--count", "1"], &BLOCK[..]].concat());
    desk.hand_over();
    let mode = |path: &Path| fs::metadata(path).expect("it is there").permissions().mode() & 0o777;
    assert_eq!(mode(&desk.path("site/keys.age")), 0o600);
    assert_eq!(mode(&desk.handed_over()), 0o700);
    for entry in fs::read_dir(desk.handed_over()).expect("it is there") {
        let path = entry.expect("it is there").path();
        assert_eq!(mode(&path), 0o600, "{}", path.display());
    }
}

#[test]
fn the_header_for_flashing_has_both_byte_orders_and_the_key_of_the_list() {
    let desk = Desk::new();
    desk.enrol(&[&["--count", "1"], &BLOCK[..]].concat());
    desk.hand_over();
    let header =
        fs::read_to_string(desk.handed_over().join("frost-mast-01_identity.h")).expect("it is there");
    assert!(
        header.contains("WINTER_DEV_EUI_AS_PRINTED 0x02, 0x4c, 0x61, 0x72, 0x6b, 0x00, 0x00, 0x00\n"),
        "{header}"
    );
    assert!(
        header.contains("WINTER_DEV_EUI_AS_SENT 0x00, 0x00, 0x00, 0x6b, 0x72, 0x61, 0x4c, 0x02\n"),
        "{header}"
    );
    let line = header.lines().find(|line| line.starts_with("#define WINTER_APP_KEY ")).expect("it has a key");
    let digits: String =
        line["#define WINTER_APP_KEY ".len()..].split(", ").map(|octet| octet[2..].to_uppercase()).collect();
    assert_eq!(digits, desk.list()[1][0]);
}

#[test]
fn a_list_of_devices_is_taken_with_its_keys() {
    // Keys of FIPS 197, appendices A.1 and C.1.
    let rows = "Label;Device;Key\nmast-a;02-4C-61-72-6B-00-00-05;2b7e151628aed2a6abf7158809cf4f3c\n\
                ;024C61726B000000;000102030405060708090a0b0c0d0e0f\n";
    let take = ["--import", "list.csv", "--columns", "columns.toml", "--join-eui", "024C61726BFFFFFF"];
    let desk = Desk::new();
    desk.write("list.csv", rows);
    desk.enrol(&take);
    desk.hand_over();
    let list = desk.list();
    assert_eq!(list[1], ["2B7E151628AED2A6ABF7158809CF4F3C", "024C61726B000005", "EU868, class A", "mast-a"]);
    assert_eq!(list[2][3], "frost-mast-01", "who has no name gets one");
    let again = desk.enrol_refused(&take);
    assert!(again.contains("line 2: DevEUI 024C61726B000005 is enrolled already, as mast-a"), "{again}");
    // New identities keep clear of the imported ones.
    desk.enrol(&[&["--count", "3"], &BLOCK[..]].concat());
    assert!(desk.read("site/registry.toml").contains("\"024C61726B000001\""));
}

#[test]
fn a_list_with_a_fault_changes_nothing() {
    let key = "2b7e151628aed2a6abf7158809cf4f3c";
    let other = "000102030405060708090a0b0c0d0e0f";
    for (rows, said) in [
        (
            format!("a,024C61726B000001,{key}\nb,024C61726B000001,{other}"),
            "line 3: DevEUI 024C61726B000001 stands in line 2",
        ),
        (
            format!("a,024C61726B000001,{key}\nb,024C61726B000002,{key}"),
            "line 3: DevEUI 024C61726B000002 would have the key",
        ),
        (format!("a,024C61726B000001,{key}\nA,024C61726B000002,{other}"), "line 3: two nodes are called A"),
        (format!("a,024C61726B00000,{key}"), "line 2: a DevEUI has 16 hex digits, 15"),
        (format!("a,024C61726B000001,{}", &key[1..]), "line 2: a AppKey has 32 hex digits, 31"),
        (format!("a,024C61726B000001,{key},x"), "line 2: the line has 4 cells, the first has 3"),
        (String::new(), "no devices"),
    ] {
        let desk = Desk::new();
        desk.write("list.csv", &format!("Label,Device,Key\n{rows}\n"));
        let error = desk.enrol_refused(&[
            "--import",
            "list.csv",
            "--columns",
            "columns.toml",
            "--join-eui",
            "024C61726BFFFFFF",
        ]);
        assert!(error.contains(said), "{rows}: {error}");
        assert!(!error.contains(&key[1..]), "an error shows a key: {error}");
        assert!(!desk.path("site").exists(), "{rows}: something was left behind");
    }
}

#[test]
fn bad_input_is_refused_with_what_to_do_and_leaves_nothing_behind() {
    let block = |text: &'static str, count: &'static str| {
        vec!["--count", count, "--eui-block", text, "--join-eui", "024C61726BFFFFFF"]
    };
    for (arguments, said) in [
        (block("024C61726B000000/40", "0"), "0 nodes can't be enrolled"),
        (
            block("024C61726B000000/62", "5"),
            "the block holds 4 identities and 0 are taken: 5 more do not fit",
        ),
        (block("024C61726B0000/40", "1"), "14 were given"),
        (block("024C61726B000001/40", "1"), "begins inside"),
        (vec!["--count", "1", "--local", "--join-eui", "xyz"], "'x' at place 1 of a JoinEUI"),
        (vec!["--count", "1", "--local"], "identity of their join server"),
        (vec!["--count", "1", "--join-eui", "024C61726BFFFFFF"], "need identities"),
        ([block("024C61726B000000/40", "2"), vec!["--names", "mast"]].concat(), "duplicate names"),
        ([block("024C61726B000000/40", "2"), vec!["--names", "../#"]].concat(), "no pattern"),
        ([block("024C61726B000000/40", "2"), vec!["--profile-id", "AABB112"]].concat(), "profile identity"),
    ] {
        let desk = Desk::new();
        let error = desk.enrol_refused(&arguments);
        assert!(error.contains(said) && error.contains("help"), "{arguments:?}: {error}");
        assert!(!desk.path("site").exists(), "{arguments:?}: something was left behind");
    }
}

#[test]
fn a_wrong_short_or_open_passphrase_is_refused() {
    let desk = Desk::new();
    let new =
        [&["enrol", MAST, "-o", "site", "--count", "1", "--passphrase-file", "other"], &BLOCK[..]].concat();
    desk.write("other", "short\n");
    close_to_others(&desk.path("other"));
    assert!(desk.refused(&new).contains("the passphrase has 5 characters"));
    assert!(!desk.path("site").exists());
    desk.enrol(&[&["--count", "1"], &BLOCK[..]].concat());
    let (registry, keys) =
        (desk.read("site/registry.toml"), fs::read(desk.path("site/keys.age")).expect("there"));
    desk.write("other", "larkmoor in the sun\n");
    let more = new.iter().map(|word| if *word == "1" { "2" } else { *word }).collect::<Vec<_>>();
    assert!(desk.refused(&more).contains("this is not the passphrase of the key box"));
    assert_eq!(desk.read("site/registry.toml"), registry);
    assert_eq!(fs::read(desk.path("site/keys.age")).expect("there"), keys);
}

#[test]
fn a_folder_with_other_things_and_a_site_without_its_key_box_are_refused() {
    let desk = Desk::new();
    fs::create_dir(desk.path("site")).expect("it can be made");
    desk.write("site/photo.jpg", "not ours");
    let error = desk.enrol_refused(&[&["--count", "1"], &BLOCK[..]].concat());
    assert!(error.contains("holds other things"), "{error}");
    assert_eq!(fs::read_dir(desk.path("site")).expect("there").count(), 1, "nothing was added");
    fs::remove_file(desk.path("site/photo.jpg")).expect("it is there");
    desk.enrol(&[&["--count", "1"], &BLOCK[..]].concat());
    fs::remove_file(desk.path("site/keys.age")).expect("it is there");
    let error = desk.enrol_refused(&[&["--count", "2"], &BLOCK[..]].concat());
    assert!(error.contains("their key box is missing"), "{error}");
    assert!(!desk.path("site/keys.age").exists());
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_leaves_what_was_there() {
    let desk = Desk::new();
    desk.enrol(&[&["--count", "1"], &BLOCK[..]].concat());
    let (registry, labels) = (desk.read("site/registry.toml"), desk.read("site/labels.html"));
    let keys = fs::read(desk.path("site/keys.age")).expect("there");
    // A limit on the size of files stands for the disk: no block can be written.
    let arguments =
        [&["enrol", MAST, "-o", "site", "--count", "2", "--passphrase-file", "pass"], &BLOCK[..]].concat();
    let output = Command::new("sh")
        .current_dir(desk.0.path())
        .args([
            "-c",
            "trap '' XFSZ; ulimit -f 0; exec \"$0\" \"$@\" 2>&1 | cat",
            env!("CARGO_BIN_EXE_overwinter"),
        ])
        .args(&arguments)
        .output()
        .expect("a shell is there");
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(said.contains("the file could not be written"), "{said}");
    assert_eq!((desk.read("site/registry.toml"), desk.read("site/labels.html")), (registry, labels));
    assert_eq!(fs::read(desk.path("site/keys.age")).expect("there"), keys);
    let left = fs::read_dir(desk.path("site")).expect("there").map(|entry| entry.expect("there").file_name());
    assert!(
        left.into_iter().all(|name| !name.to_string_lossy().starts_with(".overwinter-")),
        "no draft is left"
    );
}

/// The first join of `crates/wire/tests/data/frames.toml`.
mod vector {
    pub(super) const FRAME: &str = "00ffffff6b72614c020100006b72614c0201005d1c62fa";
    pub(super) const KEY: &str = "75d956e85775b59704720032c1cc8ca6";
    pub(super) const REVERSED_KEY: &str = "a68cccc13200720497b57557e856d975";
    pub(super) const JOIN_EUI: &str = "024C61726BFFFFFF";
    pub(super) const DEV_EUI: &str = "024C61726B000001";
    pub(super) const REVERSED_DEV_EUI: &str = "0100006B72614C02";
}

#[test]
fn a_join_request_is_explained_and_its_owner_and_key_are_checked() {
    use vector::{DEV_EUI, FRAME, JOIN_EUI, KEY, REVERSED_DEV_EUI, REVERSED_KEY};
    let other = "000102030405060708090a0b0c0d0e0f";
    for (rows, said) in [
        (format!("a,{DEV_EUI},{KEY}"), ["DevEUI   a, a Frost mast", "the device is genuine"]),
        (format!("a,{REVERSED_DEV_EUI},{KEY}"), ["DevEUI   byte-reversed: a is 0100006B72614C02", "genuine"]),
        (format!("a,{DEV_EUI},{REVERSED_KEY}"), ["DevEUI   a, ", "the device has its key byte-reversed"]),
        (format!("a,{DEV_EUI},{other}"), ["DevEUI   a, ", "no key of the key box made it"]),
        (
            format!("a,{DEV_EUI},{other}\nb,024C61726B000009,{KEY}"),
            ["DevEUI   a, ", "made with the key of b"],
        ),
        (format!("a,024C61726B000009,{other}"), ["not in the registry", "made with no key"]),
    ] {
        let desk = Desk::new();
        desk.write("list.csv", &format!("Label,Device,Key\n{rows}\n"));
        desk.enrol(&["--import", "list.csv", "--columns", "columns.toml", "--join-eui", JOIN_EUI]);
        let page = desk.done(&["explain", FRAME, "--registry", "site", "--passphrase-file", "pass"]);
        assert!(
            page.contains(DEV_EUI) && page.contains(JOIN_EUI) && page.contains("DevNonce     1:"),
            "{page}"
        );
        assert!(said.iter().all(|words| page.contains(words)), "{rows}: {page}");
        assert!(!page.to_lowercase().contains(KEY), "{page}");
    }
}

#[test]
fn a_data_frame_is_explained_byte_by_byte_and_a_broken_one_is_pointed_at() {
    let desk = Desk::new();
    insta::assert_snapshot!(desk.done(&["explain", "QE7ApwGAAgEK0too56XPuJp2J2HPNLtgQQ=="]));
    let error = desk.refused(&["explain", "404EC0A7010F0200019543787600"]);
    insta::assert_snapshot!(error);
    assert!(desk.refused(&["explain", "a frame"]).contains("neither hex nor base64"));
}
