//! The climate month by month: sun on the ground and on the panel with their spreads, and temperature.

use forecast::life::climate_view::{ClimateMonth, ClimateView};
use maud::{Markup, html};

use super::frame::{Scale, area, left_axis, line, px, ticks};
use super::{Chart, LEFT, RIGHT, WIDTH, apart};
use crate::{months_in_order, sentences, words};

const SUN: (f64, f64) = (24.0, 224.0);
const AIR: (f64, f64) = (276.0, 376.0);
const HEIGHT: f64 = 384.0;

/// The chart of a climate.
pub fn chart(first_month: u8, climate: &ClimateView) -> Chart {
    let months: Vec<&ClimateMonth> = months_in_order(first_month, climate).collect();
    let described: Vec<String> = months
        .iter()
        .map(|month| {
            let (low, high) = month.in_plane_years_wh_m2;
            format!(
                "{} {:.2} ({:.2} to {:.2}), {:.0} °C",
                words::month(month.month),
                month.in_plane_wh_m2 / 1000.0,
                low / 1000.0,
                high / 1000.0,
                month.air_celsius
            )
        })
        .collect();
    Chart {
        id: "climate".to_owned(),
        title: sentences::climate_finding(climate),
        description: format!(
            "Sun on the panel in kilowatt-hours per square metre and day with the spread of eight years in ten, and mean \
             temperature. {}.",
            described.join("; ")
        ),
        note: Some(
            "The bar is the mean sun on the panel's plane, days under snow counted as dark; the thin line through its top holds \
             eight years in ten. The mark beside it is the sun on level ground, its pale stretch what that may really be, with \
             90 % certainty: how well the place is known. Below: mean temperature, and the band between usual nights and noons."
                .to_owned(),
        ),
        width: WIDTH,
        height: HEIGHT,
        body: body(&months),
    }
}

fn body(months: &[&ClimateMonth]) -> Markup {
    let top = months
        .iter()
        .map(|month| month.in_plane_years_wh_m2.1.max(month.ghi_interval_wh_m2.1))
        .fold(100.0, f64::max)
        / 1000.0;
    let y = Scale::new((0.0, top), (SUN.1, SUN.0));
    let right = WIDTH - RIGHT;
    let step = (right - LEFT) / months.len().max(1) as f64;
    html! {
        text.word x=(px(LEFT)) y=(px(SUN.0 - 10.0)) { "sun, kWh/m² a day" }
        (left_axis(y, &ticks(0.0, top, 5), (LEFT, right)))
        @for (index, month) in months.iter().enumerate() { (sun(month, y, LEFT + step * index as f64, step)) }
        path.axis d={ "M" (px(LEFT)) " " (px(SUN.1)) "H" (px(right)) } {}
        (names(months, y, right))
        (air(months, step))
    }
}

fn sun(month: &ClimateMonth, y: Scale, from: f64, step: f64) -> Markup {
    let at = |wh: f64| y.at(wh / 1000.0);
    let (low, high) = month.in_plane_years_wh_m2;
    let (least, most) = month.ghi_interval_wh_m2;
    let (left, bar) = (from + step * 0.12, step * 0.44);
    let (ground, width) = (from + step * 0.64, step * 0.22);
    html! {
        path.taken d={ "M" (px(left)) " " (px(SUN.1)) "V" (px(at(month.in_plane_wh_m2))) "h" (px(bar)) "V" (px(SUN.1)) "Z" } {}
        path.axis d={ "M" (px(left + bar / 2.0)) " " (px(at(low))) "V" (px(at(high))) } {}
        path.half d={ "M" (px(ground)) " " (px(at(least))) "V" (px(at(most))) "h" (px(width)) "V" (px(at(least))) "Z" } {}
        path.forecast d={ "M" (px(ground - 2.0)) " " (px(at(month.ghi_wh_m2))) "h" (px(width + 4.0)) } {}
        text.tick.middle x=(px(from + step / 2.0)) y=(px(SUN.1 + 16.0)) { (words::month_short(month.month)) }
    }
}

fn names(months: &[&ClimateMonth], y: Scale, right: f64) -> Markup {
    let Some(last) = months.last() else { return html! {} };
    let words = apart(vec![
        ("on the panel", "sun", y.at(last.in_plane_wh_m2 / 1000.0)),
        ("on the ground", "forecast", y.at(last.ghi_wh_m2 / 1000.0)),
    ]);
    html! {
        @for (word, class, place) in words {
            text.word.(class) x=(px(right + 6.0)) y=(px(place)) { (word) }
        }
    }
}

fn air(months: &[&ClimateMonth], step: f64) -> Markup {
    let low = months
        .iter()
        .map(|month| month.air_celsius - month.daily_swing_k / 2.0)
        .fold(f64::INFINITY, f64::min)
        .floor();
    let high = months
        .iter()
        .map(|month| month.air_celsius + month.daily_swing_k / 2.0)
        .fold(low + 1.0, f64::max)
        .ceil();
    let y = Scale::new((low, high), (AIR.1, AIR.0));
    let points = |swings: f64| -> Vec<(f64, f64)> {
        let place = |(index, month): (usize, &&ClimateMonth)| {
            (LEFT + step * (index as f64 + 0.5), y.at(month.air_celsius + swings * month.daily_swing_k))
        };
        months.iter().enumerate().map(place).collect()
    };
    html! {
        text.word x=(px(LEFT)) y=(px(AIR.0 - 10.0)) { "air, °C" }
        (left_axis(y, &ticks(low, high, 4), (LEFT, WIDTH - RIGHT)))
        path.nine d=(area(&points(0.5), &points(-0.5))) {}
        path.ink d=(line(&points(0.0))) {}
        @if low < 0.0 && high > 0.0 { path.axis d={ "M" (px(LEFT)) " " (px(y.at(0.0))) "H" (px(WIDTH - RIGHT)) } {} }
    }
}
