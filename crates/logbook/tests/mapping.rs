//! Messages of other networks: three invented shapes, read by the pointers that a person would choose, and the same
//! pointers found by example.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use design::catalog::Catalog;
use design::message::Direction;
use design::serve::{MappedContent, MappedPort, Mapping, Pointer, TextForm, TimeForm};
use logbook::mapping::propose::{self, Layouts, Pasted};
use logbook::mapping::{self, Devices, Incoming, LARGEST_BYTES, Read, Reported, Unmapped};
use serde_json::Value;
use wire::identity::DevEui;
use wire::payload::Codec;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/traffic").join(name)
}

fn text(name: &str) -> String {
    std::fs::read_to_string(data(name)).expect("the file is there")
}

struct Line {
    shape: String,
    topic: String,
    text: String,
    expected: Value,
}

fn lines() -> Vec<Line> {
    let read = |line: &str| {
        let expected: Value = serde_json::from_str(line).expect("it is JSON");
        let word = |key: &str| expected[key].as_str().expect("a text").to_owned();
        Line { shape: word("shape"), topic: word("topic"), text: word("text"), expected }
    };
    text("messages.jsonl").lines().map(read).collect()
}

fn devices() -> Devices {
    let devices = text("devices.csv");
    let mut reader = csv::Reader::from_reader(devices.as_bytes());
    let titles = reader.headers().expect("titles").clone();
    let place = |title: &str| titles.iter().position(|known| known == title).expect("the column is there");
    let (name, device) = (place("Name"), place("Device"));
    let rows = reader.records().map(|row| row.expect("sound CSV"));
    let by_name = rows.map(|row| (row[name].to_owned(), DevEui::from_display(&row[device]).expect("an EUI")));
    Devices { by_name: by_name.collect() }
}

/// A pointer of the sample, which counts levels of a topic from 0, as we write it, from 1.
fn pointer(value: &Value) -> Option<Pointer> {
    let text = value.as_str()?;
    let text = match text.strip_prefix("topic:") {
        Some(level) => format!("topic:{}", level.parse::<usize>().expect("a number") + 1),
        None => text.to_owned(),
    };
    Some(Pointer::parse(&text).expect("a pointer"))
}

fn mappings() -> BTreeMap<String, Mapping> {
    let pointers: Value = serde_json::from_str(&text("pointers.json")).expect("it is JSON");
    let mapping = |of: &Value| Mapping {
        each: None,
        only_if: None,
        device: pointer(&of["device"]).expect("needed"),
        names: false,
        counter: pointer(&of["counter"]),
        content: MappedContent::Payload {
            port: MappedPort::At(pointer(&of["port"]).expect("needed")),
            at: pointer(&of["payload"]).expect("needed"),
            form: if of["encoding"] == "hex" { TextForm::Hex } else { TextForm::Base64 },
        },
        time: pointer(&of["time"]).map(|at| {
            let form = match of["time_form"].as_str().expect("a text") {
                "RFC 3339" => TimeForm::Rfc3339,
                "milliseconds since 1970" => TimeForm::Milliseconds,
                "seconds since 1970, with a fraction" => TimeForm::Seconds,
                other => panic!("{other}"),
            };
            (at, form)
        }),
        rssi: pointer(&of["rssi"]),
        snr: pointer(&of["snr"]),
    };
    let all = pointers.as_object().expect("an object");
    all.iter().map(|(shape, of)| (shape.clone(), mapping(of))).collect()
}

fn incoming(line: &Line) -> Incoming<'_> {
    Incoming { topic: Some(&line.topic), path: None, body: line.text.as_bytes() }
}

/// What the designs of the sample say.
struct Station(Vec<Codec>);

impl Station {
    fn new() -> Self {
        let file = design::file::parse(&text("station.toml"));
        let design = design::resolve::resolve(&Catalog::builtin(), &file).expect("it resolves").design;
        let up = design.messages.iter().filter(|message| message.direction == Direction::Up);
        Self(up.map(Codec::new).collect())
    }

    fn values(&self, port: u8, payload: &[u8]) -> Option<BTreeMap<String, Option<f64>>> {
        let mut readings = Vec::new();
        let codec = self.0.iter().find(|codec| codec.form_on(port).is_some())?;
        codec.decode(port, payload, &mut readings).ok()?;
        let names = codec.message().fields.iter().map(|field| field.name.clone());
        Some(names.zip(readings.iter().map(wire::payload::Reading::value)).collect())
    }
}

impl Layouts for Station {
    fn decodes(&self, _dev_eui: DevEui, port: u8, payload: &[u8]) -> bool {
        self.values(port, payload).is_some()
    }
}

