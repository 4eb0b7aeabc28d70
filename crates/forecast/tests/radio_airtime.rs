//! Time on air against published vectors and an independent recomputation.

use design::quantity::Frequency;
use design::region::Modulation;
use forecast::radio::airtime::{
    CodingRate, EMPTY_FRAME, JOIN_REQUEST, Lora, frame_bytes, fsk_time_on_air, uplink, wants_low_data_rate,
    window,
};
use proptest::prelude::*;

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} for {expected} within {within}");
}

struct Vector {
    source: String,
    bytes: usize,
    lora: Lora,
    expected_us: f64,
    tolerance_us: f64,
    agrees: bool,
}

fn vector(row: &csv::StringRecord) -> Vector {
    let text = |column: usize| row.get(column).expect("thirteen columns");
    let number = |column: usize| text(column).parse::<f64>().expect("a number");
    let whole = |column: usize| text(column).parse::<u32>().expect("a whole number");
    let (spreading_factor, bandwidth_hz) = (whole(2), number(3));
    let coding_rate = match text(4) {
        "4/5" => CodingRate::FourFifths,
        "4/6" => CodingRate::FourSixths,
        "4/7" => CodingRate::FourSevenths,
        "4/8" => CodingRate::FourEighths,
        other => panic!("coding rate {other}"),
    };
    let low_data_rate = match text(8) {
        "auto" => wants_low_data_rate(spreading_factor, bandwidth_hz),
        forced => forced == "1",
    };
    let lora = Lora {
        spreading_factor,
        bandwidth_hz,
        coding_rate,
        preamble_symbols: whole(5),
        explicit_header: text(6) == "0",
        payload_crc: text(7) == "1",
        low_data_rate,
    };
    Vector {
        source: text(0).into(),
        bytes: text(1).parse().expect("a whole number"),
        lora,
        expected_us: number(9),
        tolerance_us: number(10),
        agrees: text(12) == "True",
    }
}

fn vectors() -> Vec<Vector> {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/lorawan/airtime_vectors.csv");
    let mut reader = csv::Reader::from_path(path).expect("data file");
    reader.records().map(|row| vector(&row.expect("a row"))).collect()
}

/// Each row names its source; the tolerance is that of its printed digits.
#[test]
fn the_published_vectors_are_met() {
    let all = vectors();
    let (sound, flawed): (Vec<_>, Vec<_>) = all.into_iter().partition(|vector| vector.agrees);
    for Vector { source, bytes, lora, expected_us, tolerance_us, .. } in &sound {
        let found_us = lora.time_on_air(*bytes).microseconds();
        assert!(
            (found_us - expected_us).abs() <= *tolerance_us,
            "{found_us} for {expected_us}: {source} {lora:?}"
        );
    }
    assert_eq!((sound.len(), flawed.len()), (40, 1));
    // That one leaves out the low-data-rate optimisation, which spreading factor 11 at 125 kHz requires.
    let Vector { bytes, lora, expected_us, .. } = &flawed[0];
    near(lora.time_on_air(*bytes).microseconds(), 987_136.0, 1e-6);
    near(Lora { low_data_rate: false, ..*lora }.time_on_air(*bytes).microseconds(), *expected_us, 50.0);
}

/// Facts on energy, section 6, and on LoRaWAN, section 3 (64 and 255 bytes: also printed in an independent study):
/// physical bytes, spreading factor, milliseconds at 125 kHz.
#[test]
fn the_worked_budgets_are_met_to_the_microsecond() {
    let table = [
        (33, 7, 71.936),
        (33, 9, 246.784),
        (33, 10, 452.608),
        (33, 12, 1810.432),
        (64, 7, 118.016),
        (64, 12, 2793.472),
        (255, 12, 9019.392),
    ];
    for (bytes, spreading_factor, milliseconds) in table {
        near(
            Lora::uplink(spreading_factor.into(), 125e3).time_on_air(bytes).milliseconds(),
            milliseconds,
            1e-9,
        );
        let modulation = Modulation::Lora { spreading_factor, bandwidth: Frequency::from_kilohertz(125.0) };
        near(uplink(modulation, bytes).expect("LoRa").milliseconds(), milliseconds, 1e-9);
    }
}

/// Facts on LoRaWAN, section 2: largest message within 400 ms and within 1 s at 125 kHz, which is what the regional
/// payload tables (RP002) under dwell time say.
#[test]
fn the_dwell_time_tables_of_the_regions_follow() {
    let largest = |spreading_factor, limit_ms: f64| {
        (1..=255).rev().find(|bytes| {
            Lora::uplink(spreading_factor, 125e3).time_on_air(*bytes).milliseconds() <= limit_ms
        })
    };
    for (spreading_factor, bytes) in [(10, 24), (9, 66), (8, 138), (7, 255)] {
        assert_eq!(largest(spreading_factor, 400.0), Some(bytes), "SF{spreading_factor} in 400 ms");
    }
    for (spreading_factor, bytes) in [(11, 36), (10, 99), (9, 197)] {
        assert_eq!(largest(spreading_factor, 1000.0), Some(bytes), "SF{spreading_factor} in 1 s");
    }
    // No room for header, address and integrity code.
    assert!(largest(11, 400.0).is_none_or(|bytes| bytes < EMPTY_FRAME));
}

