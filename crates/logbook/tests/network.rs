//! The network on sample traffic: every datagram has the verdict that another implementation foresaw.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use design::quantity::Decibels;
use design::region::Region;
use design::serve::Answers;
use logbook::intake::udp::{self, Datagram};
use logbook::network::{Heard, Member, Network, Plan, Refusal, Setup, Station, Verdict};
use logbook::received::Received;
use serde_json::Value;
use wire::identity::{DevAddr, DevEui, GatewayEui, JoinEui};
use wire::key::AppKey;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/traffic").join(name)
}

fn text(name: &str) -> String {
    std::fs::read_to_string(data(name)).expect("the file is there")
}

/// A line of the traffic: the frames of one datagram, and what must come of them.
struct Line {
    frames: Vec<Received>,
    event: u64,
    expected: String,
    fcnt: Option<u64>,
    port: Option<u64>,
}

fn lines() -> Vec<Line> {
    let read = |line: &str| {
        let line: Value = serde_json::from_str(line).expect("it is JSON");
        let hex = line["datagram"].as_str().expect("a text");
        let octets: Vec<u8> = (0..hex.len())
            .step_by(2)
            .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).expect("hex digits"))
            .collect();
        let arrived_at = 1_000 * line["at_ms"].as_i64().expect("a number");
        let frames = match udp::read(&octets, arrived_at) {
            Ok(Datagram::Push { frames, .. }) => frames,
            _ => Vec::new(),
        };
        Line {
            frames,
            event: line["event"].as_u64().expect("a number"),
            expected: line["expect"].as_str().expect("a text").to_owned(),
            fcnt: line["fcnt"].as_u64(),
            port: line["port"].as_u64(),
        }
    };
    text("datagrams.jsonl").lines().map(read).collect()
}

fn members() -> Vec<Member> {
    let devices = text("devices.csv");
    let mut reader = csv::Reader::from_reader(devices.as_bytes());
    let titles = reader.headers().expect("titles").clone();
    let place = |title: &str| titles.iter().position(|known| known == title).expect("the column is there");
    let (device, join, key) = (place("Device"), place("Join"), place("Key"));
    reader
        .records()
        .map(|row| {
            let row = row.expect("sound CSV");
            Member::enrolled(
                DevEui::from_display(&row[device]).expect("an EUI"),
                JoinEui::from_display(&row[join]).expect("an EUI"),
                AppKey::from_hex(&row[key]).expect("a key"),
                Plan::default(),
            )
        })
        .collect()
}

/// Addresses 01000001 upwards, as the traffic was made for.
fn network() -> Network<impl FnMut() -> DevAddr> {
    let gateways = ["020000FFFE000001", "020000FFFE000002"];
    let station = |eui| Station {
        eui: GatewayEui::from_display(eui).expect("an EUI"),
        eirp_most_dbm: 16.0,
        gain: Decibels::ZERO,
    };
    let setup = Setup {
        region: Region::builtin("EU868").expect("built in"),
        stations: gateways.map(station).to_vec(),
        answers: Answers::All,
        gather: 250_000,
        rx1_delay_s: 1,
    };
    let mut last = 0x0100_0000_u32;
    let next = move || {
        last += 1;
        DevAddr::from_display_bytes(last.to_be_bytes())
    };
    Network::new(setup, members(), next)
}

/// Device and counter, with port and bytes.
type Reading = (DevEui, u32, Option<(u8, Vec<u8>)>);

/// What was accepted.
fn accepted(heard: &[Heard]) -> BTreeSet<Reading> {
    heard
        .iter()
        .filter_map(|heard| {
            let uplink = heard.uplink.as_ref()?;
            Some((heard.dev_eui?, uplink.fcnt, uplink.application.clone()))
        })
        .collect()
}

