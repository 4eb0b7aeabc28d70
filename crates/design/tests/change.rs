//! A variant of a design: one key changed, checked as the file is checked, everything else as it was.
#![expect(clippy::float_cmp, reason = "figures are passed through unchanged")]

use design::catalog::Catalog;
use design::change::Change;
use design::file::{parse, parse_fleet};
use design::manual::{commented_example, commented_site};
use design::message::Meaning;
use design::node::{Design, Step};
use design::part::GateBand;
use design::quantity::{
    Angle, Charge, Current, Dbm, Decibels, Duration, Length, Share, Temperature, Uncertain, Voltage,
};
use design::schedule::{Months, Schedule};

fn design() -> Design {
    resolved(&commented_example()).expect("resolves")
}

fn resolved(text: &str) -> Result<Design, String> {
    let resolved = design::resolve::resolve(&Catalog::builtin(), &parse(text));
    resolved.map(|resolved| resolved.design).map_err(|found| found[0].message.clone())
}

fn board() -> (String, String) {
    ("board".to_owned(), "report".to_owned())
}

#[test]
fn a_change_sets_its_key_and_leaves_the_rest() {
    let before = design();
    let changed = before.with(Change::Tilt(Angle::from_degrees(75.0))).expect("a tilt");
    let (old, new) = (before.panel.as_ref().expect("a panel"), changed.panel.as_ref().expect("a panel"));
    assert_eq!(new.tilt, Angle::from_degrees(75.0));
    let undone = changed.with(Change::Tilt(old.tilt)).expect("the old tilt");
    assert_eq!(format!("{undone:?}"), format!("{before:?}"));
    assert_ne!(format!("{changed:?}"), format!("{before:?}"));
}

/// The rules that a value written in the file must keep are those of a change, word for word.
#[test]
fn a_change_is_refused_for_what_the_file_would_be_refused_for() {
    let (load, activity) = board();
    let text = commented_example();
    for (change, key, from, to) in [
        (
            Change::Tilt(Angle::from_degrees(120.0)),
            "panel.tilt",
            "\ntilt = \"60 deg\"",
            "\ntilt = \"120 deg\"",
        ),
        (
            Change::Interval { load: load.clone(), activity: activity.clone(), every: Duration::ZERO },
            "load.board.activity.report.every",
            "\nevery = \"10 min\"",
            "\nevery = \"0 min\"",
        ),
        (
            Change::SleepCurrent { load, floor: Uncertain::exact(Current::from_milliamperes(30_000.0)) },
            "load.board.floor",
            "\nfloor = \"4 uA +- 50 %\"",
            "\nfloor = \"30 A\"",
        ),
        (
            Change::WithoutOutage(Share::from_percent(100.0)),
            "promise.without_outage",
            "\n#without_outage = \"95 %\"",
            "\nwithout_outage = \"100 %\"",
        ),
        (Change::DataRate(9), "radio.data_rate", "\ndata_rate = \"DR3\"", "\ndata_rate = \"DR9\""),
        (
            Change::Battery("nmc-18651".to_owned()),
            "battery.part",
            "\npart = \"nmc-18650\"",
            "\npart = \"nmc-18651\"",
        ),
    ] {
        assert!(text.contains(from), "{from}");
        let wrong = text.replacen(from, to, 1);
        match (design().with(change), resolved(&wrong)) {
            (Err(refused), Err(message)) => {
                assert_eq!(refused.key, key);
                assert!(message.contains(&refused.message), "{message} / {}", refused.message);
                assert!(!refused.help.is_empty(), "{key}");
            }
            (changed, written) => panic!("{key}: {changed:?} but {written:?}"),
        }
    }
}

#[test]
fn what_followed_from_the_old_value_follows_from_the_new_one() {
    let iron = design()
        .with(Change::Charger("linear-lfp".to_owned()))
        .and_then(|design| design.with(Change::Battery("lfp-18650".to_owned())));
    let iron = iron.expect("they suit each other");
    assert_eq!(iron.battery.name, "lfp-18650");
    assert!(
        iron.cutoff.restarts_above < design().cutoff.restarts_above,
        "an iron phosphate cell rests lower"
    );
}

#[test]
fn a_battery_above_whose_limit_the_charger_goes_is_refused() {
    let refused = design().with(Change::Battery("lfp-18650".to_owned())).expect_err("4.2 V on a 3.6 V cell");
    assert!(refused.message.contains("3.6 V"), "{refused:?}");
}

