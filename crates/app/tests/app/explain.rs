//! `overwinter explain`: what a frame says once it can be opened.

use std::fs;
use std::path::Path;

use crate::program::{root, run};

const MAST: &str = "examples/larkmoor/frost-mast.toml";
const SITE: &str = "examples/larkmoor/larkmoor.toml";
/// `up, a report of the frost mast, ADR` of `crates/wire/tests/data/frames.toml`, and its keys.
const FRAME: &str = "404EC0A7018002010AD2DA28E7A5CFB89A762761CF34BB6041";
const KEYS: &str = "dev_addr = \"01A7C04E\"\nnwk_s_key = \"763de503b61870408874b795c1a041a3\"\napp_s_key = \"a5c6cb610eff58895765161eab85698d\"\n";
/// What the script of the vectors packed, by hand, into its payload.
const VALUES: [&str; 9] = [
    "air_temperature              -3.4 Cel",
    "air_temperature, 3 before    -2.5 Cel",
    "leaf_temperature             -4.6 Cel",
    "leaf_temperature, 1 before   -4.2 Cel",
    "humidity                     93 %",
    "wetness                      12 %",
    "battery                      3910 mV",
    "charging                     812 min",
    "restarted                    no",
];

fn secret(folder: &Path, text: &str) -> String {
    let path = folder.join("session.toml");
    fs::write(&path, text).expect("it can be written");
    #[cfg(unix)]
    fs::set_permissions(&path, std::os::unix::fs::PermissionsExt::from_mode(0o600)).expect("it is ours");
    path.to_str().expect("the path is text").to_owned()
}

#[test]
fn with_the_keys_of_the_session_the_values_are_shown() {
    let folder = tempfile::tempdir().expect("there is room");
    let keys = secret(folder.path(), KEYS);
    for kinds in [["--kind", MAST], ["--site", SITE]] {
        let said = run(&["explain", FRAME, kinds[0], kinds[1], "--session", &keys]);
        assert_eq!(said.code, Some(0), "{}", said.stderr);
        assert!(said.stdout.contains("all 32 bits of the counter are 258"), "{}", said.stdout);
        assert!(VALUES.iter().all(|value| said.stdout.contains(value)), "{}", said.stdout);
        assert!(!said.stdout.contains("763de5") && !said.stdout.contains("a5c6cb"), "no key is shown");
    }
    let other = secret(folder.path(), &KEYS.replace("763de5", "763de6"));
    let said = run(&["explain", FRAME, "--kind", MAST, "--session", &other]);
    assert!(said.stdout.contains("not made with the keys of this session"), "{}", said.stdout);
    assert!(!said.stdout.contains("air_temperature"), "a forged frame is never decoded: {}", said.stdout);
}

#[test]
fn a_payload_in_clear_is_shown_in_values() {
    let said = run(&["explain", "5BA192758A2969BA32346580", "--port", "10", "--kind", MAST]);
    assert_eq!(said.code, Some(0), "{}", said.stderr);
    assert!(VALUES.iter().all(|value| said.stdout.contains(value)), "{}", said.stdout);
    // To the node, 15 min and nothing else: what follows is said too. By the table of fields: 11 bits of 15 - 2, then ones and a zero bit.
    let said = run(&["explain", "01BFFE", "--port", "20", "--kind", MAST]);
    assert!(said.stdout.contains("the next report is expected within 15 min"), "{}", said.stdout);
    let alone = run(&["explain", "01BFFE", "--port", "20"]);
    assert_eq!(alone.code, Some(2));
    assert!(alone.stderr.contains("--kind NODE.toml"), "{}", alone.stderr);
}

