//! `overwinter check SITE.toml`: every node of a site, and what one moved gateway does to all verdicts.

use std::fs;
use std::path::Path;

use serde_json::Value;

use crate::program::{root, run};

const SITE: &str = "examples/larkmoor/larkmoor.toml";

/// The larkmoor folder with a change to the site file.
fn changed(folder: &Path, change: impl Fn(String) -> String) -> String {
    for file in ["frost-mast.toml", "tank-level.toml", "soil-station.toml"] {
        fs::copy(root().join("examples/larkmoor").join(file), folder.join(file)).expect("copies");
    }
    fs::create_dir(folder.join("terrain")).expect("there is room");
    let tile = "terrain/larkmoor.tif";
    fs::copy(root().join("examples/larkmoor").join(tile), folder.join(tile)).expect("copies");
    let text = fs::read_to_string(root().join(SITE)).expect("reads");
    let site = folder.join("site.toml");
    fs::write(&site, change(text)).expect("writes");
    site.to_str().expect("the path is text").to_owned()
}

fn node<'a>(report: &'a Value, name: &str) -> &'a Value {
    let nodes = report["nodes"].as_array().expect("a list");
    nodes.iter().find(|node| node["name"] == name).expect("the node is there")
}

fn json(site: &str) -> (Option<i32>, Value) {
    let run = run(&["check", site, "--lives", "60", "--json"]);
    (run.code, serde_json::from_str(&run.stdout).expect("JSON"))
}

#[test]
fn a_site_has_a_row_for_each_node_and_the_worst_comes_first() {
    let run = run(&["check", SITE, "--lives", "100"]);
    assert_eq!((run.code, run.stderr.as_str()), (Some(1), ""));
    insta::assert_snapshot!(run.stdout);
}

/// From the moraine the gateway sees into the hollow: what was too far is heard, fast and so lawful.
#[test]
fn a_moved_gateway_moves_reach_and_law_together() {
    let folder = tempfile::tempdir().expect("there is room");
    let moved = changed(folder.path(), |text| {
        text.replace("latitude = \"47.005 deg\"", "latitude = \"46.981 deg\"")
            .replace("longitude = \"13.035 deg\"", "longitude = \"13.052 deg\"")
            .replace("surroundings = \"village\"", "surroundings = \"open\"")
    });
    let (before_code, before) = json(SITE);
    let (_, after) = json(&moved);
    let verdict = |report: &Value, question: &str| node(report, "mast-hollow")["verdicts"][question].clone();
    assert_eq!(before_code, Some(1));
    assert_eq!((verdict(&before, "reach"), verdict(&before, "law")), ("fails".into(), "fails".into()));
    assert_eq!((verdict(&after, "reach"), verdict(&after, "law")), ("holds".into(), "tight".into()));
}

#[test]
fn slips_of_a_site_are_named_at_their_line() {
    for (name, from, to) in [
        ("kind", "kind = \"tank-level.toml\"", "kind = \"tank.toml\""),
        ("tile", "terrain/larkmoor.tif", "terrain/missing.tif"),
        (
            "sea",
            "latitude = \"47.05 deg\"\nlongitude = \"12.95 deg\"",
            "latitude = \"40 deg\"\nlongitude = \"-40 deg\"",
        ),
    ] {
        let folder = tempfile::tempdir().expect("there is room");
        let site = changed(folder.path(), |text| text.replace(from, to));
        let run = run(&["check", &site, "--lives", "1"]);
        assert_eq!((run.code, run.stdout.as_str()), (Some(2), ""), "{name}");
        insta::assert_snapshot!(
            format!("slip_{name}"),
            run.stderr.replace(folder.path().to_str().expect("text"), "FOLDER")
        );
    }
}

#[test]
fn a_frame_is_named_by_the_messages_of_the_site() {
    let run = run(&["explain", "404EC0A7010002000A95437876FFEEDDCC11FF0D", "--site", SITE]);
    assert_eq!(run.code, Some(0), "{}", run.stderr);
    assert!(run.stdout.contains("`report` of frost-mast.toml"), "{}", run.stdout);
}

