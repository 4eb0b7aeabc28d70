//! The pages of a site whose log is served: each is a plain state, a title made from it, and how it is shown.
//!
//! No I/O and no clock: what is shown comes in, times as they are to be read. The same state answers `?format=json`.
//!
//! - [`site`], [`node`], [`first_days`], [`track`]: the nodes, with what is [`promised`] of them and [`learned`] from them.
//! - [`alarms`], [`next_trip`]: what wants a hand.
//! - [`design`]: what was planned.
//! - [`act`]: what people do here.
//! - [`map`]: where everything stands, for a map that is moved.
//! - [`gateways`], [`heard`], [`frame`], [`intake`], [`about`]: what the log knows of itself.

pub mod about;
pub mod act;
pub mod alarms;
pub mod design;
pub mod first_days;
pub mod frame;
pub mod gateways;
pub mod heard;
pub mod intake;
pub mod learned;
pub mod map;
pub mod next_trip;
pub mod node;
pub mod promised;
pub mod site;
pub mod track;

use std::fmt::Write as _;

use maud::{Markup, html};
use serde::Serialize;
use serde_json::{Value, json};

use crate::html::document;

/// One of the five words at the head of each page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// All nodes.
    Site,
    /// What wants a hand.
    Alarms,
    /// What to do on the next trip.
    NextTrip,
    /// What hears them.
    Gateways,
    /// The design files.
    Design,
}

impl Way {
    /// All of them, in the order in which they stand.
    pub const ALL: [Self; 5] = [Self::Site, Self::Alarms, Self::NextTrip, Self::Gateways, Self::Design];

    /// The word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Site => "Site",
            Self::Alarms => "Alarms",
            Self::NextTrip => "Next trip",
            Self::Gateways => "Gateways",
            Self::Design => "Design",
        }
    }

    /// Where it leads.
    pub const fn path(self) -> &'static str {
        match self {
            Self::Site => "/",
            Self::Alarms => "/alarms",
            Self::NextTrip => "/next-trip",
            Self::Gateways => "/gateways",
            Self::Design => "/design",
        }
    }
}

/// What a page shows.
pub trait Page: Serialize {
    /// The word that leads to it, or to the page above it.
    const WAY: Option<Way> = None;
    /// Whether it is so small that it comes without typefaces of its own: for a weak link.
    const LIGHT: bool = false;
    /// Whether it changes as frames come.
    const LIVE: bool = true;
    /// A script of its own.
    const SCRIPT: Option<&'static str> = None;

    /// The answer in a sentence.
    fn title(&self) -> String;

    /// What stands below the title.
    fn main(&self) -> Markup;
}

/// Where and when a page is shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// What people call the site.
    pub site: String,
    /// The time at which the state was so.
    pub at: When,
    /// Zone of the times that are shown: "UTC", or its name in the IANA database.
    pub zone: String,
    /// Who looks; `None` where nobody needs to say so.
    pub person: Option<Person>,
}

/// Somebody who has logged in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Person {
    /// By what name.
    pub name: String,
    /// The word without which none of their forms is taken.
    pub form_word: String,
}

/// A time: as data in UTC, and as people of the site read it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(transparent)]
pub struct When {
    /// RFC 3339, in UTC.
    pub at: String,
    /// By the clocks of the site: "14:05:33", with the date where it was another day.
    #[serde(skip)]
    pub clock: String,
    /// How long ago: "2 min ago".
    #[serde(skip)]
    pub ago: String,
}

impl When {
    /// By the clock.
    pub fn shown(&self) -> Markup {
        html! { time datetime=(self.at) title=(self.at) { (self.clock) } }
    }

    /// How long ago.
    pub fn ago(&self) -> Markup {
        html! { time datetime=(self.at) title=(self.clock) { (self.ago) } }
    }
}

/// The whole page.
pub fn html<P: Page>(frame: &Frame, page: &P) -> String {
    let title = page.title();
    let head = html! {
        link rel="icon" href="data:,";
        @if !P::LIGHT { link rel="stylesheet" href="/page/type.css"; }
        link rel="stylesheet" href="/page/style.css";
        @if P::LIVE { script type="module" src="/page/live.js" {} }
        @if let Some(script) = P::SCRIPT { script type="module" src={ "/page/" (script) } {} }
    };
    let body = html! {
        body.served {
            (self::head(frame, P::WAY))
            main id="main" {
                h1 data-part="title" { (title) }
                (page.main())
            }
            (foot(frame, P::LIVE))
        }
    };
    document(&format!("{title} - {}", plain(&frame.site)), &head, &body)
}

/// The state as data, under its title.
///
/// # Errors
/// If the state holds what JSON has no form for.
pub fn json<P: Page>(page: &P) -> Result<Value, serde_json::Error> {
    Ok(json!({ "schema": 1, "title": page.title(), "page": serde_json::to_value(page)? }))
}

