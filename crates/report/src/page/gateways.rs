//! What hears the nodes.

use maud::{Markup, html};
use serde::Serialize;

use super::{Page, Way, When, node_page, plain};
use crate::{chart, words};

/// The gateways of a site, and strangers that send to it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Gateways {
    /// Those of the site file, in its order.
    pub gateways: Vec<Gateway>,
    /// Those that are not in it.
    pub knocking: Vec<Knocking>,
    /// Nodes of the site.
    pub nodes: usize,
    /// Of these, how many a gateway of the site heard in the last day.
    pub nodes_heard: usize,
}

/// A gateway of the site file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Gateway {
    /// What people call it.
    pub name: String,
    /// Its identity; `None`: it is only planned.
    pub eui: Option<String>,
    /// Its last sign of life; `None` before the first.
    pub last_sign_of_life: Option<When>,
    /// Whether that is too long ago.
    pub is_away: bool,
    /// What it heard in the last day, copies included.
    pub frames_in_a_day: u32,
    /// Frames in each of the last 24 hours, the oldest first.
    pub frames_by_hour: Vec<u32>,
    /// Nodes that it heard in the last day.
    pub nodes: Vec<String>,
    /// Answers that it was asked to send in the last hour.
    pub answers_in_an_hour: u32,
    /// And how long they are on the air \[s\].
    pub answers_airtime_s: f64,
    /// Its newest report on itself.
    pub report: Option<GatewayReport>,
}

/// What a gateway reports on itself.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GatewayReport {
    /// When.
    pub at: When,
    /// Frames received, whatever their state.
    pub heard: Option<i64>,
    /// Of these, with a sound checksum.
    pub intact: Option<i64>,
    /// Share of what it passed on that was acknowledged \[%\].
    pub acknowledged_percent: Option<f64>,
    /// Its program and model, where it says them.
    pub software: Vec<String>,
}

/// A gateway that is not in the site file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Knocking {
    /// Its identity.
    pub eui: String,
    /// Its last sign of life.
    pub last_sign_of_life: Option<When>,
    /// Where it says that it stands: north, east \[°\].
    pub latitude_deg: Option<f64>,
    /// East positive \[°\].
    pub longitude_deg: Option<f64>,
}

impl Page for Gateways {
    const WAY: Option<Way> = Some(Way::Gateways);

    fn title(&self) -> String {
        let of = format!("{} of {}", self.nodes_heard, words::count(self.nodes, "node"));
        let away: Vec<&Gateway> = self.gateways.iter().filter(|gateway| gateway.is_away).collect();
        match (&self.gateways[..], &away[..]) {
            ([], _) => "No gateway is in the site file".to_owned(),
            (_, [one]) => match &one.last_sign_of_life {
                Some(last) => format!("{} is away since {}", plain(&one.name), last.clock),
                None => format!("{} has never been heard of", plain(&one.name)),
            },
            (_, [_, _, ..]) => format!("{} of {} gateways are away", away.len(), self.gateways.len()),
            ([one], []) => format!("{} hears {of}", plain(&one.name)),
            (more, []) => format!("{} gateways hear {of}", more.len()),
        }
    }

    fn main(&self) -> Markup {
        html! {
            @if self.gateways.is_empty() {
                p { "Write " code { "[gateway.NAME]" } " with its " code { "eui" } " and place into the site file." }
            }
            @for gateway in &self.gateways { (gateway.section()) }
            @for knocking in &self.knocking { (knocking.section()) }
        }
    }
}

impl Gateway {
    fn section(&self) -> Markup {
        html! {
            section data-part={ "gateway-" (plain(&self.name)) } {
                h2 { (plain(&self.name)) }
                table.plain { tbody {
                    (row("last sign of life", &self.life()))
                    (row("heard", &html! { (words::count(self.frames_in_a_day as usize, "frame")) " in the last 24 h" }))
                    (row("nodes", &self.names()))
                    (row("answers", &html! { (self.answers_in_an_hour) " asked for in the last hour, " (words::figure(self.answers_airtime_s)) " s on the air" }))
                    @if let Some(report) = &self.report { (row("says of itself", &report.said())) }
                    @if let Some(eui) = &self.eui { (row("identity", &html! { code { (eui) } })) }
                } }
                @if self.frames_in_a_day > 0 { (self.hours()) }
            }
        }
    }

    fn life(&self) -> Markup {
        match (&self.eui, &self.last_sign_of_life) {
            (None, _) => html! { "only planned: the site file gives no " code { "eui" } " for it" },
            (Some(_), None) => html! { span.doubt { "none yet. Is it set to send to this computer?" } },
            (Some(_), Some(last)) if self.is_away => html! {
                span.fails { "away" } ", last " (last.ago()) ". Look at its power and its way to the network."
            },
            (Some(_), Some(last)) => html! { (last.ago()) },
        }
    }

    fn names(&self) -> Markup {
        html! {
            @if self.nodes.is_empty() { "none in the last 24 h" }
            @for (place, name) in self.nodes.iter().enumerate() {
                @if place > 0 { ", " }
                a href=(node_page(name)) { (plain(name)) }
            }
        }
    }

