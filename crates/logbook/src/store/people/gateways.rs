//! The words that gateways show on a websocket: of each the digest alone is kept.

use rusqlite::Connection;
use wire::identity::GatewayEui;

use super::{By, People, deed};
use crate::digits::hex;
use crate::people::Word;
use crate::store::{StoreError, rows, since};

impl People {
    /// A word for a gateway, to be shown once; one of before no longer holds.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn give_gateway_word(
        &self,
        eui: GatewayEui,
        called: &str,
        word: &Word,
        by: By<'_>,
    ) -> Result<(), StoreError> {
        let change = self.begin()?;
        rows::note(&change, &key(eui), &hex(&word.digest()))?;
        deed(&change, by, "gave a gateway a word", called)?;
        Ok(change.commit()?)
    }

    /// Takes the word from a gateway; whether there was one.
    ///
    /// # Errors
    /// [`StoreError`]; nothing was changed then.
    pub fn take_gateway_word(&self, eui: GatewayEui, called: &str, by: By<'_>) -> Result<bool, StoreError> {
        let change = self.begin()?;
        let changed = change.execute("DELETE FROM meta WHERE key = ?", [key(eui)])?;
        if changed > 0 {
            deed(&change, by, "took the word of a gateway", called)?;
        }
        change.commit()?;
        Ok(changed > 0)
    }

    /// The digest of what a gateway has to show; `None` if no word was made for it.
    ///
    /// # Errors
    /// [`StoreError`].
    pub fn gateway_word(&self, eui: GatewayEui) -> Result<Option<[u8; 32]>, StoreError> {
        of_log(&self.log, eui)
    }
}

fn of_log(log: &Connection, eui: GatewayEui) -> Result<Option<[u8; 32]>, StoreError> {
    let Some(text) = since::noted(log, &key(eui))? else { return Ok(None) };
    let octets: Option<Vec<u8>> =
        (0..text.len()).step_by(2).map(|at| u8::from_str_radix(text.get(at..at + 2)?, 16).ok()).collect();
    let digest = octets.and_then(|octets| <[u8; 32]>::try_from(octets).ok());
    let damaged = || StoreError::Damaged { why: format!("the word of gateway {eui} is no digest") };
    digest.ok_or_else(damaged).map(Some)
}

fn key(eui: GatewayEui) -> String {
    format!("gateway-word:{eui}")
}
