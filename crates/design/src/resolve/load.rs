//! Loads, their regulators, and what they do from time to time.

use super::Resolver;
use crate::diagnostic::{self, Severity};
use crate::file::node::{
    ActivitySection, FixSection, LoadSection, RegulatorSection, RootSection, SnapshotSection, StepSection,
    UplinkSection, WhenSection,
};
use crate::file::part::SensorSection;
use crate::file::value::RegulatorWord;
use crate::message::given::Given;
use crate::message::{Direction, Form, Message};
use crate::node::{Activity, Condition, Load, RadioUse, Step};
use crate::part::{Regulator, Sensor};
use crate::quantity::{Bytes, Current, Duration, Quantity, Uncertain, shortened};
use crate::schedule::Schedule;
use crate::section::{At, PartSection};
use crate::snapshot::SnapshotLayout;
use std::ops::Range;

/// What the steps of a load are checked against.
struct Surroundings<'a> {
    radio: Option<&'a RadioUse>,
    has_radio: bool,
    has_receiver: bool,
    /// Messages by name; `None` for those that are wrong in themselves.
    messages: &'a [(String, Option<Message>)],
    givens: &'a [(String, Option<Given>)],
}

impl Resolver<'_> {
    pub(super) fn loads(
        &mut self,
        root: &RootSection,
        radio: Option<&RadioUse>,
        messages: &[(String, Option<Message>)],
        givens: &[(String, Option<Given>)],
    ) -> Option<Vec<Load>> {
        let named = root.load.as_ref()?;
        if named.value.0.is_empty() {
            let help = "add `[load.board]` with its `floor`";
            self.found.error(diagnostic::NO_LOAD, &named.span, "nothing hangs on the battery", help);
            return None;
        }
        let around = Surroundings {
            radio,
            has_radio: root.radio.is_some(),
            has_receiver: root.receiver.is_some(),
            messages,
            givens,
        };
        if root.regulator.is_none() && !self.file.writes("cutoff.stops_below") {
            let message =
                "no regulator is named: the loads are taken to run until the battery's `empty_voltage`";
            let help = "add `[regulator.main]`, or `stops_below` in `[cutoff]`: a board for 3.3 V stops well above 3.0 V";
            self.found.warning(diagnostic::NO_REGULATOR, &named.span, message, help);
        }
        let rows = root.regulator.iter().flat_map(|rows| &rows.value.0);
        let regulators: Vec<_> =
            rows.map(|(name, section)| (name.value.as_str(), self.regulator(name, section))).collect();
        let mut used: Vec<&str> = Vec::new();
        let loads: Vec<Option<Load>> = named
            .value
            .0
            .iter()
            .map(|(name, section)| {
                let regulator = self.regulator_of(name, section, &regulators);
                let regulator = regulator.map(|(name, regulator)| {
                    // What a regulator takes for itself is counted once, with the first load on it.
                    let counted = used.contains(&name);
                    used.push(name);
                    if counted { without_quiescent(regulator) } else { regulator }
                });
                self.load(name, section, regulator, &around)
            })
            .collect();
        let loads: Vec<Load> = loads.into_iter().collect::<Option<_>>()?;
        self.check_radio_used(root, &loads);
        Some(loads)
    }

    /// Steps that can't be read may be those that send, so nothing is said of a file with errors.
    fn check_radio_used(&mut self, root: &RootSection, loads: &[Load]) {
        let sends = loads.iter().flat_map(|load| &load.activities).any(Activity::sends);
        let doubtful =
            self.found.has_errors() || self.file.found.iter().any(|one| one.severity == Severity::Error);
        if let Some(radio) = root.radio.as_ref().filter(|_| !sends && !doubtful) {
            let message = "the radio never sends: no activity has a step with an `uplink`";
            let help = "add `{ uplink = { payload = \"12 bytes\" } }` to the steps of an activity, or leave `[radio]` out";
            self.found.warning(diagnostic::RADIO_UNUSED, &radio.span, message, help);
        }
    }

    fn regulator(&mut self, name: &At<String>, section: &RegulatorSection) -> Option<Regulator> {
        let kind = section.kind.as_ref()?.value;
        let mut asked = |there: bool, key: &'static str| {
            if !there && !section.unreadable.contains(&key) {
                let message = format!("regulator `{}` needs `{key}`", name.value);
                self.found.error(diagnostic::MISSING_KEY, &name.span, message, format!("add `{key} = ...`"));
            }
        };
        if kind != RegulatorWord::None {
            asked(section.output.is_some(), "output");
            asked(section.quiescent.is_some(), "quiescent");
        }
        if kind == RegulatorWord::Buck {
            asked(section.efficiency.is_some(), "efficiency");
        }
        let value = |at: &Option<At<crate::quantity::Voltage>>| at.as_ref().map(|at| at.value);
        let quiescent = section.quiescent.as_ref().map(|at| at.value);
        Some(match kind {
            RegulatorWord::None => Regulator::None,
            RegulatorWord::Ldo => Regulator::Ldo {
                output: value(&section.output)?,
                dropout: value(&section.dropout)?,
                quiescent: quiescent?,
            },
            RegulatorWord::Buck => Regulator::Buck {
                output: value(&section.output)?,
                dropout: value(&section.dropout)?,
                quiescent: quiescent?,
                efficiency: section.efficiency.as_ref()?.value,
            },
        })
    }

    /// The regulator of a load, under its name; `None` after an error.
    fn regulator_of<'r>(
        &mut self,
        name: &At<String>,
        section: &LoadSection,
        regulators: &[(&'r str, Option<Regulator>)],
    ) -> Option<(&'r str, Regulator)> {
        let names: Vec<&str> = regulators.iter().map(|(name, _)| *name).collect();
        match (&section.regulator, regulators) {
            (None, []) => Some(("", Regulator::None)),
            (None, [(only, regulator)]) => regulator.map(|regulator| (*only, regulator)),
            (None, _) => {
                let message = format!("load `{}` does not say which regulator it hangs on", name.value);
                self.found.error(
                    diagnostic::UNKNOWN_REGULATOR,
                    &name.span,
                    message,
                    format!("add `regulator = \"...\"` with one of {}", names.join(", ")),
                );
                None
            }
            (Some(wanted), _) => {
                let known = regulators.iter().find(|(name, _)| *name == wanted.value);
                if known.is_none() {
                    let help = match diagnostic::nearest(&wanted.value, names.iter().copied()) {
                        Some(near) => format!("did you mean \"{near}\"?"),
                        None => format!("add a table `[regulator.{}]`", wanted.value),
                    };
                    self.found.error(
                        diagnostic::UNKNOWN_REGULATOR,
                        &wanted.span,
                        format!("there is no regulator `{}`", wanted.value),
                        help,
                    );
                }
                known.and_then(|(name, regulator)| regulator.map(|regulator| (*name, regulator)))
            }
        }
    }

    fn load(
        &mut self,
        name: &At<String>,
        section: &LoadSection,
        regulator: Option<Regulator>,
        around: &Surroundings<'_>,
    ) -> Option<Load> {
        let path = format!("load.{}", name.value);
        let floor = section.floor.as_ref().map(|floor| self.floor(floor, section, &path));
        let mut sensors: Vec<(String, Sensor)> = Vec::new();
        let rows = section.activity.iter().flat_map(|rows| &rows.value.0);
        let activities: Vec<Option<Activity>> = rows
            .map(|(name, section)| {
                self.activity(name, section, &format!("{path}.activity.{}", name.value), &mut sensors, around)
            })
            .collect();
        self.check_sleep(section, around);
        let idle: Current = sensors.iter().map(|(_, sensor)| sensor.idle).sum();
        let left_on: Current = sensors
            .iter()
            .map(
                |(_, sensor)| {
                    if sensor.left_on > sensor.idle { sensor.left_on - sensor.idle } else { Current::ZERO }
                },
            )
            .sum();
        let floor = floor?;
        Some(Load {
            name: name.value.clone(),
            regulator: regulator?,
            floor: Uncertain { nominal: floor.nominal + idle, spread_si: floor.spread_si },
            floor_measured: section.floor_measured.as_ref()?.value,
            sensors_left_on: left_on,
            activities: activities.into_iter().collect::<Option<_>>()?,
        })
    }

    fn floor(
        &mut self,
        floor: &At<Uncertain<Current>>,
        section: &LoadSection,
        path: &str,
    ) -> Uncertain<Current> {
        if section.floor_measured.as_ref().is_some_and(|measured| measured.value) {
            return floor.value;
        }
        self.doubt(format!("{path}.floor"), "not measured on the finished board");
        if floor.value.spread_si > 0.0 || section.unreadable.contains(&"floor_measured") {
            return floor.value;
        }
        let message = "the floor was not measured, so a spread of 100 % is used";
        let help = "measure the sleeping board and write `floor_measured = true`, or write a tolerance";
        self.found.warning(diagnostic::FLOOR_UNMEASURED, &floor.span, message, help);
        Uncertain { nominal: floor.value.nominal, spread_si: floor.value.nominal.amperes() }
    }

    /// The load that sends carries the radio, whose sleep is part of the floor.
    fn check_sleep(&mut self, section: &LoadSection, around: &Surroundings<'_>) {
        let sends = section
            .activity
            .iter()
            .flat_map(|rows| &rows.value.0)
            .flat_map(|(_, activity)| activity.steps.iter().flat_map(|steps| &steps.value))
            .any(|step| step.uplink.is_some());
        let (Some(floor), Some(radio)) = (&section.floor, around.radio) else { return };
        if sends && floor.value.nominal < radio.radio.sleep {
            let message =
                format!("the floor is below the {} at which the radio sleeps", radio.radio.sleep.text());
            self.found.warning(
                diagnostic::FLOOR_BELOW_SLEEP,
                &floor.span,
                message,
                "the floor is that of the whole load, radio included",
            );
        }
    }

    fn activity(
        &mut self,
        name: &At<String>,
        section: &ActivitySection,
        path: &str,
        sensors: &mut Vec<(String, Sensor)>,
        around: &Surroundings<'_>,
    ) -> Option<Activity> {
        let every = self.every(name, section);
        let mut steps: Vec<Option<Step>> = Vec::new();
        for wanted in section.sensors.iter().flat_map(|sensors| &sensors.value) {
            let sensor = self.sensor(wanted, path);
            steps.push(
                sensor.as_ref().map(|sensor| Step::Draw {
                    current: Uncertain::exact(sensor.measuring),
                    time: sensor.time,
                }),
            );
            if let Some(sensor) = sensor
                && !sensors.iter().any(|(known, _)| *known == wanted.value)
            {
                sensors.push((wanted.value.clone(), sensor));
            }
        }
        steps.extend(section.steps.iter().flat_map(|steps| &steps.value).map(|step| self.step(step, around)));
        if steps.is_empty() && section.unreadable.is_empty() {
            let message = format!("activity `{}` does nothing", name.value);
            self.found.error(
                diagnostic::ACTIVITY_EMPTY,
                &name.span,
                message,
                "add `steps` or `sensors`, or remove the activity",
            );
            return None;
        }
        let steps: Vec<Step> = steps.into_iter().collect::<Option<_>>()?;
        let every = every?;
        self.check_length(section, &every, &steps);
        self.check_snapshots(name, &steps);
        let when = section.when.as_ref().map_or_else(Condition::default, |when| condition(&when.value));
        Some(Activity { name: name.value.clone(), every, when, steps })
    }

    fn every(&mut self, name: &At<String>, section: &ActivitySection) -> Option<Schedule> {
        let (fixed, charge, month) =
            (&section.every, &section.every_by_charge, &section.every_by_month_and_charge);
        match (fixed, charge, month) {
            (Some(every), None, None) => Some(Schedule::fixed(every.value)),
            (None, Some(rows), None) => Some(Schedule::of_rows(
                rows.value.0.iter().map(|(charge, every)| (*charge, [*every; 12])).collect(),
            )),
            (None, None, Some(rows)) => Some(Schedule::of_rows(rows.value.0.clone())),
            (None, None, None) => {
                if section.unreadable.is_empty() {
                    let message = format!("activity `{}` does not say how often", name.value);
                    self.found.error(diagnostic::ONE_OF, &name.span, message, "add `every = \"10 min\"`");
                }
                None
            }
            _ => {
                let spans = [fixed.as_ref().map(|at| &at.span), charge.as_ref().map(|at| &at.span)];
                let spans = spans.into_iter().chain([month.as_ref().map(|at| &at.span)]).flatten();
                let last = spans.max_by_key(|span| span.start).unwrap_or(&section.span).clone();
                let message =
                    "more than one of `every`, `every_by_charge` and `every_by_month_and_charge` is written";
                let help = "write `every` for a fixed interval, or one of the other two for one that depends on the charge";
                self.found.error(diagnostic::ONE_OF, &last, message, help);
                None
            }
        }
    }

    fn sensor(&mut self, wanted: &At<String>, path: &str) -> Option<Sensor> {
        let before = self.doubts.len();
        let (section, origin) = self.filled(&SensorSection::naming(wanted.clone()), "")?;
        let new = self.doubts.split_off(before);
        let keys: Vec<&str> = new.iter().map(|doubt| doubt.field.trim_start_matches('.')).collect();
        let field = format!("{path}.sensors");
        let remark = format!("{} of {}: from memory, not from a data sheet", keys.join(", "), wanted.value);
        // A sensor that several activities read is doubted once for each load.
        let load = path.split(".activity.").next().unwrap_or(path);
        let known = self.doubts.iter().any(|doubt| doubt.remark == remark && doubt.field.starts_with(load));
        if !keys.is_empty() && !known {
            self.doubt(field, remark);
        }
        Some(Sensor {
            name: origin.name,
            title: origin.title,
            idle: section.idle?.value,
            measuring: section.measuring?.value,
            time: section.time?.value,
            left_on: section.left_on?.value,
            source: origin.source,
        })
    }

    fn step(&mut self, section: &StepSection, around: &Surroundings<'_>) -> Option<Step> {
        match (&section.current, &section.time, &section.uplink, &section.fix, &section.snapshot) {
            (Some(current), Some(time), None, None, None) => {
                Some(Step::Draw { current: current.value, time: time.value })
            }
            (None, None, Some(uplink), None, None) => self.uplink(&uplink.value, &uplink.span, around),
            (None, None, None, Some(fix), None) => self.fix(&fix.value, &fix.span, around),
            (None, None, None, None, Some(snapshot)) => {
                self.asks_receiver(&snapshot.span, around);
                snapshot_step(&snapshot.value)
            }
            _ if !section.unreadable.is_empty() => None,
            _ => {
                let help = "write { current = \"6 mA\", time = \"200 ms\" }, or { uplink = { payload = \"12 bytes\" } }, or { fix = { give_up_after = \"120 s\" } }, or { snapshot = { time = \"2 s\" } }";
                self.found.error(
                    diagnostic::STEP,
                    &section.span,
                    "the step has not exactly one of current with time, uplink, fix, snapshot",
                    help,
                );
                None
            }
        }
    }

    fn uplink(
        &mut self,
        section: &UplinkSection,
        span: &Range<usize>,
        around: &Surroundings<'_>,
    ) -> Option<Step> {
        if !around.has_radio {
            self.found.error(
                diagnostic::UPLINK_WITHOUT_RADIO,
                span,
                "the step sends a message, but there is no radio",
                "add `[radio]`, or remove the step",
            );
        }
        let (message, payload) = match (&section.message, &section.payload) {
            (Some(name), None) => match around.givens.iter().find(|(known, _)| *known == name.value) {
                Some((_, given)) => (None, self.fitting(&longest(name, given.as_ref()?), around)?),
                None => (Some(name.value.clone()), self.longest_sent(name, around)?),
            },
            (None, Some(payload)) => (None, self.fitting(payload, around)?),
            (Some(_), Some(payload)) => {
                let help = "remove `payload`: the message knows its length";
                self.found.error(
                    diagnostic::ONE_OF,
                    &payload.span,
                    "both `message` and `payload` are written",
                    help,
                );
                return None;
            }
            (None, None) => {
                if section.unreadable.is_empty() {
                    let help =
                        "add `message = \"NAME\"`, or `payload = \"12 bytes\"` while it is not designed";
                    self.found.error(diagnostic::ONE_OF, span, "the uplink does not say what it sends", help);
                }
                return None;
            }
        };
        Some(Step::Uplink {
            message,
            payload,
            confirmed: section.confirmed.as_ref()?.value,
            loss: section.loss.as_ref()?.value,
        })
    }

    fn fitting(&mut self, payload: &At<Bytes>, around: &Surroundings<'_>) -> Option<Bytes> {
        for (rate, most) in around.radio.iter().flat_map(|radio| ceilings(radio)) {
            if payload.value.bytes() > most as f64 {
                let message =
                    format!("the message has {}, DR{rate} carries at most {most}", payload.value.text());
                let help = "shorten the message, split it, or use faster data rates";
                self.found.error(diagnostic::PAYLOAD_TOO_LONG, &payload.span, message, help);
                return None;
            }
        }
        Some(payload.value)
    }

    /// The longest form of a message that is sent at the data rates in use.
    fn longest_sent(&mut self, name: &At<String>, around: &Surroundings<'_>) -> Option<Bytes> {
        let Some((_, message)) = around.messages.iter().find(|(known, _)| *known == name.value) else {
            self.unknown_message(name, around);
            return None;
        };
        let message = message.as_ref()?;
        if message.direction == Direction::Down {
            self.unknown_message(name, around);
            return None;
        }
        let rates: Vec<(u8, usize)> = around.radio.iter().flat_map(|radio| ceilings(radio)).collect();
        for (rate, most) in &rates {
            let bytes = message.bytes_at(*rate);
            if bytes > *most {
                let text = format!("`{}` has {bytes} bytes, DR{rate} carries at most {most}", message.name);
                let help = super::message::shorter(message, *most, around.messages);
                self.found.error(diagnostic::PAYLOAD_TOO_LONG, &name.span, text, help);
                return None;
            }
        }
        let sent = rates.iter().map(|(rate, _)| message.bytes_at(*rate)).max();
        let bytes = sent.unwrap_or_else(|| message.layout(Form::Full).bytes);
        Some(Bytes::from_bytes(bytes as f64))
    }

    fn unknown_message(&mut self, name: &At<String>, around: &Surroundings<'_>) {
        let up =
            |message: &Option<Message>| message.as_ref().is_none_or(|one| one.direction == Direction::Up);
        let own = around.messages.iter().filter(|(_, message)| up(message)).map(|(known, _)| known);
        let known: Vec<&str> =
            own.chain(around.givens.iter().map(|(known, _)| known)).map(String::as_str).collect();
        let help = match diagnostic::nearest(&name.value, known.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"?"),
            None if known.is_empty() => format!("add a table `[message.{}]`", shortened(&name.value)),
            None => format!("the messages from the node are {}", known.join(", ")),
        };
        let text = format!("there is no message `{}` from the node", shortened(&name.value));
        self.found.error(diagnostic::UNKNOWN_MESSAGE, &name.span, text, help);
    }

    fn asks_receiver(&mut self, span: &Range<usize>, around: &Surroundings<'_>) {
        if !around.has_receiver {
            self.found.error(
                diagnostic::FIX_WITHOUT_RECEIVER,
                span,
                "the step takes a position, but there is no receiver",
                "add `[receiver]`, or remove the step",
            );
        }
    }

    /// Whether an uplink behind each raw recording has room for it.
    fn check_snapshots(&mut self, name: &At<String>, steps: &[Step]) {
        for (index, step) in steps.iter().enumerate() {
            let Step::Snapshot { size, .. } = step else { continue };
            let carried = steps.iter().skip(index + 1).find_map(|later| match later {
                Step::Uplink { payload, .. } => Some(*payload),
                _ => None,
            });
            if carried.is_some_and(|carried| carried >= *size) {
                continue;
            }
            let message = match carried {
                None => format!("activity `{}` records satellites and sends nothing of it", name.value),
                Some(carried) => {
                    format!("the recording has {}, the uplink behind it {}", size.text(), carried.text())
                }
            };
            let help = format!(
                "add a step {{ uplink = {{ payload = \"{}\" }} }} behind it, or a message with a field of kind `bytes` of that length",
                size.text()
            );
            self.found.error(diagnostic::SNAPSHOT_UNSENT, &name.span, message, help);
        }
    }

    fn fix(&mut self, section: &FixSection, span: &Range<usize>, around: &Surroundings<'_>) -> Option<Step> {
        self.asks_receiver(span, around);
        Some(Step::Fix {
            give_up_after: section.give_up_after.as_ref()?.value,
            failures: section.failures.as_ref()?.value,
        })
    }

    /// Time on air is left out: it depends on the data rate and is short against what people forget here.
    fn check_length(&mut self, section: &ActivitySection, every: &Schedule, steps: &[Step]) {
        let length: Duration = steps
            .iter()
            .map(|step| match step {
                Step::Draw { time, .. } | Step::Snapshot { time, .. } => *time,
                Step::Fix { give_up_after, .. } => *give_up_after,
                Step::Uplink { .. } => Duration::ZERO,
            })
            .sum();
        let shortest = every.intervals().min_by(|a, b| a.seconds().total_cmp(&b.seconds()));
        if let Some(shortest) = shortest.filter(|shortest| length > *shortest) {
            let span = section
                .every
                .as_ref()
                .map(|at| &at.span)
                .or(section.every_by_charge.as_ref().map(|at| &at.span))
                .or(section.every_by_month_and_charge.as_ref().map(|at| &at.span))
                .unwrap_or(&section.span);
            let message =
                format!("the steps take {}, longer than the interval of {}", length.text(), shortest.text());
            self.found.error(
                diagnostic::ACTIVITY_TOO_LONG,
                span,
                message,
                "lengthen the interval or shorten the steps",
            );
        }
    }
}

