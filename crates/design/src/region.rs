//! Regions: the data rates and limits of a regional plan, as data with edition and clause.

use std::sync::LazyLock;

use crate::law::PowerReference;
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

impl Modulation {
    /// The stretch of the spectrum that a message fills; `None` for LR-FHSS, whose channel width the plan states.
    ///
    /// FSK by Carson's rule from 25 kHz of deviation (from memory): 100 kHz at 50 kbit/s.
    pub fn occupied_bandwidth(self) -> Option<Frequency> {
        match self {
            Self::Lora { bandwidth, .. } => Some(bandwidth),
            Self::Fsk { bit_rate } => Some(Frequency::from_hertz(2.0 * (FSK_DEVIATION_HZ + bit_rate / 2.0))),
            Self::LrFhss => None,
        }
    }

    /// Whether only newer editions of the regional parameters have it, so that many networks do not hear it:
    /// spreading factors 5 and 6, and LR-FHSS.
    pub fn is_newer(self) -> bool {
        match self {
            Self::Lora { spreading_factor, .. } => spreading_factor < 7,
            Self::Fsk { .. } => false,
            Self::LrFhss => true,
        }
    }
}

/// RP002-1.0.5, modem parameters of GFSK; two end device programs.
const FSK_DEVIATION_HZ: f64 = 25e3;

/// Equally spaced channels for uplinks.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelGroup {
    /// Centre of the first.
    pub first: Frequency,
    /// From one centre to the next.
    pub step: Frequency,
    /// How many.
    pub count: u32,
    /// Slowest and fastest data rate on them.
    pub data_rates: (u8, u8),
}

impl ChannelGroup {
    /// Their centres.
    pub fn centres(&self) -> impl Iterator<Item = Frequency> {
        (0..self.count).map(|index| self.first + self.step * f64::from(index))
    }
}

/// What rides along with or beside the application bytes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct PayloadConditions {
    /// Whether a repeater may have to forward the message.
    pub repeater: bool,
    /// Whether the limit of 400 ms holds that a network can lift.
    pub dwell: bool,
}

/// Bytes of the MAC payload that are not application bytes: seven of frame header, one of port.
pub const MAC_OVERHEAD: usize = 8;