/// A verdict on a link that was taken for flat ground is worth less, and the page says so before it gives it.
#[test]
fn pages_of_a_site_warn_above_the_table_that_the_warning_weakens() {
    let folder = tempfile::tempdir().expect("there is room");
    let site =
        changed(folder.path(), |text| text.replace("latitude = \"47.05 deg\"", "latitude = \"49.05 deg\""));
    let page = folder.path().join("site.html");
    let run = run(&["check", &site, "--lives", "20", "--report", page.to_str().expect("UTF-8")]);
    let html = fs::read_to_string(&page).expect("the page is written");
    for (said, table) in [(run.stdout.as_str(), "\nspring-tank  "), (html.as_str(), "<table")] {
        let warning = said.find("are taken for flat ground").expect("the warning stands on the page");
        assert!(warning < said.find(table).expect("there is a row for the node"), "{said}");
    }
    for node in ["mast-slope", "mast-hollow", "spring-tank", "hail-net"] {
        assert!(html.contains(&format!("<th scope=\"row\">{node}</th>")), "{node}");
    }
    assert!(!html.contains(folder.path().to_str().expect("UTF-8")), "the page names no folder");
}

/// A kind that is sound at home may be doubtful where it is placed: in the far south, under a regional plan that is not in
/// use there.
#[test]
fn what_is_doubtful_only_where_a_node_stands_is_said_of_it() {
    let folder = tempfile::tempdir().expect("there is room");
    let site = changed(folder.path(), |text| {
        let head = text.split("[node.").next().expect("gateways").replace("terrain = ", "#terrain = ");
        let node = |name: &str, latitude: &str| {
            format!(
                "[node.{name}]\nkind = \"frost-mast.toml\"\nlatitude = \"{latitude}\"\nlongitude = \"169.21 deg\"\n"
            )
        };
        head + &node("one", "-45.01 deg") + &node("two", "-45.02 deg")
    });
    let run = run(&["check", &site, "--lives", "1"]);
    let said = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("one and 1 other node: "), "{said} {}", run.stderr);
    assert!(said.contains("the plan EU868 is not in use at -45.0 deg, 169.2 deg"), "{said}");
}

/// A gateway listens to one plan: nodes of two around one that does not say its own are refused with the nodes of each; with
/// `region` at the gateway those of the other plan are not heard, and the finding says so.
#[test]
fn nodes_of_two_plans_around_one_gateway_are_named() {
    let folder = tempfile::tempdir().expect("there is room");
    let site = changed(folder.path(), |text| text);
    let tank = folder.path().join("tank-level.toml");
    let text = fs::read_to_string(&tank).expect("reads").replace("region = \"EU868\"", "region = \"US915\"");
    fs::write(&tank, text).expect("writes");
    for json in [&[][..], &["--json"]] {
        let run = run(&[&["check", &site, "--lives", "1"], json].concat());
        let said = run.stdout + &run.stderr;
        assert_eq!(run.code, Some(2), "{said}");
        for word in ["mixed-regions", "EU868", "US915", "spring-tank"] {
            assert!(said.contains(word), "{word}: {said}");
        }
    }
    let text = fs::read_to_string(&site).expect("reads");
    let text = text.replace("[gateway.packing-house]\n", "[gateway.packing-house]\nregion = \"EU868\"\n");
    fs::write(&site, text).expect("writes");
    let (code, report) = json(&site);
    assert_eq!(code, Some(1), "a node that is not heard fails");
    let findings = node(&report, "spring-tank")["findings"].as_array().expect("a list");
    assert!(findings.iter().any(|one| one["code"] == "reach-other-region"), "{findings:#?}");
    assert_eq!(node(&report, "spring-tank")["verdicts"]["reach"], "fails");
}

/// Without a life nothing is shown below a row of a site that could be the first of them.
#[test]
fn without_lives_a_row_says_that_nothing_is_known_and_no_more() {
    let run = run(&["check", SITE, "--lives", "0"]);
    let said = run.stdout.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("no life was lived, so how many survive is not known"), "{said}");
    assert!(!said.contains("below is the first of them"), "{said}");
}
