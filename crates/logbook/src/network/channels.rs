//! Channels as the network tells them to devices: in the join-accept, and with a data rate.

use design::quantity::Frequency;
use design::region::Region;
use wire::field::{Bits, CarrierFrequency};
use wire::join::CfList;
use wire::mac::DownlinkCommand;

/// Keeps what the device uses (TS001-1.0.4, clause 5.2).
const KEEP: u8 = 15;
/// All channels on, in plans to which the network adds channels (RP002-1.0.5, `LinkADRReq` of each such plan).
const ALL_ON: u8 = 6;
/// All narrow channels off, the mask is that of the wide ones (the same, US915 and AU915).
const NARROW_OFF: u8 = 7;
/// Narrow channels of the plans with 72.
const NARROW: usize = 64;
const WIDE: usize = 8;
const SAME_HZ: f64 = 1.0;

/// The channels of a device beyond those that it has by itself, the first five where it has more: a list holds five, and
/// others must be in its firmware. `None` if there are none to tell.
pub(super) fn cf_list(region: &Region, channels: &[Frequency]) -> Option<CfList> {
    let own = region.default_channels();
    if region.fixed_channels {
        let masks = masks(region, channels)?;
        let all = masks.iter().map(|mask| mask.count_ones()).sum::<u32>() as usize == own.len();
        let [a, b, c, d, wide] = masks;
        return (!all).then_some(CfList::ChannelMasks([a, b, c, d, wide, 0]));
    }
    let added = channels.iter().filter(|channel| !own.iter().any(|known| is_same(*known, **channel)));
    let added: Vec<CarrierFrequency> = added.map(|channel| carrier(*channel)).collect::<Option<_>>()?;
    let mut list = [CarrierFrequency::default(); 5];
    if added.is_empty() {
        return None;
    }
    for (place, frequency) in list.iter_mut().zip(added) {
        *place = frequency;
    }
    Some(CfList::Frequencies(list))
}

/// The commands that ask for a data rate on the channels of a device; `None` where that can't be said.
///
/// In a fixed plan the whole mask goes along: all others would be switched on by it.
pub(super) fn rate_commands(
    region: &Region,
    channels: &[Frequency],
    rate: u8,
) -> Option<Vec<DownlinkCommand>> {
    let request = |control: u8, channel_mask: u16| {
        Some(DownlinkCommand::LinkAdrReq {
            data_rate: Bits::new(rate)?,
            tx_power: Bits::new(KEEP)?,
            channel_mask,
            channel_mask_control: Bits::new(control)?,
            transmissions: Bits::default(),
        })
    };
    if !region.fixed_channels {
        let own = u32::try_from(region.default_channels().len()).ok()?;
        return Some(vec![request(ALL_ON, u16::MAX.unbounded_shr(16_u32.saturating_sub(own)))?]);
    }
    let [narrow @ .., wide] = masks(region, channels)?;
    let groups = narrow.iter().enumerate().filter(|(_, mask)| **mask != 0);
    let groups = groups.map(|(group, mask)| request(u8::try_from(group).ok()?, *mask));
    std::iter::once(request(NARROW_OFF, wide)).chain(groups).collect()
}

/// Four masks of narrow channels and one of wide ones; of no channels those of the region. `None` in plans with another
/// number of channels.
fn masks(region: &Region, channels: &[Frequency]) -> Option<[u16; 5]> {
    let own = region.default_channels();
    if own.len() != NARROW + WIDE {
        return None;
    }
    let mut masks = [0_u16; 5];
    for (number, centre) in own.iter().enumerate() {
        if channels.is_empty() || channels.iter().any(|channel| is_same(*centre, *channel)) {
            *masks.get_mut(number / 16)? |= 1 << (number % 16);
        }
    }
    Some(masks)
}

fn is_same(one: Frequency, other: Frequency) -> bool {
    (one.hertz() - other.hertz()).abs() < SAME_HZ
}

fn carrier(channel: Frequency) -> Option<CarrierFrequency> {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "channels lie below 4 GHz")]
    CarrierFrequency::from_hz(channel.hertz().round() as u32)
}

/// Whether a frequency is a channel of a device, or of the region where it names none.
pub(super) fn is_channel(region: &Region, channels: &[Frequency], frequency_hz: u32) -> bool {
    let heard = Frequency::from_hertz(frequency_hz.into());
    let own = region.default_channels();
    // A node radio may be off by 20 parts in a million: 18 kHz; gateways report the channel's centre.
    channels.iter().chain(&own).any(|channel| is_same(*channel, heard))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn megahertz(all: &[f64]) -> Vec<Frequency> {
        all.iter().map(|one| Frequency::from_megahertz(*one)).collect()
    }

    fn eight_of_us915() -> Vec<Frequency> {
        // The second bank: channels 8 to 15 and 65.
        let narrow = (8..16).map(|number| 902.3 + 0.2 * f64::from(number));
        megahertz(&narrow.chain([904.6]).collect::<Vec<_>>())
    }

    /// RP002-1.0.5, section 3.4: EU868 takes five frequencies; its own three are not told.
    #[test]
    fn channels_that_a_device_lacks_are_told_in_the_join_accept() {
        let region = Region::builtin("EU868").expect("built in");
        assert_eq!(cf_list(&region, &[]), None);
        assert_eq!(cf_list(&region, &megahertz(&[868.1, 868.3])), None);
        let Some(CfList::Frequencies(list)) = cf_list(&region, &megahertz(&[868.1, 867.1, 867.3])) else {
            panic!("two more")
        };
        assert_eq!(list.map(CarrierFrequency::hz), [867_100_000, 867_300_000, 0, 0, 0]);
    }

    /// RP002-1.0.5, section 3.5: masks of 16 channels each, the fifth of the wide ones.
    #[test]
    fn a_bank_of_a_fixed_plan_is_told_by_masks() {
        let region = Region::builtin("US915").expect("built in");
        assert_eq!(
            cf_list(&region, &eight_of_us915()),
            Some(CfList::ChannelMasks([0xff00, 0, 0, 0, 0x0002, 0]))
        );
        assert_eq!(cf_list(&region, &region.default_channels()), None);
        assert_eq!(cf_list(&region, &[]), None);
        let commands = rate_commands(&region, &eight_of_us915(), 3).expect("it can be said");
        let masks: Vec<(u8, u16)> = commands
            .iter()
            .map(|command| match command {
                DownlinkCommand::LinkAdrReq { channel_mask, channel_mask_control, data_rate, .. } => {
                    assert_eq!(data_rate.get(), 3);
                    (channel_mask_control.get(), *channel_mask)
                }
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(
            masks,
            [(7, 0x0002), (0, 0xff00)],
            "the wide ones first, which switches all narrow ones off"
        );
    }

    #[test]
    fn a_dynamic_plan_keeps_all_channels_on() {
        let region = Region::builtin("EU868").expect("built in");
        let commands = rate_commands(&region, &[], 5).expect("it can be said");
        assert!(
            matches!(commands[..], [DownlinkCommand::LinkAdrReq { channel_mask: 0b111, channel_mask_control, .. }]
                if channel_mask_control.get() == 6),
            "{commands:?}"
        );
    }

    #[test]
    fn a_strange_frequency_is_told_from_a_channel() {
        let region = Region::builtin("EU868").expect("built in");
        assert!(is_channel(&region, &[], 868_300_000));
        assert!(!is_channel(&region, &[], 867_100_000));
        assert!(is_channel(&region, &megahertz(&[867.1]), 867_100_000));
        assert!(!is_channel(&region, &[], 903_900_000));
    }
}
