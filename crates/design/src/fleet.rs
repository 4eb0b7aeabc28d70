//! The nodes of one site: where each stands, of which kind it is, and what hears them all.

use crate::diagnostic::{Diagnostic, Diagnostics};
use crate::file::FleetFile;
use crate::file::fleet::{FleetSection, PlacedSection};
use crate::file::value::Facing;
use crate::node::Design;
use crate::quantity::{Angle, Decibels, Length};
use crate::resolve::surroundings;
use crate::surroundings::Surroundings;

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
    /// What hears the nodes.
    pub surroundings: Surroundings,
    /// The nodes in the order of the file.
    pub nodes: Vec<Placed>,
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
    elevation: Option<Length>,
    horizon: Option<Vec<(Angle, Angle)>>,
    tilt: Option<Angle>,
    facing: Option<Facing>,
    antenna_height: Option<Length>,
    antenna_gain: Option<Decibels>,
    mounting: Option<Decibels>,
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
    match file.root.as_ref().and_then(fleet) {
        Some(fleet) if !found.has_errors() => Ok(ResolvedFleet { fleet, warnings: found.into_sorted() }),
        _ => Err(found.into_sorted()),
    }
}

fn fleet(root: &FleetSection) -> Option<Fleet> {
    let gateways = root.gateway.as_ref().map(|at| &at.value);
    let nodes = root.node.as_ref()?;
    Some(Fleet {
        name: root.name.as_ref()?.value.clone(),
        note: root.note.as_ref().map(|at| at.value.clone()),
        registry: root.registry.as_ref().map(|at| at.value.clone()),
        surroundings: surroundings::resolve(gateways, root.ground.as_ref().map(|at| &at.value))?,
        nodes: nodes
            .value
            .0
            .iter()
            .map(|(name, section)| placed(&name.value, section))
            .collect::<Option<_>>()?,
    })
}

fn placed(name: &str, section: &PlacedSection) -> Option<Placed> {
    Some(Placed {
        name: name.to_owned(),
        kind: section.kind.as_ref()?.value.clone(),
        latitude: section.latitude.as_ref()?.value,
        longitude: section.longitude.as_ref()?.value,
        elevation: section.elevation.as_ref().map(|at| at.value),
        horizon: section.horizon.as_ref().map(|at| at.value.0.clone()),
        tilt: section.tilt.as_ref().map(|at| at.value),
        facing: section.azimuth.as_ref().map(|at| at.value),
        antenna_height: section.antenna_height.as_ref().map(|at| at.value),
        antenna_gain: section.antenna_gain.as_ref().map(|at| at.value),
        mounting: section.mounting.as_ref().map(|at| at.value),
    })
}

impl Placed {
    /// The design of its kind as it stands here, among these gateways.
    #[must_use]
    pub fn design(&self, kind: &Design, surroundings: &Surroundings) -> Design {
        let mut design = kind.clone();
        design.name.clone_from(&self.name);
        design.site.latitude = self.latitude;
        design.site.longitude = self.longitude;
        design.surroundings = surroundings.clone();
        set(&mut design.site.elevation, self.elevation);
        if let Some(horizon) = &self.horizon {
            // The skyline of the months in leaf is that of the kind's place.
            design.site.horizon.clone_from(horizon);
            design.site.in_leaf = None;
        }
        set(&mut design.surroundings.ground.mounting, self.mounting);
        if let Some(panel) = &mut design.panel {
            set(&mut panel.tilt, self.tilt);
            set(&mut panel.azimuth, self.facing.map(|facing| facing.0));
        }
        if let Some(radio) = &mut design.radio {
            set(&mut radio.antenna_height, self.antenna_height);
            set(&mut radio.antenna_gain, self.antenna_gain);
        }
        design
    }
}

fn set<T>(place: &mut T, value: Option<T>) {
    if let Some(value) = value {
        *place = value;
    }
}
