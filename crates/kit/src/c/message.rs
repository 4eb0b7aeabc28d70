//! One message in C: struct, codes of its values, pack and unpack.

use design::message::{Direction, Field, Form, Kind, Message, Part, Scale, Version};

use super::{member, scaled, value_type};
use crate::arithmetic::{ToCode, ToParts};
use crate::kit::Kit;
use crate::place::{CodePosition, places, reading_name};
use crate::words::{line, remark};

pub(super) fn write(text: &mut String, kit: &Kit, message: &Message) {
    heading(text, message);
    declare(text, kit, message);
    for field in &message.fields {
        for part in field.parts(Form::Short) {
            if let Some(scale) = field.scale(part).filter(|_| !is_counter(field)) {
                conversions(text, message, field, part, scale);
            }
        }
    }
    absent(text, message);
    for form in message.forms() {
        pack(text, message, form);
    }
    unpack(text, message);
    form_at(text, message);
}

fn is_counter(field: &Field) -> bool {
    matches!(field.kind, Kind::Counter { .. })
}

fn heading(text: &mut String, message: &Message) {
    let name = &message.name;
    let way = match message.direction {
        Direction::Up => "from the node",
        Direction::Down => "to the node",
    };
    line(text, format_args!("\n/* {name}, {way}. {} */", remark(&message.title)));
    let upper = name.to_uppercase();
    for form in message.forms() {
        let short = short_upper(form);
        let port = message.port_of(form).unwrap_or_default();
        line(text, format_args!("#define WINTER_{short}PORT_{upper} {port}u"));
        line(text, format_args!("#define WINTER_{short}BYTES_{upper} {}u", message.layout(form).bytes));
    }
    for field in &message.fields {
        if let Kind::Choice { words } = &field.kind {
            for (code, word) in words.iter().enumerate() {
                let full = format!("{name}_{}_{word}", field.name).to_uppercase();
                line(text, format_args!("#define WINTER_WORD_{full} {code}u"));
            }
        }
    }
}

fn declare(text: &mut String, kit: &Kit, message: &Message) {
    line(text, format_args!("struct winter_{} {{", message.name));
    for field in &message.fields {
        let sets =
            kit.setting(field).map_or_else(String::new, |sets| format!("; {}", remark(&sets.remark())));
        let carries = kit.recording(message, field).map_or_else(String::new, |says| format!("; {says}"));
        line(text, format_args!("    /* {}{sets}{carries} */", described(field)));
        for member in field.parts(Form::Full).into_iter().filter_map(|part| member(field, part)) {
            line(text, format_args!("    {member};"));
        }
    }
    text.push_str("};\n");
}

/// What a person who fills the struct has to know.
fn described(field: &Field) -> String {
    let unit = remark(&field.unit);
    let number = |scale: Scale, last: u32| {
        let (low, high) = (scale.value(0), scale.value(last));
        format!(
            "[{unit}], {low} to {high} in steps of {}{}",
            scale.step(),
            multiplied(scale, &unit, low, high)
        )
    };
    let what = match &field.kind {
        Kind::Number { scale, last, .. } => number(*scale, *last),
        Kind::Time { scale, last, .. } => format!("seconds since 1970-01-01 UTC: {}", number(*scale, *last)),
        Kind::Counter { scale, count_bits } => {
            format!(
                "all counts since ever, sent modulo 2^{count_bits}; one count is {} [{unit}]",
                scale.step()
            )
        }
        Kind::Flag => "0 no, 1 yes".to_owned(),
        Kind::Choice { .. } => "one of WINTER_WORD_*".to_owned(),
        Kind::Position { latitude, .. } => {
            format!("degrees north and east{}", multiplied(*latitude, "deg", -90.0, 90.0))
        }
        Kind::Bytes { .. } => "bytes as they are; set present to 1".to_owned(),
    };
    let title = if field.title.is_empty() { String::new() } else { format!("{}: ", remark(&field.title)) };
    let earlier = if field.history.is_some() { "; earlier readings, newest first" } else { "" };
    format!("{title}{what}{earlier}")
}

/// An example, where the firmware multiplies; of a negative value where there is one, for that is where people slip.
fn multiplied(scale: Scale, unit: &str, low: f64, high: f64) -> String {
    let value = if low < 0.0 { low } else { high };
    match scale.per_unit {
        1 => String::new(),
        parts => format!("; times {parts}: {value} {unit} is {}", (value * f64::from(parts)).round()),
    }
}

