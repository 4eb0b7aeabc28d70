//! The law's verdict on designs, against published limits, worked figures and laws that must hold for any schedule.

#![expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "counts are small")]

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use design::quantity::Duration;
use forecast::radio::link_state::LinkState;
use proptest::prelude::*;
use verdict::law::{
    self, Bound, DEV_NONCES, LawPlan, Limit, RateRow, Topic, periodic_on_air, shortest_interval,
};
use verdict::plan::Verdict;

const HOUR: Duration = Duration::from_hours(1.0);

/// As the design states its data rates, whoever hears it.
fn judge(design: &Design) -> LawPlan {
    law::judge(design, &LinkState::as_designed(design))
}

/// A node on a primary cell with this radio and these activities.
fn node(radio: &str, activities: &str) -> Design {
    common::primary(&format!(
        "[radio]\npart = \"radio-mcu-22dbm\"\n{radio}\n[regulator.main]\nkind = \"none\"\n[load.board]\nfloor = \"12 uA\"\nfloor_measured = true\n{activities}"
    ))
}

fn every(name: &str, interval: &str, uplinks: &str) -> String {
    format!("[load.board.activity.{name}]\nevery = \"{interval}\"\nsteps = [{uplinks}]\n")
}

fn uplink(bytes: usize) -> String {
    format!("{{ uplink = {{ payload = \"{bytes} bytes\" }} }}")
}

fn europe(rates: &str, activities: &str) -> LawPlan {
    judge(&node(
        &format!("region = \"EU868\"\npower = \"14 dBm\"\njoin_retry = \"5 h\"\n{rates}"),
        activities,
    ))
}

fn row(plan: &LawPlan, message: usize, rate: u8) -> &RateRow {
    plan.messages[message].rates.iter().find(|row| row.data_rate == rate).expect("the rate")
}

fn found<'p>(plan: &'p LawPlan, code: &str) -> Option<&'p verdict::plan::Finding> {
    plan.findings.iter().find(|finding| finding.code == code)
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} for {expected} within {within}");
}

/// Needs, scenario B: 6 bytes every minute take 330 ms and 0.55 % at SF10: lawful; 1.32 s and 2.2 % at SF12: unlawful, at
/// least 132 s; 30 s a day of allowance are exceeded by 475 s at SF10.
#[test]
fn the_frost_net_is_lawful_at_sf10_and_not_at_sf12() {
    let report = every("report", "1 min", &uplink(6));
    let near_plan =
        europe("data_rate = \"DR2\"\nallowed_rates = [\"DR2\", \"DR3\", \"DR4\", \"DR5\"]", &report);
    assert_eq!(near_plan.verdict, Verdict::Holds, "{}", near_plan.reason);
    near(row(&near_plan, 0, 2).airtime.expect("LoRa").milliseconds(), 330.0, 0.5);
    let busiest = |plan: &LawPlan, rate| {
        plan.on_air.iter().find(|row| row.data_rate == rate).expect("a row").busiest_hour
    };
    near(busiest(&near_plan, 2) / HOUR * 100.0, 0.55, 0.005);

    let far = europe("data_rate = \"DR0\"", &report);
    assert_eq!(far.verdict, Verdict::Fails);
    assert!(far.reason.contains("2.2 %") && far.reason.contains("SF12"), "{}", far.reason);
    near(busiest(&far, 0).seconds(), 60.0 * 1.318912, 1e-9);
    // 132 s is the share on average; in some hours 28 messages would fall and take 36.9 s.
    let remedy = far.remedy.expect("a remedy");
    assert!(
        remedy.contains("every 134 s or slower") && remedy.contains("132 s keeps the share on average"),
        "{remedy}"
    );

    let granted = europe(
        "data_rate = \"DR2\"\nallowed_rates = [\"DR2\"]\nairtime_allowance_per_day = \"20 s\"",
        &report,
    );
    assert_eq!(granted.verdict, Verdict::Fails);
    assert!(
        granted.reason.contains("475 s") && granted.reason.contains("20 s granted"),
        "{}",
        granted.reason
    );
    assert_eq!(row(&granted, 0, 2).limits.tightest().map(|(limit, _)| limit), Some(Limit::Allowance));
}

