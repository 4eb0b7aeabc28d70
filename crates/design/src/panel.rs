//! A panel from its data-sheet points, under any light and temperature.

pub mod diode;

use crate::part::Panel;
use crate::quantity::Voltage;
use diode::Diode;

/// Irradiance at which data sheets are written [W/m²].
pub const REFERENCE_W_M2: f64 = 1000.0;
/// Cell temperature at which data sheets are written [°C].
pub const REFERENCE_CELSIUS: f64 = 25.0;

const REFERENCE_K: f64 = 298.15;
/// De Soto 2006, silicon at 25 °C [eV] and its relative change with temperature [1/K].
const SILICON_GAP_EV: f64 = 1.121;
const GAP_CHANGE_PER_K: f64 = -0.0002677;
/// CODATA 2018 [eV/K].
const BOLTZMANN_EV_PER_K: f64 = 8.617333262e-5;
/// Step over which the voltage coefficient is matched \[K\].
const COEFFICIENT_STEP_K: f64 = 2.0;

/// The curve of a panel at any irradiance and cell temperature.
///
/// # References
/// De Soto, Klein & Beckman 2006, *Solar Energy* 80, 78-88, equations 1 and 13-17.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PanelModel {
    reference: Diode,
    current_coefficient_a_per_k: f64,
    gap_ev: f64,
    shunt_grows_in_low_light: bool,
}

/// Why no curve goes through the points of a data sheet.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum PanelError {
    /// A voltage, current or shunt that isn't above zero.
    #[error("voltages, currents and shunt of the panel must be above zero")]
    NotPositive,
    /// The best point lies outside the open-circuit voltage and the short-circuit current.
    #[error(
        "best point {best_v:.2} V, {best_a:.4} A is impossible; write a best voltage between half and all of the open-circuit {open_v:.2} V and a best current below the short-circuit {short_a:.4} A"
    )]
    BestPointOutside {
        /// Voltage at the best point \[V\].
        best_v: f64,
        /// Current at the best point \[A\].
        best_a: f64,
        /// Open-circuit voltage \[V\].
        open_v: f64,
        /// Short-circuit current \[A\].
        short_a: f64,
    },
    /// Best power over the product of open-circuit voltage and short-circuit current is too small for any sound panel.
    #[error(
        "best power is {:.0} % of open-circuit voltage times short-circuit current; a sound panel has 40 to 90 %, check the four points",
        fill_factor * 100.0
    )]
    FillFactor {
        /// The share found.
        fill_factor: f64,
    },
    /// The shunt would take more at the best point than short-circuit and best current leave for it.
    #[error(
        "a shunt of {shunt_ohm:.0} ohm takes more current at the best point than the data sheet leaves for it; write more than {least_ohm:.0} ohm"
    )]
    ShuntTooLow {
        /// The shunt resistance given \[ohm\].
        shunt_ohm: f64,
        /// It must be above this \[ohm\].
        least_ohm: f64,
    },
    /// A curve through the three points has its best point elsewhere.
    #[error(
        "the curve through these points gives {found_w:.3} W at {found_v:.2} V, more than the {stated_w:.3} W of the best point; check best voltage and best current"
    )]
    NotTheBestPoint {
        /// Best power of that curve \[W\].
        found_w: f64,
        /// Where it is \[V\].
        found_v: f64,
        /// Best power stated \[W\].
        stated_w: f64,
    },
    /// The temperature coefficient of the voltage contradicts the curve.
    #[error(
        "a voltage coefficient of {:.2} %/K doesn't go with the curve of the panel; silicon has -0.28 to -0.40 %/K",
        per_k * 100.0
    )]
    VoltageCoefficient {
        /// The coefficient given [1/K].
        per_k: f64,
    },
}

impl PanelError {
    /// The keys of the figures that can't be true together.
    pub fn keys(self) -> &'static [&'static str] {
        const POINTS: [&str; 5] =
            ["best_current", "best_voltage", "short_circuit_current", "open_circuit_voltage", "shunt"];
        match self {
            Self::NotPositive => &POINTS,
            Self::BestPointOutside { .. } | Self::FillFactor { .. } | Self::NotTheBestPoint { .. } => {
                &POINTS[..4]
            }
            Self::ShuntTooLow { .. } => &["shunt", "best_current", "short_circuit_current", "best_voltage"],
            Self::VoltageCoefficient { .. } => &[
                "voltage_coefficient",
                "best_current",
                "best_voltage",
                "short_circuit_current",
                "open_circuit_voltage",
            ],
        }
    }
}

