//! Whether a node is heard: in how many of the spots it may find itself, at which data rates, and what would help.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "counts of spots are small and not negative"
)]

use design::change::Change;
use design::node::Design;
use design::quantity::{Decibels, Duration, Length, Quantity, Share};
use design::surroundings::Place as Side;

use crate::finding::{Finding, Severity, Verdict};
use forecast::radio::adr::{self, Settling};
use forecast::radio::collisions::Sender;
use forecast::radio::level::{Cause, DoubtPart};
use forecast::radio::link::{Bench, Link, bench, links, place_is_unknown};
use forecast::radio::spots::Spots;
use forecast::stats;
use forecast::terrain::{Place, Terrain};

/// Stated and mapped height of a place may differ by so much: a mesh of 90 m in the hills (own choice) \[m\].
const ELEVATION_SLIP_M: f64 = 40.0;
/// Nobody places a node farther from its gateway on purpose (own choice) \[km\].
const FARTHEST_KM: f64 = 100.0;
/// Under this margin an answer is not to be relied on: fading takes one in three (Rayleigh) \[dB\].
const LEAST_ANSWER_DB: f64 = 4.0;
/// Spots that are looked at.
const SPOTS: u64 = 1000;
/// Most that a mast at the node, a mast at the gateway and an antenna there can be made better.
const TALLER_NODE_M: u32 = 10;
const TALLER_GATEWAY_M: u32 = 30;
const BETTER_ANTENNA_DB: u32 = 12;

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
    /// What wants attention.
    pub findings: Vec<Finding>,
    /// What lives draw their spots from.
    pub spots: Spots,
}

/// A single change that makes the node heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Remedy {
    /// A taller mast at the node.
    TallerNode(Length),
    /// A taller mast at the gateway that hears it best.
    TallerGateway(Length),
    /// Both, where neither alone is enough: at the node, then at the gateway.
    TallerBoth(Length, Length),
    /// That gateway's antenna outside the walls behind which it is.
    GatewayOutside,
    /// A better antenna there; receiving is not limited by the law.
    BetterAntenna(Decibels),
    /// None of these: another gateway.
    AnotherGateway,
}

impl Remedy {
    /// What changes in a design, for the gateway at this place in the file; nothing where the file has no key for it.
    pub(crate) fn changes(self, design: &Design, gateway: usize) -> Vec<Change> {
        let (Some(known), Some(radio)) = (design.surroundings.gateways.get(gateway), &design.radio) else {
            return Vec::new();
        };
        let gateway = || known.name.clone();
        let taller_node = |by| Change::AntennaHeight(radio.antenna_height + by);
        let taller_gateway =
            |by| Change::GatewayHeight { gateway: gateway(), height: known.antenna_height + by };
        match self {
            Self::TallerNode(by) => vec![taller_node(by)],
            Self::TallerGateway(by) => vec![taller_gateway(by)],
            Self::TallerBoth(at_node, at_gateway) => vec![taller_node(at_node), taller_gateway(at_gateway)],
            Self::GatewayOutside => {
                vec![Change::GatewayPlace { gateway: gateway(), place: Side::Outside }]
            }
            Self::BetterAntenna(by) => {
                vec![Change::GatewayGain { gateway: gateway(), gain: known.antenna_gain + by }]
            }
            Self::AnotherGateway => Vec::new(),
        }
    }

    /// The design after it, for the gateway at this place in the file; `None` if it is out of range.
    pub(crate) fn made_to(self, design: &Design, gateway: usize) -> Option<Design> {
        let changes = self.changes(design, gateway);
        let (first, rest) = changes.split_first()?;
        let changed = design.with(first.clone()).ok()?;
        rest.iter().try_fold(changed, |design, change| design.with(change.clone()).ok())
    }

