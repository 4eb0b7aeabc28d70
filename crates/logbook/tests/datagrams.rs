//! Datagrams of gateways: what is sound is read, what is not is refused without a panic.

use logbook::intake::udp::{self, Datagram, DatagramError};
use logbook::received::Checksum;

fn datagram(kind: u8, json: &str) -> Vec<u8> {
    [&[2, 0xd6, 0x68, kind, 2, 0, 0, 0xff, 0xfe, 0, 0, 1], json.as_bytes()].concat()
}

#[test]
fn a_datagram_is_read_with_its_frames() {
    let json = r#"{"rxpk":[
        {"tmst":7,"freq":868.1,"stat":1,"datr":"SF7BW125","rssi":-35,"lsnr":5.1,"size":3,"data":"QUJD","later":{"x":[1]}},
        {"tmst":8,"freq":868.3,"stat":-1,"datr":50000,"data":"_-8","rsig":[{"rssic":-90,"lsnr":-3.5},{"rssic":-80,"lsnr":2}]},
        {"tmst":9,"freq":868.3,"stat":1,"datr":"SF7BW125","size":4,"data":"QUJD"},
        {"freq":1e400}
    ]}"#;
    // A number beyond all floats spoils the whole text.
    assert_eq!(udp::read(&datagram(0, json), 5), Err(DatagramError::Json));
    let json = json.replace("1e400", "1e40");
    let Ok(Datagram::Push { token, gateway, frames, unreadable, .. }) = udp::read(&datagram(0, &json), 5)
    else {
        panic!("it is sound")
    };
    assert_eq!((token, gateway.to_string(), unreadable), ([0xd6, 0x68], "020000FFFE000001".to_owned(), 2));
    let [first, second] = &frames[..] else { panic!("two frames can be read") };
    assert_eq!((first.bytes.as_slice(), first.arrived_at, first.checksum), (&b"ABC"[..], 5, Checksum::Good));
    assert_eq!((first.radio.frequency_hz, first.radio.clock_us), (868_100_000, Some(7)));
    assert_eq!((second.bytes.as_slice(), second.checksum), (&[0xff, 0xef][..], Checksum::Bad));
    // The better of its two antennas.
    assert_eq!((second.radio.rssi_dbm, second.radio.snr_db), (Some(-80.0), Some(2.0)));
}

#[test]
fn a_sign_of_life_and_the_fate_of_an_answer_are_read() {
    let pull = udp::read(&datagram(2, ""), 0);
    assert!(matches!(pull, Ok(Datagram::Pull { token: [0xd6, 0x68], .. })), "{pull:?}");
    for (json, expected) in [
        ("", None),
        (r#"{"txpk_ack":{"error":"NONE"}}"#, None),
        (r#"{"txpk_ack":{"error":"TOO_LATE"}}"#, Some("TOO_LATE")),
    ] {
        let Ok(Datagram::Sent { refused, .. }) = udp::read(&datagram(5, json), 0) else { panic!("{json}") };
        assert_eq!(refused.as_deref(), expected);
    }
}

#[test]
fn what_is_no_datagram_of_a_gateway_is_refused() {
    let json = r#"{"rxpk":[]}"#;
    for length in 0..12 {
        assert_eq!(udp::read(&datagram(0, json)[..length], 0), Err(DatagramError::Length { found: length }));
    }
    let mut other = datagram(0, json);
    other[0] = 1;
    assert_eq!(udp::read(&other, 0), Err(DatagramError::Version { found: 1 }));
    for kind in [1, 3, 4, 6, 255] {
        assert_eq!(udp::read(&datagram(kind, json), 0), Err(DatagramError::Kind { found: kind }));
    }
    let deep = "[".repeat(3000);
    for json in [
        "",
        "{",
        "[]",
        "{\"rxpk\":{}}",
        "{\"rxpk\":[1,2",
        "\u{0}",
        &format!("{{\"rxpk\":{deep}"),
        "{\"rxpk\":[{\"tmst\":1e999}]}",
    ] {
        assert_eq!(udp::read(&datagram(0, json), 0), Err(DatagramError::Json), "{json:.40}");
    }
    let many = format!("{{\"rxpk\":[{}1]}}", "1,".repeat(300));
    assert_eq!(udp::read(&datagram(0, &many), 0), Err(DatagramError::Json));
}

#[test]
fn a_gateway_reports_on_itself_and_a_broken_report_loses_no_frame() {
    // Names of the members: the protocol document, section 4.
    let stat = r#"{"stat":{"time":"2026-11-29 12:00:00 GMT","lati":47.005,"long":13.035,"rxnb":9,"rxok":7,"rxfw":6,"ackr":99.5,"dwnb":2,"txnb":1}}"#;
    let Ok(Datagram::Push { report: Some(report), .. }) = udp::read(&datagram(0, stat), 5) else {
        panic!("a report")
    };
    assert_eq!((report.heard, report.intact, report.passed_on), (Some(9.0), Some(7.0), Some(6.0)));
    assert_eq!((report.answers_received, report.answers_sent), (Some(2.0), Some(1.0)));
    assert_eq!((report.acknowledged_percent, report.place), (Some(99.5), Some((47.005, 13.035))));
    assert_eq!(report.extra, r#"{"time":"2026-11-29 12:00:00 GMT"}"#);
    for broken in ["5", "[]", "\"x\"", r#"{"rxnb":"many"}"#] {
        let json =
            format!(r#"{{"stat":{broken},"rxpk":[{{"freq":868.1,"datr":"SF7BW125","data":"QAAA"}}]}}"#);
        let Ok(Datagram::Push { frames, .. }) = udp::read(&datagram(0, &json), 5) else { panic!("{broken}") };
        assert_eq!(frames.len(), 1, "{broken}");
    }
}