    /// Frames by hour as a chart and as figures: the newest last.
    fn hours(&self) -> Markup {
        let id = self.name.chars().map(|letter| if letter.is_ascii_alphanumeric() { letter } else { '-' });
        let chart = chart::heard::chart(&format!("hours-{}", id.collect::<String>()), &self.frames_by_hour);
        html! {
            p { (chart.title) "." }
            div.scroll tabindex="0" role="group" aria-label=(chart.title) { (chart.svg()) }
            details {
                summary { "Hour by hour" }
                table { thead { tr { th { "hours ago" } th.figure { "frames" } } }
                    tbody { @for (ago, frames) in self.frames_by_hour.iter().rev().enumerate() {
                        tr { th scope="row" { (ago) " to " (ago + 1) } td.figure { (frames) } }
                    } }
                }
            }
        }
    }
}

impl GatewayReport {
    fn said(&self) -> Markup {
        let mut parts: Vec<String> = self.software.iter().map(|word| plain(word)).collect();
        parts.extend(self.heard.map(|count| format!("{count} heard")));
        parts.extend(self.intact.map(|count| format!("{count} intact")));
        parts.extend(
            self.acknowledged_percent.map(|share| format!("{share:.0} % of its messages acknowledged")),
        );
        html! { (parts.join(", ")) " (" (self.at.ago()) ")" }
    }
}

impl Knocking {
    /// The lines that make it a gateway of the site.
    pub fn lines(&self) -> String {
        let place = match (self.latitude_deg, self.longitude_deg) {
            (Some(latitude), Some(longitude)) => {
                format!("latitude = \"{latitude:.5} deg\"\nlongitude = \"{longitude:.5} deg\"\n")
            }
            _ => "latitude = \"47.005 deg\"     # where it stands\nlongitude = \"13.035 deg\"\n".to_owned(),
        };
        format!(
            "[gateway.NAME]\neui = \"{}\"\n{place}antenna_height = \"8 m\"      # above the ground\n",
            self.eui
        )
    }

    pub(super) fn section(&self) -> Markup {
        html! {
            section data-part={ "knocking-" (self.eui) } {
                h2 { "A gateway " (self.eui) " knocks and is not in your site file" }
                p {
                    @if let Some(last) = &self.last_sign_of_life { "Last heard of " (last.ago()) ". " }
                    "What it brings is kept and not believed. If it is yours, copy these lines and start again:"
                }
                pre { (self.lines()) }
            }
        }
    }
}

fn row(label: &str, content: &Markup) -> Markup {
    html! { tr { th scope="row" { (label) } td { (content) } } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at() -> When {
        When { at: "2026-11-30T06:12:00Z".into(), clock: "06:12:00Z".into(), ago: "4 h ago".into() }
    }

    fn gateway(name: &str) -> Gateway {
        Gateway {
            name: name.into(),
            eui: Some("020000FFFE000001".into()),
            last_sign_of_life: Some(at()),
            is_away: false,
            frames_in_a_day: 0,
            frames_by_hour: vec![0; 24],
            nodes: Vec::new(),
            answers_in_an_hour: 0,
            answers_airtime_s: 0.0,
            report: None,
        }
    }

    fn page(gateways: Vec<Gateway>) -> Gateways {
        Gateways { gateways, knocking: Vec::new(), nodes: 7, nodes_heard: 6 }
    }

    #[test]
    fn the_title_says_who_hears_how_many_or_who_is_away() {
        let roof = gateway("packing-house");
        assert_eq!(page(vec![roof.clone()]).title(), "packing-house hears 6 of 7 nodes");
        assert_eq!(page(vec![roof.clone(), gateway("chapel")]).title(), "2 gateways hear 6 of 7 nodes");
        assert_eq!(page(Vec::new()).title(), "No gateway is in the site file");
        let away = Gateway { is_away: true, ..roof };
        assert_eq!(
            page(vec![away.clone(), gateway("chapel")]).title(),
            "packing-house is away since 06:12:00Z"
        );
        assert_eq!(page(vec![away.clone(), away.clone()]).title(), "2 of 2 gateways are away");
        let never = Gateway { last_sign_of_life: None, ..away };
        assert_eq!(page(vec![never]).title(), "packing-house has never been heard of");
    }

    /// The keys are those of `examples/larkmoor/larkmoor.toml`.
    #[test]
    fn a_stranger_that_knocks_comes_with_the_lines_to_copy() {
        let eui = "0200000000000002".to_owned();
        let knocking =
            Knocking { eui, last_sign_of_life: None, latitude_deg: Some(47.0), longitude_deg: Some(-13.0) };
        let lines = knocking.lines();
        for line in
            ["eui = \"0200000000000002\"", "latitude = \"47.00000 deg\"", "longitude = \"-13.00000 deg\""]
        {
            assert!(lines.contains(line), "{lines}");
        }
        let text = Gateways { knocking: vec![knocking], ..page(Vec::new()) }.main().into_string();
        assert!(text.contains("knocks and is not in your site file"));
    }
}
