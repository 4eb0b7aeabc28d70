//! The verdict on life alone, of nodes that share their lives: what a row of a site says, and nothing that it does not.

use design::node::Design;
use design::quantity::Share;
use forecast::Progress;
use forecast::diary::Diary;
use forecast::life::account::{ACCOUNTED_LIVES, Harm};
use forecast::life::cause::causes;
use forecast::life::node::NodeTables;
use forecast::life::prepared::{Prepared, trial_without_tables};
use forecast::life::run::{LifeOutcome, Trial};
use forecast::life::shared::SharedLives;
use forecast::life::unknowns::Unknowns;
use forecast::life::weather::NodeWeather;
use forecast::load::Demand;
use forecast::radio::link_state::LinkState;
use forecast::radio::spots::Spots;

use super::Weather;
use super::chances::{self, Effort, Headline};
use super::findings::{self, findings};
use super::kept::{self, Evidence, Figure};
use super::make::{self, LifeInputs};
use super::{JudgedPromise, WeatherUsed};
use crate::finding::{Finding, Verdict};

/// Whether a node lives, in a word, a sentence and a figure.
#[derive(Clone, Debug, PartialEq)]
pub struct LifeInBrief {
    /// Will it live?
    pub verdict: Verdict,
    /// The reason in one sentence, without the verdict's word.
    pub reason: String,
    /// Lives lived.
    pub lives: usize,
    /// Share of lives without an outage; `None` if none was lived.
    pub without_outage: Option<Share>,
    /// What was promised and whether it is kept; survival first.
    pub kept: Vec<JudgedPromise>,
    /// What is wrong only in this weather.
    pub findings: Vec<Finding>,
}

impl LifeInBrief {
    /// Judges a design whose tables are made, under the same weather and with the same seed, by so many lives and nothing
    /// beside them: no defects, no causes, no search. Asked to stop, it judges by the lives that were lived.
    #[must_use]
    pub fn of_prepared(
        prepared: &Prepared,
        weather: Weather<'_>,
        effort: Effort,
        progress: &dyn Progress,
    ) -> Self {
        let used = make::weather_used(prepared.design(), weather);
        make::with_case(prepared, effort, progress, |case| {
            let (spots, nodes) = (case.spots, case.trial.nodes);
            let tables = |state: &LinkState| {
                let place = spots.classes().iter().position(|class| class == state);
                nodes[place.expect("it is a state of these spots")].clone()
            };
            let lives = chances::lives_wanted(case.design, effort);
            // As in [`Sky::judge`]: who lives a life for one state has one spot.
            let (alone, unknowns) = (Spots::alone(case.design), Unknowns::new(case.design, true));
            let common = Trial { spots: &alone, unknowns: &unknowns, ..*case.trial };
            let mut lived = SharedLives::new(common);
            lived.live(&[spots], (lives, ACCOUNTED_LIVES), tables, effort.threads, progress);
            let (outcomes, harm_hours) = lived.of(spots, lives, ACCOUNTED_LIVES);
            brief(case, &outcomes, Harm::of(&harm_hours, case.trial.years()), &used)
        })
    }
}

/// A kind of node under one sky.
pub(crate) struct Sky<'a> {
    design: &'a Design,
    diary: Diary,
    weather: NodeWeather,
    used: WeatherUsed,
    unknowns: Unknowns,
    effort: Effort,
}

impl<'a> Sky<'a> {
    /// The sky over the design that stands for its kind.
    pub(crate) fn new(design: &'a Design, weather: Weather<'_>, effort: Effort) -> Self {
        let diary = Diary::new(design);
        let (weather, used) = make::surroundings(design, weather, &diary, effort.seed);
        Self { design, diary, weather, used, unknowns: Unknowns::new(design, true), effort }
    }

    /// Judges nodes of this kind by their designs and spots; each life that several of them could live is lived once.
    pub(crate) fn judge(&self, nodes: &[(&Design, &Spots)], progress: &dyn Progress) -> Vec<LifeInBrief> {
        let alone = Spots::alone(self.design);
        let common =
            trial_without_tables(self.design, &self.weather, &self.unknowns, &alone, self.effort.seed);
        let middle = NodeTables::of_design(self.design, Demand::new(self.design, &self.diary));
        let node = |state: &_| middle.with_demand(Demand::on_link(self.design, state, &self.diary));
        let spots: Vec<&Spots> = nodes.iter().map(|(_, spots)| *spots).collect();
        let lives = chances::lives_wanted(self.design, self.effort);
        let mut shared = SharedLives::new(common);
        shared.live(&spots, (lives, ACCOUNTED_LIVES), node, self.effort.threads, progress);
        let brief = |(design, spots): &(&Design, &Spots)| {
            let (outcomes, harm_hours) = shared.of(spots, lives, ACCOUNTED_LIVES);
            let tables = shared.nodes(spots);
            let unknowns = Unknowns::new(design, tables.len() > 1);
            let trial = Trial { nodes: &tables, spots, unknowns: &unknowns, ..common };
            let nominal = vec![node(spots.middle_state()); tables.len()];
            let (effort, trial) = (self.effort, &trial);
            let case = LifeInputs { design, spots, trial, nominal: &nominal, effort, progress };
            let mut life = brief(&case, &outcomes, Harm::of(&harm_hours, trial.years()), &self.used);
            let survival = life.without_outage.unwrap_or(Share::ZERO);
            life.findings.extend(dies_by_distance(&case, &outcomes, survival));
            life.findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
            life
        };
        nodes.iter().map(brief).collect()
    }
}

fn brief(case: &LifeInputs<'_>, lives: &[LifeOutcome], harm: Harm, used: &WeatherUsed) -> LifeInBrief {
    let survival = Figure::share(lives, LifeOutcome::is_unbroken);
    let ranked = chances::by_unknowns(case, lives);
    let promise = &case.design.promise;
    let visits = promise.visits_per_year.map(|_| kept::visits_per_year(case, lives)).unwrap_or_default();
    let kept = Evidence::new(case, lives, &ranked[..ranked.len() / 5], visits).keep(promise);
    let without_outage = Share::from_fraction(survival.found);
    let headline = (!lives.is_empty()).then(|| Headline {
        lives: lives.len(),
        years: case.trial.years(),
        without_outage,
        interval: (Share::from_fraction(survival.low), Share::from_fraction(survival.high)),
        kept: &kept,
    });
    let findings = findings(case, harm, used);
    let (verdict, reason) = make::judge(headline, make::is_endangered(harm, &findings));
    let without_outage = headline.map(|headline| headline.without_outage);
    LifeInBrief { verdict, reason, lives: lives.len(), without_outage, kept, findings }
}

fn dies_by_distance(case: &LifeInputs<'_>, lives: &[LifeOutcome], without_outage: Share) -> Option<Finding> {
    // With one class of spots, distance makes no difference.
    if case.trial.nodes.len() < 2 || lives.iter().all(LifeOutcome::is_unbroken) {
        return None;
    }
    let causes = causes(case.trial, lives, case.effort.threads);
    let near = chances::near_a_gateway(case, &causes, lives.len())?;
    findings::dies_by_distance(case.design, case.spots, without_outage, near)
}