impl Panel {
    /// Its curve under any light and temperature.
    ///
    /// # Panics
    /// If no curve goes through its points; a panel of a resolved design has one.
    pub fn curve(&self) -> PanelModel {
        PanelModel::new(self).expect("a panel is refused when its design is resolved if it has no curve")
    }
}

impl PanelModel {
    /// The model with known parameters at 1000 W/m², 25 °C; `current_coefficient_a_per_k` is that of the short-circuit
    /// current [A/K]. The band gap is silicon's.
    pub fn from_parameters(
        reference: Diode,
        current_coefficient_a_per_k: f64,
        shunt_grows_in_low_light: bool,
    ) -> Self {
        Self { reference, current_coefficient_a_per_k, gap_ev: SILICON_GAP_EV, shunt_grows_in_low_light }
    }

    /// The model whose curve at 1000 W/m², 25 °C goes through the data-sheet points, has its best point there, and
    /// whose open-circuit voltage changes with temperature as stated.
    ///
    /// The shunt is an input, since the points hardly fix it and low light depends on it. In exchange the band gap is
    /// free and takes up the voltage coefficient; on a consistent silicon panel it comes out as 1.121 eV. Rounded
    /// points that no series resistance of 0 or more can satisfy are met with 0, if the best power stays within 5 %.
    ///
    /// # Errors
    /// [`PanelError`] if the points contradict each other.
    pub fn new(panel: &Panel) -> Result<Self, PanelError> {
        let points = Points::checked(panel)?;
        let reference = points.fit()?;
        let current_coefficient_a_per_k = panel.current_coefficient.fraction_per_kelvin() * points.short_a;
        let per_k = panel.voltage_coefficient.fraction_per_kelvin();
        let gap_ev = gap_from_coefficient(&reference, current_coefficient_a_per_k, per_k * points.open_v)
            .ok_or(PanelError::VoltageCoefficient { per_k })?;
        Ok(Self {
            reference,
            current_coefficient_a_per_k,
            gap_ev,
            shunt_grows_in_low_light: panel.shunt_grows_in_low_light,
        })
    }

    /// Open-circuit voltage at an effective irradiance [W/m²] and a cell temperature [°C].
    pub fn open_circuit_voltage(&self, irradiance_w_m2: f64, cell_celsius: f64) -> Voltage {
        Voltage::from_volts(self.at(irradiance_w_m2, cell_celsius).open_circuit_v())
    }

    /// The parameters at 1000 W/m², 25 °C.
    pub fn reference(&self) -> &Diode {
        &self.reference
    }

    /// The band gap at 25 °C that reproduces the voltage coefficient \[eV\].
    pub fn gap_ev(&self) -> f64 {
        self.gap_ev
    }

    /// The curve at an effective irradiance [W/m²] (what reaches the cells, 0 or more) and a cell temperature [°C].
    pub fn at(&self, irradiance_w_m2: f64, cell_celsius: f64) -> Diode {
        let light = irradiance_w_m2.max(0.0) / REFERENCE_W_M2;
        let above_k = cell_celsius - REFERENCE_CELSIUS;
        let warmth = (REFERENCE_K + above_k) / REFERENCE_K;
        let shunt_ohm = if self.shunt_grows_in_low_light {
            self.reference.shunt_ohm / light.max(1e-9)
        } else {
            self.reference.shunt_ohm
        };
        Diode {
            photocurrent_a: light
                * (self.reference.photocurrent_a + self.current_coefficient_a_per_k * above_k),
            saturation_a: self.reference.saturation_a
                * warmth.powi(3)
                * (self.gap_ev * gap_exponent(above_k)).exp(),
            series_ohm: self.reference.series_ohm,
            shunt_ohm,
            scale_v: self.reference.scale_v * warmth,
        }
    }
}

/// What the band gap at 25 °C [eV] is multiplied with in the exponent of the saturation current [1/eV].
fn gap_exponent(above_k: f64) -> f64 {
    let kelvin = REFERENCE_K + above_k;
    (1.0 / REFERENCE_K - (1.0 + GAP_CHANGE_PER_K * above_k) / kelvin) / BOLTZMANN_EV_PER_K
}

