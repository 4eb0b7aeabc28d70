//! Messages on the air: stairs, cliffs, ceilings and what codes save over text.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::message::{Direction, Form, Meaning, bytes_at};
use design::node::Design;
use design::quantity::{Bytes, Duration, Frequency, Share};
use design::region::Modulation;
use forecast::radio::link_state::LinkState;
use verdict::Verdict;
use verdict::law::judge;
use verdict::message::{Extra, FormView, Lack, MessageView, RateView, Way, learnable, stairs, verdict, view};

fn lora(spreading_factor: u8) -> Modulation {
    Modulation::Lora { spreading_factor, bandwidth: Frequency::from_kilohertz(125.0) }
}

fn node(region: &str, rates: &str, more: &str) -> Design {
    common::primary(&format!(
        "[radio]\npart = \"radio-mcu-14dbm\"\nregion = \"{region}\"\n{rates}\npower = \"14 dBm\"\n{more}\n[load.board]\nfloor = \"10 uA\"\nfloor_measured = true\n"
    ))
}

fn as_designed(design: &Design) -> Vec<MessageView> {
    view(design, &LinkState::as_designed(design))
}

fn frost_mast() -> Design {
    common::design(include_str!("../../../examples/larkmoor/frost-mast.toml"))
}

fn message<'v>(views: &'v [MessageView], name: &str) -> &'v MessageView {
    views.iter().find(|view| view.name == name).expect("the message is in the design")
}

fn rate(form: &FormView, number: u8) -> &RateView {
    form.rates.iter().find(|rate| rate.data_rate == number).expect("the data rate is allowed")
}

/// Application bytes in an uplink at 125 kHz, worked out beforehand by another script from the formula of the SX1276-79 data
/// sheet, section 4.1.1.7; not a published table. The formula itself is held to published vectors in `radio_airtime.rs`.
#[test]
fn stairs_are_those_worked_out_beforehand() {
    for (spreading_factor, from, to, airtime_ms) in [
        (12, 1, 2, 1155.0),
        (12, 3, 7, 1319.0),
        (12, 8, 12, 1483.0),
        (12, 13, 17, 1647.0),
        (10, 2, 6, 330.0),
        (10, 7, 11, 371.0),
        (10, 12, 16, 412.0),
        (7, 3, 6, 51.0),
        (7, 7, 9, 57.0),
    ] {
        let stairs = stairs(lora(spreading_factor), 30);
        let stair = stairs.iter().find(|stair| stair.from == from).expect("a stair begins here");
        assert_eq!(stair.to, to, "SF{spreading_factor} from {from} bytes");
        let printed = stair.airtime.milliseconds().floor();
        assert!((printed - airtime_ms).abs() < 1.5, "SF{spreading_factor}: {printed} ms");
    }
}

/// Own arithmetic from the formula: at SF12 and 125 kHz five symbols of 32.768 ms make a group, 163.84 ms.
#[test]
fn one_byte_over_the_edge_costs_a_group_of_symbols() {
    let more = "[message.report]\nport = 2\nfield.blob = { kind = \"bytes\", length = \"7 bytes\" }\n";
    let design = node("EU868", "data_rate = \"DR0\"", more);
    let views = as_designed(&design);
    let form = &message(&views, "report").forms[0];
    assert_eq!((form.bits, form.bytes), (57, 8), "56 bits and the one that says absent");
    let slowest = rate(form, 0);
    let cliff = slowest.cliff.expect("7 bytes cost less");
    assert_eq!((cliff.bytes, slowest.room), (1, 4), "7 bytes cost less, 12 bytes the same");
    assert!((cliff.airtime.milliseconds() - 163.84).abs() < 1e-9);
    let current = design.radio.as_ref().expect("it has a radio").transmit_current.nominal;
    let expected = current * Duration::from_milliseconds(163.84);
    assert!((cliff.charge.coulombs() - expected.coulombs()).abs() < 1e-12);
}

