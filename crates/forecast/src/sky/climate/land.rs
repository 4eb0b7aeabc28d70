//! The embedded table: cells of 3 degrees with sun and rain, each with nine means of temperature over a degree.
//!
//! Its layout and origin are in `data/climate/README.md`.

use super::LAPSE_K_PER_M;
use super::error::ClimateError;
use crate::sky::clearness::{logistic, logit};

static LAND: &[u8] = include_bytes!("../../../data/climate/land.bin");

/// Farther from the middle of every land cell than this nothing is said \[km\].
pub const LAND_WITHIN_KM: f64 = 300.0;

const HEAD_BYTES: usize = 16;
const INDEX_BYTES: usize = 2 * 44 * 120;
const RECORD_BYTES: usize = 198;
const ROWS: i32 = 44;
const COLUMNS: i32 = 120;
const SOUTH_DEG: f64 = -57.0;
const NORTH_DEG: f64 = 72.0;
const WEST_DEG: f64 = -180.0;
const STEP_DEG: f64 = 3.0;
const NO_LAND: u16 = 0xFFFF;
const EARTH_KM: f64 = 6371.0;

const CLEARNESS_UNIT: f64 = 1e-4;
const DOUBT_UNIT: f64 = 0.002;
const UNEVENNESS_UNIT: f64 = 0.0025;
const SPREAD_UNIT_K: f64 = 0.05;
const PRECIPITATION_UNIT_MM: f64 = 0.2;
const AIR_UNIT_K: f64 = 0.5;

/// What the table says of a place.
pub(super) struct Found {
    pub(super) months: [CellMonth; 12],
    pub(super) air_celsius: [f64; 12],
    pub(super) source: String,
}

/// One month of a cell.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct CellMonth {
    pub(super) clearness: f64,
    /// Of the long-term mean.
    pub(super) doubt: f64,
    /// Of daily clearness.
    pub(super) unevenness: f64,
    /// Standard deviation of daily mean temperatures about the climate \[K\].
    pub(super) day_sd_k: f64,
    pub(super) precipitation_mm_day: f64,
}

/// Means over a degree.
#[derive(Clone, Copy, Debug, Default)]
struct Degree {
    sea_level_celsius: [f64; 12],
}

struct Cell {
    months: [CellMonth; 12],
    /// South to north, in each row west to east.
    degrees: [Degree; 9],
}

/// A cell or degree and how much of it.
struct Weighted<T> {
    weight: f64,
    of: T,
}

/// What is known at a place on or near land.
pub(super) fn at(latitude_deg: f64, longitude_deg: f64, elevation_m: f64) -> Result<Found, ClimateError> {
    if !(SOUTH_DEG..=NORTH_DEG).contains(&latitude_deg) {
        return Err(ClimateError::BeyondGrid { latitude_deg });
    }
    let mut cells: Vec<Weighted<Cell>> = CELLS
        .corners(latitude_deg, longitude_deg)
        .into_iter()
        .filter(|(_, _, weight)| *weight > 0.0)
        .filter_map(|(row, column, weight)| Some(Weighted { weight, of: cell(row, column)? }))
        .collect();
    let mut nearest_km = None;
    if cells.is_empty() {
        let (row, column, distance_km) = nearest(latitude_deg, longitude_deg)?;
        nearest_km = Some(distance_km);
        cells.extend(cell(row, column).map(|of| Weighted { weight: 1.0, of }));
    }
    let level = blended_air(latitude_deg, longitude_deg, &cells);
    Ok(Found {
        months: std::array::from_fn(|month| blended(&cells, month)),
        air_celsius: level.map(|celsius| celsius - LAPSE_K_PER_M * elevation_m),
        source: source(nearest_km),
    })
}

fn source(nearest_km: Option<f64>) -> String {
    let base = "built-in climatology (sun MERRA-2 2011-2015 by 3 degrees, corrected against weather years; air ERA5 2000-2025)";
    match nearest_km {
        None => base.to_owned(),
        Some(distance_km) => format!("{base}, of the nearest land cell, {distance_km:.0} km away"),
    }
}

/// A grid of points, by its south-western one.
struct Grid {
    /// Latitude and longitude [°].
    corner: (f64, f64),
    /// From point to point [°].
    step: f64,
}

const CELLS: Grid = Grid { corner: (SOUTH_DEG, WEST_DEG), step: STEP_DEG };
/// Three by three to a cell.
const DEGREES: Grid = Grid { corner: (SOUTH_DEG - 1.0, WEST_DEG - 1.0), step: 1.0 };

impl Grid {
    /// The four points about a place, as row, column and bilinear weight.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "no place on earth is more than 400 steps from the corner"
    )]
    fn corners(&self, latitude_deg: f64, longitude_deg: f64) -> [(i32, i32, f64); 4] {
        let y = (latitude_deg - self.corner.0) / self.step;
        let x = (longitude_deg - self.corner.1) / self.step;
        let (up, right) = (y - y.floor(), x - x.floor());
        let (row, column) = (y.floor() as i32, x.floor() as i32);
        [
            (row, column, (1.0 - up) * (1.0 - right)),
            (row, column + 1, (1.0 - up) * right),
            (row + 1, column, up * (1.0 - right)),
            (row + 1, column + 1, up * right),
        ]
    }
}

fn record(row: i32, column: i32) -> Option<&'static [u8]> {
    if !(0..ROWS).contains(&row) {
        return None;
    }
    let index = usize::try_from(row * COLUMNS + column.rem_euclid(COLUMNS)).ok()?;
    let (index_table, records) = LAND.get(HEAD_BYTES..)?.split_at_checked(INDEX_BYTES)?;
    let number = u16::from_le_bytes(*index_table.as_chunks().0.get(index)?);
    if number == NO_LAND { None } else { records.chunks_exact(RECORD_BYTES).nth(usize::from(number)) }
}

