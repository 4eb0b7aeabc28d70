//! What many lives, the law and the messages say, in sentences that text and page share.

pub mod alarm;
pub mod learnable;
pub mod life;
pub mod message;
pub mod obstacle;
pub mod reach;
pub mod remedy;
pub mod truth;
pub mod winter;

use design::message::Part;
use design::quantity::Share;
use forecast::life::climate_view::ClimateView;
use forecast::sky::recorded::Winters;
use verdict::law::{Bound, LawPlan, Limit, RateRow};
use verdict::message::{RateView, Row};
use verdict::plan::{Cause, Course, Driver, FaultRow, JudgedPromise, Plan, Promised, Survival, Verdict};

use super::{Assumed, Origin, ReportedDesign, words};

/// An unknown that moves the outcome's rank by less than this share of its own is not worth a word.
const LEAST_WEIGHT: f64 = 0.05;

/// With fewer lives their fifths say nothing.
const FEW_LIVES: usize = 100;
/// What is said of them instead.
pub(crate) const SO_FEW: &str = "So few lives say little: the interval shows how little.";

/// A share of lives or reports with the digits worth reading: "98.2 %", "99.99 %"; never rounded up to all.
pub fn share(share: Share) -> String {
    match share.percent() {
        percent if percent >= 100.0 => "100 %".to_owned(),
        percent if percent >= 99.9 => format!("{:.2} %", percent.min(99.99)),
        percent => format!("{percent:.1} %"),
    }
}

/// "98.2 % of 1,000 five-year lives without an outage (97.2-98.9); promised 95 %"; before it what else is missed.
pub fn headline(subject: &ReportedDesign, chances: &Survival) -> String {
    let promised = words::figure_short(subject.promise.without_outage.percent());
    let noise = if chances.misses_within_noise() { ", missed by less than the simulation noise" } else { "" };
    format!("{}{}; promised {promised} %{noise}", missed(chances), chances.sentence())
}

/// What the figure depends on, and what it leaves out.
pub fn caveat(chances: &Survival) -> String {
    let mut said = if chances.lives < FEW_LIVES {
        SO_FEW.to_owned()
    } else {
        let (worst, best) = (share(chances.worst_fifth), share(chances.best_fifth));
        format!(
            "Unluckiest fifth of lives: {worst}; luckiest: {best}. The interval is simulation noise only and assumes no failures."
        )
    };
    if let Some(early) = stopped_early(chances) {
        said = format!("{said} {early}");
    }
    said
}

/// Marks an answer that somebody did not wait for.
pub fn stopped_early(chances: &Survival) -> Option<String> {
    (chances.lives < chances.wanted).then(|| {
        let (lived, wanted) = (words::grouped(chances.lives), words::grouped(chances.wanted));
        format!("Stopped early: {lived} of {wanted} lives.")
    })
}

/// The date on which the unlucky stand lowest.
pub fn darkest_date(chances: &Survival) -> String {
    let (month, day) = words::month_and_day(chances.darkest_day);
    format!("{day} {}", words::month(month))
}

/// Less than a point between its lowest and its highest day is no course of a year.
const LEVEL_PERCENT: f64 = 1.0;

/// Whether the charge of the unlucky hardly changes over the year, so that no date is its lowest.
pub fn is_level(chances: &Survival) -> bool {
    let highest = chances.bands.iter().map(|band| band.charge[0].percent()).fold(0.0, f64::max);
    highest - darkest_percent(chances) < LEVEL_PERCENT
}

/// The charge [%] below which 5 % of the lives stand on that date.
pub fn darkest_percent(chances: &Survival) -> f64 {
    chances.bands.get(chances.darkest_day).map_or(0.0, |band| band.charge[0].percent())
}

/// "9 January; 5 % of lives at 41 % or less, 6.2 days in hand".
pub fn darkest(chances: &Survival) -> String {
    format!(
        "{}; 5 % of lives at {:.0} % or less, {} in hand",
        if is_level(chances) { "hardly changes over the year".to_owned() } else { darkest_date(chances) },
        darkest_percent(chances),
        in_hand(chances)
    )
}

/// How long a node lasts from the lowest charge of the unlucky.
pub fn in_hand(chances: &Survival) -> String {
    if is_nothing(chances) { "nothing".to_owned() } else { words::days(chances.in_hand.days()) }
}

