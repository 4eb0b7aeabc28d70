//! The battery as a pack.

use super::Resolver;
use crate::chemistry::Limits;
use crate::diagnostic::{self, Code};
use crate::file::part::{AgeingSection, BatterySection};
use crate::part::{Ageing, Battery, Chemistry};
use crate::quantity::{Capacitance, Charge, Quantity, Resistance, Share, Temperature, Uncertain, Voltage};
use crate::section::At;
use std::ops::Range;

/// Asked for only where an interval depends on the charge.
pub(super) const GAUGE_ERROR: &str = "battery.gauge_error";

/// Charge, voltage and resistance of one cell.
struct Cell {
    capacity: Uncertain<Charge>,
    open_circuit: Vec<(Share, Voltage)>,
    resistance: Uncertain<Resistance>,
    empty_voltage: Voltage,
}

/// Whether it is one, its code and place, what is wrong and what to write instead.
type Misfit = (bool, Code, Option<Range<usize>>, &'static str, String);

impl Resolver<'_> {
    pub(super) fn battery(&mut self, written: &BatterySection) -> Option<Battery> {
        let (section, origin) = self.filled(written, "battery")?;
        let chemistry = section.chemistry.as_ref()?.value;
        let cell = if chemistry == Chemistry::Supercapacitor {
            self.capacitor(&section)
        } else {
            self.cell(&section)
        };
        let limits = Limits::of(chemistry);
        let (charge_limit, charge_temperature) = self.charge_limits(&section, chemistry);
        self.check_chemistry(&section, &limits);
        let cell = cell?;
        self.check_cell(&section, &cell, charge_limit)?;
        let series = f64::from(section.cells_in_series.as_ref()?.value);
        let parallel = f64::from(section.cells_in_parallel.as_ref()?.value);
        Some(Battery {
            name: origin.name,
            title: origin.title,
            price: section.price.as_ref().map(|at| at.value),
            chemistry,
            cells_in_series: section.cells_in_series?.value,
            cells_in_parallel: section.cells_in_parallel?.value,
            capacity: scaled(cell.capacity, parallel),
            label_to_real: section.label_to_real?.value,
            open_circuit: cell
                .open_circuit
                .into_iter()
                .map(|(charge, volts)| (charge, volts * series))
                .collect(),
            resistance: scaled(cell.resistance, series / parallel),
            resistance_by_temperature: section.resistance_by_temperature?.value.0,
            resistance_by_charge: section.resistance_by_charge?.value.0,
            capacity_by_temperature: section.capacity_by_temperature?.value.0,
            self_discharge_per_month: section.self_discharge_per_month?.value,
            leakage: section.leakage?.value * parallel,
            gauge_error: self.gauge_error(section.gauge_error.as_ref(), chemistry),
            charge_limit: if chemistry.rechargeable() { Some(charge_limit? * series) } else { None },
            charge_temperature: if chemistry.rechargeable() { Some(charge_temperature?) } else { None },
            charge_rate: section.charge_rate.map_or(limits.charge_rate, |at| at.value.0),
            empty_voltage: cell.empty_voltage * series,
            ageing: ageing(&section.ageing?.value)?,
            source: origin.source,
        })
    }

    /// What is written, or what nodes that read their charge from a voltage are usually off by.
    fn gauge_error(&mut self, written: Option<&At<Share>>, chemistry: Chemistry) -> Share {
        let usual = Share::from_percent(if chemistry.has_flat_voltage() { 25.0 } else { 10.0 });
        if written.is_none() {
            self.doubt(GAUGE_ERROR, format!("{:.0} % taken: own estimate, not measured", usual.percent()));
        }
        written.map_or(usual, |at| at.value)
    }

    fn cell(&mut self, section: &BatterySection) -> Option<Cell> {
        let what = "a battery";
        let foreign = [
            ("capacitance", place(section.capacitance.as_ref())),
            ("rated_voltage", place(section.rated_voltage.as_ref())),
            ("esr", place(section.esr.as_ref())),
        ];
        self.refuse(
            &foreign,
            "belongs to a supercapacitor",
            "write `chemistry = \"supercapacitor\"`, or remove the key",
        );
        let capacity = self.needs(section.capacity.as_ref(), "capacity", what, section);
        let open_circuit = self.needs(section.open_circuit.as_ref(), "open_circuit", what, section);
        let resistance = self.needs(section.resistance.as_ref(), "resistance", what, section);
        let empty_voltage = self.needs(section.empty_voltage.as_ref(), "empty_voltage", what, section);
        Some(Cell {
            capacity: capacity?,
            open_circuit: open_circuit?.0,
            resistance: resistance?,
            empty_voltage: empty_voltage?,
        })
    }

    /// A capacitor's charge is capacitance times voltage, and its open-circuit voltage a straight line.
    fn capacitor(&mut self, section: &BatterySection) -> Option<Cell> {
        let what = "a supercapacitor";
        let foreign = [
            ("capacity", place(section.capacity.as_ref())),
            ("open_circuit", place(section.open_circuit.as_ref())),
            ("resistance", place(section.resistance.as_ref())),
        ];
        let help = "write `capacitance`, `rated_voltage` and `esr` instead";
        self.refuse(&foreign, "does not belong to a supercapacitor", help);
        let capacitance: Option<Uncertain<Capacitance>> =
            self.needs(section.capacitance.as_ref(), "capacitance", what, section);
        let rated = self.needs(section.rated_voltage.as_ref(), "rated_voltage", what, section);
        let esr = self.needs(section.esr.as_ref(), "esr", what, section);
        let (capacitance, rated) = (capacitance?, rated?);
        Some(Cell {
            capacity: Uncertain {
                nominal: capacitance.nominal * rated,
                spread_si: capacitance.spread_si * rated.volts(),
            },
            open_circuit: vec![(Share::ZERO, Voltage::ZERO), (Share::from_fraction(1.0), rated)],
            resistance: esr?,
            empty_voltage: section.empty_voltage.as_ref().map_or(Voltage::ZERO, |at| at.value),
        })
    }

    /// Refuses keys that another chemistry has.
    fn refuse(&mut self, foreign: &[(&str, Option<Range<usize>>)], why: &str, help: &str) {
        for (key, place) in foreign {
            if let Some(place) = place {
                self.found.error(diagnostic::ONE_OF, place, format!("`{key}` {why}"), help);
            }
        }
    }

    fn charge_limits(
        &mut self,
        section: &BatterySection,
        chemistry: Chemistry,
    ) -> (Option<Voltage>, Option<(Temperature, Temperature)>) {
        if !chemistry.rechargeable() {
            let foreign = [
                ("charge_limit", place(section.charge_limit.as_ref())),
                ("charge_temperature", place(section.charge_temperature.as_ref())),
                ("charge_rate", place(section.charge_rate.as_ref())),
            ];
            self.refuse(&foreign, "belongs to a battery that can be charged", "remove the key");
            return (None, None);
        }
        let what = "a battery that can be charged";
        let limit = match (&section.charge_limit, chemistry) {
            (None, Chemistry::Supercapacitor) => section.rated_voltage.as_ref().map(|at| at.value),
            (limit, _) => self.needs(limit.as_ref(), "charge_limit", what, section),
        };
        let temperature =
            self.needs(section.charge_temperature.as_ref(), "charge_temperature", what, section);
        (limit, temperature.map(|pair| (pair.0, pair.1)))
    }

    /// Whether a cell claims more than any cell of its chemistry bears.
    fn check_chemistry(&mut self, section: &BatterySection, limits: &Limits) {
        let most = limits.never_above.or(section.rated_voltage.as_ref().map(|at| at.value));
        if let (Some(limit), Some(most)) = (&section.charge_limit, most)
            && limit.value > most
        {
            let message = format!(
                "a charge limit of {} destroys the cell; none of its kind bears more than {}",
                limit.value.text(),
                most.text()
            );
            let usual = limits.charge_limit.unwrap_or(most).text();
            let help = format!("write that of one cell, \"{usual}\" or less; packs have `cells_in_series`");
            self.found.error(diagnostic::CHEMISTRY_LIMIT, &limit.span, message, help);
        }
        if let (Some(curve), Some((low, high))) = (&section.open_circuit, limits.cell_voltage)
            && let Some((_, strange)) = curve.value.0.iter().find(|(_, volts)| *volts < low || *volts > high)
        {
            let message = format!(
                "{} is no open-circuit voltage of one such cell, which has {} to {}",
                strange.text(),
                low.text(),
                high.text()
            );
            let help = "write the voltages of one cell; packs have `cells_in_series`";
            self.found.error(diagnostic::CHEMISTRY_LIMIT, &curve.span, message, help);
        }
    }

    /// Whether curve, limits and temperatures of a cell fit together.
    fn check_cell(
        &mut self,
        section: &BatterySection,
        cell: &Cell,
        charge_limit: Option<Voltage>,
    ) -> Option<()> {
        let (first, last) = (cell.open_circuit.first()?, cell.open_circuit.last()?);
        let misfits: [Misfit; 5] = [
            (
                first.0.fraction() > 0.0 || last.0.fraction() < 1.0,
                diagnostic::CURVE_ENDS,
                place(section.open_circuit.as_ref()),
                "the open-circuit curve does not reach from 0 % to 100 %",
                "write a row for \"0 %\" and a row for \"100 %\"".to_owned(),
            ),
            (
                cell.open_circuit.windows(2).any(|two| two[0].1 > two[1].1),
                diagnostic::CURVE_ORDER,
                place(section.open_circuit.as_ref()),
                "the open-circuit voltage falls as the charge rises",
                "a fuller battery never has the lower voltage; check the right column".to_owned(),
            ),
            (
                cell.empty_voltage >= last.1 && first.1 <= last.1,
                diagnostic::BATTERY_VOLTAGES,
                place(section.empty_voltage.as_ref()),
                "the empty voltage is not below that of a full cell",
                format!("write less than the full cell's {}", last.1.text()),
            ),
            (
                charge_limit.is_some_and(|limit| limit <= cell.empty_voltage || limit <= first.1),
                diagnostic::BATTERY_VOLTAGES,
                place(section.charge_limit.as_ref()),
                "the charge limit is not above the voltage of an empty cell",
                "write the voltage to which one cell is charged, as \"4.2 V\"".to_owned(),
            ),
            (
                section.charge_temperature.as_ref().is_some_and(|at| at.value.0 >= at.value.1),
                diagnostic::BATTERY_VOLTAGES,
                place(section.charge_temperature.as_ref()),
                "the coldest charging temperature is not below the hottest",
                "write the coldest first, as [\"0 C\", \"45 C\"]".to_owned(),
            ),
        ];
        let mut sound = true;
        for (_, code, span, message, help) in misfits.into_iter().filter(|misfit| misfit.0) {
            self.found.error(code, &span.unwrap_or_else(|| section.span.clone()), message, help);
            sound = false;
        }
        sound.then_some(())
    }
}