/// A regional plan.
#[derive(Clone, Debug)]
pub struct Region {
    /// Its name, such as `EU868`.
    pub name: String,
    /// Uplink data rates: number and modulation, ascending.
    pub data_rates: Vec<(u8, Modulation)>,
    /// Data rates that only downlinks use, ascending; elsewhere downlinks use those of uplinks.
    pub down_data_rates: Vec<(u8, Modulation)>,
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
    /// Largest MAC payload in bytes of a downlink by data rate, without a repeater; 0 where it can't be used.
    pub largest_downlink_mac_payload: Vec<usize>,
    /// Largest MAC payload in bytes by uplink data rate where a repeater may forward the message.
    pub largest_mac_payload_with_repeater: Vec<usize>,
    /// Largest MAC payload under the 400 ms limit that the network can lift, without and with a repeater; `None` where
    /// there is no such limit.
    pub largest_mac_payload_in_dwell: Option<(Vec<usize>, Vec<usize>)>,
    /// Lowest and highest frequency.
    pub span: (Frequency, Frequency),
    /// Whether its channels are fixed; else those here are the defaults and the network adds others.
    pub fixed_channels: bool,
    /// Its channels for uplinks.
    pub channels: Vec<ChannelGroup>,
    /// What `largest_power` speaks of.
    pub power_reference: PowerReference,
    /// Highest index of the power steps of 2 dB.
    pub power_steps: u8,
    /// Data rate of the first receive window by uplink data rate and offset.
    pub first_window: Vec<Vec<u8>>,
    /// Channels of the first receive window where they are not those of the uplinks, in the order of the plan.
    pub down_channels: Vec<Frequency>,
    /// Whether a network may set the limit of 400 ms by a command (`TXParamSetupReq`).
    pub dwell_is_set_by_command: bool,
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
        // Read once: a design is resolved for each key that is typed and each variant that is tried.
        static PLANS: LazyLock<Vec<Region>> =
            LazyLock::new(|| BUILTIN.iter().filter_map(|(_, text)| Region::read(text)).collect());
        PLANS.iter().find(|plan| plan.name == name).cloned()
    }

    /// The names of the built-in plans.
    pub fn names() -> Vec<&'static str> {
        BUILTIN.iter().map(|(name, _)| *name).collect()
    }

    /// Largest number of application bytes at a data rate without MAC commands; 0 where the rate can't be used.
    pub fn largest_payload(&self, data_rate: u8, conditions: PayloadConditions) -> usize {
        let plain = (&self.largest_mac_payload, &self.largest_mac_payload_with_repeater);
        let limited = self.largest_mac_payload_in_dwell.as_ref().map(|(without, with)| (without, with));
        let (without, with) = limited.filter(|_| conditions.dwell).unwrap_or(plain);
        let sizes = if conditions.repeater { with } else { without };
        sizes.get(usize::from(data_rate)).map_or(0, |size| size.saturating_sub(MAC_OVERHEAD))
    }

    /// Largest number of application bytes of a downlink at a data rate without MAC commands; 0 where the rate can't be used.
    ///
    /// By default no plan limits how long a downlink may last.
    pub fn largest_downlink_payload(&self, data_rate: u8) -> usize {
        let size = self.largest_downlink_mac_payload.get(usize::from(data_rate));
        size.map_or(0, |size| size.saturating_sub(MAC_OVERHEAD))
    }

    /// The modulation of an uplink data rate.
    pub fn modulation(&self, data_rate: u8) -> Option<Modulation> {
        modulation_of(&self.data_rates, data_rate)
    }

    /// A data rate of uplinks as people say it: `DR5 (SF7)`.
    pub fn rate_text(&self, data_rate: u8) -> String {
        match self.modulation(data_rate) {
            Some(Modulation::Lora { spreading_factor, .. }) => {
                format!("DR{data_rate} (SF{spreading_factor})")
            }
            Some(Modulation::Fsk { .. }) => format!("DR{data_rate} (FSK)"),
            Some(Modulation::LrFhss) => format!("DR{data_rate} (LR-FHSS)"),
            None => format!("DR{data_rate}"),
        }
    }

    /// The modulation of a downlink data rate.
    pub fn down_modulation(&self, data_rate: u8) -> Option<Modulation> {
        let own = !self.down_data_rates.is_empty();
        modulation_of(if own { &self.down_data_rates } else { &self.data_rates }, data_rate)
    }

    /// The data rate of the first receive window after an uplink, without an offset.
    pub fn answer_rate(&self, uplink_rate: u8) -> Option<u8> {
        self.first_window.get(usize::from(uplink_rate))?.first().copied()
    }

    /// The channel of the first receive window after an uplink on a channel; `None` if the plan has no such channel.
    ///
    /// # References
    /// RP002-1.0.5, receive windows of each plan: the same channel, or that of the uplink's number modulo their count.
    pub fn answer_channel(&self, uplink: Frequency) -> Option<Frequency> {
        if self.down_channels.is_empty() {
            return Some(uplink);
        }
        let is_same = |centre: &Frequency| (centre.hertz() - uplink.hertz()).abs() < SAME_HZ;
        let number = self.default_channels().iter().position(is_same)?;
        self.down_channels.get(number % self.down_channels.len()).copied()
    }

    /// The uplink data rate of a modulation.
    pub fn data_rate_of(&self, modulation: Modulation) -> Option<u8> {
        self.data_rates.iter().find(|(_, known)| *known == modulation).map(|(rate, _)| *rate)
    }

    /// The uplink data rates that a network may ask of a node on these channels by default, ascending: newer and unusable
    /// ones are left out, and those that carry nothing while the limit of 400 ms holds (`dwell`).
    pub fn default_data_rates(&self, channels: &[Frequency], dwell: bool) -> Vec<u8> {
        let usable = |rate: &u8| {
            self.largest_payload(*rate, PayloadConditions { repeater: false, dwell }) > 0
                && self.modulation(*rate).is_some_and(|modulation| !modulation.is_newer())
                && self.channels.iter().any(|group| (group.data_rates.0..=group.data_rates.1).contains(rate))
                && channels.iter().any(|channel| self.carries(*channel, *rate))
        };
        self.data_rates.iter().map(|(rate, _)| *rate).filter(usable).collect()
    }

    /// The centres of its channels, in the order of the plan.
    pub fn default_channels(&self) -> Vec<Frequency> {
        self.channels.iter().flat_map(ChannelGroup::centres).collect()
    }

    /// Whether a channel of this centre may carry this data rate. Where the network adds channels, any may carry any.
    pub fn carries(&self, channel: Frequency, data_rate: u8) -> bool {
        !self.fixed_channels
            || self.channels.iter().any(|group| {
                (group.data_rates.0..=group.data_rates.1).contains(&data_rate)
                    && group.centres().any(|centre| (centre.hertz() - channel.hertz()).abs() < SAME_HZ)
            })
    }

    /// Reads a plan's file; `None` if a key is missing or of the wrong form.
    fn read(text: &str) -> Option<Self> {
        let table: toml::Table = text.parse().ok()?;
        let hertz = |key: &str| table.get(key)?.as_integer().map(|hertz| Frequency::from_hertz(hertz as f64));
        let small = |value: &toml::Value| value.as_integer().and_then(|number| u8::try_from(number).ok());
        let joins = table.get("join_dr")?.as_array()?;
        let rates = |key: &str| table.get(key)?.as_array()?.iter().map(data_rate).collect::<Option<Vec<_>>>();
        let own_downlinks = table.contains_key("datarate_down");
        Some(Self {
            name: table.get("name")?.as_str()?.to_owned(),
            data_rates: rates("datarate_up")?,
            down_data_rates: if own_downlinks { rates("datarate_down")? } else { Vec::new() },
            largest_mac_payload: sizes(&table, "M_norep")?,
            largest_downlink_mac_payload: sizes(&table, if own_downlinks { "Mdn_norep" } else { "M_norep" })?,
            second_window: (hertz("rx2_freq")?, table.get("rx2_dr").and_then(small)?),
            largest_power: Dbm::from_dbm(table.get("max_eirp")?.as_float()?),
            join_data_rates: (joins.first().and_then(small)?, joins.get(1).and_then(small)?),
            source: table.get("spec")?.as_str()?.to_owned(),
            largest_mac_payload_with_repeater: sizes(&table, "M_rep")?,
            largest_mac_payload_in_dwell: match table.get("M_dwell_norep") {
                Some(_) => Some((sizes(&table, "M_dwell_norep")?, sizes(&table, "M_dwell_rep")?)),
                None => None,
            },
            span: (hertz("fmin")?, hertz("fmax")?),
            fixed_channels: table.get("plan")?.as_str()? == "fixed",
            channels: channels(&table)?,
            power_reference: match table.get("pw_ref")?.as_str()? {
                "conducted" => PowerReference::Conducted,
                text if text.starts_with("EIRP") => PowerReference::Eirp,
                _ => return None,
            },
            power_steps: table.get("pw_max").and_then(small)?,
            first_window: table
                .get("rx1")?
                .as_array()?
                .iter()
                .map(|row| row.as_array()?.iter().map(small).collect())
                .collect::<Option<_>>()?,
            down_channels: match table.get("dn") {
                Some(_) => centres(&table, "dn")?,
                None => Vec::new(),
            },
            dwell_is_set_by_command: table.get("txparamsetup")?.as_bool()?,
        })
    }
}

