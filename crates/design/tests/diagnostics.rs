//! Every diagnostic is produced by one slip in an otherwise good file, at the line of the slip.

use design::catalog::Catalog;
use design::diagnostic::{CODES, Diagnostic, Severity};
use design::file::parse;
use design::resolve::resolve;
use std::collections::BTreeSet;

/// A good file without warnings. Cases edit it.
const GOOD: &str = r#"schema = 1
name = "Mast"
[site]
latitude = "46.99 deg"
longitude = "13 deg"
elevation = "640 m"
albedo = "20 %"
horizon = [["90 deg", "4 deg"]]
snow_days = [14, 10, 4, 0, 0, 0, 0, 0, 0, 0, 3, 9]
[promise]
unattended = "5 years"
without_outage = "95 %"
[panel]
power = "1 W"
open_circuit_voltage = "7.2 V"
short_circuit_current = "180 mA"
best_voltage = "6 V"
best_current = "167 mA"
tilt = "60 deg"
azimuth = "180 deg"
[charger]
kind = "linear"
voltage = "4.2 V"
current = "250 mA"
temperature_gate = [{ from = "0 C", to = "45 C", current = "100 %" }]
[battery]
chemistry = "nmc"
capacity = "2600 mAh"
open_circuit = [["0 %", "3.0 V"], ["50 %", "3.7 V"], ["100 %", "4.16 V"]]
resistance = "70 mohm"
charge_limit = "4.2 V"
charge_temperature = ["0 C", "45 C"]
empty_voltage = "2.8 V"
leakage = "0 uA"
ageing = { first_year_at_25c = "4 %", at_full_charge = 1.7, doubles_every_k = 10.0, time_exponent = 0.75, per_100_cycles = "3 %" }
[cutoff]
stops_below = "3.3 V"
restarts_above = "3.6 V"
[radio]
transmit = [["7 dBm", "25 mA"], ["14 dBm", "45 mA"]]
receive = "5 mA"
wait = "1 mA"
sleep = "2 uA"
standby = "1.5 mA"
region = "EU868"
data_rate = "DR3"
power = "14 dBm"
[regulator.main]
kind = "ldo"
output = "3.0 V"
quiescent = "1 uA"
[message.report]
port = 2
version = { bits = 2, value = 1 }
at_most = "30 bytes"
short = { port = 3, up_to = "DR1" }
[message.report.field]
air = { unit = "Cel", range = [-40, 60], resolution = 0.1, history = { earlier = 2, bits = 5 } }
soil = { unit = "%", range = [0, 100], bits = 8, priority = 2, per_device = ["zero_level"] }
cell = { kind = "battery", range = [2500, 4200], resolution = 10 }
rain = { kind = "counter", unit = "mm", step = 0.2, per_hour = 400, longest_gap = "2 d" }
spot = { kind = "position", grid = "2 m", priority = 2 }
moment = { kind = "time", epoch = "2026-01-01", tick = "1 min", lasts = "20 years", priority = 2 }
leaf = { kind = "choice", words = ["dry", "wet"] }
lid = { kind = "flag" }
tag = { kind = "bytes", length = "4 bytes", priority = 3 }
[message.interval]
port = 2
direction = "down"
field.interval = { unit = "s", range = [60, 86400], resolution = 60, sets = "report" }
[given.probe]
port = 20
bytes = "6 bytes"
[given.probe.field]
water = { unit = "cm", byte = 1, bits = 16, absent = [65535] }
volts = { unit = "V", bits = 8, step = 0.1, means = "battery" }
wet = { kind = "flag", byte = 5, shift = 7, bits = 1 }
[given.list]
port = 21
bytes = "20 bytes"
[given.list.field]
heat = { unit = "Cel", tag = "01 67", bits = 16, signed = true, step = 0.1 }
mode = { kind = "choice", tag = "02", bits = 8, words = ["idle", "busy"] }
[load.board]
regulator = "main"
floor = "12 uA"
floor_measured = true
[load.board.activity.report]
every = "10 min"
when = { months = [11], hours = [6, 18] }
steps = [{ current = "6 mA", time = "200 ms" }, { uplink = { payload = "12 bytes" } }, { uplink = { message = "report" } }]
[[diary]]
from = "11-01"
to = "02-28"
sky = "open"
"#;

fn problems(text: &str) -> Vec<Diagnostic> {
    if text.contains("[node.") {
        return design::fleet::resolve(&design::file::parse_fleet(text)).expect_err("a site with a slip");
    }
    let mut catalog = Catalog::builtin();
    catalog.add_file("no-source.toml", "title = \"A cell\"\nchemistry = \"nmc\"\n");
    match resolve(&catalog, &parse(text)) {
        Ok(resolved) => resolved.warnings,
        Err(problems) => problems,
    }
}

fn line_of(text: &str, at: usize) -> usize {
    1 + text.bytes().take(at).filter(|byte| *byte == b'\n').count()
}

/// A slip: its code, what is replaced by what in the good file, and a text that stands on the line pointed at.
struct Case {
    code: &'static str,
    edits: &'static [(&'static str, &'static str)],
    at: &'static str,
}

macro_rules! cases {
    ($($code:literal at $at:literal: $($from:literal => $to:literal),+;)+) => {
        &[$(Case { code: $code, edits: &[$(($from, $to)),+], at: $at }),+]
    };
}