fn cell(row: i32, column: i32) -> Option<Cell> {
    record(row, column).map(|record| Cell::read(&mut Fields(record.iter().copied())))
}

/// The numbers of a record, one after the other.
struct Fields<T>(T);

impl<T: Iterator<Item = u8>> Fields<T> {
    fn byte(&mut self) -> u8 {
        self.0.next().expect("a record holds all its fields")
    }

    fn small(&mut self) -> f64 {
        f64::from(self.byte())
    }

    fn pair(&mut self) -> [u8; 2] {
        [self.byte(), self.byte()]
    }
}

impl Cell {
    fn read(fields: &mut Fields<impl Iterator<Item = u8>>) -> Self {
        let mut months = [CellMonth::default(); 12];
        for month in &mut months {
            month.clearness = f64::from(u16::from_le_bytes(fields.pair())) * CLEARNESS_UNIT;
        }
        for month in &mut months {
            month.doubt = fields.small() * DOUBT_UNIT;
        }
        for month in &mut months {
            month.unevenness = fields.small() * UNEVENNESS_UNIT;
        }
        for month in &mut months {
            month.day_sd_k = fields.small() * SPREAD_UNIT_K;
        }
        for month in &mut months {
            month.precipitation_mm_day = fields.small() * PRECIPITATION_UNIT_MM;
        }
        Self { months, degrees: std::array::from_fn(|_| Degree::read(fields)) }
    }
}

impl Degree {
    fn read(fields: &mut Fields<impl Iterator<Item = u8>>) -> Self {
        let height_m = f64::from(i16::from_le_bytes(fields.pair()));
        let celsius = |byte: u8| f64::from(byte.cast_signed()) * AIR_UNIT_K;
        Self { sea_level_celsius: std::array::from_fn(|_| celsius(fields.byte()) + LAPSE_K_PER_M * height_m) }
    }
}

/// The middle of a cell.
fn middle(row: i32, column: i32) -> (f64, f64) {
    (SOUTH_DEG + STEP_DEG * f64::from(row), WEST_DEG + STEP_DEG * f64::from(column))
}

/// Row, column and distance \[km\] of the nearest land cell.
fn nearest(latitude_deg: f64, longitude_deg: f64) -> Result<(i32, i32, f64), ClimateError> {
    let cells = (0..ROWS).flat_map(|row| (0..COLUMNS).map(move |column| (row, column)));
    let found = cells
        .filter(|(row, column)| record(*row, *column).is_some())
        .map(|(row, column)| (row, column, distance_km((latitude_deg, longitude_deg), middle(row, column))))
        .min_by(|one, other| one.2.total_cmp(&other.2));
    match found {
        Some(cell) if cell.2 <= LAND_WITHIN_KM => Ok(cell),
        other => Err(ClimateError::NoLand {
            latitude_deg,
            longitude_deg,
            nearest_km: other.map_or(f64::INFINITY, |cell| cell.2),
            within_km: LAND_WITHIN_KM,
        }),
    }
}

fn distance_km(from: (f64, f64), to: (f64, f64)) -> f64 {
    let (from_lat, to_lat) = (from.0.to_radians(), to.0.to_radians());
    let half_up = ((to_lat - from_lat) / 2.0).sin();
    let half_turn = ((to.1 - from.1).to_radians() / 2.0).sin();
    let chord = half_up * half_up + from_lat.cos() * to_lat.cos() * half_turn * half_turn;
    2.0 * EARTH_KM * chord.sqrt().min(1.0).asin()
}

fn mean_by<T>(parts: &[Weighted<T>], value: impl Fn(&T) -> f64) -> f64 {
    let weight: f64 = parts.iter().map(|part| part.weight).sum();
    parts.iter().map(|part| part.weight * value(&part.of)).sum::<f64>() / weight
}

fn blended(cells: &[Weighted<Cell>], month: usize) -> CellMonth {
    let mean = |value: &dyn Fn(&CellMonth) -> f64| mean_by(cells, |cell| value(&cell.months[month]));
    CellMonth {
        clearness: mean(&|month| month.clearness),
        doubt: mean(&|month| month.doubt),
        unevenness: logistic(mean(&|month| logit(month.unevenness))),
        day_sd_k: mean(&|month| month.day_sd_k),
        precipitation_mm_day: mean(&|month| month.precipitation_mm_day),
    }
}

/// Temperatures at sea level, between the degrees about a place where they belong to land cells, else over the cells.
fn blended_air(latitude_deg: f64, longitude_deg: f64, cells: &[Weighted<Cell>]) -> [f64; 12] {
    let degrees: Vec<Weighted<Degree>> = DEGREES
        .corners(latitude_deg, longitude_deg)
        .into_iter()
        .filter(|(_, _, weight)| *weight > 0.0)
        .filter_map(|(row, column, weight)| Some(Weighted { weight, of: degree(row, column)? }))
        .collect();
    let over_cell = |cell: &Cell, month: usize| {
        cell.degrees.iter().map(|degree| degree.sea_level_celsius[month]).sum::<f64>()
            / cell.degrees.len() as f64
    };
    std::array::from_fn(|month| {
        if degrees.is_empty() {
            mean_by(cells, |cell| over_cell(cell, month))
        } else {
            mean_by(&degrees, |degree| degree.sea_level_celsius[month])
        }
    })
}

fn degree(row: i32, column: i32) -> Option<Degree> {
    let within = usize::try_from(3 * row.rem_euclid(3) + column.rem_euclid(3)).ok()?;
    cell(row.div_euclid(3), column.div_euclid(3))?.degrees.get(within).copied()
}
