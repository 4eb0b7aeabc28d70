//! A survey laid over the nodes of a site.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use forecast::radio::survey::{SurveyLog, read};
use verdict::survey::{SurveyError, survey};

/// A node called "Post", 3 km from its gateway among villages.
fn post() -> Design {
    common::primary(
        "[radio]\npart = \"radio-mcu-22dbm\"\nregion = \"EU868\"\npower = \"14 dBm\"\nplace = \"outside\"\n\
         [regulator.main]\nkind = \"none\"\n\
         [load.board]\nfloor = \"12 uA\"\nfloor_measured = true\n\
         [load.board.activity.report]\nevery = \"15 min\"\nsteps = [{ uplink = { payload = \"12 bytes\" } }]\n\
         [gateway.roof]\nlatitude = \"47.027 deg\"\nlongitude = \"8 deg\"\nantenna_height = \"12 m\"\nplace = \"outside\"\n\
         [ground]\naround_nodes = \"village\"\naround_gateways = \"village\"\n",
    )
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
        survey(std::slice::from_ref(&design), &log(&design.name, "roof", 20, 0, 14.0), None).expect("fits");
    let link = &surveyed.links[0];
    assert!(link.after.sd_db < link.before.sd_db / 3.0 && link.after.sd_db > 2.5, "{link:?}");
    assert!((link.after.mean_dbm + 125.0).abs() < 1.5, "{link:?}");
    assert_eq!((link.heard, link.missed), (20, 0));
    let missed =
        survey(std::slice::from_ref(&design), &log(&design.name, "roof", 20, 60, 14.0), None).expect("fits");
    assert!(missed.links[0].after.mean_dbm < link.after.mean_dbm);
}

/// By hand: what was heard at 20 dBm would have been 6 dB weaker at the 14 dBm of the design.
#[test]
fn a_survey_at_another_power_is_brought_to_that_of_the_design() {
    let design = post();
    let after = |power_dbm| {
        let log = log(&design.name, "roof", 1000, 0, power_dbm);
        survey(std::slice::from_ref(&design), &log, None).expect("fits").links[0].after.mean_dbm
    };
    assert!((after(14.0) - after(20.0) - 6.0).abs() < 0.5, "{} {}", after(14.0), after(20.0));
}

#[test]
fn strange_names_and_another_band_are_refused() {
    let design = post();
    let refused = |log: &SurveyLog| survey(std::slice::from_ref(&design), log, None).expect_err("is refused");
    assert!(matches!(refused(&log("Pole", "roof", 1, 0, 14.0)), SurveyError::Unknown { what: "node", .. }));
    assert!(matches!(
        refused(&log(&design.name, "mill", 1, 0, 14.0)),
        SurveyError::Unknown { what: "gateway", .. }
    ));
    let mut other = log(&design.name, "roof", 1, 0, 14.0);
    other.packets[0].frequency_mhz = Some(433.2);
    assert!(matches!(refused(&other), SurveyError::OtherBand { line: 2, .. }));
}
