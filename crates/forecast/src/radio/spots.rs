//! The spot on which each life's node stands, how well it is heard there, and at which data rates.
//!
//! The shadowing of a spot is drawn once per life and link: to average over spots would hide exactly the nodes that sit at
//! the slowest rate and die.
#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bins are clamped")]

use design::message::bytes_at;
use design::node::{Condition, Design, Step};
use design::quantity::{Dbm, Decibels, Duration, Share};
use design::region::Modulation;

use super::adr;
use super::airtime;
use super::collisions::{Rejection, Sender, above_floor, delivery};
use super::level::Draws;
use super::link::{Link, RateMargin};
use super::link_state::LinkState;
use crate::random::Stream;

/// Spots have random streams of their own, so that a gateway in the file changes no weather.
const SALT: u64 = 0x5107_0000_0000_0001;
/// Links of lives are told apart by their margin at the slowest rate in steps of so many dB, from the lowest on. To be off
/// by 0.6 dB (root mean square) is nothing beside what a link is off its median, and each step is a class whose lives must
/// be lived (own choice).
const STEP_DB: f64 = 2.0;
const LOWEST_DB: f64 = -10.0;
const BINS: i32 = 36;

/// One spot: what each link is better or worse than its median.
#[derive(Clone, Debug, PartialEq)]
pub struct Spot {
    /// In the order of the links.
    pub offsets: Vec<Decibels>,
}

/// Where lives may find themselves.
#[derive(Clone, Debug)]
pub struct Spots {
    links: Vec<Link>,
    kept: Option<Decibels>,
    fixed: Vec<(u8, Share)>,
    /// Share of messages that no other spoils, by data rate; those not listed meet nobody.
    clear: Vec<(u8, f64)>,
    classes: Vec<LinkState>,
    middle: LinkState,
    /// Class by link and bin.
    class_of: Vec<Vec<usize>>,
    seed: u64,
}

impl Spots {
    /// The spots of a design with these links, among others who send; without links there is one, at the design's own data
    /// rates.
    #[must_use]
    pub fn new(design: &Design, links: Vec<Link>, crowd: &[Sender], seed: u64) -> Self {
        let radio = design.radio.as_ref();
        let mut spots = Self {
            kept: radio.and_then(|radio| radio.adaptation_margin),
            fixed: radio.map(|radio| radio.data_rates.clone()).unwrap_or_default(),
            clear: Vec::new(),
            classes: Vec::new(),
            middle: LinkState { data_rates: Vec::new(), unanswered: None },
            class_of: Vec::new(),
            seed: seed ^ SALT,
            links,
        };
        if !crowd.is_empty() {
            spots.clear = clear(design, &spots.links, crowd);
        }
        spots.sort_into_classes(design.asks_for_answers());
        spots
    }

    /// The one spot of a design whose gateways are not looked at.
    #[must_use]
    pub fn alone(design: &Design) -> Self {
        Self::new(design, Vec::new(), &[], 0)
    }

    /// The class of the spot next to a gateway.
    #[must_use]
    pub fn nearest(&self) -> usize {
        self.class_of.first().and_then(|bins| bins.last()).copied().unwrap_or(0)
    }

    fn sort_into_classes(&mut self, confirmed: bool) {
        if self.links.is_empty() {
            self.middle = LinkState { data_rates: self.fixed.clone(), unanswered: None };
            self.classes = vec![self.middle.clone()];
            return;
        }
        self.middle = self.state_at(0, Decibels::ZERO, confirmed);
        for index in 0..self.links.len() {
            let classes = (0..BINS).map(|bin| self.class_in_bin(index, bin, confirmed)).collect::<Vec<_>>();
            let known = classes.into_iter().map(|class| self.place_of(class)).collect();
            self.class_of.push(known);
        }
    }

    fn class_in_bin(&self, index: usize, bin: i32, confirmed: bool) -> LinkState {
        let margin_db = LOWEST_DB + STEP_DB * f64::from(bin);
        self.state_at(
            index,
            Decibels::from_decibels(margin_db - self.links[index].slowest_margin()),
            confirmed,
        )
    }

