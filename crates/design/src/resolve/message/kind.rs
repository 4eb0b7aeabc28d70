//! Kinds of fields: from ranges and resolutions to codes.

use crate::diagnostic::{self, Code, Diagnostics};
use crate::file::message::{Decimal, FieldSection, HistorySection, KindWord};
use crate::message::{Field, History, Kind, Part, Scale, WIDEST_BITS};
use crate::quantity::Bytes;
use crate::section::At;
use std::ops::Range;

/// Codes that are no value: below, above, absent.
const RESERVED: u32 = 3;
pub(in crate::resolve) const WIDEST_COUNT: u32 = 31;
const WIDEST_COORDINATE: u32 = 30;
const HISTORY_BITS: std::ops::RangeInclusive<u32> = 3..=16;
/// Longest degree of latitude, at the poles, and of longitude, at the equator, on the ellipsoid of WGS 84 \[m\].
///
/// # References
/// NIMA TR8350.2, third edition, table 3.1: a = 6378137 m, f = 1/298.257223563; pi a / 180 and pi a / (180 (1 - f)).
const METRES_PER_DEGREE_NORTH: f64 = 111_694.0;
const METRES_PER_DEGREE_EAST: f64 = 111_320.0;
/// The firmware hands over degrees in the parts that positioning receivers give.
const PARTS_OF_A_DEGREE: u32 = 10_000_000;

fn wrong<T>(
    found: &mut Diagnostics,
    code: Code,
    span: &Range<usize>,
    text: impl Into<String>,
    help: impl Into<String>,
) -> Option<T> {
    found.error(code, span, text, help);
    None
}

/// What a field is, once its keys are known to be there.
pub(super) fn kind(section: &FieldSection, kind: KindWord, found: &mut Diagnostics) -> Option<Kind> {
    match kind {
        KindWord::Number | KindWord::Battery => number(section, kind == KindWord::Battery, found),
        KindWord::Counter => counter(section, found),
        KindWord::Flag => Some(Kind::Flag),
        KindWord::Choice => choice(section.words.as_ref()?, found),
        KindWord::Position => {
            let grid = section.grid.as_ref()?;
            position(grid.value.metres(), &grid.span, found)
        }
        KindWord::Time => time(section, found),
        KindWord::Bytes => bytes(section.length.as_ref()?, found),
    }
}

fn number(section: &FieldSection, battery: bool, found: &mut Diagnostics) -> Option<Kind> {
    let range = section.range.as_ref()?;
    let (low, high) = range.value;
    let (resolution, bits) = (section.resolution.as_ref(), section.bits.as_ref());
    let places = low.places.max(high.places).max(resolution.map_or(0, |at| at.value.places));
    let (low, high) = (low.scaled(places), high.scaled(places));
    if low >= high {
        let help = "write the lowest value first, then the highest";
        return wrong(found, diagnostic::FIELD_RANGE, &range.span, "the range is empty", help);
    }
    if let Some(bits) = bits.filter(|bits| !(RESERVED..=WIDEST_BITS).contains(&bits.value)) {
        let text = format!("a number can't have {} bits", bits.value);
        return wrong(found, diagnostic::FIELD_BITS, &bits.span, text, "write 3 to 32 bits");
    }
    let unit = 10_i128.pow(places);
    let (scale, last, width) = if let Some(resolution) = resolution {
        let (step, last) = steps(high - low, resolution, places, bits, found)?;
        (Scale::new(step, low, unit, last), last, bits.map_or(bits_for(last), |bits| bits.value))
    } else {
        let width = bits?.value;
        let last = (u32::MAX >> (32 - width)) - RESERVED;
        let steps = i128::from(last);
        (Scale::new(high - low, low * steps, unit * steps, last), last, width)
    };
    let Some(scale) = scale else {
        let help = "write fewer digits, or a resolution instead of `bits`";
        return wrong(
            found,
            diagnostic::FIELD_RANGE,
            &range.span,
            "the values are not exact in 64 bits",
            help,
        );
    };
    Some(Kind::Number { scale, last, bits: narrow(width), battery })
}

