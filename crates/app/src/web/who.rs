//! Who asks, what they may, and what lets them change something.
//!
//! Whoever asks is known by one of three things: the machine itself, as long as there are no accounts; the word of a browser
//! that has logged in; the word of a program. Only [`Asker::doer`] makes a [`Doer`], and it takes the word of forms from all
//! but programs: a page of somebody else's can make a browser send a request, but does not know that word.

use std::net::IpAddr;

use axum::http::{HeaderMap, StatusCode, header};
use axum::response::Response;
use logbook::clock::now;
use logbook::people::{May, Word};
use logbook::store::StoreError;
use logbook::store::people::{By, Known, People, Shown};
use tokio::task::spawn_blocking;

use super::House;
use super::problem::plain;

/// Name of the cookie.
pub(super) const COOKIE: &str = "overwinter";
/// The field of a request that carries the word of forms, for scripts of the page.
pub(super) const FORM_WORD: &str = "overwinter-form";
/// How the machine itself is called among those who did something.
const MACHINE: &str = "this machine";

/// The address from which a connection comes.
#[derive(Clone, Copy, Debug)]
pub(super) struct Peer(pub(super) IpAddr);

/// Who asks.
#[derive(Clone, Debug)]
pub(crate) struct Asker {
    known: Known,
    proof: Proof,
}

#[derive(Clone, Debug)]
enum Proof {
    Machine { form: Word },
    Browser { login: i64, form: Word },
    Program,
}

/// Somebody who may do what is asked, and has shown that it is he who asks.
#[derive(Clone, Debug)]
pub(crate) struct Doer {
    name: String,
}

impl Doer {
    /// For the rows of the log.
    pub(crate) fn by(&self) -> By<'_> {
        By { who: &self.name, at: now() }
    }
}

impl Asker {
    /// The machine itself, where there are no accounts.
    pub(super) fn machine(form: &Word) -> Self {
        let known = Known { name: MACHINE.to_owned(), may: May::Act };
        Self { known, proof: Proof::Machine { form: form.clone() } }
    }

    /// Their name.
    pub(crate) fn name(&self) -> &str {
        &self.known.name
    }

    /// What they may.
    pub(crate) const fn may(&self) -> May {
        self.known.may
    }

    /// Whether they see where things are as they are, and how long ago they were elsewhere.
    pub(crate) fn sees_places(&self) -> bool {
        self.may() > May::Read
    }

    /// The browser's login, if it has one.
    pub(super) const fn login(&self) -> Option<i64> {
        match self.proof {
            Proof::Browser { login, .. } => Some(login),
            Proof::Machine { .. } | Proof::Program => None,
        }
    }

    /// The word that their forms carry; programs need none.
    pub(crate) const fn form_word(&self) -> Option<&Word> {
        match &self.proof {
            Proof::Machine { form } | Proof::Browser { form, .. } => Some(form),
            Proof::Program => None,
        }
    }

    /// Lets them do something, or says why not.
    pub(crate) fn doer(&self, needs: May, shown: Option<&str>) -> Result<Doer, Box<Response>> {
        let form = self.form_word().map(Word::digest);
        let shown = Word::shown(shown.unwrap_or_default());
        if form.is_some_and(|form| !shown.has(&form)) {
            let why = "the word of the form is missing or that of another login: load the page anew and send it again";
            return Err(Box::new(plain(StatusCode::FORBIDDEN, why)));
        }
        if self.known.may < needs {
            let why = format!("{} may {}; this needs a person who may {needs}", self.name(), self.may());
            return Err(Box::new(plain(StatusCode::FORBIDDEN, &why)));
        }
        Ok(Doer { name: self.known.name.clone() })
    }
}

/// What the log says of who asks.
pub(super) enum Found {
    /// There are no accounts.
    NoAccounts,
    /// There are, and this is none of them.
    Nobody,
    /// Somebody.
    Known(Asker),
}

