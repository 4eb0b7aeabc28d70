//! The log of a node as a file: one row for each message, in CSV with named columns.

use std::collections::BTreeMap;

use design::quantity::{Temperature, Voltage};

use super::cell::{Cell, CellError, shortened};
use super::{DAY_S, Reading};

/// A column that is understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Column {
    Time,
    Battery,
    Charging,
    Panel,
    Box,
    Restarted,
    Counter,
    Rssi,
    Snr,
    Rate,
}

const COLUMNS: [(Column, &str); 10] = [
    (Column::Time, "time_utc"),
    (Column::Battery, "battery_mv"),
    (Column::Charging, "charge_min"),
    (Column::Panel, "panel_mv"),
    (Column::Box, "box_c"),
    (Column::Restarted, "restarted"),
    (Column::Counter, "fcnt"),
    (Column::Rssi, "rssi"),
    (Column::Snr, "snr"),
    (Column::Rate, "dr"),
];

/// More rows are not read: nineteen years at every ten minutes.
pub const MOST_ROWS: usize = 1_000_000;
/// No node of this kind reported before; an earlier time is a clock that was never set (own choice).
const FIRST_YEAR: i32 = 2015;
/// A median below this is in volts \[mV\].
const VOLTS_BELOW_MV: f64 = 60.0;
/// No battery that is one (own choice) \[mV\].
const MOST_MV: f64 = 60_000.0;
/// So many equal voltages over so long are a converter that stands still: charge and load move a cell by some
/// millivolts a day (own choice).
const STUCK_ROWS: usize = 100;
const STUCK_S: i64 = 4 * DAY_S;
/// Of neighbouring rows this share counts down without a restart where two nodes are mixed (own choice).
const MIXED_SHARE: f64 = 0.1;
const MIXED_ROWS: usize = 10;

/// A log that can't be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LogError {
    /// The text is no CSV.
    #[error("line {line} is no CSV: {reason}")]
    NotCsv {
        /// Counted from 1.
        line: u64,
        /// What the reader says.
        reason: String,
    },
    /// A heading is not known.
    #[error("column `{name}` is not known; columns are {}", known())]
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
    #[error("column `{name}` is missing; the first line names the columns, at least time_utc and battery_mv")]
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
    /// More rows than are read.
    #[error("more than {MOST_ROWS} rows; cut the log into parts")]
    TooLong,
    /// No row.
    #[error("no row says a battery voltage")]
    Empty,
    /// The voltages are in volts.
    #[error("line {line}: `battery_mv` is {seen}, as volts would be; write millivolts, such as 3870")]
    Volts {
        /// Of the first of them, counted from 1.
        line: u64,
        /// As read.
        seen: f64,
    },
    /// A clock that was never set.
    #[error(
        "line {line}: `time_utc` lies in the year {year}: the clock was not set; take the time at which the gateway heard it"
    )]
    Clock {
        /// Counted from 1.
        line: u64,
        /// As written.
        year: i32,
    },
    /// A voltage that never moves.
    #[error(
        "`battery_mv` is {millivolts} in each of {rows} rows over {days} days: no battery stands so still; the converter is stuck, or the field is not the battery's"
    )]
    Stuck {
        /// The voltage.
        millivolts: f64,
        /// How often.
        rows: usize,
        /// For how long.
        days: i64,
    },
    /// Two nodes in one log.
    #[error(
        "line {line}: `fcnt` runs back without a restart, and again in {times} of {rows} rows: two nodes are mixed in this log; give each its own"
    )]
    Mixed {
        /// Of the first of them, counted from 1.
        line: u64,
        /// How often.
        times: usize,
        /// Of so many.
        rows: usize,
    },
    /// A count beyond what the message can carry.
    #[error(
        "line {line}: `charge_min` is {count}, and the counter of the design begins anew at {modulus}; give the design file of this node, or the minutes modulo {modulus}"
    )]
    Modulus {
        /// Counted from 1.
        line: u64,
        /// As written.
        count: u32,
        /// What the counter can't reach.
        modulus: u32,
    },
}

fn known() -> String {
    COLUMNS.map(|(_, name)| name).join(", ")
}

/// A log as it was read: in the order of time, every moment once.
#[derive(Clone, Debug, PartialEq)]
pub struct Log {
    /// What was received.
    pub readings: Vec<Reading>,
    /// Rows that said the same again, and were left out.
    pub duplicates: usize,
    /// Rows that stood behind a later one, and were sorted in.
    pub unsorted: usize,
}

impl Log {
    /// Whether any row carries this.
    pub fn has(&self, what: impl Fn(&Reading) -> bool) -> bool {
        self.readings.iter().any(what)
    }
}

struct Row {
    line: u64,
    reading: Reading,
}

/// Reads a log whose counter of minutes in charge begins anew at `modulus`.
///
/// # Errors
/// A column that is missing or not known, a field that can't be read, and what no fault of a node explains: a clock that was
/// never set, volts for millivolts, a voltage that stands still, two nodes in one log.
pub fn read(text: &[u8], modulus: u32) -> Result<Log, LogError> {
    let text = text.strip_prefix(b"\xef\xbb\xbf").unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text);
    let headings = reader.headers().map_err(|error| not_csv(&error))?.clone();
    let columns = columns(&headings)?;
    let mut rows = Vec::new();
    for row in reader.records() {
        let row = row.map_err(|error| not_csv(&error))?;
        if rows.len() == MOST_ROWS {
            return Err(LogError::TooLong);
        }
        let line = row.position().map_or(0, csv::Position::line);
        let reading = reading(&row, &columns).map_err(|reason| LogError::Field { line, reason })?;
        rows.push(Row { line, reading });
    }
    check(&rows, modulus)?;
    let log = sorted(rows);
    check_stuck(&log)?;
    Ok(log)
}

