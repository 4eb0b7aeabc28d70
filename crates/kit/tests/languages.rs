//! The same bytes mean the same in every language: codes, doubles, absence, refusal.
//!
//! The interpreter of `wire::payload` is compared with the generated C, JavaScript, Python and Rust; that its own
//! arithmetic is right is shown in `payload_codes.rs`, against integers and not against a language.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    clippy::cast_sign_loss,
    reason = "small numbers of a test"
)]

mod trial;

use std::fmt::Write as _;
use std::path::Path;

use design::message::{Direction, Field, Form, Kind, Message, Part, Slot};
use trial::messages::Dice;
use trial::program::{folder, is_there, run};
use trial::{Case, Said, Value, driver, notes, random};
use wire::payload::{Codec, Reading, State};

/// Every kind up to 16 bits, and histories; then wider ones. `_down` copies are encoded again in JavaScript.
const SPECIFICATIONS: &str = r#"
[message.narrow]
port = 1
version = { bits = 3, value = 5 }
[message.narrow.field]
air = { unit = "Cel", range = [-40, 60], resolution = 0.1 }
level = { unit = "mm", range = [-500, 65032], resolution = 1 }
cell = { kind = "battery", range = [2500, 4300], resolution = 7 }
thirds = { unit = "%", range = [0, 100], bits = 9 }
rain = { kind = "counter", unit = "mm", bits = 15, step = 0.2 }
door = { kind = "flag" }
mode = { kind = "choice", words = ["idle", "frost", "hail", "test", "port"] }
since = { kind = "time", epoch = "2026-01-01", tick = "10 min", lasts = "400 d" }

[message.place]
port = 2
[message.place.field]
where_coarse = { kind = "position", grid = "1100 m" }
mark = { kind = "bytes", length = "1 bytes" }

[message.reading]
port = 8
[message.reading.field]
bytes = { unit = "1", range = [0, 9], resolution = 1, history = { earlier = 2, bits = 3 } }
reading = { kind = "flag" }
valued = { kind = "choice", words = ["word", "state"] }
word = { kind = "position", grid = "2000 km" }
earlier = { kind = "counter", bits = 3, unit = "1" }
octets = { kind = "bytes", length = "1 bytes" }
code_at = { unit = "1", range = [0, 1], bits = 3 }
state = { kind = "flag" }

[message.row]
port = 3
[message.row.field]
air = { unit = "Cel", range = [-20, 20], resolution = 0.5, history = { earlier = 2, bits = 4 } }

[message.tips]
port = 4
[message.tips.field]
tips = { kind = "counter", bits = 5, unit = "mm", step = 0.3, history = { earlier = 2, bits = 5 } }

[message.narrow_down]
port = 5
direction = "down"
[message.narrow_down.field]
air = { unit = "Cel", range = [-40, 60], resolution = 0.1 }
level = { unit = "mm", range = [-500, 65032], resolution = 1 }
thirds = { unit = "%", range = [0, 100], bits = 9 }
rain = { kind = "counter", unit = "mm", bits = 15, step = 0.2 }
door = { kind = "flag" }
mode = { kind = "choice", words = ["idle", "frost", "hail"] }
where_coarse = { kind = "position", grid = "1100 m" }
mark = { kind = "bytes", length = "1 bytes" }

[message.row_down]
port = 6
direction = "down"
[message.row_down.field]
air = { unit = "Cel", range = [-20, 20], resolution = 0.5, history = { earlier = 2, bits = 4 } }
tips = { kind = "counter", bits = 5, unit = "mm", step = 0.3, history = { earlier = 1, bits = 5 } }

