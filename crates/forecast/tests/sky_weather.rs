//! Weather files, sound and broken.

#![expect(clippy::disallowed_methods, reason = "the test reads its data files")]

use std::fmt::Write;
use std::sync::LazyLock;

use forecast::sky::sun::Observer;
use forecast::sky::weather::{self, WeatherError, WeatherHours};
use proptest::prelude::*;
use proptest::sample::Index;

const DAYS: [u8; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// Light of an invented hour that ends then: from 9 to 16, brightest at noon, possible in any month at 47 N.
fn sun(end_hour: u8) -> f64 {
    (300.0 - 75.0 * (f64::from(end_hour) - 12.5).abs()).max(0.0).round()
}

fn hours(leap: bool) -> impl Iterator<Item = (u8, u8, u8)> {
    (1..=12_u8).flat_map(move |month| {
        let days = DAYS[usize::from(month) - 1] + u8::from(leap && month == 2);
        (1..=days).flat_map(move |day| (1..=24_u8).map(move |hour| (month, day, hour)))
    })
}

fn tmy3() -> String {
    let mut text = "123456,\"ORCHARD, UPPER\",XX,1.0,46.900,9.200,640\nDate (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),DNI (W/m^2),DHI (W/m^2),Dry-bulb (C),Wspd (m/s)\n".to_owned();
    for (month, day, hour) in hours(false) {
        let year = 1990 + u16::from(month);
        let ghi = sun(hour);
        writeln!(text, "{month:02}/{day:02}/{year},{hour:02}:00,{ghi},0,{ghi},-3.5,1.2").expect("memory");
    }
    text
}

fn epw(leap: bool) -> Vec<u8> {
    let header = "LOCATION,Logro\u{f1}o,-,ESP,invented,081480,42.45,-2.33,1.0,353.0\nDESIGN CONDITIONS,0\nTYPICAL/EXTREME PERIODS,0\nGROUND TEMPERATURES,0\nHOLIDAYS/DAYLIGHT SAVINGS,No,0,0,0\nCOMMENTS 1,invented\nCOMMENTS 2,\nDATA PERIODS,1,1,Data,Sunday,1/1,12/31\n";
    let mut bytes: Vec<u8> = header.chars().map(|letter| letter as u8).collect();
    for (month, day, hour) in hours(leap) {
        let ghi = sun(hour);
        bytes.extend_from_slice(
            format!("1985,{month},{day},{hour},60,A7,4.5,1.0,80,95000,0,1400,300,{ghi},9999,9999,0,0,0,0,180,2.5,5\r\n").as_bytes(),
        );
    }
    bytes
}

fn csv_rows(years: &[(i32, bool)], row: impl Fn(i32, u8, u8, u8) -> String) -> String {
    let mut text = "# title = \"upper mast\"\n# utc_offset_hours = 1\n# latitude = \"46.9 deg\"\n# longitude = \"9.2 deg\"\n# elevation = \"640 m\"\ntime,ghi_w_m2,air_celsius\n".to_owned();
    for (year, leap) in years {
        for (month, day, hour) in hours(*leap) {
            text += &row(*year, month, day, hour);
        }
    }
    text
}

fn plain(year: i32, month: u8, day: u8, hour: u8) -> String {
    format!("{year}-{month:02}-{day:02}T{hour:02}:00,{},-3.5\n", sun(hour))
}

/// One sound file of each format.
static SOUND: LazyLock<[Vec<u8>; 3]> =
    LazyLock::new(|| [csv().into_bytes(), tmy3().into_bytes(), epw(false)]);

fn csv() -> String {
    csv_rows(&[(2021, false)], plain)
}

#[test]
fn a_title_can_neither_colour_a_terminal_nor_turn_the_direction_of_writing() {
    let text = csv().replace("upper mast", "upper \u{202e}mast\u{1b}[31m");
    let weather = weather::read(text.as_bytes()).expect("sound");
    assert_eq!(weather.title, "upper \u{fffd}mast\u{fffd}[31m");
}

#[track_caller]
fn refused(text: impl AsRef<[u8]>) -> WeatherError {
    weather::read(text.as_ref()).expect_err("this file is broken")
}

#[track_caller]
fn says(error: &WeatherError, words: &[&str]) {
    let text = error.to_string();
    for word in words {
        assert!(text.contains(word), "`{text}` says nothing of `{word}`");
    }
}

fn dates(weather: &WeatherHours) -> Vec<(u8, u8, u8)> {
    weather.dates().collect()
}

#[test]
fn a_tmy3_file_is_read_whatever_years_its_months_come_from() {
    let weather = weather::read(tmy3().as_bytes()).expect("sound");
    assert_eq!(weather.title, "ORCHARD, UPPER, XX");
    let place = weather.place.expect("it names its place");
    assert_eq!(
        (place.latitude.degrees(), place.longitude.degrees(), place.elevation.metres()),
        (46.9, 9.2, 640.0)
    );
    assert_eq!(weather.utc_offset_h.to_bits(), 1.0_f64.to_bits());
    let dates = dates(&weather);
    assert_eq!((dates.len(), dates[0], dates[8759]), (8760, (1, 1, 0), (12, 31, 23)));
    // The row named 13:00 is the hour that begins at 12.
    assert_eq!(dates[12], (1, 1, 12));
    assert!((f64::from(weather.ghi_w_m2[12]) - sun(13)).abs() < 1e-6);
    assert!(weather.dni_w_m2.is_some() && weather.wind_m_s.is_some());
}

/// The files of the examples are the TMY3 stations themselves: yearly irradiation as in `examples/weather/README.md`.
#[test]
fn the_examples_weather_is_read() {
    for (file, kwh, mean_celsius) in
        [("sand-point-ak.csv", 829.0, 4.4), ("port-angeles-wa.csv", 1262.0, f64::NAN)]
    {
        let path = format!("{}/../../examples/weather/{file}", env!("CARGO_MANIFEST_DIR"));
        let weather = weather::read(&std::fs::read(path).expect("in the repository")).expect("sound");
        let year = weather.ghi_w_m2.iter().map(|w_m2| f64::from(*w_m2)).sum::<f64>() / 1000.0;
        assert!((year - kwh).abs() < 0.5, "{file}: {year}");
        let mean = weather.air_celsius.iter().map(|celsius| f64::from(*celsius)).sum::<f64>() / 8760.0;
        assert!(mean_celsius.is_nan() || (mean - mean_celsius).abs() < 0.05, "{file}: {mean}");
    }
}

#[test]
fn an_epw_file_in_latin_1_is_read_and_columns_missing_throughout_are_absent() {
    let weather = weather::read(&epw(false)).expect("sound");
    assert_eq!(weather.title, "Logroño, ESP");
    assert_eq!(weather.starts().len(), 8760);
    assert!(weather.dni_w_m2.is_none() && weather.dhi_w_m2.is_none());
    assert!(weather.wind_m_s.is_some());
    assert!((f64::from(weather.ghi_w_m2[12]) - sun(13)).abs() < 1e-6);
}

#[test]
fn a_leap_year_is_read_in_all_formats_and_keeps_its_day() {
    let leap_day =
        |weather: &WeatherHours| dates(weather).iter().filter(|date| (date.0, date.1) == (2, 29)).count();
    let epw = weather::read(&epw(true)).expect("sound");
    assert_eq!((epw.starts().len(), leap_day(&epw), epw.starts()[0].year), (8784, 24, 2024));
    let csv = weather::read(csv_rows(&[(2024, true)], plain).as_bytes()).expect("sound");
    assert_eq!((csv.starts().len(), leap_day(&csv)), (8784, 24));
}

#[test]
fn several_years_of_a_plain_file_are_read() {
    let weather = weather::read(csv_rows(&[(2019, false), (2020, true), (2021, false)], plain).as_bytes())
        .expect("sound");
    assert_eq!(weather.starts().len(), 8760 + 8784 + 8760);
    assert_eq!(weather.starts()[8760].year, 2020);
    assert_eq!((weather.title.as_str(), weather.utc_offset_h), ("upper mast", 1.0));
    assert!(weather.dni_w_m2.is_none() && weather.wind_m_s.is_none());
}

#[test]
fn a_plain_file_may_begin_in_october_and_write_midnight_as_zero() {
    let text = csv();
    let lines: Vec<&str> = text.lines().collect();
    let (head, rows) = lines.split_at(6);
    let (before, from_october) = rows.split_at(273 * 24);
    let next_year = |line: &&str| line.replace("2021-", "2022-");
    let turned: Vec<String> = head
        .iter()
        .map(ToString::to_string)
        .chain(from_october.iter().map(|line| line.replace("2021-10-01T24:00", "2021-10-02T00:00:00")))
        .chain(before.iter().map(next_year))
        .collect();
    let weather = weather::read(turned.join("\r\n").as_bytes()).expect("sound");
    assert_eq!(
        (weather.starts().len(), dates(&weather)[0], dates(&weather)[8759]),
        (8760, (10, 1, 0), (9, 30, 23))
    );
}

#[test]
fn an_empty_file_says_so() {
    assert_eq!(refused(""), WeatherError::Empty);
    assert_eq!(refused(" \n\n"), WeatherError::Empty);
}

#[test]
fn what_is_not_weather_is_told_from_its_beginning() {
    says(&refused("schema = 1\nname = \"mast\"\n"), &["schema = 1", "TMY3", "EPW", "ghi_w_m2"]);
    assert_eq!(refused([0x89, b'P', b'N', b'G', 0, 0, 0, 13]), WeatherError::NotText);
    // The zero byte beyond the first 64 kB is never reached.
    let mut large = "no weather at all\n".repeat(64 * 1024 / 18 + 1).into_bytes();
    large.resize(1 << 20, 0);
    assert!(matches!(refused(large), WeatherError::NotWeather { .. }));
}

#[test]
fn a_truncated_file_names_the_line_where_it_ends() {
    let text = csv();
    let half_row = &text[..text.rfind(",-3.5").expect("rows")];
    says(&refused(half_row), &["line 8766", "2 fields where 3", "cut off"]);
    let year_short_of_an_hour = &text[..text.trim_end().rfind('\n').expect("rows")];
    says(&refused(year_short_of_an_hour), &["8759 hours", "1 short", "line 8765"]);
    says(&refused(&text[..text.find("2021-01-01").expect("rows")]), &["0 hours"]);
}

#[test]
fn a_missing_or_misnamed_column_names_what_to_write() {
    says(&refused(csv().replace("ghi_w_m2", "GHI")), &["line 6", "`GHI`", "name it `ghi_w_m2`"]);
    says(
        &refused(csv().replace("air_celsius", "humidity")),
        &["line 6", "no column `air_celsius`", "`humidity`"],
    );
    says(&refused(csv().replace("air_celsius", "air_fahrenheit")), &["`air_fahrenheit`", "`air_celsius`"]);
    says(&refused(tmy3().replace("GHI (W/m^2)", "ETR (W/m^2)")), &["line 2", "no column `GHI (W/m^2)`"]);
}

#[test]
fn a_gap_a_repeat_or_another_order_names_the_hour() {
    let gap = csv().replace("2021-03-28T03:00,0,-3.5\n", "");
    says(&refused(&gap), &["2021-03-28 04:00 where", "2021-03-28 03:00 belongs", "summer time"]);
    let row = plain(2021, 6, 1, 1);
    says(&refused(csv().replace(&row, &format!("{row}{row}"))), &["2021-06-01 01:00 where", "02:00 belongs"]);
    let swapped = tmy3().replace("05/02/1995", "05/03/1995");
    says(&refused(swapped), &["05-03 01:00 where", "05-02 01:00 belongs"]);
    says(
        &refused(csv().replace("2021-01-01T01:00,0,-3.5\n", "")),
        &["line 7", "2021-01-01 02:00 where", "01:00 belongs"],
    );
}

#[test]
fn missing_values_name_line_and_column() {
    let row = plain(2021, 1, 1, 13);
    for missing in ["NaN", "", "9999", "-9999", "-999"] {
        let text = csv().replace(&row, &format!("2021-01-01T13:00,{missing},-3.5\n"));
        says(&refused(text), &["line 19", "`ghi_w_m2`", "missing", "fill the gap"]);
    }
    let air = csv().replace(&row, "2021-01-01T13:00,100,9999\n");
    says(&refused(air), &["line 19", "`air_celsius`", "missing"]);
    let garbage = csv().replace(&row, "2021-01-01T13:00,12..5,-3.5\n");
    says(&refused(garbage), &["line 19", "`ghi_w_m2`", "`12..5` is not a number"]);
    let comma = csv().replace(&row, "2021-01-01T13:00,100,-3,5\n");
    says(&refused(comma), &["line 19", "4 fields where 3", "decimal points"]);
}

#[test]
fn an_optional_column_may_not_be_missing_here_and_there() {
    let text = String::from_utf8_lossy(&epw(false)).replacen(",9999,9999,", ",100,9999,", 1);
    says(&refused(text), &["line 10", "`direct normal radiation`", "missing"]);
    let late = String::from_utf8_lossy(&epw(false)).replace(
        "1985,7,1,12,60,A7,4.5,1.0,80,95000,0,1400,300,263,9999",
        "1985,7,1,12,60,A7,4.5,1.0,80,95000,0,1400,300,263,50",
    );
    says(&refused(late), &["line 9", "`direct normal radiation`", "missing"]);
}

#[test]
fn a_night_offset_is_zero_and_a_negative_reading_is_a_fault() {
    let night = plain(2021, 1, 1, 1);
    let offset = csv().replace(&night, "2021-01-01T01:00,-3.2,-3.5\n");
    assert!(weather::read(offset.as_bytes()).expect("sound").ghi_w_m2[0].abs() < 1e-9);
    says(&refused(csv().replace(&night, "2021-01-01T01:00,-30,-3.5\n")), &["line 7", "-30 W/m2", "repair"]);
}

#[test]
fn light_from_a_sun_below_the_horizon_points_at_the_clock() {
    says(
        &refused(csv().replace("# utc_offset_hours = 1", "# utc_offset_hours = -9")),
        &["sun is", "time zone"],
    );
    says(&refused(csv().replace("\"9.2 deg\"", "\"-120 deg\"")), &["sun is", "longitude"]);
    // A file without a place can't be checked alone, but can be against the node's site.
    let homeless = csv().replace("# latitude = \"46.9 deg\"\n# longitude = \"9.2 deg\"\n", "");
    let mut weather = weather::read(homeless.as_bytes()).expect("sound by itself");
    assert!(weather.check_sun(&Observer::new(46.9, 9.2, 640.0).expect("on earth")).is_ok());
    let elsewhere = weather.check_sun(&Observer::new(46.9, -120.0, 640.0).expect("on earth"));
    says(&elsewhere.expect_err("the sun is down there"), &["below the horizon"]);
}

/// A recorded year with global, direct and diffuse light, its rows changed.
fn recorded(change: impl Fn(&mut [f64; 3])) -> String {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../examples/weather/port-angeles-wa.csv");
    let text = std::fs::read_to_string(path).expect("an example");
    let row = |line: &str| {
        let mut fields: Vec<String> = line.split(',').map(str::to_owned).collect();
        let mut light = [2, 3, 4].map(|column| fields[column].parse().expect("a number"));
        change(&mut light);
        for (column, w_m2) in (2..).zip(light) {
            fields[column] = w_m2.to_string();
        }
        fields.join(",")
    };
    let lines = text.lines().enumerate();
    let lines: Vec<String> =
        lines.map(|(index, line)| if index < 2 { line.to_owned() } else { row(line) }).collect();
    lines.join("\n")
}

/// Shares reckoned apart from this code, from Spencer's series of 1971: none of 3,535 sunny hours is doubtful as recorded.
#[test]
fn a_sound_record_has_no_doubtful_hour() {
    let weather = weather::read(recorded(|_| ()).as_bytes()).expect("sound");
    assert!(weather.doubtful.expect("three columns and a place").percent() < 0.5, "{:?}", weather.doubtful);
    assert_eq!(weather::read(csv().as_bytes()).expect("sound").doubtful, None, "only global light");
}

#[test]
fn columns_that_contradict_each_other_are_refused_with_what_to_do() {
    let swapped = refused(recorded(|light| light.swap(1, 2)));
    says(&swapped, &["88 %", "25 % are allowed", "swapped"]);
    says(
        &refused(recorded(|light| (light[1], light[2]) = (0.0, 0.0))),
        &["direct and diffuse", "leave both columns out"],
    );
    says(&refused(recorded(|light| (light[1], light[2]) = (-1.0, -1.0))), &["leave both columns out"]);
    says(&refused(recorded(|light| (light[1], light[2]) = (light[1] / 1e3, light[2] / 1e3))), &["kW/m2"]);
    says(&refused(recorded(|light| light[0] /= 1e3)), &["W/m2"]);
    says(
        &refused(recorded(|light| *light = light.map(|w_m2| w_m2 / 1e3))),
        &["less than anywhere on earth", "kW/m2"],
    );
}

#[test]
fn a_share_of_doubtful_hours_is_counted() {
    // One sunny hour in five, by its own figures: every fifth value of the global light modulo.
    let weather = weather::read(
        recorded(|light| {
            if light[0].rem_euclid(5.0) < 0.5 {
                light[1] *= 0.2;
            }
        })
        .as_bytes(),
    );
    let doubtful = weather.expect("below the limit").doubtful.expect("a share").percent();
    assert!((3.0..20.0).contains(&doubtful), "{doubtful}");
}

#[test]
fn diffuse_or_direct_light_that_the_sun_cannot_give_is_refused_at_its_line() {
    let midnight = recorded(|_| ()).replace("01/01/1998,02:00,0,0,0,", "01/01/1998,02:00,0,0,900,");
    says(&refused(midnight), &["line 4", "900 W/m2 of diffuse", "below the horizon"]);
    let beam = recorded(|_| ()).replace("01/01/1998,02:00,0,0,0,", "01/01/1998,02:00,0,300,0,");
    says(&refused(beam), &["line 4", "300 W/m2 of direct", "below the horizon"]);
    // Long & Dutton 2002: diffuse at most 0.95 S cos^1.2 + 50 W/m2; at 10 o'clock of New Year the sun is 12 degrees high.
    let low_sun = recorded(|_| ()).replace("01/01/1998,10:00,125,490,43,", "01/01/1998,10:00,125,490,430,");
    says(&refused(low_sun), &["line 12", "430 W/m2 of diffuse", "the most"]);
}

#[test]
fn more_light_than_the_sun_gives_points_at_the_unit() {
    let kilojoules = csv_rows(&[(2021, false)], |year, month, day, hour| {
        format!("{year}-{month:02}-{day:02}T{hour:02}:00,{},-3.5\n", sun(hour) * 8.0)
    });
    says(&refused(kilojoules), &["W/m2", "kJ/m2"]);
    let bright_winter = csv_rows(&[(2021, false)], |year, month, day, hour| {
        format!("{year}-{month:02}-{day:02}T{hour:02}:00,{},-3.5\n", sun(hour) * 3.0)
    });
    says(&refused(bright_winter), &["the sun stands so low", "unit"]);
    let dark = csv_rows(&[(2021, false)], |year, month, day, hour| {
        format!("{year}-{month:02}-{day:02}T{hour:02}:00,0,-3.5\n")
    });
    says(&refused(dark), &["`ghi_w_m2` is zero in every row"]);
}

#[test]
fn temperatures_in_other_units_are_recognised() {
    says(&refused(csv().replace(",-3.5\n", ",269.65\n")), &["`air_celsius`", "269.65 C", "kelvin"]);
    says(&refused(csv().replace(",-3.5\n", ",61.2\n")), &["Fahrenheit"]);
}

#[test]
fn a_time_that_is_none_shows_how_to_write_one() {
    for wrong in
        ["2021-02-30T13:00", "2021-01-01T13:30", "01.01.2021 13:00", "2021-01-01T13:00Z", "2021-01-01T25:00"]
    {
        let text = csv().replace("2021-01-01T13:00", wrong);
        says(&refused(text), &["line 19", wrong, "2021-12-31T14:00"]);
    }
}

#[test]
fn the_head_of_a_file_must_say_place_and_clock_in_full() {
    says(&refused(csv().replace("# utc_offset_hours = 1\n", "")), &["# utc_offset_hours = 1"]);
    says(&refused(csv().replace("utc_offset_hours = 1", "utc_offset_hours = 30")), &["line 2", "30 hours"]);
    says(&refused(csv().replace("# longitude = \"9.2 deg\"\n", "")), &["belong together"]);
    says(&refused(csv().replace("\"46.9 deg\"", "46.9")), &["line 3", "deg"]);
    says(&refused(csv().replace("\"46.9 deg\"", "\"95 deg\"")), &["not on earth"]);
    says(&refused(tmy3().replace("46.900", "146.9")), &["line 1", "146.9", "no place on earth"]);
    let half_hours = String::from_utf8_lossy(&epw(false)).replace("DATA PERIODS,1,1", "DATA PERIODS,1,2");
    says(&refused(half_hours), &["line 8", "hourly"]);
}

/// One long line must neither be repeated in the message nor take long.
#[test]
fn an_endless_field_is_shown_in_part() {
    let text = csv().replace("2021-01-01T13:00,", &format!("2021-01-01T13:00,{}", "7".repeat(1 << 20)));
    assert!(refused(text).to_string().len() < 300);
}

/// Ten decades are enough: 101 years are refused.
#[test]
fn a_file_without_end_is_refused() {
    let years: Vec<(i32, bool)> = (1900..=2000).map(|year| (year, year % 4 == 0 && year != 1900)).collect();
    let dark =
        |year: i32, month: u8, day: u8, hour: u8| format!("{year}-{month:02}-{day:02}T{hour:02}:00,20,1\n");
    let homeless =
        csv_rows(&years, dark).replace("# latitude = \"46.9 deg\"\n# longitude = \"9.2 deg\"\n", "");
    says(&refused(homeless), &["more than 878400 hours", "a hundred years"]);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(300) })]

    /// Law: bytes are weather or an error, never a panic.
    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(any::<u8>(), 0..4096)) {
        prop_assert!(weather::read(&bytes).is_err());
    }

    /// The same behind a sound head, where the rows are read.
    #[test]
    fn any_rows_are_answered(head in 0..3_usize, rows in "([0-9TW:/.,\\-]{0,40}\n){0,30}") {
        let sound = &SOUND[head];
        let lines = [6, 2, 8][head];
        let end: usize = sound.split_inclusive(|byte| *byte == b'\n').take(lines).map(<[u8]>::len).sum();
        let mut bytes = sound[..end].to_vec();
        bytes.extend_from_slice(rows.as_bytes());
        prop_assert!(weather::read(&bytes).is_err());
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(60) })]

    /// A file cut anywhere before its last field is refused (a number cut short there can't be told from a whole one).
    #[test]
    fn a_truncated_file_is_refused(cut in any::<Index>(), format in 0..3_usize) {
        let sound = &SOUND[format];
        let last_field = sound.iter().rposition(|byte| *byte == b',').expect("rows");
        prop_assert!(weather::read(&sound[..cut.index(last_field)]).is_err());
    }

    /// One wrong byte in a sound file never panics.
    #[test]
    fn a_file_with_a_wrong_byte_is_answered(at in any::<Index>(), byte in any::<u8>(), format in 0..3_usize) {
        let mut bytes = SOUND[format].clone();
        let at = at.index(bytes.len());
        bytes[at] = byte;
        if let Ok(weather) = weather::read(&bytes) {
            prop_assert_eq!(weather.starts().len(), weather.ghi_w_m2.len());
        }
    }
}

