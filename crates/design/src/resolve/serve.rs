//! The log's keys, checked against each other.

use crate::diagnostic::{self, Diagnostics};
use crate::file::message::Decimal;
use crate::file::serve::{
    BasemapSection, OnwardHttpSection, OnwardMqttSection, OnwardSection, OutletSection, ServeGatewaysSection,
    ServeSection, SourceMqttSection, SourceSection, ValuesByMessage,
};
use crate::file::value::{Listen, Named};
use crate::section::At;
use crate::section::defaults;
use crate::serve::{
    Basemap, Broker, GatewayIntake, MappedContent, MappedPort, MappedValue, Mapping, Onward, OnwardTransport,
    Outlet, Page, ReadingForm, Serve, Source, SourceTransport, Store, Websocket,
};
use core::net::SocketAddr;
use std::ops::Range;

/// Whole seconds by rounding may be off by so much \[s\].
const WHOLE_S: f64 = 1e-9;

/// How `serve` works; `None` only after an error was noted.
pub(crate) fn serve(section: &ServeSection, found: &mut Diagnostics) -> Option<Serve> {
    let file = text(section.log.as_ref());
    if let (Some(_), Some(postgres)) = (&section.log, &section.postgres) {
        one_of(&postgres.span, "`log` and `postgres` name two places for one log", found);
    }
    let sealing = sealing(section, found)?;
    Some(Serve {
        store: text(section.postgres.as_ref()).map_or(Store::File(file), Store::Postgres),
        passphrase_file: text(section.passphrase_file.as_ref()),
        page: page(section, &sealing, found)?,
        foreign: section.foreign.as_ref()?.value.0,
        gateways: match &section.gateways {
            Some(gateways) => self::gateways(&gateways.value, &sealing, found)?,
            None => gateways(&defaults(&section.span).value, &sealing, found)?,
        },
    })
}

/// What seals the addresses that are listened on.
struct Sealing {
    certificate: Option<(String, String)>,
    behind_proxy: bool,
}

impl Sealing {
    /// An address that is sealed, or stays on this machine; else an error is noted, beginning with what would be open.
    fn address(
        &self,
        listen: &At<Listen>,
        what: &str,
        usual: &str,
        found: &mut Diagnostics,
    ) -> Option<SocketAddr> {
        let address = listen.value.0;
        if address.ip().is_loopback() || self.certificate.is_some() || self.behind_proxy {
            return Some(address);
        }
        let message = format!("{what} in the clear beyond this machine");
        let help = format!(
            "write `certificate` and `key` into [serve], or `behind_proxy = true` if something before it does TLS, or \
             listen on \"{usual}\""
        );
        found.error(diagnostic::ADDRESS, &listen.span, message, help);
        None
    }
}

fn sealing(section: &ServeSection, found: &mut Diagnostics) -> Option<Sealing> {
    let certificate = match (&section.certificate, &section.key) {
        (Some(certificate), Some(key)) => Some((certificate.value.clone(), key.value.clone())),
        (None, None) => None,
        (Some(alone), None) | (None, Some(alone)) => {
            one_of(&alone.span, "`certificate` and `key` belong together", found);
            return None;
        }
    };
    Some(Sealing { certificate, behind_proxy: section.behind_proxy.as_ref()?.value })
}

/// `None` after an error. The origin goes into the policy of every page, so nothing but a host and a port may stand there.
fn basemap(section: &BasemapSection, found: &mut Diagnostics) -> Option<Basemap> {
    let tiles = section.tiles.as_ref()?;
    let basemap = Basemap {
        tiles: tiles.value.clone(),
        // Of a level beyond its range an error was noted.
        finest: u8::try_from(section.finest.as_ref()?.value).ok()?,
        credit: text(section.credit.as_ref()),
    };
    let host = ["https://", "http://"].into_iter().find_map(|scheme| basemap.origin().strip_prefix(scheme));
    if !host.is_some_and(is_host) || !["{z}", "{x}", "{y}"].iter().all(|part| tiles.value.contains(part)) {
        let message = "the address of tiles has a host, and a place for level, column and row";
        let help = "write it as \"https://tiles.larkmoor.example/{z}/{x}/{y}.png\"";
        found.error(diagnostic::ADDRESS, &tiles.span, message, help);
        return None;
    }
    Some(basemap)
}

/// Whether a policy takes it as the source of pictures: labels of letters, digits and dashes, and perhaps a port. Numbers in
/// brackets it does not know (W3C, Content Security Policy Level 3, section 2.3.1, `host-source`).
fn is_host(host: &str) -> bool {
    let (name, port) = host.split_once(':').unwrap_or((host, "443"));
    let is_label = |label: &str| {
        !label.is_empty() && label.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
    };
    name.split('.').all(is_label) && port.parse::<u16>().is_ok()
}

