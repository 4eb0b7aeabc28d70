//! Many lives: laws, reproducibility, and what they say of the frost mast.

mod common;

use design::quantity::{Angle, Length};
use forecast::life::ensemble::Unwatched;
use forecast::plan::{Effort, Plan, Weather, plan};
use forecast::sky::climate::Climate;

const FROST_MAST: &str = include_str!("../../../examples/larkmoor/frost-mast.toml");

fn effort(lives: usize, threads: usize) -> Effort {
    Effort { lives: Some(lives), seed: 1, threads }
}

fn planned(text: &str, effort: Effort) -> Plan {
    let design = common::design(text);
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    plan(&design, Weather::Climate(&climate), effort, &Unwatched)
}

#[test]
fn frost_mast() {
    let plan = planned(FROST_MAST, effort(1000, 2));
    let mut chances = plan.chances.expect("lives");
    println!("{:?} {}", plan.verdict, plan.reason);
    for (day, band) in chances.bands.iter().enumerate().step_by(30) {
        println!("{day} {:?}", band.charge.map(|c| c.percent()));
    }
    for row in &plan.months {
        println!("{:2} {:7.0} offered {:8.2} spent {:7.3} {:5.1} C low {:5.1}", row.month, row.sun_on_plane_wh_m2, row.offered_per_day.milliampere_hours(), row.spent_per_day.milliampere_hours(), row.air.celsius(), row.lowest_charge.percent());
    }
    chances.bands.clear();
    chances.worst.charge_by_day.clear();
    chances.worst.fortnight.clear();
    println!("{chances:#?}");
    println!("{:#?}", plan.findings);
}

/// Same seed, same bytes, whatever the number of threads.
#[test]
fn threads_do_not_change_the_answer() {
    let (one, two) = (planned(FROST_MAST, effort(64, 1)), planned(FROST_MAST, effort(64, 2)));
    assert_eq!(format!("{one:?}"), format!("{two:?}"));
}

#[test]
fn climate_of_larkmoor() {
    let climate = Climate::builtin(Angle::from_degrees(46.99), Angle::from_degrees(13.0), Length::from_metres(640.0)).expect("land");
    for month in &climate.months {
        println!("{:?}", (month.ghi_wh_m2, month.air_celsius, month.daily_swing_k, month.day_sd_k, month.sun_doubt));
    }
    println!("{}", climate.source);
}
