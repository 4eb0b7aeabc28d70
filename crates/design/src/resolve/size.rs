//! What may be chosen when the node is sized.

use super::Resolver;
use crate::catalog::Catalog;
use crate::diagnostic;
use crate::file::node::{RootSection, SizeSection};
use crate::file::part::{BatterySection, ChargerSection, PanelSection};
use crate::file::value::Pair;
use crate::quantity::Quantity;
use crate::section::{At, Field, PartSection};
use crate::sizing::Sizing;

impl Resolver<'_> {
    pub(super) fn sizing(&mut self, root: &RootSection) -> Option<Sizing> {
        let Some(section) = root.size.as_ref().map(|at| &at.value) else { return Some(Sizing::default()) };
        let panels = self.part_names::<PanelSection>(section.panels.as_ref());
        let batteries = self.part_names::<BatterySection>(section.batteries.as_ref());
        let chargers = self.part_names::<ChargerSection>(section.chargers.as_ref());
        let capacities = self.range(section.capacities.as_ref());
        let intervals = self.range(section.intervals.as_ref());
        let activity = self.sized_activity(root, section);
        if let Some(empty) = section.tilts.as_ref().filter(|at| at.value.is_empty()) {
            self.nothing_to_choose(empty);
        }
        Some(Sizing {
            panels: panels?,
            batteries: batteries?,
            chargers: chargers?,
            capacities: capacities?,
            intervals: intervals?,
            tilts: section.tilts.as_ref().map(|at| at.value.clone()).unwrap_or_default(),
            activity: activity?,
            at_least_per_day: section.at_least_per_day.as_ref().map(|at| at.value),
            prefer: section.prefer.as_ref().map(|at| at.value).unwrap_or_default(),
            prices: self.prices(section)?,
        })
    }

    /// Names of parts that are there; a list without any leaves nothing to choose.
    fn part_names<S: PartSection + Field>(
        &mut self,
        written: Option<&At<Vec<At<String>>>>,
    ) -> Option<Vec<String>> {
        let Some(list) = written else { return Some(Vec::new()) };
        if list.value.is_empty() {
            self.nothing_to_choose(list);
            return None;
        }
        let known = list
            .value
            .iter()
            .map(|name| self.catalog.part::<S>(name, &mut self.found).map(|_| name.value.clone()));
        known.collect::<Vec<_>>().into_iter().collect()
    }

    fn nothing_to_choose<T>(&mut self, at: &At<T>) {
        let help = "name what may be chosen, or leave the key out";
        self.found.error(diagnostic::SIZE_RANGE, &at.span, "there is nothing to choose from", help);
    }

    /// A range from its lower to its upper end.
    #[expect(clippy::option_option, reason = "outside: whether it is good, inside: whether it is written")]
    fn range<Q: Quantity>(&mut self, written: Option<&At<Pair<Q>>>) -> Option<Option<(Q, Q)>> {
        let Some(At { value: Pair(low, high), span }) = written else { return Some(None) };
        if low <= high {
            return Some(Some((*low, *high)));
        }
        let message = format!("the range ends at {} before it begins at {}", high.text(), low.text());
        let help = format!("write [\"{}\", \"{}\"]", high.text(), low.text());
        self.found.error(diagnostic::SIZE_RANGE, span, message, help);
        None
    }

    #[expect(clippy::option_option, reason = "outside: whether it is good, inside: whether it is written")]
    fn sized_activity(&mut self, root: &RootSection, section: &SizeSection) -> Option<Option<String>> {
        let Some(name) = &section.activity else { return Some(None) };
        let loads = root.load.iter().flat_map(|at| &at.value.0);
        let activities = loads.flat_map(|(_, load)| load.activity.iter().flat_map(|at| &at.value.0));
        let names: Vec<&str> = activities.map(|(name, _)| name.value.as_str()).collect();
        if names.contains(&name.value.as_str()) {
            return Some(Some(name.value.clone()));
        }
        let message = format!("there is no activity `{}`", crate::quantity::shortened(&name.value));
        let help = format!("the activities are {}", names.join(", "));
        self.found.error(diagnostic::SIZE_RANGE, &name.span, message, help);
        None
    }

    /// Prices of parts of any kind.
    fn prices(&mut self, section: &SizeSection) -> Option<Vec<(String, f64)>> {
        let Some(list) = &section.prices else { return Some(Vec::new()) };
        let mut good = true;
        for (name, price) in &list.value {
            let shipped = ["panel", "battery", "charger"]
                .iter()
                .any(|kind| Catalog::names(kind).contains(&name.value.as_str()));
            if !shipped && !crate::file::is_path(&name.value) {
                let message =
                    format!("there is no part `{}` to have a price", crate::quantity::shortened(&name.value));
                let help = "name a panel, battery or charger of the catalogue, or a part file";
                self.found.error(diagnostic::SIZE_RANGE, &name.span, message, help);
                good = false;
            }
            if !(price.is_finite() && *price >= 0.0) {
                let message = format!("a price of {price} makes no sense");
                self.found.error(
                    diagnostic::SIZE_RANGE,
                    &name.span,
                    message,
                    "write a price of zero or more",
                );
                good = false;
            }
        }
        good.then(|| list.value.iter().map(|(name, price)| (name.value.clone(), *price)).collect())
    }
}
