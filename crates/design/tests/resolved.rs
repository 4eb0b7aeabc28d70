//! What a good file means: parts merged, defaults filled in, values derived.

use design::catalog::Catalog;
use design::file::parse;
use design::node::{Design, Step};
use design::part::Regulator;
use design::quantity::{Capacitance, Charge, Current, Resistance, Share, Voltage};
use design::resolve::resolve;

const HEAD: &str = "schema = 1\nname = \"Test\"\n[site]\nlatitude = \"47 deg\"\nlongitude = \"13 deg\"\nelevation = \"640 m\"\n[promise]\n\
    unattended = \"5 years\"\n";
const LOAD: &str = "[load.board]\nfloor = \"12 uA\"\n";
const CELL: &str = "title = \"A cell\"\nsource = \"measured on the bench\"\nfrom_memory = [\"resistance\", \"capacity\"]\nchemistry = \"nmc\"\n\
    capacity = \"1000 mAh\"\nopen_circuit = [[\"0 %\", \"3.0 V\"], [\"100 %\", \"4.0 V\"]]\nresistance = \"100 mohm +- 50 %\"\n\
    charge_limit = \"4.2 V\"\ncharge_temperature = [\"0 C\", \"45 C\"]\nempty_voltage = \"3.1 V\"\n\
    ageing = { first_year_at_25c = \"4 %\", at_full_charge = 1.7, doubles_every_k = 10.0, time_exponent = 0.75, per_100_cycles = \"3 %\" }\n";

fn design(text: &str) -> Design {
    let mut catalog = Catalog::builtin();
    catalog.add_file("cell.toml", CELL);
    resolve(&catalog, &parse(text)).unwrap_or_else(|problems| panic!("{problems:#?}")).design
}

fn with_battery(keys: &str) -> Design {
    design(&format!("{HEAD}[battery]\npart = \"cell.toml\"\n{keys}{LOAD}"))
}

fn doubts(design: &Design) -> Vec<&str> {
    design.doubts.iter().map(|doubt| doubt.field.as_str()).collect()
}

fn close(found: f64, wanted: f64) {
    assert!((found - wanted).abs() <= 1e-9 * wanted.abs() + 1e-15, "{found} instead of {wanted}");
}

#[test]
fn a_key_beside_part_overrides_the_part_and_its_doubt() {
    let from_part = with_battery("");
    assert_eq!(from_part.battery.capacity.nominal, Charge::from_milliampere_hours(1000.0));
    assert_eq!(from_part.battery.source, "measured on the bench");
    assert!(
        doubts(&from_part).contains(&"battery.capacity")
            && doubts(&from_part).contains(&"battery.resistance")
    );

    let overridden = with_battery("capacity = \"1500 mAh\"\n");
    assert_eq!(overridden.battery.capacity.nominal, Charge::from_milliampere_hours(1500.0));
    assert!(!doubts(&overridden).contains(&"battery.capacity"), "the person wrote it");
    assert!(doubts(&overridden).contains(&"battery.resistance"), "the part wrote it");
}

#[test]
fn cells_in_series_and_parallel_make_a_pack() {
    let pack = with_battery("cells_in_series = 2\ncells_in_parallel = 4\n").battery.clone();
    assert_eq!(pack.capacity.nominal, Charge::from_milliampere_hours(4000.0));
    close(pack.resistance.nominal.ohms(), 0.100 * 2.0 / 4.0);
    close(pack.resistance.spread_si, 0.050 * 2.0 / 4.0);
    close(pack.empty_voltage.volts(), 6.2);
    close(pack.charge_limit.expect("rechargeable").volts(), 8.4);
    close(pack.open_circuit[1].1.volts(), 8.0);
}

#[test]
fn a_primary_cell_goes_out_full_and_any_other_at_nine_tenths_unless_the_file_says_otherwise() {
    let charge = |battery: &str| {
        design(&format!("{HEAD}[battery]\npart = \"{battery}\"\n{LOAD}")).promise.charge_at_installation
    };
    assert_eq!(charge("li-socl2-d"), Share::from_fraction(1.0));
    assert_eq!(charge("cell.toml"), Share::from_fraction(0.9));
}

