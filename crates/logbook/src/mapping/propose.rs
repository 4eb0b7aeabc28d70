//! Pointers by example: what stands where in pasted messages, judged by its shape and never by how its key is called.
//!
//! The scores are an own choice, so that proof outweighs likeness: a DevEUI of the registry counts more than any text that
//! could be one, and bytes that a message of that very device decodes more than any base64.

mod leaves;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use design::serve::{MappedContent, MappedPort, MappedValue, Mapping, Pointer, TextForm, TimeForm};
use wire::identity::DevEui;

use super::json::{Json, Number};
use super::value::bytes_of;
use super::{Devices, Meaning, time};
use crate::received::Moment;
use crate::registry::quoted;
use leaves::{Leaf, Sample};

pub use leaves::{MOST_LEAVES, Pasted};

/// Messages that are looked at.
pub const MOST_SAMPLES: usize = 20;
const REGISTERED: u32 = 100;
const PLAUSIBLE: u32 = 40;
const DECODES: u32 = 60;
const DECODES_EACH: u32 = 10;
const PORT: u32 = 30;
const RISES: u32 = 20;
const TIME: u32 = 40;
const RADIO: u32 = 20;
/// A counter rises by less from one message of a device to the next.
const SMALL_STEP: i128 = 100;
/// A time lies so near to the arrival \[us\].
const DAY: Moment = 24 * 3_600_000_000;
/// What is received, and how well \[dBm, dB\].
const RSSI: std::ops::Range<f64> = -150.0..0.0;
const SNR: std::ops::Range<f64> = -30.0..30.0;

/// What the designs of the site can read.
pub trait Layouts {
    /// Whether these bytes are a message of this device on this port.
    fn decodes(&self, dev_eui: DevEui, port: u8, payload: &[u8]) -> bool;
}

/// A place that may have a meaning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Candidate {
    /// The place.
    pub at: Pointer,
    /// How bytes are written there, if it is the payload.
    pub text_form: Option<TextForm>,
    /// How the time is written there, if it is the time.
    pub time_form: Option<TimeForm>,
    /// How well it fits; only the order means anything.
    pub score: u32,
}

impl Candidate {
    /// The place, and how it is written there.
    pub fn label(&self) -> String {
        let form = self.text_form.map(text_form).or_else(|| self.time_form.map(time_form));
        form.map_or_else(|| self.at.to_string(), |form| format!("{} as {form}", self.at))
    }
}

/// What is proposed, for a person to confirm.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The best places together; `None` if who sent, or what, was not found.
    pub mapping: Option<Mapping>,
    /// All places by meaning, best first.
    pub candidates: BTreeMap<Meaning, Vec<Candidate>>,
    /// A device of the registry whose identity stands there the other way round.
    pub reversed: Option<DevEui>,
    /// Messages that are no JSON.
    pub unreadable: usize,
}

