//! Payloads of designs that nobody thought of.

use std::fmt::Write as _;

use design::catalog::Catalog;
use design::message::{Form, Kind, Message, Part};
use wire::payload::{Codec, DecodeError, Reading, Sample, State};

use crate::Recipe;

/// What is sent is what is read; what is read is sent again as the same bytes; with a byte less or more it is no message.
pub fn holds(bytes: &[u8]) {
    let mut recipe = Recipe(bytes);
    let Some(message) = message(&mut recipe) else { return };
    let codec = Codec::new(&message);
    for form in message.forms() {
        sent(&codec, form, &mut recipe);
        let length = codec.layout(form).expect("the form is there").bytes;
        let mut payload = recipe.rest(length).to_vec();
        payload.resize(length, 0);
        received(&codec, form, &payload);
    }
}

fn sent(codec: &Codec, form: Form, recipe: &mut Recipe<'_>) {
    let message = codec.message();
    let layout = codec.layout(form).expect("the form is there");
    let octets = [recipe.octet(); 4];
    let sample = |recipe: &mut Recipe<'_>, field: usize, part: Part| {
        let field = &message.fields[field];
        // An earlier reading is given by its own code.
        let codes = field.codes(if matches!(part, Part::Earlier(_)) { Part::Value } else { part });
        match (&field.kind, recipe.octet() % 8) {
            (_, 0) => Sample::Absent,
            (Kind::Bytes { .. }, _) => Sample::Octets(&octets),
            (_, 1) if codes.saturates => Sample::Below,
            (_, 2) if codes.saturates => Sample::Above,
            _ => Sample::Code(recipe.below(codes.last.saturating_add(1))),
        }
    };
    let samples: Vec<Sample> =
        layout.slots.iter().map(|slot| sample(recipe, slot.field, slot.part)).collect();
    let encoded = codec.encode(form, &samples).expect("the samples are of their kinds");
    let readings = received(codec, form, &encoded.bytes).expect("it was encoded");
    for ((slot, sample), reading) in layout.slots.iter().zip(&samples).zip(&readings) {
        let said = match (slot.part, sample) {
            // A reading before none is none, and one too far away is not said.
            (Part::Earlier(_) | Part::Latitude | Part::Longitude, _) | (_, Sample::Octets(_)) => continue,
            (_, Sample::Code(code)) => (State::Inside, Some(*code)),
            (_, Sample::Absent) => (State::Absent, None),
            (_, Sample::Below) => (State::Below, reading.code()),
            (_, Sample::Above) => (State::Above, reading.code()),
        };
        assert_eq!((reading.state(), reading.code()), said, "{message:#?}");
    }
}

/// The readings, if the bytes are a message.
fn received(codec: &Codec, form: Form, bytes: &[u8]) -> Option<Vec<Reading>> {
    let port = codec.message().port_of(form).expect("the form is there");
    let mut readings = Vec::new();
    codec.decode(port, bytes, &mut readings).ok()?;
    let octets: Vec<Option<Vec<u8>>> =
        (0..readings.len()).map(|slot| codec.octets(form, slot, bytes)).collect();
    let samples: Vec<Sample> = readings
        .iter()
        .zip(&octets)
        .map(|(reading, octets)| {
            octets.as_ref().map_or_else(|| reading.sample(), |octets| Sample::Octets(octets))
        })
        .collect();
    let again = codec.encode(form, &samples).expect("it was read");
    assert_eq!(again.bytes, bytes, "{readings:?} {:#?}", codec.message());
    let mut none = Vec::new();
    for other in [&bytes[..bytes.len() - 1], &[bytes, &[0]].concat()] {
        let refused = codec.decode(port, other, &mut none);
        assert!(matches!(refused, Err(DecodeError::Length { .. })) && none.is_empty(), "{refused:?}");
    }
    Some(readings)
}

/// A message of one to five fields; `None` if the design is refused.
fn message(recipe: &mut Recipe<'_>) -> Option<Message> {
    let mut text = "[message.m]\nport = 1\n".to_owned();
    let [version, short, count] = recipe.octets();
    if version % 3 == 0 {
        writeln!(text, "version = {{ bits = {}, value = 0 }}", 1 + version % 8).expect("a string takes all");
    }
    if short % 2 == 0 {
        text += "short = { port = 2, up_to = \"DR2\" }\n";
    }
    text += "[message.m.field]\n";
    for number in 0..=count % 5 {
        let priority = 1 + u8::from(number > 0);
        writeln!(text, "f{number} = {{ priority = {priority}, {} }}", field(recipe))
            .expect("a string takes all");
    }
    let design = DESIGN.replace("[regulator.main]", &format!("{text}[regulator.main]"));
    let resolved = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(&design)).ok()?;
    resolved.design.messages.first().cloned()
}

fn field(recipe: &mut Recipe<'_>) -> String {
    let [kind, bits, earlier, width, low, step] = recipe.octets().map(u32::from);
    let history = if earlier % 2 == 0 {
        String::new()
    } else {
        format!(", history = {{ earlier = {}, bits = {} }}", 1 + earlier % 4, 3 + width % 9)
    };
    match kind % 8 {
        0 => format!(
            "unit = \"m\", range = [-{low}, {}], resolution = 0.{}{history}",
            bits * width + 1,
            1 + step % 99
        ),
        1 => format!("unit = \"m\", range = [{low}, {}], bits = {}{history}", low + 7, 3 + bits % 29),
        2 => format!(
            "kind = \"counter\", unit = \"mm\", bits = {}, step = 0.{}{history}",
            1 + bits % 31,
            1 + step
        ),
        3 => "kind = \"flag\"".to_owned(),
        4 => "kind = \"choice\", words = [\"a\", \"b\", \"c\", \"d\", \"e\"]".to_owned(),
        5 => format!("kind = \"position\", grid = \"{} m\"", 1 + bits * width),
        6 => format!(
            "kind = \"time\", epoch = \"2026-01-01\", tick = \"{} s\", lasts = \"{} d\"",
            1 + step,
            1 + width
        ),
        _ => "kind = \"bytes\", length = \"4 bytes\"".to_owned(),
    }
}

/// A node that resolves, without messages.
const DESIGN: &str = r#"schema = 1
name = "Mast"
[site]
latitude = "47 deg"
longitude = "13 deg"
elevation = "640 m"
[promise]
unattended = "1 year"
[battery]
part = "li-socl2-d"
[radio]
part = "radio-mcu-14dbm"
region = "EU868"
data_rate = "DR3"
power = "14 dBm"
[regulator.main]
kind = "none"
[load.board]
floor = "12 uA"
floor_measured = true
[load.board.activity.report]
every = "10 min"
steps = [{ current = "6 mA", time = "200 ms" }]
"#;

/// Bytes that are taken for a design and what it sends.
pub fn seeds() -> Vec<Vec<u8>> {
    let pattern =
        |factor: u8| (0..160_u8).map(|place| place.wrapping_mul(factor).wrapping_add(factor)).collect();
    let seeds: Vec<Vec<u8>> = [37, 91, 113, 201, 255].map(pattern).into();
    assert!(seeds.iter().all(|seed| message(&mut Recipe(seed)).is_some()), "they are designs");
    seeds
}
