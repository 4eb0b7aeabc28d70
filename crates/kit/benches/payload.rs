//! Frost-mast reports per second on one core: the interpreter, and the generated Rust decoder beside it.
//!
//! `cargo bench -p overwinter-kit --bench payload`. Every round's readings are compared with what was sent.

#![expect(clippy::disallowed_methods, clippy::disallowed_types, reason = "a benchmark reads the clock")]
#![expect(clippy::print_stdout, reason = "a benchmark says what it measured")]

use std::hint::black_box;
use std::time::Instant;

use design::catalog::Catalog;
use design::message::{Form, Kind, Part, Slot};
use design::node::Design;
use wire::payload::{Codec, Reading, Sample};

#[expect(dead_code, unreachable_pub, reason = "the bench reads one message")]
#[expect(clippy::pedantic, reason = "generated for any compiler")]
mod generated {
    include!("../tests/data/frost_mast.rs");
}

const REPORTS: u32 = 1_000;
const ROUNDS: usize = 501;

fn main() {
    let design = frost_mast();
    let report = design.messages.iter().find(|message| message.name == "report").expect("the mast reports");
    let codec = Codec::new(report);
    let sent: Vec<Vec<u8>> = (0..REPORTS).map(|number| encoded(&codec, number)).collect();
    let expected: Vec<Vec<Option<f64>>> = (0..REPORTS).map(|number| values_sent(&codec, number)).collect();

    let mut readings = Vec::new();
    for (bytes, expected) in sent.iter().zip(&expected) {
        codec.decode(report.port, bytes, &mut readings).expect("it was encoded");
        let values: Vec<Option<f64>> = readings.iter().map(Reading::value).collect();
        assert_eq!(&values, expected, "every reading is as it was sent");
        let message = generated::report::Message::decode(report.port, bytes).expect("it was encoded");
        assert_eq!(&all_values(&message), expected, "and so in the generated decoder");
    }
    // Inside the rounds one reading stands for all, and the buffer must be there to the last bit.
    let total: f64 = expected.iter().filter_map(|values| values[0]).sum();
    let interpreter = per_second(|| {
        let mut sum = 0.0;
        for bytes in &sent {
            codec.decode(report.port, black_box(bytes), &mut readings).expect("it was encoded");
            sum += black_box(&readings)[0].value().unwrap_or_default();
        }
        assert_eq!(sum.to_bits(), total.to_bits(), "every first reading is as it was sent");
    });
    let generated = per_second(|| {
        let mut sum = 0.0;
        for bytes in &sent {
            let message =
                generated::report::Message::decode(report.port, black_box(bytes)).expect("it was encoded");
            sum += black_box(&message).air_temperature.value().unwrap_or_default();
        }
        assert_eq!(sum.to_bits(), total.to_bits(), "every first reading is as it was sent");
    });
    let slots = codec.layout(Form::Full).expect("it has a full form").slots.len();
    for (decoder, [median, fastest]) in [("interpreter", interpreter), ("generated Rust", generated)] {
        println!(
            "{decoder}: median {median:.1}, best {fastest:.1} million messages of {slots} readings per second"
        );
    }
    assert!(interpreter[1] >= 20.0, "the interpreter decodes 20 million frost-mast reports per second");
}

fn frost_mast() -> Design {
    let file = design::file::parse(include_str!("../../../examples/larkmoor/frost-mast.toml"));
    design::resolve::resolve(&Catalog::builtin(), &file).expect("the example resolves").design
}

/// Code of a slot in report `number`: each field at its own pace, earlier readings the same as the newest.
fn code(codec: &Codec, number: u32, field: usize) -> u32 {
    let last = codec.message().fields[field].codes(Part::Value).last;
    (number / 7 + u32::try_from(field).expect("few fields")) % (last + 1)
}

fn encoded(codec: &Codec, number: u32) -> Vec<u8> {
    let layout = codec.layout(Form::Full).expect("it has a full form");
    let samples: Vec<Sample> =
        layout.slots.iter().map(|slot| Sample::Code(code(codec, number, slot.field))).collect();
    codec.encode(Form::Full, &samples).expect("codes within their ranges").bytes
}

fn values_sent(codec: &Codec, number: u32) -> Vec<Option<f64>> {
    let layout = codec.layout(Form::Full).expect("it has a full form");
    let value = |slot: &Slot| {
        let code = code(codec, number, slot.field);
        Some(match codec.message().fields[slot.field].kind {
            Kind::Number { scale, .. } | Kind::Counter { scale, .. } => scale.value(code),
            _ => f64::from(code),
        })
    };
    layout.slots.iter().map(value).collect()
}

/// In the order of the slots.
fn all_values(message: &generated::report::Message) -> Vec<Option<f64>> {
    let with_earlier =
        |newest: generated::Reading, earlier: &[generated::Reading]| [&[newest], earlier].concat();
    let mut readings = with_earlier(message.air_temperature, &message.air_temperature_earlier);
    readings.extend(with_earlier(message.leaf_temperature, &message.leaf_temperature_earlier));
    readings.extend([message.humidity, message.wetness, message.battery, message.charging]);
    let mut values: Vec<Option<f64>> = readings.iter().map(generated::Reading::value).collect();
    values.push(message.restarted.map(|restarted| f64::from(u8::from(restarted))));
    values
}

/// Millions per second in the median and in the fastest round.
fn per_second(mut round: impl FnMut()) -> [f64; 2] {
    let time = |()| {
        let start = Instant::now();
        round();
        start.elapsed()
    };
    let mut times: Vec<_> = std::iter::repeat_n((), ROUNDS).map(time).collect();
    times.sort();
    [times[ROUNDS / 2], times[0]].map(|time| f64::from(REPORTS) / time.as_secs_f64() / 1e6)
}
