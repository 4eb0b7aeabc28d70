//! The keys of the watch, checked against each other.

use super::serve::{address, one_of, text};
use crate::diagnostic::{self, Diagnostics};
use crate::file::value::Named;
use crate::file::watch::{TellSection, WatchRuleSection, WatchSection};
use crate::quantity::Duration;
use crate::section::At;
use crate::serve::Broker;
use crate::watch::{Limit, Measure, Tell, TellWay, URGENCIES, WatchRule};

/// The rules of the site, in the order of the file.
pub(crate) fn rules(section: Option<&At<WatchSection>>, found: &mut Diagnostics) -> Vec<WatchRule> {
    let named = section.and_then(|at| at.value.rule.as_ref());
    let sections = named.into_iter().flat_map(|at| &at.value.0);
    sections.filter_map(|(name, section)| rule(&name.value, section, found)).collect()
}

fn rule(name: &str, section: &WatchRuleSection, found: &mut Diagnostics) -> Option<WatchRule> {
    let again = section.again_at.as_ref()?;
    let (limit, at) = match (&section.below, &section.above) {
        (Some(below), None) => (Limit::Below(measure(below, found)?), below),
        (None, Some(above)) => (Limit::Above(measure(above, found)?), above),
        _ => {
            one_of(&section.span, "a rule has one of `below` and `above`", found);
            return None;
        }
    };
    let again_at = measure(again, found)?;
    let is_good = match &limit {
        Limit::Below(limit) => again_at.value > limit.value && again_at.unit == limit.unit,
        Limit::Above(limit) => again_at.value < limit.value && again_at.unit == limit.unit,
    };
    if !is_good {
        let message = format!("`again_at` must lie on the good side of {}, in the same unit", at.value);
        let help = "write a value that is reached only once it is over, such as 1 K beyond the limit";
        found.error(diagnostic::LIMIT, &again.span, &message, help);
        return None;
    }
    let nodes = section.nodes.iter().flat_map(|at| &at.value);
    Some(WatchRule {
        name: name.to_owned(),
        field: section.field.as_ref()?.value.clone(),
        nodes: nodes.map(|at| at.value.clone()).collect(),
        limit,
        again_at: again_at.value,
        lasting: section.lasting.as_ref().map_or(Duration::ZERO, |at| at.value),
        months: section.months.as_ref().map(|at| at.value.by_month()),
        unseen_for: section.unseen_for.as_ref().map(|at| at.value),
    })
}

/// A number and a unit of UCUM, which is compared with that of the field when that is known.
fn measure(at: &At<String>, found: &mut Diagnostics) -> Option<Measure> {
    let (number, unit) = at.value.trim().split_once(' ').unwrap_or((at.value.trim(), "1"));
    match number.parse::<f64>() {
        Ok(value) if value.is_finite() => Some(Measure { value, unit: unit.trim().to_owned() }),
        _ => {
            let message = format!("`{}` is no number with a unit", at.value);
            found.error(
                diagnostic::LIMIT,
                &at.span,
                &message,
                "write it as the field has it, such as \"1.5 Cel\"",
            );
            None
        }
    }
}

/// Who is told, in the order of the file.
pub(crate) fn tells(named: Option<&At<Named<TellSection>>>, found: &mut Diagnostics) -> Vec<Tell> {
    let sections = named.into_iter().flat_map(|at| &at.value.0);
    sections.filter_map(|(name, section)| tell(&name.value, section, found)).collect()
}

fn tell(name: &str, section: &TellSection, found: &mut Diagnostics) -> Option<Tell> {
    let at_least = section.at_least.as_ref()?;
    let Some(urgency) = (0..).zip(URGENCIES).find(|(_, word)| *word == at_least.value) else {
        let message = format!("`{}` is no urgency", at_least.value);
        found.error(diagnostic::LIMIT, &at_least.span, &message, "write `note`, `this week` or `act now`");
        return None;
    };
    let quiet = section.quiet_hours.iter().flat_map(|at| &at.value);
    let rules = section.rules.iter().flat_map(|at| &at.value);
    Some(Tell {
        name: name.to_owned(),
        way: way(section, found)?,
        at_least: urgency.0,
        rules: rules.map(|at| at.value.clone()).collect(),
        quiet_hours: quiet.map(|at| hours(at, found)).collect::<Option<_>>()?,
        act_now_always: section.act_now_always.as_ref()?.value,
        if_unseen_for: section.if_unseen_for.as_ref().map(|at| at.value),
    })
}

fn way(section: &TellSection, found: &mut Diagnostics) -> Option<TellWay> {
    let schemes = ["https://", "http://"];
    match (&section.webhook, &section.mqtt, &section.sign_of_life) {
        (Some(webhook), None, None) => Some(TellWay::Webhook {
            url: address(webhook.value.url.as_ref()?, schemes, found)?,
            key_file: text(webhook.value.key_file.as_ref()),
        }),
        (None, Some(mqtt), None) => Some(TellWay::Mqtt {
            broker: Broker {
                url: address(mqtt.value.broker.as_ref()?, ["mqtts://", "mqtt://"], found)?,
                login_file: text(mqtt.value.login_file.as_ref()),
                ca: text(mqtt.value.ca.as_ref()),
            },
            topic: mqtt.value.topic.as_ref()?.value.clone(),
        }),
        (None, None, Some(sign)) => {
            Some(TellWay::SignOfLife { url: address(sign.value.url.as_ref()?, schemes, found)? })
        }
        _ => {
            let unread = ["webhook", "mqtt", "sign_of_life"];
            if !unread.iter().any(|key| section.unreadable.contains(key)) {
                one_of(
                    &section.span,
                    "somebody is told by one of `webhook`, `mqtt` and `sign_of_life`",
                    found,
                );
            }
            None
        }
    }
}

/// From and to in minutes of the day: `22:00-06:00`.
fn hours(at: &At<String>, found: &mut Diagnostics) -> Option<(u16, u16)> {
    let minute = |text: &str| -> Option<u16> {
        let (hours, minutes) = text.trim().split_once(':')?;
        let (hours, minutes): (u16, u16) = (hours.parse().ok()?, minutes.parse().ok()?);
        (hours < 24 && minutes < 60).then_some(60 * hours + minutes)
    };
    let read = at.value.split_once('-').and_then(|(from, to)| Some((minute(from)?, minute(to)?)));
    if read.is_none_or(|(from, to)| from == to) {
        let message = format!("`{}` is no time of the day", at.value);
        found.error(diagnostic::LIMIT, &at.span, &message, "write it as \"22:00-06:00\"");
        return None;
    }
    read
}
