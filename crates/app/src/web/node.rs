//! One node.

use std::collections::BTreeMap;

use design::node::Told;
use logbook::store::StoreError;
use logbook::store::query::heard::{Wanted, newest};
use logbook::store::query::nodes::{self as query, Day, Signal};
use logbook::store::since::Said;
use report::chart::series::{Point, Series};
use report::page::heard::rate_words;
use report::page::node::{Link, Node, RateShare, Stretch, Visit};
use report::page::{node_page, plain};
use report::words;

use super::nodes::{self, BatteryNow, DAY_US, HOUR_US};
use super::shown::Look;
use super::{alarms, heard};

/// Frames that are listed.
const FRAMES: u32 = 50;
/// Points of a drawing.
const COLUMNS: usize = 240;
/// Up to so many hours every reading is looked at, beyond that hours, and beyond the next days.
const RAW_HOURS: i64 = 72;
const HOURLY_HOURS: i64 = 40 * 24;
const LONGEST_HOURS: i64 = 20 * 366 * 24;
/// Days of the charge that are drawn: a year.
const CHARGE_DAYS: i64 = 365;

/// A node by its name.
pub(super) fn state(look: &Look<'_>, name: &str) -> Result<Option<Node>, StoreError> {
    let Some(known) = look.node(name) else { return Ok(None) };
    let dev_eui = known.dev_eui();
    let design = known.design(look);
    let (mut now, mut measured, mut fields) = (BatteryNow::default(), Vec::new(), Vec::new());
    let span = Span::asked(look);
    let settles_at = match &dev_eui {
        Some(dev_eui) => nodes::settles_at(look, dev_eui)?,
        None => None,
    };
    if let (Some(dev_eui), Some(design)) = (&dev_eui, design) {
        now = nodes::battery_now(look, dev_eui, design)?;
        if let Some(battery) = nodes::battery(design) {
            let days =
                query::days(look.log, dev_eui, battery.series, look.now.div_euclid(DAY_US) - CHARGE_DAYS)?;
            measured = nodes::charges(&days, design, battery.volts, settles_at);
        }
        fields = series(look, dev_eui, design, &span)?;
    }
    let alarms =
        alarms::open(look)?.into_iter().filter(|alarm| alarm.node.as_deref() == Some(name)).collect();
    let mut node = Node {
        name: name.to_owned(),
        kind: known.row.map(|row| row.kind.clone()).or_else(|| Some(design?.name.clone())),
        design_file: look
            .house
            .site
            .fleet
            .nodes
            .iter()
            .find(|node| node.name == name)
            .map(|node| node.kind.clone()),
        place: place(look, name),
        alarms,
        promised: look.house.promises.of(name),
        to_be_worked_out: look.house.promises.is_to_come(name),
        learned: look.house.truths.of(name),
        last_heard: None,
        battery_volts: now.volts,
        charge_percent: now.charge_percent,
        foretold_percent: nodes::foretold(look, name),
        is_settled: settles_at.is_some_and(|at| at <= look.now),
        measured,
        fields,
        stretch: span.stretch(look, name),
        link: Link::default(),
        frames: Vec::new(),
        visits: Vec::new(),
        dev_eui: dev_eui.clone(),
    };
    if let Some(dev_eui) = dev_eui {
        heard_of(look, &dev_eui, &mut node)?;
    }
    Ok(Some(node))
}

/// What only a node that is enrolled can have.
fn heard_of(look: &Look<'_>, dev_eui: &str, node: &mut Node) -> Result<(), StoreError> {
    node.last_heard = query::last_signal(look.log, dev_eui)?.map(|signal| look.when(signal.at));
    node.link = link(look, dev_eui)?;
    let wanted = Wanted { dev_eui: Some(dev_eui), ..Wanted::default() };
    let rows = newest(look.log, &wanted, FRAMES)?;
    node.frames = rows.into_iter().map(|row| heard::frame(look, row)).collect::<Result<_, _>>()?;
    let visit = |visit: query::Visit| Visit { at: look.when(visit.at), by: visit.by, what: visit.what };
    node.visits = query::visits(look.log, dev_eui)?.into_iter().map(visit).collect();
    Ok(())
}

fn place(look: &Look<'_>, name: &str) -> Option<String> {
    let ((latitude_deg, longitude_deg), _) = look.house.stands(name)?;
    let side = |degrees: f64, plus: char, minus: char| {
        format!("{:.4}° {}", degrees.abs(), if degrees < 0.0 { minus } else { plus })
    };
    Some(format!("{}, {}", side(latitude_deg, 'N', 'S'), side(longitude_deg, 'E', 'W')))
}