/// Looks for places in messages; only the first [`MOST_SAMPLES`] are looked at.
pub fn propose(pasted: &[Pasted<'_>], devices: &Devices, layouts: &dyn Layouts) -> Proposal {
    let pasted = pasted.get(..MOST_SAMPLES).unwrap_or(pasted);
    let samples: Vec<Sample> = pasted.iter().filter_map(leaves::read).collect();
    let unreadable = pasted.len() - samples.len();
    let paths: BTreeSet<&Pointer> = samples.iter().flat_map(|sample| sample.leaves.keys()).collect();
    let mut search = Search { samples: &samples, paths: paths.into_iter().collect(), devices, layouts };
    let mut candidates = BTreeMap::from([(Meaning::Device, search.devices_at())]);
    let reversed = search.reversed();
    let device = candidates[&Meaning::Device].first().cloned();
    let senders = search.senders(device.as_ref());
    let (payloads, ports) = search.payloads_and_ports(&senders);
    let used: BTreeSet<&Pointer> =
        [device.as_ref(), payloads.first(), ports.first()].into_iter().flatten().map(|one| &one.at).collect();
    search.paths.retain(|path| !used.contains(path));
    candidates.insert(Meaning::Counter, search.counters(&senders));
    candidates.insert(Meaning::Time, search.times());
    let (rssi, snr) = search.radio();
    candidates.extend([
        (Meaning::Rssi, rssi),
        (Meaning::Snr, snr),
        (Meaning::Payload, payloads),
        (Meaning::Port, ports),
    ]);
    let mapping = best(&samples, &candidates);
    Proposal { mapping, candidates, reversed, unreadable }
}

/// The mapping of places that a person has chosen among the candidates; what was not chosen is as it is proposed, `None` leaves
/// a meaning out.
pub fn chosen(
    pasted: &[Pasted<'_>],
    proposal: &Proposal,
    chosen: &BTreeMap<Meaning, Option<Candidate>>,
) -> Option<Mapping> {
    let pasted = pasted.get(..MOST_SAMPLES).unwrap_or(pasted);
    let samples: Vec<Sample> = pasted.iter().filter_map(leaves::read).collect();
    let mut candidates = proposal.candidates.clone();
    for (meaning, chosen) in chosen {
        candidates.insert(*meaning, chosen.iter().cloned().collect());
    }
    best(&samples, &candidates)
}

struct Search<'a> {
    samples: &'a [Sample],
    paths: Vec<&'a Pointer>,
    devices: &'a Devices,
    layouts: &'a dyn Layouts,
}

impl<'a> Search<'a> {
    fn at(&self, path: &Pointer) -> impl Iterator<Item = Option<&'a Leaf>> {
        let path = path.clone();
        self.samples.iter().map(move |sample| sample.leaves.get(&path))
    }

    /// Places scored in each message by a rule; those that are never anything are left out.
    fn scored(&self, score: impl Fn(&Leaf, Moment) -> u32) -> Vec<Candidate> {
        let sum = |path: &&Pointer| -> u32 {
            let leaves = self.at(path).zip(self.samples);
            leaves.filter_map(|(leaf, sample)| Some(score(leaf?, sample.arrived_at))).sum()
        };
        sorted(self.paths.iter().map(|path| candidate(path, sum(path))).collect())
    }

    fn devices_at(&self) -> Vec<Candidate> {
        self.scored(|leaf, _| match leaf.text().and_then(eui) {
            Some(dev_eui) if self.devices.knows(dev_eui) => REGISTERED,
            Some(_) => PLAUSIBLE,
            None => 0,
        })
    }

    fn reversed(&self) -> Option<DevEui> {
        let leaves = self.samples.iter().flat_map(|sample| sample.leaves.values());
        let turned = leaves.filter_map(|leaf| Some(eui(leaf.text()?)?.byte_reversed()));
        turned.into_iter().find(|dev_eui| self.devices.knows(*dev_eui))
    }

    /// Who sent each message.
    fn senders(&self, device: Option<&Candidate>) -> Vec<Option<DevEui>> {
        match device {
            Some(device) => self.at(&device.at).map(|leaf| eui(leaf?.text()?)).collect(),
            None => vec![None; self.samples.len()],
        }
    }

    /// Bytes and port are found together: a message decodes on its port alone.
    fn payloads_and_ports(&self, senders: &[Option<DevEui>]) -> (Vec<Candidate>, Vec<Candidate>) {
        let mut ports: Vec<Candidate> = Vec::new();
        let mut payloads: Vec<Candidate> = Vec::new();
        for path in &self.paths {
            for form in [TextForm::Hex, TextForm::Base64] {
                let bytes: Vec<Option<Vec<u8>>> = self
                    .at(path)
                    .map(|leaf| bytes_of(leaf?.text()?, form).filter(|bytes| !bytes.is_empty()))
                    .collect();
                if bytes.iter().all(Option::is_none) {
                    continue;
                }
                let on_ports = self.paths.iter().map(|port| (*port, self.decoded(senders, &bytes, port)));
                let on_ports: Vec<(&Pointer, u32)> = on_ports.filter(|(_, count)| *count > 0).collect();
                let most = on_ports.iter().map(|(_, count)| *count).max().unwrap_or(0);
                if most > 0 {
                    let score = DECODES + DECODES_EACH * most;
                    payloads.push(Candidate { text_form: Some(form), ..candidate(path, score) });
                }
                for (port, count) in on_ports {
                    ports.push(candidate(port, PORT * count));
                }
            }
        }
        (sorted(payloads), sorted(ports))
    }

    /// Messages whose bytes decode on the port that stands at a place.
    fn decoded(&self, senders: &[Option<DevEui>], bytes: &[Option<Vec<u8>>], port: &Pointer) -> u32 {
        let all = senders.iter().zip(bytes).zip(self.at(port));
        let decodes = all.filter(|((sender, bytes), leaf)| {
            let port = leaf.and_then(|leaf| u8::try_from(leaf.whole()?).ok());
            let whole = sender.zip(bytes.as_ref()).zip(port);
            whole.is_some_and(|((dev_eui, bytes), port)| self.layouts.decodes(dev_eui, port, bytes))
        });
        u32::try_from(decodes.count()).unwrap_or(u32::MAX)
    }

    /// What rises by small steps between messages of one device; with one message of each, any whole number may.
    fn counters(&self, senders: &[Option<DevEui>]) -> Vec<Candidate> {
        let score = |path: &&Pointer| -> u32 {
            let values: Vec<Option<i128>> = self.at(path).map(|leaf| leaf?.whole()).collect();
            let mut last: BTreeMap<DevEui, i128> = BTreeMap::new();
            let (mut rises, mut breaks) = (0, false);
            for (sender, value) in senders.iter().zip(values) {
                let Some((sender, value)) = sender.zip(value) else { continue };
                if !(0..=i128::from(u32::MAX)).contains(&value) {
                    return 0;
                }
                match last.insert(sender, value) {
                    Some(before) if (1..=SMALL_STEP).contains(&(value - before)) => rises += RISES,
                    // The same message twice says nothing.
                    Some(before) if before == value => {}
                    Some(_) => breaks = true,
                    None => {}
                }
            }
            if breaks { 0 } else { rises }
        };
        sorted(self.paths.iter().map(|path| candidate(path, score(path))).collect())
    }

    fn times(&self) -> Vec<Candidate> {
        let mut found = Vec::new();
        for form in [
            TimeForm::Rfc3339,
            TimeForm::Seconds,
            TimeForm::Milliseconds,
            TimeForm::Microseconds,
            TimeForm::Nanoseconds,
        ] {
            let near = |leaf: &Leaf, arrived_at: Moment| {
                let moment = time::moment(&leaf.found(), form).ok();
                let close = moment.is_some_and(|moment| (moment - arrived_at).abs() <= DAY);
                if close { TIME } else { 0 }
            };
            let scored = self.scored(near);
            found.extend(scored.into_iter().map(|one| Candidate { time_form: Some(form), ..one }));
        }
        sorted(found)
    }

    /// Two numbers of one object, of which one may be a power and the other a ratio. A power is below every ratio.
    fn radio(&self) -> (Vec<Candidate>, Vec<Candidate>) {
        let within = |path: &Pointer, range: &std::ops::Range<f64>| {
            let numbers: Vec<f64> = self.at(path).flatten().filter_map(Leaf::number).collect();
            let fits = !numbers.is_empty() && numbers.iter().all(|number| range.contains(number));
            fits.then(|| numbers.iter().sum::<f64>() / numbers.len() as f64)
        };
        let (mut powers, mut ratios) = (Vec::new(), Vec::new());
        for power in &self.paths {
            for ratio in self.paths.iter().filter(|ratio| *ratio != power && beside(power, ratio)) {
                let both = within(power, &RSSI).zip(within(ratio, &SNR));
                if both.is_some_and(|(dbm, db)| dbm < RSSI_BELOW_DBM && dbm < db) {
                    powers.push(candidate(power, RADIO));
                    ratios.push(candidate(ratio, RADIO));
                }
            }
        }
        (sorted(powers), sorted(ratios))
    }
}