const PANEL: &str = "[panel]\npower = \"1 W\"\nopen_circuit_voltage = \"7.2 V\"\nshort_circuit_current = \"180 mA\"\nbest_voltage = \"6 V\"\nbest_current = \"167 mA\"\ntilt = \"60 deg\"\nazimuth = \"180 deg\"\n";
const CHARGER: &str = "[charger]\nkind = \"linear\"\nvoltage = \"4.2 V\"\ncurrent = \"250 mA\"\ntemperature_gate = [{ from = \"0 C\", to = \"45 C\", current = \"100 %\" }]\n";
const LOAD: &str = "[load.board]\nregulator = \"main\"\nfloor = \"12 uA\"\nfloor_measured = true\n[load.board.activity.report]\nevery = \"10 min\"\nwhen = { months = [11], hours = [6, 18] }\nsteps = [{ current = \"6 mA\", time = \"200 ms\" }, { uplink = { payload = \"12 bytes\" } }, { uplink = { message = \"report\" } }]\n";
const RADIO: &str = "[radio]\ntransmit = [[\"7 dBm\", \"25 mA\"], [\"14 dBm\", \"45 mA\"]]\nreceive = \"5 mA\"\nwait = \"1 mA\"\nsleep = \"2 uA\"\nstandby = \"1.5 mA\"\nregion = \"EU868\"\ndata_rate = \"DR3\"\npower = \"14 dBm\"\n";

