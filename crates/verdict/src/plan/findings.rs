//! What is wrong with a design only in its weather, with the place in the file and what to do.
#![expect(
    clippy::cast_possible_truncation,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

use design::node::Design;
use design::quantity::{Share, Voltage};

use super::WeatherUsed;
use super::dangers;
use super::make::LifeInputs;
use crate::finding::{Finding, Severity};
use design::panel::PanelModel;
use forecast::life::account::{Harm, Often};
use forecast::life::node::NodeTables;
use forecast::life::weather::{SampleYears, YEAR_H};
use forecast::power::battery;
use forecast::radio::spots::Spots;

/// Distance beyond which a weather file tells of another place (own choice: half the spacing of good station networks).
const ELSEWHERE_KM: f64 = 50.0;
/// Above this share of the charge out of reach of the largest pulse, the pulse decides the battery size (own choice).
const STRANDED_SHARE: f64 = 0.3;
/// Share of doubtful hours in a weather file from which on it is said beside the verdict (own choice).
const DOUBTFUL: Share = Share::from_percent(5.0);
const WARM_CELSIUS: f64 = 45.0;

/// All findings, worst first.
pub(super) fn findings(case: &LifeInputs<'_>, harm: Harm, weather: &WeatherUsed) -> Vec<Finding> {
    let sample = case.trial.weather.sample();
    let of_weather = [
        hysteresis(case.node(), sample, case.design),
        hot_battery(sample, case.design),
        elsewhere(weather),
        doubtful(weather),
        one_year(weather),
    ];
    let mut found: Vec<Finding> =
        of_parts(case, harm).into_iter().chain(of_weather.into_iter().flatten()).collect();
    found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    found
}

/// What is dangerous, or does not suit each other, of the parts in their weather.
pub(super) fn of_parts(case: &LifeInputs<'_>, harm: Harm) -> Vec<Finding> {
    let (design, node, sample) = (case.design, case.node(), case.trial.weather.sample());
    let panel = design.panel.as_ref().map(|mounted| mounted.panel.curve());
    let found = [
        panel.as_ref().and_then(|panel| open_circuit_too_high(sample, design, panel)),
        panel.as_ref().and_then(|panel| panel_below_input(design, panel)),
        plates(design, harm.frozen),
        dangers::charged_hot(design, harm.hot),
        stalemate(node, design),
        stranded(node, sample),
    ];
    found.into_iter().flatten().chain(dangers::dangers(design)).collect()
}

pub(super) fn finding(
    code: &'static str,
    severity: Severity,
    field: &str,
    message: String,
    help: &str,
) -> Finding {
    Finding { code, severity, field: field.to_owned(), message, help: help.to_owned() }
}

/// Said of a node that would live at the fastest data rate and dies at its own.
pub(super) fn dies_by_distance(
    design: &Design,
    spots: &Spots,
    without_outage: Share,
    near: Share,
) -> Option<Finding> {
    let radio = design.radio.as_ref()?;
    let most = |rates: &[(u8, Share)]| {
        let most = rates.iter().max_by(|one, other| one.1.fraction().total_cmp(&other.1.fraction()))?;
        Some(radio.region.rate_text(most.0))
    };
    let fast = most(&spots.classes().get(spots.nearest())?.data_rates)?;
    let slow = most(&spots.middle_state().data_rates)?;
    let message = format!(
        "it is the distance that kills it: next to a gateway, at {fast}, {:.1} % of its lives pass without an outage; here, mostly at {slow}, {:.1} %, and nothing but the distance differs",
        near.percent(),
        without_outage.percent()
    );
    let help = "bring a gateway nearer or raise an antenna, send less often at slow data rates, or enlarge panel and battery";
    Some(finding("dies-by-distance", Severity::Danger, "radio", message, help))
}

