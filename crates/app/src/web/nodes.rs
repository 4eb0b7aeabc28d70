//! What pages show of a node: who it is, what it said, and what is promised of it.

use design::message::Meaning;
use design::node::Design;
use logbook::registry::Node;
use logbook::store::StoreError;
use logbook::store::query::nodes::{self, Day};
use logbook::store::since::Said;
use report::page::alarms::Alarm;
use report::page::site::{Foretold, Site, SiteNode};
use serde_json::Value;
use verdict::Verdict;

use logbook::received::Moment;
use logbook::store::visits;
use report::page::promised::PromisedNode;

use super::alarms;
use super::promises::place;
use super::shown::Look;
use report::chart::ground::Standing;

pub(super) const HOUR_US: i64 = 3_600_000_000;
pub(super) const DAY_US: i64 = 24 * HOUR_US;

/// A node by its name.
pub(super) struct Known<'a> {
    /// As it is planned; `None` if the site file does not place it.
    pub(super) planned: Option<&'a Design>,
    /// Its open row in the registry; `None` if nobody enrolled it.
    pub(super) row: Option<&'a Node>,
}

/// The battery of a node as its messages tell it.
pub(super) struct BatteryField<'a> {
    /// The message and the field.
    pub(super) series: (&'a str, &'a str),
    /// Volts of one of its units.
    pub(super) volts: f64,
}

impl<'a> Look<'a> {
    /// A node by its name; `None` if nobody planned or enrolled one.
    pub(super) fn node(&self, name: &str) -> Option<Known<'a>> {
        let house = self.house;
        let planned = house.site.designs().iter().find(|design| design.name == name);
        let row = house.registry.iter().find(|row| row.open() && row.name == name);
        (planned.is_some() || row.is_some()).then_some(Known { planned, row })
    }
}

impl<'a> Known<'a> {
    /// Its identity: 16 hex digits.
    pub(super) fn dev_eui(&self) -> Option<String> {
        self.row.map(|row| row.dev_eui.to_string())
    }

    /// The design that reads its messages: of its kind, else as it is planned.
    pub(super) fn design(&self, look: &Look<'a>) -> Option<&'a Design> {
        let kind =
            self.row.and_then(|row| look.house.site.kinds().find(|(_, design)| design.name == row.kind));
        kind.map(|(_, design)| design).or(self.planned)
    }
}

/// The field by which a design tells the voltage of its battery.
pub(super) fn battery(design: &Design) -> Option<BatteryField<'_>> {
    let told = design.told().find(|told| told.meaning == Some(Meaning::Battery))?;
    Some(BatteryField { series: (told.message, told.field), volts: told.volts() })
}

/// A number that a reading holds; flags are 0 and 1.
pub(super) fn number(said: &Said, message: &str, column: &str) -> Option<f64> {
    let value = (said.message == message).then(|| said.values.iter().find(|(name, _)| name == column))??;
    match &value.1 {
        Value::Bool(yes) => Some(f64::from(*yes)),
        other => other.as_f64(),
    }
}

/// What is known of a battery now.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct BatteryNow {
    /// As it was last sent \[V\].
    pub(super) volts: Option<f64>,
    /// From the lowest voltage of the last day, as if it rested \[%\].
    pub(super) charge_percent: Option<f64>,
}

/// Charge at which the battery of a design rests at a voltage \[%\].
pub(super) fn percent(design: &Design, volts: f64) -> f64 {
    let rest = design::quantity::Voltage::from_volts(volts);
    100.0 * forecast::power::battery::charge_at_rest(&design.battery, rest)
}

pub(super) fn battery_now(look: &Look<'_>, dev_eui: &str, design: &Design) -> Result<BatteryNow, StoreError> {
    let Some(field) = battery(design) else { return Ok(BatteryNow::default()) };
    let (message, column) = field.series;
    let said = nodes::said(look.log, dev_eui, look.now - DAY_US, look.now + HOUR_US)?;
    let volts: Vec<f64> =
        said.iter().filter_map(|one| Some(number(one, message, column)? * field.volts)).collect();
    let least = volts.iter().copied().reduce(f64::min);
    Ok(BatteryNow { volts: volts.last().copied(), charge_percent: least.map(|volts| percent(design, volts)) })
}

const DAYS_PER_YEAR: f64 = 365.25;
/// Visits of one node: more than anybody makes.
const ALL_VISITS: u32 = 10_000;

/// A node that was put out with another charge than the season's is held against its forecast from then on \[days\] (own choice).
const SETTLES_DAYS: i64 = 30;

/// From when on a node is held against its forecast; `None` before its first frame.
pub(super) fn settles_at(look: &Look<'_>, dev_eui: &str) -> Result<Option<i64>, StoreError> {
    Ok(nodes::first_heard(look.log, dev_eui)?.map(|first| first + SETTLES_DAYS * DAY_US))
}

/// When the battery that is in a node no longer does what its design expects: counted from the visit that changed it, else
/// from the node's first frame.
#[expect(clippy::cast_possible_truncation, reason = "40 years are 1.3e15 microseconds")]
pub(super) fn battery_due(
    look: &Look<'_>,
    dev_eui: &str,
    promised: &PromisedNode,
) -> Result<Option<Moment>, StoreError> {
    let Some(years) = promised.battery_years else { return Ok(None) };
    let all = visits::visits(look.log, Some(dev_eui), ALL_VISITS)?;
    let changed = all.into_iter().find(|visit| visit.parts.iter().any(|part| part == "battery"));
    let since = match changed {
        Some(visit) => Some(visit.at),
        None => nodes::first_heard(look.log, dev_eui)?,
    };
    Ok(since.map(|since| since + (years * DAYS_PER_YEAR * DAY_US as f64) as i64))
}