/// The step in the last decimal place, and the code of the upper end.
fn steps(
    width: i128,
    resolution: &At<Decimal>,
    places: u32,
    bits: Option<&At<u32>>,
    found: &mut Diagnostics,
) -> Option<(i128, u32)> {
    let step = resolution.value.scaled(places);
    if step <= 0 || step > width {
        let text = "the resolution is not between zero and the width of the range";
        let help = "write the distance between two values, as `0.1`";
        return wrong(found, diagnostic::FIELD_RESOLUTION, &resolution.span, text, help);
    }
    let last = u32::try_from((width + step - 1) / step).ok().filter(|last| *last <= u32::MAX - RESERVED);
    let allowed = bits.map_or(WIDEST_BITS, |bits| bits.value);
    if let Some(last) = last.filter(|last| bits_for(*last) <= allowed) {
        return Some((step, last));
    }
    let help = match last {
        Some(last) => format!("write `bits = {}`, or a coarser resolution", bits_for(last)),
        None => "write a coarser resolution or a narrower range".to_owned(),
    };
    let span = bits.map_or(&resolution.span, |bits| &bits.span);
    wrong(
        found,
        diagnostic::FIELD_BITS,
        span,
        format!("the resolution is finer than {allowed} bits allow"),
        help,
    )
}

/// The narrowest code with values up to `last` and the reserved codes.
fn bits_for(last: u32) -> u32 {
    u32::BITS - (last + RESERVED).leading_zeros()
}

/// A width or count that was checked to be small.
fn narrow(small: u32) -> u8 {
    u8::try_from(small).unwrap_or(u8::MAX)
}

fn counter(section: &FieldSection, found: &mut Diagnostics) -> Option<Kind> {
    let step = section.step.as_ref().map_or(Decimal { digits: 1, places: 0 }, |step| step.value);
    let span = section.step.as_ref().map_or(&section.span, |step| &step.span);
    if step.digits <= 0 {
        let help = "write what one count is worth, as `0.2`";
        return wrong(found, diagnostic::FIELD_RESOLUTION, span, "one count is worth nothing", help);
    }
    let (bits, place) = if let Some(bits) = &section.bits {
        (Some(bits.value), &bits.span)
    } else {
        let (rate, gap) = (section.per_hour.as_ref()?, section.longest_gap.as_ref()?);
        (bits_of_counts(f64::from(rate.value) * gap.value.hours()), &gap.span)
    };
    let Some(bits) = bits.filter(|bits| (1..=WIDEST_COUNT).contains(bits)) else {
        let help = "write 1 to 31 bits, or a shorter gap";
        return wrong(found, diagnostic::FIELD_BITS, place, "a counter counts in 1 to 31 bits", help);
    };
    // The firmware hands over counts as they are.
    let scale = Scale::in_parts(step.digits.into(), 0, 10_i128.pow(step.places), u32::MAX >> (32 - bits), 1);
    let Some(scale) = scale else {
        let help = "write fewer digits";
        return wrong(found, diagnostic::FIELD_RANGE, span, "the values are not exact in 64 bits", help);
    };
    Some(Kind::Counter { scale, count_bits: narrow(bits) })
}

/// The narrowest counter that does not go round in so many counts.
fn bits_of_counts(counts: f64) -> Option<u32> {
    (1..=WIDEST_COUNT).find(|bits| f64::from(1_u32 << bits) > counts)
}

fn choice(words: &At<Vec<At<String>>>, found: &mut Diagnostics) -> Option<Kind> {
    let list: Vec<String> = words.value.iter().map(|word| word.value.clone()).collect();
    let is_repeated = |at: usize, word: &String| list.iter().take(at).any(|earlier| earlier == word);
    if let Some((_, word)) = words.value.iter().enumerate().find(|(at, word)| is_repeated(*at, &word.value)) {
        let text = format!("the word `{}` stands twice", word.value);
        return wrong(found, diagnostic::CHOICE_WORDS, &word.span, text, "write each word once");
    }
    if !(2..=255).contains(&list.len()) {
        let text = format!("a choice of {}", list.len());
        return wrong(found, diagnostic::CHOICE_WORDS, &words.span, text, "write 2 to 255 words");
    }
    Some(Kind::Choice { words: list })
}

fn position(grid_m: f64, span: &Range<usize>, found: &mut Diagnostics) -> Option<Kind> {
    let latitude = coordinate(90, METRES_PER_DEGREE_NORTH / grid_m);
    let longitude = coordinate(180, METRES_PER_DEGREE_EAST / grid_m);
    let (Some((latitude, latitude_bits)), Some((longitude, longitude_bits))) = (latitude, longitude) else {
        let help = "write at least \"4 cm\"; receivers give a few metres";
        return wrong(found, diagnostic::FIELD_BITS, span, "the grid is too fine", help);
    };
    Some(Kind::Position { latitude, latitude_bits, longitude, longitude_bits })
}