/// The two functions between a value and its code.
fn conversions(text: &mut String, message: &Message, field: &Field, part: Part, scale: Scale) {
    let full = |does: &str| {
        scaled(&format!("winter_{does}_{}_{}", message.name, reading_name(field, part)), field, part)
    };
    let codes = field.codes(part);
    let absent = codes.absent();
    let (number, parts_type, wide) = value_type(field, part);
    let to = ToCode::of(field, part, scale);
    let (least, most) = (literal(to.least, wide), literal(to.most, wide));
    let lowest = if wide.is_empty() { "INT32_MIN" } else { "INT64_MIN" };
    line(text, format_args!("static inline uint32_t {}({number} value)\n{{", full("code")));
    line(
        text,
        format_args!(
            "    const {parts_type} parts = WINTER_PARTS{wide}(value, {}, {least}, {most});",
            scale.per_unit
        ),
    );
    let (below, above) = (codes.below().unwrap_or(absent), codes.above().unwrap_or(absent));
    for (condition, code) in [
        (format!("parts == {lowest}"), absent),
        (format!("parts < {least}"), below),
        (format!("parts > {most}"), above),
    ] {
        line(text, format_args!("    if ({condition}) {{\n        return {code}u;\n    }}"));
    }
    if to.reciprocal().is_some() {
        line(
            text,
            format_args!(
                "    /* Divided by {}: multiply and shift give the same for all these numbers. */",
                to.divisor
            ),
        );
    }
    line(text, format_args!("    return {};\n}}", code_of_parts(&to, &least)));
    line(text, format_args!("static inline {number} {}(uint32_t code)\n{{", full("value")));
    line(
        text,
        format_args!(
            "#ifdef WINTER_REAL\n    return ((WINTER_REAL)((int64_t)code * {} + {}) / (WINTER_REAL){});\n#else",
            literal(scale.numerator.cast_signed(), "_WIDE"),
            literal(scale.offset, "_WIDE"),
            literal(scale.denominator.cast_signed(), "_WIDE"),
        ),
    );
    parts_of_code(text, ToParts::of(scale), codes.last, parts_type);
    text.push_str("#endif\n}\n");
}

/// An integer constant, with its type if it is wide.
fn literal(number: i64, wide: &str) -> String {
    let digits = number.unsigned_abs();
    let digits = if wide.is_empty() { digits.to_string() } else { format!("INT64_C({digits})") };
    if number < 0 { format!("(-{digits})") } else { digits }
}

/// The unsigned type is the narrowest in which nothing wraps.
fn code_of_parts(to: &ToCode, least: &str) -> String {
    let (cast, suffix) =
        if to.largest() <= u128::from(u32::MAX) { ("uint32_t", "u") } else { ("uint64_t", "ull") };
    let mut sum = format!("(({cast})parts - ({cast}){least})");
    if to.factor != 1 {
        sum = format!("{sum} * {}{suffix}", to.factor);
    }
    if to.addend != 0 {
        sum = format!("{sum} + {}{suffix}", to.addend);
    }
    if to.ties {
        sum = format!("{sum} - ({cast})(parts < 0)");
    }
    if let Some((multiplier, shift)) = to.reciprocal() {
        sum = format!("(({sum}) * {multiplier}u) >> {shift}");
    } else if to.divisor != 1 {
        sum = format!("({sum}) / {}{suffix}", to.divisor);
    }
    format!("(uint32_t)({sum})")
}

fn parts_of_code(text: &mut String, to: ToParts, last: u32, parts_type: &str) {
    let ToParts { factor, offset, divisor } = to;
    let widest = i128::from(last) * i128::from(factor);
    if divisor == 1 && parts_type == "int32_t" && widest <= i128::from(i32::MAX) {
        let offset = literal(offset, "");
        line(text, format_args!("    return (int32_t)code * {factor} + {offset};"));
        return;
    }
    let (factor, offset) = (literal(factor, "_WIDE"), literal(offset, "_WIDE"));
    let parts = format!("(int64_t)code * {factor} + {offset}");
    if divisor == 1 {
        line(text, format_args!("    return ({parts_type})({parts});"));
        return;
    }
    let (half, divisor) = (literal(divisor / 2, "_WIDE"), literal(divisor, "_WIDE"));
    line(text, format_args!("    const int64_t parts = {parts};"));
    line(
        text,
        format_args!("    return ({parts_type})((parts < 0 ? parts - {half} : parts + {half}) / {divisor});"),
    );
}

fn absent(text: &mut String, message: &Message) {
    let name = &message.name;
    line(text, format_args!("static inline void winter_absent_{name}(struct winter_{name} *message)\n{{"));
    for field in &message.fields {
        for part in field.parts(Form::Full) {
            let value = match &field.kind {
                Kind::Counter { .. } => "WINTER_ABSENT_COUNT".to_owned(),
                Kind::Flag | Kind::Choice { .. } => "WINTER_ABSENT_WORD".to_owned(),
                Kind::Bytes { .. } => "0".to_owned(),
                _ => format!("WINTER_ABSENT{}", value_type(field, part).2),
            };
            let dot = if matches!(field.kind, Kind::Bytes { .. }) { ".present" } else { "" };
            line(text, format_args!("    message->{}{dot} = {value};", variable(field, part)));
        }
    }
    text.push_str("}\n");
}

