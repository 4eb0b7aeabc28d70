//! Intervals that a message to the node may set: from which one on the law is kept.

use design::message::{Field, Kind, Message, SetInterval};
use design::node::Design;
use design::quantity::{Duration, Quantity};
use forecast::radio::link_state::LinkState;

use super::{LawPlan, as_it_stands};
use crate::finding::{Finding, Severity, Verdict};
use crate::setting::told;

/// A finding for each field that may set an interval at which a design that is lawful as it stands breaks the law.
pub(super) fn unlawful(design: &Design, link: &LinkState, plan: &LawPlan) -> Vec<Finding> {
    if plan.verdict == Verdict::Fails {
        return Vec::new();
    }
    let fields =
        design.messages.iter().flat_map(|message| message.fields.iter().map(move |field| (message, field)));
    fields.filter_map(|(message, field)| of_field(design, link, message, field)).collect()
}

fn of_field(design: &Design, link: &LinkState, message: &Message, field: &Field) -> Option<Finding> {
    let (Some(sets), Kind::Number { scale, last, .. }) = (&field.sets, &field.kind) else { return None };
    let seconds = |code: u32| scale.value(code) * f64::from(sets.unit_s);
    let first = (0..=*last).find(|code| seconds(*code) > 0.0)?;
    let reason = breach(design, link, sets, seconds(first))?;
    // The longer the interval, the less is on air: the first lawful code parts the range.
    let (mut low, mut high) = (first, *last);
    while low < high {
        let middle = low + (high - low) / 2;
        if breach(design, link, sets, seconds(middle)).is_some() { low = middle + 1 } else { high = middle }
    }
    let every = |code: u32| Duration::from_seconds(seconds(code)).text();
    let help = if breach(design, link, sets, seconds(low)).is_none() {
        format!("let its range begin at {}, from where on the law is kept", every(low))
    } else {
        format!("no interval up to {} keeps the law", every(*last))
    };
    let text = format!(
        "`{}` may set `{}` to every {}, which breaks the law: {reason}",
        message.name,
        sets.activity,
        every(first)
    );
    let path = format!("message.{}.field.{}", message.name, field.name);
    Some(Finding { code: "downlink-unlawful", severity: Severity::Warning, field: path, message: text, help })
}

/// Why the law is broken at an interval; `None` where it is kept. An interval that the design refuses is broken too.
fn breach(design: &Design, link: &LinkState, sets: &SetInterval, seconds: f64) -> Option<String> {
    match told(design, &[(sets, Duration::from_seconds(seconds))]) {
        Err(refused) => Some(refused.message),
        Ok(changed) => {
            let plan = as_it_stands(&changed, link);
            (plan.verdict == Verdict::Fails).then_some(plan.reason)
        }
    }
}
