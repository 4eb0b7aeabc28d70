//! The single-diode equation of a string of cells, solved in both directions.

/// A string of cells under given light and temperature.
///
/// `I = IL - I0 (exp((V + I Rs) / a) - 1) - (V + I Rs) / Rsh`. Everything is solved in the junction voltage
/// `x = V + I Rs`, in which current and terminal voltage are explicit and monotone, so Newton's method started on the
/// convex side cannot fail.
///
/// # References
/// De Soto, Klein & Beckman 2006, *Solar Energy* 80, 78-88, equation 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Diode {
    /// `IL`: current driven by the light \[A\], 0 or more.
    pub photocurrent_a: f64,
    /// `I0`: reverse saturation current of the diode \[A\], above 0.
    pub saturation_a: f64,
    /// `Rs`: series resistance \[ohm\], 0 or more.
    pub series_ohm: f64,
    /// `Rsh`: shunt resistance \[ohm\], above 0.
    pub shunt_ohm: f64,
    /// `a = n Ns k T / q`: thermal voltage of the string times its ideality \[V\], above 0.
    pub scale_v: f64,
}

/// A point on the curve of a panel.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Point {
    /// Terminal voltage \[V\].
    pub volts: f64,
    /// Terminal current \[A\].
    pub amperes: f64,
}

impl Point {
    /// Power at this point \[W\].
    pub fn watts(self) -> f64 {
        self.volts * self.amperes
    }
}

impl Diode {
    /// Terminal current \[A\] at a terminal voltage \[V\]; negative beyond open circuit.
    pub fn current(&self, volts: f64) -> f64 {
        self.junction_current(self.junction_at_volts(volts))
    }

    /// Terminal voltage \[V\] at a terminal current \[A\]; negative beyond short circuit.
    pub fn voltage(&self, amperes: f64) -> f64 {
        let headroom = (self.photocurrent_a - amperes).max(0.0);
        let start = self.scale_v * (headroom / self.saturation_a).ln_1p();
        let junction = newton(start, |x| (amperes - self.junction_current(x), self.conductance(x)));
        junction - amperes * self.series_ohm
    }

    /// Open-circuit voltage \[V\].
    pub fn open_circuit_v(&self) -> f64 {
        self.voltage(0.0)
    }

    /// Short-circuit current \[A\].
    pub fn short_circuit_a(&self) -> f64 {
        self.current(0.0)
    }

    /// The point of greatest power; the origin in the dark.
    pub fn best_point(&self) -> Point {
        let (mut low, mut high) = (0.0, self.open_circuit_v());
        if high <= 0.0 {
            return Point::default();
        }
        let mut x = 0.8 * high;
        for _ in 0..MOST_STEPS {
            let (slope, curvature) = self.power_slope(x);
            *(if slope > 0.0 { &mut low } else { &mut high }) = x;
            let next = x - slope / curvature;
            let inside = next > low && next < high;
            let next = if inside { next } else { 0.5 * (low + high) };
            let settled = (next - x).abs() <= TOLERANCE * high;
            x = next;
            if settled {
                break;
            }
        }
        let amperes = self.junction_current(x);
        Point { volts: x - amperes * self.series_ohm, amperes }
    }

    /// The point right of the best one at which the panel gives a power \[W\]; the best point if it can't give that much.
    pub fn point_at_power(&self, watts: f64) -> Point {
        let best = self.best_point();
        if watts >= best.watts() {
            return best;
        }
        let (mut low, mut high) = (best.volts, self.open_circuit_v());
        while high - low > 1e-12 * high {
            let middle = 0.5 * (low + high);
            if middle <= low || middle >= high {
                break;
            }
            *(if middle * self.current(middle) > watts { &mut low } else { &mut high }) = middle;
        }
        Point { volts: low, amperes: self.current(low) }
    }

    fn junction_current(&self, x: f64) -> f64 {
        self.photocurrent_a - self.saturation_a * (x / self.scale_v).exp_m1() - x / self.shunt_ohm
    }

    /// `-dI/dx`, always positive.
    fn conductance(&self, x: f64) -> f64 {
        self.diode_conductance(x) + 1.0 / self.shunt_ohm
    }

    fn diode_conductance(&self, x: f64) -> f64 {
        self.saturation_a / self.scale_v * (x / self.scale_v).exp()
    }

    fn junction_at_volts(&self, volts: f64) -> f64 {
        let driven = volts + self.series_ohm * self.photocurrent_a;
        // Both are at or right of the root where the light drives current; far right Newton would creep by `a` a step.
        let by_diode =
            self.scale_v * (driven.max(0.0) / (self.series_ohm * self.saturation_a).max(1e-300)).ln_1p();
        let start = if driven > 0.0 { driven.min(by_diode) } else { driven };
        newton(start, |x| {
            (
                x - self.series_ohm * self.junction_current(x) - volts,
                1.0 + self.series_ohm * self.conductance(x),
            )
        })
    }

    /// `dP/dx` and its derivative.
    fn power_slope(&self, x: f64) -> (f64, f64) {
        let amperes = self.junction_current(x);
        let g = self.conductance(x);
        let bend = self.diode_conductance(x) / self.scale_v;
        let slope = amperes * (1.0 + 2.0 * self.series_ohm * g) - x * g;
        let curvature =
            -g * (1.0 + 2.0 * self.series_ohm * g) + 2.0 * self.series_ohm * bend * amperes - g - x * bend;
        (slope, curvature)
    }
}

const MOST_STEPS: usize = 100;
const TOLERANCE: f64 = 4.0 * f64::EPSILON;

/// Root of an increasing convex function, given it and its derivative.
fn newton(start: f64, function: impl Fn(f64) -> (f64, f64)) -> f64 {
    let mut x = start;
    for _ in 0..MOST_STEPS {
        let (value, slope) = function(x);
        let step = value / slope;
        x -= step;
        if step.abs() <= TOLERANCE * x.abs() {
            break;
        }
    }
    x
}
