//! What people do here: log in, note a visit, say that they have seen an alarm, tell a node something. All of it are forms
//! that work without script; each carries the word of its login, which is no part of the data.

use std::collections::BTreeMap;

use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::{Page, Way, When, node_page, plain};

/// Who is there?
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LogIn {
    /// What is said.
    pub title: String,
    /// Where somebody wanted to go.
    pub to: String,
    /// The name that was tried.
    pub name: Option<String>,
}

impl Page for LogIn {
    const LIVE: bool = false;

    fn title(&self) -> String {
        self.title.clone()
    }

    fn main(&self) -> Markup {
        let name = self.name.as_deref().map(plain);
        html! {
            form.act method="post" action="/login" {
                p { label for="name" { "Name" } input id="name" name="name" required autocomplete="username" value=[name]; }
                p {
                    label for="passphrase" { "Passphrase" }
                    input id="passphrase" name="passphrase" type="password" required autocomplete="current-password";
                }
                input type="hidden" name="to" value=(self.to);
                p { button { "Log in" } }
            }
        }
    }
}

/// A passphrase is set by a link.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FirstPassphrase {
    /// For whom.
    pub name: String,
    /// Least characters.
    pub least: usize,
    /// Why it was not taken.
    pub why: Option<String>,
}

impl Page for FirstPassphrase {
    const LIVE: bool = false;

    fn title(&self) -> String {
        format!("A passphrase for {}", plain(&self.name))
    }

    fn main(&self) -> Markup {
        let field = |name: &str, label: &str| {
            html! {
                p {
                    label for=(name) { (label) }
                    input id=(name) name=(name) type="password" required minlength=(self.least) autocomplete="new-password";
                }
            }
        };
        html! {
            @if let Some(why) = &self.why { p role="alert" { (why) } }
            p { "At least " (self.least) " characters: a few words that belong together for you alone." }
            form.act method="post" {
                (field("passphrase", "Passphrase"))
                (field("again", "The same once more"))
                p { button { "Set it" } }
            }
        }
    }
}

/// Something is said, and where to go on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Said {
    /// In a sentence.
    pub title: String,
    /// More of it.
    pub lines: Vec<String>,
    /// Where to go on, and its words.
    #[serde(skip)]
    pub on: Option<(String, String)>,
}

impl Page for Said {
    const LIVE: bool = false;

    fn title(&self) -> String {
        plain(&self.title)
    }

    fn main(&self) -> Markup {
        html! {
            @for line in &self.lines { p { (plain(line)) } }
            @if let Some((path, words)) = &self.on { p { a href=(path) { (plain(words)) } } }
        }
    }
}

/// A visit is to be noted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct NoteVisit {
    /// Where.
    pub node: String,
    /// Parts that may have been changed.
    pub parts: Vec<String>,
    /// Visits before, the newest first.
    pub before: Vec<Visit>,
    /// Why it was not taken.
    pub why: Option<String>,
    /// The number of this visit.
    #[serde(skip)]
    pub own_id: String,
    /// The word of forms.
    #[serde(skip)]
    pub form: String,
}

/// Somebody was there.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Visit {
    /// When.
    pub at: When,
    /// Who.
    pub by: String,
    /// What was done.
    pub what: String,
    /// Parts that were changed.
    pub parts: Vec<String>,
    /// Where its picture is.
    pub photo: Option<String>,
    /// What the certificate of a calibration is called.
    pub certificate: Option<String>,
    /// The day on which the next calibration is due, UTC.
    pub due: Option<String>,
}

impl Page for NoteVisit {
    const LIGHT: bool = true;
    const LIVE: bool = false;
    const SCRIPT: Option<&'static str> = Some("visit.js");

    fn title(&self) -> String {
        format!("A visit to {}", plain(&self.node))
    }

