//! What hears a node, the ground in between, and what stands over it.

use std::sync::LazyLock;

use crate::date::Date;
use crate::quantity::{Angle, Dbm, Decibels, Length, Uncertain};

/// Gateways and ground.
#[derive(Clone, Debug, Default)]
#[non_exhaustive]
pub struct Surroundings {
    /// The gateways in the order of the file.
    pub gateways: Vec<Gateway>,
    /// Those that are not there and may be.
    pub may_stand: Vec<Gateway>,
    /// The ground.
    pub ground: Ground,
    /// Where the node's antenna is.
    pub node: Spot,
}

/// Where an antenna is, as far as the file says.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Spot {
    /// Which side of a wall; `None` if the file doesn't say.
    pub place: Option<Place>,
    /// How the walls are made; `None` if the file doesn't say.
    pub building: Option<Building>,
    /// What stands around it.
    pub around: Around,
    /// What is near a node's antenna.
    pub antenna: NodeAntenna,
}

impl Default for Spot {
    fn default() -> Self {
        Self { place: None, building: None, around: Around::ASSUMED, antenna: NodeAntenna::Counterpoise }
    }
}

/// What stands around an antenna, and how far from it that begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Around {
    /// What it is.
    pub clutter: Clutter,
    /// From the antenna to the first of it; `None`: as wide as a street, 27 m.
    pub clearing: Option<Length>,
    /// The file says what it is.
    pub stated: bool,
    /// It says so of this antenna alone, so that no map goes over it.
    pub own: bool,
    /// Whether trees there bear leaves.
    pub leaves: Leaves,
}

impl Around {
    /// Where a file says nothing: a village, neither the best nor the worst.
    pub const ASSUMED: Self =
        Self { clutter: Clutter::Village, clearing: None, stated: false, own: false, leaves: Leaves::InLeaf };

    /// This, as stated, with a clearing of which nothing is known.
    #[must_use]
    pub const fn of(clutter: Clutter) -> Self {
        Self { clutter, clearing: None, stated: true, own: false, leaves: Leaves::InLeaf }
    }
}

/// Which side of a wall an antenna is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// On a roof, a mast, a wall.
    Outside,
    /// In a room, also behind a window.
    Inside,
}

/// How the walls of a building are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Building {
    /// Brick, concrete or wood with plain glass.
    Traditional,
    /// Metallised glass, foil-backed panels.
    Insulated,
}

/// What is near a node's antenna.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NodeAntenna {
    /// Nothing: it stands outside on its counterpoise.
    Counterpoise,
    /// The box it is in, with the board and the cell.
    Box,
    /// Metal or a body.
    Metal,
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
    /// Its EUI-64, most significant octet first; `None` while it is only planned.
    pub eui: Option<[u8; 8]>,
    /// Regional plan that it listens to, if the file says one.
    pub region: Option<String>,
    /// Of its answers at the plug.
    pub power: Dbm,
    /// Where its antenna is.
    pub spot: Spot,
    /// What a survey found; `None` if nobody went.
    pub survey: Option<GatewaySurvey>,
}

/// What a survey found that a gateway hears more than is predicted, or less where it is negative.
#[derive(Clone, Debug, PartialEq)]
pub struct GatewaySurvey {
    /// From positions where nobody was, with one standard deviation.
    pub correction: Uncertain<Decibels>,
    /// Standard deviation from one position to the next.
    pub spots: Decibels,
    /// Packets that were sent.
    pub packets: u32,
    /// The last day.
    pub until: Date,
    /// From positions of nodes that were surveyed themselves, by name.
    pub nodes: Vec<(String, Uncertain<Decibels>)>,
}

impl GatewaySurvey {
    /// What was found at the position of a node, if it was surveyed itself.
    #[must_use]
    pub fn at(&self, node: &str) -> Option<Uncertain<Decibels>> {
        self.nodes.iter().find(|(name, _)| name == node).map(|(_, found)| *found)
    }
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
#[derive(Clone, Debug, Default)]
#[non_exhaustive]
pub struct Ground {
    /// Terrain tiles as the file names them; empty for flat ground.
    pub terrain: Vec<String>,
    /// Land-cover maps as the file names them.
    pub land_cover: Vec<String>,
    /// Whether trees bear leaves.
    pub leaves: Leaves,
    /// The terrain is a surface: roofs and tree tops are in its heights.
    pub roofs_in_terrain: bool,
    /// Loss in leaves and stems where the file states it; it then takes the place of what would be reckoned for trees.
    pub vegetation: Option<Decibels>,
    /// Loss by what the node is mounted on or in where the file states it; it then takes the place of that of the antenna.
    pub mounting: Option<Decibels>,
    /// Standard deviation from one position to the next, if surveyed.
    pub spread: Option<Decibels>,
}

/// Whether trees bear leaves.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Leaves {
    /// They do, which costs more.
    #[default]
    InLeaf,
    /// They do not.
    Bare,
}