/// The same node, lawful where it stands at DR2, would not be if the network slowed it down.
#[test]
fn lawful_near_and_unlawful_far_is_caught_and_named() {
    let plan = europe("data_rate = \"DR2\"", &every("report", "1 min", &uplink(6)));
    assert_eq!(plan.verdict, Verdict::Tight, "{}", plan.reason);
    let named = found(&plan, "lawful-near-only").expect("the finding");
    assert!(named.message.starts_with("lawful at DR"), "{}", named.message);
    assert!(named.message.contains("SF12") && named.help.contains("134 s"), "{named:?}");
    assert_eq!(named.field, "load.board.activity.report.every");
}

/// Needs, scenario D: 12 bytes are refused at DR0 of US915, which carries 11; at DR3 they go.
#[test]
fn what_works_on_the_bench_and_is_too_long_far_away_is_caught_and_named() {
    let trailer = |bytes| {
        judge(&node(
            "region = \"US915\"\npower = \"20 dBm\"\ndata_rate = \"DR3\"",
            &every("moving", "2 min", &uplink(bytes)),
        ))
    };
    let draft = trailer(12);
    assert_eq!(draft.verdict, Verdict::Tight, "{}", draft.reason);
    let named = found(&draft, "bench-only").expect("the finding");
    assert!(named.message.starts_with("works on the bench, too long far away"), "{}", named.message);
    assert!(named.message.contains("DR0 (SF10) carries 11"), "{}", named.message);
    let check = draft
        .checks
        .iter()
        .find(|check| check.data_rate == 0 && check.topic == Topic::Dwell)
        .expect("a check");
    assert_eq!(check.verdict, Verdict::Fails);
    assert!(check.reason.contains("411.6 ms on air, 400 ms allowed"), "{}", check.reason);
    assert!(check.remedy.as_ref().is_some_and(|remedy| remedy.starts_with("1 byte fewer")), "{check:?}");

    let short = trailer(11);
    assert!(found(&short, "bench-only").is_none() && short.verdict == Verdict::Holds, "{}", short.reason);
    // "Must warn: 8-channel sub-band", and 15 bytes of MAC answers leave no room at 11 bytes.
    assert!(found(&short, "eight-channel-group").is_some() && found(&short, "no-room-for-answers").is_some());
    assert_eq!(row(&short, 0, 0).ceiling.with_answers, 0);
}

/// One transmission.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Transmission {
    /// When it begins.
    start: Duration,
    /// How long it lasts.
    length: Duration,
}

/// The most time on air in any window of this length, exactly: the busiest window begins with a transmission or ends with
/// one.
///
/// A credit that refills while it is being spent is no such limit: 36 s refilled at 1 % let almost 72 s pass in one hour.
fn most_on_air(window: Duration, transmissions: &[Transmission]) -> Duration {
    let begin = transmissions.iter().map(|one| one.start.seconds());
    let end = transmissions.iter().map(|one| (one.start + one.length - window).seconds());
    let inside = |from_s: f64| {
        let to_s = from_s + window.seconds();
        let overlap = |one: &Transmission| {
            let (start_s, end_s) = (one.start.seconds(), (one.start + one.length).seconds());
            (end_s.min(to_s) - start_s.max(from_s)).max(0.0)
        };
        transmissions.iter().map(overlap).sum::<f64>()
    };
    Duration::from_seconds(begin.chain(end).map(inside).fold(0.0, f64::max))
}

