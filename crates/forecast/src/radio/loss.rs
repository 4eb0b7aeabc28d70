//! What a signal loses between two antennas.

use design::quantity::{Decibels, Frequency, Length};
use design::surroundings::Around;
use path::clutter::{self, Columns};
use path::geodesic::Place;
use path::p1812;

use super::trail::{self, End, Trail, TrailError};
use crate::terrain::{Section, Terrain};

/// Loss where the models do not go, thousands of kilometres away: nothing is heard \[dB\].
pub(super) const BEYOND_DB: f64 = 1000.0;

/// An antenna above the ground.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Antenna {
    /// Its height.
    pub height: Length,
    /// What stands around it.
    pub around: Around,
}

/// From a node's antenna to a gateway's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way {
    /// The node's antenna.
    pub node: Antenna,
    /// Where the node stands.
    pub node_place: Place,
    /// The gateway's.
    pub gateway: Antenna,
    /// Where that stands.
    pub gateway_place: Place,
    /// Between the two.
    pub distance: Length,
    /// Of the signal.
    pub frequency: Frequency,
}

/// What a path loses.
#[derive(Clone, Debug, PartialEq)]
pub struct Loss {
    /// At half of all times and spots.
    pub median: Decibels,
    /// The ground it was computed over; `None` for flat ground.
    pub trail: Option<Trail>,
    /// What an antenna lower than the model of paths over terrain goes was given on top; nothing for others.
    pub low_antenna: Decibels,
    /// Why the terrain that is there could not be used.
    pub problem: Option<TrailError>,
}

impl Way {
    /// The median loss: over the terrain where there is one, else over flat ground.
    #[must_use]
    pub fn loss(&self, terrain: Option<&Terrain>) -> Loss {
        let low_antenna = Decibels::from_decibels(self.of_model(None).low_antenna_db());
        match terrain.map(|terrain| self.over(terrain)) {
            Some(Ok(trail)) => {
                Loss { median: trail.loss + low_antenna, trail: Some(trail), low_antenna, problem: None }
            }
            // So near a gateway, the ground between is in sight.
            Some(Err(TrailError::TooNear { .. })) | None => self.over_flat_ground(low_antenna, terrain, None),
            Some(Err(problem)) => self.over_flat_ground(low_antenna, terrain, Some(problem)),
        }
    }

    /// The median loss of a way like this one with other clutter \[dB\], over the ground where this one's loss was.
    ///
    /// # Errors
    /// Heights or clearings beyond what the models take.
    pub(super) fn like(
        way: &clutter::Way,
        section: Option<&Section>,
        columns: &mut Columns,
    ) -> Result<f64, path::Error> {
        let loss = match section {
            Some(section) => {
                way.over_mapped_section(&section.distance_km, &section.height_m, &section.standing, columns)
            }
            None => way.over_flat_ground(columns),
        };
        loss.map(|loss| loss.total_db)
    }

    /// The way as the models take it, over this terrain or flat ground.
    #[must_use]
    pub fn of_model(&self, terrain: Option<&Terrain>) -> clutter::Way {
        let ends = [&self.node_end(), &self.gateway_end()];
        trail::way(ends, terrain, self.frequency, self.distance.kilometres())
    }

    fn node_end(&self) -> End {
        End { place: self.node_place, antenna: self.node.height, surroundings: self.node.around }
    }

    fn gateway_end(&self) -> End {
        End { place: self.gateway_place, antenna: self.gateway.height, surroundings: self.gateway.around }
    }

    fn over_flat_ground(
        &self,
        low_antenna: Decibels,
        terrain: Option<&Terrain>,
        problem: Option<TrailError>,
    ) -> Loss {
        let loss = self.of_model(terrain).over_flat_ground(&mut Columns::default());
        let median = Decibels::from_decibels(loss.map_or(BEYOND_DB, |loss| loss.total_db));
        Loss { median, trail: None, low_antenna, problem }
    }

    /// The path over the terrain; an antenna below the model's least height is raised to it.
    fn over(&self, terrain: &Terrain) -> Result<Trail, TrailError> {
        let raised = |end: End| {
            let antenna = Length::from_metres(end.antenna.metres().max(p1812::ANTENNA.min));
            End { antenna, ..end }
        };
        Trail::over(terrain, &raised(self.node_end()), &raised(self.gateway_end()), self.frequency)
    }
}
