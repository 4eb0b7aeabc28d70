//! Pairs, curves, skylines and where a panel faces.

use crate::diagnostic::{self, Diagnostics};
use crate::quantity::{Angle, Quantity};
use crate::section::Field;
use toml::Spanned;
use toml::de::DeValue;

/// A lowest and a highest value.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pair<T>(pub(crate) T, pub(crate) T);

impl<Q: Quantity> Field for Pair<Q> {
    fn noun() -> String {
        format!("pair [lowest, highest] of {}s", Q::NOUN)
    }
    fn schema() -> String {
        <(Q, Q)>::schema()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        <(Q, Q)>::read(value, found).map(|(low, high)| Self(low, high))
    }
    fn numbers(&self) -> Vec<f64> {
        vec![self.0.si(), self.1.si()]
    }
    fn number_in(text: &str) -> Option<f64> {
        Q::number_in(text)
    }
    fn said(number: f64) -> String {
        Q::said(number)
    }
}

/// Rows of two columns, the left one ascending strictly. A rule applies to the right one.
#[derive(Clone, Debug)]
pub(crate) struct Curve<X, Y>(pub(crate) Vec<(X, Y)>);

impl<X: Quantity, Y: Quantity> Field for Curve<X, Y> {
    fn noun() -> String {
        format!("list of pairs [{}, {}], ascending", X::NOUN, Y::NOUN)
    }
    fn schema() -> String {
        format!("{{\"type\":\"array\",\"minItems\":1,\"items\":{}}}", <(X, Y)>::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let rows = <Vec<(X, Y)>>::read(value, found)?;
        let pair = format!("[\"{}\", \"{}\"]", X::EXAMPLE, Y::EXAMPLE);
        if rows.is_empty() {
            found.error(
                diagnostic::CURVE_ENDS,
                &value.span(),
                "the curve has no rows",
                format!("write at least [{pair}]"),
            );
            return None;
        }
        if rows.windows(2).any(|two| two[0].0 >= two[1].0) {
            let message = format!("the {} of this curve does not ascend", X::NOUN);
            found.error(
                diagnostic::CURVE_ORDER,
                &value.span(),
                message,
                format!("sort the rows by their left column, each once, as {pair}"),
            );
            return None;
        }
        let is_share = X::UNITS.iter().any(|(symbol, ..)| *symbol == "%");
        if is_share && rows.iter().any(|row| !(0.0..=1.0).contains(&row.0.si())) {
            let help = "write state of charge from \"0 %\" to \"100 %\"";
            found.error(
                diagnostic::CURVE_ENDS,
                &value.span(),
                "the curve leaves the range from 0 % to 100 %",
                help,
            );
            return None;
        }
        Some(Self(rows))
    }
    fn numbers(&self) -> Vec<f64> {
        self.0.iter().map(|row| row.1.si()).collect()
    }
    fn number_in(text: &str) -> Option<f64> {
        Y::number_in(text)
    }
    fn said(number: f64) -> String {
        Y::said(number)
    }
}

/// Height of the skyline by azimuth.
#[derive(Clone, Debug)]
pub(crate) struct Horizon(pub(crate) Vec<(Angle, Angle)>);

impl Field for Horizon {
    fn noun() -> String {
        "list of pairs [azimuth, height], as `[\"90 deg\", \"4 deg\"]`".to_owned()
    }
    fn schema() -> String {
        <Vec<(Angle, Angle)>>::schema()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        let rows = <Vec<(Angle, Angle)>>::read(value, found)?;
        let (azimuth, height) =
            (|row: &(Angle, Angle)| row.0.degrees(), |row: &(Angle, Angle)| row.1.degrees());
        let wrong = if rows.iter().any(|row| !(0.0..360.0).contains(&azimuth(row))) {
            "an azimuth of the horizon is outside 0 deg to below 360 deg"
        } else if rows.iter().any(|row| !(0.0..=90.0).contains(&height(row))) {
            "a height of the horizon is outside 0 deg to 90 deg"
        } else if rows.windows(2).any(|two| azimuth(&two[0]) >= azimuth(&two[1])) {
            "the azimuths of the horizon do not ascend"
        } else {
            return Some(Self(rows));
        };
        found.error(diagnostic::HORIZON, &value.span(), wrong, "write [[\"90 deg\", \"4 deg\"], [\"180 deg\", \"12 deg\"]]: azimuth clockwise from north, then height");
        None
    }
}

/// The azimuth of a compass point such as `south` or `NNE`.
fn compass_degrees(text: &str) -> Option<f64> {
    let letters = text.to_lowercase().replace("north", "n").replace("east", "e").replace("south", "s");
    let letters = letters.replace("west", "w").replace(['-', ' '], "");
    let points =
        ["n", "nne", "ne", "ene", "e", "ese", "se", "sse", "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw"];
    points.iter().zip(0u8..).find(|(point, _)| **point == letters).map(|(_, index)| f64::from(index) * 22.5)
}

/// Where a panel faces; `None` for anywhere.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Facing(pub(crate) Option<Angle>);

impl Facing {
    /// Whether it is counted from 0 to below 360 degrees.
    pub(crate) fn is_sound(self) -> bool {
        self.0.is_none_or(|angle| (0.0..360.0).contains(&angle.degrees()))
    }
}

impl Field for Facing {
    fn noun() -> String {
        "angle or `\"any\"`".to_owned()
    }
    fn schema() -> String {
        format!("{{\"anyOf\":[{},{{\"const\":\"any\"}}]}}", Angle::schema())
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        if value.get_ref().as_str() == Some("any") {
            return Some(Self(None));
        }
        if let Some(degrees) = value.get_ref().as_str().and_then(compass_degrees) {
            let help = format!("write \"{degrees} deg\"");
            found.error(diagnostic::AZIMUTH, &value.span(), "an azimuth is an angle, not a word", help);
            return None;
        }
        let angle = Angle::read(value, found)?;
        if !Self(Some(angle)).is_sound() {
            let turned = Angle::from_degrees(angle.degrees().rem_euclid(360.0)).text();
            let help = format!("write \"{turned}\"; degrees are counted clockwise from north");
            found.error(
                diagnostic::AZIMUTH,
                &value.span(),
                "the azimuth must lie between 0 deg and below 360 deg",
                help,
            );
            return None;
        }
        Some(Self(Some(angle)))
    }
}
