//! `overwinter size`: what it prints, writes and refuses; and designs side by side.

use std::fs;

use crate::program::{Run, root, run};

/// The frost mast for one year with little to choose from.
fn mast(sizing: &str) -> (tempfile::TempDir, String) {
    let text = fs::read_to_string(root().join("examples/larkmoor/frost-mast.toml")).expect("reads");
    let text = text.replace("unattended = \"5 years\"", "unattended = \"1 year\"");
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("node.toml");
    fs::write(&path, format!("{text}\n[size]\n{sizing}\n")).expect("writes");
    let path = path.to_string_lossy().into_owned();
    (folder, path)
}

const SMALL: &str = "panels = [\"panel-0w3\", \"panel-1w\"]\ncapacities = [\"300 mAh\", \"2 Ah\"]\n\
                     intervals = [\"10 min\", \"15 min\"]";

fn size(path: &str, flags: &[&str]) -> Run {
    run(&[&["size", path, "--lives", "100"], flags].concat())
}

#[test]
fn what_is_written_is_what_was_chosen_and_checks() {
    let (folder, path) = mast(SMALL);
    let new = folder.path().join("new.toml").to_string_lossy().into_owned();
    let picture = folder.path().join("picture.svg").to_string_lossy().into_owned();
    let found = size(&path, &["-o", &new, "--picture", &picture]);
    assert_eq!((found.code, found.stderr.as_str()), (Some(0), ""), "{}", found.stdout);
    assert!(found.stdout.contains(" > ") && found.stdout.contains("Written: "), "{}", found.stdout);
    assert!(found.stdout.lines().filter(|line| !line.contains(&new)).all(|line| line.chars().count() <= 80));
    let (before, after) =
        (fs::read_to_string(&path).expect("there"), fs::read_to_string(&new).expect("there"));
    let differing = before.lines().zip(after.lines()).filter(|(one, other)| one != other).count();
    assert_eq!(before.lines().count(), after.lines().count());
    assert!((1..=3).contains(&differing), "{differing} lines differ");
    assert!(fs::read_to_string(&picture).expect("there").contains("chosen"));
    let again = run(&["check", &new, "--lives", "100", "--no-remedies"]);
    assert!(!again.stdout.contains("fails: Frost mast"), "{}", again.stdout);
}

#[test]
fn what_would_be_lost_or_makes_no_sense_is_refused_before_the_search() {
    let (_folder, path) = mast(SMALL);
    let onto = size(&path, &["-o", &path]);
    assert_eq!(onto.code, Some(2), "{}", onto.stderr);
    assert!(onto.stderr.contains("would overwrite"), "{}", onto.stderr);
    let nowhere = size(&path, &["-o", "/nowhere/new.toml"]);
    assert_eq!(nowhere.code, Some(2));
    assert!(nowhere.stderr.contains("no such file or folder"), "{}", nowhere.stderr);
    let (_folder, backwards) = mast("intervals = [\"3 h\", \"1 min\"]");
    assert!(size(&backwards, &[]).stderr.contains("size-range"));
    let (_folder, none) = mast("intervals = [\"1 ms\", \"2 ms\"]");
    let none = size(&none, &[]);
    assert_eq!(none.code, Some(2), "{}", none.stdout);
    assert!(none.stderr.contains("size.intervals"), "{}", none.stderr);
}

#[test]
fn nothing_in_range_is_exit_code_one() {
    let (_folder, path) = mast(
        "panels = [\"panel-0w3\"]\ncapacities = [\"30 mAh\", \"30 mAh\"]\nintervals = [\"10 min\", \"10 min\"]",
    );
    let found = size(&path, &[]);
    assert_eq!(found.code, Some(1), "{}", found.stderr);
    assert!(found.stdout.contains("Nothing in range keeps the promise"), "{}", found.stdout);
}

#[test]
fn designs_side_by_side_live_the_same_lives() {
    let (folder, path) = mast("");
    let text = fs::read_to_string(&path).expect("there").replace("2000 mAh", "300 mAh");
    let smaller = folder.path().join("smaller.toml").to_string_lossy().into_owned();
    fs::write(&smaller, text).expect("writes");
    let found = run(&["check", &path, &smaller, "--lives", "60"]);
    assert_eq!(found.code, Some(1), "{}", found.stderr);
    let said = |text: &str| assert!(found.stdout.contains(text), "{text}:\n{}", found.stdout);
    said("A  ");
    said("B  ━━┃━━  smaller.toml");
    said("300 mAh");
    said("saves 0 of the lives that A loses");
    assert!(!found.stdout.contains("\npanel "), "what is alike is left out:\n{}", found.stdout);
    let wrong = run(&["check", &path, "--at", "60 X"]);
    assert_eq!(wrong.code, Some(2));
    assert!(wrong.stderr.contains("it is not a place"), "{}", wrong.stderr);
}
