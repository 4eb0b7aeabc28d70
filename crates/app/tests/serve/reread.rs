//! The site file and its designs, read anew by a signal while frames come.

use std::fs;
use std::io::BufRead as _;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use serde_json::json;

use super::{GATEWAY, Server, enrol, larkmoor, packet, serve, uplink};

fn hang_up(server: &Server) {
    let number = server.child.id().to_string();
    assert!(Command::new("kill").args(["-HUP", &number]).status().expect("it is asked").success());
}

fn until_said(server: &mut Server, words: &str) -> String {
    let mut all = String::new();
    let until = Instant::now() + Duration::from_mins(1);
    while !all.contains(words) {
        assert!(Instant::now() < until, "{all}");
        assert!(server.complained.read_line(&mut all).expect("it is text") > 0, "it ended: {all}");
    }
    all
}

/// A gateway sends on all the time; each counter is kept exactly once, through three readings anew, of which one fails.
#[test]
fn files_are_read_anew_by_a_signal_and_no_frame_is_lost() {
    let folder = larkmoor();
    let node = enrol(folder.path());
    let mut server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    server.send(2, "");
    server.receive();
    server.hear(&node.request(1), 1_000_000);
    assert_eq!(server.next()["verdict"], "join");
    let session = node.session(&server.receive(), 1);
    let (stop, sent) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
    let sending = thread::spawn({
        let (stop, sent) = (Arc::clone(&stop), Arc::clone(&sent));
        let socket = server.gateway.try_clone().expect("it has two ends");
        move || {
            while !stop.load(Ordering::Relaxed) {
                let counter = sent.load(Ordering::Relaxed);
                let frame = packet(&uplink(&session, counter), 20_000_000 + 50_000 * counter).to_string();
                let datagram = [&[2, 0x12, 0x34, 0][..], &GATEWAY, frame.as_bytes()].concat();
                // A datagram that finds nobody is what this is about.
                socket.send(&datagram).expect("somebody listens all the time");
                sent.store(counter + 1, Ordering::Relaxed);
                thread::sleep(Duration::from_millis(50));
            }
        }
    });
    let site = folder.path().join("larkmoor.toml");
    let text = fs::read_to_string(&site).expect("it is there");
    let renamed = text.replacen("name = \"", "name = \"New ", 1);
    fs::write(&site, &renamed).expect("it is written");
    hang_up(&server);
    until_said(&mut server, "were read anew");
    // The greeting is that of the file as it is now.
    until_said(&mut server, "New Larkmoor: the log is");
    fs::write(&site, format!("{renamed}\n[serve.gatewais]\n")).expect("it is written");
    hang_up(&server);
    let said = until_said(&mut server, "those of before stay in force");
    assert!(said.contains("gatewais"), "{said}");
    fs::write(&site, &renamed).expect("it is written");
    hang_up(&server);
    until_said(&mut server, "were read anew");
    thread::sleep(Duration::from_millis(300));
    stop.store(true, Ordering::Relaxed);
    sending.join().expect("it has ended");
    let count = sent.load(Ordering::Relaxed);
    assert!(count > 10, "{count}");
    for counter in 0..count {
        let told = server.next();
        assert_eq!((&told["verdict"], &told["fcnt"]), (&json!("new"), &json!(counter)), "{told}");
    }
    assert_eq!(server.stop("-TERM").0, Some(0));
}
