//! The nodes of one site: where each stands, of which kind it is, and what hears them all.

use crate::change::{Refused, first_error};
use crate::diagnostic::{self, Diagnostic, Diagnostics};
use crate::file::FleetFile;
use crate::file::fleet::{FleetSection, PlacedSection, ShownSection};
use crate::file::node::RootSection;
use crate::file::surroundings::{GatewaySection, GroundSection, MayStandSection};
use crate::file::value::Named;
use crate::node::Design;
use crate::quantity::{Angle, Duration, Length};
use crate::resolve::{Resolved, serve, surroundings, watch};
use crate::section::{At, defaults};
use crate::serve::{Onward, Serve, Source};
use crate::surroundings::Surroundings;
use crate::watch::{Area, Tell, WatchRule};
use std::collections::BTreeMap;

/// A site: its nodes, gateways and ground.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Fleet {
    /// What people call it.
    pub name: String,
    /// A remark shown under the name.
    pub note: Option<String>,
    /// Folder with the identities of its nodes, as the file names it.
    pub registry: Option<String>,
    /// Zone of its local time, by its name in the IANA database; `None`: UTC.
    pub time_zone: Option<String>,
    /// How its log works.
    pub serve: Option<Serve>,
    /// Other networks whose messages it takes.
    pub sources: Vec<Source>,
    /// Where its readings are handed on.
    pub onward: Vec<Onward>,
    /// What is watched for, beside the rules that hold for every node.
    pub rules: Vec<WatchRule>,
    /// Ground that nodes are not to leave.
    pub areas: Vec<Area>,
    /// Who is told of alarms.
    pub tells: Vec<Tell>,
    /// What hears the nodes.
    pub surroundings: Surroundings,
    /// The nodes in the order of the file.
    pub nodes: Vec<Placed>,
    gateway: Option<At<Named<GatewaySection>>>,
    may_stand: Option<At<Named<MayStandSection>>>,
    ground: Option<At<GroundSection>>,
}

/// A node at its place.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Placed {
    /// Its key in the file.
    pub name: String,
    /// The design file of its kind, as the site file names it.
    pub kind: String,
    /// North positive.
    pub latitude: Angle,
    /// East positive.
    pub longitude: Angle,
    /// What people who may only read see of its positions.
    pub shown: Shown,
    section: PlacedSection,
}

/// What people who may only read see of the positions that a node sends.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Shown {
    /// Positions are shown to so much; none: as they are.
    pub precision: Length,
    /// Older ones are not shown.
    pub no_older_than: Duration,
}

/// A site without errors, and what is doubtful about its file.
#[derive(Clone, Debug)]
pub struct ResolvedFleet {
    /// The site.
    pub fleet: Fleet,
    /// What probably was not meant, in the order of the file.
    pub warnings: Vec<Diagnostic>,
}

/// Resolves a site's file; the design files of its kinds are not looked at.
///
/// # Errors
/// All problems of the file, warnings included, in the order of the text.
pub fn resolve(file: &FleetFile) -> Result<ResolvedFleet, Vec<Diagnostic>> {
    let mut found = Diagnostics::default();
    found.append(file.found.iter().cloned());
    match file.root.as_ref().and_then(|root| fleet(root, &mut found)) {
        Some(fleet) if !found.has_errors() => Ok(ResolvedFleet { fleet, warnings: found.into_sorted() }),
        _ => Err(found.into_sorted()),
    }
}

fn fleet(root: &FleetSection, found: &mut Diagnostics) -> Option<Fleet> {
    twice_the_same_eui(root, found);
    surveyed_strangers(root, found);
    let serve = root.serve.as_ref().map(|at| serve::serve(&at.value, found));
    let sources = serve::sources(root.source.as_ref(), found);
    let onward = serve::onward(root.onward.as_ref(), found);
    let rules = watch::rules(root.watch.as_ref(), found);
    let areas = watch::areas(root.area.as_ref(), found);
    let tells = watch::tells(root.tell.as_ref(), found);
    let mut gateway = root.gateway.clone();
    for (_, section) in gateway.iter_mut().flat_map(|at| &mut at.value.0) {
        section.region = section.region.take().or_else(|| root.region.clone());
    }
    let gateways = gateway.as_ref().map(|at| &at.value);
    let nodes = root.node.as_ref()?;
    Some(Fleet {
        name: root.name.as_ref()?.value.clone(),
        note: root.note.as_ref().map(|at| at.value.clone()),
        registry: root.registry.as_ref().map(|at| at.value.clone()),
        time_zone: root.time_zone.as_ref().map(|at| at.value.0.clone()),
        serve: match serve {
            Some(serve) => Some(serve?),
            None => None,
        },
        sources,
        onward,
        rules,
        areas,
        tells,
        surroundings: surroundings::resolve(
            gateways,
            root.may_stand.as_ref().map(|at| &at.value),
            root.ground.as_ref().map(|at| &at.value),
            None,
            found,
        )?,
        nodes: nodes
            .value
            .0
            .iter()
            .map(|(name, section)| placed(&name.value, section))
            .collect::<Option<_>>()?,
        gateway,
        may_stand: root.may_stand.clone(),
        ground: root.ground.clone(),
    })
}

