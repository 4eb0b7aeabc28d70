//! The sheets of a node say what `check` says of it: of every example, to the bit.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use forecast::Silent;
use forecast::life::unknowns::floor_spread;
use forecast::sky::climate::Climate;
use verdict::expected::{bench, outdoors};
use verdict::plan::{Effort, Weather};
use verdict::{Environment, answer};

const EXAMPLES: [&str; 4] = [
    include_str!("../../../examples/larkmoor/frost-mast.toml"),
    include_str!("../../../examples/larkmoor/spray-trailer.toml"),
    include_str!("../../../examples/larkmoor/soil-station.toml"),
    include_str!("../../../examples/larkmoor/tank-level.toml"),
];

#[test]
fn a_sheet_and_the_answer_agree_on_every_month_of_every_example() {
    let effort = Effort { lives: Some(6), seed: 1, threads: 2 };
    for design in EXAMPLES.map(common::design) {
        let site = &design.site;
        let climate =
            Climate::builtin(site.latitude, site.longitude, site.elevation).expect("a place on land");
        let weather = Weather::Climate(&climate);
        let environment = Environment { weather, terrain: None, others: &[] };
        let answer = answer(&design, &environment, effort, &Silent);
        for row in answer.life.months.iter().filter(|row| [1, 7].contains(&row.month)) {
            let sheet = outdoors(&design, weather, &answer.reach.spots, row.month, effort);
            assert_eq!(sheet.taken_per_day, row.taken_per_day, "{} {}", design.name, row.month);
            assert_eq!(sheet.spent_per_day, row.spent_per_day, "{} {}", design.name, row.month);
            // In winter the trailer stands under a roof.
            assert_eq!(
                sheet.hours.is_empty(),
                design.panel.is_none() || row.month == 1 && !design.diary.is_empty()
            );
        }
    }
}

fn board(charge: u8) -> Design {
    common::primary(
        r#"
        [regulator.main]
        kind = "none"
        [load.board]
        floor = "10 uA +- 30 %"
        floor_measured = true
        [load.board.activity.measure]
        every_by_charge = [["80 %", "10 min"], ["0 %", "1 h"]]
        steps = [{ current = "5 mA", time = "2 s" }]
        [load.probe]
        floor = "30 uA +- 10 %"
        floor_measured = true
        "#,
    )
    .with(design::change::Change::ChargeAtInstallation(design::quantity::Share::from_percent(charge.into())))
    .expect("a charge")
}

/// By hand: 10 + 30 uA asleep, 0.3 * 10 + 0.1 * 30 = 6 uA of spread; 5 mA for 2 s are 2.78 uAh, less the 10 uA that do not
/// flow meanwhile. Full, it measures every ten minutes, at half charge every hour.
#[test]
fn the_bench_shows_the_currents_of_the_charge_at_installation() {
    for (charge, minutes) in [(100, 10.0), (50, 60.0)] {
        let design = board(charge);
        let sheet = bench(&design, &forecast::radio::link_state::LinkState::default());
        let floor_ua = sheet.floor.nominal.amperes() * 1e6;
        assert!((39.8..=40.0).contains(&floor_ua), "{floor_ua}");
        assert!((sheet.floor.spread_si * 1e6 - 6.0).abs() < 0.03, "{:?}", sheet.floor);
        assert!((floor_spread(&design) - 0.15).abs() < 1e-9);
        let [event] = &sheet.events[..] else { panic!("{:?}", sheet.events) };
        assert!((event.every.minutes() - minutes).abs() < 1e-9, "{event:?}");
        assert!((event.charge.milliampere_hours() * 1e3 - 2.778).abs() < 0.02, "{event:?}");
        let a_day_mah = 24.0 * (0.040 + 2.772e-3 * 60.0 / minutes);
        assert!((sheet.spent_per_day.milliampere_hours() - a_day_mah).abs() < 0.01, "{a_day_mah}");
    }
}
