//! What the log must know of the site before it can judge and read a frame.

use std::collections::BTreeMap;

use sha2::{Digest as _, Sha256};
use wire::identity::{DevAddr, DevEui, GatewayEui};
use wire::key::AppKey;

use design::serve::Foreign;

use crate::network::{Plan, Setup};
use crate::readings::Kind;
use crate::received::Moment;
use crate::registry::{Date, Node};

/// Gives an address when a device joins for the first time.
pub type Addresses = Box<dyn FnMut() -> DevAddr + Send>;

/// The site: who may send, who may hear, and what the messages mean.
pub struct Site {
    /// Its gateways, by name.
    pub gateways: Vec<(String, GatewayEui)>,
    /// All rows of the registry.
    pub registry: Vec<Node>,
    /// The root keys; without a device's key its frames are kept and not believed.
    pub keys: BTreeMap<DevEui, AppKey>,
    /// The kinds of node, as their designs are now, and what each wants of the network.
    pub kinds: Vec<(Kind, Plan)>,
    /// How the network works.
    pub network: Setup,
    /// What becomes of strangers' frames.
    pub foreign: Foreign,
    /// Where new addresses come from.
    pub addresses: Addresses,
}

impl Site {
    /// The row of a device that was in force at a moment; the open one if none was.
    pub fn row_at(&self, dev_eui: DevEui, at: Moment) -> Option<&Node> {
        in_force(self.registry.iter().filter(|row| row.dev_eui == dev_eui), |row| row, at)
    }

    /// The place of a kind among those that are known.
    pub fn kind(&self, name: &str) -> Option<usize> {
        self.kinds.iter().position(|(kind, _)| kind.name == name)
    }
}

/// Of the rows of one device, the one in force at a moment; the open one if none is.
pub(super) fn in_force<'a, T: Copy>(
    mut rows: impl Iterator<Item = T> + Clone,
    row: impl Fn(T) -> &'a Node,
    at: Moment,
) -> Option<T> {
    let day = Date::of_unix(u64::try_from(at / 1_000_000).unwrap_or_default());
    let holds = |of: &T| {
        day.is_some_and(|day| row(*of).from <= day && row(*of).until.is_none_or(|until| day < until))
    };
    rows.clone().find(holds).or_else(|| rows.find(|of| row(*of).open()))
}

/// Addresses of a private network: seven bits of zero, then 25 that nobody foresees.
///
/// # Errors
/// If the operating system gives no random bytes to begin with.
pub fn addresses() -> Result<Addresses, getrandom::Error> {
    let mut seed = [0; 32];
    getrandom::fill(&mut seed)?;
    let mut drawn = 0_u64;
    Ok(Box::new(move || {
        drawn += 1;
        let digest: [u8; 32] =
            Sha256::new().chain_update(seed).chain_update(drawn.to_be_bytes()).finalize().into();
        let [first, second, third, fourth, ..] = digest;
        DevAddr::from_display_bytes([first & 1, second, third, fourth])
    }))
}
