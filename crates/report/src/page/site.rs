//! All nodes of a site: does anything need a hand, where, and what to take along.

use maud::{Markup, html};
use serde::Serialize;
use verdict::plan::Verdict;

use super::alarms::Alarm;
use super::heard::minus;
use super::promised::{PromisedNode, QUESTIONS, stroke};
use super::{Page, Way, When, node_page, plain};
use crate::chart::Chart;
use crate::words;

/// A site as it is now.
#[derive(Serialize)]
pub struct Site {
    /// Its remark.
    pub note: Option<String>,
    /// The nodes, worst first ([`SiteNode::sort`]).
    pub nodes: Vec<SiteNode>,
    /// Open alarms.
    pub alarms: Vec<Alarm>,
    /// Nodes whose promise is still being worked out.
    pub to_be_worked_out: usize,
    /// Where they stand.
    #[serde(skip)]
    pub ground: Option<Chart>,
}

/// A node as it is now.
#[derive(Clone, Debug, Serialize)]
pub struct SiteNode {
    /// What people call it.
    pub name: String,
    /// Name of its design.
    pub kind: Option<String>,
    /// Whether somebody enrolled it.
    pub is_enrolled: bool,
    /// What is promised of it; `None` until that is worked out, or if nobody planned it.
    pub promised: Option<PromisedNode>,
    /// Whether what was measured keeps the promise.
    #[serde(skip)]
    pub truth: Option<Verdict>,
    /// Voltage of its battery, as it was last sent \[V\].
    pub battery_volts: Option<f64>,
    /// Charge from the lowest voltage of the last day, as if it rested \[%\].
    pub charge_percent: Option<f64>,
    /// Charge that is foretold for today: below it lie 5, 25, 50, 75 and 95 % of the lives \[%\].
    pub foretold_percent: Option<Foretold>,
    /// Whether it has lived long enough outdoors to be held against the forecast.
    pub is_settled: bool,
    /// When it was heard last.
    pub last_heard: Option<When>,
    /// How far its last signal was above what its data rate needs \[dB\].
    pub margin_db: Option<f64>,
    /// Open alarms about it.
    pub alarms: usize,
}

/// What is foretold of a day.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Foretold {
    /// Below it lie 5 % of the lives.
    pub p05: f64,
    /// Below it lie half of the lives.
    pub p50: f64,
    /// Below it lie 95 % of the lives.
    pub p95: f64,
}

impl SiteNode {
    /// The worst of its verdicts; not known until they are worked out.
    pub fn worst(&self) -> Verdict {
        let planned = self.promised.as_ref().map_or(Verdict::NotKnown, PromisedNode::worst);
        Verdict::worst([Some(planned), self.truth].into_iter().flatten()).unwrap_or(planned)
    }

    /// Fields in which trouble stands; the greater, the worse.
    fn badness(&self) -> (usize, u8, bool) {
        (self.alarms, self.worst().badness(), self.is_enrolled && self.last_heard.is_none())
    }

    /// Whether it may want a hand: anything else than a promise that holds.
    fn is_restless(&self) -> bool {
        self.badness() != (0, Verdict::Holds.badness(), false)
    }

    /// Puts the worst first.
    pub fn sort(nodes: &mut [Self]) {
        nodes.sort_by(|one, other| {
            let order = other.badness().cmp(&one.badness());
            order.then_with(|| one.name.cmp(&other.name))
        });
    }
}

impl Site {
    fn counted(&self, wanted: Verdict) -> usize {
        self.nodes.iter().filter(|node| node.promised.is_some() && node.worst() == wanted).count()
    }

    /// "4 hold, 2 in doubt, 1 will not last".
    fn verdicts(&self) -> Vec<String> {
        let (hold, fail) = (self.counted(Verdict::Holds), self.counted(Verdict::Fails));
        let doubt = self.counted(Verdict::Tight) + self.counted(Verdict::NotKnown);
        let verb = |count, one: &str, many: &str| format!("{count} {}", if count == 1 { one } else { many });
        let parts = [
            (hold, verb(hold, "holds", "hold")),
            (doubt, format!("{doubt} in doubt")),
            (fail, verb(fail, "fails", "fail")),
        ];
        let mut said: Vec<String> =
            parts.into_iter().filter(|(count, _)| *count > 0).map(|(_, said)| said).collect();
        if !said.is_empty() && self.to_be_worked_out > 0 {
            said.push(format!("{} being worked out", self.to_be_worked_out));
        }
        said
    }
}

impl Page for Site {
    const WAY: Option<Way> = Some(Way::Site);
    const SCRIPT: Option<&'static str> = Some("map.js");

    fn title(&self) -> String {
        let nodes = words::count(self.nodes.len(), "node");
        let open = self.alarms.iter().filter(|alarm| alarm.seen.is_none()).count();
        let alarms =
            if open == 0 { String::new() } else { format!("; {} open", words::count(open, "alarm")) };
        match (self.nodes.len(), &self.verdicts()[..]) {
            (0, _) => "No node is planned or enrolled here".to_owned(),
            (_, []) => format!("{nodes}{alarms}"),
            (_, said) => format!("{nodes}: {}{alarms}", said.join(", ")),
        }
    }

