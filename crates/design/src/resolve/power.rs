//! Panel and charger, and whether they suit the battery.

use super::Resolver;
use super::battery::voltage_at;
use crate::diagnostic;
use crate::file::node::RootSection;
use crate::file::part::{ChargerSection, GateSection, PanelSection};
use crate::file::value::ChargerWord;
use crate::node::MountedPanel;
use crate::panel::{PanelError, PanelModel};
use crate::part::{Battery, Charger, ChargerKind, Chemistry, GateBand, Panel};
use crate::quantity::{Current, Power, Quantity, Resistance, Share, Uncertain, Voltage};
use crate::section::At;
use std::ops::Range;

/// Tolerance of a panel of which only the label is known. Common practice, no source.
const LABEL_TOLERANCE: f64 = 0.2;
/// Allowed factor between the best point and the label, either way.
const LABEL_FACTOR: f64 = 1.5;
/// Shunt resistance in units of open-circuit voltage over short-circuit current: 1241 ohm on a 7.2 V, 180 mA panel,
/// from a fit of the single-diode model of De Soto 2006 to a generic panel of 12 cells.
const SHUNT_RATIO: f64 = 31.0;
/// A nickel battery stands a tenth of its capacity per hour for ever. From memory, common practice.
const NICKEL_HOURS: f64 = 10.0;

/// The points of a panel.
struct Points {
    open_circuit_voltage: Voltage,
    short_circuit_current: Current,
    best_voltage: Voltage,
    best_current: Current,
}

