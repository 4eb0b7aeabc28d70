//! Which format a file has, and where in its rows the values stand.

use design::quantity::{Angle, Duration, Length, Quantity};

use super::{Place, WeatherError};

/// How much of a file is looked at to tell what it is \[bytes\].
const LOOKED_AT: usize = 64 * 1024;
/// The standard clocks of the world, in hours from universal time.
const UTC_OFFSETS_H: std::ops::RangeInclusive<f64> = -12.0..=14.0;

/// A file's format, place and columns.
#[derive(Debug)]
pub(super) struct Layout {
    pub(super) title: String,
    pub(super) place: Option<Place>,
    pub(super) utc_offset_h: f64,
    pub(super) stamp: Stamp,
    pub(super) ghi: Column,
    pub(super) dni: Option<Column>,
    pub(super) dhi: Option<Column>,
    pub(super) air: Column,
    pub(super) wind: Option<Column>,
    /// What parts the fields of a row; with semicolons decimal commas are read.
    pub(super) separator: u8,
    /// Gaps of so many hours are filled; 0: none may be.
    pub(super) fill_h: usize,
    /// Fields that a whole row has at least.
    pub(super) width: usize,
    /// Lines above the first row.
    pub(super) header_lines: usize,
}

/// A column by its place in a row and its name in the file.
#[derive(Clone, Debug)]
pub(super) struct Column {
    pub(super) index: usize,
    pub(super) name: String,
}

/// Where and how the end of the hour is written.
#[derive(Debug)]
pub(super) enum Stamp {
    /// `MM/DD/YYYY` and `HH:MM`, hours 01 to 24, in a typical year.
    Tmy3(Column, Column),
    /// Year, month, day, hour 1 to 24 in the first four columns, in a typical year.
    Epw,
    /// `YYYY-MM-DDTHH:MM` of the calendar.
    Iso(Column),
}

/// Tells the format of a file from its beginning.
pub(super) fn recognise(bytes: &[u8]) -> Result<Layout, WeatherError> {
    let beginning = bytes.get(..LOOKED_AT).unwrap_or(bytes);
    if beginning.iter().all(u8::is_ascii_whitespace) {
        return Err(WeatherError::Empty);
    }
    if beginning.contains(&0) {
        return Err(WeatherError::NotText);
    }
    let lines: Vec<String> = beginning.split(|byte| *byte == b'\n').map(text).collect();
    let first = lines.first().map_or("", String::as_str);
    let second = lines.get(1).map_or("", String::as_str);
    if first.starts_with("LOCATION,") {
        epw(&lines)
    } else if second.starts_with("Date (MM/DD/YYYY)") {
        tmy3(first, second)
    } else if let Some(header) = lines.iter().position(|line| !line.is_empty() && !line.starts_with('#'))
        && let separator = separator(&lines[header])
        && columns_by(separator, &lines[header]).iter().any(|name| name == "time")
    {
        csv(&lines, header, separator)
    } else {
        Err(WeatherError::NotWeather { beginning: first.chars().take(40).collect() })
    }
}

/// A line as text: UTF-8, else Latin-1; without byte-order mark and carriage return.
pub(super) fn text(line: &[u8]) -> String {
    let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
    let text = std::str::from_utf8(line)
        .map_or_else(|_| line.iter().map(|byte| char::from(*byte)).collect(), str::to_owned);
    text.trim_end().to_owned()
}

fn columns(line: &str) -> Vec<String> {
    columns_by(b',', line)
}

fn columns_by(separator: u8, line: &str) -> Vec<String> {
    line.split(char::from(separator)).map(|name| name.trim().trim_matches('"').to_owned()).collect()
}

/// What parts the names of a plain file's columns: spreadsheets of half the world write semicolons.
fn separator(header: &str) -> u8 {
    if header.contains(';') { b';' } else { b',' }
}

fn header(line: usize, problem: impl Into<String>, help: &str) -> WeatherError {
    WeatherError::Header { line, problem: problem.into(), help: help.to_owned() }
}

fn named(columns: &[String], name: &str) -> Option<Column> {
    columns.iter().position(|column| column == name).map(|index| Column { index, name: name.to_owned() })
}

fn needed(columns: &[String], line: usize, name: &'static str, help: &str) -> Result<Column, WeatherError> {
    let found = || columns.iter().take(12).map(|column| format!("`{column}`")).collect::<Vec<_>>().join(", ");
    named(columns, name).ok_or_else(|| WeatherError::NoColumn {
        line,
        column: name,
        found: found(),
        help: help.to_owned(),
    })
}

