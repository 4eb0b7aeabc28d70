//! Fields: from ranges and resolutions to codes.

use super::super::Resolver;
use crate::diagnostic::{self, Code};
use crate::file::message::{Decimal, FieldSection, HistorySection, KindWord};
use crate::message::{Field, History, Kind, Part, Scale, WIDEST_BITS};
use crate::section::At;
use std::ops::Range;

/// Codes that are no value: below, above, absent.
const RESERVED: u32 = 3;
const WIDEST_COUNT: u32 = 31;
const WIDEST_COORDINATE: u32 = 30;
const HISTORY_BITS: std::ops::RangeInclusive<u32> = 3..=16;
/// Longest degree of latitude, at the poles, and of longitude, at the equator, on the ellipsoid of WGS 84 [m].
const METRES_PER_DEGREE_NORTH: f64 = 111_694.0;
const METRES_PER_DEGREE_EAST: f64 = 111_320.0;
/// The firmware hands over degrees in the parts that positioning receivers give.
const PARTS_OF_A_DEGREE: u32 = 10_000_000;
/// What people write for units that UCUM calls otherwise.
const UNIT_SLIPS: &[(&str, &str)] = &[
    ("C", "Cel"),
    ("degC", "Cel"),
    ("°C", "Cel"),
    ("celsius", "Cel"),
    ("F", "[degF]"),
    ("percent", "%"),
    ("%RH", "%"),
    ("RH", "%"),
    ("degrees", "deg"),
    ("°", "deg"),
    ("bytes", "By"),
    ("sec", "s"),
    ("min.", "min"),
    ("hours", "h"),
    ("µV", "uV"),
    ("µA", "uA"),
    ("lux", "lx"),
    ("ohm", "Ohm"),
    ("inch", "[in_i]"),
    ("none", "1"),
];

type Found<T> = Result<T, (Code, Range<usize>, String, String)>;

fn wrong<T>(code: Code, span: &Range<usize>, text: impl Into<String>, help: impl Into<String>) -> Found<T> {
    Err((code, span.clone(), text.into(), help.into()))
}

impl Resolver<'_> {
    pub(super) fn field(&mut self, name: &At<String>, section: &FieldSection) -> Option<Field> {
        let named = self.check_name(name, "field");
        let kind_word = section.kind.as_ref()?.value;
        if !self.check_keys(name, section, kind_word) {
            return None;
        }
        let unit = self.unit(section, kind_word);
        let words = section.words.iter().flat_map(|words| &words.value);
        let mut spelt = true;
        for word in words {
            spelt &= self.check_word(word, "word");
        }
        let mut per_device = Vec::new();
        for constant in section.per_device.iter().flat_map(|list| &list.value) {
            spelt &= self.check_name(constant, "constant");
            per_device.push(constant.value.clone());
        }
        let kind = self.said(kind(section, kind_word))??;
        let mut field = Field {
            name: name.value.clone(),
            title: section.title.as_ref().map(|title| title.value.clone()).unwrap_or_default(),
            unit: unit?,
            kind,
            priority: u8::try_from(section.priority.as_ref()?.value).ok()?,
            history: None,
            per_device,
        };
        if let Some(written) = &section.history {
            field.history = Some(self.said(history(&field, &written.value, &written.span))??);
        }
        (named && spelt).then_some(field)
    }

    fn said<T>(&mut self, found: Found<T>) -> Option<T> {
        found.map_err(|(code, span, text, help)| self.found.error(code, &span, text, help)).ok()
    }

    /// Keys that another kind has, and keys that this one needs.
    fn check_keys(&mut self, name: &At<String>, section: &FieldSection, kind: KindWord) -> bool {
        let mut good = true;
        for (key, place, owners) in owned_keys(section) {
            if let Some(place) = place.filter(|_| !owners.contains(&kind)) {
                let (word, others) =
                    (kind.word(), owners.iter().map(|owner| owner.word()).collect::<Vec<_>>());
                let text = format!("a field of kind `{word}` has no `{key}`");
                let help = format!("remove it; it belongs to `{}`", others.join("`, `"));
                self.found.error(diagnostic::ONE_OF, &place, text, help);
                good = false;
            }
        }
        let written: Vec<&str> = owned_keys(section)
            .into_iter()
            .filter_map(|(key, place, _)| place.map(|_| key))
            .chain(section.unreadable.iter().copied())
            .collect();
        for (needed, instead, example) in needs(kind) {
            if !written.contains(needed) && !written.contains(instead) {
                let text = format!("`{}` has no `{needed}`", name.value);
                let help = format!("add `{needed} = {example}`");
                self.found.error(diagnostic::MISSING_KEY, &name.span, text, help);
                good = false;
            }
        }
        good && section.unreadable.is_empty()
    }

    fn unit(&mut self, section: &FieldSection, kind: KindWord) -> Option<String> {
        let Some(unit) = &section.unit else {
            let unit = match kind {
                KindWord::Battery => "mV",
                KindWord::Position => "deg",
                KindWord::Time => "s",
                _ => "1",
            };
            return Some(unit.to_owned());
        };
        let slip = UNIT_SLIPS.iter().find(|(slip, _)| *slip == unit.value);
        let ascii = unit.value.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'"' && byte != b'\\');
        if slip.is_none() && ascii {
            return Some(unit.value.clone());
        }
        let text = format!("`{}` is not the UCUM code that is meant", unit.value);
        let help = slip.map_or_else(
            || "write a UCUM code, as \"Cel\", \"%\", \"mm\" or \"1\"".to_owned(),
            |(_, code)| format!("write \"{code}\""),
        );
        self.found.error(diagnostic::FIELD_UNIT, &unit.span, text, help);
        None
    }
}

