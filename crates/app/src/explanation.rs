//! A captured frame in words: what stands at which byte, and whose it is.

mod command;
mod message;
mod owner;
mod session;

use std::fmt::Write as _;
use std::ops::Range;

use logbook::base64;
use report::problem::{Failure, Problem, Source};
use wire::frame::{self, Content, DataFrame, Direction, Frame, FrameError};
use wire::join::JoinRequest;

pub(crate) use message::KindOf;
pub(crate) use owner::{Owners, owner};
pub(crate) use session::{Known, session};

/// More bytes of a field than this are not shown.
const SHOWN_BYTES: usize = 8;

/// A field of a frame.
pub(crate) struct FrameField {
    at: Range<usize>,
    name: &'static str,
    says: String,
}

/// The bytes of a frame as it was typed, and how they were read.
pub(crate) fn bytes_of(text: &str) -> Result<(Vec<u8>, &'static str), Failure> {
    let sound = |bytes: &[u8]| frame::parse(bytes).is_ok();
    match (hex(text), base64::decode(text.trim())) {
        // Text of hex digits alone is base64 too; only if it makes no frame as hex is it taken for that.
        (Some(hex), Ok(other)) if !sound(&hex) && sound(&other) => Ok((other, "base64")),
        (Some(hex), _) => Ok((hex, "hex")),
        (None, Ok(bytes)) => Ok((bytes, "base64")),
        (None, Err(error)) => {
            let message = format!("this is neither hex nor base64: {error}");
            let help =
                "give the whole frame, header and integrity code included, as 404EC0A7... or as QE7Apw...";
            Err(Failure::of(Problem::of_file("frame", "FRAME", message, help)))
        }
    }
}

fn hex(text: &str) -> Option<Vec<u8>> {
    let text = text.trim();
    let digits: Vec<u32> = text
        .strip_prefix("0x")
        .unwrap_or(text)
        .chars()
        .filter(|letter| !matches!(letter, ' ' | ':' | '-'))
        .map(|letter| letter.to_digit(16))
        .collect::<Option<_>>()?;
    let pairs = digits.as_chunks::<2>();
    let byte = |[high, low]: &[u32; 2]| u8::try_from(high << 4 | low).ok();
    if pairs.1.is_empty() { pairs.0.iter().map(byte).collect() } else { None }
}

/// The frame as a table, or what is wrong at which byte.
pub(crate) fn table(bytes: &[u8]) -> Result<(String, Frame<'_>), Failure> {
    let frame = frame::parse(bytes).map_err(|error| broken(bytes, error))?;
    let (title, rows) = match &frame {
        Frame::JoinRequest(request) => ("a join-request: a device asks to join", join_request(request)),
        Frame::JoinAccept(_) => ("a join-accept: the network lets a device join", join_accept(bytes.len())),
        Frame::Data(data) => (data_title(data), data_rows(data, bytes)),
    };
    let mut text = format!("{title}\n\n");
    for FrameField { at, name, says } in rows {
        let place = if at.len() == 1 { at.start.to_string() } else { format!("{}-{}", at.start, at.end - 1) };
        let octets = bytes.get(at.clone()).unwrap_or_default();
        let place = if at.is_empty() { String::new() } else { place };
        writeln!(text, "  {place:>7}  {:<26} {name:<12} {says}", shown(octets))
            .expect("a string takes any text");
    }
    Ok((text, frame))
}

fn shown(octets: &[u8]) -> String {
    let mut text = String::new();
    for octet in octets.iter().take(SHOWN_BYTES) {
        write!(text, "{octet:02X} ").expect("a string takes any text");
    }
    if octets.len() > SHOWN_BYTES { text + ".." } else { text.trim_end().to_owned() }
}

/// A frame that is none, with the byte that shows it.
fn broken(bytes: &[u8], error: FrameError) -> Failure {
    let options = bytes.get(5).map_or(0, |control| usize::from(control & 0x0f));
    let (at, help) = match error {
        FrameError::Empty => (0, "give the frame itself"),
        FrameError::TooLong { .. } => (frame::MAX_FRAME_LEN, "is this one frame, and nothing else?"),
        FrameError::Major { .. } => {
            (0, "the first byte is no LoRaWAN header: is something in front of the frame, or was it cut?")
        }
        FrameError::Rejoin => (0, "LoRaWAN 1.1 is not read yet"),
        FrameError::Proprietary => (0, "ask the maker of the device"),
        FrameError::JoinRequestLength { found }
        | FrameError::JoinAcceptLength { found }
        | FrameError::DataLength { found } => {
            (found.saturating_sub(1), "the frame was cut off, or has something behind it")
        }
        FrameError::OptionsLength { .. } => {
            (5, "the low four bits of this byte are that length: the frame was cut off or damaged")
        }
        FrameError::OptionsWithPortZero => {
            (8 + options, "this byte is port 0: the device's stack is at fault")
        }
    };
    let text: Vec<String> = bytes.iter().take(at + 40).map(|octet| format!("{octet:02X}")).collect();
    let source = Source::new("FRAME", &text.join(" "));
    let span = (!bytes.is_empty()).then_some(3 * at..3 * at + 2);
    let message = if bytes.is_empty() { error.to_string() } else { format!("byte {at}: {error}") };
    Failure::of(Problem { warning: false, code: "frame", source, span, message, help: help.to_owned() })
}