/// EN 300 220-2: the share of any hour. A credit of 36 s that refills at 1 % lets this schedule pass.
#[test]
fn seventy_two_seconds_in_one_hour_are_refused_although_a_refilled_credit_would_pass_them() {
    let burst = Duration::from_seconds(36.0);
    let schedule = [
        Transmission { start: Duration::ZERO, length: burst },
        Transmission {
            start: Duration::from_seconds(3600.0 - 36.0 + 0.36),
            length: Duration::from_seconds(35.64),
        },
    ];
    let (mut credit_s, mut last_s, mut passes) = (36.0_f64, 0.0, true);
    for one in &schedule {
        credit_s = (credit_s + 0.01 * (one.start.seconds() - last_s)).min(36.0);
        passes &= credit_s + 1e-9 >= one.length.seconds();
        credit_s -= one.length.seconds();
        last_s = one.start.seconds();
    }
    assert!(passes, "the credit bucket must pass it, or this shows nothing");
    near(most_on_air(HOUR, &schedule).seconds(), 36.0 + 35.64, 1e-9);

    // As a design: two reports of twelve long messages, each every two hours. On average 0.93 %, but they may fall together.
    let burst = vec![uplink(51); 12].join(", ");
    let both = every("one", "2 h", &burst) + &every("other", "2 h", &burst);
    let plan = europe("data_rate = \"DR0\"", &both);
    assert_eq!(plan.verdict, Verdict::Fails, "{}", plan.reason);
    near(plan.on_air[0].busiest_hour.seconds(), 24.0 * 2.793472, 1e-9);
    assert!(plan.on_air[0].busiest_day < Duration::from_days(1.0) * 0.0096);
    let single = europe("data_rate = \"DR0\"", &every("one", "2 h", &burst));
    near(single.on_air[0].busiest_hour.seconds(), 12.0 * 2.793472, 1e-9);
    assert_ne!(single.verdict, Verdict::Fails, "{}", single.reason);
}

/// EN 300 220-2 V3.3.1 Table 4: 25 mW ERP; ERP is EIRP less 2.15 dB.
#[test]
fn a_strong_antenna_takes_power_off_the_radio() {
    let with = |gain: &str, loss: &str| {
        europe(
            &format!("data_rate = \"DR5\"\nantenna_gain = \"{gain}\"\ncable_loss = \"{loss}\""),
            &every("report", "1 h", &uplink(6)),
        )
    };
    let dipole = with("2.15 dBi", "0 dB");
    assert_eq!(dipole.verdict, Verdict::Holds, "{}", dipole.reason);
    near(dipole.power[0].erp.dbm(), 14.0, 1e-9);
    near(dipole.power[0].eirp.dbm(), 16.15, 1e-9);
    let strong = with("5 dBi", "0 dB");
    assert_eq!(strong.verdict, Verdict::Fails);
    assert_eq!(strong.remedy.as_deref(), Some("11 dBm instead of 14"));
    assert_eq!(with("5 dBi", "3 dB").verdict, Verdict::Holds);
    // 869.4-869.65 MHz allows 500 mW.
    let free = europe(
        "data_rate = \"DR5\"\nantenna_gain = \"5 dBi\"\nchannels = [\"869.525 MHz\"]",
        &every("report", "1 h", &uplink(6)),
    );
    assert_eq!(free.verdict, Verdict::Holds, "{}", free.reason);
}

fn america(radio: &str) -> LawPlan {
    judge(&node(
        &format!("region = \"US915\"\njoin_retry = \"5 h\"\n{radio}"),
        &every("report", "1 h", &uplink(6)),
    ))
}

/// Eight channels of one group: 903.9 to 905.3 MHz.
const GROUP: &str = "channels = [\"903.9 MHz\", \"904.1 MHz\", \"904.3 MHz\", \"904.5 MHz\", \"904.7 MHz\", \"904.9 MHz\", \"905.1 MHz\", \"905.3 MHz\"]";

