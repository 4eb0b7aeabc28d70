//! Laws that hold of any design under one weather: reproducible, and kinder to better nodes.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use common::{port_angeles, solar};
use design::node::Design;
use forecast::Silent;
use forecast::radio::spots::Spots;
use forecast::sky::weather::WeatherHours;
use verdict::plan::{Effort, Plan, Weather};

fn plan(design: &Design, weather: &WeatherHours) -> Plan {
    let effort = Effort { lives: Some(50), seed: 1, threads: 2 };
    verdict::plan::plan(design, Weather::Hours(weather), &Spots::alone(design), effort, &Silent)
}

const REPORTING: &str = r#"
    [load.node]
    floor = "80 uA +- 1 %"
    floor_measured = true
    [load.node.activity.work]
    every = "10 min"
    steps = [{ current = "20 mA", time = "2 s" }]
"#;

/// The same design and weather give the same plan, bit for bit.
#[test]
fn a_plan_is_reproducible() {
    let design = solar("panel-0w5", "linear-usb-gated", "part = \"nmc-18650\"", REPORTING);
    let weather = port_angeles();
    assert_eq!(format!("{:?}", plan(&design, &weather)), format!("{:?}", plan(&design, &weather)));
}

/// A tilted panel, a larger panel, and less load: each keeps the battery fuller in December.
#[test]
fn december_is_kinder_to_better_nodes() {
    let weather = port_angeles();
    let lowest = |panel: &str, tilt: &str, floor: &str| {
        let load = REPORTING.replace("80 uA", floor);
        let design = solar(panel, "linear-usb-gated", "part = \"nmc-18650\"\ncapacity = \"1500 mAh\"", &load);
        let tilt = design::quantity::Angle::from_degrees(tilt.parse().expect("a number"));
        let design = design.with(design::change::Change::Tilt(tilt)).expect("a tilt");
        plan(&design, &weather).life.lowest_charge.fraction()
    };
    let base = lowest("panel-0w5", "30", "4 mA");
    assert!(lowest("panel-0w5", "65", "4 mA") > base);
    assert!(lowest("panel-1w", "30", "4 mA") > base);
    assert!(lowest("panel-0w5", "30", "3 mA") > base);
    assert!(lowest("panel-0w5", "0", "4 mA") < base);
}
