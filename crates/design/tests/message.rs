//! Messages: widths, layout and rounding, worked out by hand.

use design::catalog::Catalog;
use design::diagnostic::Severity;
use design::file::parse;
use design::message::{Direction, Field, Form, Kind, Meaning, Message, Part, Scale, Version};
use design::node::{Design, Step};
use design::quantity::Quantity;
use design::resolve::resolve;
use proptest::prelude::*;

fn design_with(radio: &str, messages: &str, steps: &str) -> Design {
    let text = format!(
        r#"
        schema = 1
        name = "Bench"
        [site]
        latitude = "47 deg"
        longitude = "8 deg"
        elevation = "400 m"
        [promise]
        unattended = "1 year"
        [battery]
        part = "li-socl2-d"
        [radio]
        part = "radio-mcu-14dbm"
        power = "14 dBm"
        {radio}
        {messages}
        [load.board]
        floor = "10 uA"
        floor_measured = true
        [load.board.activity.report]
        every = "10 min"
        steps = [{steps}]
        "#
    );
    resolve(&Catalog::builtin(), &parse(&text)).unwrap_or_else(|problems| panic!("{problems:#?}")).design
}

const DRAW: &str = "{ current = \"6 mA\", time = \"200 ms\" }";

fn message(keys: &str) -> Message {
    let text = format!("[message.report]\n{keys}");
    let design = design_with("region = \"EU868\"\ndata_rate = \"DR0\"", &text, DRAW);
    design.messages.first().cloned().expect("one message is written")
}

fn field(keys: &str) -> Field {
    message(&format!("port = 2\nfield.x = {{ {keys} }}"))
        .fields
        .into_iter()
        .next()
        .expect("one field is written")
}

fn scale(keys: &str) -> Scale {
    match field(keys).kind {
        Kind::Number { scale, .. } | Kind::Counter { scale, .. } | Kind::Time { scale, .. } => scale,
        other => panic!("{other:?} has no scale of its own"),
    }
}

/// Own arithmetic: values of the range and three more codes, below, above and absent, need so many bits.
#[test]
fn a_number_is_as_wide_as_its_values_and_three_codes_need() {
    for (keys, bits, last) in [
        // 1001 values and 3 codes of 1024.
        ("unit = \"Cel\", range = [-40, 60], resolution = 0.1", 10, 1000),
        // 101 of 128.
        ("unit = \"%\", range = [0, 100], resolution = 1", 7, 100),
        // 5 and 3 are just 8; one value more is not.
        ("unit = \"%\", range = [0, 4], resolution = 1", 3, 4),
        ("unit = \"%\", range = [0, 5], resolution = 1", 4, 5),
        // The last step reaches over the end of the range.
        ("unit = \"%\", range = [0, 100], resolution = 30", 3, 4),
        ("unit = \"Cel\", range = [-40, 60], bits = 8", 8, 252),
        ("unit = \"Cel\", range = [-40, 60], resolution = 1, bits = 12", 12, 100),
        ("kind = \"battery\", range = [2500, 4300], resolution = 10", 8, 180),
    ] {
        let codes = field(keys).codes(Part::Value);
        assert_eq!((codes.bits, codes.last, codes.saturates), (bits, last, true), "{keys}");
        let all_ones = (1 << bits) - 1;
        assert_eq!(
            (codes.absent(), codes.above(), codes.below()),
            (all_ones, Some(all_ones - 1), Some(all_ones - 2))
        );
    }
}