[message.wide]
port = 7
direction = "down"
[message.wide.field]
pressure = { unit = "Pa", range = [30000, 110000], resolution = 0.5 }
energy = { unit = "J", range = [-20000000, 20000000], resolution = 0.1 }
odd = { unit = "V", range = [-1, 1], bits = 22 }
way = { unit = "m", range = [-1000, 3000000], resolution = 0.001 }
total = { kind = "counter", unit = "m3", bits = 31, step = 0.001 }
where_fine = { kind = "position", grid = "2 m" }
since = { kind = "time", epoch = "2020-02-29", tick = "1 s", lasts = "60 years" }
mark = { kind = "bytes", length = "5 bytes" }
"#;

#[test]
fn every_code_point_means_the_same_in_every_language() {
    let messages = trial::messages::with_messages(SPECIFICATIONS);
    let mut cases = Vec::new();
    for (index, message) in messages.iter().enumerate() {
        match message.name.as_str() {
            "wide" => wide(&mut cases, index, message, 20_000),
            "row" | "tips" | "row_down" => every_pattern(&mut cases, index, message),
            _ => sweep(&mut cases, index, message),
        }
        damaged(&mut cases, index, message, &mut Dice(index as u64));
    }
    compare(&messages, &cases);
}

/// The small engine is too slow for whole messages, but not for one field at a time.
#[test]
fn every_code_of_every_narrow_field_means_the_same_in_the_fifth_edition() {
    if !is_there("duk") {
        return;
    }
    let messages = trial::messages::with_messages(SPECIFICATIONS);
    let (mut expected, mut names) = (Vec::new(), Vec::new());
    for message in &messages {
        let codec = Codec::new(message);
        for field in
            message.fields.iter().filter(|field| is_narrow(field) && !is_copied(&messages, message, field))
        {
            names.push(format!("{} {}", message.name, field.name));
            sums(&mut expected, &codec, field);
        }
    }
    assert!(names.len() > 15 && expected.len() > 70, "many fields, some of 16 bits: {names:?}");
    let codec = trial::text_of(&trial::kit_of(&messages), ".js");
    let folder = folder(&[("kit.js", &driver::javascript_of_every_code(&codec, &names))]);
    assert_eq!(run(folder.path(), "duk", &["kit.js"], ""), expected);
}

fn is_narrow(field: &Field) -> bool {
    let parts = field.parts(Form::Full);
    field.history.is_none() && parts.into_iter().all(|part| field.codes(part).bits <= 16)
}

/// Whether a message to the node, which is encoded too, has the same field.
fn is_copied(messages: &[Message], message: &Message, field: &Field) -> bool {
    let same = |other: &Field| other.name == field.name && other.kind == field.kind;
    let mut downs = messages.iter().filter(|other| other.direction == Direction::Down);
    message.direction == Direction::Up && downs.any(|down| down.fields.iter().any(same))
}

/// What the interpreter says about every code of a field of at most 16 bits, as the driver sums it up.
fn sums(lines: &mut Vec<String>, codec: &Codec, field: &Field) {
    let message = codec.message();
    let layout = message.layout(Form::Full);
    let of_field = |slot: &&Slot| &message.fields[slot.field] == field;
    let slots: Vec<Slot> = layout.slots.iter().filter(of_field).copied().collect();
    let widest = slots.iter().map(|slot| slot.bits).max().expect("a field has parts");
    let (mut sum, mut readings) = (0, Vec::new());
    for code in 0..1_u64 << widest {
        let mut bytes = trial::messages::all_absent(message, Form::Full);
        for slot in &slots {
            trial::messages::put(&mut bytes, slot.offset, slot.bits, code);
        }
        let read = codec.decode(message.port, &bytes, &mut readings);
        let one = |index: usize, slot: &Slot| {
            if slots.contains(slot) { weight(codec, index, &readings[index], &bytes) } else { 0 }
        };
        let weights = layout.slots.iter().enumerate().map(|(index, slot)| one(index, slot));
        sum = (sum * 31 + if read.is_ok() { weights.sum() } else { 4 }) % 4_294_967_291;
        if code % 4096 == 4095 || code + 1 == 1 << widest {
            lines.push(format!("{} {} {code} {sum}", message.name, field.name));
        }
    }
}

