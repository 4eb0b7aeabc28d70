//! Frames: parse, verify, decrypt.

use wire::frame::{self, Body, Content, DataFrame, Direction, Draft, Frame, FrameControl, Port};
use wire::identity::{DevAddr, DevEui, DevNonce, JoinEui};
use wire::join;
use wire::key::{AppKey, AppSKey, NwkSKey};
use wire::session::Session;

use crate::{Recipe, with_bit_turned};

/// A frame that is accepted is what its content makes when it is sealed again, and loses its acceptance with any byte cut
/// off or bit turned. What is sealed is read as it was meant.
pub fn holds(bytes: &[u8]) {
    accepted(bytes);
    sealed(&mut Recipe(bytes));
}

fn session() -> Session {
    let address = DevAddr::from_display_bytes([0x01, 0xa7, 0xc0, 0x4e]);
    Session::new(address, &NwkSKey::from_bytes([0x2b; 16]), &AppSKey::from_bytes([0x0f; 16]))
}

fn accepted(bytes: &[u8]) {
    let app_key = AppKey::from_bytes([7; 16]);
    match frame::parse(bytes) {
        Ok(Frame::Data(data)) => {
            let port = usize::from(data.port().is_some());
            let parts = data.options().len() + port + data.encrypted_payload().len() + data.mic().len();
            assert_eq!(8 + parts, bytes.len(), "the parts add up");
            let session = session();
            let Ok(verified) = data.verify(&session, None) else { return };
            let content = verified.decrypt();
            let again = draft_of(&data, verified.fcnt(), &content).seal(&session).expect("it was a frame");
            assert_eq!(again, bytes);
            refused_when_damaged(bytes, verified.fcnt() as usize);
        }
        Ok(Frame::JoinRequest(request)) => {
            if let Ok(read) = request.verify(&app_key) {
                let again = join::seal_request(&app_key, read.join_eui(), read.dev_eui(), read.dev_nonce());
                assert_eq!(again, bytes);
            }
        }
        Ok(Frame::JoinAccept(_)) | Err(_) => {}
    }
}

/// What the sender must have meant.
fn draft_of<'a>(data: &DataFrame<'a>, fcnt: u32, content: &'a Content) -> Draft<'a> {
    let body = match content {
        Content::Empty => Body::Empty { options: data.options() },
        Content::Commands(commands) => Body::Commands(commands),
        Content::Application { port, payload } => {
            Body::Application { port: *port, payload, options: data.options() }
        }
    };
    let (direction, confirmed, control) = (data.direction(), data.confirmed(), data.control());
    Draft { direction, confirmed, control, fcnt, body }
}

fn is_accepted(bytes: &[u8]) -> bool {
    matches!(frame::parse(bytes), Ok(Frame::Data(data)) if data.verify(&session(), None).is_ok())
}

fn refused_when_damaged(bytes: &[u8], bit: usize) {
    assert!(!is_accepted(&with_bit_turned(bytes, bit)), "bit {bit} is turned");
    let cut = bit % bytes.len();
    assert!(!is_accepted(&bytes[..cut]), "only {cut} bytes of {}", bytes.len());
    assert!(!is_accepted(&[bytes, &[0]].concat()), "a byte too many");
}

fn sealed(recipe: &mut Recipe<'_>) {
    let (kind, flags, fcnt) = (recipe.octet(), recipe.octet(), u16::from_be_bytes(recipe.octets()));
    let (port, damage) = (Port::new(recipe.octet()), usize::from(u16::from_be_bytes(recipe.octets())));
    let options = recipe.rest(usize::from(kind % 16));
    let payload = recipe.rest(200);
    let body = match (port, kind >> 6) {
        (_, 0) => Body::Empty { options },
        (None, _) => Body::Commands(payload),
        (Some(port), _) => Body::Application { port, payload, options },
    };
    let control = if flags & 1 == 1 { FrameControl::default().with_adr() } else { FrameControl::default() };
    let control = if flags & 2 == 2 { control.with_ack() } else { control };
    let direction = if flags & 4 == 4 { Direction::Up } else { Direction::Down };
    let draft = Draft { direction, confirmed: flags & 8 == 8, control, fcnt: fcnt.into(), body };
    let session = session();
    let bytes = draft.seal(&session).expect("it is short enough");
    let Ok(Frame::Data(data)) = frame::parse(&bytes) else { panic!("it is a data frame") };
    let verified = data.verify(&session, None).expect("it is genuine");
    assert_eq!(draft_of(&data, verified.fcnt(), &verified.decrypt()), draft);
    refused_when_damaged(&bytes, damage);
}

/// A frame of each kind.
pub fn seeds() -> Vec<Vec<u8>> {
    let (direction, control, fcnt) = (Direction::Up, FrameControl::default().with_adr(), 7);
    let port = Port::new(10).expect("not 0");
    let bodies = [
        Body::Empty { options: &[2, 6, 255, 20] },
        Body::Commands(&[2, 6, 255, 20]),
        Body::Application { port, payload: b"twelve bytes", options: &[] },
        Body::Application { port, payload: &[0x55; 51], options: &[2] },
    ];
    let draft = |body| Draft { direction, confirmed: false, control, fcnt, body };
    let mut seeds: Vec<Vec<u8>> =
        bodies.into_iter().map(|body| draft(body).seal(&session()).expect("it is short enough")).collect();
    let (join_eui, dev_eui) = (JoinEui::from_wire_bytes([1; 8]), DevEui::from_wire_bytes([2; 8]));
    seeds.push(
        join::seal_request(&AppKey::from_bytes([7; 16]), join_eui, dev_eui, DevNonce::from(3)).to_vec(),
    );
    seeds
}
