//! Small programs around the generated files that read cases and print what they say.

use std::fmt::Write as _;

use design::message::{Direction, Field, Form, Kind, Message, Part};

/// What the program in C says where packing what was unpacked gives other bytes.
pub(crate) const PACKED_DIFFERENTLY: &str = " packed differently";

/// Names of the readings of a form, as the generated files call them, with the place in line of earlier ones.
fn readings(message: &Message, form: Form) -> Vec<(&Field, Part, String)> {
    message
        .fields
        .iter()
        .filter(|field| message.carries(form, field))
        .flat_map(|field| field.parts(form).into_iter().map(move |part| (field, part)))
        .map(|(field, part)| {
            let name = &field.name;
            let called = match part {
                Part::Value => name.clone(),
                Part::Latitude => format!("{name}_latitude"),
                Part::Longitude => format!("{name}_longitude"),
                Part::Earlier(index) => format!("{name}_earlier[{index}]"),
            };
            (field, part, called)
        })
        .collect()
}

/// JavaScript of the fifth edition: the cases are in the program, for not every engine reads files.
pub(crate) fn javascript(codec: &str, messages: &[Message], cases: &str) -> String {
    let mut program = codec.to_owned();
    program.push_str("\nvar say = typeof print === 'function' ? print : console.log;\n");
    program.push_str("function show(x) { return x === null ? '-' : typeof x === 'number' ? String(x) : '=' + x; }\nvar NAMES = {\n");
    for (index, message) in messages.iter().enumerate() {
        for form in message.forms() {
            let accesses: Vec<String> =
                readings(message, form).iter().map(|(_, _, name)| format!("show(d.{name})")).collect();
            writeln!(
                program,
                "'{index} {}': function (d) {{ return [{}].join(' '); }},",
                message.port_of(form).expect("the form is there"),
                accesses.join(", ")
            )
            .expect("a string takes everything");
        }
    }
    let down: Vec<String> =
        messages.iter().map(|message| format!("{}", message.direction == Direction::Down)).collect();
    let names: Vec<String> = messages.iter().map(|message| format!("'{}'", message.name)).collect();
    let full: Vec<String> = messages.iter().map(|message| message.port.to_string()).collect();
    write!(
        program,
        "'': null }};\nvar DOWN = [{}], CALLED = [{}], FULL = [{}];\nvar CASES = '{}'.split(',');\n{}",
        down.join(", "),
        names.join(", "),
        full.join(", "),
        cases.trim().replace('\n', ","),
        JAVASCRIPT
    )
    .expect("a string takes everything");
    program
}

/// A message to the node is encoded again; where nothing was outside its range, the bytes must be the same.
const JAVASCRIPT: &str = r"
var out = [];
CASES.forEach(function (line) {
  var words = line.split(' '), index = +words[0], hex = words[2] === '-' ? '' : words[2], bytes = [], i, said, again;
  for (i = 0; i < hex.length; i += 2) { bytes.push(parseInt(hex.substr(i, 2), 16)); }
  said = (DOWN[index] ? decodeDownlink : decodeUplink)({ bytes: bytes, fPort: +words[1], recvTime: null });
  if (said.errors.length > 0) { if (said.data !== undefined) { throw new Error('data beside errors'); } out.push('!'); return; }
  out.push(said.warnings.length + ' ' + NAMES[words[0] + ' ' + words[1]](said.data));
  if (DOWN[index] && said.warnings.length === 0 && +words[1] === FULL[index]) {
    said.data.message = CALLED[index];
    again = encodeDownlink({ data: said.data });
    if (Object.keys(said.data).every(function (name) { return name === 'message' || [].concat(said.data[name]).join('') === ''; })) {
      if (again.bytes !== undefined || !/would change nothing/.test(again.errors[0])) { throw new Error(line + ' says nothing and is sent'); }
      return;
    }
    if (again.errors.length > 0) { throw new Error(line + ': ' + again.errors[0]); }
    if (again.fPort !== +words[1] || again.bytes.join() !== bytes.join()) { throw new Error(line + ' became ' + again.bytes.join()); }
  }
});
say(out.join('\n'));
";

