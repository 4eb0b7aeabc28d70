//! Areas in which something that moves is to stay.

use serde_json::Value;

/// Metres in a degree of a great circle: on the sphere of the mean radius R1 of GRS 80, 6371008.7714 m.
///
/// # References
/// H. Moritz, "Geodetic Reference System 1980", Journal of Geodesy 74 (2000), 128-162, table of derived constants.
pub const METRES_PER_DEGREE: f64 = 111_195.08;

/// Degrees north and east.
pub type Place = (f64, f64);

/// An area of the site file.
#[derive(Clone, Debug, PartialEq)]
pub struct Area {
    /// Its name there.
    pub name: String,
    /// Names of the nodes that are to stay in it.
    pub nodes: Vec<String>,
    /// Its ground.
    pub ground: Ground,
}

/// The ground of an area.
#[derive(Clone, Debug, PartialEq)]
pub enum Ground {
    /// All that is not farther from a place.
    Circle {
        /// Its middle.
        middle: Place,
        /// How far it goes \[m\].
        radius_m: f64,
    },
    /// Polygons, each an outer ring and holes.
    Polygons(Vec<Vec<Vec<Place>>>),
}

/// Distance of two places on the ground \[m\]; right to 0.5 % up to 100 km, of mean latitudes below 80 degrees.
pub fn metres_between(one: Place, other: Place) -> f64 {
    let (north, east) = from(one, other);
    north.hypot(east)
}

/// Metres north and east of a place.
fn from(origin: Place, place: Place) -> (f64, f64) {
    let narrowing = f64::midpoint(origin.0, place.0).to_radians().cos();
    let around = (place.1 - origin.1 + 540.0).rem_euclid(360.0) - 180.0;
    ((place.0 - origin.0) * METRES_PER_DEGREE, around * narrowing * METRES_PER_DEGREE)
}

impl Area {
    /// How far outside a place lies \[m\]; 0 inside.
    pub fn outside_m(&self, place: Place) -> f64 {
        match &self.ground {
            Ground::Circle { middle, radius_m } => (metres_between(*middle, place) - radius_m).max(0.0),
            Ground::Polygons(polygons) => {
                let outside = |rings: &Vec<Vec<Place>>| {
                    let crossings = rings.iter().map(|ring| crossings(ring, place)).sum::<usize>();
                    if crossings % 2 == 1 {
                        return 0.0;
                    }
                    rings.iter().map(|ring| to_ring_m(ring, place)).fold(f64::INFINITY, f64::min)
                };
                polygons.iter().map(outside).fold(f64::INFINITY, f64::min)
            }
        }
    }
}

impl Ground {
    /// The polygons of a GeoJSON document (RFC 7946): of a geometry, a feature, or all features of a collection.
    ///
    /// # Errors
    /// In words what is wrong with it.
    pub fn of_geojson(text: &str) -> Result<Self, String> {
        let document: Value = serde_json::from_str(text).map_err(|error| error.to_string())?;
        let mut polygons = Vec::new();
        collect(&document, &mut polygons)?;
        if polygons.is_empty() { Err("it holds no polygon".to_owned()) } else { Ok(Self::Polygons(polygons)) }
    }
}

fn collect(value: &Value, polygons: &mut Vec<Vec<Vec<Place>>>) -> Result<(), String> {
    let list = |key: &str| {
        value.get(key).and_then(Value::as_array).ok_or_else(|| format!("a list `{key}` is missing"))
    };
    match value.get("type").and_then(Value::as_str) {
        Some("FeatureCollection") => {
            list("features")?.iter().try_for_each(|feature| collect(feature, polygons))
        }
        Some("Feature") => collect(value.get("geometry").unwrap_or(&Value::Null), polygons),
        Some("Polygon") => {
            polygons.push(list("coordinates")?.iter().map(ring).collect::<Result<_, _>>()?);
            Ok(())
        }
        Some("MultiPolygon") => list("coordinates")?.iter().try_for_each(|polygon| {
            let rings = polygon.as_array().ok_or("a polygon is no list of rings")?;
            polygons.push(rings.iter().map(ring).collect::<Result<_, _>>()?);
            Ok(())
        }),
        Some(other) => Err(format!("a `{other}` has no inside: polygons are wanted")),
        None => Err("it is no GeoJSON: an object has no `type`".to_owned()),
    }
}

