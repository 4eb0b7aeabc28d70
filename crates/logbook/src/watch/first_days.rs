//! The first 48 hours of a node as a list: as promised, not as promised, or not yet known, by the same rules as the alarms.

use serde_json::json;

use super::alarm::{Evidence, Finding, evidence};
use super::event::{Event, What};
use super::plan::NodePlan;
use super::{HOUR, Node, losing, seconds};
use crate::received::Moment;

/// How far the card looks.
pub const FIRST_DAYS: Moment = 48 * HOUR;
/// A share of lost messages says something from so many on (own choice).
const MESSAGES_TO_JUDGE: u32 = 20;

/// How a point stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Promised {
    /// As promised.
    Kept,
    /// Not as promised.
    Broken,
    /// Nothing says so yet.
    NotYetKnown,
}

/// What is looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Point {
    /// It joined.
    Joined,
    /// It is heard.
    Heard,
    /// It loses no more than it may.
    Losses,
    /// It is charged.
    Charge,
    /// It runs without starting anew.
    Starts,
    /// Its readings are no signs of failed sensors.
    Readings,
}

/// A point of the card, with its figures.
#[derive(Clone, Debug, PartialEq)]
pub struct FirstDay {
    /// What is looked at.
    pub point: Point,
    /// How it stands.
    pub promised: Promised,
    /// Figures by names that end in their unit.
    pub evidence: Evidence,
}

/// The card of a node by what was kept of it, oldest first, as it stands at `now`.
pub fn first_days<'a>(
    plan: &NodePlan,
    events: impl IntoIterator<Item = (Moment, &'a Event)>,
    now: Moment,
) -> Vec<FirstDay> {
    let (mut node, mut joins, mut uplinks) = (Node::default(), 0_u32, 0_u32);
    for (at, event) in events {
        let Event::Frame(frame) = event else { continue };
        joins += u32::from(frame.what == What::Join);
        uplinks += u32::from(matches!(frame.what, What::New(_)));
        node.take(frame, plan, at);
    }
    let mut points = vec![joined(joins, uplinks), heard(&node, uplinks, now), losses(&node, plan)];
    if plan.has_panel {
        points.push(charge(&node, plan, now));
    }
    points.push(of(Point::Starts, node.restarts.find(now), uplinks > 0));
    points.push(of(Point::Readings, node.readings.find_magic(), uplinks > 0));
    points
}

fn joined(joins: u32, uplinks: u32) -> FirstDay {
    let promised = if uplinks > 0 {
        Promised::Kept
    } else if joins > 1 {
        // It was answered, and asks again.
        Promised::Broken
    } else {
        Promised::NotYetKnown
    };
    FirstDay { point: Point::Joined, promised, evidence: evidence([("joins", json!(joins))]) }
}

fn heard(node: &Node, uplinks: u32, now: Moment) -> FirstDay {
    let gateways: Vec<String> = node.contact.gateways().map(|eui| eui.to_string()).collect();
    FirstDay {
        point: Point::Heard,
        promised: if uplinks > 0 { Promised::Kept } else { Promised::NotYetKnown },
        evidence: evidence([
            ("uplinks", json!(uplinks)),
            ("gateways", json!(gateways)),
            ("last_s_ago", json!(node.contact.last.map(|last| seconds(now - last)))),
            ("first_s_ago", json!(node.contact.first.map(|first| seconds(now - first)))),
        ]),
    }
}

fn losses(node: &Node, plan: &NodePlan) -> FirstDay {
    let (lost, sent) = node.contact.counted();
    let limit = losing::limit(plan.loss, sent);
    let share = f64::from(lost) / f64::from(sent.max(1));
    let promised = match sent {
        sent if sent < MESSAGES_TO_JUDGE => Promised::NotYetKnown,
        _ if share > limit => Promised::Broken,
        _ => Promised::Kept,
    };
    let figures = [
        ("lost", json!(lost)),
        ("sent", json!(sent)),
        ("most_percent", json!((1000.0 * limit).round() / 10.0)),
    ];
    FirstDay { point: Point::Losses, promised, evidence: evidence(figures) }
}

fn charge(node: &Node, plan: &NodePlan, now: Moment) -> FirstDay {
    let Some(first) = node.contact.first else {
        return of(Point::Charge, Finding::Between, false);
    };
    of(Point::Charge, node.charging.find(first, now, plan), true)
}

fn of(point: Point, finding: Finding, is_heard: bool) -> FirstDay {
    let (promised, evidence) = match finding {
        Finding::Wrong(evidence) => (Promised::Broken, evidence),
        Finding::Right if is_heard => (Promised::Kept, Evidence::new()),
        Finding::Right | Finding::Between => (Promised::NotYetKnown, Evidence::new()),
    };
    FirstDay { point, promised, evidence }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use wire::identity::GatewayEui;

    use super::super::event::{Frame, Uplink};
    use super::super::plan::tests::every_ten_minutes;
    use super::super::{DAY, MINUTE};
    use super::*;

    /// 2026-06-21, a long day.
    const JUNE: Moment = 20_625 * DAY;

    fn frame(what: What) -> Event {
        let gateway = Some(GatewayEui::from_display_bytes([2; 8]));
        Event::Frame(Frame { gateway, dev_eui: None, what })
    }

    /// Joins, then sends every ten minutes, of which each third is lost; its voltage changes by so much an hour \[mV\].
    fn lived(hours: Moment, rise: f64) -> Vec<(Moment, Event)> {
        let mut events = vec![(JUNE, frame(What::Join))];
        for message in (0..hours * 6).filter(|message| message % 3 < 2) {
            let millivolts = 3700.0 + (rise * message as f64 / 6.0).round();
            let uplink = Uplink {
                fcnt: Some(u32::try_from(message).expect("few")),
                values: BTreeMap::from([("battery".to_owned(), json!(millivolts))]),
                ..Uplink::default()
            };
            events.push((JUNE + message * 10 * MINUTE, frame(What::New(uplink))));
        }
        events
    }

    fn card(events: &[(Moment, Event)], hour: Moment) -> Vec<(Point, Promised)> {
        let events = events.iter().map(|(at, event)| (*at, event));
        let found = first_days(&every_ten_minutes(), events, JUNE + hour * HOUR);
        found.into_iter().map(|line| (line.point, line.promised)).collect()
    }

    #[test]
    fn before_anything_is_heard_nothing_is_known() {
        let nothing = card(&[], 1);
        assert_eq!(nothing.len(), 6);
        assert!(nothing.iter().all(|(_, promised)| *promised == Promised::NotYetKnown), "{nothing:?}");
    }

    #[test]
    fn a_node_that_charges_and_loses_a_third_says_so() {
        use Point::{Charge, Heard, Joined, Losses, Readings, Starts};
        use Promised::{Broken, Kept};
        let expected = [
            (Joined, Kept),
            (Heard, Kept),
            (Losses, Broken),
            (Charge, Kept),
            (Starts, Kept),
            (Readings, Kept),
        ];
        assert_eq!(card(&lived(24, 2.0), 24), expected);
    }

    #[test]
    fn a_node_that_does_not_charge_is_known_after_48_hours() {
        let charge = |hours: Moment| card(&lived(hours, -2.0), hours)[3];
        assert_eq!(charge(40), (Point::Charge, Promised::NotYetKnown));
        assert_eq!(charge(48), (Point::Charge, Promised::Broken));
    }
}
