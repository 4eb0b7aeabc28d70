//! The smallest panel for each battery and interval.

use std::cell::RefCell;
use std::collections::BTreeMap;

use design::change::Change;
use design::node::Design;
use forecast::Progress;
use forecast::life::ensemble::on_threads;
use forecast::life::prepared::Prepared;
use forecast::life::run::survives;
use forecast::radio::spots::Spots;

use super::WholeGrid;
use super::axes::{Axes, Frame, capacity};
use crate::answer::Environment;
use crate::plan::{Effort, worst_first};
use crate::quota::{self, first_that};

/// Lives between two looks at whether the allowed failures are used up.
const BATCH: usize = 16;

/// What all designs are tried on.
pub(super) struct Bench<'a> {
    pub(super) design: &'a Design,
    pub(super) environment: &'a Environment<'a>,
    pub(super) spots: &'a Spots,
    pub(super) effort: Effort,
    pub(super) progress: &'a dyn Progress,
    pub(super) searching: usize,
    pub(super) confirming: usize,
}

/// Places on panels, capacities and intervals.
pub(super) type Place = [usize; 3];

/// What a search found in one frame.
#[derive(Clone, Debug)]
pub(super) struct Front {
    /// By capacity and interval: the smallest panel that passes.
    pub(super) smallest_panel: Vec<Vec<Option<usize>>>,
    /// How many lives are known to fail with it.
    pub(super) failing: Vec<Vec<usize>>,
    pub(super) looked_at: usize,
    pub(super) lived: usize,
}

impl From<Front> for WholeGrid {
    fn from(front: Front) -> Self {
        let Front { smallest_panel, looked_at, lived, .. } = front;
        Self { smallest_panel, looked_at, lived }
    }
}

/// The changes that lead to a place of a frame, in the order in which they can be made.
pub(super) fn changes(axes: &Axes, frame: &Frame, [panel, battery, interval]: Place) -> Vec<Change> {
    let mut changes = frame.changes.clone();
    let written = &frame.design;
    let now = written.panel.as_ref().map(|mounted| &mounted.panel.name);
    let other = frame.panels[panel].name.as_ref().filter(|name| Some(*name) != now);
    changes.extend(other.cloned().map(Change::Panel));
    let mah = frame.capacities_mah[battery];
    if (written.battery.capacity.nominal.milliampere_hours() / mah - 1.0).abs() > 1e-9 {
        changes.push(capacity(written, mah));
    }
    changes.extend(axes.intervals.get(interval).and_then(|every| axes.interval(*every)));
    changes
}

/// What is known of the lives of one design.
struct Tried {
    at: Place,
    survived: Vec<bool>,
    failed: Vec<bool>,
}

struct Search<'a> {
    bench: &'a Bench<'a>,
    axes: &'a Axes,
    frame: &'a Frame,
    /// By panel: its tables serve every battery and interval.
    bases: RefCell<BTreeMap<usize, Prepared>>,
    tried: Vec<Tried>,
    /// How often each life failed.
    often: Vec<u32>,
    lived: usize,
}

/// Searches every frame; several at once where there are several.
pub(super) fn fronts(bench: &Bench<'_>, axes: &Axes) -> Vec<Front> {
    let threads = bench.effort.threads.max(1);
    let at_once = threads.min(axes.frames.len().max(1));
    let effort = Effort { threads: threads / at_once, ..bench.effort };
    let bench = Bench { effort, ..*bench };
    on_threads(at_once, axes.frames.len(), |index| front(&bench, axes, &axes.frames[index]))
}

/// Searches a frame.
pub(super) fn front(bench: &Bench<'_>, axes: &Axes, frame: &Frame) -> Front {
    let mut search = Search::new(bench, axes, frame);
    let (panels, batteries) = (frame.panels.len(), frame.capacities_mah.len());
    let intervals = axes.intervals.len().max(1);
    // The place behind the last panel stands for none.
    let mut known: Vec<Vec<Option<usize>>> = vec![vec![None; intervals]; batteries];
    let cells = ends_then_middles(batteries).into_iter().flat_map(|battery| {
        ends_then_middles(intervals).into_iter().map(move |interval| (battery, interval))
    });
    for (done, (battery, interval)) in cells.enumerate() {
        bench.progress.report(done * panels, batteries * intervals * panels);
        let (mut fails, mut holds) = (0, panels);
        for (other_battery, row) in known.iter().enumerate() {
            for (other_interval, smallest) in row.iter().enumerate() {
                let Some(smallest) = *smallest else { continue };
                if other_battery >= battery && other_interval >= interval {
                    fails = fails.max(smallest);
                }
                if other_battery <= battery && other_interval <= interval {
                    holds = holds.min(smallest);
                }
            }
        }
        // Where a violation of the order crosses them, what was seen with less counts.
        fails = fails.min(holds);
        let smallest = first_that(fails, holds, |panel| search.passes([panel, battery, interval]));
        known[battery][interval] = Some(smallest);
    }
    search.front(known, panels)
}