/// Hours from universal time, latitude, longitude and elevation, as the header line of TMY3 and EPW has them.
fn place(line: usize, fields: [Option<&String>; 4], order: &str) -> Result<(f64, Place), WeatherError> {
    let numbers = fields.map(|field| field.and_then(|text| text.parse::<f64>().ok()));
    let [Some(utc_offset_h), Some(latitude), Some(longitude), Some(elevation)] = numbers else {
        return Err(header(line, "the place can't be read", &format!("the line must end with {order}")));
    };
    let place = Place::new(latitude, longitude, elevation).ok_or_else(|| {
        let problem =
            format!("latitude {latitude}, longitude {longitude}, {elevation} m is no place on earth");
        header(line, problem, &format!("the line must end with {order}, in degrees and metres"))
    })?;
    Ok((utc_offset(line, utc_offset_h)?, place))
}

fn utc_offset(line: usize, hours: f64) -> Result<f64, WeatherError> {
    let problem = || format!("a clock {hours} hours from universal time");
    let help = "write hours between -12 and 14, positive east of Greenwich";
    if UTC_OFFSETS_H.contains(&hours) { Ok(hours) } else { Err(header(line, problem(), help)) }
}

fn tmy3(station: &str, names: &str) -> Result<Layout, WeatherError> {
    const HELP: &str = "the second line must have TMY3's column names";
    const ORDER: &str = "hours from UTC, latitude, longitude, elevation";
    let station = columns(station);
    // The station's name may hold commas, so the place is counted from the end.
    let from_end = |place: usize| station.len().checked_sub(place).and_then(|index| station.get(index));
    let (utc_offset_h, place) = place(1, [4, 3, 2, 1].map(from_end), ORDER)?;
    let names = columns(names);
    let column = |name| needed(&names, 2, name, HELP);
    Ok(Layout {
        title: station.get(1..station.len().saturating_sub(4)).unwrap_or_default().join(", "),
        place: Some(place),
        utc_offset_h,
        stamp: Stamp::Tmy3(column("Date (MM/DD/YYYY)")?, column("Time (HH:MM)")?),
        ghi: column("GHI (W/m^2)")?,
        dni: named(&names, "DNI (W/m^2)"),
        dhi: named(&names, "DHI (W/m^2)"),
        air: column("Dry-bulb (C)")?,
        wind: named(&names, "Wspd (m/s)"),
        separator: b',',
        fill_h: 0,
        width: names.len(),
        header_lines: 2,
    })
}

/// Columns of an EPW row that are used here, counted from 0.
///
/// # References
/// `EnergyPlus` Auxiliary Programs, "Weather file data dictionary": N6 dry bulb, N13 to N15 radiation, N21 wind speed.
const EPW_COLUMNS: [(usize, &str); 5] = [
    (13, "global horizontal radiation"),
    (14, "direct normal radiation"),
    (15, "diffuse horizontal radiation"),
    (6, "dry bulb temperature"),
    (21, "wind speed"),
];

fn epw(lines: &[String]) -> Result<Layout, WeatherError> {
    const ORDER: &str = "latitude, longitude, hours from UTC, elevation";
    let location = columns(&lines[0]);
    let field = |index: usize| location.get(index);
    let (utc_offset_h, place) = place(1, [field(8), field(6), field(7), field(9)], ORDER)?;
    let periods = lines.iter().position(|line| line.starts_with("DATA PERIODS")).ok_or_else(|| {
        header(
            1,
            "no line `DATA PERIODS` follows",
            "the header of an EPW file has eight lines, fetch it again",
        )
    })?;
    let per_hour = columns(&lines[periods]).get(2).cloned().unwrap_or_default();
    if per_hour != "1" {
        let problem = format!("`{per_hour}` records per hour");
        return Err(header(periods + 1, problem, "only hourly files can be read, average them first"));
    }
    let [ghi, dni, dhi, air, wind] = EPW_COLUMNS.map(|(index, name)| Column { index, name: name.to_owned() });
    Ok(Layout {
        title: [1, 2, 3]
            .into_iter()
            .filter_map(field)
            .filter(|name| !["", "-"].contains(&name.as_str()))
            .cloned()
            .collect::<Vec<_>>()
            .join(", "),
        place: Some(place),
        utc_offset_h,
        stamp: Stamp::Epw,
        separator: b',',
        fill_h: 0,
        width: wind.index + 1,
        ghi,
        dni: Some(dni),
        dhi: Some(dhi),
        air,
        wind: Some(wind),
        header_lines: periods + 1,
    })
}

/// The columns of a plain file and the words by which a misnamed one is recognised.
const CSV_COLUMNS: [(&str, &[&str]); 6] = [
    ("time", &["date"]),
    ("ghi_w_m2", &["ghi", "global"]),
    ("dni_w_m2", &["dni", "direct", "beam"]),
    ("dhi_w_m2", &["dhi", "diffuse"]),
    ("air_celsius", &["air", "temp"]),
    ("wind_m_s", &["wind"]),
];

