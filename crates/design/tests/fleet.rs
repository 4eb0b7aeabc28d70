//! A site's file: what it places, what it overrides, and what it says when it is wrong.
#![expect(clippy::float_cmp, reason = "figures are passed through unchanged")]

use design::catalog::Catalog;
use design::diagnostic::Diagnostic;
use design::file::{parse, parse_fleet};
use design::fleet::{Fleet, resolve};
use design::manual::{commented_example, commented_site};
use design::node::Design;

const SITE: &str = r#"schema = 1
name = "Slope"
[gateway.roof]
latitude = "47 deg"
longitude = "13 deg"
antenna_height = "12 m"
[ground]
around_nodes = "trees"
mounting = "1 dB"
[node.near]
kind = "mast.toml"
latitude = "47.01 deg"
longitude = "13.01 deg"
[node.far]
kind = "mast.toml"
latitude = "47.1 deg"
longitude = "13.1 deg"
elevation = "900 m"
tilt = "70 deg"
azimuth = "any"
antenna_height = "4 m"
mounting = "6 dB"
"#;

fn fleet(text: &str) -> Result<Fleet, Vec<Diagnostic>> {
    resolve(&parse_fleet(text)).map(|resolved| resolved.fleet)
}

fn kind() -> Design {
    design::resolve::resolve(&Catalog::builtin(), &parse(&commented_example())).expect("resolves").design
}

#[test]
fn a_placed_node_is_its_kind_but_for_what_the_site_says() {
    let (fleet, kind) = (fleet(SITE).expect("resolves"), kind());
    let [near, far] = &fleet.nodes[..] else { panic!("two nodes") };
    let near = fleet.design(near, &kind).expect("it may stand there");
    assert_eq!(near.name, "near");
    assert_eq!(near.site.latitude.degrees(), 47.01);
    assert_eq!(near.site.elevation, kind.site.elevation);
    assert_eq!(near.surroundings.ground.mounting.map(design::quantity::Decibels::decibels), Some(1.0));
    assert_eq!(near.surroundings.gateways.len(), 1, "the site's gateways, not the kind's");
    assert_eq!(near.surroundings.gateways[0].name, "roof");
    let far = fleet.design(far, &kind).expect("it may stand there");
    assert_eq!(far.site.elevation.metres(), 900.0);
    assert_eq!(far.panel.as_ref().map(|panel| (panel.tilt.degrees(), panel.azimuth)), Some((70.0, None)));
    assert_eq!(far.radio.as_ref().map(|radio| radio.antenna_height.metres()), Some(4.0));
    assert_eq!(far.surroundings.ground.mounting.map(design::quantity::Decibels::decibels), Some(6.0));
}

#[test]
fn the_region_of_a_site_is_that_of_gateways_which_do_not_say_theirs() {
    let text = SITE.replace("name = \"Slope\"", "name = \"Slope\"\nregion = \"EU868\"");
    let said = fleet(&text).expect("resolves").surroundings.gateways[0].clone();
    assert!(said.listens_to("EU868") && !said.listens_to("US915"));
    let own = text.replace("antenna_height = \"12 m\"", "antenna_height = \"12 m\"\nregion = \"IN865\"");
    assert!(fleet(&own).expect("resolves").surroundings.gateways[0].listens_to("IN865"));
    assert!(fleet(SITE).expect("resolves").surroundings.gateways[0].listens_to("US915"));
    assert!(fleet(&text.replace("EU868", "EU869")).is_err());
}

#[test]
fn the_commented_site_resolves() {
    let fleet = fleet(&commented_site()).expect("resolves");
    assert_eq!((fleet.nodes.len(), fleet.surroundings.gateways.len()), (1, 1));
}

#[test]
fn slips_of_a_site_are_found_at_their_line() {
    for (from, to, code, line) in [
        ("[node.near]\nkind = \"mast.toml\"\n", "[node.near]\n", "missing-key", 10),
        ("antenna_height = \"12 m\"", "antenna_height = 12", "bare-number", 6),
        ("latitude = \"47.01 deg\"", "latitude = \"147 deg\"", "latitude", 12),
        ("around_nodes = \"trees\"", "around_nodes = \"forest\"", "unknown-word", 8),
        ("[gateway.roof]", "[gatway.roof]", "unknown-key", 3),
        ("schema = 1", "schema = 9", "schema-version", 1),
    ] {
        let text = SITE.replace(from, to);
        let found = fleet(&text).expect_err(code);
        let at = |one: &Diagnostic| text[..one.span.start].lines().count().max(1);
        let hit = found.iter().any(|one| {
            one.code == code && (at(one) == line || text[..one.span.start].matches('\n').count() + 1 == line)
        });
        assert!(hit, "{code} at line {line}: {found:#?}");
    }
}

#[test]
fn without_a_data_rate_the_network_adapts_it() {
    let text = commented_example().replace("\ndata_rate = ", "\n#data_rate = ");
    let design = design::resolve::resolve(&Catalog::builtin(), &parse(&text)).expect("resolves").design;
    let radio = design.radio.as_ref().expect("has a radio");
    assert_eq!(radio.adaptation_margin.map(design::quantity::Decibels::decibels), Some(11.0));
    assert_eq!(radio.data_rates.first().map(|(rate, _)| *rate), radio.allowed_rates.first().copied());
    assert_eq!(kind().radio.as_ref().expect("has a radio").adaptation_margin, None, "a written rate is kept");
}

/// Within 0.05 degrees and 50 m of the first that shares no other's sky.
#[test]
fn nodes_of_one_kind_and_mounting_share_a_sky_near_the_first() {
    let node = |name: &str, more: &str| {
        format!("[node.{name}]\nkind = \"mast.toml\"\nlongitude = \"13.01 deg\"\n{more}\n")
    };
    let site = SITE.split("[node.near]").next().expect("gateways").to_owned()
        + &node("first", "latitude = \"47.01 deg\"")
        + &node("beside", "latitude = \"47.05 deg\"\nantenna_height = \"5 m\"")
        + &node("beyond", "latitude = \"47.07 deg\"")
        + &node("steeper", "latitude = \"47.01 deg\"\ntilt = \"70 deg\"")
        + &node("shaded", "latitude = \"47.01 deg\"\nhorizon = [[\"180 deg\", \"20 deg\"]]")
        + &node("low", "latitude = \"47.01 deg\"\nelevation = \"410 m\"")
        + &node("lower", "latitude = \"47.01 deg\"\nelevation = \"355 m\"")
        + &node("low_too", "latitude = \"47.02 deg\"\nelevation = \"440 m\"")
        + &node("other", "latitude = \"47.01 deg\"").replace("mast.toml", "tank.toml");
    let fleet = fleet(&site).expect("resolves");
    assert_eq!(fleet.skies(), [0, 0, 2, 3, 4, 5, 6, 5, 8]);
}
