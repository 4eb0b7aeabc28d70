//! What a survey of a site says about its links: before, after, and what looks wrong.

use design::change::Change;
use design::date::Date;
use design::node::Design;
use design::quantity::{Angle, Decibels, Uncertain};
use design::surroundings::{GatewaySurvey, Place as Side};

use forecast::radio::demodulation::{least_snr, usual_noise};
use forecast::radio::level::{Cause, Doubtful, Level};
use forecast::radio::link::{frequency, links};
use forecast::radio::survey::{LinkLevel, Predicted, Run, Survey, SurveyLog, Suspect};
use forecast::terrain::{Place, Terrain};

/// A survey whose packets went at a frequency so much off is one of another band (own choice).
const SAME_BAND: f64 = 0.05;

/// A named node that was surveyed farther from where it stands is another position: about half a kilometre (own choice).
const SAME_PLACE_DEG: f64 = 0.005;
/// Positions that are fitted together: the time goes with their third power (own choice).
const MOST_POSITIONS: usize = 400;

/// A survey that can't be laid over a site.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SurveyError {
    /// Names that the site doesn't know.
    #[error("the site has no {what} {names}; it has {known}")]
    Unknown {
        /// Nodes or gateways.
        what: &'static str,
        /// Those of the survey.
        names: String,
        /// Those of the site.
        known: String,
    },
    /// A position that can't be used.
    #[error("line {line}: {reason}")]
    Position {
        /// Counted from 1.
        line: u64,
        /// Why, and what to do.
        reason: String,
    },
    /// More positions than can be fitted together.
    #[error(
        "{0} positions are too many to be fitted together, at most {MOST_POSITIONS}: take one day or one node at a time"
    )]
    TooMany(usize),
    /// Another band.
    #[error(
        "line {line}: the survey was sent at {survey_mhz} MHz, and the site sends at {site_mhz} MHz: levels of one band say nothing of another"
    )]
    OtherBand {
        /// Counted from 1.
        line: u64,
        /// As in the file.
        survey_mhz: String,
        /// As in the design.
        site_mhz: String,
    },
}

/// A link before and after its survey, at the power of the design.
#[derive(Clone, Debug, PartialEq)]
pub struct SurveyedLink {
    /// Name of the node.
    pub node: String,
    /// Name of the gateway.
    pub gateway: String,
    /// Where the node stood: north and east \[degrees\].
    pub place_deg: [f64; 2],
    /// Packets that were heard.
    pub heard: u32,
    /// Packets that were missed.
    pub missed: u32,
    /// Before \[dBm\].
    pub before: Doubtful,
    /// After.
    pub after: LinkLevel,
}

/// What a gateway was found to hear more or less than predicted.
#[derive(Clone, Debug, PartialEq)]
pub struct SurveyedGateway {
    /// Its name.
    pub name: String,
    /// More or less, the error of the model with it.
    pub correction: Doubtful,
    /// From one spot to the next \[dB\].
    pub spot_sd_db: f64,
    /// Noise by its own figures \[dBm\]; `None` where it heard no weak packet.
    pub noise_dbm: Option<f64>,
    /// Packets that were sent.
    pub packets: u32,
    /// The last day; `None` without any packet.
    pub until: Option<Date>,
}

/// A survey laid over its site.
#[derive(Clone, Debug, PartialEq)]
pub struct Surveyed {
    /// The links that were looked at, in the order of the site.
    pub links: Vec<SurveyedLink>,
    /// The gateways that were looked at.
    pub gateways: Vec<SurveyedGateway>,
    /// What looks wrong.
    pub suspects: Vec<Suspected>,
    /// Gateways and nodes of which the file does not say on which side of a wall they are: the level before was taken for
    /// outside.
    pub unplaced: Vec<String>,
    /// Nodes of the site that were surveyed where they stand; other positions were walked to.
    pub at_nodes: Vec<String>,
}

/// Something in a survey that looks wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suspected {
    /// The nodes that it is about.
    pub nodes: Vec<String>,
    /// What it is and what to look at.
    pub text: String,
}

/// Why a survey should not be written into the file.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotWritten {
    /// The prediction that it is over is not known.
    #[error(
        "it is not said on which side of a wall {0} is: the prediction that the survey is over hangs on it"
    )]
    Unplaced(String),
    /// It would carry a mistake into the file.
    #[error("something in the survey looks wrong: {0}")]
    LooksWrong(String),
}

