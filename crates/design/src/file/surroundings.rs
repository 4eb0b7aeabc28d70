//! The keys of what hears a node and of the ground in between; a node's file and a site's file share them.

use toml::Spanned;
use toml::de::DeValue;

use crate::diagnostic::Diagnostics;
use crate::file::message::Day;
use crate::file::value::{Eui, RegionName};
use crate::quantity::{Angle, Dbm, Decibels, Length, Uncertain};
use crate::section::rule::{
    ANTENNA_GAIN, CABLE_LOSS, CLEARING, LATITUDE, LONGITUDE, OBSTACLE_LOSS, RADIO_POWER, Rule, within,
};
use crate::section::{At, Field, as_table, defaults, in_order, read_field, section};
use crate::surroundings::{Building, Clutter, Leaves, Place, Sensitivity};

section! {
    /// A gateway that hears the nodes.
    pub(crate) struct GatewaySection = "gateway" {
        /// North positive.
        latitude: Angle = required "46.505 deg" where LATITUDE;
        /// East positive.
        longitude: Angle = required "7.42 deg" where LONGITUDE;
        /// Height of its antenna above the ground.
        antenna_height: Length = required "12 m" where within("0 m", "1000 m").usually("0 m", "200 m");
        /// Which side of a wall its antenna is on: `outside`, or `inside`, also behind a window. Left out, both are reckoned: they are worth 15 to 30 dB.
        place: Place = shown "outside";
        /// How the walls around it are made where it is inside: `traditional`, or `insulated` with metallised glass or foil. Left out: seven in ten traditional.
        building: Building = optional "traditional";
        /// What stands around it, as `around_gateways` of `ground`, over which it goes.
        surroundings: Clutter = shown "village";
        /// From its antenna to the first roofs or trees. Left out: about the width of a street, 27 m.
        clearing: Length = optional "27 m" where CLEARING;
        /// What its antenna gains over an isotropic one.
        antenna_gain: Decibels = default "2.15 dBi" where ANTENNA_GAIN;
        /// What cable, plugs and lightning arrester lose.
        cable_loss: Decibels = default "1 dB" where CABLE_LOSS;
        /// What it can still hear: `measured` (worst case, as measured on node radios), `datasheet`, or `multi-channel` (a gateway that hears all channels at once, at its best).
        sensitivity: Sensitivity = default "measured";
        /// Noise in 125 kHz as measured at its antenna plug. Left out: that of a receiver with a noise figure of 6 dB, -117 dBm.
        noise: Dbm = optional "-105 dBm" where within("-123 dBm", "-30 dBm").usually("-121 dBm", "-80 dBm");
        /// Regional plan that it listens to; it does not hear nodes of another. Left out: that of the nodes.
        region: RegionName = optional "EU868";
        /// Its own identity, as it shows it. Without it the gateway is only planned: `serve` hears nothing of it.
        eui: Eui = optional "020000FFFE000001";
        /// Power of its answers at the antenna plug.
        power: Dbm = default "14 dBm" where RADIO_POWER;
        /// What a survey found; `overwinter reach SITE.toml --survey FILE.csv --write` writes it.
        survey: SurveySection = optional { correction = "-9 dB +- 3 dB", spots = "11 dB", packets = 214, until = "2026-10-04" };
    }
}

section! {
    /// What a survey found at a gateway, over what is predicted. It holds for the design as it was then: after another power
    /// or antenna the prediction moves, and the finding stays what it is.
    pub(crate) struct SurveySection = "survey" {
        /// What the gateway hears more than predicted (less: negative) from positions where nobody was, with one standard deviation.
        correction: Uncertain<Decibels> = required "-9 dB +- 3 dB" where CORRECTION;
        /// Standard deviation from one position to the next around this gateway; it takes the place of `spread` in `ground`.
        spots: Decibels = required "11 dB" where within("0.1 dB", "40 dB").usually("2 dB", "16 dB");
        /// Packets that were sent.
        packets: u32 = required 214 where within("1", "4000000000");
        /// The last day on which they were sent.
        until: Day = required "2026-10-04";
        /// The same for nodes that were surveyed where they stand, by name. Left out: none was.
        nodes: NodeCorrections = optional { mast = "-4 dB +- 3 dB" };
    }
}

/// What was found at the positions of nodes, by name.
#[derive(Clone, Debug)]
pub(crate) struct NodeCorrections(pub(crate) Vec<(At<String>, Uncertain<Decibels>)>);

