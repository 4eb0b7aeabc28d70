//! From what was written to what is meant: parts looked up, defaults filled in, every contradiction found.

mod battery;
mod channels;
mod given;
mod load;
mod message;
mod panel_place;
mod place;
mod power;
mod radio;
mod region_place;
pub(crate) mod serve;
mod size;
pub(crate) mod surroundings;
pub(crate) mod watch;

use crate::catalog::Catalog;
use crate::diagnostic::{self, Diagnostic, Diagnostics};
use crate::file::DesignFile;
use crate::file::node::RootSection;
use crate::node::{Design, Doubt, Intent};
use crate::section::{Field, PartSection};

/// A design without errors, and what is doubtful about it.
#[derive(Clone, Debug)]
pub struct Resolved {
    /// The design.
    pub design: Design,
    /// What probably was not meant, in the order of the file.
    pub warnings: Vec<Diagnostic>,
}

/// Resolves a design file with the parts of the catalogue.
///
/// # Errors
/// All problems of the design file and of the part files it uses, warnings included, in the order of the text.
pub fn resolve(catalog: &Catalog, file: &DesignFile) -> Result<Resolved, Vec<Diagnostic>> {
    let mut resolver = Resolver { catalog, file, found: Diagnostics::default(), doubts: Vec::new() };
    let intent = file.root.as_ref().and_then(|root| resolver.intent(root));
    let mut found = resolver.found;
    found.append(file.found.iter().cloned());
    match intent {
        Some(intent) if !found.has_errors() => {
            let design = Design::new(intent, file.clone(), catalog.clone());
            Ok(Resolved { design, warnings: found.into_sorted() })
        }
        _ => Err(found.into_sorted()),
    }
}

/// What a part is called and where it comes from.
struct Origin {
    name: String,
    title: String,
    source: String,
}

struct Resolver<'a> {
    catalog: &'a Catalog,
    file: &'a DesignFile,
    found: Diagnostics,
    doubts: Vec<Doubt>,
}

impl Resolver<'_> {
    /// `None` only after an error was noted; every part is looked at first, so that all problems are found.
    fn intent(&mut self, root: &RootSection) -> Option<Intent> {
        let site = root.site.as_ref().and_then(|at| self.site(&at.value));
        let battery = root.battery.as_ref().and_then(|at| self.battery(&at.value));
        let promise = root.promise.as_ref().and_then(|at| self.promise(&at.value, battery.as_ref()));
        let panel = root.panel.as_ref().map(|at| self.panel(&at.value));
        let charger = root.charger.as_ref().map(|at| self.charger(&at.value));
        let good_panel = panel.as_ref().and_then(Option::as_ref);
        self.check_power(root, battery.as_ref(), good_panel, charger.as_ref().and_then(Option::as_ref));
        if let (Some(site), Some(panel)) = (&site, good_panel) {
            self.check_panel_place(site, panel);
        }
        let enclosure = self.enclosure(root.enclosure.as_ref().map(|at| &at.value));
        let radio = root.radio.as_ref().map(|at| self.radio(&at.value));
        if let (Some(site), Some(Some(radio))) = (&site, &radio) {
            self.check_region_place(site, radio);
        }
        let receiver = root.receiver.as_ref().map(|at| self.receiver(&at.value));
        let messages = self.messages(root, radio.as_ref().and_then(Option::as_ref));
        let givens = self.givens(root, &messages);
        let loads = self.loads(root, radio.as_ref().and_then(Option::as_ref), &messages, &givens);
        let activities = loads.iter().flatten().flat_map(|load| &load.activities);
        if !activities.into_iter().any(|activity| activity.every.by_charge()) {
            self.doubts.retain(|doubt| doubt.field != battery::GAUGE_ERROR);
        }
        let cutoff = self.cutoff(root, battery.as_ref(), loads.as_deref());
        let diary = self.diary(root);
        let sizing = self.sizing(root);
        Some(Intent {
            name: root.name.as_ref()?.value.clone(),
            note: root.note.as_ref().map(|note| note.value.clone()),
            site: site?,
            promise: promise?,
            climate: none_or_good(root.climate.as_ref().map(|at| Self::climate(&at.value)))?,
            panel: none_or_good(panel)?,
            charger: none_or_good(charger)?,
            battery: battery?,
            buffer: none_or_good(root.buffer.as_ref().map(|at| Self::buffer(&at.value)))?,
            enclosure: enclosure?,
            cutoff: cutoff?,
            radio: none_or_good(radio)?,
            receiver: none_or_good(receiver)?,
            messages: messages.into_iter().filter_map(|(_, message)| message).collect(),
            givens: givens.into_iter().filter_map(|(_, given)| given).collect(),
            loads: loads?,
            diary: diary?,
            sizing: sizing?,
            surroundings: surroundings::resolve(
                root.gateway.as_ref().map(|at| &at.value),
                root.may_stand.as_ref().map(|at| &at.value),
                root.ground.as_ref().map(|at| &at.value),
                root.name
                    .as_ref()
                    .zip(root.radio.as_ref())
                    .map(|(name, at)| (name.value.as_str(), &at.value)),
                &mut self.found,
            )?,
            doubts: std::mem::take(&mut self.doubts),
        })
    }

    /// Fills a section from the part that it names, notes what comes from memory, and asks for what is still missing.
    /// `path` is where the section stands in the design file.
    fn filled<S: PartSection + Field>(&mut self, written: &S, path: &str) -> Option<(S, Origin)> {
        let mut section = written.clone();
        let own = written.written();
        for key in written.label().from_memory {
            self.doubt(format!("{path}.{}", key.value), "from memory, not from a data sheet");
        }
        if let Some(name) = written.label().part {
            let part: S = self.catalog.part(name, &mut self.found)?;
            for key in part.label().from_memory.iter().filter(|key| !own.contains(&key.value.as_str())) {
                self.doubt(format!("{path}.{}", key.value), "from memory, not from a data sheet");
            }
            section.fill_from(part, &name.span);
        }
        section.complete(&mut self.found);
        let label = section.label();
        let here = "written in the design file";
        let origin = Origin {
            name: label.part.map_or_else(|| here.to_owned(), |part| part.value.clone()),
            title: label.title.map_or_else(|| format!("{} as {here}", S::DOC.name), str::to_owned),
            source: label.source.unwrap_or(here).to_owned(),
        };
        Some((section, origin))
    }

    fn doubt(&mut self, field: impl Into<String>, remark: impl Into<String>) {
        self.doubts.push(Doubt { field: field.into(), remark: remark.into() });
    }

    /// Says that a key is missing which this kind of part needs.
    fn needs<T: Clone>(
        &mut self,
        value: Option<&crate::section::At<T>>,
        key: &str,
        what: &str,
        section: &impl PartSection,
    ) -> Option<T> {
        if value.is_none() && !section.unreadable().contains(&key) {
            let message = format!("{what} needs `{key}`");
            let help = format!("add `{key} = ...` beside `part`, or name a part that has it");
            let span = section.label().part.map_or(section.label().span, |part| &part.span);
            self.found.error(diagnostic::MISSING_KEY, span, message, help);
        }
        value.map(|at| at.value.clone())
    }
}

/// Turns "absent", "bad" and "good" into `Some(None)`, `None` and `Some(Some(_))`.
#[expect(clippy::option_option, reason = "a part may be absent, which is not the same as bad")]
fn none_or_good<T>(part: Option<Option<T>>) -> Option<Option<T>> {
    match part {
        None => Some(None),
        Some(good) => good.map(Some),
    }
}