/// 47 CFR 15.247(b)(2), (b)(4), (f) and RP002 section 3.5: 30 dBm with 50 channels, 21 dBm with fewer, less what the antenna
/// gains over 6 dBi.
#[test]
fn eight_channels_are_a_hybrid_and_strong_antennas_are_paid_for() {
    assert_eq!(america("data_rate = \"DR3\"\npower = \"22 dBm\"").verdict, Verdict::Holds);
    let hybrid = america(&format!("data_rate = \"DR3\"\npower = \"22 dBm\"\n{GROUP}"));
    assert_eq!((hybrid.verdict, hybrid.remedy.as_deref()), (Verdict::Fails, Some("21 dBm instead of 22")));
    assert!(hybrid.reason.contains("8 channels"), "{}", hybrid.reason);
    assert_eq!(america(&format!("data_rate = \"DR3\"\npower = \"21 dBm\"\n{GROUP}")).verdict, Verdict::Holds);
    let strong =
        america(&format!("data_rate = \"DR3\"\npower = \"20 dBm\"\nantenna_gain = \"9 dBi\"\n{GROUP}"));
    assert_eq!((strong.verdict, strong.remedy.as_deref()), (Verdict::Fails, Some("18 dBm instead of 20")));
    let wide = america("data_rate = \"DR4\"\npower = \"22 dBm\"");
    near(wide.power.iter().find(|row| row.data_rate == 4).expect("DR4").limit.most.dbm(), 26.0, 0.0);
}

/// LIPD item 52 wants 20 hop frequencies (one source): what eight rest on was not seen.
#[test]
fn eight_channels_in_australia_are_not_known() {
    let group = "channels = [\"916.8 MHz\", \"917.0 MHz\", \"917.2 MHz\", \"917.4 MHz\", \"917.6 MHz\", \"917.8 MHz\", \"918.0 MHz\", \"918.2 MHz\"]";
    let plan = |channels: &str| {
        judge(&node(
            &format!(
                "region = \"AU915\"\npower = \"20 dBm\"\njoin_retry = \"5 h\"\ndata_rate = \"DR4\"\n{channels}"
            ),
            &every("report", "1 h", &uplink(11)),
        ))
    };
    assert_eq!(plan("").verdict, Verdict::Holds, "{}", plan("").reason);
    let eight = plan(group);
    assert_eq!(eight.verdict, Verdict::NotKnown);
    assert!(eight.reason.contains("check your regulator"), "{}", eight.reason);
    // Under the 400 ms nothing fits at DR0 and DR1, so the network can't ask for them.
    assert!(eight.messages[0].rates.iter().all(|row| row.data_rate >= 2));
    let lifted = plan("dwell_limit = false");
    assert_eq!(row(&lifted, 0, 0).ceiling.bytes, 51);
}

#[test]
fn where_no_legal_text_was_seen_the_verdict_is_not_known_and_says_whom_to_ask() {
    for region in ["KR920", "RU864", "CN470"] {
        let radio = format!(
            "region = \"{region}\"\npower = \"14 dBm\"\nantenna_gain = \"-1 dBi\"\njoin_retry = \"5 h\"\ndata_rate = \"DR3\""
        );
        let plan = judge(&node(&radio, &every("report", "1 h", &uplink(6))));
        assert_eq!(plan.verdict, Verdict::NotKnown, "{region}: {}", plan.reason);
        assert!(plan.reason.contains("check your regulator") && !plan.open.is_empty(), "{}", plan.reason);
    }
    // Too much power is too much all the same.
    let loud = judge(&node(
        "region = \"KR920\"\npower = \"20 dBm\"\ndata_rate = \"DR3\"",
        &every("report", "1 h", &uplink(6)),
    ));
    assert_eq!(loud.verdict, Verdict::Fails);
}

/// India: 29.2 dBm is in one source only, and the check says so. AS923: sources dispute 1 %.
#[test]
fn a_figure_of_one_source_or_in_dispute_says_so() {
    let india = judge(&node(
        "region = \"IN865\"\npower = \"22 dBm\"\ndata_rate = \"DR3\"",
        &every("report", "1 h", &uplink(6)),
    ));
    assert_eq!(india.verdict, Verdict::Holds, "{}", india.reason);
    let power = india.checks.iter().find(|check| check.topic == Topic::Power).expect("a check");
    assert_eq!(power.remark(), Some("from one source: check your regulator"));
    let busy = judge(&node(
        "region = \"AS923-2\"\npower = \"14 dBm\"\nantenna_gain = \"2 dBi\"\ndata_rate = \"DR2\"\njoin_retry = \"5 h\"",
        &every("report", "20 s", &uplink(6)),
    ));
    assert_eq!(busy.verdict, Verdict::NotKnown, "{}", busy.reason);
}

