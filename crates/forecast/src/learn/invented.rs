//! Nodes drawn from what is believed of them, and what they would send: to see whether learning finds them again.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "minutes of a day, and hours of some weeks"
)]

use design::node::Design;
use design::quantity::Voltage;

use super::ahead::{Silence, Start, silence, silent_after};
use super::days::{BLOCK_H, BLOCKS, DaySeen, HOURS, MinutesSeen};
use super::island::{block_sd_volts, minutes_sd};
use super::model::Model;
use super::particle::{Particle, Regime};
use super::parts::{AFTERNOON, CAPACITY, FLOOR, MORNING, YIELD};
use super::{DAY_S, Reading};
use crate::random::Stream;
use crate::sky::climate::Climate;
use crate::sky::hours::DayHours;

/// A node that was drawn, and its messages: six a day, with as much error as learning grants them.
#[derive(Clone, Debug)]
pub struct Invented {
    /// What it sent.
    pub readings: Vec<Reading>,
    /// The end of its last day \[s since 1970, UTC\].
    pub as_of_s: i64,
    /// What the panel gives about noon, of what the design says.
    pub noon_yield: f64,
    /// What it drew on its last day \[mAh\].
    pub load_mah_per_day: f64,
    /// Over the label.
    pub capacity: f64,
    /// State of charge.
    pub charge: f64,
}

/// The voltage at which it begins.
const BEGINS_VOLTS: f32 = 3.95;
/// Where its counter of minutes begins anew.
pub const INVENTED_MODULUS: u32 = 4096;
/// A member of the last day of the year has no other stream.
const INVENTED: u64 = 1 << 45;
/// Nor has the sky of several.
const INVENTED_SKY: u64 = 1 << 46;

/// Draws a node and lets it live so many days from one counted since 1970.
#[must_use]
pub fn invented(design: &Design, climate: &Climate, first_day: i64, days: usize, seed: u64) -> Invented {
    let model = Model::new(design, climate, INVENTED_MODULUS, None);
    let mut random = Stream::new(seed, INVENTED);
    let mut node = Particle::new(&model, Some(BEGINS_VOLTS), &mut random);
    lived(&model, &mut node, (first_day, days), Under::Own { breaks: true }, &mut random)
}

/// What differs between the nodes of an invented site.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Differ {
    /// All that is believed to differ.
    All,
    /// What the panel gives, shade and the meter; load and battery are as designed, which nobody tells who learns.
    Panels,
}

/// Draws so many nodes that live under one sky, in which nothing breaks; each has parts of its own.
#[must_use]
pub fn invented_site(
    design: &Design,
    climate: &Climate,
    (first_day, days): (i64, usize),
    (nodes, differ): (u64, Differ),
    seed: u64,
) -> Vec<Invented> {
    let model = Model::new(design, climate, INVENTED_MODULUS, None);
    let mut random = Stream::new(seed, INVENTED_SKY);
    let mut bearer = Particle::new(&model, Some(BEGINS_VOLTS), &mut random);
    (bearer.parts[MORNING], bearer.parts[AFTERNOON]) = (0.0, 0.0);
    let skies: Vec<DayHours> =
        (first_day..).take(days).map(|day| bearer.hours_of(&model, &asked(day), &mut random)).collect();
    let node = |number: u64| {
        let mut random = Stream::new(seed, INVENTED + 1 + number);
        let mut node = Particle::new(&model, Some(BEGINS_VOLTS), &mut random);
        node.regime = Regime::Sound;
        if differ == Differ::Panels {
            for place in [FLOOR, CAPACITY] {
                node.parts[place] = model.beliefs.usual(place);
            }
        }
        node.equip(&model);
        lived(&model, &mut node, (first_day, days), Under::Given(&skies), &mut random)
    };
    (0..nodes).map(node).collect()
}

/// Parts of a node, of what its design says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Parts {
    /// What the panel gives.
    pub yields: f64,
    /// What the floor draws.
    pub floor: f64,
    /// What the battery holds of its label.
    pub capacity: f64,
}