#[test]
fn every_datagram_of_the_sample_traffic_has_the_verdict_that_was_foreseen() {
    let mut network = network();
    let mut counts: BTreeMap<String, usize> = BTreeMap::new();
    for line in lines() {
        let heard: Vec<Heard> = line.frames.iter().map(|frame| network.hear(frame)).collect();
        let verdict = match &heard[..] {
            [] => "nothing".to_owned(),
            [heard] => heard.verdict.to_string(),
            _ => panic!("event {}: two frames in one datagram", line.event),
        };
        let may_be: Vec<&str> = line.expected.split('|').collect();
        assert!(may_be.contains(&verdict.as_str()), "event {}: {verdict}, not {}", line.event, line.expected);
        if let Some(uplink) = heard.first().and_then(|heard| heard.uplink.as_ref()) {
            assert_eq!(Some(u64::from(uplink.fcnt)), line.fcnt, "event {}", line.event);
            let port = uplink.application.as_ref().map(|(port, _)| u64::from(*port));
            assert_eq!(port, line.port, "event {}", line.event);
        }
        *counts.entry(line.expected).or_default() += 1;
    }
    let expected: Value = serde_json::from_str(&text("expected_counts.json")).expect("it is JSON");
    let expected: BTreeMap<String, usize> =
        serde_json::from_value(expected["by_expectation"].clone()).expect("counts");
    assert_eq!(counts, expected);
}

#[test]
fn joins_are_answered_with_the_nonces_addresses_and_keys_that_another_implementation_derived() {
    let mut network = network();
    let sessions: Vec<Value> = serde_json::from_str(&text("datagrams_sessions.json")).expect("it is JSON");
    let mut joined = Vec::new();
    for frame in lines().iter().flat_map(|line| &line.frames) {
        let heard = network.hear(frame);
        joined.extend(heard.joined.map(|joined| (heard.dev_eui.expect("it is known"), joined)));
    }
    assert_eq!(joined.len(), sessions.len());
    for ((dev_eui, joined), session) in joined.iter().zip(&sessions) {
        assert_eq!(dev_eui.to_string(), session["dev_eui"]);
        assert_eq!(u64::from(joined.dev_nonce), session["dev_nonce"].as_u64().expect("a number"));
        assert_eq!(u64::from(joined.join_nonce), session["join_nonce"].as_u64().expect("a number"));
        assert_eq!(joined.dev_addr.to_string(), session["dev_addr"]);
        // As the device reads the answer, with its root key.
        let member = members().into_iter().find(|member| member.dev_eui == *dev_eui).expect("it is enrolled");
        let wire::frame::Frame::JoinAccept(sealed) = wire::frame::parse(&joined.accept).expect("a frame")
        else {
            panic!("it is a join-accept")
        };
        let accept = sealed.decrypt(&member.app_key).expect("it is its own");
        assert_eq!((accept.dev_addr, accept.rx_delay.get()), (joined.dev_addr, 1));
        assert_eq!(accept.net_id.to_string(), session["net_id"]);
    }
}

#[test]
fn every_datagram_twice_is_accepted_once() {
    let (mut once, mut twice) = (network(), network());
    for frame in lines().iter().flat_map(|line| &line.frames) {
        let first = once.hear(frame);
        let second = twice.hear(frame);
        assert_eq!(Heard { frame: first.frame, ..second }, first);
        let again = twice.hear(frame);
        assert!(again.uplink.is_none() && again.joined.is_none());
        if matches!(first.verdict, Verdict::New | Verdict::Late | Verdict::Join | Verdict::Copy) {
            assert_eq!(again.verdict, Verdict::Copy, "{}", first.verdict);
        } else {
            assert_eq!(again.verdict, first.verdict);
        }
    }
}

#[test]
fn the_gateways_in_the_other_order_give_the_same_readings() {
    let lines = lines();
    let heard = |lines: &[&Line]| {
        let mut network = network();
        lines.iter().flat_map(|line| &line.frames).map(|frame| network.hear(frame)).collect::<Vec<Heard>>()
    };
    let in_order: Vec<&Line> = lines.iter().collect();
    // The copies of one event stand together.
    let swapped: Vec<&Line> = lines
        .chunk_by(|one, other| one.event == other.event)
        .flat_map(|copies| copies.iter().rev())
        .collect();
    let (one, other) = (heard(&in_order), heard(&swapped));
    assert!(accepted(&one).len() > 200);
    assert_eq!(accepted(&one), accepted(&other));
    let new = |heard: &[Heard]| heard.iter().filter(|heard| heard.uplink.is_some()).count();
    assert_eq!(new(&one), new(&other), "none twice");
}

