//! Whether a node is heard: in how many of the spots it may find itself, at which data rates, and what would help.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of spots are small and not negative"
)]

mod findings;
mod unknowns;
mod ways;

use design::node::Design;
use design::quantity::{Decibels, Duration, Share};
use design::region::Modulation;
use design::surroundings::Place as Side;

use crate::finding::{Finding, Verdict};
use findings::{findings, other_region, side_unknown, way_untried};
use forecast::radio::adr::{self, Settling};
use forecast::radio::collisions::Sender;
use forecast::radio::link::{Bench, Link, bench, links, place_is_unknown};
use forecast::radio::spots::Spots;
use forecast::stats;
use forecast::terrain::Terrain;
use ways::remedies;

pub use findings::FARTHEST_KM;
pub use unknowns::{Errand, Unknown, cheapest};
pub use ways::Remedy;

/// Spots that are looked at.
const SPOTS: u64 = 1000;

/// What is said of being heard.
#[derive(Clone, Debug)]
pub struct Reach {
    /// Will it be heard?
    pub verdict: Verdict,
    /// The reason in one sentence, without the verdict's word.
    pub reason: String,
    /// The two answers of a design that does not say on which side of a wall its antennas are.
    pub sides: Option<Sides>,
    /// The smallest single changes that would make it hold.
    pub remedies: Vec<Remedy>,
    /// Links to the gateways, best first.
    pub links: Vec<Link>,
    /// The signal 10 m from a finished node, at the gateway that hears it best.
    pub bench: Option<Bench>,
    /// Share of spots on which the promised share of reports is heard.
    pub spots_heard: Share,
    /// Share of the reports heard on the middle spot.
    pub middle: Share,
    /// Mean share of the reports heard in the worst fifth of spots.
    pub worst_fifth: Share,
    /// Share of uplinks at each data rate on the middle spot, slowest first.
    pub middle_rates: Vec<(u8, Share)>,
    /// The same over all spots.
    pub all_rates: Vec<(u8, Share)>,
    /// How long adaptation takes; `None` where the data rate is fixed.
    pub settling: Option<Settling>,
    /// What is not known, what is worth most first.
    pub unknowns: Vec<Unknown>,
    /// What wants attention.
    pub findings: Vec<Finding>,
    /// What lives draw their spots from.
    pub spots: Spots,
}

/// Both answers of a design that does not say on which side of a wall its antennas are.
#[derive(Clone, Debug, PartialEq)]
pub struct Sides {
    /// With all of those outside.
    pub outside: Verdict,
    /// With all of those inside.
    pub inside: Verdict,
    /// By how much the best link is better outside: what knowing is worth.
    pub worth: Decibels,
    /// Whose antennas these are, with the verb: "gateway barn is".
    pub whose: String,
}

/// Judges whether a design is heard by its gateways, over a terrain if there is one, among others who send.
///
/// Antennas of which the file does not say where they are give two answers, and no verdict unless both agree; what else is
/// said, and what lives are lived with, is then the worse of the two.
#[must_use]
pub fn judge(design: &Design, terrain: Option<&Terrain>, crowd: &[Sender], seed: u64) -> Reach {
    let inside = judged(design, terrain, crowd, seed, Side::Inside);
    if inside.links.is_empty() || !place_is_unknown(design) {
        return inside;
    }
    let outside = judged(design, terrain, crowd, seed, Side::Outside);
    let level = |reach: &Reach| reach.links.first().map_or(0.0, Link::slowest_margin);
    let sides = Sides {
        outside: outside.verdict,
        inside: inside.verdict,
        worth: Decibels::from_decibels(level(&outside) - level(&inside)),
        whose: unsaid(design),
    };
    let agree = outside.verdict == inside.verdict;
    let terrain_unusable = inside.links.first().is_some_and(|best| best.path.problem.is_some());
    let mut findings = inside.findings;
    findings.insert(0, side_unknown(design, &sides));
    let unknowns = inside.links.first().map(|best| unknowns::unknowns(design, terrain, best, Some(&sides)));
    Reach {
        verdict: if agree { inside.verdict } else { Verdict::NotKnown },
        reason: if agree {
            inside.reason
        } else if terrain_unusable {
            outside.reason
        } else {
            format!(
                "it is not said whether {} outside: then {:.0} % of the plausible positions would do, inside {:.0} %; knowing is worth {:.0} dB",
                sides.whose,
                outside.spots_heard.percent(),
                inside.spots_heard.percent(),
                sides.worth.decibels()
            )
        },
        remedies: if agree { inside.remedies } else { Vec::new() },
        sides: Some(sides),
        unknowns: unknowns.unwrap_or_default(),
        findings,
        ..inside
    }
}

