//! The level at which a gateway hears a node, before anybody has measured there, with all that is not known about it.
//!
//! Levels are on the scale of the signal-to-noise ratio: a level of -117 dBm is an SNR of 0 dB in 125 kHz, whatever the
//! receiver prints as its signal strength. The doubt is kept in parts, each drawn once per life, so that it can be said
//! which of them costs most and what would settle it.
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "places in a table are clamped")]

use path::clutter::{CLEARING, End, Way};
use path::{Range, entry};

use crate::random::{Stream, normal_quantile};
use crate::stats::normal::share_below;

/// The level of an SNR of 0 dB in 125 kHz \[dBm\]: thermal noise and a receiver's noise figure of 6 dB.
pub const ZERO_SNR_DBM: f64 = -117.0;
/// Scatter from packet to packet at one spot: frequency and fading, measured on open data sets, 2 to 5 \[dB\].
pub const PACKET_SD_DB: f64 = 4.0;
/// Scatter from day to day at one spot: leaves, snow, people (the same) \[dB\].
pub const DAY_SD_DB: f64 = 3.0;
/// Error of the path model that all links of a place share (own choice) \[dB\].
pub const SITE_SD_DB: f64 = 6.0;
/// From one spot to the next (measured in cities, 7.8 to 9; Rec. ITU-R P.1546 gives 1.2 + 1.3 lg f/MHz, from memory) \[dB\].
pub const SPOT_SD_DB: f64 = 8.0;
/// The same where terrain and a map of what stands on it are known \[dB\].
pub const MAPPED_SPOT_SD_DB: f64 = 5.0;
/// What a gateway's surroundings add to the noise of its receiver, and its scatter (own choice) \[dB\].
pub const NOISE_DB: [f64; 2] = [1.6, 1.2];
/// Scatter of the logarithm of a clutter height that is taken from a table (own choice).
const CLUTTER_LOG_SD: f64 = 0.25;
/// Scatter of the logarithm of a clearing of which nothing is known (own choice).
const CLEARING_LOG_SD: f64 = 0.4;
/// From so far the air matters, which is not known: distance \[km\] and scatter \[dB\] (from the maps of Rec. ITU-R P.453:
/// 4 to 10 dB at 50 to 100 km).
const FAR: [(f64, f64); 2] = [(50.0, 6.0), (20.0, 3.0)];
/// Share of traditional buildings where the kind is not known (own choice).
const TRADITIONAL: f64 = 0.7;
/// Points of a distribution of entry losses that a closed form goes through.
const ENTRY_POINTS: u32 = 21;
/// Entry losses are tabulated at so many deviates, from the least that the model takes to the greatest.
const ENTRY_DEVIATES: usize = 41;

/// Something about a link that is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// How well the model of the path suits the place.
    Site,
    /// The air, on a long path.
    Air,
    /// This spot: the last house, the next tree.
    Spot,
    /// Noise at the gateway.
    Noise,
    /// The node's antenna and what is near it.
    NodeAntenna,
    /// How high roofs or trees stand around the node.
    NodeClutter,
    /// How far they are from it.
    NodeClearing,
    /// The walls around the node.
    NodeEntry,
    /// The gateway's antenna and cable.
    GatewayAntenna,
    /// How high roofs or trees stand around the gateway.
    GatewayClutter,
    /// How far they are from it.
    GatewayClearing,
    /// The walls around the gateway.
    GatewayEntry,
}

impl Cause {
    /// All, in the order in which they are drawn.
    pub const ALL: [Self; 12] = [
        Self::Site,
        Self::Air,
        Self::Spot,
        Self::Noise,
        Self::NodeAntenna,
        Self::NodeClutter,
        Self::NodeClearing,
        Self::NodeEntry,
        Self::GatewayAntenna,
        Self::GatewayClutter,
        Self::GatewayClearing,
        Self::GatewayEntry,
    ];

    /// What a survey of a gateway settles for positions where nobody was.
    pub const OF_GATEWAY: [Self; 6] = [
        Self::Site,
        Self::Noise,
        Self::GatewayAntenna,
        Self::GatewayClutter,
        Self::GatewayClearing,
        Self::GatewayEntry,
    ];

