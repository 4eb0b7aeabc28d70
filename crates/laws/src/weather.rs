//! Weather files.

use forecast::sky::weather::{self, WeatherHours};

/// Weather that is read is whole and finite, is the same with the other ends of lines and with a byte order mark, and is
/// refused without its last hour.
pub fn holds(bytes: &[u8]) {
    let Ok(hours) = weather::read(bytes) else { return };
    whole(&hours);
    let Ok(text) = str::from_utf8(bytes) else { return };
    if !text.contains('\r') {
        assert_eq!(weather::read(text.replace('\n', "\r\n").as_bytes()).as_ref(), Ok(&hours), "CR LF");
    }
    if !text.starts_with('\u{feff}') {
        assert_eq!(
            weather::read(format!("\u{feff}{text}").as_bytes()).as_ref(),
            Ok(&hours),
            "byte order mark"
        );
    }
    if let Some((before, _)) = text.trim_end().rsplit_once('\n') {
        assert!(weather::read(before.as_bytes()).is_err(), "the last hour is missing");
    }
}

fn whole(hours: &WeatherHours) {
    let count = hours.starts().len();
    assert!(count >= 8760 && count.is_multiple_of(24), "{count} hours");
    let columns =
        [Some(&hours.ghi_w_m2), Some(&hours.air_celsius), hours.dni_w_m2.as_ref(), hours.dhi_w_m2.as_ref()];
    for column in columns.into_iter().chain([hours.wind_m_s.as_ref()]).flatten() {
        assert_eq!(column.len(), count);
        assert!(column.iter().all(|value| value.is_finite()));
    }
}

const FILE: &str = include_str!("../../../examples/weather/sand-point-ak.csv");

/// The beginning of a file: what is wrong in it is found at once.
pub fn seeds() -> Vec<Vec<u8>> {
    let beginning: String = FILE.split_inclusive('\n').take(12).collect();
    let epw = "LOCATION,Larkmoor,-,-,own,000000,46.99,13.00,1.0,640.0\nDESIGN CONDITIONS,0\n\
        2025,1,1,1,0,?9,-3.0,-5.0,80,95000,0,0,300,0,0,0,0,0,0,9999,180,1.5,5,5,20,77777,9,999999999,50,0.1,0,88,0.2,0,1\n";
    let own = "time,ghi_w_m2,air_celsius\n2025-01-01T00:00Z,0,-3.5\n2025-01-01T01:00Z,0,-3.6\n";
    [&beginning, epw, own].map(|text| text.as_bytes().to_vec()).into()
}

/// A whole file, which takes milliseconds.
pub fn whole_file() -> Vec<u8> {
    FILE.as_bytes().to_vec()
}
