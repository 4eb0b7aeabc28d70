use path::geodesic::Place;

use super::EARTH_M;

/// Posts in equal steps of latitude and longitude, the first row in the north, the first column in the west.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Latitude of the first row \[degrees\].
    pub north_deg: f64,
    /// Longitude of the first column \[degrees\].
    pub west_deg: f64,
    /// From a row to the next, southward \[degrees\], positive.
    pub row_step_deg: f64,
    /// From a column to the next, eastward \[degrees\], positive.
    pub column_step_deg: f64,
    /// Rows, at least 2.
    pub rows: usize,
    /// Columns, at least 2.
    pub columns: usize,
}

impl Grid {
    /// Where a post stands.
    pub fn place(&self, row: usize, column: usize) -> Place {
        Place {
            latitude_deg: self.north_deg - row as f64 * self.row_step_deg,
            longitude_deg: self.west_deg + column as f64 * self.column_step_deg,
        }
    }

    /// Rows south of the first and columns east of the first, in fractions of a step; a place a turn around the globe
    /// away is the same place.
    #[inline]
    pub fn position(&self, at: Place) -> (f64, f64) {
        let mut east_deg = at.longitude_deg - self.west_deg;
        // More than half a turn east of the middle is west of it.
        let half_deg = 180.0 + 0.5 * self.column_step_deg * self.columns as f64;
        if east_deg > half_deg {
            east_deg -= 360.0;
        } else if east_deg < half_deg - 360.0 {
            east_deg += 360.0;
        }
        ((self.north_deg - at.latitude_deg) / self.row_step_deg, east_deg / self.column_step_deg)
    }

    /// Latitude of the last row \[degrees\].
    pub fn south_deg(&self) -> f64 {
        self.place(self.rows - 1, 0).latitude_deg
    }

    /// Longitude of the last column \[degrees\], above 180 if the grid crosses that line.
    pub fn east_deg(&self) -> f64 {
        self.place(0, self.columns - 1).longitude_deg
    }

    /// The place in the middle.
    pub fn middle(&self) -> Place {
        Place {
            latitude_deg: f64::midpoint(self.north_deg, self.south_deg()),
            longitude_deg: f64::midpoint(self.west_deg, self.east_deg()),
        }
    }

    /// Step from row to row \[m\], and from column to column at the latitude of the middle.
    pub fn steps_m(&self) -> (f64, f64) {
        let degree_m = EARTH_M.to_radians();
        let shrunk = self.middle().latitude_deg.to_radians().cos();
        (self.row_step_deg * degree_m, self.column_step_deg * degree_m * shrunk)
    }

    /// The same extent, half a step beyond the outer posts, with posts about so far from each other \[m\], so many a side at
    /// most.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts are clamped")]
    pub(super) fn with_posts_every(&self, spacing_m: f64, most: usize) -> Self {
        let (row_m, column_m) = self.steps_m();
        let count = |count: usize, step_m: f64| {
            ((count as f64 * step_m / spacing_m).ceil()).clamp(2.0, most as f64) as usize
        };
        let (rows, columns) = (count(self.rows, row_m), count(self.columns, column_m));
        let row_step_deg = self.row_step_deg * self.rows as f64 / rows as f64;
        let column_step_deg = self.column_step_deg * self.columns as f64 / columns as f64;
        Self {
            north_deg: self.north_deg + 0.5 * (self.row_step_deg - row_step_deg),
            west_deg: self.west_deg - 0.5 * (self.column_step_deg - column_step_deg),
            row_step_deg,
            column_step_deg,
            rows,
            columns,
        }
    }

    /// The mean of both steps \[m\].
    pub fn spacing_m(&self) -> f64 {
        let (row_m, column_m) = self.steps_m();
        f64::midpoint(row_m, column_m)
    }
}