fn modulation_of(rates: &[(u8, Modulation)], data_rate: u8) -> Option<Modulation> {
    rates.iter().find(|(known, _)| *known == data_rate).map(|(_, modulation)| *modulation)
}

/// Centres nearer than this are the same channel.
const SAME_HZ: f64 = 1.0;

fn sizes(table: &toml::Table, key: &str) -> Option<Vec<usize>> {
    table.get(key)?.as_array()?.iter().map(|size| usize::try_from(size.as_integer()?).ok()).collect()
}

/// The groups of a fixed plan, or one group for each default channel.
fn channels(table: &toml::Table) -> Option<Vec<ChannelGroup>> {
    let integers = |key: &str| -> Option<Vec<i64>> {
        table.get(key)?.as_array()?.iter().map(toml::Value::as_integer).collect()
    };
    let rates = |key: &str| -> Option<(u8, u8)> {
        let list = integers(key)?;
        Some((u8::try_from(*list.first()?).ok()?, u8::try_from(*list.get(1)?).ok()?))
    };
    let hertz = |value: i64| Frequency::from_hertz(value as f64);
    let group = |centres: &str, data_rates: &str| -> Option<ChannelGroup> {
        let [first, step, count] = <[i64; 3]>::try_from(integers(centres)?).ok()?;
        let (first, step, count) = (hertz(first), hertz(step), u32::try_from(count).ok()?);
        Some(ChannelGroup { first, step, count, data_rates: rates(data_rates)? })
    };
    if table.contains_key("ch125") {
        return Some(vec![group("ch125", "ch_dr")?, group("ch500", "ch500_dr")?]);
    }
    let data_rates = rates("ch_dr")?;
    let single =
        |centre: i64| ChannelGroup { first: hertz(centre), step: Frequency::ZERO, count: 1, data_rates };
    Some(integers("default_channels")?.into_iter().map(single).collect())
}

