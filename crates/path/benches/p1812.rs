//! Profiles per second of P.1812-6 on one core, on a profile of 211 points.
//!
//! `cargo bench -p overwinter-path --bench p1812`; figures are kept in `benches/README.md`.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a bench looks at the clock")]
#![expect(
    clippy::print_stdout,
    clippy::expect_used,
    reason = "a bench prints, and refuses to go on when wrong"
)]

use path::p1812::{Climate, Link, Scratch, predict};
use path::{Polarisation, Profile};
use std::hint::black_box;
use std::time::Instant;

/// Fewer paths a second would make a map of a valley a matter of minutes.
const LEAST_PER_SECOND: f64 = 50_000.0;

fn main() {
    // Two hills of real size in gentle ground: 10.5 km in steps of 50 m, beyond the horizon.
    let distance_km: Vec<f64> = (0..211).map(|step| 0.05 * f64::from(step)).collect();
    let terrain_m: Vec<f64> =
        distance_km.iter().map(|d| 400.0 + 90.0 * (d * 1.1).sin() + 25.0 * (d * 7.3).cos()).collect();
    let clutter_m: Vec<f64> =
        distance_km.iter().map(|d| if (d * 0.9).sin() > 0.2 { 15.0 } else { 0.0 }).collect();
    let mut link = Link {
        frequency_ghz: 0.8681,
        transmitter_m: 2.0,
        receiver_m: 15.0,
        polarisation: Polarisation::Vertical,
        time_percent: 50.0,
        climate: Climate { latitude_deg: 46.9, lapse_n_km: 45.0, refractivity_n: 325.0 },
        coast_km: [500.0, 500.0],
    };
    let mut scratch = Scratch::default();
    let mut best = 0.0_f64;
    for _ in 0..5 {
        let rounds = 40_000;
        let mut sum_db = 0.0;
        let start = Instant::now();
        for round in 0..rounds {
            link.receiver_m = 15.0 + f64::from(round % 16); // no two calls in a row alike
            let profile = Profile::new(black_box(&distance_km), black_box(&terrain_m), &clutter_m, &[])
                .expect("a valid profile");
            sum_db += predict(&link, &profile, &mut scratch).expect("in range").loss_db;
        }
        let per_second = f64::from(rounds) / start.elapsed().as_secs_f64();
        let mean_db = sum_db / f64::from(rounds);
        assert!((110.0..170.0).contains(&mean_db), "mean loss {mean_db} dB is not this path's");
        best = best.max(per_second);
    }
    println!("P.1812-6, 211 points: {best:.0} profiles per second on one core");
    assert!(best >= LEAST_PER_SECOND, "slower than asked: {LEAST_PER_SECOND} per second");
}
