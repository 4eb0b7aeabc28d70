//! The keys of a site's file: gateways, ground, and nodes that are placed there.

use crate::file::serve::{OnwardSection, ServeSection, SourceSection};
use crate::file::surroundings::{GatewaySection, GroundSection, MayStandSection};
use crate::file::value::{Facing, Horizon, Named, RegionName, TimeZone};
use crate::file::watch::{AreaSection, TellSection, WatchSection};
use crate::quantity::{Angle, Decibels, Duration, Length};
use crate::section::rule::{
    ANTENNA_GAIN, CLEARING, ELEVATION, LATITUDE, LONGITUDE, MAY_MOVE, OBSTACLE_LOSS, TILT, within,
};
use crate::section::section;
use crate::surroundings::{Building, Clutter, NodeAntenna, Place};

section! {
    /// The nodes of one site and what hears them.
    pub(crate) struct FleetSection = "site file" {
        /// Edition of this file's format; always the first line.
        schema: u32 = required 1;
        /// What people call the site.
        name: String = required "Larkmoor";
        /// A remark shown under the name.
        note: String = optional "an invented valley";
        /// Folder that `enrol` made for its nodes; `explain` looks there whose a frame is. The path counts from the folder of this file.
        registry: String = optional "enrolled";
        /// Time zone of the site by its name in the IANA database: sentences, quiet hours and local days follow it. Left out: UTC. What is kept is in UTC always.
        time_zone: TimeZone = optional "Europe/Dublin";
        /// Regional plan of the gateways that do not say theirs. Left out: that of the nodes, which must then be one.
        region: RegionName = optional "EU868";
        /// The gateways, each under a name of your choice; at least one.
        gateway: Named<GatewaySection> = required roof;
        /// Where a gateway more may stand, each under a name of your choice.
        may_stand: Named<MayStandSection> = optional silo;
        /// The ground in between.
        ground: GroundSection = optional {};
        /// How `overwinter serve` works.
        serve: ServeSection = optional {};
        /// Other networks whose messages are taken, each under a name of your choice.
        source: Named<SourceSection> = optional fields;
        /// Where readings are handed on, each under a name of your choice.
        onward: Named<OnwardSection> = optional platform;
        /// What is watched for, beside the rules that hold for every node.
        watch: WatchSection = optional {};
        /// Ground that nodes are not to leave, each under a name of your choice.
        area: Named<AreaSection> = optional yard;
        /// Who is told of alarms, each under a name of your choice.
        tell: Named<TellSection> = optional desk;
        /// The nodes, each under a name of your choice; at least one.
        node: Named<PlacedSection> = required mast;
    }
}

section! {
    /// A node at its place. What is left out is as in the design file of its kind; the gateways and the ground there are
    /// replaced by those of this file.
    pub(crate) struct PlacedSection = "node" {
        /// The design file of its kind; the path counts from the folder of this file.
        kind: String = required "frost-mast.toml";
        /// North positive.
        latitude: Angle = required "46.5 deg" where LATITUDE;
        /// East positive.
        longitude: Angle = required "7.4 deg" where LONGITUDE;
        /// Above sea level.
        elevation: Length = optional "640 m" where ELEVATION;
        /// How far from there it may be moved for the sake of being heard: where it is not, `check` and `reach` look for the nearest place that is. Left out: it stays.
        may_move: Length = optional "200 m" where MAY_MOVE;
        /// Height of the skyline there, as in the design file; holds in all months.
        horizon: Horizon = optional [["180 deg", "11 deg"]];
        /// Angle of the panel from the horizontal.
        tilt: Angle = optional "60 deg" where TILT;
        /// Where the panel faces.
        azimuth: Facing = optional "180 deg";
        /// Height of its antenna above the ground.
        antenna_height: Length = optional "2 m" where within("0 m", "1000 m").usually("0 m", "60 m");
        /// Which side of a wall its antenna is on: `outside` or `inside`.
        place: Place = optional "outside";
        /// How the walls around it are made where it is inside: `traditional` or `insulated`.
        building: Building = optional "traditional";
        /// What stands around it, as `around_nodes` of `ground`, over which it goes.
        surroundings: Clutter = optional "open";
        /// From its antenna to the first roofs or trees.
        clearing: Length = optional "27 m" where CLEARING;
        /// What is near its antenna: `on counterpoise`, `in box` or `on metal`.
        antenna: NodeAntenna = optional "in box";
        /// What its antenna gains over an isotropic one.
        antenna_gain: Decibels = optional "2.15 dBi" where ANTENNA_GAIN;
        /// Loss by what this node is mounted on or in; replaces that of `ground`.
        mounting: Decibels = optional "6 dB" where OBSTACLE_LOSS;
        /// What people who may only read see of the positions that it sends.
        shown: ShownSection = optional {};
    }
}

section! {
    /// What people who may only read see of the positions that a node sends: it may tell where a person is.
    pub(crate) struct ShownSection = "shown" {
        /// Positions are shown to so much; "0 m": as they are.
        precision: Length = default "1 km" where within("0 m", "100 km");
        /// Older ones are not shown.
        no_older_than: Duration = default "24 h" where within("0 h", "50 years");
    }
}
