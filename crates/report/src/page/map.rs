//! What a map shows that a person moves: the ground, nodes and gateways where they stand, and what lies below.

use serde::Serialize;

/// All that a map is drawn from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Map {
    /// West, south, east and north of what it shows first \[°\].
    pub edges_deg: [f64; 4],
    /// Shade and contours; `None` where no terrain is named.
    pub ground: Option<Tiles>,
    /// What the site file lays below; `None`: paper.
    pub basemap: Option<Tiles>,
    /// The nodes, worst first.
    pub nodes: Vec<Board>,
    /// The gateways.
    pub gateways: Vec<House>,
    /// Where nodes that move were found.
    pub tracks: Vec<Way>,
    /// Ground that nodes are not to leave.
    pub areas: Vec<Border>,
    /// Whether whoever asks may put nodes elsewhere.
    pub may_move: bool,
}

/// Pictures in squares, in spherical Mercator.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Tiles {
    /// Their address, in which `{z}`, `{x}` and `{y}` stand for level, column and row.
    pub address: String,
    /// The finest level that there is.
    pub finest: u8,
    /// Whose they are, where that is to be said.
    pub credit: Option<String>,
}

/// A node where it stands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Board {
    /// Its name.
    pub name: String,
    /// Its page.
    pub page: String,
    /// The worst of its verdicts in a word ([`crate::words::verdict`]).
    pub verdict: &'static str,
    /// North positive \[°\].
    pub latitude_deg: f64,
    /// East positive \[°\].
    pub longitude_deg: f64,
    /// Whether it says itself where it is, and nobody puts it anywhere.
    pub moves: bool,
    /// Whether it is enrolled, so that the registry can say where it stands.
    pub is_enrolled: bool,
}

/// Where a node that moves was found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Way {
    /// Its name.
    pub name: String,
    /// Its positions, the oldest first.
    pub fixes: Vec<Found>,
    /// Whether the newest is too old to say where it is now.
    pub is_stale: bool,
    /// How long ago the newest was found, in words.
    pub ago: String,
}

/// A position and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Found {
    /// North positive \[°\].
    pub latitude_deg: f64,
    /// East positive \[°\].
    pub longitude_deg: f64,
    /// It lies within so many metres of the truth.
    pub accuracy_m: f64,
}

/// Ground with a name, by its borders.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Border {
    /// Its name in the site file.
    pub name: String,
    /// Outer borders and holes, each closed; corners as degrees east and north, as GeoJSON has them.
    pub rings: Vec<Vec<[f64; 2]>>,
}

/// A gateway where it stands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct House {
    /// Its name.
    pub name: String,
    /// North positive \[°\].
    pub latitude_deg: f64,
    /// East positive \[°\].
    pub longitude_deg: f64,
}