impl Surveyed {
    /// What it found, by gateway, as it goes into the file of the site.
    ///
    /// # Errors
    /// What has to be settled before.
    pub fn found(&self) -> Result<Vec<(&str, GatewaySurvey)>, NotWritten> {
        if !self.unplaced.is_empty() {
            return Err(NotWritten::Unplaced(self.unplaced.join(", ")));
        }
        if let Some(suspect) = self.suspects.first() {
            return Err(NotWritten::LooksWrong(suspect.text.clone()));
        }
        Ok(self.gateways.iter().filter_map(|gateway| Some((&*gateway.name, self.at(gateway)?))).collect())
    }

    fn at(&self, gateway: &SurveyedGateway) -> Option<GatewaySurvey> {
        let links = self.links.iter().filter(|link| link.gateway == gateway.name);
        let nodes = links.filter(|link| self.at_nodes.contains(&link.node)).map(|link| {
            (link.node.clone(), uncertain(link.after.mean_dbm - link.before.mean_db, link.after.sd_db))
        });
        Some(GatewaySurvey {
            correction: uncertain(gateway.correction.mean_db, gateway.correction.sd_db),
            spots: tenths(gateway.spot_sd_db),
            packets: gateway.packets,
            until: gateway.until?,
            nodes: nodes.collect(),
        })
    }
}

fn uncertain(mean_db: f64, sd_db: f64) -> Uncertain<Decibels> {
    Uncertain { nominal: tenths(mean_db), spread_si: tenths(sd_db).decibels() }
}

/// To tenths of a decibel: no survey knows more.
fn tenths(db: f64) -> Decibels {
    Decibels::from_decibels((10.0 * db).round() / 10.0)
}

/// Lays a survey over the nodes of a site; positions that are not those of its nodes were walked to with a node like
/// `walked`. What an earlier survey found is not looked at.
///
/// # Errors
/// Nodes or gateways that the site doesn't have, positions that can't be used, or another band.
pub fn survey(
    designs: &[Design],
    walked: &Design,
    log: &SurveyLog,
    terrain: Option<&Terrain>,
) -> Result<Surveyed, SurveyError> {
    let gateways: Vec<&str> = designs.first().map_or(Vec::new(), |design| {
        design.surroundings.gateways.iter().map(|gateway| gateway.name.as_str()).collect()
    });
    known("gateway", &log.gateways(), &gateways)?;
    same_band(designs, log)?;
    let stood = stood(designs, walked, log, terrain)?;
    let (case, laid) = laid_over(&stood, log, terrain);
    let fitted = case.fit();
    let count =
        |link: usize, of: fn(&Run) -> u32| case.runs.iter().filter(|run| run.link == link).map(of).sum();
    let link = |(at, link): (usize, &Laid)| {
        let packets = [count(at, |run| run.heard), count(at, |run| run.missed)];
        link.surveyed(packets, fitted.links[at])
    };
    let gateway = |at: usize| {
        let first = case.links.iter().position(|link| link.gateway == at)?;
        let name = laid[first].gateway.clone();
        let sent = |link: &usize| count(*link, |run| run.heard + run.missed);
        let own = (0..case.links.len()).filter(|link| case.links[*link].gateway == at);
        Some(SurveyedGateway {
            correction: fitted.gateways[at],
            spot_sd_db: fitted.spot_sd_db[at],
            noise_dbm: log.noise_dbm(&name),
            packets: own.map(|link| sent(&link)).sum(),
            until: log.packets.iter().map(|packet| packet.day).max(),
            name,
        })
    };
    Ok(Surveyed {
        links: laid.iter().enumerate().map(link).collect(),
        gateways: (0..case.gateway_sd_db.len()).filter_map(gateway).collect(),
        suspects: fitted.suspects.iter().map(|one| suspect(one, &log.nodes(), &laid)).collect(),
        unplaced: unplaced(&stood, &laid),
        at_nodes: stood
            .iter()
            .map(|design| design.name.clone())
            .filter(|name| designs.iter().any(|design| design.name == *name))
            .collect(),
    })
}

/// The nodes of a survey where they stood, in the order of its names, without what earlier surveys found.
fn stood(
    designs: &[Design],
    walked: &Design,
    log: &SurveyLog,
    terrain: Option<&Terrain>,
) -> Result<Vec<Design>, SurveyError> {
    let names = log.nodes();
    if names.len() > MOST_POSITIONS {
        return Err(SurveyError::TooMany(names.len()));
    }
    let mut stood = Vec::with_capacity(names.len());
    for name in names {
        let mut own = log.packets.iter().filter(|packet| packet.node == name);
        let placed = own.find_map(|packet| Some((packet.line, packet.place_deg?)));
        let site = designs.iter().find(|design| design.name == name);
        let design = match (site, placed) {
            (Some(design), Some((line, place_deg))) => stands_there(design, line, place_deg)?.clone(),
            (Some(design), None) => design.clone(),
            (None, Some((line, place_deg))) => moved(walked, name, line, place_deg, terrain)?,
            (None, None) => {
                let known = designs.iter().map(|design| design.name.as_str()).collect::<Vec<_>>().join(", ");
                return Err(SurveyError::Unknown { what: "node", names: name.to_owned(), known });
            }
        };
        stood.push(unsurveyed(design));
    }
    Ok(stood)
}

