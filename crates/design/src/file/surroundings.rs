//! The keys of what hears a node and of the ground in between; a node's file and a site's file share them.

use crate::file::value::RegionName;
use crate::quantity::{Angle, Dbm, Decibels, Length};
use crate::section::rule::{
    ANTENNA_GAIN, CABLE_LOSS, LATITUDE, LONGITUDE, OBSTACLE_LOSS, RADIO_POWER, within,
};
use crate::section::{At, section};
use crate::surroundings::{Clutter, Sensitivity};

section! {
    /// A gateway that hears the nodes.
    pub(crate) struct GatewaySection = "gateway" {
        /// North positive.
        latitude: Angle = required "46.505 deg" where LATITUDE;
        /// East positive.
        longitude: Angle = required "7.42 deg" where LONGITUDE;
        /// Height of its antenna above the ground.
        antenna_height: Length = required "12 m" where within("0 m", "1000 m").usually("0 m", "200 m");
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
        /// Power of its answers at the antenna plug.
        power: Dbm = default "14 dBm" where RADIO_POWER;
    }
}

section! {
    /// The ground between nodes and gateways, and what stands on it.
    pub(crate) struct GroundSection = "ground" {
        /// Terrain tiles, HGT or GeoTIFF in latitude and longitude; their paths count from the folder of this file. Left out: flat ground, with a wide doubt.
        terrain: Vec<At<String>> = optional ["terrain/larkmoor.tif"];
        /// What stands around the nodes: `open`, `suburban`, `trees`, `urban` or `dense-urban`.
        around_nodes: Clutter = default "open";
        /// What stands around the gateways.
        around_gateways: Clutter = default "open";
        /// Loss in leaves and stems between the two, in the worst season.
        vegetation: Decibels = default "0 dB" where OBSTACLE_LOSS;
        /// Loss by what the node is mounted on or in: a steel wall, a wet post, a body.
        mounting: Decibels = default "0 dB" where OBSTACLE_LOSS;
        /// Standard deviation of the loss from one spot to the next, from packets of a survey. Left out: 8 dB, a wide guess.
        spread: Decibels = optional "5 dB" where within("0.1 dB", "40 dB").usually("2 dB", "16 dB");
    }
}
