//! The registry of nodes.

use std::collections::BTreeSet;
use std::path::Path;

use design::date::Date;
use logbook::registry::{Node, Registry};
use wire::identity::{DevEui, JoinEui};

/// A registry that opens keeps its text to the byte, has every open identity once, and holds one node more when one is added.
pub fn holds(bytes: &[u8]) {
    let Ok(text) = str::from_utf8(bytes) else { return };
    let Ok(mut registry) = read(text) else { return };
    assert_eq!(registry.text(), text);
    let open: Vec<DevEui> =
        registry.nodes().iter().filter(|node| node.open()).map(|node| node.dev_eui).collect();
    assert_eq!(open.iter().collect::<BTreeSet<_>>().len(), open.len(), "an identity is open twice");
    let before = registry.nodes().to_vec();
    let added = node(&before);
    if registry.add(added.clone()).is_ok() {
        let again = read(registry.text()).expect("what was added can be read");
        let (last, others) = again.nodes().split_last().expect("one was added");
        assert_eq!(last, &added);
        assert_eq!(format!("{others:?}"), format!("{before:?}"), "the others are as they were");
    }
}

fn read(text: &str) -> Result<Registry, logbook::registry::RegistryError> {
    Registry::from_text(Path::new("registry.toml"), text.to_owned())
}

/// One that may be new.
fn node(known: &[Node]) -> Node {
    let number = u8::try_from(known.len() % 256).expect("below 256");
    Node {
        name: format!("mast-{number}-new"),
        kind: "Frost \"mast\" \\ 2".to_owned(),
        dev_eui: DevEui::from_display_bytes([0xfe, 0xff, 0, 0, 0, 0, 0, number]),
        join_eui: JoinEui::from_display_bytes([1; 8]),
        place: None,
        constants: [("wetness".to_owned(), [("dry_level".to_owned(), Some(0.25))].into())].into(),
        from: Date::new(2026, 11, 25).expect("a day"),
        until: None,
    }
}

/// The registry of the tests.
pub fn seeds() -> Vec<Vec<u8>> {
    let text = include_str!("../../logbook/tests/data/v1/registry.toml");
    assert!(read(text).is_ok());
    vec![text.as_bytes().to_vec()]
}
