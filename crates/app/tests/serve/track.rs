//! Something that moves: how sure and how old its positions are, where it stood, and whether it is in its area.

use std::fs;
use std::net::TcpListener;

use rusqlite::Connection;
use serde_json::{Value, json};

use super::valley::{get, page};
use super::{enrol_kind, larkmoor, serve};

const MINUTE: i64 = 60_000_000;
const MORE: &str = r#"
[node.spray-trailer-01]
kind = "spray-trailer.toml"
latitude = "46.98 deg"
longitude = "13.02 deg"
[area.yard]
nodes = ["spray-trailer-01"]
latitude = "46.98 deg"
longitude = "13.02 deg"
radius = "400 m"
"#;

/// A reading of the trailer so many minutes ago: where it is, and how many minutes ago that was found.
fn say(log: &Connection, now: i64, minutes: i64, fix: Option<(f64, f64, i64)>) {
    let at = |minutes: i64| now - minutes * MINUTE;
    let values = json!([
        fix.map(|(north, ..)| north),
        fix.map(|(_, east, _)| east),
        fix.map(|(.., found)| at(found) / 1_000_000),
        3900,
        false
    ]);
    let sql = "INSERT INTO reading (node, at, message, frame, edition, vals, rebuilt, late) \
               SELECT node.id, ?1, 'whereabouts', 1, edition.id, ?2, 0, 0 FROM node, edition WHERE edition.kind = 'Spray trailer'";
    assert_eq!(log.execute(sql, (at(minutes), values.to_string())).expect("sound SQL"), 1);
}

#[test]
fn a_track_says_how_sure_and_how_old_and_whether_it_is_in_its_area() {
    let folder = larkmoor();
    let free = TcpListener::bind("127.0.0.1:0").and_then(|socket| socket.local_addr()).expect("a port");
    let site = folder.path().join("larkmoor.toml");
    let text = fs::read_to_string(&site).expect("it is there");
    let text = text.replace("[serve]\n", &format!("[serve]\npage = \"{free}\"\n")) + MORE;
    fs::write(&site, text).expect("it is written");
    enrol_kind(folder.path(), "spray-trailer.toml");
    let server = serve(folder.path(), &["--passphrase-file", "larkmoor.pass"]);
    let at = page(&server);
    let log = Connection::open(folder.path().join("larkmoor.sqlite")).expect("it opens");
    // There are no frames that these readings came with.
    log.pragma_update(None, "foreign_keys", false).expect("it is off");
    let fields: String = log
        .query_row("SELECT fields FROM edition WHERE kind = 'Spray trailer'", [], |row| row.get(0))
        .expect("one");
    let fields: Value = serde_json::from_str(&fields).expect("JSON");
    let columns = json!(["place_latitude", "place_longitude", "fixed", "battery", "moving"]);
    assert_eq!(fields["whereabouts"], columns);
    let now = logbook::clock::now();
    // In the yard for half an hour, nothing found, then 1.9 km away for an hour; the last is told again.
    say(&log, now, 360, Some((46.98, 13.02, 360)));
    say(&log, now, 330, Some((46.9801, 13.0201, 330)));
    say(&log, now, 300, None);
    say(&log, now, 120, Some((46.99, 13.04, 120)));
    say(&log, now, 60, Some((46.99, 13.0401, 60)));
    say(&log, now, 30, Some((46.99, 13.0401, 60)));
    let track = || -> Value {
        let answer = get(at, "/track/spray-trailer-01?format=json");
        serde_json::from_str(&answer.body).expect("JSON")
    };
    let told = track()["page"].clone();
    assert_eq!(told["fixes"].as_array().map(Vec::len), Some(6), "{told}");
    assert_eq!((&told["fixes"][0]["is_old"], &told["fixes"][1]["is_old"]), (&json!(true), &json!(false)));
    assert_eq!(told["fixes"][0]["fixed_at"]["ago"], told["fixes"][1]["fixed_at"]["ago"], "as old");
    assert_eq!(told["fixes"][3]["latitude_deg"], Value::Null, "nothing was found");
    // 10 m under the open sky, and 1 to 2 m by which positions are rounded.
    let sure = told["fixes"][1]["accuracy_m"].as_f64().expect("metres");
    assert!((11.0..=12.5).contains(&sure), "{sure}");
    let legs = told["legs"].as_array().expect("a list");
    assert_eq!(legs.len(), 3, "{told}");
    assert!(legs[0]["to"].is_null() && legs[0]["stood"]["area"].is_null(), "{}", legs[0]);
    // By hand: 0.0099 degrees north are 1,101 m, 0.0199 degrees east at 47 degrees 1,509 m.
    let metres = legs[1]["went"]["metres"].as_f64().expect("metres");
    assert!((metres - 1868.0).abs() < 20.0, "{metres}");
    assert_eq!(legs[2]["stood"]["area"], "yard");
    let area = &told["areas"][0];
    assert_eq!((&area["is_inside"], area["passes"].as_array().map(Vec::len)), (&json!(false), Some(1)));
    assert_eq!((&told["is_stale"], &area["passes"][0]["is_in"]), (&json!(false), &json!(false)));
    let shown = get(at, "/track/spray-trailer-01").body;
    for said in
        ["It is outside yard", "no position found", "told again", "class=\"ring\"", "class=\"border\""]
    {
        assert!(shown.contains(said), "{said}: {shown}");
    }
    let map: Value = serde_json::from_str(&get(at, "/map.json").body).expect("JSON");
    assert_eq!(map["tracks"][0]["fixes"].as_array().map(Vec::len), Some(4), "each is drawn once");
    assert_eq!(map["areas"][0]["rings"][0].as_array().map(Vec::len), Some(65));
    let places = get(at, "/api/v1/export.geojson?node=spray-trailer-01").body;
    assert!(
        places.contains("46.99") && get(at, "/api/v1/export.geojson?node=nobody").status == 404,
        "{places}"
    );
    assert_eq!(
        get(at, "/api/v1/export.geojson?node=mast-slope").status,
        404,
        "nobody is enrolled by that name"
    );
    // Of one that was found more than three hours ago it is told where it was.
    log.execute("DELETE FROM reading WHERE at > ?", [now - 200 * MINUTE]).expect("sound SQL");
    assert_eq!(track()["page"]["is_stale"], true);
    assert_eq!(server.stop("-TERM").0, Some(0));
}