#[test]
fn every_message_of_the_sample_comes_to_what_was_foreseen() {
    let (mappings, devices, station) = (mappings(), devices(), Station::new());
    let mut delivered: Vec<(String, String)> = Vec::new();
    let mut read_values = 0;
    for line in lines() {
        let read = mapping::read(&mappings[&line.shape], incoming(&line), &devices);
        let one: Result<Reported, Unmapped> = match read {
            Ok(Read::Uplinks(mut uplinks)) => uplinks.remove(0),
            Ok(Read::Skipped) => panic!("all are taken"),
            Err(refused) => Err(refused),
        };
        let expect = line.expected["expect"].as_str().expect("a text");
        let reported = match one {
            Err(refused) => {
                assert!(expect.split('|').any(|word| word == refused.word()), "{refused}: {expect}");
                assert!(!refused.to_string().contains("@@@@") && !refused.to_string().contains("many"));
                continue;
            }
            Ok(reported) => reported,
        };
        let key = (line.shape.clone(), format!("{} {}", reported.dev_eui, reported.key()));
        let word = if delivered.contains(&key) { "copy" } else { "new" };
        delivered.push(key);
        assert_eq!(word, expect, "{}", line.text);
        let Some(node) = line.expected["node"].as_str() else { continue };
        assert_eq!(devices.by_name[node], reported.dev_eui);
        assert_eq!(reported.counter.map(u64::from), line.expected["fcnt"].as_u64());
        assert_eq!(reported.content.port().map(u64::from), line.expected["port"].as_u64());
        let at = reported.at.expect("it is mapped") as f64 / 1e6;
        assert!(
            (at - line.expected["at"].as_f64().expect("a number")).abs() < 0.0011,
            "rounded to 1 ms there"
        );
        for (field, value) in line.expected["values"].as_object().expect("an object") {
            let read = station
                .values(reported.content.port().expect("bytes"), reported.content.bytes())
                .expect("it decodes")[field];
            match (read, value.as_f64()) {
                (Some(read), Some(expected)) => assert!((read - expected).abs() < 1e-9, "{field}: {read}"),
                (read, expected) => assert_eq!(read.is_none(), expected.is_none(), "{field}"),
            }
            read_values += 1;
        }
    }
    assert!(read_values > 150, "{read_values}");
}

#[test]
fn the_places_that_a_person_would_choose_are_found_by_example() {
    let (devices, station, lines) = (devices(), Station::new(), lines());
    for (shape, chosen) in mappings() {
        let sound = lines.iter().filter(|line| line.shape == shape && line.expected["expect"] == "new");
        let sound: Vec<&Line> = sound.filter(|line| line.expected["node"].is_string()).take(12).collect();
        // Two seconds after it was heard.
        #[expect(clippy::cast_possible_truncation, reason = "a time of this century")]
        let arrived_at =
            |line: &Line| (line.expected["at"].as_f64().expect("a number") * 1e6) as i64 + 2_000_000;
        let pasted: Vec<Pasted<'_>> = sound
            .iter()
            .map(|line| Pasted { incoming: incoming(line), arrived_at: arrived_at(line) })
            .collect();
        let proposal = propose::propose(&pasted, &devices, &station);
        let found = proposal.mapping.unwrap_or_else(|| panic!("{shape}: {:#?}", proposal.candidates));
        // A list of uplinks is read by `each`, which the sample's pointers do not know.
        let under = |at: &Pointer| match (&found.each, at) {
            (Some(Pointer::Json(list)), Pointer::Json(tokens)) => {
                Pointer::Json([list.as_slice(), &["0".to_owned()], tokens.as_slice()].concat())
            }
            _ => at.clone(),
        };
        assert_eq!(under(&found.device), chosen.device, "{shape}");
        let MappedContent::Payload { port: MappedPort::At(port), at, form } = &found.content else {
            panic!("it stands in the message")
        };
        let content =
            MappedContent::Payload { port: MappedPort::At(under(port)), at: under(at), form: *form };
        assert_eq!(content, chosen.content, "{shape}");
        assert_eq!(found.time.as_ref().map(|(at, form)| (under(at), *form)), chosen.time, "{shape}");
        assert_eq!(found.counter.as_ref().map(under), chosen.counter, "{shape}");
        assert_eq!(found.rssi.as_ref().map(under), chosen.rssi, "{shape}");
        assert_eq!(found.snr.as_ref().map(under), chosen.snr, "{shape}");
        assert_eq!((proposal.reversed, proposal.unreadable), (None, 0));
        // What is proposed reads the messages from which it was proposed.
        for line in &sound {
            let read = mapping::read(&found, incoming(line), &devices).expect("it is read");
            let Read::Uplinks(uplinks) = read else { panic!("it is taken") };
            assert!(uplinks.iter().all(Result::is_ok), "{shape}: {uplinks:?}");
        }
    }
}

