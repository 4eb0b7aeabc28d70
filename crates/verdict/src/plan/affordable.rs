//! How often a message may be sent on what the sun brings: the last column of the table of limits.

use design::change::Change;
use design::node::Design;
use design::quantity::{Charge, Duration, Share, Voltage};

use super::make::PRIMARY_MARGIN;
use crate::law::{Bound, LawPlan, MessageRow};
use crate::plan::Plan;
use forecast::diary::Diary;
use forecast::life::node::real_capacity;
use forecast::load::Demand;
use forecast::power::battery::open_circuit;
use forecast::radio::link_state::LinkState;

/// The battery stands here when costs are compared.
const MIDDLE_CHARGE: f64 = 0.6;
/// Cold enough for every activity that waits for cold \[°C\].
const COLD_CELSIUS: f32 = -40.0;

/// Fills in how often each message may be sent at each data rate so that a nominal node still spends no more in the darkest
/// month than the sun brings then; on a primary cell, than lasts as long as promised. Everything else goes on as designed.
pub fn affordable(design: &Design, link: &LinkState, plan: &Plan, law: &mut LawPlan) {
    let Some(income) = income_per_day(design, plan) else { return };
    let spent = dark_month(plan).map_or(Charge::ZERO, |(_, spent)| spent);
    for message in &mut law.messages {
        let Some((every, without)) = without(design, message) else { continue };
        let own = per_day(design, link) - per_day(&without, link);
        let left = income - (spent - own);
        for rate in &mut message.rates {
            let everything = LinkState::at_rate(rate.data_rate);
            let a_day = per_day(design, &everything) - per_day(&without, &everything);
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

/// The design without the activity that sends a message, and how often that happens at full charge.
fn without(design: &Design, message: &MessageRow) -> Option<(Duration, Design)> {
    let every = message.every.first()?.1?;
    let own = |load: &design::node::Load| {
        let field = |activity: &str| format!("load.{}.activity.{activity}", load.name);
        let found = load.activities.iter().find(|activity| field(&activity.name) == message.field)?;
        Some((load.name.clone(), found.name.clone()))
    };
    let (load, activity) = design.loads.iter().find_map(own)?;
    let never = Change::IntervalByCharge { load, activity, rows: vec![(Share::ZERO, None)] };
    Some((every, design.with(never).ok()?))
}

/// What is drawn per day in the kind of hour that draws most.
fn per_day(design: &Design, link: &LinkState) -> Charge {
    let demand = Demand::on_link(design, link, &Diary::new(design));
    let volts: Voltage = open_circuit(&design.battery, MIDDLE_CHARGE);
    let kinds = (0..demand.kinds()).map(|kind| demand.per_day(kind, volts, COLD_CELSIUS));
    kinds.fold(Charge::ZERO, |most, one| if one > most { one } else { most })
}