    /// Whether it is one and the same for all links of a node.
    #[must_use]
    pub fn is_of_node(self) -> bool {
        use Cause::{NodeAntenna, NodeClearing, NodeClutter, NodeEntry, Site};
        matches!(self, Site | NodeAntenna | NodeClutter | NodeClearing | NodeEntry)
    }
}

/// Walls between an antenna and the open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Walls {
    /// None: it is outside.
    Outside,
    /// Of a building of this kind; `None` if the kind is not known.
    Inside(Option<entry::Building>),
}

/// A mean and a standard deviation \[dB\].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubtful {
    /// The mean.
    pub mean_db: f64,
    /// The standard deviation.
    pub sd_db: f64,
}

/// What is known of a link.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// From the node to the gateway, clutter and clearings as far as they are known.
    pub way: Way,
    /// Around the node, then around the gateway.
    pub walls: [Walls; 2],
    /// At the node's antenna plug \[dBm\].
    pub sent_dbm: f64,
    /// Realised gain of the node's antenna with what is near it.
    pub node_antenna: Doubtful,
    /// Realised gain of the gateway's antenna, its cable taken off.
    pub gateway_antenna: Doubtful,
    /// Noise at the gateway above that of its receiver; exact where it was measured.
    pub noise: Doubtful,
    /// Scatter from one spot to the next \[dB\].
    pub spot_sd_db: f64,
    /// Whether the clearings of the two ends were measured: of the others nothing is known.
    pub clearing_known: [bool; 2],
}

/// The level of one link.
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Everything unknown at its middle \[dBm\].
    middle_dbm: f64,
    parts: Vec<DoubtPart>,
}

/// One part of the doubt.
#[derive(Clone, Debug, PartialEq)]
pub struct DoubtPart {
    /// What is not known.
    pub cause: Cause,
    shape: Shape,
}

/// How the level moves with the standard normal deviate of a cause.
#[derive(Clone, Debug, PartialEq)]
enum Shape {
    /// In proportion: by so much for one standard deviation \[dB\].
    Even(f64),
    /// By so much at one standard deviation down, and up \[dB\].
    Bent(f64, f64),
    /// By the entry loss of walls over its middle: tabulated by deviate \[dB\].
    Walls(Box<[f64; ENTRY_DEVIATES]>),
}

/// What one life draws for one link: a standard normal deviate for each cause.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draws([f64; Cause::ALL.len()]);

impl Draws {
    /// Everything at its middle.
    pub const MIDDLE: Self = Self([0.0; Cause::ALL.len()]);

    /// The draws of one life for each of its links: what is the node's own is the same for all of them.
    pub fn of_life(random: &mut Stream, links: usize) -> Vec<Self> {
        let node = Self::any(random);
        let link = |_| {
            let mut draws = Self::any(random);
            for cause in Cause::ALL.into_iter().filter(|cause| cause.is_of_node()) {
                draws.0[cause as usize] = node.0[cause as usize];
            }
            draws
        };
        (0..links).map(link).collect()
    }

    fn any(random: &mut Stream) -> Self {
        Self(std::array::from_fn(|_| random.normal()))
    }
}

impl Level {
    /// The level of a link; `loss_db` gives the median loss \[dB\] of a way like that of the link, with other clutter.
    ///
    /// # Errors
    /// What `loss_db` refuses; walls at a frequency outside [`entry::FREQUENCY`].
    pub fn new<E: From<path::Error>>(
        known: &Known,
        mut loss_db: impl FnMut(&Way) -> Result<f64, E>,
    ) -> Result<Self, E> {
        let lost_db = loss_db(&known.way)?;
        let mut parts = vec![
            DoubtPart { cause: Cause::Site, shape: Shape::Even(SITE_SD_DB) },
            DoubtPart { cause: Cause::Spot, shape: Shape::Even(known.spot_sd_db) },
            DoubtPart { cause: Cause::Noise, shape: Shape::Even(known.noise.sd_db) },
            DoubtPart { cause: Cause::NodeAntenna, shape: Shape::Even(known.node_antenna.sd_db) },
            DoubtPart { cause: Cause::GatewayAntenna, shape: Shape::Even(known.gateway_antenna.sd_db) },
        ];
        let far = FAR.iter().find(|(from_km, _)| known.way.length_km > *from_km);
        parts.extend(far.map(|(_, sd_db)| DoubtPart { cause: Cause::Air, shape: Shape::Even(*sd_db) }));
        parts.extend(around(known, lost_db, loss_db)?);
        let mut walls_db = 0.0;
        for (cause, walls) in [Cause::NodeEntry, Cause::GatewayEntry].into_iter().zip(known.walls) {
            let Walls::Inside(kind) = walls else { continue };
            let lost_db = entry_losses_db(kind, known.way.frequency_ghz)?;
            let middle_db = lost_db[ENTRY_DEVIATES / 2];
            walls_db += middle_db;
            parts.push(DoubtPart { cause, shape: Shape::Walls(Box::new(lost_db.map(|db| middle_db - db))) });
        }
        let gains_db = known.node_antenna.mean_db + known.gateway_antenna.mean_db;
        let middle_dbm = known.sent_dbm + gains_db - lost_db - walls_db - known.noise.mean_db;
        Ok(Self { middle_dbm, parts })
    }

