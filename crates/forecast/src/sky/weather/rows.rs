//! The rows of a weather file.

use design::quantity::is_unprintable;

use super::layout::{Column, Layout, Stamp};
use super::sense::{Kind, reading};
use super::{HourStart, WeatherError, WeatherHours};

const MOST_YEARS: i32 = 100;
const MOST_ROWS: usize = MOST_YEARS as usize * 8784;
/// The year that stands for a typical year; its March; and the day that tells that it is a leap year instead.
const TYPICAL_YEAR: i32 = 2025;
const MARCH: HourStart = HourStart { year: TYPICAL_YEAR, month: 3, day: 1, hour: 0 };
const LEAP_DAY: HourStart = HourStart { year: 2024, month: 2, day: 29, hour: 0 };
/// Characters of a wrong field that are shown.
const SHOWN: usize = 40;
const CLOCK_HELP: &str = "rows must follow hour by hour in local standard time, without gaps and without summer time (a line `# fill_gaps = \"6 h\"` above the column names of a plain file fills gaps of up to 6 h), and a typical year must carry one year's number throughout";

/// Reads all rows.
pub(super) fn read(bytes: &[u8], layout: Layout) -> Result<WeatherHours, WeatherError> {
    let mut rows = Rows::new(&layout);
    for (index, line) in
        bytes.trim_ascii_end().split(|byte| *byte == b'\n').enumerate().skip(layout.header_lines)
    {
        if rows.starts.len() == MOST_ROWS {
            return Err(WeatherError::TooLong { limit: MOST_ROWS });
        }
        rows.take(index + 1, line)?;
    }
    rows.check_whole_years()?;
    let filled = rows.fill()?;
    let Rows { starts, inserted, ghi, dni, dhi, air, wind, .. } = rows;
    if ghi.numbers.iter().all(|w_m2| *w_m2 <= 0.0) {
        return Err(WeatherError::NoLight { column: layout.ghi.name });
    }
    Ok(WeatherHours {
        ghi_w_m2: ghi.numbers,
        dni_w_m2: dni.and_then(Values::unless_missing),
        dhi_w_m2: dhi.and_then(Values::unless_missing),
        air_celsius: air.numbers,
        wind_m_s: wind.and_then(Values::unless_missing),
        doubtful: None,
        starts,
        first_line: layout.header_lines + 1,
        inserted,
        title: match (printable(&layout.title), filled) {
            (title, 0) => title,
            (title, 1) => format!("{title}, 1 hour filled"),
            (title, hours) => format!("{title}, {hours} hours filled"),
        },
        place: layout.place,
        utc_offset_h: layout.utc_offset_h,
    })
}

/// A title goes to pages, terminals and scripts: what would write over their lines is shown as not known.
fn printable(title: &str) -> String {
    title
        .chars()
        .map(|letter| if is_unprintable(letter) { char::REPLACEMENT_CHARACTER } else { letter })
        .collect()
}

struct Rows<'a> {
    layout: &'a Layout,
    starts: Vec<HourStart>,
    /// Hours that no row of the file stands for.
    inserted: Vec<usize>,
    ghi: Values<'a>,
    dni: Option<Values<'a>>,
    dhi: Option<Values<'a>>,
    air: Values<'a>,
    wind: Option<Values<'a>>,
}