/// Worked out by hand: 32 bits, and for each satellite 6 bits and those that tell 299,792 m into steps of the resolution.
#[test]
fn a_recording_of_satellites_is_as_long_as_its_resolution_is_fine() {
    for (satellites, resolution, bytes) in [(6, "30 m", 19.0), (5, "300 m", 14.0), (12, "1 m", 42.0)] {
        let step = format!(
            "{{ snapshot = {{ time = \"2 s\", satellites = {satellites}, resolution = \"{resolution}\" }} }}"
        );
        let radio = "[radio]\npart = \"radio-mcu-14dbm\"\nregion = \"EU868\"\ndata_rate = \"DR5\"\npower = \"14 dBm\"\n";
        let located = design(&format!(
            "{HEAD}[battery]\npart = \"cell.toml\"\n{radio}[receiver]\npart = \"receiver-without-backup\"\n{LOAD}[load.board.activity.locate]\nevery = \"1 h\"\nsteps = [{step}, {{ uplink = {{ payload = \"{bytes} bytes\" }} }}]\n"
        ));
        let Step::Snapshot { size, .. } = located.loads[0].activities[0].steps[0] else { panic!("first") };
        close(size.bytes(), bytes);
    }
}

#[test]
fn a_supercapacitor_holds_capacitance_times_voltage() {
    let battery = design(&format!(
        "{HEAD}[battery]\nchemistry = \"supercapacitor\"\ncapacitance = \"10 F +- 20 %\"\nrated_voltage = \"5 V\"\nesr = \"120 mohm\"\n\
         charge_temperature = [\"-40 C\", \"65 C\"]\n\
         ageing = {{ first_year_at_25c = \"2 %\", at_full_charge = 2.0, doubles_every_k = 10.0, time_exponent = 0.75, per_100_cycles = \"0 %\" }}\n{LOAD}"
    ))
    .battery
    .clone();
    assert_eq!(battery.capacity.nominal, Capacitance::from_farads(10.0) * Voltage::from_volts(5.0));
    close(battery.capacity.spread_si, 10.0);
    assert_eq!(battery.resistance.nominal, Resistance::from_milliohms(120.0));
    assert_eq!(battery.charge_limit, Some(Voltage::from_volts(5.0)));
}

/// On this straight curve from 3.0 V to 4.0 V ten percent of charge are 0.1 V.
#[test]
fn a_cutoff_left_out_follows_from_battery_and_regulators() {
    let by_battery = with_battery("").cutoff;
    close(by_battery.stops_below.volts(), 3.1);
    close(by_battery.restarts_above.volts(), 3.2);
    let regulator =
        "[regulator.main]\nkind = \"ldo\"\noutput = \"3.3 V\"\ndropout = \"0.2 V\"\nquiescent = \"1 uA\"\n";
    let by_regulator = with_battery(regulator).cutoff;
    close(by_regulator.stops_below.volts(), 3.5);
    close(by_regulator.restarts_above.volts(), 3.6);
}

#[test]
fn a_floor_that_was_not_measured_spreads_by_itself() {
    let guessed = with_battery("");
    close(guessed.loads[0].floor.spread_si, 12e-6);
    assert!(doubts(&guessed).contains(&"load.board.floor"));
    let measured = design(&format!("{HEAD}[battery]\npart = \"cell.toml\"\n{LOAD}floor_measured = true\n"));
    close(measured.loads[0].floor.spread_si, 0.0);
    assert!(!doubts(&measured).contains(&"load.board.floor"));
}

#[test]
fn a_sensor_adds_its_step_once_per_activity_and_its_idle_current_once() {
    let text = format!(
        "{HEAD}[battery]\npart = \"cell.toml\"\n{LOAD}floor_measured = true\n[load.board.activity.a]\nevery = \"10 min\"\nsensors = [\"probe.toml\"]\n\
         steps = [{{ current = \"6 mA\", time = \"1 s\" }}]\n[load.board.activity.b]\nevery = \"1 h\"\nsensors = [\"probe.toml\"]\n"
    );
    let file = parse(&text);
    assert_eq!(file.part_files(), ["cell.toml", "probe.toml"]);
    let mut catalog = Catalog::builtin();
    catalog.add_file("cell.toml", CELL);
    catalog.add_file(
        "probe.toml",
        "title = \"Probe\"\nsource = \"measured\"\nfrom_memory = [\"left_on\"]\nidle = \"3 uA\"\nmeasuring = \"2 mA\"\ntime = \"50 ms\"\nleft_on = \"1 mA\"\n",
    );
    let design = resolve(&catalog, &file).unwrap_or_else(|problems| panic!("{problems:#?}")).design;
    let load = &design.loads[0];
    close(load.floor.nominal.microamperes(), 15.0);
    close(load.sensors_left_on.microamperes(), 997.0);
    assert_eq!(load.activities.iter().map(|activity| activity.steps.len()).collect::<Vec<_>>(), [2, 1]);
    let Step::Draw { current, .. } = load.activities[0].steps[0] else { panic!("the sensor comes first") };
    assert_eq!(current.nominal, Current::from_milliamperes(2.0));
    assert!(doubts(&design).contains(&"load.board.activity.a.sensors"));
}

