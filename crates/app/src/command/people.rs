//! `overwinter people`: who may read, act, and enrol.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, Subcommand, ValueEnum};
use design::date::Date;
use logbook::clock::now;
use logbook::people::{Hash, May, NoHash, Word};
use logbook::received::Moment;
use logbook::store::people::{By, People, PeopleError, Person, Token};
use report::problem::{Failure, Problem};
use wire::identity::GatewayEui;

use crate::enrolment::passphrase;
use crate::input::fleet;
use crate::output;
use crate::service::{Settings, log_failure};
use crate::web::login::FIRST;

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Examples:
  overwinter people larkmoor.toml add ann --may keys
  overwinter people larkmoor.toml add ben --may act --link
  overwinter people larkmoor.toml token ann wall-display --may read
  overwinter people larkmoor.toml remove ben
  overwinter people larkmoor.toml gateway packing-house

All of it works while `serve` runs, and holds at once. The first person that is added closes the page to all others.

Exit code: 0 done, 2 something is wrong with the input or nothing could be written.";

/// Who does it, in the rows of the log.
const WHO: &str = "command line";

/// What `people` is given.
#[derive(Args)]
pub(super) struct PeopleOf {
    /// The file of the site
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    #[command(subcommand)]
    act: Act,
}

#[derive(Subcommand)]
enum Act {
    /// Adds somebody; the passphrase is asked for, or set by whom the link is for
    Add {
        /// The name to log in with
        name: String,
        /// What they may
        #[arg(long, value_enum)]
        may: Right,
        /// Print a link by which they set their passphrase themselves, once, within 48 hours
        #[arg(long, conflicts_with = "passphrase_file")]
        link: bool,
        /// Read the passphrase from a file that only you can read, instead of asking
        #[arg(long, value_name = "FILE")]
        passphrase_file: Option<PathBuf>,
    },
    /// Prints a link by which somebody sets a new passphrase, once, within 48 hours
    Link {
        /// Their name
        name: String,
    },
    /// Says who may what
    List,
    /// Takes all that somebody may, at once; their deeds stay in the log
    Remove {
        /// Their name
        name: String,
    },
    /// Prints the line that a gateway shows when it connects by the websocket; it is shown once, and one of before no longer holds
    Gateway {
        /// Its name in the site file
        name: String,
        /// Take the word from the gateway
        #[arg(long)]
        remove: bool,
    },
    /// Prints the word by which a program asks in somebody's name; it is shown once
    Token {
        /// Their name
        name: String,
        /// What you call the program
        program: String,
        /// What the program may, at most what the person may
        #[arg(long, value_enum, required_unless_present = "remove")]
        may: Option<Right>,
        /// Take the word from the program
        #[arg(long, conflicts_with = "may")]
        remove: bool,
    },
}

/// A right as it is written on the command line.
#[derive(Clone, Copy, ValueEnum)]
enum Right {
    /// See readings
    Read,
    /// Also mark alarms as seen, note visits, send settings
    Act,
    /// Also enrol nodes
    Keys,
}

impl Right {
    const fn may(self) -> May {
        match self {
            Self::Read => May::Read,
            Self::Act => May::Act,
            Self::Keys => May::Keys,
        }
    }
}

/// Does what is asked for, and says the exit code.
pub(super) fn run(arguments: &PeopleOf) -> ExitCode {
    match people(arguments).and_then(|said| output::print(&said)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::complain(&failure.render());
            ExitCode::from(2)
        }
    }
}

