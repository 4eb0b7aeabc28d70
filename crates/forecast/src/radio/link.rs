//! The link between a node and a gateway: what arrives, and how far that lies above what can be heard.

use design::law::Law;
use design::node::{Design, RadioUse};
use design::quantity::{Dbm, Decibels, Duration, Frequency, Length, Share, Uncertain};
use design::region::Modulation;
use design::surroundings::{Around, Building, Clutter, Gateway, Place as Side, Sensitivity, Spot};
use path::clutter::Columns;
use path::geodesic::{Inverse, Place, inverse};
use path::{entry, free_space_db};

use super::airtime;
use super::demodulation::{usual_noise, weakest};
use super::level::{Cause, Doubtful, Known, Level, MAPPED_SPOT_SD_DB, NOISE_DB, SPOT_SD_DB, Walls};
use super::loss::{Antenna, BEYOND_DB, Loss, Way};
use crate::terrain::Terrain;

/// A reflection off the ground doubles the field at best.
const ECHO_DB: f64 = 6.02;
/// Where a finished node is compared with what it should radiate.
const BENCH: Length = Length::from_metres(10.0);

/// One node and one gateway.
#[derive(Clone, Debug)]
pub struct Link {
    /// Name of the gateway.
    pub gateway: String,
    /// Its place in the order of the file.
    pub index: usize,
    /// From node to gateway.
    pub distance: Length,
    /// Where the gateway lies, clockwise from north \[deg\].
    pub azimuth_deg: f64,
    /// Median loss of the path and by which model.
    pub path: Loss,
    /// What is lost besides: leaves, walls, what is near the node's antenna, noise around the gateway.
    pub obstructed: Decibels,
    /// What a survey found over the prediction; it is in the level.
    pub surveyed: Option<Surveyed>,
    /// The level with everything that is not known about it.
    pub level: Level,
    /// Its middle, on the scale of the signal-to-noise ratio.
    pub received: Dbm,
    /// The same over the noise in the channel.
    pub snr: Decibels,
    /// By data rate, slowest first.
    pub rates: Vec<RateMargin>,
    /// Answers in the first window after an uplink at the slowest rate in question, and in the second; `None` where no
    /// receiver figure is known.
    pub answers: [Option<Answer>; 2],
}

/// What a survey found over a link.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Surveyed {
    /// More than predicted; less where it is negative.
    pub correction: Doubtful,
    /// The node was surveyed where it stands; else it was the gateway, from other positions.
    pub is_here: bool,
}

/// How far the median signal lies above the weakest that can be demodulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RateMargin {
    /// The data rate.
    pub data_rate: u8,
    /// How it is modulated.
    pub modulation: Modulation,
    /// The weakest signal.
    pub weakest: Dbm,
    /// What is left above it.
    pub margin: Decibels,
}

/// An answer of the gateway as the node hears it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Answer {
    /// The data rate.
    pub data_rate: u8,
    /// What is left above the weakest signal that the node demodulates.
    pub margin: Decibels,
    /// Time on air of one that carries nothing.
    pub airtime: Duration,
    /// How many of those the gateway may send in an hour; `None` where no law that was seen limits it.
    pub per_hour: Option<f64>,
}

/// The signal 10 m from a finished node in the open, with the band in which ground echoes may move it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bench {
    /// With the gateway's own antenna.
    pub received: Dbm,
    /// That much more or less.
    pub band: Decibels,
}

/// The links of a design to the gateways that listen to its regional plan, the best first; none without radio or gateways.
/// Antennas of which the file does not say where they are, are on this side of the walls.
#[must_use]
pub fn links(design: &Design, terrain: Option<&Terrain>, unknown: Side) -> Vec<Link> {
    let Some(radio) = &design.radio else { return Vec::new() };
    let gateways = design.surroundings.gateways.iter().enumerate();
    let link = |(index, gateway)| link(design, radio, index, gateway, terrain, unknown);
    let mut links: Vec<Link> = gateways.filter_map(link).collect();
    links.sort_by(|one, other| other.slowest_margin().total_cmp(&one.slowest_margin()));
    links
}

