//! What the links say, in sentences that text and page share.

use design::quantity::{Decibels, Share};
use design::region::Modulation;
use forecast::radio::link::{Link, Surveyed};
use forecast::radio::trail::TrailError;
use verdict::placing::WayLived;
use verdict::plan::Verdict;
use verdict::reach::{Errand, Reach, Unknown, cheapest, rate_name};

use super::obstacle::finding;
use crate::words;

/// Collisions are worth a word above this share.
const CROWDED: f64 = 0.01;
/// A data rate is worth a word above this share.
const USED: f64 = 0.005;

/// The reason of the verdict, short.
pub fn short(reach: &Reach) -> String {
    let Some(best) = reach.links.first() else { return reach.reason.clone() };
    let rates = mix(reach, &reach.middle_rates);
    let mut said = format!(
        "heard well enough at {} % of the plausible positions; at the median position {} dBm, SNR {} dB, sent at {rates}",
        figure(reach.spots_heard.percent()),
        signed(best.received.dbm()),
        signed(best.snr.decibels()),
    );
    if let Some(remedies) = remedies(reach) {
        said = format!("{said}; would hold with {remedies}");
    }
    said
}

/// The question's answer.
pub fn will_it_be_heard(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Holds => "It will be heard.",
        Verdict::Tight => "It may not be heard.",
        Verdict::Fails => "It will not be heard.",
        Verdict::NotKnown => "Whether it is heard is not known.",
    }
}

/// How it is heard, in the words of the map: "heard at SF7", "only at SF12", "heard if gateway barn is outside", "not heard",
/// "height unknown".
pub fn heard(reach: &Reach) -> String {
    let Some(best) = reach.links.first() else {
        return if reach.verdict == Verdict::Fails { "not heard" } else { "no gateway" }.to_owned();
    };
    if let (Verdict::NotKnown, Some(sides)) = (reach.verdict, &reach.sides) {
        match sides.outside {
            Verdict::Holds => return format!("heard if {} outside", sides.whose),
            Verdict::Tight => return format!("heard in places if {} outside", sides.whose),
            Verdict::Fails | Verdict::NotKnown => {}
        }
    }
    let share = |one: &&(u8, Share)| one.1.fraction();
    let usual = reach.middle_rates.iter().max_by(|one, other| share(one).total_cmp(&share(other)));
    let rate = usual.and_then(|(usual, _)| best.rates.iter().find(|rate| rate.data_rate == *usual));
    let Some(rate) = rate else { return "not known".to_owned() };
    let is_slowest = best.rates.len() > 1 && best.rates.first() == Some(rate);
    let name = rate_name(rate.data_rate, rate.modulation);
    match (reach.verdict, &best.path.problem) {
        (Verdict::Holds, _) if is_slowest => format!("only at {name}"),
        (Verdict::Holds, _) => format!("heard at {name}"),
        (Verdict::Tight, _) => format!("at {name} in places"),
        (Verdict::Fails, _) => "not heard".to_owned(),
        (Verdict::NotKnown, Some(TrailError::Ground(_))) => "height unknown".to_owned(),
        (Verdict::NotKnown, _) => "not known".to_owned(),
    }
}

/// What is not known that costs most, and the cheapest thing that settles what is worth it: label and text; nothing of what
/// holds.
pub fn not_known(reach: &Reach) -> Vec<(&'static str, String)> {
    if reach.verdict == Verdict::Holds {
        return Vec::new();
    }
    let said = |one: &Unknown| {
        let off = if one.errand == Errand::Look && one.off_db >= one.worth_db {
            String::new()
        } else {
            format!(", {:.0} dB either way", one.off_db)
        };
        format!("{}{off}; knowing is worth {:.0} dB: {}", one.what, one.worth_db, one.settled_by)
    };
    let most = reach.unknowns.first();
    let cheapest = cheapest(&reach.unknowns).filter(|cheapest| most != Some(cheapest));
    let rows = [("not known", most), ("cheapest", cheapest)];
    rows.into_iter().filter_map(|(label, one)| Some((label, said(one?)))).collect()
}

/// What a way out would do: "9 m more mast at the node (heard at SF10, 98 % of lives without an outage)".
pub fn way_lived(way: &WayLived, gateway: &str) -> String {
    let lives = way.without_outage.map_or_else(
        || "how it would live is not known".to_owned(),
        |share| format!("{} % of lives without an outage", figure(share.percent())),
    );
    format!("{} (heard at {}, {lives})", way.remedy.text(gateway), way.rate)
}

/// The smallest changes that would make it hold; `None` where it holds.
pub fn remedies(reach: &Reach) -> Option<String> {
    let gateway = &reach.links.first()?.gateway;
    let said: Vec<String> = reach.remedies.iter().map(|remedy| remedy.text(gateway)).collect();
    match &reach.remedies[..] {
        [] => None,
        [_] => Some(said.join("")),
        _ => Some(format!("one of: {}", said.join(", "))),
    }
}