/// Own arithmetic for each kind.
#[test]
fn every_kind_has_room_for_absent() {
    for (keys, parts) in [
        // 60 an hour over two days are 2880: 12 bits, and the one that says absent.
        ("kind = \"counter\", per_hour = 60, longest_gap = \"2 d\"", vec![(13, 4095)]),
        // 4096 counts would go round once in 12 bits.
        ("kind = \"counter\", per_hour = 4096, longest_gap = \"1 h\"", vec![(14, 8191)]),
        ("kind = \"counter\", per_hour = 4095, longest_gap = \"1 h\"", vec![(13, 4095)]),
        ("kind = \"counter\", bits = 31", vec![(32, u32::MAX >> 1)]),
        ("kind = \"flag\"", vec![(2, 1)]),
        ("kind = \"choice\", words = [\"a\", \"b\", \"c\"]", vec![(2, 2)]),
        ("kind = \"choice\", words = [\"a\", \"b\", \"c\", \"d\"]", vec![(3, 3)]),
        // 20 years of 365.25 days in minutes are 10 519 200.
        (
            "kind = \"time\", epoch = \"2026-01-01\", tick = \"1 min\", lasts = \"20 years\"",
            vec![(24, 10_519_200)],
        ),
        // 180 degrees of 111 694 m and 360 of 111 320 m in steps of 1.2 m: 16.8 and 33.4 million.
        ("kind = \"position\", grid = \"1.2 m\"", vec![(24, (1 << 24) - 2), (25, (1 << 25) - 2)]),
        ("kind = \"bytes\", length = \"4 bytes\"", vec![(33, 0)]),
    ] {
        let field = field(keys);
        let found: Vec<(u32, u32)> = field
            .parts(Form::Full)
            .into_iter()
            .map(|part| (field.codes(part).bits, field.codes(part).last))
            .collect();
        assert_eq!(found, parts, "{keys}");
    }
}

#[test]
fn a_value_is_one_division_of_exact_integers() {
    let tenths = scale("unit = \"Cel\", range = [-40, 60], resolution = 0.1");
    assert_eq!((tenths.numerator, tenths.offset, tenths.denominator), (1, -400, 10));
    // The doubles nearest to the decimals, as the compiler reads them.
    for (code, value) in [(0, -40.0), (1, -39.9), (403, 0.3), (625, 22.5), (1000, 60.0)] {
        assert_eq!(tenths.value(code).to_bits(), f64::to_bits(value), "{code}");
    }
    let eighth_bits = scale("unit = \"Cel\", range = [-40, 60], bits = 8");
    assert_eq!((eighth_bits.numerator, eighth_bits.offset, eighth_bits.denominator), (25, -2520, 63));
    let minutes = scale("kind = \"time\", epoch = \"2026-01-01\", tick = \"1 min\", lasts = \"20 years\"");
    assert_eq!(
        (minutes.value(0), minutes.value(1)),
        (1_767_225_600.0, 1_767_225_660.0),
        "2026-01-01 in POSIX time"
    );
}

#[test]
fn half_a_step_rounds_away_from_zero() {
    let tenths = scale("unit = \"Cel\", range = [-40, 60], resolution = 0.1");
    assert_eq!(tenths.per_unit, 100, "the firmware counts hundredths");
    for (hundredths, tenths_wanted) in [
        (0, 0),
        (4, 0),
        (5, 1),
        (-4, 0),
        (-5, -1),
        (-25, -3),
        (25, 3),
        (2245, 225),
        (9000, 900),
        (-4005, -401),
    ] {
        assert_eq!(tenths.nearest(hundredths) - 400, tenths_wanted, "{hundredths}");
    }
}

#[test]
fn fields_follow_each_other_without_a_gap() {
    let message = message(
        "port = 2\nversion = { bits = 2, value = 3 }\nshort = { port = 3, up_to = \"DR0\" }\n[message.report.field]\n\
         air = { unit = \"Cel\", range = [-40, 60], resolution = 0.1, history = { earlier = 2, bits = 5 } }\n\
         lid = { kind = \"flag\", priority = 2 }\nspot = { kind = \"position\", grid = \"1.2 m\" }",
    );
    let offsets = |form| -> Vec<(Part, u32)> {
        message.layout(form).slots.iter().map(|slot| (slot.part, slot.offset)).collect()
    };
    assert_eq!(
        offsets(Form::Full),
        [
            (Part::Value, 2),
            (Part::Earlier(0), 12),
            (Part::Earlier(1), 17),
            (Part::Value, 22),
            (Part::Latitude, 24),
            (Part::Longitude, 48)
        ]
    );
    assert_eq!(offsets(Form::Short), [(Part::Value, 2), (Part::Latitude, 12), (Part::Longitude, 36)]);
    assert_eq!((message.layout(Form::Full).bits, message.layout(Form::Full).bytes), (73, 10));
    assert_eq!((message.layout(Form::Short).bits, message.layout(Form::Short).bytes), (61, 8));
    assert_eq!((message.port_of(Form::Full), message.port_of(Form::Short)), (Some(2), Some(3)));
    assert_eq!((message.direction, message.version), (Direction::Up, Version::Bits { width: 2, value: 3 }));
    assert_eq!((message.form_at(0), message.form_at(1)), (Form::Short, Form::Full));
}