/// The struct member of a part.
fn variable(field: &Field, part: Part) -> String {
    let name = scaled(&reading_name(field, part), field, part);
    if let Part::Earlier(index) = part { format!("{name}[{index}]") } else { name }
}

fn short_upper(form: Form) -> &'static str {
    if form == Form::Short { "SHORT_" } else { "" }
}

fn pack(text: &mut String, message: &Message, form: Form) {
    let name = &message.name;
    let (upper, short) = (short_upper(form), short_upper(form).to_lowercase());
    line(
        text,
        format_args!(
            "/* Fills WINTER_{upper}BYTES_{} bytes; returns how many readings lay outside their range. */\n\
             static inline unsigned winter_{short}pack_{name}(const struct winter_{name} *message, uint8_t *bytes)\n{{\n    \
             unsigned outside = 0;\n    winter_inner_clear(bytes, WINTER_{upper}BYTES_{});",
            name.to_uppercase(),
            name.to_uppercase()
        ),
    );
    if let Version::Bits { width, value } = message.version {
        line(text, format_args!("    winter_inner_put(bytes, 0, {width}, {value}u);"));
    }
    for place in places(message, form) {
        pack_place(text, message, place);
    }
    text.push_str("    return outside;\n}\n");
}

fn pack_place(text: &mut String, message: &Message, place: CodePosition) {
    let CodePosition { field, part, offset, bits } = place;
    let codes = field.codes(part);
    let (last, absent) = (codes.last, codes.absent());
    let at = variable(field, part);
    match (&field.kind, part) {
        (Kind::Bytes { length }, _) => line(
            text,
            format_args!(
                "    winter_inner_put_octets(bytes, {offset}, message->{at}.octets, {length}, message->{at}.present);"
            ),
        ),
        (Kind::Position { .. }, Part::Latitude) => {
            let east = codes_of(message, field, Part::Longitude);
            let north = codes_of(message, field, Part::Latitude);
            let (north_absent, east_absent) = (absent, field.codes(Part::Longitude).absent());
            let east_bits = field.codes(Part::Longitude).bits;
            line(
                text,
                format_args!(
                    "    {{\n        const uint32_t north = {north};\n        const uint32_t east = {east};\n        \
                     const int nowhere = north == {north_absent}u || east == {east_absent}u;\n        \
                     winter_inner_put(bytes, {offset}, {bits}, nowhere ? {north_absent}u : north);\n        \
                     winter_inner_put(bytes, {}, {east_bits}, nowhere ? {east_absent}u : east);\n    }}",
                    offset + bits
                ),
            );
        }
        (Kind::Position { .. }, _) => {}
        (_, Part::Earlier(_)) => {
            let value = field.codes(Part::Value);
            let newest = codes_of(message, field, Part::Value);
            let earlier = codes_of(message, field, part);
            line(
                text,
                format_args!(
                    "    outside += winter_inner_put_number(bytes, {offset}, {bits}, \
                     winter_inner_difference({newest}, {earlier}, {}, {}u, {bits}, {}));",
                    value.bits,
                    value.last,
                    u8::from(is_counter(field))
                ),
            );
        }
        (Kind::Flag | Kind::Choice { .. }, _) => {
            line(
                text,
                format_args!(
                    "    winter_inner_put(bytes, {offset}, {bits}, winter_inner_word(message->{at}, {last}u, {absent}u));"
                ),
            );
        }
        (Kind::Counter { .. }, _) => {
            line(
                text,
                format_args!(
                    "    winter_inner_put(bytes, {offset}, {bits}, {});",
                    codes_of(message, field, part)
                ),
            );
        }
        _ => line(
            text,
            format_args!(
                "    outside += winter_inner_put_number(bytes, {offset}, {bits}, {});",
                codes_of(message, field, part)
            ),
        ),
    }
}

/// The expression for the code of a value of the struct.
fn codes_of(message: &Message, field: &Field, part: Part) -> String {
    let at = variable(field, part);
    if is_counter(field) {
        let codes = field.codes(Part::Value);
        return format!("winter_inner_count(message->{at}, {}u, {}u)", codes.last, codes.absent());
    }
    let of = if matches!(part, Part::Earlier(_)) { Part::Value } else { part };
    let code = format!("winter_code_{}_{}", message.name, reading_name(field, of));
    format!("{}(message->{at})", scaled(&code, field, of))
}

