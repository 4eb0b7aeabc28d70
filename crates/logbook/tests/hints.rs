//! What the network says beside a verdict, so that a person finds the cause: each in words.

#[expect(dead_code, reason = "other tests need the rest")]
mod valley;

use design::serve::Answers;
use logbook::network::{Hint, Network, Plan, Refusal, Verdict};
use valley::{Device, START, copy, setup};
use wire::identity::{DevNonce, JoinEui};
use wire::join;
use wire::key::AppKey;

fn network(members: Vec<logbook::network::Member>) -> Network<impl FnMut() -> wire::identity::DevAddr> {
    Network::new(setup("EU868", Answers::Never), members, valley::addresses())
}

#[test]
fn a_device_eui_in_the_order_of_the_air_is_recognised() {
    let device = Device::new(1);
    let mut network = network(vec![device.member(Plan::default())]);
    let reversed = device.dev_eui.byte_reversed();
    let request = join::seal_request(&device.key, device.join_eui, reversed, DevNonce::from(0));
    let heard = network.hear(&copy(&request, 1, START, 0.0));
    assert_eq!(heard.verdict, Verdict::Refused(Refusal::UnknownDevice));
    assert_eq!(heard.hint, Some(Hint::DevEuiReversed(device.dev_eui)));
    assert!(heard.hint.expect("there is one").to_string().contains("0200000000000101"));
    let stranger =
        join::seal_request(&device.key, device.join_eui, Device::new(9).dev_eui, DevNonce::from(0));
    assert_eq!(network.hear(&copy(&stranger, 1, START, 0.0)).hint, None);
}

#[test]
fn another_join_server_is_named_or_recognised_as_reversed() {
    let device = Device::new(1);
    let mut network = network(vec![device.member(Plan::default())]);
    let other = JoinEui::from_display_bytes([9; 8]);
    for (found, hint) in [
        (device.join_eui.byte_reversed(), Hint::JoinEuiReversed(device.join_eui)),
        (other, Hint::OtherJoinEui { found: other, registered: device.join_eui }),
    ] {
        let request = join::seal_request(&device.key, found, device.dev_eui, DevNonce::from(0));
        let heard = network.hear(&copy(&request, 1, START, 0.0));
        assert_eq!(heard.verdict, Verdict::Refused(Refusal::UnknownDevice));
        assert_eq!(heard.hint, Some(hint));
    }
}

#[test]
fn a_device_whose_row_is_closed_is_known_by_its_key_and_nothing_of_it_is_accepted() {
    let mut device = Device::new(1);
    let mut member = device.member(Plan::default());
    member.retired = true;
    let mut network = network(vec![member]);
    let heard = network.hear(&copy(&device.request(), 1, START, 0.0));
    assert_eq!((heard.verdict, heard.hint), (Verdict::Refused(Refusal::UnknownDevice), Some(Hint::Retired)));
    let forged =
        join::seal_request(&AppKey::from_bytes([9; 16]), device.join_eui, device.dev_eui, DevNonce::from(1));
    assert_eq!(network.hear(&copy(&forged, 1, START, 0.0)).hint, None, "another key is not its own");
}

/// TS001-1.0.4, clause 6.2.5: the nonce counts up in 16 bits and is never used again.
#[test]
fn a_device_that_has_nearly_used_up_its_joins_is_warned_of() {
    let mut device = Device::new(1);
    let mut network = network(vec![device.member(Plan::default())]);
    for (dev_nonce, hint) in [
        (64_999, None),
        (65_000, Some(Hint::NoncesEnd { left: 535 })),
        (65_535, Some(Hint::NoncesEnd { left: 0 })),
    ] {
        let request =
            join::seal_request(&device.key, device.join_eui, device.dev_eui, DevNonce::from(dev_nonce));
        let heard = network.hear(&copy(&request, 1, START, 0.0));
        assert_eq!((heard.verdict, heard.hint), (Verdict::Join, hint));
    }
    device.dev_nonce = 0;
    let over = network.hear(&copy(&device.request(), 1, START, 0.0));
    assert!(matches!(over.verdict, Verdict::Refused(Refusal::Nonce { found: 0, last: 65_535 })));
}

/// A device that joins twice before it reports speaks in the newer session; what it says in the older one is a recording.
#[test]
fn a_second_join_closes_the_one_that_was_not_used() {
    let mut device = Device::new(1);
    let mut network = network(vec![device.member(Plan::default())]);
    let first = network.hear(&copy(&device.request(), 1, START, 0.0)).joined.expect("it joins");
    assert!(device.joins(&first.accept));
    let early = device.says(&[]);
    let second = network.hear(&copy(&device.request(), 1, START, 0.0)).joined.expect("it joins again");
    assert!(device.joins(&second.accept));
    let old = network.hear(&copy(&early, 1, START, 0.0));
    assert_eq!(old.verdict, Verdict::Refused(Refusal::OldSession));
    let heard = network.hear(&copy(&device.says(&[]), 1, START, 0.0));
    assert_eq!(heard.verdict, Verdict::New);
    assert!(heard.uplink.expect("it carries something").opens);
}

#[test]
fn a_frame_on_a_strange_frequency_is_accepted_and_remarked_on() {
    let mut device = Device::new(1);
    let mut network = network(vec![device.member(Plan::default())]);
    let mut received = copy(&device.request(), 1, START, 0.0);
    received.radio.frequency_hz = 903_900_000;
    let heard = network.hear(&received);
    assert_eq!(heard.verdict, Verdict::Join);
    assert_eq!(heard.hint, Some(Hint::Channel { frequency_hz: 903_900_000 }));
    assert!(heard.hint.expect("there is one").to_string().contains("903.900 MHz"));
}

#[test]
fn a_foreign_frame_under_an_address_of_ours_is_told_to_be_possibly_a_strangers() {
    let mut device = Device::new(1);
    let mut network = network(vec![device.member(Plan::default())]);
    let joined = network.hear(&copy(&device.request(), 1, START, 0.0)).joined.expect("it joins");
    assert!(device.joins(&joined.accept));
    let mut bytes = device.says(&[]);
    *bytes.last_mut().expect("it has bytes") ^= 1;
    let heard = network.hear(&copy(&bytes, 1, START, 0.0));
    assert_eq!((heard.verdict, heard.hint), (Verdict::Refused(Refusal::Mic), Some(Hint::SharedAddress)));
}
