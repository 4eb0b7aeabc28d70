//! From a checked design and its weather to the plan; nothing here can fail.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "lengths of lives are clamped, and months and days are small"
)]

use design::node::Design;
use design::quantity::{Charge, Duration, Share};
use forecast::diary::Diary;
use forecast::life::account::{Account, Harm, account};
use forecast::life::cause::survival_with_gate;
use forecast::life::ensemble::{Lives, live_all};
use forecast::life::fault::{lifetimes, refill, reserve};
use forecast::life::node::NodeTables;
use forecast::life::prepared::{Prepared, Weather, day_of_year, node_weather};
use forecast::life::run::{LifeOutcome, Trial};
use forecast::life::shown::{Hour, median_life, moment, worn_to, year_around_the_lowest};
use forecast::life::weather::{NodeWeather, distance_km, is_south};
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use forecast::sky::light::{YEAR_DAYS, nominal_hours};
use forecast::sky::recorded::Winters;
use forecast::sky::weather::WeatherHours;
use forecast::{Progress, Silent};

use super::chances::{self, Effort, Headline, Survival};
use super::dangers::is_charging_danger;
use super::findings::{self, findings};
use super::ledger::{ledger, months, spent_per_day};
use super::settings;
use super::{Life, Plan, WeatherUsed};
use crate::finding::{Finding, Verdict};

/// A primary cell must last the promise and this share more: its end comes without a warning (own choice).
pub(super) const PRIMARY_MARGIN: f64 = 1.2;
/// Above this share of lives whose batteries are charged too cold or too hot for an hour a year or more no verdict is better
/// than tight (own choice).
pub(super) const HARMED_LIVES: f64 = 0.05;
/// A node without a panel is followed to its end, but no longer than this.
const LONGEST_FOLLOWED_YEARS: usize = 40;
const FOLLOWED_LIVES: usize = 50;
/// Makers rate a rechargeable cell until so much of its capacity is left (common practice, from memory).
const RATED_END: Share = Share::from_percent(80.0);
/// Lives lived again with a temperature gate.
const GATED_LIVES: usize = 200;

/// Plans a design: many lives to tell how likely it is, and one of them to look at. `spots` says at which data rates lives
/// may find themselves.
#[must_use]
pub fn plan(
    design: &Design,
    weather: Weather<'_>,
    spots: &Spots,
    effort: Effort,
    progress: &dyn Progress,
) -> Plan {
    of_prepared(&Prepared::new(design, weather, spots, effort.seed), weather, effort, progress)
}

/// The plan of a design whose tables are made, under the same weather and with the same seed.
#[must_use]
pub fn of_prepared(
    prepared: &Prepared,
    weather: Weather<'_>,
    effort: Effort,
    progress: &dyn Progress,
) -> Plan {
    let used = weather_used(prepared.design(), weather);
    let mut plan = with_case(prepared, effort, progress, |case| lay_out(case, used));
    plan.findings.extend(settings::fatal(prepared, weather, &plan, effort, progress));
    plan.findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    plan
}

