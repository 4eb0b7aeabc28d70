//! Seeded random numbers: the same seed gives the same lives on every machine and in every version.
//!
//! Own code, since general crates reserve the right to change their streams between versions.

/// A stream of random numbers: `xoshiro256++` 1.0 seeded through `SplitMix64`.
///
/// # References
/// Blackman & Vigna 2021, *ACM Trans. Math. Softw.* 47(4), article 36; Steele, Lea & Flood 2014 (`SplitMix`).
#[derive(Clone, Debug)]
pub struct Stream {
    state: [u64; 4],
}

impl Stream {
    /// Stream number `index` of a seed; streams of one seed do not overlap in practice.
    #[must_use]
    pub fn new(seed: u64, index: u64) -> Self {
        let mut mix = seed ^ split_mix(&mut index.wrapping_mul(0xD134_2543_DE82_EF95));
        Self { state: std::array::from_fn(|_| split_mix(&mut mix)) }
    }

    /// The next 64 random bits.
    #[inline]
    pub fn bits(&mut self) -> u64 {
        let [a, b, c, d] = self.state;
        let result = a.wrapping_add(d).rotate_left(23).wrapping_add(a);
        let (c, d) = (c ^ a, d ^ b);
        self.state = [a ^ d, b ^ c, c ^ (b << 17), d.rotate_left(45)];
        result
    }

    /// Uniform in the open interval (0, 1).
    #[inline]
    pub fn uniform(&mut self) -> f64 {
        ((self.bits() >> 12) as f64 + 0.5) / (1_u64 << 52) as f64
    }

    /// Standard normal.
    #[inline]
    pub fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }
}

fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// The standard normal quantile of a probability in (0, 1), relative error below 1e-15.
///
/// # References
/// Wichura 1988, Algorithm AS 241 (PPND16), *Applied Statistics* 37, 477-484.
#[inline]
#[must_use]
pub fn normal_quantile(probability: f64) -> f64 {
    let q = probability - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * polynomial(&A, r) / polynomial(&B, r);
    }
    let r = (-(if q < 0.0 { probability } else { 1.0 - probability }).ln()).sqrt();
    let magnitude = if r <= 5.0 {
        polynomial(&C, r - 1.6) / polynomial(&D, r - 1.6)
    } else {
        polynomial(&E, r - 5.0) / polynomial(&F, r - 5.0)
    };
    magnitude.copysign(q)
}

#[inline]
fn polynomial(coefficients: &[f64; 8], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

const A: [f64; 8] = [
    3.387_132_872_796_366_5,
    1.331_416_678_917_843_8e2,
    1.971_590_950_306_551_3e3,
    1.373_169_376_550_946e4,
    4.592_195_393_154_987e4,
    6.726_577_092_700_87e4,
    3.343_057_558_358_813e4,
    2.509_080_928_730_122_7e3,
];
const B: [f64; 8] = [
    1.0,
    4.231_333_070_160_091e1,
    6.871_870_074_920_579e2,
    5.394_196_021_424_751e3,
    2.121_379_430_158_66e4,
    3.930_789_580_009_271e4,
    2.872_908_573_572_194_3e4,
    5.226_495_278_852_545e3,
];
const C: [f64; 8] = [
    1.423_437_110_749_683_5,
    4.630_337_846_156_546,
    5.769_497_221_460_691,
    3.647_848_324_763_204_5,
    1.270_458_252_452_368_4,
    2.417_807_251_774_506e-1,
    2.272_384_498_926_918_4e-2,
    7.745_450_142_783_414e-4,
];
const D: [f64; 8] = [
    1.0,
    2.053_191_626_637_759,
    1.676_384_830_183_803_8,
    6.897_673_349_851e-1,
    1.481_039_764_274_800_8e-1,
    1.519_866_656_361_645_7e-2,
    5.475_938_084_995_345e-4,
    1.050_750_071_644_416_9e-9,
];
const E: [f64; 8] = [
    6.657_904_643_501_103,
    5.463_784_911_164_114,
    1.784_826_539_917_291_3,
    2.965_605_718_285_048_7e-1,
    2.653_218_952_657_612_4e-2,
    1.242_660_947_388_078_4e-3,
    2.711_555_568_743_487_6e-5,
    2.010_334_399_292_288_1e-7,
];
const F: [f64; 8] = [
    1.0,
    5.998_322_065_558_88e-1,
    1.369_298_809_227_358e-1,
    1.487_536_129_085_061_5e-2,
    7.868_691_311_456_133e-4,
    1.846_318_317_510_054_8e-5,
    1.421_511_758_316_446e-7,
    2.044_263_103_389_939_8e-15,
];

#[cfg(test)]
mod tests {
    use super::*;

    /// Tabulated values of the normal distribution, Abramowitz & Stegun table 26.1 and 26.5 (z to ten places).
    #[test]
    fn quantiles_are_the_tabulated_ones() {
        for (probability, z) in [
            (0.5, 0.0),
            (0.975, 1.959_963_984_540_054),
            (0.95, 1.644_853_626_951_472_2),
            (0.999, 3.090_232_306_167_813_5),
            (1e-6, -4.753_424_308_822_899),
            (1e-10, -6.361_340_902_404_056),
        ] {
            assert!((normal_quantile(probability) - z).abs() < 1e-12, "{probability}");
        }
    }

    #[test]
    fn normals_have_mean_nought_and_variance_one() {
        let mut stream = Stream::new(1, 2);
        let draws: Vec<f64> = (0..1_000_000).map(|_| stream.normal()).collect();
        let mean = draws.iter().sum::<f64>() / draws.len() as f64;
        let variance = draws.iter().map(|z| z * z).sum::<f64>() / draws.len() as f64;
        let fourth = draws.iter().map(|z| z.powi(4)).sum::<f64>() / draws.len() as f64;
        assert!(mean.abs() < 0.004 && (variance - 1.0).abs() < 0.006 && (fourth - 3.0).abs() < 0.04);
    }

    #[test]
    fn streams_of_one_seed_are_not_alike() {
        let (mut one, mut other) = (Stream::new(1, 0), Stream::new(1, 1));
        let product: f64 = (0..100_000).map(|_| one.normal() * other.normal()).sum::<f64>() / 100_000.0;
        assert!(product.abs() < 0.015);
    }
}
