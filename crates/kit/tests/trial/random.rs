//! Messages and cases that nobody thought of.

#![expect(clippy::cast_possible_truncation, clippy::cast_possible_wrap, reason = "small numbers of a test")]

use std::fmt::Write as _;

use design::message::{Form, Kind, Message, Part};

use super::Case;
use super::messages::Dice;

/// A message with a meaningful code in every slot.
pub(crate) fn case(index: usize, message: &Message, form: Form, dice: &mut Dice) -> Case {
    let mut bytes = super::messages::all_absent(message, form);
    let nowhere = dice.below(8) == 0;
    for slot in message.layout(form).slots {
        let field = &message.fields[slot.field];
        let codes = field.codes(slot.part);
        let among = if codes.saturates { u64::from(codes.last) + 4 } else { u64::from(codes.last) + 2 };
        let code = match (&field.kind, slot.part) {
            (Kind::Bytes { .. }, _) if dice.below(4) == 0 => continue,
            // The first bit is zero, and so are those beyond 64.
            (Kind::Bytes { .. }, _) => dice.next() >> (65 - slot.bits.min(64)),
            (Kind::Position { .. }, _) if nowhere => codes.absent().into(),
            (Kind::Position { .. }, _) => dice.below(u64::from(codes.last) + 1),
            // A difference near zero leads to a reading in the range.
            (_, Part::Earlier(_)) if dice.below(4) > 0 => field.centre().into(),
            _ => match dice.below(among) {
                code if code <= codes.last.into() => code,
                beyond => u64::from(codes.absent()) - (beyond - u64::from(codes.last) - 1),
            },
        };
        super::messages::put(&mut bytes, slot.offset, slot.bits, code);
    }
    Case { message: index, port: message.port_of(form).expect("the form is there"), bytes }
}

/// Messages with one to seven fields of any kind.
pub(crate) fn specification(dice: &mut Dice, count: u64) -> String {
    let mut text = String::new();
    for index in 0..count {
        let down = index % 3 == 2;
        writeln!(text, "[message.m{index}]\nport = {}", 2 * index + 1).expect("a string takes everything");
        if down {
            text += "direction = \"down\"\n";
        }
        if dice.below(3) == 0 {
            let bits = 1 + dice.below(8);
            writeln!(text, "version = {{ bits = {bits}, value = {} }}", dice.below(1 << bits))
                .expect("a string takes everything");
        }
        let fields = 1 + dice.below(7);
        if !down && fields > 3 && dice.below(2) == 0 {
            writeln!(text, "short = {{ port = {} }}", 2 * index + 2).expect("a string takes everything");
        }
        writeln!(text, "[message.m{index}.field]").expect("a string takes everything");
        for number in 0..fields {
            let priority = if number == 0 { 1 } else { 2 };
            writeln!(text, "f{number} = {{ priority = {priority}, {} }}", field(dice))
                .expect("a string takes everything");
        }
    }
    text
}

fn field(dice: &mut Dice) -> String {
    let history = |dice: &mut Dice, bits: u64| match dice.below(3) {
        0 if bits >= 3 => format!(
            ", history = {{ earlier = {}, bits = {} }}",
            1 + dice.below(3),
            3 + dice.below(bits.min(16) - 2)
        ),
        _ => String::new(),
    };
    match dice.below(9) {
        0..=2 => {
            let places = dice.below(4) as u32;
            let shown = |number: i64| {
                let ten = 10_i64.pow(places);
                let sign = if number < 0 { "-" } else { "" };
                format!(
                    "{sign}{}.{:0width$}",
                    number.abs() / ten,
                    number.abs() % ten,
                    width = places.max(1) as usize
                )
            };
            let shown = |number: i64| if places == 0 { number.to_string() } else { shown(number) };
            let low = dice.below(200_000) as i64 - 100_000;
            let step = 1 + dice.below(60) as i64;
            let steps = 1 + (dice.next() >> (44 + dice.below(20))) as i64;
            let high = low + steps * step + dice.below(2) as i64;
            let history = history(dice, 3);
            format!(
                "unit = \"Cel\", range = [{}, {}], resolution = {}{history}",
                shown(low),
                shown(high),
                shown(step)
            )
        }
        3 => {
            let bits = 3 + dice.below(18);
            let history = history(dice, bits);
            format!(
                "unit = \"V\", range = [{}, {}], bits = {bits}{history}",
                -(dice.below(50) as i64),
                1 + dice.below(50)
            )
        }
        4 => {
            let bits = 1 + dice.below(31);
            // A wider difference could say the same count twice, by going round.
            let history = history(dice, bits);
            format!(
                "kind = \"counter\", unit = \"mm\", bits = {bits}, step = 0.{}{history}",
                1 + dice.below(99)
            )
        }
        5 => "kind = \"flag\"".to_owned(),
        6 => {
            let words: Vec<String> = (0..2 + dice.below(9)).map(|word| format!("\"w{word}\"")).collect();
            format!("kind = \"choice\", words = [{}]", words.join(", "))
        }
        7 => match dice.below(2) {
            0 => format!("kind = \"position\", grid = \"{} m\"", 1 + dice.below(3000)),
            _ => format!(
                "kind = \"time\", epoch = \"20{:02}-03-01\", tick = \"{} s\", lasts = \"{} d\"",
                dice.below(99),
                1 + dice.below(9000),
                1 + dice.below(9000)
            ),
        },
        _ => format!("kind = \"bytes\", length = \"{} bytes\"", 1 + dice.below(9)),
    }
}
