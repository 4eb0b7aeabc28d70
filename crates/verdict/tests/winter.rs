//! A twin site in October: nodes of known parts are lived from September on, what they send is learned, and the winter list
//! names those, and only those, that stop by March in more than 1 of 10 of their own winters.

use design::catalog::Catalog;
use design::node::Design;
use design::quantity::{Irradiation, Temperature};
use forecast::Silent;
use forecast::learn::{Effort, INVENTED_MODULUS, Mend, Parts, Past, learn, twin};
use forecast::sky::climate::Climate;
use verdict::{Winter, winter};

/// 2026-09-01 is day 20,697 since 1970: 2026-10-31 is 20,757, and 60 days before it (by hand).
const SEPTEMBER: i64 = 20_697;
const DAYS: usize = 60;
/// Days from 31 October to 1 March: 121 (by hand, as in `verdict::winter`).
const TO_MARCH: f64 = 121.0;

fn design() -> (Design, Climate) {
    let text = include_str!("../../forecast/tests/data/learn/p-nominal.toml");
    // With half the load, so that a sound node is in no danger.
    let text = text.replace("floor = \"2000 uA", "floor = \"1000 uA");
    let design = design::resolve::resolve(&Catalog::builtin(), &design::file::parse(&text));
    let design = design.expect("the design resolves").design;
    let (site, given) = (&design.site, design.climate.as_ref().expect("a climate"));
    let sun = given.sun_per_day.map(Irradiation::watt_hours_per_square_metre);
    let air = given.air.map(|months| months.map(Temperature::celsius));
    let climate = Climate::from_monthly(site.latitude, site.longitude, site.elevation, &sun, air.as_ref());
    let climate = climate.expect("a climate");
    (design, climate)
}

/// What is said of a node of these parts at the end of October, and the share of its own winters in which it stops by March.
fn october(name: &str, parts: &Parts) -> (Option<Winter>, f64) {
    let (design, climate) = design();
    let seed = name.bytes().map(u64::from).sum();
    let (told, own) = twin(&design, &climate, (SEPTEMBER, DAYS), seed, parts);
    let past = Past {
        design: &design,
        readings: &told.readings,
        as_of_s: told.as_of_s,
        counter_modulus: INVENTED_MODULUS,
        sun: None,
    };
    let effort = Effort { members: 3000, threads: 2, ..Effort::default() };
    let (learned, _) = learn(&past, &climate, &effort, &Silent);
    (winter(&design, &learned), own.within(TO_MARCH).expect("it was looked at"))
}

#[test]
fn the_list_names_each_node_that_stops_by_march_and_no_other() {
    let sound = Parts { yields: 1.0, floor: 1.0, capacity: 0.92 };
    let site = [
        ("sound", sound, None),
        ("sound-too", Parts { yields: 1.06, ..sound }, None),
        ("dim", Parts { yields: 0.2, ..sound }, Some(Mend::Panel)),
        ("thirsty", Parts { floor: 4.0, ..sound }, Some(Mend::Board)),
    ];
    for (name, parts, part) in site {
        let (said, own) = october(name, &parts);
        assert!(!(0.03..0.3).contains(&own), "{name} is neither: {own}");
        assert_eq!(said.is_some(), own > 0.1, "{name}: {own} {said:?}");
        assert_eq!(said.and_then(|said| said.part).map(|(mend, _)| mend), part, "{name}: {said:?}");
        if let Some(said) = said {
            assert!(said.first_days < TO_MARCH && (said.over_days as f64 - TO_MARCH).abs() < 1.5, "{said:?}");
        }
    }
}
