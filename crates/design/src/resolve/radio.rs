//! Radio, region and receiver.

use super::Resolver;
use super::battery::interpolate;
use super::channels::dwells;
use crate::diagnostic;
use crate::file::part::{RadioSection, ReceiverSection};
use crate::message::Ceiling;
use crate::node::RadioUse;
use crate::part::{Radio, Receiver};
use crate::quantity::{Current, Dbm, Quantity, Share, Uncertain};
use crate::region::{Modulation, Region};
use crate::section::At;
use std::ops::Range;

impl Resolver<'_> {
    pub(super) fn radio(&mut self, written: &RadioSection) -> Option<RadioUse> {
        let (section, origin) = self.filled(written, "radio")?;
        let region = section.region.as_ref().and_then(|name| self.region(name));
        let written_rates = self.data_rates(&section, region.as_ref());
        let channels = region.as_ref().and_then(|region| {
            let used = written_rates.as_deref()?;
            let channels = self.channels(&section, region, used)?;
            let allowed = self.allowed_rates(&section, region, used, &channels)?;
            Some((channels, allowed))
        });
        let transmit = section.transmit.as_ref().map(|at| at.value.0.clone());
        let transmit_current = self.transmit_current(section.power.as_ref(), transmit.as_deref());
        let radio = Radio {
            name: origin.name,
            title: origin.title,
            transmit: transmit?,
            receive: section.receive?.value,
            wait: section.wait?.value,
            sleep: section.sleep?.value,
            standby: section.standby?.value,
            window_symbols: section.window_symbols?.value,
            source: origin.source,
        };
        let (channels, allowed_rates) = channels?;
        let written_rates = written_rates?;
        let adaptive = written_rates.is_empty();
        let slowest = allowed_rates.first().map(|rate| (*rate, Share::from_fraction(1.0)));
        Some(RadioUse {
            power: section.power?.value,
            antenna_gain: section.antenna_gain?.value,
            antenna_height: section.antenna_height?.value,
            adaptation_margin: section.adaptation_margin.filter(|_| adaptive).map(|at| at.value),
            cable_loss: section.cable_loss?.value,
            channels,
            allowed_rates,
            dwell_limit: section.dwell_limit?.value,
            airtime_allowance_per_day: section.airtime_allowance_per_day.map(|at| at.value),
            radio,
            region: region?,
            data_rates: if adaptive { slowest.into_iter().collect() } else { written_rates },
            transmit_current: transmit_current?,
            join_retry: section.join_retry?.value,
        })
    }

    fn region(&mut self, name: &At<String>) -> Option<Region> {
        let region = Region::builtin(&name.value);
        if region.is_none() {
            let names = Region::names();
            let list = format!("it is one of {}", names.join(", "));
            let help = diagnostic::nearest(&name.value, names.iter().copied())
                .map_or(list.clone(), |near| format!("did you mean \"{near}\"? {list}"));
            let message = format!("there is no region `{}`", crate::quantity::shortened(&name.value));
            self.found.error(diagnostic::UNKNOWN_REGION, &name.span, message, help);
        }
        region
    }

    /// The data rates in use; none where the network adapts them.
    fn data_rates(&mut self, section: &RadioSection, region: Option<&Region>) -> Option<Vec<(u8, Share)>> {
        let (rates, span) = match (&section.data_rate, &section.data_rates) {
            (Some(rate), None) => (vec![(rate.value.0, Share::from_fraction(1.0))], rate.span.clone()),
            (None, Some(rates)) => (rates.value.0.clone(), rates.span.clone()),
            (Some(_), Some(rates)) => {
                let help = "write `data_rate` if all uplinks have the same, else `data_rates`";
                self.found.error(
                    diagnostic::ONE_OF,
                    &rates.span,
                    "both `data_rate` and `data_rates` are written",
                    help,
                );
                return None;
            }
            (None, None) if !section.unreadable.is_empty() => return None,
            (None, None) => {
                if !self.file.writes("gateway") {
                    let remark =
                        "no data rate and no gateway: taken for the slowest that the network may ask for";
                    self.doubt("radio.data_rate", remark);
                }
                return Some(Vec::new());
            }
        };
        let region = region?;
        let known = rates.iter().map(|(rate, _)| self.known_rate(*rate, region, section, &span));
        let known = known.collect::<Vec<_>>();
        known.into_iter().all(|known| known).then_some(rates)
    }

    pub(super) fn known_rate(
        &mut self,
        rate: u8,
        region: &Region,
        section: &RadioSection,
        span: &Range<usize>,
    ) -> bool {
        let newer = section.newer_rates.as_ref().is_some_and(|at| at.value);
        let carries = |rate: u8, dwell: bool| Ceiling::up(region, rate, dwell).bytes > 0;
        let usable = |(known, modulation): &&(u8, Modulation)| {
            *modulation != Modulation::LrFhss
                && (newer || !modulation.is_newer())
                && carries(*known, dwells(section))
        };
        if region.data_rates.iter().filter(usable).any(|(known, _)| *known == rate) {
            return true;
        }
        let names: Vec<String> =
            region.data_rates.iter().filter(usable).map(|(known, _)| format!("DR{known}")).collect();
        let has = format!("it has {} for uplinks", names.join(", "));
        let (code, message, help) = match region.modulation(rate) {
            Some(Modulation::LrFhss) => (
                diagnostic::NEWER_RATE,
                format!("DR{rate} is frequency-hopping (LR-FHSS) in {}", region.name),
                has,
            ),
            Some(modulation) if modulation.is_newer() => (
                diagnostic::NEWER_RATE,
                format!("DR{rate} of {} is one that only newer networks hear", region.name),
                format!("write `newer_rates = true` if yours does; else {has}"),
            ),
            Some(_) if carries(rate, false) => (
                diagnostic::DATA_RATE,
                format!(
                    "DR{rate} of {} carries nothing while a transmission may last 400 ms at most",
                    region.name
                ),
                format!("write `dwell_limit = false` if your network lifts that limit; else {has}"),
            ),
            _ => (diagnostic::DATA_RATE, format!("DR{rate} can't be used in {}", region.name), has),
        };
        self.found.error(code, span, message, help);
        false
    }

    fn transmit_current(
        &mut self,
        power: Option<&At<Dbm>>,
        table: Option<&[(Dbm, Current)]>,
    ) -> Option<Uncertain<Current>> {
        let (power, table) = (power?, table?);
        let (first, last) = (table.first()?.0, table.last()?.0);
        if power.value < first || power.value > last {
            let message = format!("the radio's table has no current at {}", power.value.text());
            let help = format!(
                "write a power from \"{}\" to \"{}\", or add a measured row to `transmit`",
                first.text(),
                last.text()
            );
            self.found.error(diagnostic::RADIO_POWER, &power.span, message, help);
            return None;
        }
        let points: Vec<(f64, f64)> =
            table.iter().map(|(power, current)| (power.dbm(), current.amperes())).collect();
        Some(Uncertain::exact(Current::from_amperes(interpolate(&points, power.value.dbm()))))
    }

    fn check_fix_times(&mut self, section: &ReceiverSection) {
        let (Some(hot), Some(warm), Some(cold)) = (&section.hot, &section.warm, &section.cold) else {
            return;
        };
        if hot.value > warm.value || warm.value > cold.value {
            let span = if hot.value > warm.value { &hot.span } else { &warm.span };
            let message = "`hot`, `warm` and `cold` do not ascend";
            let help = "the more a receiver has to find out, the longer it takes: check the three times";
            self.found.error(diagnostic::FIX_TIMES, span, message, help);
        }
    }

    pub(super) fn receiver(&mut self, written: &ReceiverSection) -> Option<Receiver> {
        let (section, origin) = self.filled(written, "receiver")?;
        self.check_fix_times(&section);
        Some(Receiver {
            name: origin.name,
            title: origin.title,
            acquire: section.acquire?.value,
            hot: section.hot?.value,
            warm: section.warm?.value,
            cold: section.cold?.value,
            ephemeris_life: section.ephemeris_life?.value,
            backup: section.backup.map(|at| at.value),
            source: origin.source,
        })
    }
}
