//! The byte map: what each bit means.

use design::message::{Field, Form, Kind, Message, Part, Scale};

/// One code in the byte map.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Key of the field.
    pub field: String,
    /// What the field is, in words; may be empty.
    pub title: String,
    /// What of it: the value, a coordinate, or a difference to an earlier reading.
    pub part: Part,
    /// UCUM unit of the figures here.
    pub unit: String,
    /// Bits before it.
    pub offset: u32,
    /// Its width.
    pub bits: u32,
    /// Lowest and highest value; of a difference, how far it reaches. `None` for words and bytes.
    pub range: Option<(f64, f64)>,
    /// Distance between two values.
    pub step: Option<f64>,
    /// Digits behind the point that the values need.
    pub decimals: usize,
    /// The words of a choice or flag, in the order of their codes.
    pub words: Vec<String>,
    /// One value and its code; `None` for bytes.
    pub example: Option<Example>,
    /// The code for "no reading"; of bytes, whose code is longer, its first bits.
    pub absent: u32,
    /// The codes for "below" and "above" the range, if it has them.
    pub below_and_above: Option<(u32, u32)>,
}

/// A value and how it travels.
#[derive(Clone, Debug, PartialEq)]
pub struct Example {
    /// The code.
    pub code: u32,
    /// What it says, without its unit.
    pub text: String,
}

/// The byte map of a form, in the order on the air.
#[must_use]
pub fn rows(message: &Message, form: Form) -> Vec<Row> {
    let layout = message.layout(form);
    let row = |slot: &design::message::Slot| {
        let field = message.fields.get(slot.field)?;
        Some(row(field, slot.part, slot.offset, slot.bits))
    };
    layout.slots.iter().filter_map(row).collect()
}

fn row(field: &Field, part: Part, offset: u32, bits: u32) -> Row {
    let codes = field.codes(part);
    let scale = scale(field, part);
    let centre = if matches!(part, Part::Earlier(_)) { field.centre() } else { 0 };
    let value = |code: u32| scale.map(|scale| reading(scale, part, code, centre));
    let example = example_code(field, part);
    Row {
        field: field.name.clone(),
        title: field.title.clone(),
        part,
        unit: field.unit.clone(),
        offset,
        bits,
        range: value(0).zip(value(codes.last)),
        step: scale.map(Scale::step),
        decimals: scale.map_or(0, decimals),
        words: words(field),
        example: example.map(|code| Example { code, text: spelt(field, part, code) }),
        absent: codes.absent(),
        below_and_above: codes.below().zip(codes.above()),
    }
}

/// The value of a code; of a difference, how far the earlier reading lies from the newest.
fn reading(scale: &Scale, part: Part, code: u32, centre: u32) -> f64 {
    match part {
        Part::Earlier(_) => {
            let steps = i64::from(code) - i64::from(centre);
            (steps * scale.numerator.cast_signed()) as f64 / scale.denominator as f64
        }
        Part::Value | Part::Latitude | Part::Longitude => scale.value(code),
    }
}

pub(super) fn scale(field: &Field, part: Part) -> Option<&Scale> {
    match &field.kind {
        Kind::Position { longitude, .. } if part == Part::Longitude => Some(longitude),
        Kind::Number { scale, .. }
        | Kind::Counter { scale, .. }
        | Kind::Time { scale, .. }
        | Kind::Position { latitude: scale, .. } => Some(scale),
        Kind::Flag | Kind::Choice { .. } | Kind::Bytes { .. } => None,
    }
}

fn words(field: &Field) -> Vec<String> {
    match &field.kind {
        Kind::Flag => vec!["no".to_owned(), "yes".to_owned()],
        Kind::Choice { words } => words.clone(),
        _ => Vec::new(),
    }
}

/// A code that looks like a reading: five eighths up the range; of a difference, none at all.
fn example_code(field: &Field, part: Part) -> Option<u32> {
    match (&field.kind, part) {
        (Kind::Bytes { .. }, _) => None,
        (_, Part::Earlier(_)) => Some(field.centre()),
        _ => u32::try_from(u64::from(field.codes(part).last) * 5 / 8).ok(),
    }
}

/// A reading in words or figures, as text would carry it; an earlier one as its own figure.
pub(super) fn spelt(field: &Field, part: Part, code: u32) -> String {
    let centre = if matches!(part, Part::Earlier(_)) { field.centre() } else { 0 };
    match scale(field, part) {
        Some(scale) => format!("{:.*}", decimals(scale), reading(scale, part, code, centre)),
        None => words(field).get(code as usize).cloned().unwrap_or_default(),
    }
}

/// The text of the example of a part; an earlier reading is as long as the newest.
pub(super) fn example_text(field: &Field, part: Part) -> Option<String> {
    let part = if matches!(part, Part::Earlier(_)) { Part::Value } else { part };
    example_code(field, part).map(|code| spelt(field, part, code))
}

/// Digits behind the point with which every value is exact; if that takes more than three, those of the step.
fn decimals(scale: &Scale) -> usize {
    let (step, unit) = (u128::from(scale.numerator), u128::from(scale.denominator));
    let mut powers = (0..=9_usize).zip(std::iter::successors(Some(1_u128), |power| Some(power * 10)));
    let exact = powers.clone().take(4).find(|(_, power)| (step * power).is_multiple_of(unit));
    exact.or_else(|| powers.find(|(_, power)| step * power >= unit)).map_or(9, |(decimals, _)| decimals)
}
