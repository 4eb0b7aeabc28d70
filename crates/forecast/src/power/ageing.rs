//! How batteries wear: the law of the part file, held against a published model in the tests.

use design::part::Ageing;
use design::quantity::Duration;

/// Calendar wear of one hour at half charge and a temperature [°C]; times [`charge_factor`] it adds up over a life.
///
/// Calendar loss is `k(T, s) t^p`. With `T` and `s` changing, each hour adds its `k^(1/p)` to a sum, and the loss is
/// that sum to the power `p`; so a hot summer counts the same whether it comes first or last.
pub fn hourly_wear(ageing: &Ageing, celsius: f64) -> f64 {
    let first_year = ageing.first_year_at_25c.fraction() * ((celsius - 25.0) / ageing.doubles_every_k).exp2();
    first_year.powf(1.0 / ageing.time_exponent) / Duration::from_years(1.0).hours()
}

/// Factor on [`hourly_wear`] at a state of charge: the loss is that of half charge at half and
/// [`Ageing::at_full_charge`] times it at full, exponential through both.
///
/// # References
/// Xu, Oudalov, Ulbig, Andersson & Kirschen 2018, *IEEE Trans. Smart Grid* 9(2), 1131-1140: the stress of charge is
/// exponential.
pub fn charge_factor(ageing: &Ageing, charge: f64) -> f64 {
    ageing.at_full_charge.powf((2.0 * charge - 1.0) / ageing.time_exponent)
}

/// Share of the capacity lost by a sum of [`hourly_wear`].
pub fn calendar_loss(ageing: &Ageing, wear: f64) -> f64 {
    wear.powf(ageing.time_exponent)
}

/// Cycle wear of one full cycle (charge taken out over capacity): the square of its loss, which grows in step with
/// throughput. The loss is the square root of the sum.
pub fn cycle_wear_per_full_cycle(ageing: &Ageing) -> f64 {
    ageing.per_100_cycles.fraction().powi(2) / 100.0
}
