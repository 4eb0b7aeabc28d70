//! What wants attention beside the verdict.

use design::law::Unseen;
use design::message::LONGEST_ANSWERS;
use design::quantity::Quantity;

use super::join::{DEV_NONCES, JoinPlan};
use super::{Check, LawInputs, MessageRow, Rate, Topic};
use crate::finding::{Finding, Severity, Verdict};

/// Application bytes at DR2 of AS923 in editions before RP002-1.0.1; old end devices still stop there.
const OLD_AS923_DR2: usize = 51;

/// A network that is silent for longer is not coming back (own choice).
const LONG_SILENCE_YEARS: f64 = 1.0;

pub(super) fn findings(
    case: &LawInputs<'_>,
    checks: &[Check],
    messages: &[MessageRow],
    join: Option<&JoinPlan>,
) -> Vec<Finding> {
    let mut found: Vec<Finding> = messages.iter().filter_map(|message| bench_only(case, message)).collect();
    found.extend(near_only(case, checks));
    found.extend(join.and_then(|join| join_too_long(case, join)));
    found.extend(join.and_then(back_off));
    found.extend(join.and_then(|join| nonces(case, join)));
    found.extend(eight_channels(case));
    found.extend(messages.iter().filter_map(|message| no_room_for_answers(case, message)));
    found.extend(confirmed(messages));
    found.extend(messages.iter().filter_map(|message| old_as923(case, message)));
    found.extend(newer(case));
    found.extend(case.law.unseen.iter().map(ask));
    found.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    found
}

fn finding(
    code: &'static str,
    severity: Severity,
    field: &str,
    message: String,
    help: impl Into<String>,
) -> Finding {
    Finding { code, severity, field: field.to_owned(), message, help: help.into() }
}

/// The name of a data rate of the case.
fn named(case: &LawInputs<'_>, number: u8) -> String {
    case.rates.iter().find(|rate| rate.number == number).map_or_else(|| format!("DR{number}"), Rate::text)
}

/// Fits at a fast data rate and not at a slower one.
fn bench_only(case: &LawInputs<'_>, message: &MessageRow) -> Option<Finding> {
    let fits = |row: &&super::RateRow| {
        row.bytes <= row.ceiling.bytes
            && !row.dwell.is_some_and(|longest| row.airtime.is_some_and(|time| time > longest))
    };
    let bench = message.rates.iter().rev().find(fits)?;
    let far = message.rates.iter().find(|row| !fits(row) && row.data_rate < bench.data_rate)?;
    let (near, slow, most) = (named(case, bench.data_rate), named(case, far.data_rate), far.ceiling.bytes);
    let bytes = far.bytes;
    let severity = if far.in_use { Severity::Danger } else { Severity::Warning };
    let text = format!(
        "works on the bench, too long far away: `{}` has {bytes} bytes and goes at {near}, but {slow} carries {most}",
        message.name
    );
    let help = format!(
        "at most {most} bytes, or a short form for the slow rates, or `allowed_rates` without {slow}"
    );
    Some(finding("bench-only", severity, &format!("{}.steps", message.field), text, help))
}

/// Lawful at a data rate in use and not at one that the network may ask for far away.
fn near_only(case: &LawInputs<'_>, checks: &[Check]) -> Option<Finding> {
    let of_time = |check: &&Check| matches!(check.topic, Topic::DutyCycle | Topic::Allowance);
    let breaks = |check: &&Check| matches!(check.verdict, Verdict::Fails | Verdict::NotKnown);
    let near = checks
        .iter()
        .filter(of_time)
        .filter(|check| check.in_use && !breaks(check))
        .map(|check| check.data_rate)
        .max()?;
    let far = checks
        .iter()
        .filter(of_time)
        .filter(|check| breaks(check) && check.data_rate < near)
        .min_by_key(|check| (check.topic, check.data_rate))?;
    let near = named(case, near);
    let text = if far.topic == Topic::Allowance {
        format!(
            "within the network's allowance at {near}, over it at the slow rates used far away: {}",
            far.reason
        )
    } else {
        format!("lawful at {near}, over the limit at the slow rates used far away: {}", far.reason)
    };
    let severity = if far.in_use { Severity::Danger } else { Severity::Warning };
    let without = format!("`allowed_rates` without {}", named(case, far.data_rate));
    let help =
        far.remedy.as_ref().map_or_else(|| without.clone(), |remedy| format!("{remedy}; or {without}"));
    Some(finding("lawful-near-only", severity, &far.field, text, help))
}

/// The regional plan lets it join at a data rate at which the request lasts longer than one transmission may.
fn join_too_long(case: &LawInputs<'_>, join: &JoinPlan) -> Option<Finding> {
    let (rate, on_air) = join.too_long?;
    let region = &case.radio.region;
    let limit = case.dwell_at(region.modulation(rate)?.occupied_bandwidth()?)?;
    let text = format!(
        "a join request at {} lasts {:.0} ms, and {} allows {:.0} ms for one transmission",
        region.rate_text(rate),
        on_air.milliseconds(),
        region.name,
        limit.longest.milliseconds()
    );
    let help = format!("let the firmware join at {} or faster", region.rate_text(join.data_rate));
    Some(finding("join-too-long", Severity::Danger, "radio.region", text, help))
}

