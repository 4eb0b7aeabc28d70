//! Messages: names, ports, forms and lengths.

mod field;
mod interval;
mod kind;
mod meaning;
mod name;

pub(super) use kind::WIDEST_COUNT;

use super::Resolver;
use crate::diagnostic;
use crate::file::message::{MessageSection, ShortSection, VersionSection};
use crate::file::node::RootSection;
use crate::message::{Direction, Form, MOST_BYTES, MOST_FIELDS, Message, ShortForm, Version};
use crate::node::RadioUse;
use crate::section::At;
use std::ops::Range;

/// Ports that applications may use.
const PORTS: std::ops::RangeInclusive<u8> = 1..=223;
const WIDEST_VERSION: u32 = 8;

impl Resolver<'_> {
    /// The messages by name; `None` for those that are wrong in themselves.
    pub(super) fn messages(
        &mut self,
        root: &RootSection,
        radio: Option<&RadioUse>,
    ) -> Vec<(String, Option<Message>)> {
        let rows: Vec<&(At<String>, MessageSection)> =
            root.message.iter().flat_map(|rows| &rows.value.0).collect();
        let messages: Vec<(String, Option<Message>)> = rows
            .iter()
            .map(|(name, section)| (name.value.clone(), self.message(name, section, (root, radio))))
            .collect();
        self.check_collisions(&rows);
        self.check_ports(&rows, &messages);
        messages
    }

    fn message(
        &mut self,
        name: &At<String>,
        section: &MessageSection,
        (root, radio): (&RootSection, Option<&RadioUse>),
    ) -> Option<Message> {
        let named = self.check_name(name, "message");
        let port = section.port.as_ref().and_then(|port| self.port(port));
        let version = section.version.as_ref().map_or(Some(Version::Port), |at| self.version(&at.value));
        let rows = section.field.as_ref().map(|fields| fields.value.0.as_slice())?;
        let fields: Vec<_> = rows.iter().map(|(name, section)| self.field(name, section)).collect();
        if rows.is_empty() || rows.len() > MOST_FIELDS {
            let message = format!("message `{}` has {} fields", name.value, rows.len());
            let help = format!("write 1 to {MOST_FIELDS}; split a larger message by port");
            self.found.error(diagnostic::FIELD_COUNT, &name.span, message, help);
            return None;
        }
        let short_port =
            section.short.as_ref().map(|short| short.value.port.as_ref().and_then(|port| self.port(port)));
        let mut message = Message {
            name: name.value.clone(),
            title: section.title.as_ref().map(|title| title.value.clone()).unwrap_or_default(),
            port: port?,
            direction: section.direction.as_ref()?.value,
            version: version?,
            fields: fields.into_iter().collect::<Option<_>>()?,
            short: None,
        };
        let meant = self.check_meanings(&message, rows);
        self.check_size(&message, section, rows.iter().map(|(name, _)| name))?;
        self.check_downlink(&message, name, radio)?;
        for (field, (_, written)) in message.fields.iter_mut().zip(rows) {
            if let Some(wanted) = &written.sets {
                field.sets = Some(self.interval(message.direction, field, wanted, root)?);
            }
        }
        if let (Some(short), Some(port)) = (&section.short, short_port) {
            message.short = Some(self.short(&message, &short.value, port?, radio)?);
        }
        (named && meant).then_some(message)
    }

    pub(super) fn port(&mut self, port: &At<u32>) -> Option<u8> {
        let good = u8::try_from(port.value).ok().filter(|port| PORTS.contains(port));
        if good.is_none() {
            let message = format!("port {} can't be used", port.value);
            self.found.error(diagnostic::MESSAGE_PORT, &port.span, message, "write a port from 1 to 223");
        }
        good
    }

    fn version(&mut self, section: &VersionSection) -> Option<Version> {
        let (bits, value) = (section.bits.as_ref()?, section.value.as_ref()?);
        let width = Some(bits.value).filter(|width| (1..=WIDEST_VERSION).contains(width));
        let Some(width) = width else {
            let message = format!("the version can't have {} bits", bits.value);
            self.found.error(diagnostic::VERSION_BITS, &bits.span, message, "write 1 to 8 bits");
            return None;
        };
        if value.value >> width > 0 {
            let message = format!("version {} does not fit {width} bits", value.value);
            let help = format!("write at most {}", (1_u32 << width) - 1);
            self.found.error(diagnostic::VERSION_BITS, &value.span, message, help);
            return None;
        }
        Some(Version::Bits { width: u8::try_from(width).ok()?, value: u8::try_from(value.value).ok()? })
    }

    /// No field alone, nor all together, may be longer than the message may become.
    fn check_size<'n>(
        &mut self,
        message: &Message,
        section: &MessageSection,
        names: impl Iterator<Item = &'n At<String>>,
    ) -> Option<()> {
        let at_most = section.at_most.as_ref().and_then(|at| kind::whole(at.value.bytes().floor()));
        let most = at_most.map_or(MOST_BYTES, |most| MOST_BYTES.min(most as usize));
        let layout = message.layout(Form::Full);
        if layout.bytes <= most {
            return Some(());
        }
        let mut all_fit = true;
        for (field, name) in message.fields.iter().zip(names) {
            let bits: u32 = field.parts(Form::Full).into_iter().map(|part| field.codes(part).bits).sum();
            if bits.div_ceil(8) as usize > most {
                let text =
                    format!("`{}` alone has {bits} bits, the message at most {most} bytes", field.name);
                let help = "narrow its range, coarsen its resolution, or allow a longer message";
                self.found.error(diagnostic::FIELD_TOO_WIDE, &name.span, text, help);
                all_fit = false;
            }
        }
        if all_fit {
            let span = section.at_most.as_ref().map_or(&section.span, |at| &at.span);
            let text = format!("`{}` has {} bytes, but may have at most {most}", message.name, layout.bytes);
            let help = format!("save {} bits, or split the message by port", layout.bits as usize - 8 * most);
            self.found.error(diagnostic::MESSAGE_TOO_LONG, span, text, help);
        }
        None
    }

    /// A message to the node must fit the second receive window: there it can always be sent.
    fn check_downlink(
        &mut self,
        message: &Message,
        name: &At<String>,
        radio: Option<&RadioUse>,
    ) -> Option<()> {
        let Some(region) = radio.map(|radio| &radio.region) else { return Some(()) };
        let rate = region.second_window.1;
        let most = region.largest_downlink_payload(rate);
        let bytes = message.layout(Form::Full).bytes;
        if message.direction == Direction::Up || bytes <= most {
            return Some(());
        }
        let text =
            format!("`{}` has {bytes} bytes, the second window (DR{rate}) carries {most}", message.name);
        self.found.error(diagnostic::PAYLOAD_TOO_LONG, &name.span, text, "shorten the message or split it");
        None
    }

    fn short(
        &mut self,
        message: &Message,
        section: &ShortSection,
        port: u8,
        radio: Option<&RadioUse>,
    ) -> Option<ShortForm> {
        let keeps = u8::try_from(section.keeps.as_ref()?.value).ok()?;
        let short = ShortForm { port, keeps, data_rates: Vec::new() };
        let with_short = Message { short: Some(short.clone()), ..message.clone() };
        let (full, brief) = (message.layout(Form::Full), with_short.layout(Form::Short));
        let wrong = if brief.slots.is_empty() {
            Some((
                "the short form keeps no field".to_owned(),
                "raise `keeps`, or lower the `priority` of a field",
            ))
        } else if brief.bytes >= full.bytes {
            let text = format!("the short form has {} bytes, the full one {}", brief.bytes, full.bytes);
            Some((text, "write `priority = 2` in the fields that it may leave out"))
        } else {
            None
        };
        if let Some((text, help)) = wrong {
            self.found.error(diagnostic::SHORT_FORM, &section.span, text, help);
            return None;
        }
        let Some(radio) = radio else { return Some(short) };
        let up_to = section.up_to.as_ref().map(|rate| rate.value.0);
        let is_short = |rate: &u8| {
            up_to.is_some_and(|fastest| *rate <= fastest) || full.bytes > radio.ceiling(*rate).bytes
        };
        let data_rates: Vec<u8> = radio.allowed_rates.iter().copied().filter(is_short).collect();
        if data_rates.is_empty() {
            let text = "the short form is never sent: the full one fits every data rate";
            let help = "write `up_to = \"DR2\"`, the fastest data rate at which it saves power, or remove it";
            self.found.warning(diagnostic::SHORT_FORM, &section.span, text, help);
        }
        Some(ShortForm { data_rates, ..short })
    }

    /// Whatever arrives on a port must be one form of one message.
    fn check_ports(
        &mut self,
        rows: &[&(At<String>, MessageSection)],
        messages: &[(String, Option<Message>)],
    ) {
        let mut taken: Vec<(Direction, u8, Version, String)> = Vec::new();
        for ((_, section), message) in rows.iter().zip(messages.iter().map(|(_, message)| message)) {
            let Some(message) = message else { continue };
            for form in message.forms() {
                let Some(port) = message.port_of(form) else { continue };
                let clash = taken.iter().find(|(direction, known, version, _)| {
                    *direction == message.direction
                        && *known == port
                        && !told_apart(*version, message.version)
                });
                if let Some((_, _, _, other)) = clash {
                    let text = format!("port {port} is taken by `{other}`");
                    let help = format!("write port {}, which is free", free_port(messages));
                    self.found.error(diagnostic::PORT_TWICE, port_span(section, form), text, help);
                }
                taken.push((message.direction, port, message.version, message.name.clone()));
            }
        }
    }
}