    fn main(&self) -> Markup {
        html! {
            @if let Some(why) = &self.why { p role="alert" { (plain(why)) } }
            p #unsent role="status" {}
            form.act #visit method="post" enctype="multipart/form-data" data-node=(self.node) {
                input type="hidden" name="form" value=(self.form);
                input type="hidden" name="own_id" value=(self.own_id);
                p {
                    label for="what" { "What was done" }
                    textarea id="what" name="what" required maxlength="2000" rows="4" {}
                }
                fieldset {
                    legend { "Parts that were changed" }
                    p.quiet { "What is learned of the node begins anew with a changed part." }
                    @for part in &self.parts {
                        p.task { label { input type="checkbox" name=(part); (part) } }
                    }
                }
                p {
                    label for="photo" { "A picture, if you like" }
                    input id="photo" name="photo" type="file" accept="image/jpeg,image/png,image/webp";
                }
                p {
                    label for="certificate" { "Certificate, if it was calibrated" }
                    input id="certificate" name="certificate" maxlength="200";
                }
                p {
                    label for="due" { "Next calibration due on" }
                    input id="due" name="due" type="date";
                }
                p { button { "Note it" } }
            }
            @if !self.before.is_empty() { h2 { "Before" } @for visit in &self.before { (visit.shown()) } }
        }
    }
}

impl Visit {
    fn shown(&self) -> Markup {
        html! {
            p {
                (self.at.shown()) ", " (plain(&self.by)) ": " (plain(&self.what))
                @if !self.parts.is_empty() { span.quiet { " (changed: " (self.parts.join(", ")) ")" } }
                @if let Some(name) = &self.certificate { span.quiet { " (certificate: " (plain(name)) ")" } }
                @if let Some(due) = &self.due { span.quiet { " (next calibration: " (due) ")" } }
                @if let Some(photo) = &self.photo { " " a href=(photo) { "picture" } }
            }
        }
    }
}

/// Somebody is to say where a node stands.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PutNode {
    /// Which node.
    pub node: String,
    /// Where it stands, north and east positive \[°\]; `None`: nowhere yet.
    pub place: Option<(f64, f64)>,
    /// Whether that is what the registry says, and not the plan alone.
    pub is_registered: bool,
    /// Why it was not taken.
    pub why: Option<String>,
    /// The word of forms.
    #[serde(skip)]
    pub form: String,
}

impl Page for PutNode {
    const WAY: Option<Way> = Some(Way::Site);
    const LIVE: bool = false;

    fn title(&self) -> String {
        let name = plain(&self.node);
        match self.place {
            None => format!("{name} stands nowhere yet"),
            Some((north, east)) => {
                let verb = if self.is_registered { "stands" } else { "is planned" };
                format!("{name} {verb} at {north:.5}, {east:.5}")
            }
        }
    }

    fn main(&self) -> Markup {
        let written = |value: Option<f64>| value.map(|value| format!("{value:.6}"));
        let (north, east) = self.place.unzip();
        html! {
            @if let Some(why) = &self.why { p role="alert" { (plain(why)) } }
            form.act method="post" {
                p.quiet { "What is written here goes into the registry from today on; what was heard before keeps its place. \
                           Reach and skyline are still those of the place in the site file." }
                input type="hidden" name="form" value=(self.form);
                p {
                    label for="latitude" { "Latitude, degrees, north positive" }
                    input id="latitude" name="latitude" inputmode="decimal" required value=[written(north)];
                }
                p {
                    label for="longitude" { "Longitude, degrees, east positive" }
                    input id="longitude" name="longitude" inputmode="decimal" required value=[written(east)];
                }
                p { button { "It stands here" } }
            }
            p { a href=(node_page(&self.node)) { "All of " (plain(&self.node)) } " · " a href="/" { "All nodes" } }
        }
    }
}

/// Somebody is to say that he has seen an alarm.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct SeeAlarm {
    /// Its number.
    pub id: i64,
    /// The rule, and with whom.
    pub what: String,
    /// Since when.
    pub since: When,
    /// Who has seen it already.
    pub seen_by: Option<String>,
    /// Why it was not taken.
    pub why: Option<String>,
    /// The word of forms.
    #[serde(skip)]
    pub form: String,
}