impl Resolver<'_> {
    pub(super) fn panel(&mut self, written: &PanelSection) -> Option<MountedPanel> {
        let (section, origin) = self.filled(written, "panel")?;
        let mut power = section.power.as_ref()?.value;
        let (points, from_label_only) = self.points(&section, &mut power)?;
        if section.shunt.is_none() {
            self.doubt("panel.shunt", "assumed from voltage and current; it decides the yield in low light");
        }
        let usual_shunt = Resistance::from_ohms(
            SHUNT_RATIO * points.open_circuit_voltage.volts() / points.short_circuit_current.amperes(),
        );
        let panel = Panel {
            name: origin.name,
            title: origin.title,
            price: section.price.as_ref().map(|at| at.value),
            power,
            open_circuit_voltage: points.open_circuit_voltage,
            short_circuit_current: points.short_circuit_current,
            best_voltage: points.best_voltage,
            best_current: points.best_current,
            cells: section.cells?.value,
            current_coefficient: section.current_coefficient?.value,
            voltage_coefficient: section.voltage_coefficient?.value,
            shunt: section.shunt.map_or(usual_shunt, |at| at.value),
            shunt_grows_in_low_light: section.shunt_grows_in_low_light?.value,
            cover: section.cover?.value,
            yearly_loss: section.yearly_loss?.value,
            from_label_only,
            source: origin.source,
        };
        if let Err(error) = PanelModel::new(&panel) {
            self.no_curve(error, written);
            return None;
        }
        let months = section.shade_months.map(|months| months.value);
        Some(MountedPanel {
            panel,
            tilt: section.tilt?.value,
            azimuth: section.azimuth?.value.0,
            soiling: section.soiling?.value,
            shade: section.shade?.value,
            shade_months: months.map_or([true; 12], |months| months.by_month()),
        })
    }

    /// Says which figures of a panel can't be true together.
    fn no_curve(&mut self, error: PanelError, written: &PanelSection) {
        let keys = error.keys();
        let at = keys.iter().map(|key| format!("panel.{key}")).find(|path| self.file.writes(path));
        let span = at.map_or_else(|| written.span.clone(), |path| self.file.span_of(&path));
        let said = error.to_string();
        let (message, remedy) = said.split_once("; ").unwrap_or((&said, "check the data sheet"));
        let help = format!("{remedy}; these can't be true together: `{}`", keys.join("`, `"));
        self.found.error(diagnostic::PANEL_CURVE, &span, message.to_owned(), help);
    }

    /// The four points, written or generic, and whether they are generic.
    fn points(&mut self, section: &PanelSection, power: &mut Uncertain<Power>) -> Option<(Points, bool)> {
        if section.open_circuit_voltage.is_none()
            && section.short_circuit_current.is_none()
            && section.best_voltage.is_none()
            && section.best_current.is_none()
        {
            if power.spread_si == 0.0 {
                power.spread_si = LABEL_TOLERANCE * power.nominal.watts();
            }
            let place = section.power.as_ref().map_or(0..0, |at| at.span.clone());
            let help = "add `open_circuit_voltage`, `short_circuit_current`, `best_voltage` and `best_current` from a data sheet or a measurement";
            self.found.warning(diagnostic::PANEL_LABEL_ONLY, &place, "only the panel's label is known", help);
            self.doubt(
                "panel.power",
                "from the label alone: voltages and currents are those of a generic panel of the 6 V class",
            );
            return Some((generic_points(power.nominal), true));
        }
        let what = "a panel with any of its points";
        let voc = self.needs(section.open_circuit_voltage.as_ref(), "open_circuit_voltage", what, section);
        let isc = self.needs(section.short_circuit_current.as_ref(), "short_circuit_current", what, section);
        let vmp = self.needs(section.best_voltage.as_ref(), "best_voltage", what, section);
        let imp = self.needs(section.best_current.as_ref(), "best_current", what, section);
        let points = Points {
            open_circuit_voltage: voc?,
            short_circuit_current: isc?,
            best_voltage: vmp?,
            best_current: imp?,
        };
        let best_power = points.best_voltage * points.best_current;
        let ratio = best_power / power.nominal;
        if points.best_voltage >= points.open_circuit_voltage
            || points.best_current >= points.short_circuit_current
            || !(1.0 / LABEL_FACTOR..=LABEL_FACTOR).contains(&ratio)
        {
            let place = section.best_voltage.as_ref().map_or(0..0, |at| at.span.clone());
            let message = format!(
                "the best point ({}) does not fit open-circuit voltage, short-circuit current and label",
                best_power.text()
            );
            let help = "the best voltage is about 83 % of open circuit, the best current about 93 % of short circuit, their product the label's power";
            self.found.error(diagnostic::PANEL_POINTS, &place, message, help);
            return None;
        }
        Some((points, false))
    }

    pub(super) fn charger(&mut self, written: &ChargerSection) -> Option<Charger> {
        let (section, origin) = self.filled(written, "charger")?;
        let kind = self.charger_kind(&section);
        let voltage = match section.kind.as_ref()?.value {
            ChargerWord::Direct => Some(section.voltage.as_ref().map(|at| at.value)),
            _ => self
                .needs(section.voltage.as_ref(), "voltage", "a charger other than `direct`", &section)
                .map(Some),
        };
        let efficiency = match section.kind.as_ref()?.value {
            ChargerWord::Direct | ChargerWord::Linear => {
                Some(section.efficiency.as_ref().map_or(Share::from_fraction(1.0), |at| at.value))
            }
            _ => self.needs(section.efficiency.as_ref(), "efficiency", "a converter", &section),
        };
        let precharge_current = match (&section.precharge_below, &section.precharge_current) {
            (Some(_), current) => self.needs(
                current.as_ref(),
                "precharge_current",
                "a charger with `precharge_below`",
                &section,
            ),
            (None, current) => Some(current.as_ref().map_or(Current::ZERO, |at| at.value)),
        };
        let gate = section.temperature_gate.as_ref().and_then(|at| self.gate(&at.value, &at.span));
        self.check_thresholds(&section);
        Some(Charger {
            name: origin.name,
            title: origin.title,
            price: section.price.as_ref().map(|at| at.value),
            kind: kind?,
            voltage: voltage?,
            current: section.current?.value,
            drop: section.drop?.value,
            input_minimum: section.input_minimum?.value,
            input_absolute_maximum: section.input_absolute_maximum.map(|at| at.value),
            input_current: section.input_current?.value,
            battery_drain: section.battery_drain?.value,
            efficiency: efficiency?,
            start_up: section.start_up?.value,
            precharge_below: section.precharge_below.map(|at| at.value),
            precharge_current: precharge_current?,
            terminate_current: section.terminate_current?.value,
            recharge_below: section.recharge_below.map(|at| at.value),
            temperature_gate: gate?,
            source: origin.source,
        })
    }

    /// Whether the charger's own thresholds let it charge at all.
    fn check_thresholds(&mut self, section: &ChargerSection) {
        let volts = |at: &Option<At<Voltage>>| at.as_ref().map(|at| (at.value.volts(), at.span.clone()));
        let amperes = |at: &Option<At<Current>>| at.as_ref().map(|at| (at.value.amperes(), at.span.clone()));
        let (voltage, current) = (volts(&section.voltage), amperes(&section.current));
        let ladders = [
            (
                volts(&section.precharge_below),
                &voltage,
                "precharge_below",
                "voltage",
                "it would trickle for ever",
            ),
            (volts(&section.recharge_below), &voltage, "recharge_below", "voltage", "it would never stop"),
            (
                amperes(&section.terminate_current),
                &current,
                "terminate_current",
                "current",
                "it would stop at once",
            ),
            (
                volts(&section.input_minimum),
                &volts(&section.input_absolute_maximum),
                "input_minimum",
                "input_absolute_maximum",
                "it would be destroyed before it wakes",
            ),
        ];
        for (low, high, low_key, high_key, why) in ladders {
            let (Some((low, span)), Some((high, _))) = (low, high) else { continue };
            if low >= *high {
                let message = format!("`{low_key}` is not below `{high_key}`: {why}");
                let help = format!("write less than `{high_key}` for `{low_key}`");
                self.found.error(diagnostic::CHARGER_THRESHOLDS, &span, message, help);
            }
        }
        if let (Some((trickle, span)), Some((most, _))) = (amperes(&section.precharge_current), &current)
            && trickle > *most
        {
            let message = "`precharge_current` is above `current`, the largest charging current";
            let help = "a trickle is about a tenth of `current`";
            self.found.error(diagnostic::CHARGER_THRESHOLDS, &span, message, help);
        }
    }

    fn charger_kind(&mut self, section: &ChargerSection) -> Option<ChargerKind> {
        Some(match section.kind.as_ref()?.value {
            ChargerWord::Direct => ChargerKind::Direct,
            ChargerWord::Linear => ChargerKind::Linear,
            ChargerWord::Mppt => ChargerKind::Mppt,
            ChargerWord::FixedFraction => {
                let fraction =
                    self.needs(section.fraction.as_ref(), "fraction", "a fixed-fraction charger", section)?;
                ChargerKind::FixedFraction { fraction }
            }
        })
    }

    fn gate(&mut self, bands: &[GateSection], span: &Range<usize>) -> Option<Vec<GateBand>> {
        let bands = bands.iter().map(gate_band).collect::<Option<Vec<_>>>()?;
        if bands.iter().any(|band| band.from >= band.to)
            || bands.windows(2).any(|two| two[0].to > two[1].from)
        {
            let help = "write bands from cold to hot, as { from = \"0 C\", to = \"10 C\", ... }, { from = \"10 C\", to = \"45 C\", ... }";
            self.found.error(diagnostic::GATE, span, "the bands of the temperature gate do not ascend", help);
            return None;
        }
        Some(bands)
    }

    /// Whether panel, charger and battery suit each other. A part that has errors of its own is not judged.
    pub(super) fn check_power(
        &mut self,
        root: &RootSection,
        battery: Option<&Battery>,
        panel: Option<&MountedPanel>,
        charger: Option<&Charger>,
    ) {
        self.check_presence(root, battery);
        let (Some(battery), Some(charger)) = (battery, charger) else { return };
        let Some(limit) = battery.charge_limit else { return };
        let voltage = if self.file.writes("charger.voltage") { "charger.voltage" } else { "charger.part" };
        self.check_charge_voltage(battery, charger, limit, &self.file.span_of(voltage));
        self.check_direct(battery, charger, panel);
    }

    /// Whether the sections that belong together are there.
    fn check_presence(&mut self, root: &RootSection, battery: Option<&Battery>) {
        let rechargeable = battery.is_none_or(|battery| battery.chemistry.rechargeable());
        let panel = root.panel.is_some();
        let (code, section, message, help) = match (rechargeable, panel, root.charger.is_some()) {
            (false, false, false) | (true, true, true) => return,
            (false, ..) => (
                diagnostic::PRIMARY_CHARGED,
                if panel { "panel" } else { "charger" },
                "a primary cell must not be charged",
                "remove [panel] and [charger], or choose a rechargeable battery: a primary cell that is charged can burst",
            ),
            (true, true, false) => (
                diagnostic::PANEL_WITHOUT_CHARGER,
                "panel",
                "the panel has no charger",
                "add `[charger]` with `part = \"linear-usb\"` or another, or `kind = \"direct\"` for a diode",
            ),
            (true, false, true) => (
                diagnostic::CHARGER_WITHOUT_PANEL,
                "charger",
                "the charger has no panel",
                "add `[panel]`, or remove the charger",
            ),
            (true, false, false) => {
                if battery.is_some() {
                    let help = "add [panel] and [charger]; without them a primary cell lasts longer";
                    let span = self.file.span_of("battery");
                    self.found.warning(
                        diagnostic::NEVER_CHARGED,
                        &span,
                        "nothing charges this battery",
                        help,
                    );
                }
                return;
            }
        };
        self.found.error(code, &self.file.span_of(section), message, help);
    }

    fn check_charge_voltage(
        &mut self,
        battery: &Battery,
        charger: &Charger,
        limit: Voltage,
        place: &Range<usize>,
    ) {
        let Some(voltage) = charger.voltage else { return };
        // Limits and settings come from texts like "4.2 V" and products of them; a microvolt is not an overcharge.
        if voltage.volts() > limit.volts() + 1e-6 {
            let what = if battery.chemistry == Chemistry::Lfp { "lithium iron phosphate " } else { "" };
            let message = format!(
                "the charger goes to {}, the {what}battery's limit is {}",
                voltage.text(),
                limit.text()
            );
            let help = format!(
                "choose a charger of {} or less, or a battery that bears {}",
                limit.text(),
                voltage.text()
            );
            self.found.error(diagnostic::OVERCHARGE, place, message, help);
        } else if voltage < voltage_at(&battery.open_circuit, Share::from_fraction(0.5)) {
            let message = format!("at {} the battery never gets half full", voltage.text());
            let help = format!("a charger for this battery goes to about {}", limit.text());
            self.found.warning(diagnostic::UNDERCHARGE, place, message, help);
        }
    }

    fn check_direct(&mut self, battery: &Battery, charger: &Charger, panel: Option<&MountedPanel>) {
        if charger.kind != ChargerKind::Direct || charger.voltage.is_some() {
            return;
        }
        let place = self.file.span_of("charger.kind");
        if battery.chemistry != Chemistry::Nimh {
            let help =
                "choose a charger with a voltage, or write the `voltage` of the limiter that the circuit has";
            self.found.error(
                diagnostic::DIRECT_UNLIMITED,
                &place,
                "a diode alone goes on charging above the battery's limit",
                help,
            );
            return;
        }
        let Some(panel) = panel else { return };
        let allowed = Current::from_amperes(battery.capacity.nominal.ampere_hours() / NICKEL_HOURS);
        let current = panel.panel.short_circuit_current;
        if current > allowed {
            let message = format!(
                "the panel's {} are more than a tenth of the battery's capacity per hour ({})",
                current.text(),
                allowed.text()
            );
            let help =
                "take a smaller panel, a larger battery, or a charger that stops when the battery is full";
            self.found.error(diagnostic::NIMH_DIRECT_CURRENT, &self.file.span_of("panel"), message, help);
        }
    }
}

/// Points of a generic panel of 12 cells (7.2 V, 180 mA, 6.0 V, 167 mA at 1 W), its currents scaled to the label.
fn generic_points(power: Power) -> Points {
    let scale = power.watts();
    Points {
        open_circuit_voltage: Voltage::from_volts(7.2),
        short_circuit_current: Current::from_milliamperes(180.0 * scale),
        best_voltage: Voltage::from_volts(6.0),
        best_current: Current::from_milliamperes(167.0 * scale),
    }
}

fn gate_band(section: &GateSection) -> Option<GateBand> {
    Some(GateBand {
        from: section.from.as_ref()?.value,
        to: section.to.as_ref()?.value,
        current: section.current.as_ref()?.value,
        voltage_reduction: section.voltage_reduction.as_ref()?.value,
    })
}
