//! Design files: shown with their verdicts, and what is said of a text that somebody types. Nothing is kept.

use report::page::design::{DesignPage, DesignRow, Designs};

use super::House;
use super::shown::Look;
use super::typing::{Question, Step};

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

/// One of them, with what its first lives say of it: the rest is asked for by the page.
pub(super) fn one(look: &Look<'_>, file: &str) -> Option<DesignPage> {
    let text = look.house.site.kind(file)?.text();
    let question = look.house.typing.question("");
    let page = page(look.house, file, text, Step::FirstLives, &question)?;
    Some(beside(look.house, page, look.wish.word("beside"), &question))
}

/// A page of a text that somebody wrote over a file of the site; `None` where it has no such file.
pub(super) fn page(
    house: &House,
    file: &str,
    text: &str,
    step: Step,
    question: &Question,
) -> Option<DesignPage> {
    let answer = house.typing.said((file, house.site.kind(file)?), text, step, question);
    let others = house.site.kinds().map(|(file, _)| file.to_owned()).collect();
    Some(DesignPage { file: file.to_owned(), text: text.to_owned(), answer, beside: None, others })
}

/// The page with another design beside it, if one of that file is asked for.
pub(super) fn beside(house: &House, page: DesignPage, file: Option<&str>, question: &Question) -> DesignPage {
    let other = file.and_then(|file| {
        let text = house.site.kind(file)?.text();
        self::page(house, file, text, Step::FirstLives, question)
    });
    DesignPage { beside: other.map(Box::new), ..page }
}