fn unpack(text: &mut String, message: &Message) {
    let name = &message.name;
    line(
        text,
        format_args!(
            "/* Returns how many readings lay outside their range, or WINTER_WRONG_*; then everything is absent. */\n\
             static inline int winter_unpack_{name}(struct winter_{name} *message, uint8_t port, const uint8_t *bytes, \
             size_t length)\n{{\n    struct winter_inner_reading reading;\n    int outside = 0;\n    winter_absent_{name}(message);"
        ),
    );
    for form in message.forms() {
        let (short, upper) = (short_upper(form), name.to_uppercase());
        line(text, format_args!("    if (port == WINTER_{short}PORT_{upper}) {{"));
        line(
            text,
            format_args!(
                "        if (length != WINTER_{short}BYTES_{upper}) {{\n            return WINTER_WRONG_LENGTH;\n        }}"
            ),
        );
        if let Version::Bits { width, value } = message.version {
            line(
                text,
                format_args!(
                    "        if (winter_inner_get(bytes, 0, {width}) != {value}u) {{\n            return WINTER_WRONG_VERSION;\n        }}"
                ),
            );
        }
        let layout = message.layout(form);
        let spare = layout.spare_bits();
        if spare > 0 {
            line(
                text,
                format_args!(
                    "        if (winter_inner_get(bytes, {}, {spare}) != 0u) {{\n            return WINTER_WRONG_PADDING;\n        }}",
                    layout.bits
                ),
            );
        }
        for place in places(message, form) {
            unpack_place(text, message, place);
        }
        text.push_str("        return outside;\n    }\n");
    }
    line(
        text,
        format_args!(
            "    return WINTER_WRONG_PORT;\nwrong:\n    winter_absent_{name}(message);\n    return WINTER_WRONG_CODE;\n}}"
        ),
    );
}

fn unpack_place(text: &mut String, message: &Message, place: CodePosition) {
    let CodePosition { field, part, offset, bits } = place;
    let codes = field.codes(part);
    let at = variable(field, part);
    let saturates = u8::from(codes.saturates);
    if let Kind::Bytes { length } = field.kind {
        line(
            text,
            format_args!(
                "        reading.state = winter_inner_read_octets(bytes, {offset}, message->{at}.octets, {length});\n        \
                 message->{at}.present = reading.state == WINTER_STATE_INSIDE;"
            ),
        );
        wrong_if(text, "reading.state == WINTER_STATE_WRONG");
        return;
    }
    if part == Part::Longitude {
        line(
            text,
            format_args!(
                "        if ((reading.state == WINTER_STATE_ABSENT) != (winter_inner_get(bytes, {offset}, {bits}) == {}u)) {{\n            \
                 goto wrong;\n        }}",
                codes.absent()
            ),
        );
    }
    if let Part::Earlier(index) = part {
        let value = field.codes(Part::Value);
        let newest_offset = offset - u32::from(index) * bits - value.bits;
        let newest_saturates = u8::from(value.saturates);
        line(
            text,
            format_args!(
                "        reading = winter_inner_read_earlier(bytes, {offset}, {bits}, \
                 winter_inner_read(bytes, {newest_offset}, {}, {}u, {newest_saturates}), {}u, {});",
                value.bits,
                value.last,
                value.last,
                u8::from(is_counter(field))
            ),
        );
    } else {
        line(
            text,
            format_args!(
                "        reading = winter_inner_read(bytes, {offset}, {bits}, {}u, {saturates});",
                codes.last
            ),
        );
    }
    wrong_if(text, "reading.state == WINTER_STATE_WRONG");
    let of = if matches!(part, Part::Earlier(_)) { Part::Value } else { part };
    let value = match field.kind {
        Kind::Counter { .. } => "reading.code".to_owned(),
        Kind::Flag | Kind::Choice { .. } => "(uint8_t)reading.code".to_owned(),
        _ => {
            let value = format!("winter_value_{}_{}", message.name, reading_name(field, of));
            format!("{}(reading.code)", scaled(&value, field, of))
        }
    };
    line(
        text,
        format_args!(
            "        if (reading.state != WINTER_STATE_ABSENT) {{\n            message->{at} = {value};\n        }}"
        ),
    );
    if codes.saturates {
        text.push_str("        outside += winter_inner_outside(reading);\n");
    }
}

fn wrong_if(text: &mut String, condition: &str) {
    line(text, format_args!("        if ({condition}) {{\n            goto wrong;\n        }}"));
}

fn form_at(text: &mut String, message: &Message) {
    let Some(short) = &message.short else { return };
    let rates: Vec<String> = short.data_rates.iter().map(|rate| format!("data_rate == {rate}u")).collect();
    let condition = if rates.is_empty() { "(void)data_rate, 0".to_owned() } else { rates.join(" || ") };
    line(
        text,
        format_args!(
            "/* Whether the short form is the one to send at a data rate. */\n\
             static inline int winter_is_short_{}(uint8_t data_rate)\n{{\n    return {condition};\n}}",
            message.name
        ),
    );
}
