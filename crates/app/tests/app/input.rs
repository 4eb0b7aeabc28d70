//! Input that can't be used: what is said, and that nothing else happens.

use std::fmt::Write as _;
use std::fs;
use std::io::Write as _;
use std::path::Path;

use crate::program::{program, root};

const DESIGN: &str = "examples/larkmoor/frost-mast.toml";
const WEATHER: &str = "examples/weather/sand-point-ak.csv";

/// A site of one node, beside the design file `node.toml`.
const LONE_SITE: &str = r#"schema = 1
name = "Lone mast"
[gateway.barn]
latitude = "47.0 deg"
longitude = "13.0 deg"
antenna_height = "10 m"
place = "outside"
[node.mast]
kind = "node.toml"
latitude = "47.01 deg"
longitude = "13.0 deg"
"#;

/// Runs `check` in a folder of its own, into which the two good files are copied as `node.toml` and `weather.csv`.
fn check(folder: &Path, arguments: &[&str]) -> (Option<i32>, String) {
    fs::copy(root().join(DESIGN), folder.join("node.toml")).expect("copies");
    if !folder.join("weather.csv").exists() {
        fs::copy(root().join(WEATHER), folder.join("weather.csv")).expect("copies");
    }
    let mut all = vec!["check"];
    all.extend(arguments);
    let output = program(&all).current_dir(folder).output().expect("starts");
    if output.status.code() == Some(2) {
        assert!(output.stdout.is_empty(), "nothing is printed when nothing was checked");
    }
    (output.status.code(), String::from_utf8(output.stderr).expect("UTF-8"))
}

fn folder() -> tempfile::TempDir {
    tempfile::tempdir().expect("a temporary folder")
}

/// The good weather file with something done to its lines.
fn weather(change: impl FnOnce(&mut Vec<String>)) -> Vec<u8> {
    let text = fs::read_to_string(root().join(WEATHER)).expect("reads");
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    change(&mut lines);
    (lines.join("\n") + "\n").into_bytes()
}

fn set_column(line: &mut String, column: usize, value: &str) {
    let mut cells: Vec<&str> = line.split(',').collect();
    *cells.get_mut(column).expect("has that column") = value;
    *line = cells.join(",");
}

/// Name of the case and the bytes of the file.
fn bad_weather() -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("empty", Vec::new()),
        ("truncated", weather(|lines| lines.truncate(4000))),
        ("cut_in_a_row", {
            let mut bytes = weather(|_| ());
            bytes.truncate(200_000);
            bytes
        }),
        ("missing_column", weather(|lines| lines[1] = lines[1].replace("GHI (W/m^2)", "Global"))),
        ("gap", weather(|lines| drop(lines.drain(1000..1003)))),
        ("unsorted", weather(|lines| lines.swap(1000, 1001))),
        ("not_a_number", weather(|lines| set_column(&mut lines[2000], 2, "NaN"))),
        ("negative_sun", weather(|lines| set_column(&mut lines[2000], 2, "-50"))),
        ("sun_at_night", weather(|lines| set_column(&mut lines[3], 2, "400"))),
        ("one_hour_short", weather(|lines| drop(lines.pop()))),
        ("not_weather", b"Dear friend,\nthis is a letter.\n".to_vec()),
        ("binary", vec![0x7f, b'E', b'L', b'F', 0, 0, 0, 1, 2, 3]),
    ]
}

#[test]
fn bad_weather_is_refused_with_its_line_and_what_to_do() {
    for (name, bytes) in bad_weather() {
        let folder = folder();
        fs::write(folder.path().join("weather.csv"), bytes).expect("writes");
        let (code, said) =
            check(folder.path(), &["node.toml", "--weather", "weather.csv", "--hours", "hours.csv"]);
        assert_eq!(code, Some(2), "{name}: {said}");
        assert!(!folder.path().join("hours.csv").exists(), "{name}: no file is written");
        insta::assert_snapshot!(format!("weather_{name}"), said);
    }
}

#[test]
fn latin_1_in_the_name_of_the_station_is_read() {
    let folder = folder();
    let mut bytes = weather(|_| ());
    let at = bytes.windows(4).position(|four| four == b"SAND").expect("the name of the station");
    *bytes.get_mut(at + 1).expect("in the name") = 0xc4;
    fs::write(folder.path().join("weather.csv"), bytes).expect("writes");
    let (code, said) = check(folder.path(), &["node.toml", "--weather", "weather.csv", "--lives", "0"]);
    assert_eq!((code, said.as_str()), (Some(0), ""));
}