/// RP002-1.0.5, tables of largest payloads without repeater: EU868 N = 51 at DR0-2, 115 at DR3, 242 at DR4-5; US915 N = 11 at
/// DR0; AU915 N = 11 at DR2 and 0 below while the dwell limit holds. Fifteen bytes of FOpts (TS001-1.0.4, clause 4.3.1.6) share it.
#[test]
fn ceilings_are_those_of_the_regional_parameters() {
    for (region, used, number, bytes, with_answers) in [
        ("EU868", "DR0", 0, 51, 36),
        ("EU868", "DR0", 3, 115, 100),
        ("EU868", "DR0", 5, 242, 227),
        ("US915", "DR1", 0, 11, 0),
        ("AU915", "DR3", 2, 11, 0),
        ("AU915", "DR3", 1, 0, 0),
    ] {
        let design = node(region, &format!("data_rate = \"{used}\""), "");
        let ceiling = design.radio.as_ref().expect("it has a radio").ceiling(number);
        assert_eq!((ceiling.bytes, ceiling.with_answers), (bytes, with_answers), "{region} DR{number}");
    }
}

#[test]
fn the_frost_mast_fits_twelve_bytes_and_five() {
    let views = as_designed(&frost_mast());
    let report = message(&views, "report");
    let lengths: Vec<(Form, u32, usize)> =
        report.forms.iter().map(|form| (form.form, form.bits, form.bytes)).collect();
    // 10 + 3 * 6 bits of each temperature, 7 + 7 of shares, 8 of the battery, 13 of the counter, 2 of the flag; and 10 + 10 + 7 + 8.
    assert_eq!(lengths, [(Form::Full, 93, 12), (Form::Short, 35, 5)]);
    // Eight times "22.5", "62" twice, "3620", "2559" and "1", with twelve commas.
    assert_eq!(report.text_bytes, 8 * 4 + 2 * 2 + 4 + 4 + 1 + 12);
    assert_eq!(message(&views, "frost_watch").forms[0].bits, 9 + 4 * 5 + 8);
    assert_eq!(message(&views, "settings").direction, Direction::Down);
}

#[test]
fn the_form_that_is_sent_follows_the_data_rate() {
    let design = frost_mast();
    let views = as_designed(&design);
    let report = message(&views, "report");
    for number in 0..=5 {
        let sent: Vec<bool> = report.forms.iter().map(|form| rate(form, number).sent).collect();
        assert_eq!(sent, [number > 2, number <= 2], "DR{number}");
        assert_eq!(
            bytes_at(&design.messages, Some("report"), Bytes::ZERO, number),
            if number > 2 { 12 } else { 5 }
        );
    }
    assert_eq!(
        bytes_at(&design.messages, None, Bytes::from_bytes(8.5), 0),
        9,
        "a message that is not designed has the bytes it states"
    );
}

/// The mean over the data rates is the sum of its parts: 70 % at DR5 (SF7) and 25 % at
/// DR3 (SF9) with 12 bytes, 5 % at DR1 (SF11) with 5.
#[test]
fn codes_save_airtime_and_charge_over_text() {
    let design = frost_mast();
    let shares = [(5, 70.0), (3, 25.0), (1, 5.0)];
    let data_rates = shares.map(|(rate, percent)| (rate, Share::from_percent(percent))).to_vec();
    let views = view(&design, &LinkState { data_rates, unanswered: None });
    let report = message(&views, "report");
    let (full, short) = (&report.forms[0], &report.forms[1]);
    let mean = report.mean.expect("it has a radio");
    let parts = [(full, 5, 0.70), (full, 3, 0.25), (short, 1, 0.05)];
    let airtime_s: f64 =
        parts.iter().map(|(form, number, share)| rate(form, *number).cost.airtime.seconds() * share).sum();
    assert!((mean.sent.airtime.seconds() - airtime_s).abs() < 1e-12);
    assert!(mean.as_text.airtime.seconds() > 1.5 * airtime_s, "text takes half as long again at least");
    let charge = design.radio.as_ref().expect("it has a radio").transmit_current.nominal * mean.sent.airtime;
    assert!((mean.sent.charge.coulombs() - charge.coulombs()).abs() < 1e-12);
    assert!(mean.as_text.charge > mean.sent.charge);
}

