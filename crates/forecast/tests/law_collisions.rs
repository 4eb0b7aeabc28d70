//! Collisions against published figures.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::float_cmp,
    reason = "small whole numbers of a table, and values that are copied, not computed"
)]

use design::quantity::{Dbm, Decibels, Duration, Frequency, Length};
use forecast::radio::airtime::{CodingRate, Lora};
use forecast::radio::collisions::{Rejection, Sender, above_floor, delivery};
use proptest::prelude::*;

fn rows(name: &str) -> Vec<csv::StringRecord> {
    let path = format!("{}/tests/data/lorawan/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(path).expect("data file");
    reader.records().map(|row| row.expect("a row")).collect()
}

fn number(row: &csv::StringRecord, column: usize) -> f64 {
    row.get(column).and_then(|text| text.parse().ok()).unwrap_or_else(|| panic!("column {column} of {row:?}"))
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} for {expected} within {within}");
}

/// What is left of one of `count` equal senders besides itself, all on one channel at one spreading factor: any overlap is
/// a loss.
fn among_equals(count: usize, time_on_air: Duration, interval: Duration, channels: f64) -> f64 {
    let one = Sender { spreading_factor: 12, received: Dbm::from_dbm(-110.0), time_on_air, interval };
    delivery(&one, &vec![one; count], &Rejection::CROCE_2018, channels)
}

/// `(wavelength / (4 pi distance))^exponent`, Georgiou & Raza 2017, section II.
fn power_law_gain(frequency: Frequency, distance: Length, exponent: f64) -> Decibels {
    let wavelength_m = 299_792_458.0 / frequency.hertz();
    let ratio = wavelength_m / (4.0 * std::f64::consts::PI * distance.metres());
    Decibels::from_decibels(10.0 * exponent * ratio.log10())
}

fn twelve_at(coding_rate: CodingRate) -> Duration {
    Lora { coding_rate, ..Lora::uplink(12, 125_000.0) }.time_on_air(20)
}

/// Bor et al. 2016 (`MSWiM`), setting SN1: SF12, 125 kHz, 20 bytes, one message per 1000 s. Printed 0.51 for 200 nodes at
/// coding rate 4/8; the other values recomputed in Python (`capacity_checkpoints.csv`).
#[test]
fn bor_2016_in_the_form_of_aloha() {
    let interval = Duration::from_seconds(1000.0);
    let share = |nodes, coding_rate| among_equals(nodes, twelve_at(coding_rate), interval, 1.0);
    near(share(200, CodingRate::FourEighths), 0.51, 0.006);
    let checks = rows("capacity_checkpoints");
    let recomputed: Vec<f64> = checks.iter().take(7).map(|row| number(row, 2)).collect();
    for (nodes, coding_rate, expected) in [
        (200, CodingRate::FourEighths, recomputed[0]),
        (64, CodingRate::FourEighths, recomputed[1]),
        (120, CodingRate::FourEighths, recomputed[2]),
        (64, CodingRate::FourFifths, recomputed[4]),
        (120, CodingRate::FourFifths, recomputed[5]),
        (200, CodingRate::FourFifths, recomputed[6]),
    ] {
        near(share(nodes, coding_rate), expected, 5e-5);
    }
}

/// Abramson 1970: the throughput of pure ALOHA has its maximum 1 / (2 e) = 0.1839 at a load of one half.
#[test]
fn throughput_of_pure_aloha_peaks_at_half_a_load() {
    // A hundred senders of one second each, sending as often as makes up the load.
    let throughput = |load: f64| {
        load * among_equals(100, Duration::from_seconds(1.0), Duration::from_seconds(100.0 / load), 1.0)
    };
    near(throughput(0.5), 0.1839, 5e-5);
    assert!(throughput(0.45) < throughput(0.5) && throughput(0.55) < throughput(0.5));
}

/// Needs, scenario B: 24 nodes, 6 bytes every minute; 3 % lost at SF10 and 12 % at SF12 over 8 channels, 8 % and 30 % over
/// three (computed by an independent script, whole percents).
#[test]
fn the_frost_net_loses_what_scenario_b_says() {
    let lost = |sf, channels| {
        let on_air = Lora::uplink(sf, 125_000.0).time_on_air(13 + 6);
        100.0 * (1.0 - among_equals(24, on_air, Duration::from_minutes(1.0), channels))
    };
    for (sf, channels, expected) in [(10, 8.0, 3.0), (12, 8.0, 12.0), (10, 3.0, 8.0), (12, 3.0, 30.0)] {
        near(lost(sf, channels), expected, 0.5);
    }
}