/// JavaScript that tries every code of these fields (message and field) by itself and prints a sum for each 4096 of them,
/// with message and field in front; what a message to the node says is encoded again. The driver may use more than the
/// fifth edition, the codec may not.
pub(crate) fn javascript_of_every_code(codec: &str, fields: &[String]) -> String {
    format!("{codec}\nvar FIELDS = ['{}'];{EVERY_CODE}", fields.join("', '"))
}

const EVERY_CODE: &str = r"
var f64 = new Float64Array(1), u32 = new Uint32Array(f64.buffer);
function weight(field, value) {
  if (value === null) { return 1; }
  if (typeof value === 'boolean') { return value ? 3 : 2; }
  if (field.kind === 'choice') { return 16 + field.words.indexOf(value); }
  if (field.kind === 'bytes') { return 512 + parseInt(value, 16); }
  f64[0] = value + 0;
  return u32[0] * 7 + u32[1];
}
function said(form, field, parts, code) {
  var bytes = [], again = [], data = {}, warnings = [], total = 0;
  while (bytes.length < form.bytes) { bytes.push(255); again.push(0); }
  parts.forEach(function (part) {
    var bit, mask = allOnes(part.bits);
    for (bit = part.offset; bit < part.offset + part.bits; bit += 1) { bytes[bit >> 3] &= ~(0x80 >> bit % 8); }
    putCode(bytes, part.offset, part.bits, code & mask);
  });
  try {
    decodeField(field, bytes, data, warnings);
  } catch (error) {
    if (!error.reason) { throw error; }
    return 4;
  }
  parts.forEach(function (part) { total += weight(field, data[part.name]); });
  if (form.direction === 'down' && warnings.length === 0) {
    encodeField(field, data, again);
    parts.forEach(function (part) {
      if (codeAt(again, part.offset, part.bits) !== (code & allOnes(part.bits))) { throw new Error(part.name + ' ' + code + ' is encoded otherwise'); }
    });
  }
  return total + 11 * warnings.length;
}
FORMS.forEach(function (form) {
  form.fields.forEach(function (field) {
    var parts = field.parts || [field], widest = 0, code, sum = 0;
    var called = form.message + ' ' + (field.parts ? field.parts[0].name.replace(/_latitude$/, '') : field.name);
    if (FIELDS.indexOf(called) < 0) { return; }
    parts.forEach(function (part) { widest = Math.max(widest, part.bits); });
    for (code = 0; code < 1 << widest; code += 1) {
      sum = (sum * 31 + said(form, field, parts, code)) % 4294967291;
      if (code % 4096 === 4095 || code + 1 === 1 << widest) { print(called + ' ' + code + ' ' + sum); }
    }
  });
});
";

/// Python.
pub(crate) fn python(messages: &[Message]) -> String {
    let mut program = "import sys\nimport kit\n\ndef show(x):\n    if x is None:\n        return '-'\n    if isinstance(x, bool):\n        return '=' + str(x).lower()\n    if isinstance(x, bytes):\n        return '=' + x.hex()\n    return '=' + x if isinstance(x, str) else repr(x)\n\nNAMES = {\n".to_owned();
    for (index, message) in messages.iter().enumerate() {
        for form in message.forms() {
            let accesses: Vec<String> = readings(message, form)
                .iter()
                .map(|(_, _, name)| match name.split_once('[') {
                    Some((name, place)) => format!("d['{name}'][{place}"),
                    None => format!("d['{name}']"),
                })
                .collect();
            writeln!(
                program,
                "    ({index}, {}): lambda d: [{}],",
                message.port_of(form).expect("the form is there"),
                accesses.join(", ")
            )
            .expect("a string takes everything");
        }
    }
    let down: Vec<&str> = messages
        .iter()
        .map(|message| if message.direction == Direction::Down { "True" } else { "False" })
        .collect();
    write!(
        program,
        "}}\nDOWN = [{}]\nfor line in sys.stdin:\n    index, port, text = line.split()\n    index, port = int(index), int(port)\n    data = bytes.fromhex('' if text == '-' else text)\n    try:\n        decode = kit.decode_downlink if DOWN[index] else kit.decode_uplink\n        _, values, warnings = decode(port, data)\n        print(len(warnings), *map(show, NAMES[index, port](values)))\n    except kit.NotAMessage:\n        print('!')\n",
        down.join(", ")
    )
    .expect("a string takes everything");
    program
}

