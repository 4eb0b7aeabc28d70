//! The registry: what is written is read, nothing is enrolled twice, and what people wrote stays.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

use design::quantity::Angle;
use logbook::registry::{Date, Node, Place, Registry, RegistryError};
use tempfile::TempDir;
use wire::identity::{DevEui, JoinEui};

fn day(day: u8) -> Date {
    Date::new(2026, 11, day).expect("November has it")
}

fn node(name: &str, last: u8) -> Node {
    let values = BTreeMap::from([("dry_level".to_owned(), None), ("wet_level".to_owned(), Some(0.5))]);
    Node {
        name: name.to_owned(),
        kind: "Frost \"mast\" \\ Bürg".to_owned(),
        dev_eui: DevEui::from_display_bytes([0x70, 0xB3, 0xD5, 0, 0, 0, 0, last]),
        join_eui: JoinEui::from_display_bytes([0x70, 0xB3, 0xD5, 0, 0, 0, 1, 0]),
        place: None,
        constants: BTreeMap::from([("wetness".to_owned(), values)]),
        from: day(25),
        until: None,
    }
}

fn fresh() -> (TempDir, PathBuf) {
    let folder = TempDir::new().expect("a folder can be made");
    let path = folder.path().join("registry.toml");
    (folder, path)
}

#[test]
fn what_was_added_is_read_back() {
    let (_folder, path) = fresh();
    let mut registry = Registry::open(&path).expect("none is an empty one");
    registry.add(node("mast-01", 1)).expect("it is free");
    registry.add_hand_over(day(26), &[node("mast-01", 1).dev_eui]);
    registry.add(node("mast-02", 2)).expect("it is free");
    registry.save().expect("it is written");
    let again = Registry::open(&path).expect("it is sound");
    assert_eq!(again.nodes(), [node("mast-01", 1), node("mast-02", 2)]);
    assert_eq!(again.handed_over(node("", 1).dev_eui), Some(day(26)));
    assert_eq!(again.handed_over(node("", 2).dev_eui), None);
}

/// Whatever the machine does besides: rows that are compared with all others would be sixteen times the work.
#[test]
fn the_cost_of_reading_grows_with_the_rows_and_not_with_their_square() {
    let text = |rows: u32| {
        let (_folder, path) = fresh();
        let mut registry = Registry::open(&path).expect("none is an empty one");
        for row in 0..rows {
            let [.., high, low] = row.to_be_bytes();
            let dev_eui = DevEui::from_display_bytes([2, 0, 0, 0, 0, 0, high, low]);
            registry.add(Node { dev_eui, ..node(&format!("mast-{row}"), 0) }).expect("it is free");
        }
        registry.text().to_owned()
    };
    let cost = |text: &str| {
        let once = || {
            let begun = Instant::now();
            Registry::from_text(Path::new("registry.toml"), text.to_owned()).expect("it is sound");
            begun.elapsed().as_secs_f64()
        };
        (0..3).map(|_| once()).fold(f64::INFINITY, f64::min)
    };
    let (small, large) = (text(2_000), text(8_000));
    let linear = (0..4).any(|_| cost(&large) < 8.0 * cost(&small));
    assert!(linear, "four times the rows are more than eight times the work");
}

#[test]
fn a_name_or_an_identity_belongs_to_one_node_at_a_time() {
    let (_folder, path) = fresh();
    let mut registry = Registry::open(&path).expect("none is an empty one");
    registry.add(Node { until: Some(day(27)), ..node("mast-01", 1) }).expect("it is free");
    let refused = registry.add(Node { from: day(26), ..node("mast-02", 1) });
    assert!(matches!(refused, Err(RegistryError::DevEuiTaken { .. })), "{refused:?}");
    let refused = registry.add(Node { from: day(26), ..node("MAST-01", 2) });
    assert!(matches!(refused, Err(RegistryError::NameTaken { .. })), "{refused:?}");
    registry.add(Node { from: day(27), ..node("mast-01", 2) }).expect("the board was changed that day");
    registry.add(Node { from: day(28), ..node("mast-02", 1) }).expect("and put to use elsewhere");
}

#[test]
fn what_people_wrote_stays_as_it_is() {
    let (_folder, path) = fresh();
    let old = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/v1/registry.toml"))
        .expect("the file is there");
    fs::write(&path, &old).expect("it can be written");
    let mut registry = Registry::open(&path).expect("old files open");
    registry.add(node("mast-09", 9)).expect("it is free");
    registry.save().expect("it is written");
    let new = fs::read_to_string(&path).expect("it is there");
    assert!(new.starts_with(&old), "the program only adds to the end");
}

fn place(latitude_deg: f64, longitude_deg: f64) -> Place {
    let [latitude, longitude] = [latitude_deg, longitude_deg].map(Angle::from_degrees);
    Place { latitude, longitude, elevation: None }
}

