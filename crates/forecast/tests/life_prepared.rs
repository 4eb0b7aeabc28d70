//! A variant that takes over tables lives the same lives as one whose tables are all made for it.

mod common;

use design::change::Change;
use design::node::Design;
use design::quantity::{Angle, Charge, Current, Duration, Uncertain, Voltage};
use forecast::Silent;
use forecast::life::ensemble::{FIRST_FRESH, live_all, live_from};
use forecast::life::prepared::{Prepared, Weather};
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;

const FROST_MAST: &str = include_str!("../../../examples/larkmoor/frost-mast.toml");
const LIVES: usize = 12;

fn climate(design: &Design) -> Climate {
    let site = &design.site;
    Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land")
}

/// The change, and whether tables of weather and of panel and charger are those of the design.
fn changes() -> Vec<(Change, (bool, bool))> {
    let (load, activity) = ("mast".to_owned(), "report".to_owned());
    let capacity = Uncertain::exact(Charge::from_milliampere_hours(1500.0));
    let floor = Uncertain::exact(Current::from_milliamperes(2.0));
    vec![
        (Change::Interval { load: load.clone(), activity, every: Duration::from_minutes(3.0) }, (true, true)),
        (Change::SleepCurrent { load, floor }, (true, true)),
        (Change::Capacity(capacity), (true, true)),
        (Change::StopsBelow(Voltage::from_volts(3.8)), (true, true)),
        (Change::Panel("panel-0w3".to_owned()), (true, false)),
        (Change::Charger("mppt".to_owned()), (true, false)),
        (Change::Tilt(Angle::from_degrees(30.0)), (false, true)),
        (Change::NoPanel, (false, false)),
    ]
}

#[test]
fn a_variant_shares_what_its_change_does_not_touch_and_lives_the_same() {
    // So small that some lives come down to where they stop; in the cold that is at 3.7 V, where charge is locked.
    let small = Change::Capacity(Uncertain::exact(Charge::from_milliampere_hours(600.0)));
    let restarts = FROST_MAST.replace("restarts_above = \"3.6 V\"", "restarts_above = \"3.9 V\"");
    let design = common::design(&restarts).with(small).expect("can be made");
    let (climate, spots) = (climate(&design), Spots::alone(&design));
    let weather = Weather::Climate(&climate);
    let base = Prepared::new(&design, weather, &spots, 7);
    for (change, shared) in changes() {
        let variant = design.with(change.clone()).expect("can be made");
        let taken_over = base.of_variant(&variant, weather, None);
        let own = Prepared::new(&variant, weather, &spots, 7);
        assert_eq!(taken_over.shares(&base), shared, "{change:?}");
        let lives = |prepared: &Prepared, threads| {
            format!("{:?}", live_all(&prepared.trial(), LIVES, threads, &Silent).outcomes)
        };
        assert_eq!(lives(&taken_over, 1), lives(&own, 2), "{change:?}");
        assert_ne!(lives(&taken_over, 1), lives(&base, 1), "{change:?} does something");
    }
}

#[test]
fn fresh_lives_are_others_under_the_same_weather() {
    let design = common::design(FROST_MAST);
    let climate = climate(&design);
    let prepared = Prepared::new(&design, Weather::Climate(&climate), &Spots::alone(&design), 7);
    let lives = |first| live_from(&prepared.trial(), first, LIVES, 2, &Silent).outcomes;
    let (seen, fresh) = (lives(0), lives(FIRST_FRESH));
    assert!(fresh.iter().all(|life| seen.iter().all(|other| other.drawn != life.drawn)));
    assert_eq!(lives(4)[..8], seen[4..], "a life is known by its number alone");
}