    fn main(&self) -> Markup {
        html! {
            @if let Some(note) = &self.note { p.note.quiet { (plain(note)) } }
            div data-part="alarms" {
                @for alarm in &self.alarms { (alarm.shown()) }
            }
            div data-part="nodes" {
                @if self.to_be_worked_out > 0 {
                    p.quiet role="status" { "What is promised of " (words::count(self.to_be_worked_out, "node")) " is being worked out." }
                }
                @if !self.nodes.is_empty() { (self.rows()) }
            }
            @if let Some(ground) = &self.ground {
                section.figure #map {
                    h2 { "Where they stand" }
                    // Where a script draws the map, the picture need not come.
                    noscript { div.ground { (ground.linked()) } }
                    @if let Some(note) = &ground.note { p.quiet { (note) } }
                }
            }
        }
    }
}

impl Site {
    fn rows(&self) -> Markup {
        let (restless, at_rest): (Vec<&SiteNode>, Vec<&SiteNode>) =
            self.nodes.iter().partition(|node| self.nodes.len() <= MANY || node.is_restless());
        let (open, folded) = restless.split_at(restless.len().min(MANY));
        html! {
            @if !open.is_empty() { (table(open)) }
            (more(folded, "more want a look"))
            (more(&at_rest, if open.is_empty() { "hold" } else { "more hold" }))
            p.quiet {
                "Charge: from the lowest voltage of the last 24 h, as if the battery rested. Pale: where nine in ten lives are today; "
                "the tick: this node. In hand: days without sun from the darkest day on. Margin: above what the data rate of the last signal needs."
            }
        }
    }
}

/// So many nodes are shown in one table; of more, those that hold are folded away.
const MANY: usize = 24;

/// Nodes that are seen when somebody asks for them.
fn more(nodes: &[&SiteNode], how: &str) -> Markup {
    html! {
        @if !nodes.is_empty() {
            details { summary { (nodes.len()) " " (how) } (table(nodes)) }
        }
    }
}

fn table(nodes: &[&SiteNode]) -> Markup {
    html! {
        table.stacked.nodes.site {
            thead { tr {
                th { "node" }
                @for question in QUESTIONS { th { (question) } }
                th.figure { "charge" } th { "forecast" } th.figure { "in hand" } th { "heard" } th.figure { "margin" }
            } }
            tbody { @for node in nodes { (node.row()) } }
        }
    }
}

impl SiteNode {
    fn row(&self) -> Markup {
        let strokes = self.promised.as_ref().map(|promised| promised.strokes);
        let verdict = |place: usize| {
            strokes.and_then(|strokes| strokes.get(place).copied()).or(if place == 4 {
                self.truth
            } else {
                None
            })
        };
        html! {
            tr {
                th scope="row" {
                    a href=(node_page(&self.name)) { (plain(&self.name)) }
                    @if let Some(kind) = &self.kind { " " span.quiet { (plain(kind)) } }
                }
                @for (place, question) in QUESTIONS.iter().enumerate() {
                    td.verdict-cell data-label=(question) {
                        @match verdict(place) { Some(verdict) => (stroke(verdict)), None => span.quiet title="not known yet" { "·" span.unseen { "not known yet" } } }
                    }
                }
                td.figure data-label="charge" { (some(self.charge_percent, |percent| format!("{percent:.0} %"))) }
                td data-label="forecast" { (self.within()) }
                td.figure data-label="in hand" {
                    (some(self.promised.as_ref().and_then(|promised| promised.in_hand_days), words::days))
                }
                td data-label="heard" { @match &self.last_heard {
                    Some(last) => (last.ago()),
                    None if self.is_enrolled => span.doubt { "never yet" },
                    None => span.quiet { "not enrolled" },
                } }
                td.figure data-label="margin" { (some(self.margin_db, |margin| format!("{} dB", minus(margin, 0)))) }
            }
        }
    }

    /// A pale stretch for nine in ten lives of today, and a tick for this node.
    fn within(&self) -> Markup {
        let Some(foretold) = self.foretold_percent else { return none() };
        let band = format!("{:.0} to {:.0} %", foretold.p05, foretold.p95);
        let said = match self.charge_percent {
            Some(_) if !self.is_settled => format!("new outdoors; {band} once settled"),
            Some(charge) if charge < foretold.p05 => format!("below {band}"),
            Some(charge) if charge > foretold.p95 => format!("above {band}"),
            Some(_) => format!("within {band}"),
            None => band,
        };
        let tick = self.charge_percent.map(|charge| charge.clamp(0.0, 100.0));
        html! {
            svg.within viewBox="0 0 100 14" width="100" height="14" role="img" aria-label=(said) {
                title { (said) }
                path.rule d="M0 7H100" {}
                rect.nine x=(format!("{:.0}", foretold.p05)) y="2" width=(format!("{:.0}", (foretold.p95 - foretold.p05).max(1.0))) height="10" {}
                @if let Some(tick) = tick { path.tick d=(format!("M{tick:.0} 0V14")) {} }
            }
        }
    }
}

