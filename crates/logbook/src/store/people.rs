//! Who may, and what they did: rows of people, of what proves who they are, and of their deeds.
//!
//! All of it is written in short transactions of its own, beside the process that hears: a person is added or removed while
//! that one runs, and what holds is read from the log each time.

mod gateways;

use std::path::Path;

use rusqlite::{Connection, OptionalExtension as _, Row, Transaction, TransactionBehavior, params};

use super::StoreError;
use super::sqlite::{self, Log};
use crate::people::{Hash, May, NameError, Word, check_name};
use crate::received::Moment;

/// Someone who may.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Person {
    /// As the log numbers them.
    pub id: i64,
    /// Their name, by which they log in and their deeds are known.
    pub name: String,
    /// What they may.
    pub may: May,
    /// Since when.
    pub added_at: Moment,
    /// Whether they have set a passphrase.
    pub has_passphrase: bool,
}

/// A word that a program shows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Token {
    /// As the log numbers them.
    pub id: i64,
    /// What it is for, as the person called it.
    pub name: String,
    /// What it may.
    pub may: May,
    /// Since when.
    pub added_at: Moment,
    /// When it was shown last, to the hour.
    pub last_used: Option<Moment>,
}

/// Somebody who has shown a word that holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Known {
    /// Their name.
    pub name: String,
    /// What they may.
    pub may: May,
}

/// Which kind of word was shown, and the number before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shown {
    /// Of a browser.
    Login(i64),
    /// Of a program.
    Token(i64),
}

/// Why something about people is not done.
#[derive(Debug, thiserror::Error)]
pub enum PeopleError {
    /// The log.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// It is no name.
    #[error(transparent)]
    Name(#[from] NameError),
    /// There is somebody of that name.
    #[error("there is somebody of the name {name:?}")]
    Taken {
        /// The name.
        name: String,
    },
    /// There is nobody of that name.
    #[error("there is nobody of the name {name:?}")]
    Nobody {
        /// The name.
        name: String,
    },
    /// Nobody gives what he has not.
    #[error("{name} may {has}, and not {asked}")]
    Beyond {
        /// The person.
        name: String,
        /// What the person may.
        has: May,
        /// What was asked for.
        asked: May,
    },
}

impl From<rusqlite::Error> for PeopleError {
    fn from(error: rusqlite::Error) -> Self {
        Self::Store(error.into())
    }
}

/// Who does it, and when.
#[derive(Clone, Copy, Debug)]
pub struct By<'a> {
    /// The name of the person, or `command line`.
    pub who: &'a str,
    /// When.
    pub at: Moment,
}

/// A browser's word holds so long; then its person logs in again (own choice) \[us\].
pub const LOGIN_HOLDS: Moment = 30 * 24 * HOUR;
/// A link holds so long (own choice) \[us\].
pub const LINK_HOLDS: Moment = 48 * HOUR;
/// When a word was shown is noted no more often: a memory card is not written for each page (own choice) \[us\].
const NOTED_EVERY: Moment = HOUR;
const HOUR: Moment = 3_600_000_000;

/// The people of a log.
#[derive(Debug)]
pub struct People {
    log: Connection,
}

impl People {
    /// Of a log that is there.
    ///
    /// # Errors
    /// [`StoreError`] if there is none that this program knows.
    pub fn of(path: &Path) -> Result<Self, StoreError> {
        Ok(Self { log: sqlite::beside_the_writer(path)? })
    }