const CASES: &[Case] = cases! {
    "syntax" at "name =": "name = \"Mast\"" => "name = \"Mast";
    "syntax" at "tilt = \"61": "tilt = \"60 deg\"" => "tilt = \"60 deg\"\ntilt = \"61 deg\"";
    "one-of" at "steps": "message = \"report\"" => "message = \"report\", payload = \"9 bytes\"";
    "one-of" at "steps": "{ message = \"report\" }" => "{ confirmed = true }";
    "one-of" at "lid =": "kind = \"flag\"" => "kind = \"flag\", grid = \"2 m\"";
    "one-of" at "cell =": "kind = \"battery\"" => "kind = \"battery\", unit = \"V\"";
    "missing-key" at "air =": ", resolution = 0.1" => "";
    "missing-key" at "rain =": ", longest_gap = \"2 d\"" => "";
    "missing-key" at "spot =": ", grid = \"2 m\"" => "";
    "unknown-word" at "lid =": "\"flag\"" => "\"flog\"";
    "unknown-message" at "steps": "message = \"report\"" => "message = \"reprot\"";
    "unknown-message" at "steps": "message = \"report\"" => "message = \"interval\"";
    "message-name" at "float =": "lid =" => "float =";
    "message-name" at "Lid =": "lid =" => "Lid =";
    "message-name" at "\"größe\" =": "lid =" => "\"größe\" =";
    "message-name" at "leaf =": "\"dry\"" => "\"Dry\"";
    "message-name" at "soil =": "\"zero_level\"" => "\"zero level\"";
    "message-name" at "[message.2nd]": "[message.interval]" => "[message.2nd]";
    "name-collision" at "spot_latitude =": "lid =" => "spot_latitude =";
    "name-collision" at "air_earlier =": "lid =" => "air_earlier =";
    "name-collision" at "field.c": "[message.interval]" => "[message.report_air]\nport = 9\nfield.earlier = { kind = \"flag\" } # field.c\n[message.interval]";
    "name-collision" at "mode_frost =": "lid = { kind = \"flag\" }" => "mode = { kind = \"choice\", words = [\"frost_on\", \"off\"] }\nmode_frost = { kind = \"choice\", words = [\"on\", \"off\"] }";
    "name-collision" at "a2345678901234567890123456_other =": "lid =" => "a2345678901234567890123456_more = { kind = \"flag\" }\na2345678901234567890123456_other =", "[message.report]" => "[message.report_of_the_upper_slope_23456]", "[message.report.field]" => "[message.report_of_the_upper_slope_23456.field]", "message = \"report\"" => "message = \"report_of_the_upper_slope_23456\"";
    "message-name" at "message =": "lid =" => "message =";
    "message-name" at "linux =": "lid =" => "linux =";
    "message-name" at "[message.u8]": "[message.interval]" => "[message.u8]";
    "message-port" at "port = 0": "port = 2\ndir" => "port = 0\ndir";
    "message-port" at "port = 224": "port = 2\ndir" => "port = 224\ndir";
    "message-port" at "short =": "port = 3" => "port = 300";
    "port-twice" at "short =": "port = 3" => "port = 2";
    "port-twice" at "port = 2 # again": "port = 2\ndirection = \"down\"" => "port = 2 # again", ", sets = \"report\"" => "";
    "version-bits" at "version =": "bits = 2, value" => "bits = 9, value";
    "version-bits" at "version =": "value = 1 }" => "value = 4 }";
    "field-count" at "[message.empty]": "[message.interval]" => "[message.empty]\nport = 9\nfield = {}\n[message.interval]";
    "field-number" at "air =": "resolution = 0.1" => "resolution = 1e-1";
    "field-unit" at "air =": "\"Cel\"" => "\"C\"";
    "field-unit" at "air =": "\"Cel\"" => "\"°\"";
    "field-range" at "air =": "[-40, 60]" => "[60, -40]";
    "field-range" at "air =": "[-40, 60]" => "[60, 60]";
    "field-range" at "air =": "[-40, 60], resolution = 0.1" => "[0.000000001, 99999], bits = 32";
    "field-resolution" at "air =": "resolution = 0.1" => "resolution = 0";
    "field-resolution" at "air =": "resolution = 0.1" => "resolution = 200";
    "field-resolution" at "rain =": "step = 0.2" => "step = 0";
    "field-resolution" at "moment =": "1 min" => "0.5 s";
    "field-bits" at "air =": "resolution = 0.1" => "resolution = 0.1, bits = 9";
    "field-bits" at "soil =": "bits = 8" => "bits = 33";
    "field-bits" at "air =": "resolution = 0.1" => "resolution = 0.000000001";
    "field-bits" at "rain =": "per_hour = 400" => "per_hour = 4000000000";
    "field-bits" at "spot =": "2 m" => "1 mm";
    "field-bits" at "moment =": "20 years\", p" => "200 years\", tick = \"1 s\", p", "tick = \"1 min\", l" => "l";
    "field-bits" at "tag =": "4 bytes" => "1.5 bytes";
    "field-too-wide" at "tag =": "\"4 bytes\"" => "\"31 bytes\"";
    "field-too-wide" at "tag =": "\"4 bytes\"" => "\"250 bytes\"", "at_most = \"30 bytes\"\n" => "";
    "choice-words" at "leaf =": "[\"dry\", \"wet\"]" => "[\"dry\"]";
    "choice-words" at "leaf =": "[\"dry\", \"wet\"]" => "[\"dry\", \"dry\"]";
    "history" at "air =": "bits = 5" => "bits = 2";
    "history" at "air =": "bits = 5" => "bits = 11";
    "history" at "lid =": "kind = \"flag\"" => "kind = \"flag\", history = { earlier = 1, bits = 3 }";
    "history" at "rain =": "per_hour = 400, longest_gap = \"2 d\"" => "bits = 9, history = { earlier = 1, bits = 10 }";
    "history" at "rain =": "per_hour = 400, longest_gap = \"2 d\"" => "bits = 2, history = { earlier = 1, bits = 3 }";
    "one-of" at "lid =": "kind = \"flag\"" => "kind = \"flag\", sets = \"report\"";
    "given-place" at "water =": "byte = 1" => "byte = 5";
    "given-place" at "water =": "bits = 16, abs" => "bits = 64, shift = 1, abs";
    "given-place" at "heat =": "bits = 16, signed = true, step = 0.1" => "kind = \"float\", bits = 16";
    "given-place" at "mode =": "kind = \"choice\", tag = \"02\", bits = 8, words = [\"idle\", \"busy\"]" => "kind = \"bytes\", tag = \"02\", bits = 12";
    "given-place" at "heat =": "unit = \"Cel\", tag = \"01 67\", bits = 16, signed = true" => "kind = \"position\", tag = \"01 67\", bits = 20";
    "missing-key" at "volts =": "\"V\", bits = 8, " => "\"V\", ";
    "one-of" at "wet =": "shift = 7" => "longitude_byte = 2, shift = 7";
    "given-tag" at "mode =": "tag = \"02\", " => "";
    "given-tag" at "heat =": "tag = \"02\"" => "tag = \"01\"";
    "given-tag" at "heat =": "\"01 67\"" => "\"01 6\"";
    "port-twice" at "[given.list]": "port = 21" => "port = 20";
    "port-twice" at "[given.probe]": "port = 20" => "port = 2";
    "one-of" at "wet =": "shift = 7" => "step = 2, shift = 7";
    "choice-words" at "mode =": "\"busy\"" => "\"idle\"";
    "field-unit" at "water =": "\"cm\"" => "\"C\"";
    "field-number" at "water =": "[65535]" => "[0.5]";
    "field-resolution" at "volts =": "step = 0.1" => "step = 0";
    "field-meaning" at "wet =": "bits = 1 }" => "bits = 1, means = \"box\" }";
    "missing-key" at "water =": "unit = \"cm\", " => "";
    "field-meaning" at "rain =": "unit = \"mm\"" => "unit = \"mm\", means = \"charging\"";
    "field-meaning" at "rain =": "unit = \"mm\", step = 0.2" => "unit = \"min\", step = 5, means = \"charging\"";
    "field-meaning" at "lid =": "kind = \"flag\"" => "kind = \"flag\", means = \"box\"";
    "field-meaning" at "cell =": "unit = \"%\"" => "unit = \"mV\", means = \"battery\"", "cell =" => "panel = { unit = \"V\", range = [0, 8], resolution = 0.1, means = \"panel\" }\ncell =";
    "field-meaning" at "cell =": "kind = \"battery\"" => "kind = \"battery\", means = \"panel\"";
    "field-meaning" at "cell =": "cell =" => "other = { unit = \"mV\", range = [0, 4000], bits = 8, means = \"battery\" }\ncell =";
    "field-meaning" at "field.interval": "sets = \"report\"" => "sets = \"report\", means = \"restarted\"";
    "unknown-word" at "lid =": "kind = \"flag\"" => "kind = \"flag\", means = \"solar\"";
    "sets-interval" at "soil =": "bits = 8" => "bits = 8, sets = \"report\"";
    "sets-interval" at "field.interval": "unit = \"s\"" => "unit = \"Cel\"";
    "sets-interval" at "field.interval": "sets = \"report\"" => "sets = \"board.reprot\"";
    "sets-interval" at "field.interval": "[[diary]]" => "[load.other]\nregulator = \"main\"\nfloor = \"1 uA\"\nfloor_measured = true\n[load.other.activity.report]\nevery = \"1 h\"\nsteps = [{ current = \"6 mA\", time = \"1 s\" }]\n[[diary]]";
    "message-too-long" at "at_most": "30 bytes" => "10 bytes";
    "short-form" at "short =": "up_to = \"DR1\"" => "keeps = 3", "history = { earlier = 2, bits = 5 }" => "priority = 1";
    "short-form" at "short =": ", up_to = \"DR1\"" => "";
    "date" at "moment =": "2026-01-01" => "2026-02-29";
    "out-of-range" at "tag =": "priority = 3" => "priority = 10";
    "payload-too-long" at "steps": "\"4 bytes\"" => "\"99 bytes\"", "30 bytes" => "200 bytes", "data_rate = \"DR3\"" => "data_rate = \"DR2\"", "short = { port = 3, up_to = \"DR1\" }\n" => "";
    "payload-too-long" at "[message.interval]": "field.interval =" => "field.blob = { kind = \"bytes\", length = \"60 bytes\" }\nfield.interval =";
    "payload-too-long" at "[message.interval]": "field.interval =" => "field.blob = { kind = \"bytes\", length = \"53 bytes\" }\nfield.interval =", "EU868" => "US915";
    "schema-version" at "schema": "schema = 1" => "schema = 2";
    "unknown-key" at "latitud =": "elevation" => "latitud = \"1 deg\"\nelevation";
    "unknown-key" at "[bettery]": "[cutoff]" => "[bettery]\n[cutoff]";
    "missing-key" at "[site]": "latitude = \"46.99 deg\"\n" => "";
    "missing-key" at "[battery]": "capacity = \"2600 mAh\"\n" => "";
    "missing-key" at "[regulator.main]": "output = \"3.0 V\"\n" => "";
    "missing-key" at "[charger]": "kind = \"linear\"" => "kind = \"mppt\"";
    "one-of" at "every_by": "every = \"10 min\"" => "every = \"10 min\"\nevery_by_charge = [[\"0 %\", \"1 h\"]]";
    "one-of" at "[load.board.activity.report]": "every = \"10 min\"\n" => "";
    "one-of" at "data_rates": "data_rate = \"DR3\"" => "data_rate = \"DR3\"\ndata_rates = { DR3 = \"100 %\" }";
    "one-of" at "rated": "leakage" => "rated_voltage = \"5 V\"\nleakage";
    "wrong-type" at "floor_measured": "floor_measured = true" => "floor_measured = \"yes\"";
    "wrong-type" at "horizon": "[[\"90 deg\", \"4 deg\"]]" => "[[\"90 deg\"]]";
    "wrong-type" at "steps": "{ uplink" => "7, { uplink";
    "bare-number" at "floor =": "floor = \"12 uA\"" => "floor = 12";
    "bare-number" at "albedo": "\"20 %\"" => "0.2";
    "number" at "floor =": "12 uA" => "12,5 uA";
    "number" at "floor =": "12 uA" => "little";
    "not-finite" at "elevation": "640 m" => "1e999 m";
    "missing-unit" at "floor =": "12 uA" => "12";
    "unknown-unit" at "capacity": "2600 mAh" => "2600 mah";
    "wrong-quantity" at "floor =": "12 uA" => "12 uAh";
    "tolerance" at "capacity": "2600 mAh" => "2600 mAh +- 400 %";
    "tolerance" at "temperature_gate": "from = \"0 C\"" => "from = \"0 C +- 5 %\"";
    "tolerance-unused" at "tilt": "60 deg" => "60 deg +- 5 deg";
    "unknown-word" at "chemistry": "\"nmc\"" => "\"nmk\"";
    "text" at "name": "\"Mast\"" => "\"\"";
    "text" at "name": "\"Mast\"" => "\"a\\u001b[31m\"";
    "not-positive" at "capacity": "2600 mAh" => "-2600 mAh";
    "not-positive" at "capacity": "2600 mAh" => "0 mAh";
    "not-positive" at "steps": "200 ms" => "0 s";
    "negative" at "leakage": "0 uA" => "-1 uA";
    "share-range" at "albedo": "20 %" => "120 %";
    "share-range" at "efficiency": "current = \"250 mA\"" => "current = \"250 mA\"\nefficiency = \"0 %\"";
    "out-of-range" at "steps": "12 bytes" => "300 bytes";
    "unusual" at "albedo": "20 %" => "99 %";
    "unusual" at "floor =": "12 uA" => "500 mA";
    "out-of-range" at "sun_gain": "[cutoff]" => "[enclosure]\nsun_gain = \"1e6 K\"\n[cutoff]";
    "unattended" at "unattended": "5 years" => "100 years";
    "unattended" at "unattended": "5 years" => "6 d";
    "latitude" at "latitude": "46.99 deg" => "95 deg";
    "longitude" at "longitude": "13 deg" => "-190 deg";
    "tilt" at "tilt": "60 deg" => "140 deg";
    "azimuth" at "azimuth": "180 deg" => "-30 deg";
    "horizon" at "horizon": "[\"90 deg\", \"4 deg\"]" => "[\"90 deg\", \"4 deg\"], [\"80 deg\", \"2 deg\"]";
    "horizon" at "horizon": "\"4 deg\"" => "\"95 deg\"";
    "horizon-closed" at "horizon": "[\"90 deg\", \"4 deg\"]" => "[\"0 deg\", \"88 deg\"], [\"180 deg\", \"67 deg\"]";
    "horizon-closed" at "horizon_in_leaf": "albedo" => "horizon_in_leaf = [[\"0 deg\", \"70 deg\"]]\nmonths_in_leaf = [6]\nalbedo";
    "leaf" at "horizon_in_leaf": "albedo" => "horizon_in_leaf = [[\"180 deg\", \"20 deg\"]]\nalbedo";
    "leaf" at "months_in_leaf": "albedo" => "months_in_leaf = [5, 6]\nalbedo";
    "month" at "months_in_leaf": "albedo" => "horizon_in_leaf = []\nmonths_in_leaf = [5, 6, 5]\nalbedo";
    "month" at "months_in_leaf": "albedo" => "horizon_in_leaf = []\nmonths_in_leaf = []\nalbedo";
    "snow-days" at "snow": "14, 10" => "40, 10";
    "snow-days" at "snow": "14, 10" => "14";
    "monthly" at "sun =": "[promise]" => "[climate]\nsun = [\"1.0 kWh/m2\", \"1.9 kWh/m2\"]\n[promise]";
    "date" at "to = \"02": "\"02-28\"" => "\"02-31\"";
    "date" at "from = \"1": "from = \"11-01\"" => "from = \"1 November\"";
    "month" at "when": "[11]" => "[13]";
    "hours" at "when": "[6, 18]" => "[6, 25]";
    "promise-share" at "without": "95 %" => "100 %";
    "unknown-part" at "part =": "[battery]" => "[battery]\npart = \"nmc-18560\"";
    "part-file-missing" at "part =": "[battery]" => "[battery]\npart = \"mine.toml\"";
    "part-file" at "schema": "[battery]" => "[battery]\npart = \"no-source.toml\"";
    "curve-order" at "open_circuit = [": "[\"0 %\", \"3.0 V\"], " => "[\"60 %\", \"3.0 V\"], ";
    "curve-order" at "open_circuit = [": "4.16 V" => "3.16 V";
    "curve-ends" at "open_circuit = [": "\"0 %\", \"3.0 V\"" => "\"10 %\", \"3.0 V\"";
    "curve-ends" at "open_circuit = [": "\"100 %\", \"4.16 V\"" => "\"110 %\", \"4.16 V\"";
    "battery-voltages" at "charge_limit": "charge_limit = \"4.2 V\"" => "charge_limit = \"2.5 V\"";
    "battery-voltages" at "charge_temp": "[\"0 C\", \"45 C\"]" => "[\"45 C\", \"0 C\"]";
    "chemistry-limit" at "charge_limit": "charge_limit = \"4.2 V\"" => "charge_limit = \"12 V\"";
    "chemistry-limit" at "open_circuit = [": "4.16 V" => "8.32 V";
    "one-of" at "charge_limit": "chemistry = \"nmc\"" => "chemistry = \"li-mno2\"", "4.16 V" => "3.16 V", "3.7 V" => "3.1 V";
    "gate" at "temperature_gate": "to = \"45 C\"" => "to = \"-5 C\"";
    "panel-points" at "best_voltage": "\"6 V\"" => "\"8 V\"";
    "panel-curve" at "best_current": "167 mA" => "179 mA";
    "panel-curve" at "shunt": "tilt = \"60 deg\"" => "shunt = \"400 ohm\"\ntilt = \"60 deg\"";
    "panel-curve" at "voltage_coefficient": "tilt = \"60 deg\"" => "voltage_coefficient = \"0.4 %/K\"\ntilt = \"60 deg\"", "name = \"Mast\"" => "name = \"Hot mast\"";
    "charger-thresholds" at "terminate": "current = \"250 mA\"" => "current = \"250 mA\"\nterminate_current = \"300 mA\"";
    "charger-thresholds" at "recharge": "current = \"250 mA\"" => "current = \"250 mA\"\nrecharge_below = \"4.2 V\"";
    "charger-thresholds" at "precharge_below": "current = \"250 mA\"" => "current = \"250 mA\"\nprecharge_current = \"20 mA\"\nprecharge_below = \"5 V\"";
    "charger-thresholds" at "precharge_current": "current = \"250 mA\"" => "current = \"250 mA\"\nprecharge_current = \"300 mA\"";
    "charger-thresholds" at "input_minimum": "current = \"250 mA\"" => "current = \"250 mA\"\ninput_absolute_maximum = \"6 V\"\ninput_minimum = \"7 V\"";
    "fix-times" at "hot =": "[[diary]]" => "[receiver]\nacquire = \"25 mA\"\nwarm = \"25 s\"\ncold = \"30 s\"\nephemeris_life = \"2 h\"\nhot = \"26 s\"\n[[diary]]";
    "panel-label-only" at "power = \"1 W": "open_circuit_voltage = \"7.2 V\"\nshort_circuit_current = \"180 mA\"\nbest_voltage = \"6 V\"\nbest_current = \"167 mA\"\n" => "";
    "primary-charged" at "[panel]": "\"nmc\"" => "\"li-socl2\"";
    "overcharge" at "voltage = \"4.2": "charge_limit = \"4.2 V\"" => "charge_limit = \"3.65 V\"", "chemistry = \"nmc\"" => "chemistry = \"lfp\"";
    "undercharge" at "voltage = \"3.6": "voltage = \"4.2 V\"" => "voltage = \"3.6 V\"";
    "direct-unlimited" at "kind = \"direct": "kind = \"linear\"\nvoltage = \"4.2 V\"" => "kind = \"direct\"";
    "nimh-direct-current" at "[panel]": "kind = \"linear\"\nvoltage = \"4.2 V\"" => "kind = \"direct\"", "\"nmc\"" => "\"nimh\"", "2600 mAh" => "1700 mAh";
    "unknown-region" at "region": "EU868" => "EU686";
    "panel-away" at "azimuth": "azimuth = \"180 deg\"" => "azimuth = \"0 deg\"";
    "region-place" at "region": "EU868" => "US915", "13 deg" => "14 deg", "\"DR3\"" => "\"DR2\"";
    "data-rate" at "data_rate": "DR3" => "DR15";
    "data-rate" at "allowed": "data_rate = \"DR3\"" => "data_rate = \"DR3\"\nallowed_rates = [\"DR0\"]";
    "newer-rate" at "data_rate": "DR3" => "DR8";
    "newer-rate" at "data_rate": "DR3" => "DR12";
    "channel" at "channels": "data_rate = \"DR3\"" => "data_rate = \"DR3\"\nchannels = [\"915 MHz\"]";
    "channel" at "channels": "region = \"EU868\"\ndata_rate = \"DR3\"" => "region = \"US915\"\ndata_rate = \"DR4\"\nchannels = [\"903.9 MHz\"]";
    "channel" at "channels": "region = \"EU868\"\ndata_rate = \"DR3\"" => "region = \"US915\"\ndata_rate = \"DR3\"\nchannels = [\"902.4 MHz\"]";
    "channel-gap" at "channels": "data_rate = \"DR3\"" => "data_rate = \"DR3\"\nchannels = [\"868.65 MHz\"]";
    "channel-edge" at "channels": "data_rate = \"DR3\"" => "data_rate = \"DR3\"\nchannels = [\"868.55 MHz\"]";
    "channel-edge" at "channels": "data_rate = \"DR3\"" => "data_rate = \"DR6\"\nchannels = [\"868.5 MHz\", \"868.1 MHz\"]";
    "data-rate" at "data_rate": "DR3" => "SF9";
    "data-rate-shares" at "data_rates": "data_rate = \"DR3\"" => "data_rates = { DR5 = \"60 %\", DR3 = \"30 %\" }";
    "radio-power" at "power = \"20": "14 dBm\"\n[reg" => "20 dBm\"\n[reg";
    "payload-too-long" at "steps": "12 bytes" => "116 bytes";
    "unknown-regulator" at "regulator = \"mian": "regulator = \"main\"" => "regulator = \"mian\"";
    "unknown-regulator" at "[load.board]": "regulator = \"main\"\n" => "", "[load.board]" => "[regulator.other]\nkind = \"none\"\n[load.board]";
    "floor-unmeasured" at "floor =": "floor_measured = true\n" => "";
    "floor-below-sleep" at "floor =": "12 uA" => "1 uA";
    "interval-zero" at "every =": "10 min" => "0 min";
    "interval-rows" at "every_by": "every = \"10 min\"" => "every_by_charge = [[\"50 %\", \"10 min\"]]";
    "interval-rows" at "every_by_month": "every = \"10 min\"" => "every_by_month_and_charge = [[\"50 %\", [\"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\"]]]";
    "interval-rows" at "every_by_month": "every = \"10 min\"" => "every_by_month_and_charge = [[\"50 %\", [\"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\"]], [\"0 %\", [\"1 h\", \"1 h\", \"1 h\", \"1 h\", \"50 min\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\"]]]";
    "monthly" at "every_by_month": "every = \"10 min\"" => "every_by_month_and_charge = [[\"0 %\", [\"1 h\", \"2 h\"]]]";
    "interval-zero" at "every_by_month": "every = \"10 min\"" => "every_by_month_and_charge = [[\"0 %\", [\"0 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\"]]]";
    "one-of" at "every_by_month": "every = \"10 min\"" => "every = \"10 min\"\nevery_by_month_and_charge = [[\"0 %\", [\"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\", \"1 h\"]]]";
    "out-of-range" at "gauge_error": "leakage = \"0 uA\"" => "gauge_error = \"60 %\"";
    "activity-too-long" at "every =": "200 ms" => "20 min";
    "activity-empty" at "[load.board.activity.report]": "steps = [{ current = \"6 mA\", time = \"200 ms\" }, { uplink = { payload = \"12 bytes\" } }, { uplink = { message = \"report\" } }]" => "steps = []";
    "step" at "steps": ", time = \"200 ms\"" => "";
    "snapshot-unsent" at "[load.board.activity.report]": "[[diary]]" => "[receiver]\npart = \"receiver-with-backup\"\n[[diary]]", "{ uplink = { message = \"report\" } }" => "{ uplink = { message = \"report\" } }, { snapshot = { time = \"2 s\" } }";
    "snapshot-unsent" at "[load.board.activity.report]": "[[diary]]" => "[receiver]\npart = \"receiver-with-backup\"\n[[diary]]", "{ uplink = { payload = \"12 bytes\" } }" => "{ snapshot = { time = \"2 s\" } }, { uplink = { payload = \"18 bytes\" } }";
    "fix-without-receiver" at "steps": "{ uplink = { payload = \"12 bytes\" } }" => "{ snapshot = { time = \"2 s\" } }, { uplink = { payload = \"19 bytes\" } }";
    "fix-without-receiver" at "steps": "{ uplink = { payload = \"12 bytes\" } }" => "{ fix = { give_up_after = \"60 s\" } }";
    "cutoff-order" at "restarts": "3.6 V\"\n[radio]" => "3.2 V\"\n[radio]";
    "cutoff-above-full" at "stops_below": "stops_below = \"3.3 V\"" => "stops_below = \"4.3 V\"";
    "cutoff-above-full" at "output": "output = \"3.0 V\"" => "output = \"5 V\"";
    "cutoff-above-full" at "dropout": "output = \"3.0 V\"" => "output = \"3.0 V\"\ndropout = \"1.5 V\"";
    "size-range" at "intervals": "[radio]" => "[size]\nintervals = [\"3 h\", \"1 min\"]\n[radio]";
    "size-range" at "activity": "[radio]" => "[size]\nactivity = \"rapport\"\n[radio]";
    "size-range" at "panels": "[radio]" => "[size]\npanels = []\n[radio]";
    "size-range" at "panel-9w": "[radio]" => "[size]\nprices = [[\"panel-9w\", 4.2]]\n[radio]";
    "unknown-part" at "panel-9w": "[radio]" => "[size]\npanels = [\"panel-9w\"]\n[radio]";
    "cutoff-too-low" at "stops_below": "stops_below = \"3.3 V\"" => "stops_below = \"2.9 V\"";
};

