//! Logs and measured sun as files: what is tolerated, and what is told from a fault of the node. Own rows, expectations by
//! hand from what each row says.

use forecast::learn::log::{self, LogError};
use forecast::learn::sun::{self, SunError};

const MODULUS: u32 = 4096;

fn refusal(text: &str) -> LogError {
    log::read(text.as_bytes(), MODULUS).expect_err("it is refused")
}

/// Rows of a log every hour from the first of November, with a voltage and a frame counter by their number.
fn rows(count: usize, of: impl Fn(usize) -> (f64, usize)) -> String {
    let row = |number: usize| {
        let (millivolts, counter) = of(number);
        format!("2025-11-{:02}T{:02}:00:00Z,{millivolts},{counter}\n", 1 + number / 24, number % 24)
    };
    format!("time_utc,battery_mv,fcnt\n{}", (0..count).map(row).collect::<String>())
}

#[test]
fn columns_are_known_by_name_in_any_order_and_empty_is_absent() {
    let text = "box_c,charge_min,battery_mv,time_utc,restarted\n-3.5,17,3870,2025-11-01T00:00:02Z,1\n,,3860,2025-11-01T01:00:00Z,\n";
    let log = log::read(text.as_bytes(), MODULUS).expect("a log");
    let [first, second] = &log.readings[..] else { panic!("two rows") };
    assert_eq!((first.charging_min, first.restarted), (Some(17), true));
    assert!(first.box_air.is_some_and(|air| (air.celsius() + 3.5).abs() < 1e-9));
    assert_eq!((second.charging_min, second.box_air, second.restarted), (None, None, false));
    assert_eq!(second.at_s - first.at_s, 3598);
}

#[test]
fn copies_and_rows_out_of_order_are_counted_and_put_right() {
    let text = "time_utc,battery_mv\n2025-11-01T02:00:00Z,3850\n2025-11-01T01:00:00Z,3860\n2025-11-01T02:00:00Z,3850\n";
    let log = log::read(text.as_bytes(), MODULUS).expect("a log");
    assert_eq!((log.readings.len(), log.duplicates, log.unsorted), (2, 1, 1));
    assert!(log.readings[0].at_s < log.readings[1].at_s);
}

#[test]
fn a_field_that_cant_be_read_names_its_line_and_what_to_write() {
    let said =
        refusal("time_utc,battery_mv\n2025-11-01T02:00:00Z,3850\n2025-11-01T03:00:00,3850\n").to_string();
    assert_eq!(said, "line 3: `time_utc` is `2025-11-01T03:00:00`; write 2026-10-04T12:00:00Z");
    let said = refusal("time_utc,battery_mv,restarted\n2025-11-01T02:00:00Z,3850,maybe\n").to_string();
    assert_eq!(said, "line 2: `restarted` is `maybe`; write 1 or 0");
    let said = refusal("time_utc,battery\n").to_string();
    assert!(said.starts_with("column `battery` is not known; columns are time_utc, battery_mv,"), "{said}");
    let said = refusal("time_utc\n2025-11-01T02:00:00Z\n").to_string();
    assert!(said.starts_with("column `battery_mv` is missing"), "{said}");
}

/// Volts, 4 days of one voltage, a clock in 1970, a count that 12 bits can't carry, two counters in turn.
#[test]
fn nonsense_is_told_from_a_fault_of_the_node() {
    assert!(matches!(
        refusal(&rows(30, |row| (3.9 - 0.001 * row as f64, row))),
        LogError::Volts { line: 2, .. }
    ));
    assert!(matches!(refusal(&rows(120, |row| (3700.0, row))), LogError::Stuck { rows: 120, days: 4, .. }));
    let clock = rows(30, |row| (3900.0, row)).replace("2025-11-01T05", "1970-01-01T05");
    assert!(matches!(refusal(&clock), LogError::Clock { line: 7, year: 1970 }));
    let mixed =
        rows(120, |row| (3900.0 - row as f64, if row % 2 == 0 { 500 + row / 2 } else { 9000 + row / 2 }));
    assert!(matches!(refusal(&mixed), LogError::Mixed { .. }));
    let counted = "time_utc,battery_mv,charge_min\n2025-11-01T02:00:00Z,3850,4096\n";
    assert!(matches!(refusal(counted), LogError::Modulus { line: 2, count: 4096, .. }));
}

/// A dying node's voltage falls, a full one's stands for two days, a restarted one counts anew: none of it is nonsense.
#[test]
fn faults_of_a_node_are_read() {
    assert!(log::read(rows(120, |row| (3900.0 - 5.0 * row as f64, row)).as_bytes(), MODULUS).is_ok());
    assert!(log::read(rows(48, |row| (4180.0, row)).as_bytes(), MODULUS).is_ok());
    assert!(log::read(rows(120, |row| (3900.0 - row as f64, row % 5)).as_bytes(), MODULUS).is_ok());
}

#[test]
fn measured_sun_is_read_by_whole_hours() {
    let text =
        "time_utc_hour_start,ghi_w_m2,air_c\n2025-11-01T12:00:00Z,231.5,8.25\n2025-11-01T13:00:00Z,-1.0,\n";
    let sun = sun::read(text.as_bytes()).expect("sun");
    // 2025-11-01T12:00Z is 1,761,998,400 s after 1970 by `date -u` of GNU coreutils.
    let hour = 1_761_998_400 / 3600;
    assert_eq!(sun.at(hour), Some((231.5, Some(8.25))));
    assert_eq!((sun.at(hour + 1), sun.at(hour + 2)), (Some((0.0, None)), None));
    let odd = "time_utc_hour_start,ghi_w_m2\n2025-11-01T12:30:00Z,231.5\n";
    assert_eq!(sun::read(odd.as_bytes()), Err(SunError::NoHour { line: 2 }));
    let twice = "time_utc_hour_start,ghi_w_m2\n2025-11-01T12:00:00Z,231.5\n2025-11-01T12:00:00Z,99\n";
    assert_eq!(sun::read(twice.as_bytes()), Err(SunError::Twice { line: 3 }));
    let night = |hour: usize| format!("2025-11-{:02}T{:02}:00:00Z,0\n", 1 + hour / 24, hour % 24);
    let dark = format!("time_utc_hour_start,ghi_w_m2\n{}", (0..168).map(night).collect::<String>());
    assert_eq!(sun::read(dark.as_bytes()), Err(SunError::Dark { hours: 168 }));
}