/// Whose antennas the file leaves on an unknown side of the walls, with the verb: "gateway barn is"; `None` where it says all.
#[must_use]
pub fn left_open(design: &Design) -> Option<String> {
    place_is_unknown(design).then(|| unsaid(design))
}

/// A data rate in short: "SF7", "SF7/250" where the channel is wider, "DR7" where it is not LoRa.
#[must_use]
pub fn rate_name(data_rate: u8, modulation: Modulation) -> String {
    match modulation {
        Modulation::Lora { spreading_factor, bandwidth } if bandwidth.kilohertz() > USUAL_KHZ => {
            format!("SF{spreading_factor}/{:.0}", bandwidth.kilohertz())
        }
        Modulation::Lora { spreading_factor, .. } => format!("SF{spreading_factor}"),
        _ => format!("DR{data_rate}"),
    }
}

/// The data rate of most uplinks on the middle spot: "SF10" where it is LoRa.
pub(crate) fn usual_rate(design: &Design, spots: &Spots) -> Option<String> {
    let rates = &spots.middle_state().data_rates;
    let (rate, _) = rates.iter().max_by(|one, other| one.1.fraction().total_cmp(&other.1.fraction()))?;
    Some(rate_name(*rate, design.radio.as_ref()?.region.modulation(*rate)?))
}

/// The width of most channels, with some room.
const USUAL_KHZ: f64 = 130.0;

fn unsaid(design: &Design) -> String {
    let gateways = design.surroundings.gateways.iter().filter(|gateway| gateway.spot.place.is_none());
    let names: Vec<&str> = gateways.map(|gateway| gateway.name.as_str()).collect();
    match (design.surroundings.node.place, names.as_slice()) {
        (None, []) => "the node is".to_owned(),
        (None, _) => "node and gateways are".to_owned(),
        (Some(_), [one]) => format!("gateway {one} is"),
        (Some(_), _) => "the gateways are".to_owned(),
    }
}

/// The answer with antennas of unknown place on this side of the walls.
fn judged(design: &Design, terrain: Option<&Terrain>, crowd: &[Sender], seed: u64, unknown: Side) -> Reach {
    let spots = Spots::new(design, links(design, terrain, unknown), crowd, seed);
    let seen = HeardOverPositions::of(&spots, design.promise.heard);
    let verdict = match spots.links().first() {
        None if other_region(design).is_some() => Verdict::Fails,
        None => Verdict::NotKnown,
        // Nobody has looked at the ridges that the terrain was named for.
        Some(best) if best.path.problem.is_some() && seen.verdict(design) != Verdict::Fails => {
            Verdict::NotKnown
        }
        Some(_) => seen.verdict(design),
    };
    let gateway = spots.links().first().and_then(|best| design.surroundings.gateways.get(best.index));
    let ways = (!spots.links().is_empty() && matches!(verdict, Verdict::Tight | Verdict::Fails))
        .then(|| remedies(design, terrain, crowd, seed, unknown));
    let (remedies, untried) = ways.map_or_else(Default::default, |ways| (ways.found, ways.untried));
    Reach {
        verdict,
        reason: reason(design, &spots, &seen),
        sides: None,
        remedies,
        bench: design.radio.as_ref().zip(gateway).map(|(radio, gateway)| bench(radio, gateway)),
        spots_heard: seen.spots_heard,
        middle: seen.middle,
        worst_fifth: seen.worst_fifth,
        middle_rates: spots.middle_state().data_rates.clone(),
        all_rates: seen.rates,
        settling: settling(design, &spots),
        unknowns: spots
            .links()
            .first()
            .map_or_else(Vec::new, |best| unknowns::unknowns(design, terrain, best, None)),
        findings: findings(design, terrain, &spots)
            .into_iter()
            .chain(untried.iter().map(way_untried))
            .collect(),
        links: spots.links().to_vec(),
        spots,
    }
}

/// Where lives of a design may find themselves, antennas of unknown place inside, and whether it is heard there.
#[must_use]
pub fn spots(design: &Design, terrain: Option<&Terrain>, crowd: &[Sender], seed: u64) -> (Spots, Verdict) {
    let spots = Spots::new(design, links(design, terrain, Side::Inside), crowd, seed);
    if spots.links().is_empty() {
        return (spots, Verdict::NotKnown);
    }
    let verdict = HeardOverPositions::of(&spots, design.promise.heard).verdict(design);
    (spots, verdict)
}

