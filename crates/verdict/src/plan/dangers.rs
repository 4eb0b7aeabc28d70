//! What a design alone says is dangerous: charging beyond what its battery bears.

use design::chemistry::Limits;
use design::node::Design;
use design::part::{Battery, Charger, ChargerKind, GateBand};
use design::quantity::{Current, Duration, Quantity, Share, Temperature, Voltage};

use super::findings::{finding, hours_text};
use super::make::HARMED_LIVES;
use crate::finding::{Finding, Severity};
use forecast::life::account::Often;
use forecast::power::battery::open_circuit;

/// Whether charging is dangerous: then a node does not hold, however many of its lives pass.
pub(super) fn is_charging_danger(finding: &Finding) -> bool {
    const CODES: [&str; 5] = [
        "charge-limit-raised",
        "charge-temperature-widened",
        "gate-too-wide",
        "charged-too-fast",
        "charged-hot",
    ];
    finding.severity == Severity::Danger && CODES.contains(&finding.code)
}

/// All of them.
pub(super) fn dangers(design: &Design) -> Vec<Finding> {
    let limits = Limits::of(design.battery.chemistry);
    let found = [
        charge_limit_raised(&design.battery, &limits),
        charge_temperature_widened(&design.battery, &limits),
        gate_too_wide(design),
        charged_too_fast(design, &limits),
    ];
    found.into_iter().flatten().collect()
}

/// The design states a higher charge limit than ordinary cells of the chemistry bear.
fn charge_limit_raised(battery: &Battery, limits: &Limits) -> Option<Finding> {
    let stated = battery.charge_limit? / f64::from(battery.cells_in_series);
    let usual = limits.charge_limit?;
    // Limits of packs are products of those of cells; a microvolt is not more.
    (stated.volts() > usual.volts() + 1e-6).then(|| {
        finding(
            "charge-limit-raised",
            Severity::Danger,
            "battery.charge_limit",
            format!(
                "the design raises the charge limit to {} a cell, ordinary cells of this kind bear {}: overcharged lithium burns",
                stated.text(),
                usual.text()
            ),
            "write the limit of the cell's own data sheet, and charge to no more",
        )
    })
}

/// The design states that its battery may be charged colder or hotter than cells of the chemistry bear.
fn charge_temperature_widened(battery: &Battery, limits: &Limits) -> Option<Finding> {
    let ((cold, hot), (coldest, hottest)) = (battery.charge_temperature?, limits.charge_temperature?);
    (cold < coldest || hot > hottest).then(|| {
        finding(
            "charge-temperature-widened",
            Severity::Danger,
            "battery.charge_temperature",
            format!(
                "the design lets the battery be charged from {} to {}, cells of this kind bear {} to {}",
                cold.text(),
                hot.text(),
                coldest.text(),
                hottest.text()
            ),
            "write the range of the cell's own data sheet",
        )
    })
}

/// A gate that lets the charger work where the battery may not be charged. Hot bands of a lowered voltage are usual
/// practice and pass.
fn gate_too_wide(design: &Design) -> Option<Finding> {
    let (cold, hot) = design.battery.charge_temperature?;
    let bands = &design.charger.as_ref()?.temperature_gate;
    let open = |band: &&GateBand| band.current > Share::ZERO;
    let too_cold = |band: &&GateBand| band.from < cold;
    let too_hot = |band: &&GateBand| band.to > hot && band.voltage_reduction <= Voltage::ZERO;
    let wide = bands.iter().filter(open).find(|band| too_cold(band) || too_hot(band))?;
    Some(finding(
        "gate-too-wide",
        Severity::Danger,
        "charger.temperature_gate",
        format!(
            "the gate lets the charger work from {} to {}, the battery may be charged from {} to {}",
            wide.from.text(),
            wide.to.text(),
            cold.text(),
            hot.text()
        ),
        "narrow the bands of `temperature_gate` to the battery's `charge_temperature`",
    ))
}