/// Looks at a design whose tables are made.
pub(super) fn with_case<T>(
    prepared: &Prepared,
    effort: Effort,
    progress: &dyn Progress,
    look: impl FnOnce(&LifeInputs<'_>) -> T,
) -> T {
    let trial = prepared.trial();
    let nominal = vec![prepared.middle().clone(); trial.nodes.len()];
    let (design, spots) = (prepared.design(), prepared.spots());
    look(&LifeInputs { design, spots, trial: &trial, nominal: &nominal, effort, progress })
}

/// A month of lives that are not judged.
pub(crate) struct MonthAhead {
    pub(crate) taken_per_day: Charge,
    pub(crate) spent_per_day: Charge,
    /// Its hours in the life that `check` shows: the one with the median lowest charge.
    pub(crate) hours: Vec<Hour>,
}

/// A month, 1 to 12, of the year that a plan shows: its means are those of the plan with as many lives.
pub(crate) fn month_ahead(
    design: &Design,
    weather: Weather<'_>,
    spots: &Spots,
    month: u8,
    effort: Effort,
) -> MonthAhead {
    let prepared = Prepared::new(design, weather, spots, effort.seed);
    let trial = prepared.trial();
    let wanted = chances::lives_wanted(design, effort);
    let lives = live_all(&trial, wanted, effort.threads, &Silent);
    let account = account(&trial, lives.outcomes.len(), effort.threads);
    let of_month = &account.months[usize::from(month.clamp(1, 12)) - 1];
    let hours = year_around_the_lowest(design, &trial, &shown(&lives));
    MonthAhead {
        taken_per_day: of_month.per_day(of_month.flows.taken),
        spent_per_day: spent_per_day(of_month),
        hours: hours.into_iter().filter(|hour| hour.at.month == month).collect(),
    }
}

/// The weather as this node feels it, and what there is to say of it.
pub(super) fn surroundings(
    design: &Design,
    weather: Weather<'_>,
    diary: &Diary,
    seed: u64,
) -> (NodeWeather, WeatherUsed) {
    (node_weather(design, weather, diary, seed), weather_used(design, weather))
}

pub(super) fn weather_used(design: &Design, weather: Weather<'_>) -> WeatherUsed {
    match weather {
        Weather::Hours(hours) => recorded_weather(design, hours),
        Weather::Climate(climate) => drawn_weather(climate),
    }
}

/// What all parts of the plan need.
pub(super) struct LifeInputs<'a> {
    pub(super) design: &'a Design,
    pub(super) spots: &'a Spots,
    pub(super) trial: &'a Trial<'a>,
    /// The node on its middle spot, in place of every class.
    pub(super) nominal: &'a [NodeTables],
    pub(super) effort: Effort,
    pub(super) progress: &'a dyn Progress,
}

impl LifeInputs<'_> {
    /// The trial of the node as designed, on its middle spot.
    pub(super) fn nominal_trial(&self) -> Trial<'_> {
        Trial { nodes: self.nominal, ..*self.trial }
    }

    /// The node as designed, on its middle spot.
    pub(super) fn node(&self) -> &NodeTables {
        &self.nominal[0]
    }

    /// First day of the month with the least sun, by day of the year.
    fn dark_day(&self) -> usize {
        day_of_year(self.trial.weather.sample().dark_month(), 1)
    }

    /// First day of the month before: when a defect begins to matter.
    pub(super) fn day_of_faults(&self) -> usize {
        let dark_month = self.trial.weather.sample().dark_month();
        day_of_year(if dark_month == 1 { 12 } else { dark_month - 1 }, 1)
    }
}

/// The lives and everything that is said of them.
fn lay_out(case: &LifeInputs<'_>, used: WeatherUsed) -> Plan {
    let LifeInputs { design, spots, trial, effort, progress, .. } = *case;
    let wanted = chances::lives_wanted(design, effort);
    let lives = live_all(trial, wanted, effort.threads, progress);
    let account = account(trial, lives.outcomes.len(), effort.threads);
    let life = life(case, &lives, &account);
    let chances = (!lives.outcomes.is_empty()).then(|| chances::chances(case, &lives));
    let plates = plates(account.harm);
    let mut findings = findings(case, account.harm, &used);
    let headline = chances.as_ref().map(Survival::headline);
    let (verdict, mut reason) = judge(headline, is_endangered(account.harm, &findings));
    if headline.is_none() {
        reason += "; below is the first of them";
    }
    findings.extend(chances.as_ref().and_then(|chances| {
        let near = chances::near_a_gateway(case, &chances.causes, chances.lives)?;
        findings::dies_by_distance(design, spots, chances.without_outage, near)
    }));
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Plan {
        verdict,
        reason,
        ledger: ledger(&account, trial.weather.sample().dark_month()),
        months: months(&account, &lives, trial.days, trial.weather.sample()),
        with_gate: plates.then(|| survival_with_gate(trial, GATED_LIVES, effort.threads, progress)),
        findings,
        hours: year_around_the_lowest(design, trial, &shown(&lives)),
        life,
        years: trial.years(),
        weather: used,
        chances,
    }
}

/// Whether so many lives are charged below freezing that no verdict is better than tight.
fn plates(harm: Harm) -> bool {
    harm.frozen.harmed.fraction() > HARMED_LIVES
}

/// Whether charging endangers the battery, so that no verdict is better than tight.
pub(super) fn is_endangered(harm: Harm, findings: &[Finding]) -> bool {
    plates(harm) || findings.iter().any(is_charging_danger)
}

