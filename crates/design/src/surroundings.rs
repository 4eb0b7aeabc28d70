//! What hears a node, the ground in between, and what stands over it.

use crate::quantity::{Angle, Dbm, Decibels, Length};

/// Gateways and ground.
#[derive(Clone, Debug, Default)]
#[non_exhaustive]
pub struct Surroundings {
    /// The gateways in the order of the file.
    pub gateways: Vec<Gateway>,
    /// The ground.
    pub ground: Ground,
}

/// A gateway.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Gateway {
    /// Its key in the file.
    pub name: String,
    /// North positive.
    pub latitude: Angle,
    /// East positive.
    pub longitude: Angle,
    /// Of its antenna above the ground.
    pub antenna_height: Length,
    /// Over an isotropic antenna.
    pub antenna_gain: Decibels,
    /// Between antenna and receiver.
    pub cable_loss: Decibels,
    /// What it can still hear.
    pub sensitivity: Sensitivity,
    /// Noise in 125 kHz at its plug, if measured.
    pub noise: Option<Dbm>,
    /// Regional plan that it listens to, if the file says one.
    pub region: Option<String>,
    /// Of its answers at the plug.
    pub power: Dbm,
}

impl Gateway {
    /// Whether it listens to a regional plan: unless it says another.
    #[must_use]
    pub fn listens_to(&self, region: &str) -> bool {
        self.region.as_deref().is_none_or(|own| own == region)
    }
}

/// Which published figures of the weakest signal that can be demodulated hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sensitivity {
    /// As measured on node radios.
    Measured,
    /// As a data sheet of a node radio promises.
    Datasheet,
    /// As taken for a multi-channel gateway.
    MultiChannel,
}

/// The ground between nodes and gateways.
#[derive(Clone, Debug)]
#[non_exhaustive]
pub struct Ground {
    /// Terrain tiles as the file names them; empty for flat ground.
    pub terrain: Vec<String>,
    /// What stands around the nodes.
    pub around_nodes: Clutter,
    /// What stands around the gateways.
    pub around_gateways: Clutter,
    /// Loss in leaves and stems.
    pub vegetation: Decibels,
    /// Loss by what the node is mounted on or in.
    pub mounting: Decibels,
    /// Standard deviation from spot to spot, if surveyed.
    pub spread: Option<Decibels>,
}

impl Default for Ground {
    fn default() -> Self {
        Self {
            terrain: Vec::new(),
            around_nodes: Clutter::Open,
            around_gateways: Clutter::Open,
            vegetation: Decibels::ZERO,
            mounting: Decibels::ZERO,
            spread: None,
        }
    }
}

/// What stands around an antenna.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clutter {
    /// Fields, meadows, water.
    Open,
    /// Houses with gardens.
    Suburban,
    /// Forest or orchard.
    Trees,
    /// Streets of closed houses.
    Urban,
    /// High-rise.
    DenseUrban,
}

/// What a node can see of the sky.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sky {
    /// All of it.
    Open,
    /// About half of it: half the light, twice the failures of a fix.
    Half,
    /// None: no sun and no fix.
    Roof,
}
