//! The interval of every month on every step of charge, and on a walk that falls and rises: the same in C, JavaScript,
//! Python and Rust as the design file says.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "months, steps and millivolts are small and positive"
)]

mod trial;

use design::catalog::Catalog;
use design::node::Design;
use design::quantity::Share;
use kit::Kit;
use trial::messages::Dice;
use trial::program::{folder, is_there, run};

const TABLE: &str = r#"every_by_month_and_charge = [
    ["85 %", ["20 min", "10 min", "5 min", "5 min", "5 min", "5 min", "5 min", "5 min", "5 min", "10 min", "20 min", "30 min"]],
    ["60 %", ["1 h", "30 min", "10 min", "5 min", "5 min", "5 min", "5 min", "5 min", "10 min", "30 min", "1 h", "3 h"]],
    ["35 %", ["6 h", "2 h", "1 h", "10 min", "10 min", "10 min", "10 min", "10 min", "1 h", "2 h", "6 h", "12 h"]],
    ["0 %", ["never", "12 h", "12 h", "1 h", "1 h", "1 h", "1 h", "1 h", "12 h", "12 h", "12 h", "never"]],
]"#;
/// Charges at which the table changes, lowest first.
const STEPS: [f64; 4] = [0.0, 35.0, 60.0, 85.0];

fn station() -> Design {
    let text = include_str!("../../../examples/larkmoor/soil-station.toml");
    let old = r#"every_by_charge = [["50 %", "30 min"], ["25 %", "2 h"], ["0 %", "12 h"]]"#;
    assert!(text.contains(old));
    let file = design::file::parse(&text.replace(old, TABLE));
    design::resolve::resolve(&Catalog::builtin(), &file).expect("it resolves").design
}

/// `month millivolts last rested` and what must be said: `step seconds`.
type Case = (u32, u32, usize, bool);

/// The rule of the manual in terms of charge, each charge looked up in the battery's own table of voltages.
fn expected(design: &Design, (month, millivolts, last, rested): Case) -> String {
    let reaches = |percent: f64| {
        let volts = design.battery.resting_at(Share::from_percent(percent.min(100.0))).volts();
        percent <= 0.0 || f64::from(millivolts) >= (volts * 1e3).round()
    };
    let row = STEPS.iter().filter(|percent| reaches(**percent)).count() - 1;
    let last = last.min(3);
    let step = match row {
        row if row < last => row,
        _ if rested && last < 3 && reaches(STEPS[last + 1] + 5.0) => last + 1,
        _ => last,
    };
    let every = design.loads[0].activities[0].every.at(month as u8, Share::from_percent(STEPS[step]));
    format!("{step} {}", every.map_or(0.0, |every| every.seconds().round()))
}

fn cases(design: &Design) -> (Vec<Case>, Vec<String>) {
    let mut dice = Dice(5);
    let mut cases = Vec::new();
    // Every month and every percent of charge, from every step, rested or not.
    for month in 1..=12 {
        for percent in 0..=100 {
            let volts = design.battery.resting_at(Share::from_percent(f64::from(percent))).volts();
            for last in 0..=4 {
                cases.push((month, (volts * 1e3).round() as u32, last, percent % 2 == 0));
            }
        }
    }
    let mut said: Vec<String> = cases.iter().map(|case| expected(design, *case)).collect();
    // A walk: the step of one hour is the last of the next.
    let (mut millivolts, mut last) = (3200_i64, 3);
    for hour in 0..5000_u64 {
        millivolts = (millivolts + dice.below(61).cast_signed() - 30).clamp(2400, 3800);
        let case = ((hour % 12) as u32 + 1, millivolts as u32, last, hour % 7 == 0);
        let answer = expected(design, case);
        last = answer.split(' ').next().and_then(|step| step.parse().ok()).expect("a step");
        cases.push(case);
        said.push(answer);
    }
    (cases, said)
}