fn edited(edits: &[(&str, &str)]) -> String {
    edits.iter().fold(GOOD.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "the good file has no `{from}`");
        text.replacen(from, to, 1)
    })
}

fn removed(section: &str) -> String {
    assert!(GOOD.contains(section), "the good file has no\n{section}");
    GOOD.replacen(section, "", 1)
}

/// Slips that remove whole sections, or need more than an edit.
fn larger_cases() -> Vec<(&'static str, String, &'static str)> {
    let overlap = format!("{GOOD}[[diary]]\nfrom = \"02-01\" # again\nto = \"03-31\"\nsky = \"half\"\n");
    let flags: Vec<String> =
        (0..300).map(|number| format!("lid{number} = {{ kind = \"flag\" }}\n")).collect();
    let loads: Vec<String> = (0..1001)
        .map(|number| format!("[load.l{number}]\nfloor = \"1 uA\"\nfloor_measured = true\n"))
        .collect();
    vec![
        ("too-large", format!("{GOOD}#{}", "x".repeat(10 << 20)), "schema"),
        ("panel-without-charger", removed(CHARGER), "[panel]"),
        ("charger-without-panel", removed(PANEL), "[charger]"),
        ("field-count", GOOD.replacen("lid = { kind = \"flag\" }\n", &flags.concat(), 1), "[message.report]"),
        ("never-charged", removed(PANEL).replacen(CHARGER, "", 1), "[battery]"),
        ("uplink-without-radio", removed(RADIO), "steps"),
        ("too-many", GOOD.replacen(LOAD, &loads.concat(), 1), "[load.l0]"),
        ("no-regulator", without_regulator(), "[load.board]"),
        ("radio-unused", GOOD.replacen(UPLINKS, "", 1), "[radio]"),
        ("old-name", GOOD.replacen(CHARGER, "[charger]\npart = \"linear-nano\"\n\n", 1), "linear-nano"),
        ("no-load", GOOD.replacen(LOAD, "[load]\n", 1), "[load]"),
        ("time-zone", site("zone = \"UTC\"", "zone = \"CEST\""), "time_zone"),
        ("eui", site("FFFE000001", "FFFE"), "eui ="),
        ("address", site("127.0.0.1:1700", "localhost"), "udp ="),
        ("limit", site("again_at = \"2 Cel\"", "again_at = \"0.5 Cel\""), "again_at ="),
        ("survey", site("antenna_height = \"12 m\"", SURVEYED_TOO_WELL), "gateway.roof"),
        ("out-of-range", site("antenna_height = \"12 m\"", SURVEYED_TOO_FAR), "gateway.roof"),
        ("may-stand", site("[source.fields]", MAY_STAND_TWICE), "may_stand.roof"),
        ("pointer", site("/who/id", "who.id"), "device ="),
        ("diary-overlap", overlap, "[[diary]]\nfrom = \"02-01\" # again"),
    ]
}

