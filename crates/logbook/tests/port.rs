//! The sample traffic through a real UDP port: nothing is lost or doubled at any pace.

mod traffic;

use std::sync::mpsc::{Sender, channel};
use std::time::{Duration, Instant};

use logbook::intake::gateways::Gateways;
use logbook::network::Downlink;
use logbook::store::StoreError;
use logbook::store::keeper::KeptFrame;
use logbook::store::sqlite::{self, Log};
use logbook::store::writer::{Listener, Writer};
use tokio::net::UdpSocket;

struct Heard(Sender<KeptFrame>);

impl Listener for Heard {
    fn kept(&mut self, frames: &[KeptFrame]) {
        for frame in frames {
            let _gone = self.0.send(frame.clone());
        }
    }

    fn answer(&mut self, _: &Downlink) {}

    fn trouble(&mut self, trouble: Option<&StoreError>) {
        assert!(trouble.is_none(), "{trouble:?}");
    }
}

/// Sends the traffic at a pace to a server that is started for it; what became of each frame.
async fn send(per_second: u32) -> (Vec<KeptFrame>, usize) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("log.sqlite");
    let (kept, told) = channel();
    let log = Log::open(&path).expect("it opens");
    let writer = Writer::start(log, traffic::site(0), 0, Box::new(Heard(kept))).expect("it starts");
    let gateways = Gateways::listen("127.0.0.1:0".parse().expect("an address")).await.expect("a port");
    let to = gateways.address().expect("it has one");
    let inbox = writer.inbox();
    let hearing = tokio::spawn(async move { gateways.hear(&inbox).await });
    let socket = UdpSocket::bind("127.0.0.1:0").await.expect("a port");
    let lines = traffic::lines();
    let (begun, mut acknowledged) = (Instant::now(), 0);
    for (index, line) in (0_u32..).zip(&lines) {
        let due = begun + Duration::from_secs(1) * index / per_second;
        tokio::time::sleep_until(due.into()).await;
        socket.send_to(&line.octets, to).await.expect("it is sent");
        let mut answer = [0; 16];
        while let Ok(length) = socket.try_recv(&mut answer) {
            acknowledged += usize::from(length == 4 && answer[3] == 1);
        }
    }
    // The last of them lie in the port.
    tokio::time::sleep(Duration::from_millis(500)).await;
    let mut answer = [0; 16];
    while let Ok(length) = socket.try_recv(&mut answer) {
        acknowledged += usize::from(length == 4 && answer[3] == 1);
    }
    hearing.abort();
    let _aborted = hearing.await;
    writer.stop().expect("all is kept");
    let log = sqlite::reader(&path).expect("it opens");
    let doubled: i64 = log
        .query_row(
            "SELECT count(*) FROM (SELECT 1 FROM frame WHERE verdict IN ('new', 'late') GROUP BY session, fcnt \
             HAVING count(*) > 1)",
            [],
            |row| row.get(0),
        )
        .expect("sound SQL");
    assert_eq!(doubled, 0);
    (told.into_iter().collect(), acknowledged)
}

#[tokio::test]
async fn the_sample_traffic_meets_its_expectations_at_500_and_2000_datagrams_a_second() {
    for per_second in [500, 2000] {
        let (kept, acknowledged) = send(per_second).await;
        let lines = traffic::lines();
        let with_frame: Vec<&traffic::Line> = lines.iter().filter(|line| !line.frames().is_empty()).collect();
        assert_eq!(kept.len(), with_frame.len(), "at {per_second}/s");
        for (line, kept) in with_frame.iter().zip(&kept) {
            assert!(
                line.expected.iter().any(|word| word == kept.verdict),
                "event {}: {}",
                line.event,
                kept.verdict
            );
            if kept.verdict == "new" {
                let found = (
                    kept.name.as_deref().map(str::to_owned),
                    kept.fcnt.map(u64::from),
                    kept.port.map(u64::from),
                );
                assert_eq!(found, (line.node.clone(), line.fcnt, line.port), "event {}", line.event);
            }
            let values = kept.message.iter().flat_map(|told| &told.values);
            for value in values.filter(|_| kept.verdict != "copy") {
                let expected = line.values.get(&*value.name).and_then(serde_json::Value::as_f64);
                let found = value.value.as_f64();
                let same = expected.zip(found).is_some_and(|(one, other)| (one - other).abs() < 1e-9);
                assert!(same || expected.is_none() && found.is_none(), "event {} {}", line.event, value.name);
            }
        }
        assert!(acknowledged >= with_frame.len(), "{acknowledged} of {}", with_frame.len());
    }
}
