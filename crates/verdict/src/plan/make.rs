//! From a checked design and a weather record to the plan; nothing here can fail.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use std::sync::Arc;

use design::change::Change;
use design::node::Design;
use design::part::GateBand;
use design::quantity::{Current, Irradiance, Share, Temperature, Voltage};

use super::chances::{self, Effort, chances};
use super::defects::defects;
use super::findings::{self, findings};
use super::ledger::{ledger, months};
use super::lives::{KeptHour, Lived, Stage};
use crate::plan::{Cause, Hour, Life, Moment, NodeState, Plan, Variant, Verdict, WeatherUsed};
use forecast::Progress;
use forecast::diary::Diary;
use forecast::life::ensemble::Question;
use forecast::life::node::{Harvest, NodeTables};
use forecast::life::unknowns::Unknowns;
use forecast::life::weather::{self as record, Felt};
use forecast::load::Demand;
use forecast::power::charge_table::ChargeTable;
use forecast::power::charger::charging_current;
use forecast::power::diode::Point;
use forecast::power::panel::PanelModel;
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use forecast::sky::hours::LifeWeather;
use forecast::sky::light::{YEAR_HOURS, nominal_hours};
use forecast::sky::recorded::{MEASURED_SUN_DOUBT, RecordedWeather};
use forecast::sky::weather::WeatherHours;

/// With fewer dark days in hand than this at the lowest point, a life that went well is no proof: good practice asks
/// five to seven days of autonomy for an undemanding load (IEEE 1562, clause 6, from memory).
const DAYS_IN_HAND: f64 = 5.0;
/// A primary cell must last the promise and this share more: its end comes without a warning (own choice).
pub(super) const PRIMARY_MARGIN: f64 = 1.2;

/// Nobody plans a node for longer \[years\].
const LONGEST_LIFE_YEARS: f64 = 30.0;
/// No maker vouches for a primary cell beyond this, whatever the arithmetic says (common practice, no source).
const SHELF_LIFE_YEARS: f64 = 20.0;

/// The weather a plan is made with.
#[derive(Clone, Copy, Debug)]
pub enum Weather<'a> {
    /// Hours that were recorded.
    Hours(&'a WeatherHours),
    /// A climate, from which weather is drawn.
    Climate(&'a Climate),
}

/// Plans a design under one weather record, lived again and again for as long as the promise says, in one life.
#[must_use]
pub fn plan_once(design: &Design, weather: &WeatherHours) -> Plan {
    let diary = Diary::new(design);
    let felt = record::build(design, weather, &diary);
    let node = tables(design, Demand::new(design, &diary));
    lay_out(design, &felt, &node, recorded_weather(design, weather, &felt))
}

/// Plans a design: one life to look at, and many to tell how likely it is. `spots` says at which data rates lives may find
/// themselves; the one to look at goes as on the middle spot.
#[must_use]
pub fn plan(
    design: &Design,
    weather: Weather<'_>,
    spots: &Spots,
    effort: Effort,
    progress: &dyn Progress,
) -> Plan {
    let diary = Diary::new(design);
    let node = tables(design, Demand::on_link(design, spots.middle_state(), &diary));
    let case = Case { design, spots, diary: &diary, node: &node, effort, progress };
    match weather {
        Weather::Hours(hours) => {
            let felt = record::build(design, hours, &diary);
            let used = recorded_weather(design, hours, &felt);
            let south =
                hours.place.as_ref().map_or(design.site.latitude, |place| place.latitude).degrees() < 0.0;
            let drawn = RecordedWeather::new(&felt.record.hours, &felt.dates, south);
            let plan = lay_out(design, &felt, &node, used);
            case.with_chances(plan, &felt, &drawn, MEASURED_SUN_DOUBT)
        }
        Weather::Climate(climate) => {
            let drawn = record::synthetic(design, climate, &diary);
            let felt = record::drawn(design, &drawn, &diary, effort.seed);
            let plan = lay_out(design, &felt, &node, drawn_weather(climate, &felt));
            let dark_month = usize::from(felt.dates[felt.dark_month_from].0) - 1;
            let sun_doubt = climate.months[dark_month].sun_doubt;
            case.with_chances(plan, &felt, &drawn, sun_doubt)
        }
    }
}

/// One life and everything that is said of it.
fn lay_out(design: &Design, felt: &Felt, node: &NodeTables, used: WeatherUsed) -> Plan {
    let stage = stage(design, felt, node);
    let start = start(design, used.south, felt);
    let hours = usize::from(used.passes) * felt.dates.len();
    let charge = design.promise.charge_at_installation;
    let defects_from = month_before(felt, stage.dark_month_from);
    let mut lived = stage.live(start, charge, hours, defects_from);
    lived.life.cause = cause(&lived.life, design, &stage, start, hours);
    let with_gate = with_gate(design, felt, node, &lived.life, start, hours);
    let (verdict, reason) = judge(design, &lived.life);
    let dark_month = felt.dates[stage.dark_month_from].0;
    let model = panel_model(design);
    Plan {
        verdict,
        reason,
        ledger: ledger(&stage, &lived.last_pass, dark_month),
        months: months(&stage, &lived.last_pass, &felt.plain_in_plane_w_m2),
        defects: defects(&stage, design, &lived, defects_from),
        with_gate,
        findings: findings(&stage, design, model.as_ref(), &lived.life, &used),
        hours: hours_of(&stage, design, model.as_ref(), &lived, used.passes - 1),
        life: lived.life,
        weather: used,
        chances: None,
    }
}

/// What many lives share.
struct Case<'a> {
    design: &'a Design,
    spots: &'a Spots,
    diary: &'a Diary,
    node: &'a NodeTables,
    effort: Effort,
    progress: &'a dyn Progress,
}

