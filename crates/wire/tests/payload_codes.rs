//! The interpreter against the rules of the codes, written down again in integers.

#![expect(clippy::cast_possible_truncation, reason = "small numbers of a test")]

mod messages;

use design::message::{Form, Kind, Message, Part};
use messages::{Dice, with_messages};
use wire::payload::{Codec, DecodeError, EncodeError, Reading, Sample, State};

const AIR: &str = "
[message.report]
port = 2
version = { bits = 2, value = 1 }
[message.report.field]
air = { unit = \"Cel\", range = [-40, 60], resolution = 0.1, history = { earlier = 2, bits = 5 } }
place = { kind = \"position\", grid = \"2 m\" }
tips = { kind = \"counter\", bits = 5, unit = \"mm\", step = 0.2, history = { earlier = 1, bits = 4 } }
image = { kind = \"bytes\", length = \"2 bytes\" }
";

fn report() -> (Message, Codec) {
    let message = with_messages(AIR).remove(0);
    let codec = Codec::new(&message);
    (message, codec)
}

fn read(codec: &Codec, bytes: &[u8]) -> Vec<Reading> {
    let mut readings = Vec::new();
    codec.decode(codec.message().port, bytes, &mut readings).expect("it is a message");
    readings
}

/// The double nearest to `numerator / denominator`: no neighbour is nearer, and of two equally near ones it is the even one.
fn is_nearest(value: f64, numerator: i128, denominator: i128) -> bool {
    // Distances times 2^60 are integers here: the values have few digits before the point.
    let scaled = |double: f64| (double * 2_f64.powi(60)) as i128 * denominator;
    let wanted = numerator << 60;
    let distance = |double: f64| (scaled(double) - wanted).abs();
    [value.next_up(), value.next_down()].into_iter().all(|other| distance(value) <= distance(other))
}

#[test]
fn every_code_is_read_as_the_nearest_double() {
    let (message, codec) = report();
    let slot = message.layout(Form::Full).slots[0];
    for code in 0..=1000_u32 {
        let mut bytes = messages::all_absent(&message, Form::Full);
        messages::put(&mut bytes, slot.offset, slot.bits, code.into());
        let air = read(&codec, &bytes)[0];
        assert_eq!((air.state(), air.code()), (State::Inside, Some(code)));
        let value = air.value().expect("it is there");
        assert!(is_nearest(value, i128::from(code) - 400, 10), "{code} is {value}");
    }
}

#[test]
fn reserved_codes_are_absent_above_and_below_and_the_others_mean_nothing() {
    let (message, codec) = report();
    let slot = message.layout(Form::Full).slots[0];
    let of = |code: u64| {
        let mut bytes = messages::all_absent(&message, Form::Full);
        messages::put(&mut bytes, slot.offset, slot.bits, code);
        let mut readings = Vec::new();
        codec.decode(2, &bytes, &mut readings).map(|_| (readings[0].state(), readings[0].value()))
    };
    assert_eq!(of(1023), Ok((State::Absent, None)));
    assert_eq!(of(1022), Ok((State::Above, Some(60.0))));
    assert_eq!(of(1021), Ok((State::Below, Some(-40.0))));
    for code in 1001..=1020 {
        assert_eq!(of(code), Err(DecodeError::Code { field: "air".into(), code: code as u32 }));
    }
}

#[test]
fn values_are_rounded_half_away_from_zero_and_saturate() {
    let (_, codec) = report();
    let air = |value| codec.sample(Form::Full, 0, value).expect("a number can be said");
    // -0.25 lies between -0.2 and -0.3; 0.25 between 0.2 and 0.3: codes 400 + 10 * value.
    for (value, code) in
        [(-0.25, 397), (0.25, 403), (0.0, 400), (-0.04, 400), (21.5, 615), (60.0, 1000), (60.04, 1000)]
    {
        assert_eq!(air(value), Sample::Code(code), "{value}");
    }
    assert_eq!((air(60.05), air(1e300), air(f64::INFINITY)), (Sample::Above, Sample::Above, Sample::Above));
    assert_eq!(
        (air(-40.05), air(-1e300), air(f64::NEG_INFINITY)),
        (Sample::Below, Sample::Below, Sample::Below)
    );
    assert_eq!(air(f64::NAN), Sample::Absent);
}

#[test]
fn nowhere_on_earth_is_absent() {
    let (_, codec) = report();
    assert_eq!(codec.sample(Form::Full, 3, 90.1), Ok(Sample::Absent));
    assert_eq!(codec.sample(Form::Full, 4, -180.01), Ok(Sample::Absent));
    assert!(matches!(codec.sample(Form::Full, 3, -90.0), Ok(Sample::Code(0))));
}

#[test]
fn a_history_comes_back_and_says_when_it_is_too_far_away() {
    let (_, codec) = report();
    let absent = Sample::Absent;
    let octets = [0xab, 0x01];
    let near = [Sample::Code(500), Sample::Code(495), Sample::Code(510), absent, absent];
    let tips = [Sample::Code(1), Sample::Code(30), Sample::Octets(&octets)];
    let encoded = codec.encode(Form::Full, &[&near[..], &tips].concat()).expect("it can be said");
    let readings = read(&codec, &encoded.bytes);
    let codes: Vec<Option<u32>> = readings.iter().map(Reading::code).collect();
    // The counter went round: 30, 31, 0, 1.
    assert_eq!(codes, [Some(500), Some(495), Some(510), None, None, Some(1), Some(30), Some(0)]);
    assert_eq!(codec.octets(Form::Full, 7, &encoded.bytes), Some(octets.to_vec()));
    assert!(encoded.saturated.is_empty());

    let far = [Sample::Code(500), Sample::Code(485), Sample::Code(515), absent, absent];
    let encoded = codec.encode(Form::Full, &[&far[..], &tips].concat()).expect("it can be said");
    let readings = read(&codec, &encoded.bytes);
    // Differences of -14 to 14 can be said.
    assert_eq!(encoded.saturated, [1, 2]);
    assert_eq!((readings[1].state(), readings[1].code()), (State::Below, Some(486)));
    assert_eq!((readings[2].state(), readings[2].code()), (State::Above, Some(514)));
}

#[test]
fn what_is_no_message_is_refused_and_leaves_no_reading() {
    let (message, codec) = report();
    let good = messages::all_absent(&message, Form::Full);
    let mut readings = vec![];
    assert!(codec.decode(2, &good, &mut readings).is_ok());
    let mut refused = |port, bytes: &[u8]| {
        let error = codec.decode(port, bytes, &mut readings).expect_err("it is no message");
        assert!(readings.is_empty());
        error
    };
    assert!(matches!(refused(3, &good), DecodeError::Port { port: 3, .. }));
    for length in 0..good.len() {
        assert!(matches!(refused(2, &good[..length]), DecodeError::Length { .. }));
    }
    assert!(matches!(refused(2, &[&good[..], &[0]].concat()), DecodeError::Length { .. }));
    let mut other = good.clone();
    other[0] ^= 0x80;
    assert_eq!(refused(2, &other), DecodeError::Version { found: 3, expected: 1 });
    let spare = 8 * good.len() as u32 - message.layout(Form::Full).bits;
    assert!(spare > 0, "the message has spare bits");
    let mut padded = good.clone();
    *padded.last_mut().expect("it has bytes") |= 1;
    assert_eq!(refused(2, &padded), DecodeError::Padding);
    let latitude = message.layout(Form::Full).slots[3];
    let mut half = good;
    messages::put(&mut half, latitude.offset, latitude.bits, 5);
    assert_eq!(refused(2, &half), DecodeError::HalfPosition { field: "place".into() });
}

#[test]
fn samples_of_the_wrong_kind_or_number_are_refused() {
    let (_, codec) = report();
    assert!(matches!(codec.encode(Form::Full, &[]), Err(EncodeError::Count { found: 0, expected: 8 })));
    assert!(matches!(codec.encode(Form::Short, &[]), Err(EncodeError::NoShortForm { .. })));
    let mut samples = vec![Sample::Absent; 8];
    samples[0] = Sample::Code(1001);
    assert_eq!(codec.encode(Form::Full, &samples), Err(EncodeError::Sample { field: "air".into() }));
    samples[0] = Sample::Absent;
    samples[7] = Sample::Octets(&[1, 2, 3]);
    assert_eq!(codec.encode(Form::Full, &samples), Err(EncodeError::Sample { field: "image".into() }));
}

#[test]
fn whatever_is_read_is_written_back_bit_by_bit() {
    let message = with_messages(AIR).remove(0);
    let codec = Codec::new(&message);
    let mut dice = Dice(7);
    let mut readings = Vec::new();
    let mut count = 0;
    while count < 20_000 {
        let mut bytes: Vec<u8> =
            messages::all_absent(&message, Form::Full).iter().map(|_| dice.below(256) as u8).collect();
        messages::put(&mut bytes, 0, 2, 1);
        // Most random codes mean nothing, so each field is made to mean something.
        for slot in message.layout(Form::Full).slots {
            let field = &message.fields[slot.field];
            let code = match (&field.kind, slot.part) {
                (Kind::Bytes { .. }, _) => dice.below(1 << 16),
                (_, Part::Earlier(_)) => dice.below(1 << slot.bits),
                _ => dice.below(u64::from(field.codes(slot.part).last) + 1),
            };
            messages::put(&mut bytes, slot.offset, slot.bits, code);
        }
        let layout = message.layout(Form::Full);
        messages::put(&mut bytes, layout.bits, 8 * layout.bytes as u32 - layout.bits, 0);
        if codec.decode(2, &bytes, &mut readings).is_err() {
            continue;
        }
        count += 1;
        let octets = codec.octets(Form::Full, 7, &bytes).expect("they are there");
        let mut samples: Vec<Sample> = readings.iter().map(Reading::sample).collect();
        samples[7] = Sample::Octets(&octets);
        assert_eq!(codec.encode(Form::Full, &samples).expect("it was read").bytes, bytes);
    }
}