/// Rust; the generated file is a module without the standard library's help.
pub(crate) fn rust(messages: &[Message]) -> String {
    let mut program = "mod kit;\nuse std::fmt::Write as _;\nuse std::io::{Read as _, Write as _};\nuse kit::State;\n\nstruct Out { outside: usize, text: String }\nimpl Out {\n    fn number(&mut self, r: kit::Reading) { if matches!(r.state, State::Below | State::Above) { self.outside += 1; }\n        match r.value() { None => self.text.push_str(\" -\"), Some(v) => write!(self.text, \" {v:?}\").unwrap() } }\n    fn word(&mut self, w: Option<String>) { match w { None => self.text.push_str(\" -\"), Some(w) => write!(self.text, \" ={w}\").unwrap() } }\n}\n\nfn decode(index: usize, port: u8, bytes: &[u8], out: &mut Out) -> Result<(), kit::Error> {\n    match index {\n".to_owned();
    for (index, message) in messages.iter().enumerate() {
        writeln!(
            program,
            "        {index} => {{ let m = kit::{}::Message::decode(port, bytes)?;",
            message.name
        )
        .expect("text");
        for form in message.forms() {
            write!(program, "            if port == {} {{ ", message.port_of(form).expect("text"))
                .expect("text");
            for (field, _, name) in readings(message, form) {
                match field.kind {
                    Kind::Flag => write!(program, "out.word(m.{name}.map(|w| w.to_string())); "),
                    Kind::Choice { .. } => write!(program, "out.word(m.{name}.map(str::to_owned)); "),
                    Kind::Bytes { .. } => write!(
                        program,
                        "out.word(m.{name}.map(|b| b.iter().map(|o| format!(\"{{o:02x}}\")).collect())); "
                    ),
                    _ => write!(program, "out.number(m.{name}); "),
                }
                .expect("text");
            }
            program.push_str("}\n");
        }
        program.push_str("        }\n");
    }
    program.push_str("        _ => unreachable!(),\n    }\n    Ok(())\n}\n\nfn main() {\n    let mut input = String::new();\n    std::io::stdin().read_to_string(&mut input).unwrap();\n    let mut all = String::new();\n    for line in input.lines() {\n        let w: Vec<&str> = line.split(' ').collect();\n        let hex = if w[2] == \"-\" { \"\" } else { w[2] };\n        let bytes: Vec<u8> = (0..hex.len() / 2).map(|i| u8::from_str_radix(&hex[2 * i..2 * i + 2], 16).unwrap()).collect();\n        let mut out = Out { outside: 0, text: String::new() };\n        match decode(w[0].parse().unwrap(), w[1].parse().unwrap(), &bytes, &mut out) {\n            Ok(()) => writeln!(all, \"{}{}\", out.outside, out.text).unwrap(),\n            Err(_) => all.push_str(\"!\\n\"),\n        }\n    }\n    std::io::stdout().write_all(all.as_bytes()).unwrap();\n}\n");
    program
}

/// C: unpacks, prints, and packs again, which must give the same bytes where nothing was outside its range. Lines that
/// begin with `code` ask for the code of a value instead.
pub(crate) fn c(messages: &[Message], conversions: &[(String, bool)]) -> String {
    let mut program = C_BEGIN.to_owned();
    for (index, message) in messages.iter().enumerate() {
        let name = &message.name;
        let upper = name.to_uppercase();
        writeln!(program, "static void decode_{index}(uint8_t port, const uint8_t *bytes, size_t length)\n{{\n    struct winter_{name} m;\n    uint8_t again[256];\n    const int outside = winter_unpack_{name}(&m, port, bytes, length);\n    if (outside < 0) {{ puts(\"!\"); return; }}\n    printf(\"%d\", outside);").expect("text");
        for form in message.forms() {
            let short = if form == Form::Short { "SHORT_" } else { "" };
            writeln!(program, "    if (port == WINTER_{short}PORT_{upper}) {{").expect("text");
            for (field, part, at) in readings(message, form) {
                print_reading(&mut program, field, part, &at);
            }
            let pack = short.to_lowercase();
            writeln!(program, "        if (outside == 0) {{\n            if (winter_{pack}pack_{name}(&m, again) != 0u || memcmp(again, bytes, length) != 0) {{ printf(\"{PACKED_DIFFERENTLY}\"); }}\n        }}\n    }}").expect("text");
        }
        program.push_str("    puts(\"\");\n}\n");
    }
    program.push_str("static uint32_t code(unsigned index, long long parts)\n{\n    switch (index) {\n");
    for (index, (name, wide)) in conversions.iter().enumerate() {
        let kind = if *wide { "winter_inner_wide" } else { "winter_inner_number" };
        writeln!(program, "    case {index}: return {name}(({kind})parts);").expect("text");
    }
    program.push_str("    default: return (uint32_t)parts;\n    }\n}\ntypedef void (*decoder)(uint8_t, const uint8_t *, size_t);\nstatic const decoder decoders[] = {");
    for index in 0..messages.len() {
        write!(program, "decode_{index}, ").expect("text");
    }
    program.push_str("};\n");
    program.push_str(C_END);
    program
}

