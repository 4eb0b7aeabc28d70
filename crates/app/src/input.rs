//! What is read: design file, part files, weather, terrain.

pub(crate) mod fleet;
mod terrain;

use std::io::{self, ErrorKind, Read as _};
use std::ops::Range;
use std::path::{Path, PathBuf};

use design::catalog::Catalog;
use design::diagnostic::{Diagnostic, PART_FILE_MISSING, Severity};
use design::file::{DesignFile, LARGEST_BYTES};
use design::node::Design;
use design::quantity::{Irradiation, Temperature};
use forecast::sky::climate::{Climate, ClimateError};
use forecast::sky::sun::Observer;
use forecast::sky::weather::{self, WeatherError, WeatherHours};
use forecast::terrain::Terrain;
use report::problem::{Failure, Problem, Source};
use verdict::plan::Weather;

use logbook::bounded;

use crate::output::reason;

/// So much of a weather file is read to see whether it is one \[bytes\].
const RECOGNISED_BY: usize = 64 << 10;
/// So much of it is read at all: a hundred years of rows of 140 bytes \[bytes\].
const LARGEST_WEATHER: u64 = 120 << 20;

/// A design without errors.
pub(crate) struct Checked {
    /// The design.
    pub(crate) design: Design,
    /// What was probably not meant.
    pub(crate) warnings: Vec<Problem>,
    source: Source,
    file: DesignFile,
    folder: PathBuf,
    catalog: Catalog,
    parts: Vec<Part>,
}

/// A part file by the name under which a design file names it, and what was read of it.
type Part = (String, Result<Source, Box<Problem>>);

impl Checked {
    /// The site, as a place from which the sun is seen.
    pub(crate) fn observer(&self) -> Option<Observer> {
        let site = &self.design.site;
        Observer::new(site.latitude.degrees(), site.longitude.degrees(), site.elevation.metres())
    }

    /// The terrain that the design file names, if any.
    pub(crate) fn terrain(&self) -> Result<Option<Terrain>, Failure> {
        let at = |listed: &terrain::Listed, message, help| Problem {
            warning: false,
            code: listed.code,
            source: self.source.clone(),
            span: Some(self.file.span_of(listed.key)),
            message,
            help,
        };
        terrain::terrain(&self.design.surroundings.ground, &self.folder, at)
    }

    /// Another text in place of this one, with the part files that this one names and no others: nothing is read.
    pub(crate) fn retyped(&self, text: &str) -> Result<Self, Failure> {
        let source = Source::new(&self.source.file, text);
        let file = design::file::parse(text);
        resolved(source, file, &self.folder, self.catalog.clone(), self.parts.clone())
    }

    /// Said of terrain that a text names and that is not read for it.
    pub(crate) fn terrain_not_read(&self) -> Problem {
        Problem {
            warning: true,
            code: "terrain",
            source: self.source.clone(),
            span: Some(self.file.span_of("ground.terrain")),
            message: "these tiles are not those of the file on the disk, so the ground is not looked at"
                .to_owned(),
            help: "download this text and run `overwinter check` on it".to_owned(),
        }
    }

    /// The text of the design file.
    pub(crate) fn text(&self) -> &str {
        self.source.text()
    }

    /// Whether the same was said of the design file itself.
    fn warns_of(&self, found: &Diagnostic) -> bool {
        self.warnings.iter().any(|known| known.code == found.code && known.message == found.message)
    }

    /// Where a field stands in it, or the table around it.
    pub(crate) fn span_of(&self, field: &str) -> Range<usize> {
        self.file.span_of(field)
    }

    /// Line of a field in the design file, or of the table around it; `None` if neither is written there.
    pub(crate) fn line_of(&self, field: &str) -> Option<usize> {
        let span = self.file.span_of(field);
        (!span.is_empty()).then(|| self.source.line_at(span.start))
    }
}

/// The weather of a node: hours that were recorded, or the climate of its site.
pub(crate) enum Sky {
    /// Out of a file.
    Hours(Box<WeatherHours>),
    /// Built in, or twelve monthly numbers of the design file.
    Climate(Box<Climate>),
}

