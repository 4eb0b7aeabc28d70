//! The ranges that numbers must keep, and those that they usually keep.

use super::Field;
use crate::diagnostic::{self, Code, Diagnostics};
use std::ops::Range;

/// Bounds of a key as texts with their unit, so that messages, manual and schema say the same.
#[derive(Clone, Copy)]
pub(crate) struct Rule {
    least: &'static str,
    most: &'static str,
    usual: Option<(&'static str, &'static str)>,
    /// Code and help where the key has its own.
    own: Option<(Code, &'static str)>,
}

/// What is physically possible: a value outside is refused.
pub(crate) const fn within(least: &'static str, most: &'static str) -> Rule {
    Rule { least, most, usual: None, own: None }
}

impl Rule {
    /// What such parts usually have: a value outside is asked about.
    pub(crate) const fn usually(self, least: &'static str, most: &'static str) -> Self {
        Self { usual: Some((least, most)), ..self }
    }

    /// With a code and a help of its own for what is refused.
    const fn or(self, code: Code, help: &'static str) -> Self {
        Self { own: Some((code, help)), ..self }
    }

    /// What is allowed, as a clause: "must lie between 0 A and 1 A".
    pub(crate) fn wanted(&self) -> String {
        format!("must lie between {} and {}", self.least, self.most)
    }

    /// What is usual, as a clause: "usually 1 mA to 5 A".
    pub(crate) fn usual(&self) -> Option<String> {
        self.usual.map(|(least, most)| format!("usually {least} to {most}"))
    }

    /// Whether a number in SI units is possible.
    pub(crate) fn allows<T: Field>(&self, number: f64) -> bool {
        (bound::<T>(self.least)..=bound::<T>(self.most)).contains(&number)
    }

    /// What to do about a number that is not.
    pub(crate) fn help(&self) -> &'static str {
        let check =
            if self.most.contains(' ') { "check the number and its unit" } else { "check the number" };
        self.own.map_or(check, |(_, help)| help)
    }

    /// Whether all numbers of a value are allowed; notes those that are not, and those that are unusual.
    pub(crate) fn check<T: Field>(
        &self,
        key: &str,
        value: &T,
        span: &Range<usize>,
        found: &mut Diagnostics,
    ) -> bool {
        let impossible = value.numbers().into_iter().find(|number| !self.allows::<T>(*number));
        if let Some(number) = impossible {
            let (code, message, help) = self.refusal::<T>(key, number);
            found.error(code, span, message, help);
            return false;
        }
        if let Some((least, most)) = self.usual
            && let Some(number) = value
                .numbers()
                .into_iter()
                .find(|number| !(bound::<T>(least)..=bound::<T>(most)).contains(number))
        {
            let message = format!("`{key}` is {}, usual is {least} to {most}", T::said(number));
            found.warning(diagnostic::UNUSUAL, span, message, "is the number right, and its unit?");
        }
        true
    }

    fn refusal<T: Field>(&self, key: &str, number: f64) -> (Code, String, String) {
        let least = bound::<T>(self.least);
        let counts_from_zero = !self.least.starts_with('-') && self.own.is_none();
        if counts_from_zero && least > 0.0 && number <= 0.0 {
            let help = "write a value above zero".to_owned();
            return (diagnostic::NOT_POSITIVE, format!("`{key}` must be above zero"), help);
        }
        if counts_from_zero && number < 0.0 {
            return (
                diagnostic::NEGATIVE,
                format!("`{key}` must not be negative"),
                "write zero or more".into(),
            );
        }
        let code = self.own.map_or(diagnostic::OUT_OF_RANGE, |(code, _)| code);
        (code, format!("`{key}` {}, not {}", self.wanted(), T::said(number)), self.help().to_owned())
    }

    /// Every text that stands for a bound, lowest first.
    #[cfg(test)]
    pub(crate) fn bounds(&self) -> Vec<&'static str> {
        let usual = self.usual.map_or(Vec::new(), |(least, most)| vec![least, most]);
        [vec![self.least], usual, vec![self.most]].concat()
    }
}

/// A bound as a number in SI units.
fn bound<T: Field>(text: &str) -> f64 {
    T::number_in(text).expect("a bound is a value of its key, which a test reads")
}

macro_rules! rules {
    ($($name:ident = $rule:expr;)+) => { $(pub(crate) const $name: Rule = $rule;)+ };
}

