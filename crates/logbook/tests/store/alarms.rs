//! Alarms in the log: kept, seen, closed, read back; and the past as the watch is told of it.

use std::path::Path;
use std::sync::mpsc::channel;
use std::sync::{Arc, Mutex};

use logbook::network::Downlink;
use logbook::received::Moment;
use logbook::store::StoreError;
use logbook::store::alarms::{self, Seen, event_of};
use logbook::store::keeper::KeptFrame;
use logbook::store::sqlite::{self, Log};
use logbook::store::telling::{self, Outcome, Tell};
use logbook::store::writer::{Arrival, Listener, Writer};
use logbook::watch::tell::Waiting;
use logbook::watch::{About, Alarm, Change, Event, Key, Rule};
use wire::identity::{DevEui, GatewayEui};

use super::traffic;

#[derive(Clone, Default)]
struct Heard {
    kept: Arc<Mutex<Vec<KeptFrame>>>,
    alive: Arc<Mutex<Vec<(GatewayEui, bool)>>>,
}

impl Listener for Heard {
    fn kept(&mut self, frames: &[KeptFrame]) {
        self.kept.lock().expect("one thread").extend_from_slice(frames);
    }

    fn answer(&mut self, _: &Downlink) {}

    fn trouble(&mut self, trouble: Option<&StoreError>) {
        assert!(trouble.is_none(), "{trouble:?}");
    }

    fn alive(&mut self, gateway: GatewayEui, _: Moment, asks: bool) {
        self.alive.lock().expect("one thread").push((gateway, asks));
    }
}

/// Keeps arrivals; what was heard of them.
fn write(path: &Path, given: u32, arrivals: Vec<Arrival>) -> Heard {
    let heard = Heard::default();
    let log = Log::open(path).expect("it opens");
    let writer = Writer::start(log, traffic::site(given), 0, Box::new(heard.clone())).expect("it starts");
    for arrival in arrivals {
        let (done, kept) = channel();
        let told = move |_: Option<&KeptFrame>| done.send(()).expect("it waits");
        writer.inbox().offer(arrival, Some(Box::new(told))).expect("there is room");
        kept.recv().expect("it is kept");
    }
    writer.stop().expect("it stops");
    heard
}

fn watched(changes: Vec<Change>) -> Arrival {
    Arrival::Watched { changes, tells: Vec::new() }
}

fn alarm(id: i64, rule: Rule, about: About, opened_at: Moment) -> Alarm {
    let evidence = serde_json::from_str(r#"{"silent_s": 2160, "lost_percent": 4.5}"#).expect("JSON");
    Alarm {
        id,
        key: Key { rule, about, of: String::new() },
        opened_at,
        closed_at: None,
        cause: None,
        evidence,
    }
}

#[test]
fn an_alarm_is_kept_seen_explained_closed_and_opened_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let dev_eui: DevEui = traffic::site(10).registry.first().expect("ten are enrolled").dev_eui;
    let gateway = GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 1]);
    let silent = alarm(1, Rule::Silent, About::Node(dev_eui), 1000);
    let away = alarm(2, Rule::GatewayAway, About::Gateway(gateway), 2000);
    let threshold = Alarm {
        key: Key { rule: Rule::Threshold, about: About::Node(dev_eui), of: "frost <b>\u{202e}".to_owned() },
        ..alarm(3, Rule::Threshold, About::Log, 3000)
    };
    let explained = Alarm { cause: Some(2), ..silent.clone() };
    let closed = Alarm { closed_at: Some(4000), ..away.clone() };
    let seen = |by: &str| Seen { at: 3500, by: by.to_owned(), word: "on my way".to_owned() };
    let arrivals = vec![
        watched(vec![Change::Opened(silent), Change::Opened(away.clone())]),
        watched(vec![Change::Opened(threshold.clone()), Change::Explained(explained.clone())]),
        Arrival::Seen { alarm: 1, seen: seen("Ada") },
        Arrival::Seen { alarm: 1, seen: seen("Bo") },
        watched(vec![Change::Closed(closed.clone())]),
    ];
    write(&path, 10, arrivals);
    let log = sqlite::reader(&path).expect("it opens");
    let open = alarms::open_alarms(&log).expect("they are read");
    assert_eq!(open.iter().map(|kept| &kept.alarm).collect::<Vec<_>>(), [&threshold, &explained]);
    assert_eq!(open[1].seen, Some(seen("Ada")), "who saw it first stays");
    assert_eq!(open[0].seen, None);
    let past = |before| {
        let past = alarms::past_alarms(&log, before, 10).expect("they are read");
        past.into_iter().map(|kept| kept.alarm).collect::<Vec<_>>()
    };
    assert_eq!((past(None), past(Some(2))), (vec![closed], vec![]));
    let (known, next) = alarms::known_since(&log, 4001).expect("they are read");
    assert_eq!((known.len(), next), (2, 4), "what was closed before is not known");
    drop(log);

    write(&path, 10, vec![watched(vec![Change::Reopened(away.clone())])]);
    let log = sqlite::reader(&path).expect("it opens");
    assert_eq!(alarms::alarm(&log, 2).expect("it is read").map(|kept| kept.alarm), Some(away));
}

