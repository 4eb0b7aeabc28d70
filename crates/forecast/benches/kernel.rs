//! Node-hours per second of the full hour step; asserts that the lives it times are real ones.

use std::hint::black_box;
use std::ops::ControlFlow::Continue;
use std::time::Instant;

use design::catalog::Catalog;
use forecast::diary::Diary;
use forecast::life::kernel::{HourWeather, Lanes, step};
use forecast::life::node::{Harvest, NodeTables};
use forecast::life::walk::{Record, Walk};
use forecast::load::Demand;
use forecast::power::charge_table::ChargeTable;
use forecast::power::panel::PanelModel;

fn frost_mast() -> NodeTables {
    let file = design::file::parse(include_str!("../../../examples/larkmoor/frost-mast.toml"));
    let design = design::resolve::resolve(&Catalog::builtin(), &file).expect("the example resolves").design;
    let model = PanelModel::new(&design.panel.as_ref().expect("a panel").panel).expect("a panel that can be");
    let table = ChargeTable::new(&model, design.charger.as_ref().expect("a charger"), &design.battery);
    let demand = Demand::new(&design, &Diary::new(&design));
    NodeTables::new(&design, Harvest::Table(Box::new(table)), demand)
}

fn year() -> Record {
    let hour = |index: usize| {
        let season = (std::f64::consts::TAU * index as f64 / 8760.0).cos();
        let noon = (std::f64::consts::TAU * ((index % 24) as f64 - 6.0) / 24.0).sin();
        let cloud = 0.1 + 0.8 * ((index / 24 * 7919) % 97) as f64 / 97.0;
        let sun = (1000.0 * cloud * (noon - 0.3 - 0.4 * season)).max(0.0);
        let air = 8.0 - 14.0 * season + 4.0 * noon;
        HourWeather {
            in_plane_w_m2: sun as f32,
            cell_celsius: (air + sun / 30.0) as f32,
            air_celsius: air as f32,
            battery_celsius: air as f32,
        }
    };
    Record { hours: (0..8760).map(hour).collect(), kinds: vec![0; 8760], yield_kept_per_pass: 1.0 }
}

fn lanes<const L: usize>(node: &NodeTables, record: &Record, years: usize) -> f64 {
    let mut lanes = Lanes::<L>::new(node, 0.5);
    for lane in 0..L {
        lanes.yield_factor[lane] = 0.02 + 0.01 * lane as f32;
    }
    let start = Instant::now();
    for _ in 0..years {
        for (index, hour) in record.hours.iter().enumerate() {
            black_box(step(node, 0, &[*hour; L], &mut lanes));
            if index % 24 == 23 {
                lanes.wear_out(node);
            }
        }
    }
    let seconds = start.elapsed().as_secs_f64();
    assert!(lanes.flows.iter().all(|flows| flows.taken > 0.0 && flows.load > 0.0));
    (years * record.hours.len() * L) as f64 / seconds / 1e6
}

fn main() {
    let (node, record) = (frost_mast(), year());
    let start = Instant::now();
    let years = 200;
    let end = Walk::new(Lanes::new(&node, 0.5), 0, years * 8760).go(&node, &record, |_, _, _| Continue(()));
    let walk = (years * 8760) as f64 / start.elapsed().as_secs_f64() / 1e6;
    assert!(end.flows[0].taken > 0.0);
    println!("one life at a time    {walk:7.1} million node-hours per second");
    println!("4 lives side by side  {:7.1}", lanes::<4>(&node, &record, 100));
    println!("8 lives side by side  {:7.1}", lanes::<8>(&node, &record, 60));
    println!("16 lives side by side {:7.1}", lanes::<16>(&node, &record, 30));
}
