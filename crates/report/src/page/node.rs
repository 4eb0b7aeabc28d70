//! One node: what was promised, what it sent, how it was heard.

use forecast::learn::Band;
use maud::{Markup, html};
use serde::Serialize;
use verdict::plan::Verdict;

use super::alarms::Alarm;
use super::heard::{HeardFrame, minus};
use super::learned::LearnedNode;
use super::promised::PromisedNode;
use super::site::Foretold;
use super::{Page, Way, When, design_page, node_page, plain};
use crate::chart::kept::{self, MeasuredDay};
use crate::chart::series::{Series, figure};
use crate::words;

/// Rows of a table of figures.
const MOST_ROWS: usize = 24;

/// A node as it is now.
#[derive(Serialize)]
pub struct Node {
    /// What people call it.
    pub name: String,
    /// Name of its design.
    pub kind: Option<String>,
    /// File of its design, if it has a page.
    #[serde(skip)]
    pub design_file: Option<String>,
    /// Its identity: 16 hex digits; `None` if nobody enrolled it.
    pub dev_eui: Option<String>,
    /// Where it stands, in words.
    pub place: Option<String>,
    /// Open alarms about it.
    pub alarms: Vec<Alarm>,
    /// What is promised of it; `None` until that is worked out.
    pub promised: Option<PromisedNode>,
    /// Whether a promise is still to come.
    pub to_be_worked_out: bool,
    /// What its messages taught; `None` until a day of them was lived.
    pub learned: Option<LearnedNode>,
    /// When it was heard last.
    pub last_heard: Option<When>,
    /// Voltage of its battery, as it was last sent \[V\].
    pub battery_volts: Option<f64>,
    /// Charge from the lowest voltage of the last day, as if it rested \[%\].
    pub charge_percent: Option<f64>,
    /// What is foretold for today \[%\].
    pub foretold_percent: Option<Foretold>,
    /// Whether it has lived long enough outdoors to be held against the forecast.
    pub is_settled: bool,
    /// Charge of each day, as if the battery rested.
    #[serde(skip)]
    pub measured: Vec<MeasuredDay>,
    /// What it sends.
    #[serde(skip)]
    pub sent: Sent,
    /// How it was heard.
    pub link: Link,
    /// Its last frames, the newest first.
    pub frames: Vec<HeardFrame>,
    /// What was done to it, the newest first.
    pub visits: Vec<Visit>,
    /// Month by which its battery is to be replaced: a new one in the place of a changed one counts from there.
    pub replace_battery_by: Option<String>,
}

/// What a node sent in a stretch of time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sent {
    /// Field by field.
    pub fields: Vec<Series>,
    /// The stretch.
    pub stretch: Stretch,
}

impl Sent {
    /// The stretch with the ways to others, and a drawing of each field: the part of the page that a zoom changes.
    pub fn shown(&self) -> Markup {
        html! {
            div data-stretch {
                nav.choices aria-label="Stretch of time" data-part="stretch" {
                    @for (word, address) in &self.stretch.ways { a href=(address) { (word) } }
                    span.quiet { (self.stretch.words) }
                }
                @if self.fields.is_empty() { p data-part="fields" { "Nothing was sent in this time." } }
                @for series in &self.fields { (field(series)) }
            }
        }
    }
}

/// A stretch of time, and the addresses of its neighbours.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stretch {
    /// "24 h to 30 Nov, 10:00".
    pub words: String,
    /// Word and address of each neighbour: earlier, later, closer, wider, all.
    pub ways: Vec<(&'static str, String)>,
}

/// How a node was heard in the last day.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Link {
    /// Frames that were kept.
    pub heard: u32,
    /// Frames that were lost, by the counter.
    pub lost: u32,
    /// Frames at each data rate.
    pub rates: Vec<RateShare>,
    /// Least, median and greatest signal to noise \[dB\].
    pub snr_db: Option<(f64, f64, f64)>,
    /// Least, median and greatest received power \[dBm\].
    pub rssi_dbm: Option<(f64, f64, f64)>,
    /// Median of the margins \[dB\].
    pub margin_db: Option<f64>,
}

/// Frames at a data rate.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct RateShare {
    /// In words.
    pub rate: String,
    /// How many.
    pub frames: u32,
}

/// What was done to a node.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Visit {
    /// When.
    pub at: When,
    /// By whom.
    pub by: String,
    /// What.
    pub what: String,
}

impl Page for Node {
    const WAY: Option<Way> = Some(Way::Site);
    const SCRIPT: Option<&'static str> = Some("stretch.js");

