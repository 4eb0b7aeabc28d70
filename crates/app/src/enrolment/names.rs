//! Names of nodes, by a pattern with a number.

use logbook::registry::{LONGEST_NAME, Registry, is_name};
use report::problem::{Failure, Problem};

/// What names look like: `mast-##` gives mast-01, mast-02 and so on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Pattern {
    before: String,
    digits: usize,
    after: String,
}

impl Pattern {
    /// From a text with one stretch of `#`, or none for a single node.
    pub(crate) fn parse(text: &str) -> Result<Self, Failure> {
        let (before, rest) = text.split_at(text.find('#').unwrap_or(text.len()));
        let after = rest.trim_start_matches('#');
        let pattern =
            Self { before: before.to_owned(), digits: rest.len() - after.len(), after: after.to_owned() };
        if after.contains('#') || pattern.digits > 9 || !is_name(&pattern.name(1)) {
            let message = format!("{text:?} is no pattern for names");
            let help = format!(
                "use letters, digits, `-` and `_`, at most {LONGEST_NAME}, and one stretch of `#` for the number: mast-##"
            );
            return Err(Failure::of(Problem::of_file("names", "--names", message, help)));
        }
        Ok(pattern)
    }

    /// The pattern that follows from the name of a design.
    pub(crate) fn of_design(name: &str) -> Self {
        let mut slug = String::new();
        for letter in name.chars() {
            match letter {
                letter if letter.is_alphanumeric() => slug.extend(letter.to_lowercase()),
                _ if slug.ends_with('-') || slug.is_empty() => {}
                _ => slug.push('-'),
            }
        }
        let slug: String = slug.chars().take(LONGEST_NAME - 8).collect();
        let slug = slug.trim_end_matches('-');
        let before = if slug.is_empty() { "node-".to_owned() } else { format!("{slug}-") };
        Self { before, digits: 2, after: String::new() }
    }

    /// So many names that no row of the registry has had, by ascending number.
    pub(crate) fn free(&self, registry: &Registry, count: usize) -> Result<Vec<String>, Failure> {
        let taken: std::collections::BTreeSet<String> =
            registry.nodes().iter().map(|node| node.name.to_lowercase()).collect();
        let free = (1..).map(|number| self.name(number)).filter(|name| !taken.contains(&name.to_lowercase()));
        if self.digits > 0 {
            let names: Vec<String> = free.take(count).collect();
            return if names.iter().all(|name| is_name(name)) {
                Ok(names)
            } else {
                Err(self.refuse(count, "too long"))
            };
        }
        let name = self.name(1);
        match count {
            0 => Ok(Vec::new()),
            1 if !taken.contains(&name.to_lowercase()) => Ok(vec![name]),
            _ => Err(self.refuse(count, "duplicate names")),
        }
    }

    fn refuse(&self, count: usize, why: &str) -> Failure {
        let shown = self.name(1);
        let message = format!("`{shown}` gives {why} for {}", report::words::count(count, "new node"));
        Failure::of(Problem::of_file("names", "--names", message, "put the number into the pattern: mast-##"))
    }

    fn name(&self, number: usize) -> String {
        let Self { before, digits, after } = self;
        if *digits == 0 { format!("{before}{after}") } else { format!("{before}{number:0digits$}{after}") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_number_has_as_many_digits_as_the_pattern_and_more_if_needed() {
        let pattern = Pattern::parse("mast-##b").expect("a sound pattern");
        assert_eq!([1, 10, 100].map(|number| pattern.name(number)), ["mast-01b", "mast-10b", "mast-100b"]);
    }

    #[test]
    fn the_name_of_a_design_makes_a_pattern() {
        assert_eq!(Pattern::of_design("Frost mast").name(7), "frost-mast-07");
        assert_eq!(Pattern::of_design("Quelle (oben)!").name(7), "quelle-oben-07");
        assert_eq!(Pattern::of_design("///").name(7), "node-07");
    }

    #[test]
    fn what_is_no_pattern_is_refused() {
        for text in ["", "a/b-#", "#-#", "mast 1", "-#", &"x".repeat(41)] {
            assert!(Pattern::parse(text).is_err(), "{text:?}");
        }
    }
}
