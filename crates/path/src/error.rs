use std::fmt;

/// The values a model accepts for one of its inputs, ends included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// What is bounded.
    pub name: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// Least value accepted.
    pub min: f64,
    /// Greatest value accepted.
    pub max: f64,
}

impl Range {
    pub(crate) const fn new(name: &'static str, unit: &'static str, min: f64, max: f64) -> Self {
        Self { name, unit, min, max }
    }

    /// `true` if `value` is accepted; never for NaN.
    pub fn contains(&self, value: f64) -> bool {
        (self.min..=self.max).contains(&value)
    }

    pub(crate) fn check(&self, value: f64) -> Result<(), Error> {
        if self.contains(value) {
            return Ok(());
        }
        Err(Error::OutOfRange { range: *self, value, point: None })
    }

    /// Checks one value per profile point and names the point that fails.
    pub(crate) fn check_points(&self, values: &[f64]) -> Result<(), Error> {
        match values.iter().position(|value| !self.contains(*value)) {
            None => Ok(()),
            Some(at) => {
                let value = values.get(at).copied().unwrap_or(f64::NAN);
                Err(Error::OutOfRange { range: *self, value, point: Some(at) })
            }
        }
    }
}

/// Why a loss cannot be given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Error {
    /// An input lies outside what the model was made for (or is not a number, as a void in terrain is).
    OutOfRange {
        /// The input and the values accepted.
        range: Range,
        /// The value given.
        value: f64,
        /// The profile point it belongs to, counted from 0; `None` for inputs of the whole path.
        point: Option<usize>,
    },
    /// The profile has too few points.
    TooFewPoints {
        /// Points given.
        points: usize,
        /// Points needed.
        min: usize,
    },
    /// Two columns of a profile differ in length.
    UnequalLengths {
        /// The column that differs from the distances.
        column: &'static str,
        /// Its length.
        points: usize,
        /// Number of distances.
        expected: usize,
    },
    /// Distances don't start at zero or don't rise from each point to the next.
    DistancesNotRising {
        /// The first point at fault, counted from 0.
        point: usize,
    },
    /// Two places lie so nearly opposite on the globe that the iteration for their geodesic doesn't settle.
    NearlyAntipodal,
}

impl fmt::Display for Error {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange { range: Range { name, unit, min, max }, value, point } => {
                write!(out, "{name} is {value} {unit}")?;
                if let Some(point) = point {
                    write!(out, " at profile point {point}")?;
                }
                write!(out, "; the model holds from {min} to {max} {unit}")
            }
            Self::TooFewPoints { points, min } => {
                write!(out, "the profile has {points} points; at least {min} are needed")
            }
            Self::UnequalLengths { column, points, expected } => {
                write!(out, "the profile has {points} values of {column} for {expected} distances")
            }
            Self::DistancesNotRising { point } => {
                write!(out, "profile distances start at 0 and rise; point {point} does not")
            }
            Self::NearlyAntipodal => write!(out, "the two places are nearly opposite on the globe"),
        }
    }
}

impl std::error::Error for Error {}