/// Lets a node of these parts live so many days, in which nothing breaks; and how long that very node goes on within half a
/// year of drawn weather.
#[must_use]
pub fn twin(
    design: &Design,
    climate: &Climate,
    (first_day, days): (i64, usize),
    seed: u64,
    parts: &Parts,
) -> (Invented, Silence) {
    let model = Model::new(design, climate, INVENTED_MODULUS, None);
    let mut random = Stream::new(seed, INVENTED);
    let mut node = Particle::new(&model, Some(BEGINS_VOLTS), &mut random);
    node.regime = Regime::Sound;
    let shares = [(YIELD, parts.yields), (FLOOR, parts.floor), (CAPACITY, parts.capacity)];
    for (place, share) in shares.into_iter().chain([(MORNING, 1.0), (AFTERNOON, 1.0)]) {
        node.parts[place] = share.ln();
    }
    node.equip(&model);
    let told = lived(&model, &mut node, (first_day, days), Under::Own { breaks: false }, &mut random);
    let day = first_day + i64::try_from(days).unwrap_or(0);
    let start = Start { day, hour: 0, days: AHEAD_DAYS, mend: None, seed, threads: 1 };
    let winters = silent_after(&model, &vec![&node; WINTERS], &start);
    (told, silence(&winters, AHEAD_DAYS))
}

/// Days that are looked at ahead, and how often.
const AHEAD_DAYS: usize = 180;
const WINTERS: usize = 400;

/// What a node lives under.
#[derive(Clone, Copy)]
enum Under<'a> {
    /// A sky that is drawn for it, in which something may break or not.
    Own { breaks: bool },
    /// The hours of these days, and nothing breaks.
    Given(&'a [DayHours]),
}

/// Lives so many days from one on; what is sent.
fn lived(
    model: &Model,
    node: &mut Particle,
    (first_day, days): (i64, usize),
    under: Under<'_>,
    random: &mut Stream,
) -> Invented {
    let (mut readings, mut counted) = (Vec::new(), 0.0);
    for (place, day) in (first_day..).take(days).enumerate() {
        let seen = asked(day);
        if matches!(under, Under::Own { breaks: true }) {
            node.pass_night(model, day, random);
        }
        let hours = match under {
            Under::Own { .. } => node.hours_of(model, &seen, random),
            Under::Given(skies) => node.shaded(&skies[place]),
        };
        let lived = node.live(model, &seen, &hours);
        let minutes = f64::from(lived.minutes);
        let told = (minutes + f64::from(minutes_sd(lived.minutes)) * student(3, random)).max(0.0);
        for (block, volts) in lived.block_volts.iter().enumerate() {
            let error = f64::from(block_sd_volts(1.0)) * student(4, random);
            // The day's minutes are told by its last message.
            let so_far = if block + 1 == BLOCKS { told } else { 0.0 };
            let count = (counted + so_far).round() as u64 % u64::from(INVENTED_MODULUS);
            readings.push(Reading {
                at_s: model.clock.begins_s(day) + 3600 * i64::from(hour_of(block)) + 1800,
                battery: Some(Voltage::from_volts(f64::from(*volts) + error)),
                charging_min: Some(count as u32),
                panel: None,
                box_air: None,
                restarted: readings.is_empty(),
                counter: Some(readings.len() as u32),
                rate: None,
            });
        }
        counted += told;
    }
    Invented {
        readings,
        as_of_s: model.clock.begins_s(first_day) + DAY_S * i64::try_from(days).unwrap_or(0),
        noon_yield: node.parts[YIELD].exp() * f64::from(node.regime.panel()),
        load_mah_per_day: 1e3 * node.load_ah,
        capacity: node.parts[CAPACITY].exp(),
        charge: node.life.charge(),
    }
}

/// The hour of a block in which a message is sent.
fn hour_of(block: usize) -> u8 {
    (block * BLOCK_H + BLOCK_H / 2) as u8
}

/// A day of which one message of each block and all minutes are wanted.
fn asked(day: i64) -> DaySeen {
    let mut seen = DaySeen::unseen(day, (0, HOURS));
    for block in 0..BLOCKS {
        seen.volts[usize::from(hour_of(block))] = (1, 0.0);
    }
    seen.minutes = Some(MinutesSeen { minutes: 0.0, from_h: 0.0, to_h: HOURS as f64 });
    seen
}

/// A draw of Student's distribution with so many degrees: a normal over the root of a mean of squares.
fn student(degrees: usize, random: &mut Stream) -> f64 {
    let normal = random.normal();
    let squares: f64 = (0..degrees).map(|_| random.normal().powi(2)).sum();
    normal / (squares / degrees as f64).sqrt()
}
