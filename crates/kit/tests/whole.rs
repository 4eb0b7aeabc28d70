//! The kit of the frost mast: the same every time, complete, and small enough.

mod trial;

use design::message::Form;
use kit::effect::{Effect, effects};
use kit::{Kit, fingerprint};
use trial::program::{folder, is_there, run};
use wire::payload::{Codec, Sample};

#[test]
fn the_kit_is_the_same_every_time_and_carries_its_fingerprint() {
    let design = trial::messages::frost_mast();
    let once = Kit::of(&design);
    assert_eq!(once.files(), Kit::of(&trial::messages::frost_mast()).files());
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
    let design = trial::messages::frost_mast();
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
    let design = trial::messages::frost_mast();
    let text = trial::text_of(&Kit::of(&design), ".rs");
    let kept = include_str!("data/frost_mast.rs");
    assert!(text == kept, "write the new one to tests/data/frost_mast.rs: `overwinter kit` makes it");
}

#[test]
fn golden_vectors_are_json_and_cover_every_state() {
    let design = trial::messages::frost_mast();
    let kit = Kit::of(&design);
    let json: serde_json::Value = serde_json::from_str(&trial::text_of(&kit, ".json")).expect("it is JSON");
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
    let design = trial::messages::frost_mast();
    let kit = Kit::of(&design);
    let main = r#"
#include "frost_mast.h"
#include <stdio.h>
int main(void)
{
    struct winter_report report;
    uint8_t bytes[WINTER_BYTES_REPORT];
    unsigned i;
    winter_absent_report(&report);
    report.air_temperature_x100 = -125; /* -1.25 Cel lies between -1.2 and -1.3 */
    report.humidity_x10 = 2000; /* 200 % can't be */
    printf("%u ", winter_pack_report(&report, bytes));
    for (i = 0; i < sizeof bytes; ++i) { printf("%02x", bytes[i]); }
    return 0;
}
"#;
    let reader = "var kit = require('./kit.js'), hex = process.argv[2], bytes = [], i;\n\
        for (i = 0; i < hex.length; i += 2) { bytes.push(parseInt(hex.substr(i, 2), 16)); }\n\
        var said = kit.decodeUplink({ fPort: 10, bytes: bytes });\n\
        console.log(said.errors.length, said.warnings.length, said.data.air_temperature, said.data.humidity, said.data.wetness);\n";
    let (header, codec) = (trial::text_of(&kit, ".h"), trial::text_of(&kit, ".js"));
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

/// Fifteen minutes after noon is a quarter past twelve; every language says it in the same words as `kit::effect`.
#[test]
fn whoever_sends_settings_is_told_what_follows_in_every_language() {
    let design = trial::messages::frost_mast();
    let kit = Kit::of(&design);
    let settings =
        design.messages.iter().find(|message| message.name == "settings").expect("it has settings");
    let codec = Codec::new(settings);
    // 15 min, 2 min, no threshold; then an interval above its range and one that is absent.
    let quarter = [codec.sample(Form::Full, 0, 15.0), codec.sample(Form::Full, 1, 2.0)]
        .map(|one| one.expect("in range"));
    let bytes = codec.encode(Form::Full, &[quarter[0], quarter[1], Sample::Absent]).expect("it fits").bytes;
    let none =
        codec.encode(Form::Full, &[Sample::Above, Sample::Absent, Sample::Absent]).expect("it fits").bytes;
    let mut readings = Vec::new();
    codec.decode(20, &none, &mut readings).expect("it was encoded");
    assert_eq!(effects(&design, settings, &readings), []);
    codec.decode(20, &bytes, &mut readings).expect("it was encoded");
    let found = effects(&design, settings, &readings);
    let noon = 1_795_608_000;
    let within: Vec<String> = found.iter().map(Effect::within).collect();
    let expected: Vec<String> = found.iter().map(|effect| effect.expected(noon)).collect();
    assert_eq!(
        within,
        [
            "report_interval 15 min: once this is received, the next report is expected within 15 min",
            "frost_watch_interval 2 min: once this is received, the next frost_watch is expected within 2 min, \
             while the air is colder than 3 Cel, in the months 3, 4, 5"
        ]
    );
    assert_eq!(
        expected[0],
        "report_interval 15 min: heard at 2026-11-25T12:00Z, the next report is expected at 2026-11-25T12:15Z at the latest"
    );
    let all = [within, expected].concat();
    if is_there("node") {
        let reader = "var kit = require('./kit.js');\n\
            var sent = kit.encodeDownlink({ data: { report_interval: 15, frost_watch_interval: 2 } });\n\
            if (sent.errors.length) { throw sent.errors; }\n\
            var later = kit.describeDownlink({ bytes: sent.bytes, fPort: sent.fPort, recvTime: new Date('2026-11-25T12:00:00Z') });\n\
            [{ report_interval: 5000 }, { report_interval: 1 }, { report_interval: null }, { message: 'settings' }].forEach(function (data) {\n\
              var none = kit.encodeDownlink({ data: data });\n\
              if (none.bytes !== undefined || none.errors.length !== 1) { throw none; }\n\
            });\n\
            console.log(sent.warnings.concat(later.effects).join('\\n'));\n";
        let folder = folder(&[("kit.js", &trial::text_of(&kit, ".js")), ("read.js", reader)]);
        assert_eq!(run(folder.path(), "node", &["read.js"], ""), all);
    }
    if is_there("python3") {
        let list = |bytes: &[u8]| bytes.iter().map(u8::to_string).collect::<Vec<_>>().join(", ");
        let reader = format!(
            "import datetime, kit\nnoon = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.timezone.utc)\n\
             data = bytes([{}])\nassert kit.describe_downlink(20, bytes([{}])) == []\n\
             print(*kit.describe_downlink(20, data), *kit.describe_downlink(20, data, noon), sep='\\n')\n",
            list(&bytes),
            list(&none)
        );
        let folder = folder(&[("kit.py", &trial::text_of(&kit, ".py")), ("read.py", &reader)]);
        assert_eq!(run(folder.path(), "python3", &["read.py"], ""), all);
    }
    for (ending, said) in [
        (".h", "sets the interval of report, counted from when it is received */"),
        (".h", "Once heard, report_interval of settings takes its place. */"),
        (".md", "`report_interval` sets the interval of report, counted from when it is received."),
    ] {
        assert!(trial::text_of(&kit, ending).contains(said), "{ending}: {said}");
    }
}

#[test]
fn the_wrong_region_and_a_missing_identity_do_not_compile() {
    if !is_there("gcc") {
        return;
    }
    let design = trial::messages::frost_mast();
    let kit = Kit::of(&design);
    let compiles = |defines: &str, include: &str| {
        let main = format!("{defines}\n#include \"{include}\"\nint main(void) {{ return 0; }}\n");
        let header = trial::text_of(&kit, ".h");
        let folder = folder(&[
            ("frost_mast.h", &header),
            (&kit.identity().name, &kit.identity().text),
            ("main.c", &main),
        ]);
        trial::program::succeeds(folder.path(), "gcc", &["-std=c99", "-c", "main.c"])
    };
    assert!(compiles("", "frost_mast.h"));
    assert!(compiles("#define WINTER_STACK_REGION WINTER_REGION_EU868", "frost_mast.h"));
    assert!(!compiles("#define WINTER_STACK_REGION WINTER_REGION_US915", "frost_mast.h"));
    assert!(!compiles("", "frost_mast_identity.h"));
}

/// Under 1 kB for the frost mast; `benches/README.md` has the figure.
#[test]
fn the_report_packs_in_less_than_a_kilobyte_on_a_small_processor() {
    if !is_there("arm-none-eabi-gcc") {
        return;
    }
    let design = trial::messages::frost_mast();
    let main = "#include \"frost_mast.h\"\nunsigned send(const struct winter_report *report, uint8_t *bytes);\n\
        unsigned send(const struct winter_report *report, uint8_t *bytes) { return winter_pack_report(report, bytes); }\n";
    let folder = folder(&[("frost_mast.h", &trial::text_of(&Kit::of(&design), ".h")), ("main.c", main)]);
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