#[test]
fn two_loads_on_one_regulator_pay_for_it_once() {
    let regulator = "[regulator.main]\nkind = \"ldo\"\noutput = \"3.0 V\"\nquiescent = \"1 uA\"\n";
    let design = with_battery(&format!("{regulator}[load.radio]\nfloor = \"3 uA\"\n"));
    let own: Vec<f64> = design
        .loads
        .iter()
        .map(|load| match load.regulator {
            Regulator::Ldo { quiescent, .. } => quiescent.microamperes(),
            _ => panic!("an ldo"),
        })
        .collect();
    assert_eq!(own.len(), 2);
    close(own.iter().sum::<f64>(), 1.0);
}

#[test]
fn transmit_current_lies_between_the_rows_of_the_table() {
    let radio = "[radio]\ntransmit = [[\"10 dBm\", \"30 mA\"], [\"14 dBm\", \"50 mA\"]]\nreceive = \"5 mA\"\nwait = \"1 mA\"\nsleep = \"2 uA\"\nstandby = \"1 mA\"\n\
        region = \"US915\"\ndata_rates = { DR1 = \"25 %\", DR0 = \"75 %\" }\npower = \"12 dBm\"\n";
    let radio = with_battery(radio).radio.clone().expect("a radio");
    close(radio.transmit_current.nominal.milliamperes(), 40.0);
    assert_eq!(radio.region.name, "US915");
    assert_eq!(
        radio.data_rates.iter().map(|(rate, share)| (*rate, share.percent())).collect::<Vec<_>>(),
        [(0, 75.0), (1, 25.0)]
    );
}

#[test]
fn a_panel_known_by_its_label_alone_is_marked_and_wide() {
    let panel = "[panel]\npower = \"2 W\"\ntilt = \"60 deg\"\nazimuth = \"any\"\n[charger]\npart = \"linear-usb-gated\"\n";
    let design = with_battery(panel);
    let mounted = design.panel.as_ref().expect("a panel");
    assert!(mounted.panel.from_label_only && mounted.azimuth.is_none());
    close(mounted.panel.power.spread_si, 0.4);
    close(mounted.panel.short_circuit_current.milliamperes(), 360.0);
    assert!(doubts(&design).contains(&"panel.power"));
}

#[test]
fn a_path_leads_to_its_line() {
    let text = format!("{HEAD}[battery]\npart = \"cell.toml\"\n{LOAD}");
    let file = parse(&text);
    let written = |path: &str| &text[file.span_of(path)];
    assert_eq!(written("battery.part"), "\"cell.toml\"");
    assert_eq!(written("battery.capacity"), "[battery]", "not written here: its section");
    assert_eq!(written("load.board.floor"), "\"12 uA\"");
    assert_eq!(written("load.board"), "[load.board]");
    assert_eq!(file.span_of("nothing.such"), 0..0);
}

/// RP002-1.0.5 sections 3.8 and 3.10, largest payloads with a dwell time of 400 ms; and by the airtime formula: no frame at SF11 or SF12 and 125 kHz lasts 400 ms or less.
#[test]
fn rates_that_carry_nothing_under_the_dwell_limit_are_not_used() {
    for region in ["AS923-1", "AU915"] {
        let radio = |keys: &str| {
            design(&format!(
                "{HEAD}[battery]\npart = \"li-socl2-d\"\n[radio]\npart = \"radio-mcu-14dbm\"\nregion = \"{region}\"\npower = \"14 dBm\"\n{keys}\n{LOAD}"
            ))
        };
        let slowest = |keys: &str| radio(keys).radio.as_ref().map(|radio| radio.allowed_rates[0]);
        assert_eq!(slowest(""), Some(2), "{region}");
        assert_eq!(slowest("dwell_limit = false"), Some(0), "{region}");
    }
}