type Owned = (&'static str, Option<Range<usize>>, &'static [KindWord]);

/// The keys that belong to some kinds only, and where they are written.
fn owned_keys(section: &FieldSection) -> Vec<Owned> {
    use KindWord::{Battery, Bytes, Choice, Counter, Number, Position, Time};
    macro_rules! rows {
        ($($key:ident: $owners:expr),+ $(,)?) => {
            vec![$((stringify!($key), section.$key.as_ref().map(|at| at.span.clone()), $owners as &'static [KindWord])),+]
        };
    }
    rows! {
        unit: &[Number, Counter],
        range: &[Number, Battery],
        resolution: &[Number, Battery],
        bits: &[Number, Battery, Counter],
        step: &[Counter],
        per_hour: &[Counter],
        longest_gap: &[Counter],
        words: &[Choice],
        grid: &[Position],
        epoch: &[Time],
        tick: &[Time],
        lasts: &[Time],
        length: &[Bytes],
    }
}

/// The keys that a kind needs: the key, the one that may stand instead, and how it is written.
fn needs(kind: KindWord) -> &'static [(&'static str, &'static str, &'static str)] {
    match kind {
        KindWord::Number => {
            &[("unit", "unit", "\"Cel\""), ("range", "range", "[-40, 60]"), ("resolution", "bits", "0.1")]
        }
        KindWord::Battery => &[("range", "range", "[2000, 4500]"), ("resolution", "bits", "10")],
        KindWord::Counter => &[("per_hour", "bits", "400"), ("longest_gap", "bits", "\"2 d\"")],
        KindWord::Flag => &[],
        KindWord::Choice => &[("words", "words", "[\"dry\", \"wet\"]")],
        KindWord::Position => &[("grid", "grid", "\"2 m\"")],
        KindWord::Time => &[
            ("epoch", "epoch", "\"2026-01-01\""),
            ("tick", "tick", "\"1 min\""),
            ("lasts", "lasts", "\"20 years\""),
        ],
        KindWord::Bytes => &[("length", "length", "\"4 bytes\"")],
    }
}

/// What a field is, once its keys are known to be there.
fn kind(section: &FieldSection, kind: KindWord) -> Found<Option<Kind>> {
    match kind {
        KindWord::Number | KindWord::Battery => number(section, kind == KindWord::Battery).transpose(),
        KindWord::Counter => counter(section).transpose(),
        KindWord::Flag => Ok(Some(Kind::Flag)),
        KindWord::Choice => section.words.as_ref().map(choice).transpose(),
        KindWord::Position => {
            section.grid.as_ref().map(|grid| position(grid.value.metres(), &grid.span)).transpose()
        }
        KindWord::Time => time(section).transpose(),
        KindWord::Bytes => section.length.as_ref().map(bytes).transpose(),
    }
}

fn number(section: &FieldSection, battery: bool) -> Option<Found<Kind>> {
    let range = section.range.as_ref()?;
    let (low, high) = range.value;
    let resolution = section.resolution.as_ref();
    let places = low.places.max(high.places).max(resolution.map_or(0, |at| at.value.places));
    let (low, high) = (low.scaled(places), high.scaled(places));
    if low >= high {
        let help = "write the lowest value first, then the highest";
        return Some(wrong(diagnostic::FIELD_RANGE, &range.span, "the range is empty", help));
    }
    let bits = section.bits.as_ref();
    if let Some(bits) = bits.filter(|bits| !(RESERVED..=WIDEST_BITS).contains(&bits.value)) {
        let text = format!("a number can't have {} bits", bits.value);
        return Some(wrong(diagnostic::FIELD_BITS, &bits.span, text, "write 3 to 32 bits"));
    }
    Some(match (resolution, bits) {
        (Some(resolution), bits) => steps(high - low, resolution, places, bits).and_then(|(step, last)| {
            let bits = bits.map_or(bits_for(last), |bits| bits.value);
            scaled(step, low, 10_i128.pow(places), last, bits, battery, &range.span)
        }),
        (None, bits) => {
            let bits = bits?.value;
            let last = (u32::MAX >> (32 - bits)) - RESERVED;
            let steps = i128::from(last);
            scaled(high - low, low * steps, 10_i128.pow(places) * steps, last, bits, battery, &range.span)
        }
    })
}

/// The step in the last decimal place, and the code of the upper end.
fn steps(width: i128, resolution: &At<Decimal>, places: u32, bits: Option<&At<u32>>) -> Found<(i128, u32)> {
    let step = resolution.value.scaled(places);
    if step <= 0 || step > width {
        let text = "the resolution is not between zero and the width of the range";
        let help = "write the distance between two values, as `0.1`";
        return wrong(diagnostic::FIELD_RESOLUTION, &resolution.span, text, help);
    }
    let last = u32::try_from((width + step - 1) / step).ok().filter(|last| *last <= u32::MAX - RESERVED);
    let allowed = bits.map_or(WIDEST_BITS, |bits| bits.value);
    match last {
        Some(last) if bits_for(last) <= allowed => Ok((step, last)),
        _ => {
            let text = format!("the resolution is finer than {allowed} bits allow");
            let help = match last {
                Some(last) => format!("write `bits = {}`, or a coarser resolution", bits_for(last)),
                None => "write a coarser resolution or a narrower range".to_owned(),
            };
            let span = bits.map_or(&resolution.span, |bits| &bits.span);
            wrong(diagnostic::FIELD_BITS, span, text, help)
        }
    }
}

/// The narrowest code with values up to `last` and the reserved codes.
fn bits_for(last: u32) -> u32 {
    u32::BITS - (last + RESERVED).leading_zeros()
}

fn scaled(
    numerator: i128,
    offset: i128,
    denominator: i128,
    last: u32,
    bits: u32,
    battery: bool,
    span: &Range<usize>,
) -> Found<Kind> {
    let scale = exact(numerator, offset, denominator, last, span)?;
    Ok(Kind::Number { scale, last, bits: narrow(bits), battery })
}

fn exact(numerator: i128, offset: i128, denominator: i128, last: u32, span: &Range<usize>) -> Found<Scale> {
    match Scale::new(numerator, offset, denominator, last) {
        Some(scale) => Ok(scale),
        None => wrong(
            diagnostic::FIELD_RANGE,
            span,
            "the values are not exact in 64-bit integers",
            "write fewer digits, or a resolution instead of `bits`",
        ),
    }
}

/// A width that was checked to be at most 32.
fn narrow(bits: u32) -> u8 {
    u8::try_from(bits).unwrap_or(u8::MAX)
}

fn counter(section: &FieldSection) -> Option<Found<Kind>> {
    let step = section.step.as_ref().map_or(Decimal { digits: 1, places: 0 }, |step| step.value);
    let span = section.step.as_ref().map_or(&section.span, |step| &step.span);
    if step.digits <= 0 {
        let text = "one count is worth nothing";
        return Some(wrong(
            diagnostic::FIELD_RESOLUTION,
            span,
            text,
            "write what one count is worth, as `0.2`",
        ));
    }
    let (count_bits, place) = if let Some(bits) = &section.bits {
        (u64::from(bits.value), &bits.span)
    } else {
        let (rate, gap) = (section.per_hour.as_ref()?, section.longest_gap.as_ref()?);
        let counts = (f64::from(rate.value) * gap.value.hours()).ceil();
        // A gap at the full rate must stay below one round.
        ((counts + 1.0).log2().ceil().max(1.0) as u64, &gap.span)
    };
    if !(1..=u64::from(WIDEST_COUNT)).contains(&count_bits) {
        let text = format!("a counter can't count in {count_bits} bits");
        return Some(wrong(diagnostic::FIELD_BITS, place, text, "write 1 to 31 bits, or a shorter gap"));
    }
    let bits = u32::try_from(count_bits).unwrap_or(WIDEST_COUNT);
    let last = u32::MAX >> (32 - bits);
    let scale = exact(step.digits.into(), 0, 10_i128.pow(step.places), last, span);
    Some(scale.map(|scale| Kind::Counter { scale, count_bits: narrow(bits) }))
}

fn choice(words: &At<Vec<At<String>>>) -> Found<Kind> {
    let list: Vec<String> = words.value.iter().map(|word| word.value.clone()).collect();
    let twice =
        words.value.iter().enumerate().find(|(at, word)| list.iter().take(*at).any(|one| *one == word.value));
    if let Some((_, word)) = twice {
        let text = format!("the word `{}` stands twice", word.value);
        return wrong(diagnostic::CHOICE_WORDS, &word.span, text, "write each word once");
    }
    if !(2..=255).contains(&list.len()) {
        let text = format!("a choice between {} words", list.len());
        return wrong(diagnostic::CHOICE_WORDS, &words.span, text, "write 2 to 255 words");
    }
    Ok(Kind::Choice { words: list })
}

fn position(grid_m: f64, span: &Range<usize>) -> Found<Kind> {
    let (latitude, latitude_bits) = coordinate(90, METRES_PER_DEGREE_NORTH / grid_m, span)?;
    let (longitude, longitude_bits) = coordinate(180, METRES_PER_DEGREE_EAST / grid_m, span)?;
    Ok(Kind::Position { latitude, latitude_bits, longitude, longitude_bits })
}

/// A coordinate from minus to plus so many degrees, with all codes but "absent" in use.
fn coordinate(degrees: i32, steps_per_degree: f64, span: &Range<usize>) -> Found<(Scale, u8)> {
    let steps = (2.0 * f64::from(degrees) * steps_per_degree).ceil();
    let bits = (2..=WIDEST_COORDINATE).find(|bits| f64::from((1_u32 << bits) - 2) >= steps);
    let Some(bits) = bits else {
        let help = "write at least \"4 cm\"; receivers give a few metres";
        return wrong(diagnostic::FIELD_BITS, span, "the grid is too fine", help);
    };
    let last = (1_u32 << bits) - 2;
    let (steps, degrees) = (i128::from(last), i128::from(degrees));
    let scale = exact(2 * degrees, -degrees * steps, steps, last, span)?;
    Ok((Scale { per_unit: PARTS_OF_A_DEGREE, ..scale }, narrow(bits)))
}

fn time(section: &FieldSection) -> Option<Found<Kind>> {
    let (epoch, tick, lasts) = (section.epoch.as_ref()?, section.tick.as_ref()?, section.lasts.as_ref()?);
    let seconds = tick.value.seconds();
    if seconds.fract() != 0.0 || seconds > lasts.value.seconds() {
        let text = "the tick is not a number of whole seconds within the span";
        return Some(wrong(
            diagnostic::FIELD_RESOLUTION,
            &tick.span,
            text,
            "write whole seconds, as \"1 min\"",
        ));
    }
    let last = (lasts.value.seconds() / seconds).ceil();
    if last > f64::from(u32::MAX - RESERVED) {
        let help = "write a longer tick or a shorter span";
        return Some(wrong(diagnostic::FIELD_BITS, &lasts.span, "the time needs more than 32 bits", help));
    }
    let last = last as u32;
    let scale = Scale::new(seconds as i128, epoch.value.unix_seconds().into(), 1, last);
    let scale = scale.ok_or_else(|| {
        let text = "the times are not exact in 64-bit integers".to_owned();
        (diagnostic::FIELD_RANGE, lasts.span.clone(), text, "write a shorter span".to_owned())
    });
    Some(scale.map(|scale| Kind::Time { scale, last, bits: narrow(bits_for(last)) }))
}

fn bytes(length: &At<crate::quantity::Bytes>) -> Found<Kind> {
    let bytes = length.value.bytes();
    if bytes.fract() != 0.0 || !(1.0..=255.0).contains(&bytes) {
        let text = "the length is not a whole number of bytes from 1 to 255";
        return wrong(diagnostic::FIELD_BITS, &length.span, text, "write a length such as \"4 bytes\"");
    }
    Ok(Kind::Bytes { length: bytes as u8 })
}

fn history(field: &Field, section: &HistorySection, span: &Range<usize>) -> Found<Option<History>> {
    if !matches!(field.kind, Kind::Number { .. } | Kind::Counter { .. }) {
        let help = "remove it, or write a field of kind `number`, `battery` or `counter`";
        return wrong(diagnostic::HISTORY, span, format!("`{}` can't have a history", field.name), help);
    }
    let (Some(earlier), Some(bits)) = (&section.earlier, &section.bits) else { return Ok(None) };
    let widest = field.codes(Part::Value).bits.min(*HISTORY_BITS.end());
    if bits.value < *HISTORY_BITS.start() || bits.value > widest {
        let text = format!("a difference to `{}` can't have {} bits", field.name, bits.value);
        let help = format!("write 3 to {widest} bits");
        return wrong(diagnostic::HISTORY, &bits.span, text, help);
    }
    Ok(Some(History { earlier: narrow(earlier.value), bits: narrow(bits.value) }))
}
