//! The worked cases of the facts on energy (section 11) that need no simulation.
#![expect(clippy::float_cmp, reason = "zeros, ends and held values are exact")]

use design::quantity::{Charge, Current, Duration, Share};
use forecast::power::sizing::{
    Bounded, array_to_load, autonomy, energy_neutral_load, energy_neutral_store, harvest_per_day,
    panel_current_for, primary_life, reports_per_day, usable_charge,
};

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} for {expected} within {within}");
}

fn mah(value: f64) -> Charge {
    Charge::from_milliampere_hours(value)
}

#[test]
fn case_3_a_primary_cell_lasts_six_years_not_seven_and_a_half() {
    let load = mah(0.871702);
    let naive = primary_life(mah(2400.0), Share::from_fraction(1.0), Share::ZERO, load);
    near(naive.days(), 2753.2, 0.05);
    near(naive.years(), 7.538, 5e-4);
    let honest = primary_life(mah(2400.0), Share::from_percent(85.0), Share::from_percent(1.0), load);
    near(honest.years(), 5.958, 5e-4);
}

#[test]
fn case_4_the_worst_month_asks_for_eleven_milliamperes_of_panel() {
    let load = mah(20.0);
    let peak_sun = Duration::from_hours(3.15556);
    let (derate, efficiency) = (Share::from_fraction(0.80), Share::from_fraction(0.95));
    let current = panel_current_for(1.3, load, peak_sun, derate, efficiency);
    near(current.milliamperes(), 10.841, 5e-4);
    near(current.milliamperes() * 6.0, 65.05, 5e-3);
    let large = harvest_per_day(Current::from_milliamperes(167.0), peak_sun, derate, efficiency);
    near(array_to_load(large, load), 20.03, 5e-3);
}

#[test]
fn case_5_a_cheap_cell_turns_26_days_into_5() {
    let share = Share::from_fraction;
    let usable = usable_charge(mah(1000.0), &[share(0.8), share(0.8), share(0.8)]);
    near(usable.milliampere_hours(), 512.0, 1e-9);
    near(autonomy(usable, mah(20.0)).days(), 25.6, 1e-9);
    let cheap = usable_charge(usable, &[share(0.206)]);
    near(cheap.milliampere_hours(), 105.5, 0.05);
    near(autonomy(cheap, mah(20.0)).days(), 5.27, 5e-3);
}

/// Case 9 and section 8: 50 mAh a day as 10 h of 5 mA, efficiency 0.9, leak 0.05 mA.
#[test]
fn case_9_energy_neutral_operation() {
    let sun = Bounded::daily_block(Current::from_milliamperes(5.0), Duration::from_hours(10.0));
    let efficiency = Share::from_fraction(0.9);
    near(sun.mean.milliamperes(), 2.0833, 5e-5);
    near(sun.burst.milliampere_hours(), 29.17, 5e-3);
    near(sun.lull.milliampere_hours(), 29.17, 5e-3);
    near(energy_neutral_load(&sun, efficiency, Current::from_milliamperes(0.05)).milliamperes(), 1.825, 1e-9);
    near(energy_neutral_store(&sun, Charge::ZERO, efficiency).milliampere_hours(), 52.5, 1e-9);
}

/// Case 9 and section 8: reports a day for a usable charge and 30 dark days.
#[test]
fn case_9_fewer_reports_when_less_is_left() {
    let reports = |left: f64| {
        reports_per_day(
            mah(left),
            Duration::from_days(30.0),
            mah(0.288),
            Charge::from_microampere_hours(6.0826),
        )
    };
    near(reports(100.0), 500.66, 0.01); // printed with 3.3333 for a third
    near(reports(10.0), 7.45, 5e-3);
    near(24.0 / reports(10.0), 3.22, 5e-3);
    near(reports(8.64), 0.0, 1e-9);
    assert_eq!(reports(5.0), 0.0);
}
