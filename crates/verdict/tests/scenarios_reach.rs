//! Two fleets that people really build, with law, reach and life together: verdicts and the warnings that follow from the
//! file.
//!
//! The figures are those of the project's survey of needs (scenarios B and D, computed by hand).

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use design::surroundings::Place as Side;
use forecast::Silent;
use forecast::radio::collisions::Sender;
use forecast::radio::link::links;
use forecast::radio::link_state::LinkState;
use forecast::radio::spots::{Spots, senders};
use forecast::sky::climate::Climate;
use verdict::law;
use verdict::plan::{Effort, Finding, Plan, Verdict, Weather, plan};
use verdict::reach::judge;

/// One of 24 nodes of an orchard's frost net: six bytes a minute from a primary cell, at one data rate, on three or
/// eight channels.
fn frost_net(rate: &str, channels: &str, km: f64) -> Design {
    let latitude = 47.8 + km / 111.19;
    common::design(&format!(
        r#"
        schema = 1
        name = "Frost net"
        [site]
        latitude = "47.8 deg"
        longitude = "9 deg"
        elevation = "450 m"
        [promise]
        unattended = "1 year"
        [battery]
        part = "li-socl2-d"
        [radio]
        part = "radio-mcu-14dbm"
        region = "EU868"
        power = "14 dBm"
        place = "outside"
        {rate}
        {channels}
        [regulator.main]
        kind = "none"
        [load.board]
        floor = "8 uA"
        floor_measured = true
        [load.board.activity.report]
        every = "1 min"
        steps = [{{ uplink = {{ payload = "6 bytes" }} }}]
        [gateway.barn]
        latitude = "{latitude} deg"
        longitude = "9 deg"
        antenna_height = "10 m"
        place = "outside"
        [ground]
        around_nodes = "open"
        around_gateways = "open"
        "#
    ))
}

const EIGHT: &str = "channels = [\"867.1 MHz\", \"867.3 MHz\", \"867.5 MHz\", \"867.7 MHz\", \"867.9 MHz\", \"868.1 MHz\", \"868.3 MHz\", \"868.5 MHz\"]";

/// Share of messages lost to 23 equal nodes.
fn lost(rate: &str, channels: &str) -> f64 {
    let design = frost_net(rate, channels, 1.0);
    let alone = senders(&design, &Spots::new(&design, links(&design, None, Side::Outside), &[], 1));
    let crowd: Vec<Sender> = (0..23).flat_map(|_| alone.iter().copied()).collect();
    let spots = Spots::new(&design, links(&design, None, Side::Outside), &crowd, 1);
    1.0 - spots.clear(design.radio.as_ref().map_or(0, |radio| radio.data_rates[0].0))
}

/// 24 nodes a minute: on eight channels 3 % lost at SF10 and 12 % at SF12, on three 8 % and 30 % (pure ALOHA; equal
/// signals do not capture each other).
#[test]
fn two_dozen_nodes_a_minute_collide_as_aloha_says() {
    for (rate, channels, wanted) in [
        ("data_rate = \"DR2\"", EIGHT, 0.03),
        ("data_rate = \"DR0\"", EIGHT, 0.12),
        ("data_rate = \"DR2\"", "", 0.08),
        ("data_rate = \"DR0\"", "", 0.30),
    ] {
        let lost = lost(rate, channels);
        assert!((lost - wanted).abs() < 0.15 * wanted, "{rate} {channels}: {lost:.3}");
    }
}

/// A minute at SF10 is lawful, at SF12 it is not (0.55 % and 2.2 % on air); which of the two it is follows from the
/// distance.
#[test]
fn the_frost_net_is_lawful_near_its_gateway_and_not_far_from_it() {
    let at = |km: f64| {
        let design = frost_net("", "", km);
        let reach = judge(&design, None, &[], 1);
        (law::judge(&design, reach.spots.middle_state()), reach)
    };
    let (near, _) = at(1.0);
    let (far, reach) = at(25.0);
    assert_eq!(near.verdict, Verdict::Tight, "{}", near.reason);
    assert!(near.findings.iter().any(|finding| finding.code == "lawful-near-only"));
    assert_eq!(reach.middle_rates.first().map(|(rate, _)| *rate), Some(0));
    assert_eq!(far.verdict, Verdict::Fails, "{}", far.reason);
    assert!(far.reason.contains("SF12"), "{}", far.reason);
}

