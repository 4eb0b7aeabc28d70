//! The channels a radio sends on, and the data rates a network may ask of it there.

use super::Resolver;
use crate::diagnostic::{self, Code};
use crate::file::part::RadioSection;
use crate::law::Law;
use crate::quantity::{Frequency, Quantity, Share};
use crate::region::Region;
use std::ops::Range;

impl Resolver<'_> {
    pub(super) fn channels(
        &mut self,
        section: &RadioSection,
        region: &Region,
        used: &[(u8, Share)],
    ) -> Option<Vec<Frequency>> {
        let Some(written) = &section.channels else { return Some(region.default_channels()) };
        let law = Law::of_region(&region.name)?;
        if written.value.is_empty() {
            let help = "list at least one channel, or leave the key out for those of the region";
            self.found.error(diagnostic::CHANNEL, &written.span, "there is no channel to send on", help);
            return None;
        }
        let before = written.value.iter().find_map(|channel| wrong(*channel, region, &law, used));
        if let Some((code, message, help)) = before {
            self.found.error(code, &written.span, message, help);
            return None;
        }
        let carried = |rate: u8| written.value.iter().any(|channel| region.carries(*channel, rate));
        if let Some((rate, _)) = used.iter().find(|(rate, share)| *share > Share::ZERO && !carried(*rate)) {
            let message = format!("no channel of the list carries DR{rate}");
            self.found.error(diagnostic::CHANNEL, &written.span, message, carriers(region, *rate));
            return None;
        }
        Some(written.value.clone())
    }

    /// The data rates the network may ask for, ascending; those in use are always among them.
    pub(super) fn allowed_rates(
        &mut self,
        section: &RadioSection,
        region: &Region,
        used: &[(u8, Share)],
        channels: &[Frequency],
    ) -> Option<Vec<u8>> {
        let in_use = used.iter().filter(|(_, share)| *share > Share::ZERO).map(|(rate, _)| *rate);
        let mut allowed = match &section.allowed_rates {
            None => region.default_data_rates(channels, dwells(section)),
            Some(written) => {
                let rates: Vec<u8> = written.value.iter().map(|rate| rate.0).collect();
                self.check_allowed(&rates, in_use.clone(), region, section, &written.span)?;
                rates
            }
        };
        allowed.extend(in_use);
        allowed.sort_unstable();
        allowed.dedup();
        Some(allowed)
    }

    fn check_allowed(
        &mut self,
        rates: &[u8],
        mut in_use: impl Iterator<Item = u8>,
        region: &Region,
        section: &RadioSection,
        span: &Range<usize>,
    ) -> Option<()> {
        if let Some(missing) = in_use.find(|rate| !rates.contains(rate)) {
            let message = format!("DR{missing} is in use but not among the allowed data rates");
            self.found.error(
                diagnostic::DATA_RATE,
                span,
                message,
                format!("add \"DR{missing}\" to the list"),
            );
            return None;
        }
        rates.iter().all(|rate| self.known_rate(*rate, region, section, span)).then_some(())
    }
}

/// Whether the limit of 400 ms holds that a network can lift.
pub(super) fn dwells(section: &RadioSection) -> bool {
    section.dwell_limit.as_ref().is_none_or(|at| at.value)
}

/// What is wrong with a channel, if anything.
fn wrong(
    channel: Frequency,
    region: &Region,
    law: &Law,
    used: &[(u8, Share)],
) -> Option<(Code, String, String)> {
    let name = mhz(channel);
    if channel < region.span.0 || channel > region.span.1 {
        let message = format!("{name} lies outside {}", region.name);
        let help = format!("write a channel from {} to {}", mhz(region.span.0), mhz(region.span.1));
        return Some((diagnostic::CHANNEL, message, help));
    }
    if region.fixed_channels {
        let known = (0..16).any(|rate| region.carries(channel, rate));
        let message = format!("{name} is not one of the fixed channels of {}", region.name);
        return (!known).then(|| (diagnostic::CHANNEL, message, carriers(region, 0)));
    }
    let mut bands = law.bands_at(channel).peekable();
    let refused = bands.peek().and_then(|band| band.refused.clone());
    if bands.peek().is_none() || refused.is_some() {
        let kept =
            refused.map_or("no sub-band that a node may use".to_owned(), |whom| format!("kept for {whom}"));
        return Some((diagnostic::CHANNEL_GAP, format!("{name} lies in a gap: {kept}"), sub_bands(law)));
    }
    let widest = used
        .iter()
        .filter_map(|(rate, _)| region.modulation(*rate)?.occupied_bandwidth())
        .fold(Frequency::ZERO, |widest, one| if one > widest { one } else { widest });
    let half = widest / 2.0;
    let message = format!(
        "{name} reaches from {} to {}, across the edge of its sub-band",
        mhz(channel - half),
        mhz(channel + half)
    );
    let inside =
        bands.any(|band| band.contains(channel, widest) && band.widest.is_none_or(|most| widest <= most));
    (!inside).then(|| (diagnostic::CHANNEL_EDGE, message, sub_bands(law)))
}

fn sub_bands(law: &Law) -> String {
    let mut usable: Vec<String> = law
        .bands
        .iter()
        .filter(|band| band.refused.is_none())
        .map(|band| format!("{}-{}", band.from.megahertz(), mhz(band.to)))
        .collect();
    usable.dedup();
    format!("keep the whole channel inside one of {}", usable.join(", "))
}

fn carriers(region: &Region, rate: u8) -> String {
    let groups: Vec<String> = region
        .channels
        .iter()
        .filter(|group| (group.data_rates.0..=group.data_rates.1).contains(&rate))
        .map(|group| {
            format!("{} channels from {} in steps of {}", group.count, mhz(group.first), group.step.text())
        })
        .collect();
    format!("DR{rate} is carried by {}", groups.join(" and "))
}

fn mhz(frequency: Frequency) -> String {
    format!("{} MHz", (frequency.hertz() / 100.0).round() / 1e4)
}
