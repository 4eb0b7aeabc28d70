//! The site's devices, joined and reporting to a log that keeps what they say.

use std::sync::mpsc::channel;

use logbook::network::{Downlink, Member, Network, Plan};
use logbook::received::{Checksum, Moment, Radio, Received};
use logbook::store::StoreError;
use logbook::store::keeper::KeptFrame;
use logbook::store::writer::{Arrival, Inbox, Listener};
use wire::frame::{Body, Direction, Draft, Frame, FrameControl, Port, parse};
use wire::identity::{DevNonce, GatewayEui};
use wire::session::{Session, SessionKeys};

use super::traffic;

/// 2026-09-21, about.
pub(crate) const BEGIN: Moment = 1_790_000_000_000_000;

/// Fails if the log can't be written.
pub(crate) struct Quiet;

impl Listener for Quiet {
    fn kept(&mut self, _: &[KeptFrame]) {}
    fn answer(&mut self, _: &Downlink) {}
    fn trouble(&mut self, trouble: Option<&StoreError>) {
        assert!(trouble.is_none(), "{trouble:?}");
    }
}

pub(crate) fn heard(gateway: GatewayEui, bytes: Vec<u8>, arrived_at: Moment) -> Received {
    let radio = Radio {
        frequency_hz: 868_100_000,
        data_rate: "SF7BW125".to_owned(),
        rssi_dbm: Some(-97.0),
        snr_db: Some(7.5),
        clock_us: None,
        gps_us: None,
        station: None,
    };
    Received { arrived_at, gateway, bytes, checksum: Checksum::Good, radio }
}

/// Hands in what arrives, and waits until it is on the disk: nodes of a valley are rarely heard within 5 ms.
pub(crate) fn keep(inbox: &Inbox, arrival: Arrival) {
    let (tell, done) = channel();
    let done_with = Box::new(move |_: Option<&KeptFrame>| tell.send(()).expect("it is waited for"));
    inbox.offer(arrival, Some(done_with)).expect("there is room");
    done.recv().expect("it is on the disk");
}

/// The join-requests of the site's devices, and the sessions that follow.
pub(crate) fn joined(gateway: GatewayEui) -> (Vec<Received>, Vec<Session>) {
    let site = traffic::site(0);
    let members = traffic::devices().into_iter();
    let members = members.map(|(_, device, join, key)| Member::enrolled(device, join, key, Plan::default()));
    let mut network = Network::new(site.network.clone(), members, site.addresses);
    let join = |(_, device, join, key): (_, _, _, wire::key::AppKey)| {
        let nonce = DevNonce::from(1);
        let request = heard(gateway, wire::join::seal_request(&key, join, device, nonce).to_vec(), BEGIN);
        let joined = network.hear(&request).joined.expect("it joins");
        let Ok(Frame::JoinAccept(accept)) = parse(&joined.accept) else { panic!("a join-accept") };
        let granted = accept.decrypt(&key).expect("its own");
        let keys = SessionKeys::derive(&key, granted.join_nonce, granted.net_id, nonce);
        (request, Session::new(granted.dev_addr, &keys.nwk_s_key, &keys.app_s_key))
    };
    traffic::devices().into_iter().map(join).unzip()
}

pub(crate) fn report(session: &Session, fcnt: u32) -> Vec<u8> {
    let body = Body::Application {
        port: Port::new(10).expect("a port"),
        payload: &[0x60, 0x08, 0xd8, 0xda, 0x30],
        options: &[],
    };
    let control = FrameControl::default();
    let draft = Draft { direction: Direction::Up, confirmed: false, control, fcnt, body };
    draft.seal(session).expect("it fits")
}