    /// Everything unknown at its middle \[dBm\].
    #[must_use]
    pub fn middle_dbm(&self) -> f64 {
        self.middle_dbm
    }

    /// The level of a life \[dBm\], in the middle of its days and packets.
    #[must_use]
    pub fn at(&self, draws: &Draws) -> f64 {
        self.middle_dbm + self.parts.iter().map(|part| part.moved_db(draws)).sum::<f64>()
    }

    /// The parts of the doubt, the greatest first.
    #[must_use]
    pub fn parts(&self) -> Vec<DoubtPart> {
        let mut parts = self.parts.clone();
        parts.sort_by(|one, other| other.sd_db().total_cmp(&one.sd_db()).then(one.cause.cmp(&other.cause)));
        parts
    }

    /// The same link surveyed: the parts in `settled` give way to this correction of their mean, and spots scatter by
    /// `spot_sd_db` \[dB\].
    #[must_use]
    pub fn corrected(&self, settled: &[Cause], correction: Doubtful, spot_sd_db: Option<f64>) -> Self {
        let (gone, mut parts): (Vec<DoubtPart>, Vec<DoubtPart>) =
            self.parts.iter().cloned().partition(|part| settled.contains(&part.cause));
        let gone_db: f64 = gone.iter().map(|part| part.spread().mean_db).sum();
        parts.push(DoubtPart { cause: Cause::Site, shape: Shape::Even(correction.sd_db) });
        if let (Some(sd_db), Some(spot)) =
            (spot_sd_db, parts.iter_mut().find(|part| part.cause == Cause::Spot))
        {
            spot.shape = Shape::Even(sd_db);
        }
        Self { middle_dbm: self.middle_dbm + gone_db + correction.mean_db, parts }
    }

    /// Mean and standard deviation over lives.
    #[must_use]
    pub fn spread(&self) -> Doubtful {
        let (mean_db, variance) = self.parts.iter().fold((0.0, 0.0), |(mean_db, variance), part| {
            let part = part.spread();
            (mean_db + part.mean_db, variance + part.sd_db * part.sd_db)
        });
        Doubtful { mean_db: self.middle_dbm + mean_db, sd_db: variance.sqrt() }
    }

    /// Share of lives whose level exceeds `limit_dbm`: a normal distribution for all but walls, which are gone through
    /// point by point.
    #[must_use]
    pub fn share_above(&self, limit_dbm: f64) -> f64 {
        let (walls, others): (Vec<DoubtPart>, Vec<DoubtPart>) =
            self.parts.iter().cloned().partition(|part| matches!(part.shape, Shape::Walls(_)));
        let rest = Self { middle_dbm: self.middle_dbm, parts: others }.spread();
        let points = walls.iter().fold(vec![(1.0, 0.0)], |points, part| {
            let entry = part.points();
            points.iter().flat_map(|(w, db)| entry.iter().map(move |(v, more)| (w * v, db + more))).collect()
        });
        let above = |db: f64| share_below((rest.mean_db + db - limit_dbm) / rest.sd_db.max(1e-9));
        points.into_iter().map(|(weight, db)| weight * above(db)).sum()
    }