/// The step; its size follows from satellites and resolution.
fn snapshot_step(section: &SnapshotSection) -> Option<Step> {
    let (satellites, resolution) = (section.satellites.as_ref()?.value, section.resolution.as_ref()?.value);
    let layout = SnapshotLayout::new(satellites, resolution);
    Some(Step::Snapshot { time: section.time.as_ref()?.value, size: layout.size(), layout })
}

fn without_quiescent(regulator: Regulator) -> Regulator {
    match regulator {
        Regulator::None => Regulator::None,
        Regulator::Ldo { output, dropout, .. } => {
            Regulator::Ldo { output, dropout, quiescent: Current::ZERO }
        }
        Regulator::Buck { output, dropout, efficiency, .. } => {
            Regulator::Buck { output, dropout, quiescent: Current::ZERO, efficiency }
        }
    }
}

fn condition(section: &WhenSection) -> Condition {
    Condition {
        air_below: section.air_below.as_ref().map(|at| at.value),
        moving: section.moving.as_ref().map(|at| at.value),
        months: section.months.as_ref().map_or_else(Vec::new, |months| months.value.0.clone()),
        hours: section.hours.as_ref().map(|at| (at.value.0, at.value.1)),
    }
}

/// The data rates in use and the application bytes that each carries.
fn ceilings(radio: &RadioUse) -> impl Iterator<Item = (u8, usize)> {
    radio.data_rates.iter().map(|(rate, _)| (*rate, radio.ceiling(*rate).bytes))
}

/// How long a message of a bought node is, where an uplink names it.
fn longest(name: &At<String>, given: &Given) -> At<Bytes> {
    At { value: Bytes::from_bytes(given.bytes as f64), span: name.span.clone() }
}