#[test]
fn what_is_proposed_can_be_copied_into_a_site_file() {
    let mapping = &mappings()["beta"];
    let site = format!(
        "schema = 1\nname = \"Slope\"\n[gateway.roof]\nlatitude = \"47 deg\"\nlongitude = \"13 deg\"\nantenna_height = \
         \"12 m\"\n[node.near]\nkind = \"mast.toml\"\nlatitude = \"47 deg\"\nlongitude = \"13 deg\"\n[source.fields]\ncsv = \
         {{ file = \"past.csv\" }}\n{}",
        propose::toml(mapping)
    );
    let fleet = design::fleet::resolve(&design::file::parse_fleet(&site)).expect(&site).fleet;
    assert_eq!(&fleet.sources[0].mapping, mapping);
}

#[test]
fn an_identity_in_the_order_of_the_air_is_hinted_at() {
    let devices = devices();
    let mapping = &mappings()["alpha"];
    let known = devices.by_name.values().next().expect("ten devices");
    let body = format!(
        r#"{{"who":{{"id":"{}"}},"n":1,"p":10,"body":"AAAA","at":"2026-09-21T14:13:21Z"}}"#,
        known.byte_reversed()
    );
    let incoming = Incoming { topic: None, path: None, body: body.as_bytes() };
    let Ok(Read::Uplinks(uplinks)) = mapping::read(mapping, incoming, &devices) else { panic!("it is JSON") };
    let Err(refused) = &uplinks[0] else { panic!("nobody has this identity") };
    assert!(refused.to_string().contains(&format!("it is {known}")), "{refused}");
    let pasted = [Pasted { incoming, arrived_at: 0 }];
    assert_eq!(propose::propose(&pasted, &devices, &Station::new()).reversed, Some(*known));
}

#[test]
fn a_list_of_uplinks_is_read_whole_or_not_at_all() {
    let devices = devices();
    let euis: Vec<DevEui> = devices.by_name.values().copied().take(2).collect();
    let record = |dev_eui: DevEui, port: u32| {
        format!(
            r#"{{"unit":"{dev_eui}","count":"7","slot":{port},"when":1790000023.5,"content":{{"raw":"AAAA"}}}}"#
        )
    };
    let two = format!(r#"{{"records":[{},{}]}}"#, record(euis[0], 10), record(euis[1], 224));
    let incoming = Incoming { topic: None, path: None, body: two.as_bytes() };
    let without = &mappings()["gamma"];
    let Ok(Read::Uplinks(refused)) = mapping::read(without, incoming, &devices) else { panic!("it is JSON") };
    let [Err(refused)] = &refused[..] else { panic!("{refused:?}") };
    assert!(refused.to_string().contains("write `each`"), "{refused}");
    let at = |text: &str| Pointer::parse(text).expect("a pointer");
    let with = Mapping {
        each: Some(at("/records")),
        device: at("/unit"),
        counter: Some(at("/count")),
        content: MappedContent::Payload {
            port: MappedPort::At(at("/slot")),
            at: at("/content/raw"),
            form: TextForm::Base64,
        },
        time: Some((at("/when"), TimeForm::Seconds)),
        ..without.clone()
    };
    let Ok(Read::Uplinks(uplinks)) = mapping::read(&with, incoming, &devices) else { panic!("it is a list") };
    let [Ok(first), Err(second)] = &uplinks[..] else { panic!("{uplinks:?}") };
    assert_eq!((first.dev_eui, first.counter, first.at), (euis[0], Some(7), Some(1_790_000_023_500_000)));
    assert_eq!(second.to_string(), "`port` at `/slot`: a port from 1 to 223 is wanted, and this lies beyond");
}

#[test]
fn messages_of_other_kinds_are_skipped_and_large_ones_refused() {
    let devices = devices();
    let only = |equals: &str| Mapping {
        only_if: Some((Pointer::parse("/kind").expect("a pointer"), equals.to_owned())),
        ..mappings()["alpha"].clone()
    };
    for (body, equals, skipped) in [
        (r#"{"kind":"join"}"#, "up", true),
        (r#"{"kind":"up"}"#, "up", false),
        (r#"{"kind":3}"#, "3", false),
        (r#"{"kind":true}"#, "true", false),
        (r#"{"kind":null}"#, "null", true),
        ("{}", "up", true),
    ] {
        let incoming = Incoming { topic: None, path: None, body: body.as_bytes() };
        let read = mapping::read(&only(equals), incoming, &devices).expect("it is JSON");
        assert_eq!(read == Read::Skipped, skipped, "{body}");
    }
    let large = format!("\"{}\"", "x".repeat(LARGEST_BYTES));
    let incoming = Incoming { topic: None, path: None, body: large.as_bytes() };
    assert_eq!(
        mapping::read(&only("up"), incoming, &devices),
        Err(Unmapped::Size { found: LARGEST_BYTES + 2 })
    );
}
