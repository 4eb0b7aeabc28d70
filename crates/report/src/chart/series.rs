//! A field of a message over some time: least, mean and greatest of each stretch.

use maud::{Markup, html};

use super::frame::{Scale, area, left_axis, line, px, ticks};
use super::{Chart, LEFT, WIDTH};

const TOP: f64 = 26.0;
const BOTTOM: f64 = 170.0;
const HEIGHT: f64 = 200.0;
const RIGHT: f64 = 24.0;

/// A field over some time.
#[derive(Clone, Debug, PartialEq)]
pub struct Series {
    /// Short name, unique on a page.
    pub id: String,
    /// What it is, in words.
    pub name: String,
    /// Unit as people write it; empty if there is none.
    pub unit: String,
    /// Beginning and end \[s since 1970\].
    pub span_s: (f64, f64),
    /// In the order of time.
    pub points: Vec<Point>,
    /// Between two points that are further apart than this nothing is known \[s\].
    pub gap_s: f64,
    /// Times that are named at the axis \[s since 1970\].
    pub named: Vec<(f64, String)>,
}

/// One stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Its middle \[s since 1970\].
    pub at_s: f64,
    /// Least value.
    pub least: f64,
    /// Mean value.
    pub mean: f64,
    /// Greatest value.
    pub greatest: f64,
}

impl Series {
    /// The sentence: what it came to.
    pub fn finding(&self) -> String {
        let least = self.points.iter().map(|point| point.least).fold(f64::INFINITY, f64::min);
        let greatest = self.points.iter().map(|point| point.greatest).fold(f64::NEG_INFINITY, f64::max);
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        match self.points.last() {
            None => format!("{}: nothing was sent", self.name),
            Some(last) if least < greatest => {
                format!(
                    "{}: {}{unit}; {} to {}{unit} here",
                    self.name,
                    figure_like(last.mean, [least, greatest]),
                    figure(least),
                    figure(greatest)
                )
            }
            Some(last) => format!("{}: {}{unit} all the time", self.name, figure(last.mean)),
        }
    }

    /// The drawing.
    pub fn chart(&self) -> Chart {
        let count = crate::words::count(self.points.len(), "stretch").replace("stretchs", "stretches");
        Chart {
            id: self.id.clone(),
            title: self.finding(),
            description: format!("{}, in {count} of time.", self.finding()),
            note: None,
            width: WIDTH,
            height: HEIGHT,
            body: self.body(),
        }
    }

    fn body(&self) -> Markup {
        let low = self.points.iter().map(|point| point.least).fold(f64::INFINITY, f64::min);
        let high = self.points.iter().map(|point| point.greatest).fold(f64::NEG_INFINITY, f64::max);
        let beyond = if high > low { 0.06 * (high - low) } else { 0.5 };
        let (low, high) = if low <= high { (low - beyond, high + beyond) } else { (0.0, 1.0) };
        let x = Scale::new(self.span_s, (LEFT, WIDTH - RIGHT));
        let y = Scale::new((low, high), (BOTTOM, TOP));
        let at = |point: &Point, value: f64| (x.at(point.at_s), y.at(value));
        html! {
            (left_axis(y, &ticks(low, high, 4), (LEFT, WIDTH - RIGHT)))
            @if !self.unit.is_empty() { text.word x=(px(LEFT)) y=(px(TOP - 10.0)) { (self.unit) } }
            @for stretch in self.stretches() {
                @let upper: Vec<_> = stretch.iter().map(|point| at(point, point.greatest)).collect();
                @let lower: Vec<_> = stretch.iter().map(|point| at(point, point.least)).collect();
                @let mean: Vec<_> = stretch.iter().map(|point| at(point, point.mean)).collect();
                @if upper != lower { path.half d=(area(&upper, &lower)) {} }
                @if let [alone] = &mean[..] { circle.dot cx=(px(alone.0)) cy=(px(alone.1)) r="2" {} }
                @else { path.ink d=(line(&mean)) {} }
            }
            path.axis d={ "M" (px(LEFT)) " " (px(BOTTOM)) "H" (px(WIDTH - RIGHT)) } {}
            @for (at_s, name) in &self.named {
                path.axis d={ "M" (px(x.at(*at_s))) " " (px(BOTTOM)) "v5" } {}
                text.tick.middle x=(px(x.at(*at_s))) y=(px(BOTTOM + 17.0)) { (name) }
            }
        }
    }

    /// Points that follow each other without a gap.
    fn stretches(&self) -> Vec<&[Point]> {
        self.points.chunk_by(|one, next| next.at_s - one.at_s <= self.gap_s).collect()
    }
}

/// A figure with a true minus, at most two digits behind the point.
pub fn figure(value: f64) -> String {
    if value.abs() >= 1e9 {
        return format!("{value:.3e}").replace('-', "−");
    }
    let rounded = (value * 100.0).round() / 100.0 + 0.0;
    format!("{rounded}").replace('-', "−")
}

/// A mean with as many digits behind the point as the readings that it is the mean of.
fn figure_like(mean: f64, readings: [f64; 2]) -> String {
    let digits = |value: f64| figure(value).split_once('.').map_or(0, |(_, behind)| behind.len());
    let most = readings.into_iter().map(digits).max().unwrap_or(0);
    let scale = [1.0, 10.0, 100.0][most];
    figure((mean * scale).round() / scale)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(values: &[(f64, f64)]) -> Series {
        let points = values.iter().map(|(at_s, value)| Point {
            at_s: *at_s,
            least: *value,
            mean: *value,
            greatest: *value,
        });
        Series {
            id: "air".into(),
            name: "air".into(),
            unit: "°C".into(),
            span_s: (0.0, 100.0),
            points: points.collect(),
            gap_s: 15.0,
            named: vec![(50.0, "noon".into())],
        }
    }

    #[test]
    fn what_came_is_said_with_its_unit_and_a_gap_is_not_drawn_over() {
        let all = series(&[(0.0, -1.5), (10.0, 2.0), (60.0, 1.25)]);
        assert_eq!(all.finding(), "air: 1.3 °C; −1.5 to 2 °C here", "no finer than what was read");
        assert_eq!(all.stretches().len(), 2);
        assert_eq!(series(&[(0.0, 3.0)]).finding(), "air: 3 °C all the time");
        assert_eq!(series(&[]).finding(), "air: nothing was sent");
    }

    #[test]
    fn nothing_at_all_is_still_a_drawing() {
        for values in [&[][..], &[(0.0, 0.0)], &[(200.0, f64::MAX)]] {
            let svg = series(values).chart().svg().into_string();
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
    }
}
