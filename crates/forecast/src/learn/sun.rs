//! Sun that was measured near a node, as a file: one row for each hour, in CSV with named columns.

use std::collections::BTreeMap;

use super::cell::{Cell, CellError, shortened};

const COLUMNS: [&str; 3] = ["time_utc_hour_start", "ghi_w_m2", "air_c"];
/// More rows are not read: a hundred years.
const MOST_ROWS: usize = 880_000;
const HOUR_S: i64 = 3600;
/// Light on the ground is never more, not even between white clouds (own choice) [W/m²].
const MOST_W_M2: f64 = 1600.0;
/// Thermopiles show a little less than nothing at night [W/m²].
const LEAST_W_M2: f64 = -20.0;
/// The brightest hour of a week is not as dark even in polar night's twilight, unless the unit is wrong (own choice).
const DARKEST_WEEK_H: usize = 7 * 24;

/// Sun and air that were measured near the node, hour by hour.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MeasuredSun {
    /// By hours since 1970, UTC: mean of global light on the horizontal [W/m²], mean of the air [°C].
    hours: BTreeMap<i64, (f32, Option<f32>)>,
    /// Rows that said the same again.
    pub duplicates: usize,
}

/// A file of sun that can't be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SunError {
    /// The text is no CSV.
    #[error("line {line} is no CSV: {reason}")]
    NotCsv {
        /// Counted from 1.
        line: u64,
        /// What the reader says.
        reason: String,
    },
    /// A heading is not known.
    #[error("column `{name}` is not known; columns are time_utc_hour_start, ghi_w_m2 and air_c")]
    UnknownColumn {
        /// As written.
        name: String,
    },
    /// A column stands there twice.
    #[error("column `{name}` stands there twice")]
    TwiceColumn {
        /// As written.
        name: String,
    },
    /// A column is needed.
    #[error("column `{name}` is missing")]
    MissingColumn {
        /// Which.
        name: &'static str,
    },
    /// A field says nothing that can be read.
    #[error("line {line}: {reason}")]
    Field {
        /// Counted from 1.
        line: u64,
        /// What is wrong and what to write instead.
        reason: CellError,
    },
    /// Not the start of an hour.
    #[error(
        "line {line}: hours begin at minute 0; give the mean of each whole hour, under the time at which it began"
    )]
    NoHour {
        /// Counted from 1.
        line: u64,
    },
    /// Two figures for one hour.
    #[error("line {line}: this hour stands there twice with different figures")]
    Twice {
        /// Counted from 1.
        line: u64,
    },
    /// More rows than are read.
    #[error("more than {MOST_ROWS} rows; cut the file into parts")]
    TooLong,
    /// No row says how much sun there was.
    #[error("no row says `ghi_w_m2`")]
    Empty,
    /// All dark.
    #[error("`ghi_w_m2` is 0 in all of {hours} hours: the sensor is dead, or this is another column")]
    Dark {
        /// How many.
        hours: usize,
    },
}

/// Reads measured sun.
///
/// # Errors
/// A column that is missing or not known, a field that can't be read, an hour with two figures, and a week without light.
pub fn read(text: &[u8]) -> Result<MeasuredSun, SunError> {
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text);
    let headings = reader.headers().map_err(|error| not_csv(&error))?.clone();
    let places = places(&headings)?;
    let mut sun = MeasuredSun::default();
    for (at, row) in reader.records().enumerate() {
        let row = row.map_err(|error| not_csv(&error))?;
        if at == MOST_ROWS {
            return Err(SunError::TooLong);
        }
        sun.take(&row, &places)?;
    }
    if sun.hours.is_empty() {
        return Err(SunError::Empty);
    }
    if sun.hours.len() >= DARKEST_WEEK_H && sun.hours.values().all(|(w_m2, _)| *w_m2 <= 0.0) {
        return Err(SunError::Dark { hours: sun.hours.len() });
    }
    Ok(sun)
}

fn not_csv(error: &csv::Error) -> SunError {
    SunError::NotCsv { line: error.position().map_or(1, csv::Position::line), reason: error.to_string() }
}

fn places(headings: &csv::StringRecord) -> Result<[Option<usize>; 3], SunError> {
    let mut places = [None; 3];
    for (at, heading) in headings.iter().enumerate() {
        let column = COLUMNS.iter().position(|name| *name == heading);
        let column = column.ok_or_else(|| SunError::UnknownColumn { name: shortened(heading) })?;
        if places[column].replace(at).is_some() {
            return Err(SunError::TwiceColumn { name: COLUMNS[column].to_owned() });
        }
    }
    let missing = places[..2].iter().position(Option::is_none);
    missing.map_or(Ok(places), |column| Err(SunError::MissingColumn { name: COLUMNS[column] }))
}

impl MeasuredSun {
    fn take(&mut self, row: &csv::StringRecord, places: &[Option<usize>; 3]) -> Result<(), SunError> {
        let line = row.position().map_or(0, csv::Position::line);
        let field = |reason| SunError::Field { line, reason };
        let cell = |column: usize| {
            let text = places[column].and_then(|at| row.get(at)).unwrap_or("");
            Cell { name: COLUMNS[column], text }
        };
        let at_s = cell(0).seconds().map_err(field)?;
        if at_s.rem_euclid(HOUR_S) != 0 {
            return Err(SunError::NoHour { line });
        }
        let air = cell(2).number(-90.0, 70.0).map_err(field)?.map(single);
        let Some(ghi) = cell(1).number(LEAST_W_M2, MOST_W_M2).map_err(field)? else { return Ok(()) };
        let figures = (single(ghi.max(0.0)), air);
        match self.hours.insert(at_s.div_euclid(HOUR_S), figures) {
            Some(before) if before == figures => self.duplicates += 1,
            Some(_) => return Err(SunError::Twice { line }),
            None => {}
        }
        Ok(())
    }

    /// How many hours.
    #[must_use]
    pub fn len(&self) -> usize {
        self.hours.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.hours.is_empty()
    }

    /// Global light on the horizontal [W/m²] and air [°C] in an hour, counted since 1970 in UTC.
    #[must_use]
    pub fn at(&self, hour: i64) -> Option<(f32, Option<f32>)> {
        self.hours.get(&hour).copied()
    }

    /// All hours in order, each with its number since 1970 in UTC.
    pub fn iter(&self) -> impl Iterator<Item = (i64, f32, Option<f32>)> {
        self.hours.iter().map(|(hour, (ghi_w_m2, air))| (*hour, *ghi_w_m2, *air))
    }
}

#[expect(clippy::cast_possible_truncation, reason = "sensors don't have seven digits")]
fn single(value: f64) -> f32 {
    value as f32
}