/// Whether the file leaves open on which side of a wall an antenna is.
#[must_use]
pub fn place_is_unknown(design: &Design) -> bool {
    let gateways = &design.surroundings.gateways;
    design.surroundings.node.place.is_none() || gateways.iter().any(|gateway| gateway.spot.place.is_none())
}

impl Link {
    /// What is left at the slowest rate \[dB\].
    #[must_use]
    pub fn slowest_margin(&self) -> f64 {
        self.rates.first().map_or(f64::NEG_INFINITY, |rate| rate.margin.decibels())
    }

    /// Margins by data rate, slowest first, on a spot that is so much better or worse.
    #[must_use]
    pub fn margins(&self, spot: Decibels) -> Vec<(u8, Decibels)> {
        self.rates.iter().map(|rate| (rate.data_rate, rate.margin + spot)).collect()
    }
}

/// The frequency for which paths are computed: the middle of the channels.
#[must_use]
pub fn frequency(radio: &RadioUse) -> Frequency {
    let sum: Frequency = radio.channels.iter().copied().sum();
    sum / radio.channels.len().max(1) as f64
}

/// What a node with this radio shows at a gateway 10 m away.
#[must_use]
pub fn bench(radio: &RadioUse, gateway: &Gateway) -> Bench {
    let free_db = free_space_db(frequency(radio).megahertz() / 1000.0, BENCH.kilometres());
    let received =
        radio.power + radiated_gain(radio) + gateway_gain(gateway) - Decibels::from_decibels(free_db);
    Bench { received, band: Decibels::from_decibels(ECHO_DB) }
}

pub(super) fn radiated_gain(radio: &RadioUse) -> Decibels {
    radio.antenna_gain - radio.cable_loss
}

pub(super) fn gateway_gain(gateway: &Gateway) -> Decibels {
    gateway.antenna_gain - gateway.cable_loss
}

fn link(
    design: &Design,
    radio: &RadioUse,
    index: usize,
    gateway: &Gateway,
    terrain: Option<&Terrain>,
    unknown: Side,
) -> Option<Link> {
    if !gateway.listens_to(&radio.region.name) {
        return None;
    }
    let node_place = place(design.site.latitude.degrees(), design.site.longitude.degrees());
    let gateway_place = place(gateway.latitude.degrees(), gateway.longitude.degrees());
    let between = between(node_place, gateway_place);
    let way = Way {
        node: Antenna { height: radio.antenna_height, around: around_node(design) },
        node_place,
        gateway: Antenna { height: gateway.antenna_height, around: around_gateway(design, gateway) },
        gateway_place,
        distance: Length::from_metres(between.distance_m),
        frequency: frequency(radio),
    };
    let path = way.loss(terrain);
    let mapped = terrain.is_some_and(|terrain| terrain.has_cover() && path.trail.is_some());
    let known = Known {
        spot_sd_db: spot_sd_db(design, mapped),
        ..known(design, radio, gateway, way.of_model(terrain), unknown)
    };
    let section = path.trail.as_ref().map(|trail| &trail.section);
    let mut columns = Columns::default();
    let like =
        |other: &_| Ok::<f64, path::Error>(Way::like(other, section, &mut columns).unwrap_or(BEYOND_DB));
    let predicted = Level::new(&known, like).expect(BANDS_ENTER);
    let surveyed = surveyed(gateway, Some(&design.name));
    let level = after(&predicted, gateway, surveyed);
    let received = Dbm::from_dbm(level.middle_dbm());
    let mut rates: Vec<RateMargin> =
        radio.allowed_rates.iter().filter_map(|rate| rate_margin(radio, gateway, *rate, received)).collect();
    rates.sort_by_key(|rate| rate.data_rate);
    // The way back is the same; the noise around the gateway is not in it.
    let back = gateway.power - (radio.power - received) + Decibels::from_decibels(known.noise.mean_db);
    let first = rates.first().and_then(|slowest| radio.region.answer_rate(slowest.data_rate));
    let (second_at, second) = radio.region.second_window;
    let windows = [(first, way.frequency), (Some(second), second_at)];
    let noise = gateway.noise.unwrap_or_else(usual_noise);
    let obstructed = radio.power + radiated_gain(radio) + gateway_gain(gateway)
        - path.median
        - Dbm::from_dbm(predicted.middle_dbm());
    Some(Link {
        gateway: gateway.name.clone(),
        index,
        distance: way.distance,
        azimuth_deg: between.azimuth_deg,
        path,
        obstructed,
        surveyed,
        level,
        received,
        snr: received - noise,
        rates,
        answers: windows.map(|(rate, at)| answer(radio, rate?, at, back)),
    })
}