fn weight(codec: &Codec, slot: usize, reading: &Reading, bytes: &[u8]) -> u64 {
    let place = codec.layout(Form::Full).expect("it has a full form").slots[slot];
    let outside = 11 * u64::from(matches!(reading.state(), State::Below | State::Above));
    let Some(code) = reading.code() else { return 1 };
    match codec.message().fields[place.field].kind {
        Kind::Flag => 2 + u64::from(code),
        Kind::Choice { .. } => 16 + u64::from(code),
        Kind::Bytes { .. } => {
            let octets = codec.octets(Form::Full, slot, bytes).expect("they are there");
            512 + octets.iter().fold(0, |number, octet| number * 256 + u64::from(*octet))
        }
        _ => {
            let bits = trial::bits(reading.value().expect("it is a number"));
            (bits & 0xffff_ffff) * 7 + (bits >> 32) + outside
        }
    }
}

/// Case `i` has in every slot the code `i`, going round among the codes that mean something; both coordinates or none
/// are absent. So every such code of every slot occurs.
fn sweep(cases: &mut Vec<Case>, index: usize, message: &Message) {
    let layout = message.layout(Form::Full);
    let widest = layout.slots.iter().map(|slot| slot.bits).max().expect("it has fields").min(16);
    for number in 0..1_u32 << widest {
        let mut bytes = trial::messages::all_absent(message, Form::Full);
        for slot in &layout.slots {
            let field = &message.fields[slot.field];
            let codes = field.codes(slot.part);
            let reserved = if codes.saturates { 3 } else { 1 };
            let code = match (&field.kind, slot.part) {
                // The first bit of bytes is zero.
                (Kind::Bytes { .. }, _) => number % 256,
                (Kind::Position { .. }, _) => number % (codes.last + 1),
                _ => match number % (codes.last + 1 + reserved) {
                    code if code <= codes.last => code,
                    beyond => codes.absent() - (beyond - codes.last - 1),
                },
            };
            trial::messages::put(&mut bytes, slot.offset, slot.bits, code.into());
        }
        cases.push(Case { message: index, port: message.port, bytes });
    }
    cases.push(Case {
        message: index,
        port: message.port,
        bytes: trial::messages::all_absent(message, Form::Full),
    });
    without_meaning(cases, index, message);
}

/// Codes that mean nothing, one field at a time; all of them up to ten bits, else the first and last.
fn without_meaning(cases: &mut Vec<Case>, index: usize, message: &Message) {
    for slot in message.layout(Form::Full).slots {
        let field = &message.fields[slot.field];
        if matches!(field.kind, Kind::Bytes { .. }) {
            continue;
        }
        let last = field.codes(slot.part).last;
        let meaningless = |code: &u32| !trial::messages::means_something(field, slot.part, *code);
        let candidates = last..last.saturating_add(1024).min(field.codes(slot.part).absent());
        for code in candidates.filter(meaningless) {
            let mut bytes = trial::messages::all_absent(message, Form::Full);
            trial::messages::put(&mut bytes, slot.offset, slot.bits, code.into());
            cases.push(Case { message: index, port: message.port, bytes });
        }
    }
}

/// Patterns of bits that a short message with a history can have, spare bits zero; all of them up to 14 bits.
fn every_pattern(cases: &mut Vec<Case>, index: usize, message: &Message) {
    let layout = message.layout(Form::Full);
    assert!(layout.bits <= 26, "{} has few enough patterns", message.name);
    let stride = if layout.bits > 16 {
        8191
    } else if layout.bits > 14 {
        3
    } else {
        1
    };
    for pattern in (0..1_u64 << layout.bits).step_by(stride) {
        let mut bytes = vec![0; layout.bytes];
        trial::messages::put(&mut bytes, 0, layout.bits, pattern);
        cases.push(Case { message: index, port: message.port, bytes });
    }
}