fn join_request(request: &JoinRequest<'_>) -> Vec<FrameField> {
    let row = |at: Range<usize>, name, says: String| FrameField { at, name, says };
    vec![
        row(0..1, "header", "join-request, LoRaWAN R1".to_owned()),
        row(1..9, "JoinEUI", format!("{} (travels least significant byte first)", request.join_eui())),
        row(9..17, "DevEUI", format!("{} (travels least significant byte first)", request.dev_eui())),
        row(
            17..19,
            "DevNonce",
            format!(
                "{}: the device's count of attempts, or a random number before 1.0.4",
                u16::from(request.dev_nonce())
            ),
        ),
        row(19..23, "MIC", "integrity code, made with the AppKey".to_owned()),
    ]
}

fn join_accept(length: usize) -> Vec<FrameField> {
    let list = if length == 33 { ", with a channel list" } else { "" };
    vec![
        FrameField { at: 0..1, name: "header", says: "join-accept, LoRaWAN R1".to_owned() },
        FrameField {
            at: 1..length,
            name: "encrypted",
            says: format!("JoinNonce, NetID, DevAddr, windows, MIC{list}: only the AppKey opens them"),
        },
    ]
}

fn data_title(data: &DataFrame<'_>) -> &'static str {
    match (data.direction(), data.confirmed()) {
        (Direction::Up, false) => "data from a device, no acknowledgement asked for",
        (Direction::Up, true) => "data from a device that asks for an acknowledgement",
        (Direction::Down, false) => "data to a device, no acknowledgement asked for",
        (Direction::Down, true) => "data to a device, an acknowledgement asked for",
    }
}

fn data_rows(data: &DataFrame<'_>, bytes: &[u8]) -> Vec<FrameField> {
    let row = |at: Range<usize>, name, says: String| FrameField { at, name, says };
    let options_end = 8 + data.options().len();
    let mic_start = bytes.len().saturating_sub(4);
    let kind = if data.confirmed() { "confirmed data" } else { "unconfirmed data" };
    let way = if data.direction() == Direction::Up { "up" } else { "down" };
    let mut rows = vec![
        row(0..1, "header", format!("{kind} {way}, LoRaWAN R1")),
        row(1..5, "DevAddr", format!("{}: not unique, the keys decide whose it is", data.dev_addr())),
        row(5..6, "FCtrl", control(data)),
        row(6..8, "FCnt", format!("{}: the 16 low bits of the counter", data.carried_fcnt())),
    ];
    if !data.options().is_empty() {
        rows.push(row(8..options_end, "FOpts", "MAC commands, in the clear:".to_owned()));
        let said = command::commands(data.options(), data.direction());
        rows.extend(said.into_iter().map(|says| row(0..0, "", says)));
    }
    match data.port() {
        None => rows.push(row(0..0, "FPort", "none: the frame carries no payload".to_owned())),
        Some(port) => {
            rows.push(row(options_end..options_end + 1, "FPort", format!("{port}: {}", port_words(port))));
            let payload = data.encrypted_payload().len();
            let key = if port == 0 { "NwkSKey" } else { "AppSKey" };
            let says = format!("{}, encrypted with the {key}", report::words::count(payload, "byte"));
            rows.push(row(options_end + 1..mic_start, "FRMPayload", says));
        }
    }
    rows.push(row(
        mic_start..bytes.len(),
        "MIC",
        "integrity code, made with the NwkSKey and all 32 bits of the counter".to_owned(),
    ));
    rows
}

fn port_words(port: u8) -> &'static str {
    match port {
        0 => "MAC commands",
        1..=223 => "a message of the application",
        224 => "the test protocol",
        225.. => "reserved",
    }
}

fn control(data: &DataFrame<'_>) -> String {
    let flags = data.control();
    let up = data.direction() == Direction::Up;
    let said = [
        (flags.adr(), "ADR: the network sets the data rate"),
        (up && flags.adr_ack_request(), "ADRACKReq: am I still heard?"),
        (flags.ack(), "ACK: the last confirmed frame arrived"),
        (up && flags.class_b(), "class B"),
        (!up && flags.frame_pending(), "FPending: more is waiting"),
    ];
    let mut said: Vec<String> =
        said.into_iter().filter(|(set, _)| *set).map(|(_, words)| words.to_owned()).collect();
    said.push(format!("{} of MAC commands", report::words::count(data.options().len(), "byte")));
    said.join("; ")
}

