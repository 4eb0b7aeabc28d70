//! From code to value and back, in integers.

/// Largest integer up to which doubles have no gaps.
const EXACT: u64 = 1 << 53;

/// `value = (code * numerator + offset) / denominator`, in lowest terms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scale {
    /// Step times denominator, above 0.
    pub numerator: u64,
    /// Value of code 0 times denominator.
    pub offset: i64,
    /// Above 0.
    pub denominator: u64,
    /// The firmware hands over and receives integers: the value in so many parts of the unit (100: hundredths).
    pub per_unit: u32,
}

/// Largest integer that the firmware hands over in 32 bits; a sensor that fails may say much more than its range.
const LARGEST_NARROW_PARTS: u128 = 1 << 29;
/// The same in 64 bits: far enough below [`EXACT`] for a product of doubles to be the right integer.
const LARGEST_PARTS: u128 = 1 << 49;
/// Steps of the firmware's integer in one step of the code where there is room in 32 bits.
const PARTS_PER_STEP: i128 = 10;

impl Scale {
    /// A scale in lowest terms for codes up to `last`, with as many parts of the unit as the firmware needs to tell all
    /// codes apart; `None` if it is not exact in doubles and in 64-bit integers.
    pub(crate) fn new(numerator: i128, offset: i128, denominator: i128, last: u32) -> Option<Self> {
        let top = i128::from(last) * numerator + offset;
        let largest = offset.unsigned_abs().max(top.unsigned_abs());
        let fits =
            |per_unit: u32, most: u128| largest * u128::from(per_unit) <= most * denominator.unsigned_abs();
        let steps = |per_unit: u32, least: i128| numerator * i128::from(per_unit) >= least * denominator;
        let is_whole = |number: i128, per_unit: u32| number * i128::from(per_unit) % denominator == 0;
        // Rounded to whole parts, the value of a code is still nearest to that code.
        let keeps =
            |per_unit: u32| steps(per_unit, 2) || is_whole(numerator, per_unit) && is_whole(offset, per_unit);
        let powers = || (0..=9).map(|power| 10_u32.pow(power));
        let fine = powers().find(|one| steps(*one, PARTS_PER_STEP) && fits(*one, LARGEST_NARROW_PARTS));
        let narrow = || powers().rev().find(|one| keeps(*one) && fits(*one, LARGEST_NARROW_PARTS));
        let wide = || powers().find(|one| keeps(*one) && fits(*one, LARGEST_PARTS));
        Self::in_parts(numerator, offset, denominator, last, fine.or_else(narrow).or_else(wide)?)
    }

    /// The same with so many parts of the unit.
    pub(crate) fn in_parts(
        numerator: i128,
        offset: i128,
        denominator: i128,
        last: u32,
        per_unit: u32,
    ) -> Option<Self> {
        let shared = gcd(gcd(numerator, offset), denominator).max(1);
        let (numerator, offset, denominator) = (numerator / shared, offset / shared, denominator / shared);
        let scale = Self {
            numerator: u64::try_from(numerator).ok().filter(|numerator| *numerator > 0)?,
            offset: i64::try_from(offset).ok()?,
            denominator: u64::try_from(denominator).ok().filter(|denominator| *denominator > 0)?,
            per_unit,
        };
        (scale.is_exact_up_to(last) && scale.fits_64_bits(last)).then_some(scale)
    }

    /// Whether [`Self::nearest`] can be computed in signed 64-bit integers for every 32-bit integer, and for every integer
    /// of the range.
    fn fits_64_bits(&self, last: u32) -> bool {
        let (numerator, denominator) = (i128::from(self.numerator), i128::from(self.denominator));
        let per_unit = i128::from(self.per_unit);
        let [low, high] = [self.exact(0), self.exact(last)].map(|end| i128::from(end).abs() * per_unit);
        let largest = (denominator << 31).max(low).max(high) + i128::from(self.offset).abs() * per_unit;
        2 * largest + numerator * per_unit <= i128::from(i64::MAX)
    }

    /// The double nearest to the value of a code.
    #[must_use]
    pub fn value(&self, code: u32) -> f64 {
        self.exact(code) as f64 / self.denominator as f64
    }

    /// The numerator of the value of a code.
    #[must_use]
    pub fn exact(&self, code: u32) -> i64 {
        i64::from(code) * self.numerator.cast_signed() + self.offset
    }

    /// Distance between two codes.
    #[must_use]
    pub fn step(&self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }

    /// Whether every value up to this code is exact in integers that a double holds.
    fn is_exact_up_to(&self, last: u32) -> bool {
        let top = i128::from(last) * i128::from(self.numerator) + i128::from(self.offset);
        // The product must be exact as well: a double holds it before the offset is added.
        self.denominator <= EXACT
            && i128::from(last) * i128::from(self.numerator) <= i128::from(EXACT)
            && top.unsigned_abs() <= u128::from(EXACT)
            && self.offset.unsigned_abs() <= EXACT
    }

    /// The code nearest to the firmware's integer, which may lie outside the
    /// codes of the field. Half a step is rounded away from zero: -0.25 in steps of 0.1 is -0.3.
    #[must_use]
    pub fn nearest(&self, parts: i64) -> i128 {
        let per_unit = i128::from(self.per_unit);
        let above = i128::from(parts) * i128::from(self.denominator) - i128::from(self.offset) * per_unit;
        let step = i128::from(self.numerator) * per_unit;
        if parts < 0 {
            -(-2 * above + step).div_euclid(2 * step)
        } else {
            (2 * above + step).div_euclid(2 * step)
        }
    }
}

fn gcd(a: i128, b: i128) -> i128 {
    if b == 0 { a.abs() } else { gcd(b, a % b) }
}