/// Label and text of all that is known of the links.
pub fn rows(reach: &Reach) -> Vec<(String, String)> {
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut row = |label: &str, text: String| rows.push((label.to_owned(), text));
    for link in &reach.links {
        row("gateway", format!("{}: {}", link.gateway, path(link)));
        if let Some(obstacle) = obstacle(link) {
            row("in the way", obstacle);
        }
        if let Some(found) = link.surveyed {
            row("surveyed", surveyed(found));
        }
        row("arrives", arrives(link));
        row("margin", margins(link));
        row("answers", answers(link));
    }
    let Some(best) = reach.links.first() else { return rows };
    row("positions", positions(reach));
    row(
        "sent at",
        format!(
            "{} at the median position; over all plausible positions {}",
            mix(reach, &reach.middle_rates),
            mix(reach, &reach.all_rates)
        ),
    );
    if let Some(settling) = reach.settling {
        let days = |duration: design::quantity::Duration| words::days(duration.days());
        row(
            "adapts",
            format!(
                "{} from a join at the slowest rate; {} to fall back when its link fails",
                days(settling.faster),
                days(settling.slower)
            ),
        );
    }
    let crowd = best.rates.iter().map(|rate| 1.0 - reach.spots.clear(rate.data_rate)).fold(0.0, f64::max);
    if crowd > CROWDED {
        row(
            "collisions",
            format!(
                "at the busiest data rate {} % of its messages collide with another of this site",
                figure(100.0 * crowd)
            ),
        );
    }
    if let Some(bench) = reach.bench {
        row(
            "on the bench",
            format!(
                "{} dBm at gateway {} 10 m away in the open, {:.0} dB more or less; if weaker, check antenna, connector and band",
                signed(bench.received.dbm()),
                best.gateway,
                bench.band.decibels()
            ),
        );
    }
    if let Some(remedies) = remedies(reach) {
        row("would hold", format!("with {remedies}"));
    }
    rows
}

fn path(link: &Link) -> String {
    let over = if link.path.trail.is_some() { "over the terrain (P.1812)" } else { "over flat ground" };
    let obstructed = if link.obstructed > Decibels::ZERO {
        format!(
            ", and {:.0} dB by leaves, walls, what is near its antenna, and noise",
            link.obstructed.decibels()
        )
    } else {
        String::new()
    };
    format!(
        "{} to the {} ({:.0} deg), {:.1} dB lost {over}{obstructed}",
        words::distance(link.distance),
        words::compass(link.azimuth_deg),
        link.azimuth_deg,
        link.path.median.decibels(),
    )
}

/// The obstacle that rules the path, where the path knows the ground.
pub fn obstacle(link: &Link) -> Option<String> {
    link.path.trail.as_ref().map(finding)
}

fn surveyed(found: Surveyed) -> String {
    let whom = if found.is_here { "this position" } else { "this gateway, from other positions" };
    format!(
        "{} dB +- {:.1} dB over the prediction for {whom}; all that follows has it in it",
        signed(found.correction.mean_db),
        found.correction.sd_db
    )
}

fn arrives(link: &Link) -> String {
    format!(
        "{} dBm, SNR {} dB, at the median of the plausible positions",
        signed(link.received.dbm()),
        signed(link.snr.decibels())
    )
}

/// What is left over the weakest signal by data rate, fastest first.
pub fn margins(link: &Link) -> String {
    let said = link.rates.iter().rev().map(|rate| {
        format!("{} {} dB", rate_text(rate.data_rate, rate.modulation), signed(rate.margin.decibels()))
    });
    said.collect::<Vec<_>>().join(", ")
}

fn answers(link: &Link) -> String {
    let said = ["first window", "second window"].iter().zip(&link.answers).filter_map(|(window, answer)| {
        let answer = answer.as_ref()?;
        let often = answer.per_hour.map(|count| format!(", {count:.0} an hour by law")).unwrap_or_default();
        Some(format!(
            "in the {window} at DR{} with {} dB of margin, {:.0} ms on air{often}",
            answer.data_rate,
            signed(answer.margin.decibels()),
            answer.airtime.milliseconds()
        ))
    });
    let said: Vec<String> = said.collect();
    if said.is_empty() { "not known".to_owned() } else { said.join("; ") }
}

fn positions(reach: &Reach) -> String {
    format!(
        "at {} % of the plausible ones it is heard as promised; the median one delivers {} % of the reports, the worst fifth {} %",
        figure(reach.spots_heard.percent()),
        figure(reach.middle.percent()),
        figure(reach.worst_fifth.percent())
    )
}

/// Data rates with their shares, most used first.
pub fn mix(reach: &Reach, rates: &[(u8, Share)]) -> String {
    let name = |rate: u8| {
        let known = reach.links.iter().flat_map(|link| &link.rates).find(|known| known.data_rate == rate);
        known.map_or_else(|| format!("DR{rate}"), |known| rate_text(rate, known.modulation))
    };
    let mut used: Vec<&(u8, Share)> = rates.iter().filter(|(_, share)| share.fraction() > USED).collect();
    used.sort_by(|one, other| other.1.fraction().total_cmp(&one.1.fraction()));
    match &used[..] {
        [(rate, _)] => name(*rate),
        _ => used
            .iter()
            .map(|(rate, share)| format!("{} {:.0} %", name(*rate), share.percent()))
            .collect::<Vec<_>>()
            .join(", "),
    }
}

fn rate_text(data_rate: u8, modulation: Modulation) -> String {
    match modulation {
        Modulation::Lora { spreading_factor, .. } => format!("DR{data_rate} (SF{spreading_factor})"),
        _ => format!("DR{data_rate}"),
    }
}

fn figure(percent: f64) -> String {
    if percent > 99.5 && percent < 100.0 { format!("{percent:.1}") } else { format!("{percent:.0}") }
}

fn signed(decibels: f64) -> String {
    // Minus nothing is nothing.
    format!("{:.0}", decibels.round() + 0.0)
}