#[test]
fn the_files_that_are_cut_are_sound() {
    for sound in SOUND.iter() {
        assert!(weather::read(sound).is_ok());
    }
}

/// Light is that of the same hour on the days beside, air lies straight between its neighbours; the title counts them.
#[test]
fn short_gaps_are_filled_where_the_file_asks_for_it() {
    let asking = |text: String| {
        text.replace("# utc_offset_hours = 1\n", "# utc_offset_hours = 1\n# fill_gaps = \"6 h\"\n")
    };
    let noon = plain(2021, 5, 10, 12);
    let (before, after) = (plain(2021, 5, 9, 12), plain(2021, 5, 11, 12));
    let gap = csv()
        .replace(&noon, "")
        .replace(&before, "2021-05-09T12:00,100,-3.5\n")
        .replace(&after, "2021-05-11T12:00,200,-3.5\n")
        .replace(&plain(2021, 5, 10, 11), "2021-05-10T11:00,,2.0\n")
        .replace(&plain(2021, 5, 10, 13), &format!("2021-05-10T13:00,{},4.0\n", sun(13)));
    says(&refused(gap.clone()), &["missing"]);
    let weather = weather::read(asking(gap).as_bytes()).expect("two hours are filled");
    let hour = (129 * 24) + 11;
    assert_eq!(weather.starts().len(), 8760);
    assert!((weather.ghi_w_m2[hour] - 150.0).abs() < 1e-3 && (weather.air_celsius[hour] - 3.0).abs() < 1e-3);
    assert!((f64::from(weather.ghi_w_m2[hour - 1]) - sun(11)).abs() < 1e-3);
    assert_eq!(weather.title, "upper mast, 2 hours filled");
    let seven: String = (8..15).map(|hour| plain(2021, 5, 10, hour)).collect();
    says(
        &refused(asking(csv().replace(&seven, ""))),
        &["2021-05-10 15:00 where", "2021-05-10 08:00 belongs"],
    );
    says(&refused(asking(csv()).replace("\"6 h\"", "\"2 days\"")), &["line 3", "1 to 6 h"]);
}

/// What a spreadsheet writes where commas are decimal.
#[test]
fn semicolons_with_decimal_commas_are_read() {
    let lines = csv().replace(',', ";").replace("-3.5", "-3,5");
    assert_eq!(weather::read(lines.as_bytes()), weather::read(csv().as_bytes()));
}
