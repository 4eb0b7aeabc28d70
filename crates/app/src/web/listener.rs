//! The socket: connections taken, secured, served, and ended when the program stops.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use hyper::Request;
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::{Service as _, service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use rustls::ServerConfig;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, watch};
use tokio::task::{JoinHandle, JoinSet};
use tokio::time::{sleep, timeout};
use tokio_rustls::TlsAcceptor;

use super::patience::Patience;
use super::pulse::stopped;
use super::who::Peer;

/// Connections at once (own choice: many times what a site has of pages and senders).
const MOST_CONNECTIONS: usize = 512;
/// To agree on keys, or to send the head of a request.
const SLOWEST_BEGINNING: Duration = Duration::from_secs(10);
/// A reader that takes nothing for so long is given up; it comes again and resumes.
const SLOWEST_READER: Duration = Duration::from_secs(20);
/// Answers that are being written when the program stops may end within this time.
const LAST_WORDS: Duration = Duration::from_millis(700);
/// No connection could be taken, mostly because files are short: others may end meanwhile.
const NEXT_TRY: Duration = Duration::from_millis(200);

/// An address that is listened on.
pub(crate) struct Doorway {
    socket: TcpListener,
    tls: Option<Arc<ServerConfig>>,
}

/// What listens, until it is stopped.
#[derive(Debug)]
pub(crate) struct Listening {
    task: JoinHandle<()>,
}

impl Doorway {
    /// Takes an address.
    pub(crate) async fn open(address: SocketAddr, tls: Option<Arc<ServerConfig>>) -> io::Result<Self> {
        Ok(Self { socket: TcpListener::bind(address).await?, tls })
    }

    /// Where it listens.
    pub(crate) fn address(&self) -> io::Result<SocketAddr> {
        self.socket.local_addr()
    }

    /// Whether what is said is sealed.
    pub(crate) const fn is_sealed(&self) -> bool {
        self.tls.is_some()
    }

    /// Serves routes until the program stops.
    pub(crate) fn serve(self, routes: Router, mut stopping: watch::Receiver<bool>) -> Listening {
        let task = tokio::spawn(async move {
            let mut connections = JoinSet::new();
            let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
            let acceptor = self.tls.clone().map(TlsAcceptor::from);
            loop {
                let taken = tokio::select! {
                    () = stopped(&mut stopping) => break,
                    Some(_) = connections.join_next(), if !connections.is_empty() => continue,
                    taken = take(&self.socket, &room) => taken,
                };
                let (stream, peer, place) = taken;
                let (routes, acceptor, stopping) = (routes.clone(), acceptor.clone(), stopping.clone());
                connections.spawn(async move {
                    let _place = place;
                    match acceptor {
                        None => connection(stream, peer, routes, stopping).await,
                        Some(acceptor) => {
                            if let Ok(Ok(stream)) = timeout(SLOWEST_BEGINNING, acceptor.accept(stream)).await
                            {
                                connection(stream, peer, routes, stopping).await;
                            }
                        }
                    }
                });
            }
            drop(self.socket);
            let _late = timeout(LAST_WORDS, async { while connections.join_next().await.is_some() {} }).await;
            connections.shutdown().await;
        });
        Listening { task }
    }
}

impl Listening {
    /// Waits until all connections have ended; they do soon after the program was asked to stop.
    pub(crate) async fn ended(self) {
        // It ends by itself, and does not fail.
        let _ended = self.task.await;
    }
}

/// The next connection, once there is a place for it.
async fn take(
    socket: &TcpListener,
    room: &Arc<Semaphore>,
) -> (tokio::net::TcpStream, Peer, tokio::sync::OwnedSemaphorePermit) {
    loop {
        let place = Arc::clone(room).acquire_owned().await.expect("it is never closed");
        match socket.accept().await {
            Ok((stream, address)) => {
                // Without it answers still come, a little later.
                let _slower = stream.set_nodelay(true);
                return (stream, Peer(address.ip()), place);
            }
            Err(_) => sleep(NEXT_TRY).await,
        }
    }
}

async fn connection<S: AsyncRead + AsyncWrite + Unpin + Send + 'static>(
    stream: S,
    peer: Peer,
    routes: Router,
    mut stopping: watch::Receiver<bool>,
) {
    let stream = TokioIo::new(Patience::new(stream, SLOWEST_READER));
    let routes = TowerToHyperService::new(routes);
    let from_there = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(peer);
        routes.call(request)
    });
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(SLOWEST_BEGINNING)
        .serve_connection(stream, from_there)
        .with_upgrades();
    let mut served = std::pin::pin!(served);
    // Whoever is cut off in the middle has gone away, or comes again.
    tokio::select! {
        _ = served.as_mut() => {}
        () = stopped(&mut stopping) => {
            served.as_mut().graceful_shutdown();
            let _ended = served.await;
        }
    }
}
