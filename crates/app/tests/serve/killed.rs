//! A server that is killed at any moment: what it told is in the log, once, and no counter comes back.

use std::collections::BTreeSet;
use std::io::{BufRead as _, Read as _};
use std::time::{Duration, Instant};

use logbook::store::sqlite;
use serde_json::Value;

use super::{enrol, larkmoor, packet, serve, uplink};

/// Kills in CI; the long form asks for more by `OVERWINTER_KILLS`.
const KILLS: usize = 6;

#[test]
fn what_was_told_is_kept_once_whenever_the_server_is_killed() {
    let kills = std::env::var("OVERWINTER_KILLS").ok().and_then(|text| text.parse().ok()).unwrap_or(KILLS);
    let folder = larkmoor();
    let node = enrol(folder.path());
    let begin = || serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    let mut server = begin();
    server.send(2, "");
    server.receive();
    server.hear(&node.request(1), 1_000_000);
    assert_eq!(server.next()["verdict"], "join");
    let session = node.session(&server.receive(), 1);
    let mut told: BTreeSet<u64> = BTreeSet::new();
    let mut next = 0_u32;
    for kill in 0..kills {
        // Moments from 20 to 420 ms, spread by the golden ratio.
        let spread = (0.618_033_988_75 * (kill + 1) as f64).fract();
        let until = Instant::now() + Duration::from_secs_f64(0.02 + 0.4 * spread);
        // What was sent last may not have been kept: it is sent again.
        for fcnt in next.saturating_sub(20)..next {
            send(&server, &uplink(&session, fcnt), fcnt);
        }
        while Instant::now() < until {
            for _ in 0..2 {
                send(&server, &uplink(&session, next), next);
            }
            next += 1;
            std::thread::sleep(Duration::from_micros(300));
        }
        server.child.kill().expect("it is killed");
        server.child.wait().expect("it is gone");
        for line in server.told.by_ref().lines().map_while(Result::ok) {
            // The last line may be torn.
            let Ok(line) = serde_json::from_str::<Value>(&line) else { continue };
            // A quick machine sends more in a run than the law allows in an hour, and the watch says so.
            if line.get("alarm").is_some() {
                continue;
            }
            assert!(["new", "copy", "late"].iter().any(|word| line["verdict"] == *word), "{line}");
            if line["verdict"] != "copy" {
                let fcnt = line["fcnt"].as_u64().expect("a counter");
                assert!(told.insert(fcnt), "{fcnt} was told twice");
            }
        }
        server = begin();
    }
    assert_eq!(server.stop("-TERM").0, Some(0));
    let log = sqlite::reader(&folder.path().join("larkmoor.sqlite")).expect("it opens");
    let mut statement = log
        .prepare("SELECT fcnt, count(*) FROM frame WHERE verdict IN ('new', 'late') GROUP BY session, fcnt")
        .expect("sound SQL");
    let kept: Vec<(u64, u32)> = statement
        .query_map([], |row| Ok((row.get::<_, u32>(0)?.into(), row.get(1)?)))
        .expect("it is read")
        .collect::<Result<_, _>>()
        .expect("it is read");
    assert!(kept.iter().all(|(_, times)| *times == 1), "none is doubled");
    let kept: BTreeSet<u64> = kept.into_iter().map(|(fcnt, _)| fcnt).collect();
    assert!(told.len() > 20 * kills, "{} told in {kills} runs", told.len());
    assert_eq!(told.difference(&kept).count(), 0, "none that was told is lost");
    let sound: String = log.query_row("PRAGMA integrity_check", [], |row| row.get(0)).expect("it is checked");
    assert_eq!(sound, "ok");
}

fn send(server: &super::Server, frame: &[u8], clock: u32) {
    server.send(0, &packet(frame, clock).to_string());
}