impl Case<'_> {
    /// Adds the many lives, and lets them decide.
    fn with_chances<W: LifeWeather>(&self, plan: Plan, felt: &Felt, weather: &W, sun_doubt: f64) -> Plan {
        let Self { design, spots, diary, node, effort, progress } = *self;
        let nodes: Vec<NodeTables> = spots
            .classes()
            .iter()
            .map(|class| node.with_demand(Demand::on_link(design, class, diary)))
            .collect();
        let unknowns = Unknowns::new(design, nodes.len() > 1);
        let kinds = kinds_of_year(diary);
        let question = Question {
            nodes: &nodes,
            spots,
            weather,
            kinds: &kinds,
            unknowns: &unknowns,
            years: design.promise.unattended.years().ceil().clamp(1.0, LONGEST_LIFE_YEARS) as usize,
            start_day: design.promise.installed.map(|(month, day)| day_of_year(month, day)),
            charge: design.promise.charge_at_installation,
            yield_kept_per_year: design
                .panel
                .as_ref()
                .map_or(1.0, |panel| 1.0 - panel.panel.yearly_loss.fraction()),
            seed: effort.seed,
        };
        let stage = stage(design, felt, node);
        let (dark_month, ..) = felt.dates[month_before(felt, stage.dark_month_from)];
        let chances =
            chances(design, &stage, &question, sun_doubt, day_of_year(dark_month, 1), effort, progress);
        let mut verdict = chances.verdict();
        if verdict == Verdict::Holds && plan.life.plating_hours_per_year > 0.0 {
            verdict = Verdict::Tight;
        }
        let mut findings = plan.findings;
        let near = chances::near_a_gateway(&question, &chances, effort, progress);
        findings.extend(near.and_then(|near| findings::dies_by_distance(design, spots, &chances, near)));
        findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        Plan { verdict, reason: chances.reason(), findings, chances: Some(chances), ..plan }
    }
}

fn kinds_of_year(diary: &Diary) -> Vec<u16> {
    nominal_hours().iter().map(|hour| diary.kind(hour.month, hour.day, hour.hour) as u16).collect()
}

/// Day of the nominal year, the first of January being 0.
fn day_of_year(month: u8, day: u8) -> usize {
    nominal_hours().iter().position(|hour| (hour.month, hour.day) >= (month, day)).unwrap_or(0) / 24
}

fn tables(design: &Design, demand: Demand) -> NodeTables {
    let harvest = match (panel_model(design), &design.charger) {
        (Some(model), Some(charger)) => {
            Harvest::Table(Arc::new(ChargeTable::new(&model, charger, &design.battery)))
        }
        _ => Harvest::None,
    };
    NodeTables::new(design, harvest, demand)
}

/// The panel's curve; `None` without a panel, or if its data-sheet points fit no solar cell (said as a finding).
fn panel_model(design: &Design) -> Option<PanelModel> {
    design.panel.as_ref().and_then(|mounted| PanelModel::new(&mounted.panel).ok())
}

