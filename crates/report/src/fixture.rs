//! An invented year, made by simple formulas, to draw and print without a simulation.

use std::collections::BTreeMap;
use std::f64::consts::{PI, TAU};

use design::quantity::{Charge, Current, Duration, Irradiance, Share, Temperature, Voltage};
use forecast::life::climate_view::{ClimateMonth, ClimateView, DarkFortnight};
use forecast::life::run::Darkness;
use forecast::life::shown::YearInBrief;
use forecast::load::{Phase, Purpose};
use forecast::radio::link_state::LinkState;
use forecast::sky::recorded::Winters;
use verdict::plan::{
    Cause, DayBand, Driver, Fault, FaultKind, FaultRow, Finding, FortnightHour, Hour, JudgedPromise,
    LedgerEntry, LedgerPurpose, Life, Moment, MonthRow, NodeState, Plan, Promised, Restart, Severity,
    Survival, Verdict, WeatherUsed, WorstLife,
};

use super::{Assumed, Origin, ReportedDesign};

const DAYS: [u8; 12] = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];

/// The frost mast as it is shipped, for its promise, law and messages.
fn design() -> design::node::Design {
    let text = include_str!("../../../examples/larkmoor/frost-mast.toml");
    let catalog = design::catalog::Catalog::builtin();
    design::resolve::resolve(&catalog, &design::file::parse(text)).expect("a good file").design
}

/// Twelve months of an invented climate.
pub(crate) fn climate() -> ClimateView {
    let month = |index: usize| {
        let sun = 2500.0 + 1900.0 * season(15 + index * 365 / 12);
        ClimateMonth {
            month: u8::try_from(index + 1).expect("a month"),
            ghi_wh_m2: sun,
            ghi_interval_wh_m2: (0.8 * sun, 1.25 * sun),
            in_plane_wh_m2: 1.1 * sun,
            in_plane_years_wh_m2: (0.9 * sun, 1.3 * sun),
            air_celsius: 8.0 + 10.0 * season(15 + index * 365 / 12),
            daily_swing_k: 8.0,
            day_sd_k: 3.0,
            overcast_share: 0.25,
            in_leaf: false,
            snow_days: if index < 2 { 9.0 } else { 0.0 },
        }
    };
    ClimateView {
        source: "an invented climate".to_owned(),
        months: std::array::from_fn(month),
        day_sd_doubt: 0.24,
        snow_guessed: true,
        rain_guessed: false,
        fortnight: DarkFortnight { from_day: 350, usual_wh_m2: 420.0, one_in_ten_wh_m2: 260.0 },
        dark_below_wh_m2: 330.0,
        dark_runs_days: vec![4, 5, 5, 6, 6, 6, 7, 7, 9, 12],
        years: 10,
    }
}

/// What many invented lives show.
pub(crate) fn chances() -> Survival {
    let share = Share::from_percent;
    let charge = |day: usize, offset: f64| share((62.0 + 30.0 * season(day) + offset).clamp(0.0, 100.0));
    let hour = |index: usize| FortnightHour {
        place: (8760 - 168 + index) % 8760,
        in_plane_w_m2: if (10..15).contains(&(index % 24)) { 90.0 } else { 0.0 },
        air_celsius: -4.0,
        battery_celsius: -3.0,
        amperes: if (10..15).contains(&(index % 24)) { 0.002 } else { -0.001 },
        charge: (0.3 - index as f32 * 0.001).max(0.05),
        running: index < 230,
    };
    let fault = |kind, median: Option<f64>, most: Option<f64>, back: Option<f64>| FaultRow {
        fault: Fault {
            kind,
            extra: Current::from_milliamperes(1.6),
            clears_by_itself: false,
            darkness: if kind == FaultKind::PanelUnplugged { Darkness::Forever } else { Darkness::None },
        },
        stops: share(if median.is_some() { 100.0 } else { 0.0 }),
        median_days: median,
        most_days: most,
        comes_back: back.map(share),
    };
    Survival {
        lives: 1000,
        wanted: 1000,
        years: 5.0,
        seed: 1,
        without_outage: share(98.2),
        interval: (share(97.2), share(98.9)),
        worst_fifth: share(96.2),
        best_fifth: share(99.8),
        outage_hours_per_year: 0.4,
        completeness: Some(share(99.97)),
        longest_silence: Some(Duration::from_days(2.5)),
        course: None,
        visits_per_year: 0.002,
        kept: vec![JudgedPromise {
            promised: Promised::WithoutOutage { asked: share(95.0), found: share(98.2) },
            verdict: Verdict::Holds,
        }],
        bands: (0..365)
            .map(|day| DayBand { charge: [-25.0, -9.0, 0.0, 6.0, 10.0].map(|offset| charge(day, offset)) })
            .collect(),
        darkest_day: 8,
        in_hand: Duration::from_days(6.2),
        restart: Restart::At(Moment { pass: 0, month: 1, day: 21, hour: 12 }, 12.0),
        failed: Vec::new(),
        worst: WorstLife {
            life: 417,
            outage_hours: 212,
            year: YearInBrief {
                charge_by_day: (0..365).map(|day| charge(day, -34.0)).collect(),
                first_day: 191,
                fortnight: (0..335).map(hour).collect(),
            },
        },
        causes: vec![(Cause::Sun, share(72.0)), (Cause::Parts, share(28.0))],
        drivers: vec![
            driver("sleep current", -0.61, (99.5, 91.0)),
            driver("sunshine of the site", 0.44, (94.0, 99.0)),
            driver("battery resistance", -0.02, (97.5, 97.0)),
        ],
        faults: vec![
            fault(FaultKind::IdlingRegulator, Some(8.3), Some(10.1), Some(96.0)),
            fault(FaultKind::PanelUnplugged, Some(22.0), Some(31.0), Some(0.0)),
            fault(FaultKind::GatewayAway, None, None, None),
        ],
    }
}

