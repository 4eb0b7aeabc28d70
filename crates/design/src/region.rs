//! Regions: the data rates and limits of a regional plan, as data with edition and clause.

use crate::quantity::{Dbm, Frequency};

/// How a data rate is modulated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Modulation {
    /// LoRa.
    Lora {
        /// 5 to 12.
        spreading_factor: u8,
        /// Occupied bandwidth.
        bandwidth: Frequency,
    },
    /// Gaussian frequency-shift keying.
    Fsk {
        /// Bits per second.
        bit_rate: f64,
    },
    /// Frequency-hopping spread spectrum in long range.
    LrFhss,
}

/// A regional plan.
#[derive(Clone, Debug)]
pub struct Region {
    /// Its name, such as `EU868`.
    pub name: String,
    /// Uplink data rates: number and modulation, ascending.
    pub data_rates: Vec<(u8, Modulation)>,
    /// Largest MAC payload in bytes by uplink data rate, without a repeater; 0 where it can't be used.
    pub largest_mac_payload: Vec<usize>,
    /// Downlink data rate of the second receive window.
    pub second_window: (Frequency, u8),
    /// Largest radiated power (EIRP, or conducted where the edition says so).
    pub largest_power: Dbm,
    /// Slowest and fastest data rate of a join request.
    pub join_data_rates: (u8, u8),
    /// Edition and clause.
    pub source: String,
}

/// A built-in plan: its name and the text of its file.
type Builtin = (&'static str, &'static str);

macro_rules! builtin {
    ($($name:literal)+) => { &[$(($name, include_str!(concat!("../data/regions/", $name, ".toml")))),+] };
}

const BUILTIN: &[Builtin] = builtin! {
    "AS923-1" "AS923-2" "AS923-3" "AS923-4" "AU915" "CN470" "EU433" "EU868" "IN865" "KR920" "RU864" "US915"
};

impl Region {
    /// The built-in plan of this name, such as `EU868`.
    pub fn builtin(name: &str) -> Option<Self> {
        let (_, text) = BUILTIN.iter().find(|(known, _)| *known == name)?;
        Self::read(text)
    }

    /// The names of the built-in plans.
    pub fn names() -> Vec<&'static str> {
        BUILTIN.iter().map(|(name, _)| *name).collect()
    }

    /// Reads a plan's file; `None` if a key is missing or of the wrong form.
    fn read(text: &str) -> Option<Self> {
        let table: toml::Table = text.parse().ok()?;
        let hertz = |key: &str| table.get(key)?.as_integer().map(|hertz| Frequency::from_hertz(hertz as f64));
        let small = |value: &toml::Value| value.as_integer().and_then(|number| u8::try_from(number).ok());
        let payloads = table.get("M_norep")?.as_array()?;
        let joins = table.get("join_dr")?.as_array()?;
        Some(Self {
            name: table.get("name")?.as_str()?.to_owned(),
            data_rates: table.get("datarate_up")?.as_array()?.iter().map(data_rate).collect::<Option<_>>()?,
            largest_mac_payload: payloads
                .iter()
                .map(|size| usize::try_from(size.as_integer()?).ok())
                .collect::<Option<_>>()?,
            second_window: (hertz("rx2_freq")?, table.get("rx2_dr").and_then(small)?),
            largest_power: Dbm::from_dbm(table.get("max_eirp")?.as_float()?),
            join_data_rates: (joins.first().and_then(small)?, joins.get(1).and_then(small)?),
            source: table.get("spec")?.as_str()?.to_owned(),
        })
    }
}

fn data_rate(row: &toml::Value) -> Option<(u8, Modulation)> {
    let number = |key: &str| row.get(key)?.as_integer();
    let modulation = match row.get("mod")?.as_str()? {
        "LORA" => Modulation::Lora {
            spreading_factor: u8::try_from(number("sf")?).ok()?,
            bandwidth: Frequency::from_kilohertz(number("bw_khz")? as f64),
        },
        "FSK" => Modulation::Fsk { bit_rate: number("bitrate")? as f64 },
        "LR-FHSS" => Modulation::LrFhss,
        _ => return None,
    };
    Some((u8::try_from(number("dr")?).ok()?, modulation))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_plan_reads() {
        for (name, text) in BUILTIN {
            let region = Region::read(text).unwrap_or_else(|| panic!("{name} does not read"));
            assert_eq!(&region.name, name);
            assert!(
                region.data_rates.windows(2).all(|two| two[0].0 < two[1].0),
                "{name}: ascending data rates"
            );
        }
    }

    /// RP002-1.0.5 section 3.4, tables 8-17: DR3 is SF9 at 125 kHz with 123 bytes; second window 869.525 MHz at DR0.
    #[test]
    fn the_european_plan_is_as_printed() {
        let region = Region::builtin("EU868").expect("built in");
        let lora = Modulation::Lora { spreading_factor: 9, bandwidth: Frequency::from_kilohertz(125.0) };
        assert!(region.data_rates.contains(&(3, lora)));
        assert_eq!(region.largest_mac_payload.get(3), Some(&123));
        assert_eq!(region.second_window, (Frequency::from_megahertz(869.525), 0));
        assert_eq!(region.join_data_rates, (0, 5));
    }
}