/// The battery is charged hotter than it bears; a danger where that happens in many lives.
pub(super) fn charged_hot(design: &Design, hot: Often) -> Option<Finding> {
    let battery = &design.battery;
    let (_, hottest) = battery.charge_temperature?;
    let limits = Limits::of(battery.chemistry);
    let usual = limits
        .charge_temperature
        .map(|(_, usual)| format!("; cells of this kind bear {} at most: {}", usual.text(), limits.source));
    let severity = if hot.harmed.fraction() > HARMED_LIVES { Severity::Danger } else { Severity::Warning };
    (hot.hours_per_year > 0.0).then(|| {
        finding(
            "charged-hot",
            severity,
            "charger",
            format!(
                "in {:.0} % of lives the battery is charged above the {} that it bears, {} a year on average; hot charging ages it fast and can end in a fire (its `charge_temperature`{})",
                hot.lives.percent().max(1.0),
                hottest.text(),
                hours_text(hot.hours_per_year),
                usual.unwrap_or_default(),
            ),
            "use a charger with a thermistor input and state its `temperature_gate`, shade the box, or take a cell that may be charged hotter",
        )
    })
}

/// Makes of cells differ; beyond so many times the stated current none is known to bear it (own choice).
const SURELY_TOO_FAST: f64 = 2.0;

/// A charging current where the battery bears less of it.
struct TooFast {
    from: Temperature,
    current: Current,
    borne: Current,
    rate: Share,
}

/// The charger gives more current than the battery bears, at some temperature.
fn charged_too_fast(design: &Design, limits: &Limits) -> Option<Finding> {
    let battery = &design.battery;
    let most = largest_current(design)?;
    let charger = design.charger.as_ref()?;
    let mut worst: Option<TooFast> = None;
    for (index, (from, rate)) in battery.charge_rate.iter().enumerate() {
        let to = battery.charge_rate.get(index + 1).map(|row| row.0);
        let current = most * allowed_share(charger, *from, to);
        let borne = (battery.capacity.nominal * rate.fraction()) / Duration::from_hours(1.0);
        let worse = |known: &TooFast| current / borne > known.current / known.borne;
        if current > borne && worst.as_ref().is_none_or(worse) {
            worst = Some(TooFast { from: *from, current, borne, rate: *rate });
        }
    }
    let TooFast { from, current, borne, rate } = worst?;
    let severity = if current / borne > SURELY_TOO_FAST { Severity::Danger } else { Severity::Warning };
    let source = if battery.charge_rate == limits.charge_rate { limits.source.as_str() } else { "the file" };
    Some(finding(
        "charged-too-fast",
        severity,
        "charger.current",
        format!(
            "panel and charger give up to {} to a battery that bears {} from {} on; that is {:.0} % of its capacity in an hour ({source})",
            current.text(),
            borne.text(),
            from.text(),
            rate.percent()
        ),
        "set the charger to less, take a larger battery, or write `charge_rate` from the cell's own data sheet",
    ))
}

/// What charger and panel give at most: a panel in full sun, the battery half charged.
fn largest_current(design: &Design) -> Option<Current> {
    let (charger, panel) = (design.charger.as_ref()?, &design.panel.as_ref()?.panel);
    let by_panel = match charger.kind {
        ChargerKind::Direct | ChargerKind::Linear => panel.short_circuit_current,
        ChargerKind::FixedFraction { .. } | ChargerKind::Mppt => {
            let watts = panel.power.nominal.watts() * charger.efficiency.fraction();
            Current::from_amperes(watts / open_circuit(&design.battery, 0.5).volts())
        }
    };
    Some(if by_panel < charger.current { by_panel } else { charger.current })
}

/// The largest share of its current that a charger gives between two temperatures.
fn allowed_share(charger: &Charger, from: Temperature, to: Option<Temperature>) -> f64 {
    if charger.temperature_gate.is_empty() {
        return 1.0;
    }
    let within = |band: &&GateBand| band.to > from && to.is_none_or(|to| band.from < to);
    charger.temperature_gate.iter().filter(within).map(|band| band.current.fraction()).fold(0.0, f64::max)
}