fn people(arguments: &PeopleOf) -> Result<String, Failure> {
    let site = fleet::site(&arguments.site)?;
    let settings = Settings::of(&site, None)?;
    let people = People::of_any(&settings.log).map_err(|error| log_failure(&settings.log, &error))?;
    let desk = Desk { people, settings };
    match &arguments.act {
        Act::Add { name, may, link, passphrase_file } => {
            desk.add(name, may.may(), *link, passphrase_file.as_deref())
        }
        Act::Link { name } => desk.link(name),
        Act::List => desk.list(&site),
        Act::Remove { name } => {
            desk.people.remove(name, by()).map_err(|error| desk.failure(&error))?;
            Ok(format!("{name} is removed, is logged out, and no program asks in that name\n"))
        }
        Act::Gateway { name, remove } => desk.gateway(&site, name, *remove),
        Act::Token { name, program, may: Some(may), .. } => desk.token(name, program, may.may()),
        Act::Token { name, program, may: None, .. } => desk.take_token(name, program),
    }
}

/// The log's people, and where the page is.
struct Desk {
    people: People,
    settings: Settings,
}

fn by() -> By<'static> {
    By { who: WHO, at: now() }
}

impl Desk {
    fn add(&self, name: &str, may: May, link: bool, file: Option<&Path>) -> Result<String, Failure> {
        // Nobody types a passphrase twice to learn that the name is taken.
        match self.people.named(name) {
            Ok(_) => return Err(self.failure(&PeopleError::Taken { name: name.to_owned() })),
            Err(PeopleError::Nobody { .. }) => {}
            Err(error) => return Err(self.failure(&error)),
        }
        logbook::people::check_name(name).map_err(|error| self.failure(&error.into()))?;
        let hash = if link {
            None
        } else {
            Some(Hash::of(&passphrase::of_person(name, file)?).map_err(|error| no_hash(&error))?)
        };
        self.people.add(name, may, hash.as_ref(), by()).map_err(|error| self.failure(&error))?;
        let added = format!("{name} may {may}\n");
        if link { Ok(added + &self.link(name)?) } else { Ok(added) }
    }

    fn link(&self, name: &str) -> Result<String, Failure> {
        let word = Word::draw().map_err(|error| no_hash(&error))?;
        let number = self.people.invite(name, &word, by()).map_err(|error| self.failure(&error))?;
        let (address, note) = self.address();
        Ok(format!(
            "{name} sets a passphrase here, once, within 48 hours; whoever has the link can:\n  \
             {address}{FIRST}{number}-{}\n{note}",
            word.reveal()
        ))
    }

    /// Where the page is called, as far as the site file says it.
    fn address(&self) -> (String, &'static str) {
        let Some(page) = &self.settings.page else {
            return ("https://HOST".to_owned(), "The site file has no `page` yet: write it into [serve]\n");
        };
        let scheme = if page.certificate.is_some() || page.behind_proxy { "https" } else { "http" };
        let (ip, port) = (page.listen.ip(), page.listen.port());
        match page.hosts.first() {
            Some(host) if page.behind_proxy => (format!("{scheme}://{host}"), ""),
            Some(host) => (format!("{scheme}://{host}:{port}"), ""),
            None if ip.is_unspecified() => {
                (format!("{scheme}://HOST:{port}"), "HOST is the address of this machine in your network\n")
            }
            None => (format!("{scheme}://{}", page.listen), ""),
        }
    }

    fn list(&self, site: &fleet::Site) -> Result<String, Failure> {
        let failed = |error| log_failure(&self.settings.log, &error);
        let all = self.people.all().map_err(failed)?;
        let mut lines = Vec::new();
        if all.is_empty() {
            lines.push("nobody: the page answers on this machine alone".to_owned());
        }
        for person in &all {
            lines.push(line(person));
            lines.extend(self.people.tokens(person.id).map_err(failed)?.iter().map(token_line));
        }
        for gateway in &site.fleet.surroundings.gateways {
            let Some(eui) = gateway.eui.map(GatewayEui::from_display_bytes) else { continue };
            if self.people.gateway_word(eui).map_err(failed)?.is_some() {
                lines.push(format!("gateway {} has a word for the websocket", gateway.name));
            }
        }
        Ok(lines.join("\n") + "\n")
    }

