//! How often a message may be sent on what the sun brings: the last column of the table of limits.

use design::node::Design;
use design::quantity::{Charge, Current, Duration};

use super::make::PRIMARY_MARGIN;
use crate::law::{Bound, LawPlan};
use crate::plan::Plan;
use forecast::diary::Diary;
use forecast::life::node::real_capacity;
use forecast::load::{Demand, Purpose};
use forecast::power::battery::open_circuit;
use forecast::radio::link_state::LinkState;

/// The battery stands here when costs are compared.
const MIDDLE_CHARGE: f64 = 0.6;

/// Fills in how often each message may be sent at each data rate so that a nominal node still spends no more in the darkest
/// month than the sun brings then; on a primary cell, than lasts as long as promised. Everything else goes on as designed.
pub fn affordable(design: &Design, link: &LinkState, plan: &Plan, law: &mut LawPlan) {
    let Some(income) = income_per_day(design, plan) else { return };
    let spent = dark_month(plan).map_or(Charge::ZERO, |(_, spent)| spent);
    for message in &mut law.messages {
        let Some(every) = message.every.at_full_charge() else { continue };
        let name = message.field.rsplit('.').next().unwrap_or(&message.field).to_owned();
        let left = income - (spent - own_per_day(design, link, &name));
        for rate in &mut message.rates {
            let a_day = own_per_day(design, &LinkState::at_rate(rate.data_rate), &name);
            rate.limits.energy = Some(bound(a_day * (every / Duration::from_days(1.0)), left));
        }
    }
}

/// Often enough to spend what is left on messages of this cost.
fn bound(cost: Charge, left_per_day: Charge) -> Bound {
    if left_per_day <= Charge::ZERO {
        return Bound::Never;
    }
    if cost <= Charge::ZERO {
        return Bound::Any;
    }
    Bound::Every(Duration::from_days(1.0) * (cost / left_per_day))
}

/// What comes in per day in the darkest month; of a primary cell the part of a day.
fn income_per_day(design: &Design, plan: &Plan) -> Option<Charge> {
    if design.panel.is_none() {
        let days = design.promise.unattended.days() * PRIMARY_MARGIN;
        return Some(real_capacity(&design.battery) / days);
    }
    dark_month(plan).map(|(offered, _)| offered)
}

/// What the sun offers and what is spent per day in the month with the least to spare.
fn dark_month(plan: &Plan) -> Option<(Charge, Charge)> {
    let spare = |month: &crate::plan::MonthRow| (month.offered_per_day - month.spent_per_day).coulombs();
    let darkest = plan.months.iter().min_by(|one, other| spare(one).total_cmp(&spare(other)))?;
    Some((darkest.offered_per_day, darkest.spent_per_day))
}

/// What the activity of this name draws per day at full charge, in the kind of hour in which it draws most. The
/// floor that flows in its stead is not taken off, so that it is never too little.
#[expect(clippy::cast_possible_truncation, reason = "the forecast reckons in single precision")]
fn own_per_day(design: &Design, link: &LinkState, name: &str) -> Charge {
    let demand = Demand::on_link(design, link, &Diary::new(design));
    let volts = open_circuit(&design.battery, MIDDLE_CHARGE).volts() as f32;
    let is_own =
        |purpose: &Purpose| matches!(purpose, Purpose::Activity { activity, .. } if activity == name);
    let of_kind = |kind: usize| -> f32 {
        let row = demand.row(kind, demand.levels.len() - 1);
        let own = row.contributions.iter().filter(|part| is_own(&demand.purposes[part.purpose]));
        own.map(|part| part.draw.at(volts)).sum()
    };
    let most = (0..demand.kinds()).map(of_kind).fold(0.0, f32::max);
    Current::from_amperes(f64::from(most)) * Duration::from_days(1.0)
}
