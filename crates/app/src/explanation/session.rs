//! The keys of one session: as they were noted down, or as a join that was captured yields them with the key box.

use std::fs;
use std::path::Path;

use logbook::bounded;
use logbook::keys::KeyBox;
use report::problem::{Failure, Problem};
use serde::Deserialize;
use wire::frame::{self, DataFrame, Frame, Verified};
use wire::identity::DevAddr;
use wire::key::{AppSKey, NwkSKey};
use wire::session::{Session, SessionKeys};
use zeroize::Zeroizing;

use crate::output::reason;

/// Such a file has a few lines.
const LARGEST_BYTES: u64 = 4096;
/// Epochs of the counter that are tried where the last one is not known: four million frames.
const EPOCHS: u32 = 64;
const HOW: &str = "write dev_addr, nwk_s_key and app_s_key, or join_request and join_accept with the registry and its key box";

/// A session and the counter that was last seen in it, if that is known.
pub(crate) struct Known {
    session: Session,
    last_counter: Option<u32>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    dev_addr: Option<String>,
    nwk_s_key: Option<Secret>,
    app_s_key: Option<Secret>,
    last_counter: Option<u32>,
    join_request: Option<String>,
    join_accept: Option<String>,
}

/// Text that is wiped.
#[derive(Deserialize)]
#[serde(from = "String")]
struct Secret(Zeroizing<String>);

impl From<String> for Secret {
    fn from(text: String) -> Self {
        Self(Zeroizing::new(text))
    }
}

/// Reads a session from a file that only its owner can read.
pub(crate) fn session(path: &Path, keys: Option<&KeyBox>) -> Result<Known, Failure> {
    let fail = |message: String, help: &str| {
        Failure::of(Problem::of_file("session", &path.to_string_lossy(), message, help))
    };
    let text = read(path).map_err(|(message, help)| fail(message, help))?;
    // The error of the parser would repeat a line with a key in it.
    let written: Written =
        toml::from_str(&text).map_err(|_secret| fail("this is no session".to_owned(), HOW))?;
    let last_counter = written.last_counter;
    let session = match written {
        Written {
            dev_addr: Some(address),
            nwk_s_key: Some(network),
            app_s_key: Some(application),
            join_request: None,
            join_accept: None,
            ..
        } => {
            let wrong = |error: &dyn std::fmt::Display| fail(error.to_string(), HOW);
            Session::new(
                DevAddr::from_display(&address).map_err(|error| wrong(&error))?,
                &NwkSKey::from_hex(&network.0).map_err(|error| wrong(&error))?,
                &AppSKey::from_hex(&application.0).map_err(|error| wrong(&error))?,
            )
        }
        Written {
            dev_addr: None,
            nwk_s_key: None,
            app_s_key: None,
            join_request: Some(request),
            join_accept: Some(accept),
            ..
        } => {
            let keys = keys.ok_or_else(|| {
                fail(
                    "a join yields its keys only with the key box".to_owned(),
                    "give --registry and --passphrase-file too",
                )
            })?;
            joined(&request, &accept, keys).ok_or_else(|| {
                fail(
                    "these two frames are no join of a node whose key is in the box".to_owned(),
                    "give request and answer of one join, whole and as hex",
                )
            })?
        }
        _ => return Err(fail("the session is not whole, or stands here twice".to_owned(), HOW)),
    };
    Ok(Known { session, last_counter })
}

fn read(path: &Path) -> Result<Zeroizing<String>, (String, &'static str)> {
    let help = "give a file that you can read";
    let unreadable = |error: std::io::Error| (format!("the file can't be read: {}", reason(&error)), help);
    let found = fs::metadata(path).map_err(unreadable)?;
    if !found.is_file() || found.len() > LARGEST_BYTES {
        return Err(("this is no file of a few lines".to_owned(), HOW));
    }
    #[cfg(unix)]
    if std::os::unix::fs::PermissionsExt::mode(&found.permissions()) & 0o077 != 0 {
        return Err((
            "others can read this file, and it holds keys".to_owned(),
            "take the right away with `chmod 600`",
        ));
    }
    bounded::read_text(path, LARGEST_BYTES).map(Zeroizing::new).map_err(unreadable)
}

/// The session that a join opens, if one of the keys made both frames.
fn joined(request: &str, accept: &str, keys: &KeyBox) -> Option<Session> {
    let (request, accept) = (super::hex(request)?, super::hex(accept)?);
    let (Ok(Frame::JoinRequest(request)), Ok(Frame::JoinAccept(accept))) =
        (frame::parse(&request), frame::parse(&accept))
    else {
        return None;
    };
    keys.keys().find_map(|(_, key)| {
        let asked = request.verify(key).ok()?;
        let granted = accept.decrypt(key).ok()?;
        let made = SessionKeys::derive(key, granted.join_nonce, granted.net_id, asked.dev_nonce());
        Some(Session::new(granted.dev_addr, &made.nwk_s_key, &made.app_s_key))
    })
}

impl Known {
    /// The frame, if this session made it.
    pub(crate) fn verify<'a>(&self, frame: &DataFrame<'a>) -> Option<Verified<'a, '_>> {
        match self.last_counter {
            Some(last) => frame.verify(&self.session, Some(last)).ok(),
            None => {
                (0..EPOCHS).find_map(|epoch| frame.verify(&self.session, (epoch << 16).checked_sub(1)).ok())
            }
        }
    }
}