impl Page for SeeAlarm {
    const WAY: Option<Way> = Some(Way::Alarms);
    const LIVE: bool = false;

    fn title(&self) -> String {
        match &self.seen_by {
            Some(by) => format!("{} has seen it: {}", plain(by), plain(&self.what)),
            None => format!("Not seen yet: {}", plain(&self.what)),
        }
    }

    fn main(&self) -> Markup {
        html! {
            p.quiet { "Since " (self.since.shown()) ", " (self.since.ago()) "." }
            @if let Some(why) = &self.why { p role="alert" { (plain(why)) } }
            @if self.seen_by.is_none() {
                form.act method="post" {
                    input type="hidden" name="form" value=(self.form);
                    p { label for="word" { "A word to it, if you like" } input id="word" name="word" maxlength="200"; }
                    p { button { "I have seen it" } }
                }
            }
            p { a href="/alarms" { "All alarms" } }
        }
    }
}

/// What a node is told, and was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Settings {
    /// Which node.
    pub node: String,
    /// What can be told.
    pub messages: Vec<Message>,
    /// Other nodes of its kind.
    pub others: Vec<String>,
    /// What somebody has typed and not sent.
    pub considered: Option<Considered>,
    /// What was told before, the newest first.
    pub before: Vec<Told>,
    /// Why it was not taken.
    pub why: Option<String>,
    /// The word of forms.
    #[serde(skip)]
    pub form: String,
}

/// What somebody has typed into a form and not sent.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Considered {
    /// Of which message.
    pub message: String,
    /// What was typed, by field.
    pub typed: BTreeMap<String, String>,
    /// Nodes that were chosen beside this one.
    pub others: Vec<String>,
    /// What would follow.
    pub follows: Follows,
}

/// What follows from values that a node may be told.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Follows {
    /// Field and what follows from its value.
    pub effects: Vec<(String, String)>,
    /// Why a value can't be told, or what the design says to it.
    pub refused: Option<String>,
    /// The worst verdict on the node that was told it; `None` where no interval is set.
    pub verdict: Option<&'static str>,
    /// Its verdicts, as a piece of a page.
    #[serde(skip)]
    pub verdicts: String,
}

/// A message to the node.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Message {
    /// Its key in the design.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// What it says.
    pub fields: Vec<Field>,
}

/// A value of a message to the node.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Field {
    /// Its key in the design.
    pub name: String,
    /// What it takes, with range and unit.
    pub takes: String,
    /// Words to choose among; none: a number is typed.
    pub words: Vec<String>,
}

/// What a node was told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Told {
    /// When it was wanted.
    pub at: When,
    /// By whom.
    pub by: String,
    /// What.
    pub what: String,
    /// What became of it.
    pub state: String,
}

impl Page for Settings {
    const LIVE: bool = false;
    const SCRIPT: Option<&'static str> = Some("settings.js");

    fn title(&self) -> String {
        match self.before.first() {
            Some(told) => format!("{}: the last setting is {}", plain(&self.node), told.state),
            None => format!("{} was told nothing yet", plain(&self.node)),
        }
    }

    fn main(&self) -> Markup {
        html! {
            @if let Some(why) = &self.why { p role="alert" { (plain(why)) } }
            @if self.messages.is_empty() { p { "Its design has no message to the node (`direction = \"down\"`)." } }
            @for message in &self.messages { (self.form_of(message)) }
            @if !self.before.is_empty() {
                h2 { "Before" }
                table.stacked {
                    thead { tr { th { "wanted" } th { "by" } th { "what" } th { "state" } } }
                    tbody {
                        @for told in &self.before {
                            tr {
                                td data-label="wanted" { (told.at.shown()) }
                                td data-label="by" { (plain(&told.by)) }
                                td data-label="what" { (plain(&told.what)) }
                                td data-label="state" { (told.state) }
                            }
                        }
                    }
                }
            }
        }
    }
}