#[test]
fn the_byte_map_has_no_gap_and_shows_every_meaning() {
    for message in as_designed(&frost_mast()) {
        for form in &message.forms {
            let mut offset = 0;
            for row in &form.rows {
                assert_eq!(row.offset, offset, "{} {}", message.name, row.field);
                offset += row.bits;
            }
            assert_eq!(offset, form.bits);
        }
    }
    let views = as_designed(&frost_mast());
    let rows = &message(&views, "report").forms[0].rows;
    let first = &rows[0];
    assert_eq!((first.range, first.step, first.decimals), (Some((-40.0, 60.0)), Some(0.1), 1));
    assert_eq!((first.absent, first.below_and_above), (1023, Some((1021, 1022))));
    let example = first.example.as_ref().expect("a number has an example");
    assert_eq!((example.code, example.text.as_str()), (625, "22.5"), "(22.5 + 40) / 0.1");
    assert_eq!(rows[1].range, Some((-3.0, 3.0)), "64 codes less three are 61, thirty to each side");
}

/// A tracker's draft of 12 bytes with two coordinates of 4 bytes do not fit SF10 in US915 (11 bytes), 24 and 25 bits do
/// (about 1.2 m of latitude: half the earth's meridian over 2^24).
#[test]
fn a_position_on_a_grid_of_1_2_metres_takes_49_bits() {
    let more = "[message.track]\nport = 2\nfield.spot = { kind = \"position\", grid = \"1.2 m\" }\n";
    let design = node("US915", "data_rate = \"DR0\"", more);
    let views = as_designed(&design);
    let form = &message(&views, "track").forms[0];
    let bits: Vec<u32> = form.rows.iter().map(|row| row.bits).collect();
    assert_eq!(bits, [24, 25]);
    let step_m = form.rows[0].step.expect("a coordinate has a step") * 111_694.0;
    assert!((1.15..=1.2).contains(&step_m), "{step_m} m");
    assert!(form.bytes <= rate(form, 0).ceiling.bytes);
}

/// At SF7 a block carries 28 bits and a frame of 13 + n bytes 8 (13 + n) + 16 bits, by hand 7.14, 7.43, 7.71, 8 blocks at
/// n = 10 to 13 8.29 at 14 and 8.86 at 16: eight up to 13
/// bytes, nine up to 16.
#[test]
fn bytes_are_free_up_to_the_end_of_the_block_or_of_the_rate() {
    let airtime = |bytes: usize| {
        let time = forecast::radio::airtime::uplink(lora(7), 13 + bytes)?;
        Some(verdict::message::Cost { airtime: time, ..verdict::message::Cost::default() })
    };
    let room = |bytes, most| verdict::message::room(bytes, most, airtime);
    assert_eq!([room(10, 242), room(12, 242), room(13, 242), room(14, 242)], [3, 1, 0, 2]);
    assert_eq!([room(10, 12), room(10, 10), room(10, 9)], [2, 0, 0]);
}

