//! A certificate for the farm's own network: made once, kept beside the site file, and shown with its fingerprint.

use std::fs;
use std::io::Write as _;
use std::net::{IpAddr, UdpSocket};
use std::path::Path;

use design::serve::Page;
use fast_qr::{ECL, QRBuilder};
use rcgen::{
    CertificateParams, DistinguishedName, DnType, ExtendedKeyUsagePurpose, KeyPair, KeyUsagePurpose,
};
use report::problem::{Failure, Problem};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use sha2::{Digest as _, Sha256};

use super::Settings;
use crate::input::fleet;
use crate::output;

/// It holds so long \[days\]: browsers refuse what holds much longer (two years; own choice).
const HOLDS_DAYS: i64 = 730;

/// Makes the certificate that the site file names, if it is not there, and shows where the page is and how to know it.
pub(crate) fn certificate_here(site: &fleet::Site) -> Result<(), Failure> {
    let settings = Settings::of(site, None)?;
    let Some(page) = &settings.page else {
        let help = "write `page = \"0.0.0.0:8750\"`, `certificate = \"page.pem\"` and `key = \"page.key\"` into [serve]";
        return Err(wrong("the site file has no `page`".to_owned(), help));
    };
    let Some((certificate, key)) = &settings.certificate else {
        let help = "write `certificate = \"page.pem\"` and `key = \"page.key\"` into [serve]; the files are made then";
        return Err(wrong("the site file does not say where its certificate lies".to_owned(), help));
    };
    let address = address(page);
    match (certificate.exists(), key.exists()) {
        (true, true) => {}
        (false, false) => make(page, address, certificate, key)?,
        (is_there, _) => {
            let (there, missing) = if is_there { (certificate, key) } else { (key, certificate) };
            let message = format!("{} is there, and {} is not", there.display(), missing.display());
            return Err(wrong(
                message,
                "put the missing one back, or remove the other; nothing is written over",
            ));
        }
    }
    output::complain(&shown(page, address, certificate)?);
    Ok(())
}

fn wrong(message: String, help: &str) -> Failure {
    Failure::of(Problem::of_file("certificate", "serve.certificate", message, help))
}

/// The address at which this machine is reached.
fn address(page: &Page) -> Option<IpAddr> {
    let listens = page.listen.ip();
    if !listens.is_unspecified() {
        return Some(listens);
    }
    // Nothing is sent: the system says from which of its addresses it would be (RFC 5737, an address of documents).
    let socket = UdpSocket::bind("0.0.0.0:0").and_then(|socket| {
        socket.connect("192.0.2.1:9")?;
        socket.local_addr()
    });
    socket.ok().map(|address| address.ip())
}

fn make(page: &Page, address: Option<IpAddr>, certificate: &Path, key: &Path) -> Result<(), Failure> {
    let names: Vec<String> =
        page.hosts.iter().cloned().chain(address.map(|address| address.to_string())).collect();
    if names.is_empty() {
        let help = "write the names by which browsers call it: `hosts = [\"farm.example\"]` in [serve]";
        return Err(wrong("this machine has no address in a network".to_owned(), help));
    }
    let failed = |error: rcgen::Error| wrong(format!("no certificate can be made: {error}"), "try again");
    let pair = KeyPair::generate().map_err(failed)?;
    let mut params = CertificateParams::new(names).map_err(failed)?;
    let now = time_now()?;
    (params.not_before, params.not_after) = (now - days(1), now + days(HOLDS_DAYS));
    params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    params.distinguished_name = DistinguishedName::new();
    params.distinguished_name.push(DnType::CommonName, "overwinter, the log of a site");
    let made = params.self_signed(&pair).map_err(failed)?;
    // The key first: a certificate without one would be shown to browsers in vain.
    write_private(key, &pair.serialize_pem())?;
    output::write(certificate, &made.pem())
}

fn time_now() -> Result<time::OffsetDateTime, Failure> {
    let seconds = logbook::clock::now() / 1_000_000;
    time::OffsetDateTime::from_unix_timestamp(seconds)
        .map_err(|error| wrong(format!("the clock shows no time: {error}"), "set the computer's clock"))
}

const fn days(days: i64) -> time::Duration {
    time::Duration::days(days)
}

/// A file that its owner alone reads, whole or not there.
fn write_private(path: &Path, text: &str) -> Result<(), Failure> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let written = tempfile::NamedTempFile::new_in(folder).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        file.as_file().sync_all()?;
        file.persist_noclobber(path).map(drop).map_err(|error| error.error)
    });
    written.map_err(|error| {
        let message = format!("{} can't be written: {}", path.display(), output::reason(&error));
        wrong(message, "see who may write into its folder")
    })
}

/// Where the page is, how it is known, and both as a code for a phone.
fn shown(page: &Page, address: Option<IpAddr>, certificate: &Path) -> Result<String, Failure> {
    let unread = |why: String| {
        wrong(format!("{}: {why}", certificate.display()), "remove it and its key, and start again")
    };
    let bytes = fs::read(certificate).map_err(|error| unread(output::reason(&error)))?;
    let der = CertificateDer::from_pem_slice(&bytes).map_err(|error| unread(error.to_string()))?;
    let digits: Vec<String> = Sha256::digest(&der).iter().map(|byte| format!("{byte:02X}")).collect();
    let host = match (page.hosts.first(), address) {
        (Some(host), _) => host.clone(),
        (None, Some(IpAddr::V6(address))) => format!("[{address}]"),
        (None, Some(address)) => address.to_string(),
        (None, None) => "localhost".to_owned(),
    };
    let place = format!("https://{host}:{}/", page.listen.port());
    let code = QRBuilder::new(format!("{place}#sha256={}", digits.concat())).ecl(ECL::L).build();
    let code = code.map(|code| code.to_str() + "\n").map_err(|error| unread(format!("{error:?}")))?;
    Ok(format!(
        "{place}\nSHA-256 {}\n{code}A browser warns of this page once, since nobody else vouches for its certificate: compare the \
         fingerprint that it shows with this one, and trust it if they are the same.\n",
        digits.join(":")
    ))
}
