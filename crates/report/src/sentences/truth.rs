//! What a node's messages taught, in sentences that text and page share.

use forecast::learn::{Band, Cause, CauseKind, Learned, NotKnown, Quantity, Silence, date_of};
use verdict::Truth;
use verdict::winter::mend_of;

use crate::words;

const DAY_S: f64 = 86_400.0;
/// A load, a yield or a capacity is named with this many letters before its figures.
const PERCENT: f64 = 100.0;

/// What a truth is about.
#[derive(Clone, Debug)]
pub struct Told {
    /// The node.
    pub name: String,
    /// The design file, without its folders.
    pub file: String,
    /// The log, without its folders.
    pub log: String,
    /// A remark shown under the name.
    pub note: Option<String>,
    /// How long it must live, in words.
    pub unattended: String,
    /// What was tolerated in the log, in words.
    pub tolerated: Vec<String>,
    /// What was learned, judged.
    pub truth: Truth,
}

/// "20 December", of a moment so many days after another.
pub(super) fn date(at_s: i64, days: f64) -> String {
    let (_, month, day) = date_of(shifted(at_s, days));
    format!("{day} {}", words::month(month))
}

#[expect(clippy::cast_possible_truncation, reason = "half a year of seconds")]
fn shifted(at_s: i64, days: f64) -> i64 {
    at_s + (days * DAY_S).round() as i64
}

/// The answer to whether it does what was promised.
pub fn headline(told: &Told) -> String {
    let truth = &told.truth;
    let (low, high) = truth.between;
    format!(
        "{} of nodes that send what this one sent go to the end of {} without an outage ({:.0}-{:.0} %); promised {} %",
        chance(truth.without_outage),
        told.unattended,
        PERCENT * low,
        PERCENT * high,
        words::figure_short(PERCENT * truth.promised)
    )
}

/// A chance that is never rounded to none or all.
pub(super) fn chance(share: f64) -> String {
    match PERCENT * share {
        percent if percent > 0.0 && percent < 1.0 => "less than 1 %".to_owned(),
        percent if percent > 99.0 && percent < 100.0 => "more than 99 %".to_owned(),
        percent => format!("{percent:.0} %"),
    }
}

/// When it falls silent, if nothing further breaks and nobody comes.
pub fn silence(at_s: i64, silence: &Silence) -> String {
    let within = silence.within_days as f64;
    let end = date(at_s, within);
    let at = |days: f64| if days > within { format!("later than {end}") } else { date(at_s, days) };
    let (low, high) = silence.p_between;
    let how_likely = format!("{} ({:.0}-{:.0} %)", chance(silence.p), PERCENT * low, PERCENT * high);
    let Band { p05, p50, p95 } = silence.days;
    if p05 > within {
        return format!("not before {end}: {how_likely} to stop in {} days", silence.within_days);
    }
    if p50 > within {
        return format!("{how_likely} to stop by {end}; the unluckiest twentieth on {}", at(p05));
    }
    format!("{how_likely} to stop by {end}: on {} ({} to {})", at(p50), at(p05), at(p95))
}

/// The likeliest cause that lies in the node itself, neither in the weather nor in the gateway.
pub fn explains(learned: &Learned) -> Option<&Cause> {
    learned.causes.iter().find(|cause| mend_of(cause.kind).is_some())
}

/// A cause as a sentence, with what to bring.
pub fn cause(cause: &Cause, told: &Told) -> String {
    let begun = |verb: &str| match cause.since_day {
        Some(day) => format!("since {} ", date(day * 86_400, 0.5)) + verb,
        None => verb.to_owned(),
    };
    let learned = &told.truth.learned;
    let percent = PERCENT * cause.figure;
    let said = match cause.kind {
        CauseKind::PanelBuried => begun(
            "the panel gives nothing, and its voltage stays low by day: leaves, snow or dirt lie on it. Bring a brush",
        ),
        CauseKind::PanelUnplugged => begun(
            "the panel gives nothing and has no voltage by day: its cable is off or broken. Bring a plug, cable and a meter",
        ),
        CauseKind::ChargerIdle => begun(
            "nothing is charged, though the panel stands in light: the charger does not start, or its lead to the battery is off. Bring a charger board and a meter",
        ),
        CauseKind::PanelOrCharger => begun(
            "nothing is charged: panel or charger. The node does not send the panel's voltage, which would tell which. Bring a brush, a cable and a charger board",
        ),
        CauseKind::PanelLow => begun(&format!(
            "panel and place give {percent:.0} % of what the design says: dirt, tilt, shade all day or a weak panel. Bring a brush, look for what grew, measure the panel"
        )),
        CauseKind::ShadeByHour => {
            let [morning, _, afternoon] = &learned.by_hour;
            let when = if morning.p50 < afternoon.p50 { "before 11" } else { "after 13" };
            format!(
                "{when} o'clock solar time the panel gives {percent:.0} % of what it gives at noon: something shades it. Bring a saw, or move it"
            )
        }
        CauseKind::LoadUp => begun(&format!(
            "the node draws {:.1} times what the design says: a part that does not sleep, a pin that is pulled, water. Bring a spare board and a meter for microamperes",
            cause.figure
        )),
        CauseKind::RebootLoop => format!(
            "it started anew {:.0} times a day: a loop of restarts, or its supply dips. Bring new firmware and a spare board",
            cause.figure
        ),
        CauseKind::BatteryWorn => {
            format!(
                "the battery holds {percent:.0} % of its label: worn, or never what it said. Bring a battery"
            )
        }
        CauseKind::WeatherWorse => {
            "there was less sun than a place like this usually has; nothing is broken. Bring nothing"
                .to_owned()
        }
        CauseKind::GatewayAway => format!(
            "nothing has been heard for {}, and its battery should still run it: look at the gateway first",
            words::days(cause.figure)
        ),
    };
    let chance = match cause.kind {
        CauseKind::RebootLoop => String::new(),
        _ => format!(" ({})", self::chance(cause.chance)),
    };
    said + &chance
}

