//! The byte map of a message as a tape measure: 32 bits a row, long teeth at bytes, short ones at bits.

use maud::{Markup, html};
use verdict::message::{FormView, Row};

use super::Chart;
use super::frame::px;
use crate::{sentences, words};

const ROW_BITS: u32 = 32;
const BIT: f64 = 25.0;
const LEFT: f64 = 4.0;
const WIDTH: f64 = 2.0 * LEFT + 32.0 * BIT;
/// From one row of the tape to the next: bytes named above, stretches, teeth.
const ROW: f64 = 58.0;
const BAND: f64 = 24.0;
const NAMED: f64 = 16.0;
/// Width of a letter of the stretches, on the safe side.
const LETTER: f64 = 7.0;

/// The tape of one form; `name` is that of its message, `id` unique on the page.
pub fn chart(name: &str, form: &FormView, id: String) -> Chart {
    let rows = (8 * u32::try_from(form.bytes).unwrap_or(0)).div_ceil(ROW_BITS).max(1);
    let left_over = (8 * form.bytes).saturating_sub(form.bits as usize);
    let rest = if left_over == 0 {
        "none left over".to_owned()
    } else {
        format!("{} left over", words::count(left_over, "bit"))
    };
    let title = format!("{name}: {} bits in {}, {rest}", form.bits, words::count(form.bytes, "byte"));
    let described: Vec<String> = form
        .rows
        .iter()
        .enumerate()
        .map(|(index, row)| {
            format!(
                "{} {}, bits {} to {}",
                letter(index),
                sentences::field_name(row),
                row.offset,
                row.offset + row.bits - 1
            )
        })
        .collect();
    Chart {
        id,
        title,
        description: described.join("; "),
        note: None,
        width: WIDTH,
        height: ROW * f64::from(rows) + 4.0,
        body: html! {
            @for (index, row) in form.rows.iter().enumerate() { (stretch(index, row)) }
            @for row in 0..rows { (teeth(row, form.bytes)) }
        },
    }
}

/// a to z, then aa.
pub fn letter(index: usize) -> String {
    let last = char::from(b'a' + u8::try_from(index % 26).unwrap_or(0));
    if index < 26 { last.to_string() } else { format!("{}{last}", letter(index / 26 - 1)) }
}

/// A field's bits, in as many pieces as rows it lies in; its name on the longest.
fn stretch(index: usize, row: &Row) -> Markup {
    let end = row.offset + row.bits;
    let pieces: Vec<(u32, u32)> = (row.offset / ROW_BITS..=(end - 1) / ROW_BITS)
        .map(|line| (row.offset.max(line * ROW_BITS), end.min((line + 1) * ROW_BITS)))
        .collect();
    let longest = pieces.iter().map(|(from, to)| to - from).max().unwrap_or(0);
    let named = pieces.iter().position(|(from, to)| to - from == longest);
    let full = format!("{} {}", letter(index), sentences::field_name(row));
    let room = |bits: u32| (f64::from(bits) * BIT - 8.0) / LETTER;
    html! {
        @for (piece, (from, to)) in pieces.iter().enumerate() {
            @let top = ROW * f64::from(from / ROW_BITS) + NAMED;
            @let left = LEFT + f64::from(from % ROW_BITS) * BIT;
            rect.tint.{ "tint-" (index % 3) } x=(px(left)) y=(px(top)) width=(px(f64::from(to - from) * BIT)) height=(px(BAND)) {}
            @if named == Some(piece) {
                text.word x=(px(left + 5.0)) y=(px(top + 16.5)) {
                    @if full.chars().count() as f64 <= room(to - from) { (full) } @else { (letter(index)) }
                }
            }
        }
    }
}

/// The teeth under a row, and the bytes named above it.
fn teeth(row: u32, bytes: usize) -> Markup {
    let first = row * ROW_BITS;
    let bits = (8 * u32::try_from(bytes).unwrap_or(0)).saturating_sub(first).min(ROW_BITS);
    let top = ROW * f64::from(row) + NAMED;
    let foot = top + BAND;
    let at = |bit: u32| LEFT + f64::from(bit) * BIT;
    let tooth =
        |bit: u32| format!("M{} {}v{}", px(at(bit)), px(foot), if bit.is_multiple_of(8) { 10 } else { 5 });
    let teeth = (0..=bits).map(tooth).collect::<Vec<_>>().concat();
    html! {
        path.axis d={ "M" (px(at(0))) " " (px(top)) "H" (px(at(bits))) "V" (px(foot)) "H" (px(at(0))) "Z" } {}
        path.axis d=(teeth) {}
        @for byte in 0..bits.div_ceil(8) {
            text.tick x=(px(at(8 * byte) + 1.0)) y=(px(top - 4.0)) { "byte " (first / 8 + byte) }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fixture;

    #[test]
    fn letters_go_on_after_z() {
        assert_eq!([0, 25, 26, 27, 52].map(letter), ["a", "z", "aa", "ab", "ba"]);
    }

    #[test]
    fn the_stretches_cover_every_bit_once() {
        let subject = fixture::subject();
        for form in subject.messages.iter().flat_map(|message| &message.forms) {
            let covered: f64 = form
                .rows
                .iter()
                .enumerate()
                .flat_map(|(index, row)| {
                    let drawn = stretch(index, row).into_string();
                    let widths: Vec<f64> = drawn
                        .split("width=\"")
                        .skip(1)
                        .filter_map(|rest| rest.split('"').next()?.parse().ok())
                        .collect();
                    widths
                })
                .sum();
            assert!((covered - f64::from(form.bits) * BIT).abs() < 1e-6, "{covered}");
        }
    }
}