impl Sky {
    /// As a plan takes it.
    pub(crate) fn weather(&self) -> Weather<'_> {
        match self {
            Self::Hours(hours) => Weather::Hours(hours),
            Self::Climate(climate) => Weather::Climate(climate),
        }
    }
}

/// Reads a design file, and a weather file if one is named; without one the climate of the site is taken.
pub(crate) fn node(path: &Path, weather_file: Option<&Path>) -> Result<(Checked, Sky), Failure> {
    let design = design(path);
    let Some(weather_file) = weather_file else {
        let checked = design?;
        let climate = climate(&checked)?;
        return Ok((checked, Sky::Climate(Box::new(climate))));
    };
    let site = design.as_ref().ok().and_then(Checked::observer);
    match (design, weather(weather_file, site.as_ref())) {
        (Ok(checked), Ok(hours)) => Ok((checked, Sky::Hours(Box::new(hours)))),
        (design, weather) => Err(Failure::both(design.err(), weather.err())),
    }
}

/// The climate of a design's site.
pub(crate) fn climate(checked: &Checked) -> Result<Climate, Failure> {
    let span = checked.file.span_of("site.latitude");
    let monthly = ["climate.sun", "climate.air"].map(|field| checked.file.span_of(field));
    climate_of(&checked.design, &checked.source, span, &monthly)
}

/// The climate of a design that is considered at another place, named by `text`.
pub(crate) fn climate_there(checked: &Checked, moved: &Design, text: &str) -> Result<Climate, Failure> {
    let name = format!("--at \"{text}\"");
    let span = 0..0;
    let there = climate_at(moved, &checked.source, span).map_err(|failure| {
        let message = failure.problems.first().map(|problem| problem.message.clone()).unwrap_or_default();
        let help = "name a place on land";
        Failure::of(Problem::of_file("climate", &name, message, help))
    })?;
    Ok(there)
}

/// The climate of a design that is placed elsewhere than its kind: the place is to blame where there is none.
fn climate_at(design: &Design, source: &Source, span: Range<usize>) -> Result<Climate, Failure> {
    let monthly = [span.clone(), span.clone()];
    climate_of(design, source, span, &monthly)
}

fn climate_of(
    design: &Design,
    source: &Source,
    place: Range<usize>,
    [sun, air]: &[Range<usize>; 2],
) -> Result<Climate, Failure> {
    let site = &design.site;
    let (latitude, longitude, elevation) = (site.latitude, site.longitude, site.elevation);
    let found = match &design.climate {
        None => Climate::builtin(latitude, longitude, elevation),
        Some(given) => {
            let sun_wh_m2 = given.sun_per_day.map(Irradiation::watt_hours_per_square_metre);
            let air_celsius = given.air.map(|months| months.map(Temperature::celsius));
            Climate::from_monthly(latitude, longitude, elevation, &sun_wh_m2, air_celsius.as_ref())
        }
    };
    found.map_err(|error| {
        let said = error.to_string();
        let message = said.split_once("; ").map_or(said.as_str(), |(message, _)| message).to_owned();
        let (span, help) = match error {
            ClimateError::Sun { .. } => (sun, "give the mean daily sum on the horizontal of each month"),
            ClimateError::Air { .. } => (air, "give the mean temperature of each month"),
            ClimateError::NoPlace { .. } | ClimateError::BeyondGrid { .. } | ClimateError::NoLand { .. } => {
                (&place, "give twelve monthly numbers in [climate], or an hourly weather file with --weather")
            }
        };
        Failure::of(Problem {
            warning: false,
            code: "climate",
            source: source.clone(),
            span: Some(span.clone()),
            message,
            help: help.to_owned(),
        })
    })
}