    fn title(&self) -> String {
        let name = plain(&self.name);
        if let Some(alarm) = self.alarms.first() {
            return plain(&alarm.says);
        }
        match (&self.dev_eui, &self.last_heard) {
            (None, _) => return format!("{name} is planned, and not enrolled yet"),
            (Some(_), None) => return format!("{name} has not been heard yet"),
            (Some(_), Some(_)) => {}
        }
        match (self.charge_percent, self.foretold_percent) {
            (Some(charge), _) if !self.is_settled => {
                format!("{name} is at {charge:.0} % charge, and new outdoors")
            }
            (Some(charge), Some(foretold)) if charge < foretold.p05 => {
                format!(
                    "{name} is at {charge:.0} % charge, {:.0} points below its forecast",
                    foretold.p05 - charge
                )
            }
            (Some(charge), Some(_)) => format!("{name} is at {charge:.0} % charge, as foretold"),
            (Some(charge), None) => format!("{name} is at {charge:.0} % charge"),
            (None, _) => match &self.promised {
                Some(promised) if promised.worst() == Verdict::Fails => {
                    format!("{name} is heard, and does not hold")
                }
                _ => format!("{name} is heard"),
            },
        }
    }

    fn main(&self) -> Markup {
        html! {
            div data-part="now" {
                p.quiet { (self.identity()) }
                @for alarm in &self.alarms { (alarm.shown()) }
                (self.facts())
            }
            section data-part="promised" {
                h2 { "What is promised" }
                @match &self.promised {
                    Some(promised) => (promised.rows()),
                    None if self.to_be_worked_out => p role="status" { "It is being worked out." },
                    None => p { "The site file does not place this node, so nothing is promised of it." },
                }
            }
            section data-part="truth" {
                h2 { "Is it doing what was promised?" }
                @match &self.learned {
                    Some(learned) => (learned.shown()),
                    None => p { "Nothing is known of that yet: it is learned from whole days of its messages, each night." },
                }
            }
            div data-part="kept" { (self.kept()) }
            section { h2 { "What it sends" } (self.sent.shown()) }
            div data-part="ledger" { (self.ledger()) }
            section data-part="link" { h2 { (self.link.finding()) } (self.link.table()) }
            (self.parts())
            (self.visits())
            section data-part="frames" { (self.frames()) }
        }
    }
}

impl Node {
    fn identity(&self) -> Markup {
        let mut parts: Vec<Markup> = Vec::new();
        parts.extend(self.kind.as_ref().map(|kind| html! {
            @if let Some(file) = &self.design_file { a href=(design_page(file)) { (plain(kind)) } } @else { (plain(kind)) }
        }));
        parts.extend(self.place.as_ref().map(|place| html! { (plain(place)) }));
        parts.extend(self.dev_eui.as_ref().map(|eui| html! { "DevEUI " (eui) }));
        parts.push(html! { a href={ (node_page(&self.name)) "/first-days" } { "first days" } });
        if self.dev_eui.is_some() {
            parts.push(html! { a href={ (node_page(&self.name)) "/settings" } { "settings" } });
        }
        html! { @for (place, part) in parts.iter().enumerate() { @if place > 0 { ", " } (part) } }
    }

    fn facts(&self) -> Markup {
        html! {
            dl.facts {
                div { dt { "Charge" } dd {
                    b { @match self.charge_percent { Some(charge) => (format!("{charge:.0} %")), None => "not known" } } br;
                    @match self.foretold_percent {
                        Some(foretold) => {
                            (format!("nine in ten: {:.0} to {:.0} % today", foretold.p05, foretold.p95))
                            @if !self.is_settled { ", once it has lived outdoors for a month" }
                        }
                        None => "no forecast yet",
                    }
                } }
                div { dt { "Battery" } dd {
                    b { @match self.battery_volts { Some(volts) => (format!("{volts:.2} V")), None => "not known" } } br; "as last sent"
                } }
                div { dt { "Heard" } dd {
                    b { @match &self.last_heard { Some(last) => (last.ago()), None => "never yet" } } br;
                    @if let Some(last) = &self.last_heard { (last.shown()) }
                } }
                div { dt { "Margin" } dd {
                    b { @match self.link.margin_db { Some(margin) => { (minus(margin, 0)) " dB" } None => "not known" } } br; "median of the last 24 h"
                } }
            }
        }
    }

    fn kept(&self) -> Markup {
        let Some(course) = self.promised.as_ref().and_then(|promised| promised.course.as_ref()) else {
            return html! {};
        };
        let rows = self.measured.iter().rev().take(MOST_ROWS);
        html! {
            (kept::chart(course, &self.measured).section())
            @if !self.measured.is_empty() {
                details { summary { "Figures" }
                    table { thead { tr { th { "day" } th.figure { "least, %" } th.figure { "greatest, %" } th.figure { "nine in ten lives, %" } } } tbody {
                        @for day in rows {
                            tr {
                                th scope="row" { (day.day) " " (words::month(day.month)) }
                                td.figure { (format!("{:.0}", day.least_percent)) }
                                td.figure { (format!("{:.0}", day.greatest_percent)) }
                                td.figure { @if let Some(band) = course.on(day.month, day.day) { (format!("{:.0} to {:.0}", band[0], band[4])) } }
                            }
                        }
                    } }
                }
            }
        }
    }

