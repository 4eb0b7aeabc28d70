//! The kit of the frost mast: the same every time, complete, and small enough.

mod kit;

use kit::program::{folder, is_there, run};
use wire::generate::{Kit, fingerprint};

#[test]
fn the_kit_is_the_same_every_time_and_carries_its_fingerprint() {
    let design = kit::frost_mast();
    let once = Kit::of(&design);
    assert_eq!(once.files(), Kit::of(&kit::frost_mast()).files());
    for file in once.files().iter().filter(|file| !file.name.ends_with("vectors.csv")) {
        assert!(file.text.contains(&once.fingerprint()), "{}", file.name);
    }
    let names: Vec<String> = once.files().into_iter().map(|file| file.name).collect();
    let expected = [".md", ".h", ".js", ".py", ".rs", "_vectors.json", "_vectors.csv"]
        .map(|end| format!("frost_mast{end}"));
    assert_eq!(names, expected);
}

#[test]
fn the_fingerprint_changes_with_what_both_sides_must_agree_on_and_with_nothing_else() {
    let design = kit::frost_mast();
    let mut messages = design.messages.clone();
    let before = fingerprint(&messages);
    messages[0].title = "Another title".into();
    messages[0].fields[0].title = "another".into();
    assert_eq!(fingerprint(&messages), before);
    messages[0].fields[0].unit = "K".into();
    assert_ne!(fingerprint(&messages), before);
    messages.clone_from(&design.messages);
    messages[0].port += 100;
    assert_ne!(fingerprint(&messages), before);
}

#[test]
fn the_decoder_that_the_bench_runs_is_the_generated_one() {
    let design = kit::frost_mast();
    let text = kit::text_of(&Kit::of(&design), ".rs");
    assert_eq!(
        text,
        include_str!("data/kit/frost_mast.rs"),
        "write the new one to tests/data/kit/frost_mast.rs"
    );
}

#[test]
fn golden_vectors_are_json_and_cover_every_state() {
    let design = kit::frost_mast();
    let kit = Kit::of(&design);
    let json: serde_json::Value = serde_json::from_str(&kit::text_of(&kit, ".json")).expect("it is JSON");
    let vectors = json["vectors"].as_array().expect("there are vectors");
    let states: Vec<&str> = vectors
        .iter()
        .filter_map(|vector| vector["readings"].as_array())
        .flatten()
        .filter_map(|reading| reading["state"].as_str())
        .collect();
    for state in ["inside", "absent", "below", "above"] {
        assert!(states.contains(&state), "{state}");
    }
    assert!(vectors.iter().any(|vector| vector["error"] == true));
    let first = &vectors[0];
    // Every field absent: all ones, then three spare zero bits of the 96.
    assert_eq!(
        (first["title"].as_str(), first["hex"].as_str()),
        (Some("nothing was read"), Some("fffffffffffffffffffffff8"))
    );
}

/// Three lines of C, as a newcomer writes them.
#[test]
fn a_newcomer_packs_a_report_in_c_and_reads_it_in_javascript() {
    if !is_there("gcc") || !is_there("node") {
        return;
    }
    let design = kit::frost_mast();
    let kit = Kit::of(&design);
    let main = r#"
#include "frost_mast.h"
#include <stdio.h>
int main(void)
{
    struct ow_report report;
    uint8_t bytes[OW_BYTES_REPORT];
    unsigned i;
    ow_absent_report(&report);
    report.air_temperature = -125; /* hundredths: -1.25 Cel lies between -1.2 and -1.3 */
    report.humidity = 2000; /* tenths: 200 % can't be */
    printf("%u ", ow_pack_report(&report, bytes));
    for (i = 0; i < sizeof bytes; ++i) { printf("%02x", bytes[i]); }
    return 0;
}
"#;
    let reader = "var kit = require('./kit.js'), hex = process.argv[2], bytes = [], i;\n\
        for (i = 0; i < hex.length; i += 2) { bytes.push(parseInt(hex.substr(i, 2), 16)); }\n\
        var said = kit.decodeUplink({ fPort: 10, bytes: bytes });\n\
        console.log(said.errors.length, said.warnings.length, said.data.air_temperature, said.data.humidity, said.data.wetness);\n";
    let (header, codec) = (kit::text_of(&kit, ".h"), kit::text_of(&kit, ".js"));
    let folder =
        folder(&[("frost_mast.h", &header), ("main.c", main), ("kit.js", &codec), ("read.js", reader)]);
    run(
        folder.path(),
        "gcc",
        &["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Werror", "main.c", "-o", "main"],
        "",
    );
    let program = folder.path().join("main");
    let said = run(folder.path(), program.to_str().expect("the path is text"), &[], "").join("");
    let (outside, hex) = said.split_once(' ').expect("a count and bytes");
    assert_eq!(outside, "1", "only the humidity lay outside its range");
    assert_eq!(run(folder.path(), "node", &["read.js", hex], ""), ["0 1 -1.3 100 null"]);
}

#[test]
fn the_wrong_region_and_unfilled_secrets_do_not_compile() {
    if !is_there("gcc") {
        return;
    }
    let design = kit::frost_mast();
    let kit = Kit::of(&design);
    let compiles = |defines: &str, include: &str| {
        let main = format!("{defines}\n#include \"{include}\"\nint main(void) {{ return 0; }}\n");
        let header = kit::text_of(&kit, ".h");
        let folder = folder(&[
            ("frost_mast.h", &header),
            (&kit.secrets().name, &kit.secrets().text),
            ("main.c", &main),
        ]);
        kit::program::succeeds(folder.path(), "gcc", &["-std=c99", "-c", "main.c"])
    };
    assert!(compiles("", "frost_mast.h"));
    assert!(compiles("#define OW_STACK_REGION OW_REGION_EU868", "frost_mast.h"));
    assert!(!compiles("#define OW_STACK_REGION OW_REGION_US915", "frost_mast.h"));
    assert!(!compiles("", "frost_mast_secrets.h"));
}

/// Issue 5: under 1 kB for the frost mast. Only where the compiler is; `benches/README.md` has the figure.
#[test]
fn the_report_packs_in_less_than_a_kilobyte_on_a_small_processor() {
    if !is_there("arm-none-eabi-gcc") {
        return;
    }
    let design = kit::frost_mast();
    let main = "#include \"frost_mast.h\"\nunsigned send(const struct ow_report *report, uint8_t *bytes);\n\
        unsigned send(const struct ow_report *report, uint8_t *bytes) { return ow_pack_report(report, bytes); }\n";
    let folder = folder(&[("frost_mast.h", &kit::text_of(&Kit::of(&design), ".h")), ("main.c", main)]);
    run(
        folder.path(),
        "arm-none-eabi-gcc",
        &[
            "-mcpu=cortex-m0plus",
            "-mthumb",
            "-Os",
            "-std=c99",
            "-Wall",
            "-Wextra",
            "-Werror",
            "-ffreestanding",
            "-c",
            "main.c",
        ],
        "",
    );
    let size = run(folder.path(), "arm-none-eabi-size", &["main.o"], "");
    let bytes: Vec<u32> =
        size[1].split_whitespace().take(3).map(|word| word.parse().expect("a size")).collect();
    assert!(
        bytes[0] < 1000 && bytes[1] + bytes[2] == 0,
        "flash {} and RAM {} bytes",
        bytes[0],
        bytes[1] + bytes[2]
    );
    let needed = run(folder.path(), "arm-none-eabi-nm", &["--undefined-only", "main.o"], "");
    assert!(needed.is_empty(), "no division or other library function is needed: {needed:?}");
}
