//! Where something that moves has been, by its own word.

use design::quantity::Length;
use forecast::terrain::Place;
use maud::{Markup, html};
use serde::Serialize;

use super::{Page, Way, When, in_address, node_page, plain};
use crate::chart::track::{self, Outlined, Seen};
use crate::words;

/// A track.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Track {
    /// The node.
    pub name: String,
    /// What its messages said, the newest first.
    pub fixes: Vec<Fix>,
    /// Stays and ways, the newest first.
    pub legs: Vec<Leg>,
    /// The areas in which it is to stay.
    pub areas: Vec<InArea>,
    /// Time outside all areas in the days shown \[h\].
    pub elsewhere_hours: f64,
    /// Time of them of which nobody knows where it was \[h\].
    pub unknown_hours: f64,
    /// Whether the newest position is too old to say where it is now.
    pub is_stale: bool,
    /// Whether positions are cut for whoever looks.
    pub is_cut: bool,
    /// Borders of the areas.
    #[serde(skip)]
    pub borders: Vec<Outlined>,
}

/// What a message said of where it was.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Fix {
    /// When it was sent.
    pub at: When,
    /// When the position was found; `None` where the receiver found nothing.
    pub fixed_at: Option<When>,
    /// North positive \[°\].
    pub latitude_deg: Option<f64>,
    /// East positive \[°\].
    pub longitude_deg: Option<f64>,
    /// It lies within so many metres of the truth.
    pub accuracy_m: Option<f64>,
    /// Whether it is a position that was sent before: nothing new was found.
    pub is_old: bool,
}

/// A stay, or the way to the next.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Leg {
    /// Since when.
    pub from: When,
    /// Until when; `None` for a stay that lasts.
    pub to: Option<When>,
    /// What it did.
    #[serde(flatten)]
    pub what: Doing,
}

/// What something did for a while.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Doing {
    /// It stood.
    Stood {
        /// North positive \[°\].
        latitude_deg: f64,
        /// East positive \[°\].
        longitude_deg: f64,
        /// The area that it stood in.
        area: Option<String>,
    },
    /// It went.
    Went {
        /// So far, from fix to fix \[m\].
        metres: f64,
    },
}

/// An area and whether it is there.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct InArea {
    /// Its name in the site file.
    pub name: String,
    /// Whether its last position lies inside; `None` where it has none.
    pub is_inside: Option<bool>,
    /// So long it was there in the days shown \[h\].
    pub hours: f64,
    /// When it came in and went out, the newest first.
    pub passes: Vec<Pass>,
}

/// A border was passed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Pass {
    /// When the first position beyond it was found.
    pub at: When,
    /// Whether it came in.
    pub is_in: bool,
}

impl Page for Track {
    const WAY: Option<Way> = Some(Way::Site);

    fn title(&self) -> String {
        let name = plain(&self.name);
        let newest = self.fixes.iter().find_map(|fix| fix.fixed_at.as_ref());
        match (newest, self.legs.first()) {
            (None, _) => format!("{name} has not said where it is"),
            (Some(fixed), _) if self.is_stale => {
                format!("{name} said where it was {}; since then nothing", fixed.ago)
            }
            (_, Some(Leg { from, to: None, what: Doing::Stood { area: Some(area), .. } })) => {
                format!("{name} stands in {} since {}", plain(area), from.clock)
            }
            (_, Some(Leg { from, to: None, what: Doing::Stood { .. } })) => {
                format!("{name} stands where it was at {}", from.clock)
            }
            (Some(fixed), _) => format!("{name} said where it is {}", fixed.ago),
        }
    }

    fn main(&self) -> Markup {
        html! {
            @if self.is_cut { p.quiet { "For people who may only read, positions are cut as the site file says." } }
            div data-part="track" { @if let Some(chart) = self.chart() { (chart.section()) } }
            section data-part="areas" { @if !self.areas.is_empty() { h2 { "Areas" } (self.used()) @for area in &self.areas { (area.shown()) } } }
            section data-part="legs" { @if !self.legs.is_empty() { h2 { "Stays and ways" } (self.stays_and_ways()) } }
            section data-part="fixes" { h2 { "What it said" } (self.said()) }
            p {
                a href={ "/api/v1/export.gpx?node=" (in_address(&self.name)) } { "As GPX" } " · "
                a href={ "/api/v1/export.geojson?node=" (in_address(&self.name)) } { "as GeoJSON" }
                span.quiet { ", the last 30 days" }
            }
            p { a href=(node_page(&self.name)) { "All of " (plain(&self.name)) } }
        }
    }
}

impl Track {
    fn chart(&self) -> Option<crate::chart::Chart> {
        let seen = |fix: &Fix| {
            let place = Place { latitude_deg: fix.latitude_deg?, longitude_deg: fix.longitude_deg? };
            Some(Seen { place, accuracy_m: fix.accuracy_m? })
        };
        let fixes: Vec<Seen> = self.fixes.iter().rev().filter(|fix| !fix.is_old).filter_map(seen).collect();
        track::chart(&plain(&self.name), &fixes, self.is_stale, &self.borders)
    }

    fn stays_and_ways(&self) -> Markup {
        html! {
            table.plain { tbody { @for leg in &self.legs {
                tr {
                    th scope="row" { (leg.from.shown()) @if let Some(to) = &leg.to { " to " (to.shown()) } @else { " until now" } }
                    td { (leg.what.shown()) }
                }
            } } }
        }
    }

