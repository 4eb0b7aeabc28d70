//! Whether a regional plan is in use where the node stands.

use std::sync::LazyLock;

use super::Resolver;
use crate::diagnostic;
use crate::node::{RadioUse, Site};

/// Read once: a design is resolved for each key that is typed and each variant that is tried.
static DATA: LazyLock<toml::Table> = LazyLock::new(|| {
    include_str!("../../data/region-places.toml").parse().expect("a test reads the shipped boxes")
});

impl Resolver<'_> {
    /// Warns of a plan of another part of the world.
    pub(super) fn check_region_place(&mut self, site: &Site, radio: &RadioUse) {
        let (latitude, longitude) = (site.latitude.degrees(), site.longitude.degrees());
        let in_use = plans_at(latitude, longitude);
        let plan = radio.region.name.as_str();
        if in_use.iter().any(|known| known == plan) {
            return;
        }
        let message = format!("the plan {plan} is not in use at {latitude:.1} deg, {longitude:.1} deg");
        let help = match in_use.as_slice() {
            [] => "ask the country's regulator which plan is lawful there".to_owned(),
            names => format!("plans around there: {}; ask the country's regulator", names.join(", ")),
        };
        self.found.warning(diagnostic::REGION_PLACE, &self.file.span_of("radio.region"), message, help);
    }
}

/// The regional plans that are in use around a place.
fn plans_at(latitude_deg: f64, longitude_deg: f64) -> Vec<String> {
    let boxes = DATA.get("boxes").and_then(toml::Value::as_table);
    let holds = |value: &toml::Value| {
        let edges: Vec<f64> = value.as_array().into_iter().flatten().filter_map(number).collect();
        let [south, west, north, east] = edges[..] else { return false };
        (south..=north).contains(&latitude_deg) && (west..=east).contains(&longitude_deg)
    };
    let named = boxes.into_iter().flatten();
    let found = named.filter(|(_, list)| list.as_array().into_iter().flatten().any(holds));
    found.map(|(name, _)| name.clone()).collect()
}

fn number(value: &toml::Value) -> Option<f64> {
    value.as_integer().map(|whole| whole as f64)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Region;

    #[test]
    fn every_plan_has_a_place_and_every_place_a_plan() {
        let boxes = DATA["boxes"].as_table().expect("a table");
        let mut names: Vec<&str> = boxes.keys().map(String::as_str).collect();
        names.sort_unstable();
        assert_eq!(names, Region::names());
        for list in boxes.values().filter_map(toml::Value::as_array).flatten() {
            let edges: Vec<f64> = list.as_array().expect("a box").iter().filter_map(number).collect();
            assert_eq!(edges.len(), 4);
            assert!(edges[0] < edges[2] && edges[1] < edges[3], "{edges:?}");
        }
    }

    #[test]
    fn towns_of_four_continents_find_their_plans() {
        for (latitude_deg, longitude_deg, plan) in [
            (52.5, 13.4, "EU868"),
            (48.1, -123.4, "US915"),
            (-33.9, 151.2, "AU915"),
            (-23.5, -46.6, "AU915"),
            (35.7, 139.7, "AS923-1"),
            (28.6, 77.2, "IN865"),
            (39.9, 116.4, "CN470"),
            (37.6, 127.0, "KR920"),
            (55.8, 37.6, "RU864"),
            (-1.3, 36.8, "EU868"),
        ] {
            assert!(plans_at(latitude_deg, longitude_deg).iter().any(|known| known == plan), "{plan}");
        }
        let berlin = plans_at(52.5, 13.4);
        assert!(!berlin.iter().any(|known| known == "US915" || known == "AU915"), "{berlin:?}");
    }
}