/// What can't be known, why, and what would tell.
pub fn not_known(unknown: &NotKnown, learned: &Learned) -> (&'static str, String) {
    let (name, why, would_tell) = match unknown.what {
        Quantity::Yield if unknown.always_full => (
            "yield",
            "the battery is full nearly all the time, which shows no more than that the panel gives enough",
            if learned.heard.minutes {
                "the first dark weeks, or sun measured nearby (--sun)"
            } else {
                "minutes in charge in the message, the first dark weeks, or sun measured nearby (--sun)"
            },
        ),
        Quantity::Yield => (
            "yield",
            "a weak panel and dark weather look alike as long as nobody measured the sun",
            "sun measured nearby (--sun), or a second node under the same sky",
        ),
        Quantity::Load => (
            "load",
            "a battery half as large under half the load shows the same voltages",
            if learned.heard.minutes {
                "the floor current measured on the bench, or weeks more"
            } else {
                "minutes in charge in the message, or the floor current measured on the bench"
            },
        ),
        Quantity::Capacity => (
            "capacity",
            "a battery half as large under half the load shows the same voltages",
            "a dark week that takes it down, the floor current measured on the bench, or a visit with a meter",
        ),
    };
    (name, format!("{why}; what would tell: {would_tell}"))
}

/// A quantity with what was believed before and what is known now.
#[derive(Clone, Debug)]
pub struct Learnt {
    /// What it is.
    pub label: &'static str,
    /// Unit of the figures.
    pub unit: &'static str,
    /// Before; none where nothing was believed.
    pub before: Option<Band>,
    /// Now.
    pub now: Band,
    /// Whether the log says almost nothing of it.
    pub known: bool,
}

/// Before against now, in the order in which it is asked.
pub fn side_by_side(learned: &Learned) -> Vec<Learnt> {
    let percent = |band: &Band| scaled(band, PERCENT);
    let known = |what| !learned.not_known.iter().any(|one| one.what == what);
    let [morning, noon, afternoon] = &learned.by_hour;
    let row = |label, unit, before: Option<&Band>, now: Band, known| Learnt {
        label,
        unit,
        before: before.copied(),
        now,
        known,
    };
    let before = &learned.before;
    let yields = known(Quantity::Yield);
    vec![
        row(
            "panel gives",
            "% of the design",
            Some(&percent(&before.yields)),
            percent(&learned.yields),
            yields,
        ),
        row("  before 11", "% of the design", None, percent(morning), yields),
        row("  about noon", "% of the design", None, percent(noon), yields),
        row("  after 13", "% of the design", None, percent(afternoon), yields),
        row(
            "node draws",
            "mAh a day",
            Some(&before.load_mah_per_day),
            learned.load_mah_per_day,
            known(Quantity::Load),
        ),
        row(
            "battery holds",
            "% of the label",
            Some(&percent(&before.capacity)),
            percent(&learned.capacity),
            known(Quantity::Capacity),
        ),
        row("charge now", "%", None, percent(&learned.charge), true),
    ]
}

fn scaled(band: &Band, by: f64) -> Band {
    Band { p05: by * band.p05, p50: by * band.p50, p95: by * band.p95 }
}

/// "88 (47-117)".
pub fn band(band: &Band) -> String {
    let figure = |value: f64| {
        if value.abs() < 9.95 { format!("{value:.1}") } else { format!("{value:.0}") }
    };
    format!("{} ({}-{})", figure(band.p50), figure(band.p05), figure(band.p95))
}

/// What it was learned from.
pub fn source(told: &Told) -> String {
    let learned = &told.truth.learned;
    let sun = if learned.heard.sun { "measured sun" } else { "drawn sun: nobody measured it" };
    let minutes = if learned.heard.minutes { "" } else { "; no minutes in charge were sent" };
    let mut said = format!("from {} of {}, {sun}{minutes}", words::count(learned.days, "day"), told.log);
    for tolerated in &told.tolerated {
        said += "; ";
        said += tolerated;
    }
    said
}

/// What would be if what broke were mended today.
pub fn mended(learned: &Learned) -> Option<String> {
    learned.mended.as_ref().map(|mended| silence(learned.as_of_s, mended))
}
