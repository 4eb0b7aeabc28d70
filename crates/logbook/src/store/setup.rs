//! What the log must know of the site before it can judge and read a frame.

use std::collections::BTreeMap;

use wire::identity::{DevAddr, DevEui, GatewayEui};
use wire::key::AppKey;

use crate::network::Windows;
use crate::readings::Kind;
use crate::received::Moment;
use crate::registry::{Date, Node};

/// Gives an address when a device joins for the first time.
pub type Addresses = Box<dyn FnMut() -> DevAddr + Send>;

/// The site: who may send, who may hear, and what the messages mean.
pub struct Setup {
    /// Its gateways, by name.
    pub gateways: Vec<(String, GatewayEui)>,
    /// All rows of the registry.
    pub registry: Vec<Node>,
    /// The root keys; without a device's key its frames are kept and not believed.
    pub keys: BTreeMap<DevEui, AppKey>,
    /// The kinds of node, as their designs are now.
    pub kinds: Vec<Kind>,
    /// How the network answers.
    pub windows: Windows,
    /// Where new addresses come from.
    pub addresses: Addresses,
}

impl Setup {
    /// The row of a device that was in force at a moment; the open one if none was.
    pub fn row_at(&self, dev_eui: DevEui, at: Moment) -> Option<&Node> {
        let day = Date::of_unix(u64::try_from(at / 1_000_000).unwrap_or_default());
        let of_device = || self.registry.iter().filter(|row| row.dev_eui == dev_eui);
        let holds =
            |row: &&Node| day.is_some_and(|day| row.from <= day && row.until.is_none_or(|until| day < until));
        of_device().find(holds).or_else(|| of_device().find(|row| row.open()))
    }

    /// The place of a kind among those that are known.
    pub fn kind(&self, name: &str) -> Option<usize> {
        self.kinds.iter().position(|kind| kind.name == name)
    }
}

/// An address of a private network: seven bits of zero, then 25 from the operating system.
///
/// # Errors
/// If the operating system gives no random bytes.
pub fn draw_address() -> Result<DevAddr, getrandom::Error> {
    let mut octets = [0; 4];
    getrandom::fill(&mut octets)?;
    octets[0] &= 1;
    Ok(DevAddr::from_display_bytes(octets))
}
