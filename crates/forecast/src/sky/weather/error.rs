/// Why a file can't be used as weather.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum WeatherError {
    /// No bytes.
    #[error("the weather file is empty; give a TMY3, EPW or CSV file with a year of hours")]
    Empty,
    /// Not text.
    #[error(
        "the weather file is not text (it holds zero bytes); give a TMY3, EPW or CSV file, unpacked and in UTF-8 or Latin-1"
    )]
    NotText,
    /// Text, but none of the formats.
    #[error(
        "the file is not weather as known here, it begins with `{beginning}`; give TMY3 (second line begins with `Date (MM/DD/YYYY)`), EPW (first line begins with `LOCATION`) or CSV with the columns `time,ghi_w_m2,air_celsius`"
    )]
    NotWeather {
        /// First characters of the file.
        beginning: String,
    },
    /// A line above the rows can't be understood.
    #[error("line {line}: {problem}; {help}")]
    Header {
        /// Counted from 1.
        line: usize,
        /// What is wrong.
        problem: String,
        /// What to write.
        help: String,
    },
    /// A column that is needed isn't there.
    #[error("line {line}: no column `{column}` among {found}; {help}")]
    NoColumn {
        /// Counted from 1.
        line: usize,
        /// The name that is missing.
        column: &'static str,
        /// The names that are there.
        found: String,
        /// What to do.
        help: String,
    },
    /// A row has fewer fields than the header.
    #[error(
        "line {line}: {found} fields where {wanted} are needed; the file is cut off or damaged here, fetch it again"
    )]
    CutOff {
        /// Counted from 1.
        line: usize,
        /// Fields of the row.
        found: usize,
        /// Fields that are needed.
        wanted: usize,
    },
    /// A row has more fields than the header.
    #[error(
        "line {line}: {found} fields where {wanted} are named; write decimal points, not commas, and name every column"
    )]
    TooManyFields {
        /// Counted from 1.
        line: usize,
        /// Fields of the row.
        found: usize,
        /// Fields that are named.
        wanted: usize,
    },
    /// A field that is no number.
    #[error("line {line}, column `{column}`: `{text}` is not a number; write one, with a decimal point")]
    NotANumber {
        /// Counted from 1.
        line: usize,
        /// Name of the column.
        column: String,
        /// What stands there.
        text: String,
    },
    /// A field that says "missing".
    #[error("line {line}, column `{column}`: the value is missing (`{text}`); {help}")]
    Missing {
        /// Counted from 1.
        line: usize,
        /// Name of the column.
        column: String,
        /// What stands there.
        text: String,
        /// What to do.
        help: &'static str,
    },
    /// A number that can't be.
    #[error("line {line}, column `{column}`: {value} {unit} is outside {low} to {high}; {help}")]
    OutOfRange {
        /// Counted from 1.
        line: usize,
        /// Name of the column.
        column: String,
        /// The number.
        value: f64,
        /// Its unit.
        unit: &'static str,
        /// Lowest allowed.
        low: f64,
        /// Highest allowed.
        high: f64,
        /// What it may be instead.
        help: &'static str,
    },
    /// A date or time that can't be read.
    #[error("line {line}, column `{column}`: `{text}` is not a date and time; {help}")]
    NotATime {
        /// Counted from 1.
        line: usize,
        /// Name of the column.
        column: String,
        /// What stands there.
        text: String,
        /// What to write.
        help: &'static str,
    },
    /// A row that doesn't follow the one before.
    #[error("line {line}: the hour ending {found} where the one ending {wanted} belongs; {help}")]
    OutOfOrder {
        /// Counted from 1.
        line: usize,
        /// End of the hour of the row.
        found: String,
        /// End of the hour that belongs there.
        wanted: String,
        /// What to do.
        help: &'static str,
    },
    /// The rows end before a year is full.
    #[error(
        "{rows} hours, {short} short of a whole year, the last in line {line}; the file is cut off, or give whole years (8760 or 8784 rows each)"
    )]
    NotWholeYears {
        /// Rows read.
        rows: usize,
        /// Rows missing to the next whole year.
        short: usize,
        /// Line of the last row.
        line: usize,
    },
    /// More rows than anyone has years of.
    #[error("more than {limit} hours of weather; give at most a hundred years")]
    TooLong {
        /// Largest number of rows.
        limit: usize,
    },
    /// A column without any light.
    #[error(
        "column `{column}` is zero in every row; without sun there is nothing to forecast, give another file"
    )]
    NoLight {
        /// Name of the column.
        column: String,
    },
    /// Light from a sun far below the horizon.
    #[error(
        "line {line}: {w_m2:.0} W/m2 of {light} light while the sun is {below_deg:.0} deg below the horizon; time zone and longitude do not fit (universal time in place of local standard time, a wrong sign of the longitude or of the hours from UTC), or the column is not what its name says"
    )]
    SunAtNight {
        /// Counted from 1.
        line: usize,
        /// `global`, `direct` or `diffuse`.
        light: &'static str,
        /// Irradiance.
        w_m2: f64,
        /// How far below the horizon the sun is at its highest in that hour [°].
        below_deg: f64,
    },
    /// More light than that sun can give.
    #[error(
        "line {line}: {w_m2:.0} W/m2 of {light} light while the sun stands so low that {limit:.0} W/m2 are the most; check time zone, longitude, the names of the columns, and that the unit is W/m2 (or Wh/m2 of the hour)"
    )]
    MoreThanTheSun {
        /// Counted from 1.
        line: usize,
        /// `global`, `direct` or `diffuse`.
        light: &'static str,
        /// Irradiance.
        w_m2: f64,
        /// The most there can be.
        limit: f64,
    },
    /// Hardly any light.
    #[error(
        "the global light of the year is {:.1} % of what the sun sends, less than anywhere on earth; write W/m2, not kW/m2",
        share * 100.0
    )]
    TooDark {
        /// Global light over what arrives above the air.
        share: f64,
    },
    /// Global, direct and diffuse light contradict each other.
    #[error(
        "line {line}: here and in {:.0} % of the sunny hours direct and diffuse light do not make the global light, {:.0} % are allowed; {help}",
        share * 100.0,
        limit * 100.0
    )]
    Disagree {
        /// The first such line, counted from 1.
        line: usize,
        /// Share of the sunny hours.
        share: f64,
        /// The most that is allowed.
        limit: f64,
        /// What to do.
        help: &'static str,
    },
}
