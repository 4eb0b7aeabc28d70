//! Laws that hold for all input, random bytes included.

use proptest::collection::vec;
use proptest::prelude::*;
use wire::field::{Bits, CarrierFrequency, DlSettings};
use wire::frame::{self, Body, Content, Direction, Draft, Frame, FrameControl, Port};
use wire::identity::{DevAddr, DevEui, DevNonce, JoinEui, JoinNonce, NetId};
use wire::join::{self, CfList, JoinAccept};
use wire::key::{AppKey, AppSKey, NwkSKey};
use wire::mac;
use wire::session::Session;

/// Bytes that often look like frames: any header of LoRaWAN's first version, any length.
fn near_frames() -> impl Strategy<Value = Vec<u8>> {
    let header =
        prop_oneof![Just(0x00), Just(0x20), Just(0x40), Just(0x60), Just(0x80), Just(0xa0), any::<u8>()];
    (header, vec(any::<u8>(), 0..270)).prop_map(|(header, mut bytes)| {
        if let Some(first) = bytes.first_mut() {
            *first = header;
        }
        bytes
    })
}

fn short_commands() -> impl Strategy<Value = Vec<u8>> {
    vec(prop_oneof![0..=0x20_u8, any::<u8>()], 0..=15)
}

fn session(dev_addr: DevAddr, nwk_s_key: [u8; 16], app_s_key: [u8; 16]) -> Session {
    Session::new(dev_addr, &NwkSKey::from_bytes(nwk_s_key), &AppSKey::from_bytes(app_s_key))
}

fn control() -> impl Strategy<Value = FrameControl> {
    any::<[bool; 4]>().prop_map(|[adr, request, ack, bit_4]| {
        let mut control = FrameControl::default();
        for (set, with) in [
            (adr, FrameControl::with_adr as fn(FrameControl) -> FrameControl),
            (request, FrameControl::with_adr_ack_request),
            (ack, FrameControl::with_ack),
            (bit_4, FrameControl::with_frame_pending),
        ] {
            control = if set { with(control) } else { control };
        }
        control
    })
}

fn cf_list() -> impl Strategy<Value = Option<CfList>> {
    let frequency =
        (0_u32..1 << 24).prop_map(|steps| CarrierFrequency::from_hz(steps * 100).expect("24 bits of steps"));
    let frequencies = proptest::array::uniform5(frequency).prop_map(CfList::Frequencies);
    let masks = any::<[u16; 6]>().prop_map(CfList::ChannelMasks);
    proptest::option::of(prop_oneof![frequencies, masks])
}

