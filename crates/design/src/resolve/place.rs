//! Site, promise, box, cut-off and diary.

use super::Resolver;
use super::battery::{charge_at, voltage_at};
use crate::chemistry::Limits;
use crate::diagnostic;
use crate::file::node::{
    BufferSection, ClimateSection, CutoffSection, EnclosureSection, PromiseSection, RootSection, SiteSection,
    StaySection,
};
use crate::file::value::RegulatorWord;
use crate::node::{Buffer, Cutoff, Enclosure, InLeaf, Load, MonthlyClimate, Promise, Site, Stay};
use crate::part::{Battery, Regulator};
use crate::quantity::{Quantity, Share, Voltage};
use crate::section::Section;

/// How much more charge than at the cut-off the node waits for before it comes back, if the file does not say.
const RESTART_CHARGE: f64 = 0.1;
/// State of charge of a rechargeable battery as it is installed, if the file does not say.
const USUAL_CHARGE: f64 = 0.9;
/// On a flat curve ten percent of charge may be no voltage at all; at least this much is waited for \[V\].
const RESTART_VOLTS: f64 = 0.02;
/// How far the sun stands from the equator at a solstice \[°\].
const OBLIQUITY_DEG: f64 = 23.44;

impl Resolver<'_> {
    pub(super) fn site(&mut self, section: &SiteSection) -> Option<Site> {
        if section.snow_days.is_none() {
            self.doubt(
                "site.snow_days",
                "not stated: none is assumed with a weather file, a guess from cold and rain without one",
            );
        }
        for key in ["horizon", "horizon_in_leaf"] {
            self.open_sky(section, key);
        }
        Some(Site {
            latitude: section.latitude.as_ref()?.value,
            longitude: section.longitude.as_ref()?.value,
            elevation: section.elevation.as_ref()?.value,
            may_move: section.may_move.as_ref().map(|at| at.value),
            horizon: section.horizon.as_ref()?.value.0.clone(),
            in_leaf: self.in_leaf(section),
            albedo: section.albedo.as_ref()?.value,
            snow_days: section.snow_days.as_ref().map(|days| days.value.0),
        })
    }

    fn in_leaf(&mut self, section: &SiteSection) -> Option<InLeaf> {
        let keys = ["horizon_in_leaf", "months_in_leaf"];
        if let (Some(horizon), Some(months)) = (&section.horizon_in_leaf, &section.months_in_leaf) {
            return Some(InLeaf { horizon: horizon.value.0.clone(), months: months.value.by_month() });
        }
        let [horizon, months] = keys.map(|key| self.file.writes(&format!("site.{key}")));
        if horizon != months {
            let [written, missing] = if horizon { keys } else { [keys[1], keys[0]] };
            let span = self.file.span_of(&format!("site.{written}"));
            let help = format!("write `{missing}` too, or leave both out");
            self.found.error(diagnostic::LEAF, &span, format!("`{written}` stands alone"), help);
        }
        None
    }

    /// Warns of a skyline above which the sun never rises.
    fn open_sky(&mut self, section: &SiteSection, key: &str) {
        let written = if key == "horizon" { &section.horizon } else { &section.horizon_in_leaf };
        let (Some(written), Some(latitude)) = (written, &section.latitude) else { return };
        let lowest = written.value.0.iter().map(|(_, height)| height.degrees()).reduce(f64::min);
        let highest_sun = 90.0 - (latitude.value.degrees().abs() - OBLIQUITY_DEG).max(0.0);
        let Some(lowest) = lowest.filter(|lowest| *lowest >= highest_sun) else { return };
        let message = format!(
            "`{key}` is nowhere lower than {lowest:.0} deg, and the sun never rises above {highest_sun:.0} deg here"
        );
        let help = "heights are angles above eye level, seen from the panel: 0 deg for a free view, 5 to 20 deg for hills";
        self.found.warning(diagnostic::HORIZON_CLOSED, &written.span, message, help);
    }

    pub(super) fn promise(&mut self, section: &PromiseSection, battery: Option<&Battery>) -> Option<Promise> {
        let primary = battery.is_some_and(|battery| !battery.chemistry.rechargeable());
        let usual_charge = Share::from_fraction(if primary { 1.0 } else { USUAL_CHARGE });
        if let Some(battery) = battery.filter(|_| section.charge_at_installation.is_none()) {
            self.doubt("promise.charge_at_installation", assumed_charge(battery, usual_charge));
        }
        Some(Promise {
            unattended: section.unattended.as_ref()?.value,
            without_outage: section.without_outage.as_ref()?.value,
            installed: section.installed.as_ref().map(|at| (at.value.month, at.value.day)),
            charge_at_installation: section
                .charge_at_installation
                .as_ref()
                .map_or(usual_charge, |at| at.value),
            completeness: section.completeness.as_ref().map(|at| at.value),
            heard: section.heard.as_ref()?.value,
            freshness: section.freshness.as_ref().map(|at| at.value),
            visits_per_year: section.visits_per_year.as_ref().map(|at| at.value),
        })
    }

    pub(super) fn climate(section: &ClimateSection) -> Option<MonthlyClimate> {
        let air = section.air.as_ref().map(|at| at.value.0);
        Some(MonthlyClimate { sun_per_day: section.sun.as_ref()?.value.0, air })
    }

    pub(super) fn buffer(section: &BufferSection) -> Option<Buffer> {
        Some(Buffer {
            capacitance: section.capacitance.as_ref()?.value,
            esr: section.esr.as_ref()?.value,
            leakage: section.leakage.as_ref()?.value,
        })
    }

    pub(super) fn enclosure(&mut self, written: Option<&EnclosureSection>) -> Option<Enclosure> {
        for key in ["enclosure.sun_gain", "enclosure.sky_loss", "enclosure.lag"] {
            if !self.file.writes(key) {
                self.doubt(key, "that of a white box, from memory");
            }
        }
        let section = self.or_defaults(written);
        Some(Enclosure {
            sun_gain_k: section.sun_gain?.value.kelvin(),
            sky_loss_k: section.sky_loss?.value.kelvin(),
            lag: section.lag?.value,
        })
    }

    /// The section as written, or one of defaults alone.
    fn or_defaults<S: Section + Clone>(&mut self, written: Option<&S>) -> S {
        written.cloned().unwrap_or_else(|| {
            let mut section = S::empty(0..0);
            section.complete(&mut self.found);
            section
        })
    }

    pub(super) fn cutoff(
        &mut self,
        root: &RootSection,
        battery: Option<&Battery>,
        loads: Option<&[Load]>,
    ) -> Option<Cutoff> {
        let section: CutoffSection = self.or_defaults(root.cutoff.as_ref().map(|at| &at.value));
        if !self.file.writes("cutoff.stopped_current") {
            self.doubt("cutoff.stopped_current", "assumed");
        }
        let (battery, loads) = (battery?, loads?);
        self.regulators_can_run(root, battery)?;
        let needed = loads
            .iter()
            .map(|load| needs_volts(load.regulator))
            .fold(battery.empty_voltage.volts(), f64::max);
        let stops_below = section.stops_below.as_ref().map_or(Voltage::from_volts(needed), |at| at.value);
        let restarts_above = section
            .restarts_above
            .as_ref()
            .map_or_else(|| usual_restart(battery, stops_below), |at| at.value);
        let full = voltage_at(&battery.open_circuit, Share::from_fraction(1.0));
        let place = |key: &str| {
            if self.file.writes(key) { self.file.span_of(key) } else { self.file.span_of("battery") }
        };
        if stops_below >= full || restarts_above > full {
            let place = if stops_below >= full {
                place("cutoff.stops_below")
            } else {
                place("cutoff.restarts_above")
            };
            let message = format!(
                "the node needs {} to run and {} to come back, the full battery has {}",
                stops_below.text(),
                restarts_above.text(),
                full.text()
            );
            let help =
                "choose a regulator with a lower output, more cells in series, or lower limits in [cutoff]";
            self.found.error(diagnostic::CUTOFF_ABOVE_FULL, &place, message, help);
        } else if restarts_above <= stops_below {
            let message = format!(
                "the node stops below {} and would come back at {}",
                stops_below.text(),
                restarts_above.text()
            );
            let help =
                format!("write more than \"{}\" for `restarts_above`, or leave it out", stops_below.text());
            self.found.error(diagnostic::CUTOFF_ORDER, &place("cutoff.restarts_above"), message, help);
        }
        if section.stops_below.is_some() && stops_below.volts() + 1e-6 < needed {
            let message = format!(
                "the node stops below {}, but battery and regulators need {}",
                stops_below.text(),
                Voltage::from_volts(needed).text()
            );
            let help = "raise `stops_below`, or leave it out";
            self.found.warning(diagnostic::CUTOFF_TOO_LOW, &place("cutoff.stops_below"), message, help);
        }
        Some(Cutoff { stops_below, restarts_above, stopped_current: section.stopped_current?.value })
    }

    /// Whether the full battery can feed each regulator, whatever `[cutoff]` says; `None` after an error.
    fn regulators_can_run(&mut self, root: &RootSection, battery: &Battery) -> Option<()> {
        let mut sound = Some(());
        let full = voltage_at(&battery.open_circuit, Share::from_fraction(1.0));
        for (name, section) in root.regulator.iter().flat_map(|rows| &rows.value.0) {
            let (Some(output), Some(dropout)) = (&section.output, &section.dropout) else { continue };
            if section.kind.as_ref().is_some_and(|kind| kind.value == RegulatorWord::None) {
                continue;
            }
            let needed = output.value + dropout.value;
            if needed >= full {
                let message = format!(
                    "regulator `{}` needs {}, the full battery has {}",
                    name.value,
                    needed.text(),
                    full.text()
                );
                let help = "choose a lower output, or more cells in series";
                let span = if output.value >= full { &output.span } else { &dropout.span };
                self.found.error(diagnostic::CUTOFF_ABOVE_FULL, span, message, help);
                sound = None;
            }
        }
        sound
    }

    pub(super) fn diary(&mut self, root: &RootSection) -> Option<Vec<Stay>> {
        let sections = root.diary.as_ref().map_or(&[][..], |at| &at.value);
        let mut taken = [false; 366];
        sections
            .iter()
            .map(|section| {
                let stay = stay(section)?;
                if !Self::take_days(section, &mut taken) {
                    let help = "end one stay on the day before the next begins";
                    self.found.error(
                        diagnostic::DIARY_OVERLAP,
                        &section.span,
                        "this stay shares a day with one before it",
                        help,
                    );
                }
                Some(stay)
            })
            .collect()
    }

    /// Marks the days of a stay; false if one of them was taken.
    fn take_days(section: &StaySection, taken: &mut [bool; 366]) -> bool {
        let (Some(from), Some(to)) = (&section.from, &section.to) else { return true };
        let (first, last) = (from.value.day_of_leap_year(), to.value.day_of_leap_year());
        let in_stay = |day: usize| {
            if first <= last { (first..=last).contains(&day) } else { day >= first || day <= last }
        };
        let free = taken.iter().enumerate().all(|(day, taken)| !(*taken && in_stay(day)));
        taken.iter_mut().enumerate().for_each(|(day, taken)| *taken |= in_stay(day));
        free
    }
}