/// What a survey found at a gateway, at the position of this node if it was surveyed itself.
fn surveyed(gateway: &Gateway, node: Option<&str>) -> Option<Surveyed> {
    let survey = gateway.survey.as_ref()?;
    let here = node.and_then(|node| survey.at(node));
    let found: Uncertain<Decibels> = here.unwrap_or(survey.correction);
    let correction = Doubtful { mean_db: found.nominal.decibels(), sd_db: found.spread_si };
    Some(Surveyed { correction, is_here: here.is_some() })
}

/// A level after a survey: at a node that was surveyed itself all that was in doubt is settled, elsewhere what is the
/// gateway's and the model's.
fn after(predicted: &Level, gateway: &Gateway, surveyed: Option<Surveyed>) -> Level {
    let spots_db = gateway.survey.as_ref().map(|survey| survey.spots.decibels());
    match surveyed {
        None => predicted.clone(),
        Some(found) if found.is_here => predicted.corrected(&Cause::ALL, found.correction, None),
        Some(found) => predicted.corrected(&Cause::OF_GATEWAY, found.correction, spots_db),
    }
}

/// The shortest way between two places; between such as lie almost opposite on the globe, where the series does not settle,
/// that on a sphere, within half a percent: nobody hears over it, but a slip in a place is seen by it.
#[must_use]
pub fn between(from: Place, to: Place) -> Inverse {
    inverse(from, to).unwrap_or_else(|_| {
        let [(sin1, cos1), (sin2, cos2)] = [from, to].map(|place| place.latitude_deg.to_radians().sin_cos());
        let (sin_east, cos_east) = (to.longitude_deg - from.longitude_deg).to_radians().sin_cos();
        let (across, along) = (cos2 * sin_east, cos1 * sin2 - sin1 * cos2 * cos_east);
        let angle = across.hypot(along).atan2(sin1 * sin2 + cos1 * cos2 * cos_east);
        Inverse {
            distance_m: MEAN_RADIUS_M * angle,
            azimuth_deg: across.atan2(along).to_degrees(),
            arrival_azimuth_deg: (cos1 * sin_east).atan2(cos1 * sin2 * cos_east - sin1 * cos2).to_degrees(),
        }
    })
}

/// Mean radius of the Earth \[m\] (IUGG, as in Moritz, "Geodetic Reference System 1980").
const MEAN_RADIUS_M: f64 = 6_371_008.8;

/// What stands around the node. Where the loss in leaves is stated, it is taken for the trees.
pub(super) fn around_node(design: &Design) -> Around {
    without_stated_trees(design, design.surroundings.node.around)
}

/// What stands around a gateway, in the same way.
pub(super) fn around_gateway(design: &Design, gateway: &Gateway) -> Around {
    without_stated_trees(design, gateway.spot.around)
}

fn without_stated_trees(design: &Design, around: Around) -> Around {
    let ground = &design.surroundings.ground;
    if ground.roofs_in_terrain && !ground.terrain.is_empty() {
        // What stands there is in the heights already, and no map is to say it again.
        return Around { clutter: Clutter::Open, stated: true, own: true, ..around };
    }
    let stated = ground.vegetation.is_some() && around.clutter.standing().trees;
    if stated { Around { clutter: Clutter::Open, ..around } } else { around }
}

/// The level of a gateway that nothing lies before: what the path may lose.
pub(super) fn without_path(design: &Design, radio: &RadioUse, gateway: &Gateway, unknown: Side) -> Dbm {
    let way = path::clutter::Way {
        frequency_ghz: frequency(radio).megahertz() / 1000.0,
        length_km: 1.0,
        ends: [NOTHING; 2],
        climate: path::p1812::Climate { latitude_deg: 0.0, lapse_n_km: 0.0, refractivity_n: 0.0 },
    };
    let known = known(design, radio, gateway, way, unknown);
    let level = Level::new(&known, |_| Ok::<f64, path::Error>(0.0)).expect(BANDS_ENTER);
    Dbm::from_dbm(after(&level, gateway, surveyed(gateway, None)).middle_dbm())
}