impl Field for NodeCorrections {
    fn noun() -> String {
        "table of nodes and corrections".to_owned()
    }
    fn schema() -> String {
        format!("{{\"type\":\"object\",\"additionalProperties\":{}}}", Decibels::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let table = as_table(value, "nodes", found)?;
        let row = |(key, value): (&Spanned<toml::de::DeString<'_>>, &Spanned<DeValue<'_>>)| {
            let name = At { value: key.get_ref().to_string(), span: key.span() };
            let read = read_field::<Uncertain<Decibels>>(key.get_ref(), value, Some(CORRECTION), found);
            read.map(|at| (name, at.value))
        };
        let rows: Vec<Option<_>> = in_order(table).into_iter().map(row).collect();
        rows.into_iter().collect::<Option<_>>().map(Self)
    }
}

/// More than a wrong height or wall can explain is another mistake.
const CORRECTION: Rule = within("-100 dB", "100 dB").usually("-40 dB", "40 dB");

section! {
    /// Where a gateway may stand that is not there: what one would bring is said by `check` and `reach`, for nodes that are not heard.
    pub(crate) struct MayStandSection = "may_stand" {
        /// North positive.
        latitude: Angle = required "46.51 deg" where LATITUDE;
        /// East positive.
        longitude: Angle = required "7.43 deg" where LONGITUDE;
        /// Height that its antenna would have above the ground.
        antenna_height: Length = required "15 m" where within("0 m", "1000 m").usually("0 m", "200 m");
        /// Which side of a wall its antenna would be on: `outside` or `inside`. Left out, both are reckoned.
        place: Place = shown "outside";
        /// How the walls around it are made where it would be inside: `traditional` or `insulated`.
        building: Building = optional "traditional";
        /// What stands around it, as `around_gateways` of `ground`, over which it goes.
        surroundings: Clutter = shown "open";
        /// From its antenna to the first roofs or trees. Left out: about the width of a street, 27 m.
        clearing: Length = optional "27 m" where CLEARING;
        /// What its antenna would gain over an isotropic one.
        antenna_gain: Decibels = default "2.15 dBi" where ANTENNA_GAIN;
        /// What cable, plugs and lightning arrester would lose.
        cable_loss: Decibels = default "1 dB" where CABLE_LOSS;
    }
}

impl MayStandSection {
    /// The gateway that would stand there; all that is not said is as of any gateway.
    pub(crate) fn gateway(&self, span: &std::ops::Range<usize>) -> GatewaySection {
        GatewaySection {
            latitude: self.latitude.clone(),
            longitude: self.longitude.clone(),
            antenna_height: self.antenna_height.clone(),
            place: self.place.clone(),
            building: self.building.clone(),
            surroundings: self.surroundings.clone(),
            clearing: self.clearing.clone(),
            antenna_gain: self.antenna_gain.clone(),
            cable_loss: self.cable_loss.clone(),
            ..defaults::<GatewaySection>(span).value
        }
    }
}

section! {
    /// The ground between nodes and gateways, and what stands on it.
    pub(crate) struct GroundSection = "ground" {
        /// Terrain tiles, HGT or GeoTIFF in latitude and longitude; their paths count from the folder of this file. Left out: flat ground, with a wide doubt.
        terrain: Vec<At<String>> = optional ["terrain/larkmoor.tif"];
        /// Land-cover maps, GeoTIFF in latitude and longitude with one class a pixel, whose paths count as those of the terrain. They say what stands along the way where neither node nor gateway has `surroundings` of its own; around them they take the place of `around_nodes` and `around_gateways`. Classes are numbered as in the legend of the ESA world cover map: 10 and 95 trees, 50 built up, 80 water, 20, 30, 40, 60, 70, 90 and 100 open. Left out: those words, up to half-way.
        land_cover: Vec<At<String>> = optional ["terrain/larkmoor-cover.tif"];
        /// The terrain is a surface model, with roofs and tree tops in its heights: then nothing is laid over it.
        roofs_in_terrain: bool = default false;
        /// Trees are `in-leaf`, which costs more, or `bare`. Left out: in leaf, as in the worst season.
        leaves: Leaves = optional "in-leaf";
        /// What stands around the nodes up to half-way: `open`, `water`, `sparse-trees`, `village`, `suburban`, `trees`, `urban`, `industrial` or `dense-urban`. Left out: a village is assumed, and said; open ground against a village is worth 30 dB at 1 km.
        around_nodes: Clutter = shown "open";
        /// What stands around the gateways, in the same words.
        around_gateways: Clutter = shown "village";
        /// Loss in leaves and stems between the two, in the worst season. It takes the place of what is reckoned for trees.
        vegetation: Decibels = optional "6 dB" where OBSTACLE_LOSS;
        /// Loss by what the node is mounted on or in: a steel wall, a wet post, a body. It takes the place of that of `antenna`.
        mounting: Decibels = optional "6 dB" where OBSTACLE_LOSS;
        /// Standard deviation of the loss from one plausible position to the next, from packets of a survey. Left out: 8 dB, what cities show, and 5 dB where terrain and a land-cover map are named.
        spread: Decibels = optional "5 dB" where within("0.1 dB", "40 dB").usually("2 dB", "16 dB");
    }
}