/// What a data frame carries: its values where it can be opened, else which message it may be.
pub(crate) fn content(frame: &Frame<'_>, known: Option<&Known>, kinds: &[KindOf<'_>]) -> String {
    let Frame::Data(data) = frame else { return String::new() };
    let way = way(data.direction());
    let Some(known) = known else {
        return match data.port() {
            Some(port @ 1..) if !kinds.is_empty() => {
                message::messages(port, data.encrypted_payload().len(), Some(way), kinds)
            }
            _ => String::new(),
        } + "Encrypted: --session FILE opens it\n";
    };
    let Some(verified) = known.verify(data) else {
        return "MIC      not made with the keys of this session: another device's, an old frame, or damaged\n".to_owned();
    };
    let counter = verified.fcnt();
    let said = match verified.decrypt() {
        Content::Empty => String::new(),
        Content::Commands(octets) => command::commands(&octets, data.direction()).join("\n") + "\n",
        Content::Application { port, payload } => message::values(port.get(), &payload, Some(way), kinds),
    };
    format!("MIC      made with the keys of this session; all 32 bits of the counter are {counter}\n{said}")
}

/// The values of a payload in clear.
pub(crate) fn payload(text: &str, port: u8, kinds: &[KindOf<'_>]) -> Result<String, Failure> {
    let bytes = hex(text).or_else(|| base64::decode(text.trim()).ok()).ok_or_else(|| {
        let message = "this payload is neither hex nor base64".to_owned();
        Failure::of(Problem::of_file("frame", "FRAME", message, "give the bytes of the application alone"))
    })?;
    Ok(message::values(port, &bytes, None, kinds))
}

/// The values of a payload in clear that is at hand as bytes.
pub(crate) fn values(
    port: u8,
    payload: &[u8],
    way: design::message::Direction,
    kinds: &[KindOf<'_>],
) -> String {
    message::values(port, payload, Some(way), kinds)
}

fn way(direction: Direction) -> design::message::Direction {
    match direction {
        Direction::Up => design::message::Direction::Up,
        Direction::Down => design::message::Direction::Down,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The report of the frost mast among the vectors of the crate `wire`.
    const HEX: &str = "404EC0A7018002010AD2DA28E7A5CFB89A762761CF34BB6041";

    #[test]
    fn hex_and_base64_of_one_frame_are_the_same_bytes() {
        let (bytes, how) = bytes_of(HEX).expect("it is hex");
        assert_eq!(how, "hex");
        for (text, expected) in [
            ("40 4e c0 a7 01 80 02 01 0a d2 da 28 e7 a5 cf b8 9a 76 27 61 cf 34 bb 60 41", "hex"),
            ("0x404EC0A7018002010AD2DA28E7A5CFB89A762761CF34BB6041", "hex"),
            ("QE7ApwGAAgEK0too56XPuJp2J2HPNLtgQQ==", "base64"),
            ("QE7ApwGAAgEK0too56XPuJp2J2HPNLtgQQ", "base64"),
        ] {
            assert_eq!(bytes_of(text).expect("it is a frame"), (bytes.clone(), expected), "{text}");
        }
        assert!(bytes_of("404EC0!").is_err());
    }

    #[test]
    fn every_byte_of_a_frame_is_explained_once() {
        for text in
            [HEX, "00ffffff6b72614c020100006b72614c0201005d1c62fa", "202b8f48bf3e671680df06b1c9c8ee3071"]
        {
            let (bytes, _) = bytes_of(text).expect("it is hex");
            let rows = match frame::parse(&bytes).expect("it is a frame") {
                Frame::JoinRequest(request) => join_request(&request),
                Frame::JoinAccept(_) => join_accept(bytes.len()),
                Frame::Data(data) => data_rows(&data, &bytes),
            };
            let covered: Vec<usize> = rows.into_iter().flat_map(|row| row.at).collect();
            assert_eq!(covered, (0..bytes.len()).collect::<Vec<_>>(), "{text}");
        }
    }

    #[test]
    fn a_frame_that_is_none_is_pointed_at() {
        for (text, said) in [
            ("", "empty"),
            ("414EC0A701", "byte 0"),
            ("404EC0A701", "byte 4: a data frame has at least 12"),
            ("404EC0A7010F0200019543787600", "byte 5"),
            ("404EC0A701010200020095437876", "byte 9"),
            ("00ffffff6b72614c02", "byte 8: a join-request has 23"),
        ] {
            let bytes = hex(text).expect("it is hex");
            let error = table(&bytes).map(|(text, _)| text).expect_err("it is no frame").render();
            assert!(error.contains(said), "{text}: {error}");
        }
    }
}
