//! Whether a design is lawful: each message at each data rate that it may use, against payload, dwell, duty cycle, hopping
//! and radiated power, with the clause and the smallest remedy.
//!
//! A node may sit at its slowest data rate for months, so every data rate is judged as if all messages went at it.

mod duty;
mod findings;
mod hour;
mod join;
mod payload;
mod power;
mod settings;
mod traffic;

pub use hour::{periodic_on_air, shortest_interval};
pub use join::{DEV_NONCES, JoinPhase, JoinPlan};
pub use power::{PowerRow, radiated};

use design::law::{Clause, Confidence, Law, Unseen};
use design::message::Ceiling;
use design::node::{Design, RadioUse};
use design::quantity::{Duration, Frequency, Share};
use design::region::Modulation;
use design::schedule::Schedule;

use crate::finding::{Finding, Verdict};
use forecast::radio::link_state::LinkState;
use traffic::Traffic;

/// What is said of the law.
#[derive(Clone, Debug)]
pub struct LawPlan {
    /// Is it lawful, at the data rates in use? `Tight` also where a slower rate that the network may ask for is not.
    pub verdict: Verdict,
    /// The reason in one sentence, without the verdict's word.
    pub reason: String,
    /// The smallest change that would make it hold, if one is known.
    pub remedy: Option<String>,
    /// Name of the regional plan, such as `EU868`; empty if nothing transmits.
    pub region: String,
    /// Edition of the regional plan.
    pub edition: String,
    /// The legal text that rules.
    pub text: String,
    /// One line for each limit and data rate, worst first.
    pub checks: Vec<Check>,
    /// Each message of the design in the order of the file, with all its data rates.
    pub messages: Vec<MessageRow>,
    /// Time on air by data rate and sub-band.
    pub on_air: Vec<OnAir>,
    /// Power by data rate, on the channel that leaves least room.
    pub power: Vec<PowerRow>,
    /// Joining while the network does not answer.
    pub join: Option<JoinPlan>,
    /// What wants attention, worst first.
    pub findings: Vec<Finding>,
    /// What no legal text was seen for: print with "check your regulator".
    pub open: Vec<Unseen>,
}

/// What a check is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Topic {
    /// Length of a message.
    Payload,
    /// Longest single transmission.
    Dwell,
    /// Share of any hour on air in one sub-band.
    DutyCycle,
    /// Radiated or conducted power.
    Power,
    /// Number of channels.
    Hopping,
    /// What the network grants, which is no law.
    Allowance,
}

/// One limit at one data rate.
#[derive(Clone, Debug)]
pub struct Check {
    /// What it is about.
    pub topic: Topic,
    /// What is said of it.
    pub verdict: Verdict,
    /// The data rate.
    pub data_rate: u8,
    /// Whether that rate is in use; else the network may ask for it.
    pub in_use: bool,
    /// The place in the design file to change.
    pub field: String,
    /// What was found, with figures.
    pub reason: String,
    /// Where the limit stands.
    pub clause: Clause,
    /// The smallest change that makes it hold, if one is known.
    pub remedy: Option<String>,
}

impl Check {
    /// What to print beside a limit that rests on less than two agreeing sources.
    pub fn remark(&self) -> Option<&'static str> {
        match self.clause.confidence {
            Confidence::Agreed => None,
            Confidence::OneSource => Some("from one source: check your regulator"),
            Confidence::Disputed => Some("sources disagree, the stricter is taken: check your regulator"),
        }
    }
}

/// One message of the design.
#[derive(Clone, Debug)]
pub struct MessageRow {
    /// Name of its activity, with a number if that sends several.
    pub name: String,
    /// The activity's place in the design file.
    pub field: String,
    /// Whether it asks for an acknowledgement.
    pub confirmed: bool,
    /// Charge at or above which an interval holds, highest first; `None`: not sent there.
    pub every: Schedule,
    /// Data rates in use or allowed, slowest first.
    pub rates: Vec<RateRow>,
}

impl MessageRow {
    /// Its longest form.
    pub fn bytes(&self) -> usize {
        self.rates.iter().map(|rate| rate.bytes).max().unwrap_or_default()
    }
}

/// One message at one data rate: a line of the table of limits.
#[derive(Clone, Debug)]
pub struct RateRow {
    /// The data rate.
    pub data_rate: u8,
    /// Application bytes there.
    pub bytes: usize,
    /// How it is modulated.
    pub modulation: Modulation,
    /// Whether it is in use; else the network may ask for it.
    pub in_use: bool,
    /// Time on air of one try; `None` for LR-FHSS.
    pub airtime: Option<Duration>,
    /// The longest message.
    pub ceiling: Ceiling,
    /// The longest single transmission, if limited.
    pub dwell: Option<Duration>,
    /// How often the message may be sent for each reason, nothing else being sent.
    pub limits: Limits,
}