/// The design without what surveys found, which only adds to it.
fn unsurveyed(design: Design) -> Design {
    if design.surroundings.gateways.iter().all(|gateway| gateway.survey.is_none()) {
        return design;
    }
    design.with(Change::Unsurveyed).expect("what is sound with a survey is sound without")
}

/// The design, if the survey was where it stands.
fn stands_there(design: &Design, line: u64, [north_deg, east_deg]: [f64; 2]) -> Result<&Design, SurveyError> {
    let (latitude_deg, longitude_deg) = (design.site.latitude.degrees(), design.site.longitude.degrees());
    let off_deg = (latitude_deg - north_deg).abs().max((longitude_deg - east_deg).abs());
    if off_deg <= SAME_PLACE_DEG {
        return Ok(design);
    }
    let reason = format!(
        "{} stands at {latitude_deg:.4}, {longitude_deg:.4} and was surveyed at {north_deg:.4}, {east_deg:.4}: correct \
         one of the two, or leave the node out of the row, so that it counts as a position that was walked to",
        design.name
    );
    Err(SurveyError::Position { line, reason })
}

/// A node like this one at a position that was walked to.
fn moved(
    walked: &Design,
    name: &str,
    line: u64,
    [latitude_deg, longitude_deg]: [f64; 2],
    terrain: Option<&Terrain>,
) -> Result<Design, SurveyError> {
    let at = Place { latitude_deg, longitude_deg };
    if terrain.is_some_and(|terrain| terrain.height_m(at).is_none()) {
        let reason = format!(
            "{latitude_deg:.4}, {longitude_deg:.4} lies on no tile of the terrain: name one that holds it in [ground], or \
             take the row out"
        );
        return Err(SurveyError::Position { line, reason });
    }
    let [north, east] = [latitude_deg, longitude_deg].map(Angle::from_degrees);
    let change = Change::Position(north, east, walked.site.elevation);
    let refused = |error: design::change::Refused| SurveyError::Position { line, reason: error.message };
    walked.with(change).and_then(|moved| moved.with(Change::Name(name.to_owned()))).map_err(refused)
}

/// Surveyed gateways and nodes of which it is not said on which side of a wall they are.
fn unplaced(stood: &[Design], laid: &[Laid]) -> Vec<String> {
    let nodes = stood.iter().filter(|design| design.surroundings.node.place.is_none());
    let nodes = nodes.filter(|design| laid.iter().any(|link| link.node == design.name));
    let gateways = stood.first().into_iter().flat_map(|design| &design.surroundings.gateways);
    let gateways = gateways.filter(|gateway| gateway.spot.place.is_none());
    let gateways = gateways.filter(|gateway| laid.iter().any(|link| link.gateway == gateway.name));
    nodes
        .map(|design| design.name.clone())
        .chain(gateways.map(|gateway| format!("gateway {}", gateway.name)))
        .collect()
}

/// A link of the survey at its place in the site.
struct Laid {
    node: String,
    gateway: String,
    place_deg: [f64; 2],
    before: Doubtful,
    /// How much more power it was surveyed with than its design sends.
    other_power_db: f64,
}

impl Laid {
    /// At the power of the design, where so many packets were heard and missed and the fit has this level.
    fn surveyed(&self, [heard, missed]: [u32; 2], fitted: LinkLevel) -> SurveyedLink {
        let at_own_power = |dbm: f64| dbm - self.other_power_db;
        SurveyedLink {
            node: self.node.clone(),
            gateway: self.gateway.clone(),
            place_deg: self.place_deg,
            heard,
            missed,
            before: self.before,
            after: LinkLevel {
                mean_dbm: at_own_power(fitted.mean_dbm),
                quantiles_dbm: fitted.quantiles_dbm.map(at_own_power),
                ..fitted
            },
        }
    }
}