impl<'a> Rows<'a> {
    fn new(layout: &'a Layout) -> Self {
        let optional = |column: &'a Option<Column>, kind| {
            column.as_ref().map(|column| Values {
                column,
                kind,
                optional: true,
                numbers: Vec::new(),
                missing: None,
            })
        };
        let needed =
            |column, kind| Values { column, kind, optional: false, numbers: Vec::new(), missing: None };
        Self {
            layout,
            starts: Vec::new(),
            inserted: Vec::new(),
            ghi: needed(&layout.ghi, Kind::Light),
            dni: optional(&layout.dni, Kind::Light),
            dhi: optional(&layout.dhi, Kind::Light),
            air: needed(&layout.air, Kind::Air),
            wind: optional(&layout.wind, Kind::Wind),
        }
    }

    fn take(&mut self, line: usize, bytes: &[u8]) -> Result<(), WeatherError> {
        let fields: Vec<&[u8]> = bytes.split(|byte| *byte == self.layout.separator).collect();
        let wanted = self.layout.width;
        if fields.len() < wanted {
            return Err(WeatherError::CutOff { line, found: fields.len(), wanted });
        }
        if fields.len() > wanted && matches!(self.layout.stamp, Stamp::Iso(_)) {
            return Err(WeatherError::TooManyFields { line, found: fields.len(), wanted });
        }
        let start = self.layout.stamp.start(line, &fields)?;
        self.skip_to(start);
        self.follow(line, start)?;
        let layout = self.layout;
        for values in self.columns() {
            values.take(line, &fields, layout)?;
        }
        Ok(())
    }

    fn columns(&mut self) -> impl Iterator<Item = &mut Values<'a>> {
        let optional = [&mut self.dni, &mut self.dhi, &mut self.wind].into_iter().flatten();
        [&mut self.ghi, &mut self.air].into_iter().chain(optional)
    }

    /// Stands in for hours without a row where a gap as long may be filled.
    fn skip_to(&mut self, found: HourStart) {
        let Some(last) = self.starts.last() else { return };
        let next = last.serial() + 1;
        let gap = usize::try_from(found.serial() - next).unwrap_or(0);
        if gap > self.layout.fill_h {
            return;
        }
        for serial in next..found.serial() {
            self.inserted.push(self.starts.len());
            self.starts.push(HourStart::from_serial(serial));
            self.columns()
                .filter(|values| !values.numbers.is_empty())
                .for_each(|values| values.numbers.push(f32::NAN));
        }
    }

    /// Fills what is missing, and says how many hours have something filled.
    fn fill(&mut self) -> Result<usize, WeatherError> {
        let mut filled = vec![false; self.starts.len()];
        let (fill_h, first_line, inserted) =
            (self.layout.fill_h, self.layout.header_lines + 1, self.inserted.clone());
        for values in self.columns() {
            filled.iter_mut().zip(&values.numbers).for_each(|(filled, value)| *filled |= value.is_nan());
            values.fill(fill_h).map_err(|hour| WeatherError::Missing {
                line: first_line + hour - inserted.partition_point(|other| *other < hour),
                column: values.column.name.clone(),
                text: String::new(),
                help: "gaps are filled up to the length that the file asks for, with measured days beside them; fill this one yourself",
            })?;
        }
        Ok(filled.into_iter().filter(|filled| *filled).count())
    }

    /// Adds the hour of a row if it is the next one; years of a typical year are given, not read.
    fn follow(&mut self, line: usize, found: HourStart) -> Result<(), WeatherError> {
        let calendar = matches!(self.layout.stamp, Stamp::Iso(_));
        let mut wanted = match self.starts.last() {
            Some(last) => HourStart::from_serial(last.serial() + 1),
            None if calendar => HourStart { hour: 0, ..found },
            None => HourStart { hour: 0, year: TYPICAL_YEAR, ..found },
        };
        if !calendar && wanted == MARCH && (found.month, found.day) == (2, 29) {
            wanted = LEAP_DAY;
            for start in &mut self.starts {
                start.year = LEAP_DAY.year;
            }
        }
        let year = if calendar { found.year } else { wanted.year };
        if (HourStart { year, ..found }) != wanted {
            let written = |start| self.layout.stamp.written(start);
            return Err(WeatherError::OutOfOrder {
                line,
                found: written(found),
                wanted: written(wanted),
                help: CLOCK_HELP,
            });
        }
        self.starts.push(wanted);
        Ok(())
    }

    /// After the last hour the calendar must stand where the first hour began.
    fn check_whole_years(&self) -> Result<(), WeatherError> {
        let rows = self.starts.len();
        let line = self.layout.header_lines + rows;
        let (Some(first), Some(last)) = (self.starts.first(), self.starts.last()) else {
            return Err(WeatherError::NotWholeYears { rows, short: 8760, line });
        };
        let end = last.serial() + 1;
        let anniversary = |years: i32| HourStart { year: first.year + years, ..*first }.serial();
        let full = (1..=MOST_YEARS + 1).map(anniversary).find(|serial| *serial >= end).unwrap_or(end);
        match usize::try_from(full - end) {
            Ok(short) if short > 0 => Err(WeatherError::NotWholeYears { rows, short, line }),
            _ => Ok(()),
        }
    }
}

/// One column's numbers.
struct Values<'a> {
    column: &'a Column,
    kind: Kind,
    optional: bool,
    numbers: Vec<f32>,
    missing: Option<WeatherError>,
}

impl Values<'_> {
    /// Takes the field of a row. An optional column may be missing throughout, but not here and there.
    fn take(&mut self, line: usize, fields: &[&[u8]], layout: &Layout) -> Result<(), WeatherError> {
        let mut text = field(fields, self.column);
        if layout.separator == b';' {
            text = text.replace(',', ".");
        }
        match reading(self.kind, line, &self.column.name, &text)? {
            Ok(number) => self.numbers.push(number),
            Err(missing) if self.optional && self.numbers.is_empty() => {
                self.missing.get_or_insert(missing);
                return Ok(());
            }
            Err(_) if layout.fill_h > 0 => self.numbers.push(f32::NAN),
            Err(missing) => return Err(missing),
        }
        self.missing.take().map_or(Ok(()), Err)
    }

    /// Fills gaps of up to so many hours: light with the mean of the same hour on the days beside, all else straight between
    /// the hours beside. The hour that can't be filled otherwise.
    fn fill(&mut self, most_h: usize) -> Result<(), usize> {
        let read = self.numbers.clone();
        let mut hour = 0;
        while hour < read.len() {
            let gap = read[hour..].iter().take_while(|value| value.is_nan()).count();
            if gap > most_h {
                return Err(hour);
            }
            for missing in hour..hour + gap {
                let value = match self.kind {
                    Kind::Light => on_days_beside(&read, missing),
                    Kind::Air | Kind::Wind => straight(&read, hour, gap, missing),
                };
                self.numbers[missing] = value.ok_or(missing)?;
            }
            hour += gap.max(1);
        }
        Ok(())
    }

    fn unless_missing(self) -> Option<Vec<f32>> {
        (!self.numbers.is_empty()).then_some(self.numbers)
    }
}