rules! {
    FRACTION = within("0 %", "100 %").or(diagnostic::SHARE_RANGE, "write a share from \"0 %\" to \"100 %\"");
    EFFICIENCY = within("1 %", "100 %").usually("40 %", "100 %").or(diagnostic::SHARE_RANGE, "write a share from \"1 %\" to \"100 %\"");
    LOSS = within("0 %", "90 %").usually("0 %", "30 %").or(diagnostic::SHARE_RANGE, "write a share from \"0 %\" to \"90 %\"");
    PROMISE = within("50 %", "99.9 %").or(diagnostic::PROMISE_SHARE, "write \"99.9 %\" or less: no number of simulated lives can show 100 %");
    UNATTENDED = within("7 d", "50 years").or(diagnostic::UNATTENDED, "write a span from \"7 d\" to \"50 years\"");
    FACTOR = within("0.1 %", "100000 %").usually("5 %", "2000 %");
    CELLS = within("1", "200").usually("1", "100");
    PRICE = within("0", "1000000");
    SYMBOLS = within("1", "255").usually("4", "100");
    PRIORITY = within("1", "9");
    EARLIER = within("1", "16");
    PAYLOAD = within("0 bytes", "242 bytes");
    RADIO_POWER = within("-30 dBm", "40 dBm").usually("-10 dBm", "30 dBm");
    ANTENNA_GAIN = within("-30 dBi", "30 dBi").usually("-10 dBi", "15 dBi");
    CABLE_LOSS = within("0 dB", "60 dB").usually("0 dB", "12 dB");
    OBSTACLE_LOSS = within("0 dB", "100 dB").usually("0 dB", "40 dB");
    LATITUDE = within("-90 deg", "90 deg").or(diagnostic::LATITUDE, "write degrees from the equator, north positive; are latitude and longitude swapped?");
    LONGITUDE = within("-180 deg", "180 deg").or(diagnostic::LONGITUDE, "write degrees from Greenwich, east positive");
    CLEARING = within("1 m", "10 km").usually("2 m", "2 km");
    MAY_MOVE = within("1 m", "20 km").usually("5 m", "3 km");
    ELEVATION = within("-500 m", "9000 m").usually("-450 m", "5500 m");
    TILT = within("0 deg", "90 deg").or(diagnostic::TILT, "write \"0 deg\" (flat) to \"90 deg\" (upright); a panel that leans further is turned by its azimuth");
    INTERVAL = within("1 ms", "50 years").usually("1 s", "60 d").or(diagnostic::INTERVAL_ZERO, "write an interval such as \"10 min\", or remove the activity");
    STEP_TIME = within("1 us", "10 d").usually("10 us", "1 h");
    BOX_TEMPERATURE = within("-100 C", "200 C").usually("-60 C", "100 C");
    AIR_TEMPERATURE = within("-90 C", "60 C");
    CURRENT = within("0.001 nA", "20 A").usually("0.1 uA", "2 A");
    IDLE_CURRENT = within("0 uA", "1 A").usually("0 uA", "10 mA");
    RADIO_CURRENT = within("0 uA", "1 A").usually("0 uA", "100 mA");
    LEAKAGE = within("0 uA", "100 mA").usually("0 uA", "1 mA");
    FIX_TIME = within("10 ms", "1 h").usually("0.1 s", "15 min");
    PACK_VOLTAGE = within("0 V", "200 V").usually("0 V", "60 V");
    CELL_VOLTAGE = within("0 V", "200 V").usually("0 V", "20 V");
    PANEL_VOLTAGE = within("0.1 V", "200 V").usually("0.4 V", "50 V");
    PANEL_CURRENT = within("10 uA", "50 A").usually("1 mA", "10 A");
    SERIES_RESISTANCE = within("0.1 mohm", "10 kohm").usually("1 mohm", "100 ohm");
}

#[cfg(test)]
mod tests {
    use crate::file::fleet::FleetSection;
    use crate::file::node::RootSection;
    use crate::file::part::SensorSection;
    use crate::section::{FieldDoc, Section as _, SectionDoc};

    fn all_fields(section: &SectionDoc) -> Vec<FieldDoc> {
        let fields = (section.fields)();
        let inside: Vec<FieldDoc> = fields
            .iter()
            .filter_map(|field| (field.inside)())
            .flat_map(|inside| all_fields(&inside))
            .collect();
        fields.into_iter().chain(inside).collect()
    }

    fn every_field() -> Vec<FieldDoc> {
        [RootSection::DOC, FleetSection::DOC, SensorSection::DOC].iter().flat_map(all_fields).collect()
    }

    #[test]
    fn bounds_are_values_of_their_key_and_the_usual_lies_within_the_possible() {
        for field in every_field() {
            let Some(rule) = field.rule else { continue };
            let numbers: Vec<Option<f64>> =
                rule.bounds().iter().map(|text| (field.number_in)(text)).collect();
            assert!(numbers.iter().all(Option::is_some), "{}: {:?}", field.key, rule.bounds());
            assert!(numbers.is_sorted(), "{}: {:?}", field.key, rule.bounds());
            assert!(numbers.first() < numbers.last(), "{}", field.key);
        }
    }

    #[test]
    fn every_quantity_and_plain_number_is_bounded() {
        let numbers = |field: &FieldDoc| {
            let noun = (field.noun)();
            let plain = noun == "number" || noun == "whole number";
            let quantity = (field.schema)().contains("\\\\s*[-+]?[0-9.]+");
            (plain || quantity) && field.rule.is_none()
        };
        // What is checked against its neighbours instead: editions, ports and widths, a skyline, an azimuth, what a survey found at nodes.
        let checked_elsewhere = [
            "schema",
            "port",
            "bits",
            "value",
            "per_hour",
            "horizon",
            "horizon_in_leaf",
            "azimuth",
            "data_rates",
            "every_by_charge",
            "every_by_month_and_charge",
            "resolution",
            "step",
            "offset",
            "nodes",
        ];
        let unbounded: Vec<&str> = every_field()
            .into_iter()
            .filter(|field| numbers(field) && (field.inside)().is_none())
            .map(|field| field.key)
            .filter(|key| !checked_elsewhere.contains(key))
            .collect();
        assert!(unbounded.is_empty(), "{unbounded:?}");
    }
}
