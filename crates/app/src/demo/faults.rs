//! What can go wrong in the demonstration, switched on and off by words.

use std::collections::{BTreeMap, BTreeSet};

/// The invented nodes and the gateway, as the site file calls them.
const NODES: [&str; 4] = ["mast-slope", "mast-hollow", "spring-tank", "hail-net"];
const GATEWAY: &str = "packing-house";

/// Something that goes wrong with a node.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Fault {
    /// The panel's plug is out.
    Unplugged,
    /// Snow lies on the panel.
    Snow,
    /// Something draws 20 mA more.
    Load,
    /// The battery holds a third of what it did.
    Worn,
    /// It begins anew again and again.
    Restarts,
    /// Its readings stay as they are.
    Stuck,
    /// Every other message is lost.
    Lost,
    /// Somebody sends in its name, and plays its frames back.
    Forged,
}

const FAULTS: [(&str, Fault); 8] = [
    ("unplugged", Fault::Unplugged),
    ("snow", Fault::Snow),
    ("load", Fault::Load),
    ("worn", Fault::Worn),
    ("restarts", Fault::Restarts),
    ("stuck", Fault::Stuck),
    ("lost", Fault::Lost),
    ("forged", Fault::Forged),
];

/// What is wrong with one node now.
pub(super) type Faults = BTreeSet<Fault>;

/// What is switched on.
#[derive(Debug, Default)]
pub(super) struct Switches {
    of_nodes: BTreeMap<String, Faults>,
    /// The gateway hears nothing.
    pub(super) gateway_off: bool,
}

impl Switches {
    /// Switches what a line says, on or off; says what it did, or what is wrong with the line.
    pub(super) fn switch(&mut self, line: &str) -> Result<String, String> {
        let (who, what) = line.split_once(' ').ok_or(format!("{line:?} names no node and fault"))?;
        if who == GATEWAY && what == "off" {
            self.gateway_off = !self.gateway_off;
            let now = if self.gateway_off { "hears nothing" } else { "hears again" };
            return Ok(format!("{GATEWAY} {now}"));
        }
        if !NODES.contains(&who) {
            return Err(format!("nobody is called {who:?}: there are {} and {GATEWAY}", NODES.join(", ")));
        }
        let fault = FAULTS.iter().find(|(word, _)| *word == what);
        let words = || FAULTS.map(|(word, _)| word).join(", ");
        let (word, fault) = fault.ok_or_else(|| format!("{what:?} is no fault: there are {}", words()))?;
        let faults = self.of_nodes.entry(who.to_owned()).or_default();
        let on = faults.insert(*fault);
        if !on {
            faults.remove(fault);
        }
        Ok(format!("{who}: {word} is {}", if on { "on" } else { "off" }))
    }

    /// What is wrong with a node.
    pub(super) fn of(&self, node: &str) -> Faults {
        self.of_nodes.get(node).cloned().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_line_again_switches_back() {
        let mut switches = Switches::default();
        assert_eq!(switches.switch("mast-slope snow").as_deref(), Ok("mast-slope: snow is on"));
        assert_eq!(switches.of("mast-slope"), Faults::from([Fault::Snow]));
        assert_eq!(switches.switch("mast-slope snow").as_deref(), Ok("mast-slope: snow is off"));
        assert!(switches.of("mast-slope").is_empty());
        assert!(switches.switch("packing-house off").is_ok() && switches.gateway_off);
    }

    #[test]
    fn a_line_that_means_nothing_is_answered_with_what_there_is() {
        let mut switches = Switches::default();
        assert!(switches.switch("mast snow").is_err_and(|said| said.contains("hail-net")));
        assert!(switches.switch("mast-slope rain").is_err_and(|said| said.contains("unplugged")));
        assert!(switches.switch("snow").is_err());
    }
}
