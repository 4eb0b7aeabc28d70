//! A survey laid over the nodes of a site.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use design::surroundings::Place as Side;
use forecast::radio::level::Cause;
use forecast::radio::link::links;
use forecast::radio::survey::{SurveyLog, read};
use verdict::survey::{SurveyError, survey};

/// A node called "Post", 3 km from its gateway among villages.
fn post() -> Design {
    surveyed_post("")
}

/// The same with what a survey found.
fn surveyed_post(survey: &str) -> Design {
    let text = "[radio]\npart = \"radio-mcu-22dbm\"\nregion = \"EU868\"\npower = \"14 dBm\"\nplace = \"outside\"\n\
         [regulator.main]\nkind = \"none\"\n\
         [load.board]\nfloor = \"12 uA\"\nfloor_measured = true\n\
         [load.board.activity.report]\nevery = \"15 min\"\nsteps = [{ uplink = { payload = \"12 bytes\" } }]\n\
         [gateway.roof]\nlatitude = \"47.027 deg\"\nlongitude = \"8 deg\"\nantenna_height = \"12 m\"\nplace = \"outside\"\n\
         [ground]\naround_nodes = \"village\"\naround_gateways = \"village\"\n";
    common::primary(&format!("{text}{survey}"))
}

const FOUND: &str = "[gateway.roof.survey]\ncorrection = \"-9 dB +- 3 dB\"\nspots = \"6 dB\"\npackets = 20\nuntil = \"2026-10-04\"\n";

/// The mean moves by the correction. Of the doubt, by hand: where the node was surveyed itself its 2.5 dB are all; else the
/// parts of gateway and model give way to 3 dB, and the 8 dB from spot to spot to 6.
#[test]
fn what_a_survey_found_takes_the_place_of_what_it_settles() {
    let level = |design: &Design| links(design, None, Side::Outside)[0].level.clone();
    let before = level(&post());
    let gateway = level(&surveyed_post(FOUND));
    assert!((gateway.spread().mean_db - before.spread().mean_db + 9.0).abs() < 1e-9);
    let settled: f64 = before
        .parts()
        .iter()
        .filter(|part| Cause::OF_GATEWAY.contains(&part.cause))
        .map(|part| part.sd_db().powi(2))
        .sum();
    let by_hand = before.spread().sd_db.powi(2) - settled + 9.0 - 64.0 + 36.0;
    assert!((gateway.spread().sd_db.powi(2) - by_hand).abs() < 1e-9, "{}", gateway.spread().sd_db);
    let name = post().name.clone();
    let here = level(&surveyed_post(&format!("{FOUND}nodes = {{ \"{name}\" = \"-4 dB +- 2.5 dB\" }}\n")));
    assert!((here.spread().mean_db - before.spread().mean_db + 4.0).abs() < 1e-9);
    assert!((here.spread().sd_db - 2.5).abs() < 1e-9);
}

/// What was found is written and read again, and a second survey is laid over the prediction, not over the first one.
#[test]
fn a_survey_is_laid_over_the_prediction_even_where_an_earlier_one_is_written() {
    let (before, after) = (post(), surveyed_post(FOUND));
    let log = log(&before.name, "roof", 20, 3, 14.0);
    let of = |design: &Design| survey(std::slice::from_ref(design), design, &log, None).expect("fits");
    assert_eq!(of(&before), of(&after));
    let surveyed = of(&before);
    let found = surveyed.found().expect("nothing is in the way");
    assert_eq!((found[0].0, found[0].1.packets, found[0].1.nodes.len()), ("roof", 23, 1));
    let here = found[0].1.at(&before.name).expect("it was there");
    let moved_db = surveyed.links[0].after.mean_dbm - surveyed.links[0].before.mean_db;
    assert!((here.nominal.decibels() - moved_db).abs() < 0.051 && here.spread_si < 5.0);
}

/// Positions that were walked to count for the gateway, and no node is said to have been surveyed.
#[test]
fn positions_that_were_walked_to_say_something_of_the_gateway() {
    let design = post();
    let text = |latitude_deg: f64, node: &str| {
        format!(
            "time,node,latitude_deg,longitude_deg,gateway,data_rate,rssi_dbm,snr_db,power_dbm,sent,heard\n\
             2026-10-04,{node},{latitude_deg},8.0,roof,DR0,-125,-8,14,20,20\n"
        )
    };
    let laid = |text: &str| {
        survey(std::slice::from_ref(&design), &design, &read(text.as_bytes()).expect("a survey"), None)
    };
    let near = laid(&text(47.02, "")).expect("fits");
    assert_eq!(near.links[0].node, "47.020 8.000");
    assert!(near.at_nodes.is_empty() && near.found().expect("can be written")[0].1.nodes.is_empty());
    let far = laid(&text(46.5, "")).expect("fits");
    assert!(near.links[0].before.mean_db > far.links[0].before.mean_db + 20.0);
    let elsewhere = laid(&text(47.02, &design.name)).expect_err("it stands elsewhere");
    assert!(elsewhere.to_string().contains("stands at"), "{elsewhere}");
}

