//! A node of the demonstration: its battery lives by the kernel of the forecast, its frames are made by `wire`.

use design::message::{Direction, Field, Form, Kind, Part};
use design::node::{Condition, Design, Step};
use forecast::diary::Diary;
use forecast::life::kernel::{Life, step};
use forecast::life::node::{Harvest, NodeTables};
use forecast::life::weather::{NodeWeather, SampleYears};
use forecast::load::Demand;
use forecast::sky::climate::Climate;
use wire::identity::DevEui;
use wire::key::AppKey;
use wire::payload::{Codec, Sample};

use super::air::OnAir;
use super::faults::{Fault, Faults};
use super::radio::Radio;

/// The demonstration begins with this charge, at the first hour of the climate's year.
const FIRST_CHARGE: f64 = 0.6;
/// Load that a fault adds \[A\].
const EXTRA_AMPERES: f32 = 0.02;
/// Integrity codes that a forger tries at once.
const TRIES: u8 = 12;
/// What is left of a worn battery.
const WORN: f64 = 0.33;
/// A message that is not sent at this charge is thought of again after so long \[min\].
const ASLEEP_MIN: f64 = 60.0;
/// A node that lives.
pub(super) struct LiveNode {
    /// What the site calls it.
    pub(super) name: String,
    messages: Vec<Sent>,
    /// What it can be told.
    to_node: Vec<Codec>,
    with_panel: NodeTables,
    without_panel: NodeTables,
    years: SampleYears,
    life: Life,
    worn: bool,
    hour: usize,
    charging_min: f64,
    radio: Radio,
    random: u64,
}

/// A message that it sends again and again.
struct Sent {
    codec: Codec,
    /// The activity that sends it.
    activity: String,
    /// Interval by charge, highest first: the charge from which it holds, and the minutes; none: not at all.
    every: Vec<(f64, Option<f64>)>,
    next_min: f64,
    /// Values of the last one, which a stuck sensor repeats.
    last: Vec<f64>,
}

impl LiveNode {
    /// A node of a design in a climate.
    pub(super) fn new(design: &Design, climate: &Climate, dev_eui: DevEui, key: AppKey, seed: u64) -> Self {
        let diary = Diary::new(design);
        let weather = NodeWeather::of_climate(design, climate, &diary, seed);
        let demand = Demand::new(design, &diary);
        let with_panel = NodeTables::of_design(design, demand.clone());
        let without_panel = NodeTables::new(design, Harvest::None, demand);
        let up = design.messages.iter().filter(|message| message.direction == Direction::Up);
        let messages = up.filter_map(|message| {
            let (activity, every) = intervals(design, &message.name)?;
            // Not all at the same moment.
            let next_min = 1.0 + 1.7 * f64::from(u32::try_from(seed).unwrap_or_default());
            Some(Sent { codec: Codec::new(message), activity, every, next_min, last: Vec::new() })
        });
        Self {
            name: design.name.clone(),
            messages: messages.collect(),
            to_node: design
                .messages
                .iter()
                .filter(|message| message.direction == Direction::Down)
                .map(Codec::new)
                .collect(),
            life: Life::new(&with_panel, FIRST_CHARGE),
            with_panel,
            without_panel,
            years: weather.sample().clone(),
            worn: false,
            hour: 0,
            charging_min: 0.0,
            radio: Radio::new(design, dev_eui, key),
            random: seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1,
        }
    }

    /// Lives until a moment of its own time; what it, or somebody in its name, has sent since.
    pub(super) fn live_until(&mut self, minutes: f64, faults: &Faults) -> Vec<OnAir> {
        if faults.contains(&Fault::Worn) != self.worn {
            self.worn = !self.worn;
            self.life.scale_capacity(if self.worn { WORN } else { 1.0 / WORN });
        }
        while as_index(minutes / 60.0) > self.hour {
            self.live_an_hour(faults);
        }
        if !self.life.running {
            self.radio.session = None;
            return Vec::new();
        }
        let mut frames = Vec::new();
        if self.radio.session.is_none() {
            frames.extend(self.radio.join(minutes));
        }
        for index in 0..self.messages.len() {
            if self.messages.get(index).is_some_and(|sent| sent.next_min <= minutes) {
                self.send(index, minutes, faults, &mut frames);
            }
        }
        frames.into_iter().map(|bytes| self.heard(bytes)).collect()
    }