#[test]
fn a_panel_is_changed_and_its_mounting_stays() {
    let changed = design().with(Change::Panel("panel-2w".to_owned())).expect("in the catalogue");
    let (old, new) = (design(), changed.panel.as_ref().expect("a panel").clone());
    let old = old.panel.as_ref().expect("a panel");
    assert_eq!(new.panel.power.nominal.watts(), 2.0);
    assert_eq!((new.tilt, new.azimuth, new.soiling), (old.tilt, old.azimuth, old.soiling));
}

#[test]
fn each_kind_of_change_reaches_its_value() {
    let (load, activity) = board();
    let with = |change| design().with(change).expect("in range");
    let rows = vec![(Share::from_percent(50.0), Some(Duration::from_hours(1.0))), (Share::ZERO, None)];
    let by_charge =
        with(Change::IntervalByCharge { load: load.clone(), activity: activity.clone(), rows: rows.clone() });
    let every_month: Vec<_> = rows.iter().map(|(charge, every)| (*charge, [*every; 12])).collect();
    assert_eq!(by_charge.loads[0].activities[0].every.rows(), every_month);
    let every = Duration::from_minutes(7.0);
    let fixed = by_charge.with(Change::Interval { load: load.clone(), activity: activity.clone(), every });
    assert_eq!(fixed.expect("in range").loads[0].activities[0].every, Schedule::fixed(every));
    let mut table = every_month;
    table[0].1[11] = Some(Duration::from_hours(3.0));
    let by_month = |rows: Vec<(Share, Months)>| Change::IntervalByMonthAndCharge {
        load: load.clone(),
        activity: activity.clone(),
        rows,
    };
    let changed = design().with(by_month(table.clone())).expect("in range");
    assert_eq!(changed.loads[0].activities[0].every.rows(), table);
    let hours = |charge| changed.loads[0].activities[0].every.at(12, Share::from_percent(charge));
    assert_eq!((hours(50.0), hours(49.0)), (Some(Duration::from_hours(3.0)), None));
    table[1].1 = [Some(Duration::from_minutes(1.0)); 12];
    let refused = design().with(by_month(table)).expect_err("more often on less charge");
    assert!(
        refused.message.contains("in month 1 it is 1 min from 0 %, more often than 1 h above"),
        "{refused:?}"
    );
    let loss = with(Change::Loss { load: load.clone(), activity, loss: Share::from_percent(30.0) });
    let lost = loss.loads[0].activities[0].steps.iter().find_map(|step| match step {
        Step::Uplink { loss, .. } => Some(loss.percent()),
        _ => None,
    });
    assert!(lost.is_some_and(|percent| (percent - 30.0).abs() < 1e-9));
    let floor = Uncertain { nominal: Current::from_milliamperes(0.02), spread_si: 1e-6 };
    assert_eq!(with(Change::SleepCurrent { load, floor }).loads[0].floor.spread_si, 1e-6);
    assert_eq!(with(Change::DataRate(1)).radio.as_ref().map(|radio| radio.data_rates[0].0), Some(1));
    let quiet = with(Change::TransmitPower(Dbm::from_dbm(8.0)));
    assert_eq!(quiet.radio.as_ref().map(|radio| radio.power.dbm()), Some(8.0));
    let bare = with(Change::NoPanel);
    assert!(bare.panel.is_none() && bare.charger.is_none() && bare.battery.name == design().battery.name);
    let primary = with(Change::PrimaryCell("li-socl2-d".to_owned()));
    assert!(primary.panel.is_none() && primary.charger.is_none() && primary.battery.charge_limit.is_none());
    let mast = with(Change::AntennaHeight(Length::from_metres(6.0)));
    assert_eq!(mast.radio.as_ref().map(|radio| radio.antenna_height.metres()), Some(6.0));
    let gateway = || "roof".to_owned();
    let tall = with(Change::GatewayHeight { gateway: gateway(), height: Length::from_metres(30.0) });
    assert_eq!(tall.surroundings.gateways[0].antenna_height.metres(), 30.0);
    let strong = with(Change::GatewayGain { gateway: gateway(), gain: Decibels::from_decibels(8.0) });
    assert_eq!(strong.surroundings.gateways[0].antenna_gain.decibels(), 8.0);
    assert_eq!(with(Change::Azimuth(None)).panel.as_ref().map(|panel| panel.azimuth), Some(None));
    let capacity = Uncertain::exact(Charge::from_milliampere_hours(900.0));
    assert_eq!(with(Change::Capacity(capacity)).battery.capacity, capacity);
    let band = GateBand {
        from: Temperature::from_celsius(0.0),
        to: Temperature::from_celsius(45.0),
        current: Share::from_fraction(1.0),
        voltage_reduction: Voltage::ZERO,
    };
    let gated = with(Change::TemperatureGate(vec![band]));
    assert_eq!(gated.charger.as_ref().map(|charger| charger.temperature_gate.clone()), Some(vec![band]));
    assert!(design().with(Change::TemperatureGate(vec![band, band])).is_err(), "the bands do not ascend");
    let volts = Voltage::from_volts(3.45);
    assert_eq!(with(Change::StopsBelow(volts)).cutoff.stops_below, volts);
    let share = Share::from_percent(90.0);
    assert_eq!(with(Change::ChargeAtInstallation(share)).promise.charge_at_installation, share);
    assert_eq!(with(Change::WithoutOutage(share)).promise.without_outage, share);
    let time = Duration::from_days(100.0);
    assert_eq!(with(Change::Unattended(time)).promise.unattended, time);
    let field = |text: &str| Change::Field {
        message: "report".to_owned(),
        name: "box_air".to_owned(),
        text: text.to_owned(),
    };
    let told = with(field("{ unit = \"Cel\", range = [-40, 60], resolution = 0.5, means = \"box\" }"));
    let last = told.messages[0].fields.last().expect("a field");
    assert_eq!((last.name.as_str(), last.meaning()), ("box_air", Some(Meaning::Box)));
    for wrong in ["{ unit = ", "{ unit = \"Cel\" }", "{ kind = \"flag\", means = \"box\" }", "7"] {
        let refused = design().with(field(wrong)).expect_err(wrong);
        assert!(!refused.message.is_empty() && !refused.help.is_empty(), "{refused:?}");
    }
    let (north, east, up) =
        (Angle::from_degrees(-33.0), Angle::from_degrees(150.0), Length::from_metres(9.0));
    let moved = with(Change::Position(north, east, up));
    assert_eq!((moved.site.latitude, moved.site.longitude, moved.site.elevation), (north, east, up));
}