fn stage<'a>(design: &Design, felt: &'a Felt, node: &'a NodeTables) -> Stage<'a> {
    let gate_missing = design.charger.as_ref().is_some_and(|charger| charger.temperature_gate.is_empty());
    Stage {
        node,
        record: &felt.record,
        dates: &felt.dates,
        dark_month_from: felt.dark_month_from,
        plates: gate_missing && design.battery.chemistry.plates_below_freezing(),
    }
}

fn recorded_weather(design: &Design, weather: &WeatherHours, felt: &Felt) -> WeatherUsed {
    let hours = felt.dates.len();
    let wanted_h = design.promise.unattended.hours();
    WeatherUsed {
        title: weather.title.clone(),
        drawn: false,
        south: weather.place.as_ref().map_or(design.site.latitude, |place| place.latitude).degrees() < 0.0,
        place: weather.place.as_ref().map(|place| (place.latitude, place.longitude)),
        distance_km: weather.place.as_ref().map(|place| record::distance_km(design, place)),
        hours,
        passes: (wanted_h / hours as f64).round().clamp(1.0, 100.0) as u16,
        diffuse_measured: weather.dni_w_m2.is_some() && weather.dhi_w_m2.is_some(),
        wind_measured: weather.wind_m_s.is_some(),
    }
}

fn drawn_weather(climate: &Climate, felt: &Felt) -> WeatherUsed {
    WeatherUsed {
        title: climate.source.clone(),
        drawn: true,
        south: climate.latitude.degrees() < 0.0,
        place: None,
        distance_km: None,
        hours: felt.dates.len(),
        passes: 1,
        diffuse_measured: false,
        wind_measured: false,
    }
}

/// The hour it goes out: the day of the file, else midsummer, so that the first winter comes whole.
fn start(design: &Design, south: bool, felt: &Felt) -> usize {
    let date = design.promise.installed.unwrap_or(if south { (12, 21) } else { (6, 21) });
    felt.dates.iter().position(|(month, day, _)| (*month, *day) >= date).unwrap_or(0)
}

/// First hour of the month before the darkest: when a defect begins to matter.
fn month_before(felt: &Felt, dark_month_from: usize) -> usize {
    let dark_month = felt.dates[dark_month_from].0;
    let before = if dark_month == 1 { 12 } else { dark_month - 1 };
    felt.dates.iter().position(|(month, _, _)| *month == before).unwrap_or(0)
}

/// What would have saved a life that failed: the first of pulse, gate and wear whose removal does.
fn cause(life: &Life, design: &Design, stage: &Stage<'_>, start: usize, hours: usize) -> Option<Cause> {
    life.first_outage?;
    let charge = design.promise.charge_at_installation;
    let saved = |change: &dyn Fn(&mut NodeTables)| {
        let mut node = stage.node.clone();
        change(&mut node);
        let changed = Stage { node: &node, ..*stage };
        changed.survives(start, charge, hours)
    };
    if saved(&|node| node.demand.pulse.amperes = 0.0) {
        Some(Cause::BrownOut)
    } else if saved(&|node| node.charger.open_gate()) {
        Some(Cause::ChargeGate)
    } else if saved(&|node| node.ageing = None) {
        Some(Cause::Ageing)
    } else {
        Some(Cause::Sun)
    }
}

/// The same node with the plainest gate, charging only from 0 to 45 °C, where it has none and charges below freezing.
fn with_gate(
    design: &Design,
    felt: &Felt,
    node: &NodeTables,
    life: &Life,
    start: usize,
    hours: usize,
) -> Option<Variant> {
    if life.plating_hours_per_year <= 0.0 {
        return None;
    }
    let band = GateBand {
        from: Temperature::from_celsius(0.0),
        to: Temperature::from_celsius(45.0),
        current: Share::from_fraction(1.0),
        voltage_reduction: Voltage::ZERO,
    };
    let gated = design.with(Change::TemperatureGate(vec![band])).ok()?;
    let node = tables(&gated, node.demand.clone());
    let stage = stage(&gated, felt, &node);
    let lived = stage.live(start, gated.promise.charge_at_installation, hours, 0);
    let (verdict, _) = judge(&gated, &lived.life);
    Some(Variant {
        name: "with a gate that charges only from 0 to 45 C".to_owned(),
        verdict,
        life: lived.life,
    })
}

