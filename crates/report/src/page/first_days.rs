//! The card of a node's first 48 hours, for whoever still stands at the mast: small, because the link there may be weak.

use maud::{Markup, html};
use serde::Serialize;

use super::{Page, Way, node_page, plain};

/// The card.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FirstDays {
    /// The node.
    pub name: String,
    /// Hours since its first frame; `None` before that.
    pub hour: Option<f64>,
    /// What is looked at.
    pub lines: Vec<Line>,
}

/// Something that was promised.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Line {
    /// What is looked at.
    pub what: &'static str,
    /// Whether it is as promised.
    pub state: State,
    /// What was seen, in a sentence.
    pub seen: String,
    /// What to do about it while the ladder still stands.
    pub do_this: Option<String>,
}

/// Whether something is as promised.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// It is.
    AsPromised,
    /// It is not.
    NotAsPromised,
    /// It can't be known yet.
    NotYetKnown,
}

impl State {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::AsPromised => "as promised",
            Self::NotAsPromised => "not as promised",
            Self::NotYetKnown => "not yet known",
        }
    }

    const fn class(self) -> &'static str {
        match self {
            Self::AsPromised => "holds",
            Self::NotAsPromised => "fails",
            Self::NotYetKnown => "quiet",
        }
    }
}

impl Page for FirstDays {
    const WAY: Option<Way> = Some(Way::Site);
    const LIGHT: bool = true;

    fn title(&self) -> String {
        let name = plain(&self.name);
        let Some(hour) = self.hour else { return format!("{name} has not been heard yet") };
        let wrong = self.lines.iter().filter(|line| line.state == State::NotAsPromised);
        let said = match (wrong.count(), self.lines.iter().any(|line| line.state == State::NotYetKnown)) {
            (0, false) => "all is as promised".to_owned(),
            (0, true) => "nothing is wrong so far".to_owned(),
            (1, _) => "one thing is not as promised".to_owned(),
            (more, _) => format!("{more} things are not as promised"),
        };
        if hour > 48.0 {
            return format!("{name} is {:.0} days old: {said}", hour / 24.0);
        }
        format!("Hour {:.0} of {name}: {said}", hour.ceil().max(1.0))
    }

    fn main(&self) -> Markup {
        html! {
            div data-part="lines" {
                @for line in &self.lines {
                    div.line {
                        p { (line.what) br; b.(line.state.class()) { (line.state.words()) } }
                        div {
                            p { (plain(&line.seen)) }
                            @if let Some(remedy) = &line.do_this { p { span.remedy { (plain(remedy)) } } }
                        }
                    }
                }
            }
            p { a href=(node_page(&self.name)) { "All of " (plain(&self.name)) } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_title_counts_what_is_not_as_promised() {
        let line = |state| Line { what: "charging", state, seen: "seen".into(), do_this: None };
        let card = |hour, states: &[State]| FirstDays {
            name: "mast".into(),
            hour,
            lines: states.iter().map(|state| line(*state)).collect(),
        };
        assert_eq!(card(None, &[]).title(), "mast has not been heard yet");
        assert_eq!(card(Some(30.2), &[State::AsPromised]).title(), "Hour 31 of mast: all is as promised");
        assert_eq!(card(Some(0.0), &[State::NotYetKnown]).title(), "Hour 1 of mast: nothing is wrong so far");
        let wrong = [State::NotAsPromised, State::NotYetKnown];
        assert_eq!(card(Some(47.0), &wrong).title(), "Hour 47 of mast: one thing is not as promised");
        assert_eq!(
            card(Some(72.0), &[State::NotAsPromised; 2]).title(),
            "mast is 3 days old: 2 things are not as promised"
        );
    }
}
