//! Intervals by month and charge: how a node steps through its table, and that a table of one interval is no table.
#![expect(clippy::cast_possible_truncation, reason = "the kernel is in single precision")]

mod common;

use common::solar;
use design::change::Change;
use design::node::Design;
use design::quantity::{Duration, Share};
use design::schedule::Months;
use forecast::Silent;
use forecast::diary::Diary;
use forecast::life::ensemble::live_all;
use forecast::life::node::NodeTables;
use forecast::life::run::{LifeOutcome, LivedHour, Recorder, Trial, live};
use forecast::life::unknowns::Unknowns;
use forecast::life::weather::NodeWeather;
use forecast::load::Demand;
use forecast::radio::spots::Spots;
use forecast::sky::climate::Climate;
use forecast::sky::light::YEAR_DAYS;

const REPORTING: &str = r#"
    [load.node]
    floor = "1.5 mA +- 10 %"
    floor_measured = true
    [load.node.activity.work]
    every = "10 min"
    steps = [{ current = "20 mA", time = "2 s" }]
"#;

fn node() -> Design {
    solar("panel-0w3", "linear-usb-gated", "part = \"nmc-18650\"\ncapacity = \"300 mAh\"", REPORTING)
}

fn with_table(rows: &[(f64, f64)]) -> Design {
    let months = |minutes: &f64| [Some(Duration::from_minutes(*minutes)); 12];
    with_rows(rows.iter().map(|(charge, minutes)| (Share::from_percent(*charge), months(minutes))).collect())
}

fn with_rows(rows: Vec<(Share, Months)>) -> Design {
    let change =
        Change::IntervalByMonthAndCharge { load: "node".to_owned(), activity: "work".to_owned(), rows };
    node().with(change).expect("a table")
}