/// 32 codes less three are 29: fourteen steps to each side. A counter was never higher: its zero is at the top.
#[test]
fn a_difference_has_its_zero_in_the_middle_or_at_the_top() {
    let history = "history = { earlier = 1, bits = 5 }";
    let number = field(&format!("unit = \"Cel\", range = [-40, 60], resolution = 0.1, {history}"));
    assert_eq!((number.codes(Part::Earlier(0)).last, number.centre()), (28, 14));
    let counter = field(&format!("kind = \"counter\", bits = 12, {history}"));
    assert_eq!((counter.codes(Part::Earlier(0)).last, counter.centre()), (28, 28));
}

/// US915 carries 11 bytes at DR0 (RP002-1.0.5, largest payloads), so the short form goes there and the full one elsewhere.
#[test]
fn the_short_form_is_sent_where_the_full_one_does_not_fit() {
    let messages = "[message.report]\nport = 2\nshort = { port = 3 }\n[message.report.field]\n\
         air = { unit = \"Cel\", range = [-40, 60], resolution = 0.1 }\ntag = { kind = \"bytes\", length = \"12 bytes\", priority = 2 }";
    let sent = |rates: &str| {
        let design = design_with(
            &format!("region = \"US915\"\n{rates}"),
            messages,
            "{ uplink = { message = \"report\" } }",
        );
        let short = design.messages[0].short.clone().expect("it has a short form");
        let step = design.loads[0].activities[0].steps[0].clone();
        let Step::Uplink { message, payload, .. } = step else { panic!("{step:?} is no uplink") };
        (short.data_rates, message, payload.text())
    };
    // 10 bits are 2 bytes; with 97 more they are 14.
    assert_eq!(sent("data_rate = \"DR0\""), (vec![0], Some("report".to_owned()), "2 bytes".to_owned()));
    assert_eq!(
        sent("data_rates = { DR0 = \"50 %\", DR1 = \"50 %\" }").2,
        "14 bytes",
        "the longest form in use"
    );
}

/// By hand: 4,000,000 m in steps of a millimetre are 4,000,000,000 codes, and thousandths are the coarsest integers that
/// tell them apart. A range of 0.1 in 2^22 - 3 codes has steps of 2.4e-8: ten-millionths would make one of four.
#[test]
fn a_wide_field_keeps_the_resolution_that_is_written() {
    let millimetres = scale("unit = \"m\", range = [0, 4000000], resolution = 0.001");
    assert_eq!(millimetres.per_unit, 1000);
    assert_eq!((millimetres.nearest(1), millimetres.nearest(3_999_999_999)), (1, 3_999_999_999));
    let fine = scale("unit = \"V\", range = [0, 0.1], bits = 22");
    assert_eq!(fine.per_unit, 1_000_000_000);
    for code in [0, 1, 2, 1_000_001, (1 << 22) - 4] {
        let (numerator, denominator) =
            (fine.exact(code) * i64::from(fine.per_unit), fine.denominator.cast_signed());
        let rounded = (2 * numerator + denominator) / (2 * denominator);
        assert_eq!(fine.nearest(rounded), i128::from(code), "{code}");
    }
}

#[test]
fn a_name_that_ends_like_a_multiplier_is_refused() {
    let text = include_str!("../../../examples/larkmoor/frost-mast.toml")
        .replace("humidity = {", "humidity_x10 = {");
    let problems = resolve(&Catalog::builtin(), &parse(&text)).expect_err("it is refused");
    assert!(
        problems.iter().any(|one| one.message.contains("`humidity_x10` ends as C names do")),
        "{problems:#?}"
    );
}