/// Reads and resolves a design file with its part files.
pub(crate) fn design(path: &Path) -> Result<Checked, Failure> {
    let help = "give the design file of a node, such as examples/larkmoor/frost-mast.toml";
    let text = text(path, help).map_err(|problem| Failure::of(*problem))?;
    if is_weather(text.as_bytes().get(..RECOGNISED_BY).unwrap_or(text.as_bytes())) {
        let message = "this is a weather file, not a design file".to_owned();
        return Err(Failure::of(Problem::of_file("file", &path.to_string_lossy(), message, help)));
    }
    if fleet::places_nodes(&text) {
        let message = "this is a site file, and the design file of one node is wanted".to_owned();
        let help = "give one of the files that its nodes name as `kind`; `check` and `reach` take a site";
        return Err(Failure::of(Problem::of_file("file", &path.to_string_lossy(), message, help)));
    }
    let source = Source::new(&path.to_string_lossy(), &text);
    let file = design::file::parse(&text);
    let mut catalog = Catalog::builtin();
    let mut parts = Vec::new();
    let folder = path.parent().unwrap_or(Path::new(""));
    for name in file.part_files() {
        match self::text(
            &folder.join(name),
            "the path of a part file counts from the folder of the design file",
        ) {
            Ok(text) => {
                parts.push((name.to_owned(), Ok(Source::new(&folder.join(name).to_string_lossy(), &text))));
                catalog.add_file(name, text);
            }
            Err(problem) => parts.push((name.to_owned(), Err(problem))),
        }
    }
    resolved(source, file, folder, catalog, parts)
}

/// A design file whose part files are read.
fn resolved(
    source: Source,
    file: DesignFile,
    folder: &Path,
    catalog: Catalog,
    parts: Vec<Part>,
) -> Result<Checked, Failure> {
    let problem = |diagnostic: Diagnostic| problem(diagnostic, &source, &parts);
    match design::resolve::resolve(&catalog, &file) {
        Ok(resolved) => {
            let warnings = resolved.warnings.into_iter().map(problem).collect();
            let (design, folder) = (resolved.design, folder.to_owned());
            Ok(Checked { design, warnings, source, file, folder, catalog, parts })
        }
        Err(found) => Err(Failure { problems: found.into_iter().map(problem).collect() }),
    }
}

fn problem(found: Diagnostic, design: &Source, parts: &[Part]) -> Problem {
    let part = |name: &str| parts.iter().find(|(part, _)| part == name).map(|(_, read)| read);
    let source = match found.file.as_deref().and_then(part) {
        Some(Ok(source)) => source,
        _ => design,
    };
    let unread = parts.iter().filter(|_| found.code == PART_FILE_MISSING.name);
    let unread = unread.filter(|(name, _)| found.message.contains(name.as_str()));
    let why = unread
        .filter_map(|(_, read)| read.as_ref().err())
        .map(|problem| format!(": {}", problem.message))
        .next();
    Problem {
        warning: found.severity == Severity::Warning,
        code: found.code,
        source: source.clone(),
        span: (!source.is_empty()).then_some(found.span),
        message: found.message + why.as_deref().unwrap_or(""),
        help: found.help,
    }
}

/// A text of at most the size of a design file.
fn text(path: &Path, help: &str) -> Result<String, Box<Problem>> {
    let name = path.to_string_lossy();
    let unreadable = |error: io::Error| {
        let message = format!("the file can't be read: {}", reason(&error));
        Box::new(Problem::of_file("file", &name, message, help))
    };
    let bytes = bounded::read(path, LARGEST_BYTES as u64).map_err(|error| match error.kind() {
        ErrorKind::FileTooLarge => too_large(path, &name),
        _ => unreadable(error),
    })?;
    String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        let source = Source::new(&name, &String::from_utf8_lossy(error.as_bytes()));
        Box::new(Problem {
            warning: false,
            code: "not-utf8",
            span: Some(at..at + char::REPLACEMENT_CHARACTER.len_utf8()),
            source,
            message: "the file is not text in UTF-8".to_owned(),
            help: "save it as UTF-8, or write the character without its accent".to_owned(),
        })
    })
}

