//! Bars of the bookkeeper's page: one for each entry, all on one scale.

use maud::{Markup, html};

use super::frame::{Scale, px};

const WIDTH: f64 = 300.0;
const HEIGHT: f64 = 14.0;

/// A bar on a scale that ends at `largest`; ochre earns, plum spends.
pub(crate) fn bar(charge: f64, largest: f64) -> Markup {
    let x = Scale::new((0.0, largest), (0.0, WIDTH));
    let length = if charge == 0.0 { 0.0 } else { x.at(charge.abs()).max(1.0) };
    let class = if charge > 0.0 { "earn" } else { "spend" };
    html! {
        svg.bar viewBox={ "0 0 " (px(WIDTH)) " " (px(HEIGHT)) } preserveAspectRatio="none" aria-hidden="true" {
            rect class=(class) x="0" y="2" width=(px(length)) height="10" {}
        }
    }
}
