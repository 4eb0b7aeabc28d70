//! `overwinter check` on the Larkmoor examples: the page, the data, the hours, the report.

use std::fs;

use crate::program::{Run, program, root, run};

const WEATHER: &str = "examples/weather/sand-point-ak.csv";
/// Enough where it does not matter how many.
const FEW: [&str; 2] = ["--lives", "40"];
const NODES: [&str; 4] = ["frost-mast", "spray-trailer", "soil-station", "tank-level"];

fn check(node: &str, flags: &[&str]) -> Run {
    let design = format!("examples/larkmoor/{node}.toml");
    let run = run(&[&["check", &design, "--weather", WEATHER, "--no-remedies"], flags].concat());
    assert_eq!(run.stderr, "", "{node}");
    run
}

/// A verdict, which ends before the weather, and a readable length beside the table of what would make it hold and warnings.
fn assert_length(page: &str) {
    let table =
        |line: &&str| line.starts_with("What would make it hold") || line.starts_with("Room to spare");
    let of_table = page.lines().skip_while(|line| !table(line)).take_while(|line| !line.is_empty()).count();
    let after = page.lines().skip_while(|line| !line.starts_with("Weather: ")).count();
    let after = after - of_table - usize::from(of_table > 0);
    assert!((20..=46).contains(&after), "{after} lines after the verdict:\n{page}");
    assert!(!page.contains('…'), "a word is cut:\n{page}");
}

#[test]
fn the_page_and_the_exit_code_of_every_example() {
    for node in NODES {
        let run = check(node, &[]);
        let fails = run.stdout.lines().any(|line| line.starts_with("━━┃━━ fails: "));
        assert_eq!(run.code, Some(i32::from(fails)), "the exit code says the verdict:\n{}", run.stdout);
        assert_length(&run.stdout);
        assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "eighty columns:\n{}", run.stdout);
        insta::assert_snapshot!(format!("page_{node}"), run.stdout);
    }
}

#[test]
fn the_page_of_every_example_in_the_climate_of_its_site() {
    for node in NODES {
        let run = run(&["check", &format!("examples/larkmoor/{node}.toml")]);
        assert_eq!((run.code, run.stderr.as_str()), (Some(0), ""), "{node}");
        assert_length(&run.stdout);
        assert!(run.stdout.lines().all(|line| line.chars().count() <= 80), "eighty columns:\n{}", run.stdout);
        insta::assert_snapshot!(format!("climate_page_{node}"), run.stdout);
    }
}

/// What the README shows is what the command that it names prints.
#[test]
fn the_readme_shows_what_the_program_prints() {
    let readme = fs::read_to_string(root().join("README.md")).expect("reads");
    let command =
        readme.lines().find(|line| line.starts_with("target/release/overwinter check")).expect("a command");
    let arguments: Vec<&str> = command.split_whitespace().skip(1).collect();
    let sample =
        readme.split("<!-- sample: begin -->\n```\n").nth(1).and_then(|rest| rest.split("```\n").next());
    let page = run(&arguments).stdout;
    assert_eq!(sample.expect("a sample"), page, "put this page between the marks of the sample in README.md");
}

#[test]
fn no_life_says_nothing_and_one_says_little() {
    let none = check("frost-mast", &["--lives", "0"]);
    assert_eq!(none.code, Some(0), "not known is no failure");
    assert!(
        none.stdout.contains(" not known: ") && none.stdout.contains("no life was lived"),
        "{}",
        none.stdout
    );
    let one = check("frost-mast", &["--lives", "1"]);
    assert!(one.stdout.contains("So few lives say little"), "{}", one.stdout);
}

#[test]
#[cfg(unix)]
fn an_interrupt_gives_the_answer_so_far() {
    let arguments = ["check", "examples/larkmoor/frost-mast.toml", "--lives", "1000000"];
    let waiting = program(&arguments).stdout(std::process::Stdio::piped()).spawn().expect("starts");
    std::thread::sleep(std::time::Duration::from_secs(2));
    let id = waiting.id().to_string();
    let asked = std::process::Command::new("kill").args(["-INT", &id]).status().expect("kill runs");
    assert!(asked.success());
    let output = waiting.wait_with_output().expect("ends");
    let page = String::from_utf8(output.stdout).expect("UTF-8");
    assert_eq!(output.status.code(), Some(0), "{page}");
    let said = page.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("Stopped early: ") && said.contains(" of 1,000,000 lives."), "{page}");
}

#[test]
fn the_smaller_promises_are_answered() {
    let text = fs::read_to_string(root().join("examples/larkmoor/frost-mast.toml")).expect("reads");
    let asked = "[promise]\ncompleteness = \"100 %\"\nfreshness = \"40 d\"\nvisits_per_year = 5.0\n";
    let folder = tempfile::tempdir().expect("a temporary folder");
    fs::write(folder.path().join("node.toml"), text.replace("[promise]\n", asked)).expect("writes");
    let weather = root().join(WEATHER);
    let weather = weather.to_str().expect("UTF-8");
    let arguments = ["check", "node.toml", "--json", "--weather", weather, "--lives", "200"];
    let output = program(&arguments).current_dir(folder.path()).output().expect("starts");
    let report: serde_json::Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let verdict = |name: &str| {
        let promises = report["promises"].as_array().expect("a list");
        let promise = promises.iter().find(|one| one["promise"] == name).expect("answered");
        promise["verdict"].as_str().expect("a word").to_owned()
    };
    // Half of its lives stop for a while in this weather, none for forty days, and all recover unaided.
    let verdicts = ["completeness", "freshness", "visits"].map(verdict);
    assert_eq!(verdicts, ["fails", "holds", "holds"]);
}