#[test]
fn the_help_proposes_a_short_form_that_fits() {
    let text = include_str!("../../../examples/larkmoor/frost-mast.toml")
        .replace("EU868", "US915")
        .replace("data_rates = { DR5 = \"70 %\", DR3 = \"25 %\", DR1 = \"5 %\" }", "data_rate = \"DR0\"")
        .replace("short = { port = 11, up_to = \"DR2\" }", "");
    let problems = resolve(&Catalog::builtin(), &parse(&text)).expect_err("12 bytes do not fit 11");
    let problems: Vec<_> = problems.into_iter().filter(|one| one.severity == Severity::Error).collect();
    assert_eq!(problems.len(), 1, "{problems:#?}");
    assert_eq!(problems[0].message, "`report` has 12 bytes, DR0 carries at most 11");
    assert_eq!(problems[0].help, "add `short = { port = 1 }`: without history the message has 8 bytes");
}

proptest! {
    /// Against the definition in exact fractions: no code is nearer, and of two that are as near the one away from zero wins.
    #[test]
    fn the_nearest_code_is_the_nearest(
        low in -100_000_i64..100_000, steps in 1_i64..5000, tenths in 1_i64..500, parts in -2_000_000_i64..2_000_000,
    ) {
        let (low, high, step) = (low as f64 / 10.0, (low + steps * tenths) as f64 / 10.0, tenths as f64 / 10.0);
        let scale = scale(&format!("unit = \"m\", range = [{low:.1}, {high:.1}], resolution = {step:.1}"));
        // Everything in units of 1 / (per_unit * denominator).
        let exact = |code: i128| {
            (code * i128::from(scale.numerator) + i128::from(scale.offset)) * i128::from(scale.per_unit)
        };
        let wanted = i128::from(parts) * i128::from(scale.denominator);
        let nearest = scale.nearest(parts);
        let distance = |code: i128| (exact(code) - wanted).abs();
        for other in [nearest - 1, nearest + 1] {
            prop_assert!(distance(nearest) <= distance(other));
            if distance(nearest) == distance(other) {
                prop_assert_eq!((exact(nearest) - wanted).signum(), if parts < 0 { -1 } else { 1 });
            }
        }
    }

    /// The value of every code comes back as that code, whatever the firmware's unit.
    #[test]
    fn a_value_on_the_grid_comes_back(low in -1000_i64..1000, steps in 1_i64..2000, code in 0_u32..2000) {
        let keys = format!("unit = \"m\", range = [{low}, {}], resolution = 0.5", low + steps);
        let scale = scale(&keys);
        let parts = scale.exact(code) * i64::from(scale.per_unit) / scale.denominator.cast_signed();
        prop_assert_eq!(scale.nearest(parts), i128::from(code));
    }
}

/// As the manual states them.
#[test]
fn a_field_means_what_it_says_and_a_battery_means_itself() {
    for (keys, meaning) in [
        ("kind = \"battery\", range = [2500, 4300], resolution = 10", Some(Meaning::Battery)),
        ("unit = \"V\", range = [0, 16], resolution = 0.1, means = \"battery\"", Some(Meaning::Battery)),
        ("unit = \"mV\", range = [0, 8000], resolution = 100", None),
        ("unit = \"mV\", range = [0, 8000], resolution = 100, means = \"panel\"", Some(Meaning::Panel)),
        ("kind = \"counter\", unit = \"min\", bits = 11, means = \"charging\"", Some(Meaning::Charging)),
        ("kind = \"counter\", unit = \"min\", bits = 11", None),
        ("unit = \"Cel\", range = [-40, 60], resolution = 0.5, means = \"box\"", Some(Meaning::Box)),
        ("kind = \"flag\", means = \"restarted\"", Some(Meaning::Restarted)),
    ] {
        assert_eq!(field(keys).meaning(), meaning, "{keys}");
    }
}