    /// Where it was for how long.
    fn used(&self) -> Markup {
        let areas = self.areas.iter().map(|area| (plain(&area.name), area.hours));
        let others =
            [("elsewhere".to_owned(), self.elsewhere_hours), ("not known".to_owned(), self.unknown_hours)];
        html! {
            table.plain { tbody { @for (place, hours) in areas.chain(others) {
                tr { th scope="row" { (place) } td.figure { (format!("{hours:.1} h")) } }
            } } }
        }
    }

    fn said(&self) -> Markup {
        html! {
            table.stacked {
                thead { tr { th { "said" } th { "found" } th.figure { "north, °" } th.figure { "east, °" } th.figure { "sure to, m" } } }
                tbody { @for fix in &self.fixes { (fix.row()) } }
            }
        }
    }
}

impl Fix {
    fn row(&self) -> Markup {
        html! {
            tr.quiet[self.is_old] {
                th scope="row" { (self.at.shown()) }
                @match (&self.fixed_at, self.latitude_deg, self.longitude_deg) {
                    (Some(fixed), Some(latitude), Some(longitude)) => {
                        td data-label="found" { (fixed.shown()) " " span.quiet { (fixed.ago()) } @if self.is_old { ", told again" } }
                        td.figure data-label="north, °" { (format!("{latitude:.5}")) }
                        td.figure data-label="east, °" { (format!("{longitude:.5}")) }
                        td.figure data-label="sure to, m" { @if let Some(metres) = self.accuracy_m { (format!("{metres:.0}")) } }
                    }
                    _ => td.whole colspan="4" { span.doubt { "no position found" } },
                }
            }
        }
    }
}

impl Doing {
    fn shown(&self) -> Markup {
        html! {
            @match self {
                Self::Stood { area: Some(area), .. } => { "stood in " (plain(area)) }
                Self::Stood { latitude_deg, longitude_deg, .. } => { "stood at " (format!("{latitude_deg:.5}, {longitude_deg:.5}")) }
                Self::Went { metres } => { "went " (words::distance(Length::from_metres(*metres))) }
            }
        }
    }
}

impl InArea {
    fn shown(&self) -> Markup {
        let name = plain(&self.name);
        html! {
            p { @match self.is_inside {
                Some(true) => { "It is in " (name) "." }
                Some(false) => { b.doubt { "It is outside " (name) "." } }
                None => { "Whether it is in " (name) " is not known." }
            } }
            @if !self.passes.is_empty() {
                table.plain { tbody { @for pass in &self.passes {
                    tr { th scope="row" { (pass.at.shown()) } td { @if pass.is_in { "came in" } @else { "went out" } } }
                } } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::alarms::tests::at;
    use super::*;

    fn fix(latitude_deg: Option<f64>) -> Fix {
        Fix {
            at: at(),
            fixed_at: latitude_deg.map(|_| at()),
            latitude_deg,
            longitude_deg: latitude_deg,
            accuracy_m: latitude_deg.map(|_| 12.0),
            is_old: false,
        }
    }

    fn track(fixes: Vec<Fix>, is_stale: bool) -> Track {
        let name = "trailer".into();
        let (legs, areas, borders) = (Vec::new(), Vec::new(), Vec::new());
        let (elsewhere_hours, unknown_hours) = (12.0, 120.0);
        Track { name, fixes, legs, areas, elsewhere_hours, unknown_hours, is_stale, is_cut: false, borders }
    }

    #[test]
    fn an_old_position_is_never_said_as_if_it_were_new() {
        assert_eq!(track(vec![fix(None)], true).title(), "trailer has not said where it is");
        assert_eq!(
            track(vec![fix(None), fix(Some(47.0))], true).title(),
            "trailer said where it was 6 days ago; since then nothing"
        );
        assert_eq!(track(vec![fix(Some(47.0))], false).title(), "trailer said where it is 6 days ago");
        let stood = |area: Option<&str>| Leg {
            from: at(),
            to: None,
            what: Doing::Stood { latitude_deg: 47.0, longitude_deg: 47.0, area: area.map(str::to_owned) },
        };
        let stands =
            |area, is_stale| Track { legs: vec![stood(area)], ..track(vec![fix(Some(47.0))], is_stale) };
        let since = at().clock;
        assert_eq!(
            stands(Some("orchard"), false).title(),
            format!("trailer stands in orchard since {since}")
        );
        assert!(stands(Some("orchard"), true).title().ends_with("since then nothing"));
    }

    #[test]
    fn accuracy_failures_areas_and_ways_are_said() {
        let told = Track {
            legs: vec![Leg { from: at(), to: Some(at()), what: Doing::Went { metres: 1240.0 } }],
            areas: vec![InArea {
                name: "orchard".into(),
                is_inside: Some(false),
                hours: 36.04,
                passes: vec![Pass { at: at(), is_in: false }],
            }],
            ..track(vec![fix(None), Fix { is_old: true, ..fix(Some(47.0)) }, fix(Some(47.0))], false)
        };
        let text = told.main().into_string();
        for said in [
            "no position found",
            "told again",
            "went 1.2 km",
            "It is outside orchard",
            "went out",
            "36.0 h",
            "120.0 h",
            "export.gpx?node=trailer",
        ] {
            assert!(text.contains(said), "{said}: {text}");
        }
        assert!(
            text.contains("class=\"ring\"") && text.matches("class=\"ring").count() == 1,
            "an old one is drawn once"
        );
    }
}
