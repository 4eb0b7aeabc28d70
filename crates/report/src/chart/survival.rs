//! Lines of equal survival over panel and battery, beside each other for a few intervals.

use design::quantity::Quantity as _;
use maud::{Markup, html};
use verdict::size::SurvivalMap;

use super::frame::{Scale, line, px};
use super::{Chart, WIDTH};

/// Survivals that are drawn beside the promised one [%].
const LEVELS: [f64; 4] = [50.0, 80.0, 90.0, 99.0];
/// A level so near the promised one is not drawn twice [%].
const NEAR: f64 = 2.0;
const TOP: f64 = 40.0;
const HEIGHT: f64 = 250.0;
const LEFT: f64 = 46.0;
const GAP: f64 = 34.0;
const FOOT: f64 = 52.0;
/// Room of a figure at a line, and of one at an axis: across and up.
const ROOM: (f64, f64) = (34.0, 13.0);

/// A design on the picture: panel \[W\], battery \[mAh\] and interval \[s\].
pub struct Mark {
    /// Power of its panel \[W\].
    pub power_w: f64,
    /// Capacity of its battery \[mAh\].
    pub capacity_mah: f64,
    /// Its interval, if any \[s\].
    pub every_s: Option<f64>,
}

/// The picture, with the design as it is and the chosen one marked.
pub fn chart(map: &SurvivalMap, promised_percent: f64, now: &Mark, chosen: &Mark) -> Chart {
    let count = map.survival.len().max(1) as f64;
    let width = (WIDTH - LEFT - GAP * count) / count;
    let pictures = map.survival.iter().enumerate().map(|(index, survival)| {
        let left = LEFT + index as f64 * (width + GAP);
        Picture {
            map,
            survival,
            promised_percent,
            x: Scale::new(ends(&map.capacities_mah), (left, left + width)),
            y: Scale::new(ends(&map.powers_w), (TOP + HEIGHT, TOP)),
            left,
            right: left + width,
        }
    });
    let marked = |mark: &Mark, index: usize| {
        let own = map.intervals.get(index).map(|every| every.seconds());
        own.zip(mark.every_s).is_none_or(|(own, every)| (own - every).abs() < 0.5)
    };
    let body = html! {
        @for (index, picture) in pictures.enumerate() {
            @let title = map.intervals.get(index).map(|every| format!("every {}", every.text()));
            text.strong x=(px(picture.left)) y=(px(TOP - 18.0)) { (title.unwrap_or_default()) }
            (picture.frame(index == 0))
            @let own = marked(chosen, index).then_some(chosen);
            (picture.lines(&[Some(now), own]))
            (picture.now(now))
            @if marked(chosen, index) { (picture.chosen(chosen)) }
        }
    };
    Chart {
        id: "survival".to_owned(),
        title: "What panel and battery must be".to_owned(),
        description: described(map, promised_percent),
        note: Some(format!(
            "Each line joins panels and batteries with which equally many lives pass without an outage; on the thick one it is \
             the promised {promised_percent} %, above and to the right of it more. Circle: panel and battery as they are; \
             square: the chosen design. From 100 lives each, so a line may lie a panel or a battery beside its place."
        )),
        width: WIDTH,
        height: TOP + HEIGHT + FOOT,
        body,
    }
}

fn described(map: &SurvivalMap, promised_percent: f64) -> String {
    let row = |(index, survival): (usize, &Vec<Vec<f64>>)| {
        let every = map.intervals.get(index).map(|every| format!("every {}: ", every.text()));
        let smallest = map.capacities_mah.iter().enumerate().map(|(battery, mah)| {
            let enough = survival.iter().position(|row| 100.0 * row[battery] >= promised_percent);
            let panel = enough.and_then(|panel| map.powers_w.get(panel));
            panel.map_or_else(|| format!("{mah} mAh no panel"), |watts| format!("{mah} mAh {watts} W"))
        });
        every.unwrap_or_default() + &smallest.collect::<Vec<_>>().join(", ")
    };
    let rows: Vec<String> = map.survival.iter().enumerate().map(row).collect();
    format!("Smallest panel with which {promised_percent} % of lives pass. {}.", rows.join("; "))
}

/// The ends of an axis on which equal ratios are equally long.
fn ends(values: &[f64]) -> (f64, f64) {
    let (low, high) = (values.first().copied().unwrap_or(1.0), values.last().copied().unwrap_or(1.0));
    let (low, high) = (low.ln(), high.ln());
    if high > low { (low, high) } else { (low - 0.5, high + 0.5) }
}

struct Picture<'a> {
    map: &'a SurvivalMap,
    survival: &'a [Vec<f64>],
    promised_percent: f64,
    x: Scale,
    y: Scale,
    left: f64,
    right: f64,
}