#[test]
fn a_survey_over_an_unknown_side_of_a_wall_is_not_written() {
    let unplaced = |design: &Design| {
        let log = log(&design.name, "roof", 20, 0, 14.0);
        let surveyed = survey(std::slice::from_ref(design), design, &log, None).expect("fits");
        surveyed.found().map(|found| found.len())
    };
    assert!(unplaced(&post()).is_ok());
    let text = "[radio]\npart = \"radio-mcu-22dbm\"\nregion = \"EU868\"\npower = \"14 dBm\"\n\
                [regulator.main]\nkind = \"none\"\n[load.board]\nfloor = \"12 uA\"\nfloor_measured = true\n\
                [load.board.activity.report]\nevery = \"15 min\"\nsteps = [{ uplink = { payload = \"12 bytes\" } }]\n\
                [gateway.roof]\nlatitude = \"47.027 deg\"\nlongitude = \"8 deg\"\nantenna_height = \"12 m\"\n";
    let refused = unplaced(&common::primary(text)).expect_err("nobody knows what the prediction is");
    assert!(refused.to_string().contains("gateway roof"), "{refused}");
}

/// So many packets with a ratio of -8 dB (-125 dBm) heard, and so many missed, at this power.
fn log(node: &str, gateway: &str, heard: u32, missed: u32, power_dbm: f64) -> SurveyLog {
    let sent = heard + missed;
    let text = format!(
        "time,node,gateway,data_rate,rssi_dbm,snr_db,power_dbm,frequency_mhz,sent,heard\n\
         2026-10-04,{node},{gateway},DR0,-125,-8,{power_dbm},868.1,{sent},{heard}\n"
    );
    read(text.as_bytes()).expect("a survey")
}

#[test]
fn twenty_packets_leave_a_third_of_the_doubt() {
    let design = post();
    let surveyed =
        survey(std::slice::from_ref(&design), &design, &log(&design.name, "roof", 20, 0, 14.0), None)
            .expect("fits");
    let link = &surveyed.links[0];
    assert!(link.after.sd_db < link.before.sd_db / 3.0 && link.after.sd_db > 2.5, "{link:?}");
    assert!((link.after.mean_dbm + 125.0).abs() < 1.5, "{link:?}");
    assert_eq!((link.heard, link.missed), (20, 0));
    let missed =
        survey(std::slice::from_ref(&design), &design, &log(&design.name, "roof", 20, 60, 14.0), None)
            .expect("fits");
    assert!(missed.links[0].after.mean_dbm < link.after.mean_dbm);
}

/// By hand: what was heard at 20 dBm would have been 6 dB weaker at the 14 dBm of the design.
#[test]
fn a_survey_at_another_power_is_brought_to_that_of_the_design() {
    let design = post();
    let after = |power_dbm| {
        let log = log(&design.name, "roof", 1000, 0, power_dbm);
        survey(std::slice::from_ref(&design), &design, &log, None).expect("fits").links[0].after.mean_dbm
    };
    assert!((after(14.0) - after(20.0) - 6.0).abs() < 0.5, "{} {}", after(14.0), after(20.0));
}

#[test]
fn strange_names_and_another_band_are_refused() {
    let design = post();
    let refused =
        |log: &SurveyLog| survey(std::slice::from_ref(&design), &design, log, None).expect_err("is refused");
    assert!(matches!(refused(&log("Pole", "roof", 1, 0, 14.0)), SurveyError::Unknown { what: "node", .. }));
    assert!(matches!(
        refused(&log(&design.name, "mill", 1, 0, 14.0)),
        SurveyError::Unknown { what: "gateway", .. }
    ));
    let mut other = log(&design.name, "roof", 1, 0, 14.0);
    other.packets[0].frequency_mhz = Some(433.2);
    assert!(matches!(refused(&other), SurveyError::OtherBand { line: 2, .. }));
}