/// What is foretold for the day of the calendar that it is now.
pub(super) fn foretold(look: &Look<'_>, name: &str) -> Option<Foretold> {
    let promised = look.house.promises.of(name)?;
    let (_, month, day) = look.house.zone.day(look.now)?;
    let [p05, _, p50, _, p95] =
        promised.course.as_ref()?.on(u8::try_from(month).ok()?, u8::try_from(day).ok()?)?;
    Some(Foretold { p05, p50, p95 })
}

/// Whether what was measured keeps what was foretold; `None` where either is not known.
fn truth(charge: Option<f64>, foretold: Option<Foretold>) -> Option<Verdict> {
    let (charge, foretold) = (charge?, foretold?);
    Some(if charge < foretold.p05 { Verdict::Tight } else { Verdict::Holds })
}

/// Whether it does what was promised, by what its messages taught; none as long as they say nothing of it.
fn learned(look: &Look<'_>, name: &str) -> Option<Verdict> {
    look.house.truths.of(name).map(|learned| learned.verdict).filter(|verdict| *verdict != Verdict::NotKnown)
}

/// All nodes, worst first.
pub(super) fn site(look: &Look<'_>) -> Result<Option<Site>, StoreError> {
    let open = alarms::open(look)?;
    let nodes = all(look, &open)?;
    let ground = ground(look, &nodes);
    let note = look.house.site.fleet.note.clone();
    Ok(Some(Site { note, nodes, alarms: open, to_be_worked_out: look.house.promises.left(), ground }))
}

/// What is known of all nodes, worst first.
pub(super) fn all(look: &Look<'_>, open: &[Alarm]) -> Result<Vec<SiteNode>, StoreError> {
    let mut nodes = Vec::new();
    for name in look.house.all_names() {
        let alarms = open.iter().filter(|alarm| alarm.node.as_ref() == Some(&name)).count();
        nodes.extend(site_node(look, name, alarms)?);
    }
    SiteNode::sort(&mut nodes);
    Ok(nodes)
}

fn site_node(look: &Look<'_>, name: String, alarms: usize) -> Result<Option<SiteNode>, StoreError> {
    let Some(known) = look.node(&name) else { return Ok(None) };
    let design = known.design(look);
    let (mut last, mut now, mut is_settled) = (None, BatteryNow::default(), false);
    if let Some(dev_eui) = known.dev_eui() {
        last = nodes::last_signal(look.log, &dev_eui)?;
        is_settled = settles_at(look, &dev_eui)?.is_some_and(|at| at <= look.now);
        if let Some(design) = design {
            now = battery_now(look, &dev_eui, design)?;
        }
    }
    let foretold = foretold(look, &name);
    let margin =
        |signal: &nodes::Signal| logbook::network::margin_db(signal.data_rate.as_deref()?, signal.snr_db?);
    Ok(Some(SiteNode {
        kind: known.row.map(|row| row.kind.clone()).or_else(|| Some(design?.name.clone())),
        is_enrolled: known.row.is_some(),
        promised: look.house.promises.of(&name),
        truth: learned(look, &name).or_else(|| is_settled.then(|| truth(now.charge_percent, foretold))?),
        is_settled,
        battery_volts: now.volts,
        charge_percent: now.charge_percent,
        foretold_percent: foretold,
        margin_db: last.as_ref().and_then(margin),
        last_heard: last.map(|signal| look.when(signal.at)),
        alarms,
        name,
    }))
}

fn ground(look: &Look<'_>, nodes: &[SiteNode]) -> Option<report::chart::Chart> {
    let site = &look.house.site;
    let standing: Vec<Standing<'_>> = site
        .designs()
        .iter()
        .map(|design| {
            let shown = nodes.iter().find(|node| node.name == design.name);
            Standing {
                name: &design.name,
                place: {
                    let planned = (design.site.latitude.degrees(), design.site.longitude.degrees());
                    let (north, east) = look.house.stands(&design.name).map_or(planned, |(place, _)| place);
                    place(north, east)
                },
                verdict: shown.map_or(Verdict::NotKnown, SiteNode::worst),
                page: report::page::node_page(&design.name),
            }
        })
        .collect();
    let gateways: Vec<_> = site
        .fleet
        .surroundings
        .gateways
        .iter()
        .map(|at| (at.name.as_str(), place(at.latitude.degrees(), at.longitude.degrees())))
        .collect();
    Some(look.house.promises.ground()?.chart("/ground.png", &standing, &gateways))
}

/// Days of the battery's charge, the oldest first.
pub(super) fn charges(
    days: &[Day],
    design: &Design,
    volts: f64,
    settles_at: Option<i64>,
) -> Vec<report::chart::kept::MeasuredDay> {
    let day = |day: &Day| {
        let (_, month, of_month) = forecast::learn::date_of(day.day * 86_400);
        report::chart::kept::MeasuredDay {
            month,
            day: of_month,
            least_percent: percent(design, day.least * volts),
            greatest_percent: percent(design, day.greatest * volts),
            is_settled: settles_at.is_some_and(|at| at <= day.day * DAY_US),
        }
    };
    days.iter().map(day).collect()
}
