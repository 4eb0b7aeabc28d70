//! What would make a node hold: of each lever the smallest single change, simulated and not estimated; and of one that
//! holds, what could be left out.
//!
//! A change is found by bisection on lives that all levers share and confirmed on lives that the search never saw. That a
//! larger battery or panel harms no life is nearly true, not true: it steers the search and is never the answer.

mod ladder;
mod search;
mod spare;

use design::change::Change;
use design::node::Design;
use design::quantity::{Angle, Decibels, Quantity, Share};
use forecast::Progress;

use crate::adaptive::{Adapted, Aim, NoTable, adaptive, most_often};
use crate::answer::{Answer, Environment, Question};
use crate::finding::Verdict;
use crate::plan::{Effort, JudgedVariant};
use crate::reach;
pub(crate) use ladder::{INTERVALS_MIN, two_digits};
use ladder::{Ladder, ladders};
use search::Search;

/// Of fewer lives nothing can be said to hold.
const LEAST_LIVES: usize = 20;
/// So many rows are confirmed on fresh lives; the others say that they are about so.
const CONFIRMED: usize = 5;

/// What can be changed about a node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Lever {
    /// How often an activity reports.
    Interval {
        /// The load.
        load: String,
        /// Its activity.
        activity: String,
    },
    /// How often an activity reports, by month and charge: never more often than now.
    Table {
        /// The load.
        load: String,
        /// Its activity.
        activity: String,
    },
    /// The data rate of every uplink.
    DataRate,
    /// A panel of the catalogue.
    Panel,
    /// No panel at all.
    LeavePanelOut,
    /// How steep the panel stands.
    Tilt,
    /// Where it faces.
    Azimuth,
    /// Charge on the label of the battery.
    Capacity,
    /// What the battery is made of.
    BatteryKind,
    /// The charger.
    Charger,
    /// What a load draws asleep.
    SleepCurrent {
        /// The load.
        load: String,
    },
    /// The voltage at which it stops.
    CutOff,
    /// A primary cell in place of panel and battery.
    PrimaryCell,
    /// Height of the node's antenna.
    NodeMast,
    /// Height of a gateway's antenna.
    GatewayMast {
        /// The gateway.
        gateway: String,
    },
    /// On which side of a wall a gateway's antenna is.
    GatewayPlace {
        /// The gateway.
        gateway: String,
    },
    /// Gain of a gateway's antenna.
    GatewayAntenna {
        /// The gateway.
        gateway: String,
    },
    /// Where the node stands.
    NodePlace,
    /// A second gateway where one may stand.
    SecondGateway {
        /// The place.
        place: String,
    },
    /// Another gateway, or another place.
    AnotherGateway,
}

/// One lever moved.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// Which.
    pub lever: Lever,
    /// What changes in the design file; nothing where it has no key for it.
    pub change: Option<Change>,
    /// What the design says.
    pub now: String,
    /// What it would say.
    pub then: String,
}

/// How a change is known to be enough.
#[derive(Clone, Debug, PartialEq)]
pub enum Proof {
    /// Lives that the search never saw.
    Fresh(JudgedVariant),
    /// Reckoned over its links, and lived: the spreading factor or data rate at which it is usually heard, and how it lives.
    Heard(String, JudgedVariant),
    /// The lives of the search alone: share of them without an outage.
    Searched(Share),
    /// Reckoned outright, as the law's limits and the links are.
    Reckoned,
}

/// A change that makes a verdict hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// The question that it answers.
    pub question: Question,
    /// One lever, or the two that must move together.
    pub moved: Vec<Moved>,
    /// How that is known.
    pub proof: Proof,
}

/// Why a lever is of no use.
#[derive(Clone, Debug, PartialEq)]
pub enum Useless {
    /// Nothing of its kind is enough: so many lives pass with the strongest.
    NotEnough(Share),
    /// Nothing of its kind is better than what the design has.
    BestAlready,
    /// It would hold only if the node knew its charge: so many lives with the error of its gauge.
    OnlyWithPerfectGauge(Share),
    /// The design can't take it; why not.
    Refused(String),
}

/// What would make a design hold.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Remedies {
    /// Changes that make it hold, the most useful first.
    pub holds: Vec<Remedy>,
    /// Levers of no use to life.
    pub useless: Vec<(Lever, Useless)>,
    /// Of a design that holds: what could be left out, and it would still hold.
    pub spare: Vec<Remedy>,
    /// Lives on which changes were found.
    pub searched: usize,
    /// Lives on which they were confirmed.
    pub confirmed: usize,
    /// Whether somebody stopped the search.
    pub stopped: bool,
}

