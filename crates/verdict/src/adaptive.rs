//! Reporting by month and charge: the table of intervals that keeps a promise with the fewest reports lost, or that gets
//! most reports out of a node.
//!
//! A table is derived from what lives need ([`forecast::life::needs`]), made as careful as the lives of the search ask, and
//! confirmed on lives that the search never saw, the error of the node's gauge included.

use design::change::Change;
use design::node::{Activity, Condition, Design, Load};
use design::quantity::{Duration, Share};
use design::schedule::Months;
use forecast::Progress;
use forecast::life::ensemble::{FIRST_FRESH, live_from, on_threads};
use forecast::life::needs::{Caution, Needs, Rows, needs};
use forecast::life::prepared::Prepared;
use forecast::life::run::{Trial, survives};
use forecast::life::weather::MonthlyDraw;
use forecast::sky::light::YEAR_DAYS;
use forecast::stats;

use crate::answer::{Answer, Environment};
use crate::finding::Verdict;
use crate::plan::{Course, Effort, JudgedVariant, course, judged};

/// Intervals that a table may say \[min\]: few, so that it stays readable.
const INTERVALS_MIN: [f64; 17] =
    [0.5, 1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 60.0, 120.0, 180.0, 360.0, 720.0, 1440.0, 2880.0];
/// The longest silence that a table brings, unless the design reports less often itself (own choice).
const LONGEST_MIN: f64 = 720.0;
/// Lives that tables are derived from and tuned on, per life that the promise lets fail, and at least.
const SEARCHED_PER_FAILURE: f64 = 10.0;
const LEAST_SEARCHED: f64 = 200.0;
/// Lives that they are confirmed on, per life that the promise lets fail.
const CONFIRMED_PER_FAILURE: f64 = 50.0;
/// After a miss on fresh lives the table is made more careful so many times.
const STEPS_FURTHER: usize = 3;
/// Lives whose reports are counted.
const COUNTED: usize = 200;
/// From bold to careful.
const CAUTIONS: [(f64, f64); 15] = [
    (0.5, 0.0),
    (0.7, 0.0),
    (0.8, 0.0),
    (0.9, 0.0),
    (0.95, 0.0),
    (0.98, 0.0),
    (0.99, 0.02),
    (0.995, 0.04),
    (0.998, 0.06),
    (1.0, 0.08),
    (1.0, 0.12),
    (1.0, 0.16),
    (1.0, 0.22),
    (1.0, 0.3),
    (1.0, 0.4),
];

/// What a table is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// It only ever reports less often than the design does, so that the node lives.
    Spare,
    /// It also reports more often where there is charge to spend.
    Spend,
}

/// A table that keeps the promise.
#[derive(Clone, Debug)]
pub struct Adapted {
    /// What it is for.
    pub aim: Aim,
    /// The load.
    pub load: String,
    /// Its activity.
    pub activity: String,
    /// The interval that is written.
    pub every: Duration,
    /// Charge from which each row holds, highest first, and its intervals.
    pub rows: Vec<(Share, Months)>,
    /// The design with it.
    pub design: Design,
    /// What lives that the search never saw say of it.
    pub judged: JudgedVariant,
    /// What it sends.
    pub course: Course,
    /// What the design as written sends in a year if it lives.
    pub written_per_year: f64,
    /// The shortest fixed interval that passes on the lives of the search, and its reports a year.
    pub best_fixed: Option<(Duration, f64)>,
    /// Reports a year that the sun pays for if no battery were ever full or empty.
    pub energy_neutral_per_year: f64,
    /// Lives on which it was found.
    pub searched: usize,
}

/// Why there is no table.
#[derive(Clone, Debug, PartialEq)]
pub enum NoTable {
    /// Nothing charges the battery: there is no income to follow, and the voltage of a primary cell tells no charge.
    NothingCharges,
    /// Nothing reports all year round at a fixed interval.
    NothingReports,
    /// The design can't have one; why not, and what to do.
    Refused(String, String),
    /// The promise is kept without a table at this interval, the shortest that it may have.
    KeptAnyway(Duration),
    /// So many lives pass at the longest interval.
    NotEnough(Share),
    /// It holds only if the node knew its charge: so many lives with a perfect gauge, so many with this one's error.
    OnlyWithPerfectGauge(Share, Share),
    /// Somebody stopped the search.
    Stopped,
}