/// A survey at the spot says nothing of another spot: after a move it is gone for that node, and stays for the others.
#[test]
fn a_node_that_is_moved_leaves_what_was_surveyed_where_it_stood() {
    let nodes = "nodes = { mast = \"-4 dB +- 3 dB\", other = \"2 dB +- 3 dB\" }";
    let survey = format!(
        "survey = {{ correction = \"-9 dB +- 3 dB\", spots = \"11 dB\", packets = 214, until = \"2026-10-04\", {nodes} }}\n#survey ="
    );
    let site = commented_site().replacen("#survey =", &survey, 1);
    let site = format!(
        "{site}\n[node.other]\nkind = \"frost-mast.toml\"\nlatitude = \"46.5 deg\"\nlongitude = \"7.4 deg\"\n"
    );
    let fleet = design::fleet::resolve(&parse_fleet(&site)).expect("resolves").fleet;
    let placed = fleet.design(&fleet.nodes[0], &design()).expect("may stand there");
    let found = |design: &Design, name: &str| {
        design.surroundings.gateways[0].survey.as_ref().is_some_and(|survey| survey.at(name).is_some())
    };
    let (north, up) = (placed.site.latitude, placed.site.elevation);
    let stays = placed.with(Change::Position(north, placed.site.longitude, up)).expect("a place");
    let moved = placed.with(Change::Position(north, Angle::from_degrees(7.0), up)).expect("a place");
    assert_eq!([&placed, &stays, &moved].map(|design| found(design, "mast")), [true, true, false]);
    assert_eq!([&placed, &stays, &moved].map(|design| found(design, "other")), [true, true, true]);
}

#[test]
fn what_is_not_there_cannot_be_changed() {
    let change = Change::GatewayGain { gateway: "barn".to_owned(), gain: Decibels::ZERO };
    let refused = design().with(change).expect_err("there is no barn");
    assert!(refused.message.contains("`barn`"), "{refused:?}");
}

/// A site's keys are written over those of the kind, and a change over both.
#[test]
fn a_placed_node_keeps_its_place_when_another_key_changes() {
    let fleet = design::fleet::resolve(&parse_fleet(&commented_site())).expect("resolves").fleet;
    let placed = fleet.design(&fleet.nodes[0], &design()).expect("may stand there");
    let changed = placed.with(Change::AntennaHeight(Length::from_metres(9.0))).expect("in range");
    assert_eq!(changed.name, placed.name);
    assert_eq!(
        (changed.site.latitude, changed.site.longitude),
        (placed.site.latitude, placed.site.longitude)
    );
    assert_eq!(changed.surroundings.gateways.len(), fleet.surroundings.gateways.len());
    assert_eq!(changed.radio.as_ref().map(|radio| radio.antenna_height.metres()), Some(9.0));
}
