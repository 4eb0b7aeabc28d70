//! Whose frame it is, by the registry and the key box.

use std::fmt::Write as _;

use logbook::keys::KeyBox;
use logbook::registry::{Node, Registry};
use wire::frame::Frame;
use wire::identity::{DevEui, JoinEui};
use wire::join::{EncryptedJoinAccept, JoinRequest};
use wire::key::AppKey;

/// Who is who, and their keys if they were opened.
pub(crate) struct Owners {
    /// Who is who.
    pub(crate) registry: Registry,
    /// Their keys.
    pub(crate) keys: Option<KeyBox>,
}

/// What registry and keys say about a frame.
pub(crate) fn owner(frame: &Frame<'_>, owners: &Owners) -> String {
    match frame {
        Frame::JoinRequest(request) => asks(request, owners),
        Frame::JoinAccept(accept) => lets(accept, owners),
        // Its owner is known by the keys of its session alone.
        Frame::Data(_) => String::new(),
    }
}

fn asks(request: &JoinRequest<'_>, owners: &Owners) -> String {
    let mut text = String::new();
    let node = match whose(request.dev_eui(), &owners.registry) {
        Whose::Node(node) => {
            { writeln!(text, "DevEUI   {}, a {}, enrolled {}", node.name, node.kind, node.from) }
                .map(|()| Some(node))
        }
        Whose::Reversed(node) => writeln!(
            text,
            "DevEUI   byte-reversed: {} is {}. The firmware gives its stack the EUI the wrong way round.",
            node.name, node.dev_eui
        )
        .map(|()| Some(node)),
        Whose::Nobody => writeln!(text, "DevEUI   not in the registry, nor is its reverse").map(|()| None),
    }
    .expect("a string takes any text");
    if let Some(node) = node {
        text += &join_server(request.join_eui(), node);
    }
    match &owners.keys {
        Some(keys) => text += &key_words(request, node, owners, keys),
        None => text += "MIC      not checked: give --passphrase-file to open the key box\n",
    }
    text
}

enum Whose<'a> {
    Node(&'a Node),
    Reversed(&'a Node),
    Nobody,
}

fn whose(dev_eui: DevEui, registry: &Registry) -> Whose<'_> {
    if let Some(node) = registry.device(dev_eui) {
        return Whose::Node(node);
    }
    registry.device(dev_eui.byte_reversed()).map_or(Whose::Nobody, Whose::Reversed)
}

fn join_server(join_eui: JoinEui, node: &Node) -> String {
    if join_eui == node.join_eui {
        "JoinEUI  that of the registry\n".to_owned()
    } else if join_eui.byte_reversed() == node.join_eui {
        format!("JoinEUI  byte-reversed: the registry has {}\n", node.join_eui)
    } else {
        format!("JoinEUI  another one: the registry has {}\n", node.join_eui)
    }
}

fn key_words(request: &JoinRequest<'_>, node: Option<&Node>, owners: &Owners, keys: &KeyBox) -> String {
    let signed = |key: &AppKey| request.verify(key).is_ok();
    let own = node.and_then(|node| keys.key(node.dev_eui));
    if own.is_some_and(signed) {
        return "MIC      made with the key of the key box: the device is genuine\n".to_owned();
    }
    if own.is_some_and(|key| signed(&reversed(key))) {
        return "MIC      wrong key: the device has its key byte-reversed; a key is never reversed\n"
            .to_owned();
    }
    if let Some((other, _)) = keys.keys().find(|(_, key)| signed(key)) {
        let name = owners.registry.device(other).map_or("a node without a row", |node| node.name.as_str());
        return format!(
            "MIC      wrong key: made with the key of {name} ({other}); were two boards swapped?\n"
        );
    }
    match own {
        Some(_) => "MIC      wrong key, or a damaged frame: no key of the key box made it\n".to_owned(),
        None => "MIC      made with no key of the key box\n".to_owned(),
    }
}

fn reversed(key: &AppKey) -> AppKey {
    let mut octets = zeroize::Zeroizing::new(*key.expose());
    octets.reverse();
    AppKey::from_bytes(*octets)
}

fn lets(accept: &EncryptedJoinAccept<'_>, owners: &Owners) -> String {
    let Some(keys) = &owners.keys else {
        return "Not opened: give --passphrase-file to open the key box\n".to_owned();
    };
    for (dev_eui, key) in keys.keys() {
        if let Ok(granted) = accept.decrypt(key) {
            let name =
                owners.registry.device(dev_eui).map_or("a node without a row", |node| node.name.as_str());
            let delay = granted.rx_delay.get().max(1);
            return format!(
                "For {name} ({dev_eui}):\n  JoinNonce  {}\n  NetID      {}\n  DevAddr    {}\n  windows    {:?}, first after {delay} s\n  channels   {:?}\n",
                granted.join_nonce, granted.net_id, granted.dev_addr, granted.dl_settings, granted.cf_list
            );
        }
    }
    "No key of the key box opens it: another device's, damaged, or of LoRaWAN 1.1\n".to_owned()
}
