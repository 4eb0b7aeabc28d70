//! Messages of other networks.

use design::serve::{MappedContent, MappedPort, MappedValue, Mapping, Pointer, TextForm, TimeForm};
use logbook::mapping::propose::{self, Layouts, Pasted};
use logbook::mapping::{self, Devices, Incoming, Read};
use wire::identity::DevEui;

/// From 1970 to before 2100 \[us\].
const POSSIBLE: std::ops::Range<i64> = 0..4_102_444_800_000_000;

/// What is read is possible and of a known device, and is the same when the message is written in another order and with other
/// blanks; a word that stands in the message is not repeated when it is refused. A place that is proposed can be read.
pub fn holds(bytes: &[u8]) {
    let devices = devices();
    for mapping in [one(), many(), decoded()] {
        let read = mapping::read(&mapping, incoming(bytes), &devices);
        if let Ok(again) = serde_json::from_slice::<serde_json::Value>(bytes)
            && read.is_ok()
        {
            let again = serde_json::to_vec_pretty(&again).expect("it was JSON");
            assert_eq!(mapping::read(&mapping, incoming(&again), &devices), read);
        }
        let refused = match read {
            Err(refused) => vec![refused],
            Ok(Read::Skipped) => Vec::new(),
            Ok(Read::Uplinks(uplinks)) => {
                uplinks.into_iter().filter_map(|uplink| possible(uplink, &devices)).collect()
            }
        };
        for refused in refused {
            assert!(refused.word().starts_with("refused:") && !refused.to_string().contains(SECRET));
        }
    }
    let pasted = [Pasted { incoming: incoming(bytes), arrived_at: 1_790_000_000_000_000 }];
    if let Some(proposed) = propose::propose(&pasted, &devices, &Anything).mapping {
        let Ok(Read::Uplinks(uplinks)) = mapping::read(&proposed, incoming(bytes), &devices) else {
            panic!("it was proposed from this")
        };
        assert!(!uplinks.is_empty());
    }
}

const SECRET: &str = "hush-hush";

fn possible(
    uplink: Result<mapping::Reported, mapping::Unmapped>,
    devices: &Devices,
) -> Option<mapping::Unmapped> {
    match uplink {
        Err(refused) => Some(refused),
        Ok(reported) => {
            let port = reported.content.port();
            assert!(devices.knows(reported.dev_eui) && port.is_none_or(|port| (1..=223).contains(&port)));
            assert!(reported.at.is_none_or(|at| POSSIBLE.contains(&at)));
            match &reported.content {
                mapping::Content::Payload { bytes, .. } => assert!(bytes.len() <= 255),
                mapping::Content::Values(text) => assert!(
                    serde_json::from_str::<serde_json::Value>(text)
                        .is_ok_and(|all| all["status"].is_object())
                ),
            }
            None
        }
    }
}

/// A site whose designs read anything.
struct Anything;

impl Layouts for Anything {
    fn decodes(&self, _dev_eui: DevEui, port: u8, payload: &[u8]) -> bool {
        port > 0 && payload.len() < 256
    }
}

fn devices() -> Devices {
    let dev_eui = DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, 0, 9]);
    Devices { by_name: [("mast".to_owned(), dev_eui)].into() }
}

fn incoming(body: &[u8]) -> Incoming<'_> {
    Incoming { topic: Some("fields/alpha"), path: None, body }
}

fn at(text: &str) -> Pointer {
    Pointer::parse(text).expect("a pointer")
}

fn one() -> Mapping {
    Mapping {
        each: None,
        only_if: None,
        device: at("/who/id"),
        names: false,
        counter: Some(at("/n")),
        content: MappedContent::Payload {
            port: MappedPort::At(at("/p")),
            at: at("/body"),
            form: TextForm::Base64,
        },
        time: Some((at("/at"), TimeForm::Rfc3339)),
        rssi: Some(at("/heard/0/strength")),
        snr: Some(at("/heard/0/quality")),
    }
}

fn many() -> Mapping {
    Mapping {
        each: Some(at("/records")),
        device: at("/unit"),
        counter: Some(at("/count")),
        content: MappedContent::Payload { port: MappedPort::Is(10), at: at("/raw"), form: TextForm::Hex },
        time: Some((at("/when"), TimeForm::Milliseconds)),
        ..one()
    }
}

/// Values that were decoded already.
fn decoded() -> Mapping {
    let value = |column: &str, place: &str, numerator| MappedValue {
        message: "status".to_owned(),
        column: column.to_owned(),
        at: at(place),
        numerator,
        offset: 1,
        denominator: 10,
    };
    let values =
        vec![value("level", "/p", 100), value("open", "/body", 1), value("mode", "/heard/0/strength", -1)];
    Mapping { content: MappedContent::Values(values), ..one() }
}

/// A message of each mapping.
pub fn seeds() -> Vec<Vec<u8>> {
    let single = format!(
        r#"{{"who":{{"id":"0200000000000009"}},"n":7,"p":10,"body":"YAgY2jA=","at":"2026-09-21T14:13:21.35Z",
            "heard":[{{"strength":-68,"quality":-5.3}}],"token":"{SECRET}"}}"#
    );
    let list = r#"{"records":[{"unit":"02:00:00:00:00:00:00:09","count":"7","raw":"6008","when":1790000001354},
        {"unit":"0200000000000009","count":8,"raw":"","when":"1790000002354.5"}]}"#;
    let counts =
        |mapping: &Mapping, body: &str| match mapping::read(mapping, incoming(body.as_bytes()), &devices()) {
            Ok(Read::Uplinks(uplinks)) => uplinks.iter().filter(|uplink| uplink.is_ok()).count(),
            _ => 0,
        };
    assert_eq!((counts(&one(), &single), counts(&many(), list)), (1, 2), "the law has something to read");
    vec![single.into_bytes(), list.as_bytes().to_vec()]
}