    /// The level that this share of lives stays below \[dBm\].
    #[must_use]
    pub fn quantile(&self, share: f64) -> f64 {
        let Doubtful { mean_db, sd_db } = self.spread();
        bisect(mean_db - 12.0 * sd_db - 1.0, mean_db + 12.0 * sd_db + 1.0, |dbm| {
            1.0 - self.share_above(dbm) < share
        })
    }
}

/// What clutter that stands higher, or farther away, than it was taken to makes of a level.
fn around<E>(
    known: &Known,
    lost_db: f64,
    mut loss_db: impl FnMut(&Way) -> Result<f64, E>,
) -> Result<Vec<DoubtPart>, E> {
    type Change = fn(End, f64) -> End;
    let higher: Change = |end, deviate| {
        let times = (CLUTTER_LOG_SD * deviate).exp();
        End { clutter_m: times * end.clutter_m, cover: end.cover.map(|higher| times * higher), ..end }
    };
    let wider: Change = |end, deviate| {
        let clearing_m = end.clearing_m * (CLEARING_LOG_SD * deviate).exp();
        End { clearing_m: clearing_m.clamp(CLEARING.min, CLEARING.max), ..end }
    };
    let unknown = [
        (Cause::NodeClutter, 0, higher),
        (Cause::NodeClearing, 0, wider),
        (Cause::GatewayClutter, 1, higher),
        (Cause::GatewayClearing, 1, wider),
    ];
    let is_unknown = |cause: Cause, at: usize| {
        let end = known.way.ends[at];
        let is_clearing = matches!(cause, Cause::NodeClearing | Cause::GatewayClearing);
        (end.clutter_m > 0.0 || end.cover.is_some()) && !(is_clearing && known.clearing_known[at])
    };
    let mut parts = Vec::new();
    for (cause, at, change) in unknown.into_iter().filter(|(cause, at, _)| is_unknown(*cause, *at)) {
        let mut moved_db = |deviate: f64| {
            let mut way = known.way;
            way.ends[at] = change(way.ends[at], deviate);
            Ok(lost_db - loss_db(&way)?)
        };
        parts.push(DoubtPart { cause, shape: Shape::Bent(moved_db(-1.0)?, moved_db(1.0)?) });
    }
    Ok(parts)
}

impl DoubtPart {
    /// By how much the draws of a life move the level \[dB\].
    fn moved_db(&self, draws: &Draws) -> f64 {
        let deviate = draws.0[self.cause as usize];
        match &self.shape {
            Shape::Even(sd_db) => sd_db * deviate,
            Shape::Bent(down_db, _) if deviate < 0.0 => -deviate * down_db,
            Shape::Bent(_, up_db) => deviate * up_db,
            Shape::Walls(moved_db) => interpolated(moved_db, deviate),
        }
    }

    /// Its standard deviation over lives \[dB\].
    #[must_use]
    pub fn sd_db(&self) -> f64 {
        self.spread().sd_db
    }

    fn spread(&self) -> Doubtful {
        match &self.shape {
            Shape::Even(sd_db) => Doubtful { mean_db: 0.0, sd_db: *sd_db },
            Shape::Bent(down_db, up_db) => {
                // Half of a normal distribution has the mean 1/sqrt(2 pi) and the mean square 1/2.
                let mean_db = (down_db + up_db) / (2.0 * std::f64::consts::PI).sqrt();
                let square = 0.5 * (down_db * down_db + up_db * up_db);
                Doubtful { mean_db, sd_db: (square - mean_db * mean_db).max(0.0).sqrt() }
            }
            Shape::Walls(_) => {
                let points = self.points();
                let mean_db: f64 = points.iter().map(|(weight, db)| weight * db).sum();
                let square: f64 = points.iter().map(|(weight, db)| weight * (db - mean_db).powi(2)).sum();
                Doubtful { mean_db, sd_db: square.sqrt() }
            }
        }
    }

    /// Weights and moves \[dB\] of a distribution of entry losses; one of nothing for other parts.
    fn points(&self) -> Vec<(f64, f64)> {
        let Shape::Walls(moved_db) = &self.shape else { return vec![(1.0, 0.0)] };
        let weight = 1.0 / f64::from(ENTRY_POINTS);
        let share = |point: u32| (f64::from(point) + 0.5) * weight;
        (0..ENTRY_POINTS)
            .map(|point| (weight, interpolated(moved_db, normal_quantile(share(point)))))
            .collect()
    }
}