/// The panel's voltage is highest when it is cold and unloaded: the first sun on a frosty morning.
fn open_circuit_too_high(sample: &SampleYears, design: &Design, panel: &PanelModel) -> Option<Finding> {
    let limit = design.charger.as_ref()?.input_absolute_maximum?;
    let lit = sample.hours.iter().filter(|hour| hour.in_plane_w_m2 > 0.0);
    let voltage = lit
        .map(|hour| panel.open_circuit_voltage(f64::from(hour.in_plane_w_m2), f64::from(hour.cell_celsius)))
        .fold(Voltage::ZERO, |highest, voltage| if voltage > highest { voltage } else { highest });
    (voltage > limit).then(|| {
        finding(
            "open-circuit-too-high",
            Severity::Danger,
            "panel",
            format!(
                "the panel reaches {:.1} V unloaded on the coldest bright morning; the charger bears {:.1} V",
                voltage.volts(),
                limit.volts()
            ),
            "take a panel with fewer cells in series, or a charger with a higher input limit",
        )
    })
}

fn panel_below_input(design: &Design, panel: &PanelModel) -> Option<Finding> {
    let charger = design.charger.as_ref()?;
    let hot = panel.open_circuit_voltage(100.0, 25.0);
    (hot < charger.input_minimum).then(|| {
        finding(
            "panel-below-input",
            Severity::Danger,
            "panel",
            format!(
                "under a grey sky (100 W/m2) the panel gives {:.1} V unloaded; the charger wakes at {:.1} V",
                hot.volts(),
                charger.input_minimum.volts()
            ),
            "take a panel with more cells in series",
        )
    })
}

fn plates(design: &Design, frozen: Often) -> Option<Finding> {
    let hours = frozen.hours_per_year;
    (hours > 0.0).then(|| {
        let gated = design.charger.as_ref().is_some_and(|charger| !charger.temperature_gate.is_empty());
        finding(
            "charging-below-freezing",
            Severity::Danger,
            if gated { "charger.temperature_gate" } else { "charger" },
            format!(
                "in {:.0} % of lives the battery is charged below 0 C, {} a year on average; lithium plates out, capacity and safety go",
                frozen.lives.percent().max(1.0),
                hours_text(hours),
            ),
            "use a charger with a thermistor input and state its `temperature_gate`",
        )
    })
}

/// "less than an hour", "12 hours".
pub(super) fn hours_text(hours: f64) -> String {
    match hours {
        ..0.9 => "less than an hour".to_owned(),
        0.9..1.5 => "about an hour".to_owned(),
        _ => format!("{hours:.0} hours"),
    }
}

/// The trickle into an empty battery must be more than what the stopped node and the charger take.
fn stalemate(node: &NodeTables, design: &Design) -> Option<Finding> {
    let charger = design.charger.as_ref()?;
    let below = charger.precharge_below?;
    let stopped = design.cutoff.stopped_current;
    let reachable = design.cutoff.stops_below < below || node.rest_volts(0.0) < below.volts() as f32;
    (reachable && charger.precharge_current <= stopped).then(|| {
        finding(
            "precharge-stalemate",
            Severity::Danger,
            "cutoff.stopped_current",
            format!(
                "below {:.1} V the charger trickles {:.2} mA while the stopped node draws {:.2} mA: it never comes back",
                below.volts(),
                charger.precharge_current.milliamperes(),
                stopped.milliamperes()
            ),
            "cut the load off with a supervisor, or raise the precharge current",
        )
    })
}

fn coldest_battery_celsius(sample: &SampleYears) -> f64 {
    f64::from(sample.hours.iter().map(|hour| hour.battery_celsius).fold(f32::INFINITY, f32::min))
}

