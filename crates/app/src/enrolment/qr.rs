//! The code on a label: who the device is, and no key.
//!
//! # References
//! LoRa Alliance, TR005, "LoRaWAN Device Identification QR Codes" (2020): schema D0, fields and order as quoted in two
//! public codebases. The check value is CRC-16/MODBUS over all that stands before it, the only algorithm that gives
//! the one published example.

use std::fmt::Write as _;

use fast_qr::{ECL, QRBuilder};
use maud::{Markup, html};
use report::problem::{Failure, Problem};
use wire::identity::{DevEui, JoinEui};

/// Light modules around the code (ISO/IEC 18004, clause "Quiet zone"; from memory).
const QUIET_ZONE: usize = 4;

/// Vendor and profile of a device: eight hex digits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct ProfileId(String);

impl ProfileId {
    /// From eight hex digits.
    pub(crate) fn parse(text: &str) -> Result<Self, Failure> {
        if text.len() == 8 && text.bytes().all(|digit| digit.is_ascii_hexdigit()) {
            return Ok(Self(text.to_ascii_uppercase()));
        }
        let message = format!("{text:?} is no profile identity");
        let help = "write 8 hex digits: the vendor's four and the profile's four, such as AABB1122";
        Err(Failure::of(Problem::of_file("profile-id", "--profile-id", message, help)))
    }
}

/// What the code says.
pub(crate) fn text(join_eui: JoinEui, dev_eui: DevEui, profile: &ProfileId) -> String {
    checked(&format!("LW:D0:{join_eui}:{dev_eui}:{}", profile.0))
}

fn checked(text: &str) -> String {
    format!("{text}:C{:04X}", check_value(text.as_bytes()))
}

/// CRC-16/MODBUS: polynomial 8005 reflected, beginning with FFFF.
fn check_value(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xffff, |sum, byte| {
        (0..8).fold(sum ^ u16::from(*byte), |sum, _| if sum & 1 == 1 { sum >> 1 ^ 0xa001 } else { sum >> 1 })
    })
}

/// The code as a drawing.
pub(crate) fn drawing(text: &str) -> Markup {
    let Some(rows) = modules(text) else { return html! { p { (text) } } };
    let side = rows.len() + 2 * QUIET_ZONE;
    let mut path = String::new();
    for (y, row) in rows.iter().enumerate() {
        let mut x = 0;
        for stretch in row.chunk_by(|one, other| one == other) {
            if stretch.first() == Some(&true) {
                let (left, top, width) = (x + QUIET_ZONE, y + QUIET_ZONE, stretch.len());
                write!(path, "M{left} {top}h{width}v1h-{width}z").expect("a string takes any text");
            }
            x += stretch.len();
        }
    }
    html! {
        svg.qr viewBox={ "0 0 " (side) " " (side) } role="img" aria-label=(text) shape-rendering="crispEdges" {
            path d=(path);
        }
    }
}

/// Rows of dark modules.
fn modules(text: &str) -> Option<Vec<Vec<bool>>> {
    let code = QRBuilder::new(text).ecl(ECL::M).build().ok()?;
    let row = |row: &[fast_qr::Module]| row.iter().map(|module| module.value()).collect();
    Some(code.data.chunks(code.size).take(code.size).map(row).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The published example of TR005, as two public codebases quote it.
    const PUBLISHED: &str =
        "LW:D0:1122334455667788:AABBCCDDEEFF0011:AABB1122:OAABBCCDDEEFF:SYYWWNNNNNN:PFOOBAR:CAF2C";

    #[test]
    fn the_check_value_is_that_of_the_published_example() {
        let before = PUBLISHED.strip_suffix(":CAF2C").expect("it ends so");
        assert_eq!(checked(before), PUBLISHED);
    }

    #[test]
    fn the_fields_stand_in_the_order_of_the_published_example() {
        let join_eui = JoinEui::from_display("1122334455667788").expect("16 digits");
        let dev_eui = DevEui::from_display("AABBCCDDEEFF0011").expect("16 digits");
        let text = text(join_eui, dev_eui, &ProfileId::parse("aabb1122").expect("8 digits"));
        let fields = text.rsplit_once(":C").expect("it has a check value").0;
        assert!(PUBLISHED.starts_with(&format!("{fields}:")), "{fields}");
    }

    #[test]
    fn what_is_drawn_is_read_back() {
        let drawn = drawing(PUBLISHED).into_string();
        let (side, dark) = from_svg(&drawn);
        let scale = 4;
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(side * scale, side * scale, |x, y| {
            if dark.contains(&(x / scale, y / scale)) { 0 } else { 255 }
        });
        let grids = image.detect_grids();
        assert_eq!(grids.len(), 1, "one code is seen");
        assert_eq!(grids[0].decode().expect("it can be read").1, PUBLISHED);
    }

    /// Side and dark modules of a drawing, read from its path.
    fn from_svg(svg: &str) -> (usize, Vec<(usize, usize)>) {
        let between = |text: &str, from: &str, to: &str| {
            text.split_once(from).and_then(|(_, rest)| rest.split_once(to)).expect("it is there").0.to_owned()
        };
        let side = between(svg, "viewBox=\"0 0 ", " ").parse().expect("a number");
        let mut dark = Vec::new();
        for stretch in between(svg, " d=\"M", "\"").split('M') {
            let numbers: Vec<usize> = stretch
                .split([' ', 'h', 'v'])
                .take(3)
                .map(|number| number.parse().expect("a number"))
                .collect();
            dark.extend((numbers[0]..numbers[0] + numbers[2]).map(|x| (x, numbers[1])));
        }
        (side, dark)
    }
}
