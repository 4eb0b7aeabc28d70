//! The keys of the watch, checked against each other.

use super::serve::{address, one_of, text};
use crate::diagnostic::{self, Diagnostics};
use crate::file::value::Named;
use crate::file::watch::{
    AreaSection, TellMailSection, TellModemSection, TellSection, WatchRuleSection, WatchSection,
};
use crate::quantity::{Duration, Quantity as _};
use crate::section::At;
use crate::serve::Broker;
use crate::watch::{Area, Ground, Limit, Mail, Measure, Tell, TellWay, URGENCIES, WEEKDAYS, WatchRule};

/// The rules of the site, in the order of the file.
pub(crate) fn rules(section: Option<&At<WatchSection>>, found: &mut Diagnostics) -> Vec<WatchRule> {
    let named = section.and_then(|at| at.value.rule.as_ref());
    let sections = named.into_iter().flat_map(|at| &at.value.0);
    sections.filter_map(|(name, section)| rule(&name.value, section, found)).collect()
}

fn rule(name: &str, section: &WatchRuleSection, found: &mut Diagnostics) -> Option<WatchRule> {
    let again = section.again_at.as_ref()?;
    let (limit, at) = match (&section.below, &section.above, &section.rising_by) {
        (Some(below), None, None) => (Limit::Below(measure(below, found)?), below),
        (None, Some(above), None) => (Limit::Above(measure(above, found)?), above),
        (None, None, Some(rising)) => (rise(rising, found)?, rising),
        _ => {
            one_of(&section.span, "a rule has one of `below`, `above` and `rising_by`", found);
            return None;
        }
    };
    let again_at = measure(again, found)?;
    let is_good = match &limit {
        Limit::Below(limit) => again_at.value > limit.value && again_at.unit == limit.unit,
        Limit::Above(limit) | Limit::RisingBy(limit, _) => {
            again_at.value < limit.value && again_at.unit == limit.unit
        }
    };
    if !is_good {
        let message = format!("`again_at` must lie on the good side of {}, in the same unit", at.value);
        let help = "write a value that is reached only once it is over, such as 1 K beyond the limit";
        found.error(diagnostic::LIMIT, &again.span, &message, help);
        return None;
    }
    spans(section, &limit, found)?;
    let nodes = section.nodes.iter().flat_map(|at| &at.value);
    Some(WatchRule {
        name: name.to_owned(),
        field: section.field.as_ref()?.value.clone(),
        nodes: nodes.map(|at| at.value.clone()).collect(),
        limit,
        again_at: again_at.value,
        lasting: section.lasting.as_ref().map_or(Duration::ZERO, |at| at.value),
        within: section.within.as_ref().map(|at| at.value),
        months: section.months.as_ref().map(|at| at.value.by_month()),
        hours: times_of_day(section.hours.as_ref(), found)?,
        unseen_for: section.unseen_for.as_ref().map(|at| at.value),
    })
}

/// How long it lasts and over what that is added up, held against each other.
fn spans(section: &WatchRuleSection, limit: &Limit, found: &mut Diagnostics) -> Option<()> {
    let rises = matches!(limit, Limit::RisingBy(..));
    if let Some(alone) = section.lasting.as_ref().or(section.within.as_ref()).filter(|_| rises) {
        let message = "a rise has its own time, and goes with neither `lasting` nor `within`";
        found.error(
            diagnostic::LIMIT,
            &alone.span,
            message,
            "write it as `rising_by = \"0.3 m in 1 h\"` alone",
        );
        return None;
    }
    let Some(within) = &section.within else { return Some(()) };
    let fits = section.lasting.as_ref().is_some_and(|lasting| lasting.value < within.value);
    if !fits {
        let message = "`within` needs a `lasting` that is shorter";
        let help = "for 4 h beyond the limit in a day write `lasting = \"4 h\"` and `within = \"24 h\"`";
        found.error(diagnostic::LIMIT, &within.span, message, help);
        return None;
    }
    Some(())
}