fn place<T>(at: Option<&At<T>>) -> Option<Range<usize>> {
    at.map(|at| at.span.clone())
}

fn scaled<Q: Quantity>(one: Uncertain<Q>, factor: f64) -> Uncertain<Q> {
    Uncertain { nominal: Q::from_si(one.nominal.si() * factor), spread_si: one.spread_si * factor }
}

fn ageing(section: &AgeingSection) -> Option<Ageing> {
    Some(Ageing {
        first_year_at_25c: section.first_year_at_25c.as_ref()?.value,
        at_full_charge: section.at_full_charge.as_ref()?.value,
        doubles_every_k: section.doubles_every_k.as_ref()?.value,
        time_exponent: section.time_exponent.as_ref()?.value,
        per_100_cycles: section.per_100_cycles.as_ref()?.value,
    })
}

/// State of charge at which the open-circuit curve reaches a voltage, and the voltage at a state of charge; straight
/// lines between the rows.
pub(super) fn charge_at(curve: &[(Share, Voltage)], voltage: Voltage) -> Share {
    let points: Vec<(f64, f64)> =
        curve.iter().map(|(charge, volts)| (volts.volts(), charge.fraction())).collect();
    Share::from_fraction(interpolate(&points, voltage.volts()))
}

/// Open-circuit voltage at a state of charge.
pub(super) fn voltage_at(curve: &[(Share, Voltage)], charge: Share) -> Voltage {
    let points: Vec<(f64, f64)> =
        curve.iter().map(|(charge, volts)| (charge.fraction(), volts.volts())).collect();
    Voltage::from_volts(interpolate(&points, charge.fraction()))
}

/// Straight lines between points whose first coordinate ascends; the ends hold outside.
pub(super) fn interpolate(points: &[(f64, f64)], x: f64) -> f64 {
    let after = points.partition_point(|point| point.0 <= x);
    match (after.checked_sub(1).and_then(|before| points.get(before)), points.get(after)) {
        (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0),
        (Some(end), None) | (None, Some(end)) => end.1,
        (None, None) => 0.0,
    }
}