/// A figure, or that there is none.
fn some(value: Option<f64>, said: impl Fn(f64) -> String) -> Markup {
    value.map_or_else(none, |value| html! { (said(value)) })
}

fn none() -> Markup {
    html! { span.quiet title="not known" { "·" span.unseen { "not known" } } }
}

#[cfg(test)]
mod tests {
    use super::super::alarms::tests::{alarm, at};
    use super::*;

    fn node(name: &str) -> SiteNode {
        SiteNode {
            name: name.into(),
            kind: Some("Frost mast".into()),
            is_enrolled: true,
            promised: None,
            truth: None,
            battery_volts: Some(3.9),
            charge_percent: Some(31.0),
            foretold_percent: Some(Foretold { p05: 35.0, p50: 60.0, p95: 77.0 }),
            is_settled: true,
            last_heard: Some(at()),
            margin_db: Some(-2.4),
            alarms: 0,
        }
    }

    fn promised(life: Verdict) -> PromisedNode {
        let mut plan = crate::fixture::plan();
        plan.chances = Some(crate::fixture::chances());
        let verdicts = [
            (verdict::Question::Life, life),
            (verdict::Question::Law, Verdict::Holds),
            (verdict::Question::Reach, Verdict::Holds),
            (verdict::Question::Message, Verdict::Holds),
        ];
        PromisedNode::of(&crate::fixture::subject(), &plan, verdicts)
    }

    fn site(mut nodes: Vec<SiteNode>) -> Site {
        SiteNode::sort(&mut nodes);
        Site { note: None, nodes, alarms: Vec::new(), to_be_worked_out: 0, ground: None }
    }

    #[test]
    fn the_title_is_made_from_the_state() {
        assert_eq!(site(Vec::new()).title(), "No node is planned or enrolled here");
        assert_eq!(site(vec![node("a"), node("b")]).title(), "2 nodes");
        let with = |name, life| SiteNode { promised: Some(promised(life)), ..node(name) };
        let all = site(vec![
            with("a", Verdict::Holds),
            with("b", Verdict::Tight),
            with("c", Verdict::Fails),
            with("d", Verdict::Holds),
        ]);
        assert_eq!(all.title(), "4 nodes: 2 hold, 1 in doubt, 1 fails");
        let alarmed = Site { alarms: vec![alarm("a")], ..all };
        assert_eq!(alarmed.title(), "4 nodes: 2 hold, 1 in doubt, 1 fails; 1 alarm open");
    }

    #[test]
    fn a_node_with_an_alarm_comes_before_one_that_fails_and_that_before_one_that_holds() {
        let with = |name, life, alarms| SiteNode { promised: Some(promised(life)), alarms, ..node(name) };
        let all = site(vec![
            with("holds", Verdict::Holds, 0),
            with("fails", Verdict::Fails, 0),
            with("alarmed", Verdict::Holds, 1),
        ]);
        let names: Vec<&str> = all.nodes.iter().map(|node| node.name.as_str()).collect();
        assert_eq!(names, ["alarmed", "fails", "holds"]);
    }

    /// Of 300 nodes one fails and one has an alarm: these two are seen at once, in this order, and the 298 are one line.
    #[test]
    fn of_many_nodes_those_that_hold_are_folded_away() {
        let (holds, fails) = (promised(Verdict::Holds), promised(Verdict::Fails));
        let with = |name: String, promise: &PromisedNode, alarms| SiteNode {
            promised: Some(promise.clone()),
            alarms,
            ..node(&name)
        };
        let mut nodes: Vec<SiteNode> = (0..298).map(|at| with(format!("n{at}"), &holds, 0)).collect();
        nodes.push(with("failing".into(), &fails, 0));
        nodes.push(with("alarmed".into(), &holds, 1));
        let text = site(nodes).main().into_string();
        let (open, folded) = text.split_once("<details>").expect("some are folded");
        let at = |name: &str| open.find(&format!(">{name}</a>")).expect(name);
        assert!(at("alarmed") < at("failing"));
        assert_eq!((open.matches("<th scope").count(), folded.matches("<th scope").count()), (2, 298));
        assert!(folded.contains("<summary>298 more hold</summary>"));
        let few = (0..24).map(|at| with(format!("n{at}"), &holds, 0)).collect();
        assert!(!site(few).main().into_string().contains("<details>"));
    }

    #[test]
    fn a_row_says_where_the_charge_lies_and_never_shows_a_figure_that_is_not_known() {
        let text = node("mast").row().into_string();
        assert!(
            text.contains("below 35 to 77 %") && text.contains("31 %") && text.contains("−2 dB"),
            "{text}"
        );
        let unknown = SiteNode {
            charge_percent: None,
            foretold_percent: None,
            last_heard: None,
            margin_db: None,
            ..node("x")
        };
        let text = unknown.row().into_string();
        assert!(text.contains("never yet") && text.contains("not known"), "{text}");
        assert!(!text.contains("NaN") && !text.contains("0 %"), "{text}");
        let planned = SiteNode { is_enrolled: false, ..unknown };
        assert!(planned.row().into_string().contains("not enrolled"));
    }
}