fn back_off(join: &JoinPlan) -> Option<Finding> {
    let broken = join.phases.iter().find(|phase| phase.on_air > phase.allowed)?;
    let [first, next, daily] = join.phases;
    let text = format!(
        "without an answer, retrying the join every {} uses {:.0} s of air time between hour {:.0} and {:.0} after power-up, where LoRaWAN allows {:.1} s",
        join.retry.text(),
        broken.on_air.seconds(),
        broken.from.hours(),
        broken.to.hours(),
        broken.allowed.seconds()
    );
    let help = format!(
        "let the device back off: at DR{} every {:.0} s in the first hour, every {:.0} min until hour 11, then every {:.1} h",
        join.data_rate,
        first.retry.seconds().ceil(),
        next.retry.minutes().ceil(),
        (daily.retry.hours() * 10.0).ceil() / 10.0
    );
    Some(finding("join-back-off", Severity::Warning, "radio.join_retry", text, help))
}

fn nonces(case: &LawInputs<'_>, join: &JoinPlan) -> Option<Finding> {
    let unanswered = case.design.promise.unattended.years().min(LONG_SILENCE_YEARS);
    (join.nonces_last.years() < unanswered).then(|| {
        finding(
            "dev-nonce-life",
            Severity::Note,
            "radio.join_retry",
            format!(
                "a try every {} uses up the {DEV_NONCES} numbers of DevNonce in {:.0} days without an answer; then it can never join again",
                join.retry.text(),
                join.nonces_last.days()
            ),
            format!("with the back-off of the standard they last {:.0} years", join.nonces_last_with_back_off.years()),
        )
    })
}

/// A plan of 64 channels of which a gateway hears eight.
fn eight_channels(case: &LawInputs<'_>) -> Option<Finding> {
    let channels = case.radio.channels.len();
    (case.radio.region.fixed_channels && !case.law.hopping.is_empty() && channels >= 64).then(|| {
        finding(
            "eight-channel-group",
            Severity::Warning,
            "radio.channels",
            format!("most gateways hear 8 narrow channels of the {channels} of the plan, so 7 of 8 messages are lost until the network names them; with 8 channels other limits hold"),
            "list the channels of your network's group in `channels`, and set the same in the firmware",
        )
    })
}

fn no_room_for_answers(case: &LawInputs<'_>, message: &MessageRow) -> Option<Finding> {
    let tight =
        |row: &&super::RateRow| row.bytes <= row.ceiling.bytes && row.bytes > row.ceiling.with_answers;
    let slowest = message.rates.iter().find(tight)?;
    let bytes = slowest.bytes;
    let text = format!(
        "`{}` has {bytes} bytes and does not fit at {} when {LONGEST_ANSWERS} bytes of MAC answers ride along (room for {})",
        message.name,
        named(case, slowest.data_rate),
        slowest.ceiling.with_answers
    );
    let help = "the device then sends the answers in a frame of their own and the message late, or drops it: see that the firmware tries again";
    Some(finding("no-room-for-answers", Severity::Note, &format!("{}.steps", message.field), text, help))
}

fn confirmed(messages: &[MessageRow]) -> Option<Finding> {
    let first = messages.iter().find(|message| message.confirmed)?;
    let text = format!(
        "`{}` asks for an acknowledgement: while the gateway is silent each message goes out 8 times",
        first.name
    );
    let help = "ask for an acknowledgement of one message a day only; the law is judged with all tries";
    Some(finding("confirmed-retries", Severity::Note, &format!("{}.steps", first.field), text, help))
}

fn old_as923(case: &LawInputs<'_>, message: &MessageRow) -> Option<Finding> {
    let row = message.rates.iter().find(|row| row.data_rate == 2 && row.dwell.is_none())?;
    let bytes = row.bytes;
    (case.radio.region.name.starts_with("AS923") && bytes > OLD_AS923_DR2 && bytes <= row.ceiling.bytes).then(|| {
        finding(
            "old-as923-length",
            Severity::Note,
            &format!("{}.steps", message.field),
            format!("`{}` has {bytes} bytes; end devices older than RP002-1.0.1 send at most {OLD_AS923_DR2} at DR2", message.name),
            format!("at most {OLD_AS923_DR2} bytes if the firmware may be older"),
        )
    })
}

fn newer(case: &LawInputs<'_>) -> Option<Finding> {
    let rate = case.rates.iter().find(|rate| rate.modulation.is_newer())?;
    let text = format!("{} came with RP002-1.0.5; older gateways do not hear it", rate.text());
    Some(finding(
        "newer-rate",
        Severity::Note,
        "radio.newer_rates",
        text,
        "ask the network before relying on it",
    ))
}

fn ask(open: &Unseen) -> Finding {
    let text = format!("not seen for this judgement: {}", open.question);
    finding(
        "check-your-regulator",
        Severity::Note,
        "radio.region",
        text,
        format!("check your regulator: {}", open.text),
    )
}
