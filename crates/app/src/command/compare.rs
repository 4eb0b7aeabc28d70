//! `overwinter check A.toml B.toml ...`: designs side by side, and places; all live the same lives.

use design::change::Change;
use design::node::Design;
use design::quantity::{Angle, Quantity};
use forecast::Progress as _;
use report::comparison::{Compared, Comparison};
use report::problem::{Failure, Problem};
use verdict::plan::{Weather, plan};
use verdict::{Answer, Environment, Verdict, answer};

use super::check::{Check, effort, shown};
use crate::described::parts;
use crate::input;
use crate::progress::Counter;

/// More designs than anyone reads side by side.
const MOST: usize = 26;

/// The page, and the worst verdict.
pub(super) fn compare(arguments: &Check) -> Result<(String, Verdict), Failure> {
    refuse_what_is_of_one(arguments)?;
    let places = arguments.at.iter().map(|text| place(text)).collect::<Result<Vec<_>, Failure>>()?;
    let mut counter = Counter::begin();
    let (mut designs, mut there) = (Vec::new(), Vec::new());
    for path in std::iter::once(&arguments.design).chain(&arguments.others) {
        let (checked, sky) = input::node(path, arguments.weather.as_deref())?;
        let terrain = checked.terrain()?;
        let environment = Environment { weather: sky.weather(), terrain: terrain.as_ref(), others: &[] };
        counter.at(shown(path));
        let home = answer(&checked.design, &environment, effort(arguments), &counter);
        for (text, latitude, longitude) in &places {
            let elevation = checked.design.site.elevation;
            let moved = checked.design.with(Change::Position(*latitude, *longitude, elevation));
            let moved = moved.map_err(|refused| at(text, refused.message, &refused.help))?;
            let climate = input::climate_there(&checked, &moved, text)?;
            let name = format!("{} at {text}", shown(path));
            counter.at(name.clone());
            // Its gateways go with it: what is asked is how it would live under that sky.
            let weather = Weather::Climate(&climate);
            let life = plan(&moved, weather, &home.reach.spots, effort(arguments), &counter);
            there.push(Compared { name, made_of: made_of(&moved), answer: Answer { life, ..home.clone() } });
        }
        designs.push(Compared { name: shown(path), made_of: made_of(&checked.design), answer: home });
        designs.append(&mut there);
    }
    let stopped = counter.stop();
    drop(counter);
    if stopped {
        let help = "let it run, or ask for fewer lives with --lives";
        let name = shown(&arguments.design);
        return Err(Failure::of(Problem::of_file("option", &name, "it was stopped".to_owned(), help)));
    }
    let comparison = Comparison { designs };
    let page = if arguments.json { format!("{:#}\n", comparison.json()) } else { comparison.text() };
    Ok((page, comparison.verdict()))
}

fn refuse_what_is_of_one(arguments: &Check) -> Result<(), Failure> {
    let count = (1 + arguments.others.len()) * (1 + arguments.at.len());
    let refused = [
        (arguments.hours.is_some(), "--hours is the answer for one node, and several are compared"),
        (arguments.report.is_some(), "--report is the answer for one node, and several are compared"),
        (arguments.all, "--all is the answer for one node, and several are compared"),
        (count > MOST, "more than 26 designs and places are compared"),
        (
            !arguments.at.is_empty() && arguments.weather.is_some(),
            "--at asks for the climate of other places, and the weather file is of one",
        ),
    ];
    let found = refused.into_iter().find(|(wrong, _)| *wrong);
    found.map_or(Ok(()), |(_, message)| {
        let help = "leave the option out, or check one design";
        Err(Failure::of(Problem::of_file("option", &shown(&arguments.design), message.to_owned(), help)))
    })
}

fn at(text: &str, message: String, help: &str) -> Failure {
    Failure::of(Problem::of_file("option", &format!("--at \"{text}\""), message, help))
}

/// A place such as `60 N 24.9 E` or `60.0 24.9`.
fn place(text: &str) -> Result<(String, Angle, Angle), Failure> {
    let wrong = || {
        let help = "write latitude and longitude in degrees, as --at \"60 N 24.9 E\"";
        at(text, "it is not a place".to_owned(), help)
    };
    let spaced = text.replace([',', '°'], " ");
    let mut words = spaced.split_whitespace().peekable();
    let mut degrees = |plus: &str, minus: &str| -> Option<f64> {
        let value: f64 = words.next()?.parse().ok()?;
        let sign = match words.peek().map(|word| word.to_uppercase()) {
            Some(side) if side == plus => 1.0,
            Some(side) if side == minus => -1.0,
            _ => return Some(value),
        };
        words.next();
        (value >= 0.0).then_some(sign * value)
    };
    let found = degrees("N", "S").zip(degrees("E", "W"));
    let (latitude, longitude) = found.filter(|_| words.next().is_none()).ok_or_else(wrong)?;
    Ok((text.to_owned(), Angle::from_degrees(latitude), Angle::from_degrees(longitude)))
}

/// What a design is made of, as far as two may differ.
fn made_of(design: &Design) -> Vec<(String, String)> {
    let mut made: Vec<(String, String)> = Vec::new();
    for (role, text) in parts(design) {
        let label = match text.split_once(", ") {
            Some((activity, _)) if role == "sends" => format!("sends {activity}"),
            _ => role.to_owned(),
        };
        made.push((label, text));
    }
    for load in &design.loads {
        made.push((format!("sleep, {}", load.name), load.floor.nominal.text()));
    }
    let cutoff = &design.cutoff;
    made.push(("stops below".to_owned(), cutoff.stops_below.text()));
    if let Some(radio) = &design.radio {
        let rates: Vec<String> =
            radio.data_rates.iter().map(|(rate, _)| radio.region.rate_text(*rate)).collect();
        let rates = if radio.adaptation_margin.is_some() { "adapted".to_owned() } else { rates.join(", ") };
        made.push(("data rate".to_owned(), rates));
        made.push(("antenna height".to_owned(), radio.antenna_height.text()));
    }
    let promise = &design.promise;
    let promised = format!(
        "{} of lives, {}",
        promise.without_outage.text(),
        report::words::planned_span(promise.unattended)
    );
    made.push(("promise".to_owned(), promised));
    made
}