pub(super) fn judge(headline: Option<Headline<'_>>, endangered: bool) -> (Verdict, String) {
    let Some(headline) = headline else {
        return (Verdict::NotKnown, "no life was lived, so how many survive is not known".to_owned());
    };
    match headline.verdict() {
        Verdict::Holds if endangered => (Verdict::Tight, headline.reason()),
        verdict => (verdict, headline.reason()),
    }
}

/// The life that is shown: the one with the median lowest charge, or the first if none was lived.
fn shown(lives: &Lives) -> LifeOutcome {
    median_life(&lives.outcomes).copied().unwrap_or_default()
}

fn life(case: &LifeInputs<'_>, lives: &Lives, account: &Account) -> Life {
    let LifeInputs { trial, effort, .. } = *case;
    let (shown, nominal) = (shown(lives), case.nominal_trial());
    let start = trial.start_day.unwrap_or(shown.start_day) * 24;
    let at = |hour: u32| {
        let hour = hour as usize;
        moment(hour, (start + hour) % nominal_hours().len())
    };
    let missed: f64 = lives.outcomes.iter().map(|life| life.missed_reports).sum();
    let year = account.year();
    Life {
        number: shown.life,
        outage_hours: shown.outage_hours(),
        outages: shown.outages,
        first_outage: shown.first_outage.map(at),
        lowest_charge: Share::from_fraction(f64::from(shown.lowest_charge.min(1.0))),
        lowest_at: at(shown.lowest_hour),
        capacity_left: Share::from_fraction(f64::from(shown.capacity_left)),
        wanted_reports_per_year: trial.weather.sample().wanted_reports_per_year(case.node()),
        missed_reports_per_year: missed / (lives.outcomes.len().max(1) as f64 * trial.years()),
        without_sun: reserve(&nominal, case.dark_day(), Share::from_fraction(1.0), effort.threads),
        lasts: lasts(case),
        worn_after: worn_to(trial, &shown, RATED_END),
        days_to_half: refill(&nominal, case.dark_day(), effort.threads).map(Duration::days),
        spilled_per_day: Charge::from_ampere_hours(
            (year.flows.offered - year.flows.taken) / (year.hours.max(1.0) / 24.0),
        ),
        gated_hours_per_year: account.gated_hours_per_year,
        plating_hours_per_year: account.harm.frozen.hours_per_year,
        hot_hours_per_year: account.harm.hot.hours_per_year,
        plates: account.harm.frozen.harmed,
        lives_in_means: account.lives,
    }
}

/// For how long half of the lives of a node that nothing charges last, and nine in ten.
fn lasts(case: &LifeInputs<'_>) -> Option<(Duration, Duration)> {
    if case.trial.has_sun() {
        return None;
    }
    let trial = Trial { days: LONGEST_FOLLOWED_YEARS * YEAR_DAYS, ..*case.trial };
    let lifetimes = lifetimes(&trial, FOLLOWED_LIVES, case.effort.threads);
    Some((*lifetimes.get(FOLLOWED_LIVES / 2)?, *lifetimes.get(FOLLOWED_LIVES / 10)?))
}

fn recorded_weather(design: &Design, weather: &WeatherHours) -> WeatherUsed {
    let hours = weather.ghi_w_m2.len();
    let wanted_h = design.promise.unattended.hours();
    WeatherUsed {
        title: weather.title.clone(),
        drawn: false,
        south: is_south(design, weather),
        place: weather.place.as_ref().map(|place| (place.latitude, place.longitude)),
        distance_km: weather.place.as_ref().map(|place| distance_km(design, place)),
        hours,
        winters: Some(Winters::of(weather.starts(), is_south(design, weather))),
        passes: (wanted_h / hours as f64).round().clamp(1.0, 100.0) as u16,
        diffuse_measured: weather.dni_w_m2.is_some() && weather.dhi_w_m2.is_some(),
        doubtful: weather.doubtful,
        wind_measured: weather.wind_m_s.is_some(),
    }
}

fn drawn_weather(climate: &Climate) -> WeatherUsed {
    WeatherUsed {
        title: climate.source.clone(),
        drawn: true,
        south: climate.latitude.degrees() < 0.0,
        place: None,
        distance_km: None,
        hours: 0,
        winters: None,
        passes: 1,
        diffuse_measured: false,
        doubtful: None,
        wind_measured: false,
    }
}