/// `None` after an error; the page itself may be absent.
#[expect(clippy::option_option, reason = "a page may be absent, which is no error")]
fn page(section: &ServeSection, sealing: &Sealing, found: &mut Diagnostics) -> Option<Option<Page>> {
    let Some(listen) = &section.page else { return Some(None) };
    let listen = sealing.address(listen, "the page would be read", "127.0.0.1:8750", found)?;
    let Sealing { certificate, behind_proxy } = sealing;
    let hosts = section.hosts.iter().flat_map(|hosts| &hosts.value).map(|host| host.value.clone());
    let (certificate, behind_proxy, hosts) = (certificate.clone(), *behind_proxy, hosts.collect());
    let basemap = match &section.basemap {
        Some(basemap) => Some(self::basemap(&basemap.value, found)?),
        None => None,
    };
    Some(Some(Page { listen, certificate, behind_proxy, hosts, basemap }))
}

fn gateways(
    section: &ServeGatewaysSection,
    sealing: &Sealing,
    found: &mut Diagnostics,
) -> Option<GatewayIntake> {
    let websocket = match &section.websocket {
        Some(listen) => Some(Websocket {
            listen: sealing.address(listen, "gateways would speak", "127.0.0.1:8752", found)?,
            certificate: sealing.certificate.clone(),
            behind_proxy: sealing.behind_proxy,
        }),
        None => None,
    };
    let delay = section.rx1_delay.as_ref()?;
    let seconds = delay.value.seconds();
    if (seconds - seconds.round()).abs() > WHOLE_S {
        let message = "nodes are told the delay of the first window in whole seconds";
        found.error(diagnostic::OUT_OF_RANGE, &delay.span, message, "write \"1 s\" to \"15 s\"");
        return None;
    }
    Some(GatewayIntake {
        udp: section.udp.as_ref().map(|at| at.value.0),
        websocket,
        answers: section.answers.as_ref()?.value,
        gather: section.gather.as_ref()?.value,
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 15 by its rule")]
        rx1_delay_s: seconds.round() as u8,
    })
}

/// The sources in the order of the file; those with an error are left out, and the error is noted.
pub(crate) fn sources(named: Option<&At<Named<SourceSection>>>, found: &mut Diagnostics) -> Vec<Source> {
    let sections = named.iter().flat_map(|at| &at.value.0);
    let read = sections.filter_map(|(name, section)| {
        let transport = source_transport(section, found);
        let mapping = mapping(section, found);
        let outlet = match &section.outlet {
            Some(outlet) => Some(self::outlet(&outlet.value, found)?),
            None => None,
        };
        Some(Source { name: name.value.clone(), transport: transport?, mapping: mapping?, outlet })
    });
    read.collect()
}

fn outlet(section: &OutletSection, found: &mut Diagnostics) -> Option<Outlet> {
    let transport = match (&section.mqtt, &section.http) {
        (Some(mqtt), None) => {
            let mqtt = &mqtt.value;
            let broker = broker(mqtt.broker.as_ref()?, (&mqtt.login_file, &mqtt.ca), found)?;
            to_topic(broker, mqtt.topic.as_ref()?, "fields/{dev_eui}/down", found)?
        }
        (None, Some(http)) => to_server(&http.value, found)?,
        _ => {
            if !section.unreadable.contains(&"mqtt") && !section.unreadable.contains(&"http") {
                one_of(&section.span, "what nodes are told leaves by one of `mqtt` and `http`", found);
            }
            return None;
        }
    };
    Some(Outlet { transport, template: section.template.as_ref()?.value.clone() })
}

fn source_transport(section: &SourceSection, found: &mut Diagnostics) -> Option<SourceTransport> {
    match (&section.mqtt, &section.http, &section.csv) {
        (Some(mqtt), None, None) => source_mqtt(&mqtt.value, found),
        (None, Some(http), None) => {
            let path = http.value.path.as_ref()?;
            if !path.value.starts_with('/') || path.value.contains(['?', '#', ' ']) {
                let help = "write it as \"/in/fields\"";
                found.error(diagnostic::ADDRESS, &path.span, "a path begins with `/` and has no query", help);
                return None;
            }
            let token_file = text(http.value.token_file.as_ref())?;
            Some(SourceTransport::Http { path: path.value.clone(), token_file })
        }
        (None, None, Some(csv)) => Some(SourceTransport::Csv { file: text(csv.value.file.as_ref())? }),
        _ => {
            let unread = |key| section.unreadable.contains(&key);
            if !unread("mqtt") && !unread("http") && !unread("csv") {
                one_of(&section.span, "a source comes by one of `mqtt`, `http` and `csv`", found);
            }
            None
        }
    }
}

