//! One node.

use std::collections::BTreeMap;

use design::node::Told;
use logbook::store::StoreError;
use logbook::store::columns::{Borders, Column, begun, columns_of};
use logbook::store::query::heard::{Wanted, newest};
use logbook::store::query::nodes::{self as query, Signal};
use report::chart::series::{Point, Series};
use report::page::heard::rate_words;
use report::page::node::{Link, Node, RateShare, Sent, Stretch, Visit};
use report::page::{node_page, plain};
use report::words;

use super::nodes::{self, BatteryNow, DAY_US, HOUR_US};
use super::shown::{Look, month_in_utc};
use super::{alarms, heard};

/// Frames that are listed.
const FRAMES: u32 = 50;
/// Points of a drawing.
const COLUMNS: u32 = 240;
const LONGEST_HOURS: i64 = 20 * 366 * 24;
/// Days of the charge that are drawn: a year.
const CHARGE_DAYS: i64 = 365;

/// A node by its name.
pub(super) fn state(look: &Look<'_>, name: &str) -> Result<Option<Node>, StoreError> {
    let Some(known) = look.node(name) else { return Ok(None) };
    let dev_eui = known.dev_eui();
    let design = known.design(look);
    let (mut now, mut measured) = (BatteryNow::default(), Vec::new());
    let sent = sent(look, name)?.unwrap_or_default();
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
        sent,
        link: Link::default(),
        frames: Vec::new(),
        visits: Vec::new(),
        replace_battery_by: None,
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
    if let Some(promised) = &node.promised {
        node.replace_battery_by = nodes::battery_due(look, dev_eui, promised)?.and_then(month_in_utc);
    }
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
    /// When the node said something first, if it ever did.
    begun: Option<i64>,
}

impl Span {
    /// The stretch that is asked for; it begins no earlier than what the node ever said.
    fn asked(look: &Look<'_>, dev_eui: Option<&str>) -> Result<Self, StoreError> {
        let number = |key: &str| look.wish.word(key).and_then(|word| word.parse::<i64>().ok());
        let hours = number("hours").unwrap_or(48).clamp(1, LONGEST_HOURS);
        let to = number("to")
            .map(|seconds| seconds.saturating_mul(1_000_000))
            .filter(|to| (0..look.now).contains(to));
        let (is_now, to) = (to.is_none(), to.unwrap_or(look.now));
        let begun = dev_eui.map(|dev_eui| begun(look.log, dev_eui)).transpose()?.flatten();
        let known = begun.map_or(hours, |begun| (to - begun).div_euclid(HOUR_US) + 1);
        Ok(Self { to, hours: hours.min(known.max(1)), is_now, begun })
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

/// What a node sent in the stretch that is asked for, and nothing else of it: what a zoom shows.
pub(super) fn sent(look: &Look<'_>, name: &str) -> Result<Option<Sent>, StoreError> {
    let Some(known) = look.node(name) else { return Ok(None) };
    let dev_eui = known.dev_eui();
    let span = Span::asked(look, dev_eui.as_deref())?;
    let fields = match (&dev_eui, known.design(look)) {
        (Some(dev_eui), Some(design)) => series(look, dev_eui, design, &span)?,
        _ => Vec::new(),
    };
    Ok(Some(Sent { fields, stretch: span.stretch(look, name) }))
}

/// Each figure that its messages tell, in the order of the design.
fn series(
    look: &Look<'_>,
    dev_eui: &str,
    design: &design::node::Design,
    span: &Span,
) -> Result<Vec<Series>, StoreError> {
    let figures: Vec<Told<'_>> = design.told().filter(|told| told.is_figure).collect();
    // Columns are as narrow as what there is allows.
    let from = span.begun.map_or(span.from(), |begun| begun.clamp(span.from(), span.to));
    let borders = Borders::new(from, span.to + 1, COLUMNS);
    let mut all = Vec::new();
    for of_message in figures.chunk_by(|one, next| one.message == next.message) {
        let Some(message) = of_message.first().map(|told| told.message) else { continue };
        let names: Vec<&str> = of_message.iter().map(|told| told.field).collect();
        let columns = columns_of(look.log, (dev_eui, message), &names, borders)?;
        let drawn = of_message.iter().zip(columns).filter(|(_, columns)| !columns.is_empty());
        all.extend(drawn.map(|(told, columns)| self::drawn(look, *told, (span, borders), &columns)));
    }
    Ok(all)
}

fn drawn(look: &Look<'_>, told: Told<'_>, (span, borders): (&Span, Borders), columns: &[Column]) -> Series {
    // What began within the stretch is drawn from there on.
    let from = columns.first().map_or(span.from(), |column| column.from).max(span.from());
    let points: Vec<Point> = columns.iter().map(|column| point(column, borders, span)).collect();
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
        points,
    }
}

/// A column in the middle of what of it lies within the stretch.
fn point(column: &Column, borders: Borders, span: &Span) -> Point {
    let (from, to) = (column.from.max(span.from()), (column.from + borders.width).min(span.to));
    Point {
        at_s: (from + to.max(from)) as f64 / 2e6,
        least: column.least,
        mean: column.mean,
        greatest: column.greatest,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_of_a_spread_is_one_of_its_values() {
        assert_eq!(spread([3.0, 1.0, 2.0].into_iter()), Some((1.0, 2.0, 3.0)));
        assert_eq!(spread([].into_iter()), None);
    }
}