/// Held by a test over all regional plans: no channel lies outside its plan.
const BANDS_ENTER: &str = "the model of entry into buildings holds in every band of a regional plan";

const NOTHING: path::clutter::End = path::clutter::End {
    antenna_m: 0.0,
    clutter_m: 0.0,
    clearing_m: path::clutter::USUAL_CLEARING_M,
    trees: None,
    cover: None,
};

fn known(
    design: &Design,
    radio: &RadioUse,
    gateway: &Gateway,
    way: path::clutter::Way,
    unknown: Side,
) -> Known {
    let (ground, node) = (&design.surroundings.ground, design.surroundings.node);
    let antenna = node.antenna.loss();
    let leaves = ground.vegetation.unwrap_or(Decibels::ZERO);
    let near_node = ground.mounting.unwrap_or(antenna.loss);
    let noise = |mean_db, sd_db| Doubtful { mean_db, sd_db };
    Known {
        way,
        walls: [node, gateway.spot].map(|spot| walls(spot, unknown)),
        sent_dbm: (radio.power - leaves).dbm(),
        node_antenna: Doubtful {
            mean_db: (radiated_gain(radio) - near_node).decibels(),
            sd_db: antenna.spread.decibels(),
        },
        gateway_antenna: Doubtful { mean_db: gateway_gain(gateway).decibels(), sd_db: GATEWAY_ANTENNA_SD_DB },
        noise: gateway.noise.map_or(noise(NOISE_DB[0], NOISE_DB[1]), |_| noise(0.0, 0.0)),
        spot_sd_db: spot_sd_db(design, false),
        clearing_known: [around_node(design), around_gateway(design, gateway)]
            .map(|around| around.clearing.is_some()),
    }
}

/// From one spot to the next: as stated, else less where terrain and a map of what stands on it are known.
fn spot_sd_db(design: &Design, mapped: bool) -> f64 {
    let usual_db = if mapped { MAPPED_SPOT_SD_DB } else { SPOT_SD_DB };
    design.surroundings.ground.spread.map_or(usual_db, Decibels::decibels)
}

/// Directions, match and cable of a gateway's antenna (from memory) \[dB\].
const GATEWAY_ANTENNA_SD_DB: f64 = 2.0;

fn walls(spot: Spot, unknown: Side) -> Walls {
    match spot.place.unwrap_or(unknown) {
        Side::Outside => Walls::Outside,
        Side::Inside => Walls::Inside(spot.building.map(|building| match building {
            Building::Traditional => entry::Building::Traditional,
            Building::Insulated => entry::Building::Insulated,
        })),
    }
}

pub(super) fn place(latitude_deg: f64, longitude_deg: f64) -> Place {
    Place { latitude_deg, longitude_deg }
}

fn rate_margin(radio: &RadioUse, gateway: &Gateway, data_rate: u8, received: Dbm) -> Option<RateMargin> {
    let modulation = radio.region.modulation(data_rate)?;
    let weakest = weakest(modulation, gateway.sensitivity, gateway.noise)?;
    Some(RateMargin { data_rate, modulation, weakest, margin: received - weakest })
}

fn answer(radio: &RadioUse, data_rate: u8, at: Frequency, received: Dbm) -> Option<Answer> {
    let modulation = radio.region.down_modulation(data_rate)?;
    let weakest = weakest(modulation, Sensitivity::Measured, None)?;
    let airtime = airtime::downlink(modulation, airtime::EMPTY_FRAME)?;
    let duty = Law::of_region(&radio.region.name).and_then(|law| {
        let usable = law.bands_at(at).filter(|band| band.refused.is_none()).map(|band| band.duty_cycle);
        usable.flatten().map(Share::fraction).reduce(f64::max)
    });
    let per_hour = duty.map(|duty| (Duration::from_hours(1.0) * duty / airtime).floor());
    Some(Answer { data_rate, margin: received - weakest, airtime, per_hour })
}