/// Half an hour in hand is none.
fn is_nothing(chances: &Survival) -> bool {
    chances.in_hand.days() < 0.02
}

/// Outages and reports over all lives.
pub fn outages(chances: &Survival) -> String {
    let sent =
        chances.completeness.map_or(String::new(), |sent| format!(", {} of reports sent", share(sent)));
    let hours = chances.outage_hours_per_year;
    if hours <= 0.0 {
        return format!("never{sent}");
    }
    let silent = match chances.longest_silence {
        Some(silence) if silence.hours() >= 1.0 => {
            format!(", one life in twenty silent for {}", words::span(silence))
        }
        _ => String::new(),
    };
    let back = match words::figure(chances.visits_per_year).as_str() {
        "0" => "recovering unaided".to_owned(),
        visits => format!("{visits} visits a year"),
    };
    format!("mean {} h a year{sent}{silent}, {back}", words::figure(hours))
}

/// What is sent over the year where intervals depend on the charge.
pub fn course(course: &Course) -> String {
    format!(
        "{} a year; fewest in {}: {} a day; no silence longer than {} in 95 % of the lives",
        words::count(words::whole(course.per_year), "report"),
        words::month(course.poorest.0),
        words::figure(course.poorest.1),
        words::span(course.longest_silence),
    )
}

/// How long a node lasts: of one that nothing charges half of the lives and nine in ten; of one with a panel that no limit
/// was found, or how many reached theirs, and what is left of the battery.
pub fn lasts(subject: &ReportedDesign, plan: &Plan, chances: &Survival) -> String {
    if super::has_sun(plan) {
        let limit = limit(subject, chances);
        return format!("{limit}; {}", life::wear(&plan.life));
    }
    match plan.life.lasts {
        Some((median, most)) => format!(
            "half of the lives {} or more, nine in ten {}; makers vouch for no cell beyond 20 years",
            words::lasting(median),
            words::lasting(most)
        ),
        None => "longer than 40 years; makers vouch for no cell beyond 20 years".to_owned(),
    }
}

/// "no limit found in 5 years", or what share of the lives ends before, for wear if that is what ends most of them.
pub fn limit(subject: &ReportedDesign, chances: &Survival) -> String {
    let span = words::planned_span(subject.promise.unattended);
    let stopped = 1.0 - chances.without_outage.fraction();
    if stopped <= 0.0 {
        return format!("no limit found in {span}");
    }
    let stopped = share(Share::from_fraction(stopped));
    match chances.causes.first() {
        Some((Cause::Ageing, _)) => format!("worn out within {span} in {stopped} of the lives"),
        _ => format!("{stopped} of the lives stop within {span}"),
    }
}

/// What share of the reports is sent.
pub fn reports_sent(chances: &Survival) -> String {
    chances
        .completeness
        .map_or("nothing is reported".to_owned(), |sent| format!("{} of reports sent", share(sent)))
}

/// What a temperature gate would bring.
pub fn with_gate(plan: &Plan, gated: Share) -> String {
    format!(
        "{:.0} % of lives are charged below 0 °C for an hour a year or more, {} h on average, so the verdict is tight at best; with a gate, {} of lives pass without an outage.",
        plan.life.plates.percent(),
        words::figure(plan.life.plating_hours_per_year),
        share(gated)
    )
}

/// Which life is shown hour by hour.
pub fn shown_life(plan: &Plan) -> String {
    match &plan.chances {
        Some(chances) => format!(
            "The life shown: number {} of {}, with the median lowest charge",
            plan.life.number,
            words::grouped(chances.lives)
        ),
        None => "The life shown".to_owned(),
    }
}

/// The three unknowns that matter most.
pub fn matters_most(drivers: &[Driver]) -> String {
    let names: Vec<&str> = telling(drivers).map(|driver| driver.name).take(3).collect();
    match names.as_slice() {
        [] => "the weather, not an unknown of site or parts".to_owned(),
        names => names.join(", then "),
    }
}

/// The unknowns that move the outcome at all, most first.
pub fn telling(drivers: &[Driver]) -> impl Iterator<Item = &Driver> {
    drivers.iter().filter(|driver| driver.weight.abs() >= LEAST_WEIGHT)
}