#[test]
fn everything_of_the_frost_mast() {
    insta::assert_snapshot!("all_frost-mast", check("frost-mast", &["--all"]).stdout);
}

#[test]
fn the_data_of_the_frost_mast() {
    let mut report: serde_json::Value =
        serde_json::from_str(&check("frost-mast", &["--json"]).stdout).expect("JSON");
    let hours = report["hours"].as_array_mut().expect("a list");
    assert_eq!(hours.len(), 8760);
    hours.truncate(1);
    report["overwinter"] = "VERSION".into();
    insta::assert_snapshot!("json_frost-mast", format!("{report:#}"));
}

#[test]
fn page_data_and_hours_tell_the_same_life() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let path = folder.path().join("hours.csv");
    let flags = [&FEW[..], &["--json", "--hours", path.to_str().expect("UTF-8")]].concat();
    let report: serde_json::Value =
        serde_json::from_str(&check("soil-station", &flags).stdout).expect("JSON");
    let text = fs::read_to_string(&path).expect("written");
    let mut rows = text.lines().map(|line| line.split(',').collect::<Vec<_>>());
    let header = rows.next().expect("a header");
    let column = header.iter().position(|name| *name == "charge_percent").expect("the charge");
    let charges: Vec<f64> = rows.filter_map(|row| row.get(column)?.parse().ok()).collect();
    let hours = report["hours"].as_array().expect("a list");
    assert_eq!(charges.len(), hours.len());
    for (cell, hour) in charges.iter().zip(hours) {
        let charge = hour["charge_percent"].as_f64().expect("a number");
        assert!((cell - charge).abs() < 0.006, "{cell} {charge}");
    }
}

#[test]
fn the_report_needs_nothing_but_itself() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for node in NODES {
        let path = folder.path().join("report.html");
        check(node, &[&FEW[..], &["--report", path.to_str().expect("UTF-8")]].concat());
        let page = fs::read_to_string(&path).expect("written");
        for outside in ["<script", "<link", "<img", "url(http", "href=", "src=", "style=", "NaN"] {
            let body = page.split("</style>").nth(1).expect("a body");
            let found =
                body.find(outside).and_then(|at| body.get(at.saturating_sub(80)..(at + 80).min(body.len())));
            assert!(found.is_none(), "{node}: {outside} in {found:?}");
        }
        let charts = page.matches("<svg class=\"chart\"").count();
        let has = |id: &str| page.contains(&format!("id=\"{id}-title\""));
        assert!(["bands", "tornado", "deaths"].iter().all(|id| has(id)), "{node}");
        for id in ["months", "winter", "earns"] {
            assert_eq!(
                has(id),
                node != "tank-level",
                "{node}: a node without a panel has no charts of the sun"
            );
        }
        let tapes = page.matches("<title id=\"tape-").count();
        assert_eq!(charts, tapes + if node == "tank-level" { 3 } else { 6 }, "{node}");
        assert_eq!(page.matches("<desc").count(), charts, "{node}: every chart has a description");
        assert_eq!(page.matches("role=\"img\"").count(), charts);
    }
}

#[test]
fn markup_in_a_design_is_text_on_its_page() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = fs::read_to_string(root().join("examples/larkmoor/frost-mast.toml")).expect("it is there");
    let text = text.replace("name = \"Frost mast\"", "name = \"Frost <i>&mast\"");
    let text = text.replace("title = \"surface of a leaf\"", "title = \"<i onload='x'>leaf\"");
    let node = folder.path().join("node.toml");
    fs::write(&node, text).expect("it is written");
    let (node, page) = (node.to_string_lossy().into_owned(), folder.path().join("page.html"));
    let run = run(&["check", &node, "--lives", "1", "--report", &page.to_string_lossy()]);
    let page = fs::read_to_string(page).unwrap_or_else(|error| panic!("{error}: {}", run.stderr));
    assert!(!page.contains("<i"), "markup of the design is markup of the page");
    assert!(page.contains("Frost &lt;i&gt;&amp;mast"), "the name stands there as it is written");
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let write = |name: &str| {
        let path = folder.path().join(name);
        let flags = ["--json", "--report", path.to_str().expect("UTF-8")];
        let json = check("spray-trailer", &[&FEW[..], &flags].concat()).stdout;
        (json, fs::read(path).expect("written"))
    };
    assert!(write("one.html") == write("two.html"));
}

#[test]
fn colours_appear_only_where_they_are_wanted() {
    let arguments = ["check", "examples/larkmoor/frost-mast.toml", "--weather", WEATHER, FEW[0], FEW[1]];
    let plain = run(&arguments).stdout;
    assert!(!plain.contains('\u{1b}'));
    let forced = program(&arguments).env("CLICOLOR_FORCE", "1").output().expect("starts");
    let coloured = String::from_utf8(forced.stdout).expect("UTF-8");
    assert!(coloured.contains('\u{1b}'));
    assert_eq!(anstream::adapter::strip_str(&coloured).to_string(), plain);
    let refused =
        program(&arguments).env("NO_COLOR", "1").env("CLICOLOR_FORCE", "1").output().expect("starts");
    assert!(!String::from_utf8(refused.stdout).expect("UTF-8").contains('\u{1b}'));
}

#[test]
fn help_and_version() {
    insta::assert_snapshot!("help", run(&["--help"]).stdout);
    insta::assert_snapshot!("help_check", run(&["check", "--help"]).stdout);
    assert_eq!(run(&["--version"]).stdout, format!("overwinter {}\n", env!("CARGO_PKG_VERSION")));
}