fn source_mqtt(section: &SourceMqttSection, found: &mut Diagnostics) -> Option<SourceTransport> {
    let broker = broker(section.broker.as_ref()?, (&section.login_file, &section.ca), found)?;
    let topics = section.topics.as_ref()?;
    let wrong = topics.value.iter().find(|topic| !is_filter(&topic.value));
    let span = wrong.map(|topic| &topic.span).or_else(|| topics.value.is_empty().then_some(&topics.span));
    if let Some(span) = span {
        let message = "nothing can be subscribed to by this";
        let help = "write topics as \"fields/+/up\" or \"fields/#\": `+` is a whole level, `#` the last one";
        found.error(diagnostic::ADDRESS, span, message, help);
        return None;
    }
    let topics = topics.value.iter().map(|topic| topic.value.clone()).collect();
    Some(SourceTransport::Mqtt { broker, topics, share: text(section.share.as_ref()) })
}

/// MQTT 5.0, clause 4.7.1: wildcards fill a level, `#` the last one.
fn is_filter(topic: &str) -> bool {
    let levels: Vec<&str> = topic.split('/').collect();
    levels.iter().enumerate().all(|(at, level)| match *level {
        "+" => true,
        "#" => at + 1 == levels.len(),
        plain => !plain.contains(['+', '#']),
    })
}

/// What its uplinks carry.
fn content(section: &SourceSection, found: &mut Diagnostics) -> Option<MappedContent> {
    match (&section.payload, &section.values) {
        (Some(payload), None) => Some(MappedContent::Payload {
            port: port(section, found)?,
            at: payload.value.at.as_ref()?.value.clone(),
            form: payload.value.is.as_ref()?.value,
        }),
        (None, Some(values)) if section.port.is_none() && section.port_is.is_none() => {
            values_of(&values.value, &values.span, found)
        }
        _ => {
            if !section.unreadable.contains(&"payload") && !section.unreadable.contains(&"values") {
                let message =
                    "a source has either `payload` with `port` or `port_is`, or `values` with no port";
                one_of(&section.span, message, found);
            }
            None
        }
    }
}

fn values_of(
    values: &ValuesByMessage,
    span: &Range<usize>,
    found: &mut Diagnostics,
) -> Option<MappedContent> {
    let mut all = Vec::new();
    for (message, fields) in &values.0 {
        for (column, value) in &fields.0 {
            let one = Decimal { digits: 1, places: 0 };
            let step = value.step.as_ref().map_or(one, |step| step.value);
            let offset =
                value.offset.as_ref().map_or(Decimal { digits: 0, places: 0 }, |offset| offset.value);
            if step.digits == 0 {
                let help = "write what one is worth, as `0.1`";
                let span = value.step.as_ref().map_or(&column.span, |step| &step.span);
                found.error(diagnostic::FIELD_RESOLUTION, span, "one is worth nothing", help);
                return None;
            }
            let places = step.places.max(offset.places);
            let whole = |number: i128| i64::try_from(number).ok();
            all.push(MappedValue {
                message: message.value.clone(),
                column: column.value.clone(),
                at: value.at.as_ref()?.value.clone(),
                numerator: whole(step.scaled(places))?,
                offset: whole(offset.scaled(places))?,
                denominator: whole(10_i128.pow(places))?,
            });
        }
    }
    if all.is_empty() {
        one_of(span, "`values` names no field of a message", found);
        return None;
    }
    Some(MappedContent::Values(all))
}

fn port(section: &SourceSection, found: &mut Diagnostics) -> Option<MappedPort> {
    match (&section.port, &section.port_is) {
        (Some(port), None) => Some(MappedPort::At(port.value.clone())),
        (None, Some(port)) => Some(MappedPort::Is(u8::try_from(port.value).ok()?)),
        _ => {
            if !section.unreadable.contains(&"port") && !section.unreadable.contains(&"port_is") {
                one_of(&section.span, "a source has one of `port` and `port_is`", found);
            }
            None
        }
    }
}

fn mapping(section: &SourceSection, found: &mut Diagnostics) -> Option<Mapping> {
    let content = content(section, found)?;
    let time = match &section.time {
        Some(time) => Some((time.value.at.as_ref()?.value.clone(), time.value.is.as_ref()?.value)),
        None => None,
    };
    let only_if = match &section.only_if {
        Some(only) => {
            Some((only.value.at.as_ref()?.value.clone(), only.value.equals.as_ref()?.value.clone()))
        }
        None => None,
    };
    Some(Mapping {
        each: text(section.each.as_ref()),
        only_if,
        device: section.device.as_ref()?.value.clone(),
        names: section.names.as_ref()?.value,
        counter: text(section.counter.as_ref()),
        content,
        time,
        rssi: text(section.rssi.as_ref()),
        snr: text(section.snr.as_ref()),
    })
}

