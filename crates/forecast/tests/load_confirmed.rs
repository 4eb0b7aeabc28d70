//! What confirmed messages and receive windows cost, against figures by hand.

mod common;

use design::node::Design;
use design::quantity::Share;
use forecast::diary::Diary;
use forecast::load::{Demand, MessageCost, join_cost};
use forecast::radio::link_state::LinkState;

fn node(region: &str, rate: &str, confirmed: bool, loss: &str) -> Design {
    common::primary(&format!(
        "[radio]\npart = \"radio-mcu-14dbm\"\nregion = \"{region}\"\ndata_rate = \"{rate}\"\npower = \"14 dBm\"\nwindow_symbols = 6\n\
         [regulator.main]\nkind = \"none\"\n[load.board]\nfloor = \"12 uA\"\nfloor_measured = true\n\
         [load.board.activity.report]\nevery = \"15 min\"\n\
         steps = [{{ uplink = {{ payload = \"10 bytes\", confirmed = {confirmed}, loss = \"{loss}\" }} }}]\n"
    ))
}

/// Mean current of everything but sleep, in the first kind of hour \[A\].
fn active_a(demand: &Demand) -> f64 {
    f64::from(demand.row(0, demand.levels.len() - 1).always.amperes)
}

fn on_link(design: &Design, unanswered_percent: Option<f64>) -> Demand {
    let link = LinkState::as_designed(design);
    let link = LinkState { unanswered: unanswered_percent.map(Share::from_percent), ..link };
    Demand::on_link(design, &link, &Diary::new(design))
}

/// Mean tries of at most eight, each lost with a share p, are (1 - p^8) / (1 - p): by hand 1.9921875 at 50 %, 2.4580096
/// at 60 %, 8 at 100 %. What the design states is lost whatever the link: of 50 % that the link leaves, 20 % more.
#[test]
fn what_the_design_states_as_lost_counts_beside_what_the_link_loses() {
    let once = active_a(&on_link(&node("EU868", "DR0", false, "0 %"), None));
    let tries =
        |loss: &str, unanswered| active_a(&on_link(&node("EU868", "DR0", true, loss), unanswered)) / once;
    for (loss, unanswered, by_hand) in [
        ("0 %", None, 1.0),
        ("50 %", None, 1.992_187_5),
        ("0 %", Some(50.0), 1.992_187_5),
        ("50 %", Some(0.0), 1.992_187_5),
        ("20 %", Some(50.0), 2.458_009_6),
        ("100 %", Some(0.0), 8.0),
    ] {
        let found = tries(loss, unanswered);
        assert!((found - by_hand).abs() < 1e-4 * by_hand, "{loss} {unanswered:?}: {found}");
    }
}

/// With the gateway away all eight tries are made; at 5 % lost there were (1 - 0.05^8) / 0.95 = 1.0526316. Asleep it draws
/// less for as long as it is busy, which is under a hundredth.
#[test]
fn confirmed_messages_in_vain_cost_eight_tries() {
    let demand = on_link(&node("EU868", "DR0", true, "5 %"), None);
    let more = demand.in_vain.amperes() / active_a(&demand);
    assert!((more - (8.0 / 1.052_631_6 - 1.0)).abs() < 1e-2, "{more}");
    let plain = on_link(&node("EU868", "DR0", false, "5 %"), None);
    assert!(plain.in_vain.amperes().abs() < 1e-15, "nothing is confirmed");
}

/// RP002-1.0.5, sections 3.5 and 3.8: after DR3 (SF7, 125 kHz) the first window of US915 is at DR13 (SF7, 500 kHz), after DR2
/// of AU915 (SF10) at DR10 (SF10, 500 kHz), the second of both at DR8 (SF12, 500 kHz). Six symbols of 2^SF / 500 kHz are
/// by hand 1.536, 12.288 and 49.152 ms. In Europe both stay at uplink rates: DR5 6.144 ms, second window DR0 196.608 ms.
#[test]
fn receive_windows_have_the_modulation_of_downlinks() {
    for (region, rate, by_hand_ms) in [
        ("US915", "DR3", 1.536 + 49.152),
        ("AU915", "DR2", 12.288 + 49.152),
        ("EU868", "DR5", 6.144 + 196.608),
    ] {
        let design = node(region, rate, false, "0 %");
        let radio = design.radio.as_ref().expect("a radio");
        let cost = MessageCost::new(radio, &LinkState::as_designed(&design), |_| 10);
        let found_ms = cost.listening.milliseconds();
        assert!((found_ms - by_hand_ms).abs() < 1e-6, "{region} {rate}: {found_ms} ms");
    }
}

/// By hand, at DR5: 23 bytes are 61.696 ms on air (AN1200.13). The second window opens six seconds after the request, five
/// and one more (`JOIN_ACCEPT_DELAY1`, RP002-1.0.4 section 3.3); the first is open for 6 symbols of 1.024 ms, the second,
/// at SF12, for 6 of 32.768 ms.
#[test]
fn a_join_waits_six_seconds_for_its_second_window() {
    let design = node("EU868", "DR5", false, "0 %");
    let radio = design.radio.as_ref().expect("it has one");
    let (first_s, second_s) = (6.0 * 1.024e-3, 6.0 * 32.768e-3);
    let by_hand = radio.transmit_current.nominal.amperes() * 61.696e-3
        + radio.radio.wait.amperes() * (6.0 - first_s)
        + radio.radio.receive.amperes() * (first_s + second_s);
    let found = join_cost(radio, &LinkState::as_designed(&design)).coulombs();
    assert!((found / by_hand - 1.0).abs() < 1e-3, "{found} {by_hand}");
    assert!(radio.radio.wait.amperes() * 4.0 > 0.01 * by_hand, "the wait can be seen");
}
