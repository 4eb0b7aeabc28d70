//! `overwinter reach`: what is drawn, what is said, what is refused, and that a stop leaves nothing.

use std::fs;
use std::path::Path;

use crate::program::{Run, program, root, run};

const SITE: &str = "examples/larkmoor/larkmoor.toml";
const MAPS: [&str; 6] =
    ["coverage.geojson", "coverage.kml", "coverage.pgw", "coverage.png", "coverage.svg", "coverage.tif"];

fn reach(site: &str, folder: &Path, more: &[&str]) -> Run {
    let folder = folder.to_str().expect("the path is text");
    run(&[&["reach", site, "-o", folder, "--side", "60"], more].concat())
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("the folder is there");
    let mut names: Vec<String> = entries
        .map(|entry| entry.expect("it can be read").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

/// A site of its own in a folder, with the kinds and the terrain of the example beside it.
fn changed_site(folder: &Path, from: &str, to: &str) -> String {
    let examples = root().join("examples/larkmoor");
    for name in ["frost-mast.toml", "tank-level.toml", "soil-station.toml"] {
        fs::copy(examples.join(name), folder.join(name)).expect("it can be copied");
    }
    fs::create_dir_all(folder.join("terrain")).expect("there is room");
    fs::copy(examples.join("terrain/larkmoor.tif"), folder.join("terrain/larkmoor.tif"))
        .expect("it can be copied");
    let text = fs::read_to_string(root().join(SITE)).expect("the example is there");
    assert!(text.contains(from), "{from}");
    let site = folder.join("site.toml");
    fs::write(&site, text.replace(from, to)).expect("it can be written");
    site.to_str().expect("the path is text").to_owned()
}

#[test]
fn draws_map_and_links_once_and_the_second_time_changes_nothing() {
    let folder = tempfile::tempdir().expect("there is room");
    let place = folder.path().join("reach");
    let first = reach(SITE, &place, &[]);
    // Two nodes lie behind a ridge.
    assert_eq!((first.code, first.stderr.as_str()), (Some(1), ""));
    let links = ["link-hail-net.svg", "link-mast-hollow.svg", "link-mast-slope.svg", "link-spring-tank.svg"];
    let expected = [&MAPS[..], &links[..]].concat();
    assert_eq!(names(&place), expected);
    let second = reach(SITE, &place, &[]);
    assert_eq!(second.stdout.matches("unchanged").count(), expected.len(), "{}", second.stdout);
    let folder_name = place.to_str().expect("text");
    insta::assert_snapshot!("reach_of_larkmoor", first.stdout.replace(folder_name, "DIR"));
}

/// A gateway on the moraine sees into the hollow behind it.
#[test]
fn moving_the_gateway_onto_the_ridge_brings_the_hollow_back() {
    let folder = tempfile::tempdir().expect("there is room");
    let at = |place: &str, surroundings: &str| {
        format!(
            "{place}\nantenna_height = \"11 m\"\nantenna_gain = \"3 dBi\"\ncable_loss = \"1 dB\"\nplace = \"outside\"\n\
             surroundings = \"{surroundings}\""
        )
    };
    let packing_house = at("latitude = \"47.005 deg\"\nlongitude = \"13.035 deg\"", "village");
    let ridge = at("latitude = \"46.981 deg\"\nlongitude = \"13.052 deg\"", "open");
    let site = changed_site(folder.path(), &packing_house, &ridge);
    let answer = reach(&site, &folder.path().join("out"), &[]);
    let line = |run: &Run| run.stdout.lines().find(|line| line.starts_with("mast-hollow")).map(str::to_owned);
    let moved = line(&answer).expect("a line for the node");
    assert!(moved.contains("It will be heard."), "{moved}");
    let before = line(&reach(SITE, &folder.path().join("before"), &[])).expect("a line for the node");
    assert!(before.contains("It will not be heard.") && before.contains("a ridge"), "{before}");
}

#[test]
fn a_file_of_somebody_else_is_left_alone_and_so_is_the_folder() {
    let folder = tempfile::tempdir().expect("there is room");
    fs::write(folder.path().join("coverage.png"), b"a photograph").expect("it can be written");
    let refused = reach(SITE, folder.path(), &[]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.stderr.contains("was not made by overwinter"), "{}", refused.stderr);
    assert_eq!(names(folder.path()), ["coverage.png"]);
}

/// The map without terrain says what it was drawn over and what to name; no way of a link is drawn.
#[test]
fn without_terrain_the_map_is_drawn_over_flat_ground_and_says_so() {
    let folder = tempfile::tempdir().expect("there is room");
    let out = folder.path().join("out");
    let flat = changed_site(folder.path(), "terrain = [\"terrain/larkmoor.tif\"]\n", "");
    let drawn = reach(&flat, &out, &[]);
    assert_eq!(drawn.stderr, "");
    assert!(drawn.stdout.contains("the ground was taken for flat"), "{}", drawn.stdout);
    assert!(drawn.stdout.contains("[ground] terrain"), "{}", drawn.stdout);
    assert_eq!(names(&out), MAPS);
    let svg = fs::read_to_string(out.join("coverage.svg")).expect("it is there");
    assert!(svg.contains("flat ground assumed") && !svg.contains("NaN"));
}

#[test]
fn a_wrong_name_or_tile_is_refused_and_says_what_to_write() {
    let folder = tempfile::tempdir().expect("there is room");
    let out = folder.path().join("out");
    let refused = reach(SITE, &out, &["--node", "nobody"]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.stderr.contains("--node"), "{}", refused.stderr);
    let missing = changed_site(folder.path(), "terrain/larkmoor.tif", "terrain/N46E013.hgt");
    assert_eq!(reach(&missing, &out, &[]).code, Some(2));
    assert!(!out.exists());
}

#[test]
fn the_map_can_be_drawn_for_another_node_and_differs() {
    let folder = tempfile::tempdir().expect("there is room");
    let mast = reach(SITE, &folder.path().join("mast"), &[]);
    let tank = reach(SITE, &folder.path().join("tank"), &["--node", "spring-tank"]);
    assert!(mast.stdout.contains("A node like mast-slope, 2.2 m up,"), "{}", mast.stdout);
    assert!(tank.stdout.contains("A node like spring-tank,"), "{}", tank.stdout);
}

#[cfg(unix)]
#[test]
fn stopped_by_ctrl_c_it_writes_nothing() {
    let folder = tempfile::tempdir().expect("there is room");
    let out = folder.path().join("out");
    let child = program(&["reach", SITE, "-o", out.to_str().expect("text"), "--side", "2000"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .expect("the program starts");
    std::thread::sleep(std::time::Duration::from_millis(1500));
    let interrupted = std::process::Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(interrupted.is_ok_and(|status| status.success()));
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(130));
    assert!(String::from_utf8_lossy(&output.stderr).contains("nothing was written"));
    assert!(!out.exists());
}

/// Twenty packets at -125 dBm at one link of the example, none of twenty at another, and a row without a fix.
#[test]
fn a_survey_shows_each_link_before_and_after_and_names_what_it_left_out() {
    let folder = tempfile::tempdir().expect("there is room");
    let survey = folder.path().join("survey.csv");
    fs::write(
        &survey,
        "time,node,gateway,data_rate,rssi_dbm,snr_db,power_dbm,sent,heard\n\
         2026-10-04,mast-slope,packing-house,DR0,-125,-8,14,20,20\n\
         2026-10-04,mast-hollow,packing-house,DR0,,,14,20,0\n\
         2026-10-04,hail-net,packing-house,DR0,125,-8,14,20,20\n",
    )
    .expect("it can be written");
    let said = run(&["reach", SITE, "--survey", survey.to_str().expect("the path is text")]);
    assert_eq!((said.code, said.stderr.as_str()), (Some(0), ""));
    assert!(said.stdout.contains("20 packets heard and 20 missed on 2 links"), "{}", said.stdout);
    assert!(said.stdout.contains("mast-slope to packing-house"), "{}", said.stdout);
    assert!(said.stdout.contains("left out: line 4: `rssi_dbm` is 125"), "{}", said.stdout);
}

/// What was found goes into the file once, with everything else left as it was, and `reach` goes by it from then on.
#[test]
fn a_survey_is_written_into_the_file_and_read_from_it() {
    let folder = tempfile::tempdir().expect("there is room");
    let site = changed_site(folder.path(), "# Wet wood", "# Wet wood");
    let before = fs::read_to_string(&site).expect("it is there");
    let survey = folder.path().join("survey.csv");
    let rows = "time,node,gateway,data_rate,rssi_dbm,snr_db,power_dbm,sent,heard\n\
                2026-10-04,mast-slope,packing-house,DR0,-110,5,14,20,20\n\
                2026-10-05,mast-slope,packing-house,DR0,-110,5,14,20,20\n";
    fs::write(&survey, rows).expect("it can be written");
    let survey = survey.to_str().expect("the path is text");
    let written = run(&["reach", &site, "--survey", survey, "--write"]);
    assert_eq!((written.code, written.stderr.as_str()), (Some(0), ""));
    assert!(written.stdout.contains("wrote     [gateway.packing-house.survey]"), "{}", written.stdout);
    let after = fs::read_to_string(&site).expect("it is there");
    assert!(before.lines().all(|line| after.contains(line)) && after.contains("packets = 40"), "{after}");
    let slope = |site: &str, out: &str| {
        let answer = reach(site, &folder.path().join(out), &[]);
        answer.stdout.lines().find(|line| line.starts_with("mast-slope")).map(str::to_owned)
    };
    let doubt = slope(SITE, "before").expect("a line for the node");
    assert!(doubt.contains("It may not be heard."), "{doubt}");
    let heard = slope(&site, "after").expect("a line for the node");
    assert!(heard.contains("It will be heard."), "{heard}");
    let again = run(&["reach", &site, "--survey", survey, "--write"]);
    assert!(again.stdout.contains("in place of the one of 40 packets until 2026-10-05"), "{}", again.stdout);
    assert_eq!(fs::read_to_string(&site).expect("it is there"), after);
}

#[test]
fn a_survey_without_its_power_is_refused_and_says_why() {
    let folder = tempfile::tempdir().expect("there is room");
    let survey = folder.path().join("survey.csv");
    let text =
        "time,node,gateway,data_rate,rssi_dbm,snr_db\n2026-10-04,mast-slope,packing-house,DR0,-125,-8\n";
    fs::write(&survey, text).expect("it can be written");
    let refused = run(&["reach", SITE, "--survey", survey.to_str().expect("the path is text")]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.stderr.contains("column `power_dbm` is missing"), "{}", refused.stderr);
}

/// A copy of the example with a place for a gateway on the moraine, from which the hollow is seen.
#[test]
fn where_a_gateway_may_stand_is_tried_and_how_the_node_then_lives_is_said() {
    let folder = tempfile::tempdir().expect("there is room");
    let place = "[may_stand.moraine]\nlatitude = \"46.981 deg\"\nlongitude = \"13.052 deg\"\nantenna_height = \"11 m\"\n\
                 antenna_gain = \"3 dBi\"\nplace = \"outside\"\nsurroundings = \"open\"\n\n[ground]";
    let site = changed_site(folder.path(), "[ground]", place);
    let said = reach(&site, &folder.path().join("out"), &[]).stdout;
    assert!(said.contains("a second gateway at moraine (heard at SF"), "{said}");
    assert!(said.contains("% of lives without an outage)"), "{said}");
    let more = said.lines().find(|line| line.starts_with("Where a gateway may stand: moraine brings"));
    assert!(more.is_some_and(|line| line.contains("mast-hollow")), "{said}");
}

/// By hand: from 46.98 N 13.05 E to 13.05 N 46.98 E are 33.9 degrees along the meridian, so at least 3750 km.
#[test]
fn a_place_for_a_gateway_with_swapped_coordinates_is_named_and_does_not_stretch_the_map() {
    let folder = tempfile::tempdir().expect("there is room");
    let site = changed_site(folder.path(), "terrain = [\"terrain/larkmoor.tif\"]\n", "");
    let [out, plain] = ["out", "plain"].map(|name| folder.path().join(name));
    reach(&site, &plain, &[]);
    let place = "\n[may_stand.moraine]\nlatitude = \"13.052 deg\"\nlongitude = \"46.981 deg\"\nantenna_height = \"11 m\"\n";
    let text = fs::read_to_string(&site).expect("it is there");
    fs::write(&site, text + place).expect("it can be written");
    let said = reach(&site, &out, &[]).stdout;
    let line = said.lines().find(|line| line.starts_with("[may_stand.moraine] is")).expect("it is named");
    let km = line.split(' ').nth(2).and_then(|km| km.parse::<f64>().ok()).expect("a distance");
    assert!((3750.0..6000.0).contains(&km) && line.contains("swapped"), "{line}");
    let [stretched, whole] =
        [out, plain].map(|folder| fs::read_to_string(folder.join("coverage.pgw")).expect("a world file"));
    assert_eq!(stretched, whole, "both maps reach as far");
}

/// The words of the map stand in the list too, and what is not known with what knowing is worth.
#[test]
fn a_newcomer_reads_why_a_node_is_not_heard_and_what_would_settle_it() {
    let folder = tempfile::tempdir().expect("there is room");
    let site = changed_site(
        folder.path(),
        "place = \"outside\"\nsurroundings = \"village\"",
        "surroundings = \"village\"",
    );
    let out = folder.path().join("out");
    let said = reach(&site, &out, &[]).stdout;
    let slope = said.lines().find(|line| line.starts_with("mast-slope")).expect("a line for the node");
    assert!(slope.contains("if gateway packing-house is outside"), "{slope}");
    assert!(said.contains("whether gateway packing-house is outside or inside; knowing is worth"), "{said}");
    assert!(said.contains("look, and write `place = \"outside\"`"), "{said}");
    let svg = fs::read_to_string(out.join("coverage.svg")).expect("it is there");
    assert!(svg.contains("heard if gateway packing-house is outside on"), "the map says so too");
}

/// A land-cover map without a terrain, and one that is no map, are refused at their line.
#[test]
fn a_land_cover_map_is_refused_with_what_to_do() {
    let folder = tempfile::tempdir().expect("there is room");
    let out = folder.path().join("out");
    let tile = "terrain = [\"terrain/larkmoor.tif\"]\n";
    let bare = changed_site(folder.path(), tile, "land_cover = [\"terrain/larkmoor.tif\"]\n");
    let refused = reach(&bare, &out, &[]);
    assert_eq!(refused.code, Some(2));
    assert!(
        refused.stderr.contains("land-cover") && refused.stderr.contains("name a terrain tile too"),
        "{}",
        refused.stderr
    );
    // Heights are no classes.
    let heights = format!("{tile}land_cover = [\"terrain/larkmoor.tif\"]\n");
    let refused = reach(&changed_site(folder.path(), tile, &heights), &out, &[]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.stderr.contains("give the map of classes itself"), "{}", refused.stderr);
}

/// Twenty packets at one node 20 dB better than at the others: each has its bar.
#[test]
fn a_survey_is_drawn_where_a_folder_is_given() {
    let folder = tempfile::tempdir().expect("there is room");
    let (survey, out) = (folder.path().join("survey.csv"), folder.path().join("out"));
    let rows = "time,node,gateway,data_rate,rssi_dbm,snr_db,power_dbm,sent,heard\n\
                2026-10-04,mast-slope,packing-house,DR0,-110,5,14,20,20\n\
                2026-10-04,hail-net,packing-house,DR0,-125,-8,14,20,20\n";
    fs::write(&survey, rows).expect("it can be written");
    let text = |path: &Path| path.to_str().expect("the path is text").to_owned();
    let said = run(&["reach", SITE, "--survey", &text(&survey), "-o", &text(&out), "--side", "60"]);
    assert_eq!((said.code, said.stderr.as_str()), (Some(0), ""));
    assert_eq!(names(&out), ["residuals.svg"]);
    let svg = fs::read_to_string(out.join("residuals.svg")).expect("it is there");
    assert!(svg.contains("mast-slope at packing-house") && svg.contains("hail-net at packing-house"));
}