/// Croce et al. 2018, [wanted][interferer]: a slow message stands a far stronger fast one, not
/// the other way round.
#[test]
fn the_rejection_table_is_as_published_and_the_right_way_round() {
    let table = Rejection::CROCE_2018;
    let ratio = |wanted, interferer| table.least_ratio(wanted, interferer).expect("in the table");
    for row in rows("sir_croce2018") {
        let wanted = number(&row, 0) as u8;
        for interferer in 7..=12_u8 {
            let least = ratio(wanted, interferer);
            assert_eq!(least.decibels(), number(&row, usize::from(interferer) - 6), "{wanted} {interferer}");
            assert_eq!(least > Decibels::ZERO, wanted == interferer);
        }
    }
    assert!(ratio(12, 7) < ratio(7, 12));
    assert_eq!(table.least_ratio(6, 7), None);
}

/// Georgiou & Raza 2017, H1 (`georgiou_h1.csv`: recomputed in Python; 868.1 MHz, 19 dBm, noise figure 6 dB, 125 kHz).
#[test]
fn georgiou_and_raza_connection_probability() {
    let noise_dbm = -174.0 + 10.0 * 125e3_f64.log10() + 6.0;
    // The recomputation took 3e8 m/s for the speed of light; this frequency has its wavelength.
    let frequency = Frequency::from_megahertz(868.1 * 2.99792458 / 3.0);
    // The paper's floors for SF7 to SF12.
    let floor = |sf: f64| Decibels::from_decibels([-6.0, -9.0, -12.0, -15.0, -17.5, -20.0][sf as usize - 7]);
    for row in rows("georgiou_h1") {
        for (exponent, expected) in [(2.7, number(&row, 2)), (2.75, number(&row, 3))] {
            let distance = Length::from_metres(number(&row, 0));
            let gain = power_law_gain(frequency, distance, exponent);
            let mean = Decibels::from_decibels(19.0 + gain.decibels() - noise_dbm);
            near(above_floor(mean, floor(number(&row, 1))), expected, 2e-6);
        }
    }
}

fn sender(spreading_factor: u8, dbm: f64, interval_s: f64) -> Sender {
    Sender {
        spreading_factor,
        received: Dbm::from_dbm(dbm),
        time_on_air: Lora::uplink(spreading_factor.into(), 125_000.0).time_on_air(20),
        interval: Duration::from_seconds(interval_s),
    }
}

/// Capture: 1 dB by measurement (Croce et al. 2018).
#[test]
fn the_stronger_of_two_survives_beyond_the_capture_threshold() {
    let (wanted, weaker) = (sender(9, -100.0, 600.0), sender(9, -103.0, 600.0));
    assert_eq!(delivery(&wanted, &[weaker], &Rejection::CROCE_2018, 1.0), 1.0);
    assert!(delivery(&weaker, &[wanted], &Rejection::CROCE_2018, 1.0) < 1.0);
}

proptest! {
    #[test]
    fn equal_senders_are_pure_aloha(count in 0_usize..50, sf in 7_u8..=12, interval_s in 10.0..5000.0_f64) {
        let one = sender(sf, -110.0, interval_s);
        let met = delivery(&one, &vec![one; count], &Rejection::CROCE_2018, 3.0);
        let aloha = (-2.0 * count as f64 * (one.time_on_air / one.interval) / 3.0).exp();
        prop_assert!((met - aloha).abs() < 1e-12);
    }

    #[test]
    fn more_senders_never_help(sfs in prop::collection::vec((7_u8..=12, -130.0..-70.0_f64), 1..20)) {
        let others: Vec<Sender> = sfs.iter().map(|(sf, dbm)| sender(*sf, *dbm, 300.0)).collect();
        let wanted = sender(10, -115.0, 300.0);
        let all = delivery(&wanted, &others, &Rejection::CROCE_2018, 1.0);
        prop_assert!(all <= delivery(&wanted, &others[1..], &Rejection::CROCE_2018, 1.0));
        prop_assert!((0.0..=1.0).contains(&all));
    }
}