/// Confirmed messages are judged with their eight tries (LoRaWAN 1.0.2, section 18.4).
#[test]
fn confirmed_messages_are_judged_with_all_their_tries() {
    let confirmed = "{ uplink = { payload = \"12 bytes\", confirmed = true } }";
    let plan = europe("data_rate = \"DR0\"", &every("report", "10 min", confirmed));
    assert_eq!(plan.verdict, Verdict::Fails);
    assert!(plan.reason.contains("when each message needs 8 tries"), "{}", plan.reason);
    near(plan.on_air[0].busiest_hour.seconds(), 6.0 * 8.0 * 1.482752, 1e-9);
    near(plan.on_air[0].acknowledged_hour.seconds(), 6.0 * 1.482752, 1e-9);
    assert!(found(&plan, "confirmed-retries").is_some());
}

/// Channels in two sub-bands: each has its budget, and chance does not keep to shares.
#[test]
fn channels_in_two_sub_bands_have_two_budgets() {
    let two = "data_rate = \"DR0\"\nchannels = [\"867.1 MHz\", \"868.1 MHz\"]";
    let plan = europe(two, &every("report", "1 min", &uplink(6)));
    assert_eq!(plan.on_air.iter().filter(|row| row.data_rate == 0).count(), 2);
    assert_eq!(plan.verdict, Verdict::Fails, "{}", plan.reason);
    let slower = europe(two, &every("report", "100 s", &uplink(6)));
    assert_eq!(slower.verdict, Verdict::Tight, "{}", slower.reason);
    assert!(slower.reason.contains("if chance puts every message into one sub-band"), "{}", slower.reason);
    match row(&slower, 0, 0).limits.law {
        // Twice the budget: 72 s hold 54 messages of 1.318912 s, and part of one more.
        Bound::Every(interval) => near(interval.seconds(), (3600.0 - (72.0 - 54.0 * 1.318912)) / 54.0, 1e-6),
        other => panic!("{other:?}"),
    }
}

/// At 5 mW ERP EN 300 220-2 V3.3.1 has no duty cycle in 869.7-870 MHz, at 25 mW it has 1 %.
#[test]
fn five_milliwatts_are_free_above_869_7_mhz() {
    let plan = |gain: &str| {
        europe(
            &format!("data_rate = \"DR0\"\nchannels = [\"869.85 MHz\"]\nantenna_gain = \"{gain}\""),
            &every("report", "1 min", &uplink(6)),
        )
    };
    assert_eq!(plan("2.15 dBi").verdict, Verdict::Fails);
    let quiet = plan("-5 dBi");
    assert_eq!(quiet.verdict, Verdict::Holds, "{}", quiet.reason);
    assert_eq!(quiet.on_air[0].allowed, None);
}