/// What stands around an antenna.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Clutter {
    /// Fields and meadows.
    Open,
    /// Water.
    Water,
    /// Scattered trees.
    SparseTrees,
    /// Houses and gardens of the country.
    Village,
    /// Houses with gardens.
    Suburban,
    /// Forest or orchard.
    Trees,
    /// Streets of closed houses.
    Urban,
    /// Works and halls.
    Industrial,
    /// High-rise.
    DenseUrban,
}

/// A row of the table of surroundings.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// In words.
    pub title: String,
    /// How high it stands.
    pub height: Length,
    /// It is trees, which let a wave through.
    pub trees: bool,
    /// Codes of a land-cover map that mean it.
    pub land_cover: Vec<u8>,
    /// Where the height is from.
    pub source: String,
}

/// A row of the table of antennas.
#[derive(Clone, Debug, PartialEq)]
pub struct AntennaLoss {
    /// In words.
    pub title: String,
    /// Of what a half-wave dipole gains.
    pub loss: Decibels,
    /// Its standard deviation.
    pub spread: Decibels,
    /// Where that is from.
    pub source: String,
}

impl Clutter {
    /// All, in the order of the table.
    pub const ALL: [Self; 9] = [
        Self::Open,
        Self::Water,
        Self::SparseTrees,
        Self::Village,
        Self::Suburban,
        Self::Trees,
        Self::Urban,
        Self::Industrial,
        Self::DenseUrban,
    ];

    /// How high it stands, and where that is from.
    #[must_use]
    pub fn standing(self) -> &'static Standing {
        &TABLE.around[self as usize]
    }

    /// What a code of a land-cover map means; `None` if it is not known.
    #[must_use]
    pub fn of_land_cover(code: u8) -> Option<Self> {
        Self::ALL.into_iter().find(|clutter| clutter.standing().land_cover.contains(&code))
    }
}

impl NodeAntenna {
    /// What it loses, and where that is from.
    #[must_use]
    pub fn loss(self) -> &'static AntennaLoss {
        &TABLE.antennas[self as usize]
    }
}

struct Table {
    around: Vec<Standing>,
    antennas: Vec<AntennaLoss>,
}

static TABLE: LazyLock<Table> = LazyLock::new(|| {
    let text = include_str!("../data/surroundings.toml");
    Table::read(text).expect("a test reads the table that is shipped")
});

impl Table {
    /// Reads the file; `None` if a key is missing or of the wrong form, or a row too many or too few.
    fn read(text: &str) -> Option<Self> {
        let file: toml::Table = text.parse().ok()?;
        let rows = |key: &str| {
            file.get(key)?.as_array()?.iter().map(toml::Value::as_table).collect::<Option<Vec<_>>>()
        };
        let word = |row: &toml::Table, key: &str| Some(row.get(key)?.as_str()?.to_owned());
        let standing = |row: &&toml::Table| {
            let codes = row.get("land_cover")?.as_array()?.iter();
            Some(Standing {
                title: word(row, "title")?,
                height: Length::from_metres(row.get("height_m")?.as_float()?),
                trees: row.get("trees")?.as_bool()?,
                land_cover: codes.map(|code| u8::try_from(code.as_integer()?).ok()).collect::<Option<_>>()?,
                source: word(row, "source")?,
            })
        };
        let antenna = |row: &&toml::Table| {
            Some(AntennaLoss {
                title: word(row, "title")?,
                loss: Decibels::from_decibels(row.get("loss_db")?.as_float()?),
                spread: Decibels::from_decibels(row.get("sd_db")?.as_float()?),
                source: word(row, "source")?,
            })
        };
        let around: Vec<Standing> = rows("around")?.iter().map(standing).collect::<Option<_>>()?;
        let antennas: Vec<AntennaLoss> = rows("antenna")?.iter().map(antenna).collect::<Option<_>>()?;
        (around.len() == Clutter::ALL.len() && antennas.len() == 3).then_some(Self { around, antennas })
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::file::value::Word;

    #[test]
    fn every_word_of_the_file_has_its_row_in_the_table() {
        let file: toml::Table = include_str!("../data/surroundings.toml").parse().expect("TOML");
        let words = |key: &str| -> Vec<String> {
            let rows = file.get(key).and_then(toml::Value::as_array).expect("rows");
            rows.iter().map(|row| row["word"].as_str().expect("a word").to_owned()).collect()
        };
        for (word, clutter) in Clutter::WORDS {
            assert_eq!(words("around")[*clutter as usize], *word);
        }
        for (word, antenna) in NodeAntenna::WORDS {
            assert_eq!(words("antenna")[*antenna as usize], *word);
        }
    }

    /// Rec. ITU-R P.1812-6, table 2.
    #[test]
    fn heights_are_those_of_the_recommendation() {
        for (clutter, height_m) in [
            (Clutter::Open, 0.0),
            (Clutter::Suburban, 10.0),
            (Clutter::Trees, 15.0),
            (Clutter::DenseUrban, 20.0),
        ] {
            assert!((clutter.standing().height.metres() - height_m).abs() < 1e-12);
        }
        assert_eq!(Clutter::of_land_cover(10), Some(Clutter::Trees));
        assert_eq!(Clutter::of_land_cover(7), None);
    }
}
