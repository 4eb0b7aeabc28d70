//! Of all designs that pass: which are worth a look, and which is taken.

use std::collections::BTreeMap;

use design::change::Change;
use design::node::Design;
use design::part::Charger;
use design::quantity::{Angle, Charge, Power};
use design::sizing::Preference;
use forecast::life::ensemble::{FIRST_FRESH, on_threads};
use forecast::life::prepared::Prepared;
use forecast::life::run::survives;
use forecast::power::battery::open_circuit;

use super::axes::{Axes, Frame};
use super::grid::{Bench, Front, Place, changes};
use super::{Choice, Sized};
use crate::finding::Verdict;
use crate::plan::{JudgedVariant, judged};
use crate::quota::quota;

/// Designs shown at most.
const SHOWN: usize = 10;
/// Designs confirmed at most.
const CONFIRMED: usize = 24;
/// Charge at which a battery has its usual voltage.
const HALF: f64 = 0.5;

/// A design of the ranges that passes on the lives of the search.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    frame: usize,
    at: Place,
    watts: f64,
    mah: f64,
    reports_per_year: f64,
    cost: f64,
    /// How many lives of the search are known to fail with it.
    failing: usize,
}

/// What can be paid.
struct Purse<'a> {
    /// Prices that `[size]` lists: they go before those of the parts.
    listed: &'a [(String, f64)],
    /// Whether anything that may be chosen has a price.
    priced: bool,
    unpriced: Vec<String>,
}

pub(super) fn choose(bench: &Bench<'_>, axes: &Axes, fronts: &[Front], designs: usize) -> Sized {
    let mut purse = Purse::of(bench.design, axes);
    let mut candidates = candidates(bench, axes, fronts, &mut purse);
    order(&mut candidates, bench.design.sizing.prefer);
    let least = at_least_per_year(bench);
    candidates.retain(|one| one.reports_per_year >= least);
    let mut confirmed =
        Confirmed { bench, axes, bases: BTreeMap::new(), tried: Vec::new(), refused: Vec::new() };
    let preferred = (0..candidates.len()).find(|index| confirmed.holds(*index, &candidates[*index]));
    let refused: Vec<Choice> = confirmed.take_refused(&candidates);
    let mut shown: Vec<usize> = preferred.into_iter().collect();
    if preferred.is_some() {
        add_unbeaten(&mut shown, &mut confirmed, &candidates);
    }
    shown.sort_by(|one, other| candidates[*one].cost.total_cmp(&candidates[*other].cost));
    let chosen = preferred.and_then(|preferred| shown.iter().position(|index| *index == preferred));
    Sized {
        choices: shown.iter().filter_map(|index| confirmed.choice(*index, &candidates[*index])).collect(),
        chosen,
        refused,
        priced: purse.priced,
        unpriced: purse.unpriced,
        unlawful: axes.unlawful.clone(),
        designs,
        looked_at: fronts.iter().map(|front| front.looked_at).sum(),
        lived: fronts.iter().map(|front| front.lived).sum(),
        searched: bench.searching,
        confirmed: bench.confirming,
        stopped: bench.progress.stop(),
    }
}

/// Adds designs that nothing confirmed beats in cost and reports at once, cheapest first.
fn add_unbeaten(shown: &mut Vec<usize>, confirmed: &mut Confirmed<'_>, candidates: &[Candidate]) {
    let mut by_cost: Vec<usize> = (0..candidates.len()).collect();
    by_cost.sort_by(|one, other| {
        let (one, other) = (&candidates[*one], &candidates[*other]);
        let reports = other.reports_per_year.total_cmp(&one.reports_per_year);
        one.cost.total_cmp(&other.cost).then(reports).then(one.failing.cmp(&other.failing))
    });
    let mut most_reports = f64::NEG_INFINITY;
    for index in by_cost {
        let candidate = &candidates[index];
        if shown.len() >= SHOWN || confirmed.tried.len() >= CONFIRMED {
            break;
        }
        if candidate.reports_per_year <= most_reports {
            continue;
        }
        if shown.contains(&index) || confirmed.holds(index, candidate) {
            most_reports = candidate.reports_per_year;
            if !shown.contains(&index) {
                shown.push(index);
            }
        }
    }
}

