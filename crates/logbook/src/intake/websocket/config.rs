//! What a gateway is told of its region: rates, channels, and which frames it passes on.

use std::collections::BTreeSet;

use design::law::{DIPOLE_GAIN, PowerReference};
use design::quantity::Frequency;
use design::region::{Modulation, Region};
use serde_json::{Map, Value, json};
use wire::identity::JoinEui;

/// Channels of one rate each that a board hears at once.
const MULTI: usize = 8;
/// Width of the channel of FSK \[Hz\] (from memory).
const FSK_HZ: i64 = 125_000;
/// Radios of a board.
const RADIOS: usize = 2;
/// A channel of 125 kHz lies so near to the centre of its radio \[Hz\] (from memory).
const REACH_HZ: i64 = 400_000;
/// A radio hears so far from its centre, the edges of a channel included \[Hz\]: as usual plans set the channel of 500 kHz beside
/// a bank of eight (from memory).
const EDGE_HZ: i64 = 550_000;
/// Data rates of a region.
const RATES: u8 = 16;

/// Why a board can't be set to the channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ConfigError {
    /// The protocol has no name for the region.
    #[error("the protocol of these gateways has no name for this region")]
    Region,
    /// Too many.
    #[error("{found} channels; a board hears {MULTI} of 125 kHz at once: name those of the nodes")]
    Channels {
        /// Channels of 125 kHz.
        found: usize,
    },
    /// Too far apart.
    #[error("the channels lie too far apart for the two radios of a board, which hear 0.8 MHz each")]
    Apart,
}

/// The text that sets a gateway to the channels of the nodes; none named: those of the region.
///
/// Frames of strangers are passed on only if their network is ours or they ask one of our join servers; that is what these
/// gateways filter by.
///
/// # Errors
/// [`ConfigError`] if a board can't hear these channels.
pub fn router_config(
    region: &Region,
    channels: &[Frequency],
    join_euis: &BTreeSet<JoinEui>,
) -> Result<String, ConfigError> {
    let name = name(&region.name).ok_or(ConfigError::Region)?;
    let own = region.default_channels();
    let heard: Vec<i64> = if channels.is_empty() { &own } else { channels }
        .iter()
        .filter(|channel| is_narrow(region, **channel))
        .map(|channel| hertz(*channel))
        .collect();
    let join_euis: Vec<[u64; 2]> =
        join_euis.iter().map(|join_eui| [u64::from_be_bytes(join_eui.to_display_bytes()); 2]).collect();
    Ok(json!({
        "msgtype": "router_config",
        "NetID": [0],
        "JoinEui": join_euis,
        "region": name,
        "max_eirp": largest_eirp_dbm(region),
        "hwspec": "sx1301/1",
        "freq_range": [hertz(region.span.0), hertz(region.span.1)],
        "DRs": (0..RATES).map(|rate| rate_row(region, rate)).collect::<Vec<_>>(),
        "sx1301_conf": [board(heard, &single_channels(region, if channels.is_empty() { &own } else { channels }))?],
    })
    .to_string())
}

/// What an answer may radiate in every window of the plan \[dBm\]: these gateways choose the power themselves.
fn largest_eirp_dbm(region: &Region) -> f64 {
    let most = region.largest_power;
    let eirp = match region.power_reference {
        PowerReference::Erp => most + DIPOLE_GAIN,
        PowerReference::Eirp | PowerReference::Conducted => most,
    };
    eirp.dbm().floor()
}

/// Names of the protocol (from memory).
fn name(region: &str) -> Option<&'static str> {
    Some(match region {
        "EU868" => "EU863",
        "US915" => "US902",
        "AU915" => "AU915",
        "AS923-1" => "AS923-1",
        "AS923-2" => "AS923-2",
        "AS923-3" => "AS923-3",
        "AS923-4" => "AS923-4",
        "KR920" => "KR920",
        "IN865" => "IN865",
        _ => return None,
    })
}

/// Spreading factor, bandwidth in kHz, and whether only downlinks use it; FSK has factor 0, and -1 stands for no rate.
fn rate_row(region: &Region, rate: u8) -> [i64; 3] {
    let up = region.modulation(rate);
    let only_down = i64::from(up.is_none());
    match up.or_else(|| region.down_modulation(rate)) {
        Some(Modulation::Lora { spreading_factor, bandwidth }) =>
        {
            #[expect(clippy::cast_possible_truncation, reason = "125 to 500")]
            [spreading_factor.into(), bandwidth.kilohertz().round() as i64, only_down]
        }
        Some(Modulation::Fsk { .. }) => [0, 0, only_down],
        Some(Modulation::LrFhss) | None => [-1, 0, 0],
    }
}