fn too_large(path: &Path, name: &str) -> Box<Problem> {
    let kilobytes = std::fs::metadata(path).map_or(LARGEST_BYTES as u64, |found| found.len()) >> 10;
    let message = format!("the file has {kilobytes} kB; a design file has a few");
    let help = "is this the design file? a weather file is given with --weather";
    Box::new(Problem::of_file(design::diagnostic::TOO_LARGE.name, name, message, help))
}

/// Reads a weather file; one that is none is given back after its first 64 kB. One that does not say where it was taken
/// must fit the sun of the design's site.
pub(crate) fn weather(path: &Path, site: Option<&Observer>) -> Result<WeatherHours, Failure> {
    let name = path.to_string_lossy();
    let mut bytes = Vec::new();
    let read = |bytes: &mut Vec<u8>| -> io::Result<bool> {
        let mut file = bounded::open(path)?;
        file.by_ref().take(RECOGNISED_BY as u64).read_to_end(bytes)?;
        if !is_weather(bytes) {
            return Ok(false);
        }
        file.take(LARGEST_WEATHER + 1).read_to_end(bytes)?;
        if bytes.len() as u64 > LARGEST_WEATHER {
            let message = format!("it is larger than the {} MB that are read", LARGEST_WEATHER >> 20);
            return Err(io::Error::new(ErrorKind::FileTooLarge, message));
        }
        Ok(true)
    };
    read(&mut bytes).map_err(|error| {
        let message = format!("the file can't be read: {}", reason(&error));
        let help = "give an hourly weather file: TMY3, EPW, or CSV with named columns";
        Failure::of(Problem::of_file("file", &name, message, help))
    })?;
    let refuse = |error: WeatherError| Failure::of(weather_problem(&name, &bytes, &error));
    let mut hours = weather::read(&bytes).map_err(refuse)?;
    if let (None, Some(site)) = (&hours.place, site) {
        hours.check_sun(site).map_err(refuse)?;
    }
    Ok(hours)
}

fn is_weather(beginning: &[u8]) -> bool {
    use WeatherError::{Empty, NotText, NotWeather};
    !matches!(weather::read(beginning), Err(Empty | NotText | NotWeather { .. }))
}

/// A weather error in the form of all others: the line, what is wrong, what to do.
pub(crate) fn weather_problem(name: &str, bytes: &[u8], error: &WeatherError) -> Problem {
    let said = error.to_string();
    let (message, help) = said.rsplit_once("; ").unwrap_or((&said, "give another file"));
    let line = line_of(error);
    let prefix = line.map_or(String::new(), |line| format!("line {line}"));
    let message = message.strip_prefix(&prefix).unwrap_or(message).trim_start_matches([':', ',', ' ']);
    let written = line.and_then(|line| bytes.split(|byte| *byte == b'\n').nth(line - 1)).unwrap_or_default();
    let text = String::from_utf8_lossy(written).trim_end().to_owned();
    let span = line.map(|_| 0..text.len());
    let source = Source::one_line(name, line.unwrap_or(1), &text);
    Problem {
        warning: false,
        code: "weather",
        source,
        span,
        message: message.to_owned(),
        help: help.to_owned(),
    }
}

fn line_of(error: &WeatherError) -> Option<usize> {
    use WeatherError as E;
    match error {
        E::Header { line, .. }
        | E::NoColumn { line, .. }
        | E::CutOff { line, .. }
        | E::TooManyFields { line, .. }
        | E::NotANumber { line, .. }
        | E::Missing { line, .. }
        | E::OutOfRange { line, .. }
        | E::NotATime { line, .. }
        | E::OutOfOrder { line, .. }
        | E::NotWholeYears { line, .. }
        | E::SunAtNight { line, .. }
        | E::MoreThanTheSun { line, .. }
        | E::Disagree { line, .. } => Some(*line),
        E::Empty
        | E::NotText
        | E::NotWeather { .. }
        | E::TooLong { .. }
        | E::NoLight { .. }
        | E::TooDark { .. } => None,
    }
}