fn print_reading(program: &mut String, field: &Field, part: Part, at: &str) {
    let line = match &field.kind {
        Kind::Counter { scale, .. } => format!(
            "        if (m.{at} == WINTER_ABSENT_COUNT) {{ printf(\" -\"); }} else {{ printf(\" %.17g\", (double)((int64_t)m.{at} * INT64_C({})) / (double)INT64_C({})); }}",
            scale.numerator, scale.denominator
        ),
        Kind::Flag => format!(
            "        printf(\" %s\", m.{at} == WINTER_ABSENT_WORD ? \"-\" : m.{at} ? \"=true\" : \"=false\");"
        ),
        Kind::Choice { words } => {
            let words: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
            format!(
                "        {{ static const char *const words[] = {{ {} }}; printf(\" %s%s\", m.{at} == WINTER_ABSENT_WORD ? \"-\" : \"=\", m.{at} == WINTER_ABSENT_WORD ? \"\" : words[m.{at}]); }}",
                words.join(", ")
            )
        }
        Kind::Bytes { length } => format!(
            "        if (!m.{at}.present) {{ printf(\" -\"); }} else {{ int i; printf(\" =\"); for (i = 0; i < {length}; ++i) {{ printf(\"%02x\", (unsigned)m.{at}.octets[i]); }} }}"
        ),
        _ => {
            let at = in_c(field, part, at);
            format!("        SHOW(m.{at});")
        }
    };
    program.push_str(&line);
    program.push('\n');
}

/// A member's name, which ends in C with what its value is multiplied by.
pub(crate) fn in_c(field: &Field, part: Part, name: &str) -> String {
    let part = if matches!(part, Part::Earlier(_)) { Part::Value } else { part };
    let (name, index) =
        name.split_once('[').map_or((name, String::new()), |(name, rest)| (name, format!("[{rest}")));
    match field.scale(part).map(|scale| scale.per_unit) {
        Some(parts) if parts > 1 => format!("WINTER_SCALED({name}, {parts}){index}"),
        _ => format!("{name}{index}"),
    }
}

const C_BEGIN: &str = r#"#ifdef TEST_REAL
#define WINTER_REAL double
#endif
#include "kit.h"
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#ifdef TEST_REAL
#define SHOW(value) do { if ((value) != (value)) { printf(" -"); } else { printf(" %.17g", (value)); } } while (0)
#else
#define SHOW(value) do { if ((int64_t)(value) == INT32_MIN || (int64_t)(value) == INT64_MIN) { printf(" -"); } else { printf(" %lld", (long long)(value)); } } while (0)
#endif
"#;

const C_END: &str = r#"
int main(void)
{
    static char line[2048];
    while (fgets(line, (int)sizeof line, stdin) != NULL) {
        unsigned index;
        unsigned port;
        int begin = 0;
        uint8_t bytes[1024];
        size_t length = 0;
        if (strncmp(line, "code ", 5) == 0) {
            char *rest;
            const unsigned long which = strtoul(line + 5, &rest, 10);
            printf("%lu\n", (unsigned long)code((unsigned)which, strtoll(rest, NULL, 10)));
            continue;
        }
        if (sscanf(line, "%u %u %n", &index, &port, &begin) != 2) { return 1; }
        for (; line[begin] != '\n' && line[begin] != '-' && line[begin] != 0; begin += 2) {
            char pair[3] = { line[begin], line[begin + 1], 0 };
            bytes[length++] = (uint8_t)strtoul(pair, NULL, 16);
        }
        decoders[index]((uint8_t)port, bytes, length);
    }
    return 0;
}
"#;
