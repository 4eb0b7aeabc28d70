//! `overwinter kit`: what is written, what is left alone, what is refused.

use std::fs;
use std::path::Path;

use crate::program::run;

const MAST: &str = "examples/larkmoor/frost-mast.toml";

fn kit(folder: &Path, more: &[&str]) -> crate::program::Run {
    let folder = folder.to_str().expect("the path is text");
    run(&[&["kit", MAST, "-o", folder], more].concat())
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("the folder is there");
    let mut names: Vec<String> = entries
        .map(|entry| entry.expect("it can be read").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn writes_the_kit_and_the_second_time_changes_nothing() {
    let folder = tempfile::tempdir().expect("there is room");
    let place = folder.path().join("kit");
    let first = kit(&place, &[]);
    assert_eq!((first.code, first.stderr.as_str()), (Some(0), ""));
    let expected = ["frost_mast.h", "frost_mast.js", "frost_mast.md", "frost_mast.py", "frost_mast.rs"];
    let expected = [&expected[..], &["frost_mast_vectors.csv", "frost_mast_vectors.json"]].concat();
    assert_eq!(names(&place), expected);
    let written =
        |name: &str| fs::metadata(place.join(name)).and_then(|data| data.modified()).expect("it is there");
    let before: Vec<_> = expected.iter().map(|name| written(name)).collect();
    let second = kit(&place, &[]);
    assert_eq!(second.stdout.matches("unchanged").count(), expected.len(), "{}", second.stdout);
    assert_eq!(expected.iter().map(|name| written(name)).collect::<Vec<_>>(), before);
}

/// "Frost mast" and "Frost-Mast" are both `frost_mast.h`.
#[test]
fn two_nodes_whose_names_give_the_same_files_do_not_overwrite_each_other() {
    let folder = tempfile::tempdir().expect("there is room");
    let place = folder.path().join("kit");
    assert_eq!(kit(&place, &[]).code, Some(0));
    let text = fs::read_to_string(crate::program::root().join(MAST)).expect("the example is there");
    let other = folder.path().join("other.toml");
    fs::write(&other, text.replace("name = \"Frost mast\"", "name = \"Frost-Mast\""))
        .expect("it can be written");
    let text = |path: &Path| path.to_str().expect("the path is text").to_owned();
    let refused = run(&["kit", &text(&other), "-o", &text(&place)]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.stderr.contains("belongs to the kit of another node"), "{}", refused.stderr);
    let header = fs::read_to_string(place.join("frost_mast.h")).expect("it is there");
    assert!(header.starts_with("/* Frost mast: "), "the first kit is still there");
}

/// Worked by hand from the airtime formula of the radio's data sheet: 12 bytes are 25 on the air, at SF9 six groups of
/// symbols (8 * 25 + 8 of 36 bits), (12.25 + 38) * 4.096 ms = 205.8 ms; 21 on the air are five groups, 22 are six again.
#[test]
fn the_table_of_fields_says_what_each_byte_costs() {
    let folder = tempfile::tempdir().expect("there is room");
    assert_eq!(kit(folder.path(), &[]).code, Some(0));
    let table = fs::read_to_string(folder.path().join("frost_mast.md")).expect("it is there");
    for row in ["| DR3 | 205.8 ms | 115 | 4: 20.5 ms | 1 |", "| DR0, not sent |"] {
        assert!(table.contains(row), "{row}\n{table}");
    }
}

/// A file that can't be written stands for a disk that is full: what comes before it is not replaced either.
#[test]
fn a_kit_is_new_as_a_whole_or_not_at_all() {
    let folder = tempfile::tempdir().expect("there is room");
    assert_eq!(kit(folder.path(), &[]).code, Some(0));
    for name in ["frost_mast.md", "frost_mast.py"] {
        let path = folder.path().join(name);
        let old = fs::read_to_string(&path).expect("it is there") + "\nof yesterday\n";
        fs::write(&path, old).expect("it can be written");
    }
    let locked = folder.path().join("frost_mast.py");
    let mut permissions = fs::metadata(&locked).expect("it is there").permissions();
    permissions.set_readonly(true);
    fs::set_permissions(&locked, permissions).expect("it is ours");
    let refused = kit(folder.path(), &[]);
    assert_eq!((refused.code, refused.stdout.as_str()), (Some(2), ""));
    assert!(refused.stderr.contains("frost_mast.py"), "{}", refused.stderr);
    let table = fs::read_to_string(folder.path().join("frost_mast.md")).expect("it is there");
    assert!(table.ends_with("of yesterday\n"), "the others are as they were");
    assert_eq!(names(folder.path()).len(), 7, "nothing is left beside them");
}

#[test]
fn leaves_the_files_of_others_alone_and_refuses_to_overwrite_them() {
    let folder = tempfile::tempdir().expect("there is room");
    fs::write(folder.path().join("notes.txt"), "mine").expect("it can be written");
    assert_eq!(kit(folder.path(), &[]).code, Some(0));
    assert_eq!(fs::read_to_string(folder.path().join("notes.txt")).ok().as_deref(), Some("mine"));
    let other = tempfile::tempdir().expect("there is room");
    fs::write(other.path().join("frost_mast.js"), "my own decoder").expect("it can be written");
    let refused = kit(other.path(), &[]);
    assert_eq!(refused.code, Some(2));
    assert!(
        refused.stderr.contains("frost_mast.js") && refused.stderr.contains("not made by overwinter"),
        "{}",
        refused.stderr
    );
    assert_eq!(names(other.path()), ["frost_mast.js"], "nothing is half-written");
}

#[cfg(unix)]
#[test]
fn the_identity_is_for_the_owner_alone_ignored_and_never_overwritten() {
    use std::os::unix::fs::PermissionsExt as _;

    let folder = tempfile::tempdir().expect("there is room");
    assert_eq!(kit(folder.path(), &["--identity"]).code, Some(0));
    let secrets = folder.path().join("frost_mast_identity.h");
    let mode = fs::metadata(&secrets).expect("it is there").permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let ignored = fs::read_to_string(folder.path().join(".gitignore")).expect("it is there");
    assert_eq!(ignored, "frost_mast_identity.h\n");
    fs::write(&secrets, "filled in").expect("it can be written");
    let again = kit(folder.path(), &["--identity"]);
    assert!(again.stdout.contains("kept"), "{}", again.stdout);
    assert_eq!(fs::read_to_string(&secrets).ok().as_deref(), Some("filled in"));
}

#[test]
fn a_design_without_messages_and_an_output_that_is_a_file_are_refused() {
    let folder = tempfile::tempdir().expect("there is room");
    let file = folder.path().join("file");
    fs::write(&file, "").expect("it can be written");
    let refused = kit(&file, &[]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.stderr.contains("file"), "{}", refused.stderr);
    let text = fs::read_to_string(crate::program::root().join(MAST)).expect("the example is there");
    let (before, rest) = text.split_once("# Every 10 minutes; three").expect("the messages begin here");
    let after = &rest[rest.find("[regulator.main]").expect("and end here")..];
    let after = after.replace("message = \"report\"", "payload = \"12 bytes\"");
    let silent = folder.path().join("silent.toml");
    fs::write(
        &silent,
        format!("{before}{}", after.replace("message = \"frost_watch\"", "payload = \"5 bytes\"")),
    )
    .expect("it can be written");
    let said = run(&[
        "kit",
        silent.to_str().expect("text"),
        "-o",
        folder.path().join("kit").to_str().expect("text"),
    ]);
    assert_eq!(said.code, Some(2));
    assert!(said.stderr.contains("no message"), "{}", said.stderr);
}

/// A site file is called one by every command that wants the design file of one node, and by a site that names it as a kind.
#[test]
fn a_site_file_in_place_of_a_node_is_called_a_site_file() {
    const SITE: &str = "examples/larkmoor/larkmoor.toml";
    let folder = tempfile::tempdir().expect("there is room");
    let out = folder.path().join("out").to_str().expect("the path is text").to_owned();
    let site = crate::program::root().join(SITE);
    let nested = folder.path().join("nested.toml");
    let text = fs::read_to_string(&site).expect("it is there").replace("terrain = ", "#terrain = ");
    let text = text.replace("kind = \"frost-mast.toml\"", "kind = \"inner.toml\"");
    fs::write(&nested, text).expect("it can be written");
    fs::copy(&site, folder.path().join("inner.toml")).expect("it can be copied");
    let nested = nested.to_str().expect("the path is text");
    for arguments in [
        &["kit", SITE, "-o", &out][..],
        &["climate", SITE],
        &["size", SITE],
        &["enrol", SITE, "--count", "1", "-o", &out],
        &["check", nested, "--lives", "1"],
    ] {
        let refused = run(arguments);
        assert_eq!(refused.code, Some(2), "{arguments:?}: {}", refused.stderr);
        assert!(refused.stderr.contains("this is a site file"), "{arguments:?}: {}", refused.stderr);
    }
    assert!(!folder.path().join("out").exists(), "nothing is written");
}
