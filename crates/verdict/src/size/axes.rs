//! What may be chosen: panels, capacities and intervals in order, and all that has no order.

use design::catalog::Catalog;
use design::change::Change;
use design::node::{Activity, Condition, Design, Load};
use design::quantity::{Angle, Charge, Duration, Quantity, Uncertain};
use forecast::radio::spots::Spots;

use super::SizeError;
use crate::law;
use crate::remedy::{INTERVALS_MIN, two_digits};

/// Steps of a range of capacities.
const CAPACITIES: i32 = 10;
/// A range that is not written goes from so much to so much of what is written.
const CAPACITY_AROUND: (f64, f64) = (0.25, 4.0);
const INTERVAL_AROUND: (f64, f64) = (0.25, 6.0);

/// A panel that may be chosen, or none.
#[derive(Clone, Debug)]
pub(super) struct PanelAt {
    pub(super) name: Option<String>,
    pub(super) watts: f64,
    pub(super) price: Option<f64>,
}

/// What has no order: each is searched on its own.
#[derive(Clone, Debug)]
pub(super) struct Frame {
    /// The design with battery, charger and tilt of this frame.
    pub(super) design: Design,
    pub(super) changes: Vec<Change>,
    /// Capacities of the pack, ascending; one where the battery has none to choose \[mAh\].
    pub(super) capacities_mah: Vec<f64>,
    /// Panels that its charger bears, ascending.
    pub(super) panels: Vec<PanelAt>,
}

/// Everything that may be chosen.
#[derive(Clone, Debug)]
pub(super) struct Axes {
    pub(super) frames: Vec<Frame>,
    /// Shortest first; empty where nothing reports.
    pub(super) intervals: Vec<Duration>,
    /// Load and activity of the interval.
    pub(super) activity: Option<(String, String)>,
    pub(super) unlawful: Vec<Duration>,
}

impl Axes {
    pub(super) fn of(design: &Design, spots: &Spots) -> Result<Self, SizeError> {
        let reports = sized_activity(design);
        let activity = reports.map(|(load, activity, _)| (load.name.clone(), activity.name.clone()));
        let mut axes = Self { frames: frames(design), intervals: Vec::new(), activity, unlawful: Vec::new() };
        if let Some((_, _, every)) = reports {
            axes.choose_intervals(design, spots, every);
            if axes.intervals.is_empty() {
                let because = ": none is lawful and long enough for the message".to_owned();
                return Err(SizeError::Nothing { key: "size.intervals", because });
            }
        }
        axes.frames.retain(|frame| !frame.panels.is_empty());
        if axes.frames.is_empty() {
            let because = first_refusal(design).map(|said| format!(": {said}")).unwrap_or_default();
            return Err(SizeError::Nothing { key: "size.panels", because });
        }
        Ok(axes)
    }

    pub(super) fn designs(&self) -> usize {
        let of =
            |frame: &Frame| frame.panels.len() * frame.capacities_mah.len() * self.intervals.len().max(1);
        self.frames.iter().map(of).sum()
    }

    fn choose_intervals(&mut self, design: &Design, spots: &Spots, written: Duration) {
        let (least, most) = design
            .sizing
            .intervals
            .unwrap_or_else(|| (written * INTERVAL_AROUND.0, written * INTERVAL_AROUND.1));
        let mut all: Vec<Duration> = INTERVALS_MIN.map(Duration::from_minutes).to_vec();
        all.extend([least, most]);
        if design.sizing.intervals.is_none() {
            all.push(written);
        }
        all.retain(|one| *one >= least && *one <= most);
        all.sort_by(|one, other| one.seconds().total_cmp(&other.seconds()));
        all.dedup_by(|one, other| (one.seconds() - other.seconds()).abs() < 1.0);
        let link = spots.middle_state();
        let allowed = law::judge(design, link).verdict.badness();
        for every in all {
            let lawful = self
                .with_interval(design, every)
                .is_some_and(|design| law::judge(&design, link).verdict.badness() <= allowed);
            if lawful { self.intervals.push(every) } else { self.unlawful.push(every) }
        }
    }

    /// The design with this interval.
    pub(super) fn with_interval(&self, design: &Design, every: Duration) -> Option<Design> {
        design.with(self.interval(every)?).ok()
    }

    pub(super) fn interval(&self, every: Duration) -> Option<Change> {
        let (load, activity) = self.activity.clone()?;
        Some(Change::Interval { load, activity, every })
    }
}

/// The activity whose interval is chosen: the one that is named, or the one that reports most often all year.
fn sized_activity(design: &Design) -> Option<(&Load, &Activity, Duration)> {
    let all = design.loads.iter().flat_map(|load| load.activities.iter().map(move |one| (load, one)));
    let mut fixed =
        all.filter_map(|(load, activity)| Some((load, activity, activity.every.fixed_interval()?)));
    match &design.sizing.activity {
        Some(name) => fixed.find(|(_, activity, _)| activity.name == *name),
        None => fixed
            .filter(|(_, activity, _)| activity.sends() && activity.when == Condition::default())
            .reduce(|one, other| if other.2 < one.2 { other } else { one }),
    }
}