/// Looks at every design of a frame with every life: what a search is held against.
pub(super) fn whole(bench: &Bench<'_>, axes: &Axes, frame: &Frame) -> Front {
    let mut search = Search::new(bench, axes, frame);
    let (panels, batteries) = (frame.panels.len(), frame.capacities_mah.len());
    let intervals = axes.intervals.len().max(1);
    let mut known = vec![vec![None; intervals]; batteries];
    let mut looked_at = 0;
    for (battery, row) in known.iter_mut().enumerate() {
        for (interval, smallest) in row.iter_mut().enumerate() {
            let mut first = panels;
            for panel in 0..panels {
                looked_at += 1;
                // What other designs showed is forgotten.
                search.tried.clear();
                if search.tries([panel, battery, interval], bench.searching) && first == panels {
                    first = panel;
                }
            }
            *smallest = Some(first);
        }
    }
    let front = search.front(known, panels);
    Front { looked_at, ..front }
}

/// Places of an axis: its ends first, then the middles of what lies between.
#[must_use]
pub fn ends_then_middles(count: usize) -> Vec<usize> {
    let Some(last) = count.checked_sub(1) else { return Vec::new() };
    let mut order = vec![0];
    if last > 0 {
        order.push(last);
    }
    let mut gaps = vec![(0, last)];
    while !gaps.is_empty() {
        let mut next = Vec::new();
        for (low, high) in gaps {
            let middle = usize::midpoint(low, high);
            if middle > low && middle < high {
                order.push(middle);
                next.extend([(low, middle), (middle, high)]);
            }
        }
        gaps = next;
    }
    order
}

impl<'a> Search<'a> {
    fn new(bench: &'a Bench<'a>, axes: &'a Axes, frame: &'a Frame) -> Self {
        let often = vec![0; bench.searching];
        Self { bench, axes, frame, bases: RefCell::new(BTreeMap::new()), tried: Vec::new(), often, lived: 0 }
    }

    fn front(self, known: Vec<Vec<Option<usize>>>, panels: usize) -> Front {
        let real = |row: Vec<Option<usize>>| row.into_iter().map(|at| at.filter(|at| *at < panels)).collect();
        let smallest_panel: Vec<Vec<Option<usize>>> = known.into_iter().map(real).collect();
        let of_row = |(battery, row): (usize, &Vec<Option<usize>>)| {
            let of = |(interval, panel): (usize, &Option<usize>)| {
                panel.map_or(self.bench.searching, |panel| count(&self.failed([panel, battery, interval])))
            };
            row.iter().enumerate().map(of).collect()
        };
        Front {
            failing: smallest_panel.iter().enumerate().map(of_row).collect(),
            smallest_panel,
            looked_at: self.tried.len(),
            lived: self.lived,
        }
    }

    fn passes(&mut self, at: Place) -> bool {
        let promise = self.bench.design.promise.without_outage;
        let most = quota::quota(promise, self.bench.searching, self.bench.confirming).all;
        self.tries(at, most)
    }

    /// Whether a design passes; its failures are counted to the first beyond `most`.
    fn tries(&mut self, at: Place, most: usize) -> bool {
        if self.bench.progress.stop() {
            return false;
        }
        let Some(prepared) = self.prepared(at) else { return false };
        let lives = self.bench.searching;
        let promise = self.bench.design.promise.without_outage;
        let allowed = quota::quota(promise, lives, self.bench.confirming);
        let mut failed = self.failed(at);
        let mut survived = self.known(at, |one, other| one <= other, |tried| &tried.survived);
        self.live(&prepared, &mut failed, &mut survived, most);
        let failing = count(&failed);
        let passes = failing <= allowed.all
            && (failing <= allowed.worst_fifth || {
                let (effort, progress) = (self.bench.effort, self.bench.progress);
                let ranked = worst_first(&prepared, lives, effort, progress);
                let worst = ranked[..lives / 5].iter().filter(|life| is(&failed, **life)).count();
                worst <= allowed.worst_fifth
            });
        self.tried.push(Tried { at, survived, failed });
        passes
    }