/// How a node was heard in the last day.
pub(super) fn link(look: &Look<'_>, dev_eui: &str) -> Result<Link, StoreError> {
    let from = look.now - DAY_US;
    let signals = query::signals(look.log, dev_eui, from)?;
    let (heard, lost) = query::losses(look.log, dev_eui, from)?;
    let mut rates: BTreeMap<String, u32> = BTreeMap::new();
    for signal in &signals {
        *rates
            .entry(signal.data_rate.as_deref().map_or_else(|| "a rate not told".to_owned(), rate_words))
            .or_default() += 1;
    }
    let margin = |signal: &Signal| logbook::network::margin_db(signal.data_rate.as_deref()?, signal.snr_db?);
    Ok(Link {
        heard,
        lost,
        rates: rates.into_iter().map(|(rate, frames)| RateShare { rate, frames }).collect(),
        snr_db: spread(signals.iter().filter_map(|signal| signal.snr_db)),
        rssi_dbm: spread(signals.iter().filter_map(|signal| signal.rssi_dbm)),
        margin_db: spread(signals.iter().filter_map(margin)).map(|(_, median, _)| median),
    })
}

/// Least, median and greatest.
fn spread(values: impl Iterator<Item = f64>) -> Option<(f64, f64, f64)> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    Some((*values.first()?, *values.get(values.len() / 2)?, *values.last()?))
}

/// A stretch of time that is looked at.
struct Span {
    to: i64,
    hours: i64,
    is_now: bool,
}

impl Span {
    fn asked(look: &Look<'_>) -> Self {
        let number = |key: &str| look.wish.word(key).and_then(|word| word.parse::<i64>().ok());
        let hours = number("hours").unwrap_or(48).clamp(1, LONGEST_HOURS);
        let to = number("to")
            .map(|seconds| seconds.saturating_mul(1_000_000))
            .filter(|to| (0..look.now).contains(to));
        Self { to: to.unwrap_or(look.now), hours, is_now: to.is_none() }
    }

    fn from(&self) -> i64 {
        self.to - self.hours * HOUR_US
    }

    fn stretch(&self, look: &Look<'_>, name: &str) -> Stretch {
        let at = |hours: i64, to: Option<i64>| {
            let to = to
                .filter(|to| *to < look.now)
                .map(|to| format!("&to={}", to / 1_000_000))
                .unwrap_or_default();
            format!("{}?hours={}{to}", node_page(name), hours.clamp(1, LONGEST_HOURS))
        };
        let end = (!self.is_now).then_some(self.to);
        let half = self.hours * HOUR_US / 2;
        let middle = self.to - half;
        let mut ways = vec![("earlier", at(self.hours, Some(self.to - half)))];
        if !self.is_now {
            ways.push(("later", at(self.hours, Some(self.to + half))));
        }
        let closer = if self.is_now { None } else { Some(middle + half / 2) };
        ways.push(("closer", at(self.hours / 2, closer)));
        ways.push(("wider", at(self.hours * 2, end)));
        ways.push(("all", at(LONGEST_HOURS, None)));
        let span = words::span(design::quantity::Duration::from_hours(self.hours as f64));
        Stretch { words: format!("{span} up to {}", look.when(self.to).clock), ways }
    }

    /// Five times at the axis.
    fn named(&self, look: &Look<'_>, from: i64) -> Vec<(f64, String)> {
        let name = |at: i64| {
            let when = look.when(at);
            let clock = when.clock.trim_end_matches('Z');
            if self.to - from <= 2 * DAY_US {
                // Within minutes the seconds tell one name from the next.
                let digits = if self.to - from < HOUR_US / 6 { 8 } else { 5 };
                clock.rsplit(", ").next().unwrap_or(clock).get(..digits).unwrap_or(clock).to_owned()
            } else {
                clock.split(',').next().unwrap_or(clock).to_owned()
            }
        };
        (0..5)
            .map(|place| from + (self.to - from) * (2 * place + 1) / 10)
            .map(|at| (at as f64 / 1e6, name(at)))
            .collect()
    }
}