fn ring(value: &Value) -> Result<Vec<Place>, String> {
    let corner = |value: &Value| {
        let number = |index| value.get(index).and_then(Value::as_f64);
        // RFC 7946: east before north.
        match (number(1), number(0)) {
            (Some(north), Some(east)) if north.abs() <= 90.0 && east.abs() <= 180.0 => Ok((north, east)),
            _ => Err(format!("`{value}` is no pair of degrees east and north")),
        }
    };
    let corners: Vec<Place> = value
        .as_array()
        .ok_or("a ring is no list of corners")?
        .iter()
        .map(corner)
        .collect::<Result<_, _>>()?;
    let is_ring = corners.len() >= 4 && corners.first() == corners.last();
    if is_ring {
        Ok(corners)
    } else {
        Err("a ring has four corners or more, the last as the first".to_owned())
    }
}

fn sides(ring: &[Place]) -> impl Iterator<Item = (Place, Place)> {
    ring.iter().copied().zip(ring.iter().copied().skip(1))
}

/// How often a way eastward from a place crosses a ring.
fn crossings(ring: &[Place], (north, east): Place) -> usize {
    let crosses = |((n1, e1), (n2, e2)): &(Place, Place)| {
        (*n1 > north) != (*n2 > north) && east < e1 + (e2 - e1) * (north - n1) / (n2 - n1)
    };
    sides(ring).filter(crosses).count()
}

fn to_ring_m(ring: &[Place], place: Place) -> f64 {
    let to_side = |(one, other): (Place, Place)| {
        let (begin, end) = (from(place, one), from(place, other));
        let (along_n, along_e) = (end.0 - begin.0, end.1 - begin.1);
        let length = along_n.powi(2) + along_e.powi(2);
        let share = if length > 0.0 { -(begin.0 * along_n + begin.1 * along_e) / length } else { 0.0 };
        let share = share.clamp(0.0, 1.0);
        (begin.0 + share * along_n).hypot(begin.1 + share * along_e)
    };
    sides(ring).map(to_side).fold(f64::INFINITY, f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A field of 0.01 by 0.02 degrees at 60 degrees north, where a degree east is half a degree north: 1,112 m by 1,112 m.
    const FIELD: &str = r#"{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry":
        {"type": "Polygon", "coordinates": [[[10, 60], [10.02, 60], [10.02, 60.01], [10, 60.01], [10, 60]],
        [[10.008, 60.004], [10.012, 60.004], [10.012, 60.006], [10.008, 60.006], [10.008, 60.004]]]}}]}"#;

    fn field() -> Area {
        let ground = Ground::of_geojson(FIELD).expect("it is sound");
        Area { name: "field".to_owned(), nodes: Vec::new(), ground }
    }

    /// By hand: 0.001 degrees north are 111.2 m; 0.002 degrees east at 60 degrees 111.2 m; a corner 157 m away.
    #[test]
    fn outside_is_counted_from_the_nearest_side_and_a_hole_is_outside() {
        let field = field();
        let near = |place, metres: f64| (field.outside_m(place) - metres).abs() < 1.0;
        assert!(near((60.002, 10.004), 0.0));
        assert!(near((60.011, 10.004), 111.2), "north of it: {}", field.outside_m((60.011, 10.004)));
        assert!(near((60.005, 9.998), 111.2), "west of it: {}", field.outside_m((60.005, 9.998)));
        assert!(near((59.999, 9.998), 157.2), "at a corner: {}", field.outside_m((59.999, 9.998)));
        assert!(near((60.005, 10.010), 111.2), "in the pond: {}", field.outside_m((60.005, 10.010)));
    }

    #[test]
    fn a_circle_goes_as_far_as_its_radius_also_over_the_date_line() {
        let area = |middle, radius_m| Area {
            name: "pen".to_owned(),
            nodes: Vec::new(),
            ground: Ground::Circle { middle, radius_m },
        };
        assert!(area((60.0, 10.0), 200.0).outside_m((60.001, 10.002)) < 1e-9, "157 m");
        assert!((area((60.0, 10.0), 100.0).outside_m((60.001, 10.002)) - 57.2).abs() < 1.0);
        assert!((metres_between((0.0, 179.999), (0.0, -179.999)) - 222.4).abs() < 1.0);
    }

    #[test]
    fn what_has_no_inside_is_refused_in_words() {
        for (text, words) in [
            (r#"{"type": "Point", "coordinates": [1, 2]}"#, "`Point` has no inside"),
            (r#"{"type": "Polygon", "coordinates": [[[1, 2], [3, 4], [1, 2]]]}"#, "four corners"),
            (
                r#"{"type": "Polygon", "coordinates": [[[1, 95], [3, 4], [5, 6], [1, 95]]]}"#,
                "no pair of degrees",
            ),
            (r#"{"type": "FeatureCollection", "features": []}"#, "no polygon"),
            ("{}", "no GeoJSON"),
            ("[", "EOF"),
        ] {
            let refused = Ground::of_geojson(text).expect_err(text);
            assert!(refused.contains(words), "{text}: {refused}");
        }
    }
}