impl Settings {
    fn form_of(&self, message: &Message) -> Markup {
        html! {
            form.act method="post" {
                h2 { @if message.title.is_empty() { (message.name) } @else { (plain(&message.title)) } }
                p.quiet { "What is left empty stays as it is. It is told with one of the node's next uplinks, up to three times, \
                           as far as the gateway's share of air time allows." }
                input type="hidden" name="form" value=(self.form);
                input type="hidden" name="message" value=(message.name);
                @let considered = self.considered.as_ref().filter(|considered| considered.message == message.name);
                @for field in &message.fields { (field.shown(&message.name, considered)) }
                div.follows role="status" {
                    @if let Some(considered) = considered { (considered.follows.shown(&self.node)) }
                }
                @if !self.others.is_empty() {
                    fieldset {
                        legend { "Tell others of its kind as well" }
                        @for other in &self.others {
                            @let chosen = considered.is_some_and(|considered| considered.others.contains(other));
                            p.task { label { input type="checkbox" name={ "node:" (other) } checked[chosen]; (plain(other)) } }
                        }
                    }
                }
                p { button { "Tell it" } " " button name="look" value="yes" { "Show what would follow" } }
            }
        }
    }
}

impl Follows {
    fn shown(&self, node: &str) -> Markup {
        html! {
            @if let Some(why) = &self.refused { p.fails { "It can't be told: " (plain(why)) "." } }
            @if !self.verdicts.is_empty() {
                p { "With these values, " (plain(node)) " by its first lives:" }
                (PreEscaped(&self.verdicts))
            }
        }
    }
}

impl Field {
    fn shown(&self, message: &str, considered: Option<&Considered>) -> Markup {
        let typed =
            considered.and_then(|considered| considered.typed.get(&self.name)).map(|text| plain(text));
        let effects = considered.map(|considered| &considered.follows.effects[..]).unwrap_or_default();
        let effect = effects.iter().find(|(field, _)| *field == self.name).map(|(_, effect)| effect);
        let (id, name) = (format!("{message}-{}", self.name), format!("value:{}", self.name));
        html! {
            p {
                label for=(id) { (self.name) span.quiet { " " (self.takes) } }
                @if self.words.is_empty() {
                    input id=(id) name=(name) inputmode="decimal" value=[&typed] aria-describedby={ (id) "-effect" };
                } @else {
                    select id=(id) name=(name) aria-describedby={ (id) "-effect" } {
                        option value="" { "as it is" }
                        @for word in &self.words { option selected[typed.as_ref() == Some(word)] { (word) } }
                    }
                }
                span.effect id={ (id) "-effect" } { @if let Some(effect) = effect { (plain(effect)) } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_word_of_a_form_stands_in_the_form_and_not_in_the_data() {
        let page = NoteVisit {
            node: "mast<1>".into(),
            parts: vec!["battery".into()],
            before: Vec::new(),
            why: None,
            own_id: "number-1".into(),
            form: "secret-word".into(),
        };
        assert!(page.main().into_string().contains("name=\"form\" value=\"secret-word\""));
        assert!(!super::super::json(&page).expect("it can be written").to_string().contains("secret-word"));
    }

    #[test]
    fn what_people_wrote_is_text() {
        let visit = Visit {
            at: When { at: String::new(), clock: String::new(), ago: String::new() },
            by: "<i>ann</i>".into(),
            what: "</p><script>x</script>\u{202e}".into(),
            parts: Vec::new(),
            photo: None,
            certificate: Some("<b>K-17</b>".into()),
            due: Some("2027-05-01".into()),
        };
        let shown = visit.shown().into_string();
        assert!(
            shown.contains("next calibration: 2027-05-01")
                && !shown.contains("<b>")
                && !shown.contains("<script")
                && !shown.contains("<i>")
                && !shown.contains('\u{202e}'),
            "{shown}"
        );
    }
}