/// Edges of every field alone, then all fields at random together.
fn wide(cases: &mut Vec<Case>, index: usize, message: &Message, count: usize) {
    let mut dice = Dice(notes::seed(0));
    let layout = message.layout(Form::Full);
    for round in 0..count {
        let mut bytes = trial::messages::all_absent(message, Form::Full);
        for slot in &layout.slots {
            let field = &message.fields[slot.field];
            let codes = field.codes(slot.part);
            let code = match (&field.kind, round) {
                (Kind::Bytes { .. }, _) => dice.below(1 << 40),
                (_, 0) => 0,
                (_, 1) => 1,
                (_, 2) => codes.last.into(),
                (_, 3) => u64::from(codes.last) - 1,
                (_, 4) => codes.below().unwrap_or(0).into(),
                (_, 5) => codes.above().unwrap_or(0).into(),
                (_, 6) => (codes.last / 2).into(),
                (_, round @ 7..40) => (1_u64 << (round - 7)).min(codes.last.into()),
                _ => dice.below(u64::from(codes.last) + 1),
            };
            trial::messages::put(&mut bytes, slot.offset, slot.bits, code);
        }
        cases.push(Case { message: index, port: message.port, bytes });
    }
    without_meaning(cases, index, message);
}

/// What is cut off, too long, on another port, of another version, or has spare bits set.
fn damaged(cases: &mut Vec<Case>, index: usize, message: &Message, dice: &mut Dice) {
    for form in message.forms() {
        let port = message.port_of(form).expect("the form is there");
        let good = trial::messages::all_absent(message, form);
        let mut bad = |port, bytes| cases.push(Case { message: index, port, bytes });
        for length in 0..good.len() {
            bad(port, good[..length].to_vec());
        }
        bad(port, [good.as_slice(), &[0]].concat());
        bad(port, [good.as_slice(), &[255; 40]].concat());
        bad(0, good.clone());
        bad(224, good.clone());
        for bit in 0..8 * good.len() {
            let mut bytes = good.clone();
            bytes[bit / 8] ^= 0x80 >> (bit % 8);
            bad(port, bytes);
        }
        for _ in 0..50 {
            bad(port, good.iter().map(|_| dice.below(256) as u8).collect());
        }
    }
}

#[test]
fn random_specifications_mean_the_same_in_every_language() {
    let mut dice = Dice(notes::seed(0xa110_c0de));
    let messages = trial::messages::with_messages(&random::specification(&mut dice, 24));
    let mut cases = Vec::new();
    for (index, message) in messages.iter().enumerate() {
        damaged(&mut cases, index, message, &mut dice);
        for form in message.forms() {
            (0..100).for_each(|_| cases.push(random::case(index, message, form, &mut dice)));
        }
    }
    compare(&messages, &cases);
}

/// Runs every language that is there and compares each answer with the interpreter's.
fn compare(messages: &[Message], cases: &[Case]) {
    let codecs: Vec<Codec> = messages.iter().map(Codec::new).collect();
    let mut readings = Vec::new();
    let expected: Vec<Said> = cases.iter().map(|case| Said::of(&codecs, case, &mut readings)).collect();
    let read = expected.iter().filter(|said| **said != Said::Refused).count();
    let refused = cases.len() - read;
    assert!(read > 2_000 && refused > 2_000, "many cases mean something and many do not: {read}, {refused}");
    let input: String = cases.iter().map(|case| case.line() + "\n").collect();
    let all = All { messages, cases, expected: &expected, input: &input };
    std::thread::scope(|threads| {
        for language in [All::javascript, All::python, All::rust, All::c] {
            let all = &all;
            threads.spawn(move || language(all));
        }
    });
}

struct All<'a> {
    messages: &'a [Message],
    cases: &'a [Case],
    expected: &'a [Said],
    input: &'a str,
}