    /// How uplinks go over a link that is off its median by so much.
    fn state_at(&self, index: usize, offset: Decibels, confirmed: bool) -> LinkState {
        let data_rates = self.mix(&self.links[index], offset);
        let unanswered = confirmed.then(|| {
            let link = std::slice::from_ref(&self.links[index]);
            let heard = self.heard(link, &[offset], Decibels::ZERO, &data_rates);
            let answered =
                self.links[index].answers.iter().flatten().map(|answer| survives(answer.margin + offset));
            let lost = answered.fold(1.0, |lost, one| lost * (1.0 - one));
            Share::from_percent((100.0 * (1.0 - heard * (1.0 - lost))).round())
        });
        LinkState { data_rates, unanswered }
    }

    fn place_of(&mut self, class: LinkState) -> usize {
        self.classes.iter().position(|known| *known == class).unwrap_or_else(|| {
            self.classes.push(class);
            self.classes.len() - 1
        })
    }

    /// The links, best first.
    #[must_use]
    pub fn links(&self) -> &[Link] {
        &self.links
    }

    /// All that a spot can come to.
    #[must_use]
    pub fn classes(&self) -> &[LinkState] {
        &self.classes
    }

    /// How the uplinks go on the spot at which every link is as its median.
    #[must_use]
    pub fn middle_state(&self) -> &LinkState {
        &self.middle
    }

    /// The spot of one life.
    #[must_use]
    pub fn draw(&self, life: u64) -> Spot {
        let draws = Draws::of_life(&mut Stream::new(self.seed, life), self.gateways());
        let offset = |link: &Link| draws[link.index];
        let off = |link: &Link| Dbm::from_dbm(link.level.at(&offset(link))) - link.received;
        Spot { offsets: self.links.iter().map(off).collect() }
    }

    /// Gateways of the file up to the last that has a link: draws go by its order, not by that of the margins.
    fn gateways(&self) -> usize {
        self.links.iter().map(|link| link.index + 1).max().unwrap_or(0)
    }

    /// The spot at which every link is as its median.
    #[must_use]
    pub fn middle(&self) -> Spot {
        Spot { offsets: vec![Decibels::ZERO; self.links.len()] }
    }

    /// How the uplinks of a spot go: its place among [`Self::classes`].
    #[must_use]
    pub fn class(&self, spot: &Spot) -> usize {
        let Some((index, link, offset)) = self.best(spot) else { return 0 };
        let margin_db = link.slowest_margin() + offset.decibels();
        let bin = ((margin_db - LOWEST_DB) / STEP_DB).round().clamp(0.0, f64::from(BINS - 1));
        self.class_of[index][bin as usize]
    }

    /// How much better its best link is than the median of the best link \[standard deviations of a spot\].
    #[must_use]
    pub fn score(&self, spot: &Spot) -> f64 {
        let of =
            |spot: &Spot| self.best(spot).map(|(_, link, offset)| link.slowest_margin() + offset.decibels());
        match (of(spot), of(&self.middle())) {
            (Some(here), Some(middle)) => (here - middle) / self.spread_db(),
            _ => 0.0,
        }
    }

    /// Standard deviation of the level of the best link over lives.
    fn spread_db(&self) -> f64 {
        self.links.first().map_or(1.0, |best| best.level.spread().sd_db)
    }

    /// Share of the uplinks that some gateway hears on this spot, fading and seasons included.
    #[must_use]
    pub fn delivery(&self, spot: &Spot) -> f64 {
        let Some((_, best, offset)) = self.best(spot) else { return 0.0 };
        let heard = |state, rates: &[(u8, Share)]| self.heard(&self.links, &spot.offsets, state, rates);
        let Some(kept) = self.kept else { return heard(Decibels::ZERO, &self.fixed) };
        let margins = best.margins(offset);
        let in_state = |state_db: f64| {
            let state = Decibels::from_decibels(state_db);
            let rate = adr::asked_for(&margins, kept - state);
            let rates = rate.map(|rate| (rate, Share::from_fraction(1.0)));
            heard(state, rates.as_slice())
        };
        adr::STATES_DB.map(in_state).iter().sum::<f64>() / adr::STATES as f64
    }

    /// The link that is best on a spot, with what it is off its median.
    fn best(&self, spot: &Spot) -> Option<(usize, &Link, Decibels)> {
        let links = self.links.iter().zip(&spot.offsets).enumerate();
        let margin = |link: &Link, offset: Decibels| link.slowest_margin() + offset.decibels();
        links
            .map(|(index, (link, offset))| (index, link, *offset))
            .max_by(|one, other| margin(one.1, one.2).total_cmp(&margin(other.1, other.2)))
    }