/// How often a message may be sent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Bound {
    /// As often as wanted.
    Any,
    /// Once in this time at most.
    Every(Duration),
    /// Not at all.
    Never,
}

impl Bound {
    fn seconds(self) -> f64 {
        match self {
            Self::Any => 0.0,
            Self::Every(interval) => interval.seconds(),
            Self::Never => f64::INFINITY,
        }
    }
}

/// What limits a message.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Limit {
    /// It does not fit.
    Payload,
    /// The law of the spectrum.
    Law,
    /// What the network grants.
    Allowance,
    /// What the sun brings.
    Energy,
}

/// How often a message may be sent at one data rate, by reason.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// Whether it fits: `Any` or `Never`.
    pub payload: Bound,
    /// Duty cycle in any hour, and dwell.
    pub law: Bound,
    /// The network's own allowance; `Any` if it states none.
    pub allowance: Bound,
    /// From the life plan; `None` until that has been made.
    pub energy: Option<Bound>,
}

impl Limits {
    /// The tightest of them; `None` if nothing limits the message.
    pub fn tightest(&self) -> Option<(Limit, Bound)> {
        let all = [
            (Limit::Payload, self.payload),
            (Limit::Law, self.law),
            (Limit::Allowance, self.allowance),
            (Limit::Energy, self.energy.unwrap_or(Bound::Any)),
        ];
        let mut tightest = None;
        for (limit, bound) in all {
            let above: f64 = tightest.map_or(0.0, |(_, bound): (Limit, Bound)| bound.seconds());
            if bound.seconds() > above {
                tightest = Some((limit, bound));
            }
        }
        tightest
    }
}

/// Time on air in one sub-band, everything at one data rate.
#[derive(Clone, Debug, PartialEq)]
pub struct OnAir {
    /// The data rate.
    pub data_rate: u8,
    /// Whether it is in use.
    pub in_use: bool,
    /// Edges of the sub-band.
    pub band: (Frequency, Frequency),
    /// Share of the channels that lie in it, and so of the messages on average.
    pub share: Share,
    /// The most that is allowed in any hour; `None` without limit.
    pub allowed: Option<Duration>,
    /// The most in any hour, the activities falling together as badly as they can; confirmed messages with all their tries.
    pub busiest_hour: Duration,
    /// The same if every confirmed message is acknowledged at once.
    pub acknowledged_hour: Duration,
    /// The most in an hour in which it also joins.
    pub joining_hour: Duration,
    /// The most in any day.
    pub busiest_day: Duration,
}

/// Judges a design whose messages go as `link` says. Nothing is judged that the design does not say: where the law's text was not seen, the answer is
/// [`Verdict::NotKnown`] or a remark.
#[must_use]
pub fn judge(design: &Design, link: &LinkState) -> LawPlan {
    let mut plan = as_it_stands(design, link);
    plan.findings.extend(settings::unlawful(design, link, &plan));
    plan.findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    plan
}

/// The same without what messages to the node may make of it.
fn as_it_stands(design: &Design, link: &LinkState) -> LawPlan {
    let case = design.radio.as_ref().and_then(|radio| LawInputs::new(design, radio, link));
    let Some(case) = case.filter(|case| !case.traffic.messages.is_empty()) else { return silent() };
    let (on_air, mut checks) = duty::judge(&case);
    let (power, of_power) = power::judge(&case);
    checks.extend(of_power);
    checks.extend(payload::judge(&case));
    checks.extend(duty::allowance(&case));
    checks.sort_by_key(|check| (!check.in_use, rank(check.verdict), check.topic, check.data_rate));
    let messages = payload::rows(&case);
    let join = join::plan(&case);
    let findings = findings::findings(&case, &checks, &messages, join.as_ref());
    let (verdict, reason, remedy) = overall(&case, &checks, &on_air);
    LawPlan {
        verdict,
        reason,
        remedy,
        region: case.radio.region.name.clone(),
        edition: case.radio.region.source.clone(),
        text: case.law.text.clone(),
        checks,
        messages,
        on_air,
        power,
        join,
        findings,
        open: case.law.unseen.clone(),
    }
}

/// What all parts of the judgement need.
struct LawInputs<'a> {
    design: &'a Design,
    radio: &'a RadioUse,
    law: Law,
    traffic: Traffic,
    rates: Vec<Rate>,
}

/// A data rate in use or allowed.
#[derive(Clone, Copy)]
struct Rate {
    number: u8,
    modulation: Modulation,
    bandwidth: Frequency,
    in_use: bool,
}

