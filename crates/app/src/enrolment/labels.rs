//! Labels to cut out: name, identity and code, and no key.

use logbook::registry::Node;
use maud::{Markup, html};

use super::paper;
use super::qr::{self, ProfileId};

/// Labels on one sheet: two columns of seven.
const PER_PAGE: usize = 14;
/// A longer name is set smaller \[characters\].
const LONG_NAME: usize = 20;

/// The labels of these nodes.
pub(crate) fn page(kind: &str, nodes: &[&Node], profile: &ProfileId) -> String {
    let pages = html! {
        @for sheet in nodes.chunks(PER_PAGE) {
            section.page {
                (paper::title(&format!("Labels: {kind}"), "cut along the dashes; print at 100 %"))
                div.labels { @for node in sheet { (label(node, profile)) } }
                (paper::foot("No key is on a label or in its code."))
            }
        }
    };
    paper::document(&format!("Labels: {kind}"), &pages)
}

fn label(node: &Node, profile: &ProfileId) -> Markup {
    let long = node.name.chars().count() > LONG_NAME;
    html! {
        div.label {
            (qr::drawing(&qr::text(node.join_eui, node.dev_eui, profile)))
            div {
                b.long[long] { (node.name) }
                p { (node.kind) }
                p.quiet { "DevEUI" @if node.locally_administered() { ", locally administered" } }
                p.eui { (node.dev_eui) }
                p.quiet { "JoinEUI" }
                p.eui { (node.join_eui) }
            }
        }
    }
}
