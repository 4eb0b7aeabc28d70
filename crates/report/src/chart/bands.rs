//! Charge by day of the year in many lives, cut at midsummer, with the night hanging from the top.

use maud::{Markup, html};
use verdict::plan::{Plan, Survival};

use super::frame::{Scale, YearAxis, area, left_axis, line, px, ticks};
use super::year::{BOTTOM, HEIGHT, TOP, limit_by_day, night};
use super::{Chart, LEFT, RIGHT, WIDTH, apart};
use crate::{ReportedDesign, sentences};

/// Points of a drawing.
type Points = Vec<(f64, f64)>;

/// The chart of the lives' charge.
pub fn chart(subject: &ReportedDesign, plan: &Plan, chances: &Survival) -> Chart {
    let (date, low) = (sentences::darkest_date(chances), sentences::darkest_percent(chances));
    let survive = sentences::share(chances.without_outage);
    let title =
        format!("{survive} of lives never stop; one in twenty is at {low:.0} % charge or less on {date}");
    let at = |index: usize| {
        chances.bands.get(chances.darkest_day).map_or(0.0, |band| band.charge[index].percent())
    };
    let description = format!(
        "State of charge by day of the year in {} lives, from midsummer to midsummer. On {date} 5 % of lives are at {low:.0} % \
         or less, a quarter at {:.0} %, half at {:.0} %. The worst life is stopped for {} hours.",
        chances.lives,
        at(1),
        at(2),
        chances.worst.outage_hours
    );
    let note = "The wide band holds nine lives in ten, the narrow one half of them, the thick line is the median, all at \
                midnight. The thin line is the life that went worst, in its worst year. The grey shape hanging from the top is \
                the length of the night: from top to bottom is 24 hours. The node stops below the dashed limit, which rises \
                in the cold. The year is cut at midsummer so that the dark months lie in the middle."
        .to_owned();
    let body = body(subject, plan, chances);
    Chart { id: "bands".to_owned(), title, description, note: Some(note), width: WIDTH, height: HEIGHT, body }
}

fn body(subject: &ReportedDesign, plan: &Plan, chances: &Survival) -> Markup {
    let x = YearAxis::new(subject, LEFT, WIDTH - RIGHT);
    let y = Scale::new((0.0, 100.0), (BOTTOM, TOP));
    let edge = |index: usize| -> Points {
        let percent = |day: u16| {
            chances.bands.get(usize::from(x.day_of_year(day))).map(|band| band.charge[index].percent())
        };
        (0..365_u16).filter_map(|day| Some((x.at(f64::from(day) + 0.5), y.at(percent(day)?)))).collect()
    };
    let [lowest, low, middle, high, highest] = std::array::from_fn(edge);
    let limit: Points = limit_by_day(subject, plan, &x)
        .into_iter()
        .map(|(day, percent)| (x.at(f64::from(day) + 0.5), y.at(percent)))
        .collect();
    html! {
        (night(subject, &x))
        (left_axis(y, &ticks(0.0, 100.0, 4), (LEFT, WIDTH - RIGHT)))
        text.word x=(px(LEFT)) y=(px(TOP - 8.0)) { "charge, %" }
        path.nine d=(area(&highest, &lowest)) {}
        path.half d=(area(&high, &low)) {}
        path.forecast d=(line(&middle)) {}
        @for stretch in worst(chances, &x, y) { path.ink d=(line(&stretch)) {} }
        path.limit d=(line(&limit)) {}
        (names(&lowest, &low, &limit, worst_end(chances, &x, y)))
        (darkest(chances, &x))
        (x.names(BOTTOM))
    }
}

/// The worst life's charge, broken where its year begins and ends.
fn worst(chances: &Survival, x: &YearAxis, y: Scale) -> Vec<Points> {
    let days = &chances.worst.year.charge_by_day;
    let lived = |day: &usize| days.get(*day).is_some_and(|charge| charge.fraction() > 0.0);
    let seam = chances.worst.year.first_day;
    let mut stretches: Vec<Points> = vec![Vec::new()];
    for day in 0..365_u16 {
        let of_year = usize::from(x.day_of_year(day));
        if of_year == seam {
            stretches.push(Vec::new());
        }
        if let (Some(stretch), Some(charge)) =
            (stretches.last_mut(), days.get(of_year).filter(|_| lived(&of_year)))
        {
            stretch.push((x.at(f64::from(day) + 0.5), y.at(charge.percent())));
        }
    }
    stretches.retain(|stretch| stretch.len() > 1);
    stretches
}

fn worst_end(chances: &Survival, x: &YearAxis, y: Scale) -> f64 {
    worst(chances, x, y).last().and_then(|stretch| stretch.last()).map_or(TOP, |end| end.1)
}

/// Words at the right edge instead of a key, kept apart.
fn names(lowest: &Points, low: &Points, limit: &Points, worst: f64) -> Markup {
    let end = |points: &Points| points.last().map_or(BOTTOM, |end| end.1);
    let words = apart(vec![
        ("9 in 10 lives", "forecast", end(lowest)),
        ("half of lives", "forecast", end(low) - 1.0),
        ("worst life", "ink", worst),
        ("stops below", "fails", end(limit)),
    ]);
    html! {
        @for (word, class, place) in words {
            text.word.(class) x=(px(WIDTH - RIGHT + 6.0)) y=(px(place)) { (word) }
        }
    }
}

fn darkest(chances: &Survival, x: &YearAxis) -> Markup {
    let (month, day) = crate::words::month_and_day(chances.darkest_day);
    let place = x.at(f64::from(x.day(month, day)) + 0.5);
    let end = place > WIDTH - RIGHT - 110.0;
    // The name of the axis stands at the left.
    let beside = if end { place - 5.0 } else { (place + 5.0).max(LEFT + 70.0) };
    html! {
        path.dotted d={ "M" (px(place)) " " (px(TOP)) "V" (px(BOTTOM)) } {}
        text.word.(if end { "end" } else { "start" }) x=(px(beside)) y=(px(TOP - 6.0)) {
            "darkest, " (day) " " (crate::words::month_short(month))
        }
    }
}