/// Two gateways can't have one identity.
fn twice_the_same_eui(root: &FleetSection, found: &mut Diagnostics) {
    let sections = root.gateway.iter().flat_map(|at| &at.value.0);
    let mut known = BTreeMap::new();
    for (name, eui) in sections.filter_map(|(name, section)| Some((name, section.eui.as_ref()?))) {
        if let Some(first) = known.insert(eui.value.0, &name.value) {
            let message = format!("`{}` has the identity of `{first}`", name.value);
            found.error(diagnostic::EUI, &eui.span, message, "write the one that this gateway shows");
        }
    }
}

/// A survey can't have been at a node that the site hasn't.
fn surveyed_strangers(root: &FleetSection, found: &mut Diagnostics) {
    let placed: Vec<&str> =
        root.node.iter().flat_map(|at| &at.value.0).map(|(name, _)| name.value.as_str()).collect();
    let surveys = root.gateway.iter().flat_map(|at| &at.value.0).filter_map(|(_, at)| at.survey.as_ref());
    for (name, _) in surveys.flat_map(|at| surroundings::nodes(&at.value)) {
        if !placed.contains(&name.value.as_str()) {
            let message = format!("the site has no node `{}`", name.value);
            let help = diagnostic::nearest(&name.value, placed.iter().copied()).map_or_else(
                || "take it out".to_owned(),
                |near| format!("did you mean `{near}`? else take it out"),
            );
            found.error(diagnostic::SURVEY, &name.span, message, help);
        }
    }
}

fn placed(name: &str, section: &PlacedSection) -> Option<Placed> {
    Some(Placed {
        name: name.to_owned(),
        kind: section.kind.as_ref()?.value.clone(),
        latitude: section.latitude.as_ref()?.value,
        longitude: section.longitude.as_ref()?.value,
        shown: match &section.shown {
            Some(shown) => self::shown(&shown.value)?,
            None => self::shown(&defaults(&section.span).value)?,
        },
        section: section.clone(),
    })
}

fn shown(section: &ShownSection) -> Option<Shown> {
    let (precision, no_older_than) =
        (section.precision.as_ref()?.value, section.no_older_than.as_ref()?.value);
    Some(Shown { precision, no_older_than })
}

impl Fleet {
    /// The design of a node as it stands here: its kind with the keys of the site file written over those of its own.
    ///
    /// # Errors
    /// The kind can't stand there: the first thing that is found wrong.
    pub fn design(&self, node: &Placed, kind: &Design) -> Result<Design, Refused> {
        self.placed(node, kind).map(|resolved| resolved.design)
    }

    /// The same, with what probably was not meant there.
    ///
    /// # Errors
    /// The kind can't stand there: the first thing that is found wrong.
    pub fn placed(&self, node: &Placed, kind: &Design) -> Result<Resolved, Refused> {
        let mut file = kind.written.file.clone();
        let wrong = |(message, help)| Refused { key: format!("node.{}", node.name), message, help };
        if let Some(root) = &mut file.root {
            root.name = Some(At { value: node.name.clone(), span: node.section.span.clone() });
            root.gateway.clone_from(&self.gateway);
            root.may_stand.clone_from(&self.may_stand);
            root.ground.clone_from(&self.ground);
            node.section.place(root);
        }
        file.places.insert("gateway".to_owned(), node.section.span.clone());
        if node.section.horizon.is_some() {
            file.places.retain(|key, _| !IN_LEAF.contains(&key.as_str()));
        }
        crate::resolve::resolve(&kind.written.catalog, &file).map_err(|found| wrong(first_error(found)))
    }
}

