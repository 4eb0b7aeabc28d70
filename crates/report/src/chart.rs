//! Charts as SVG: a title that says the finding, a description for who can't see it, classes instead of styles.

pub mod bands;
pub mod clearance;
pub mod climate;
mod contour;
pub mod coverage;
pub mod deaths;
pub mod earns;
pub mod fortnight;
mod frame;
pub mod ground;
pub mod heard;
pub mod kept;
pub mod ledger;
mod lettering;
pub mod measured;
pub mod months;
pub mod picture;
pub mod relief;
pub mod residuals;
pub mod series;
mod signboard;
pub mod survival;
pub mod tape;
pub mod tornado;
pub mod track;
pub mod verdict_mark;
pub mod year;

use maud::{Markup, html};

use crate::look;

/// A drawing and what it says.
pub struct Chart {
    /// Short name, unique on a page.
    pub id: String,
    /// The finding, as a heading.
    pub title: String,
    /// What a reader would see, in words and figures.
    pub description: String,
    /// What to know to read it.
    pub note: Option<String>,
    width: f64,
    height: f64,
    body: Markup,
}

impl Chart {
    /// The drawing alone.
    pub fn svg(&self) -> Markup {
        self.drawn("img")
    }

    /// The drawing alone, if it holds links: an image would hide them from those who listen to it.
    pub fn linked(&self) -> Markup {
        self.drawn("group")
    }

    fn drawn(&self, role: &str) -> Markup {
        let (title, description) = (format!("{}-title", self.id), format!("{}-description", self.id));
        html! {
            svg.chart viewBox={ "0 0 " (frame::px(self.width)) " " (frame::px(self.height)) } role=(role)
                aria-labelledby={ (title) " " (description) } xmlns="http://www.w3.org/2000/svg" {
                title id=(title) { (self.title) }
                desc id=(description) { (self.description) }
                (self.body)
            }
        }
    }

    /// The drawing as a file of its own, with its title above and its note below.
    pub fn file(&self) -> String {
        let title = wrapped(&self.title, 80);
        let note = wrapped(self.note.as_deref().unwrap_or_default(), 140);
        let top = 14.0 + 26.0 * title.len() as f64;
        let below = top + self.height + 18.0;
        let body = html! {
            @for (row, text) in title.iter().enumerate() {
                text.heading x="0" y=(frame::px(22.0 + 26.0 * row as f64)) { (text) }
            }
            g transform=(format!("translate(0 {})", frame::px(top))) { (self.body) }
            @for (row, text) in note.iter().enumerate() {
                text.quiet x="0" y=(frame::px(below + 17.0 * row as f64)) { (text) }
            }
        };
        let whole = Self {
            id: self.id.clone(),
            title: self.title.clone(),
            description: self.description.clone(),
            note: None,
            width: self.width,
            height: below + 17.0 * note.len() as f64,
            body,
        };
        let style = format!("<style>{}{}{OWN_STYLE}</style>", look::faces(&look::FACES), look::STYLE);
        format!("{XML}{}\n", whole.svg().into_string().replacen("<title", &(style + "<title"), 1))
    }

    /// The drawing under its heading.
    pub fn section(&self) -> Markup {
        html! {
            section.figure {
                h2 { (self.title) }
                div.scroll tabindex="0" role="group" aria-label=(self.title) { (self.svg()) }
                (cue())
                @if let Some(note) = &self.note { p.quiet { (note) } }
            }
        }
    }
}

/// Shown where a drawing is wider than the screen.
pub fn cue() -> Markup {
    html! { p.cue.quiet aria-hidden="true" { "The drawing goes on to the right: swipe." } }
}

const XML: &str = "<?xml version=\"1.0\" encoding=\"utf-8\"?>\n<!-- made by overwinter -->\n";
/// A drawing alone brings its own paper.
const OWN_STYLE: &str = ".chart{background:var(--paper);min-width:0}";

/// Lines of at most so many characters, broken at spaces.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if word == "%" || line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Words for the right edge, at least a line of text apart; the place of a word becomes its baseline.
fn apart(mut words: Vec<(&'static str, &'static str, f64)>) -> Vec<(&'static str, &'static str, f64)> {
    words.sort_by(|one, other| one.2.total_cmp(&other.2));
    let mut above = f64::NEG_INFINITY;
    for (_, _, place) in &mut words {
        *place = (*place + 4.0).max(above + 15.0);
        above = *place;
    }
    words
}

/// Width of every full chart in its own units, which are CSS pixels at full size.
const WIDTH: f64 = 920.0;
/// Room for figures at the left and words at the right.
const LEFT: f64 = 52.0;
const RIGHT: f64 = 128.0;

#[cfg(test)]
mod tests {
    use crate::fixture;

    /// The drawing, one element a line, long paths cut.
    fn drawing(chart: &super::Chart) -> String {
        let svg = chart.svg().into_string().replace("><", ">\n<");
        let cut = |line: &str| match line.char_indices().nth(300) {
            Some((at, _)) => format!("{}... {} characters", &line[..at], line.chars().count()),
            None => line.to_owned(),
        };
        svg.lines().map(|line| cut(line) + "\n").collect()
    }

    #[test]
    fn drawings_of_the_invented_year() {
        let (subject, plan, chances) = (fixture::subject(), fixture::plan(), fixture::chances());
        let message = subject.messages.first().expect("a message");
        let form = message.forms.first().expect("a form");
        let charts = [
            super::bands::chart(&subject, &plan, &chances),
            super::tornado::chart(&chances).expect("unknowns"),
            super::deaths::chart(&chances).expect("faults"),
            super::fortnight::worst(&subject, &chances).expect("a fortnight"),
            super::climate::chart(7, &fixture::climate()),
            super::tape::chart(&message.name, form, "tape".to_owned()),
            super::year::chart(&subject, &plan),
            super::months::chart(&subject, &plan),
            super::fortnight::chart(&subject, &plan).expect("a year has a fortnight"),
            super::earns::chart(&subject, &plan).expect("the sun shines"),
        ];
        for chart in charts {
            insta::assert_snapshot!(chart.id.clone(), drawing(&chart));
        }
    }

    #[test]
    fn no_drawing_leaves_its_frame_or_holds_what_is_no_number() {
        let subject = fixture::subject();
        let mut plan = fixture::plan();
        for hour in &mut plan.hours {
            hour.in_plane = design::quantity::Irradiance::ZERO;
            hour.charge = design::quantity::Share::ZERO;
        }
        plan.months.iter_mut().for_each(|row| row.offered_per_day = design::quantity::Charge::ZERO);
        for chart in [super::year::chart(&subject, &plan), super::months::chart(&subject, &plan)] {
            let svg = chart.svg().into_string();
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
        assert!(super::earns::chart(&subject, &plan).is_none(), "a roof all year has no map of the sun");
    }
}