/// LoRaWAN 1.0.2 chapter 7, TR007: 36 s in hour 0-1, 36 s in the next ten hours, 8.7 s a day after. Needs, row 11: 36 joins
/// an hour use up DevNonce in 76 days; the back-off at SF12 makes it about 30 years.
#[test]
fn join_back_off_and_the_life_of_dev_nonce() {
    let plan = |retry: &str| {
        judge(&node(
            &format!("region = \"EU868\"\npower = \"14 dBm\"\ndata_rate = \"DR3\"\njoin_retry = \"{retry}\""),
            &every("report", "1 h", &uplink(6)),
        ))
    };
    let hasty = plan("100 s");
    let join = hasty.join.as_ref().expect("a join");
    assert_eq!((join.data_rate, DEV_NONCES), (0, 1 << 16));
    near(join.request.milliseconds(), 1482.752, 1e-9);
    near(join.nonces_last.days(), 76.0, 0.5);
    near(join.nonces_last_with_back_off.years(), 30.0, 1.0);
    near(join.phases[0].on_air.seconds(), 36.0 * 1.482752, 1e-9);
    assert!(!join.keeps_back_off() && found(&hasty, "join-back-off").is_some());
    assert!(found(&hasty, "dev-nonce-life").is_some());
    // 36 requests of 1.48 s an hour break the 1 % of EN 300 220-2 as well, whatever is reported.
    assert_eq!(hasty.verdict, Verdict::Tight, "{}", hasty.reason);

    let patient = plan("5 h");
    assert!(patient.join.as_ref().is_some_and(verdict::law::JoinPlan::keeps_back_off));
    assert!(found(&patient, "join-back-off").is_none());
    let [first, next, daily] = patient.join.expect("a join").phases.map(|phase| phase.retry);
    near(first.seconds(), 148.2752, 1e-6);
    near(next.seconds(), 1482.752, 1e-6);
    near(daily.seconds(), 86400.0 * 1.482752 / 8.7, 1e-6);
}

/// The tables of limits show the tightest; energy is filled in by the life plan.
#[test]
fn the_tightest_limit_is_marked_at_each_data_rate() {
    let plan = europe(
        "data_rate = \"DR5\"\nairtime_allowance_per_day = \"20 s\"",
        &every("report", "30 min", &uplink(20)),
    );
    // By hand: 33 bytes are 71.936 ms at SF7 and 1,810.432 ms at SF12; 20 s of that are 278.02 and 11.05 messages.
    for (rate, most) in [(5, 278.0), (0, 11.0)] {
        let Some((Limit::Allowance, Bound::Every(interval))) = row(&plan, 0, rate).limits.tightest() else {
            panic!("{:?}", row(&plan, 0, rate).limits)
        };
        near((86400.0 / interval.seconds()).floor(), most, 0.0);
    }
    let mut limits = row(&plan, 0, 5).limits;
    limits.energy = Some(Bound::Every(Duration::from_hours(1.0)));
    assert_eq!(limits.tightest(), Some((Limit::Energy, Bound::Every(Duration::from_hours(1.0)))));
    limits.payload = Bound::Never;
    assert_eq!(limits.tightest(), Some((Limit::Payload, Bound::Never)));
}

/// Different seasons never share an hour; different charges neither.
#[test]
fn only_what_can_fall_together_is_added() {
    let report = |month: u8| {
        format!(
            "[load.board.activity.m{month}]\nevery = \"3 min\"\nwhen = {{ months = [{month}] }}\nsteps = [{}]\n",
            uplink(6)
        )
    };
    let plan = europe("data_rate = \"DR0\"", &(report(1) + &report(7)));
    // 20 messages of one season and, as the month turns, one of the other.
    near(plan.on_air[0].busiest_hour.seconds(), 21.0 * 1.318912, 1e-9);
    let by_charge = format!(
        "[load.board.activity.report]\nevery_by_charge = [[\"50 %\", \"2 min\"], [\"0 %\", \"1 h\"]]\nsteps = [{}]\n",
        uplink(6)
    );
    near(europe("data_rate = \"DR0\"", &by_charge).on_air[0].busiest_hour.seconds(), 30.0 * 1.318912, 1e-9);
}