/// What is assumed of a battery whose charge at installation is not stated, and what a new one has.
fn assumed_charge(battery: &Battery, assumed: Share) -> String {
    let sold_at = Limits::of(battery.chemistry).sold_at.map(|share| {
        format!(
            "; new ones of this kind come with about {:.0} %, so charge it before it goes out",
            share.percent()
        )
    });
    format!("not stated: {:.0} % is assumed{}", assumed.percent(), sold_at.unwrap_or_default())
}

fn stay(section: &StaySection) -> Option<Stay> {
    Some(Stay {
        from: section.from.as_ref().map(|at| (at.value.month, at.value.day))?,
        to: section.to.as_ref().map(|at| (at.value.month, at.value.day))?,
        sky: section.sky.as_ref()?.value,
        moving: section.moving.as_ref().map(|at| (at.value.0, at.value.1)),
    })
}

fn needs_volts(regulator: Regulator) -> f64 {
    match regulator {
        Regulator::None => 0.0,
        Regulator::Ldo { output, dropout, .. } | Regulator::Buck { output, dropout, .. } => {
            (output + dropout).volts()
        }
    }
}

fn usual_restart(battery: &Battery, stops_below: Voltage) -> Voltage {
    let charge = charge_at(&battery.open_circuit, stops_below).fraction() + RESTART_CHARGE;
    let voltage = voltage_at(&battery.open_circuit, Share::from_fraction(charge));
    Voltage::from_volts(voltage.volts().max(stops_below.volts() + RESTART_VOLTS))
}