impl All<'_> {
    fn text(&self, ending: &str) -> String {
        trial::text_of(&trial::kit_of(self.messages), ending)
    }

    /// Runs `check` with the cases for which `keep` holds; it is given their numbers, too.
    fn some(&self, keep: impl Fn(usize, &Case) -> bool, check: impl FnOnce(&All)) {
        let kept = self
            .cases
            .iter()
            .zip(self.expected)
            .enumerate()
            .filter(|(number, (case, _))| keep(*number, case));
        let (cases, expected): (Vec<Case>, Vec<Said>) =
            kept.map(|(_, (case, said))| (case.clone(), said.clone())).unzip();
        let input: String = cases.iter().map(|case| case.line() + "\n").collect();
        check(&All { messages: self.messages, cases: &cases, expected: &expected, input: &input });
    }

    fn javascript(&self) {
        // The small engine takes half a millisecond for a case; every code of every field is another test.
        for (engine, every) in [("node", 1), ("duk", 311)].into_iter().filter(|(engine, _)| is_there(engine))
        {
            self.some(
                |number, _| number % every == 0,
                |part| {
                    let program = driver::javascript(&self.text(".js"), self.messages, part.input);
                    let folder = folder(&[("kit.js", &program)]);
                    part.check(engine, &run(folder.path(), engine, &["kit.js"], ""));
                },
            );
        }
    }

    fn python(&self) {
        if !is_there("python3") {
            return;
        }
        let folder = folder(&[("kit.py", &self.text(".py")), ("main.py", &driver::python(self.messages))]);
        let check =
            |part: &All| part.check("Python", &run(folder.path(), "python3", &["main.py"], part.input));
        // Copies of messages are there for the encoder of JavaScript; Python has none.
        self.some(|_, case| !self.messages[case.message].name.ends_with("_down"), check);
    }

    fn rust(&self) {
        // The compiler that cargo uses is the one of this folder.
        let rustc = "rustc";
        let alone = "#![no_std]\npub mod kit;\n";
        let folder = folder(&[
            ("kit.rs", &self.text(".rs")),
            ("alone.rs", alone),
            ("main.rs", &driver::rust(self.messages)),
        ]);
        let warned = ["--edition", "2024", "-D", "warnings"];
        run(
            folder.path(),
            rustc,
            &[&warned[..], &["--crate-type", "lib", "--emit", "metadata", "alone.rs"]].concat(),
            "",
        );
        run(folder.path(), rustc, &["--edition", "2024", "-C", "opt-level=0", "main.rs"], "");
        let program = folder.path().join("main");
        let program = program.to_str().expect("the path is text");
        self.check("Rust", &run(folder.path(), program, &[], self.input));
    }

    fn c(&self) {
        if !is_there("gcc") {
            return;
        }
        let conversions = conversions(self.messages);
        let names: Vec<(String, bool)> = conversions.iter().map(|one| (one.function(), one.wide)).collect();
        let folder = folder(&[("kit.h", &self.text(".h")), ("main.c", &driver::c(self.messages, &names))]);
        compile(folder.path(), &["-o", "fixed", "main.c"]);
        compile(folder.path(), &["-DTEST_REAL", "-o", "real", "main.c"]);
        let program = |name: &str| folder.path().join(name).to_str().expect("the path is text").to_owned();
        self.check("C with double", &run(folder.path(), &program("real"), &[], self.input));
        let integers: Vec<Said> = self
            .cases
            .iter()
            .zip(self.expected)
            .map(|(case, said)| in_parts(self.messages, case, said))
            .collect();
        All { expected: &integers, ..*self }
            .check("C in integers", &run(folder.path(), &program("fixed"), &[], self.input));
        check_conversions(folder.path(), &program("fixed"), &conversions);
    }

    fn check(&self, language: &str, lines: &[String]) {
        assert_eq!(lines.len(), self.cases.len(), "{language} answers every case once");
        for ((case, expected), line) in self.cases.iter().zip(self.expected).zip(lines) {
            let message = &self.messages[case.message];
            assert!(
                !line.contains(driver::PACKED_DIFFERENTLY),
                "{language}: {} {line}\n{message:#?}",
                case.line()
            );
            assert_eq!(&Said::parse(line), expected, "{language}: {} said {line}\n{message:#?}", case.line());
        }
    }
}