/// The verdict on one life and its reason.
fn judge(design: &Design, life: &Life) -> (Verdict, String) {
    let days = life.in_hand.days();
    let promised = design.promise.unattended;
    if let Some(first) = life.first_outage {
        let year = first.pass + 1;
        let hours_a_year = f64::from(life.outage_hours) / promised.years().max(1.0);
        return (
            Verdict::Fails,
            format!("it stops in year {year} and is out for {hours_a_year:.0} hours a year"),
        );
    }
    if design.panel.is_none() {
        let years = life.without_sun.years();
        let verdict =
            if life.without_sun < promised * PRIMARY_MARGIN { Verdict::Tight } else { Verdict::Holds };
        let lasts = if years > SHELF_LIFE_YEARS {
            format!("over {SHELF_LIFE_YEARS:.0}")
        } else {
            format!("{years:.1}")
        };
        return (verdict, format!("the cell lasts {lasts} years for {:.0} promised", promised.years()));
    }
    if life.plating_hours_per_year > 0.0 {
        let hours = life.plating_hours_per_year;
        return (Verdict::Tight, format!("no outage, but it charges below 0 C for {hours:.0} hours a year"));
    }
    let lowest = life.lowest_charge.percent();
    if days < DAYS_IN_HAND {
        return (
            Verdict::Tight,
            format!("no outage, but only {days:.1} dark days in hand at the lowest point"),
        );
    }
    (
        Verdict::Holds,
        format!(
            "no outage, never below {lowest:.0} % charge, {days:.0} dark days in hand at the lowest point"
        ),
    )
}

fn hours_of(
    stage: &Stage<'_>,
    design: &Design,
    panel: Option<&PanelModel>,
    lived: &Lived,
    last_pass: u16,
) -> Vec<Hour> {
    around_the_lowest(&lived.last_pass)
        .iter()
        .map(|kept| hour(stage, design, panel, kept, last_pass))
        .collect()
}

/// The year around the lowest charge.
fn around_the_lowest(hours: &[KeptHour]) -> &[KeptHour] {
    let lowest = (0..hours.len())
        .min_by(|one, other| hours[*one].charge.total_cmp(&hours[*other].charge))
        .unwrap_or(0);
    let from = lowest.saturating_sub(YEAR_HOURS / 2).min(hours.len().saturating_sub(YEAR_HOURS));
    &hours[from..hours.len().min(from + YEAR_HOURS + 24)]
}

fn hour(stage: &Stage<'_>, design: &Design, panel: Option<&PanelModel>, kept: &KeptHour, pass: u16) -> Hour {
    let weather = &stage.record.hours[kept.place];
    let (month, day, hour) = stage.dates[kept.place];
    let outcome = &kept.outcome;
    let net = outcome.taken - outcome.spent;
    let volts = f64::from(stage.node.terminal_volts(kept.charge, weather.battery_celsius, net));
    let (sun, cell) = (f64::from(weather.in_plane_w_m2), f64::from(weather.cell_celsius));
    let point = match (panel, &design.charger) {
        (Some(panel), Some(charger)) if sun > 0.0 => {
            charging_current(&panel.at(sun, cell), charger, volts, f64::from(outcome.taken)).panel
        }
        _ => Point::default(),
    };
    Hour {
        at: Moment { pass, month, day, hour },
        in_plane: Irradiance::from_watts_per_square_metre(sun),
        air: Temperature::from_celsius(f64::from(weather.air_celsius)),
        cell: Temperature::from_celsius(cell),
        battery: Temperature::from_celsius(f64::from(weather.battery_celsius)),
        panel_current: Current::from_amperes(point.amperes),
        panel_voltage: Voltage::from_volts(point.volts),
        battery_current: Current::from_amperes(f64::from(net)),
        battery_voltage: Voltage::from_volts(volts),
        charge: Share::from_fraction(f64::from(kept.charge)),
        state: state(outcome),
    }
}

fn state(outcome: &forecast::life::kernel::HourOutcome) -> NodeState {
    match outcome {
        outcome if !outcome.running => NodeState::Stopped,
        outcome if outcome.gated => NodeState::Gated,
        outcome if outcome.full => NodeState::Full,
        _ => NodeState::Running,
    }
}