#[test]
fn the_past_is_told_to_the_watch_as_it_was_lived() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let frames = traffic::lines().iter().flat_map(traffic::Line::frames).collect::<Vec<_>>();
    let gateway = GatewayEui::from_display_bytes([2, 0, 0, 0xff, 0xfe, 0, 0, 1]);
    let sign = Arrival::SignOfLife { gateway, at: 5, address: None };
    let arrivals = frames.into_iter().map(|frame| Arrival::Frame(frame, "udp")).chain([sign]).collect();
    let heard = write(&path, 0, arrivals);
    assert_eq!(*heard.alive.lock().expect("free"), [(gateway, false)]);
    let kept = heard.kept.lock().expect("free");
    let genuine = |event: &Event| match event {
        Event::Frame(frame) => frame.dev_eui.is_some() && matches!(frame.what, logbook::watch::What::New(_)),
        _ => false,
    };
    // The traffic is of years ago, when no clock is believed.
    let lived: Vec<(Moment, Event)> = kept
        .iter()
        .filter_map(|kept| event_of(&KeptFrame { clock_unsure: false, ..kept.clone() }))
        .filter(|(_, event)| genuine(event))
        .collect();
    assert!(lived.len() > 100, "{}", lived.len());
    assert!(kept.iter().all(|kept| kept.clock_unsure == event_of(kept).is_none()));
    let log = rusqlite::Connection::open(&path).expect("it opens");
    log.execute_batch("UPDATE frame SET clock_unsure = NULL").expect("sound SQL");
    let mut recalled = Vec::new();
    let newest = alarms::history(&log, 0, |at, event| recalled.push((at, event))).expect("it is read");
    assert_eq!(newest, kept.iter().map(|kept| kept.seq).max().expect("some are kept"));
    recalled.retain(|(_, event)| genuine(event));
    assert_eq!(recalled, lived);
    let (_, Event::Frame(first)) = &recalled[0] else { panic!("it is a frame") };
    let dev_eui = first.dev_eui.expect("genuine");
    let mine = |(_, event): &&(Moment, Event)| matches!(event, Event::Frame(frame) if frame.dev_eui == Some(dev_eui));
    let of_one: Vec<&(Moment, Event)> = recalled.iter().filter(mine).collect();
    let (from, to) = (alarms::first_heard(&log, dev_eui).expect("it is read"), of_one[of_one.len() / 2].0);
    let mut part = alarms::history_of(&log, dev_eui, from.expect("it was heard"), to).expect("it is read");
    part.retain(|(_, event)| genuine(event));
    let before: Vec<&(Moment, Event)> = of_one.iter().copied().filter(|(at, _)| *at < to).collect();
    assert!(!before.is_empty() && part.iter().eq(before), "its own, and not from {to} on");
}

#[test]
fn a_message_waits_until_it_is_taken_and_several_that_go_as_one_count_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let opened = |id| Change::Opened(alarm(id, Rule::Store, About::Log, 1000));
    let tell = |alarm, due| Tell { alarm, way: "desk".to_owned(), due, since: 1000 };
    let arrivals = vec![
        Arrival::Watched {
            changes: (1..=4).map(opened).collect(),
            tells: vec![tell(1, 1000), tell(2, 1000), tell(3, 1000), tell(4, 9000)],
        },
        Arrival::Told { messages: vec![1, 2], outcome: Outcome::Sent(2000) },
        Arrival::Told {
            messages: vec![3],
            outcome: Outcome::Failed { again: Some(5000), at: 2000, why: "no answer".to_owned() },
        },
    ];
    write(&path, 10, arrivals);
    let log = sqlite::reader(&path).expect("it opens");
    let due = |now| telling::due(&log, "desk", now).expect("they are read");
    assert_eq!(due(4999), []);
    let again = Waiting { id: 3, alarm: 3, way: "desk".to_owned(), due: 5000, tries: 1, since: 1000 };
    assert_eq!(due(5000), [again]);
    assert_eq!(due(9000).len(), 2);
    assert_eq!(telling::due(&log, "home", 9000).expect("they are read"), []);
    assert_eq!(telling::given_since(&log, "desk", 1999).expect("it is read"), 1, "two went as one");
    assert_eq!(telling::given_since(&log, "desk", 2000).expect("it is read"), 0);
}
