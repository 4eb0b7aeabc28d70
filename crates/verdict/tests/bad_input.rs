//! What nobody should write and somebody will: a clear message or a stated "not known", never a panic or a NaN.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::catalog::Catalog;
use design::node::Design;
use design::quantity::{Angle, Length, Share};
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use forecast::{Progress, Silent};
use verdict::plan::{Effort, Plan, Verdict, Weather, plan};

/// The frost mast somewhere else, with changes.
fn moved(latitude_deg: f64, longitude_deg: f64, change: impl Fn(String) -> String) -> String {
    let text = include_str!("../../../examples/larkmoor/frost-mast.toml");
    let text = text.replace("latitude = \"46.99 deg\"", &format!("latitude = \"{latitude_deg} deg\""));
    let moved = text.replace("longitude = \"13.00 deg\"", &format!("longitude = \"{longitude_deg} deg\""));
    let changed = change(moved.clone());
    assert_ne!(moved, text, "the example still has these lines");
    changed
}

fn replaced(from: &'static str, to: &'static str) -> impl Fn(String) -> String {
    move |text| {
        let changed = text.replace(from, to);
        assert_ne!(changed, text, "the example still says {from}");
        changed
    }
}

fn climate(design: &Design) -> Climate {
    let site = &design.site;
    Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land")
}

fn planned(text: &str, lives: usize) -> Plan {
    let design = common::design(text);
    let effort = Effort { lives: Some(lives), seed: 1, threads: 2 };
    plan(&design, Weather::Climate(&climate(&design)), &Spots::alone(&design), effort, &Silent)
}

fn refused(latitude_deg: f64, longitude_deg: f64) -> String {
    let (latitude, longitude) = (Angle::from_degrees(latitude_deg), Angle::from_degrees(longitude_deg));
    Climate::builtin(latitude, longitude, Length::from_metres(0.0)).expect_err("no land").to_string()
}

fn assert_finite(plan: &Plan) {
    let said = format!("{plan:?}");
    let at = said.find("NaN").unwrap_or(said.len());
    assert_eq!(at, said.len(), "{}", &said[at.saturating_sub(300)..at]);
}

#[test]
fn the_sea_and_the_poles_are_refused_with_a_way_out() {
    assert!(
        refused(-40.0, -120.0).starts_with("no land within 300 km of -40 N -120 E"),
        "{}",
        refused(-40.0, -120.0)
    );
    assert!(refused(78.2, 15.6).starts_with("latitude 78.2 is beyond"), "{}", refused(78.2, 15.6));
    assert!(refused(95.0, 15.6).contains("is no place on earth"), "{}", refused(95.0, 15.6));
    assert!(refused(f64::NAN, 0.0).contains("is no place on earth"), "{}", refused(f64::NAN, 0.0));
    for (latitude, longitude) in [(-40.0, -120.0), (78.2, 15.6)] {
        assert!(refused(latitude, longitude).ends_with("give twelve monthly numbers or a weather file"));
    }
}

/// Two months of polar night and two of polar day.
#[test]
fn a_plan_comes_out_beyond_the_polar_circle() {
    let plan = planned(&moved(69.65, 18.96, |text| text), 100);
    assert_finite(&plan);
    let december = plan.months.iter().find(|row| row.month == 12).expect("twelve months");
    assert!(december.sun_on_plane_wh_m2 < 20.0, "{}", december.sun_on_plane_wh_m2);
    assert_eq!(plan.verdict, Verdict::Fails);
    let southern = planned(&moved(-54.8, -68.3, |text| text), 50);
    assert_finite(&southern);
    let darkest = southern.chances.expect("lives").darkest_day;
    assert!((120..300).contains(&darkest), "winter is in July: day {darkest}");
}

#[test]
fn without_lives_nothing_is_known() {
    let plan = planned(&moved(47.0, 13.01, |text| text), 0);
    assert_eq!(plan.verdict, Verdict::NotKnown);
    assert_finite(&plan);
}

/// Asks to stop before the first life.
struct Stopped;

impl Progress for Stopped {
    fn report(&self, _: usize, _: usize) {}
    fn stop(&self) -> bool {
        true
    }
}

#[test]
fn stopped_at_once_nothing_is_known() {
    let design = common::design(&moved(47.0, 13.01, |text| text));
    let effort = Effort { lives: Some(100), seed: 1, threads: 2 };
    let plan = plan(&design, Weather::Climate(&climate(&design)), &Spots::alone(&design), effort, &Stopped);
    assert_eq!(plan.verdict, Verdict::NotKnown);
    assert!(plan.chances.is_none(), "no life was lived");
    assert_finite(&plan);
}

#[test]
fn a_skyline_that_closes_the_sky_kills() {
    let text = include_str!("../../../examples/larkmoor/frost-mast.toml");
    let horizon = text.lines().find(|line| line.starts_with("horizon")).expect("the mast has a skyline");
    let closed = text.replace(horizon, "horizon = [[\"0 deg\", \"89 deg\"], [\"180 deg\", \"89 deg\"]]");
    let plan = planned(&closed, 50);
    assert_finite(&plan);
    assert_eq!(plan.verdict, Verdict::Fails);
    assert_eq!(plan.chances.expect("lives").without_outage, Share::ZERO);
}

#[test]
fn more_sun_than_outside_the_air_is_refused() {
    let mut ghi_wh_m2 = [2000.0; 12];
    ghi_wh_m2[11] = 4000.0;
    let place = (Angle::from_degrees(52.0), Angle::from_degrees(5.0), Length::from_metres(0.0));
    let error = Climate::from_monthly(place.0, place.1, place.2, &ghi_wh_m2, None).expect_err("too bright");
    assert!(error.to_string().starts_with("month 12: 4000 Wh/m2 of sun a day is outside 0 to 1"), "{error}");
    ghi_wh_m2[11] = f64::NAN;
    assert!(Climate::from_monthly(place.0, place.1, place.2, &ghi_wh_m2, None).is_err());
    ghi_wh_m2[11] = -1.0;
    assert!(Climate::from_monthly(place.0, place.1, place.2, &ghi_wh_m2, None).is_err());
}

fn problems(text: &str) -> Vec<String> {
    let file = design::file::parse(text);
    let found = design::resolve::resolve(&Catalog::builtin(), &file).expect_err("it is refused");
    found.iter().map(|problem| format!("{} ({})", problem.message, problem.help)).collect()
}

/// The widest tolerance there is: the answer is made, and says how much hangs on it. Wider ones are refused.
#[test]
fn a_tolerance_of_300_percent_makes_a_wide_answer() {
    let wide = replaced("floor = \"1.3 mA +- 15 %\"", "floor = \"1.3 mA +- 300 %\"");
    let plan = planned(&moved(47.0, 13.01, wide), 400);
    assert_finite(&plan);
    let chances = plan.chances.expect("lives");
    assert_eq!(chances.drivers[0].name, "sleep current");
    assert!(chances.best_fifth.fraction() > chances.worst_fifth.fraction() + 0.3);
    assert_ne!(plan.verdict, Verdict::Holds);
    let wider = replaced("floor = \"1.3 mA +- 15 %\"", "floor = \"1.3 mA +- 400 %\"");
    let said = problems(&moved(47.0, 13.01, wider));
    assert!(said.iter().any(|said| said.contains("between 0 and 300 %")), "{said:?}");
}

#[test]
fn a_promise_of_certainty_is_refused() {
    let certain = replaced("without_outage = \"95 %\"", "without_outage = \"100 %\"");
    let said = problems(&moved(47.0, 13.01, certain));
    assert!(said.iter().any(|said| said.contains("without_outage")), "{said:?}");
}