/// No survey finds more than 100 dB over the prediction.
const SURVEYED_TOO_FAR: &str = "antenna_height = \"12 m\", place = \"outside\", survey = { correction = \"-9 dB +- 3 dB\", \
                                spots = \"11 dB\", packets = 214, until = \"2026-10-04\", nodes = { near = \"-140 dB +- 3 dB\" } }";

/// A gateway stands there already.
const MAY_STAND_TWICE: &str = "[may_stand.roof]\nlatitude = \"47 deg\"\nlongitude = \"13 deg\"\nantenna_height = \"15 m\"\n[source.fields]";

/// A survey leaves a doubt, which is missing here.
const SURVEYED_TOO_WELL: &str = "antenna_height = \"12 m\", place = \"outside\", survey = { correction = \"-9 dB\", \
                                 spots = \"11 dB\", packets = 214, until = \"2026-10-04\" }";

/// A site's file with one slip.
fn site(from: &str, to: &str) -> String {
    let good = r#"schema = 1
name = "Slope"
time_zone = "UTC"
gateway.roof = { latitude = "47 deg", longitude = "13 deg", antenna_height = "12 m" }
[serve.gateways]
udp = "127.0.0.1:1700"
[source.fields]
csv = { file = "past.csv" }
device = "/who/id"
port = "/p"
payload = { at = "/body", is = "base64" }
[node.near]
kind = "mast.toml"
latitude = "47.01 deg"
longitude = "13.01 deg"
[watch.rule.frost]
field = "air"
below = "1 Cel"
again_at = "2 Cel"
"#;
    let good = good.replacen("antenna_height", "eui = \"020000FFFE000001\", antenna_height", 1);
    assert!(good.contains(from), "{from}");
    good.replacen(from, to, 1)
}

