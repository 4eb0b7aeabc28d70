//! Time on air against the duty cycle of each sub-band and against what the network grants.

use design::law::{Band, Clause, Confidence};
use design::quantity::{Duration, Frequency, Share};

use super::hour::shortest_interval;
use super::traffic::Busiest;
use super::{Check, LawInputs, OnAir, Rate, Topic, join, power};
use crate::finding::Verdict;

pub(super) const HOUR: Duration = Duration::from_hours(1.0);
pub(super) const DAY: Duration = Duration::from_days(1.0);

/// A sub-band and the share of the channels that lie in it.
struct SubBandShare<'l> {
    band: &'l Band,
    share: Share,
}

impl SubBandShare<'_> {
    fn budget(&self) -> Option<Duration> {
        self.band.duty_cycle.map(|share| HOUR * share.fraction())
    }
}

/// The sub-bands that the channels of a data rate fall into, ascending.
fn parts<'l>(case: &'l LawInputs<'_>, rate: &Rate) -> Vec<SubBandShare<'l>> {
    let bands: Vec<&Band> = case.channels(rate).filter_map(|channel| power::band(case, channel)).collect();
    let mut parts: Vec<SubBandShare<'_>> = Vec::new();
    for band in &bands {
        if !parts.iter().any(|part| part.band == *band) {
            let alike = bands.iter().filter(|other| *other == band).count();
            parts.push(SubBandShare { band, share: Share::from_fraction(alike as f64 / bands.len() as f64) });
        }
    }
    parts.sort_by(|a, b| a.band.from.hertz().total_cmp(&b.band.from.hertz()));
    parts
}

/// What may be sent in any hour at a data rate if it is spread evenly over the channels; `None` without limit.
pub(super) fn hourly_budget(case: &LawInputs<'_>, rate: &Rate) -> Option<Duration> {
    let budgets =
        parts(case, rate).into_iter().filter_map(|part| Some(part.budget()? / part.share.fraction()));
    budgets.reduce(|least, one| if one < least { one } else { least })
}

pub(super) fn judge(case: &LawInputs<'_>) -> (Vec<OnAir>, Vec<Check>) {
    let (mut rows, mut checks) = (Vec::new(), Vec::new());
    for rate in &case.rates {
        let busiest = case.traffic.busiest_hour(rate, true);
        for part in parts(case, rate) {
            let row = row(case, rate, &part, &busiest);
            if let Some(allowed) = row.allowed {
                checks.push(check(case, rate, &part, &busiest, &row, allowed));
            }
            rows.push(row);
        }
    }
    (rows, checks)
}

fn row(case: &LawInputs<'_>, rate: &Rate, part: &SubBandShare<'_>, busiest: &Busiest) -> OnAir {
    let share = part.share.fraction();
    let requests = join::busiest_hour(case);
    let one_each = case.traffic.sources.iter().map(|source| case.traffic.burst(source, rate, true)).sum();
    // It joins or it reports; an hour that turns from one to the other holds one more of the other.
    let joining = longer(busiest.total + join::request(case), requests + one_each);
    OnAir {
        data_rate: rate.number,
        in_use: rate.in_use,
        band: (part.band.from, part.band.to),
        share: part.share,
        allowed: part.budget(),
        busiest_hour: busiest.total * share,
        acknowledged_hour: case.traffic.busiest_hour(rate, false).total * share,
        joining_hour: joining * share,
        busiest_day: case.traffic.busiest_day(rate) * share,
    }
}

