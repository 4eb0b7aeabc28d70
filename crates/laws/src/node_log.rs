//! Logs of nodes, and the sun that was measured beside them.

use forecast::learn::{log, sun};

/// Where the counter of the seeds begins anew.
const MODULUS: u32 = 4096;

/// A log that is read is in the order of time without copies, and the same with its rows turned round, doubled, with the other
/// ends of lines and a byte order mark.
pub fn log_holds(bytes: &[u8]) {
    let Ok(log) = log::read(bytes, MODULUS) else { return };
    let readings = log.readings;
    assert!(readings.windows(2).all(|pair| pair[0].at_s <= pair[1].at_s && pair[0] != pair[1]));
    assert!(readings.iter().any(|one| one.battery.is_some()));
    let finite = |one: &forecast::learn::Reading| {
        let volts = [one.battery, one.panel].into_iter().flatten().all(|volts| volts.volts().is_finite());
        volts && one.box_air.is_none_or(|air| air.celsius().is_finite())
    };
    assert!(readings.iter().all(finite), "a figure that is none");
    for again in variants(bytes) {
        let found = log::read(again.as_bytes(), MODULUS).map(|log| log.readings);
        assert_eq!(found.as_ref(), Ok(&readings), "{again}");
    }
}

/// Sun that is read is finite and not below nothing, and the same with its rows turned round, doubled, with the other ends of
/// lines and a byte order mark.
pub fn sun_holds(bytes: &[u8]) {
    let Ok(sun) = sun::read(bytes) else { return };
    let hours: Vec<_> = sun.iter().collect();
    assert!(!hours.is_empty() && hours.windows(2).all(|pair| pair[0].0 < pair[1].0));
    assert!(
        hours
            .iter()
            .all(|(_, w_m2, air)| { w_m2.is_finite() && *w_m2 >= 0.0 && air.is_none_or(f32::is_finite) })
    );
    for again in variants(bytes) {
        let found = sun::read(again.as_bytes()).map(|sun| sun.iter().collect::<Vec<_>>());
        assert_eq!(found.as_ref(), Ok(&hours), "{again}");
    }
}

/// The same said otherwise; nothing where rows are not lines.
fn variants(bytes: &[u8]) -> Vec<String> {
    let Ok(text) = str::from_utf8(bytes) else { return Vec::new() };
    if text.contains(['"', '\r', '#', '\u{feff}']) {
        return Vec::new();
    }
    let mut lines = text.lines().filter(|line| !line.is_empty());
    let Some(heading) = lines.next() else { return Vec::new() };
    let rows: Vec<&str> = lines.collect();
    let turned: Vec<&str> = rows.iter().rev().copied().collect();
    let table = |rows: &[&str], end: &str| format!("{heading}{end}{}{end}", rows.join(end));
    vec![
        table(&turned, "\n"),
        table(&rows, "\r\n"),
        table(&[&rows[..], &rows[..]].concat(), "\n"),
        format!("\u{feff}{}", table(&rows, "\n")),
    ]
}

const LOG: &str = "\
time_utc,fcnt,battery_mv,charge_min,panel_mv,box_c,restarted,rssi,snr,dr
2025-11-01T00:00:02Z,0,4090,0,0,7.0,1,-106,4.6,4
2025-11-01T00:30:04Z,1,4100,0,,7.0,0,-109,3.8,4
2025-11-01T01:00:00Z,2,4100,10,4300,-0.5,0,-108,3.9,4
";
const SHORT_LOG: &str = "battery_mv,time_utc\n3870,2025-11-01 00:00:02.5Z\n3860,2025-11-01T00:00+00:00\n";
const SUN: &str = "\
time_utc_hour_start,ghi_w_m2,air_c
2025-11-01T00:00:00Z,0.0,8.8
2025-11-01T01:00:00Z,120.5,
2025-11-01T02:00:00Z,-1.5,7.9
";

/// Logs of a whole and of a meagre message.
pub fn log_seeds() -> Vec<Vec<u8>> {
    [LOG, SHORT_LOG].map(|text| text.as_bytes().to_vec()).into()
}

/// Some hours.
pub fn sun_seeds() -> Vec<Vec<u8>> {
    vec![SUN.as_bytes().to_vec()]
}