/// What many spots show.
struct HeardOverPositions {
    spots_heard: Share,
    middle: Share,
    worst_fifth: Share,
    rates: Vec<(u8, Share)>,
}

impl HeardOverPositions {
    fn of(spots: &Spots, wanted: Share) -> Self {
        let mut delivered = Vec::with_capacity(SPOTS as usize);
        let mut rates: Vec<(u8, f64)> = Vec::new();
        for life in 0..SPOTS {
            let spot = spots.draw(life);
            delivered.push(spots.delivery(&spot));
            for (rate, share) in &spots.classes()[spots.class(&spot)].data_rates {
                match rates.iter_mut().find(|(known, _)| known == rate) {
                    Some((_, sum)) => *sum += share.fraction(),
                    None => rates.push((*rate, share.fraction())),
                }
            }
        }
        delivered.sort_by(f64::total_cmp);
        rates.sort_by_key(|(rate, _)| *rate);
        let heard = delivered.iter().filter(|share| **share >= wanted.fraction()).count();
        let fifth = &delivered[..delivered.len() / 5];
        let share = |part: f64| Share::from_fraction(part);
        Self {
            spots_heard: share(heard as f64 / SPOTS as f64),
            middle: share(spots.delivery(&spots.middle())),
            worst_fifth: share(fifth.iter().sum::<f64>() / fifth.len() as f64),
            rates: rates.into_iter().map(|(rate, sum)| (rate, share(sum / SPOTS as f64))).collect(),
        }
    }

    /// Holds on as many spots as lives must be without an outage; fails on more than half of them.
    fn verdict(&self, design: &Design) -> Verdict {
        let heard = (self.spots_heard.fraction() * SPOTS as f64).round() as u32;
        if is_enough(heard, design) {
            Verdict::Holds
        } else if self.spots_heard.fraction() < 0.5 {
            Verdict::Fails
        } else {
            Verdict::Tight
        }
    }
}

/// Whether so many of the spots, their number being what it is, are as many as lives must be without an outage.
fn is_enough(heard: u32, design: &Design) -> bool {
    stats::wilson(heard, SPOTS as u32).0 >= design.promise.without_outage.fraction()
}

/// Whether a design is heard on enough spots: its verdict alone, which is known as soon as too many have failed.
fn holds(design: &Design, spots: &Spots) -> bool {
    let Some(least) = (0..=SPOTS as u32).find(|heard| is_enough(*heard, design)) else { return false };
    let unheard = |life: &u64| spots.delivery(&spots.draw(*life)) < design.promise.heard.fraction();
    (0..SPOTS).filter(unheard).nth(SPOTS as usize - least as usize).is_none()
}

fn reason(design: &Design, spots: &Spots, seen: &HeardOverPositions) -> String {
    let Some(best) = spots.links().first() else {
        return if design.radio.is_none() {
            "nothing is sent".to_owned()
        } else if let Some(finding) = other_region(design) {
            finding.message
        } else {
            "no gateway is named: add [gateway.NAME] to the file, or check a site file".to_owned()
        };
    };
    if let Some(problem) = &best.path.problem {
        return format!("the terrain says nothing of the way to {}: {problem}", best.gateway);
    }
    format!(
        "at {:.0} % of the plausible positions {} hears {:.0} % of the reports or more; at the median one {:.0} %",
        seen.spots_heard.percent(),
        if spots.links().len() > 1 { "a gateway".to_owned() } else { format!("gateway {}", best.gateway) },
        design.promise.heard.percent(),
        seen.middle.percent(),
    )
}

fn settling(design: &Design, spots: &Spots) -> Option<Settling> {
    let radio = design.radio.as_ref().filter(|radio| radio.adaptation_margin.is_some())?;
    let rates = spots.links().first().map_or(radio.allowed_rates.len(), |link| link.rates.len());
    Some(adr::settling(reporting_interval(design)?, rates))
}

/// The shortest interval at which something is sent all year round.
fn reporting_interval(design: &Design) -> Option<Duration> {
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let all_year =
        activities.filter(|activity| activity.sends() && activity.when == design::node::Condition::default());
    let intervals = all_year.filter_map(|activity| activity.every.at_full_charge());
    intervals.reduce(|shortest, one| if one < shortest { one } else { shortest })
}
