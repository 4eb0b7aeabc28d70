//! How many frames a gateway heard in each of the last hours.

use maud::{Markup, html};

use super::frame::{Scale, left_axis, px, ticks};
use super::{Chart, WIDTH};
use crate::words;

const LEFT: f64 = 44.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 112.0;
/// Room between two bars, as a share of an hour.
const GAP: f64 = 0.2;

/// Bars of the hours, the oldest first; the last is the hour that is still going on.
pub fn chart(id: &str, frames: &[u32]) -> Chart {
    let (least, most) =
        (frames.iter().min().copied().unwrap_or_default(), frames.iter().max().copied().unwrap_or_default());
    let silent = frames.iter().filter(|count| **count == 0).count();
    let title = match silent {
        0 => format!("Between {least} and {most} frames an hour"),
        _ => format!(
            "Nothing in {} of the last {}, else up to {most} frames an hour",
            words::count(silent, "hour"),
            frames.len()
        ),
    };
    let told: Vec<String> = frames.iter().map(u32::to_string).collect();
    Chart {
        id: id.to_owned(),
        description: format!(
            "Frames in each of the last {} hours, the oldest first: {}.",
            frames.len(),
            told.join(", ")
        ),
        title,
        note: None,
        width: WIDTH,
        height: BOTTOM + 24.0,
        body: body(frames, most),
    }
}

fn body(frames: &[u32], most: u32) -> Markup {
    let y = Scale::new((0.0, f64::from(most.max(1))), (BOTTOM, TOP));
    let x = Scale::new((0.0, frames.len() as f64), (LEFT, WIDTH));
    html! {
        (left_axis(y, &ticks(0.0, f64::from(most.max(1)), 4), (LEFT, WIDTH)))
        @for (hour, count) in frames.iter().enumerate().filter(|(_, count)| **count > 0) {
            @let (from, to) = (x.at(hour as f64 + GAP / 2.0), x.at(hour as f64 + 1.0 - GAP / 2.0));
            path.hour d={ "M" (px(from)) " " (px(BOTTOM)) "V" (px(y.at(f64::from(*count)))) "H" (px(to)) "V" (px(BOTTOM)) "Z" } {}
        }
        path.axis d={ "M" (px(LEFT)) " " (px(BOTTOM)) "H" (px(WIDTH)) } {}
        @for ago in (0..=frames.len()).rev().step_by(6) {
            @let at = x.at((frames.len() - ago) as f64);
            text.tick.middle x=(px(at.min(WIDTH - 14.0))) y=(px(BOTTOM + 16.0)) { @if ago == 0 { "now" } @else { (ago) " h ago" } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::chart;

    /// By hand: of 24 hours 2 are silent, the most is 9; an hour without a frame has no bar.
    #[test]
    fn an_hour_without_a_frame_is_said_and_has_no_bar() {
        let mut frames = vec![9; 24];
        (frames[3], frames[4]) = (0, 0);
        let hours = chart("roof", &frames);
        assert_eq!(hours.title, "Nothing in 2 hours of the last 24, else up to 9 frames an hour");
        assert_eq!(hours.svg().into_string().matches("class=\"hour\"").count(), 22);
        assert_eq!(chart("roof", &[1, 5]).title, "Between 1 and 5 frames an hour");
        assert!(!chart("roof", &[0; 24]).svg().into_string().contains("NaN"));
    }
}