/// All that [`GOOD`] sends.
const UPLINKS: &str = r#", { uplink = { payload = "12 bytes" } }, { uplink = { message = "report" } }"#;

fn without_regulator() -> String {
    let cutoff = "[cutoff]\nstops_below = \"3.3 V\"\nrestarts_above = \"3.6 V\"\n";
    let regulator = "[regulator.main]\nkind = \"ldo\"\noutput = \"3.0 V\"\nquiescent = \"1 uA\"\n";
    removed(cutoff).replacen(regulator, "", 1).replacen("regulator = \"main\"\n", "", 1)
}

fn assert_found(code: &str, text: &str, at: &str) {
    let found = problems(text);
    let line = line_of(text, text.find(at).unwrap_or_else(|| panic!("no `{at}` in\n{text}")));
    let hit = found
        .iter()
        .any(|one| one.code == code && (one.file.is_some() || line_of(text, one.span.start) == line));
    assert!(hit, "{code} is not found at line {line}, but: {found:#?}");
}

#[test]
fn the_good_file_has_no_problem() {
    let found = problems(GOOD);
    assert!(found.is_empty(), "{found:#?}");
}

#[test]
fn every_slip_is_found_at_its_line() {
    for case in CASES {
        assert_found(case.code, &edited(case.edits), case.at);
    }
    for (code, text, at) in larger_cases() {
        assert_found(code, &text, at);
    }
}