/// EU868 carries 51 bytes at DR0 and 115 at DR3 (RP002-1.0.4, table 7): 60 do not fit where the link brings them to DR0, and
/// fit where it keeps them at DR3 until the network asks for DR0.
#[test]
fn what_does_not_fit_fails_where_it_is_sent_and_is_tight_where_it_may_be_sent() {
    let of = |bytes: u32, rate: u8| {
        let more = format!(
            "[load.board.activity.report]\nevery = \"2 h\"\nsteps = [{{ uplink = {{ payload = \"{bytes} bytes\" }} }}]\n"
        );
        let design = common::primary(&format!(
            "[radio]\npart = \"radio-mcu-14dbm\"\nregion = \"EU868\"\ndata_rate = \"DR3\"\n\
             allowed_rates = [\"DR0\", \"DR3\"]\npower = \"14 dBm\"\n\
             [load.board]\nfloor = \"10 uA\"\nfloor_measured = true\n{more}"
        ));
        verdict(&judge(&design, &LinkState::at_rate(rate)))
    };
    assert_eq!([of(51, 3), of(60, 3), of(60, 0)], [Verdict::Holds, Verdict::Tight, Verdict::Fails]);
}

/// One fact, said in two places: of every example each message at each data rate has the bytes, the time on air and the
/// ceiling in the table of the law that it has among the messages, from which the kit has them too.
#[test]
fn law_and_message_say_the_same_time_on_air_of_every_example() {
    let mut agreed = 0;
    for design in [frost_mast(), tank_level(), soil_station(), spray_trailer()] {
        let link = LinkState::as_designed(&design);
        let views = view(&design, &link);
        let forms =
            || views.iter().filter(|view| view.direction == Direction::Up).flat_map(|view| &view.forms);
        for rate in judge(&design, &link).messages.iter().flat_map(|message| &message.rates) {
            let sent = forms()
                .filter(|form| form.bytes == rate.bytes)
                .flat_map(|form| &form.rates)
                .find(|view| view.sent && view.data_rate == rate.data_rate);
            let Some(sent) = sent else { continue };
            assert_eq!(Some(sent.cost.airtime), rate.airtime, "{} DR{}", design.name, rate.data_rate);
            assert_eq!(sent.ceiling, rate.ceiling, "{} DR{}", design.name, rate.data_rate);
            agreed += 1;
        }
    }
    assert!(agreed >= 12, "{agreed} rows were compared");
}

fn tank_level() -> Design {
    common::design(include_str!("../../../examples/larkmoor/tank-level.toml"))
}

fn soil_station() -> Design {
    common::design(include_str!("../../../examples/larkmoor/soil-station.toml"))
}

fn spray_trailer() -> Design {
    common::design(include_str!("../../../examples/larkmoor/spray-trailer.toml"))
}

/// A design whose report of so many bytes goes every ten minutes at SF12, without panel and without a battery voltage.
fn silent_about_itself(bytes: u8) -> Design {
    let text = include_str!("../../../examples/larkmoor/tank-level.toml");
    let start = text.find("[message.level]").expect("its message");
    let end = text.find("[regulator.main]").expect("its regulator");
    let message = format!(
        "[message.level]\nport = 10\nfield.blob = {{ kind = \"bytes\", length = \"{bytes} bytes\" }}\n\n"
    );
    let daily = text.find("# Once a day it asks").expect("its other activity");
    let rest = text[end..daily].replace("every = \"15 min\"", "every = \"10 min\"");
    common::design(&format!("{}{message}{rest}", &text[..start]))
}

fn added(lack: &Lack) -> Extra {
    match &lack.way {
        Way::Add(_, extra) => *extra,
        other => panic!("not to be added: {other:?}"),
    }
}