fn candidates(bench: &Bench<'_>, axes: &Axes, fronts: &[Front], purse: &mut Purse<'_>) -> Vec<Candidate> {
    let reports = reports_by_interval(bench, axes);
    let mut found = Vec::new();
    for (index, (frame, front)) in axes.frames.iter().zip(fronts).enumerate() {
        for (battery, row) in front.smallest_panel.iter().enumerate() {
            for (interval, smallest) in row.iter().enumerate() {
                let Some(smallest) = *smallest else { continue };
                for panel in smallest..frame.panels.len() {
                    let Some(cost) = purse.cost(frame, panel, battery) else { continue };
                    found.push(Candidate {
                        frame: index,
                        at: [panel, battery, interval],
                        watts: frame.panels[panel].watts,
                        mah: frame.capacities_mah[battery],
                        reports_per_year: reports.get(interval).copied().unwrap_or(0.0),
                        cost,
                        failing: if panel == smallest { front.failing[battery][interval] } else { 0 },
                    });
                }
            }
        }
    }
    found
}

/// Preferred first.
fn order(candidates: &mut [Candidate], prefer: Preference) {
    candidates.sort_by(|one, other| {
        let cost = one.cost.total_cmp(&other.cost);
        let reports = other.reports_per_year.total_cmp(&one.reports_per_year);
        let size = one.watts.total_cmp(&other.watts).then(one.mah.total_cmp(&other.mah));
        let by_wish = match prefer {
            Preference::Cheapest => cost.then(reports).then(size),
            Preference::Smallest => size.then(reports).then(cost),
            Preference::MostReports => reports.then(cost).then(size),
        };
        by_wish.then(one.failing.cmp(&other.failing))
    });
}

/// Reports a year that are wanted at least: those of the design as written, where nothing is said.
fn at_least_per_year(bench: &Bench<'_>) -> f64 {
    match bench.design.sizing.at_least_per_day {
        Some(a_day) => a_day * 365.25,
        // An interval that is written with other digits is no fewer reports.
        None => reports_per_year(bench, bench.design) * (1.0 - 1e-6),
    }
}

fn reports_by_interval(bench: &Bench<'_>, axes: &Axes) -> Vec<f64> {
    let design = |every| axes.with_interval(bench.design, every);
    let of = |every: &_| design(*every).map_or(0.0, |design| reports_per_year(bench, &design));
    axes.intervals.iter().map(of).collect()
}

fn reports_per_year(bench: &Bench<'_>, design: &Design) -> f64 {
    let prepared = Prepared::new(design, bench.environment.weather, bench.spots, bench.effort.seed);
    let trial = prepared.trial();
    trial.weather.sample().wanted_reports_per_year(prepared.middle())
}

impl<'a> Purse<'a> {
    fn of(design: &'a Design, axes: &Axes) -> Self {
        let has_price = |frame: &Frame| {
            frame.panels.iter().any(|panel| panel.price.is_some())
                || frame.design.battery.price.is_some()
                || frame.chosen_charger().is_some_and(|charger| charger.price.is_some())
        };
        let listed = &design.sizing.prices;
        let priced = !listed.is_empty() || axes.frames.iter().any(has_price);
        Self { listed, priced, unpriced: Vec::new() }
    }

    /// What panel, battery and charger cost; watts and watt-hours where nothing has a price, `None` where one of them has
    /// none and others have.
    fn cost(&mut self, frame: &Frame, panel: usize, battery: usize) -> Option<f64> {
        let (panel, mah) = (&frame.panels[panel], frame.capacities_mah[battery]);
        let cell = &frame.design.battery;
        if !self.priced {
            let volts = open_circuit(cell, HALF).volts();
            return Some(panel.watts + mah * 1e-3 * volts);
        }
        let label_mah = cell.capacity.nominal.milliampere_hours();
        let panel_price = panel.name.as_ref().map_or(Some(0.0), |name| self.price(name, panel.price));
        let battery_price = self.price(&cell.name, cell.price).map(|price| price * mah / label_mah);
        let charger_price =
            frame.chosen_charger().map_or(Some(0.0), |charger| self.price(&charger.name, charger.price));
        Some(panel_price? + battery_price? + charger_price?)
    }

    fn price(&mut self, name: &str, own: Option<f64>) -> Option<f64> {
        let listed = self.listed.iter().find(|(known, _)| known == name).map(|(_, price)| *price);
        let known = listed.or(own);
        if known.is_none() && !self.unpriced.iter().any(|known| known == name) {
            self.unpriced.push(name.to_owned());
        }
        known
    }
}