/// What stopped the lives that failed; `None` if none did.
pub fn causes(plan: &Plan, chances: &Survival) -> Option<String> {
    let word = |of: Cause| match of {
        Cause::Sun if !super::has_sun(plan) => "battery used up",
        of => cause(of),
    };
    let said = |(of, share): &(Cause, Share)| format!("{:.0} % {}", share.percent(), word(*of));
    let parts: Vec<String> = chances.causes.iter().take(3).map(said).collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn cause(cause: Cause) -> &'static str {
    match cause {
        Cause::Sun => "too little sun",
        Cause::ChargeGate => "too cold or hot to charge",
        Cause::BrownOut => "brown-out under a pulse",
        Cause::Ageing => "worn battery",
        Cause::Distance => "weak link, so long on air",
        Cause::Parts => "weak parts",
    }
}

/// The smaller promises by name, each with its answer.
pub fn promises(chances: &Survival) -> impl Iterator<Item = (&'static str, String)> + '_ {
    chances.kept.iter().skip(1).map(|kept| {
        (kept.promised.name(), format!("{}: {}", words::verdict(kept.verdict), answer(&kept.promised)))
    })
}

/// What the lives show of a promise, and what it asks.
pub fn answer(promised: &Promised) -> String {
    match *promised {
        Promised::WithoutOutage { asked, found } => format!(
            "{} of lives without an outage, promised {} %",
            share(found),
            words::figure_short(asked.percent())
        ),
        Promised::Completeness { asked, found } => {
            format!("{} of reports sent, promised {} %", share(found), words::figure_short(asked.percent()))
        }
        Promised::Freshness { asked, found } => format!(
            "95 % of lives are never silent for more than {}, promised {}",
            words::span(found),
            words::span(asked)
        ),
        Promised::Visits { asked, found } => {
            format!("{} visits a year, promised {}", words::figure(found), words::figure_short(asked))
        }
    }
}

/// The smaller promises that are broken or in doubt, each in a sentence.
fn missed(chances: &Survival) -> String {
    let sentence = |kept: &JudgedPromise| {
        let (name, answer) = (kept.promised.name(), answer(&kept.promised));
        match kept.verdict {
            Verdict::Fails => format!("The promised {name} is missed: {answer}. "),
            _ => format!("The promised {name} is in doubt: {answer}. "),
        }
    };
    chances.missed().map(sentence).collect()
}

/// The answer to "will it live?" from what was promised, survival first.
pub fn will_it_live(verdict: Verdict, kept: &[JudgedPromise]) -> String {
    match kept {
        [survival, rest @ ..] if verdict == Verdict::Fails && survival.verdict != Verdict::Fails => {
            let missed = rest.iter().filter(|kept| kept.verdict != Verdict::Holds);
            let names: Vec<&str> = missed.map(|kept| kept.promised.name()).collect();
            let lives = if survival.verdict == Verdict::Holds { "It will live" } else { "It may live" };
            format!("{lives}, but not keep its promise: {}.", names.join(", "))
        }
        _ => words::will_it_live(verdict).to_owned(),
    }
}

/// What becomes of lives with one thing gone wrong, in one sentence.
pub fn fault(row: &FaultRow) -> String {
    let (Some(median), Some(most)) = (row.median_days, row.most_days) else {
        return "no life stops within a year of it".to_owned();
    };
    let back = row.comes_back.map_or(0.0, Share::percent);
    let back = match back {
        0.0 => "none recovers without a visit".to_owned(),
        100.0 => "all recover unaided".to_owned(),
        back => format!("{back:.0} % of these recover unaided"),
    };
    format!(
        "stops {:.0} % of lives; median time to stop {}, nine in ten within {}; {back}",
        row.stops.percent(),
        words::days(median),
        words::days(most)
    )
}

/// The reason of the law's verdict, short.
pub fn law(law: &LawPlan) -> String {
    match law.checks.iter().find(|check| !check.in_use && check.verdict != Verdict::Holds) {
        Some(far) if law.verdict == Verdict::Tight => format!("if the network asks for it, {}", far.reason),
        _ => law.reason.clone(),
    }
}

/// The answer to "does it fit?" in our words.
pub fn fits(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Holds => "fits",
        Verdict::Tight => "tight",
        Verdict::Fails => "too long",
        Verdict::NotKnown => "not known",
    }
}

