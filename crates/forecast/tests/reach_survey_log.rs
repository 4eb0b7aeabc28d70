//! Surveys as files: columns by name, units in them, bad rows named, nothing dropped silently.

#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

use forecast::radio::survey::{LogError, read};
use proptest::prelude::*;

const HEAD: &str = "time,node,gateway,data_rate,rssi_dbm,snr_db,power_dbm,counter\n";

fn log(rows: &str) -> String {
    HEAD.to_owned() + rows
}

/// Of the only data rate that is in use here.
fn limit_dbm(data_rate: u8) -> Option<f64> {
    (data_rate == 0).then_some(-137.0)
}

/// By hand: at -3 dB the signal is that ratio over -117 dBm; the gateway's noise is -119 - 10 lg(1 + 10^-0.3) = -120.76 dBm,
/// so that -90 dBm of strength are 30.76 dB over it.
#[test]
fn levels_are_taken_from_the_ratio_while_it_is_small_and_from_the_strength_over_the_noise_above() {
    let text =
        log("2026-10-04T08:00:00Z,a,roof,DR0,-119,-3,14,1\n2026-10-05T08:00:00Z,a,roof,DR0,-90,9,14,2\n");
    let log = read(text.as_bytes()).expect("a survey");
    assert!((log.noise_dbm("roof").expect("one weak packet") + 120.764).abs() < 1e-3);
    let runs = log.runs("a", "roof", 0, limit_dbm);
    let levels: Vec<f64> = runs.iter().map(|run| run.mean_dbm).collect();
    assert!((levels[0] + 120.0).abs() < 1e-9 && (levels[1] + 86.236).abs() < 1e-3, "{levels:?}");
}

#[test]
fn packets_between_counters_and_those_that_another_gateway_heard_were_missed() {
    let text = log(
        "2026-10-04T08:00:00Z,a,roof,DR0,-119,-3,14,10\n2026-10-04T08:05:00Z,a,mill,DR0,-119,-3,14,11\n2026-10-04T08:20:00Z,a,roof,DR0,-119,-3,14,14\n",
    );
    let log = read(text.as_bytes()).expect("a survey");
    let [roof, mill] = ["roof", "mill"].map(|gateway| log.runs("a", gateway, 0, limit_dbm)[0]);
    assert_eq!((roof.heard, roof.missed, mill.heard, mill.missed), (2, 3, 1, 4));
}

#[test]
fn counts_of_sent_and_heard_stand_for_packets() {
    let text = "time,latitude_deg,longitude_deg,gateway,data_rate,rssi_dbm,snr_db,power_dbm,sent,heard\n\
        2026-10-04,47.0,13.0,roof,DR0,-119,-3,14,20,12\n2026-10-04,47.1,13.0,roof,DR0,,,14,20,0\n";
    let log = read(text.as_bytes()).expect("a survey");
    assert_eq!(log.nodes(), ["47.000 13.000", "47.100 13.000"]);
    let run = log.runs("47.100 13.000", "roof", 0, limit_dbm)[0];
    assert_eq!((run.heard, run.missed), (0, 20));
}

#[test]
fn bad_rows_are_named_with_their_line_and_the_rest_is_used() {
    let text = log(
        "2026-10-04T08:00:00Z,a,roof,DR0,-119,-3,14,1\nyesterday,a,roof,DR0,-119,-3,14,2\n2026-10-04T08:00:00Z,a,roof,SF12,-119,-3,14,3\n2026-10-04T08:00:00Z,a,roof,DR0,119,-3,14,4\n2026-10-04T08:00:00Z,a,roof,DR0,-119,-48,14,5\n2026-10-04T08:00:00Z,a,roof,DR0,low,-3,14,6\n2026-10-04T08:00:00Z,a,,DR0,-119,-3,14,7\n2026-10-04T08:00:00Z,,roof,DR0,-119,-3,14,8\n",
    );
    let log = read(text.as_bytes()).expect("one good row");
    assert_eq!(log.packets.len(), 1);
    let lines: Vec<u64> = log.anomalies.iter().map(|anomaly| anomaly.line).collect();
    assert_eq!(lines, [3, 4, 5, 6, 7, 8, 9]);
}

#[test]
fn a_place_of_nought_is_no_place() {
    let text = "time,latitude_deg,longitude_deg,gateway,data_rate,rssi_dbm,snr_db,power_dbm\n2026-10-04,0,0,roof,DR0,-119,-3,14\n";
    let refused = read(text.as_bytes()).expect_err("the only row is bad").to_string();
    assert!(refused.starts_with("no row can be used: line 2: "), "{refused}");
}

/// Where every row is bad the first three are named, and how many more there are.
#[test]
fn a_survey_without_a_good_row_says_what_is_wrong_with_its_rows() {
    let bad = "2026-10-04T08:00:00Z,a,roof,DR0,119,-3,14,1\n".repeat(5);
    let refused = read(log(&bad).as_bytes()).expect_err("all rows are bad").to_string();
    for part in ["line 2: ", "line 3: ", "line 4: ", "; and 2 more"] {
        assert!(refused.contains(part), "{part}: {refused}");
    }
    assert!(!refused.contains("line 5"), "{refused}");
    let bare = read(log("").as_bytes()).expect_err("there are no rows").to_string();
    assert_eq!(bare, "no row can be used: there is none below the headings");
}

#[test]
fn a_power_that_is_unknown_or_adapted_is_refused() {
    let unknown = log("2026-10-04T08:00:00Z,a,roof,DR0,-119,-3,,1\n");
    assert_eq!(read(unknown.as_bytes()), Err(LogError::PowerUnknown { line: 2 }));
    let adapted =
        log("2026-10-04T08:00:00Z,a,roof,DR0,-119,-3,14,1\n2026-10-04T08:00:00Z,a,roof,DR0,-119,-3,8,2\n");
    assert!(matches!(read(adapted.as_bytes()), Err(LogError::PowerAdapted { line: 3, .. })));
}

#[test]
fn columns_that_are_missing_double_or_not_known_are_named() {
    for (text, error) in [
        ("time,node\n", LogError::MissingColumn("gateway")),
        ("time,gateway,data_rate,rssi_dbm,snr_db,power_dbm\n", LogError::MissingColumn("node")),
        ("time,rssi\n", LogError::UnknownColumn("rssi".to_owned())),
        ("time,time\n", LogError::TwiceColumn("time".to_owned())),
    ] {
        assert_eq!(read(text.as_bytes()), Err(error));
    }
    assert!(matches!(read(log("1,2\n").as_bytes()), Err(LogError::NotCsv { line: 2, .. })));
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever stands in a survey, each row after the heading is a packet or is named as none.
    #[test]
    fn every_row_is_used_or_named(cells in prop::collection::vec("[-0-9.aT:]{0,12}|DR0|roof|2026-10-04|14", 8..80)) {
        let rows: Vec<String> = cells.chunks_exact(8).map(|row| row.join(",")).collect();
        let text = log(&rows.join("\n"));
        if let Ok(log) = read(text.as_bytes()) {
            prop_assert_eq!(log.packets.len() + log.anomalies.len(), rows.len());
        }
    }

    #[test]
    fn no_bytes_bring_the_reader_down(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let _ = read(&bytes);
        let _ = read(&[HEAD.as_bytes(), &bytes].concat());
    }
}