    /// Where its charge comes from and goes to as promised, and beside it what its messages say of that.
    fn ledger(&self) -> Markup {
        let Some(promised) = &self.promised else { return html! {} };
        let measured = self.learned.as_ref().map(|learned| against_promised(promised, learned));
        html! {
            (promised.bookkeeping())
            @match measured {
                Some(measured) => (measured),
                None => p.quiet { "As promised; what its messages say of it is learned from whole days." },
            }
        }
    }

    fn parts(&self) -> Markup {
        let Some(promised) = &self.promised else { return html! {} };
        html! {
            section {
                h2 { "Parts" }
                table.plain { tbody {
                    @for part in &promised.parts { tr { th scope="row" { (part.role) } td {
                        (part.what)
                        @if let Some(month) = self.replace_battery_by.as_ref().filter(|_| part.role == "battery") {
                            ", to be replaced by " (month)
                        }
                    } } }
                } }
            }
        }
    }

    fn visits(&self) -> Markup {
        html! {
            section data-part="visits" {
                h2 { "Visits" }
                @if self.visits.is_empty() { p { "None was noted." } }
                @else { table.plain { tbody { @for visit in &self.visits {
                    tr { th scope="row" { (visit.at.shown()) } td { (plain(&visit.what)) " " span.quiet { "by " (plain(&visit.by)) } } }
                } } } }
                @if self.dev_eui.is_some() { p { a href={ (node_page(&self.name)) "/visit" } { "Note a visit" } } }
            }
        }
    }

    fn frames(&self) -> Markup {
        html! {
            h2 { "Last frames" }
            @if self.frames.is_empty() { p { "None." } }
            @else {
                details {
                    summary { (words::count(self.frames.len(), "frame")) ", each byte by byte" }
                    table.stacked.heard {
                        thead { tr { th { "heard" } th { "who" } th { "what" } th { "by whom, and how well" } } }
                        tbody { @for frame in &self.frames { (frame.row()) } }
                    }
                }
            }
        }
    }
}

/// What the sun brings and the node draws on a day of the year, as promised and as its messages say.
fn against_promised(promised: &PromisedNode, learned: &LearnedNode) -> Markup {
    let (offered, drawn) = promised.offered_and_drawn_mah();
    let band = |band: &Band, by: f64| {
        let [low, middle, high] = [band.p05, band.p50, band.p95].map(|one| words::figure(by * one));
        format!("{middle} ({low}-{high})")
    };
    let row = |what: &str, promised: f64, measured: String| {
        html! {
            tr {
                th scope="row" { (what) }
                td.figure data-label="promised, mAh a day" { (words::figure(promised)) }
                td.figure data-label="by its messages, mAh a day" { (measured) }
            }
        }
    };
    html! {
        table.stacked {
            caption { "Promised and measured, all year" }
            thead { tr { th { "" } th.figure { "promised, mAh a day" } th.figure { "by its messages, mAh a day" } } }
            tbody {
                (row("the sun offers", offered, band(&learned.yields, offered)))
                (row("the running node draws", drawn, band(&learned.drawn_mah, 1.0)))
            }
        }
        p.quiet { "9 in 10 lie between the figures in brackets." }
    }
}

/// A field: the sentence, the drawing, and the figures.
fn field(series: &Series) -> Markup {
    let chart = series.chart();
    let every = series.points.len().div_ceil(MOST_ROWS).max(1);
    html! {
        section.field data-part={ "field-" (series.id) } {
            h3 { (chart.title) }
            div.scroll tabindex="0" role="group" aria-label=(chart.title) { (chart.svg()) }
            (crate::chart::cue())
            details { summary { "Figures" }
                table { thead { tr { th { "time, UTC" } th.figure { "least" } th.figure { "mean" } th.figure { "greatest" } } } tbody {
                    @for point in series.points.iter().rev().step_by(every) {
                        tr {
                            th scope="row" { (time(point.at_s)) }
                            td.figure { (figure(point.least)) } td.figure { (figure(point.mean)) } td.figure { (figure(point.greatest)) }
                        }
                    }
                } }
            }
        }
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "seconds since 1970, saturating")]
fn time(at_s: f64) -> String {
    design::date::moment_text(at_s.max(0.0) as u64).unwrap_or_else(|| format!("{at_s} s since 1970"))
}