/// Equally spaced centres: first, step, count.
fn centres(table: &toml::Table, key: &str) -> Option<Vec<Frequency>> {
    let [first, step, count] = table.get(key)?.as_array()?.as_slice() else { return None };
    let (first, step) = (first.as_integer()?, step.as_integer()?);
    Some((0..count.as_integer()?).map(|at| Frequency::from_hertz((first + at * step) as f64)).collect())
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

    /// RP002-1.0.5 sections 3.5 and 3.8: uplink channel 10 is answered on downlink channel 2 (923.3 + 2 x 0.6 MHz), the
    /// wide channel 65 on 1; in a dynamic plan on the channel of the uplink.
    #[test]
    fn the_first_window_is_on_the_channel_of_the_plan() {
        let us = Region::builtin("US915").expect("built in");
        let answer = |mhz: f64| us.answer_channel(Frequency::from_megahertz(mhz)).map(Frequency::hertz);
        let near = |found: Option<f64>, mhz: f64| found.is_some_and(|hz| (hz - mhz * 1e6).abs() < 1.0);
        assert!(near(answer(904.3), 924.5), "{:?}", answer(904.3));
        assert!(near(answer(904.6), 923.9), "{:?}", answer(904.6));
        assert_eq!(answer(904.4), None);
        let eu = Region::builtin("EU868").expect("built in");
        let own = Frequency::from_megahertz(867.1);
        assert_eq!(eu.answer_channel(own), Some(own));
        let dwell: Vec<&str> = Region::names()
            .into_iter()
            .filter(|name| Region::builtin(name).expect("built in").dwell_is_set_by_command)
            .collect();
        assert_eq!(dwell, ["AS923-1", "AS923-2", "AS923-3", "AS923-4", "AU915"]);
    }

    /// RP002-1.0.5 sections 3.5 and 3.8: DR8 is SF12 at 500 kHz and carries 61 bytes down; the second window is at DR8.
    /// In every plan the second window carries something, else no message could be sent to a node.
    #[test]
    fn downlinks_have_the_rates_and_sizes_of_their_own_tables() {
        for name in ["US915", "AU915"] {
            let region = Region::builtin(name).expect("built in");
            let slow = Modulation::Lora { spreading_factor: 12, bandwidth: Frequency::from_kilohertz(500.0) };
            assert_eq!(region.down_modulation(8), Some(slow), "{name}");
            assert_eq!((region.second_window.1, region.largest_downlink_payload(8)), (8, 53), "{name}");
            assert_eq!((region.down_modulation(0), region.largest_downlink_payload(0)), (None, 0), "{name}");
        }
        for name in Region::names() {
            let region = Region::builtin(name).expect("built in");
            let rate = region.second_window.1;
            assert!(
                region.down_modulation(rate).is_some() && region.largest_downlink_payload(rate) > 0,
                "{name}"
            );
        }
    }
}