/// The shipped examples: lawful where they stand, and said so where a slower rate would not be.
#[test]
fn larkmoor_is_lawful_where_it_stands() {
    let judged = |text: &str| {
        let design = common::design(text);
        law::judge(&design, verdict::reach::judge(&design, None, &[], 1).spots.middle_state())
    };
    let mast = judged(include_str!("../../../examples/larkmoor/frost-mast.toml"));
    assert_eq!(mast.verdict, Verdict::Tight, "{}", mast.reason);
    assert!(mast.checks.iter().filter(|check| check.in_use).all(|check| check.verdict == Verdict::Holds));
    // Six reports and thirty frost watches of 5 bytes in the busiest hour of a cold spring; the airtime is by hand: 8 + 4.25 + 8 + 4 x 5 symbols of 32.768 ms.
    let slowest = mast.on_air.iter().find(|row| row.data_rate == 0).expect("DR0");
    near(slowest.busiest_hour.seconds(), 36.0 * 1.318912, 1e-9);
    assert!(found(&mast, "lawful-near-only").is_some());
    for text in [
        include_str!("../../../examples/larkmoor/soil-station.toml"),
        include_str!("../../../examples/larkmoor/spray-trailer.toml"),
        include_str!("../../../examples/larkmoor/tank-level.toml"),
    ] {
        let plan = judged(text);
        assert_eq!(plan.verdict, Verdict::Holds, "{}", plan.reason);
    }
}

/// A European node at DR0 that tries to join so often and reports so often.
fn retrying(retry: &str, interval: &str, bytes: usize) -> LawPlan {
    let radio =
        format!("region = \"EU868\"\npower = \"14 dBm\"\ndata_rate = \"DR0\"\njoin_retry = \"{retry}\"");
    judge(&node(&radio, &every("report", interval, &uplink(bytes))))
}

/// RP002-1.0.5 section 3.9 allows one transmission 1 s; a request of 23 bytes at SF12 is by hand (20.25 + 5 x 5) symbols of
/// 32.768 ms = 1482.752 ms, at SF11 (20.25 + 6 x 5) of 16.384 ms = 823.296 ms.
#[test]
fn a_join_request_that_lasts_too_long_is_said_and_the_next_rate_is_taken() {
    let plan = judge(&node(
        "region = \"CN470\"\npower = \"14 dBm\"\ndata_rate = \"DR3\"",
        &every("report", "1 h", &uplink(6)),
    ));
    let said = found(&plan, "join-too-long").expect("it is said");
    assert!(said.message.contains("1483 ms") && said.message.contains("1000 ms"), "{}", said.message);
    assert!(said.help.contains("DR1 (SF11)"), "{}", said.help);
    let join = plan.join.expect("it joins");
    assert_eq!(join.data_rate, 1);
    near(join.request.milliseconds(), 823.296, 1e-9);
    let europe = europe("data_rate = \"DR3\"", &every("report", "1 h", &uplink(6)));
    assert!(found(&europe, "join-too-long").is_none());
}

/// A try every ten minutes: six in the first hour, sixty in the ten after it, 144 a day; 1482.752 ms each (see above).
#[test]
fn join_requests_are_counted_without_one_more_or_less() {
    let join = retrying("10 min", "1 h", 6).join.expect("it joins");
    for (phase, tries) in join.phases.iter().zip([6.0, 60.0, 144.0]) {
        near(phase.on_air.milliseconds(), tries * 1482.752, 1e-6);
    }
}

/// It reports or it joins: six requests and one report of 10 bytes at SF12, both 1482.752 ms (10 + 13 bytes = 23). With a
/// try a day the hour holds one request and the reports of an hour: two at most, half an hour apart.
#[test]
fn the_hour_of_joining_holds_requests_and_one_report_or_reports_and_one_request() {
    let hour = |retry: &str| retrying(retry, "30 min", 10).on_air[0].joining_hour.milliseconds();
    near(hour("10 min"), 7.0 * 1482.752, 1e-6);
    near(hour("24 h"), 3.0 * 1482.752, 1e-6);
}