/// Nodes of one kind share a sky up to so many degrees and metres of height from the first of them. Within it the climate
/// differs by less than what is not known of it: by 0.3 K with height, where a site is known to 1 K.
const SHARED_SKY_DEG: f64 = 0.05;
const SHARED_SKY_M: f64 = 50.0;

impl Fleet {
    /// For each node the place in the file of the one whose sky it shares: the first of its kind with the same skyline and
    /// mounting that stands near enough and shares no other's; itself if there is none before it.
    #[must_use]
    pub fn skies(&self) -> Vec<usize> {
        let mut skies: Vec<usize> = Vec::with_capacity(self.nodes.len());
        for (index, node) in self.nodes.iter().enumerate() {
            let mut leaders = (0..index).filter(|earlier| skies[*earlier] == *earlier);
            let shared = leaders.find(|leader| node.shares_sky_with(&self.nodes[*leader]));
            skies.push(shared.unwrap_or(index));
        }
        skies
    }
}

impl Placed {
    fn shares_sky_with(&self, other: &Self) -> bool {
        let away_deg = |one: Angle, other: Angle| (one.degrees() - other.degrees()).abs();
        let is_near = away_deg(self.latitude, other.latitude) <= SHARED_SKY_DEG
            && away_deg(self.longitude, other.longitude) <= SHARED_SKY_DEG;
        let height_m = |node: &Self| node.section.elevation.as_ref().map(|at| at.value.metres());
        let is_level = match (height_m(self), height_m(other)) {
            (Some(one), Some(other)) => (one - other).abs() <= SHARED_SKY_M,
            // What is left out is the height in the file of the kind.
            (one, other) => one.is_none() && other.is_none(),
        };
        is_near && is_level && self.kind == other.kind && self.section.mounts_like(&other.section)
    }
}

/// Keys that go when a site file gives the skyline: that of the months in leaf is that of the kind's place.
const IN_LEAF: [&str; 2] = ["site.horizon_in_leaf", "site.months_in_leaf"];

impl PlacedSection {
    fn mounts_like(&self, other: &Self) -> bool {
        let of = |section: &Self| {
            let skyline = section.horizon.as_ref().map(|at| at.value.0.clone());
            let tilt = section.tilt.as_ref().map(|at| at.value);
            (skyline, tilt, section.azimuth.as_ref().map(|at| at.value.0))
        };
        of(self) == of(other)
    }

    /// Writes what is stated here over what the file of the kind says.
    fn place(&self, root: &mut RootSection) {
        if let Some(site) = root.site.as_mut().map(|at| &mut at.value) {
            site.latitude.clone_from(&self.latitude);
            site.longitude.clone_from(&self.longitude);
            over(&mut site.elevation, self.elevation.as_ref());
            over(&mut site.may_move, self.may_move.as_ref());
            if self.horizon.is_some() {
                site.horizon.clone_from(&self.horizon);
                (site.horizon_in_leaf, site.months_in_leaf) = (None, None);
            }
        }
        if let Some(panel) = root.panel.as_mut().map(|at| &mut at.value) {
            over(&mut panel.tilt, self.tilt.as_ref());
            over(&mut panel.azimuth, self.azimuth.as_ref());
        }
        if let Some(radio) = root.radio.as_mut().map(|at| &mut at.value) {
            over(&mut radio.antenna_height, self.antenna_height.as_ref());
            over(&mut radio.antenna_gain, self.antenna_gain.as_ref());
            over(&mut radio.place, self.place.as_ref());
            over(&mut radio.building, self.building.as_ref());
            over(&mut radio.surroundings, self.surroundings.as_ref());
            over(&mut radio.clearing, self.clearing.as_ref());
            over(&mut radio.antenna, self.antenna.as_ref());
        }
        if self.mounting.is_some() {
            let ground = root.ground.get_or_insert_with(|| defaults(&self.span));
            over(&mut ground.value.mounting, self.mounting.as_ref());
        }
    }
}

/// What is written takes the place of what was.
fn over<T: Clone>(place: &mut Option<At<T>>, written: Option<&At<T>>) {
    if let Some(written) = written {
        *place = Some(written.clone());
    }
}