fn on_trial<T>(design: &Design, look: impl FnOnce(&Trial<'_>) -> T) -> T {
    let climate = Climate::builtin(design.site.latitude, design.site.longitude, design.site.elevation);
    let diary = Diary::new(design);
    let nodes = [NodeTables::of_design(design, Demand::new(design, &diary))];
    look(&Trial {
        nodes: &nodes,
        spots: &Spots::alone(design),
        weather: &NodeWeather::of_climate(design, &climate.expect("land"), &diary, 1),
        unknowns: &Unknowns::new(design, false),
        days: 3 * YEAR_DAYS,
        start_day: None,
        charge: Share::from_percent(90.0),
        yield_kept_per_year: 0.99,
        seed: 1,
    })
}

fn lived(design: &Design) -> Vec<LifeOutcome> {
    on_trial(design, |trial| live_all(trial, 40, 2, &Silent).outcomes)
}

/// A table that says one thing is that thing, to the bit; one whose second row can hardly be reached differs.
#[test]
fn a_table_of_one_interval_is_the_fixed_design_to_the_bit() {
    let fixed = lived(&node());
    assert_eq!(lived(&with_table(&[(80.0, 10.0), (40.0, 10.0), (0.0, 10.0)])), fixed);
    assert_ne!(lived(&with_table(&[(80.0, 10.0), (0.0, 20.0)])), fixed);
    let outages = fixed.iter().filter(|life| !life.is_unbroken()).count();
    assert!((1..40).contains(&outages), "of 40 lives {outages} stop");
}

/// What a table of months says in each is what a node does that has that month's interval all year.
#[test]
fn the_month_chooses_the_column() {
    let mut months = [Some(Duration::from_minutes(10.0)); 12];
    months[0] = Some(Duration::from_minutes(40.0));
    let sent = |design: &Design| {
        on_trial(design, |trial| {
            let mut sent = [0.0; 12];
            for life in live_all(trial, 10, 2, &Silent).outcomes.iter().filter(|life| life.is_unbroken()) {
                let days = [31.0, 28.0, 31.0, 30.0, 31.0, 30.0, 31.0, 31.0, 30.0, 31.0, 30.0, 31.0];
                sent = std::array::from_fn(|month| life.sent_by_month[month] / (3.0 * days[month]));
            }
            sent
        })
    };
    // The lower row is there so that reports are counted at all; above 1 % nobody stands on it.
    let low = [Some(Duration::from_hours(12.0)); 12];
    let design = sending(&with_rows(vec![(Share::from_percent(1.0), months), (Share::ZERO, low)]));
    let found = sent(&design);
    assert!((found[0] - 36.0).abs() < 0.5, "January: {} a day, not 36", found[0]);
    assert!(found[1..].iter().all(|daily| (daily - 144.0).abs() < 2.0), "{found:?}");
}

/// The same design without doubt about its gauge or its parts, sending.
fn sending(design: &Design) -> Design {
    let every = design.loads[0].activities[0].every.rows().to_vec();
    let load = r#"
        [radio]
        part = "radio-mcu-14dbm"
        region = "EU868"
        data_rate = "DR5"
        power = "14 dBm"
        [load.node]
        floor = "20 uA +- 1 %"
        floor_measured = true
        [load.node.activity.work]
        every = "10 min"
        steps = [{ uplink = { payload = "8 bytes" } }]
    "#;
    let part = "part = \"nmc-18650\"\ngauge_error = \"0 %\"";
    let change = Change::IntervalByMonthAndCharge {
        load: "node".to_owned(),
        activity: "work".to_owned(),
        rows: every,
    };
    solar("panel-2w", "linear-usb-gated", part, load).with(change).expect("a table")
}

/// Sees each move of a life through its table.
#[derive(Default)]
struct Moves {
    last: Option<(usize, usize)>,
    ups: usize,
    downs: usize,
}

const ROWS: [(f64, f64); 4] = [(80.0, 5.0), (60.0, 10.0), (30.0, 30.0), (0.0, 240.0)];

impl Recorder for Moves {
    const HOURLY: bool = true;

    fn hour(&mut self, hour: &LivedHour<'_>) {
        let from = |level: usize| [0.0, 0.3, 0.6, 0.8][level] as f32;
        let shown = (hour.charge_before + hour.life.gauge_error).clamp(0.0, 1.0);
        let level = hour.life.level();
        // Highest row whose charge is reached, by the rows as they are written.
        let row = ROWS.iter().filter(|(percent, _)| shown >= (percent / 100.0) as f32).count() - 1;
        assert!(level <= row, "{shown}: on {level} of {row}");
        if let Some((before, moved)) = self.last {
            if level > before {
                assert_eq!(level, before + 1, "one step at a time");
                assert!(hour.index - moved >= 24, "a day after the last move");
                assert!(shown >= from(level) + 0.05 - 1e-6, "5 % above the step: {shown}");
                self.ups += 1;
            } else if level < before {
                assert_eq!(level, row, "down at once");
                self.downs += 1;
            } else if level < row && hour.index - moved >= 24 {
                assert!(shown < from(level + 1) + 0.05 + 1e-6, "it waits only for its 5 %: {shown}");
            }
        }
        let moved = match self.last {
            Some((before, moved)) if before == level => moved,
            _ => hour.index,
        };
        self.last = Some((level, moved));
    }
}

#[test]
fn a_node_steps_down_at_once_and_up_by_one_after_a_day() {
    let (ups, downs) = on_trial(&with_table(&ROWS), |trial| {
        let mut moves = (0, 0);
        for life in 0..20 {
            let mut seen = Moves::default();
            live(trial, life, None, &mut seen);
            moves = (moves.0 + seen.ups, moves.1 + seen.downs);
        }
        moves
    });
    assert!(ups > 100 && downs > 100, "{ups} up, {downs} down");
}

/// Nobody looking on and somebody who wants every hour see the same life.
#[test]
fn quiet_quarters_keep_the_level_of_their_hours() {
    struct Hourly;
    impl Recorder for Hourly {
        const HOURLY: bool = true;
    }
    on_trial(&with_table(&ROWS), |trial| {
        for life in 0..40 {
            let (quick, slow) = (live(trial, life, None, &mut ()), live(trial, life, None, &mut Hourly));
            assert_eq!(quick.outages, slow.outages);
            assert_eq!(quick.outage_hours_by_month, slow.outage_hours_by_month);
            assert!((quick.lowest_charge - slow.lowest_charge).abs() < 1e-5);
        }
    });
}