    /// Lives the lives of which nothing is known, those that failed most elsewhere first.
    fn live(&mut self, prepared: &Prepared, failed: &mut [bool], survived: &mut [bool], most: usize) {
        let trial = prepared.trial();
        let mut open: Vec<usize> =
            (0..failed.len()).filter(|life| !failed[*life] && !survived[*life]).collect();
        open.sort_by_key(|life| std::cmp::Reverse(self.often[*life]));
        let mut failing = count(failed);
        for batch in open.chunks(BATCH) {
            if failing > most {
                break;
            }
            let lived = on_threads(self.bench.effort.threads, batch.len(), |index| {
                survives(&trial, batch[index] as u64, None)
            });
            for (life, lives_on) in batch.iter().zip(lived) {
                self.lived += 1;
                survived[*life] = lives_on;
                failed[*life] = !lives_on;
                failing += usize::from(!lives_on);
                self.often[*life] += u32::from(!lives_on);
            }
        }
    }

    /// Lives that failed with this, or with more of everything.
    fn failed(&self, at: Place) -> Vec<bool> {
        self.known(at, |one, other| one >= other, |tried| &tried.failed)
    }

    /// What designs with more, or with less, of everything have shown of each life.
    fn known(&self, at: Place, holds: fn(usize, usize) -> bool, of: fn(&Tried) -> &Vec<bool>) -> Vec<bool> {
        let mut known = vec![false; self.bench.searching];
        let tells = |tried: &&Tried| (0..3).all(|axis| holds(tried.at[axis], at[axis]));
        for tried in self.tried.iter().filter(tells) {
            known.iter_mut().zip(of(tried)).for_each(|(mine, its)| *mine |= its);
        }
        known
    }

    fn prepared(&self, at: Place) -> Option<Prepared> {
        let made = changes(self.axes, self.frame, at);
        let own = made.get(self.frame.changes.len()..).unwrap_or_default();
        let design = own
            .iter()
            .try_fold(self.frame.design.clone(), |design, change| design.with(change.clone()).ok())?;
        let weather = self.bench.environment.weather;
        let mut bases = self.bases.borrow_mut();
        let base = bases.get(&at[0]).or(bases.values().next());
        let prepared = base.map_or_else(
            || Prepared::new(&design, weather, self.bench.spots, self.bench.effort.seed),
            |base| base.of_variant(&design, weather, None),
        );
        bases.entry(at[0]).or_insert_with(|| prepared.clone());
        Some(prepared)
    }
}

fn count(lives: &[bool]) -> usize {
    lives.iter().filter(|one| **one).count()
}

fn is(lives: &[bool], life: u64) -> bool {
    usize::try_from(life).ok().and_then(|life| lives.get(life)).copied().unwrap_or(false)
}

/// Share of the lives that survive, by place of interval, panel and capacity.
pub(super) fn survival(
    bench: &Bench<'_>,
    axes: &Axes,
    frame: &Frame,
    intervals: &[usize],
) -> Vec<Vec<Vec<f64>>> {
    let (panels, batteries) = (frame.panels.len(), frame.capacities_mah.len());
    let mut search = Search::new(bench, axes, frame);
    let mut found = vec![vec![vec![0.0; batteries]; panels]; intervals.len()];
    let total = intervals.len() * panels * batteries;
    for (row, interval) in intervals.iter().enumerate() {
        for panel in ends_then_middles(panels) {
            for battery in ends_then_middles(batteries) {
                bench.progress.report(search.tried.len(), total);
                search.tries([panel, battery, *interval], bench.searching);
                let survived = search.tried.last().map_or(0, |tried| count(&tried.survived));
                found[row][panel][battery] = survived as f64 / bench.searching.max(1) as f64;
            }
        }
    }
    found
}