fn on_days_beside(read: &[f32], hour: usize) -> Option<f32> {
    let days = [hour.checked_sub(24), Some(hour + 24)].into_iter().flatten();
    let values: Vec<f32> =
        days.filter_map(|hour| read.get(hour).copied()).filter(|value| !value.is_nan()).collect();
    (!values.is_empty()).then(|| values.iter().sum::<f32>() / values.len() as f32)
}

fn straight(read: &[f32], first: usize, gap: usize, hour: usize) -> Option<f32> {
    let (before, after) = (*read.get(first.checked_sub(1)?)?, *read.get(first + gap)?);
    Some(before + (after - before) * (hour + 1 - first) as f32 / (gap + 1) as f32)
}

fn field(fields: &[&[u8]], column: &Column) -> String {
    let bytes = fields.get(column.index).copied().unwrap_or_default();
    String::from_utf8_lossy(bytes.get(..SHOWN).unwrap_or(bytes)).trim().to_owned()
}

impl Stamp {
    /// The beginning of the hour whose end a row names.
    fn start(&self, line: usize, fields: &[&[u8]]) -> Result<HourStart, WeatherError> {
        let (column, text, end, help) = match self {
            Self::Tmy3(date, time) => {
                let text = format!("{} {}", field(fields, date), field(fields, time));
                (date.name.as_str(), text.clone(), tmy3_end(&text), "write `12/31/1999` and `24:00`")
            }
            Self::Epw => {
                let column = |index| field(fields, &Column { index, name: String::new() });
                let text = [0, 1, 2, 3].map(column).join(",");
                ("year, month, day, hour", text.clone(), epw_end(&text), "write `1999,12,31,24`")
            }
            Self::Iso(time) => {
                let text = field(fields, time);
                let end = iso_end(&text);
                ("time", text, end, "write the end of the hour in local standard time, as `2021-12-31T14:00`")
            }
        };
        // Months of a typical year come from several years, so any may have a leap day.
        let start = end.and_then(|[year, month, day, hour]| match self {
            Self::Iso(_) => begun(year, month, day, hour),
            Self::Tmy3(..) | Self::Epw => begun(LEAP_DAY.year.into(), month, day, hour),
        });
        start.ok_or_else(|| WeatherError::NotATime { line, column: column.to_owned(), text, help })
    }

    /// The end of an hour as the file writes it, in short.
    fn written(&self, start: HourStart) -> String {
        let HourStart { year, month, day, hour } = start;
        let end = format!("{month:02}-{day:02} {:02}:00", hour + 1);
        if matches!(self, Self::Iso(_)) { format!("{year}-{end}") } else { end }
    }
}

/// The hour that ends at an hour (0 to 24) of a date of the calendar.
fn begun(year: i64, month: i64, day: i64, end_hour: i64) -> Option<HourStart> {
    let year = i32::try_from(year).ok().filter(|year| (1800..=2200).contains(year))?;
    let date = HourStart { year, month: u8::try_from(month).ok()?, day: u8::try_from(day).ok()?, hour: 0 };
    let exists = (1..=12).contains(&date.month) && HourStart::from_serial(date.serial()) == date;
    (exists && (0..=24).contains(&end_hour)).then(|| HourStart::from_serial(date.serial() + end_hour - 1))
}

fn integers<const N: usize>(text: &str, separators: &[char]) -> Option<[i64; N]> {
    let all: Option<Vec<i64>> = text.split(separators).map(|part| part.trim().parse().ok()).collect();
    all?.try_into().ok()
}

fn tmy3_end(text: &str) -> Option<[i64; 4]> {
    let [month, day, year, hour, minute] = integers(text, &['/', ' ', ':'])?;
    (minute == 0).then_some([year, month, day, hour])
}

fn epw_end(text: &str) -> Option<[i64; 4]> {
    integers(text, &[','])
}

fn iso_end(text: &str) -> Option<[i64; 4]> {
    let text = if text.matches(':').count() == 2 { text.strip_suffix(":00")? } else { text };
    let [year, month, day, hour, minute] = integers(text, &['-', 'T', ' ', ':'])?;
    (minute == 0).then_some([year, month, day, hour])
}
