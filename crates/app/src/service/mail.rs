//! Mail to those who are told of alarms.

use std::time::Duration;

use design::watch::Mail;
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Mailbox, Message};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, CertificateStore, Tls, TlsParameters};
use lettre::{SmtpTransport, Transport as _};
use report::problem::Failure;

use super::links;
use crate::input::fleet;
use crate::output;

/// Ports of submission over TLS at once and by STARTTLS (RFC 8314).
const PORTS: (u16, u16) = (465, 587);
/// A server must have taken the mail by then.
const SLOWEST: Duration = Duration::from_secs(30);

/// How mail goes to those who get it.
pub(super) struct Post {
    server: SmtpTransport,
    from: Mailbox,
    to: Vec<Mailbox>,
}

impl Post {
    /// As the site file says it.
    pub(super) fn of(site: &fleet::Site, key: &str, mail: &Mail) -> Result<Self, Failure> {
        let wrong = |message: String| site.failure("tell", key, message, "see \"Alarms\" in docs/log.md");
        let (sealed, authority) = match mail.server.split_once("://") {
            Some(("smtps", rest)) => (true, rest.trim_end_matches('/')),
            Some((_, rest)) => (false, rest.trim_end_matches('/')),
            None => return Err(wrong(format!("`{}` is no address of a server", mail.server))),
        };
        let usual = if mail.starttls { PORTS.1 } else { PORTS.0 };
        let (host, port) = match authority.rsplit_once(':') {
            Some((host, port)) if !port.contains(']') => {
                (host, port.parse().map_err(|_no_number| wrong(format!("`{port}` is no port")))?)
            }
            _ => (authority, usual),
        };
        let host = host.trim_matches(['[', ']']);
        let tls = if sealed || mail.starttls {
            let parameters = tls(site, host, mail.ca.as_deref()).map_err(wrong)?;
            if mail.starttls { Tls::Required(parameters) } else { Tls::Wrapper(parameters) }
        } else {
            Tls::None
        };
        let mut server = SmtpTransport::builder_dangerous(host).port(port).tls(tls).timeout(Some(SLOWEST));
        if let Some(file) = &mail.login_file {
            let login = links::login(site, file).map_err(wrong)?;
            server = server.credentials(Credentials::new(login.name, login.password.to_string()));
        }
        let mailbox = |address: &String| {
            address.parse::<Mailbox>().map_err(|error| wrong(format!("`{address}`: {error}")))
        };
        let to = mail.to.iter().map(mailbox).collect::<Result<_, _>>()?;
        Ok(Self { server: server.build(), from: mailbox(&mail.from)?, to })
    }

    /// Hands a mail to the server, and waits for its answer; the number makes one of what is sent twice.
    pub(super) fn send(&self, id: &str, subject: &str, text: String) -> Result<String, String> {
        let host = self.from.email.domain();
        let mut mail = Message::builder()
            .from(self.from.clone())
            .message_id(Some(format!("<{id}@{host}>")))
            .subject(subject)
            .header(ContentType::TEXT_PLAIN);
        for to in &self.to {
            mail = mail.to(to.clone());
        }
        let mut mail = mail.body(text).map_err(|error| error.to_string())?;
        // RFC 3834: nobody who is away answers it.
        let header = HeaderName::new_from_ascii_str("Auto-Submitted");
        mail.headers_mut().insert_raw(HeaderValue::new(header, "auto-generated".to_owned()));
        let answer = self.server.send(&mail).map_err(|error| in_words(&error))?;
        let said: Vec<&str> = answer.message().collect();
        Ok(format!("{} {}", answer.code(), said.join(" ")))
    }
}

fn tls(site: &fleet::Site, host: &str, ca: Option<&str>) -> Result<TlsParameters, String> {
    let mut parameters = TlsParameters::builder(host.to_owned());
    if let Some(file) = ca {
        let pem = std::fs::read(site.folder.join(file));
        let pem = pem.map_err(|error| format!("{file}: {}", output::reason(&error)))?;
        let certificate = Certificate::from_pem(&pem).map_err(|error| format!("{file}: {error}"))?;
        parameters = parameters.certificate_store(CertificateStore::None).add_root_certificate(certificate);
    }
    parameters.build().map_err(|error| error.to_string())
}

/// An error with what lies behind it, which says more.
fn in_words(error: &dyn std::error::Error) -> String {
    let mut words = error.to_string();
    let mut behind = error.source();
    while let Some(error) = behind {
        let more = error.to_string();
        if !words.contains(&more) {
            words = format!("{words}: {more}");
        }
        behind = error.source();
    }
    words
}