fn csv(lines: &[String], header_line: usize, separator: u8) -> Result<Layout, WeatherError> {
    let names = columns_by(separator, &lines[header_line]);
    for name in &names {
        let lower = name.to_lowercase();
        let known = CSV_COLUMNS.iter().any(|(column, _)| column == name);
        let meant = CSV_COLUMNS.iter().find(|(_, words)| words.iter().any(|word| lower.starts_with(word)));
        if let (false, Some((column, _))) = (known, meant) {
            let help = format!(
                "if it holds that, name it `{column}` (the unit belongs to the name), else rename it"
            );
            return Err(header(header_line + 1, format!("column `{name}` is not known"), &help));
        }
    }
    let column = |name| needed(&names, header_line + 1, name, "name it so, with values in that unit");
    let notes = Notes::read(&lines[..header_line])?;
    Ok(Layout {
        title: notes.title,
        place: notes.place,
        utc_offset_h: notes.utc_offset_h,
        stamp: Stamp::Iso(column("time")?),
        ghi: column("ghi_w_m2")?,
        dni: named(&names, "dni_w_m2"),
        dhi: named(&names, "dhi_w_m2"),
        air: column("air_celsius")?,
        wind: named(&names, "wind_m_s"),
        separator,
        fill_h: notes.fill_h,
        width: names.len(),
        header_lines: header_line + 1,
    })
}

/// The comment lines `# key = value` of a plain file.
struct Notes {
    title: String,
    place: Option<Place>,
    utc_offset_h: f64,
    fill_h: usize,
}

/// Longer gaps are not filled \[h\].
const LONGEST_GAP_H: usize = 6;

impl Notes {
    fn read(lines: &[String]) -> Result<Self, WeatherError> {
        let (mut title, mut offset) = (String::new(), None);
        let (mut latitude, mut longitude, mut elevation) = (None, None, 0.0);
        let mut fill_h = 0;
        for (index, line) in lines.iter().enumerate() {
            let Some((key, value)) = line.trim_start_matches('#').split_once('=') else { continue };
            let value = value.trim().trim_matches('"');
            match key.trim() {
                "title" => value.clone_into(&mut title),
                "latitude" => latitude = Some(quantity::<Angle>(index + 1, value)?),
                "longitude" => longitude = Some(quantity::<Angle>(index + 1, value)?),
                "elevation" => elevation = quantity::<Length>(index + 1, value)?,
                "fill_gaps" => fill_h = gap_hours(index + 1, value)?,
                "utc_offset_hours" => offset = Some(offset_hours(index + 1, value)?),
                _ => {}
            }
        }
        let utc_offset_h = offset.ok_or_else(|| {
            header(1, "by which clock the rows are is not said", "add a line `# utc_offset_hours = 1` (standard time, without summer time) above the column names")
        })?;
        let place = match (latitude, longitude) {
            (None, None) => None,
            (Some(latitude), Some(longitude)) => {
                let no_place = || {
                    header(
                        1,
                        "the place is not on earth",
                        "latitude -90 to 90 deg, longitude -180 to 180 deg, elevation -500 to 9000 m",
                    )
                };
                Some(Place::new(latitude, longitude, elevation).ok_or_else(no_place)?)
            }
            _ => {
                return Err(header(
                    1,
                    "latitude and longitude belong together",
                    "write both as comment lines, or none",
                ));
            }
        };
        Ok(Self { title, place, utc_offset_h, fill_h })
    }
}

fn quantity<Q: Quantity>(line: usize, value: &str) -> Result<f64, WeatherError> {
    Q::parse(value).map(|read| read.nominal.si()).map_err(|error| header(line, error.message, &error.help))
}

fn offset_hours(line: usize, value: &str) -> Result<f64, WeatherError> {
    let hours = value.trim_end_matches('h').trim().parse::<f64>();
    let hours = hours.map_err(|_error| {
        header(line, format!("`{value}` are no hours"), "write `# utc_offset_hours = 1`")
    })?;
    utc_offset(line, hours)
}

fn gap_hours(line: usize, value: &str) -> Result<usize, WeatherError> {
    let seconds = quantity::<Duration>(line, value)?;
    let asked = (1..=LONGEST_GAP_H).find(|hours| (seconds / 3600.0 - *hours as f64).abs() < 1e-9);
    asked.ok_or_else(|| {
        let help =
            format!("write 1 to {LONGEST_GAP_H} h; fill longer gaps yourself, and say so in the title");
        header(line, format!("gaps of {value} can't be filled"), &help)
    })
}