    /// Takes an answer that may be for it, and does what it says.
    pub(super) fn hear(&mut self, bytes: &[u8]) {
        let Some((port, payload)) = self.radio.hear(bytes, self.life.charge()) else { return };
        let Some(to_node) = self.to_node.iter().find(|codec| codec.message().port == port) else { return };
        let mut readings = Vec::new();
        if to_node.decode(port, &payload, &mut readings).is_err() {
            return;
        }
        for (field, reading) in to_node.message().fields.iter().zip(&readings) {
            let (Some(sets), Some(value)) = (&field.sets, reading.value()) else { continue };
            let minutes = value * f64::from(sets.unit_s) / 60.0;
            // The next one comes by the interval that is set now.
            for sent in self.messages.iter_mut().filter(|sent| sent.activity == sets.activity) {
                let stands = sent.every.first().and_then(|(_, every)| *every).unwrap_or(minutes);
                sent.next_min += minutes - stands;
                sent.every = vec![(0.0, Some(minutes))];
            }
        }
    }

    fn live_an_hour(&mut self, faults: &Faults) {
        let dark = faults.contains(&Fault::Snow);
        let tables = if faults.contains(&Fault::Unplugged) { &self.without_panel } else { &self.with_panel };
        self.life.extra_amperes = if faults.contains(&Fault::Load) { EXTRA_AMPERES } else { 0.0 };
        let place = self.hour % self.years.hours.len().max(1);
        if let (Some(weather), Some(kind)) = (self.years.hours.get(place), self.years.kinds.get(place)) {
            let mut weather = *weather;
            if dark {
                weather.in_plane_w_m2 = 0.0;
            }
            let ran = self.life.running;
            let outcome = step(tables, usize::from(*kind), &weather, &mut self.life);
            self.radio.restarted |= !ran && self.life.running;
            if outcome.taken > 0.0 {
                self.charging_min += 60.0;
            }
        }
        self.hour += 1;
    }

    fn send(&mut self, index: usize, minutes: f64, faults: &Faults, frames: &mut Vec<Vec<u8>>) {
        if faults.contains(&Fault::Restarts) {
            self.radio.restarted = true;
            self.radio.session = None;
            frames.extend(self.radio.join(minutes));
        }
        let codec = self.messages.get(index).map(|sent| sent.codec.clone());
        let Some(payload) = codec.and_then(|codec| self.payload(index, &codec, faults)) else { return };
        let charge = self.life.charge();
        if let Some(sent) = self.messages.get_mut(index) {
            let row = sent.every.iter().find(|(from, _)| charge >= *from);
            sent.next_min = minutes + row.and_then(|(_, every)| *every).unwrap_or(ASLEEP_MIN);
        }
        let Some(bytes) = self.radio.seal(&payload) else { return };
        if faults.contains(&Fault::Forged) {
            frames.extend(self.radio.last_frame.clone());
            let mut forged = bytes.clone();
            forged.iter_mut().skip(7).for_each(|octet| *octet ^= 0x5a);
            // Who has no key tries one code after another.
            frames.extend((1..=TRIES).map(|code| {
                let mut one = forged.clone();
                one.iter_mut().rev().take(1).for_each(|octet| *octet = code);
                one
            }));
        }
        if !faults.contains(&Fault::Lost) || self.radio.sent.is_multiple_of(2) {
            frames.push(bytes.clone());
        }
        self.radio.last_frame = Some(bytes);
    }

    /// Port and bytes of a message, as its firmware would make them.
    fn payload(&mut self, index: usize, codec: &Codec, faults: &Faults) -> Option<(u8, Vec<u8>)> {
        let layout = codec.layout(Form::Full)?.clone();
        let stuck = faults.contains(&Fault::Stuck);
        let before = self.messages.get(index)?.last.clone();
        let mut values = Vec::new();
        for (place, slot) in layout.slots.iter().enumerate() {
            let field = codec.message().fields.get(slot.field)?;
            // A sensor hangs, not the program that reads it.
            let hangs = stuck && matches!(field.kind, Kind::Number { battery: false, .. });
            let repeated = before.get(place).copied().filter(|_| hangs);
            values.push(repeated.unwrap_or_else(|| self.value(field, slot.part)));
        }
        let samples = values.iter().enumerate().map(|(place, value)| codec.sample(Form::Full, place, *value));
        let samples = samples.collect::<Result<Vec<Sample<'_>>, _>>().ok()?;
        let bytes = codec.encode(Form::Full, &samples).ok()?.bytes;
        self.messages.get_mut(index)?.last = values;
        self.radio.restarted = false;
        Some((codec.message().port, bytes))
    }

