//! The shipped examples, each lived through the shipped weather.

use design::catalog::Catalog;
use design::node::Design;
use forecast::plan::{Plan, plan_once as plan};
use forecast::sky::weather::{self, WeatherHours};

fn design(text: &str) -> Design {
    let file = design::file::parse(text);
    design::resolve::resolve(&Catalog::builtin(), &file).expect("the example resolves").design
}

fn port_angeles() -> WeatherHours {
    weather::read(include_bytes!("../../../examples/weather/port-angeles-wa.csv")).expect("the shipped weather reads")
}

fn show(plan: &Plan) {
    println!("{:?} {}", plan.verdict, plan.reason);
    println!("{:#?}", plan.life);
    for entry in &plan.ledger {
        println!("{:40} {:9.3} {:9.3}", entry.purpose, entry.per_day.milliampere_hours(), entry.per_dark_day.milliampere_hours());
    }
    for row in &plan.months {
        println!(
            "{:2} {:7.0} offered {:8.2} taken {:8.2} spent {:7.3} {:5.1} C low {:5.1} % out {}",
            row.month, row.sun_on_plane_wh_m2, row.offered_per_day.milliampere_hours(), row.taken_per_day.milliampere_hours(),
            row.spent_per_day.milliampere_hours(), row.air.celsius(), row.lowest_charge.percent(), row.outage_hours
        );
    }
    for row in &plan.defects {
        println!("{} ({}) from {:?}: {:?} days, back {:?}", row.name, row.effect, row.from, row.days_to_death, row.restart);
    }
    for finding in &plan.findings {
        println!("{:?} {} {}: {} -> {}", finding.severity, finding.code, finding.field, finding.message, finding.help);
    }
    println!("{:?}", plan.with_gate.as_ref().map(|variant| (variant.verdict, &variant.name)));
    println!("{:?}", plan.weather);
}

#[test]
fn frost_mast() {
    let plan = plan(&design(include_str!("../../../examples/larkmoor/frost-mast.toml")), &port_angeles());
    show(&plan);
}

#[test]
fn others() {
    for text in [include_str!("../../../examples/larkmoor/spray-trailer.toml"), include_str!("../../../examples/larkmoor/soil-station.toml"), include_str!("../../../examples/larkmoor/tank-level.toml")] {
        println!("=======================");
        show(&plan(&design(text), &port_angeles()));
    }
}