fn head(frame: &Frame, here: Option<Way>) -> Markup {
    html! {
        header {
            p { a.home href="/" { b { "overwinter" } " " (plain(&frame.site)) } }
            nav aria-label="Ways" {
                @for way in Way::ALL {
                    a href=(way.path()) aria-current=[(here == Some(way)).then_some("page")] { (way.word()) }
                }
            }
        }
    }
}

fn foot(frame: &Frame, is_live: bool) -> Markup {
    html! {
        footer.quiet {
            nav aria-label="More" {
                a href="/heard" { "What was heard" }
                a href="/intake" { "What arrived" }
                a href="/about" { "About" }
            }
            @if let Some(person) = &frame.person {
                form method="post" action="/logout" {
                    input type="hidden" name="form" value=(person.form_word);
                    (plain(&person.name)) " " button { "Log out" }
                }
            }
            p data-part="known" { "Showing what was known at " (frame.at.shown()) ". Times are " (frame.zone) "." }
            @if is_live { p id="link" role="status" {} }
        }
    }
}

/// Whether a text may be shown as it is: no control characters and no marks that turn the direction of what follows.
fn is_plain(letter: char) -> bool {
    !letter.is_control()
        && !matches!(letter, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// A text from outside, without what could change how the text around it is read; a sign stands where something was taken out.
pub fn plain(text: &str) -> String {
    text.chars().map(|letter| if is_plain(letter) { letter } else { '\u{fffd}' }).collect()
}

/// The address of the page of a node.
pub fn node_page(name: &str) -> String {
    "/node/".to_owned() + &in_address(name)
}

/// The address of the page of a design file.
pub fn design_page(file: &str) -> String {
    "/design/".to_owned() + &in_address(file)
}

/// A name as it stands in an address (RFC 3986, section 2.3); folders stay folders.
fn in_address(name: &str) -> String {
    let mut text = String::with_capacity(name.len());
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            text.push(char::from(byte));
        } else {
            write!(text, "%{byte:02X}").expect("a string takes any text");
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Serialize)]
    struct Empty {
        name: String,
    }

    impl Page for Empty {
        const WAY: Option<Way> = Some(Way::Gateways);

        fn title(&self) -> String {
            plain(&self.name)
        }

        fn main(&self) -> Markup {
            html! { p { (plain(&self.name)) } }
        }
    }

    fn frame() -> Frame {
        let at =
            When { at: "2026-11-30T10:00:00Z".into(), clock: "10:00:00Z".into(), ago: "just now".into() };
        Frame { site: "Larkmoor".into(), at, zone: "UTC".into(), person: None }
    }

    /// What people write as names is text and nothing else (HTML Living Standard 13.1.2.4; Unicode UAX #9 lists the marks).
    #[test]
    fn markup_and_turning_marks_in_a_name_do_nothing() {
        let page = Empty { name: "<script>alert(1)</script>\u{202e}evil\u{0}\u{7}\"'".into() };
        let text = html(&frame(), &page);
        assert!(!text.contains("<script>alert") && text.contains("&lt;script&gt;"), "{text}");
        assert!(!text.contains('\u{202e}') && !text.contains('\u{0}') && !text.contains('\u{7}'));
        assert_eq!(plain("süß, 3 °C"), "süß, 3 °C");
    }

    /// By RFC 3986, section 2.1: a space is %20, and each byte of "ü" in UTF-8, C3 BC, stands for itself.
    #[test]
    fn a_name_with_spaces_signs_or_folders_has_an_address() {
        assert_eq!(node_page("mast 3?ü"), "/node/mast%203%3F%C3%BC");
        assert_eq!(design_page("kinds/frost-mast.toml"), "/design/kinds/frost-mast.toml");
    }

    #[test]
    fn a_page_says_which_of_the_five_words_led_to_it() {
        let text = html(&frame(), &Empty { name: "gateways".into() });
        assert!(text.contains("href=\"/gateways\" aria-current=\"page\""), "{text}");
        assert_eq!(text.matches("aria-current").count(), 1);
        assert!(!text.contains("style=") && !text.contains("<style") && !text.contains("onclick"));
    }

    #[test]
    fn data_holds_the_title_and_times_in_utc_alone() {
        #[derive(Serialize)]
        struct Timed {
            last: When,
        }
        impl Page for Timed {
            fn title(&self) -> String {
                "timed".into()
            }
            fn main(&self) -> Markup {
                self.last.ago()
            }
        }
        let data = json(&Timed { last: frame().at }).expect("it can be written");
        assert_eq!(
            data,
            json!({ "schema": 1, "title": "timed", "page": { "last": "2026-11-30T10:00:00Z" } })
        );
    }
}