fn join_accept() -> impl Strategy<Value = JoinAccept> {
    (any::<([u8; 3], [u8; 3], [u8; 4])>(), 0..8_u8, 0..16_u8, 0..16_u8, cf_list()).prop_map(
        |((join_nonce, net_id, dev_addr), offset, data_rate, delay, cf_list)| JoinAccept {
            join_nonce: JoinNonce::from_display_bytes(join_nonce),
            net_id: NetId::from_display_bytes(net_id),
            dev_addr: DevAddr::from_display_bytes(dev_addr),
            dl_settings: DlSettings {
                rx1_data_rate_offset: Bits::new(offset).expect("below 8"),
                rx2_data_rate: Bits::new(data_rate).expect("below 16"),
            },
            rx_delay: Bits::new(delay).expect("below 16"),
            cf_list,
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4096))]

    #[test]
    fn parts_of_any_parsed_frame_add_up_to_its_length(bytes in near_frames()) {
        match frame::parse(&bytes) {
            Err(_) => {}
            Ok(Frame::JoinRequest(_)) => prop_assert_eq!(bytes.len(), 23),
            Ok(Frame::JoinAccept(_)) => prop_assert!(bytes.len() == 17 || bytes.len() == 33),
            Ok(Frame::Data(data)) => {
                let port = usize::from(data.port().is_some());
                let sum = 8 + data.options().len() + port + data.encrypted_payload().len() + data.mic().len();
                prop_assert_eq!(sum, bytes.len());
                prop_assert!(bytes.len() <= 255 && data.options().len() <= 15);
            }
        }
    }

    #[test]
    fn random_bytes_are_never_accepted(bytes in near_frames(), keys in any::<([u8; 16], [u8; 16])>()) {
        match frame::parse(&bytes) {
            Err(_) => {}
            Ok(Frame::JoinRequest(request)) => {
                prop_assert!(request.verify(&AppKey::from_bytes(keys.0)).is_err());
            }
            Ok(Frame::JoinAccept(accept)) => {
                prop_assert!(accept.decrypt(&AppKey::from_bytes(keys.0)).is_err());
            }
            Ok(Frame::Data(data)) => {
                let session = session(data.dev_addr(), keys.0, keys.1);
                prop_assert!(data.verify(&session, None).is_err());
            }
        }
    }

    #[test]
    fn commands_read_from_any_bytes_are_read_again_from_their_own_encoding(bytes in short_commands()) {
        let up: Vec<_> = mac::uplink_commands(&bytes).collect();
        let down: Vec<_> = mac::downlink_commands(&bytes).collect();
        let (mut up_again, mut down_again) = (Vec::new(), Vec::new());
        for command in up.iter().flatten() {
            command.encode(&mut up_again);
        }
        for command in down.iter().flatten() {
            command.encode(&mut down_again);
        }
        prop_assert!(up_again.len() <= bytes.len() && down_again.len() <= bytes.len());
        let read: Vec<_> = up.into_iter().flatten().map(Ok).collect();
        prop_assert_eq!(mac::uplink_commands(&up_again).collect::<Vec<_>>(), read);
        let read: Vec<_> = down.into_iter().flatten().map(Ok).collect();
        prop_assert_eq!(mac::downlink_commands(&down_again).collect::<Vec<_>>(), read);
    }

    #[test]
    fn what_is_sealed_is_what_is_read(
        (dev_addr, nwk_s_key, app_s_key) in any::<([u8; 4], [u8; 16], [u8; 16])>(),
        (up, confirmed) in any::<(bool, bool)>(),
        control in control(),
        (fcnt, gap) in (any::<u32>(), 1..0x1_0000_u32),
        port in proptest::option::of(any::<u8>()),
        options in vec(any::<u8>(), 0..=15),
        payload in vec(any::<u8>(), 0..=227),
    ) {
        let session = session(DevAddr::from_display_bytes(dev_addr), nwk_s_key, app_s_key);
        let body = match port.map(Port::new) {
            None => Body::Empty { options: &options },
            Some(None) => Body::Commands(&payload),
            Some(Some(port)) => Body::Application { port, payload: &payload, options: &options },
        };
        let direction = if up { Direction::Up } else { Direction::Down };
        let bytes = Draft { direction, confirmed, control, fcnt, body }.seal(&session).expect("it fits");
        let Ok(Frame::Data(data)) = frame::parse(&bytes) else { panic!("it is a data frame") };
        // Any loss shorter than an epoch is bridged.
        let last_seen = fcnt.checked_sub(gap);
        let verified = data.verify(&session, last_seen);
        if last_seen.is_none() && fcnt > 0xffff {
            prop_assert!(verified.is_err(), "a session starts in the first epoch");
            return Ok(());
        }
        let verified = verified.expect("it is genuine and new");
        prop_assert_eq!((data.direction(), data.confirmed(), data.control()), (direction, confirmed, control));
        prop_assert_eq!((data.dev_addr(), verified.fcnt()), (session.dev_addr(), fcnt));
        match (body, verified.decrypt()) {
            (Body::Empty { options }, Content::Empty) => prop_assert_eq!(data.options(), options),
            (Body::Commands(commands), Content::Commands(read)) => prop_assert_eq!(commands, &*read),
            (Body::Application { port, payload, options }, Content::Application { port: p, payload: read }) => {
                prop_assert_eq!((port, payload, options), (p, &*read, data.options()));
            }
            (body, read) => prop_assert!(false, "{:?} was read as {:?}", body, read),
        }
        prop_assert!(data.verify(&session, Some(fcnt)).is_err(), "a replay");
    }

    #[test]
    fn what_is_granted_is_what_the_device_reads(grant in join_accept(), key in any::<[u8; 16]>()) {
        let key = AppKey::from_bytes(key);
        let bytes = grant.seal(&key);
        let Ok(Frame::JoinAccept(accept)) = frame::parse(&bytes) else { panic!("it is a join-accept") };
        prop_assert_eq!(accept.decrypt(&key), Ok(grant));
    }

    #[test]
    fn what_is_asked_is_what_the_network_reads(
        (join_eui, dev_eui, dev_nonce, key) in any::<([u8; 8], [u8; 8], u16, [u8; 16])>(),
    ) {
        let key = AppKey::from_bytes(key);
        let (join_eui, dev_eui) = (JoinEui::from_wire_bytes(join_eui), DevEui::from_wire_bytes(dev_eui));
        let dev_nonce = DevNonce::from(dev_nonce);
        let bytes = join::seal_request(&key, join_eui, dev_eui, dev_nonce);
        let Ok(Frame::JoinRequest(request)) = frame::parse(&bytes) else { panic!("it is a join-request") };
        let read = request.verify(&key).expect("its own key");
        prop_assert_eq!((read.join_eui(), read.dev_eui(), read.dev_nonce()), (join_eui, dev_eui, dev_nonce));
    }

    #[test]
    fn displayed_identity_reads_back(wire in any::<[u8; 8]>()) {
        let eui = DevEui::from_wire_bytes(wire);
        prop_assert_eq!(DevEui::from_display(&eui.to_string()), Ok(eui));
        prop_assert_eq!(eui.to_wire_bytes(), wire);
    }

    #[test]
    fn text_that_is_no_key_never_panics_and_is_never_repeated(text in "\\PC{0,40}") {
        if let Err(error) = AppKey::from_hex(&text) {
            prop_assert!(text.chars().count() < 6 || !error.to_string().contains(&text));
        }
    }
}