/// The table of a design for an aim; `answer` is what is known of it.
///
/// # Errors
/// Why there is none.
pub fn adaptive(
    design: &Design,
    environment: &Environment<'_>,
    answer: &Answer,
    aim: Aim,
    effort: Effort,
    progress: &dyn Progress,
) -> Result<Adapted, NoTable> {
    if design.panel.is_none() || design.charger.is_none() {
        return Err(NoTable::NothingCharges);
    }
    let (load, activity, every) = most_often(design).ok_or(NoTable::NothingReports)?;
    let reporting = Reporting { design, load: &load.name, activity: &activity.name, every };
    let intervals = reporting.intervals(answer, aim)?;
    let search = Search::new(reporting, environment, answer, intervals, effort, progress);
    search.table(aim)
}

/// What reports most often all year round, at a fixed interval.
pub(crate) fn most_often(design: &Design) -> Option<(&Load, &Activity, Duration)> {
    let activities = design.loads.iter().flat_map(|load| load.activities.iter().map(move |one| (load, one)));
    let all_year = activities.filter(|(_, one)| one.sends() && one.when == Condition::default());
    let fixed = all_year.filter_map(|(load, one)| Some((load, one, one.every.fixed_interval()?)));
    fixed.reduce(|one, other| if other.2 < one.2 { other } else { one })
}

/// The activity that gets a table.
#[derive(Clone, Copy)]
struct Reporting<'a> {
    design: &'a Design,
    load: &'a str,
    activity: &'a str,
    every: Duration,
}

impl Reporting<'_> {
    fn at(&self, every: Duration) -> Result<Design, NoTable> {
        let (load, activity) = (self.load.to_owned(), self.activity.to_owned());
        self.with(Change::Interval { load, activity, every })
    }

    fn with(&self, change: Change) -> Result<Design, NoTable> {
        self.design.with(change).map_err(|refused| NoTable::Refused(refused.message, refused.help))
    }

    fn change(&self, rows: Vec<(Share, Months)>) -> Change {
        let (load, activity) = (self.load.to_owned(), self.activity.to_owned());
        Change::IntervalByMonthAndCharge { load, activity, rows }
    }

    /// Intervals that its table may say, the shortest first: lawful, long enough for its steps, and fresh enough.
    fn intervals(&self, answer: &Answer, aim: Aim) -> Result<Vec<Duration>, NoTable> {
        // Whether a table may be there at all is asked before anything is lived.
        let probe = vec![
            (Share::from_percent(50.0), [Some(self.every); 12]),
            (Share::ZERO, [Some(self.every * 2.0); 12]),
        ];
        self.with(self.change(probe))?;
        let link = answer.reach.spots.middle_state();
        let badness = answer.law.verdict.badness();
        let lawful = |every: Duration| {
            every >= self.every
                || self
                    .at(every)
                    .is_ok_and(|design| crate::law::judge(&design, link).verdict.badness() <= badness)
        };
        let longest = self.design.promise.freshness.unwrap_or(Duration::from_minutes(LONGEST_MIN));
        let shortest = if aim == Aim::Spare { self.every } else { Duration::ZERO };
        let round = INTERVALS_MIN.map(Duration::from_minutes).into_iter();
        let mut all: Vec<Duration> = round
            .filter(|every| *every != self.every && *every >= shortest && *every <= longest && lawful(*every))
            .chain([self.every])
            .collect();
        all.sort_by(|one, other| one.seconds().total_cmp(&other.seconds()));
        Ok(all)
    }
}

struct Search<'a> {
    reporting: Reporting<'a>,
    environment: &'a Environment<'a>,
    answer: &'a Answer,
    intervals: Vec<Duration>,
    base: Prepared,
    lives: usize,
    confirming: usize,
    effort: Effort,
    progress: &'a dyn Progress,
}

/// A table, and the design with it.
struct Tried {
    rows: Vec<(Share, Months)>,
    design: Design,
    prepared: Prepared,
}

