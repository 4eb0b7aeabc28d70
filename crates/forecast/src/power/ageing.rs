//! How batteries wear: three published models, and the law of the part file.

use design::part::Ageing;
use design::quantity::Duration;

const GAS_CONSTANT: f64 = 8.314;
const ZERO_CELSIUS_K: f64 = 273.15;

/// Nickel manganese cobalt oxide, 2.15 Ah cell.
///
/// # References
/// Schmalstieg, Käbitz, Ecker & Sauer 2014, *J. Power Sources* 257, 325-334.
pub mod schmalstieg {
    use super::ZERO_CELSIUS_K;

    /// Share of capacity lost by standing so many days at an open-circuit voltage \[V\] and a temperature [°C].
    pub fn calendar_loss(open_circuit_v: f64, celsius: f64, days: f64) -> f64 {
        calendar_rate(open_circuit_v, celsius) * days.powf(0.75)
    }

    /// `alpha`: the loss after one day.
    pub fn calendar_rate(open_circuit_v: f64, celsius: f64) -> f64 {
        (7.543 * open_circuit_v - 23.75) * 1e6 * (-6976.0 / (celsius + ZERO_CELSIUS_K)).exp()
    }

    /// Share of capacity lost by a charge throughput [Ah, of the 2.15 Ah cell] at a mean voltage \[V\] and a depth of
    /// the cycles (share of the capacity).
    pub fn cycle_loss(mean_v: f64, depth: f64, throughput_ah: f64) -> f64 {
        cycle_rate(mean_v, depth) * throughput_ah.sqrt()
    }

    /// `beta`: the loss after one ampere-hour.
    pub fn cycle_rate(mean_v: f64, depth: f64) -> f64 {
        7.348e-3 * (mean_v - 3.667).powi(2) + 7.6e-4 + 4.081e-3 * depth
    }

    /// Relative growth of the resistance by standing so many days.
    pub fn calendar_resistance_growth(open_circuit_v: f64, celsius: f64, days: f64) -> f64 {
        (5.270 * open_circuit_v - 16.32)
            * 1e5
            * (-5986.0 / (celsius + ZERO_CELSIUS_K)).exp()
            * days.powf(0.75)
    }
}

/// Manganese oxide blend with a film that grows first, as used for grid storage.
///
/// # References
/// Xu, Oudalov, Ulbig, Andersson & Kirschen 2018, *IEEE Trans. Smart Grid* 9(2), 1131-1140.
pub mod xu {
    use super::ZERO_CELSIUS_K;

    /// Share of the capacity lost when the linear wear `f` (see [`calendar_wear`], [`cycle_wear`]) has added up.
    pub fn loss(wear: f64) -> f64 {
        const FILM: f64 = 0.0575;
        1.0 - FILM * (-121.0 * wear).exp() - (1.0 - FILM) * (-wear).exp()
    }

    /// Wear of standing so many seconds at a state of charge and a temperature [°C].
    pub fn calendar_wear(charge: f64, celsius: f64, seconds: f64) -> f64 {
        4.14e-10 * seconds * stress(charge, celsius)
    }

    /// Wear of so many cycles of a depth (share of the capacity) around a state of charge at a temperature [°C].
    pub fn cycle_wear(charge: f64, celsius: f64, depth: f64, cycles: f64) -> f64 {
        cycles * depth_stress(depth) * stress(charge, celsius)
    }

    /// `S_d`: wear of one cycle of a depth, at half charge and 25 °C.
    pub fn depth_stress(depth: f64) -> f64 {
        1.0 / (1.4e5 * depth.powf(-0.501) - 1.23e5)
    }

    fn stress(charge: f64, celsius: f64) -> f64 {
        let warmth = 0.0693 * (celsius - 25.0) * 298.15 / (ZERO_CELSIUS_K + celsius);
        (1.04 * (charge - 0.5) + warmth).exp()
    }
}

/// Lithium iron phosphate, cycling only.
///
/// # References
/// Wang et al. 2011, *J. Power Sources* 196, 3942-3948.
pub mod wang {
    use super::{GAS_CONSTANT, ZERO_CELSIUS_K};

    /// The rates at which the cells were cycled; each has its own factor.
    #[derive(Clone, Copy, Debug, PartialEq, Eq)]
    pub enum Rate {
        /// C/2.
        Half,
        /// 2C.
        Two,
        /// 6C.
        Six,
        /// 10C.
        Ten,
    }

    impl Rate {
        /// `B` and the rate in multiples of the capacity per hour.
        fn figures(self) -> (f64, f64) {
            match self {
                Self::Half => (31630.0, 0.5),
                Self::Two => (21681.0, 2.0),
                Self::Six => (12934.0, 6.0),
                Self::Ten => (15512.0, 10.0),
            }
        }
    }

    /// Share of the capacity lost after a throughput [Ah, of the 2.2 Ah cell] at a temperature [°C].
    pub fn cycle_loss(rate: Rate, celsius: f64, throughput_ah: f64) -> f64 {
        let (factor, per_hour) = rate.figures();
        let activation = -31700.0 + 370.3 * per_hour;
        let percent = factor
            * (activation / (GAS_CONSTANT * (celsius + ZERO_CELSIUS_K))).exp()
            * throughput_ah.powf(0.55);
        percent / 100.0
    }
}

/// Calendar wear of one hour at half charge and a temperature [°C]; times [`charge_factor`] it adds up over a life.
///
/// Calendar loss is `k(T, s) t^p`. With `T` and `s` changing, each hour adds its `k^(1/p)` to a sum, and the loss is
/// that sum to the power `p`; so a hot summer counts the same whether it comes first or last.
pub fn hourly_wear(ageing: &Ageing, celsius: f64) -> f64 {
    let first_year = ageing.first_year_at_25c.fraction() * ((celsius - 25.0) / ageing.doubles_every_k).exp2();
    first_year.powf(1.0 / ageing.time_exponent) / Duration::from_years(1.0).hours()
}

/// Factor on [`hourly_wear`] at a state of charge: the loss is that of half charge at half and
/// [`Ageing::at_full_charge`] times it at full, exponential through both as in Xu 2018.
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

/// Years until a share of capacity is lost, if the first year took `first_year` and loss grows with time to a power.
pub fn years_until(loss: f64, first_year: f64, time_exponent: f64) -> f64 {
    (loss / first_year).powf(1.0 / time_exponent)
}

/// The band in which the loss is reached \[years\]: loss with time to 0.75 (soonest) and with its square root (latest),
/// between which cell data leave the choice open. Swapped before the first year is over.
pub fn years_until_band(loss: f64, first_year: f64) -> (f64, f64) {
    (years_until(loss, first_year, 0.75), years_until(loss, first_year, 0.5))
}
