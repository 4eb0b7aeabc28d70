//! Certificates and keys, as PEM files.

use std::io;
use std::path::Path;
use std::sync::Arc;

use rustls::pki_types::pem::{self, PemObject as _};
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ClientConfig, RootCertStore, ServerConfig, crypto};

/// The one provider of cryptography.
pub(crate) fn provider() -> Arc<crypto::CryptoProvider> {
    Arc::new(crypto::ring::default_provider())
}

/// What shows a certificate to those who connect.
pub(crate) fn server(certificate: &Path, key: &Path) -> Result<Arc<ServerConfig>, String> {
    let chain: Vec<CertificateDer<'static>> = certificates(certificate)?;
    let key = PrivateKeyDer::from_pem_file(key).map_err(|error| in_words(key, &error))?;
    let config = ServerConfig::builder_with_provider(provider())
        .with_safe_default_protocol_versions()
        .map_err(|error| error.to_string())?
        .with_no_client_auth()
        .with_single_cert(chain, key)
        .map_err(|error| format!("certificate and key do not belong together: {error}"))?;
    Ok(Arc::new(config))
}

/// The certificates of a file, at least one.
fn certificates(path: &Path) -> Result<Vec<CertificateDer<'static>>, String> {
    let all = CertificateDer::pem_file_iter(path).and_then(Iterator::collect);
    let all: Vec<_> = all.map_err(|error| in_words(path, &error))?;
    if all.is_empty() { Err(format!("{} holds no certificate", path.display())) } else { Ok(all) }
}

/// What trusts the certificates of a file, or those of the system.
pub(crate) fn client(ca: Option<&Path>) -> Result<Arc<ClientConfig>, String> {
    let mut roots = RootCertStore::empty();
    if let Some(path) = ca {
        for certificate in certificates(path)? {
            roots.add(certificate).map_err(|error| format!("{}: {error}", path.display()))?;
        }
    } else {
        // One that can't be read is one that is not trusted.
        roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    }
    if roots.is_empty() {
        return Err("the system trusts no certificates; name a file as `ca`".to_owned());
    }
    let config = ClientConfig::builder_with_provider(provider())
        .with_safe_default_protocol_versions()
        .map_err(|error| error.to_string())?
        .with_root_certificates(roots)
        .with_no_client_auth();
    Ok(Arc::new(config))
}

fn in_words(path: &Path, error: &pem::Error) -> String {
    let why = match error {
        pem::Error::Io(error) if error.kind() == io::ErrorKind::NotFound => {
            "there is no such file".to_owned()
        }
        pem::Error::NoItemsFound => "it holds none in PEM".to_owned(),
        other => other.to_string().to_lowercase(),
    };
    format!("{}: {why}", path.display())
}
