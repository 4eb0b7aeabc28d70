//! Bars of the bookkeeper's page: one for each entry, all on one scale.

use maud::{Markup, html};

use super::frame::{Scale, px};

const WIDTH: f64 = 300.0;
const HEIGHT: f64 = 14.0;

/// A bar on a scale that ends at `top`; ochre earns, plum spends; a longer one has a torn end.
pub fn bar(charge: f64, top: f64) -> Markup {
    let x = Scale::new((0.0, top), (0.0, WIDTH));
    let length = if charge == 0.0 { 0.0 } else { x.at(charge.abs()).max(1.0) };
    let class = if charge > 0.0 { "earn" } else { "spend" };
    let end = if charge.abs() > top * 1.001 { "l-6 2.5l6 2.5l-6 2.5l6 2.5" } else { "v10" };
    html! {
        svg.bar viewBox={ "0 0 " (px(WIDTH)) " " (px(HEIGHT)) } preserveAspectRatio="none" aria-hidden="true" {
            path class=(class) d={ "M0 2H" (px(length)) (end) "H0Z" } {}
        }
    }
}