/// The value of a table over [`entry::DEVIATE`] at a deviate.
fn interpolated(table: &[f64; ENTRY_DEVIATES], deviate: f64) -> f64 {
    let Range { min, max, .. } = entry::DEVIATE;
    let last = (ENTRY_DEVIATES - 1) as f64;
    let place = ((deviate - min) / (max - min)).clamp(0.0, 1.0) * last;
    let below = place.floor().min(last - 1.0);
    let [low, high] = [below, below + 1.0].map(|at| table[at as usize]);
    low + (place - below) * (high - low)
}

/// Entry losses \[dB\] by deviate, from the least of [`entry::DEVIATE`] to the greatest; of a kind that is not known, those
/// which equal shares of all buildings exceed.
fn entry_losses_db(
    kind: Option<entry::Building>,
    frequency_ghz: f64,
) -> Result<[f64; ENTRY_DEVIATES], path::Error> {
    use entry::Building::{Insulated, Traditional};
    let Range { min, max, .. } = entry::DEVIATE;
    let by_deviate = |loss_db: &dyn Fn(f64) -> f64| {
        std::array::from_fn(|at| loss_db(min + (max - min) * at as f64 / (ENTRY_DEVIATES - 1) as f64))
    };
    let into = |building| entry::Entry::at(frequency_ghz, building);
    if let Some(building) = kind {
        let entry = into(building)?;
        return Ok(by_deviate(&|deviate| entry.loss_db(deviate)));
    }
    let kinds = [(TRADITIONAL, into(Traditional)?), (1.0 - TRADITIONAL, into(Insulated)?)];
    let share_below_db = |db: f64| -> f64 {
        let deviate = |entry: &entry::Entry| bisect(min, max, |deviate| entry.loss_db(deviate) < db);
        kinds.iter().map(|(weight, entry)| weight * share_below(deviate(entry))).sum()
    };
    Ok(by_deviate(&|deviate| {
        bisect(LEAST_ENTRY_DB, MOST_ENTRY_DB, |db| share_below_db(db) < share_below(deviate))
    }))
}

/// No entry loss of the model lies beyond these \[dB\].
const LEAST_ENTRY_DB: f64 = -3.0;
const MOST_ENTRY_DB: f64 = 200.0;

/// Where `is_below` turns false, to 1e-9 of the bracket.
fn bisect(mut low: f64, mut high: f64, is_below: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..40 {
        let middle = f64::midpoint(low, high);
        if is_below(middle) { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// A level that would be seen in a log, where only packets that were heard stand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeenLevel {
    /// Middle of the packets that are heard \[dBm\].
    pub dbm: f64,
    /// How likely a link of this level stands in a log at all, over that of a strong one.
    pub weight: f64,
}

/// So many packets are sent before one that was heard stands in a log (own choice).
const SENT: f64 = 1000.0;

/// What a log would show of a level, given that only packets above `limit_dbm` are heard.
#[must_use]
pub fn given_heard(level_dbm: f64, limit_dbm: f64) -> SeenLevel {
    let below = (limit_dbm - level_dbm) / PACKET_SD_DB;
    let heard: f64 = share_below(-below);
    // The middle of what lies above the limit, from the far end, where no digits are lost.
    let middle = -normal_quantile((0.5 * heard).clamp(1e-300, 0.5));
    SeenLevel { dbm: level_dbm + PACKET_SD_DB * middle, weight: (SENT * heard).min(1.0) }
}

/// Quantiles of weighted levels \[dBm\]: for each share the level that it stays below; NaN without any weight.
#[must_use]
pub fn weighted_quantiles<const N: usize>(levels: &[SeenLevel], shares: [f64; N]) -> [f64; N] {
    let mut sorted = levels.to_vec();
    sorted.sort_by(|one, other| one.dbm.total_cmp(&other.dbm));
    let total: f64 = sorted.iter().map(|level| level.weight).sum();
    shares.map(|share| {
        let mut sum = 0.0;
        let reached = sorted.iter().find(|level| {
            sum += level.weight;
            sum >= share * total && level.weight > 0.0
        });
        reached.map_or(f64::NAN, |level| level.dbm)
    })
}
