//! What a message to the node changes: when the next report is expected.
//!
//! # Example
//!
//! ```
//! use design::catalog::Catalog;
//! use kit::effect::effects;
//! use wire::payload::{Codec, Sample};
//! use design::message::Form;
//!
//! # let text = include_str!("../../../examples/larkmoor/frost-mast.toml");
//! # let design = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(text)).expect("it resolves").design;
//! let settings = design.messages.iter().find(|message| message.name == "settings").expect("the mast has settings");
//! let codec = Codec::new(settings);
//! let quarter = codec.sample(Form::Full, 0, 15.0)?;
//! let bytes = codec.encode(Form::Full, &[quarter, Sample::Absent, Sample::Absent])?.bytes;
//!
//! let mut readings = Vec::new();
//! codec.decode(settings.port, &bytes, &mut readings)?;
//! let [effect] = &effects(&design, settings, &readings)[..] else { panic!("one interval is set") };
//! // Heard at noon on 25 November 2026, in seconds since 1970.
//! let noon = 1_795_608_000;
//! assert_eq!(
//!     effect.expected(noon),
//!     "report_interval 15 min: heard at 2026-11-25T12:00Z, the next report is expected at 2026-11-25T12:15Z at the latest"
//! );
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "an interval is positive and at most some days"
)]

use design::date::moment_text;
use design::message::{Direction, Field, Form, Message, SetInterval};
use design::node::Design;

use crate::settings::{ActivitySettings, Settings};
use wire::payload::{Reading, State};

/// An interval that was set, and what follows it.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// The field, as it is called in the design.
    pub field: String,
    /// The field that sets it, and its value in its unit, as `report_interval 15 min`.
    pub set: String,
    /// The interval in the unit of the field, as `15 min`.
    pub interval: String,
    /// The same \[s\].
    pub interval_s: f64,
    /// What is sent at this interval: names of messages, or of the activity while its message is not designed.
    pub next: String,
    /// When it is sent at all, or later, in words; empty for always.
    pub only: String,
}

/// The intervals that a message to the node sets once it is heard.
///
/// `readings` are those of its full form, as [`wire::payload::Codec::decode`] gives them. What is absent changes nothing,
/// and of what lies outside its range nobody knows what the node makes of it: neither has an effect here.
#[must_use]
pub fn effects(design: &Design, message: &Message, readings: &[Reading]) -> Vec<Effect> {
    if message.direction == Direction::Up {
        return Vec::new();
    }
    let activities = Settings::of(design).activities;
    let slots = message.layout(Form::Full).slots;
    let effect = |(slot, reading): (&design::message::Slot, &Reading)| {
        let setting = Setting::of(message.fields.get(slot.field)?, &activities)?;
        let value = reading.value().filter(|_| reading.state() == State::Inside)?;
        Some(setting.effect(value))
    };
    slots.iter().zip(readings).filter_map(effect).collect()
}

impl Effect {
    /// When the next one is expected if the node heard the message at this moment \[s since 1970-01-01 UTC\].
    #[must_use]
    pub fn next_by(&self, heard_unix_s: u64) -> u64 {
        heard_unix_s.saturating_add(self.interval_s.ceil() as u64)
    }

    /// The same in words.
    #[must_use]
    pub fn expected(&self, heard_unix_s: u64) -> String {
        let text = |seconds| moment_text(seconds).unwrap_or_else(|| "a day too far away".to_owned());
        let Self { set, next, only, .. } = self;
        let (heard, by) = (text(heard_unix_s), text(self.next_by(heard_unix_s)));
        format!("{set}: heard at {heard}, the next {next} is expected at {by} at the latest{}", comma(only))
    }

    /// What happens whenever it is heard.
    #[must_use]
    pub fn within(&self) -> String {
        let Self { set, interval, next, only, .. } = self;
        format!("{set}: once this is received, the next {next} is expected within {interval}{}", comma(only))
    }
}

fn comma(only: &str) -> String {
    if only.is_empty() { String::new() } else { format!(", {only}") }
}

/// A field that sets an interval, and what is sent at it.
pub(crate) struct Setting<'a> {
    pub(crate) field: &'a Field,
    pub(crate) interval: &'a SetInterval,
    pub(crate) next: String,
    pub(crate) only: String,
    /// Whether months or charge ask for intervals too: the node then waits for whichever is longer.
    least: bool,
}

impl<'a> Setting<'a> {
    /// None for a field that sets nothing.
    pub(crate) fn of(field: &'a Field, activities: &[ActivitySettings]) -> Option<Self> {
        let interval = field.sets.as_ref()?;
        let activity =
            activities.iter().find(|one| one.load == interval.load && one.activity == interval.activity);
        let sends = activity.map(|activity| activity.sends.join(" or ")).filter(|names| !names.is_empty());
        let least = activity.is_some_and(ActivitySettings::varies);
        let only = activity.map(|activity| activity.only.clone()).unwrap_or_default();
        let later = if least { "later where month and charge ask for a longer interval" } else { "" };
        let words: Vec<&str> = [only.as_str(), later].into_iter().filter(|words| !words.is_empty()).collect();
        Some(Self {
            field,
            interval,
            next: sends.unwrap_or_else(|| interval.activity.clone()),
            only: words.join(", "),
            least,
        })
    }

    fn effect(&self, value: f64) -> Effect {
        let interval = format!("{value} {}", self.field.unit);
        Effect {
            field: self.field.name.clone(),
            set: format!("{} {interval}", self.field.name),
            interval_s: value * f64::from(self.interval.unit_s),
            interval,
            next: self.next.clone(),
            only: self.only.clone(),
        }
    }

    /// What a person who writes or reads firmware has to know.
    pub(crate) fn remark(&self) -> String {
        let what = if self.least { "least interval" } else { "interval" };
        format!("sets the {what} of {}, counted from when it is received{}", self.next, comma(&self.only))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 90.5 s after second 1000 is 1090.5, and a node that is awaited must not be called late half a second early.
    #[test]
    fn the_next_one_is_never_awaited_before_it_is_due() {
        let words = String::new;
        let due = |interval_s: f64| {
            let (field, set, interval, next, only) = (words(), words(), words(), words(), words());
            Effect { field, set, interval, interval_s, next, only }.next_by(1000)
        };
        assert_eq!((due(90.5), due(90.0), due(0.1)), (1091, 1090, 1001));
    }
}