#[test]
fn a_file_without_a_place_must_fit_the_sun_of_the_site() {
    // Light from 20 to 4 o'clock.
    let months = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
    let mut text = "# utc_offset_hours = 1\ntime,ghi_w_m2,air_celsius\n".to_owned();
    for (month, days) in (1..).zip(months) {
        for (day, hour) in (1..=days).flat_map(|day| (1..=24).map(move |hour| (day, hour))) {
            let light = if (5..=20).contains(&hour) { 0 } else { 200 };
            writeln!(text, "2025-{month:02}-{day:02}T{hour:02}:00,{light},5")
                .expect("a string takes any text");
        }
    }
    let folder = folder();
    fs::write(folder.path().join("weather.csv"), text).expect("writes");
    let (code, said) = check(folder.path(), &["node.toml", "--weather", "weather.csv"]);
    assert_eq!(code, Some(2), "{said}");
    insta::assert_snapshot!("weather_without_place_and_sun_at_night", said);
}

#[test]
fn what_is_no_file_is_refused_with_what_to_give() {
    let folder = folder();
    fs::create_dir(folder.path().join("larkmoor")).expect("creates");
    fs::write(folder.path().join("latin1.toml"), b"schema = 1\nname = \"B\xfcrg\"\n").expect("writes");
    let cases: [(&str, &[&str]); 6] = [
        ("folder_as_design", &["larkmoor", "--weather", "weather.csv"]),
        ("folder_as_weather", &["node.toml", "--weather", "larkmoor"]),
        ("no_design", &["nod.toml", "--weather", "weather.csv"]),
        ("no_weather", &["node.toml", "--weather", "wether.csv"]),
        ("design_not_utf8", &["latin1.toml", "--weather", "weather.csv"]),
        ("swapped", &["weather.csv", "--weather", "node.toml"]),
    ];
    for (name, arguments) in cases {
        let (code, said) = check(folder.path(), arguments);
        assert_eq!(code, Some(2), "{name}");
        insta::assert_snapshot!(name, said);
    }
}

#[test]
fn huge_files_of_another_kind_are_refused_after_their_beginning() {
    let folder = folder();
    let mut file = fs::File::create(folder.path().join("huge")).expect("creates");
    file.write_all(b"This is not weather.\n").expect("writes");
    file.set_len(200 << 20).expect("makes a sparse file of 200 MB");
    let (code, said) = check(folder.path(), &["node.toml", "--weather", "huge"]);
    assert_eq!(code, Some(2));
    insta::assert_snapshot!("huge_weather", said);
    file.set_len(10 << 20).expect("makes it 10 MB");
    let (code, said) = check(folder.path(), &["huge", "--weather", "weather.csv"]);
    assert_eq!(code, Some(2));
    insta::assert_snapshot!("huge_design", said);
}

#[test]
fn what_can_not_be_written_is_refused_and_leaves_nothing() {
    let folder = folder();
    fs::create_dir(folder.path().join("out")).expect("creates");
    let weather = ["node.toml", "--weather", "weather.csv"];
    let cases: [(&str, [&str; 2]); 4] = [
        ("report_in_no_folder", ["--report", "nowhere/report.html"]),
        ("report_is_a_folder", ["--report", "out"]),
        ("hours_over_the_design", ["--hours", "node.toml"]),
        ("hours_over_the_weather", ["--hours", "./weather.csv"]),
    ];
    for (name, output) in cases {
        let before = listing(folder.path());
        let (code, said) = check(folder.path(), &[&weather[..], &output[..]].concat());
        assert_eq!(code, Some(2), "{name}");
        insta::assert_snapshot!(name, said);
        let after = listing(folder.path());
        assert!(before.is_empty() || before == after, "{name}: {before:?} became {after:?}");
    }
    let kept = fs::read(folder.path().join("weather.csv")).expect("still there");
    assert_eq!(kept, fs::read(root().join(WEATHER)).expect("reads"));
}

fn listing(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).expect("lists").filter_map(Result::ok);
    let mut names: Vec<String> =
        entries.map(|entry| entry.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    if names.iter().any(|name| name == "node.toml") { names } else { Vec::new() }
}

#[test]
fn a_report_may_replace_an_older_one() {
    let folder = folder();
    fs::write(folder.path().join("hours.csv"), "old").expect("writes");
    let (code, said) = check(
        folder.path(),
        &["node.toml", "--weather", "weather.csv", "--hours", "hours.csv", "--lives", "0"],
    );
    assert_eq!((code, said.as_str()), (Some(0), ""));
    let text = fs::read_to_string(folder.path().join("hours.csv")).expect("reads");
    assert_eq!(text.lines().count(), 8761);
    assert_eq!(listing(folder.path()), ["hours.csv", "node.toml", "weather.csv"]);
}