/// What gateways receive is weaker on the mean; a ratio never is so low (own choice).
const RSSI_BELOW_DBM: f64 = -30.0;

fn candidate(at: &Pointer, score: u32) -> Candidate {
    Candidate { at: at.clone(), text_form: None, time_form: None, score }
}

/// Best first, of equals the first in the message; each place once for each form, none without a score.
fn sorted(mut found: Vec<Candidate>) -> Vec<Candidate> {
    found.retain(|one| one.score > 0);
    found.sort_by(|one, other| other.score.cmp(&one.score).then_with(|| one.at.cmp(&other.at)));
    let mut known = BTreeSet::new();
    found.retain(|one| known.insert((one.at.clone(), one.text_form, one.time_form)));
    found
}

fn eui(text: &str) -> Option<DevEui> {
    let digits = text.chars().filter(char::is_ascii_hexdigit).count();
    let others = text.chars().all(|letter| letter.is_ascii_hexdigit() || matches!(letter, ':' | '-'));
    DevEui::from_display(text).ok().filter(|_| digits == 16 && others)
}

/// Whether two places are members of one object.
fn beside(one: &Pointer, other: &Pointer) -> bool {
    match (one, other) {
        (Pointer::Json(one), Pointer::Json(other)) => {
            one.split_last().map(|(_, around)| around) == other.split_last().map(|(_, around)| around)
        }
        _ => false,
    }
}

