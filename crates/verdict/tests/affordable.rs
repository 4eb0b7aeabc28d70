//! How often a message may be sent on what the sun brings, or on what a primary cell holds.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::quantity::Duration;
use forecast::Silent;
use forecast::radio::link_state::LinkState;
use forecast::radio::spots::Spots;
use verdict::law::{Bound, judge};
use verdict::plan::{Effort, Weather, affordable, plan};

/// A year and a fifth more must be paid from what the cell holds; less the floor that leaves a current, and one message of
/// 10 bytes at SF12 costs at least 1482.752 ms on air (by hand: 8 + 4.25 + 8 + 5 x 5 symbols of 32.768 ms) at the transmit
/// current; windows and self-discharge make it dearer.
#[test]
fn a_primary_cell_pays_for_so_many_messages() {
    let design = common::primary(
        "[radio]\npart = \"radio-mcu-22dbm\"\nregion = \"EU868\"\npower = \"14 dBm\"\ndata_rate = \"DR0\"\n\
         [regulator.main]\nkind = \"none\"\n[load.board]\nfloor = \"12 uA\"\nfloor_measured = true\n\
         [load.board.activity.report]\nevery = \"1 h\"\nsteps = [{ uplink = { payload = \"10 bytes\" } }]\n",
    );
    let link = LinkState::as_designed(&design);
    let effort = Effort { lives: Some(8), seed: 1, threads: 2 };
    let weather = common::port_angeles();
    let plan = plan(&design, Weather::Hours(&weather), &Spots::alone(&design), effort, &Silent);
    let mut law = judge(&design, &link);
    affordable(&design, &link, &plan, &mut law);
    let intervals: Vec<f64> = law.messages[0]
        .rates
        .iter()
        .map(|rate| match rate.limits.energy {
            Some(Bound::Every(interval)) => interval.seconds(),
            other => panic!("{other:?}"),
        })
        .collect();
    let radio = design.radio.as_ref().expect("has one");
    let held_c = design.battery.capacity.nominal.coulombs() * design.battery.label_to_real.nominal.fraction();
    let left_a = held_c / (1.2 * design.promise.unattended.seconds()) - 12e-6;
    let sent_c = radio.transmit_current.nominal.amperes() * 1.482752;
    let least_s = sent_c / left_a;
    assert!(intervals[0] > least_s && intervals[0] < 1.6 * least_s, "{} s, {least_s} s", intervals[0]);
    assert!(intervals.windows(2).all(|two| two[1] < two[0]), "a faster rate costs less: {intervals:?}");
    assert!(intervals[0] < Duration::from_hours(1.0).seconds());
}

/// What is afforded is spent: sent as often as the table allows, a node spends in the month with the least to spare what the
/// sun offers in it.
#[test]
fn sent_as_often_as_afforded_the_sun_is_just_spent() {
    let at = |every: &str| {
        common::solar(
            "panel-0w3",
            "linear-low-drain",
            "part = \"lco-pouch\"",
            &format!(
                "[radio]\npart = \"radio-mcu-14dbm\"\nregion = \"US915\"\npower = \"14 dBm\"\ndata_rate = \"DR0\"\n\
                 [regulator.main]\nkind = \"none\"\n[load.board]\nfloor = \"12 uA\"\nfloor_measured = true\n\
                 [load.board.activity.report]\nevery = \"{every}\"\nsteps = [{{ uplink = {{ payload = \"10 bytes\" }} }}]\n"
            ),
        )
    };
    let weather = common::port_angeles();
    let effort = Effort { lives: Some(8), seed: 1, threads: 2 };
    let planned = |design: &_| plan(design, Weather::Hours(&weather), &Spots::alone(design), effort, &Silent);
    let seldom = at("2 min");
    let link = LinkState::as_designed(&seldom);
    let mut law = judge(&seldom, &link);
    affordable(&seldom, &link, &planned(&seldom), &mut law);
    let slowest = &law.messages[0].rates[0];
    assert_eq!(slowest.data_rate, 0);
    let Some(Bound::Every(interval)) = slowest.limits.energy else { panic!("{:?}", slowest.limits) };
    let often = planned(&at(&format!("{} s", interval.seconds())));
    let spare = |month: &verdict::plan::MonthRow| {
        month.spent_per_day.milliampere_hours() / month.offered_per_day.milliampere_hours()
    };
    let fullest = often.months.iter().map(spare).fold(0.0, f64::max);
    assert!((fullest - 1.0).abs() < 0.05, "{fullest} at {} s", interval.seconds());
}