    /// The same, of a log that is made or brought up to date if need be.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn of_any(path: &Path) -> Result<Self, StoreError> {
        match Log::open(path) {
            // Whoever writes it has brought it up to date.
            Ok(_) | Err(StoreError::Busy { process: Some(_) }) => Self::of(path),
            Err(error) => Err(error),
        }
    }

    /// Whether there is anybody.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn any(&self) -> Result<bool, StoreError> {
        let sql = "SELECT EXISTS (SELECT 1 FROM person WHERE removed_at IS NULL)";
        Ok(self.log.query_row(sql, [], |row| row.get(0))?)
    }

    /// All of them, by name.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn all(&self) -> Result<Vec<Person>, StoreError> {
        let sql = format!("{PERSON} WHERE removed_at IS NULL ORDER BY name");
        let mut statement = self.log.prepare(&sql)?;
        let found = statement.query_map([], |row| Ok(person(row)))?;
        found.map(|one| one?).collect()
    }

    /// Somebody by name.
    ///
    /// # Errors
    /// [`PeopleError::Nobody`] or [`PeopleError::Store`].
    pub fn named(&self, name: &str) -> Result<Person, PeopleError> {
        let sql = format!("{PERSON} WHERE removed_at IS NULL AND name = ?");
        let found = self.log.query_row(&sql, [name], |row| Ok(person(row))).optional()?;
        Ok(found.ok_or_else(|| PeopleError::Nobody { name: name.to_owned() })??)
    }

    /// The hash of somebody's passphrase; none if there is nobody, or no passphrase.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn hash(&self, name: &str) -> Result<Option<Hash>, StoreError> {
        let sql = "SELECT hash FROM person WHERE removed_at IS NULL AND name = ?";
        let found: Option<Option<String>> = self.log.query_row(sql, [name], |row| row.get(0)).optional()?;
        Ok(found.flatten().map(Hash::from_text))
    }

    /// Adds somebody, whose passphrase may follow.
    ///
    /// # Errors
    /// [`PeopleError`]; nothing was changed then.
    pub fn add(&self, name: &str, may: May, hash: Option<&Hash>, by: By<'_>) -> Result<(), PeopleError> {
        check_name(name)?;
        let change = self.begin()?;
        // Somebody of that name who was removed comes back under it: the log's deeds are those of one name.
        let changed = change.execute(
            "INSERT INTO person (name, may, hash, added_at) VALUES (?1, ?2, ?3, ?4) \
             ON CONFLICT (name) DO UPDATE SET may = ?2, hash = ?3, added_at = ?4, removed_at = NULL \
             WHERE removed_at IS NOT NULL",
            params![name, may.word(), hash.map(Hash::text), by.at],
        )?;
        if changed == 0 {
            return Err(PeopleError::Taken { name: name.to_owned() });
        }
        deed(&change, by, &format!("added a person who may {may}"), name)?;
        Ok(change.commit()?)
    }

    /// Takes all that somebody may; the name stays with the deeds.
    ///
    /// # Errors
    /// [`PeopleError`]; nothing was changed then.
    pub fn remove(&self, name: &str, by: By<'_>) -> Result<(), PeopleError> {
        let id = self.named(name)?.id;
        let change = self.begin()?;
        change.execute("UPDATE person SET removed_at = ?2, hash = NULL WHERE id = ?1", params![id, by.at])?;
        change.execute("DELETE FROM login WHERE person = ?", [id])?;
        change.execute("DELETE FROM invitation WHERE person = ?", [id])?;
        let tokens = "UPDATE api_token SET removed_at = ?2 WHERE person = ?1 AND removed_at IS NULL";
        change.execute(tokens, params![id, by.at])?;
        deed(&change, by, "removed a person", name)?;
        Ok(change.commit()?)
    }

    /// A word by which somebody sets a passphrase once; one of before no longer holds. It is to be shown once.
    ///
    /// # Errors
    /// [`PeopleError`]; nothing was changed then.
    pub fn invite(&self, name: &str, word: &Word, by: By<'_>) -> Result<i64, PeopleError> {
        let id = self.named(name)?.id;
        let change = self.begin()?;
        let row = change.query_row(
            "INSERT OR REPLACE INTO invitation (person, hash, until) VALUES (?, ?, ?) RETURNING id",
            params![id, word.digest(), by.at + LINK_HOLDS],
            |row| row.get(0),
        )?;
        deed(&change, by, "made a link by which a passphrase is set", name)?;
        change.commit()?;
        Ok(row)
    }

    /// Whom a link is for, if it holds.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn invited(&self, link: i64, word: &Word, now: Moment) -> Result<Option<String>, StoreError> {
        let sql = "SELECT person.name, invitation.hash FROM invitation JOIN person ON person.id = invitation.person \
                   WHERE invitation.id = ? AND until > ? AND removed_at IS NULL";
        let found: Option<(String, Vec<u8>)> =
            self.log.query_row(sql, params![link, now], |row| Ok((row.get(0)?, row.get(1)?))).optional()?;
        Ok(found.filter(|(_, hash)| word.has(hash)).map(|(name, _)| name))
    }

    /// Sets the passphrase of whom a link is for; the link is used up, and what was logged in before is logged out.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn accept(&self, link: i64, name: &str, hash: &Hash, now: Moment) -> Result<bool, StoreError> {
        let change = self.begin()?;
        if change.execute("DELETE FROM invitation WHERE id = ?", [link])? == 0 {
            return Ok(false);
        }
        let sql = "UPDATE person SET hash = ? WHERE name = ? AND removed_at IS NULL RETURNING id";
        let Some(id) =
            change.query_row(sql, params![hash.text(), name], |row| row.get::<_, i64>(0)).optional()?
        else {
            return Ok(false);
        };
        change.execute("DELETE FROM login WHERE person = ?", [id])?;
        deed(&change, By { who: name, at: now }, "set a passphrase by a link", name)?;
        change.commit()?;
        Ok(true)
    }

    /// A browser's word for somebody; the number that stands before it. Words whose time is over are forgotten.
    ///
    /// # Errors
    /// [`PeopleError`]; nothing was changed then.
    pub fn log_in(&self, name: &str, word: &Word, now: Moment) -> Result<i64, PeopleError> {
        let id = self.named(name)?.id;
        let change = self.begin()?;
        change.execute("DELETE FROM login WHERE until <= ?", [now])?;
        let row = change.query_row(
            "INSERT INTO login (person, hash, since, last_seen, until) VALUES (?1, ?2, ?3, ?3, ?4) RETURNING id",
            params![id, word.digest(), now, now + LOGIN_HOLDS],
            |row| row.get(0),
        )?;
        deed(&change, By { who: name, at: now }, "logged in", name)?;
        change.commit()?;
        Ok(row)
    }

    /// A browser's word no longer holds.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn log_out(&self, login: i64, by: By<'_>) -> Result<(), StoreError> {
        let change = self.begin()?;
        change.execute("DELETE FROM login WHERE id = ?", [login])?;
        deed(&change, by, "logged out", by.who)?;
        Ok(change.commit()?)
    }

    /// A word for a program of somebody's; the number that stands before it. It is to be shown once.
    ///
    /// # Errors
    /// [`PeopleError`]; nothing was changed then.
    pub fn give_token(
        &self,
        of: &str,
        called: &str,
        may: May,
        word: &Word,
        by: By<'_>,
    ) -> Result<i64, PeopleError> {
        check_name(called)?;
        let person = self.named(of)?;
        if may > person.may {
            return Err(PeopleError::Beyond { name: person.name, has: person.may, asked: may });
        }
        let change = self.begin()?;
        let row = change.query_row(
            "INSERT INTO api_token (person, name, may, hash, added_at) VALUES (?, ?, ?, ?, ?) RETURNING id",
            params![person.id, called, may.word(), word.digest(), by.at],
            |row| row.get(0),
        )?;
        deed(&change, by, &format!("gave the program {called:?} a word that may {may}"), of)?;
        change.commit()?;
        Ok(row)
    }

    /// Takes a word from a program of somebody's; whether there was one.
    ///
    /// # Errors
    /// [`PeopleError`]; nothing was changed then.
    pub fn take_token(&self, of: &str, called: &str, by: By<'_>) -> Result<bool, PeopleError> {
        let person = self.named(of)?;
        let change = self.begin()?;
        let sql =
            "UPDATE api_token SET removed_at = ?3 WHERE person = ?1 AND name = ?2 AND removed_at IS NULL";
        let changed = change.execute(sql, params![person.id, called, by.at])?;
        if changed > 0 {
            deed(&change, by, &format!("took the word of the program {called:?}"), of)?;
        }
        change.commit()?;
        Ok(changed > 0)
    }

    /// The words of somebody's programs, by name.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn tokens(&self, person: i64) -> Result<Vec<Token>, StoreError> {
        let sql = "SELECT id, name, may, added_at, last_used FROM api_token WHERE person = ? AND removed_at IS NULL \
                   ORDER BY name, id";
        let mut statement = self.log.prepare(sql)?;
        let token = |row: &Row<'_>| {
            let may = row.get::<_, String>(2)?;
            Ok((row.get(0)?, row.get(1)?, may, row.get(3)?, row.get(4)?))
        };
        let found = statement.query_map([person], token)?;
        found
            .map(|one| {
                let (id, name, may, added_at, last_used) = one?;
                Ok(Token { id, name, may: right(&may)?, added_at, last_used })
            })
            .collect()
    }

    /// Who shows this word, if it holds and they were not removed.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn known(&self, shown: Shown, word: &Word, now: Moment) -> Result<Option<Known>, StoreError> {
        let (sql, id) = match shown {
            Shown::Login(id) => (LOGIN, id),
            Shown::Token(id) => (TOKEN, id),
        };
        let found = self.log.prepare_cached(sql)?.query_row(params![id, now], |row| {
            let (name, may, own): (String, String, String) = (row.get(0)?, row.get(1)?, row.get(2)?);
            Ok((name, may, own, row.get::<_, Vec<u8>>(3)?, row.get::<_, Option<Moment>>(4)?))
        });
        let Some((name, may, own, hash, last)) = found.optional()? else { return Ok(None) };
        if !word.has(&hash) {
            return Ok(None);
        }
        if last.is_none_or(|last| now - last >= NOTED_EVERY) {
            self.note_use(shown, now)?;
        }
        Ok(Some(Known { name, may: right(&may)?.min(right(&own)?) }))
    }

    fn note_use(&self, shown: Shown, now: Moment) -> Result<(), StoreError> {
        let (sql, id) = match shown {
            Shown::Login(id) => ("UPDATE login SET last_seen = ?2 WHERE id = ?1", id),
            Shown::Token(id) => ("UPDATE api_token SET last_used = ?2 WHERE id = ?1", id),
        };
        self.log.execute(sql, params![id, now])?;
        Ok(())
    }

    /// Writes down what somebody did that others have kept.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn did(&self, by: By<'_>, what: &str, on: &str) -> Result<(), StoreError> {
        deed(&self.log, by, what, on)
    }

    pub(super) fn begin(&self) -> Result<Transaction<'_>, StoreError> {
        Ok(Transaction::new_unchecked(&self.log, TransactionBehavior::Immediate)?)
    }
}

