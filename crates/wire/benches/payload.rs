//! Frost-mast reports per second on one core: the interpreter, and the generated Rust decoder beside it.
//!
//! `cargo bench -p overwinter-wire --bench payload`. Every round's readings are compared with what was sent.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a benchmark reads the clock")]
#![expect(clippy::print_stdout, reason = "a benchmark says what it measured")]

use std::hint::black_box;
use std::time::Instant;

use design::catalog::Catalog;
use design::message::Form;
use design::node::Design;
use wire::payload::{Codec, Reading, Sample};

#[expect(dead_code, reason = "the bench reads one message")]
#[expect(clippy::pedantic, clippy::all, reason = "generated for any compiler")]
mod generated {
    include!("../tests/data/kit/frost_mast.rs");
}

const REPORTS: u32 = 1_000;
const ROUNDS: usize = 501;

fn main() {
    let design = frost_mast();
    let report = design.messages.iter().find(|message| message.name == "report").expect("the mast reports");
    let codec = Codec::new(report);
    let sent: Vec<Vec<u8>> = (0..REPORTS).map(|number| encoded(&codec, number)).collect();
    let expected: f64 = sent.iter().map(|bytes| sum(&interpreted(&codec, bytes, &mut Vec::new()))).sum();

    let mut readings = Vec::new();
    let interpreter = per_second(|| {
        let mut total = 0.0;
        for bytes in &sent {
            codec.decode(report.port, black_box(bytes), &mut readings).expect("it was encoded");
            total += sum(&readings);
        }
        assert!((total - expected).abs() < 1e-6 * expected.abs(), "every reading is as it was sent");
    });
    let generated = per_second(|| {
        let mut total = 0.0;
        for bytes in &sent {
            let message = generated::report::Message::decode(report.port, black_box(bytes)).expect("it was encoded");
            total += all_values(&message);
        }
        assert!((total - expected).abs() < 1e-6 * expected.abs(), "every reading is as it was sent");
    });
    let slots = codec.layout(Form::Full).expect("it has a full form").slots.len();
    println!("{slots} readings in 12 bytes: interpreter {interpreter:.1}, generated {generated:.1} million per second");
    assert!(interpreter >= 20.0, "the interpreter decodes 20 million frost-mast reports per second");
}

fn frost_mast() -> Design {
    let file = design::file::parse(include_str!("../../../examples/larkmoor/frost-mast.toml"));
    design::resolve::resolve(&Catalog::builtin(), &file).expect("the example resolves").design
}

fn encoded(codec: &Codec, number: u32) -> Vec<u8> {
    let layout = codec.layout(Form::Full).expect("it has a full form");
    let sample = |slot: &design::message::Slot| {
        let last = codec.message().fields[slot.field].codes(design::message::Part::Value).last;
        Sample::Code((number / 7 + slot.field as u32) % (last + 1))
    };
    let samples: Vec<Sample> = layout.slots.iter().map(sample).collect();
    codec.encode(Form::Full, &samples).expect("codes within their ranges").bytes
}

fn interpreted(codec: &Codec, bytes: &[u8], readings: &mut Vec<Reading>) -> Vec<Reading> {
    codec.decode(codec.message().port, bytes, readings).expect("it was encoded");
    readings.clone()
}

fn sum(readings: &[Reading]) -> f64 {
    readings.iter().filter_map(Reading::value).sum()
}

fn all_values(message: &generated::report::Message) -> f64 {
    let rows = [&message.air_temperature_earlier[..], &message.leaf_temperature_earlier[..]].concat();
    let single = [message.air_temperature, message.leaf_temperature, message.humidity, message.wetness];
    let more = [message.battery, message.charging];
    let numbers: f64 = rows.iter().chain(&single).chain(&more).filter_map(generated::Reading::value).sum();
    numbers + f64::from(u8::from(message.restarted == Some(true)))
}

/// Millions per second in the median round.
fn per_second(mut round: impl FnMut()) -> f64 {
    let time = |()| {
        let start = Instant::now();
        round();
        start.elapsed()
    };
    let mut times: Vec<_> = std::iter::repeat_n((), ROUNDS).map(time).collect();
    times.sort();
    f64::from(REPORTS) / times[ROUNDS / 2].as_secs_f64() / 1e6
}