    /// In words.
    #[must_use]
    pub fn text(self, gateway: &str) -> String {
        match self {
            Self::TallerNode(by) => format!("{} more mast at the node", by.text()),
            Self::TallerGateway(by) => format!("{} more mast at gateway {gateway}", by.text()),
            Self::TallerBoth(at_node, at_gateway) => format!(
                "{} more mast at the node together with {} more at gateway {gateway}",
                at_node.text(),
                at_gateway.text()
            ),
            Self::GatewayOutside => format!("the antenna of gateway {gateway} outside the building"),
            Self::BetterAntenna(by) => format!("{:.0} dB more antenna at gateway {gateway}", by.decibels()),
            Self::AnotherGateway => "a second gateway, or another place for the node".to_owned(),
        }
    }
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
    };
    let agree = outside.verdict == inside.verdict;
    let terrain_unusable = inside.links.first().is_some_and(|best| best.path.problem.is_some());
    let mut findings = inside.findings;
    findings.insert(0, side_unknown(design, &sides));
    Reach {
        verdict: if agree { inside.verdict } else { Verdict::NotKnown },
        reason: if agree {
            inside.reason
        } else if terrain_unusable {
            outside.reason
        } else {
            format!(
                "it is not said whether {} outside: then {:.0} % of the plausible positions would do, inside {:.0} %; knowing is worth {:.0} dB",
                unsaid(design),
                outside.spots_heard.percent(),
                inside.spots_heard.percent(),
                sides.worth.decibels()
            )
        },
        remedies: if agree { inside.remedies } else { Vec::new() },
        sides: Some(sides),
        findings,
        ..inside
    }
}

/// Whose antennas the file leaves on an unknown side of the walls, with the verb.
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