impl Remedy {
    /// Whether the verdict then holds, and not only by a hair.
    #[must_use]
    pub fn is_firm(&self) -> bool {
        !matches!(&self.proof, Proof::Fresh(judged) | Proof::Heard(_, judged) if judged.verdict != Verdict::Holds)
    }

    /// The design after it.
    #[must_use]
    pub fn made_to(&self, design: &Design) -> Option<Design> {
        let changes = self.moved.iter().map(|moved| moved.change.clone()).collect::<Option<Vec<_>>>()?;
        changes.into_iter().try_fold(design.clone(), |design, change| design.with(change).ok())
    }
}

/// What would make a design hold that does not, by its answer; of one whose life holds, what could be left out.
#[must_use]
pub fn remedies(
    design: &Design,
    environment: &Environment<'_>,
    answer: &Answer,
    effort: Effort,
    progress: &dyn Progress,
) -> Remedies {
    let mut found = Remedies::default();
    let all_lived = answer
        .life
        .chances
        .as_ref()
        .is_some_and(|chances| chances.lives == chances.wanted && chances.lives >= LEAST_LIVES);
    let search = all_lived.then(|| Search::new(design, environment, answer, effort, progress));
    if let Some(search) = &search {
        (found.searched, found.confirmed) = (search.lives, search.confirming);
        match answer.life.verdict {
            Verdict::Holds => found.spare = spare::spare(search),
            Verdict::Tight | Verdict::Fails => of_life(search, &mut found),
            Verdict::NotKnown => {}
        }
    }
    found.holds.extend(by_law(design, answer));
    found.holds.extend(by_reach(design, environment, answer, search.as_ref()));
    found.stopped = progress.stop();
    found
}

/// What each lever does for a life that fails.
fn of_life(search: &Search<'_>, found: &mut Remedies) {
    let ladders = ladders(search.design(), search.answer);
    let mut holds = by_table(search, found);
    let mut confirmed = holds.len();
    for (done, ladder) in ladders.iter().enumerate() {
        search.progress.report(done, ladders.len());
        match search.first_passing(ladder, 0) {
            Ok(place) if confirmed < CONFIRMED => match search.confirmed(ladder, place) {
                Some(remedy) => {
                    confirmed += 1;
                    holds.push(remedy);
                }
                None => found.useless.push((ladder.lever.clone(), Useless::NotEnough(search.share(ladder)))),
            },
            Ok(place) => holds.push(search.about(ladder, place)),
            Err(useless) => found.useless.push((ladder.lever.clone(), useless)),
        }
    }
    if holds.is_empty() && !search.progress.stop() {
        holds.extend(best_pair(search, &ladders));
    }
    holds.sort_by_key(|remedy| (!remedy.is_firm(), matches!(remedy.proof, Proof::Searched(_))));
    found.holds.extend(holds);
}

/// Fewer reports where the charge is short: what costs nothing.
fn by_table(search: &Search<'_>, found: &mut Remedies) -> Vec<Remedy> {
    let Search { environment, answer, effort, progress, .. } = *search;
    let lever =
        |load: &str, activity: &str| Lever::Table { load: load.to_owned(), activity: activity.to_owned() };
    match adaptive(search.design(), environment, answer, Aim::Spare, effort, progress) {
        Ok(adapted) => {
            let Adapted { load, activity, rows, every, judged, course, .. } = adapted;
            let lever = lever(&load, &activity);
            let change = Some(Change::IntervalByMonthAndCharge { load, activity, rows });
            let then = format!("{:.0} reports a year", course.per_year);
            let moved = vec![Moved { lever, change, now: format!("every {}", every.text()), then }];
            vec![Remedy { question: Question::Life, moved, proof: Proof::Fresh(judged) }]
        }
        Err(why) => {
            let most = most_often(search.design());
            let useless = most
                .zip(no_use(why))
                .map(|((load, activity, _), why)| (lever(&load.name, &activity.name), why));
            found.useless.extend(useless);
            Vec::new()
        }
    }
}

/// Why a table is of no use; `None` where none was asked for, or a longer interval says the same.
fn no_use(why: NoTable) -> Option<Useless> {
    match why {
        NoTable::NotEnough(share) => Some(Useless::NotEnough(share)),
        NoTable::OnlyWithPerfectGauge(_, share) => Some(Useless::OnlyWithPerfectGauge(share)),
        NoTable::Refused(message, _) => Some(Useless::Refused(message)),
        NoTable::NothingCharges | NoTable::NothingReports | NoTable::KeptAnyway(_) | NoTable::Stopped => None,
    }
}