fn gap_from_coefficient(reference: &Diode, current_a_per_k: f64, voltage_v_per_k: f64) -> Option<f64> {
    let warmth = (REFERENCE_K + COEFFICIENT_STEP_K) / REFERENCE_K;
    let open_v = reference.open_circuit_v() + voltage_v_per_k * COEFFICIENT_STEP_K;
    let photocurrent_a = reference.photocurrent_a + current_a_per_k * COEFFICIENT_STEP_K;
    let saturation_a =
        (photocurrent_a - open_v / reference.shunt_ohm) / (open_v / (reference.scale_v * warmth)).exp_m1();
    let growth = (saturation_a / reference.saturation_a).ln() - 3.0 * warmth.ln();
    let gap_ev = growth / gap_exponent(COEFFICIENT_STEP_K);
    (0.3..4.0).contains(&gap_ev).then_some(gap_ev)
}

/// Data-sheet points in volts, amperes and ohms.
struct Points {
    open_v: f64,
    short_a: f64,
    best_v: f64,
    best_a: f64,
    shunt_ohm: f64,
}

impl Points {
    fn checked(panel: &Panel) -> Result<Self, PanelError> {
        let points = Self {
            open_v: panel.open_circuit_voltage.volts(),
            short_a: panel.short_circuit_current.amperes(),
            best_v: panel.best_voltage.volts(),
            best_a: panel.best_current.amperes(),
            shunt_ohm: panel.shunt.ohms(),
        };
        let Self { open_v, short_a, best_v, best_a, shunt_ohm } = points;
        if ![open_v, short_a, best_v, best_a, shunt_ohm].iter().all(|value| *value > 0.0) {
            return Err(PanelError::NotPositive);
        }
        if best_v >= open_v || best_a >= short_a || best_v <= 0.5 * open_v {
            return Err(PanelError::BestPointOutside { best_v, best_a, open_v, short_a });
        }
        let fill_factor = best_v * best_a / (open_v * short_a);
        if !(0.4..0.9).contains(&fill_factor) {
            return Err(PanelError::FillFactor { fill_factor });
        }
        let least_ohm = best_v / (short_a - best_a);
        if shunt_ohm <= least_ohm {
            return Err(PanelError::ShuntTooLow { shunt_ohm, least_ohm });
        }
        Ok(points)
    }

    fn fit(&self) -> Result<Diode, PanelError> {
        let (mut low, mut high) = (0.0, (self.open_v - self.best_v) / self.best_a);
        if self.slope_error(low) > 0.0 {
            return self.without_series_resistance();
        }
        for _ in 0..200 {
            let middle = 0.5 * (low + high);
            if middle <= low || middle >= high {
                break;
            }
            *(if self.slope_error(middle) > 0.0 { &mut high } else { &mut low }) = middle;
        }
        Ok(self.through_points(low))
    }

    fn without_series_resistance(&self) -> Result<Diode, PanelError> {
        let diode = self.through_points(0.0);
        let best = diode.best_point();
        let stated_w = self.best_v * self.best_a;
        if best.watts() > 1.05 * stated_w {
            return Err(PanelError::NotTheBestPoint { found_w: best.watts(), found_v: best.volts, stated_w });
        }
        Ok(diode)
    }

    /// The curve with this series resistance through open circuit, short circuit and the best point.
    fn through_points(&self, series_ohm: f64) -> Diode {
        let x_best = self.best_v + self.best_a * series_ohm;
        let x_short = self.short_a * series_ohm;
        let mut saturation_a = 0.0;
        let mut photocurrent_a = self.short_a + x_short / self.shunt_ohm;
        let mut scale_v = self.open_v;
        for _ in 0..100 {
            let at_open = photocurrent_a - self.open_v / self.shunt_ohm + saturation_a;
            let at_best = photocurrent_a - self.best_a - x_best / self.shunt_ohm + saturation_a;
            let before = scale_v;
            scale_v = (self.open_v - x_best) / (at_open / at_best).ln();
            saturation_a = (self.short_a - (self.open_v - x_short) / self.shunt_ohm)
                / ((self.open_v / scale_v).exp() - (x_short / scale_v).exp());
            photocurrent_a =
                self.short_a + x_short / self.shunt_ohm + saturation_a * (x_short / scale_v).exp_m1();
            if (scale_v - before).abs() <= 1e-15 * scale_v {
                break;
            }
        }
        Diode { photocurrent_a, saturation_a, series_ohm, shunt_ohm: self.shunt_ohm, scale_v }
    }

    /// Above zero if the power already falls at the stated best point.
    fn slope_error(&self, series_ohm: f64) -> f64 {
        let diode = self.through_points(series_ohm);
        let x = self.best_v + self.best_a * series_ohm;
        let conductance =
            diode.saturation_a / diode.scale_v * (x / diode.scale_v).exp() + 1.0 / diode.shunt_ohm;
        conductance * (self.best_v - self.best_a * series_ohm) - self.best_a
    }
}