/// The survey as a case to be fitted, and its links; those with nothing sent are left out.
fn laid_over(stood: &[Design], log: &SurveyLog, terrain: Option<&Terrain>) -> (Survey, Vec<Laid>) {
    let nodes = log.nodes();
    let mut case = Survey { nodes: nodes.len(), ..Survey::default() };
    let (mut laid, mut gateways): (Vec<Laid>, Vec<String>) = (Vec::new(), Vec::new());
    for (node, (name, design)) in nodes.iter().zip(stood).enumerate() {
        let other_power_db = other_power_db(design, log);
        for link in links(design, terrain, Side::Outside) {
            let runs = log.runs(name, &link.gateway, case.links.len(), |rate| limit_dbm(design, rate));
            if runs.is_empty() {
                continue;
            }
            let gateway = gateways.iter().position(|known| *known == link.gateway).unwrap_or_else(|| {
                gateways.push(link.gateway.clone());
                case.gateway_sd_db.push(of_gateway_db(&link.level));
                gateways.len() - 1
            });
            let before = link.level.spread();
            case.links.push(Predicted { node, gateway, level_dbm: before.mean_db + other_power_db });
            case.runs.extend(runs);
            let place_deg = [design.site.latitude, design.site.longitude].map(Angle::degrees);
            let (node, gateway) = (design.name.clone(), link.gateway);
            laid.push(Laid { node, gateway, place_deg, before, other_power_db });
        }
    }
    (case, laid)
}

fn known(what: &'static str, named: &[&str], site: &[&str]) -> Result<(), SurveyError> {
    let strange: Vec<&str> = named.iter().copied().filter(|name| !site.contains(name)).collect();
    if strange.is_empty() {
        return Ok(());
    }
    Err(SurveyError::Unknown { what, names: strange.join(", "), known: site.join(", ") })
}

fn same_band(designs: &[Design], log: &SurveyLog) -> Result<(), SurveyError> {
    let Some(radio) = designs.iter().find_map(|design| design.radio.as_ref()) else { return Ok(()) };
    let site_mhz = frequency(radio).megahertz();
    let other = log.packets.iter().find_map(|packet| {
        let survey_mhz = packet.frequency_mhz?;
        ((survey_mhz / site_mhz - 1.0).abs() > SAME_BAND).then_some((packet.line, survey_mhz))
    });
    other.map_or(Ok(()), |(line, survey_mhz)| {
        let [survey_mhz, site_mhz] = [survey_mhz, site_mhz].map(|mhz| format!("{mhz:.1}"));
        Err(SurveyError::OtherBand { line, survey_mhz, site_mhz })
    })
}

/// The weakest level at a data rate, on the scale of the signal-to-noise ratio.
fn limit_dbm(design: &Design, data_rate: u8) -> Option<f64> {
    let modulation = design.radio.as_ref()?.region.modulation(data_rate)?;
    Some(usual_noise().dbm() + least_snr(modulation)?.decibels())
}

/// How much more power the survey of a node was sent with than its design sends.
fn other_power_db(design: &Design, log: &SurveyLog) -> f64 {
    let sent = log.packets.iter().find(|packet| packet.node == design.name).map(|packet| packet.power_dbm);
    sent.zip(design.radio.as_ref()).map_or(0.0, |(sent_dbm, radio)| sent_dbm - radio.power.dbm())
}

/// How far a level is in doubt because of its gateway alone.
fn of_gateway_db(level: &Level) -> f64 {
    use Cause::{GatewayAntenna, GatewayClearing, GatewayClutter, GatewayEntry, Noise};
    let own = [GatewayAntenna, GatewayClutter, GatewayClearing, GatewayEntry, Noise];
    let parts = level.parts();
    parts.iter().filter(|part| own.contains(&part.cause)).map(|part| part.sd_db().powi(2)).sum::<f64>().sqrt()
}

fn suspect(suspect: &Suspect, nodes: &[&str], links: &[Laid]) -> Suspected {
    let named = |of: &[usize]| of.iter().map(|node| nodes[*node].to_owned()).collect();
    match *suspect {
        Suspect::FarOff { link, over_db } => {
            let Laid { node, gateway, .. } = &links[link];
            let text = format!(
                "{node} at {gateway} is heard {over_db:+.0} dB off all that could explain it: look at both places"
            );
            Suspected { nodes: vec![node.clone()], text }
        }
        Suspect::Swapped { node, other } => {
            let text = format!(
                "{} and {} fit far better at each other's place: were they mixed up?",
                nodes[node], nodes[other]
            );
            Suspected { nodes: named(&[node, other]), text }
        }
        Suspect::Weak { node, over_db } => {
            let text = format!(
                "{} is {:.0} dB weaker than the others at every gateway: look at its antenna, plug and power",
                nodes[node], -over_db
            );
            Suspected { nodes: named(&[node]), text }
        }
    }
}