    fn token(&self, name: &str, program: &str, may: May) -> Result<String, Failure> {
        let word = Word::draw().map_err(|error| no_hash(&error))?;
        let given = self.people.give_token(name, program, may, &word, by());
        let number = given.map_err(|error| self.failure(&error))?;
        Ok(format!("{number}-{}\n", word.reveal()))
    }

    fn take_token(&self, name: &str, program: &str) -> Result<String, Failure> {
        if self.people.take_token(name, program, by()).map_err(|error| self.failure(&error))? {
            return Ok(format!("{program} no longer asks in the name of {name}\n"));
        }
        let message = format!("{name} has no program of the name {program:?}");
        Err(Failure::of(Problem::of_file("people", program, message, "see `people SITE.toml list`")))
    }

    fn gateway(&self, site: &fleet::Site, name: &str, remove: bool) -> Result<String, Failure> {
        let eui = gateway(site, name)?;
        let failed = |error| log_failure(&self.settings.log, &error);
        if !remove {
            let word = Word::draw().map_err(|error| no_hash(&error))?;
            self.people.give_gateway_word(eui, name, &word, by()).map_err(failed)?;
            return Ok(format!("Authorization: Bearer {}\n", word.reveal()));
        }
        if self.people.take_gateway_word(eui, name, by()).map_err(failed)? {
            return Ok(format!("{name} has no word any more\n"));
        }
        let message = format!("gateway {name} has no word");
        Err(Failure::of(Problem::of_file("people", name, message, "leave `--remove` out to make one")))
    }

    fn failure(&self, error: &PeopleError) -> Failure {
        let help = match error {
            PeopleError::Store(error) => return log_failure(&self.settings.log, error),
            PeopleError::Name(_) => "write a name as people know it, such as ann",
            PeopleError::Taken { .. } => {
                "take another name; `link` gives a new passphrase, `remove` and `add` another right"
            }
            PeopleError::Nobody { .. } => "see `people SITE.toml list`",
            PeopleError::Beyond { .. } => "ask for less, or remove the person and add them with more",
        };
        Failure::of(Problem::of_file("people", "people", error.to_string(), help))
    }
}

/// The identity of a gateway of the site file.
fn gateway(site: &fleet::Site, name: &str) -> Result<GatewayEui, Failure> {
    let gateways = &site.fleet.surroundings.gateways;
    let Some(gateway) = gateways.iter().find(|gateway| gateway.name == name) else {
        let names: Vec<&str> = gateways.iter().map(|gateway| gateway.name.as_str()).collect();
        let help = format!("the site file has: {}", names.join(", "));
        let message = format!("there is no gateway {name:?} in the site file");
        return Err(Failure::of(Problem::of_file("people", name, message, &help)));
    };
    let unnamed = || {
        let message = format!("gateway {name} is only planned: it has no `eui`");
        site.failure("eui", &format!("gateway.{name}"), message, "write the EUI that the gateway shows")
    };
    gateway.eui.map(GatewayEui::from_display_bytes).ok_or_else(unnamed)
}

fn no_hash(error: &NoHash) -> Failure {
    Failure::of(Problem::of_file("people", "people", error.to_string(), "try again"))
}

fn line(person: &Person) -> String {
    let waits = if person.has_passphrase { "" } else { ", has set no passphrase yet" };
    format!("{} may {}, since {}{waits}", person.name, person.may, day(person.added_at))
}

fn token_line(token: &Token) -> String {
    let used = token.last_used.map_or("not used yet".to_owned(), |at| format!("last used {}", day(at)));
    format!("  program {} may {}, since {}, {used}", token.name, token.may, day(token.added_at))
}

fn day(at: Moment) -> String {
    let day = u64::try_from(at / 1_000_000).ok().and_then(Date::of_unix);
    day.map_or_else(|| "a day too far away".to_owned(), |day| day.to_string())
}
