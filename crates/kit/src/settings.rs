//! What the firmware needs to know besides its messages.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "percentages and waits of a checked design are small and positive"
)]

use design::node::{Activity, Design, Load, RadioUse, Step};
use design::quantity::{Duration, Share};

use crate::charge::{ChargeSteps, steps_of_charge};

/// What the firmware needs to know besides its messages.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Settings {
    /// The radio; `None` if nothing transmits.
    pub radio: Option<RadioSettings>,
    /// What is done from time to time, in the order of the file.
    pub activities: Vec<ActivitySettings>,
    /// The steps of charge on which intervals depend, if any do.
    pub charge: Option<ChargeSteps>,
}

/// How the radio is used.
#[derive(Clone, Debug, PartialEq)]
pub struct RadioSettings {
    /// Name of the regional plan, such as `EU868`.
    pub region: String,
    /// Edition and clause of the regional plan.
    pub source: String,
    /// Wait between two tries to join \[s\].
    pub join_retry_s: u32,
    /// Power at the radio's output \[dBm\].
    pub power_dbm: f64,
    /// Centres of the channels it sends on \[Hz\].
    pub channels_hz: Vec<u32>,
    /// Whether the network sets the data rate.
    pub adapts: bool,
    /// Data rates in use and the share of messages sent at each \[%\]; where the network sets the rate, before it has.
    pub rates: Vec<(u8, f64)>,
    /// Data rates in use, and the application bytes that each carries without MAC answers; ascending.
    pub largest_payloads: Vec<(u8, usize)>,
}

/// Something done from time to time.
#[derive(Clone, Debug, PartialEq)]
pub struct ActivitySettings {
    /// The load, as it is called in the file.
    pub load: String,
    /// The activity, as it is called in the file.
    pub activity: String,
    /// Load and activity as one name of lower-case ASCII letters, digits and `_`.
    pub name: String,
    /// Intervals \[s\], 0 for not at all: for each step of charge, the lowest first, one for each month.
    pub every_s: Vec<[u32; 12]>,
    /// When it happens at all, in words; empty for always.
    pub only: String,
    /// Messages it sends.
    pub sends: Vec<String>,
    /// Those of them for which it asks an acknowledgement.
    pub confirmed: Vec<String>,
    /// The positioning receiver is switched off after this time without a fix \[s\].
    pub fix_give_up_s: Option<u32>,
}

impl Settings {
    /// Of a design.
    #[must_use]
    pub fn of(design: &Design) -> Self {
        let rows =
            design.loads.iter().flat_map(|load| load.activities.iter().map(move |activity| (load, activity)));
        let steps = steps_of_charge(design);
        let mut activities: Vec<ActivitySettings> = Vec::new();
        for (load, activity) in rows {
            let mut row = ActivitySettings::of(load, activity, &steps);
            while activities.iter().any(|other| other.name == row.name) {
                row.name.push('_');
            }
            activities.push(row);
        }
        let radio = design.radio.as_ref().map(RadioSettings::of);
        let charge = (steps.len() > 1).then(|| ChargeSteps::of(&design.battery, &steps));
        Self { radio, activities, charge }
    }

    /// Activities whose interval depends on charge or month.
    pub(crate) fn varying(&self) -> impl Iterator<Item = &ActivitySettings> {
        self.activities.iter().filter(|activity| activity.varies())
    }
}

impl RadioSettings {
    fn of(radio: &RadioUse) -> Self {
        let carries = |rate: &u8| (*rate, radio.ceiling(*rate).bytes);
        Self {
            region: radio.region.name.clone(),
            source: radio.region.source.clone(),
            join_retry_s: whole(radio.join_retry.seconds()),
            power_dbm: radio.power.dbm(),
            channels_hz: radio
                .channels
                .iter()
                .map(|channel| (channel.megahertz() * 1e6).round() as u32)
                .collect(),
            adapts: radio.adaptation_margin.is_some(),
            rates: radio.data_rates.iter().map(|(rate, share)| (*rate, share.percent())).collect(),
            largest_payloads: radio.allowed_rates.iter().map(carries).collect(),
        }
    }
}

impl ActivitySettings {
    /// Whether its interval depends on charge or month.
    #[must_use]
    pub fn varies(&self) -> bool {
        self.every_s.iter().flatten().any(|seconds| *seconds != self.every_s[0][0])
    }

    fn of(load: &Load, activity: &Activity, steps: &[Share]) -> Self {
        let seconds = |interval: Option<Duration>| interval.map_or(0, |time| whole(time.seconds()));
        let months = |step: &Share| -> [u32; 12] {
            std::array::from_fn(|month| seconds(activity.every.at(month as u8 + 1, *step)))
        };
        let sends = activity.steps.iter().filter_map(|step| match step {
            Step::Uplink { message, .. } => message.clone(),
            _ => None,
        });
        let confirmed = activity.steps.iter().filter_map(|step| match step {
            Step::Uplink { message, confirmed: true, .. } => message.clone(),
            _ => None,
        });
        let give_up = activity.steps.iter().find_map(|step| match step {
            Step::Fix { give_up_after, .. } => Some(whole(give_up_after.seconds())),
            _ => None,
        });
        Self {
            load: load.name.clone(),
            activity: activity.name.clone(),
            name: identifier(&format!("{}_{}", load.name, activity.name)),
            every_s: steps.iter().map(months).collect(),
            only: only(activity),
            sends: sends.collect(),
            confirmed: confirmed.collect(),
            fix_give_up_s: give_up,
        }
    }
}

fn only(activity: &Activity) -> String {
    let when = &activity.when;
    let mut parts = Vec::new();
    if let Some(air) = when.air_below {
        parts.push(format!("while the air is colder than {} Cel", air.celsius()));
    }
    if let Some(moving) = when.moving {
        parts.push(if moving { "while moving" } else { "while standing" }.to_owned());
    }
    if !when.months.is_empty() {
        let months: Vec<String> = when.months.iter().map(ToString::to_string).collect();
        parts.push(format!("in the months {}", months.join(", ")));
    }
    if let Some((from, to)) = when.hours {
        parts.push(format!("from {from} to {to} o'clock solar time"));
    }
    parts.join(", ")
}

/// At least one second.
fn whole(seconds: f64) -> u32 {
    seconds.round().max(1.0) as u32
}

fn identifier(text: &str) -> String {
    let letter =
        |letter: char| if letter.is_ascii_alphanumeric() { letter.to_ascii_lowercase() } else { '_' };
    text.chars().map(letter).collect()
}
