//! What every cell of a chemistry bears: bounds for what a battery may state, from `data/chemistries.toml`.

use std::sync::LazyLock;

use crate::file::value::Word as _;
use crate::part::Chemistry;
use crate::quantity::{Quantity, Share, Temperature, Voltage};

/// What one cell bears. A battery may state less; more is refused, or a danger.
#[derive(Clone, Debug, PartialEq)]
pub struct Limits {
    /// Highest charging voltage of ordinary cells; none for a primary cell and a supercapacitor.
    pub charge_limit: Option<Voltage>,
    /// No cell that is sold is charged higher.
    pub never_above: Option<Voltage>,
    /// Lowest and highest open-circuit voltage; none for a supercapacitor.
    pub cell_voltage: Option<(Voltage, Voltage)>,
    /// Coldest and hottest cell that may be charged.
    pub charge_temperature: Option<(Temperature, Temperature)>,
    /// Largest charging current at or above a temperature, as share of the capacity in an hour; ascending.
    pub charge_rate: Vec<(Temperature, Share)>,
    /// Usual charge of a new cell.
    pub sold_at: Option<Share>,
    /// Where the figures come from.
    pub source: String,
}

/// Read once: a design is resolved for each key that is typed and each variant that is tried.
static DATA: LazyLock<toml::Table> = LazyLock::new(|| {
    include_str!("../data/chemistries.toml").parse().expect("a test reads the shipped limits")
});

impl Limits {
    /// The limits of a chemistry.
    pub fn of(chemistry: Chemistry) -> Self {
        let word = Chemistry::WORDS.iter().find(|(_, known)| *known == chemistry).map(|(word, _)| *word);
        let rows = word.and_then(|word| DATA.get(word)).and_then(toml::Value::as_table);
        let rows = rows.expect("a test finds every chemistry");
        let text = |key: &str| rows.get(key).and_then(toml::Value::as_str);
        let list = |key: &str| rows.get(key).and_then(toml::Value::as_array).map_or(&[][..], Vec::as_slice);
        Self {
            charge_limit: text("charge_limit").map(quantity),
            never_above: text("never_above").map(quantity),
            cell_voltage: pair(list("cell_voltage")),
            charge_temperature: pair(list("charge_temperature")),
            charge_rate: list("charge_rate")
                .iter()
                .filter_map(|row| match row.as_array()?.as_slice() {
                    [celsius, share] => Some((quantity(celsius.as_str()?), quantity(share.as_str()?))),
                    _ => None,
                })
                .collect(),
            sold_at: text("sold_at").map(quantity),
            source: text("source").expect("every chemistry has a source").to_owned(),
        }
    }
}

fn quantity<Q: Quantity>(text: &str) -> Q {
    Q::parse(text).expect("a test reads the shipped limits").nominal
}

fn pair<Q: Quantity>(list: &[toml::Value]) -> Option<(Q, Q)> {
    let [low, high] = list else { return None };
    Some((quantity(low.as_str()?), quantity(high.as_str()?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Chemistry; 8] = [
        Chemistry::Lco,
        Chemistry::Nmc,
        Chemistry::Lfp,
        Chemistry::Lto,
        Chemistry::Nimh,
        Chemistry::LiSocl2,
        Chemistry::LiMno2,
        Chemistry::Supercapacitor,
    ];

    #[test]
    fn every_chemistry_has_limits_that_fit_together() {
        for chemistry in ALL {
            let limits = Limits::of(chemistry);
            assert!(!limits.source.is_empty(), "{chemistry:?}");
            assert_eq!(limits.charge_temperature.is_some(), chemistry.rechargeable(), "{chemistry:?}");
            assert_eq!(limits.sold_at.is_some(), chemistry.rechargeable(), "{chemistry:?}");
            assert_eq!(limits.charge_limit.is_some(), limits.never_above.is_some(), "{chemistry:?}");
            assert!(limits.charge_limit < limits.never_above || limits.charge_limit.is_none());
            assert!(limits.charge_rate.windows(2).all(|two| two[0].0 < two[1].0 && two[0].1 < two[1].1));
            assert!(limits.cell_voltage.is_none_or(|(low, high)| low < high), "{chemistry:?}");
            assert!(limits.charge_temperature.is_none_or(|(cold, hot)| cold < hot), "{chemistry:?}");
        }
    }

    #[test]
    fn a_lithium_ion_cell_bears_half_its_capacity_an_hour_when_it_is_warm() {
        let limits = Limits::of(Chemistry::Nmc);
        assert_eq!(limits.charge_limit, Some(Voltage::from_volts(4.2)));
        assert_eq!(limits.charge_rate.len(), 3, "0, 5 and 15 C of the data sheet");
        let (celsius, share) = limits.charge_rate[2];
        assert!((celsius.celsius() - 15.0).abs() < 1e-9 && (share.percent() - 50.0).abs() < 1e-9);
    }
}
