//! Connections to brokers and servers, as the site file names them.

use std::sync::Arc;

use design::serve::{Broker, SourceTransport};
use logbook::intake::mqtt::{Link, Login, Subscription, Watcher};
use logbook::keys::{self, PassphraseError};
use logbook::store::setup::Site;
use report::problem::Failure;

use super::sources;
use crate::input::fleet;
use crate::output;
use crate::web::pulse::Pulse;
use crate::web::tls;

/// Ports of MQTT in the clear and over TLS (IANA's registry of service names).
const PORTS: (u16, u16) = (1883, 8883);

/// The sources whose messages come by a broker. Processes that share messages are told apart by `own`.
pub(super) fn subscriptions(
    site: &fleet::Site,
    setup: &Site,
    own: &str,
) -> Result<Vec<Subscription>, Failure> {
    let devices = sources::devices(setup);
    let mut all = Vec::new();
    for source in &site.fleet.sources {
        let SourceTransport::Mqtt { broker, topics, share } = &source.transport else { continue };
        let key = format!("source.{}.mqtt", source.name);
        let client = match share {
            Some(_) => format!("overwinter-{}-{}-{own}", word(&site.fleet.name), word(&source.name)),
            None => format!("overwinter-{}-{}", word(&site.fleet.name), word(&source.name)),
        };
        all.push(Subscription {
            name: source.name.clone(),
            link: link(site, &key, broker, client)?,
            topics: topics.clone(),
            share: share.clone(),
            mapping: source.mapping.clone(),
            devices: Arc::clone(&devices),
        });
    }
    Ok(all)
}

/// How a broker is reached.
pub(super) fn link(site: &fleet::Site, key: &str, broker: &Broker, client: String) -> Result<Link, Failure> {
    let wrong = |message: String| site.failure("broker", key, message, "see `mqtt` in docs/log.md");
    let (sealed, rest) = match broker.url.split_once("://") {
        Some(("mqtts", rest)) => (true, rest),
        Some((_, rest)) => (false, rest),
        None => return Err(wrong(format!("`{}` is no address of a broker", broker.url))),
    };
    let authority = rest.split('/').next().unwrap_or_default();
    let usual = if sealed { PORTS.1 } else { PORTS.0 };
    // An address of version 6 stands between brackets, which hold colons.
    let (host, port) = match authority.rsplit_once(':') {
        Some((host, port)) if !port.contains(']') => {
            (host, port.parse().ok().ok_or_else(|| wrong(format!("`{port}` is no port")))?)
        }
        _ => (authority, usual),
    };
    let login = broker.login_file.as_ref().map(|file| login(site, file).map_err(wrong)).transpose()?;
    let ca = broker.ca.as_ref().map(|file| site.folder.join(file));
    let tls = if sealed { Some(tls::client(ca.as_deref()).map_err(wrong)?) } else { None };
    Ok(Link { host: host.trim_matches(['[', ']']).to_owned(), port, login, tls, client })
}

/// Name and password by a file that others can't read.
pub(super) fn login(site: &fleet::Site, file: &str) -> Result<Login, String> {
    let lines = keys::two_lines(&site.folder.join(file));
    let (name, password) = lines.map_err(|error| {
        let why = match &error {
            PassphraseError::Read(error) => format!("it can't be read: {}", output::reason(error)),
            PassphraseError::OpenToOthers { .. } => "others can read it; `chmod 600` it".to_owned(),
            _ => "two lines are wanted, name and password".to_owned(),
        };
        format!("{file}: {why}")
    })?;
    Ok(Login { name, password })
}

/// A name as brokers take it in that of a client: letters and digits.
pub(super) fn word(name: &str) -> String {
    name.chars()
        .map(|letter| if letter.is_ascii_alphanumeric() { letter.to_ascii_lowercase() } else { '-' })
        .collect()
}

/// Says how it goes with a connection.
pub(super) struct Told {
    /// What a person calls it.
    pub(super) name: String,
    /// The source's key, where it is one.
    pub(super) source: String,
    pub(super) pulse: Arc<Pulse>,
}

impl Watcher for Told {
    fn connection(&self, state: Result<(), String>) {
        let text = match &state {
            Ok(()) => format!("{}: connected\n", self.name),
            Err(why) => format!("{}: {why}; it is tried again and again\n", self.name),
        };
        if self.pulse.connection(&self.name, state) {
            output::complain(&text);
        }
    }

    fn skipped(&self) {
        self.pulse.skipped(&self.source);
    }
}
