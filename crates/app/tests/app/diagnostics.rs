//! Every diagnostic as a person sees it: the real program on a file with one slip each.

use std::fs;

use crate::program::{program, root, run};
use design::diagnostic::CODES;

const WEATHER: &str = "examples/weather/sand-point-ak.csv";
const BAD: &str = "crates/app/tests/bad";

/// Names of the bad files without their ending, sorted.
fn slips() -> Vec<String> {
    let entries = fs::read_dir(root().join(BAD)).expect("the folder of bad files");
    let mut names: Vec<String> = entries
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "toml"))
        .filter_map(|path| Some(path.file_stem()?.to_str()?.to_owned()))
        .collect();
    names.sort();
    names
}

#[test]
fn every_code_has_a_file_with_that_slip() {
    let mut codes: Vec<&str> =
        CODES.iter().map(|code| code.name).filter(|code| !code.starts_with("too-")).collect();
    codes.sort_unstable();
    assert_eq!(slips(), codes);
}

#[test]
fn every_slip_is_shown_with_its_code_place_and_what_to_write() {
    for code in slips() {
        let file = format!("{BAD}/{code}.toml");
        // What is wrong with a file does not hang on how many lives are lived with it.
        let run = run(&["check", &file, "--weather", WEATHER, "--all", "--lives", "1"]);
        let shown = if run.code == Some(2) {
            assert_eq!(run.stdout, "", "{code}: nothing is printed when nothing was checked");
            run.stderr
        } else {
            cautions(&run.stdout, &format!("{code}.toml"))
        };
        assert!(shown.contains(&code), "{code} is not in:\n{shown}");
        insta::assert_snapshot!(format!("slip_{code}"), shown);
    }
}

/// The cautions that point into the file of this name, out of a full page.
fn cautions(page: &str, file: &str) -> String {
    let section = page.split("\nCautions\n").nth(1).and_then(|rest| rest.split("\n\n").next()).unwrap_or("");
    let mut kept = Vec::new();
    let mut ours = false;
    for line in section.lines() {
        let starts = !line.starts_with(' ');
        ours = if starts { line.starts_with(&format!("warning: {file}")) } else { ours };
        if ours {
            kept.push(line);
        }
    }
    kept.join("\n")
}

#[test]
fn all_problems_come_at_once_and_as_data_too() {
    let text = "schema = 1\nname = \"Bürg\"\nlatitud = 3\n[site]\nlatitude = \"95 deg\"\nlongitude = 13\n";
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::write(folder.path().join("node.toml"), text).expect("writes");
    let output = program(&["check", "node.toml", "--weather", "none.csv", "--json"])
        .current_dir(folder.path())
        .output()
        .expect("starts");
    assert_eq!(output.status.code(), Some(2));
    assert!(output.stderr.is_empty());
    let report: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let found = report["diagnostics"].as_array().expect("a list");
    let of_code = |code: &str| {
        found.iter().find(|one| one["code"] == code).unwrap_or_else(|| panic!("{code}: {report:#}"))
    };
    assert_eq!((&of_code("latitude")["line"], &of_code("latitude")["column"]), (&5.into(), &12.into()));
    assert_eq!((&of_code("bare-number")["line"], &of_code("bare-number")["column"]), (&6.into(), &13.into()));
    assert_eq!(of_code("unknown-key")["line"], 3);
    assert_eq!(of_code("file")["file"], "none.csv");
    assert!(found.iter().filter(|one| one["code"] == "missing-key").count() >= 3, "{report:#}");
}
