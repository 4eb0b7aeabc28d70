//! `enrol` on files that do not belong together: an older one put back, a lost one, a merged one, a link.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use crate::desk::{BLOCK, Desk, MAST, close_to_others};

const BASE: [&str; 6] = ["enrol", "-o", "site", "--passphrase-file", "pass", "--recover"];
const HAND_OVER: [&str; 7] =
    ["enrol", "-o", "site", "--passphrase-file", "pass", "--hand-over", "columns.toml"];

fn count(desk: &Desk, count: &str) -> String {
    desk.enrol(&[&["--count", count], &BLOCK[..]].concat())
}

/// Identity and key of every node that is handed over.
fn keys(desk: &Desk) -> BTreeSet<Vec<String>> {
    let rows = desk.list();
    fs::remove_dir_all(desk.handed_over()).expect("it is ours");
    rows.into_iter().skip(1).map(|row| vec![row[0].clone(), row[1].clone(), row[3].clone()]).collect()
}

#[test]
fn an_older_registry_put_back_gives_no_identity_to_a_second_node() {
    let desk = Desk::new();
    count(&desk, "2");
    let older = desk.read("site/registry.toml");
    count(&desk, "4");
    desk.hand_over();
    let carried = keys(&desk);
    desk.write("site/registry.toml", &older);
    let more = desk.enrol_refused(&[&["--count", "4"], &BLOCK[..]].concat());
    let handed = desk.refused(&[&HAND_OVER[..], &["--again"]].concat());
    for said in [&more, &handed] {
        for words in [
            "2 keys that no row",
            "024C61726B000002 (frost-mast-03)",
            "024C61726B000003 (frost-mast-04)",
            "--recover",
        ] {
            assert!(said.contains(words), "{words}: {said}");
        }
    }
    assert_eq!(desk.read("site/registry.toml"), older, "nothing was changed");
    let said = desk.done(&BASE);
    assert!(said.contains("2 rows rebuilt") && said.contains("frost-mast-03, frost-mast-04"), "{said}");
    assert!(desk.done(&BASE).contains("nothing to rebuild"));
    // Nobody can prove that the rebuilt ones were not handed over.
    desk.hand_over();
    assert_eq!(keys(&desk).len(), 2, "only those whose rows were there");
    desk.done(&[&HAND_OVER[..], &["--again"]].concat());
    assert_eq!(keys(&desk), carried, "names, identities and keys are the old ones");
    assert!(count(&desk, "5").contains("1 node enrolled: frost-mast-05"));
}

#[test]
fn a_lost_registry_is_rebuilt_as_it_was_enrolled() {
    let desk = Desk::new();
    desk.enrol(&["--count", "3", "--local", "--join-eui", "024C61726BFFFFFF", "--names", "mast-#b"]);
    let rows = desk.read("site/registry.toml");
    fs::remove_file(desk.path("site/registry.toml")).expect("it is there");
    let said = desk.enrol_refused(&["--count", "3", "--local", "--join-eui", "024C61726BFFFFFF"]);
    assert!(said.contains("3 keys that no row"), "{said}");
    desk.done(&BASE);
    let again = desk.read("site/registry.toml");
    let nodes = |text: &str| -> BTreeSet<String> {
        let rows = text.split("[[hand_over]]").next().unwrap_or_default().split("[[node]]").skip(1);
        rows.map(|row| row.trim().to_owned()).collect()
    };
    assert_eq!(nodes(&again), nodes(&rows), "names, kind, identities, constants and day");
}

#[test]
fn an_older_key_box_put_back_is_refused_and_names_the_rows_without_a_key() {
    let desk = Desk::new();
    count(&desk, "1");
    let older = fs::read(desk.path("site/keys.age")).expect("it is there");
    count(&desk, "3");
    fs::write(desk.path("site/keys.age"), older).expect("it can be written");
    for said in [
        desk.enrol_refused(&[&["--count", "4"], &BLOCK[..]].concat()),
        desk.refused(&HAND_OVER),
        desk.refused(&BASE),
    ] {
        assert!(said.contains("2 open rows for which the key box has no key"), "{said}");
        assert!(said.contains("frost-mast-02 (024C61726B000001), frost-mast-03"), "{said}");
    }
    // Who closes the rows goes on with the rest; their identities are not used again.
    let registry = desk.read("site/registry.toml");
    let (first, others) = registry.split_at(registry.find("name = \"frost-mast-02\"").expect("it is there"));
    desk.write(
        "site/registry.toml",
        &(first.to_owned() + &others.replace("from = 2", "until = 2099-01-01\nfrom = 2")),
    );
    count(&desk, "2");
    assert!(desk.read("site/registry.toml").contains("024C61726B000003"));
}