/// The header must not wake a single warning, nor the sanitizers.
fn compile(folder: &Path, more: &[&str]) {
    let flags = [
        "-std=c99",
        "-Wall",
        "-Wextra",
        "-Wpedantic",
        "-Wconversion",
        "-Werror",
        "-O1",
        "-fsanitize=undefined,address",
        "-fno-sanitize-recover=all",
    ];
    run(folder, "gcc", &[&flags[..], more].concat(), "");
}

/// What the firmware's integers are where the interpreter has a double: exact values in parts, half away from zero.
fn in_parts(messages: &[Message], case: &Case, said: &Said) -> Said {
    let Said::Read { outside, values } = said else { return Said::Refused };
    let message = &messages[case.message];
    let form = message
        .forms()
        .into_iter()
        .find(|form| message.port_of(*form) == Some(case.port))
        .expect("it was read");
    let slots = message.layout(form).slots;
    let of = |(slot, value): (&design::message::Slot, &Value)| {
        let field = &message.fields[slot.field];
        let scale = match (&field.kind, slot.part) {
            (Kind::Number { scale, .. } | Kind::Time { scale, .. }, _) => *scale,
            (Kind::Position { longitude, .. }, Part::Longitude) => *longitude,
            (Kind::Position { latitude, .. }, _) => *latitude,
            _ => return value.clone(),
        };
        let Value::Number(bits) = value else { return value.clone() };
        let exact = f64::from_bits(*bits) * scale.denominator as f64;
        // The double lies so near that its numerator can't be another integer.
        let numerator = exact.round() as i128 * i128::from(scale.per_unit);
        let denominator = i128::from(scale.denominator);
        let rounded = (2 * numerator.abs() + denominator) / (2 * denominator) * numerator.signum();
        Value::Number(trial::bits(rounded as f64))
    };
    Said::Read { outside: *outside, values: slots.iter().zip(values).map(of).collect() }
}

/// A function from the firmware's integers to a code.
struct Conversion<'a> {
    name: String,
    wide: bool,
    message: &'a Message,
    slot: usize,
}

impl Conversion<'_> {
    fn function(&self) -> String {
        let place = self.message.layout(Form::Full).slots[self.slot];
        let field = &self.message.fields[place.field];
        driver::in_c(field, place.part, &format!("winter_code_{}", self.name))
    }
}

fn conversions(messages: &[Message]) -> Vec<Conversion<'_>> {
    let mut found = Vec::new();
    for message in messages {
        for (slot, place) in message.layout(Form::Full).slots.iter().enumerate() {
            let field = &message.fields[place.field];
            let suffix = match (&field.kind, place.part) {
                (Kind::Number { .. } | Kind::Time { .. }, Part::Value) => "",
                (Kind::Position { .. }, Part::Latitude) => "_latitude",
                (Kind::Position { .. }, _) => "_longitude",
                _ => continue,
            };
            let name = format!("{}_{}{suffix}", message.name, field.name);
            let header = trial::text_of(&trial::kit_of(messages), ".h");
            let wide = is_wide(&header, &name);
            found.push(Conversion { name, wide, message, slot });
        }
    }
    found
}

/// Whether the function takes 64 bits, plain or with what its value is multiplied by at the end of its name.
fn is_wide(header: &str, name: &str) -> bool {
    let line = header.lines().find(|line| {
        let function = line.split_once(&format!("winter_code_{name}"));
        line.starts_with("static inline uint32_t")
            && function.is_some_and(|(_, rest)| rest.starts_with(['(', ',']))
    });
    line.expect("every number has its function").contains("winter_inner_wide")
}

