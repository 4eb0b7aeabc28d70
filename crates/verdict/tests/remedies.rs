//! What is said to make a node hold makes it hold, on lives that nobody looked at while it was sought.

#[path = "../../forecast/tests/common/mod.rs"]
mod common;

use design::node::Design;
use forecast::Silent;
use forecast::sky::climate::Climate;
use verdict::plan::{Effort, Verdict, Weather, plan};
use verdict::remedy::{Lever, Proof, Remedies, Remedy, Useless, remedies};
use verdict::{Answer, Environment, Question, answer};

const FROST_MAST: &str = include_str!("../../../examples/larkmoor/frost-mast.toml");
const EFFORT: Effort = Effort { lives: Some(400), seed: 1, threads: 2 };

/// The frost mast for one winter, with some things changed.
fn mast(changes: &[(&str, &str)]) -> Design {
    let year = ("unattended = \"5 years\"", "unattended = \"1 year\"");
    let text = changes.iter().chain([&year]).fold(FROST_MAST.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    });
    common::design(&text)
}

/// It does not live through January: a battery of a week and a panel that brings little more than the load.
fn starved() -> Design {
    mast(&[("capacity = \"2000 mAh\"", "capacity = \"400 mAh\""), ("panel-0w5", "panel-0w3")])
}

fn sought(design: &Design, effort: Effort) -> (Answer, Remedies) {
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    let environment = Environment { weather: Weather::Climate(&climate), terrain: None, others: &[] };
    let answer = answer(design, &environment, effort, &Silent);
    let found = remedies(design, &environment, &answer, effort, &Silent);
    (answer, found)
}

fn of_life(found: &Remedies) -> Vec<&Remedy> {
    found.holds.iter().filter(|remedy| remedy.question == Question::Life).collect()
}

#[test]
fn a_remedy_holds_on_the_same_lives_and_on_others() {
    let design = starved();
    let (answer, found) = sought(&design, EFFORT);
    assert_eq!(answer.life.verdict, Verdict::Fails, "{}", answer.life.reason);
    let firm: Vec<&Remedy> = of_life(&found).into_iter().filter(|remedy| remedy.is_firm()).collect();
    assert!(firm.len() >= 3, "three ways out: {found:#?}");
    let site = &design.site;
    let climate = Climate::builtin(site.latitude, site.longitude, site.elevation).expect("land");
    for remedy in firm.iter().filter(|remedy| matches!(remedy.proof, Proof::Fresh(_))) {
        let mended = remedy.made_to(&design).expect("can be made");
        for seed in [EFFORT.seed, 77] {
            let effort = Effort { seed, lives: Some(1000), ..EFFORT };
            let again = plan(&mended, Weather::Climate(&climate), &answer.reach.spots, effort, &Silent);
            let survive = again.chances.as_ref().expect("lives").without_outage.percent();
            assert!(survive >= 95.0 - 1.0, "{:?} with seed {seed}: {survive} %", remedy.moved);
            assert_ne!(again.verdict, Verdict::Fails, "{:?} with seed {seed}", remedy.moved);
        }
    }
}

#[test]
fn threads_do_not_change_what_is_found() {
    let design = starved();
    let effort = Effort { lives: Some(120), ..EFFORT };
    let one = sought(&design, Effort { threads: 1, ..effort }).1;
    let three = sought(&design, Effort { threads: 3, ..effort }).1;
    assert_eq!(one, three);
}

/// A load of 40 mA empties any battery of the list in days, and no panel of the list carries it through the ridge's shadow.
#[test]
fn what_nothing_helps_is_told_so() {
    let hungry = mast(&[("floor = \"1.3 mA +- 15 %\"", "floor = \"400 mA\"")]);
    let (answer, found) = sought(&hungry, Effort { lives: Some(100), ..EFFORT });
    assert_eq!(answer.life.verdict, Verdict::Fails);
    let interval = |lever: &Lever| matches!(lever, Lever::Interval { activity, .. } if activity == "report");
    let why = found.useless.iter().find(|(lever, _)| interval(lever));
    assert!(matches!(why, Some((_, Useless::NotEnough(_)))), "{found:#?}");
    assert!(
        of_life(&found).iter().all(|remedy| !matches!(remedy.moved[0].lever, Lever::Panel)),
        "{found:#?}"
    );
}

/// A cell of 20 Ah and a panel of 6 W under a load of 1.3 mA: ten times what the shipped mast holds with.
#[test]
fn a_design_with_room_to_spare_is_told_what_could_go() {
    let rich = mast(&[("capacity = \"2000 mAh\"", "capacity = \"20 Ah\""), ("panel-0w5", "panel-3w")]);
    let (answer, found) = sought(&rich, EFFORT);
    assert_eq!(answer.life.verdict, Verdict::Holds, "{}", answer.life.reason);
    assert!(of_life(&found).is_empty());
    let levers: Vec<&Lever> = found.spare.iter().map(|remedy| &remedy.moved[0].lever).collect();
    assert!(levers.contains(&&Lever::Capacity), "{found:#?}");
    assert!(levers.contains(&&Lever::Panel) || levers.contains(&&Lever::LeavePanelOut), "{found:#?}");
    for remedy in &found.spare {
        assert!(matches!(&remedy.proof, Proof::Fresh(judged) if judged.verdict == Verdict::Holds));
    }
}

/// Sand Point's gateway does not matter here: 10 s between messages of 12 bytes at SF12 is 13 % on air, where 1 % is
/// allowed (EN 300 220-2, band L).
#[test]
fn an_unlawful_interval_is_lengthened_until_it_is_lawful() {
    let text = r#"
        schema = 1
        name = "Bench"
        [site]
        latitude = "47 deg"
        longitude = "8 deg"
        elevation = "400 m"
        [promise]
        unattended = "1 year"
        [battery]
        part = "li-socl2-d"
        [radio]
        part = "radio-mcu-14dbm"
        region = "EU868"
        data_rate = "DR0"
        power = "14 dBm"
        [regulator.main]
        kind = "none"
        [load.board]
        floor = "4 uA"
        floor_measured = true
        [load.board.activity.report]
        every = "10 s"
        steps = [{ uplink = { payload = "12 bytes" } }]
    "#;
    let design = common::design(text);
    let (answer, found) = sought(&design, Effort { lives: Some(50), ..EFFORT });
    assert_eq!(answer.law.verdict, Verdict::Fails);
    let lawful =
        found.holds.iter().find(|remedy| remedy.question == Question::Law).expect("a longer interval");
    let mended = lawful.made_to(&design).expect("can be made");
    let link = answer.reach.spots.middle_state();
    assert_eq!(verdict::law::judge(&mended, link).verdict, Verdict::Holds);
}
