//! Pointers by example: what stands where in messages that a person keeps in a file.

use std::collections::BTreeMap;
use std::path::Path;

use report::problem::{Failure, Problem};

use super::{Settings, settings};
use crate::input::fleet;
use crate::known::Known;
use crate::output;
use crate::proposal::Shown;

/// Candidates of each meaning that are shown.
const SHOWN: usize = 3;

/// Proposes a mapping for the messages of a file, by the nodes and designs of a site.
pub(crate) fn propose_source(
    site: &fleet::Site,
    passphrase_file: Option<&Path>,
    file: &Path,
) -> Result<(), Failure> {
    let settings = Settings::of(site, passphrase_file)?;
    let known = Known::of(site, &settings::setup(site, &settings)?);
    let wrong = |why: &str, help: &str| {
        Failure::of(Problem::of_file("source", &file.to_string_lossy(), why.to_owned(), help))
    };
    let text = std::fs::read_to_string(file)
        .map_err(|error| wrong(&output::reason(&error), "give a file with messages, one a line"))?;
    let shown = Shown::new(&known, &text);
    let mut lines = vec![format!("{} messages looked at", shown.looked_at())];
    lines.extend(shown.notes());
    for (meaning, candidates) in &shown.proposal.candidates {
        let places: Vec<String> =
            candidates.iter().take(SHOWN).map(|one| format!("{} ({})", one.at, one.score)).collect();
        let places = if places.is_empty() { "not found".to_owned() } else { places.join(", ") };
        lines.push(format!("  {:<8} {places}", meaning.key()));
    }
    let Some((mapping, said)) = shown.lines(&BTreeMap::new()) else {
        output::print(&(lines.join("\n") + "\n"))?;
        let (why, help) = shown.why_not();
        return Err(wrong(why, help));
    };
    lines.push(
        "\nTo be looked at and copied into the site file, with `mqtt`, `http` or `csv` added:\n".to_owned(),
    );
    lines.push(format!("[source.NAME]\n{mapping}"));
    lines.extend(said.iter().map(|said| format!("# {said}")));
    output::print(&(lines.join("\n") + "\n"))
}