fn told_apart(one: Version, other: Version) -> bool {
    match (one, other) {
        (Version::Bits { width, value }, Version::Bits { width: other_width, value: other_value }) => {
            width == other_width && value != other_value
        }
        _ => false,
    }
}

fn port_span(section: &MessageSection, form: Form) -> &Range<usize> {
    let short = section.short.as_ref().and_then(|short| short.value.port.as_ref());
    let port = if form == Form::Full { section.port.as_ref() } else { short };
    port.map_or(&section.span, |port| &port.span)
}

fn free_port(messages: &[(String, Option<Message>)]) -> u8 {
    let known = messages.iter().filter_map(|(_, message)| message.as_ref());
    let taken: Vec<u8> = known
        .flat_map(|message| message.forms().into_iter().filter_map(|form| message.port_of(form)))
        .collect();
    PORTS.into_iter().find(|port| !taken.contains(port)).unwrap_or(*PORTS.end())
}

/// What to write so that a message fits so many bytes.
pub(super) fn shorter(message: &Message, most: usize, messages: &[(String, Option<Message>)]) -> String {
    let version = match message.version {
        Version::Port => 0,
        Version::Bits { width, .. } => u32::from(width),
    };
    let mut fields: Vec<_> = message.fields.iter().collect();
    fields.sort_by_key(|field| field.priority);
    let (mut bits, mut kept) = (version, Vec::new());
    for field in fields {
        let wide: u32 = field.parts(Form::Short).into_iter().map(|part| field.codes(part).bits).sum();
        if (bits + wide).div_ceil(8) as usize <= most {
            bits += wide;
            kept.push(field.name.as_str());
        }
    }
    let bytes = bits.div_ceil(8);
    if kept.is_empty() {
        return "no field fits; use faster data rates or narrower fields".to_owned();
    }
    let names = kept.join(", ");
    if message.short.is_some() {
        return format!("let the short form keep less: {names} make {bytes} bytes");
    }
    let port = free_port(messages);
    if kept.len() == message.fields.len() {
        return format!("add `short = {{ port = {port} }}`: without history the message has {bytes} bytes");
    }
    format!(
        "add `short = {{ port = {port} }}` and `priority = 2` to all fields but {names}, which make {bytes} bytes"
    )
}