/// A frost mast in the north.
pub(crate) fn subject() -> ReportedDesign {
    let design = design();
    ReportedDesign {
        file: "frost-mast.toml".to_owned(),
        weather_file: Some("invented.csv".to_owned()),
        drawn_from: None,
        name: "Frost mast, north row".to_owned(),
        note: Some("Larkmoor is invented".to_owned()),
        latitude_deg: 47.0,
        promise: design.promise.clone(),
        parts: vec![
            ("panel", "1.2 W, tilted 60°".to_owned()),
            ("battery", "2600 mAh, lithium cobalt oxide".to_owned()),
        ],
        daylight_h: (0..365).map(|day| (12.0 - half_day_h(day), 12.0 + half_day_h(day))).collect(),
        stops_percent: hours().iter().map(|hour| 8.0 - 0.5 * hour.battery.celsius().min(5.0)).collect(),
        worst_stops_percent: vec![9.0; 2 * 7 * 24],
        restarts_percent: 18.0,
        law: verdict::law::judge(&design, &LinkState::as_designed(&design)),
        reach: verdict::reach::judge(&design, None, &[], 1),
        remedies: None,
        learnable: verdict::message::learnable(&design, &LinkState::as_designed(&design)),
        messages: verdict::message::view(&design, &LinkState::as_designed(&design)),
        climate: Some(Assumed { view: climate(), origin: Origin::BuiltIn }),
        doubts: vec![(
            "battery.self_discharge_per_month".to_owned(),
            "from memory, not from a data sheet".to_owned(),
        )],
        warnings: Vec::new(),
        lines: BTreeMap::from([("charger.temperature_gate".to_owned(), 23)]),
    }
}

fn moment(day_of_year: usize, hour: u8) -> Moment {
    let mut left = day_of_year;
    for (month, days) in (1..).zip(DAYS) {
        if left < usize::from(days) {
            return Moment { pass: 4, month, day: u8::try_from(left).expect("below 31") + 1, hour };
        }
        left -= usize::from(days);
    }
    Moment { pass: 4, month: 12, day: 31, hour }
}

fn season(day: usize) -> f64 {
    -(TAU * (day as f64 + 10.0) / 365.0).cos()
}

fn half_day_h(day: usize) -> f64 {
    6.0 + 2.0 * season(day)
}

/// Every hour of the invented year.
pub(crate) fn hours() -> Vec<Hour> {
    let mut charge = 0.46_f64;
    let mut out = Vec::with_capacity(8760);
    for day in 0..365_usize {
        let (season, half_day_h) = (season(day), half_day_h(day));
        let cloud = 0.35 + 0.3 * (day as f64 * 1.7).sin() + 0.25 * (day as f64 * 0.31).sin() + 0.15 * season;
        for hour in 0..24_u8 {
            let from_noon_h = f64::from(hour) + 0.5 - 12.0;
            let sun = if from_noon_h.abs() < half_day_h {
                (PI * from_noon_h / (2.0 * half_day_h)).cos()
            } else {
                0.0
            };
            let in_plane = 700.0 * sun * cloud.clamp(0.05, 1.0);
            let air = 8.0 + 10.0 * season + 4.0 * (TAU * (f64::from(hour) - 9.0) / 24.0).sin();
            let panel_ma = in_plane * 0.043;
            let battery_ma = if charge >= 1.0 { 0.0 } else { panel_ma } - 1.5;
            charge = (charge + battery_ma / 2600.0).clamp(0.0, 1.0);
            out.push(Hour {
                at: moment(day, hour),
                in_plane: Irradiance::from_watts_per_square_metre(in_plane),
                air: Temperature::from_celsius(air),
                cell: Temperature::from_celsius(air + in_plane * 0.03),
                battery: Temperature::from_celsius(air + 1.0),
                panel_current: Current::from_milliamperes(panel_ma),
                panel_voltage: Voltage::from_volts(if panel_ma > 0.0 { 4.4 } else { 0.0 }),
                battery_current: Current::from_milliamperes(battery_ma),
                battery_voltage: Voltage::from_volts(3.4 + 0.75 * charge),
                charge: Share::from_fraction(charge),
                state: if charge >= 1.0 { NodeState::Full } else { NodeState::Running },
            });
        }
    }
    out
}

