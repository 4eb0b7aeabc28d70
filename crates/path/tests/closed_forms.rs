//! Free space, two rays, knife edge, Fresnel zones: against other forms of the same physics.

#![expect(clippy::expect_used, reason = "expect() is a test's refusal")]

use path::fresnel::{clearances, earth_bulge_m, ruling, zone_radius_m};
use path::p1812::effective_earth_radius_km;
use path::{
    Ground, LIGHT_M_S, Polarisation, Profile, free_space_db, knife_edge_db, knife_edge_parameter, two_ray_db,
};
use proptest::prelude::*;

proptest! {
    #[test]
    fn free_space_falls_by_six_decibels_per_doubling(
        frequency_ghz in 0.03..6.0_f64, distance_km in 0.001..3000.0_f64,
    ) {
        let doubling_db = free_space_db(frequency_ghz, 2.0 * distance_km) - free_space_db(frequency_ghz, distance_km);
        prop_assert!((doubling_db - 6.020_599_913).abs() < 1e-9);
    }

    #[test]
    fn a_ray_clear_by_one_zone_has_a_parameter_of_minus_root_two(
        frequency_ghz in 0.03..6.0_f64, near_km in 0.1..50.0_f64, far_km in 0.1..50.0_f64,
    ) {
        // P.526-15: nu = sqrt(2) h / R1 follows from eqs. (2) and (26).
        let radius_m = zone_radius_m(1, frequency_ghz, near_km, far_km);
        let nu = knife_edge_parameter(frequency_ghz, -radius_m, near_km, far_km);
        prop_assert!((nu + std::f64::consts::SQRT_2).abs() < 1e-9);
    }
}

/// Source: P.525-4 eq. (4), 32.4 + 20 log f\[MHz\] + 20 log d\[km\]; its constant is rounded from 32.448.
#[test]
fn free_space_agrees_with_the_rounded_form() {
    for (frequency_ghz, distance_km) in [(0.433, 0.1), (0.868, 5.0), (2.4, 40.0)] {
        let rounded_db = 32.4 + 20.0 * (1000.0_f64 * frequency_ghz).log10() + 20.0 * f64::log10(distance_km);
        assert!((free_space_db(frequency_ghz, distance_km) - rounded_db).abs() < 0.05);
    }
}

/// Source: P.526-15 eq. (30), the exact loss by Fresnel's integrals, here by Simpson's rule; it is stated there that
/// eq. (31) approximates it above -0.78.
#[test]
fn knife_edge_is_within_two_tenths_of_the_fresnel_integral() {
    for step in -7..=60 {
        let nu = f64::from(step) / 10.0;
        let [c, s] = fresnel_integrals(nu);
        let exact_db = -20.0 * (f64::hypot(1.0 - c - s, c - s) / 2.0).log10();
        assert!((knife_edge_db(nu) - exact_db).abs() < 0.2, "{nu}: {} for {exact_db}", knife_edge_db(nu));
    }
    assert!(knife_edge_db(-0.79).abs() < 1e-12);
}

/// C(nu) and S(nu), integrals of cos and sin of pi s^2 / 2 from 0 to nu.
fn fresnel_integrals(nu: f64) -> [f64; 2] {
    let panels = 20_000;
    let width = nu / f64::from(panels);
    let mut sums = [0.0; 2];
    for at in 0..=panels {
        let s = width * f64::from(at);
        let (sin, cos) = (std::f64::consts::FRAC_PI_2 * s * s).sin_cos();
        let weight = if at == 0 || at == panels {
            1.0
        } else if at % 2 == 1 {
            4.0
        } else {
            2.0
        };
        sums = [sums[0] + weight * cos, sums[1] + weight * sin];
    }
    sums.map(|sum| sum * width / 3.0)
}

/// Source: P.526-15 eq. (3), 550 sqrt(n d1 d2 / ((d1 + d2) f\[MHz\])), a rounded constant.
#[test]
fn fresnel_radius_agrees_with_the_rounded_form() {
    let rounded_m = 550.0 * (2.0 * 3.0 * 7.0 / (10.0 * 868.0_f64)).sqrt();
    assert!((zone_radius_m(2, 0.868, 3.0, 7.0) / rounded_m - 1.0).abs() < 0.006);
}

