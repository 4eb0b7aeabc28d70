use crate::{Ground, Polarisation, free_space_db, wavelength_m};

/// Basic transmission loss \[dB\] over flat, smooth ground: the direct ray and the one that the ground reflects.
///
/// `antennas_m` are the heights \[m\] of the two isotropic antennas above the ground, `distance_km` \[km\] the
/// distance along it. It has real nulls: moving an antenna up or away can lose tens of decibels. Meant for
/// distances well inside the radio horizon; all lengths must be positive (otherwise the result is not finite).
///
/// # References
/// Fresnel's coefficients over ground of complex permittivity eps - j 18 sigma / f\[GHz\] (Rec. ITU-R P.527 gives
/// both); the 18 is the one of P.1812-6 eq. (29a).
pub fn two_ray_db(
    frequency_ghz: f64,
    distance_km: f64,
    antennas_m: [f64; 2],
    ground: Ground,
    polarisation: Polarisation,
) -> f64 {
    let [near_m, far_m] = antennas_m;
    let along_m = distance_km * 1000.0;
    let direct_m = along_m.hypot(near_m - far_m);
    let reflected_m = along_m.hypot(near_m + far_m);
    // The difference of the two square roots, without losing its digits at long range.
    let detour_m = 4.0 * near_m * far_m / (direct_m + reflected_m);

    let grazing_sine = (near_m + far_m) / reflected_m;
    let reflection = reflection(frequency_ghz, grazing_sine, ground, polarisation);
    let phase = -std::f64::consts::TAU * detour_m / wavelength_m(frequency_ghz);
    let echo = reflection.times(Complex::new(phase.cos(), phase.sin()));
    let shrink = direct_m / reflected_m;
    let field = (1.0 + shrink * echo.re).hypot(shrink * echo.im);
    free_space_db(frequency_ghz, direct_m / 1000.0) - 20.0 * field.log10()
}

/// Field reflection coefficient at a grazing angle with the given sine.
fn reflection(frequency_ghz: f64, sine: f64, ground: Ground, polarisation: Polarisation) -> Complex {
    let permittivity = Complex::new(ground.permittivity, -18.0 * ground.conductivity_s_m / frequency_ghz);
    let inside = Complex::new(permittivity.re - (1.0 - sine * sine), permittivity.im).sqrt();
    let outside = match polarisation {
        Polarisation::Horizontal => Complex::new(sine, 0.0),
        Polarisation::Vertical => Complex::new(permittivity.re * sine, permittivity.im * sine),
    };
    outside.minus(inside).over(outside.plus(inside))
}

#[derive(Clone, Copy)]
struct Complex {
    re: f64,
    im: f64,
}

impl Complex {
    fn new(re: f64, im: f64) -> Self {
        Self { re, im }
    }

    fn plus(self, other: Self) -> Self {
        Self::new(self.re + other.re, self.im + other.im)
    }

    fn minus(self, other: Self) -> Self {
        Self::new(self.re - other.re, self.im - other.im)
    }

    fn times(self, other: Self) -> Self {
        Self::new(self.re * other.re - self.im * other.im, self.re * other.im + self.im * other.re)
    }

    fn over(self, other: Self) -> Self {
        let square = other.re * other.re + other.im * other.im;
        let product = self.times(Self::new(other.re, -other.im));
        Self::new(product.re / square, product.im / square)
    }

    /// The root with a positive real part.
    fn sqrt(self) -> Self {
        let size = self.re.hypot(self.im);
        let re = f64::midpoint(size, self.re).sqrt();
        Self::new(re, self.im / (2.0 * re))
    }
}