/// What holds for every plan and is easily forgotten.
pub fn assumptions(plan: &Plan) -> Vec<String> {
    let of_lives: &[&str] = if plan.chances.is_some() {
        &[
            "Every life draws its own weather, site and parts. Ledger and months are means over lives, what the node spends \
             per day in which it runs; hours are those of one life, the one with the median lowest charge.",
        ]
    } else {
        &[
            "The answer is for this weather; another year may be darker.",
            "Parts are taken at their nominal values.",
        ]
    };
    let failures = "The answer assumes no failures; what one failure at a time would do is shown beside it.";
    let clock = format!("Hours are {}; every step is one hour long.", clock(plan));
    std::iter::once(&failures).chain(of_lives).map(|text| (*text).to_owned()).chain([clock]).collect()
}

/// The clock by which the hours of a plan are counted.
pub fn clock(plan: &Plan) -> &'static str {
    if plan.weather.drawn { "mean solar time" } else { "local standard time" }
}

/// How often a message may be sent.
pub fn bound(bound: Bound) -> String {
    match bound {
        Bound::Any => "any time".to_owned(),
        Bound::Never => "never".to_owned(),
        Bound::Every(interval) => format!("every {}", words::span(interval)),
    }
}

/// What limits a message most at a data rate.
pub fn tightest(rate: &RateRow) -> String {
    let name = |limit: Limit| match limit {
        Limit::Payload => "length",
        Limit::Law => "law",
        Limit::Allowance => "network",
        Limit::Energy => "energy",
    };
    rate.limits.tightest().map_or("nothing".to_owned(), |(limit, _)| name(limit).to_owned())
}

/// Range, words or width of a field of a message.
pub fn field_says(row: &Row) -> String {
    let digits = row.decimals;
    match (row.range, row.step) {
        _ if !row.words.is_empty() => row.words.join(", "),
        (Some((low, high)), Some(step)) => {
            let unit =
                if row.unit.is_empty() { String::new() } else { format!(" {}", words::unit(&row.unit)) };
            let step = words::step(step);
            match row.part {
                Part::Earlier(_) => {
                    format!("{low:.digits$} to +{high:.digits$}{unit} from the newest, in steps of {step}")
                }
                _ => format!("{low:.digits$} to {high:.digits$}{unit} in steps of {step}"),
            }
        }
        _ => "bytes".to_owned(),
    }
}

/// What stands in a part of a message.
pub fn field_name(row: &Row) -> String {
    let name = row.field.replace('_', " ");
    match row.part {
        Part::Value => name,
        Part::Latitude => format!("{name}, latitude"),
        Part::Longitude => format!("{name}, longitude"),
        Part::Earlier(place) => format!("{name}, {} before", place + 1),
    }
}

/// The value of the example with its unit.
pub fn field_example(row: &Row) -> String {
    let Some(example) = &row.example else { return String::new() };
    if row.words.is_empty() && !row.unit.is_empty() {
        format!("{} {}", example.text, words::unit(&row.unit))
    } else {
        example.text.clone()
    }
}

/// What a byte less or more would do at a data rate.
pub fn cliff(rate: &RateView) -> String {
    let room = match rate.room {
        0 => "no free byte".to_owned(),
        room => format!("{} free", words::count(room, "more byte")),
    };
    match rate.cliff {
        Some(cliff) => format!(
            "{} fewer would save {:.0} ms and {} uAh; {room}",
            words::count(cliff.bytes, "byte"),
            cliff.airtime.milliseconds(),
            words::figure(1000.0 * cliff.charge.milliampere_hours())
        ),
        None => format!("fewer bytes would save nothing; {room}"),
    }
}

/// The finding of a climate: its darkest month and fortnight.
pub fn climate_finding(climate: &ClimateView) -> String {
    let darkest = climate.darkest();
    format!(
        "{} brings {} kWh a square metre and day to the panel, the darkest fortnight {}",
        words::month(darkest.month),
        kilowatt_hours(darkest.in_plane_wh_m2),
        kilowatt_hours(climate.fortnight.usual_wh_m2)
    )
}

