//! What is promised of each node of the site, worked out once after the start, beside everything else.

use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, OnceLock, PoisonError, RwLock};

use design::node::Design;
use forecast::Progress;
use forecast::life::limits::{restarts_percent, stops_percent};
use forecast::sky::climate::Climate;
use forecast::sky::daylight;
use forecast::sky::sun::Observer;
use forecast::terrain::Place;
use report::ReportedDesign;
use report::chart::ground::Ground;
use report::page::promised::PromisedNode;
use tokio::sync::watch::Receiver;
use verdict::plan::{Effort, Weather, plan};
use verdict::reach::Reach;
use verdict::{Answer, law, site};

use crate::described::parts;
use crate::input::fleet;

/// The lives that the page tells of are those of `check`.
pub(super) const SEED: u64 = 1;

/// What is promised, as far as it is worked out.
#[derive(Debug)]
pub(crate) struct Promises {
    site: Arc<fleet::Site>,
    nodes: RwLock<BTreeMap<String, Result<PromisedNode, String>>>,
    ground: OnceLock<Option<Ground>>,
}

impl std::fmt::Debug for fleet::Site {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        formatter.debug_tuple("Site").field(&self.fleet.name).finish()
    }
}

/// Stops when the program does.
struct Until(Receiver<bool>);

impl Progress for Until {
    fn report(&self, _: usize, _: usize) {}

    fn stop(&self) -> bool {
        *self.0.borrow()
    }
}

impl Promises {
    /// Begins to work them out, on a thread of its own; it ends when the program is being stopped.
    pub(crate) fn begin(site: Arc<fleet::Site>, stopping: Receiver<bool>) -> io::Result<Arc<Self>> {
        let promises = Arc::new(Self { site, nodes: RwLock::default(), ground: OnceLock::new() });
        let working = Arc::clone(&promises);
        std::thread::Builder::new()
            .name("promise".to_owned())
            .spawn(move || working.work(&Until(stopping)))?;
        Ok(promises)
    }

    /// What is promised of a node; `None` until it is worked out, or where nobody planned the node.
    pub(crate) fn of(&self, name: &str) -> Option<PromisedNode> {
        let nodes = self.nodes.read().unwrap_or_else(PoisonError::into_inner);
        nodes.get(name).and_then(|promised| promised.as_ref().ok().cloned())
    }

    /// Whether a promise of this node is still to come.
    pub(crate) fn is_to_come(&self, name: &str) -> bool {
        let nodes = self.nodes.read().unwrap_or_else(PoisonError::into_inner);
        !nodes.contains_key(name) && self.site.designs().iter().any(|design| design.name == name)
    }

    /// How many promises are still to come.
    pub(crate) fn left(&self) -> usize {
        let done = self.nodes.read().unwrap_or_else(PoisonError::into_inner).len();
        self.site.designs().len().saturating_sub(done)
    }

    /// The ground under the site, drawn once; `None` where there is nothing to draw.
    pub(crate) fn ground(&self) -> Option<&Ground> {
        let draw = || {
            let nodes = self.site.designs().iter().map(|design| &design.site);
            let gateways = self.site.fleet.surroundings.gateways.iter();
            let places: Vec<Place> = nodes
                .map(|site| place(site.latitude.degrees(), site.longitude.degrees()))
                .chain(gateways.map(|at| place(at.latitude.degrees(), at.longitude.degrees())))
                .collect();
            Ground::around(&places, self.site.terrain.as_ref())
        };
        self.ground.get_or_init(draw).as_ref()
    }

    fn work(&self, until: &Until) {
        let designs: Vec<&Design> = self.site.designs().iter().collect();
        let reaches = site::reaches(&designs, self.site.terrain.as_ref(), SEED, 1);
        for (design, reach) in designs.into_iter().zip(reaches) {
            if until.stop() {
                return;
            }
            let promised = self.promise(design, reach, until);
            if until.stop() {
                return;
            }
            let mut nodes = self.nodes.write().unwrap_or_else(PoisonError::into_inner);
            nodes.insert(design.name.clone(), promised);
        }
    }

    fn promise(&self, design: &Design, reach: Reach, until: &Until) -> Result<PromisedNode, String> {
        let climate = self.site.climate(design).map_err(|failure| failure.in_a_line())?;
        let effort = Effort { lives: None, seed: SEED, threads: 1 };
        let life = plan(design, Weather::Climate(&climate), &reach.spots, effort, until);
        let law = law::judge(design, reach.spots.middle_state());
        let answer = Answer { life, law, reach, messages: Vec::new(), learnable: None };
        let verdicts = answer.verdicts();
        let plan = answer.life.clone();
        let subject = subject(design, answer, &climate);
        Ok(PromisedNode::of(&subject, &plan, verdicts))
    }
}

/// A place on the ground.
pub(super) fn place(latitude_deg: f64, longitude_deg: f64) -> Place {
    Place { latitude_deg, longitude_deg }
}

/// What a report must know of a placed node.
pub(super) fn subject(design: &Design, answer: Answer, climate: &Climate) -> ReportedDesign {
    let (site, link) = (&design.site, answer.reach.spots.middle_state().clone());
    let observer = Observer::new(site.latitude.degrees(), site.longitude.degrees(), site.elevation.metres());
    let solar_h = site.longitude.degrees() / 15.0;
    let hours = answer.life.hours.iter().map(|hour| hour.battery.celsius());
    ReportedDesign {
        file: String::new(),
        weather_file: None,
        drawn_from: Some(climate.source.clone()),
        name: design.name.clone(),
        note: None,
        latitude_deg: site.latitude.degrees(),
        daylight_h: observer.map(|observer| daylight::year(&observer, solar_h)).unwrap_or_default(),
        promise: design.promise.clone(),
        parts: parts(design),
        stops_percent: stops_percent(design, &link, hours),
        worst_stops_percent: Vec::new(),
        restarts_percent: restarts_percent(design),
        law: answer.law,
        reach: answer.reach,
        remedies: None,
        messages: answer.messages,
        learnable: answer.learnable,
        climate: None,
        doubts: Vec::new(),
        warnings: Vec::new(),
        lines: BTreeMap::new(),
    }
}