/// One slip must not make the person read about consequences.
#[test]
fn a_slip_in_one_value_gives_one_diagnostic() {
    let alone = |code: &str| {
        !["unknown-part", "part-file", "part-file-missing", "primary-charged", "syntax"].contains(&code)
    };
    for case in CASES.iter().filter(|case| case.edits.len() == 1 && alone(case.code)) {
        let found = problems(&edited(case.edits));
        assert_eq!(found.len(), 1, "{}: {found:#?}", case.code);
    }
}

#[test]
fn every_code_has_a_slip_and_every_slip_a_code() {
    let known: BTreeSet<&str> = CODES.iter().map(|code| code.name).collect();
    let larger = larger_cases();
    let tested: BTreeSet<&str> =
        CASES.iter().map(|case| case.code).chain(larger.iter().map(|case| case.0)).collect();
    assert_eq!(known, tested);
    assert_eq!(known.len(), CODES.len(), "no code twice");
}

#[test]
fn messages_are_lower_case_without_full_stop_and_say_what_to_write() {
    for case in CASES {
        for one in problems(&edited(case.edits)) {
            assert!(
                !one.message.ends_with('.') && !one.help.is_empty() && !one.help.ends_with('.'),
                "{one:?}"
            );
            let first = one.message.chars().next().expect("a message");
            assert!(!first.is_uppercase() || one.message.starts_with("DR"), "{one:?}");
        }
    }
}