fn months(hours: &[Hour]) -> Vec<MonthRow> {
    let row = |month: u8| {
        let of_month: Vec<&Hour> = hours.iter().filter(|hour| hour.at.month == month).collect();
        let days = of_month.len() as f64 / 24.0;
        let sum = |value: fn(&Hour) -> f64| of_month.iter().map(|hour| value(hour)).sum::<f64>() / days;
        MonthRow {
            month,
            sun_on_plane_wh_m2: sum(|hour| hour.in_plane.watts_per_square_metre()),
            offered_per_day: Charge::from_milliampere_hours(sum(|hour| hour.panel_current.milliamperes())),
            taken_per_day: Charge::from_milliampere_hours(sum(|hour| {
                hour.battery_current.milliamperes() + 1.5
            })),
            spent_per_day: Charge::from_milliampere_hours(36.0),
            air: Temperature::from_celsius(sum(|hour| hour.air.celsius()) / 24.0),
            lowest_charge: of_month
                .iter()
                .map(|hour| hour.charge)
                .fold(Share::from_fraction(1.0), |a, b| if b < a { b } else { a }),
            outage_hours: 0.0,
        }
    };
    (1..=12).map(row).collect()
}

fn phase(phase: Phase) -> LedgerPurpose {
    LedgerPurpose::Load(Purpose::Activity { activity: "weather report".to_owned(), phase })
}

fn entry(purpose: LedgerPurpose, per_day: f64, per_dark_day: f64) -> LedgerEntry {
    LedgerEntry {
        purpose,
        per_day: Charge::from_milliampere_hours(per_day),
        per_dark_day: Charge::from_milliampere_hours(per_dark_day),
    }
}

/// The plan of the invented year.
pub(crate) fn plan() -> Plan {
    let hours = hours();
    let lowest = hours
        .iter()
        .copied()
        .reduce(|a, b| if b.charge < a.charge { b } else { a })
        .expect("a year of hours");
    Plan {
        verdict: Verdict::Holds,
        reason: "it never stops in 5 years and keeps 6.2 dark days in hand".to_owned(),
        weather: WeatherUsed {
            drawn: false,
            south: false,
            title: "INVENTED STATION".to_owned(),
            place: None,
            distance_km: Some(12.0),
            hours: 8760,
            winters: Some(Winters::Joined),
            passes: 5,
            diffuse_measured: true,
            doubtful: Some(Share::from_percent(3.2)),
            wind_measured: false,
        },
        life: life(lowest),
        ledger: vec![
            entry(LedgerPurpose::Sun, 37.0, 31.0),
            entry(LedgerPurpose::Load(Purpose::Sleeping { load: "mast".to_owned() }), -3.1, -3.1),
            entry(phase(Phase::Measuring), -4.8, -4.8),
            entry(phase(Phase::Sending), -9.7, -9.7),
            entry(phase(Phase::Listening), -2.9, -2.9),
            entry(LedgerPurpose::ChargerInTheDark, -6.0, -7.0),
            entry(LedgerPurpose::SelfDischarge, -1.2, -0.7),
        ],
        months: months(&hours),
        with_gate: None,
        findings: vec![Finding {
            code: "F101",
            severity: Severity::Warning,
            field: "charger.temperature_gate".to_owned(),
            message: "it charges below freezing for 212 hours a year, and nothing prevents it".to_owned(),
            help: "give the charger a temperature gate, or choose a cell that may be charged when cold"
                .to_owned(),
        }],
        chances: None,
        years: 5.0,
        hours,
    }
}

fn life(lowest: Hour) -> Life {
    Life {
        number: 512,
        outage_hours: 0,
        outages: 0,
        first_outage: None,
        missed_reports_per_year: 0.0,
        wanted_reports_per_year: 52560.0,
        lowest_charge: lowest.charge,
        lowest_at: lowest.at,
        without_sun: Duration::from_days(63.0),
        lasts: None,
        days_to_half: Some(44.0),
        spilled_per_day: Charge::from_milliampere_hours(51.0),
        capacity_left: Share::from_percent(81.0),
        gated_hours_per_year: 0.0,
        plating_hours_per_year: 212.0,
        plates: Share::from_percent(100.0),
        hot_hours_per_year: 0.0,
        worn_after: None,
        lives_in_means: 250,
    }
}

fn driver(name: &'static str, weight: f64, (least, most): (f64, f64)) -> Driver {
    Driver { name, weight, least: Share::from_percent(least), most: Share::from_percent(most) }
}