fn side_unknown(design: &Design, sides: &Sides) -> Finding {
    let field = match design.surroundings.gateways.iter().find(|gateway| gateway.spot.place.is_none()) {
        Some(gateway) => format!("gateway.{}", gateway.name),
        None => "radio".to_owned(),
    };
    let message = format!(
        "it is not said whether {} outside or inside: knowing is worth {:.0} dB; life and law are reckoned for inside",
        unsaid(design),
        sides.worth.decibels()
    );
    let help =
        "write `place = \"outside\"` or `place = \"inside\"` for the gateway and in `[radio]` for the node";
    finding("reach-place-unknown", Severity::Warning, &field, message, help)
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
    let remedies = if !spots.links().is_empty() && matches!(verdict, Verdict::Tight | Verdict::Fails) {
        remedies(design, terrain, crowd, seed, unknown)
    } else {
        Vec::new()
    };
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
        findings: findings(design, terrain, &spots),
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

/// The smallest change of each kind that makes it hold: first by how much the best link must get better, then what brings
/// as much. Heights are tried one by one: more height can cost decibels.
fn remedies(
    design: &Design,
    terrain: Option<&Terrain>,
    crowd: &[Sender],
    seed: u64,
    unknown: Side,
) -> Vec<Remedy> {
    let Some(best) = links(design, terrain, unknown).first().cloned() else { return Vec::new() };
    let Some(gateway) = design.surroundings.gateways.get(best.index) else { return Vec::new() };
    let changed_links = |change: Remedy| {
        let changed = change.made_to(design, best.index)?;
        Some((links(&changed, terrain, unknown), changed))
    };
    let holds = |change: Remedy| {
        changed_links(change)
            .is_some_and(|(links, changed)| holds(&changed, &Spots::new(&changed, links, crowd, seed)))
    };
    let better = |by: u32| Remedy::BetterAntenna(Decibels::from_decibels(by.into()));
    // A better antenna never costs signal: where the best is not enough, no lesser one need be tried.
    let antenna = holds(better(BETTER_ANTENNA_DB))
        .then(|| (1..=BETTER_ANTENNA_DB).find(|by| holds(better(*by))))
        .flatten();
    // What brings less than an antenna that is not enough need not be simulated.
    let needed_db = f64::from(antenna.unwrap_or(BETTER_ANTENNA_DB));
    let brings_enough = |change: &Remedy| {
        let Some((links, _)) = changed_links(*change) else { return false };
        let margin = links.iter().find(|link| link.index == best.index).map(Link::slowest_margin);
        margin.is_some_and(|margin| margin >= best.slowest_margin() + needed_db) && holds(*change)
    };
    let metres = |by: u32| Length::from_metres(by.into());
    let inside = gateway.spot.place.unwrap_or(unknown) == Side::Inside;
    let outside = inside.then_some(Remedy::GatewayOutside).filter(|change| holds(*change));
    let node = (1..=TALLER_NODE_M).map(|by| Remedy::TallerNode(metres(by))).find(brings_enough);
    let mast = (1..=TALLER_GATEWAY_M).map(|by| Remedy::TallerGateway(metres(by))).find(brings_enough);
    let both = (node.is_none() && mast.is_none())
        .then(|| {
            both_taller()
                .into_iter()
                .map(|[a, b]| Remedy::TallerBoth(metres(a), metres(b)))
                .find(brings_enough)
        })
        .flatten();
    let found: Vec<Remedy> = [outside, node, mast, both, antenna.map(better)].into_iter().flatten().collect();
    if found.is_empty() { vec![Remedy::AnotherGateway] } else { found }
}

/// Taller masts at both ends, in steps of a pole, the least of both together first \[m\].
fn both_taller() -> Vec<[u32; 2]> {
    let steps = |most: u32, step: usize| (1..=most).rev().step_by(step);
    let mut pairs: Vec<[u32; 2]> = steps(TALLER_NODE_M, 2)
        .flat_map(|node| steps(TALLER_GATEWAY_M, 5).map(move |gateway| [node, gateway]))
        .collect();
    pairs.sort_by_key(|[node, gateway]| (node + gateway, *node));
    pairs
}

fn findings(design: &Design, terrain: Option<&Terrain>, spots: &Spots) -> Vec<Finding> {
    let Some(best) = spots.links().first() else { return other_region(design).into_iter().collect() };
    let found = [
        other_region(design),
        far_away(best),
        terrain_unusable(best),
        flat_ground(terrain, best),
        low_antenna(best),
        elevation_differs(design, terrain),
        spread_of_level(best),
        surroundings_assumed(design, best),
        adapts_while_moving(design),
        answers_unheard(best),
    ];
    found.into_iter().flatten().collect()
}

fn finding(code: &'static str, severity: Severity, field: &str, message: String, help: &str) -> Finding {
    Finding { code, severity, field: field.to_owned(), message, help: help.to_owned() }
}

/// A gateway that listens to another regional plan hears nothing of it.
fn other_region(design: &Design) -> Option<Finding> {
    let region = &design.radio.as_ref()?.region.name;
    let gateways = &design.surroundings.gateways;
    let deaf = gateways.iter().find(|gateway| !gateway.listens_to(region))?;
    let listens = deaf.region.as_deref().unwrap_or_default();
    let message = format!("gateway {} listens to {listens}, the node sends by {region}", deaf.name);
    let none_hears = gateways.iter().all(|gateway| !gateway.listens_to(region));
    let severity = if none_hears { Severity::Danger } else { Severity::Warning };
    let help = "set both to the regional plan of the country";
    Some(finding("reach-other-region", severity, "radio.region", message, help))
}

fn far_away(best: &Link) -> Option<Finding> {
    let km = best.distance.kilometres();
    let message = format!("the nearest gateway, {}, is {km:.0} km away", best.gateway);
    let help = "look whether latitude and longitude are swapped, in the file of the node or of the gateway";
    (km > FARTHEST_KM).then(|| finding("reach-far-away", Severity::Danger, "gateway", message, help))
}

fn terrain_unusable(best: &Link) -> Option<Finding> {
    let problem = best.path.problem.as_ref()?;
    let (km, gateway) = (best.distance.kilometres(), &best.gateway);
    let message = format!("the {km:.1} km to {gateway} are taken for flat ground: {problem}");
    let help = "until that is mended, expect ridges that nobody has looked at";
    Some(finding("reach-terrain-unusable", Severity::Warning, "ground.terrain", message, help))
}

fn flat_ground(terrain: Option<&Terrain>, best: &Link) -> Option<Finding> {
    if terrain.is_some() {
        return None;
    }
    let (km, gateway) = (best.distance.kilometres(), &best.gateway);
    let message = format!("the {km:.1} km to {gateway} are taken for flat ground");
    let help = "name a terrain tile in [ground] to see ridges";
    Some(finding("reach-flat-ground", Severity::Note, "ground.terrain", message, help))
}

fn low_antenna(best: &Link) -> Option<Finding> {
    let low_db = best.path.low_antenna.decibels();
    let message = format!(
        "the antenna is lower than the model of paths over terrain goes, 1 m; {low_db:.1} dB were added for it"
    );
    let help = "survey the spot, or raise the antenna to 1 m";
    (low_db > 0.0)
        .then(|| finding("reach-low-antenna", Severity::Note, "radio.antenna_height", message, help))
}

fn elevation_differs(design: &Design, terrain: Option<&Terrain>) -> Option<Finding> {
    let (latitude_deg, longitude_deg) = (design.site.latitude.degrees(), design.site.longitude.degrees());
    let ground_m = terrain?.height_m(Place { latitude_deg, longitude_deg })?;
    let stated_m = design.site.elevation.metres();
    let message = format!("the file says {stated_m:.0} m, the terrain there {ground_m:.0} m");
    let help = "look whether the place is right; antennas are counted from the terrain's ground";
    ((ground_m - stated_m).abs() > ELEVATION_SLIP_M)
        .then(|| finding("reach-elevation-differs", Severity::Warning, "site.elevation", message, help))
}

/// What is not known of the level, by parts, and what would settle the greatest.
fn spread_of_level(best: &Link) -> Option<Finding> {
    let parts = best.level.parts();
    let greatest = parts.first()?;
    let said = parts
        .iter()
        .filter(|part| part.sd_db() >= LEAST_SAID_DB)
        .map(|part| format!("{} {:.0} dB", cause(part, best), part.sd_db()));
    let message = format!(
        "the level at {} may lie {:.0} dB off either way (one standard deviation): {}",
        best.gateway,
        best.level.spread().sd_db,
        said.collect::<Vec<_>>().join(", ")
    );
    let help = match greatest.cause {
        _ if best.surveyed.is_some_and(|found| found.is_here) => {
            "send packets on other days too: a day may lie 3 dB off the next"
        }
        Cause::NodeEntry | Cause::GatewayEntry => {
            "walls cost most: put that antenna outside, or survey it: send 20 packets from its position at fixed power"
        }
        _ => "walk out with a node and send 20 packets from its position at fixed power: that leaves 4 dB",
    };
    Some(finding("reach-spread", Severity::Note, "ground.spread", message, help))
}

/// Parts below this say nothing \[dB\].
const LEAST_SAID_DB: f64 = 1.5;

fn cause(part: &DoubtPart, link: &Link) -> &'static str {
    match part.cause {
        Cause::Site if link.surveyed.is_some() => "what its survey left open",
        Cause::Site => "how well the model suits the place",
        Cause::Air => "the air on so long a path",
        Cause::Spot => "the position itself",
        Cause::Noise => "noise at the gateway",
        Cause::NodeAntenna => "the node's antenna",
        Cause::NodeClutter => "how high things stand around the node",
        Cause::NodeClearing => "how far they are from it",
        Cause::NodeEntry => "the walls around the node",
        Cause::GatewayAntenna => "the gateway's antenna",
        Cause::GatewayClutter => "how high things stand around the gateway",
        Cause::GatewayClearing => "how far they are from that",
        Cause::GatewayEntry => "the walls around the gateway",
    }
}

