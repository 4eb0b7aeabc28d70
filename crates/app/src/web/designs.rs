//! Design files: shown with their verdicts, and what is said of a text that somebody types. Nothing is kept.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use design::catalog::Catalog;
use design::diagnostic::{Diagnostic, Severity};
use forecast::Progress;
use forecast::sky::climate::Climate;
use report::page::design::{DesignAnswer, DesignPage, DesignRow, Designs, TextProblem};
use verdict::plan::{Effort, Weather};
use verdict::{Environment, Verdict, answer};

use super::House;
use super::promises::subject;
use super::shown::Look;

/// Lives while somebody types, and when they rest: a part of those of `check`.
const FEW_LIVES: usize = 60;
const MORE_LIVES: usize = 400;

/// The design files of the site.
pub(super) fn all(look: &Look<'_>) -> Designs {
    let nodes = &look.house.site.fleet.nodes;
    let row = |(file, design): (&str, &design::node::Design)| DesignRow {
        file: file.to_owned(),
        name: design.name.clone(),
        nodes: nodes.iter().filter(|node| node.kind == file).count(),
    };
    Designs { kinds: look.house.site.kinds().map(row).collect() }
}

/// One of them, with what is said of it.
pub(super) fn one(look: &Look<'_>, file: &str) -> Option<DesignPage> {
    let text = text_of(look.house, file)?;
    Some(beside(look.house, page(look.house, file, text, FEW_LIVES, ""), look.wish.word("beside")))
}

fn text_of<'a>(house: &'a House, file: &str) -> Option<&'a str> {
    house.site.texts().find(|(known, ..)| *known == file).map(|(_, _, text)| text)
}

/// A page of a text that somebody wrote over a file of the site.
pub(super) fn page(house: &House, file: &str, text: &str, lives: usize, by: &str) -> DesignPage {
    let answer = said(text, lives, &house.typing.question(by));
    let others = house.site.kinds().map(|(file, _)| file.to_owned()).collect();
    DesignPage { file: file.to_owned(), text: text.to_owned(), answer, beside: None, others }
}

/// The page with another design beside it, if one of that file is asked for.
pub(super) fn beside(house: &House, page: DesignPage, file: Option<&str>) -> DesignPage {
    let other = file.and_then(|file| Some(self::page(house, file, text_of(house, file)?, FEW_LIVES, "")));
    DesignPage { beside: other.map(Box::new), ..page }
}

/// How many lives are lived for a text that is still being typed, or for one that rests.
pub(super) const fn lives(is_resting: bool) -> usize {
    if is_resting { MORE_LIVES } else { FEW_LIVES }
}

/// Browsers in which somebody types, each with how often it has asked.
#[derive(Debug, Default)]
pub(crate) struct Typing(Mutex<BTreeMap<String, Arc<AtomicU64>>>);

/// More browsers than this are forgotten.
const MOST_TYPING: usize = 64;

/// Work for a text ends as soon as a newer one is asked about by the same browser.
pub(super) struct Newest {
    asked: Arc<AtomicU64>,
    own: u64,
}

impl Typing {
    /// A question of a browser that calls itself so; one without a name asks but once.
    fn question(&self, by: &str) -> Newest {
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() >= MOST_TYPING {
            all.clear();
        }
        let asked =
            if by.is_empty() { Arc::default() } else { Arc::clone(all.entry(by.to_owned()).or_default()) };
        Newest { own: asked.fetch_add(1, Ordering::Relaxed) + 1, asked }
    }
}

impl Progress for Newest {
    fn report(&self, _: usize, _: usize) {}

    fn stop(&self) -> bool {
        self.asked.load(Ordering::Relaxed) != self.own
    }
}

/// What is said of a text.
pub(super) fn said(text: &str, lives: usize, progress: &Newest) -> DesignAnswer {
    let file = design::file::parse(text);
    let resolved = match design::resolve::resolve(&Catalog::builtin(), &file) {
        Ok(resolved) => resolved,
        Err(found) => {
            let problems: Vec<TextProblem> = found.iter().map(|one| problem(text, one)).collect();
            let errors = problems.iter().filter(|one| !one.is_warning).count();
            let title = format!("{} stand in the way of an answer", report::words::count(errors, "error"));
            let title = if errors == 1 { title.replace("stand", "stands") } else { title };
            return DesignAnswer { title, problems, ..DesignAnswer::default() };
        }
    };
    let problems = resolved.warnings.iter().map(|one| problem(text, one)).collect();
    let design = resolved.design;
    let site = &design.site;
    let climate = match Climate::builtin(site.latitude, site.longitude, site.elevation) {
        Ok(climate) => climate,
        Err(error) => {
            return DesignAnswer {
                title: format!("no climate is known there: {error}"),
                problems,
                ..DesignAnswer::default()
            };
        }
    };
    let environment = Environment { weather: Weather::Climate(&climate), terrain: None, others: &[] };
    let effort = Effort { lives: Some(lives), seed: 1, threads: 1 };
    let answered = answer(&design, &environment, effort, progress);
    let (plan, verdict) = (answered.life.clone(), answered.verdict());
    let subject = subject(&design, answered, &climate);
    let lived = plan.chances.as_ref().map_or(0, |chances| chances.lives);
    let fate = match verdict {
        Verdict::Holds => "holds",
        Verdict::Tight => "is in doubt",
        Verdict::Fails => "does not hold",
        Verdict::NotKnown => "cannot be judged",
    };
    DesignAnswer {
        title: format!("{} {fate}", design.name),
        problems,
        lives: lived,
        verdicts: report::html::verdict_rows(&subject, &plan),
    }
}

fn problem(text: &str, found: &Diagnostic) -> TextProblem {
    let units = |byte: usize| text.get(..byte).map_or(0, |before| before.encode_utf16().count());
    TextProblem {
        is_warning: found.severity == Severity::Warning,
        line: text.get(..found.span.start).map(|before| before.matches('\n').count() + 1),
        from: units(found.span.start),
        to: units(found.span.end),
        message: found.message.clone(),
        help: found.help.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MAST: &str = include_str!("../../../../examples/larkmoor/frost-mast.toml");

    /// By hand: "# °\n" is 4 characters, of which the degree sign takes two bytes and one UTF-16 unit.
    #[test]
    fn a_problem_stands_where_a_browser_counts() {
        let text = "# °\nschema = 2\n";
        let answer = said(text, 1, &Typing::default().question(""));
        let problem = answer.problems.iter().find(|one| one.line == Some(2)).expect("the schema is wrong");
        assert!(problem.from >= 4 && problem.to <= 14, "{problem:?}");
    }

    #[test]
    fn work_for_an_older_text_ends() {
        let typing = Typing::default();
        let (older, newer, other) = (typing.question("a"), typing.question("a"), typing.question("b"));
        assert!(older.stop() && !newer.stop() && !other.stop());
        let begun = std::time::Instant::now();
        let answer = said(MAST, 1_000_000, &older);
        assert!(answer.lives < 1_000_000 && begun.elapsed().as_secs() < 60, "{}", answer.lives);
    }
}