#[test]
fn the_registries_of_two_copies_merged_are_refused_until_each_row_has_its_key() {
    let desk = Desk::new();
    count(&desk, "1");
    let common = desk.read("site/registry.toml");
    fs::create_dir(desk.path("copy")).expect("it can be made");
    for file in ["registry.toml", "keys.age"] {
        fs::copy(desk.path("site").join(file), desk.path("copy").join(file)).expect("it is there");
    }
    count(&desk, "2");
    desk.done(
        &[&["enrol", MAST, "-o", "copy", "--passphrase-file", "pass", "--count", "3"], &BLOCK[..]].concat(),
    );
    let (ours, theirs) = (desk.read("site/registry.toml"), desk.read("copy/registry.toml"));
    desk.write("site/registry.toml", &(ours + &theirs[common.len()..]));
    let said = desk.enrol_refused(&[&["--count", "4"], &BLOCK[..]].concat());
    assert!(said.contains("DevEUI 024C61726B000001 is enrolled already, as frost-mast-02"), "{said}");
    // Only what ours does not have is taken over: its key is in the other box.
    let third = theirs.rfind("\n[[node]]").expect("it has rows");
    let merged = desk.read("site/registry.toml").replace(&theirs[common.len()..], &theirs[third..]);
    desk.write("site/registry.toml", &merged);
    let said = desk.enrol_refused(&[&["--count", "4"], &BLOCK[..]].concat());
    assert!(said.contains("1 open row for which the key box has no key: frost-mast-03"), "{said}");
}

#[test]
fn a_box_of_the_first_schema_needs_the_design_to_rebuild_rows() {
    let desk = Desk::new();
    fs::create_dir(desk.path("site")).expect("it can be made");
    let old = Path::new(env!("CARGO_MANIFEST_DIR")).join("../logbook/tests/data/v1/keys.age");
    fs::copy(old, desk.path("site/keys.age")).expect("it is there");
    assert!(desk.enrol_refused(&[&["--count", "2"], &BLOCK[..]].concat()).contains("2 keys that no row"));
    let said = desk.refused(&BASE);
    assert!(
        said.contains("does not say what 2 devices were called") && said.contains("--join-eui"),
        "{said}"
    );
    let said = desk.done(&[&BASE[..], &[MAST, "--join-eui", "024C61726BFFFFFF"]].concat());
    assert!(said.contains("2 rows rebuilt"), "{said}");
    desk.done(&[&HAND_OVER[..], &["--again"]].concat());
    // The keys of FIPS 197, appendices A.1 and C.1, with which the box was made.
    let keys: BTreeSet<String> = keys(&desk).into_iter().map(|row| row[0].clone()).collect();
    let expected = ["000102030405060708090A0B0C0D0E0F", "2B7E151628AED2A6ABF7158809CF4F3C"];
    assert_eq!(keys, expected.map(str::to_owned).into());
}

#[test]
fn runs_at_the_same_time_enrol_nobody_twice() {
    let desk = Desk::new();
    let runs = ["1", "2", "3", "4"].map(|count| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_overwinter"));
        command.current_dir(desk.0.path()).args(["enrol", MAST, "-o", "site", "--passphrase-file", "pass"]);
        command.args(["--count", count]).args(BLOCK).stderr(std::process::Stdio::piped());
        command.spawn().expect("the program runs")
    });
    for run in runs {
        let output = run.wait_with_output().expect("it ends");
        let said = String::from_utf8_lossy(&output.stderr);
        let refused =
            said.contains("another run of overwinter") || said.contains("nodes of this kind already");
        assert!(output.status.success() || refused, "{said}");
    }
    count(&desk, "4");
    desk.hand_over();
    let keys = keys(&desk);
    let distinct = |place: usize| keys.iter().map(|row| &row[place]).collect::<BTreeSet<_>>().len();
    assert_eq!([distinct(0), distinct(1), distinct(2)], [4; 3], "keys, identities and names");
}