#[test]
fn a_reader_that_goes_away_is_told_by_the_exit_code_alone() {
    use std::process::Stdio;
    for flag in ["--all", "--json"] {
        let mut child = program(&["check", DESIGN, "--weather", WEATHER, "--lives", "0", flag])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("starts");
        drop(child.stdout.take());
        let output = child.wait_with_output().expect("ends");
        assert_eq!((output.status.code(), output.stderr.as_slice()), (Some(2), &b""[..]), "{flag}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn help_and_version_on_a_full_disk_say_so() {
    for arguments in [&["--help"][..], &["--version"], &["check", "--help"], &["help", "enrol"]] {
        let full = fs::File::options().write(true).open("/dev/full").expect("opens");
        let output = program(arguments).stdout(full).output().expect("starts");
        let said = String::from_utf8(output.stderr).expect("UTF-8");
        assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
        assert!(said.contains("the disk is full"), "{arguments:?}: {said}");
    }
    let output = program(&["--version"]).output().expect("starts");
    assert_eq!(output.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&output.stdout).starts_with("overwinter "));
}

/// Each file as large as it is read at all, and read in the memory of a small computer.
#[cfg(target_os = "linux")]
#[test]
fn files_at_their_ceiling_are_answered_in_200_megabytes_of_memory() {
    const MOST_KB: usize = 200 << 10;
    let folder = folder();
    fs::copy(root().join(DESIGN), folder.path().join("node.toml")).expect("copies");
    let filled = |name: &str, bytes: usize, head: &str, piece: &dyn Fn(usize) -> String| {
        let mut text = head.to_owned();
        for index in 0.. {
            let piece = piece(index);
            if text.len() + piece.len() > bytes {
                break;
            }
            text += &piece;
        }
        fs::write(folder.path().join(name), text).expect("writes");
    };
    let design = 256 << 10;
    filled("tables.toml", design, "", &|index| format!("[t{index}]\n"));
    filled("slips.toml", design, "", &|index| format!("k{index} = = 1\n"));
    filled("loads.toml", design, "schema = 1\n", &|index| format!("[load.l{index}]\nfloor = \"1 uA\"\n"));
    filled("tiles.toml", design, "schema = 1\nterrain = [\n", &|index| format!("\"t{index}.tif\",\n"));
    filled("nodes.toml", design, LONE_SITE, &|index| format!("[node.n{index}]\nkind = \"node.toml\"\n"));
    filled("rows.csv", 120 << 20, "time,ghi_w_m2,air_celsius\n", &|_| "2021-01-01T00:00,0,-3.5\n".to_owned());
    filled("heard.csv", 48 << 20, "time,node,gateway,rssi_dbm\n", &|_| "2026-01-01,a,b,-100\n".to_owned());
    for arguments in [
        "check tables.toml",
        "check slips.toml",
        "check loads.toml",
        "check tiles.toml",
        "check nodes.toml",
        "check node.toml --weather rows.csv",
        "reach site.toml --survey heard.csv",
    ] {
        fs::write(folder.path().join("site.toml"), LONE_SITE).expect("writes");
        let program = env!("CARGO_BIN_EXE_overwinter");
        let script = format!("ulimit -v {MOST_KB} && exec {program} {arguments}");
        let output =
            std::process::Command::new("sh").args(["-c", &script]).current_dir(folder.path()).output();
        let output = output.expect("a shell");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{arguments}: {said}");
        assert!(said.contains("error["), "{arguments}: {said}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_device_or_a_pipe_is_no_file() {
    let folder = folder();
    let pipe = folder.path().join("pipe");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status().expect("mkfifo");
    assert!(made.success());
    fs::write(folder.path().join("site.toml"), LONE_SITE).expect("writes");
    fs::copy(root().join(DESIGN), folder.path().join("node.toml")).expect("copies");
    for place in ["/dev/zero", pipe.to_str().expect("UTF-8")] {
        for arguments in [
            &["check", place][..],
            &["check", "node.toml", "--weather", place],
            &["reach", place, "-o", "map"],
            &["kit", place, "-o", "kit"],
            &["climate", place],
            &["reach", "site.toml", "--survey", place],
        ] {
            let output = program(arguments).current_dir(folder.path()).output().expect("starts");
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
            assert!(said.contains("pipe or a device"), "{arguments:?}: {said}");
        }
    }
}

#[test]
fn what_turns_the_direction_of_writing_never_reaches_the_terminal() {
    let folder = folder();
    let text = "schema = 1\nname = \"Mast\"\n\"a\u{202e}b\" = \"\u{9b}31m\u{1b}[31m\"\n";
    fs::write(folder.path().join("turned.toml"), text).expect("writes");
    let output = program(&["check", "turned.toml"]).current_dir(folder.path()).output().expect("starts");
    let said = String::from_utf8(output.stderr).expect("UTF-8");
    assert!(said.contains("error[syntax]") && said.contains("turned.toml:3"), "{said}");
    assert!(!said.contains(['\u{202e}', '\u{9b}', '\u{1b}']), "{said:?}");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said() {
    let full = fs::File::options().write(true).open("/dev/full").expect("opens");
    let output = program(&["check", DESIGN, "--weather", WEATHER]).stdout(full).output().expect("starts");
    assert_eq!(output.status.code(), Some(2));
    let said = String::from_utf8(output.stderr).expect("UTF-8");
    assert!(said.contains("the disk is full"), "{said}");
}