#[test]
fn all_problems_of_a_file_come_at_once_in_the_order_of_the_text() {
    let text = edited(&[
        ("46.99 deg", "95 deg"),
        ("tilt = \"60 deg\"", "tilt = \"140 deg\""),
        ("\"2600 mAh\"", "\"2600 mah\""),
        ("floor = \"12 uA\"", "floor = 12"),
        ("every = \"10 min\"", "every = \"0 min\""),
    ]);
    let codes: Vec<&str> = problems(&text).iter().map(|one| one.code).collect();
    assert_eq!(codes, ["latitude", "tilt", "unknown-unit", "bare-number", "interval-zero"]);
}

#[test]
fn help_says_what_to_write_instead() {
    for (from, to, help) in [
        ("floor = \"12 uA\"", "floor = 12", "\"12 uA\""),
        ("2600 mAh", "2600 mah", "\"mAh\""),
        ("elevation", "elevatoin", "`elevation`"),
        ("\"nmc\"", "\"nnc\"", "\"nmc\""),
        ("\"20 %\"", "0.2", "\"20 %\""),
        ("EU868", "EU886", "\"EU868\""),
        ("180 deg\"\n[charger", "-90 deg\"\n[charger", "\"270 deg\""),
    ] {
        let found = problems(&edited(&[(from, to)]));
        assert!(found.iter().any(|one| one.help.contains(help)), "{to}: {found:#?}");
    }
}

#[test]
fn a_problem_in_a_part_file_says_which_file() {
    let mut catalog = Catalog::builtin();
    catalog.add_file(
        "mine.toml",
        "title = \"A cell\"\nsource = \"measured\"\nchemistry = \"nmc\"\ncapacity = 5\n",
    );
    let text = edited(&[("capacity = \"2600 mAh\"", "part = \"mine.toml\"")]);
    let file = parse(&text);
    assert_eq!(file.part_files(), ["mine.toml"]);
    let problems = resolve(&catalog, &file).expect_err("a bare number in the part file");
    assert_eq!(problems.len(), 1, "{problems:#?}");
    assert_eq!(
        (problems[0].file.as_deref(), problems[0].code, problems[0].severity),
        (Some("mine.toml"), "bare-number", Severity::Error)
    );
}