impl Picture<'_> {
    fn frame(&self, first: bool) -> Markup {
        let (powers, capacities) = (&self.map.powers_w, &self.map.capacities_mah);
        let said = |index: usize, last: usize| index == 0 || index == last || index == last / 2;
        let mut last_y = f64::INFINITY;
        let mut has_room = |watts: f64| {
            let y = self.y.at(watts.ln());
            let free = last_y - y >= ROOM.1;
            last_y = if free { y } else { last_y };
            free
        };
        html! {
            @for watts in powers {
                path.rule d={ "M" (px(self.left)) " " (px(self.y.at(watts.ln()))) "H" (px(self.right)) } {}
                @if first && has_room(*watts) { text.tick.end x=(px(self.left - 6.0)) y=(px(self.y.at(watts.ln()) + 4.0)) { (watts) " W" } }
            }
            @for (index, mah) in capacities.iter().enumerate() {
                path.rule d={ "M" (px(self.x.at(mah.ln()))) " " (px(TOP)) "V" (px(TOP + HEIGHT)) } {}
                @if said(index, capacities.len() - 1) {
                    text.tick.middle x=(px(self.x.at(mah.ln()))) y=(px(TOP + HEIGHT + 17.0)) { (mah) }
                }
            }
            @if first { text.word x=(px(self.left)) y=(px(TOP + HEIGHT + 38.0)) { "battery, mAh" } }
        }
    }

    /// The lines, each with its figure where there is room beside the marks and the figures of the others.
    fn lines(&self, marks: &[Option<&Mark>]) -> Markup {
        let near = |level: &f64| (level - self.promised_percent).abs() < NEAR;
        let thin = LEVELS.into_iter().filter(|level| !near(level)).map(|level| (level, "ink"));
        let mut taken: Vec<(f64, f64)> = marks
            .iter()
            .flatten()
            .map(|mark| (self.x.at(mark.capacity_mah.ln()), self.y.at(mark.power_w.ln())))
            .collect();
        // The promised line takes its place first, and is drawn over the others.
        let levels: Vec<(f64, &str)> =
            [(self.promised_percent, "mark axis")].into_iter().chain(thin).collect();
        let mut drawn: Vec<Markup> =
            levels.into_iter().map(|(level, class)| self.level(level, class, &mut taken)).collect();
        drawn.rotate_left(1);
        html! { @for line in drawn { (line) } }
    }

    /// One line of equal survival, with its figure at the first of its places that is free.
    fn level(&self, percent: f64, class: &str, taken: &mut Vec<(f64, f64)>) -> Markup {
        let capacities = self.map.capacities_mah.iter().enumerate();
        let points: Vec<(f64, f64)> = capacities
            .filter_map(|(battery, mah)| {
                Some((self.x.at(mah.ln()), self.y.at(self.crossing(battery, percent)?)))
            })
            .collect();
        let is_free = |(x, y): &(f64, f64)| {
            taken.iter().all(|other| (x - other.0).abs() > ROOM.0 || (y - other.1).abs() > ROOM.1)
        };
        let place = points.iter().copied().find(is_free);
        taken.extend(place);
        html! {
            @if points.len() > 1 { path class=(class) d=(line(&points)) {} }
            @if let Some((x, y)) = place {
                text.tick.halo x=(px(x + 4.0)) y=(px(y - 3.0)) { (percent) " %" }
            }
        }
    }

    /// The logarithm of the power at which so many survive with a battery; `None` if no panel is enough.
    fn crossing(&self, battery: usize, percent: f64) -> Option<f64> {
        let at = |panel: usize| 100.0 * self.survival[panel][battery];
        let above = (0..self.survival.len()).find(|panel| at(*panel) >= percent)?;
        let power = |panel: usize| self.map.powers_w[panel].ln();
        let Some(below) = above.checked_sub(1) else { return Some(power(0)) };
        let share = (percent - at(below)) / (at(above) - at(below));
        Some(power(below) + share * (power(above) - power(below)))
    }

    fn now(&self, mark: &Mark) -> Markup {
        let (x, y) = (self.x.at(mark.capacity_mah.ln()), self.y.at(mark.power_w.ln()));
        html! {
            circle.edge cx=(px(x)) cy=(px(y)) r="6" {}
            text.halo x=(px(x + 10.0)) y=(px(y + 16.0)) { "now" }
        }
    }

    fn chosen(&self, mark: &Mark) -> Markup {
        let (x, y) = (self.x.at(mark.capacity_mah.ln()), self.y.at(mark.power_w.ln()));
        html! {
            rect.dot x=(px(x - 5.0)) y=(px(y - 5.0)) width="10" height="10" {}
            text.halo.strong x=(px(x + 10.0)) y=(px(y - 8.0)) { "chosen" }
        }
    }
}

#[cfg(test)]
mod tests {
    use design::quantity::Duration;

    use super::*;

    /// Survival that grows along panel and battery: the line of 95 % falls from left to right.
    #[test]
    fn the_promised_line_falls_and_nothing_leaves_the_frame() {
        let survival = vec![vec![0.1, 0.5, 0.97], vec![0.6, 0.96, 1.0], vec![0.98, 1.0, 1.0]];
        let map = SurvivalMap {
            intervals: vec![Duration::from_minutes(5.0)],
            powers_w: vec![0.3, 1.0, 3.0],
            capacities_mah: vec![500.0, 1000.0, 2000.0],
            survival: vec![survival],
        };
        let mark = |power_w, capacity_mah| Mark { power_w, capacity_mah, every_s: Some(300.0) };
        let chart = chart(&map, 95.0, &mark(0.3, 500.0), &mark(1.0, 1000.0));
        assert_eq!(
            chart.description,
            "Smallest panel with which 95 % of lives pass. every 5 min: 500 mAh 3 W, 1000 mAh 1 W, 2000 mAh 0.3 W."
        );
        let svg = chart.svg().into_string();
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        for word in ["now", "chosen", "95 %", "every 5 min"] {
            assert!(svg.contains(word), "{word}");
        }
    }
}