fn kilowatt_hours(wh: f64) -> String {
    format!("{:.2}", wh / 1000.0)
}

/// What of a weather file lives are made of.
pub(crate) fn winters(winters: Winters) -> String {
    match winters {
        Winters::Whole(1) => "one whole winter, from midsummer to midsummer".to_owned(),
        Winters::Whole(count) => format!("{count} whole winters, each life draws from them"),
        Winters::Joined => "one year, its last day followed by its first".to_owned(),
    }
}

/// Where a climate comes from, how dark it gets, and how sure all of it is: label and sentence.
pub fn climate(assumed: &Assumed) -> Vec<(&'static str, String)> {
    let climate = &assumed.view;
    let fortnight = &climate.fortnight;
    let (month, day) = words::month_and_day(fortnight.from_day);
    let darkest = climate.darkest();
    let (low, high) = darkest.ghi_interval_wh_m2;
    let snow = if climate.snow_guessed && climate.rain_guessed {
        "a guess from cold and from 2 mm of rain a day, since the rain there is not known either; write `snow_days` into [site]"
    } else if climate.snow_guessed {
        "a guess from cold and rain that no measurement stands behind; write `snow_days` into [site]"
    } else {
        "as the design file says, for a flat panel"
    };
    let mut rows = vec![
        ("from", climate.source.clone()),
        (
            "fortnight",
            format!(
                "the darkest begins about {day} {}: {} kWh a square metre and day in a usual year, {} or less in one year of ten",
                words::month(month),
                kilowatt_hours(fortnight.usual_wh_m2),
                kilowatt_hours(fortnight.one_in_ten_wh_m2)
            ),
        ),
        (
            "dark runs",
            format!(
                "the longest run of days under {} kWh (half a mean day of {}) is {:.0} days in a usual year, {:.0} or more in one year of ten",
                kilowatt_hours(climate.dark_below_wh_m2),
                words::month(darkest.month),
                climate.dark_run_days(0.5),
                climate.dark_run_days(0.9)
            ),
        ),
        (
            "days",
            format!(
                "{:.0} of 100 days of {} are overcast (less than a fifth of the light outside the air); daily means stray by {:.1} K about the climate, which is itself known to {:.0} %",
                100.0 * darkest.overcast_share,
                words::month(darkest.month),
                darkest.day_sd_k,
                100.0 * climate.day_sd_doubt
            ),
        ),
        ("snow", snow.to_owned()),
        (
            "how sure",
            format!(
                "the ground gets {} kWh a square metre and day in {}, and with 90 % certainty {} to {}{}",
                kilowatt_hours(darkest.ghi_wh_m2),
                words::month(darkest.month),
                kilowatt_hours(low),
                kilowatt_hours(high),
                if assumed.origin == Origin::Hours { "" } else { "; every life draws its own value" }
            ),
        ),
        ("tested", tested(assumed.origin).to_owned()),
    ];
    rows.extend(skyline(climate).map(|text| ("skyline", text)));
    rows
}

/// Which skyline hides the sun in which months.
fn skyline(climate: &ClimateView) -> Option<String> {
    let in_leaf: Vec<&str> = climate
        .months
        .iter()
        .filter(|month| month.in_leaf)
        .map(|month| words::month_short(month.month))
        .collect();
    (!in_leaf.is_empty()).then(|| format!("`horizon_in_leaf` in {}, else `horizon`", in_leaf.join(", ")))
}

/// What the climate was held against.
///
/// # References
/// The figures of the built-in climate: `data/climate/README.md` of the crate `forecast`, table of errors.
fn tested(origin: Origin) -> &'static str {
    match origin {
        Origin::BuiltIn => {
            "91 % of the months of 26 weather years that the correction had not seen lay in such intervals, and their dark \
             months were off by 15 % (root mean square); leaving whole climates out, only 79 % in southern Europe and 67 % at \
             the edge of the tropics. It knows no valley, fog or mountain shade: measured hours of a place with the same \
             winter are better (--weather FILE)"
        }
        Origin::Monthly => {
            "not at all: the monthly numbers of the design file are believed within 10 %, and the spread of days about them \
             is that of the literature"
        }
        Origin::Hours => {
            "measured hours; the interval grants 5 % to the instrument and what so few years may miss"
        }
    }
}
