//! Requests to servers that the site file names. A server that names another address is not followed.

use std::sync::Arc;

use bytes::Bytes;
use http_body_util::{BodyExt as _, Full, Limited};
use hyper::client::conn::http1;
use hyper::header::HOST;
use hyper::http::request::Builder;
use hyper::{Method, Request, StatusCode, Uri};
use hyper_util::rt::TokioIo;
use rustls::ClientConfig;
use rustls::pki_types::ServerName;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;

use crate::output;

/// What a server says in its answer is not read beyond this.
const LARGEST_ANSWER: usize = 65_536;

/// A request to an address, as far as the address says it.
pub(super) fn request(method: Method, uri: &Uri) -> Result<Builder, String> {
    let host = host(uri)?;
    let path = uri.path_and_query().map_or("/", |path| path.as_str());
    let authority = uri.authority().map_or(host, |authority| authority.as_str());
    Ok(Request::builder().method(method).uri(path).header(HOST, authority))
}

/// Asks a server; what it says beside its status is not looked at.
pub(super) async fn ask(
    uri: &Uri,
    tls: Option<&Arc<ClientConfig>>,
    request: Request<Full<Bytes>>,
) -> Result<StatusCode, String> {
    let host = host(uri)?;
    let port = uri.port_u16().unwrap_or(if tls.is_some() { 443 } else { 80 });
    let stream = TcpStream::connect((host, port)).await.map_err(|error| output::reason(&error))?;
    match tls {
        None => exchange(stream, request).await,
        Some(tls) => {
            let name = ServerName::try_from(host.to_owned()).map_err(|error| error.to_string())?;
            let stream = TlsConnector::from(Arc::clone(tls)).connect(name, stream).await;
            exchange(stream.map_err(|error| error.to_string())?, request).await
        }
    }
}

fn host(uri: &Uri) -> Result<&str, String> {
    Ok(uri.host().ok_or("the address has no host")?.trim_matches(['[', ']']))
}

async fn exchange<S: AsyncRead + AsyncWrite + Unpin + Send + 'static>(
    stream: S,
    request: Request<Full<Bytes>>,
) -> Result<StatusCode, String> {
    let begun = http1::handshake(TokioIo::new(stream)).await.map_err(|error| error.to_string())?;
    let (mut sender, connection) = begun;
    // It ends with the answer, or with its failure, which the answer tells.
    let carried = tokio::spawn(connection);
    let answer = sender.send_request(request).await.map_err(|error| error.to_string())?;
    let status = answer.status();
    let _unread = Limited::new(answer.into_body(), LARGEST_ANSWER).collect().await;
    carried.abort();
    Ok(status)
}
