//! Logging in and out, and the link by which somebody sets a passphrase once.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::extract::{Form, Path, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, Uri, header};
use axum::response::{IntoResponse as _, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use logbook::clock::now;
use logbook::keys::{LEAST_LETTERS, Passphrase};
use logbook::people::{Hash, May, NoHash, Word};
use logbook::store::StoreError;
use logbook::store::people::{LOGIN_HOLDS, People, PeopleError};
use report::page::Page;
use report::page::act::{FirstPassphrase, LogIn, Said};
use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;
use zeroize::Zeroizing;

use super::House;
use super::problem::plain;
use super::shown::{self, Wish};
use super::tries::Tries;
use super::who::{self, Asker, COOKIE, Peer};

/// Hashes that are worked out at once: each takes 19 MiB (own choice).
const AT_ONCE: usize = 2;
/// Where links lead.
pub(crate) const FIRST: &str = "/first/";

/// What the door knows.
pub(crate) struct Gate {
    /// The word of forms where there are no accounts.
    pub(super) machine: Word,
    tries: Mutex<Tries>,
    work: Semaphore,
}

impl Gate {
    /// With a word that nobody foresees.
    pub(crate) fn new() -> Result<Self, NoHash> {
        Ok(Self { machine: Word::draw()?, tries: Mutex::default(), work: Semaphore::new(AT_ONCE) })
    }

    fn tries<T>(&self, look: impl FnOnce(&mut Tries) -> T) -> T {
        look(&mut self.tries.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// Whether a path is for those who have not logged in.
pub(super) fn is_for_all(path: &str) -> bool {
    path == "/login" || path.starts_with(FIRST) || path.starts_with("/page/")
}

/// The routes of it.
pub(super) fn routes() -> Router<Arc<House>> {
    Router::new()
        .route("/login", get(ask).post(log_in))
        .route("/logout", post(log_out))
        .route("/first/{link}", get(first).post(set_first))
}

/// Leads a person to where he logs in, and from there to where he wanted to go.
pub(super) fn lead_to(wanted: &Uri) -> Response {
    let wanted = wanted.path_and_query().map_or("/", |path| path.as_str());
    let to = written(wanted);
    see(&format!("/login?to={to}"))
}

/// A path as one value of a query, or as a place to go to: what may not stand there is written by its number (RFC 3986, 2.1).
pub(super) fn written(path: &str) -> String {
    let letter =
        |byte: u8| if plain_byte(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") };
    path.bytes().map(letter).collect()
}

fn plain_byte(byte: u8) -> bool {
    byte.is_ascii_alphanumeric() || b"/-._~".contains(&byte)
}

fn see(path: &str) -> Response {
    (StatusCode::SEE_OTHER, [(header::LOCATION, path)]).into_response()
}

/// Where somebody wanted to go, if that is a place of ours.
fn place(to: Option<&String>) -> &str {
    let ours = |to: &&str| {
        to.starts_with('/')
            && !to[1..].starts_with(['/', '\\'])
            && to.bytes().all(|byte| byte.is_ascii_graphic())
    };
    to.map(String::as_str).filter(ours).unwrap_or("/")
}

type Fields = BTreeMap<String, String>;

async fn ask(State(house): State<Arc<House>>, Query(query): Query<Fields>) -> Response {
    let (title, to) = ("Who is there?".to_owned(), place(query.get("to")).to_owned());
    page(house, StatusCode::OK, LogIn { title, to, name: None }).await
}

async fn log_in(
    State(house): State<Arc<House>>,
    Extension(peer): Extension<Peer>,
    headers: HeaderMap,
    Form(fields): Form<Fields>,
) -> Response {
    let (name, to) = (fields.get("name").cloned().unwrap_or_default(), place(fields.get("to")).to_owned());
    let address = who::address(&house, peer, &headers);
    if let Some(wait) = house.gate.tries(|tries| tries.wait(&name, address, Instant::now())) {
        return slow_down(house, wait).await;
    }
    let typed = fields.get("passphrase").cloned().map(Zeroizing::new);
    let Some(passphrase) = typed.and_then(|typed| Passphrase::new(typed).ok()) else {
        return wrong(house, name, address, to).await;
    };
    match begin(&house, name.clone(), passphrase).await {
        Ok(Some((login, word))) => {
            house.gate.tries(|tries| tries.right(&name, address));
            let cookie = cookie(&house, &format!("{login}-{}", word.reveal()), LOGIN_HOLDS / 1_000_000);
            ([(header::SET_COOKIE, cookie)], see(&to)).into_response()
        }
        Ok(None) => wrong(house, name, address, to).await,
        Err(error) => plain(StatusCode::SERVICE_UNAVAILABLE, &error.to_string()),
    }
}

async fn wrong(house: Arc<House>, name: String, address: IpAddr, to: String) -> Response {
    house.gate.tries(|tries| tries.wrong(&name, address, Instant::now()));
    let title = "Name and passphrase do not belong together".to_owned();
    page(house, StatusCode::FORBIDDEN, LogIn { title, to, name: Some(name) }).await
}

async fn slow_down(house: Arc<House>, wait: Duration) -> Response {
    let seconds = wait.as_secs() + 1;
    let said = Said {
        title: "Too many wrong tries".to_owned(),
        lines: vec![format!("Try again in {seconds} s. Each further wrong try doubles the wait.")],
        on: Some(("/login".to_owned(), "Log in".to_owned())),
    };
    let fields = [(header::RETRY_AFTER, seconds.to_string())];
    (fields, page(house, StatusCode::TOO_MANY_REQUESTS, said).await).into_response()
}

/// The word of a browser, if the passphrase is right.
async fn begin(house: &House, name: String, passphrase: Passphrase) -> Result<Option<(i64, Word)>, Trouble> {
    let _place = house.gate.work.acquire().await.expect("it is never closed");
    let log = house.log.clone();
    let begun = spawn_blocking(move || {
        let people = People::of(&log)?;
        let Some(hash) = people.hash(&name)? else {
            Hash::of_nobody(&passphrase)?;
            return Ok(None);
        };
        if !hash.is_of(&passphrase)? {
            return Ok(None);
        }
        let word = Word::draw()?;
        match people.log_in(&name, &word, now()) {
            Ok(login) => Ok(Some((login, word))),
            // Removed a moment ago.
            Err(PeopleError::Nobody { .. }) => Ok(None),
            Err(error) => Err(error.into()),
        }
    });
    begun.await.map_err(|_gone| Trouble::Gone)?
}

#[derive(Debug, thiserror::Error)]
enum Trouble {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    People(#[from] PeopleError),
    #[error(transparent)]
    Hash(#[from] NoHash),
    #[error("the thread that checks has failed")]
    Gone,
}

fn cookie(house: &House, value: &str, holds_s: i64) -> String {
    let sealed = house.page.certificate.is_some() || house.page.behind_proxy;
    let secure = if sealed { "; Secure" } else { "" };
    format!("{COOKIE}={value}; Path=/; HttpOnly; SameSite=Strict; Max-Age={holds_s}{secure}")
}

async fn log_out(
    State(house): State<Arc<House>>,
    Extension(asker): Extension<Asker>,
    Form(fields): Form<Fields>,
) -> Response {
    let doer = match asker.doer(May::Read, fields.get("form").map(String::as_str)) {
        Ok(doer) => doer,
        Err(refused) => return *refused,
    };
    let Some(login) = asker.login() else { return see("/") };
    let log = house.log.clone();
    match spawn_blocking(move || People::of(&log)?.log_out(login, doer.by())).await {
        Ok(Ok(())) => ([(header::SET_COOKIE, cookie(&house, "", 0))], see("/login")).into_response(),
        Ok(Err(error)) => plain(StatusCode::SERVICE_UNAVAILABLE, &error.to_string()),
        Err(_gone) => plain(StatusCode::SERVICE_UNAVAILABLE, &Trouble::Gone.to_string()),
    }
}

/// Whom a link is for.
async fn invited(house: &House, link: &str) -> Result<Option<(i64, String)>, Trouble> {
    let Some((link, word)) = who::numbered(link) else { return Ok(None) };
    let log = house.log.clone();
    let found = spawn_blocking(move || People::of(&log)?.invited(link, &word, now()));
    let name = found.await.map_err(|_gone| Trouble::Gone)??;
    Ok(name.map(|name| (link, name)))
}

async fn first(State(house): State<Arc<House>>, Path(link): Path<String>) -> Response {
    match invited(&house, &link).await {
        Ok(Some((_, name))) => {
            page(house, StatusCode::OK, FirstPassphrase { name, least: LEAST_LETTERS, why: None }).await
        }
        Ok(None) => used_up(house).await,
        Err(error) => plain(StatusCode::SERVICE_UNAVAILABLE, &error.to_string()),
    }
}

async fn used_up(house: Arc<House>) -> Response {
    let line = "It was used, or 48 hours have passed. Whoever keeps the log makes another with `overwinter people SITE.toml link NAME`.";
    let title = "This link no longer holds".to_owned();
    page(house, StatusCode::NOT_FOUND, Said { title, lines: vec![line.to_owned()], on: None }).await
}

async fn set_first(
    State(house): State<Arc<House>>,
    Path(link): Path<String>,
    Form(fields): Form<Fields>,
) -> Response {
    let (link, name) = match invited(&house, &link).await {
        Ok(Some(found)) => found,
        Ok(None) => return used_up(house).await,
        Err(error) => return plain(StatusCode::SERVICE_UNAVAILABLE, &error.to_string()),
    };
    let again = async |why: String| {
        let form = FirstPassphrase { name: name.clone(), least: LEAST_LETTERS, why: Some(why) };
        page(Arc::clone(&house), StatusCode::UNPROCESSABLE_ENTITY, form).await
    };
    let [typed, once_more] =
        ["passphrase", "again"].map(|key| Zeroizing::new(fields.get(key).cloned().unwrap_or_default()));
    if typed != once_more {
        return again("The two differ.".to_owned()).await;
    }
    let passphrase = match Passphrase::new(typed) {
        Ok(passphrase) if passphrase.check_length().is_ok() => passphrase,
        _ => return again(format!("It has at least {LEAST_LETTERS} characters.")).await,
    };
    let place = house.gate.work.acquire().await.expect("it is never closed");
    let (log, whose) = (house.log.clone(), name.clone());
    let set = spawn_blocking(move || {
        let hash = Hash::of(&passphrase)?;
        Ok::<_, Trouble>(People::of(&log)?.accept(link, &whose, &hash, now())?)
    });
    let set = set.await;
    drop(place);
    match set {
        Ok(Ok(true)) => see("/login"),
        Ok(Ok(false)) => used_up(house).await,
        Ok(Err(error)) => plain(StatusCode::SERVICE_UNAVAILABLE, &error.to_string()),
        Err(_gone) => plain(StatusCode::SERVICE_UNAVAILABLE, &Trouble::Gone.to_string()),
    }
}

/// A page in the frame of all, with a status of its own.
async fn page<P: Page + Send + 'static>(house: Arc<House>, status: StatusCode, page: P) -> Response {
    let mut response = shown::answer(house, Wish::default(), move |_| Ok(Some(page))).await;
    if response.status() == StatusCode::OK {
        *response.status_mut() = status;
    }
    response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_led_to_another_server_after_logging_in() {
        for (to, place_is) in [
            ("/node/x?y=1", "/node/x?y=1"),
            ("//evil.example", "/"),
            ("/\\evil.example", "/"),
            ("https://evil.example", "/"),
            ("/a\r\nSet-Cookie: x", "/"),
            ("", "/"),
        ] {
            assert_eq!(place(Some(&to.to_owned())), place_is, "{to:?}");
        }
    }

    #[test]
    fn where_somebody_wanted_to_go_is_one_value_of_the_query() {
        let led = lead_to(&"/node/a?b=c&to=/d".parse().expect("an address"));
        assert_eq!(led.headers()[header::LOCATION], "/login?to=/node/a%3Fb%3Dc%26to%3D/d");
    }
}