fn surroundings_assumed(design: &Design, best: &Link) -> Option<Finding> {
    let node = !design.surroundings.node.around.stated;
    let gateway = design.surroundings.gateways.get(best.index).is_some_and(|one| !one.spot.around.stated);
    let (whom, field) = match (node, gateway) {
        (true, true) => ("the node and the gateways", "ground.around_nodes"),
        (true, false) => ("the node", "ground.around_nodes"),
        (false, true) => ("the gateways", "ground.around_gateways"),
        (false, false) => return None,
    };
    let message = format!("what stands around {whom} is not said, and a village is assumed");
    let help = "write `around_nodes` and `around_gateways` in [ground]: open ground against a village is worth up to 30 dB";
    Some(finding("reach-surroundings-assumed", Severity::Warning, field, message, help))
}

fn adapts_while_moving(design: &Design) -> Option<Finding> {
    design.radio.as_ref()?.adaptation_margin?;
    let message = "it moves, and the network adapts its data rate to where it was".to_owned();
    let help = "write a fixed `data_rate` that reaches everywhere, and switch adaptation off while it moves";
    let moves = design.diary.iter().any(|stay| stay.moving.is_some());
    moves.then(|| finding("reach-adapts-while-moving", Severity::Warning, "radio.data_rate", message, help))
}

/// Answers that fade away although messages get through: nothing that needs one can be relied on.
fn answers_unheard(best: &Link) -> Option<Finding> {
    let margin = best.answers.iter().flatten().map(|answer| answer.margin.decibels()).reduce(f64::max)?;
    let message = format!(
        "answers of {} arrive {margin:.1} dB over what the node can demodulate, its messages {:.1} dB",
        best.gateway,
        best.slowest_margin()
    );
    let help = "do not make it wait for a join, a setting or an acknowledgement; let the gateway answer with more power where the law allows it";
    (margin < LEAST_ANSWER_DB && best.slowest_margin() > LEAST_ANSWER_DB)
        .then(|| finding("reach-answers-weak", Severity::Warning, "gateway", message, help))
}