/// The best places together; several uplinks in one list are read by `each`.
fn best(samples: &[Sample], candidates: &BTreeMap<Meaning, Vec<Candidate>>) -> Option<Mapping> {
    let first = |meaning: Meaning| candidates.get(&meaning).and_then(|found| found.first());
    let (device, payload, port) = (first(Meaning::Device)?, first(Meaning::Payload)?, first(Meaning::Port)?);
    let each = leaves::shared_list(samples, &[&device.at, &payload.at, &port.at]);
    let within = |at: &Pointer| match (at, &each) {
        (Pointer::Json(tokens), Some(Pointer::Json(list))) => tokens
            .strip_prefix(list.as_slice())
            .and_then(|rest| rest.split_first())
            .map_or_else(|| at.clone(), |(_, rest)| Pointer::Json(rest.to_vec())),
        _ => at.clone(),
    };
    let place = |meaning| first(meaning).map(|one| within(&one.at));
    let time = first(Meaning::Time).and_then(|one| Some((within(&one.at), one.time_form?)));
    Some(Mapping {
        only_if: None,
        device: within(&device.at),
        names: false,
        counter: place(Meaning::Counter),
        content: MappedContent::Payload {
            port: MappedPort::At(within(&port.at)),
            at: within(&payload.at),
            form: payload.text_form?,
        },
        time,
        rssi: place(Meaning::Rssi),
        snr: place(Meaning::Snr),
        each,
    })
}

/// As the site file writes it.
const fn text_form(form: TextForm) -> &'static str {
    match form {
        TextForm::Base64 => "base64",
        TextForm::Hex => "hex",
    }
}

/// As the site file writes it.
const fn time_form(form: TimeForm) -> &'static str {
    match form {
        TimeForm::Rfc3339 => "RFC 3339",
        TimeForm::Seconds => "s since 1970",
        TimeForm::Milliseconds => "ms since 1970",
        TimeForm::Microseconds => "us since 1970",
        TimeForm::Nanoseconds => "ns since 1970",
    }
}

/// A mapping as the lines of a site file that a person copies.
pub fn toml(mapping: &Mapping) -> String {
    let mut out = String::new();
    let mut line = |key: &str, at: Option<&Pointer>| {
        if let Some(at) = at {
            let _ = writeln!(out, "{key} = {}", quoted(&at.to_string()));
        }
    };
    line("each", mapping.each.as_ref());
    line("device", Some(&mapping.device));
    line("counter", mapping.counter.as_ref());
    match &mapping.content {
        MappedContent::Payload { port, at, form } => {
            match port {
                MappedPort::At(at) => line("port", Some(at)),
                MappedPort::Is(port) => {
                    let _ = writeln!(out, "port_is = {port}");
                }
            }
            let form = text_form(*form);
            let _ = writeln!(out, "payload = {{ at = {}, is = \"{form}\" }}", quoted(&at.to_string()));
        }
        MappedContent::Values(values) => {
            for value in values {
                let MappedValue { message, column, at, numerator, offset, denominator } = value;
                let (at, parts) = (quoted(&at.to_string()), *denominator as f64);
                let (step, offset) = (*numerator as f64 / parts, *offset as f64 / parts);
                let _ = writeln!(
                    out,
                    "values.{message}.{column} = {{ at = {at}, step = {step}, offset = {offset} }}"
                );
            }
        }
    }
    if let Some((at, form)) = &mapping.time {
        let form = time_form(*form);
        let _ = writeln!(out, "time = {{ at = {}, is = \"{form}\" }}", quoted(&at.to_string()));
    }
    for (key, at) in [("rssi", &mapping.rssi), ("snr", &mapping.snr)] {
        if let Some(at) = at {
            let _ = writeln!(out, "{key} = {}", quoted(&at.to_string()));
        }
    }
    out
}

impl Leaf {
    fn text(&self) -> Option<&str> {
        match self {
            Self::Json(Json::Text(text)) | Self::Level(text) => Some(text),
            Self::Json(_) => None,
        }
    }

    /// A whole number, or a text of digits.
    fn whole(&self) -> Option<i128> {
        match self {
            Self::Json(Json::Number(Number::Whole(whole))) => Some(*whole),
            other => {
                let text = other.text()?;
                let digits = !text.is_empty() && text.bytes().all(|digit| digit.is_ascii_digit());
                text.parse().ok().filter(|_| digits)
            }
        }
    }

    fn number(&self) -> Option<f64> {
        super::value::decibels(&self.found())
    }
}