/// By hand from the SX1261/2 data sheet's formula for short symbols. SF6, 125 kHz, 20 bytes: 160 + 16 + 20 - 24 = 172
/// bits, 8 blocks of 24 bits, so 8 + 8 x 5 = 48 symbols after 8 + 6.25: 62.25 x 0.512 ms. SF5: 176 bits, 9 blocks of
/// 20: 8 + 45 + 14.25 = 67.25 x 0.256 ms.
#[test]
fn short_symbols_have_a_longer_preamble_and_a_shorter_header() {
    near(Lora::uplink(6, 125e3).time_on_air(20).milliseconds(), 62.25 * 0.512, 1e-12);
    near(Lora::uplink(5, 125e3).time_on_air(20).milliseconds(), 67.25 * 0.256, 1e-12);
}

/// Facts on LoRaWAN, section 5: symbols of 16 ms or more, which is SF11 and SF12 at 125 kHz and SF12 at 250 kHz.
#[test]
fn the_low_data_rate_optimisation_follows_the_symbol_time() {
    let wanting: Vec<_> = [125e3, 250e3, 500e3]
        .into_iter()
        .flat_map(|hertz| (5..=12).map(move |spreading_factor| (spreading_factor, hertz)))
        .filter(|(spreading_factor, hertz)| wants_low_data_rate(*spreading_factor, *hertz))
        .collect();
    assert_eq!(wanting, [(11, 125e3), (12, 125e3), (12, 250e3)]);
}

/// By hand from facts on LoRaWAN, section 5: (5 + 3 + 1 + 20 + 2) bytes of 8 bits at 50 kb/s; 8 bytes of window.
#[test]
fn fsk_sends_its_bits_one_by_one() {
    near(fsk_time_on_air(50e3, 20).milliseconds(), 4.96, 1e-12);
    let fsk = Modulation::Fsk { bit_rate: 50e3 };
    near(uplink(fsk, 20).expect("FSK").milliseconds(), 4.96, 1e-12);
    near(window(fsk, 8).expect("FSK").milliseconds(), 1.28, 1e-12);
}

/// Casals et al. 2017, table of receive windows (two public codes): 8 symbols at SF12 to SF10, 12 at SF9 to SF7.
#[test]
fn a_receive_window_lasts_its_symbols() {
    let table =
        [(12, 8, 262.14), (11, 8, 131.07), (10, 12, 98.30), (9, 12, 49.15), (8, 12, 24.58), (7, 12, 12.29)];
    for (spreading_factor, symbols, milliseconds) in table {
        let modulation = Modulation::Lora { spreading_factor, bandwidth: Frequency::from_kilohertz(125.0) };
        near(window(modulation, symbols).expect("LoRa").milliseconds(), milliseconds, 5.1e-3);
    }
}

/// Facts on LoRaWAN, section 4; the shortest downlink of Casals 2017 is the frame without port.
#[test]
fn frames_carry_their_overhead() {
    assert_eq!(frame_bytes(20), 33);
    assert_eq!(frame_bytes(0), 12);
    near(Lora::downlink(12, 125e3).time_on_air(frame_bytes(0)).milliseconds(), 991.8, 2.5);
    assert_eq!(JOIN_REQUEST, 23);
    assert_eq!(uplink(Modulation::LrFhss, 20), None);
    assert_eq!(window(Modulation::LrFhss, 8), None);
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn more_bytes_and_slower_rates_never_take_less_time(spreading_factor in 5..12_u32, bytes in 0..254_usize) {
        let time = |spreading_factor, bytes| Lora::uplink(spreading_factor, 125e3).time_on_air(bytes).seconds();
        prop_assert!(time(spreading_factor, bytes + 1) >= time(spreading_factor, bytes));
        prop_assert!(time(spreading_factor + 1, bytes) > time(spreading_factor, bytes));
        let wide = Lora { low_data_rate: false, ..Lora::uplink(spreading_factor, 250e3) };
        let narrow = Lora { low_data_rate: false, ..Lora::uplink(spreading_factor, 125e3) };
        let ratio = narrow.time_on_air(bytes) / wide.time_on_air(bytes);
        prop_assert!((ratio - 2.0).abs() < 1e-12, "half the bandwidth takes twice as long");
    }
}