/// A node that records satellites and sends the recording in a field of bytes: 19 of them for 6 satellites and 30 m, by hand
/// one bit 0 before, so that 20 travel. Satellite 5 is late by half a millisecond, 149.90 km; 0x77359400 s are
/// 2033-05-18T03:33:20Z (`date -u -d @2000000000`).
#[test]
fn a_recording_of_satellites_is_read_and_its_layout_stands_in_the_kit() {
    let folder = tempfile::tempdir().expect("there is room");
    let text = fs::read_to_string(root().join("examples/larkmoor/spray-trailer.toml")).expect("reads");
    let fields = "raw = { kind = \"bytes\", length = \"19 bytes\" }\n";
    let text = text.replace("at_most = \"11 bytes\"\n", "").replace(
        "{ fix = { give_up_after = \"60 s\", failures = \"8 %\" } }",
        "{ snapshot = { time = \"2 s\" } }",
    );
    let before = text.find("place = {").expect("its first field");
    let after = text.find("\n[regulator.main]").expect("what follows its fields");
    let text = [text.get(..before), Some(fields), text.get(after..)].map(Option::unwrap_or_default).concat();
    let node = folder.path().join("node.toml");
    fs::write(&node, text).expect("it can be written");
    let (node, out) = (node.to_str().expect("text"), folder.path().join("kit"));
    let bits = format!(
        "0{:032b}{}{}0000000",
        0x7735_9400_u32,
        "00010110000000000000",
        "11111100000000000000".repeat(5)
    );
    let octet = |bits: &[u8]| bits.iter().fold(0_u8, |code, bit| code << 1 | (bit - b'0'));
    let octets: Vec<String> = bits.as_bytes().chunks(8).map(|bits| format!("{:02X}", octet(bits))).collect();
    let payload = octets.concat();
    let said = run(&["explain", &payload, "--port", "10", "--kind", node]);
    assert_eq!(said.code, Some(0), "{}", said.stderr);
    let wanted = "recorded 2033-05-18T03:33:20Z, code delay of satellite 5: 149.90 km";
    assert!(said.stdout.contains(wanted), "{}", said.stdout);
    let kit = run(&["kit", node, "-o", out.to_str().expect("text")]);
    assert_eq!(kit.code, Some(0), "{}", kit.stderr);
    for file in ["spray_trailer.md", "spray_trailer.h"] {
        let text = fs::read_to_string(out.join(file)).expect("it is written");
        assert!(
            text.contains("then 6 times 6 bits of a satellite's number (63: none) and 14 bits"),
            "{file}"
        );
    }
}

#[test]
fn what_is_no_session_is_refused_without_repeating_a_key() {
    let folder = tempfile::tempdir().expect("there is room");
    for text in [
        "nwk_s_key = 763de503b61870408874b795c1a041a3",
        &KEYS.replace("041a3", "041a"),
        "dev_addr = \"01A7C04E\"",
        &format!("{KEYS}join_request = \"00\"\n"),
    ] {
        let keys = secret(folder.path(), text);
        let refused = run(&["explain", FRAME, "--kind", MAST, "--session", &keys]);
        assert_eq!(refused.code, Some(2), "{text}");
        assert!(!refused.stderr.contains("763de503"), "{}", refused.stderr);
    }
    #[cfg(unix)]
    {
        let keys = secret(folder.path(), KEYS);
        fs::set_permissions(&keys, std::os::unix::fs::PermissionsExt::from_mode(0o644)).expect("it is ours");
        let refused = run(&["explain", FRAME, "--session", &keys]);
        assert!(refused.stderr.contains("chmod 600"), "{}", refused.stderr);
    }
}

#[test]
fn a_registry_that_is_not_there_is_an_error_also_beside_a_site() {
    let refused = run(&["explain", FRAME, "--site", SITE, "--registry", "no/such/folder"]);
    assert_eq!(refused.code, Some(2));
    assert!(refused.stderr.contains("there is no site in this folder"), "{}", refused.stderr);
}

/// The sample of the sheet that the example states: 0x24 tenths of a volt, 0x0AF0 mm, 0xFB = -5 degrees, 1000 0001.
#[test]
fn a_message_of_a_bought_node_is_explained_by_its_sheet() {
    let explain = |payload: &str| {
        let kind = "examples/larkmoor/bought-probe.toml";
        run(&["explain", payload, "--port", "7", "--kind", kind])
    };
    let page = explain("240AF0FB81");
    assert_eq!(page.code, Some(0), "{}", page.stderr);
    for words in ["of a bought node", "3.6 V", "2800 mm", "-5 Cel", "yes", "filling"] {
        assert!(page.stdout.contains(words), "{words}: {}", page.stdout);
    }
    let page = explain("240A");
    assert!(page.stdout.contains("2 bytes where the design says 5"), "{}", page.stdout);
}