fn not_csv(error: &csv::Error) -> LogError {
    LogError::NotCsv { line: error.position().map_or(1, csv::Position::line), reason: error.to_string() }
}

fn columns(headings: &csv::StringRecord) -> Result<BTreeMap<Column, usize>, LogError> {
    let mut columns = BTreeMap::new();
    for (at, heading) in headings.iter().enumerate() {
        let found = COLUMNS.iter().find(|(_, name)| *name == heading);
        let (column, name) = found.ok_or_else(|| LogError::UnknownColumn { name: shortened(heading) })?;
        if columns.insert(*column, at).is_some() {
            return Err(LogError::TwiceColumn { name: (*name).to_owned() });
        }
    }
    for (column, name) in &COLUMNS[..2] {
        if !columns.contains_key(column) {
            return Err(LogError::MissingColumn { name });
        }
    }
    Ok(columns)
}

fn reading(row: &csv::StringRecord, columns: &BTreeMap<Column, usize>) -> Result<Reading, CellError> {
    let cell = |column: Column| {
        let text = columns.get(&column).and_then(|at| row.get(*at)).unwrap_or("");
        Cell { name: COLUMNS[column as usize].1, text }
    };
    cell(Column::Rssi).number(-200.0, 50.0)?;
    cell(Column::Snr).number(-60.0, 60.0)?;
    Ok(Reading {
        at_s: cell(Column::Time).seconds()?,
        battery: cell(Column::Battery).number(0.0, MOST_MV)?.map(Voltage::from_millivolts),
        charging_min: cell(Column::Charging).count()?,
        panel: cell(Column::Panel).number(0.0, 10.0 * MOST_MV)?.map(Voltage::from_millivolts),
        box_air: cell(Column::Box).number(-90.0, 120.0)?.map(Temperature::from_celsius),
        restarted: cell(Column::Restarted).yes()?,
        counter: cell(Column::Counter).count()?,
        rate: cell(Column::Rate).small(15)?,
    })
}

/// What no fault of a node explains.
fn check(rows: &[Row], modulus: u32) -> Result<(), LogError> {
    let mut millivolts: Vec<f64> =
        rows.iter().filter_map(|row| Some(row.reading.battery?.millivolts())).collect();
    millivolts.sort_by(f64::total_cmp);
    let Some(median) = millivolts.get(millivolts.len() / 2) else { return Err(LogError::Empty) };
    for Row { line, reading } in rows {
        let year = super::days::year_of(reading.at_s);
        if year < FIRST_YEAR {
            return Err(LogError::Clock { line: *line, year });
        }
        if let (Some(volts), true) = (reading.battery, *median < VOLTS_BELOW_MV) {
            return Err(LogError::Volts { line: *line, seen: volts.millivolts() });
        }
        if let Some(count) = reading.charging_min.filter(|count| *count >= modulus) {
            return Err(LogError::Modulus { line: *line, count, modulus });
        }
    }
    Ok(())
}

fn sorted(mut rows: Vec<Row>) -> Log {
    let unsorted = rows.windows(2).filter(|pair| pair[1].reading.at_s < pair[0].reading.at_s).count();
    rows.sort_by(|one, other| one.reading.order(&other.reading));
    let all = rows.len();
    let mut readings: Vec<Reading> = rows.into_iter().map(|row| row.reading).collect();
    readings.dedup_by(|later, kept| later == kept);
    Log { duplicates: all - readings.len(), readings, unsorted }
}

fn check_stuck(log: &Log) -> Result<(), LogError> {
    let volts: Vec<(i64, f64)> =
        log.readings.iter().filter_map(|one| Some((one.at_s, one.battery?.millivolts()))).collect();
    if let (Some(first), Some(last)) = (volts.first(), volts.last()) {
        let seconds = last.0 - first.0;
        let same = volts.iter().all(|(_, volts)| volts.total_cmp(&first.1).is_eq());
        if same && volts.len() >= STUCK_ROWS && seconds >= STUCK_S {
            let (rows, days) = (volts.len(), seconds / DAY_S);
            return Err(LogError::Stuck { millivolts: first.1, rows, days });
        }
    }
    check_mixed(log)
}

/// Frame counters of one node only grow, save at a restart.
fn check_mixed(log: &Log) -> Result<(), LogError> {
    let counted: Vec<(usize, u32, bool)> = log
        .readings
        .iter()
        .enumerate()
        .filter_map(|(at, one)| Some((at, one.counter?, one.restarted)))
        .collect();
    let back = |pair: &&[(usize, u32, bool)]| pair[1].1 < pair[0].1 && !pair[1].2 && pair[1].1 > 0;
    let times = counted.windows(2).filter(back).count();
    match counted.windows(2).find(back) {
        Some(pair) if times >= MIXED_ROWS && times as f64 > MIXED_SHARE * counted.len() as f64 => {
            // Rows were sorted: the line is that of the order of time.
            let line = pair[1].0 as u64 + 2;
            Err(LogError::Mixed { line, times, rows: counted.len() })
        }
        _ => Ok(()),
    }
}