fn check(
    case: &LawInputs<'_>,
    rate: &Rate,
    part: &SubBandShare<'_>,
    busiest: &Busiest,
    row: &OnAir,
    allowed: Duration,
) -> Check {
    let over = |on_air: Duration| on_air.seconds() > allowed.seconds() * (1.0 + 1e-9);
    let (from, to) = (part.band.from, part.band.to);
    let said = |on_air: Duration, when: &str| {
        let (sent_s, allowed_s) = told_apart(on_air, allowed);
        format!(
            "{sent_s} s on air at {} in {when} ({:.1} %), {allowed_s} s allowed in {}",
            rate.text(),
            on_air / HOUR * 100.0,
            span(from, to)
        )
    };
    let (verdict, reason) = if over(row.busiest_hour) {
        let unanswered = if over(row.acknowledged_hour) { "" } else { " when each message needs 8 tries" };
        (
            super::breach(&part.band.duty_clause),
            said(row.busiest_hour, &format!("the busiest hour{unanswered}")),
        )
    } else if over(busiest.total) {
        (
            Verdict::Tight,
            said(busiest.total, "the busiest hour if chance puts every message into one sub-band"),
        )
    } else if over(row.joining_hour) {
        (Verdict::Tight, said(row.joining_hour, "the hour in which it joins"))
    } else {
        (Verdict::Holds, said(row.busiest_hour, "the busiest hour"))
    };
    let (field, remedy) = remedy(case, rate, part, busiest, allowed);
    Check {
        topic: Topic::DutyCycle,
        verdict,
        data_rate: rate.number,
        in_use: rate.in_use,
        field,
        reason,
        clause: part.band.duty_clause.clone(),
        remedy: remedy.filter(|_| over(row.busiest_hour)),
    }
}

/// The interval at which the source that fills most of the hour leaves room, the others staying as they are.
fn remedy(
    case: &LawInputs<'_>,
    rate: &Rate,
    part: &SubBandShare<'_>,
    busiest: &Busiest,
    allowed: Duration,
) -> (String, Option<String>) {
    let most = busiest.most.and_then(|(index, own)| Some((case.traffic.sources.get(index)?, own)));
    let Some((source, own)) = most else { return ("radio".to_owned(), None) };
    let burst = case.traffic.burst(source, rate, true);
    let left = allowed / part.share.fraction() - (busiest.total - own);
    let interval = shortest_interval(HOUR, burst, left);
    let text = match interval {
        None => format!(
            "fewer bytes or messages: at {} no interval of `{}` is long enough",
            rate.text(),
            source.name
        ),
        Some(interval) => {
            let strict_s = interval.seconds().ceil();
            let mean_s = (burst.seconds() * HOUR.seconds() / left.seconds()).ceil();
            let mean = if mean_s < strict_s {
                format!(" ({mean_s:.0} s keeps the share on average, but some hours hold one message more)")
            } else {
                String::new()
            };
            format!("`{}` every {strict_s:.0} s or slower at {}{mean}", source.name, rate.text())
        }
    };
    (format!("{}.every", source.field), Some(text))
}

/// The network's own allowance at each data rate.
pub(super) fn allowance(case: &LawInputs<'_>) -> Vec<Check> {
    let Some(granted) = case.radio.airtime_allowance_per_day else { return Vec::new() };
    let check = |rate: &Rate| {
        let day = case.traffic.busiest_day(rate);
        let over = day.seconds() > granted.seconds() * (1.0 + 1e-9);
        let text = "what the network grants, as the design states it; not a law".to_owned();
        Check {
            topic: Topic::Allowance,
            verdict: if over { Verdict::Fails } else { Verdict::Holds },
            data_rate: rate.number,
            in_use: rate.in_use,
            field: "radio.airtime_allowance_per_day".to_owned(),
            reason: format!(
                "{:.0} s on air a day at {}, {:.0} s granted",
                day.seconds(),
                rate.text(),
                granted.seconds()
            ),
            clause: Clause { text, confidence: Confidence::Agreed },
            remedy: over
                .then(|| format!("intervals {:.0} times as long at {}", (day / granted).ceil(), rate.text())),
        }
    };
    case.rates.iter().map(check).collect()
}

/// Both in seconds, with as many decimals as tell them apart: one at least, three at most.
fn told_apart(one: Duration, other: Duration) -> (String, String) {
    let with = |decimals: usize| {
        (format!("{:.decimals$}", one.seconds()), format!("{:.decimals$}", other.seconds()))
    };
    let apart = (1..=3).map(with).find(|(one, other)| one != other);
    apart.unwrap_or_else(|| with(1))
}

fn longer(one: Duration, other: Duration) -> Duration {
    if one > other { one } else { other }
}

/// `868-868.6 MHz`.
fn span(from: Frequency, to: Frequency) -> String {
    let mhz = |frequency: Frequency| (frequency.kilohertz()).round() / 1e3;
    format!("{}-{} MHz", mhz(from), mhz(to))
}
