//! What the page must know of the site beside its log: names, places, units, and what is shown of positions.

use std::collections::{BTreeMap, BTreeSet};

use design::serve::Answers;
use logbook::export::Labels;
use logbook::people::Sight;
use logbook::readings::Kind;
use logbook::received::Moment;
use logbook::registry::{Date, Node};
use logbook::store::setup::Site;
use wire::identity::{DevEui, GatewayEui};

use crate::input::fleet;

/// What is known of a site.
#[derive(Clone, Debug, Default)]
pub(crate) struct Known {
    /// All rows of the registry.
    pub(crate) rows: Vec<Node>,
    /// The kinds of its nodes.
    pub(crate) kinds: Vec<Kind>,
    /// Names, units and places.
    pub(crate) labels: Labels,
    /// Devices whose keys are here: they can be told something.
    pub(crate) own: BTreeSet<DevEui>,
    /// Sources whose networks can be asked to tell their nodes something.
    pub(crate) outlets: BTreeSet<String>,
    /// Whether nodes are told what people want.
    pub(crate) answers_all: bool,
    gateways: BTreeMap<GatewayEui, String>,
    /// What people who may only read see of positions, by name.
    sights: BTreeMap<String, Sight>,
}

/// Of a node whose place in the site file is not known: nothing is shown of where it is.
const NOTHING: Sight = Sight { precision_m: 100_000.0, span: 0 };

impl Known {
    /// Of a site and what was set up for it.
    pub(crate) fn of(site: &fleet::Site, setup: &Site) -> Self {
        let rows = &setup.registry;
        let kinds: Vec<Kind> =
            site.texts().map(|(_, design, text)| Kind::new(design, text.to_owned())).collect();
        let sights = site.fleet.nodes.iter().map(|placed| {
            #[expect(clippy::cast_possible_truncation, reason = "at most 50 years, by its rule")]
            let span = (placed.shown.no_older_than.seconds() * 1e6) as Moment;
            (placed.name.clone(), Sight { precision_m: placed.shown.precision.metres(), span })
        });
        let sights = sights.collect();
        let outlets = site.fleet.sources.iter().filter(|source| source.outlet.is_some());
        let answers = site.fleet.serve.as_ref().map(|serve| serve.gateways.answers);
        Self {
            rows: rows.clone(),
            labels: labels(site, rows, &kinds),
            kinds,
            own: setup.keys.keys().copied().collect(),
            outlets: outlets.map(|source| source.name.clone()).collect(),
            answers_all: answers == Some(Answers::All),
            gateways: setup.gateways.iter().map(|(name, eui)| (*eui, name.clone())).collect(),
            sights,
        }
    }

    /// What people call a gateway; its identity where the site file does not name it.
    pub(crate) fn gateway(&self, eui: GatewayEui) -> String {
        self.gateways.get(&eui).cloned().unwrap_or_else(|| eui.to_string())
    }

    /// What people who may only read see of the positions of a board.
    pub(crate) fn sight(&self, dev_eui: &str) -> Sight {
        let name = self.labels.names.get(dev_eui);
        name.and_then(|name| self.sights.get(name)).copied().unwrap_or(NOTHING)
    }

    /// The boards that bore a name, each with the time for which it did, the oldest first.
    pub(crate) fn boards(&self, name: &str) -> Vec<(&Node, Moment, Moment)> {
        let start =
            |day: Date| Moment::try_from(day.unix_seconds()).map_or(Moment::MAX, |second| second * 1_000_000);
        let mut boards: Vec<_> = self
            .rows
            .iter()
            .filter(|row| row.name == name)
            .map(|row| (row, start(row.from), row.until.map_or(Moment::MAX, start)))
            .collect();
        boards.sort_by_key(|(_, from, _)| *from);
        if let Some((_, from, _)) = boards.first_mut() {
            // What was heard before it was registered is its own as well.
            *from = Moment::MIN;
        }
        boards
    }

    /// The board that bears a name now, or bore it last.
    pub(crate) fn board(&self, name: &str) -> Option<DevEui> {
        self.boards(name).last().map(|(row, ..)| row.dev_eui)
    }
}

/// Names and places by the registry, else by the plan; units by the designs.
pub(crate) fn labels(site: &fleet::Site, rows: &[Node], kinds: &[Kind]) -> Labels {
    let mut labels = Labels::default();
    for row in rows {
        let dev_eui = row.dev_eui.to_string();
        labels.names.insert(dev_eui.clone(), row.name.clone());
        let planned = site.fleet.nodes.iter().find(|placed| placed.name == row.name);
        let planned = planned.map(|placed| (placed.latitude, placed.longitude));
        let stands = row.place.map(|place| (place.latitude, place.longitude)).or(planned);
        if let Some((north, east)) = stands {
            labels.places.insert(dev_eui, (north.degrees(), east.degrees()));
        }
    }
    for kind in kinds {
        for message in &kind.messages {
            for column in &message.columns {
                let key = (kind.name.clone(), message.name.clone(), column.name.to_string());
                labels.units.insert(key, column.unit.to_string());
            }
        }
    }
    labels
}