impl Link {
    fn finding(&self) -> String {
        let share = 100.0 * f64::from(self.lost) / f64::from((self.heard + self.lost).max(1));
        match (self.heard, self.lost) {
            (0, _) => "Nothing was heard of it in the last 24 h".to_owned(),
            (heard, 0) => format!("All of {} heard in the last 24 h", words::count(heard as usize, "frame")),
            (heard, lost) => format!("{heard} heard and {lost} lost in the last 24 h: {share:.0} %"),
        }
    }

    fn table(&self) -> Markup {
        let three = |unit: &str, (least, median, greatest): (f64, f64, f64)| {
            format!(
                "{} {unit} in the median, {} to {} {unit}",
                minus(median, 0),
                minus(least, 0),
                minus(greatest, 0)
            )
        };
        let rates: Vec<String> =
            self.rates.iter().map(|rate| format!("{} at {}", rate.frames, rate.rate)).collect();
        html! {
            table.plain { tbody {
                @if let Some(snr) = self.snr_db { tr { th scope="row" { "signal to noise" } td { (three("dB", snr)) } } }
                @if let Some(rssi) = self.rssi_dbm { tr { th scope="row" { "received power" } td { (three("dBm", rssi)) } } }
                @if !rates.is_empty() { tr { th scope="row" { "data rates" } td { (rates.join(", ")) } } }
            } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::alarms::tests::{alarm, at};
    use super::*;

    fn node() -> Node {
        Node {
            name: "mast".into(),
            kind: None,
            design_file: None,
            dev_eui: Some("0201010101010101".into()),
            place: None,
            alarms: Vec::new(),
            promised: None,
            to_be_worked_out: false,
            learned: None,
            last_heard: Some(at()),
            battery_volts: None,
            charge_percent: Some(31.0),
            foretold_percent: Some(Foretold { p05: 37.0, p50: 60.0, p95: 77.0 }),
            is_settled: true,
            measured: Vec::new(),
            sent: Sent::default(),
            link: Link::default(),
            frames: Vec::new(),
            visits: Vec::new(),
            replace_battery_by: None,
        }
    }

    /// A battery that is due stands with its month beside the part, and nowhere else.
    #[test]
    fn the_month_of_a_new_battery_stands_beside_the_battery() {
        let mut plan = crate::fixture::plan();
        plan.chances = Some(crate::fixture::chances());
        let questions = [
            verdict::Question::Life,
            verdict::Question::Law,
            verdict::Question::Reach,
            verdict::Question::Message,
        ];
        let verdicts = questions.map(|asked| (asked, Verdict::Holds));
        let promised = PromisedNode::of(&crate::fixture::subject(), &plan, verdicts);
        let due = Node { promised: Some(promised), replace_battery_by: Some("May 2034".into()), ..node() };
        let page = due.parts().into_string();
        assert_eq!(page.matches("to be replaced by May 2034").count(), 1, "{page}");
        let row = page.split("<tr>").find(|row| row.contains("May 2034")).expect("a row");
        assert!(row.contains("battery"), "{row}");
    }

    /// By hand: 37 - 31 = 6.
    #[test]
    fn the_title_says_the_worst_that_is_known() {
        assert_eq!(node().title(), "mast is at 31 % charge, 6 points below its forecast");
        assert_eq!(
            Node { charge_percent: Some(40.0), ..node() }.title(),
            "mast is at 40 % charge, as foretold"
        );
        assert_eq!(Node { is_settled: false, ..node() }.title(), "mast is at 31 % charge, and new outdoors");
        assert_eq!(Node { last_heard: None, ..node() }.title(), "mast has not been heard yet");
        assert_eq!(
            Node { dev_eui: None, last_heard: None, ..node() }.title(),
            "mast is planned, and not enrolled yet"
        );
        assert_eq!(Node { alarms: vec![alarm("mast")], ..node() }.title(), "mast is not charging");
        assert_eq!(Node { charge_percent: None, ..node() }.title(), "mast is heard");
    }

    /// By hand: 3 of 12 are 25 %.
    #[test]
    fn losses_are_counted_with_what_was_heard() {
        assert_eq!(
            Link { heard: 9, lost: 3, ..Link::default() }.finding(),
            "9 heard and 3 lost in the last 24 h: 25 %"
        );
        assert_eq!(Link { heard: 1, ..Link::default() }.finding(), "All of 1 frame heard in the last 24 h");
        assert_eq!(Link::default().finding(), "Nothing was heard of it in the last 24 h");
    }

    #[test]
    fn a_node_of_which_nothing_is_known_still_reads() {
        let empty = Node { last_heard: None, charge_percent: None, foretold_percent: None, ..node() };
        let text = empty.main().into_string();
        for said in [
            "not known",
            "never yet",
            "None was noted",
            "Nothing was sent in this time",
            "does not place this node",
        ] {
            assert!(text.contains(said), "{said}: {text}");
        }
        assert!(!text.contains("NaN"));
    }
}