/// Integers around and inside every range: the code is the one that the definition says, by comparing distances.
fn check_conversions(folder: &Path, program: &str, conversions: &[Conversion]) {
    let mut input = String::new();
    let mut expected = Vec::new();
    for (index, conversion) in conversions.iter().enumerate() {
        let place = conversion.message.layout(Form::Full).slots[conversion.slot];
        let field = &conversion.message.fields[place.field];
        for parts in interesting_parts(field, place.part) {
            writeln!(input, "code {index} {parts}").expect("a string takes everything");
            expected.push((index, parts, nearest(field, place.part, parts)));
        }
    }
    let lines = run(folder, program, &[], &input);
    assert_eq!(lines.len(), expected.len());
    for ((index, parts, code), line) in expected.iter().zip(&lines) {
        assert_eq!(line.parse(), Ok(*code), "{} of {parts}", conversions[*index].name);
    }
}

fn scale_of(field: &design::message::Field, part: Part) -> design::message::Scale {
    match (&field.kind, part) {
        (Kind::Position { longitude, .. }, Part::Longitude) => *longitude,
        (Kind::Position { latitude, .. }, _) => *latitude,
        (Kind::Number { scale, .. } | Kind::Time { scale, .. } | Kind::Counter { scale, .. }, _) => *scale,
        _ => panic!("{} has no scale", field.name),
    }
}

fn interesting_parts(field: &design::message::Field, part: Part) -> Vec<i64> {
    let scale = scale_of(field, part);
    let last = field.codes(part).last;
    let at = |code: u32| (scale.value(code) * f64::from(scale.per_unit)) as i64;
    let margin = (at(1) - at(0)).max(3);
    let (low, high) = (at(0) - 2 * margin, at(last) + 2 * margin);
    let widest = i64::from(i32::MAX) - 1;
    let mut parts = vec![-widest, widest, 0, -1, 1];
    if high - low < 20_000 {
        parts.extend(low..=high);
    } else {
        let mut dice = Dice(low.unsigned_abs());
        parts.extend((low..low + 4 * margin.min(200)).chain(high - 4 * margin.min(200)..high));
        parts.extend((0..3_000).map(|_| low + dice.below((high - low).unsigned_abs()) as i64));
    }
    parts
}

/// The code whose value is nearest by comparing the exact distances, ties to the value farther from zero.
fn nearest(field: &design::message::Field, part: Part, parts: i64) -> u32 {
    let scale = scale_of(field, part);
    let codes = field.codes(part);
    // Everything times denominator and per_unit: |code * n * u + o * u - parts * d|.
    let unit = i128::from(scale.per_unit);
    let value = |code: i128| (code * i128::from(scale.numerator) + i128::from(scale.offset)) * unit;
    let wanted = i128::from(parts) * i128::from(scale.denominator);
    let guess = (wanted - value(0)) / (value(1) - value(0));
    // Halves go away from zero; zero itself, half-way between two, goes up.
    let by_distance = |code: &i128| ((value(*code) - wanted).abs(), -value(*code).abs(), -*code);
    let code = (guess - 2..=guess + 2).min_by_key(by_distance).expect("five candidates");
    if let Kind::Position { .. } = field.kind {
        let bound = if part == Part::Longitude { 180 } else { 90 } * i128::from(scale.per_unit);
        let inside = i128::from(parts).abs() <= bound && (0..=codes.last.into()).contains(&code);
        return if inside { code as u32 } else { codes.absent() };
    }
    if code < 0 {
        codes.below().expect("numbers and times saturate")
    } else if code > codes.last.into() {
        codes.above().expect("numbers and times saturate")
    } else {
        code as u32
    }
}

#[test]
fn messages_to_the_node_are_among_the_cases() {
    let messages = trial::messages::with_messages(SPECIFICATIONS);
    assert_eq!(messages.iter().filter(|message| message.direction == Direction::Down).count(), 3);
}
