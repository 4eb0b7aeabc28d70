//! The generic panel that the worked figures speak of.

use design::part::{Cover, Panel};
use design::quantity::{Current, PerKelvin, Power, Resistance, Share, Uncertain, Voltage};

/// 6 V, 1 W, 12 cells, with the shunt that De Soto's fit gives it.
pub(crate) fn six_volt_panel() -> Panel {
    Panel {
        name: "six-volt-1w".into(),
        title: "6 V, 1 W, 12 cells".into(),
        price: None,
        power: Uncertain::exact(Power::from_watts(1.002)),
        open_circuit_voltage: Voltage::from_volts(7.2),
        short_circuit_current: Current::from_milliamperes(180.0),
        best_voltage: Voltage::from_volts(6.0),
        best_current: Current::from_milliamperes(167.0),
        cells: 12,
        current_coefficient: PerKelvin::from_percent_per_kelvin(0.05),
        voltage_coefficient: PerKelvin::from_percent_per_kelvin(-0.33),
        shunt: Resistance::from_ohms(1241.4),
        shunt_grows_in_low_light: true,
        cover: Cover::Etfe,
        yearly_loss: Share::from_percent(1.0),
        from_label_only: false,
        source: "worked figures, facts on energy section 4.2".into(),
    }
}