fn hysteresis(node: &NodeTables, sample: &SampleYears, design: &Design) -> Option<Finding> {
    let cold = coldest_battery_celsius(sample);
    let restart = design.cutoff.restarts_above;
    let charge = battery::charge_at_rest(&design.battery, restart);
    let drop = Voltage::from_volts(f64::from(node.pulse_drop_at(charge as f32, cold as f32)));
    let gap = restart - design.cutoff.stops_below;
    (gap < drop).then(|| {
        finding(
            "restart-too-low",
            Severity::Warning,
            "cutoff.restarts_above",
            format!(
                "it restarts {:.0} mV above the stop, but at {cold:.0} C its largest pulse pulls {:.0} mV: it will loop",
                gap.millivolts(),
                drop.millivolts()
            ),
            "raise `restarts_above`, or put a capacitor across the rail (`[buffer]`)",
        )
    })
}

fn stranded(node: &NodeTables, sample: &SampleYears) -> Option<Finding> {
    let cold = coldest_battery_celsius(sample);
    let reachable = |charge: f64| {
        let drop = node.pulse_drop_at(charge as f32, cold as f32);
        node.rest_volts(charge as f32) - drop >= node.stops_below_volts
    };
    let lowest = (0..=100).map(|percent| f64::from(percent) / 100.0).find(|charge| reachable(*charge));
    let stranded = lowest.unwrap_or(1.0);
    (stranded > STRANDED_SHARE).then(|| {
        finding(
            "pulse-strands-charge",
            if lowest.is_none() { Severity::Danger } else { Severity::Warning },
            "battery.resistance",
            format!(
                "at {cold:.0} C the largest pulse ({:.0} mA) browns the node out with {:.0} % of the charge still there",
                node.demand.pulse.amperes * 1e3,
                stranded * 100.0,
            ),
            "use a cell of lower resistance, a `[buffer]`, less transmit power, or a regulator with less dropout",
        )
    })
}

fn hot_battery(sample: &SampleYears, design: &Design) -> Option<Finding> {
    let (_, hottest) = design.battery.charge_temperature?;
    let warm = sample.hours.iter().filter(|hour| f64::from(hour.battery_celsius) > WARM_CELSIUS).count();
    let hours = warm as f64 * YEAR_H as f64 / sample.hours.len().max(1) as f64;
    (hours >= 0.5 && hottest.celsius() <= 60.0).then(|| {
        finding(
            "hot-battery",
            Severity::Note,
            "enclosure.sun_gain",
            format!(
                "the battery is above {WARM_CELSIUS:.0} C for {hours:.0} hours a year and ages fast there"
            ),
            "shade the box or paint it white, and keep the battery away from the back of the panel",
        )
    })
}

fn elsewhere(weather: &WeatherUsed) -> Option<Finding> {
    let distance = weather.distance_km?;
    (distance > ELSEWHERE_KM).then(|| {
        finding(
            "weather-elsewhere",
            Severity::Warning,
            "site",
            match weather.title.as_str() {
                "" => format!("the weather was taken {distance:.0} km from the site: the verdict is for a node that stands there"),
                title => format!(
                    "the weather was taken at {title}, {distance:.0} km from the site: the verdict is for a node that stands there"
                ),
            },
            "use a weather file of a place with the same winter",
        )
    })
}

fn doubtful(weather: &WeatherUsed) -> Option<Finding> {
    let share = weather.doubtful.filter(|share| *share > DOUBTFUL)?;
    Some(finding(
        "weather-doubtful",
        Severity::Warning,
        "site",
        format!(
            "in {:.0} % of the sunny hours of the weather file direct and diffuse light do not make the global light",
            share.percent()
        ),
        "check the file's clock and instruments; without the direct and diffuse columns they are worked out from the global light",
    ))
}

fn one_year(weather: &WeatherUsed) -> Option<Finding> {
    (!weather.drawn && weather.hours < 2 * YEAR_H).then(|| {
        finding(
            "one-year-only",
            Severity::Note,
            "site",
            "one year of weather, lived again and again, holds no unusually bad winter".to_owned(),
            "leave a margin, or use several measured years",
        )
    })
}