#[cfg(unix)]
#[test]
fn a_registry_or_a_key_box_that_is_a_link_is_refused_and_stays_one() {
    for file in ["registry.toml", "keys.age"] {
        let desk = Desk::new();
        count(&desk, "1");
        let (place, elsewhere) = (desk.path("site").join(file), desk.path("elsewhere"));
        fs::rename(&place, &elsewhere).expect("it is there");
        std::os::unix::fs::symlink(&elsewhere, &place).expect("it can be made");
        let before = fs::read(&elsewhere).expect("it is there");
        let said = desk.enrol_refused(&[&["--count", "2"], &BLOCK[..]].concat());
        assert!(said.contains(&format!("{file} is a link to a file elsewhere")), "{said}");
        assert!(place.is_symlink());
        assert_eq!(fs::read(&elsewhere).expect("it is there"), before);
        // A link to nothing is no free place either.
        fs::remove_file(&elsewhere).expect("it is there");
        assert!(desk.enrol_refused(&[&["--count", "2"], &BLOCK[..]].concat()).contains("is a link"));
        assert!(!elsewhere.exists());
    }
}

#[test]
fn a_passphrase_file_of_another_editor_is_refused_with_its_reason() {
    let desk = Desk::new();
    for (text, said) in [
        ("\u{feff}larkmoor in the rain\n", "byte-order mark"),
        ("larkmoor in the rain\r\n", "carriage return"),
        ("larkmoor in the rain\r", "carriage return"),
        ("\nlarkmoor in the rain\n", "first line of the passphrase file is empty"),
        ("\r\nlarkmoor in the rain\r\n", "first line of the passphrase file is empty"),
        ("larkmoor\nin the rain\n", "one line"),
        ("\n", "the passphrase is empty"),
    ] {
        desk.write("pass", text);
        close_to_others(&desk.path("pass"));
        let error = desk.enrol_refused(&[&["--count", "1"], &BLOCK[..]].concat());
        assert!(error.contains(said) && error.contains("help"), "{text:?}: {error}");
        assert!(!desk.path("site").exists(), "{text:?}: something was left behind");
    }
}

#[test]
fn all_that_is_wrong_is_said_at_once() {
    let desk = Desk::new();
    let said = desk.enrol_refused(&[
        "--count",
        "0",
        "--eui-block",
        "024C61726B000000",
        "--join-eui",
        "xyz",
        "--names",
        "a b",
        "--profile-id",
        "1",
    ]);
    for words in
        ["0 nodes can't be enrolled", "how large", "'x' at place 1", "no pattern", "profile identity"]
    {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(said.contains("5 errors"), "{said}");
    let said = desk.enrol_refused(&["--count", "1"]);
    assert!(said.contains("new nodes need identities") && said.contains("join server"), "{said}");
    // Every line of a list, and every cell of a line.
    let rows = "a,024C61726B00000,2b7e\nb,024C61726B000001,2b7e151628aed2a6abf7158809cf4f3c,x\nc,,00010203\n";
    desk.write("list.csv", &format!("Label,Device,Key\n{rows}"));
    let take = ["--import", "list.csv", "--columns", "columns.toml", "--join-eui", "024C61726BFFFFFF"];
    let said = desk.enrol_refused(&take);
    for words in [
        "line 2: a DevEUI",
        "line 2: a AppKey",
        "line 3: the line has 4 cells",
        "line 4: a DevEUI",
        "line 4: a AppKey",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    assert!(!said.contains("2b7e") && !desk.path("site").exists(), "{said}");
    let many = "n,x,y\n".repeat(500);
    desk.write("list.csv", &format!("Label,Device,Key\n{many}"));
    let said = desk.enrol_refused(&take);
    assert!(said.contains("these are the first") && said.matches("error").count() < 50, "{said}");
}