#[test]
fn readings_out_of_order_within_a_session_are_all_accepted_once() {
    let lines = lines();
    // After the ten first joins and before the later ones no session changes.
    let is_join = |line: &&Line| line.expected == "join";
    let tenth = lines.iter().filter(is_join).nth(9).expect("ten devices join").event;
    let eleventh = lines.iter().filter(is_join).nth(10).expect("one joins again").event;
    let frames = |line: &Line| line.frames.clone();
    let before: Vec<Received> = lines.iter().filter(|line| line.event <= tenth).flat_map(frames).collect();
    let between = |line: &&Line| {
        (tenth + 1..eleventh).contains(&line.event)
            && matches!(line.expected.as_str(), "new" | "copy" | "late")
    };
    let mut in_order = network();
    for frame in &before {
        in_order.hear(frame);
    }
    // Out of order a counter is told from one that is only old within 64 of the last.
    let between: Vec<Received> = lines.iter().filter(between).flat_map(frames).collect();
    let heard: Vec<Heard> = between.iter().map(|frame| in_order.hear(frame)).collect();
    let counters = |of: DevEui| accepted(&heard).into_iter().filter(move |one| one.0 == of).map(|one| one.1);
    let steady = |of: DevEui| {
        counters(of).max().zip(counters(of).min()).is_some_and(|(most, least)| most - least <= 64)
    };
    let kept = between.iter().zip(&heard).filter(|(_, heard)| heard.dev_eui.is_some_and(steady));
    let between: Vec<Received> = kept.map(|(frame, _)| frame.clone()).collect();
    let mut expected = None;
    for seed in 0..50 {
        let mut network = network();
        for frame in &before {
            network.hear(frame);
        }
        let heard: Vec<Heard> = shuffled(&between, seed).iter().map(|frame| network.hear(frame)).collect();
        let found = accepted(&heard);
        assert_eq!(heard.iter().filter(|heard| heard.uplink.is_some()).count(), found.len(), "none twice");
        for one in &heard {
            assert!(!matches!(one.verdict, Verdict::Refused(_)), "seed {seed}: {one:?}");
        }
        assert_eq!(*expected.get_or_insert(found.clone()), found, "seed {seed}");
    }
    assert!(expected.expect("some were tried").len() > 70);
}

/// Fisher and Yates, with Knuth's MMIX numbers (The Art of Computer Programming, volume 2, 3.3.4 and 3.4.2).
fn shuffled(frames: &[Received], seed: u64) -> Vec<Received> {
    let mut frames = frames.to_vec();
    let mut state = seed;
    for last in (1..frames.len()).rev() {
        state = state.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        frames.swap(last, usize::try_from(state >> 33).expect("31 bits fit") % (last + 1));
    }
    frames
}

#[test]
fn a_counter_used_with_other_bytes_is_told_from_one_that_is_only_old() {
    let mut network = network();
    let heard: Vec<Heard> =
        lines().iter().flat_map(|line| &line.frames).map(|frame| network.hear(frame)).collect();
    let used = heard.iter().filter_map(|heard| match heard.verdict {
        Verdict::Refused(Refusal::Counter { found, last, used }) => Some((found, last, used)),
        _ => None,
    });
    assert_eq!(used.collect::<Vec<_>>(), [(0, 11, true)], "the device lost its counter after 11");
    let said: Vec<String> = heard
        .iter()
        .filter_map(|heard| match &heard.verdict {
            Verdict::Refused(refusal @ Refusal::Counter { .. }) => {
                Some(format!("{}, {refusal}", heard.verdict))
            }
            _ => None,
        })
        .collect();
    assert!(said.len() == 1 && said[0].starts_with("refused:counter, reset: counter 0 was used"), "{said:?}");
}