fn frames(design: &Design) -> Vec<Frame> {
    let sizing = &design.sizing;
    let named = |names: &[String], change: fn(String) -> Change| -> Vec<Option<Change>> {
        if names.is_empty() {
            vec![None]
        } else {
            names.iter().map(|name| Some(change(name.clone()))).collect()
        }
    };
    let tilts: Vec<Option<Change>> = if sizing.tilts.is_empty() {
        vec![None]
    } else {
        sizing.tilts.iter().map(|tilt: &Angle| Some(Change::Tilt(*tilt))).collect()
    };
    let mut frames = Vec::new();
    for charger in named(&sizing.chargers, Change::Charger) {
        for battery in named(&sizing.batteries, Change::Battery) {
            for tilt in &tilts {
                let changes: Vec<Change> =
                    [&charger, &battery, tilt].into_iter().flatten().cloned().collect();
                frames.extend(frame(design, changes));
            }
        }
    }
    frames.extend(sizing.batteries.iter().filter_map(|name| primary(design, name)));
    frames
}

/// The frame of a primary cell: no panel, no charger, nothing to tilt. `None` of a battery that is charged.
fn primary(design: &Design, name: &str) -> Option<Frame> {
    let change = Change::PrimaryCell(name.to_owned());
    let framed = design.with(change.clone()).ok().filter(|framed| framed.battery.charge_limit.is_none())?;
    let capacities_mah = capacities(&framed);
    let panels = vec![PanelAt { name: None, watts: 0.0, price: None }];
    Some(Frame { design: framed, changes: vec![change], capacities_mah, panels })
}

/// The frame of these changes; `None` where charger and battery do not suit each other in either order.
fn frame(design: &Design, changes: Vec<Change>) -> Option<Frame> {
    let made = |changes: &[Change]| {
        changes.iter().try_fold(design.clone(), |design, change| design.with(change.clone()).ok())
    };
    let backwards: Vec<Change> = changes.iter().rev().cloned().collect();
    let (framed, changes) = match made(&changes) {
        Some(framed) => (framed, changes),
        None => (made(&backwards)?, backwards),
    };
    let capacities_mah = capacities(&framed);
    let panels = panels(&framed);
    Some(Frame { design: framed, changes, capacities_mah, panels })
}

fn capacities(design: &Design) -> Vec<f64> {
    let written = design.battery.capacity.nominal.milliampere_hours();
    let (least, most) = design
        .sizing
        .capacities
        .map_or((written * CAPACITY_AROUND.0, written * CAPACITY_AROUND.1), |(least, most)| {
            (least.milliampere_hours(), most.milliampere_hours())
        });
    let step = (most / least).powf(1.0 / f64::from(CAPACITIES - 1));
    let mut all: Vec<f64> = (0..CAPACITIES).map(|place| two_digits(least * step.powi(place))).collect();
    if written >= least && written <= most {
        all.push(written);
    }
    all.sort_by(f64::total_cmp);
    all.dedup_by(|one, other| (*one / *other - 1.0).abs() < 0.02);
    // A supercapacitor's charge follows from its capacitance, which is not chosen.
    all.retain(|mah| design.with(capacity(design, *mah)).is_ok());
    if all.is_empty() { vec![written] } else { all }
}

/// The same kind of cell with this much on the label of the pack.
pub(super) fn capacity(design: &Design, pack_mah: f64) -> Change {
    let battery = &design.battery;
    let nominal = Charge::from_milliampere_hours(pack_mah / f64::from(battery.cells_in_parallel));
    let spread = battery.capacity.spread_si / battery.capacity.nominal.si();
    Change::Capacity(Uncertain { nominal, spread_si: spread * nominal.si() })
}

/// Panels that suit the design, ascending; of equal power the first by name.
fn panels(design: &Design) -> Vec<PanelAt> {
    let names: Vec<String> = if design.sizing.panels.is_empty() {
        Catalog::names("panel").into_iter().map(str::to_owned).collect()
    } else {
        design.sizing.panels.clone()
    };
    let volts =
        |design: &Design| design.panel.as_ref().map(|mounted| mounted.panel.open_circuit_voltage.volts());
    let limit = design.charger.as_ref().and_then(|charger| charger.input_absolute_maximum);
    let mut all: Vec<PanelAt> = Vec::new();
    for name in names {
        let Ok(variant) = design.with(Change::Panel(name.clone())) else { continue };
        let bears = limit.zip(volts(&variant)).is_none_or(|(limit, volts)| volts <= limit.volts());
        let Some(panel) = variant.panel.as_ref().map(|mounted| &mounted.panel).filter(|_| bears) else {
            continue;
        };
        all.push(PanelAt { name: Some(name), watts: panel.power.nominal.watts(), price: panel.price });
    }
    all.sort_by(|one, other| one.watts.total_cmp(&other.watts).then(one.name.cmp(&other.name)));
    all.dedup_by(|one, other| one.watts <= other.watts);
    all
}

/// Why the first panel that may be chosen does not suit.
fn first_refusal(design: &Design) -> Option<String> {
    if design.panel.is_none() {
        return Some("the design has no panel to size".to_owned());
    }
    let name = design.sizing.panels.first()?;
    design.with(Change::Panel(name.clone())).err().map(|refused| refused.message)
}