/// Source: d1 d2 / (12.75 k), the rule of line-of-sight planning (from memory; a rounding of 2 x 6.371).
#[test]
fn earth_bulges_six_metres_midway_of_twenty_kilometres() {
    let radius_km = effective_earth_radius_km(157.0 / 4.0).expect("k = 4/3");
    assert!((radius_km - 6371.0 * 4.0 / 3.0).abs() < 1e-9);
    assert!((earth_bulge_m(radius_km, 10.0, 10.0) - 100.0 / 17.0).abs() < 0.01);
}

#[test]
fn the_ruling_obstacle_is_the_ridge_and_not_the_higher_plain_behind_the_mast() {
    let distance_km = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
    let terrain_m = [100.0, 100.0, 105.0, 100.0, 100.0, 100.0];
    let clutter_m = [0.0, 0.0, 8.0, 0.0, 0.0, 0.0];
    let profile = Profile::new(&distance_km, &terrain_m, &clutter_m, &[]).expect("valid");
    let obstacle =
        ruling(clearances(&profile, 0.868, [20.0, 10.0], 39.25).expect("in range")).expect("points");
    assert_eq!(obstacle.point, 2);
    // By hand: ray 120 - 10 * 2/5 = 116; ground 113 + 500 * 2 * 3 / 8494.67 = 113.353; R1 = sqrt(.34538 * 1200).
    assert!((obstacle.room_m() - 2.6468).abs() < 1e-4);
    assert!((obstacle.zones() - 2.6468 / 20.358).abs() < 1e-4);
}

/// Source: the plane-earth law 40 log d - 20 log(h1 h2), the limit of two rays with reflection -1 (textbooks).
#[test]
fn two_rays_far_away_follow_the_fourth_power_of_distance() {
    for distance_km in [5.0_f64, 10.0, 20.0] {
        let loss_db = two_ray_db(0.868, distance_km, [10.0, 2.0], Ground::LAND, Polarisation::Horizontal);
        let limit_db = 40.0 * (1000.0 * distance_km).log10() - 20.0 * 20.0_f64.log10();
        assert!((loss_db - limit_db).abs() < 0.03, "{distance_km} km: {loss_db} for {limit_db}");
    }
}

/// Over a near-perfect conductor the echo is turned round whole: it cancels the direct ray where its detour is a
/// wavelength, and doubles the field (6.02 dB) at half of one.
#[test]
fn two_rays_over_metal_cancel_and_double_where_interference_says() {
    let metal = Ground { permittivity: 1.0, conductivity_s_m: 1e9 };
    let loss_db = |far_m| two_ray_db(0.868, 0.2, [10.0, far_m], metal, Polarisation::Horizontal);
    let free_db = free_space_db(0.868, 0.2);
    let wavelength_m = LIGHT_M_S / 0.868e9;
    assert!(loss_db(height_with_detour(wavelength_m)) > free_db + 35.0);
    assert!((loss_db(height_with_detour(wavelength_m / 2.0)) - (free_db - 6.02)).abs() < 0.05);
}

/// Vertical waves meet lossless ground without an echo at Brewster's angle, tan(incidence) = sqrt(permittivity).
#[test]
fn vertical_echo_vanishes_at_brewsters_angle() {
    let ground = Ground { permittivity: 9.0, conductivity_s_m: 0.0 };
    // Incidence has a tangent of 3: 3 m along for every metre of height.
    let loss_db = two_ray_db(0.868, 0.3, [60.0, 40.0], ground, Polarisation::Vertical);
    assert!((loss_db - free_space_db(0.868, 0.3_f64.hypot(0.02))).abs() < 1e-9);
}

/// Height \[m\] over 200 m from a 10 m mast at which the reflected way is `detour_m` longer; by bisection.
fn height_with_detour(detour_m: f64) -> f64 {
    let (mut low_m, mut high_m) = (0.0, 30.0);
    for _ in 0..60 {
        let middle_m = f64::midpoint(low_m, high_m);
        if 200.0_f64.hypot(10.0 + middle_m) - 200.0_f64.hypot(10.0 - middle_m) < detour_m {
            low_m = middle_m;
        } else {
            high_m = middle_m;
        }
    }
    low_m
}