/// A tracker on a city's trailers in the United States: 12 bytes, a fix every two minutes on the move, one every four
/// hours parked, 0.5 W flat on the roof; three months in a steel shed.
fn trailer(bytes: u32, give_up: &str, rate: &str) -> Design {
    common::design(&format!(
        r#"
        schema = 1
        name = "Trailer"
        [site]
        latitude = "42.3 deg"
        longitude = "-83.1 deg"
        elevation = "180 m"
        snow_days = [0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]
        [promise]
        unattended = "1 year"
        installed = "09-01"
        charge_at_installation = "100 %"
        [panel]
        part = "panel-0w5"
        tilt = "0 deg"
        azimuth = "any"
        [charger]
        part = "linear-usb-gated"
        [battery]
        part = "nmc-18650"
        [radio]
        part = "radio-mcu-22dbm"
        region = "US915"
        power = "20 dBm"
        {rate}
        [receiver]
        part = "receiver-with-backup"
        [regulator.main]
        kind = "ldo"
        output = "3.0 V"
        quiescent = "1 uA"
        [load.tracker]
        floor = "14 uA +- 10 %"
        floor_measured = true
        [load.tracker.activity.moving]
        every = "2 min"
        when = {{ moving = true }}
        steps = [{{ fix = {{ give_up_after = "60 s", failures = "5 %" }} }}, {{ uplink = {{ payload = "{bytes} bytes" }} }}]
        [load.tracker.activity.parked]
        every = "4 h"
        when = {{ moving = false }}
        steps = [{{ fix = {{ give_up_after = "{give_up}", failures = "5 %" }} }}, {{ uplink = {{ payload = "{bytes} bytes" }} }}]
        [[diary]]
        from = "03-15"
        to = "11-30"
        sky = "open"
        moving = [9, 11]
        [[diary]]
        from = "12-01"
        to = "02-28"
        sky = "roof"
        [gateway.barn]
        latitude = "42.3 deg"
        longitude = "-83.1 deg"
        antenna_height = "10 m"
        "#
    ))
}

fn as_designed(design: &Design) -> law::LawPlan {
    law::judge(design, &LinkState::as_designed(design))
}

fn planned(design: &Design) -> Plan {
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    let effort = Effort { lives: Some(100), seed: 1, threads: 2 };
    plan(design, Weather::Climate(&climate), &Spots::alone(design), effort, &Silent)
}

fn said(findings: &[Finding], code: &str) -> bool {
    findings.iter().any(|finding| finding.code == code)
}

/// The slowest rate of the plan carries 11 bytes: 12 are too long there, 11 fit.
#[test]
fn twelve_bytes_are_too_long_for_the_slowest_rate_and_eleven_fit() {
    let judged = |bytes| as_designed(&trailer(bytes, "60 s", "data_rate = \"DR3\""));
    let (twelve, eleven) = (judged(12), judged(11));
    assert!(said(&twelve.findings, "bench-only"), "{:?}", twelve.findings);
    assert!(!said(&eleven.findings, "bench-only"), "{:?}", eleven.findings);
    assert!(said(&eleven.findings, "eight-channel-group"));
}

#[test]
fn a_mover_whose_rate_is_adapted_is_warned() {
    let warned =
        |rate| said(&judge(&trailer(11, "60 s", rate), None, &[], 1).findings, "reach-adapts-while-moving");
    assert!(warned("") && !warned("data_rate = \"DR3\""));
}

/// In the shed, giving up after three minutes is affordable (9 mAh a day); a search without end is death within days
/// (672 mAh a day of 2,600).
#[test]
fn a_search_without_end_kills_the_trailer_in_its_shed() {
    let patient = planned(&trailer(11, "180 s", "data_rate = \"DR3\""));
    assert_eq!(patient.verdict, Verdict::Holds, "{}", patient.reason);
    let endless = planned(&trailer(11, "4 h", "data_rate = \"DR3\""));
    assert_eq!(endless.verdict, Verdict::Fails, "{}", endless.reason);
    let first = endless.life.first_outage.expect("it dies");
    assert!(first.month == 12 && first.day <= 7, "{first:?}");
}