impl Rate {
    fn text(&self) -> String {
        match self.modulation {
            Modulation::Lora { spreading_factor, .. } => format!("DR{} (SF{spreading_factor})", self.number),
            Modulation::Fsk { .. } => format!("DR{} (FSK)", self.number),
            Modulation::LrFhss => format!("DR{} (LR-FHSS)", self.number),
        }
    }
}

impl<'a> LawInputs<'a> {
    fn new(design: &'a Design, radio: &'a RadioUse, link: &LinkState) -> Option<Self> {
        let law = Law::of_region(&radio.region.name)?;
        let rate = |number: u8| {
            let modulation = radio.region.modulation(number)?;
            Some(Rate {
                number,
                modulation,
                bandwidth: modulation.occupied_bandwidth()?,
                in_use: link.uses(number),
            })
        };
        let rates = radio.allowed_rates.iter().filter_map(|number| rate(*number)).collect();
        Some(Self { design, radio, law, traffic: Traffic::new(design), rates })
    }

    /// The limit on one transmission at this data rate.
    fn dwell(&self, rate: &Rate) -> Option<&design::law::Dwell> {
        self.dwell_at(rate.bandwidth)
    }

    /// The limit on one transmission of this bandwidth.
    fn dwell_at(&self, bandwidth: Frequency) -> Option<&design::law::Dwell> {
        self.law.dwell.as_ref().filter(|dwell| {
            bandwidth < dwell.narrower_than && (!dwell.lifted_by_network || self.radio.dwell_limit)
        })
    }

    fn channels(&self, rate: &Rate) -> impl Iterator<Item = Frequency> {
        let (region, number) = (&self.radio.region, rate.number);
        self.radio.channels.iter().copied().filter(move |channel| region.carries(*channel, number))
    }
}

/// Order of severity: what breaks a limit first.
fn rank(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Fails => 0,
        Verdict::NotKnown => 1,
        Verdict::Tight => 2,
        Verdict::Holds => 3,
    }
}

/// What a breach of a limit means: a limit on which the sources disagree proves nothing.
fn breach(clause: &Clause) -> Verdict {
    if clause.confidence == Confidence::Disputed { Verdict::NotKnown } else { Verdict::Fails }
}

fn overall(case: &LawInputs<'_>, checks: &[Check], on_air: &[OnAir]) -> (Verdict, String, Option<String>) {
    let worst = checks.iter().filter(|check| check.in_use).min_by_key(|check| rank(check.verdict));
    let said = |check: &Check| (check.verdict, check.reason.clone(), check.remedy.clone());
    if let Some(check) = worst.filter(|check| check.verdict == Verdict::Fails) {
        return said(check);
    }
    if let Some(open) = case.law.unseen.first().filter(|_| !case.law.complete) {
        let reason = format!(
            "message lengths and power keep the regional plan, but no legal text was seen for {}: check your regulator ({})",
            open.question, open.text
        );
        return (Verdict::NotKnown, reason, None);
    }
    if let Some(check) = worst.filter(|check| check.verdict != Verdict::Holds) {
        return said(check);
    }
    if let Some(far) = checks.iter().find(|check| !check.in_use && check.verdict != Verdict::Holds) {
        let reason = format!(
            "lawful at the data rates in use, but the network may ask for a slower one: {}",
            far.reason
        );
        return (Verdict::Tight, reason, far.remedy.clone());
    }
    (Verdict::Holds, holding(checks, on_air), None)
}

/// Why it holds: the fullest budget, and the least room of power.
fn holding(checks: &[Check], on_air: &[OnAir]) -> String {
    let filled = |row: &OnAir| row.allowed.map_or(0.0, |allowed| row.busiest_hour / allowed);
    let fullest =
        on_air.iter().filter(|row| row.allowed.is_some()).max_by(|a, b| filled(a).total_cmp(&filled(b)));
    let mut parts: Vec<String> = fullest
        .iter()
        .filter_map(|row| {
            let (busiest, allowed) = (row.busiest_hour.seconds(), row.allowed?.seconds());
            Some(format!("at most {busiest:.1} s on air in any hour, {allowed:.1} s allowed"))
        })
        .collect();
    let power = checks.iter().find(|check| check.topic == Topic::Power && check.in_use);
    parts.extend(power.map(|check| check.reason.clone()));
    parts.join("; ")
}

fn silent() -> LawPlan {
    LawPlan {
        verdict: Verdict::Holds,
        reason: "nothing is sent".to_owned(),
        remedy: None,
        region: String::new(),
        edition: String::new(),
        text: String::new(),
        checks: Vec::new(),
        messages: Vec::new(),
        on_air: Vec::new(),
        power: Vec::new(),
        join: None,
        findings: Vec::new(),
        open: Vec::new(),
    }
}