/// Who sends a request with these fields.
pub(super) async fn asks(house: &House, fields: &HeaderMap) -> Result<Found, StoreError> {
    let shown = shown(fields);
    let log = house.log.clone();
    let found = spawn_blocking(move || {
        let people = People::of(&log)?;
        if !people.any()? {
            return Ok(Found::NoAccounts);
        }
        let Some((shown, word)) = shown else { return Ok(Found::Nobody) };
        let Some(known) = people.known(shown, &word, now())? else { return Ok(Found::Nobody) };
        let proof = match shown {
            Shown::Login(login) => Proof::Browser { login, form: word.for_forms() },
            Shown::Token(_) => Proof::Program,
        };
        Ok(Found::Known(Asker { known, proof }))
    });
    found.await.map_err(|_gone| StoreError::Lost { why: "the thread that reads has failed".to_owned() })?
}

/// The word that the fields of a request show: that of a program goes before that of a browser.
fn shown(fields: &HeaderMap) -> Option<(Shown, Word)> {
    let text = |name| fields.get(name).and_then(|field| field.to_str().ok());
    if let Some(authorization) = text(header::AUTHORIZATION) {
        let (scheme, word) = authorization.split_once(' ')?;
        let (id, word) = numbered(word.trim())?;
        return scheme.eq_ignore_ascii_case("bearer").then_some((Shown::Token(id), word));
    }
    let cookies = fields.get_all(header::COOKIE).iter().filter_map(|field| field.to_str().ok());
    let mut pairs = cookies.flat_map(|field| field.split(';'));
    let (id, word) = pairs.find_map(|pair| numbered(pair.trim().strip_prefix(COOKIE)?.strip_prefix('=')?))?;
    Some((Shown::Login(id), word))
}

/// A word and the number that stands before it.
pub(super) fn numbered(text: &str) -> Option<(i64, Word)> {
    let (id, word) = text.split_once('-')?;
    Some((id.parse().ok()?, Word::shown(word)))
}

/// The address from which somebody asks: behind a proxy, that which the proxy has seen.
pub(super) fn address(house: &House, peer: Peer, fields: &HeaderMap) -> IpAddr {
    let by_proxy = fields.get_all("x-forwarded-for").iter().next_back().filter(|_| house.page.behind_proxy);
    let last = by_proxy.and_then(|field| field.to_str().ok()?.rsplit(',').next()?.trim().parse().ok());
    last.unwrap_or(peer.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn browser(may: May) -> (Asker, String) {
        let form = Word::shown("word").for_forms();
        let known = Known { name: "ann".to_owned(), may };
        let shown = form.reveal().to_owned();
        (Asker { known, proof: Proof::Browser { login: 1, form } }, shown)
    }

    #[test]
    fn nobody_does_anything_by_a_browser_without_the_word_of_its_forms() {
        let (ann, word) = browser(May::Keys);
        assert!(ann.doer(May::Act, Some(&word)).is_ok());
        for wrong in [None, Some(""), Some("word"), Some(&word[1..])] {
            assert!(ann.doer(May::Read, wrong).is_err(), "{wrong:?}");
        }
    }

    #[test]
    fn nobody_does_what_he_may_not() {
        for (may, needs, does) in [
            (May::Read, May::Act, false),
            (May::Act, May::Act, true),
            (May::Act, May::Keys, false),
            (May::Keys, May::Act, true),
        ] {
            let (ann, word) = browser(may);
            assert_eq!(ann.doer(needs, Some(&word)).is_ok(), does, "{may} for {needs}");
            let program = Asker { known: ann.known, proof: Proof::Program };
            assert_eq!(program.doer(needs, None).is_ok(), does, "a program: {may} for {needs}");
        }
    }

    #[test]
    fn a_word_is_found_among_other_cookies_and_a_programs_goes_first() {
        let mut fields = HeaderMap::new();
        assert!(shown(&fields).is_none());
        fields.insert(header::COOKIE, "a=b; overwinter=7-abc; c=d".parse().expect("a field"));
        let (kind, word) = shown(&fields).expect("it is shown");
        assert_eq!((kind, word.reveal()), (Shown::Login(7), "abc"));
        fields.insert(header::AUTHORIZATION, "bearer 8-def".parse().expect("a field"));
        let (kind, word) = shown(&fields).expect("it is shown");
        assert_eq!((kind, word.reveal()), (Shown::Token(8), "def"));
        for wrong in ["Basic 8-def", "8-def", "Bearer x-def", "Bearer 8"] {
            fields.insert(header::AUTHORIZATION, wrong.parse().expect("a field"));
            assert!(shown(&fields).is_none(), "{wrong}");
        }
    }
}
