//! What the site file says of other networks that hand on.

use std::sync::Arc;

use design::serve::{MappedContent, MappedValue, SourceTransport};
use logbook::intake::token::Token;
use logbook::keys::PassphraseError;
use logbook::mapping::Devices;
use logbook::store::setup::Site;
use report::problem::Failure;

use crate::input::fleet;
use crate::output;
use crate::web::Posted;

/// Who may be named in a message: those with an open row.
pub(super) fn devices(setup: &Site) -> Arc<Devices> {
    let open = setup.registry.iter().filter(|row| row.open());
    Arc::new(Devices { by_name: open.map(|row| (row.name.clone(), row.dev_eui)).collect() })
}

/// The sources whose messages are posted.
pub(super) fn posted(site: &fleet::Site, setup: &Site) -> Result<Vec<Posted>, Failure> {
    let devices = devices(setup);
    let mut all = Vec::new();
    for source in &site.fleet.sources {
        let SourceTransport::Http { path, token_file } = &source.transport else { continue };
        all.push(Posted {
            name: source.name.clone(),
            path: path.clone(),
            token: token(site, &format!("source.{}.http", source.name), token_file)?,
            mapping: source.mapping.clone(),
            devices: Arc::clone(&devices),
        });
    }
    if let (Some(first), true) =
        (all.first(), site.fleet.serve.as_ref().is_none_or(|serve| serve.page.is_none()))
    {
        let message = "messages are to be posted, and there is no address".to_owned();
        let help = "write `page = \"127.0.0.1:8750\"` into [serve]";
        return Err(site.failure("serve", &format!("source.{}.http", first.name), message, help));
    }
    Ok(all)
}

/// Values that another network has decoded must belong to messages of the designs: else they would be kept, and say nothing.
pub(super) fn check_values(site: &fleet::Site, setup: &Site) -> Result<(), Failure> {
    for source in &site.fleet.sources {
        let MappedContent::Values(values) = &source.mapping.content else { continue };
        let strange = values.iter().find(|value| {
            let messages = setup.kinds.iter().flat_map(|(kind, _)| &kind.messages);
            let mut named = messages.filter(|message| message.name == value.message);
            !named.any(|message| message.columns.iter().any(|column| *column.name == *value.column))
        });
        if let Some(MappedValue { message, column, .. }) = strange {
            let place = format!("source.{}.values.{message}.{column}", source.name);
            let text = format!("no design of the site has a message `{message}` with a field `{column}`");
            let help = "write the names of the design file; a position has NAME_latitude and NAME_longitude";
            return Err(site.failure("source", &place, text, help));
        }
    }
    Ok(())
}

/// The word of a file that nobody else can read.
pub(super) fn token(site: &fleet::Site, key: &str, file: &str) -> Result<Token, Failure> {
    Token::from_file(&site.folder.join(file)).map_err(|error| {
        let why = match &error {
            PassphraseError::Read(error) => {
                format!("the token file can't be read: {}", output::reason(error))
            }
            other => other.to_string().replace("passphrase", "token"),
        };
        let message = format!("{file}: {why}");
        site.failure("token", key, message, "write one line into it that nobody guesses, and `chmod 600` it")
    })
}
