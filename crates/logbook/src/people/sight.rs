//! What people who may only read see of where somebody is: so many metres, and so long.

use serde_json::Value;

use crate::received::Moment;

/// Metres of a degree along a meridian, rounded (a cell need not be exact).
const METRES_OF_DEGREE: f64 = 111_000.0;
/// Near a pole a cell is no wider than if it lay here \[degrees\].
const NEAREST_POLE_DEG: f64 = 89.0;

/// What is shown of positions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// Positions are moved to the middle of cells of this width \[m\]; 0: they are shown as they are.
    pub precision_m: f64,
    /// Older ones are not shown \[us\].
    pub span: Moment,
}

impl Sight {
    /// Cuts the positions among the values of a reading: pairs of columns `.._latitude` and `.._longitude`. What of them is
    /// no pair of numbers is not shown.
    pub fn cut(&self, values: &mut [(String, Value)], at: Moment, now: Moment) {
        let is_old = now - at > self.span;
        let north: Vec<(String, usize)> = values
            .iter()
            .enumerate()
            .filter_map(|(place, (name, _))| Some((name.strip_suffix(LATITUDE)?.to_owned(), place)))
            .collect();
        for (field, north) in north {
            let east = values.iter().position(|(name, _)| name.strip_suffix(LONGITUDE) == Some(&field));
            let pair = east.and_then(|east| Some((values[north].1.as_f64()?, values[east].1.as_f64()?)));
            let shown = pair.filter(|_| !is_old).map(|(north, east)| self.cell(north, east));
            values[north].1 = shown.map_or(Value::Null, |(north, _)| north.into());
            if let Some(east) = east {
                values[east].1 = shown.map_or(Value::Null, |(_, east)| east.into());
            }
        }
    }

    /// Whether a column holds a coordinate.
    pub fn is_of_position(column: &str) -> bool {
        column.ends_with(LATITUDE) || column.ends_with(LONGITUDE)
    }

    /// The middle of the cell: it is the same for all fixes within, so that many fixes tell no more than one.
    fn cell(&self, north: f64, east: f64) -> (f64, f64) {
        if self.precision_m <= 0.0 {
            return (north, east);
        }
        let middle = |value: f64, step: f64| ((value / step).floor() + 0.5) * step;
        let step = self.precision_m / METRES_OF_DEGREE;
        let north = middle(north, step).clamp(-90.0, 90.0);
        let step = step / north.abs().min(NEAREST_POLE_DEG).to_radians().cos();
        (north, middle(east, step).clamp(-180.0, 180.0))
    }
}

const LATITUDE: &str = "_latitude";
const LONGITUDE: &str = "_longitude";

#[cfg(test)]
mod tests {
    use super::*;

    const HOUR: Moment = 3_600_000_000;
    const SIGHT: Sight = Sight { precision_m: 1000.0, span: 24 * HOUR };

    fn fix(north: f64, east: f64) -> Vec<(String, Value)> {
        vec![
            ("place_latitude".to_owned(), north.into()),
            ("battery".to_owned(), 3600.into()),
            ("place_longitude".to_owned(), east.into()),
        ]
    }

    fn seen(north: f64, east: f64) -> (f64, f64) {
        let mut values = fix(north, east);
        SIGHT.cut(&mut values, 0, 0);
        assert_eq!(values[1].1, 3600, "all else stays");
        (values[0].1.as_f64().expect("a number"), values[2].1.as_f64().expect("a number"))
    }

    /// A degree of latitude is 111.2 km, one of longitude cos(latitude) of that (a sphere of 6,371 km, by hand).
    #[test]
    fn a_position_is_moved_by_no_more_than_a_cell_and_alike_for_all_within_it() {
        for (north, east) in [(53.0, -7.0), (-33.9, 18.4), (69.6, 18.9), (0.0, 0.0), (46.5, 179.99)] {
            let (to_north, to_east) = seen(north, east);
            let metres = |degrees: f64| degrees.abs() * 111_195.0;
            assert!(metres(to_north - north) <= 510.0, "{north}");
            assert!(metres(to_east - east) * north.to_radians().cos() <= 520.0, "{north} {east}");
        }
        // 50 m apart, within one cell: no difference is left.
        assert_eq!(seen(53.0012, -7.0012), seen(53.0016, -7.0009));
        assert_ne!(seen(53.0, -7.0), seen(53.05, -7.0));
    }

    #[test]
    fn an_old_or_broken_position_is_not_shown_at_all() {
        for (at, is_shown) in [(0, true), (-24 * HOUR, true), (-24 * HOUR - 1, false)] {
            let mut values = fix(53.0, -7.0);
            SIGHT.cut(&mut values, at, 0);
            assert_eq!((!values[0].1.is_null(), !values[2].1.is_null()), (is_shown, is_shown), "{at}");
        }
        let mut alone = vec![("place_latitude".to_owned(), Value::from(53.0))];
        SIGHT.cut(&mut alone, 0, 0);
        assert!(alone[0].1.is_null());
    }

    #[test]
    fn whose_owner_lets_everybody_see_is_shown_as_it_is() {
        let open = Sight { precision_m: 0.0, span: Moment::MAX };
        let mut values = fix(53.123_456, -7.654_321);
        open.cut(&mut values, 0, 1_796_000_000_000_000);
        assert_eq!(values, fix(53.123_456, -7.654_321));
    }
}