fn series(
    look: &Look<'_>,
    dev_eui: &str,
    design: &design::node::Design,
    span: &Span,
) -> Result<Vec<Series>, StoreError> {
    let said = match span.hours {
        ..=RAW_HOURS => query::said(look.log, dev_eui, span.from(), span.to + 1)?,
        _ => Vec::new(),
    };
    let mut all = Vec::new();
    for told in design.told().filter(|told| told.is_figure) {
        let points = points(look, dev_eui, told, span, &said)?;
        if !points.is_empty() {
            all.push(drawn(look, told, span, points));
        }
    }
    Ok(all)
}

#[expect(clippy::cast_possible_truncation, reason = "a time of ours, to the microsecond")]
fn drawn(look: &Look<'_>, told: Told<'_>, span: &Span, points: Vec<Point>) -> Series {
    let first = points.first().map_or(span.from(), |point| (point.at_s * 1e6) as i64);
    // What began within the stretch is drawn from there on.
    let from = first.max(span.from());
    let mut gaps: Vec<f64> =
        points.windows(2).filter_map(|pair| Some(pair.get(1)?.at_s - pair.first()?.at_s)).collect();
    gaps.sort_by(f64::total_cmp);
    let usual_s = gaps.get(gaps.len() / 2).copied().unwrap_or(3600.0);
    let name = told.field.replace('_', " ");
    Series {
        id: format!("{}-{}", told.message, told.field),
        name: plain(&if told.title.is_empty() { name } else { format!("{name}, {}", told.title) }),
        unit: if told.unit == "1" { String::new() } else { words::unit(told.unit).to_owned() },
        span_s: (from as f64 / 1e6, span.to as f64 / 1e6),
        gap_s: 3.5 * usual_s,
        named: span.named(look, from),
        points: columns(points),
    }
}

fn points(
    look: &Look<'_>,
    dev_eui: &str,
    told: Told<'_>,
    span: &Span,
    said: &[Said],
) -> Result<Vec<Point>, StoreError> {
    let series = (told.message, told.field);
    let of = |rows: Vec<Day>, unit_us: i64| -> Vec<Point> {
        let middle = |row: &Day| (row.day * unit_us + unit_us / 2) as f64 / 1e6;
        let inside = |row: &Day| row.day * unit_us < span.to;
        let point =
            |row: Day| Point { at_s: middle(&row), least: row.least, mean: row.mean, greatest: row.greatest };
        rows.into_iter().filter(inside).map(point).collect()
    };
    Ok(match span.hours {
        hours if hours <= RAW_HOURS => said.iter().filter_map(|one| reading(one, series)).collect(),
        ..=HOURLY_HOURS => {
            of(query::hours(look.log, dev_eui, series, span.from().div_euclid(HOUR_US))?, HOUR_US)
        }
        _ => of(query::days(look.log, dev_eui, series, span.from().div_euclid(DAY_US))?, DAY_US),
    })
}

fn reading(said: &Said, (message, column): (&str, &str)) -> Option<Point> {
    let value = nodes::number(said, message, column)?;
    Some(Point { at_s: said.at as f64 / 1e6, least: value, mean: value, greatest: value })
}

/// At most so many points as can be drawn, each of its neighbours together.
fn columns(points: Vec<Point>) -> Vec<Point> {
    let together = points.len().div_ceil(COLUMNS).max(1);
    if together == 1 {
        return points;
    }
    let of = |group: &[Point]| {
        let count = group.len() as f64;
        let sum = |value: fn(&Point) -> f64| group.iter().map(value).sum::<f64>();
        Point {
            at_s: sum(|point| point.at_s) / count,
            least: group.iter().map(|point| point.least).fold(f64::INFINITY, f64::min),
            mean: sum(|point| point.mean) / count,
            greatest: group.iter().map(|point| point.greatest).fold(f64::NEG_INFINITY, f64::max),
        }
    };
    points.chunks(together).map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: of the values 0 to 479 each column holds two neighbours; the last are 478 and 479.
    #[test]
    fn no_extreme_is_lost_when_points_are_put_together() {
        let points = (0..480).map(|at| {
            let value = f64::from(at);
            Point { at_s: value, least: value, mean: value, greatest: value }
        });
        let columns = columns(points.collect());
        assert_eq!(columns.len(), COLUMNS);
        assert_eq!(columns.last(), Some(&Point { at_s: 478.5, least: 478.0, mean: 478.5, greatest: 479.0 }));
    }

    #[test]
    fn the_median_of_a_spread_is_one_of_its_values() {
        assert_eq!(spread([3.0, 1.0, 2.0].into_iter()), Some((1.0, 2.0, 3.0)));
        assert_eq!(spread([].into_iter()), None);
    }
}
