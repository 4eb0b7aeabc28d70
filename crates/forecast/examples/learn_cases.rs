//! Learns every case of a folder of logs with known truth, and prints the answers as the scorer reads them.
#![expect(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    reason = "an example reads files, looks at the clock and at its arguments"
)]
#![expect(clippy::print_stdout, clippy::print_stderr, reason = "an example prints")]

use std::time::Instant;

use design::catalog::Catalog;
use forecast::Silent;
use forecast::learn::{Band, CauseKind, Effort, Past, Quantity, learn, log, sun};
use forecast::sky::climate::Climate;

fn cause(kind: CauseKind) -> &'static str {
    match kind {
        CauseKind::PanelLow => "panel_low",
        CauseKind::ShadeByHour => "shade_by_hour",
        CauseKind::PanelBuried | CauseKind::PanelOrCharger => "panel_buried",
        CauseKind::PanelUnplugged => "panel_unplugged",
        CauseKind::ChargerIdle => "charger_idle",
        CauseKind::LoadUp => "load_up",
        CauseKind::RebootLoop => "reboot_loop",
        CauseKind::BatteryWorn => "battery_worn",
        CauseKind::WeatherWorse => "weather_worse",
        CauseKind::GatewayAway => "gateway_away",
    }
}

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    let folder = &arguments[1];
    let with_sun = arguments.iter().any(|one| one == "--sun");
    let number = |name: &str, usual: usize| {
        let at = arguments.iter().position(|one| one == name);
        at.map_or(usual, |at| arguments[at + 1].parse().expect("a number"))
    };
    let cases = std::fs::read_to_string(format!("{folder}/cases.csv")).expect("cases");
    println!("case,quantity,p05,p50,p95,text");
    for line in cases.lines().skip(1) {
        let fields: Vec<&str> = line.split(',').collect();
        if arguments.iter().any(|one| one.starts_with("p-")) && !arguments.iter().any(|one| one == fields[0])
        {
            continue;
        }
        let read = |name: &str| std::fs::read(format!("{folder}/{name}")).expect("a file");
        let file = design::file::parse(&String::from_utf8_lossy(&read(fields[2])));
        let design = design::resolve::resolve(&Catalog::builtin(), &file).expect("resolves").design;
        let log = log::read(&read(fields[3]), 4096).expect("a log");
        let measured = with_sun.then(|| sun::read(&read(fields[4])).expect("sun"));
        let site = &design.site;
        let given = design.climate.as_ref().expect("a climate");
        let climate = Climate::from_monthly(
            site.latitude,
            site.longitude,
            site.elevation,
            &given.sun_per_day.map(design::quantity::Irradiation::watt_hours_per_square_metre),
            given.air.map(|months| months.map(design::quantity::Temperature::celsius)).as_ref(),
        )
        .expect("a climate");
        let as_of =
            log::read(format!("time_utc,battery_mv\n{},3700\n", fields[6]).as_bytes(), 1).expect("a time");
        let past = Past {
            design: &design,
            readings: &log.readings,
            as_of_s: as_of.readings[0].at_s,
            counter_modulus: 4096,
            sun: measured.as_ref(),
        };
        let effort = Effort {
            threads: 2,
            islands: number("--islands", 4),
            members: number("--members", 4000),
            seed: number("--seed", 1) as u64,
            lives: number("--lives", 400),
            temper: number("--temper", 50) as f64 / 100.0,
        };
        let begun = Instant::now();
        let (learned, swarm) = learn(&past, &climate, &effort, &Silent);
        eprintln!(
            "{} {:.2} s regimes {:?} runs {:.2}",
            fields[0],
            begun.elapsed().as_secs_f64(),
            learned.regimes,
            learned.runs
        );
        eprintln!(
            "   by hour {:?} before {:?} evidence {:?}",
            learned.by_hour,
            learned.before,
            swarm.evidence()
        );
        let row = |name: &str, band: &Band| {
            println!("{},{name},{:.4},{:.4},{:.4},", fields[0], band.p05, band.p50, band.p95);
        };
        row("panel_yield", &learned.yields);
        row("load_mah_d", &learned.load_mah_per_day);
        row("capacity", &learned.capacity);
        row("charge_now", &learned.charge);
        row("days_to_silence", &learned.silence.days);
        println!("{},p_silent_180d,,{:.4},,", fields[0], learned.silence.p);
        let causes: Vec<&str> = learned.causes.iter().map(|one| cause(one.kind)).collect();
        println!(
            "{},cause,,,,{}",
            fields[0],
            if causes.is_empty() { "none".into() } else { causes.join("+") }
        );
        let words = learned.not_known.iter().map(|one| match one.what {
            Quantity::Yield => "panel_yield",
            Quantity::Load => "load_mah_d",
            Quantity::Capacity => "capacity",
        });
        println!("{},not_known,,,,{}", fields[0], words.collect::<Vec<_>>().join("+"));
    }
}