    /// An invented reading: what the kernel knows is taken from it.
    #[expect(clippy::cast_possible_truncation, reason = "the tables of the kernel are in single precision")]
    fn value(&mut self, field: &Field, part: Part) -> f64 {
        let place = self.hour.saturating_sub(1) % self.years.hours.len().max(1);
        let weather = self.years.hours.get(place).copied().unwrap_or_default();
        let noise = self.noise();
        match &field.kind {
            Kind::Number { battery: true, .. } => {
                1000.0 * f64::from(self.with_panel.rest_volts(self.life.charge() as f32))
            }
            // Water and soil are never as cold as the air: what a sensor is made for is what it feels.
            Kind::Number { scale, last, .. } if field.unit == "Cel" => {
                (f64::from(weather.air_celsius) + 0.3 * noise).clamp(scale.value(0), scale.value(*last))
            }
            Kind::Number { scale, last, .. } => {
                let (least, most) = (scale.value(0), scale.value(*last));
                least + (most - least) * (0.5 + 0.2 * (self.hour as f64 / 30.0).sin() + 0.02 * noise)
            }
            Kind::Counter { .. } => within_codes(field, self.charging_min),
            Kind::Flag => f64::from(u8::from(self.radio.restarted)),
            Kind::Choice { .. } => 0.0,
            Kind::Position { .. } if part == Part::Longitude => 13.0 + 0.001 * noise,
            Kind::Position { .. } => 47.0 + 0.001 * noise,
            Kind::Time { .. } | Kind::Bytes { .. } => f64::NAN,
        }
    }

    fn heard(&mut self, bytes: Vec<u8>) -> OnAir {
        let noise = self.noise();
        let data_rate = self.radio.rate_name(&bytes);
        OnAir { bytes, data_rate, rssi_dbm: -98.0 + 4.0 * noise, snr_db: 6.0 + 2.0 * noise }
    }

    /// Between -1 and 1; xorshift64* (S. Vigna, "An experimental exploration of Marsaglia's xorshift generators, scrambled",
    /// 2016).
    fn noise(&mut self) -> f64 {
        self.random ^= self.random >> 12;
        self.random ^= self.random << 25;
        self.random ^= self.random >> 27;
        let drawn = self.random.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 11;
        2.0 * (drawn as f64 / (1_u64 << 53) as f64) - 1.0
    }
}

/// A count as its field holds it: after the last code it begins anew.
fn within_codes(field: &Field, count: f64) -> f64 {
    let step =
        field.scale(Part::Value).map_or(1.0, |scale| scale.numerator as f64 / scale.denominator as f64);
    count % (step * (f64::from(field.codes(Part::Value).last) + 1.0))
}

/// From which charge on a message is sent how often \[min\].
type Intervals = Vec<(f64, Option<f64>)>;

/// The activity that sends a message, and its intervals by charge, those of the month in which it is sent most often; none for
/// one that is sent only at times.
fn intervals(design: &Design, message: &str) -> Option<(String, Intervals)> {
    let sends = |step: &Step| matches!(step, Step::Uplink { message: Some(name), .. } if name == message);
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let mut sending = activities.filter(|activity| activity.steps.iter().any(sends));
    let always = sending.find(|activity| activity.when == Condition::default())?;
    let minutes = |every: design::quantity::Duration| every.seconds() / 60.0;
    let rows = always.every.rows().iter();
    let rows = rows.map(|(from, _)| (from.fraction(), always.every.shortest_at(*from).map(minutes)));
    Some((always.name.clone(), rows.collect()))
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "hours since the start")]
fn as_index(hours: f64) -> usize {
    hours.max(0.0) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The clearest winter ends no message: hours in charge are counted round, as the firmware counts them.
    #[test]
    fn a_counter_that_has_gone_round_still_fits_its_message() {
        let text = include_str!("../../../../examples/larkmoor/frost-mast.toml");
        let file = design::file::parse(text);
        let design =
            design::resolve::resolve(&design::catalog::Catalog::builtin(), &file).expect("resolves").design;
        let message = design.messages.iter().find(|message| message.name == "report").expect("it reports");
        let codec = Codec::new(message);
        let layout = codec.layout(Form::Full).expect("it has a layout");
        let is_counter = |place: &usize| matches!(message.fields[*place].kind, Kind::Counter { .. });
        let slot = layout.slots.iter().position(|slot| is_counter(&slot.field)).expect("it counts");
        let field = &message.fields[layout.slots[slot].field];
        let takes = |count: f64| codec.sample(Form::Full, slot, count).is_ok();
        assert!((0..20_000).all(|hours| takes(within_codes(field, 60.0 * f64::from(hours)))));
        assert!(!takes(60.0 * 20_000.0), "it goes round in this time");
    }
}