/// Own arithmetic: 11 bytes and the bit that says absent are 89 bits in 12 bytes; 8 bits of a voltage make 97 in 13, and from
/// the 13th byte on five symbols more of 32.768 ms are on air at SF12 (as above), 144 times a day. A flag of 2 bits costs
/// nothing. The sleep current that does not flow meanwhile is below a thousandth.
#[test]
fn what_a_field_more_costs_is_what_the_air_takes() {
    let design = silent_about_itself(11);
    let slow = LinkState::at_rate(0);
    let found = learnable(&design, &slow).expect("it sends a message");
    assert_eq!(found.tells, []);
    let lacks: Vec<Meaning> = found.lacks.iter().map(|lack| lack.means).collect();
    assert_eq!(lacks, [Meaning::Battery, Meaning::Restarted], "no panel, so nothing about one");
    let battery = added(&found.lacks[0]);
    assert_eq!((battery.bits, battery.bytes_before, battery.bytes), (8, 12, 13));
    let current = design.radio.as_ref().expect("it has a radio").transmit_current.nominal;
    let expected = (current * Duration::from_milliseconds(163.84)).coulombs() * 144.0;
    let charge = battery.charge_per_day.coulombs();
    assert!((charge / expected - 1.0).abs() < 5e-3, "{charge} C for {expected} C");
    let flag = added(&found.lacks[1]);
    assert_eq!((flag.bits, flag.bytes), (2, 12));
    assert!(flag.charge_per_day.coulombs() < 1e-3 * expected);
    let together = found.together.expect("both fit");
    assert_eq!((together.bits, together.bytes), (10, 13));
    let finding = found.finding.expect("nothing is learnable");
    assert_eq!((finding.code, finding.field.as_str()), ("not-learnable", "message.level"));
}

fn mast_with(edits: &[(&str, &str)]) -> Design {
    let mut text = include_str!("../../../examples/larkmoor/frost-mast.toml").to_owned();
    for (from, to) in edits {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    common::design(&text)
}

/// Its report has 93 bits of 12 bytes (above), and may have no more; its short form leaves the minutes out.
#[test]
fn the_frost_mast_is_learnable_and_has_no_room_for_more() {
    let mast = frost_mast();
    let fast = learnable(&mast, &LinkState::at_rate(5)).expect("it sends a message");
    assert_eq!(fast.tells, [Meaning::Battery, Meaning::Charging, Meaning::Restarted]);
    assert!(fast.finding.is_none());
    let ways: Vec<(Meaning, bool)> =
        fast.lacks.iter().map(|lack| (lack.means, matches!(lack.way, Way::TooMuch(..)))).collect();
    assert_eq!(ways, [(Meaning::Panel, true), (Meaning::Box, true)]);
    assert!(fast.together.is_none());
    let slow = learnable(&mast, &LinkState::at_rate(2)).expect("it sends a message");
    assert_eq!(slow.tells, [Meaning::Battery]);
    let left_out = slow.lacks.iter().find(|lack| lack.means == Meaning::Charging).expect("it is left out");
    assert!(matches!(&left_out.way, Way::LeftOut(field) if field == "charging"));
}

/// A count of 60 an hour over a day are 1,440: 11 bits, and one that says absent. With 13 bytes of frame, 10 and 12 bytes take
/// ceil((8 * 23 - 28 + 44) / 28) = ceil((8 * 25 - 28 + 44) / 28) = 8 blocks at SF7 (formula as above).
#[test]
fn charging_minutes_are_twelve_bits_and_a_field_that_has_them_need_only_say_so() {
    let fast = LinkState::at_rate(5);
    let charging = |design: &Design| {
        let found = learnable(design, &fast).expect("it sends a message");
        found.lacks.into_iter().find(|lack| lack.means == Meaning::Charging).expect("nothing tells it")
    };
    let unsaid = charging(&mast_with(&[("means = \"charging\", ", "")]));
    assert!(matches!(&unsaid.way, Way::Say(field) if field == "charging"));
    let line = "charging = { kind = \"counter\", title = \"time in charge\", means = \"charging\", unit = \"min\", per_hour = 60, longest_gap = \"2 d\", priority = 2 }\n";
    let gone = charging(&mast_with(&[(line, "")]));
    let extra = added(&gone);
    assert_eq!((extra.bits, extra.bytes_before, extra.bytes), (12, 10, 12), "80 bits, then 92");
    assert!(extra.charge_per_day.coulombs() < 1e-6, "both are 8 blocks at SF7: {extra:?}");
}