/// A coordinate from minus to plus so many degrees, with all codes but "absent" in use.
fn coordinate(degrees: i32, steps_per_degree: f64) -> Option<(Scale, u8)> {
    let steps = (2.0 * f64::from(degrees) * steps_per_degree).ceil();
    let bits = (2..=WIDEST_COORDINATE).find(|bits| f64::from((1_u32 << bits) - 2) >= steps)?;
    let last = (1_u32 << bits) - 2;
    let (steps, degrees) = (i128::from(last), i128::from(degrees));
    let scale = Scale::in_parts(2 * degrees, -degrees * steps, steps, last, PARTS_OF_A_DEGREE)?;
    Some((scale, narrow(bits)))
}

fn time(section: &FieldSection, found: &mut Diagnostics) -> Option<Kind> {
    let (epoch, tick, lasts) = (section.epoch.as_ref()?, section.tick.as_ref()?, section.lasts.as_ref()?);
    let seconds = tick.value.seconds();
    let Some(tick_s) = whole(seconds).filter(|_| seconds <= lasts.value.seconds()) else {
        let text = "the tick is not a number of whole seconds within the span";
        return wrong(
            found,
            diagnostic::FIELD_RESOLUTION,
            &tick.span,
            text,
            "write whole seconds, as \"1 min\"",
        );
    };
    let last = whole((lasts.value.seconds() / seconds).ceil()).filter(|last| *last <= u32::MAX - RESERVED);
    let Some(last) = last else {
        let help = "write a longer tick or a shorter span";
        return wrong(found, diagnostic::FIELD_BITS, &lasts.span, "the time needs more than 32 bits", help);
    };
    let scale = Scale::new(tick_s.into(), epoch.value.0.unix_seconds().into(), 1, last)?;
    Some(Kind::Time { scale, last, bits: narrow(bits_for(last)) })
}

fn bytes(length: &At<Bytes>, found: &mut Diagnostics) -> Option<Kind> {
    let bytes =
        whole(length.value.bytes()).and_then(|bytes| u8::try_from(bytes).ok()).filter(|bytes| *bytes > 0);
    let Some(length_bytes) = bytes else {
        let text = "the length is not a whole number of bytes from 1 to 255";
        return wrong(
            found,
            diagnostic::FIELD_BITS,
            &length.span,
            text,
            "write a length such as \"4 bytes\"",
        );
    };
    Some(Kind::Bytes { length: length_bytes })
}

pub(super) fn history(
    field: &Field,
    section: &HistorySection,
    span: &Range<usize>,
    found: &mut Diagnostics,
) -> Option<History> {
    if !matches!(field.kind, Kind::Number { .. } | Kind::Counter { .. }) {
        let help = "remove it, or write a field of kind `number`, `battery` or `counter`";
        return wrong(
            found,
            diagnostic::HISTORY,
            span,
            format!("`{}` can't have a history", field.name),
            help,
        );
    }
    let (earlier, bits) = (section.earlier.as_ref()?, section.bits.as_ref()?);
    // A counter goes round: a difference wider than its count would name the same earlier count twice.
    let width = match field.kind {
        Kind::Counter { count_bits, .. } => count_bits.into(),
        _ => field.codes(Part::Value).bits,
    };
    let (narrowest, widest) = (*HISTORY_BITS.start(), width.min(*HISTORY_BITS.end()));
    if widest < narrowest {
        let text = format!("`{}` has {widest} bits, too few for a history", field.name);
        let help = format!("remove the history, or count in at least {narrowest} bits");
        return wrong(found, diagnostic::HISTORY, span, text, help);
    }
    if !(narrowest..=widest).contains(&bits.value) {
        let text = format!("a difference to `{}` can't have {} bits", field.name, bits.value);
        let help = format!("write {narrowest} to {widest} bits");
        return wrong(found, diagnostic::HISTORY, &bits.span, text, help);
    }
    Some(History { earlier: narrow(earlier.value), bits: narrow(bits.value) })
}

/// The integer that a number is.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "its range is checked")]
pub(super) fn whole(number: f64) -> Option<u32> {
    (number.fract() == 0.0 && (0.0..=f64::from(u32::MAX)).contains(&number)).then_some(number as u32)
}