const PERSON: &str = "SELECT id, name, may, added_at, hash IS NOT NULL FROM person";
const LOGIN: &str = "SELECT person.name, person.may, person.may, login.hash, last_seen FROM login \
                     JOIN person ON person.id = login.person WHERE login.id = ? AND until > ? AND removed_at IS NULL";
const TOKEN: &str = "SELECT person.name, person.may, api_token.may, api_token.hash, last_used FROM api_token \
                     JOIN person ON person.id = api_token.person \
                     WHERE api_token.id = ?1 AND ?2 IS NOT NULL AND person.removed_at IS NULL AND api_token.removed_at IS NULL";

fn person(row: &Row<'_>) -> Result<Person, StoreError> {
    Ok(Person {
        id: row.get(0)?,
        name: row.get(1)?,
        may: right(&row.get::<_, String>(2)?)?,
        added_at: row.get(3)?,
        has_passphrase: row.get(4)?,
    })
}

fn right(word: &str) -> Result<May, StoreError> {
    May::of(word).ok_or_else(|| StoreError::Damaged { why: format!("nobody may {word:?}") })
}

/// Writes down who did what, and on what.
///
/// # Errors
/// [`StoreError`].
pub(super) fn deed(log: &Connection, by: By<'_>, what: &str, on: &str) -> Result<(), StoreError> {
    log.prepare_cached("INSERT INTO deed (at, who, what, \"on\") VALUES (?, ?, ?, ?)")?
        .execute(params![by.at, by.who, what, on])?;
    Ok(())
}