impl Frame {
    /// Its charger, where one is chosen: one that is not costs the same in every design.
    fn chosen_charger(&self) -> Option<&Charger> {
        let chosen = self.changes.iter().any(|change| matches!(change, Change::Charger(_)));
        self.design.charger.as_ref().filter(|_| chosen)
    }
}

/// What fresh lives said.
struct Confirmed<'a> {
    bench: &'a Bench<'a>,
    axes: &'a Axes,
    /// By frame: what all its designs share.
    bases: BTreeMap<usize, Prepared>,
    /// By number of the candidate.
    tried: Vec<(usize, JudgedVariant)>,
    /// Places at which fresh lives failed, by frame, with the lives.
    refused: Vec<(usize, Place, Vec<u64>)>,
}

impl Confirmed<'_> {
    /// Whether a candidate holds on fresh lives.
    fn holds(&mut self, index: usize, candidate: &Candidate) -> bool {
        if let Some((_, judged)) = self.tried.iter().find(|(known, _)| *known == index) {
            return judged.verdict == Verdict::Holds;
        }
        if self.bench.progress.stop() || self.tried.len() >= CONFIRMED {
            return false;
        }
        let Some(design) = self.design(candidate) else { return false };
        let Bench { environment, spots, effort, progress, confirming, .. } = *self.bench;
        let prepared = match self.bases.get(&candidate.frame) {
            Some(base) => base.of_variant(&design, environment.weather, None),
            None => Prepared::new(&design, environment.weather, spots, effort.seed),
        };
        self.bases.entry(candidate.frame).or_insert_with(|| prepared.clone());
        if self.is_hopeless(candidate, &prepared) {
            return false;
        }
        let judged = judged(&prepared, FIRST_FRESH, confirming, effort, progress);
        let holds = judged.verdict == Verdict::Holds;
        if !holds {
            self.refused.push((candidate.frame, candidate.at, judged.failed.clone()));
        }
        self.tried.push((index, judged));
        holds
    }

    /// Whether, of the fresh lives that failed with less, more than are allowed still do.
    fn is_hopeless(&mut self, candidate: &Candidate, prepared: &Prepared) -> bool {
        let allowed =
            quota(self.bench.design.promise.without_outage, self.bench.confirming, self.bench.confirming).all;
        let with_less = self.refused.iter().filter(|(frame, at, _)| {
            *frame == candidate.frame && at.iter().zip(&candidate.at).all(|(less, more)| less <= more)
        });
        let Some((_, _, failed)) = with_less.min_by_key(|(_, _, failed)| failed.len()) else { return false };
        let trial = prepared.trial();
        let still = on_threads(self.bench.effort.threads, failed.len(), |index| {
            failed.get(index).copied().filter(|life| !survives(&trial, *life, None))
        });
        let still: Vec<u64> = still.into_iter().flatten().collect();
        let hopeless = still.len() > allowed;
        if hopeless {
            self.refused.push((candidate.frame, candidate.at, still));
        }
        hopeless
    }

    fn design(&self, candidate: &Candidate) -> Option<Design> {
        let changes = changes(self.axes, &self.axes.frames[candidate.frame], candidate.at);
        changes.into_iter().try_fold(self.bench.design.clone(), |design, change| design.with(change).ok())
    }

    fn take_refused(&self, candidates: &[Candidate]) -> Vec<Choice> {
        let refused = self.tried.iter().filter(|(_, judged)| judged.verdict != Verdict::Holds);
        refused.filter_map(|(index, _)| self.choice(*index, &candidates[*index])).collect()
    }

    fn choice(&self, index: usize, candidate: &Candidate) -> Option<Choice> {
        let (_, judged) = self.tried.iter().find(|(known, _)| *known == index)?;
        let frame = &self.axes.frames[candidate.frame];
        let design = self.design(candidate)?;
        let [panel, _, interval] = candidate.at;
        Some(Choice {
            changes: changes(self.axes, frame, candidate.at),
            panel: frame.panels[panel].name.clone(),
            power: Power::from_watts(candidate.watts),
            battery: design.battery.name.clone(),
            capacity: Charge::from_milliampere_hours(candidate.mah),
            charger: design.charger.as_ref().map(|charger| charger.name.clone()),
            tilt_deg: design.panel.as_ref().map_or(Angle::ZERO, |mounted| mounted.tilt).degrees(),
            every: self.axes.intervals.get(interval).copied(),
            reports_per_year: candidate.reports_per_year,
            cost: candidate.cost,
            judged: judged.clone(),
        })
    }
}
