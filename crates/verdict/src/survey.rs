//! What a survey of a site says about its links: before, after, and what looks wrong.

use design::node::Design;
use design::surroundings::Place as Side;

use forecast::radio::demodulation::{least_snr, usual_noise};
use forecast::radio::level::{Cause, Doubtful, Level};
use forecast::radio::link::{frequency, links, place_is_unknown};
use forecast::radio::survey::{LinkLevel, Predicted, Run, Survey, SurveyLog, Suspect};
use forecast::terrain::Terrain;

/// A survey whose packets went at a frequency so much off is one of another band (own choice).
const SAME_BAND: f64 = 0.05;

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
}

/// A survey laid over its site.
#[derive(Clone, Debug, PartialEq)]
pub struct Surveyed {
    /// The links that were looked at, in the order of the site.
    pub links: Vec<SurveyedLink>,
    /// The gateways that were looked at.
    pub gateways: Vec<SurveyedGateway>,
    /// What looks wrong, in words.
    pub suspects: Vec<String>,
    /// A place of an antenna is not written: the level before was taken for outside.
    pub place_unknown: bool,
}

/// Lays a survey over the nodes of a site.
///
/// # Errors
/// Nodes or gateways that the site doesn't have, or another band.
pub fn survey(
    designs: &[Design],
    log: &SurveyLog,
    terrain: Option<&Terrain>,
) -> Result<Surveyed, SurveyError> {
    let names: Vec<&str> = designs.iter().map(|design| design.name.as_str()).collect();
    let gateways: Vec<&str> = designs.first().map_or(Vec::new(), |design| {
        design.surroundings.gateways.iter().map(|gateway| gateway.name.as_str()).collect()
    });
    known("node", &log.nodes(), &names)?;
    known("gateway", &log.gateways(), &gateways)?;
    same_band(designs, log)?;
    let (case, laid) = laid_over(designs, log, terrain);
    let fitted = case.fit();
    let count =
        |link: usize, of: fn(&Run) -> u32| case.runs.iter().filter(|run| run.link == link).map(of).sum();
    let link = |(at, link): (usize, &Laid)| {
        let after = fitted.links[at];
        SurveyedLink {
            node: link.node.clone(),
            gateway: link.gateway.clone(),
            heard: count(at, |run| run.heard),
            missed: count(at, |run| run.missed),
            before: link.before,
            after: LinkLevel {
                mean_dbm: after.mean_dbm - link.other_power_db,
                quantiles_dbm: after.quantiles_dbm.map(|dbm| dbm - link.other_power_db),
                ..after
            },
        }
    };
    let gateway = |at: usize| {
        let first = case.links.iter().position(|link| link.gateway == at)?;
        let name = laid[first].gateway.clone();
        let noise_dbm = log.noise_dbm(&name);
        Some(SurveyedGateway {
            correction: fitted.gateways[at],
            spot_sd_db: fitted.spot_sd_db[at],
            noise_dbm,
            name,
        })
    };
    Ok(Surveyed {
        links: laid.iter().enumerate().map(link).collect(),
        gateways: (0..case.gateway_sd_db.len()).filter_map(gateway).collect(),
        suspects: fitted.suspects.iter().map(|one| suspect(one, &log.nodes(), &laid)).collect(),
        place_unknown: designs.iter().any(place_is_unknown),
    })
}

/// A link of the survey at its place in the site.
struct Laid {
    node: String,
    gateway: String,
    before: Doubtful,
    /// How much more power it was surveyed with than its design sends.
    other_power_db: f64,
}

/// The survey as a case to be fitted, and its links; those with nothing sent are left out.
fn laid_over(designs: &[Design], log: &SurveyLog, terrain: Option<&Terrain>) -> (Survey, Vec<Laid>) {
    let nodes = log.nodes();
    let mut case = Survey { nodes: nodes.len(), ..Survey::default() };
    let (mut laid, mut gateways): (Vec<Laid>, Vec<String>) = (Vec::new(), Vec::new());
    for (node, name) in nodes.iter().enumerate() {
        let Some(design) = designs.iter().find(|design| design.name == *name) else { continue };
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
            laid.push(Laid { node: design.name.clone(), gateway: link.gateway, before, other_power_db });
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

fn suspect(suspect: &Suspect, nodes: &[&str], links: &[Laid]) -> String {
    match *suspect {
        Suspect::FarOff { link, over_db } => {
            let Laid { node, gateway, .. } = &links[link];
            format!(
                "{node} at {gateway} is heard {over_db:+.0} dB off all that could explain it: look at both places"
            )
        }
        Suspect::Swapped { node, other } => format!(
            "{} and {} fit far better at each other's place: were they mixed up?",
            nodes[node], nodes[other]
        ),
        Suspect::Weak { node, over_db } => format!(
            "{} is {:.0} dB weaker than the others at every gateway: look at its antenna, plug and power",
            nodes[node], -over_db
        ),
    }
}