/// The two levers that make it hold together with least of both.
fn best_pair(search: &Search<'_>, ladders: &[Ladder]) -> Option<Remedy> {
    let ordered: Vec<&Ladder> = ladders.iter().filter(|ladder| ladder.can_be_paired()).collect();
    let pairs = ordered.iter().enumerate().flat_map(|(index, one)| {
        let rest = ordered.get(index + 1..).unwrap_or_default();
        rest.iter().map(move |other| (*one, *other))
    });
    let mut found: Vec<_> = pairs.filter_map(|(one, other)| search.smallest_pair(one, other)).collect();
    found.sort_by(|one, other| one.0.total_cmp(&other.0));
    found.into_iter().next().map(|(_, remedy)| remedy)
}

/// The interval that each message needs to be lawful.
fn by_law(design: &Design, answer: &Answer) -> Vec<Remedy> {
    if !matches!(answer.law.verdict, Verdict::Fails | Verdict::Tight) {
        return Vec::new();
    }
    let link = answer.reach.spots.middle_state();
    let lawful = |design: &Design| crate::law::judge(design, link).verdict == Verdict::Holds;
    let smallest = |ladder: &Ladder| {
        let rung = ladder.rungs.iter().find(|rung| lawful(&rung.design))?;
        Some(Remedy { question: Question::Law, moved: vec![ladder.moved(rung)], proof: Proof::Reckoned })
    };
    let levers = ladder::intervals(design).into_iter().chain(ladder::data_rates(design));
    levers.filter_map(|ladder| smallest(&ladder)).collect()
}

/// What would make it heard, as the answer knows; with `search`, how it then lives.
fn by_reach(
    design: &Design,
    environment: &Environment<'_>,
    answer: &Answer,
    search: Option<&Search<'_>>,
) -> Vec<Remedy> {
    let Some(gateway) = answer.reach.links.first().map(|best| best.index) else { return Vec::new() };
    let remedy = |remedy: &reach::Remedy| {
        let changed = remedy.made_to(design, gateway);
        let spots = changed.as_ref().zip(search).map(|(changed, search)| {
            let Environment { terrain, others, .. } = *environment;
            reach::spots(changed, terrain, others, search.effort.seed).0
        });
        let rate = spots.as_ref().and_then(|spots| reach::usual_rate(design, spots));
        let mut moved: Vec<Moved> =
            remedy.changes(design, gateway).into_iter().map(|change| moved(design, change)).collect();
        if moved.is_empty() {
            let (now, then) = (String::new(), String::new());
            moved.push(Moved { lever: Lever::AnotherGateway, change: None, now, then });
        }
        let lived =
            changed.zip(spots).zip(search).map(|((changed, spots), search)| search.lived(&changed, &spots));
        let proof = rate.zip(lived).map_or(Proof::Reckoned, |(rate, lived)| Proof::Heard(rate, lived));
        Remedy { question: Question::Reach, moved, proof }
    };
    answer.reach.remedies.iter().map(remedy).collect()
}

fn degrees(latitude: Angle, longitude: Angle) -> String {
    format!("{:.5}, {:.5}", latitude.degrees(), longitude.degrees())
}

/// A change of a link as a lever with what stands in the file now.
fn moved(design: &Design, change: Change) -> Moved {
    let known = |name: &str| design.surroundings.gateways.iter().find(|gateway| gateway.name == name);
    let dbi = |gain: Decibels| format!("{:.1} dBi", gain.decibels());
    let (lever, now, then) = match &change {
        Change::GatewayHeight { gateway, height } => (
            Lever::GatewayMast { gateway: gateway.clone() },
            known(gateway).map_or_else(String::new, |known| known.antenna_height.text()),
            height.text(),
        ),
        Change::GatewayGain { gateway, gain } => (
            Lever::GatewayAntenna { gateway: gateway.clone() },
            known(gateway).map_or_else(String::new, |known| dbi(known.antenna_gain)),
            dbi(*gain),
        ),
        Change::GatewayPlace { gateway, .. } => {
            (Lever::GatewayPlace { gateway: gateway.clone() }, "inside".to_owned(), "outside".to_owned())
        }
        Change::AnotherGateway(place) => {
            (Lever::SecondGateway { place: place.clone() }, "none".to_owned(), place.clone())
        }
        Change::Position(latitude, longitude, _) => (
            Lever::NodePlace,
            degrees(design.site.latitude, design.site.longitude),
            degrees(*latitude, *longitude),
        ),
        Change::AntennaHeight(height) => (
            Lever::NodeMast,
            design.radio.as_ref().map_or_else(String::new, |radio| radio.antenna_height.text()),
            height.text(),
        ),
        _ => (Lever::AnotherGateway, String::new(), String::new()),
    };
    Moved { lever, change: Some(change), now, then }
}