/// Whether a channel carries the rates of 125 kHz.
fn is_narrow(region: &Region, channel: Frequency) -> bool {
    region.data_rates.iter().any(|(rate, modulation)| {
        let narrow =
            matches!(modulation, Modulation::Lora { bandwidth, .. } if bandwidth.kilohertz() < 200.0);
        narrow && region.carries(channel, *rate)
    })
}

fn hertz(frequency: Frequency) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "below 3 GHz")]
    let hertz = frequency.hertz().round() as i64;
    hertz
}

/// A channel of one rate, beside the eight: where it may lie, how wide it is, and what else is told of it.
struct Single {
    name: &'static str,
    may_lie_at: Vec<i64>,
    width_hz: i64,
    told: Map<String, Value>,
}

/// The wide channel and that of FSK, where the plan has such rates: a board hears each on one channel alone. The names of the
/// keys are from memory.
fn single_channels(region: &Region, channels: &[Frequency]) -> Vec<Single> {
    let carrying = |rate: u8| -> Vec<i64> {
        channels
            .iter()
            .filter(|channel| region.carries(**channel, rate))
            .map(|channel| hertz(*channel))
            .collect()
    };
    let single = |(rate, modulation): &(u8, Modulation)| {
        let (name, width_hz, key, told) = match modulation {
            Modulation::Lora { spreading_factor, bandwidth } if bandwidth.kilohertz() > 200.0 => {
                ("chan_Lora_std", hertz(*bandwidth), "spread_factor", i64::from(*spreading_factor))
            }
            Modulation::Fsk { bit_rate } =>
            {
                #[expect(clippy::cast_possible_truncation, reason = "some ten thousand")]
                ("chan_FSK", FSK_HZ, "datarate", bit_rate.round() as i64)
            }
            _ => return None,
        };
        let told = [("bandwidth".to_owned(), json!(width_hz)), (key.to_owned(), json!(told))];
        Some(Single { name, may_lie_at: carrying(*rate), width_hz, told: told.into_iter().collect() })
    };
    region.data_rates.iter().filter_map(single).collect()
}

/// A board with two radios, each in the middle of the channels that it hears; a channel of one rate lies nearest to a middle.
fn board(mut channels: Vec<i64>, singles: &[Single]) -> Result<Value, ConfigError> {
    channels.sort_unstable();
    channels.dedup();
    if channels.len() > MULTI {
        return Err(ConfigError::Channels { found: channels.len() });
    }
    let mut groups: Vec<Vec<i64>> = Vec::new();
    for channel in channels {
        match groups.last_mut() {
            Some(group) if channel - group[0] <= 2 * REACH_HZ => group.push(channel),
            _ => groups.push(vec![channel]),
        }
    }
    if groups.len() > RADIOS {
        return Err(ConfigError::Apart);
    }
    let mut board = Map::new();
    let centre = |group: &Vec<i64>| i64::midpoint(group[0], group[group.len() - 1]);
    for radio in 0..RADIOS {
        let of_radio = groups.get(radio).map(centre);
        let setting = json!({ "enable": of_radio.is_some(), "freq": of_radio.unwrap_or_default() });
        board.insert(format!("radio_{radio}"), setting);
    }
    let heard = groups.iter().enumerate().flat_map(|(radio, group)| {
        let middle = centre(group);
        group.iter().map(move |channel| (radio, channel - middle))
    });
    for (place, (radio, offset)) in heard.enumerate() {
        let setting = json!({ "enable": true, "radio": radio, "if": offset });
        board.insert(format!("chan_multiSF_{place}"), setting);
    }
    for single in singles {
        let middles = || groups.iter().map(centre).enumerate();
        let places = single
            .may_lie_at
            .iter()
            .flat_map(|hertz| middles().map(move |(radio, middle)| (radio, hertz - middle)));
        let nearest = places.min_by_key(|(_, offset)| offset.abs());
        let Some((radio, offset)) = nearest.filter(|(_, at)| at.abs() + single.width_hz / 2 <= EDGE_HZ)
        else {
            continue;
        };
        let mut setting = single.told.clone();
        setting.extend([
            ("enable".to_owned(), json!(true)),
            ("radio".to_owned(), json!(radio)),
            ("if".to_owned(), json!(offset)),
        ]);
        board.insert(single.name.to_owned(), setting.into());
    }
    Ok(Value::Object(board))
}