impl<'a> Search<'a> {
    fn new(
        reporting: Reporting<'a>,
        environment: &'a Environment<'a>,
        answer: &'a Answer,
        intervals: Vec<Duration>,
        effort: Effort,
        progress: &'a dyn Progress,
    ) -> Self {
        let design = reporting.design;
        let failing = 1.0 - design.promise.without_outage.fraction();
        let base = Prepared::new(design, environment.weather, &answer.reach.spots, effort.seed);
        let lives = whole((SEARCHED_PER_FAILURE / failing).max(LEAST_SEARCHED));
        let confirming = effort.lives.unwrap_or_else(|| whole(CONFIRMED_PER_FAILURE / failing));
        Self { reporting, environment, answer, intervals, base, lives, confirming, effort, progress }
    }

    fn table(&self, aim: Aim) -> Result<Adapted, NoTable> {
        let fixed: Vec<Prepared> = self
            .intervals
            .iter()
            .map(|every| self.prepared(&self.reporting.at(*every)?))
            .collect::<Result<_, _>>()?;
        let (Some(first), Some(longest)) = (fixed.first(), fixed.last()) else {
            return Err(NoTable::NothingReports);
        };
        let is_kept = match aim {
            Aim::Spare if self.answer.life.verdict == Verdict::Fails => false,
            // By its promises alone: a danger of its parts is none that a table takes away.
            Aim::Spare | Aim::Spend => {
                self.confirmed(first).kept.iter().all(|promise| promise.verdict == Verdict::Holds)
            }
        };
        if is_kept || fixed.len() == 1 {
            return Err(NoTable::KeptAnyway(self.intervals[0]));
        }
        let wanted = self.wanted_share();
        let at_longest = self.share(&longest.trial());
        if at_longest < wanted {
            return Err(NoTable::NotEnough(Share::from_fraction(at_longest)));
        }
        let draws = draws(&fixed);
        let found = needs(&longest.trial(), &draws, self.lives, self.effort.threads);
        let (Tried { rows, design, prepared }, judged) = self.careful_enough(&found, wanted)?;
        let reports = |prepared: &Prepared| wanted_per_year(prepared);
        let passing = self.shortest_passing(&fixed, wanted);
        Ok(Adapted {
            aim,
            load: self.reporting.load.to_owned(),
            activity: self.reporting.activity.to_owned(),
            every: self.reporting.every,
            rows,
            design,
            judged,
            course: self.course(&prepared),
            written_per_year: reports(&self.base),
            best_fixed: passing.map(|place| (self.intervals[place], reports(&fixed[place]))),
            energy_neutral_per_year: energy_neutral(&found, &fixed),
            searched: self.lives,
        })
    }

    /// The boldest table that passes on the lives of the search and holds on fresh ones.
    fn careful_enough(&self, found: &Needs, wanted: f64) -> Result<(Tried, JudgedVariant), NoTable> {
        let made = |place: usize| -> Result<Tried, NoTable> {
            let (share, margin) = CAUTIONS[place];
            let rows = self.rows(&found.table(Caution { share, margin }));
            let design = self.reporting.with(self.reporting.change(rows.clone()))?;
            Ok(Tried { rows, prepared: self.prepared(&design)?, design })
        };
        let (mut fails, mut passes) = (0, CAUTIONS.len() - 1);
        while fails < passes {
            let middle = fails.midpoint(passes);
            if self.share(&made(middle)?.prepared.trial()) >= wanted {
                passes = middle;
            } else {
                fails = middle + 1;
            }
        }
        let mut tight = None;
        let mut last = None;
        for place in passes..CAUTIONS.len().min(passes + STEPS_FURTHER + 1) {
            if self.progress.stop() {
                return Err(NoTable::Stopped);
            }
            let tried = made(place)?;
            let judged = self.confirmed(&tried.prepared);
            match judged.verdict {
                Verdict::Holds => return Ok((tried, judged)),
                Verdict::Tight if tight.is_none() => tight = Some((tried, judged)),
                _ => last = Some((tried.prepared, judged.without_outage)),
            }
        }
        tight.ok_or_else(|| self.refusal(last))
    }

    /// Why no table was careful enough.
    fn refusal(&self, last: Option<(Prepared, Share)>) -> NoTable {
        let Some((prepared, with_error)) = last else { return NoTable::Stopped };
        let trial = prepared.trial();
        let unknowns = trial.unknowns.with_perfect_gauge();
        let perfect = self.share(&Trial { unknowns: &unknowns, ..trial });
        if perfect >= self.reporting.design.promise.without_outage.fraction() {
            return NoTable::OnlyWithPerfectGauge(Share::from_fraction(perfect), with_error);
        }
        NoTable::NotEnough(with_error)
    }