    /// Share of messages at a data rate that no other sender spoils.
    #[must_use]
    pub fn clear(&self, data_rate: u8) -> f64 {
        self.clear.iter().find(|(rate, _)| *rate == data_rate).map_or(1.0, |(_, clear)| *clear)
    }

    /// Share of uplinks at these data rates that at least one of the links, each off its median by so much and by what all
    /// are off, carries.
    fn heard(&self, links: &[Link], offsets: &[Decibels], all_off: Decibels, rates: &[(u8, Share)]) -> f64 {
        let at = |rate: u8| {
            let lost = links.iter().zip(offsets).map(|(link, offset)| {
                let known = link.rates.iter().find(|known| known.data_rate == rate);
                1.0 - known.map_or(0.0, |known| survives(known.margin + (*offset + all_off)))
            });
            (1.0 - lost.product::<f64>()) * self.clear(rate)
        };
        rates.iter().map(|(rate, share)| share.fraction() * at(*rate)).sum()
    }

    fn mix(&self, link: &Link, offset: Decibels) -> Vec<(u8, Share)> {
        self.kept.map_or_else(|| self.fixed.clone(), |kept| adr::mix(&link.margins(offset), kept))
    }
}

/// Share of messages of a design that a crowd leaves alone at the gateway that hears it best, by data rate.
fn clear(design: &Design, links: &[Link], crowd: &[Sender]) -> Vec<(u8, f64)> {
    let (Some(radio), Some(best)) = (&design.radio, links.first()) else { return Vec::new() };
    let channels = radio.channels.len().max(1) as f64;
    let at = |rate: &RateMargin| {
        let wanted = sender(design, rate.data_rate, best.received)?;
        Some((rate.data_rate, delivery(&wanted, crowd, &Rejection::CROCE_2018, channels)))
    };
    best.rates.iter().filter_map(at).collect()
}

/// What a design is to others at the gateway that hears it best, on its middle spot: one sender for each data rate in use.
#[must_use]
pub fn senders(design: &Design, spots: &Spots) -> Vec<Sender> {
    let Some(best) = spots.links.first() else { return Vec::new() };
    let rates = &spots.middle_state().data_rates;
    let at = |(rate, share): &(u8, Share)| {
        let all = sender(design, *rate, best.received)?;
        (share.fraction() > 0.0).then(|| Sender { interval: all.interval / share.fraction(), ..all })
    };
    rates.iter().filter_map(at).collect()
}

/// A design that sends everything at one data rate: its mean message, as often as it sends anything.
fn sender(design: &Design, data_rate: u8, received: Dbm) -> Option<Sender> {
    let Modulation::Lora { spreading_factor, .. } = design.radio.as_ref()?.region.modulation(data_rate)?
    else {
        return None;
    };
    let (per_second, on_air) = traffic(design, data_rate);
    (per_second > 0.0).then(|| Sender {
        spreading_factor,
        received,
        time_on_air: Duration::from_seconds(on_air / per_second),
        interval: Duration::from_seconds(1.0 / per_second),
    })
}

/// Messages per second, and the share of time that they are on air, of what is sent all year round.
fn traffic(design: &Design, data_rate: u8) -> (f64, f64) {
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let all_year = activities.filter(|activity| activity.when == Condition::default());
    let often = all_year.filter_map(|activity| Some((activity, activity.every.at_full_charge()?.seconds())));
    let region = design.radio.as_ref().map(|radio| &radio.region);
    let modulation = region.and_then(|region| region.modulation(data_rate));
    let uplinks =
        often.flat_map(|(activity, every_s)| activity.steps.iter().map(move |step| (step, every_s)));
    uplinks.fold((0.0, 0.0), |(count, on_air), (step, every_s)| {
        let Step::Uplink { message, payload, .. } = step else { return (count, on_air) };
        let bytes = bytes_at(&design.messages, message.as_deref(), *payload, data_rate);
        let airtime = modulation.and_then(|one| airtime::uplink(one, airtime::frame_bytes(bytes)));
        (count + 1.0 / every_s, on_air + airtime.unwrap_or_default().seconds() / every_s)
    })
}

/// Share of messages above the weakest signal under Rayleigh fading around a mean that lies so far above it.
fn survives(margin: Decibels) -> f64 {
    above_floor(margin, Decibels::ZERO)
}