/// Where readings are handed on, in the order of the file.
pub(crate) fn onward(named: Option<&At<Named<OnwardSection>>>, found: &mut Diagnostics) -> Vec<Onward> {
    let sections = named.iter().flat_map(|at| &at.value.0);
    let read = sections.filter_map(|(name, section)| {
        let transport = onward_transport(section, found);
        let template = text(section.template.as_ref());
        if (section.body.as_ref()?.value == ReadingForm::Template) != template.is_some() {
            one_of(&section.span, "`template` names a file exactly where `body` is \"template\"", found);
            return None;
        }
        Some(Onward { name: name.value.clone(), transport: transport?, template })
    });
    read.collect()
}

fn onward_transport(section: &OnwardSection, found: &mut Diagnostics) -> Option<OnwardTransport> {
    match (&section.mqtt, &section.http) {
        (Some(mqtt), None) => onward_mqtt(&mqtt.value, found),
        (None, Some(http)) => to_server(&http.value, found),
        _ => {
            if !section.unreadable.contains(&"mqtt") && !section.unreadable.contains(&"http") {
                one_of(&section.span, "readings leave by one of `mqtt` and `http`", found);
            }
            None
        }
    }
}

fn onward_mqtt(section: &OnwardMqttSection, found: &mut Diagnostics) -> Option<OnwardTransport> {
    let broker = broker(section.broker.as_ref()?, (&section.login_file, &section.ca), found)?;
    to_topic(broker, section.topic.as_ref()?, "overwinter/{site}/{node}/reading", found)
}

/// A broker by its address, and the files of name and password and of the certificates that are trusted.
fn broker(
    url: &At<String>,
    (login_file, ca): (&Option<At<String>>, &Option<At<String>>),
    found: &mut Diagnostics,
) -> Option<Broker> {
    let url = address(url, ["mqtts://", "mqtt://"], found)?;
    Some(Broker { url, login_file: text(login_file.as_ref()), ca: text(ca.as_ref()) })
}

fn to_topic(
    broker: Broker,
    topic: &At<String>,
    usual: &str,
    found: &mut Diagnostics,
) -> Option<OnwardTransport> {
    if topic.value.contains(['+', '#']) {
        let help = format!("write a topic without `+` and `#`, as \"{usual}\"");
        found.error(diagnostic::ADDRESS, &topic.span, "nothing can be sent to several topics at once", help);
        return None;
    }
    Some(OnwardTransport::Mqtt { broker, topic: topic.value.clone() })
}

fn to_server(section: &OnwardHttpSection, found: &mut Diagnostics) -> Option<OnwardTransport> {
    Some(OnwardTransport::Http {
        url: address(section.url.as_ref()?, ["https://", "http://"], found)?,
        token_file: text(section.token_file.as_ref()),
        ca: text(section.ca.as_ref()),
    })
}

/// An address with one of two schemes, of which the second travels in the clear and stays on this machine.
pub(super) fn address(
    at: &At<String>,
    [sealed, clear]: [&str; 2],
    found: &mut Diagnostics,
) -> Option<String> {
    let host = |scheme: &str| {
        let rest = at.value.strip_prefix(scheme)?;
        let authority = rest.split('/').next().filter(|authority| !authority.is_empty())?;
        (!authority.contains(['@', ' '])).then_some(authority)
    };
    let on_this_machine = |authority: &str| {
        ["127.0.0.1", "localhost", "[::1]"].iter().any(|name| {
            authority.strip_prefix(name).is_some_and(|port| port.is_empty() || port.starts_with(':'))
        })
    };
    if host(sealed).is_some() || host(clear).is_some_and(on_this_machine) {
        return Some(at.value.clone());
    }
    let message = if host(clear).is_some() {
        format!("`{clear}` travels in the clear beyond this machine")
    } else {
        "the address can't be used; names and passwords never stand in it".to_owned()
    };
    let help = format!("write \"{sealed}HOST:PORT\"; \"{clear}127.0.0.1:PORT\" only on this machine");
    found.error(diagnostic::ADDRESS, &at.span, message, help);
    None
}

pub(super) fn one_of(span: &Range<usize>, message: &str, found: &mut Diagnostics) {
    found.error(diagnostic::ONE_OF, span, message, "see the manual, docs/design-file.md");
}

pub(super) fn text<T: Clone>(written: Option<&At<T>>) -> Option<T> {
    written.map(|at| at.value.clone())
}