/// Where it stood before stays true of what was heard before.
#[test]
fn a_node_that_stands_elsewhere_has_another_row_and_keeps_remarks_and_constants() {
    let (_folder, path) = fresh();
    let mut registry = Registry::open(&path).expect("none is an empty one");
    registry.add(node("mast-01", 1)).expect("it is free");
    let remarked = registry.text().to_owned() + "# by the gate\n";
    let mut registry = Registry::from_text(&path, remarked).expect("it is sound");
    registry.add(node("mast-02", 2)).expect("it is free");
    let dev_eui = node("", 1).dev_eui;
    // It stood nowhere: the row gets its place.
    registry.stand(dev_eui, place(46.99, 13.0), day(27)).expect("it is open");
    assert_eq!(registry.nodes()[0], Node { place: Some(place(46.99, 13.0)), ..node("mast-01", 1) });
    // It moves: a row ends and another begins.
    registry.stand(dev_eui, place(46.98, 13.5), day(28)).expect("it is open");
    let [first, other, last] = registry.nodes() else { panic!("three rows: {}", registry.text()) };
    assert_eq!((first.until, first.place), (Some(day(28)), Some(place(46.99, 13.0))));
    assert_eq!(*other, node("mast-02", 2));
    assert_eq!(*last, Node { place: Some(place(46.98, 13.5)), from: day(28), ..node("mast-01", 1) });
    // Again on the same day: no row more.
    registry.stand(dev_eui, place(-33.5, 151.25), day(28)).expect("it is open");
    assert_eq!(registry.nodes().len(), 3);
    assert_eq!(registry.nodes()[2].place, Some(place(-33.5, 151.25)));
    assert!(registry.text().contains("# by the gate"), "{}", registry.text());
    registry.save().expect("it is written");
    assert_eq!(Registry::open(&path).expect("it is sound").nodes(), registry.nodes());
}

#[test]
fn nobody_is_put_where_nothing_can_stand() {
    let (_folder, path) = fresh();
    let mut registry = Registry::open(&path).expect("none is an empty one");
    registry.add(node("mast-01", 1)).expect("it is free");
    let before = registry.text().to_owned();
    let dev_eui = node("", 1).dev_eui;
    for (north, east) in [(90.1, 0.0), (0.0, -180.5), (0.0, f64::INFINITY)] {
        let refused = registry.stand(dev_eui, place(north, east), day(27));
        assert!(matches!(refused, Err(RegistryError::Row { .. })), "{north} {east}: {refused:?}");
    }
    assert!(registry.stand(dev_eui, place(f64::NAN, 0.0), day(27)).is_err(), "no number at all");
    let refused = registry.stand(node("", 2).dev_eui, place(0.0, 0.0), day(27));
    assert!(matches!(refused, Err(RegistryError::Nobody { .. })), "{refused:?}");
    assert_eq!(registry.text(), before);
}

#[test]
fn files_of_schema_1_open() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/v1/registry.toml");
    let registry = Registry::open(&path).expect("old files open");
    let [first, second] = registry.nodes() else { panic!("it has two rows") };
    assert_eq!((first.name.as_str(), first.until), ("frost-mast-01", Date::new(2027, 3, 1)));
    let place = second.place.expect("it has one");
    assert_eq!((place.latitude.degrees(), place.longitude.degrees()), (46.99, 13.0));
    assert_eq!(second.constants["wetness"]["dry_level"], Some(412.0));
    assert_eq!(second.constants["leaf_temperature"]["thermistor_offset"], None);
    assert_eq!(registry.handed_over(first.dev_eui), Date::new(2026, 11, 26));
}

#[test]
fn what_is_wrong_is_said_with_its_line_or_its_node() {
    let row = "schema = 1\n[[node]]\nname = \"a\"\nkind = \"k\"\ndev_eui = \"024C610000000001\"\njoin_eui = \"024C610000000001\"\n";
    for (text, said) in [
        ("schema = 2\nfuture = true\n".to_owned(), "schema 2"),
        ("schema = 1\n\nnodes = []\n".to_owned(), "line 3"),
        (row.to_owned(), "line 2"),
        (format!("{row}from = 2026-02-30\n"), "line 7"),
        (format!("{row}from = 2026-02-03T04:05:06Z\n"), "node a: `from` is no day"),
        (format!("{row}from = 2026-02-03\nuntil = 2026-02-02\n"), "before `from`"),
        (
            format!("{row}from = 2026-02-03\nplace = {{ latitude_deg = nan, longitude_deg = 0.0 }}\n"),
            "beyond -90",
        ),
        (row.replace("0001\"\njoin", "001\"\njoin") + "from = 2026-02-03\n", "15 were given"),
        (row.replace("\"a\"", "\"../a\"") + "from = 2026-02-03\n", "can't be the name"),
    ] {
        let (_folder, path) = fresh();
        fs::write(&path, &text).expect("it can be written");
        let error = Registry::open(&path).expect_err("it is wrong").to_string();
        assert!(error.contains(said), "{text}\n{error}");
    }
}

#[test]
fn the_last_hand_over_of_a_device_counts_whatever_their_order() {
    let (_folder, path) = fresh();
    let mut registry = Registry::open(&path).expect("none is an empty one");
    let device = node("", 1).dev_eui;
    for on in [26, 29, 27] {
        registry.add_hand_over(day(on), &[device, node("", 2).dev_eui]);
    }
    registry.add_hand_over(day(30), &[node("", 2).dev_eui]);
    assert_eq!(registry.handed_over(device), Some(day(29)));
    assert_eq!(registry.handed_over(node("", 2).dev_eui), Some(day(30)));
}