/// By how much, and in which time: `0.3 m in 1 h`.
fn rise(at: &At<String>, found: &mut Diagnostics) -> Option<Limit> {
    let wrong = |found: &mut Diagnostics| {
        let message = format!("`{}` is no rise in a time", at.value);
        found.error(diagnostic::LIMIT, &at.span, &message, "write it as \"0.3 m in 1 h\"");
        None
    };
    let Some((by, time)) = at.value.rsplit_once(" in ") else { return wrong(found) };
    let by = measure(&At { value: by.to_owned(), span: at.span.clone() }, found)?;
    match Duration::parse(time.trim()) {
        Ok(time) if by.value > 0.0 && time.nominal.seconds() > 0.0 => Some(Limit::RisingBy(by, time.nominal)),
        _ => wrong(found),
    }
}

/// Ground that nodes are not to leave, in the order of the file.
pub(crate) fn areas(named: Option<&At<Named<AreaSection>>>, found: &mut Diagnostics) -> Vec<Area> {
    let sections = named.into_iter().flat_map(|at| &at.value.0);
    sections.filter_map(|(name, section)| area(&name.value, section, found)).collect()
}

fn area(name: &str, section: &AreaSection, found: &mut Diagnostics) -> Option<Area> {
    let ground = match (&section.latitude, &section.longitude, &section.radius, &section.file) {
        (Some(latitude), Some(longitude), Some(radius), None) => {
            Ground::Circle { latitude: latitude.value, longitude: longitude.value, radius: radius.value }
        }
        (None, None, None, Some(file)) => Ground::File(file.value.clone()),
        _ => {
            let message =
                "an area is a circle (`latitude`, `longitude` and `radius`) or the polygons of a `file`";
            one_of(&section.span, message, found);
            return None;
        }
    };
    let nodes = section.nodes.as_ref()?.value.iter().map(|at| at.value.clone()).collect();
    Some(Area { name: name.to_owned(), nodes, ground })
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
    let tells: Vec<Option<Tell>> =
        sections.map(|(name, section)| tell(&name.value, section, found)).collect();
    let all_read = tells.iter().all(Option::is_some);
    let tells: Vec<Tell> = tells.into_iter().flatten().collect();
    if let Some(at) = named.filter(|_| all_read) {
        nobody_on_duty(&tells, at, found);
    }
    tells
}

/// A rota that leaves a day out tells nobody on it.
fn nobody_on_duty(tells: &[Tell], at: &At<Named<TellSection>>, found: &mut Diagnostics) {
    let told = || tells.iter().filter(|tell| !matches!(tell.way, TellWay::SignOfLife { .. }));
    let is_told = |day: usize| told().any(|tell| tell.days.is_none_or(|days| days[day]));
    let free: Vec<&str> =
        (0..7).zip(WEEKDAYS).filter(|(day, _)| !is_told(*day)).map(|(_, word)| word).collect();
    let section = at.value.0.iter().find_map(|(_, section)| section.days.as_ref());
    if let Some(days) = section.filter(|_| !free.is_empty()) {
        let message = format!("nobody is told of alarms on {}", free.join(", "));
        let help = "name these days in the `days` of one [tell.NAME], or leave `days` out of one";
        found.error(diagnostic::LIMIT, &days.span, &message, help);
    }
}

fn weekdays(all: &At<Vec<At<String>>>, found: &mut Diagnostics) -> Option<[bool; 7]> {
    let mut days = [false; 7];
    for at in &all.value {
        let Some(day) = WEEKDAYS.iter().position(|word| *word == at.value) else {
            let message = format!("`{}` is no day of the week", at.value);
            let help = format!("the days are {}", WEEKDAYS.join(", "));
            found.error(diagnostic::LIMIT, &at.span, &message, &help);
            return None;
        };
        days[day] = true;
    }
    Some(days)
}

fn tell(name: &str, section: &TellSection, found: &mut Diagnostics) -> Option<Tell> {
    let at_least = section.at_least.as_ref()?;
    let Some(urgency) = (0..).zip(URGENCIES).find(|(_, word)| *word == at_least.value) else {
        let message = format!("`{}` is no urgency", at_least.value);
        found.error(diagnostic::LIMIT, &at_least.span, &message, "write `note`, `this week` or `act now`");
        return None;
    };
    let rules = section.rules.iter().flat_map(|at| &at.value);
    Some(Tell {
        name: name.to_owned(),
        way: way(section, found)?,
        at_least: urgency.0,
        rules: rules.map(|at| at.value.clone()).collect(),
        quiet_hours: times_of_day(section.quiet_hours.as_ref(), found)?,
        act_now_always: section.act_now_always.as_ref()?.value,
        if_unseen_for: section.if_unseen_for.as_ref().map(|at| at.value),
        days: match &section.days {
            Some(days) => Some(weekdays(days, found)?),
            None => None,
        },
        monthly: section.monthly.as_ref()?.value,
    })
}