#[test]
fn every_language_says_the_interval_of_the_design_file() {
    let design = station();
    let kit = Kit::of(&design);
    let (cases, said) = cases(&design);
    let steps: std::collections::BTreeSet<&str> =
        said.iter().filter_map(|answer| answer.split(' ').next()).collect();
    assert_eq!(steps.len(), 4, "the walk sees every step");
    let line = |(month, millivolts, last, rested): &Case| {
        format!("{month} {millivolts} {last} {}", u8::from(*rested))
    };
    let input = cases.iter().map(line).collect::<Vec<_>>().join("\n") + "\n";
    let name = "station_report";
    if is_there("gcc") {
        let main = format!(
            "#include <stdio.h>\n#include \"kit.h\"\nint main(void) {{\n    unsigned month, mv, last, rested;\n    \
             while (scanf(\"%u %u %u %u\", &month, &mv, &last, &rested) == 4) {{\n        \
             uint8_t step = winter_charge_step(mv, (uint8_t)last, (uint8_t)rested);\n        \
             printf(\"%u %u\\n\", (unsigned)step, (unsigned)winter_interval_s_{name}((uint8_t)month, step));\n    }}\n    return 0;\n}}\n"
        );
        let folder = folder(&[("kit.h", &trial::text_of(&kit, ".h")), ("main.c", &main)]);
        run(
            folder.path(),
            "gcc",
            &["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "main.c", "-o", "main"],
            "",
        );
        assert_eq!(run(folder.path(), "./main", &[], &input), said, "C");
    }
    if is_there("node") {
        let main = format!(
            "var kit = require('./kit.js');\nrequire('fs').readFileSync(0, 'utf8').trim().split('\\n').forEach(function (line) {{\n  \
             var n = line.split(' ').map(Number);\n  var step = kit.chargeStep(n[1], n[2], n[3] === 1);\n  \
             console.log(step + ' ' + kit.intervalSeconds('{name}', n[0], step));\n}});\n"
        );
        let folder = folder(&[("kit.js", &trial::text_of(&kit, ".js")), ("main.js", &main)]);
        assert_eq!(run(folder.path(), "node", &["main.js"], &input), said, "JavaScript");
    }
    if is_there("python3") {
        let main = format!(
            "import sys, kit\nfor line in sys.stdin:\n    month, mv, last, rested = map(int, line.split())\n    \
             step = kit.charge_step(mv, last, rested == 1)\n    print(step, kit.interval_s('{name}', month, step))\n"
        );
        let folder = folder(&[("kit.py", &trial::text_of(&kit, ".py")), ("main.py", &main)]);
        assert_eq!(run(folder.path(), "python3", &["main.py"], &input), said, "Python");
    }
    if is_there("rustc") {
        let main = format!(
            "#![deny(warnings)]\n#[allow(dead_code)]\nmod kit;\nuse std::io::BufRead;\nfn main() {{\n    \
             for line in std::io::stdin().lock().lines() {{\n        \
             let n: Vec<usize> = line.unwrap().split(' ').map(|word| word.parse().unwrap()).collect();\n        \
             let step = kit::charge_step(n[1] as u32, n[2], n[3] == 1);\n        \
             println!(\"{{step}} {{}}\", kit::interval_s_{name}(n[0], step));\n    }}\n}}\n"
        );
        let folder = folder(&[("kit.rs", &trial::text_of(&kit, ".rs")), ("main.rs", &main)]);
        run(folder.path(), "rustc", &["--edition", "2021", "main.rs", "-o", "main"], "");
        assert_eq!(run(folder.path(), "./main", &[], &input), said, "Rust");
    }
}

/// The vectors of the kit say what the rule says.
#[test]
fn the_vectors_walk_over_every_step_and_month() {
    let design = station();
    let text = trial::text_of(&Kit::of(&design), "_vectors.json");
    let rows: Vec<&str> = text.lines().filter(|line| line.contains("\"millivolts\"")).collect();
    let number = |row: &str, key: &str| -> String {
        let after = row.split(&format!("\"{key}\": ")).nth(1).expect("the key is there");
        after.chars().take_while(char::is_ascii_alphanumeric).collect()
    };
    let mut seen = std::collections::BTreeSet::new();
    for row in &rows {
        let of = |key| number(row, key).parse::<u32>().expect("a number");
        let case = (of("month"), of("millivolts"), of("last") as usize, number(row, "rested") == "true");
        assert_eq!(format!("{} {}", of("step"), of("station_report")), expected(&design, case), "{row}");
        seen.insert((of("month"), of("step")));
    }
    assert_eq!(seen.len(), 48, "every month on every step");
}

/// A design whose intervals are fixed has nothing to step through.
#[test]
fn a_fixed_interval_has_no_steps() {
    let design = trial::messages::frost_mast();
    let kit = Kit::of(&design);
    assert!(kit.settings.charge.is_none());
    for ending in [".h", ".js", ".py", ".rs", "_vectors.json"] {
        assert!(!trial::text_of(&kit, ending).to_lowercase().contains("charge_step"), "{ending}");
    }
}

/// A node whose intervals depend on the charge may be told to wait longer, never to report more often.
#[test]
fn a_setting_is_the_least_interval_of_a_table() {
    let text = include_str!("../../../examples/larkmoor/frost-mast.toml");
    let table = "every_by_charge = [[\"40 %\", \"10 min\"], [\"0 %\", \"2 h\"]]";
    let (before, after) = text.split_once("[load.mast.activity.report]\n").expect("the mast reports");
    let every = after.lines().find(|line| line.starts_with("every")).expect("at an interval");
    let text = format!("{before}[load.mast.activity.report]\n{}", after.replacen(every, table, 1));
    let file = design::file::parse(&text);
    let design = design::resolve::resolve(&Catalog::builtin(), &file).expect("it resolves").design;
    let kit = Kit::of(&design);
    for (ending, said) in [
        (
            ".h",
            "sets the least interval of report, counted from when it is received, later where month and charge ask for a longer interval */",
        ),
        (
            ".h",
            "Once heard, wait at least as long as report_interval of settings says: for whichever is longer; 0 stays not at all. */",
        ),
        // 10 and 120 minutes in seconds; the voltages are those of the header, which other tests hold against the battery.
        (".md", "| 600 s | 600 s | 600 s |"),
        (".md", "| 0 % | 0 | 0 | 7200 s | 7200 s |"),
    ] {
        assert!(
            trial::text_of(&kit, ending).contains(said),
            "{ending}: {said}\n{}",
            trial::text_of(&kit, ending)
        );
    }
}
