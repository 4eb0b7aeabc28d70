//! A second skyline for the months in leaf holds in those months and in no others, under drawn and recorded weather.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use forecast::life::climate_view::{ClimateMonth, climate_view};
use forecast::sky::climate::Climate;
use forecast::sky::plane::{OnPlane, on_plane};

const BARE: &str = r#"[["0 deg", "3 deg"], ["180 deg", "8 deg"]]"#;
/// Higher all around; the sun of those months still climbs over it at noon.
const WOOD: &str = r#"[["0 deg", "25 deg"], ["180 deg", "35 deg"]]"#;
const IN_LEAF: [u8; 4] = [4, 5, 9, 10];

/// The frost mast under these skylines.
fn mast(horizon: &str, in_leaf: Option<&str>) -> Design {
    let text = include_str!("../../../examples/larkmoor/frost-mast.toml");
    let line = text.lines().find(|line| line.starts_with("horizon =")).expect("the mast has a skyline");
    let leaf = in_leaf
        .map(|leaf| format!("\nhorizon_in_leaf = {leaf}\nmonths_in_leaf = {IN_LEAF:?}"))
        .unwrap_or_default();
    common::design(&text.replace(line, &format!("horizon = {horizon}{leaf}")))
}

fn months(design: &Design) -> [ClimateMonth; 12] {
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    climate_view(design, &climate, 1).months
}

fn recorded(design: &Design) -> OnPlane {
    on_plane(design, design.panel.as_ref().expect("the mast has a panel"), &common::port_angeles())
}

#[test]
fn drawn_sun_is_that_of_the_skyline_of_the_month() {
    let (bare, wood, both) =
        (months(&mast(BARE, None)), months(&mast(WOOD, None)), months(&mast(BARE, Some(WOOD))));
    for ((bare, wood), both) in bare.iter().zip(&wood).zip(&both) {
        let leaf = IN_LEAF.contains(&both.month);
        let expected = if leaf { wood } else { bare };
        assert_eq!(both.in_plane_wh_m2.to_bits(), expected.in_plane_wh_m2.to_bits(), "month {}", both.month);
        assert_eq!(both.in_leaf, leaf);
        assert!(
            wood.in_plane_wh_m2 < 0.9 * bare.in_plane_wh_m2,
            "the wood takes light in month {}",
            wood.month
        );
    }
}

#[test]
fn recorded_sun_is_that_of_the_skyline_of_the_month() {
    let (bare, wood, both) =
        (recorded(&mast(BARE, None)), recorded(&mast(WOOD, None)), recorded(&mast(BARE, Some(WOOD))));
    for (hour, (month, ..)) in common::port_angeles().dates().enumerate() {
        let expected = if IN_LEAF.contains(&month) { &wood } else { &bare };
        assert_eq!(
            both.effective_w_m2[hour].to_bits(),
            expected.effective_w_m2[hour].to_bits(),
            "hour {hour}"
        );
        assert!(wood.plain_w_m2[hour] <= bare.plain_w_m2[hour]);
    }
}

#[test]
fn equal_skylines_are_one() {
    assert_eq!(recorded(&mast(WOOD, Some(WOOD))), recorded(&mast(WOOD, None)));
    let (one, two) = (months(&mast(WOOD, None)), months(&mast(WOOD, Some(WOOD))));
    for (one, two) in one.iter().zip(&two) {
        assert_eq!(one.in_plane_wh_m2.to_bits(), two.in_plane_wh_m2.to_bits(), "month {}", one.month);
    }
}