    /// The shortest of fixed intervals that passes on the lives of the search.
    fn shortest_passing(&self, fixed: &[Prepared], wanted: f64) -> Option<usize> {
        let (mut fails, mut passes) = (0, fixed.len());
        while fails < passes {
            let middle = fails.midpoint(passes);
            if self.share(&fixed[middle].trial()) >= wanted {
                passes = middle;
            } else {
                fails = middle + 1;
            }
        }
        (passes < fixed.len()).then_some(passes)
    }

    fn prepared(&self, design: &Design) -> Result<Prepared, NoTable> {
        if self.progress.stop() {
            return Err(NoTable::Stopped);
        }
        Ok(self.base.of_variant(design, self.environment.weather, None))
    }

    fn confirmed(&self, prepared: &Prepared) -> JudgedVariant {
        judged(prepared, FIRST_FRESH, self.confirming, self.effort, self.progress)
    }

    /// Share of the lives of the search without an outage.
    fn share(&self, trial: &Trial<'_>) -> f64 {
        let lived =
            on_threads(self.effort.threads, self.lives, |number| survives(trial, number as u64, None));
        lived.iter().filter(|survives| **survives).count() as f64 / self.lives as f64
    }

    /// The share that is likely to be confirmed.
    fn wanted_share(&self) -> f64 {
        let small = |count: usize| u32::try_from(count).unwrap_or(u32::MAX);
        let promise = self.reporting.design.promise.without_outage.fraction();
        let proves =
            |survivors: &usize| stats::wilson(small(*survivors), small(self.confirming)).0 >= promise;
        let (mut fails, mut proven) = (0, self.confirming);
        while fails < proven {
            let middle = fails.midpoint(proven);
            if proves(&middle) { proven = middle } else { fails = middle + 1 }
        }
        proven as f64 / self.confirming.max(1) as f64
    }

    fn rows(&self, places: &Rows) -> Vec<(Share, Months)> {
        let months = |places: &[usize; 12]| places.map(|place| self.intervals.get(place).copied());
        places.iter().map(|(charge, places)| (Share::from_fraction(*charge), months(places))).collect()
    }

    fn course(&self, prepared: &Prepared) -> Course {
        let lived = live_from(&prepared.trial(), FIRST_FRESH, COUNTED, self.effort.threads, self.progress);
        course(&prepared.trial(), &lived.outcomes)
    }
}

/// What the node draws by class of spot and interval.
fn draws(fixed: &[Prepared]) -> Vec<Vec<MonthlyDraw>> {
    let classes = fixed.first().map_or(0, |one| one.trial().nodes.len());
    let of_class = |class: usize| {
        let draw = |one: &Prepared| {
            let trial = one.trial();
            trial.weather.sample().monthly_draw(&trial.nodes[class])
        };
        fixed.iter().map(draw).collect()
    };
    (0..classes).map(of_class).collect()
}

fn wanted_per_year(prepared: &Prepared) -> f64 {
    prepared.trial().weather.sample().wanted_reports_per_year(prepared.middle())
}

/// Reports a year at which a node spends what it gets, had it a battery that is never full: the load that an energy-neutral
/// node can bear.
///
/// # References
/// Kansal, Hsu, Zahedi & Srivastava 2007, *ACM Transactions on Embedded Computing Systems* 6(4), article 32.
fn energy_neutral(found: &Needs, fixed: &[Prepared]) -> f64 {
    let (Some(shortest), Some(longest)) = (fixed.first(), fixed.last()) else { return 0.0 };
    let yearly = |draw: &MonthlyDraw| {
        let daily: f64 = draw.floor_ah.iter().chain(&draw.active_ah).sum();
        daily / 12.0 * YEAR_DAYS as f64
    };
    let drawn_ah = |one: &Prepared| yearly(&one.trial().weather.sample().monthly_draw(one.middle()));
    let (few, many) = (wanted_per_year(longest), wanted_per_year(shortest));
    let per_report_ah = (drawn_ah(shortest) - drawn_ah(longest)) / (many - few).max(1.0);
    few + (found.offered_ah - found.spent_ah).max(0.0) / per_report_ah.max(1e-12)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts of lives are small")]
fn whole(count: f64) -> usize {
    count.round().clamp(1.0, 1e7) as usize
}
