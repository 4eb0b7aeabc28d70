//! Sizing by hand: the closed forms against which a simulated life is judged.
//!
//! A simulation decides; these say in one line why.

use design::quantity::{Charge, Current, Duration, Share};

/// How long a primary cell lasts under a daily load if `usable` of its label can be used and `yearly_loss` of the label
/// leaks away every year.
///
/// Common practice, no source.
pub fn primary_life(label: Charge, usable: Share, yearly_loss: Share, load_per_day: Charge) -> Duration {
    let load_per_year = load_per_day * Duration::from_years(1.0).days();
    Duration::from_years(label * usable.fraction() / (load_per_year + label * yearly_loss.fraction()))
}

/// Charge per day that a panel current at 1000 W/m² brings over so many peak-sun hours, after `derate` (soiling, shade,
/// snow) and `charge_efficiency`.
pub fn harvest_per_day(
    panel_current: Current,
    peak_sun: Duration,
    derate: Share,
    charge_efficiency: Share,
) -> Charge {
    panel_current * peak_sun * (derate.fraction() * charge_efficiency.fraction())
}

/// Array-to-load ratio: harvest of the worst month over load.
///
/// # References
/// IEEE Std 1562, clause 9.1 (seen in a third-party summary): at least 1.1, for critical loads 1.3.
pub fn array_to_load(harvest_per_day: Charge, load_per_day: Charge) -> f64 {
    harvest_per_day / load_per_day
}

/// Panel current at 1000 W/m² that reaches an array-to-load ratio.
pub fn panel_current_for(
    array_to_load: f64,
    load_per_day: Charge,
    peak_sun: Duration,
    derate: Share,
    charge_efficiency: Share,
) -> Current {
    load_per_day * array_to_load / (peak_sun * (derate.fraction() * charge_efficiency.fraction()))
}

/// What of a label can be used: the product of the factors for cold, depth of discharge, age and label.
///
/// # References
/// IEEE Std 1013-2019, clause 6.3 (seen in a third-party summary).
pub fn usable_charge(label: Charge, factors: &[Share]) -> Charge {
    factors.iter().fold(label, |left, factor| left * factor.fraction())
}

/// Days without sun: usable charge over daily load.
pub fn autonomy(usable: Charge, load_per_day: Charge) -> Duration {
    Duration::from_days(usable / load_per_day)
}

/// A harvest with its mean and the burst above it (`rho`, `sigma`), or a load with its burst.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounded {
    /// `rho`: mean current.
    pub mean: Current,
    /// `sigma`: most charge above the mean that ever adds up.
    pub burst: Charge,
    /// Most charge below the mean that ever adds up.
    pub lull: Charge,
}

impl Bounded {
    /// A source that gives a constant current for some hours of each day and nothing else.
    pub fn daily_block(current: Current, hours: Duration) -> Self {
        let mean = current * (hours.days());
        let burst = (current - mean) * hours;
        Self { mean, burst, lull: burst }
    }
}

/// The largest mean load a harvest carries for ever: `eta rho1 - leak`.
///
/// # References
/// Kansal, Hsu, Zahedi & Srivastava 2007, *ACM Trans. Embedded Computing Systems* 6(4), article 32, energy-neutral
/// operation (theorem from memory).
pub fn energy_neutral_load(harvest: &Bounded, efficiency: Share, leak: Current) -> Current {
    harvest.mean * efficiency.fraction() - leak
}

/// A store large enough for energy-neutral operation whatever the phase: `eta (sigma1 + sigma2) + sigma3`.
///
/// # References
/// As [`energy_neutral_load`].
pub fn energy_neutral_store(harvest: &Bounded, load_burst: Charge, efficiency: Share) -> Charge {
    (harvest.burst + harvest.lull) * efficiency.fraction() + load_burst
}

/// Reports per day that a usable charge allows over so many dark days, after the floor; 0 if the floor alone takes it.
pub fn reports_per_day(
    usable: Charge,
    dark: Duration,
    floor_per_day: Charge,
    charge_per_report: Charge,
) -> f64 {
    ((usable / dark.days() - floor_per_day) / charge_per_report).max(0.0)
}
