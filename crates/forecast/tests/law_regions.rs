//! Regions and law as data, against the documents and independent programs that the rows name.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::float_cmp,
    reason = "small whole numbers of a table, and values that are copied, not computed"
)]

use design::law::{Confidence, Law, PowerReference};
use design::quantity::{Duration, Frequency};
use design::region::{Modulation, PayloadConditions, Region};
use forecast::load::MessageCost;
use forecast::radio::airtime;
use forecast::radio::link_state::LinkState;

fn rows(name: &str) -> Vec<csv::StringRecord> {
    let path = format!("{}/tests/data/lorawan/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(path).expect("data file");
    reader.records().map(|row| row.expect("a row")).collect()
}

fn cell(row: &csv::StringRecord, column: usize) -> &str {
    row.get(column).expect("column")
}

fn list(text: &str) -> Vec<usize> {
    let inside = text.trim_matches(|bracket| bracket == '[' || bracket == ']');
    inside.split(", ").map(|number| number.parse().expect("a whole number")).collect()
}

/// What our plan says of an item of the comparison, as text of the same form.
fn ours(region: &Region, item: &str) -> Vec<f64> {
    let plain = PayloadConditions::default();
    let dwell = PayloadConditions { dwell: true, ..plain };
    let application =
        |conditions| (0..8).map(|rate| region.largest_payload(rate, conditions) as f64).collect();
    let sizes = |sizes: &[usize]| sizes.iter().map(|size| *size as f64).collect::<Vec<_>>();
    let in_dwell = region.largest_mac_payload_in_dwell.clone().unwrap_or_default();
    let one = |item: &str| {
        item.rsplit_once("DR").map_or(0, |(_, number)| number.parse::<usize>().expect("a data rate"))
    };
    match item.split(" (").next().expect("an item") {
        "N per DR uplink" if item.contains("no dwell") => application(plain),
        "N per DR uplink" => application(dwell),
        "max EIRP dBm" => vec![region.largest_power.dbm()],
        "RX2 freq" => vec![region.second_window.0.hertz()],
        "RX2 DR" => vec![f64::from(region.second_window.1)],
        "TXPower max index" => vec![f64::from(region.power_steps)],
        "M_norep" => sizes(&region.largest_mac_payload),
        "M_rep" => sizes(&region.largest_mac_payload_with_repeater),
        "M_dwell_norep" => sizes(&in_dwell.0),
        "M_dwell_rep" => sizes(&in_dwell.1),
        rate if rate.starts_with("M_norep DR") => vec![region.largest_mac_payload[one(rate)] as f64],
        rate if rate.starts_with("M_dwell_norep DR") => vec![in_dwell.0[one(rate)] as f64],
        rate if rate.starts_with("RX1 DR") => {
            region.first_window[one(rate)].iter().map(|rate| f64::from(*rate)).collect()
        }
        other => panic!("no item `{other}`"),
    }
}

fn numbers(text: &str) -> Vec<f64> {
    if text.starts_with('[') {
        list(text).into_iter().map(|number| number as f64).collect()
    } else {
        vec![text.parse().expect("a number")]
    }
}

/// Source of each row: the program named there, beside RP002-1.0.5. Where they disagree, the notes of
/// `crates/design/data/README.md` say which is right: always the newest edition, so never the other value.
#[test]
fn regions_agree_with_independent_programs_and_disagreements_are_resolved_as_noted() {
    let (mut agreed, mut resolved) = (0, 0);
    for row in rows("regions_crosscheck") {
        let (region, item) = (Region::builtin(cell(&row, 0)).expect("a region"), cell(&row, 1));
        let (reference, other) = (numbers(cell(&row, 2)), numbers(cell(&row, 4)));
        let mut found = ours(&region, item);
        found.truncate(reference.len());
        let why = format!("{row:?}: {found:?}");
        if cell(&row, 5) == "yes" {
            assert_eq!(found, other, "{why}");
            agreed += 1;
        } else {
            assert_eq!(found, reference, "{why}");
            assert_ne!(found, other, "{why}");
            resolved += 1;
        }
    }
    assert_eq!((agreed, resolved), (300, 26));
}

/// Bytes of a frame around its MAC payload: header byte and integrity code (TS001-1.0.4, clause 4).
const FRAME_AROUND_MAC: usize = 1 + 4;

/// The largest MAC payload whose time on air stays within a limit.
fn largest_within(modulation: Modulation, limit: Duration) -> usize {
    let fits =
        |size: &usize| airtime::uplink(modulation, FRAME_AROUND_MAC + size).is_some_and(|time| time <= limit);
    (0..=250).rev().find(fits).unwrap_or_default()
}

fn lora(spreading_factor: u8) -> Modulation {
    Modulation::Lora { spreading_factor, bandwidth: Frequency::from_kilohertz(125.0) }
}

/// RP002-1.0.5, tables 26 (US915), 43 (AU915) and 70 (AS923) against the airtime formula: 400 ms carry 19, 61, 133 and 250
/// bytes from SF10 to SF7.
#[test]
fn payloads_within_400_ms_follow_from_the_time_on_air() {
    let limit = Duration::from_milliseconds(400.0);
    let derived: Vec<usize> = (7..=10).rev().map(|sf| largest_within(lora(sf), limit)).collect();
    assert_eq!(derived, [19, 61, 133, 250]);
    assert_eq!(Region::builtin("US915").expect("built in").largest_mac_payload[..4], derived);
    for name in ["AU915", "AS923-1", "AS923-2", "AS923-3", "AS923-4"] {
        let (in_dwell, _) =
            Region::builtin(name).expect("built in").largest_mac_payload_in_dwell.expect("a limit");
        assert_eq!(in_dwell[2..6], derived, "{name}");
        // SF12 and SF11 carry no application byte, so the tables say 0.
        assert!(
            [11, 12].iter().all(|sf| largest_within(lora(*sf), limit) < 8) && in_dwell[..2] == [0, 0],
            "{name}"
        );
    }
}

/// RP002-1.0.5, table 62 (CN470) against the airtime formula: 1 s carries 31, 94 and 192 bytes from SF11 to SF9.
#[test]
fn payloads_within_1_s_follow_from_the_time_on_air() {
    let derived: Vec<usize> =
        (9..=11).rev().map(|sf| largest_within(lora(sf), Duration::from_seconds(1.0))).collect();
    assert_eq!(derived, [31, 94, 192]);
    let region = Region::builtin("CN470").expect("built in");
    assert_eq!(region.largest_mac_payload[1..4], derived);
    assert_eq!(region.largest_mac_payload[0], 0);
}

/// TS001-1.0.4: seven bytes of frame header and one of port; the two columns of the tables of RP002-1.0.5 differ by them.
#[test]
fn application_bytes_are_eight_fewer() {
    for (name, rate, bytes) in
        [("EU868", 0, 51), ("EU868", 3, 115), ("EU868", 5, 242), ("US915", 0, 11), ("US915", 1, 53)]
    {
        let region = Region::builtin(name).expect("built in");
        assert_eq!(region.largest_payload(rate, PayloadConditions::default()), bytes, "{name} DR{rate}");
    }
}

/// `eu868_message_budget.csv`: recomputed in Python from the airtime formula; 12 and 305 messages an hour of 64 bytes are
/// also printed in an independent study.
#[test]
fn the_european_message_budget_is_met() {
    for row in rows("eu868_message_budget") {
        let number = |column: usize| cell(&row, column).parse::<f64>().expect("a number");
        let (application, physical, sf) = (number(0) as usize, number(1) as usize, number(2) as u8);
        assert_eq!(airtime::frame_bytes(application).max(13), physical);
        let on_air = airtime::uplink(lora(sf), physical).expect("LoRa");
        assert!((on_air.milliseconds() - number(3)).abs() < 5e-4, "{row:?}");
        for (column, budget_s) in [(4, 3.6), (5, 36.0), (6, 360.0)] {
            assert_eq!((budget_s / on_air.seconds()).floor(), number(column), "{row:?}");
        }
    }
}

/// `eu_subbands.csv`: EN 300 220-2 V3.3.1 Table 4, and what each row names; rows without power are gaps.
#[test]
fn european_sub_bands_are_as_tabulated_and_gaps_are_refused() {
    let all = rows("eu_subbands");
    assert_eq!(all.len(), 11);
    for row in &all {
        let number = |column: usize| cell(row, column).parse::<f64>().ok();
        let megahertz = |column: usize| Frequency::from_megahertz(number(column).expect("an edge"));
        let (from, to) = (megahertz(0), megahertz(1));
        let law = Law::of_region(if from.megahertz() < 500.0 { "EU433" } else { "EU868" }).expect("a law");
        let middle = (from + to) / 2.0;
        let erp_dbm = number(3);
        let found = law
            .bands_at(middle)
            .find(|band| band.power.first().map(|limit| limit.most.dbm()) == erp_dbm)
            .unwrap_or_else(|| panic!("{row:?}"));
        assert!(
            (found.from.hertz() - from.hertz()).abs() < 1.0 && (found.to.hertz() - to.hertz()).abs() < 1.0,
            "{row:?}"
        );
        assert_eq!(found.refused.is_some(), erp_dbm.is_none(), "{row:?}");
        let listed = number(5).filter(|share| *share < 1.0);
        assert_eq!(found.duty_cycle.map(design::quantity::Share::fraction), listed, "{row:?}");
        assert_eq!(found.widest.map(Frequency::kilohertz), number(9), "{row:?}");
        assert_eq!(found.clause.confidence == Confidence::Agreed, cell(row, 10) == "two", "{row:?}");
        if let Some(limit) = found.power.first() {
            assert_eq!(limit.reference, PowerReference::Erp);
            let milliwatts: f64 = number(2).expect("a power");
            assert!((10.0 * milliwatts.log10() - limit.most.dbm()).abs() < 0.01, "{row:?}");
        }
    }
}

/// `us_fcc_15_247.csv`: 47 CFR 15.247 and RP002 section 3.5.
#[test]
fn the_american_rules_are_as_tabulated() {
    let law = Law::of_region("US915").expect("a law");
    let value = |rule: &str| {
        let all = rows("us_fcc_15_247");
        let row = all.iter().find(|row| cell(row, 1).starts_with(rule)).unwrap_or_else(|| panic!("{rule}"));
        cell(row, 2).parse::<f64>().expect("a number")
    };
    let narrow = Frequency::from_kilohertz(125.0);
    let power = |channels, bandwidth| {
        law.hopping_for(channels, bandwidth).and_then(|rule| rule.power).expect("a limit").most.dbm()
    };
    assert_eq!(value("20 dB BW < 250 kHz: min hopping channels"), 50.0);
    assert_eq!(power(50, narrow), value("max conducted power, >= 50"));
    assert_eq!(power(49, narrow), value("125 kHz channels, < 50"));
    assert_eq!(power(8, Frequency::from_kilohertz(500.0)), value("500 kHz channels"));
    let dwell = law.dwell.as_ref().expect("a dwell");
    assert!((dwell.longest.seconds() - value("20 dB BW < 250 kHz: average occupancy")).abs() < 1e-12);
    let antenna = law.antenna.as_ref().expect("a rule");
    assert_eq!(antenna.free_gain.decibels(), value("antenna gain above 6 dBi"));
}

/// `national_limits.csv`; what rests on one source or on a dispute says so.
#[test]
fn limits_elsewhere_are_as_tabulated_and_doubts_are_marked() {
    let first = |name: &str| Law::of_region(name).expect("a law").bands[0].clone();
    assert_eq!(first("AU915").power[0].most.dbm(), 30.0);
    assert_eq!(Law::of_region("AU915").expect("a law").hopping[0].least_channels, 20);
    assert_eq!(Law::of_region("AU915").expect("a law").hopping[0].clause.confidence, Confidence::OneSource);
    assert_eq!(first("AS923-2").duty_clause.confidence, Confidence::Disputed);
    assert_eq!(first("AS923-2").duty_cycle.map(design::quantity::Share::fraction), Some(0.01));
    assert_eq!(
        (first("IN865").power[0].most.dbm(), first("IN865").clause.confidence),
        (29.2, Confidence::OneSource)
    );
    assert_eq!(first("CN470").power[0].most.dbm(), 19.15);
    let korea = Law::of_region("KR920").expect("a law");
    assert_eq!(korea.bands.iter().map(|band| band.power[0].most.dbm()).collect::<Vec<_>>(), [10.0, 14.0]);
    for name in ["KR920", "RU864", "CN470"] {
        let law = Law::of_region(name).expect("a law");
        assert!(!law.complete && !law.unseen.is_empty(), "{name}");
    }
}

/// Levels take for granted that the models of the path and of entry into buildings hold wherever a plan lets a node send.
#[test]
fn every_plan_sends_where_the_models_of_the_path_hold() {
    for region in design::region::Region::names() {
        let law = Law::of_region(region).expect("a law");
        for edge in law.bands.iter().flat_map(|band| [band.from, band.to]) {
            let ghz = edge.megahertz() / 1000.0;
            let holds = path::entry::FREQUENCY.contains(ghz) && path::p1812::FREQUENCY.contains(ghz);
            assert!(holds, "{region}: {ghz} GHz");
        }
    }
}

/// Whatever rate a file names in any region, it is refused or every message at it costs time on air.
#[test]
fn every_data_rate_is_refused_or_costs_time_on_air() {
    let mut used = 0;
    for region in design::region::Region::names() {
        for (rate, newer) in (0..16).flat_map(|rate| [(rate, false), (rate, true)]) {
            let text = design::manual::commented_example()
                .replacen("region = \"EU868\"", &format!("region = \"{region}\"\nnewer_rates = {newer}"), 1)
                .replace("data_rate = \"DR3\"", &format!("data_rate = \"DR{rate}\""));
            let file = design::file::parse(&text);
            let catalog = design::catalog::Catalog::builtin();
            let Ok(resolved) = design::resolve::resolve(&catalog, &file) else { continue };
            let radio = resolved.design.radio.as_ref().expect("it has one");
            let link = LinkState::as_designed(&resolved.design);
            let cost = MessageCost::new(radio, &link, |_| 1);
            assert!(cost.sending.seconds() > 0.0 && cost.listening.seconds() > 0.0, "{region} DR{rate}");
            used += usize::from(link.uses(rate));
        }
    }
    assert!(used > 40, "{used} data rates were tried");
}