fn mail(section: &TellMailSection, found: &mut Diagnostics) -> Option<TellWay> {
    let (from, to) = (section.from.as_ref()?, section.to.as_ref()?);
    for at in std::iter::once(from).chain(&to.value) {
        let is_address =
            at.value.split_once('@').is_some_and(|(who, host)| !who.is_empty() && !host.is_empty());
        if !is_address || at.value.contains([' ', '<', '>', ',', '\r', '\n']) {
            let message = format!("`{}` is no address of mail", at.value);
            found.error(diagnostic::ADDRESS, &at.span, message, "write it as \"ann@larkmoor.example\"");
            return None;
        }
    }
    Some(TellWay::Mail(Mail {
        server: address(section.server.as_ref()?, ["smtps://", "smtp://"], found)?,
        starttls: section.starttls.as_ref()?.value,
        from: from.value.clone(),
        to: to.value.iter().map(|at| at.value.clone()).collect(),
        login_file: text(section.login_file.as_ref()),
        ca: text(section.ca.as_ref()),
    }))
}

fn modem(section: &TellModemSection, found: &mut Diagnostics) -> Option<TellWay> {
    let mut to = Vec::new();
    for at in &section.to.as_ref()?.value {
        let number: String = at.value.chars().filter(|letter| *letter != ' ').collect();
        let digits = number.strip_prefix('+').unwrap_or_default();
        // ITU-T E.164: at most 15 digits.
        if !(5..=15).contains(&digits.len()) || !digits.chars().all(|letter| letter.is_ascii_digit()) {
            let message = format!("`{}` is no number with its country", at.value);
            found.error(diagnostic::ADDRESS, &at.span, message, "write it as \"+43 660 0000000\"");
            return None;
        }
        to.push(number);
    }
    let port = section.port.as_ref()?.value.clone();
    Some(TellWay::Modem { port, to, pin_file: text(section.pin_file.as_ref()) })
}

fn way(section: &TellSection, found: &mut Diagnostics) -> Option<TellWay> {
    let schemes = ["https://", "http://"];
    match (&section.webhook, &section.mail, &section.modem, &section.mqtt, &section.sign_of_life) {
        (Some(webhook), None, None, None, None) => Some(TellWay::Webhook {
            url: address(webhook.value.url.as_ref()?, schemes, found)?,
            key_file: text(webhook.value.key_file.as_ref()),
        }),
        (None, Some(mail), None, None, None) => self::mail(&mail.value, found),
        (None, None, Some(modem), None, None) => self::modem(&modem.value, found),
        (None, None, None, Some(mqtt), None) => Some(TellWay::Mqtt {
            broker: Broker {
                url: address(mqtt.value.broker.as_ref()?, ["mqtts://", "mqtt://"], found)?,
                login_file: text(mqtt.value.login_file.as_ref()),
                ca: text(mqtt.value.ca.as_ref()),
            },
            topic: mqtt.value.topic.as_ref()?.value.clone(),
        }),
        (None, None, None, None, Some(sign)) => {
            Some(TellWay::SignOfLife { url: address(sign.value.url.as_ref()?, schemes, found)? })
        }
        _ => {
            let unread = ["webhook", "mail", "modem", "mqtt", "sign_of_life"];
            if !unread.iter().any(|key| section.unreadable.contains(key)) {
                one_of(
                    &section.span,
                    "somebody is told by one of `webhook`, `mail`, `modem`, `mqtt` and `sign_of_life`",
                    found,
                );
            }
            None
        }
    }
}

fn times_of_day(all: Option<&At<Vec<At<String>>>>, found: &mut Diagnostics) -> Option<Vec<(u16, u16)>> {
    all.iter().flat_map(|at| &at.value).map(|at| hours(at, found)).collect()
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
