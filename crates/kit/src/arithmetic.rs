//! From the firmware's integers to codes and back, reduced to the fewest operations.

use design::message::{Field, Part, Scale};

use wire::payload::{self, Sample};

/// `code = (factor * (parts - least) + addend - (ties and parts < 0)) / divisor`, rounded down, for parts between `least`
/// and `most`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct ToCode {
    /// The smallest integer that has a code.
    pub(super) least: i64,
    /// The largest integer that has a code.
    pub(super) most: i64,
    pub(super) factor: u64,
    pub(super) addend: u64,
    pub(super) divisor: u64,
    /// Whether an integer can lie in the middle between two codes, so that the sign decides.
    pub(super) ties: bool,
}

/// `parts = (code * factor + offset) / divisor`, rounded half away from zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct ToParts {
    pub(super) factor: i64,
    pub(super) offset: i64,
    pub(super) divisor: i64,
}

impl ToCode {
    /// Of a part that has a scale.
    pub(super) fn of(field: &Field, part: Part, scale: Scale) -> Self {
        let coded = |parts: i64| payload::sample_of_parts(field, part, parts);
        let middle = middle_parts(scale, field.codes(part).last);
        let inside = |parts: &i64| matches!(coded(*parts), Some(Sample::Code(_)));
        let least = middle - reach(|steps| inside(&(middle - steps)));
        let most = middle + reach(|steps| inside(&(middle + steps)));
        let denominator = i128::from(scale.denominator);
        let step = i128::from(scale.numerator) * i128::from(scale.per_unit);
        let at_least = 2 * denominator * i128::from(least)
            - 2 * i128::from(scale.offset) * i128::from(scale.per_unit)
            + step;
        let shared = gcd(2 * denominator, 2 * step);
        let unsigned = |number: i128| u64::try_from(number).unwrap_or_default();
        Self {
            least,
            most,
            factor: unsigned(2 * denominator / shared),
            addend: unsigned(at_least.div_euclid(shared)),
            divisor: unsigned(2 * step / shared),
            ties: at_least.rem_euclid(shared) == 0 && least < 0,
        }
    }

    /// The largest number that occurs on the way.
    pub(super) fn largest(&self) -> u128 {
        let width = u128::from(self.most.abs_diff(self.least));
        width * u128::from(self.factor) + u128::from(self.addend)
    }

    /// `(multiplier, shift)` with `number / divisor == (number * multiplier) >> shift` in 32 bits for every number that
    /// occurs; small processors have no division. `None` where it would not fit, or where the division is a shift already.
    ///
    /// # References
    ///
    /// Granlund and Montgomery, Division by invariant integers using multiplication, PLDI 1994, theorem 4.2: with
    /// `multiplier * divisor = 2^shift + excess` it holds while `excess * number < 2^shift`.
    pub(super) fn reciprocal(&self) -> Option<(u64, u32)> {
        let divisor = u128::from(self.divisor);
        let fitting = |shift: u32| {
            let multiplier = (1_u128 << shift).div_ceil(divisor);
            let excess = multiplier * divisor - (1 << shift);
            let exact = excess * self.largest() < 1 << shift;
            let fits = multiplier * self.largest() <= u128::from(u32::MAX);
            (exact && fits).then_some((u64::try_from(multiplier).ok()?, shift))
        };
        if divisor.is_power_of_two() { None } else { (1..32).find_map(fitting) }
    }

    /// Whether the integers, and one beyond on either side, and "absent", fit 32 bits.
    pub(super) fn is_narrow(&self) -> bool {
        let bound = i64::from(i32::MAX) - 1;
        -bound < self.least && self.most < bound
    }
}

impl ToParts {
    pub(super) fn of(scale: Scale) -> Self {
        let per_unit = i128::from(scale.per_unit);
        let (factor, offset) = (i128::from(scale.numerator) * per_unit, i128::from(scale.offset) * per_unit);
        let denominator = i128::from(scale.denominator);
        let shared = gcd(gcd(factor, offset), denominator);
        let narrow = |number: i128| i64::try_from(number / shared).unwrap_or_default();
        Self { factor: narrow(factor), offset: narrow(offset), divisor: narrow(denominator) }
    }
}

/// An integer that surely has a code: the one nearest to the middle of the codes.
fn middle_parts(scale: Scale, last: u32) -> i64 {
    let exact = i128::from(scale.exact(last / 2)) * i128::from(scale.per_unit);
    i64::try_from(exact.div_euclid(i128::from(scale.denominator))).unwrap_or_default()
}

/// The largest number up to which `holds` does; it must hold for 0 and no longer hold somewhere.
fn reach(holds: impl Fn(i64) -> bool) -> i64 {
    let (mut low, mut high) = (0_i64, 1_i64 << 61);
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if holds(middle) { low = middle } else { high = middle }
    }
    low
}

fn gcd(a: i128, b: i128) -> i128 {
    if b == 0 { a.abs().max(1) } else { gcd(b, a % b) }
}