/// 1 % of an hour is 36 s. Six bytes at SF12 last 1318.912 ms by hand (8 + 4.25 + 8 + 4 x 5 symbols of 32.768 ms): every
/// minute 79.1 s, every two 39.6 s, every three 26.4 s, which is the first that keeps the law.
#[test]
fn an_interval_that_the_network_may_set_is_judged() {
    let sets = |low: u32| {
        let message = format!(
            "[message.order]\nport = 9\ndirection = \"down\"\n[message.order.field.interval]\nunit = \"min\"\nrange = [{low}, 60]\nresolution = 1\nsets = \"report\"\n"
        );
        europe("data_rate = \"DR0\"", &(every("report", "30 min", &uplink(6)) + &message))
    };
    let plan = sets(1);
    let said = found(&plan, "downlink-unlawful").expect("it is said");
    assert!(said.message.contains("`order`") && said.message.contains("1 min"), "{}", said.message);
    assert!(said.help.contains("3 min"), "{}", said.help);
    assert_eq!(said.field, "message.order.field.interval");
    assert!(found(&sets(3), "downlink-unlawful").is_none());
}

/// By hand: 27 messages of 1318.912 ms and the 0.406 s that 27 intervals of 133.3183 s leave of an hour: 36.017 s, of 36.
#[test]
fn a_breach_is_never_printed_as_equal_to_its_limit() {
    let plan = retrying("5 h", "133.3183 s", 6);
    let checked = plan.checks.iter().find(|check| check.topic == Topic::DutyCycle && check.in_use);
    let check = checked.expect("it is checked");
    assert_eq!(check.verdict, Verdict::Fails);
    assert!(
        check.reason.contains("36.02 s on air") && check.reason.contains("36.00 s allowed"),
        "{}",
        check.reason
    );
}

#[test]
fn a_node_that_sends_nothing_is_lawful() {
    let plan = judge(&common::primary("[load.board]\nfloor = \"12 uA\"\nfloor_measured = true\n"));
    assert_eq!((plan.verdict, plan.reason.as_str()), (Verdict::Holds, "nothing is sent"));
    assert!(plan.checks.is_empty() && plan.findings.is_empty());
}

fn schedule(length_s: f64, interval_s: f64, phase_s: f64) -> Vec<Transmission> {
    let count = (4.0 * 3600.0 / interval_s) as usize + 2;
    let start = |index: usize| Duration::from_seconds(phase_s + index as f64 * interval_s);
    (0..count)
        .map(|index| Transmission { start: start(index), length: Duration::from_seconds(length_s) })
        .collect()
}

proptest! {
    /// The closed form against the exact search over an explicit schedule.
    #[test]
    fn the_periodic_bound_is_what_an_explicit_schedule_reaches(length_s in 0.05..5.0_f64, interval_s in 10.0..5000.0_f64) {
        let exact = most_on_air(HOUR, &schedule(length_s, interval_s, 0.0)).seconds();
        let (length, interval) = (Duration::from_seconds(length_s), Duration::from_seconds(interval_s));
        prop_assert!((periodic_on_air(HOUR, length, interval).seconds() - exact).abs() < 1e-6);
    }

    /// Two activities at any phase never exceed the sum of their bounds.
    #[test]
    fn no_alignment_exceeds_the_worst_one(a in (0.1..3.0_f64, 30.0..900.0_f64), b in (0.1..3.0_f64, 30.0..900.0_f64), phase_s in 0.0..900.0_f64) {
        let mut all = schedule(a.0, a.1, 0.0);
        all.extend(schedule(b.0, b.1, phase_s));
        let bound = |(length_s, interval_s): (f64, f64)| periodic_on_air(HOUR, Duration::from_seconds(length_s), Duration::from_seconds(interval_s)).seconds();
        prop_assert!(most_on_air(HOUR, &all).seconds() <= bound(a) + bound(b) + 1e-6);
    }

    /// The shortest interval keeps the budget, and one a thousandth shorter does not.
    #[test]
    fn the_shortest_interval_is_the_shortest(length_s in 0.05..35.0_f64) {
        let (length, budget) = (Duration::from_seconds(length_s), Duration::from_seconds(36.0));
        let interval = shortest_interval(HOUR, length, budget).expect("one fits");
        prop_assert!(periodic_on_air(HOUR, length, interval).seconds() <= 36.0 + 1e-6);
        prop_assert!(periodic_on_air(HOUR, length, interval * 0.999).seconds() > 36.0);
    }
}
